"""Why a kiln was short of power: less power, higher losses, a heavier load or a sagging supply.

The yardstick is the kiln as its logs have taught it.  Half-hour by half-hour, the heat that the
measured course took is set against what the elements gave.  Each reason leaves its own mark on the
difference: less power in proportion to what was given, a leak in proportion to the degrees above
the room (natural cooling included), a load wherever its temperature moves.  A supply that sags or a
bank that fails has edges in time.  The difference is a straight line in the size of each mark, so
each hypothesis has its likelihood in closed form.  One more hypothesis, that something else is the
matter, has a mark of no shape and keeps the others honest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from firing.errors import FiringError
from firing.kiln.description import resistance_factors
from firing.kiln.inverse_model import CourseHeat, contents_heat_j, heat_needed, wall_heat_j
from firing.kiln.residuals import WINDOW_S, FiringRecord, load_of, windows_of
from firing.kiln.thermal_network import Network
from firing.review import thresholds as limit
from firing.review.result import Confidence, HalfHours, PowerReason, Review, Shortfall
from firing.trace import FloatArray
from firing.units import KELVIN_AT_0_C

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription


def half_hours_of(review: Review, kiln: KilnDescription) -> HalfHours | None:
    """Return a review's half-hours in a learnt kiln; None where its tables do not reach."""
    try:
        return half_hours(kiln, record_of(review))
    except FiringError:
        return None


def record_of(review: Review, *, planned: bool = True) -> FiringRecord:
    """Return the log as it is weighed: without gaps, outages, and what an opened lid did to it.

    Another firing's plan, or none (`planned`), says nothing of when the elements were on.
    """
    from firing.review.fit_input import fit_input_of

    if review.refused or not planned:
        return fit_input_of(review.log, load=review.load, channel=review.channel + 1)
    record = fit_input_of(
        review.log,
        schedule=review.schedule,
        load=review.load,
        channel=review.channel + 1,
        analysed=review.analysed,
    )
    duty, start_s, end_s = record.duty.copy(), record.time_s[:-1], record.time_s[1:]
    beside_s = limit.SLOPE_HALF_WINDOW_S
    holes = [(cut.start_s, cut.end_s) for cut in review.analysed.alignment.interruptions]
    holes += [(gap.start_s, gap.end_s) for gap in review.gaps]
    for from_s, until_s in holes:
        duty[(end_s > from_s - beside_s) & (start_s < until_s + beside_s)] = np.nan
    if review.quickening is not None:
        duty[end_s > review.quickening.at_s] = np.nan
    return replace(record, duty=duty)


def half_hours(
    kiln: KilnDescription, record: FiringRecord, heat: CourseHeat | None = None
) -> HalfHours:
    """Set the heat a firing took against what the kiln, as learnt, could give and gave.

    What contents and walls took may be known already.
    """
    load = load_of(kiln, record)
    if heat is None:
        network = Network(kiln, load, room_c=record.room_c)
        contents_j = contents_heat_j(network, record.course)
        wall_j = wall_heat_j(network, record.course)
    else:
        network, contents_j, wall_j = heat.network, heat.contents_j, heat.wall_j
    needed = heat_needed(
        network,
        record.course,
        contents_j=contents_j,
        wall_j=wall_j,
        leak_w_per_k=network.leak_w_per_k,
    )
    ct = resistance_factors(needed.wire_c)
    full_j = kiln.available_w * 0.5 * (1.0 / ct[1:] + 1.0 / ct[:-1]) * record.step_s
    above_k = record.chamber_c - record.room_c
    kelvin = record.chamber_c + KELVIN_AT_0_C
    radiated = (kelvin**4 - (record.room_c + KELVIN_AT_0_C) ** 4) / np.maximum(above_k, 1.0)

    loss_w_per_k = kiln.fitted.loss * kiln.wall_w_per_k + network.leak_w_per_k
    known = [(a, b, True) for a, b in windows_of(record)]
    pieces = sorted(known + [(a, b, False) for a, b in _open_windows(record)])
    first = np.array([a for a, _, _ in pieces], dtype=np.int64)
    last = np.array([b for _, b, _ in pieces], dtype=np.int64)
    is_known = np.array([known for _, _, known in pieces], dtype=bool)

    shares = np.stack((np.ones_like(above_k), np.sqrt(np.maximum(above_k, 0.0)), radiated))
    at_peak = shares[:, int(np.argmax(record.chamber_c)), None]
    # A kiln that never got warmer than its room loses nothing in any way.
    flows = above_k * shares / np.where(at_peak > 0.0, at_peak, 1.0)
    degree_s = 0.5 * record.step_s * (flows[:, 1:] + flows[:, :-1])
    given_j = np.where(np.isnan(record.duty), 0.0, full_j * record.duty)
    total = np.zeros((5, record.time_s.size))
    np.cumsum(np.vstack((full_j, given_j, degree_s)), axis=1, out=total[:, 1:])
    whole_j, known_j, *degrees = total[:, last] - total[:, first]
    need = (needed.heat_j[last] - needed.heat_j[first]) / whole_j
    given = np.where(is_known, known_j / whole_j, 1.0)
    leak, draught, hole = (loss_w_per_k * each / whole_j for each in degrees)
    middle_c = record.chamber_c[(first + last) // 2]
    doubt = np.where(middle_c < limit.REASON_DRYING_C, limit.REASON_DRYING, 0.0)
    if load.has_bound_water:
        low_c, high_c = limit.REASON_BOUND_WATER_C
        bound = (middle_c > low_c) & (middle_c < high_c)
        doubt = np.where(bound, limit.REASON_BOUND_WATER, doubt)
    return HalfHours(
        start_s=record.time_s[first],
        end_s=record.time_s[last],
        middle_c=middle_c,
        known=is_known,
        powered=given > 0.0,
        excess=need - given,
        given=given,
        contents=(contents_j[last] - contents_j[first]) / whole_j,
        leak=leak,
        draught=draught,
        hole=hole,
        stored=need - leak,
        doubt=np.where(given > 0.0, doubt, 0.0),
        full_j=whole_j,
    )


def _open_windows(record: FiringRecord) -> list[tuple[int, int]]:
    """Return the half-hours of unknown duty in which the kiln was heated, as moments' numbers."""
    peak = int(np.argmax(record.chamber_c))
    found: list[tuple[int, int]] = []
    begin = 0
    for i in range(peak + 1):
        if i == peak or not math.isnan(record.duty[i]):
            begin = i + 1
        elif record.time_s[i + 1] - record.time_s[begin] >= WINDOW_S:
            found.append((begin, i + 1))
            begin = i + 1
    return found


@dataclass(frozen=True, eq=False)
class _Marks:
    """Marks of one kind, a column each, and what is expected of their size."""

    reason: PowerReason
    prior: float
    columns: FloatArray  # (known, k)
    open_columns: FloatArray  # (open, k)
    mean: float
    scatter: float
    least: float
    from_s: FloatArray
    until_s: FloatArray


def explain(
    windows: HalfHours, *, load_known: bool, kiln: KilnDescription | None = None
) -> Shortfall | None:
    """Weigh the reasons; None where too little of the firing shows what the elements did.

    The fit's own errors, where the kiln file has them, are part of what is healthy.
    """
    known, rest = windows.where(windows.known), windows.where(~windows.known)
    if np.count_nonzero(known.powered) < limit.REASON_LEAST_WINDOWS:
        return None
    covariance = _covariance(known, _fit_errors(known, kiln), load_known=load_known)
    whitener = np.linalg.inv(np.linalg.cholesky(covariance))
    seen = whitener @ known.excess
    scores: dict[PowerReason, float] = {}
    best: dict[str, tuple[float, float, _Marks, int]] = {}
    for name, marks in _hypotheses(known, rest):
        logs, sizes = _evidence(whitener, seen, rest, marks)
        most = float(logs.max())
        total = marks.prior * math.exp(min(most, 700.0)) * float(np.mean(np.exp(logs - most)))
        scores[marks.reason] = scores.get(marks.reason, 0.0) + total
        place = int(np.argmax(logs))
        best[name] = (most, float(sizes[place]), marks, place)
    other = covariance + _shapeless(known)
    as_learnt = limit.REASON_PRIORS["as_learnt"] * _kept(rest)
    odd = limit.REASON_PRIORS["unknown"] * math.exp(
        min(_log_ratio(covariance, other, known.excess), 700.0)
    )
    scores["unknown"] = as_learnt + odd
    whole = sum(scores.values())
    probabilities = {reason: score / whole for reason, score in scores.items()}
    reason = max(probabilities, key=lambda r: probabilities[r])
    chance = probabilities[reason]
    confidence: Confidence = "possible"
    if chance >= limit.REASON_SURE:
        confidence = "sure"
    elif chance >= limit.REASON_LIKELY:
        confidence = "likely"
    elif chance < limit.REASON_POSSIBLE:
        reason = "unknown"
    water_kg = None
    if reason == "load" and _weight(best["water"]) > _weight(best["load"]):
        boiling = _boiling(windows) > 0.0
        heat_j = best["water"][1] * float(np.sum(windows.full_j[boiling]))
        water_kg = heat_j / limit.WATER_J_PER_KG
    edge = best["supply"] if reason == "supply" else None
    if reason == "power" and best["step"][0] > best["power"][0]:
        edge = best["step"]
    if edge is not None and confidence == "sure":
        confidence = "likely"  # a thermocouple that slides has such an edge, too
    down = best["power"] if edge is None else edge
    return Shortfall(
        reason=reason,
        probabilities=probabilities,
        confidence=confidence,
        as_learnt=as_learnt / whole,
        power_down=down[1],
        leak_more=best["losses"][1],
        load_times=1.0 + best["load"][1],
        from_s=None if edge is None else float(edge[2].from_s[edge[3]]),
        until_s=float(edge[2].until_s[edge[3]])
        if edge is not None and reason == "supply"
        else None,
        water_kg=water_kg,
    )


def _weight(found: tuple[float, float, _Marks, int]) -> float:
    return found[0] + math.log(found[2].prior)


def _boiling(windows: HalfHours) -> FloatArray:
    """Return 1 where free water boils off with the elements on, else 0."""
    low_c, high_c = limit.DAMP_C
    inside = (windows.middle_c > low_c) & (windows.middle_c < high_c) & windows.powered
    return inside.astype(np.float64)


def _fit_errors(known: HalfHours, kiln: KilnDescription | None) -> FloatArray:
    """Return what the fit may be off by, together: a column each, apart from the others."""
    if kiln is None or not kiln.fitted.errors:
        scatters = (limit.REASON_FIT, limit.REASON_FIT_LOSS, limit.REASON_FIT)
        return np.stack((known.given, known.leak, known.stored), axis=1) * scatters
    # What power, loss, capacity and leak each change; a leak's share of all losses is as learnt.
    walls_w_per_k = kiln.fitted.loss * kiln.wall_w_per_k
    walls = walls_w_per_k / (walls_w_per_k + kiln.fitted.leak_factor * kiln.air_w_per_k)
    marks = (-known.given, walls * known.leak, known.stored, (1.0 - walls) * known.leak)
    errors = np.array(kiln.fitted.error_columns()).T
    found: FloatArray = np.stack(marks, axis=1) @ errors
    return found


def _covariance(known: HalfHours, fit: FloatArray, *, load_known: bool) -> FloatArray:
    """Return what the half-hours scatter by in a firing as the kiln was learnt."""
    span = (known.end_s - known.start_s) / WINDOW_S
    alone = np.diag(limit.REASON_SCATTER**2 / span + known.doubt**2)
    # What the model leaves out depends on temperature, and differs between climbing and cooling.
    apart_c = known.middle_c[:, None] - known.middle_c[None, :]
    same = known.powered[:, None] == known.powered[None, :]
    size = np.where(known.powered, limit.REASON_MODEL, limit.REASON_MODEL_OFF)
    shape = np.outer(size, size) * np.exp(-0.5 * (apart_c / limit.REASON_MODEL_C) ** 2) * same
    middle_s = 0.5 * (known.start_s + known.end_s)
    apart_s = np.abs(middle_s[:, None] - middle_s[None, :])
    supply = limit.REASON_SUPPLY**2 * np.exp(-apart_s / limit.REASON_SUPPLY_S)
    load = limit.REASON_LOAD_GIVEN if load_known else limit.REASON_LOAD_OPEN
    total: FloatArray = alone + shape + supply * np.outer(known.given, known.given) + fit @ fit.T
    total += load**2 * np.outer(known.contents, known.contents)
    return total


def _shapeless(known: HalfHours) -> FloatArray:
    apart_c = known.middle_c[:, None] - known.middle_c[None, :]
    same = known.powered[:, None] == known.powered[None, :]
    found: FloatArray = (
        limit.REASON_OTHER**2 * np.exp(-0.5 * (apart_c / limit.REASON_OTHER_C) ** 2) * same
    )
    return found


def _water(known: HalfHours, rest: HalfHours) -> _Marks:
    """Return the mark of a load that takes more as it dries, and no more above."""
    mean, scatter, least = limit.REASON_SIZES["water"]
    nowhere = np.zeros(1)
    columns, open_columns = (-_boiling(windows)[:, None] for windows in (known, rest))
    prior = limit.REASON_PRIORS["water"]
    return _Marks("load", prior, columns, open_columns, mean, scatter, least, nowhere, nowhere)


def _hypotheses(known: HalfHours, rest: HalfHours) -> list[tuple[str, _Marks]]:
    def plain(reason: PowerReason, *fields: str) -> tuple[str, _Marks]:
        columns, open_columns = (
            -np.stack([getattr(windows, name) for name in fields], axis=1)
            for windows in (known, rest)
        )
        nowhere = np.zeros(len(fields))
        return reason, _Marks(
            reason,
            limit.REASON_PRIORS[reason],
            columns,
            open_columns,
            *limit.REASON_SIZES[reason],
            nowhere,
            nowhere,
        )

    found = [
        plain("power", "given"),
        plain("losses", "leak", "draught", "hole"),
        plain("load", "contents"),
        ("water", _water(known, rest)),
    ]
    heating = np.concatenate((known.start_s[known.powered], rest.start_s))
    ends = np.concatenate((known.end_s[known.powered], rest.end_s))
    edges = np.unique(heating)
    last_s = float(ends.max())
    wet = [part.end_s[_boiling(part) > 0.0] for part in (known, rest)]
    dry_s = float(np.concatenate(wet).max(initial=0.0))
    steps = edges[1:]
    dips = [
        (a, b)
        for a in edges
        for b in edges
        if b - a >= limit.REASON_DIP_LEAST_S
        and last_s - b >= limit.REASON_BACK_S
        # What is over before the ware is dry was water.
        and b > dry_s
    ]
    for name, reason, spans in (
        ("step", "power", [(a, last_s) for a in steps]),
        ("supply", "supply", dips),
    ):
        if not spans:
            continue
        begin, end = (np.array(values) for values in zip(*spans, strict=True))
        mean, scatter, least = limit.REASON_SIZES[name]
        found.append(
            (
                name,
                _Marks(
                    "power" if reason == "power" else "supply",
                    limit.REASON_PRIORS[name],
                    -known.given[:, None] * _overlap(known, begin, end),
                    -rest.given[:, None] * _overlap(rest, begin, end),
                    mean,
                    scatter,
                    least,
                    begin,
                    end,
                ),
            )
        )
    return found


def _overlap(windows: HalfHours, begin: FloatArray, end: FloatArray) -> FloatArray:
    """Return the share of each half-hour that lies in each span, shape (n, k)."""
    start, stop = windows.start_s[:, None], windows.end_s[:, None]
    inside = np.minimum(stop, end[None, :]) - np.maximum(start, begin[None, :])
    share: FloatArray = np.clip(inside, 0.0, None) / (stop - start)
    return share


def _evidence(
    whitener: FloatArray, seen: FloatArray, rest: HalfHours, marks: _Marks
) -> tuple[FloatArray, FloatArray]:
    """Return each mark's log likelihood over that of the kiln as learnt, and its likeliest size."""
    columns = whitener @ marks.columns
    size = np.sum(columns**2, axis=0)
    along = columns.T @ seen
    precision = 1.0 / marks.scatter**2
    variance = 1.0 / (size + precision)
    middle = variance * (along + precision * marks.mean)
    logs = 0.5 * (middle**2 / variance - marks.mean**2 * precision)
    logs += 0.5 * np.log(variance * precision)
    # Only sizes beyond the least count as this reason at all.
    above = np.array(
        [_upper((marks.least - m) / s) for m, s in zip(middle, np.sqrt(variance), strict=True)]
    )
    logs += np.log(np.maximum(above, 1e-300)) - math.log(
        _upper((marks.least - marks.mean) / marks.scatter)
    )
    sizes = np.maximum(middle, marks.least)
    if rest.excess.size:
        # Where the kiln kept up it needed no more than it had.
        slack = marks.open_columns * sizes[None, :] - rest.excess[:, None]
        logs += np.log([_enough(value) for value in (slack / _play(rest)[:, None]).min(axis=0)])
    return logs, sizes


def _kept(rest: HalfHours) -> float:
    return _enough(float((-rest.excess / _play(rest)).min())) if rest.excess.size else 1.0


def _play(rest: HalfHours) -> FloatArray:
    return np.hypot(limit.REASON_KEPT_UP, rest.doubt)


def _enough(slack: float) -> float:
    return max(_upper(-slack), 1e-12)


def _upper(z: float) -> float:
    return 0.5 * math.erfc(z / math.sqrt(2.0))


def _log_ratio(usual: FloatArray, other: FloatArray, excess: FloatArray) -> float:
    def log_density(covariance: FloatArray) -> float:
        _, log_det = np.linalg.slogdet(covariance)
        return -0.5 * (float(log_det) + float(excess @ np.linalg.solve(covariance, excess)))

    return log_density(other) - log_density(usual)
