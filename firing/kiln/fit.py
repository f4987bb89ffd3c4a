"""Learn a kiln from the logs of its firings: power, loss, leak, capacity, and what is left open.

A fit says in sentences why a multiplier is not told, what the logs leave open, and what is odd.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from firing.errors import FiringError
from firing.heat.properties import material_names, wall_material
from firing.kiln.description import KilnDescription
from firing.kiln.fit_result import Diagnostics, FittedValue, KilnFit
from firing.kiln.residuals import (
    CAPACITY,
    HOT_SETTLE_S,
    LEAK,
    LOSS,
    POWER,
    FiringRecord,
    FitSolution,
    Multipliers,
    Priors,
    RecordResiduals,
    described,
    solve,
)
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR, format_duration

INFORMED = 0.7
"""A scatter that is this share of the prior's or more was hardly learnt from the log."""
ODD = (0.6, 1.6)
"""Multipliers outside these are warned of."""
POOR_RMS = 0.06
"""Windows further off than this share of full power are not described by the model."""
RATIOS_ONLY = "ratios only"
"""What a basis says where nothing fixed the absolute size."""
LOAD_MASS, RATED = "the load's mass", "the rated power of new elements at measured volts"


def why_not(
    index: int,
    title: str,
    anchors: tuple[str, ...],
    *,
    relative: float,
    prior: float,
    ratio: FittedValue | None,
    powered: bool,
    least_power: float,
) -> str:
    """Return why a multiplier is not known.

    `relative` and `prior` are its standard error as a share and its prior's scatter; `ratio` is its
    ratio to the capacity, None for the capacity itself.
    """
    if index == POWER and not powered:
        return (
            "not known: too little is known of when the elements were on; the firing needed at "
            f"least {least_power:.2f} of full power"
        )
    if not anchors:
        if ratio is None:
            return "not known: only ratios to it are known"
        if not ratio.identifiable:
            return f"not known, nor its ratio to the capacity: {ratio.value:.2f} ± {ratio.se:.2f}"
        return f"only its ratio to the capacity is known: {ratio.value:.2f} ± {ratio.se:.2f}"
    if relative > INFORMED * prior:
        given = {POWER: RATED, CAPACITY: LOAD_MASS}.get(index)
        if given in anchors:
            return f"taken from {given}, not learnt from the log"
        return f"not known: the {title} is taken as described"
    return f"known only to about {100.0 * relative:.0f} %, as {' and '.join(anchors)} fixes it"


def basis(records: Sequence[FiringRecord], anchors: tuple[str, ...], on: date | None) -> str:
    """Return the line for the kiln file: date, logs, anchors."""
    names = [record.name for record in records]
    logs = ", ".join(names) if len(names) <= 3 else f"{names[0]} and {len(names) - 1} more logs"
    if len(logs) > 100:
        logs = f"{len(names)} log{'s' if len(names) > 1 else ''}"
    day = f"{on.isoformat()}: " if on is not None else ""
    tail = "fixed by " + " and ".join(anchors[:3]) if anchors else f"{RATIOS_ONLY}, no anchor"
    return f"{day}{logs}; {tail}"[:200]


def cannot_tell(
    kiln: KilnDescription,
    records: Sequence[FiringRecord],
    estimates: Sequence[FittedValue],
    *,
    powered: bool,
    anchored: bool,
    elements_new: bool,
    least_power: float,
) -> tuple[str, ...]:
    """Return what logs leave open, and what would tell it, as sentences.

    `estimates` are power, loss, capacity and leak; `powered` whether the logs tell power over
    capacity, `anchored` whether anything fixes the absolute size.
    """
    said: list[str] = []
    if not powered:
        logged = any(record.logged for record in records)
        full = sum(record.full_s for record in records)
        if not logged and full == 0.0:
            said.append(
                "No log shows the elements fully on and none has their output, so nothing is known "
                "of the full power, except that it is at least "
                f"{least_power:.2f} of what the kiln file says, for the load assumed; a "
                "log with the controller's output, or a firing that falls behind its program, "
                "would show it."
            )
        else:
            said.append(
                "The elements are known to have been on for too short a time to show their power."
            )
    if not anchored:
        said.append(
            "One factor on power, loss and capacity together would leave these logs unchanged: "
            "only their ratios are known, and kWh are not; a meter's kWh would fix it, less "
            "sharply the load's mass in a load file, or volts measured on new elements."
        )
    if elements_new and kiln.actual_volts is None:
        said.append(
            "New elements fix the power only at known volts; have actual_volts measured under load "
            "by a competent person."
        )
    if not estimates[LOSS].identifiable and sum(record.off_s for record in records) == 0.0:
        said.append("No log holds natural cooling, which separates loss from capacity best.")
    if any(record.load is None for record in records):
        said.append(
            "The load was not given and a typical one is assumed, so the capacity is that of kiln "
            "and load together."
        )
    if kiln.actual_volts is None:
        said.append(
            "Worn elements and a low supply look alike in a log; amps and volts under load, "
            "measured by a competent person, show which."
        )
    said.append("Walls that conduct more and a vent left on look alike in a log.")
    return tuple(said)


def warnings(
    records: Sequence[FiringRecord], estimates: Sequence[FittedValue], rms: float
) -> tuple[str, ...]:
    """Return what is odd about logs or result, as sentences; `rms` as a share of full power."""
    said = [note for record in records for note in record.notes]
    for title, estimate in zip(("power", "loss", "capacity"), estimates, strict=False):
        if not ODD[0] <= estimate.value <= ODD[1]:
            said.append(
                f"a {title} of {estimate.value:.2f} times what the kiln file describes is unusual; "
                "check that the log is of this kiln and the file's power, volume and walls"
            )
    if rms > POOR_RMS:
        said.append(
            f"half-hourly power differs from the model's by {100.0 * rms:.0f} % of full "
            "power: the kiln, its load or its program changed during the log, or it is another's"
        )
    for record in records:
        if record.hot_start:
            unused = "" if record.kwh is None else ", nor is the meter"
            said.append(
                f"{record.name}: the log begins at {record.chamber_c[0]:.0f} °C in walls whose "
                f"warmth nobody knows; its first {format_duration(HOT_SETTLE_S)} are not "
                f"used{unused}"
            )
    return tuple(said)


# How far from 1 a multiplier is expected before a log is read; source: kiln-fit-choices.
POWER_PRIOR, LOSS_PRIOR, CAPACITY_PRIOR, LEAK_PRIOR = 0.15, 0.25, 0.25, 0.5
LOADED_PRIOR = 0.08
"""Of the capacity, with the load's mass given; source: kiln-fit-choices."""
NEW_ELEMENTS_PRIOR = 0.05
"""Of the power of new elements at measured volts; source: rated-input-memory."""
METER_ERROR = 0.02 / math.sqrt(3.0)
"""Of a meter that keeps within 2 %, any error alike; source: meter-class-memory."""
MODEL_SCATTER = 0.004
"""What no log shows of the model's own error, in every multiplier; source: kiln-fit-choices."""
SPLIT_SCATTER = 0.01
"""The same of how all losses part into walls and leak, as a share of all; likewise."""
UNCOOLED_SCATTER = 0.05
"""The same of all losses where no log holds natural cooling; likewise."""

IDENTIFIABLE = (0.035, 0.08, 0.04, 0.3)
"""Power, loss, capacity and leak are told when their standard errors are at most these shares."""
RATIO_TOLD = 0.07
"""Likewise the ratio of power, or of all losses, to another."""
LOSSES_TOLD = 0.045
"""Likewise all losses, walls and leak together."""
SPLIT_TOLD = {LOSS: 0.08, LEAK: 0.3}
"""Likewise those of walls and leak apart: a quarter of the losses may go either way."""

LEAST_S = 2.0 * SECONDS_PER_HOUR
LEAST_RISE_C = 150.0
LEAST_WINDOWS = 4
SUSPECT_LOGGED, SUSPECT_SEEN = 0.0195, 0.0095
"""Half-hours further off than these shares of full power make another wall be tried: with logged
output, and with what the temperatures show alone; source: kiln-fit-choices."""
BETTER = 0.75
"""A wall that leaves this share of the residuals, or less, fits better."""
ABSURD = (0.4, 2.5)
"""Multipliers and ratios outside these are not of the kiln that the file describes."""


def fit_kiln(
    kiln: KilnDescription,
    records: Sequence[FiringRecord],
    *,
    elements_new: bool = False,
    on: date | None = None,
    try_walls: bool = False,
) -> KilnFit:
    """Estimate a kiln's power, losses and capacity from its firings, all together.

    What the kiln learnt before does not count.  `elements_new`, with `actual_volts` measured, fixes
    the power; `try_walls` tries other wall materials where the described one fits badly, and a
    warning says so.  The heat that the measured course needs, window by window, is compared with
    duty times full power, with full power where the kiln fell behind its program, with nothing in
    natural cooling, and with the meter.  Non-linear least squares with priors on the logarithms;
    source ``kiln-fit-choices``.
    """
    if not records:
        raise FiringError("a fit needs the log of at least one firing")
    for record in records:
        _require_enough(record)
    base = described(kiln)
    by_firing = [RecordResiduals(base, record) for record in records]
    _require_evidence(by_firing)
    loaded = all(record.load is not None for record in records)
    rated = elements_new and kiln.actual_volts is not None
    priors = Priors(
        NEW_ELEMENTS_PRIOR if rated else POWER_PRIOR,
        LOSS_PRIOR,
        LOADED_PRIOR if loaded else CAPACITY_PRIOR,
        LEAK_PRIOR,
    )
    solution = solve(by_firing, priors)
    _require_this_kiln(records, solution)
    anchors = [f"{m.record.kwh:.1f} kWh by meter" for m in by_firing if m.is_metered]
    if rated:
        anchors.append(RATED)
    if loaded:
        anchors.append(LOAD_MASS)
    result = _result(kiln, records, solution, priors, tuple(anchors), on, elements_new)
    doubts = _wall_doubts(kiln, records, solution, priors) if try_walls else []
    return replace(result, warnings=(*doubts, *result.warnings))


def _wall_doubts(
    kiln: KilnDescription, records: Sequence[FiringRecord], solution: FitSolution, priors: Priors
) -> list[str]:
    """Say so if a wall of another material fits the logs much better than the one described."""
    logged = any(record.logged for record in records)
    if solution.rms < (SUSPECT_LOGGED if logged else SUSPECT_SEEN):
        return []
    inner = kiln.wall[0]
    found: list[tuple[float, str]] = []
    for name in material_names():
        if name == inner.material.name:
            continue
        layer = replace(inner, material=wall_material(name))
        other = described(replace(kiln, wall=(layer, *kiln.wall[1:])))
        try:
            tried = solve([RecordResiduals(other, record) for record in records], priors)
        except FiringError:
            continue
        found.append((tried.rms, name))
    if not found or min(found)[0] > BETTER * solution.rms:
        return []
    rms, name = min(found)
    return [
        f"the wall does not fit the log: of {name} the model would be off by {100.0 * rms:.1f} % "
        f"of full power, of {inner.material.name} it is {100.0 * solution.rms:.1f} %; check the "
        "kiln file's brick and thickness, which every forecast rests on"
    ]


def _require_enough(record: FiringRecord) -> None:
    span_s = float(record.time_s[-1] - record.time_s[0])
    if span_s < LEAST_S:
        raise FiringError(
            f"{record.name}: {format_duration(span_s)} of log is too short for a fit; give a log "
            f"of at least {format_duration(LEAST_S)}, better all of the firing with its cooling"
        )
    low, high = float(record.chamber_c.min()), float(record.chamber_c.max())
    if high - low < LEAST_RISE_C:
        raise FiringError(
            f"{record.name}: the log stays between {low:.0f} and {high:.0f} °C, so the kiln never "
            f"heats; a fit needs a span of at least {LEAST_RISE_C:.0f} °C"
        )


def _require_evidence(by_firing: Sequence[RecordResiduals]) -> None:
    names = ", ".join(m.record.name for m in by_firing)
    if sum(len(m.windows) for m in by_firing) < LEAST_WINDOWS:
        raise FiringError(
            f"{names}: nothing shows what the elements did for two hours or more, by output, by "
            "falling behind the program, or by cooling with the elements off; give a log with the "
            "controller's output or with its cooling, or the schedule that was run"
        )


def _require_this_kiln(records: Sequence[FiringRecord], solution: FitSolution) -> None:
    names = ", ".join(record.name for record in records)
    power, loss, capacity, _ = Multipliers.of(solution.log_factor)
    factors = {
        "power": power,
        "loss": loss,
        "capacity": capacity,
        "ratio of power to capacity": power / capacity,
        "ratio of loss to capacity": loss / capacity,
    }
    for title, value in factors.items():
        if not ABSURD[0] <= value <= ABSURD[1]:
            raise FiringError(
                f"{names}: fits this kiln only with {value:.2f} times its {title}, outside "
                f"{ABSURD[0]:g} to {ABSURD[1]:g}; check that the log is of this kiln, in the right "
                "unit, and that power, volume and walls in the kiln file are right"
            )


def _result(
    kiln: KilnDescription,
    records: Sequence[FiringRecord],
    solution: FitSolution,
    priors: Priors,
    anchors: tuple[str, ...],
    on: date | None,
    elements_new: bool,
) -> KilnFit:
    covariance = solution.covariance + _model_covariance(kiln, records, solution.log_factor)
    # What a forecast goes by: its kWh are those of the same meter.
    factor = np.linalg.cholesky(covariance)
    if any(record.kwh is not None for record in records):
        covariance = covariance + METER_ERROR**2 * np.ones((4, 4))
    anchored = bool(anchors)
    pc = _ratio(solution, covariance, POWER, "power")
    lc = _ratio(solution, covariance, LOSS, "loss")
    ac = _ratio(solution, covariance, LEAK, "leak")
    ratios = {POWER: pc, LOSS: lc, LEAK: ac}
    estimates = []
    for index, title in enumerate(("power", "loss", "capacity", "leak")):
        value = math.exp(float(solution.log_factor[index]))
        relative = math.sqrt(float(covariance[index, index]))
        told = anchored and relative <= IDENTIFIABLE[index]
        note = f"learnt from the log, fixed by {' and '.join(anchors)}"
        if not told:
            note = why_not(
                index,
                title,
                anchors,
                relative=relative,
                prior=float(priors.scatter[index]),
                ratio=ratios.get(index),
                powered=pc.identifiable,
                least_power=solution.least_power,
            )
        estimates.append(FittedValue(value, value * relative, told, note))
    power, loss, capacity, leak = estimates
    latest = max((r.started.date() for r in records if r.started is not None), default=None)
    on = latest if on is None else on
    weights = _losses_weights(kiln, solution.log_factor)
    all_losses, relative = _along(solution, covariance, weights)
    size = _along(solution, covariance, weights - _axis(CAPACITY))
    push = _along(solution, covariance, _axis(POWER) - weights)
    return KilnFit(
        power=power,
        loss=loss,
        capacity=capacity,
        leak=leak,
        losses=FittedValue(
            all_losses,
            all_losses * relative,
            anchored and relative <= LOSSES_TOLD,
            "what walls and leaking air carry off together",
        ),
        power_over_capacity=pc,
        loss_over_capacity=lc,
        leak_over_capacity=ac,
        losses_over_capacity=_told(*size, "losses over capacity", RATIO_TOLD),
        power_over_losses=_told(*push, "power over losses", RATIO_TOLD),
        anchored=anchored,
        on=on,
        basis=basis(records, anchors, on),
        diagnostics=Diagnostics(
            rms_share=solution.rms,
            rms_w=solution.rms * kiln.power_w,
            windows=solution.windows,
            full_s=sum(r.full_s for r in records),
            powered_s=sum(r.powered_s for r in records),
            off_s=sum(r.off_s for r in records),
        ),
        cannot_tell=cannot_tell(
            kiln,
            records,
            estimates,
            powered=pc.identifiable,
            anchored=anchored,
            elements_new=elements_new,
            least_power=solution.least_power,
        ),
        warnings=warnings(records, estimates, solution.rms),
        errors=tuple(float(row[j]) for i, row in enumerate(factor) for j in range(i + 1)),
        hottest_c=max(float(record.chamber_c.max()) for record in records),
        fastest_c_per_h=max(record.fastest_c_per_h for record in records),
        least_power=solution.least_power,
        loaded=all(record.load is not None for record in records),
    )


def _ratio(solution: FitSolution, covariance: FloatArray, index: int, title: str) -> FittedValue:
    value, relative = _along(solution, covariance, _axis(index) - _axis(CAPACITY))
    most = SPLIT_TOLD.get(index, RATIO_TOLD)
    return _told(value, relative, f"{title} over capacity", most)


def _axis(index: int) -> FloatArray:
    axis: FloatArray = np.eye(4)[index]
    return axis


def _along(
    solution: FitSolution, covariance: FloatArray, weights: FloatArray
) -> tuple[float, float]:
    """Return a product of powers of the multipliers, and its standard error as a share."""
    variance = float(weights @ covariance @ weights)
    return math.exp(float(weights @ solution.log_factor)), math.sqrt(variance)


def _told(value: float, relative: float, title: str, most: float) -> FittedValue:
    told = relative <= most
    note = title + ("" if told else ": these logs do not show it")
    return FittedValue(value, value * relative, told, note)


def _model_covariance(
    kiln: KilnDescription, records: Sequence[FiringRecord], log_factor: FloatArray
) -> FloatArray:
    """Return the model's own errors: of each multiplier, of how losses part, and of all losses."""
    weights = _losses_weights(kiln, log_factor)
    covariance = MODEL_SCATTER**2 * np.eye(4)
    if weights[LEAK] > 0.0:
        split = SPLIT_SCATTER * (_axis(LOSS) / weights[LOSS] - _axis(LEAK) / weights[LEAK])
        covariance += np.outer(split, split)
    if not any(record.off_s > 0.0 for record in records):
        both = UNCOOLED_SCATTER * (_axis(LOSS) + _axis(LEAK))
        covariance += np.outer(both, both)
    return covariance


def _losses_weights(kiln: KilnDescription, log_factor: FloatArray) -> FloatArray:
    """Return how walls and moving air share in all that the kiln loses, at the usual reference."""
    m = Multipliers.of(log_factor)
    wall, air = m.loss * kiln.wall_w_per_k, m.leak * kiln.air_w_per_k
    weights: FloatArray = (wall * _axis(LOSS) + air * _axis(LEAK)) / (wall + air)
    return weights
