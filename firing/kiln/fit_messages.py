"""A fit in sentences: why a multiplier is not told, what the logs leave open, what is odd."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from firing.kiln.description import KilnDescription
from firing.kiln.firing_record import FiringRecord
from firing.kiln.fit_result import FittedValue
from firing.kiln.residuals import CAPACITY, HOT_SETTLE_S, LOSS, POWER
from firing.units import format_duration

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
