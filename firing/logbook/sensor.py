"""What witness cones, firing after firing, say of the thermocouple; and a plan corrected by it.

Each firing's cones say what the thermocouple reads too low by.  Two running sums of how far that
lies from what it was, one a side, show a jump as soon as it stands clear of the cones' own scatter.
No figure of °C an hour is assumed: hours in the heat are counted, and cones say the rest.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import pairwise

import numpy as np

from firing.errors import FiringError
from firing.logbook.measure import Measure
from firing.schedule.schedule import Schedule
from firing.serialise import Serialised, named
from firing.thermocouple.tolerance import LEVELS_C
from firing.trace import FloatArray
from firing.units import Wording, from_celsius, to_celsius

Kept = tuple[datetime, Measure, tuple[str, ...]]
"""A firing: when, what it says, and what happened to the kiln since the firing before it."""
NEW_SENSOR = "new sensor"

SCATTER_C = 4.0
"""Two firings' cones differ by as much with nothing changed [°C]; cone-maker-tolerance."""
SLACK, ALARM = 1.0, 4.0
"""A running sum forgets so much a firing, and is a jump from there on, in scatters.  Of steady
series of 100 firings one in thirteen shows a jump; one of 9 °C is seen after four (simulated)."""
LEAST_KNOWN = 3
"""A level is known from so many firings on."""
COMMON_C = 4.0
"""What the cones of all firings have in common, the law, does not average out [°C]; cone-model."""
NORMAL_80 = 1.2816
LEAST_OFFSETS = 2
"""A plan is corrected by no fewer firings with a bent cone."""
MOST_C = 40.0
"""A thermocouple further off is replaced, not corrected for [°C]; common practice."""
LEAST_SHIFT_C = 1.0
DRIFT_FIRINGS, DRIFT_SURE, DRIFT_HOURS = 6, 2.5, 10.0
"""A drift with the hours is spoken of from so many firings, errors and hours above 1100 °C on."""


@dataclass(frozen=True, slots=True)
class OffsetPoint(Serialised):
    """One firing's witness cones, with hours above 900, 1100 and 1200 °C up to it."""

    when: datetime
    offset_c: float | None
    low_c: float | None
    high_c: float | None
    hours_above: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Jump(Serialised):
    """Where the offset jumped: the first firing after it, from and to [°C]."""

    at: datetime
    before_c: float
    after_c: float


@dataclass(frozen=True, slots=True)
class Sensor(Serialised):
    """What is known of a kiln's thermocouple.

    Attributes
    ----------
    points : tuple of OffsetPoint
        Firings with witness cones since the sensor was new.
    since : datetime or None
        When it was new; None where no such event is kept.
    firings : int
        Firings since then.
    hours_above : tuple of float
        Hours above 900, 1100 and 1200 °C since then, of the firings kept.
    offset_c, low_c, high_c : float or None
        What it reads too low by since it last jumped, and an 80 % range; None without cones.
    offsets : int
        Firings that this rests on.
    jumps : tuple of Jump
    drift_c_per_100_h, drift_se : float or None
        How the offset goes with the hours above 1100 °C, where that is sure.
    not_yet : str
        What would show the offset, where nothing does.
    left_out : tuple of int
        Firings, by their numbers, whose cones contradict each other or their readings.
    """

    points: tuple[OffsetPoint, ...]
    since: datetime | None
    firings: int
    hours_above: tuple[float, ...]
    offset_c: float | None = None
    low_c: float | None = None
    high_c: float | None = None
    offsets: int = 0
    jumps: tuple[Jump, ...] = ()
    drift_c_per_100_h: float | None = None
    drift_se: float | None = None
    not_yet: str = ""
    left_out: tuple[int, ...] = ()

    @property
    def is_off(self) -> bool:
        """Whether the cones show it off, and not by their own errors."""
        return self.low_c is not None and self.high_c is not None and self.low_c * self.high_c > 0.0


def sensor_of(kept: Sequence[Kept]) -> Sensor:
    """Return what a kiln's firings say of its thermocouple, from all of them in any order."""
    in_order = sorted(kept, key=lambda one: one[0])
    starts = [i for i, (_, _, events) in enumerate(in_order) if NEW_SENSOR in events]
    life = in_order[starts[-1] if starts else 0 :]
    since = life[0][0] if starts else None
    hours = np.zeros(len(LEVELS_C))
    points: list[OffsetPoint] = []
    for when, m, _ in life:
        hours = hours + np.array(m.hours_above)
        if m.offsets:
            own = m.offsets[0]
            above = tuple(hours.tolist())
            points.append(OffsetPoint(when, own.offset_c, own.low_c, own.high_c, above))
    bare = Sensor(tuple(points), since, len(life), tuple(hours.tolist()))
    exact = [point for point in points if point.offset_c is not None]
    if not exact:
        why = "no kept firing has a bent witness cone; set three by the thermocouple, and keep them"
        return replace(bare, not_yet=why)
    values = np.array([point.offset_c for point in exact])
    scatter = _scatter(values)
    bounds = [0, *cusum(values.tolist(), scatter), len(exact)]
    levels = [float(values[a:b].mean()) for a, b in pairwise(bounds)]
    stepped = np.repeat(levels, np.diff(bounds))
    drift = _drift(exact)
    if drift is not None and np.sum((values - drift.line) ** 2) <= np.sum((values - stepped) ** 2):
        # What creeps is no jump: it stands where the line has come to.
        now, half = float(drift.line[-1]), math.hypot(COMMON_C, NORMAL_80 * drift.end_se)
        bounds, levels = [0, len(exact)], [now]
    else:
        drift = _drift(exact[bounds[-2] :])
        now = levels[-1]
        late = len(exact) - bounds[-2]
        half = math.hypot(COMMON_C, NORMAL_80 * scatter / math.sqrt(late))
    return replace(
        bare,
        offset_c=now,
        low_c=now - half,
        high_c=now + half,
        offsets=bounds[-1] - bounds[-2],
        jumps=tuple(
            Jump(exact[place].when, before, after)
            for place, (before, after) in zip(bounds[1:-1], pairwise(levels), strict=True)
        ),
        drift_c_per_100_h=None if drift is None else 100.0 * drift.slope,
        drift_se=None if drift is None else 100.0 * drift.se,
    )


def _scatter(values: np.ndarray) -> float:
    if values.size < 2 * DRIFT_FIRINGS:
        return SCATTER_C
    steps = np.abs(np.diff(values))
    return max(0.75 * SCATTER_C, 1.4826 * float(np.median(steps)) / math.sqrt(2.0))


@dataclass(frozen=True, eq=False)
class _Drift:
    """A line through offsets by the hours above 1100 °C [°C, °C/h], and the error of its end."""

    slope: float
    se: float
    line: FloatArray
    end_se: float


def _drift(points: Sequence[OffsetPoint]) -> _Drift | None:
    """Return how the offset goes with the hours, if it surely does."""
    hours = np.array([point.hours_above[1] for point in points])
    if hours.size < DRIFT_FIRINGS or float(np.ptp(hours)) < DRIFT_HOURS:
        return None
    values = np.array([point.offset_c for point in points])
    x = hours - hours.mean()
    slope = float(x @ values) / float(x @ x)
    line = values.mean() + slope * x
    scatter = max(float(np.std(values - line, ddof=2)), 0.75 * SCATTER_C)
    se = scatter / math.sqrt(x @ x)
    if abs(slope) <= DRIFT_SURE * se:
        return None
    return _Drift(slope, se, line, math.hypot(scatter / math.sqrt(x.size), se * float(x[-1])))


def cusum(values: Sequence[float], scatter: float) -> list[int]:
    """Return where a series jumps from its level so far: the first value of each new level."""
    found: list[int] = []
    begin = i = 0
    sums, since = [0.0, 0.0], [0, 0]
    while i < len(values):
        known = max(min(since), begin + LEAST_KNOWN)
        if i < known:
            since = [max(since[0], i + 1), max(since[1], i + 1)]
            i += 1
            continue
        level = sum(values[begin:known]) / (known - begin)
        off = (values[i] - level) / (scatter * math.sqrt(1.0 + 1.0 / (known - begin)))
        for side, sign in enumerate((1.0, -1.0)):
            sums[side] = max(0.0, sums[side] + sign * off - SLACK)
            if sums[side] == 0.0:
                since[side] = i + 1
        over = [side for side in (0, 1) if sums[side] > ALARM]
        if over:
            begin = i = since[over[0]]
            found.append(begin)
            sums, since = [0.0, 0.0], [begin, begin]
            continue
        i += 1
    return found


@dataclass(frozen=True, eq=False)
class Correction(Serialised):
    """A plan whose peak is moved by what the thermocouple reads wrong, and the sum of it.

    `schedule` is None where nothing is to be moved; `sum_lines` are the steps, a line each.
    """

    schedule: Schedule | None
    shift_c: float
    sum_lines: tuple[str, ...] = field(metadata=named("sum"))


def corrected(plan: Schedule, sensor: Sensor, already_c: float) -> Correction:
    """Return a plan with its peak moved so that the ware comes to what was planned.

    Parameters
    ----------
    plan : Schedule
        The next plan.
    sensor : Sensor
        What is known of the thermocouple.
    already_c : float
        What the plan's peak already allows for, as of `kiln_reads_low_c` [°C].

    Raises
    ------
    FiringError
        If too few cones show the offset, it is too large to correct for, or the plan's peak would
        come to lie below what goes before it.
    """
    if sensor.offset_c is None or sensor.offsets < LEAST_OFFSETS:
        raise FiringError(
            f"not yet: a correction takes {LEAST_OFFSETS} firings whose bent witness cones show "
            f"what the thermocouple reads wrong, and {sensor.offsets} do; keep more"
        )
    if abs(sensor.offset_c) > MOST_C:
        raise FiringError(
            f"the thermocouple is {abs(sensor.offset_c):.0f} °C off, more than a plan is corrected "
            "by; replace it, and check where it sits"
        )
    say = Wording(plan.unit)
    shift_c = already_c - sensor.offset_c
    low_c, high_c = sensor.low_c or 0.0, sensor.high_c or 0.0
    lines = [
        f"Peak as planned: {say.degrees(plan.peak_c)}.",
        f"By {sensor.offsets} firings' cones the thermocouple reads "
        f"{reads_wrong(sensor.offset_c, say)} (80 %: {wrong_range(low_c, high_c, say)}).",
    ]
    if already_c:
        lines.append(f"The plan already allows for {reads_wrong(already_c, say)}.")
    if low_c <= already_c <= high_c or abs(shift_c) < LEAST_SHIFT_C:
        lines.append("That is within what cones can show: the peak stays.")
        return Correction(None, 0.0, tuple(lines))
    unit = plan.unit
    peak_c = to_celsius(round(from_celsius(plan.peak_c + shift_c, unit)), unit)
    segments = tuple(
        replace(segment, target_c=peak_c) if segment.target_c == plan.peak_c else segment
        for segment in plan.segments
    )
    others = [s.target_c for s in plan.segments if s.target_c != plan.peak_c]
    if peak_c <= max(others, default=plan.start_c):
        raise FiringError(
            f"the peak would come to {say.degrees(peak_c)}, below what another segment asks for; "
            "lower that one first"
        )
    lines.append(
        f"Peak to key in: {say.degrees(plan.peak_c)} {'−' if shift_c < 0 else '+'} "
        f"{say.difference(abs(shift_c))} = {say.degrees(peak_c)}. Rates and holds stay."
    )
    return Correction(replace(plan, segments=segments), shift_c, tuple(lines))


def reads_wrong(offset_c: float, say: Wording) -> str:
    """Return which way a thermocouple reads wrong, and by how much."""
    return f"{say.difference(abs(offset_c))} too {'low' if offset_c >= 0.0 else 'high'}"


def wrong_range(low_c: float, high_c: float, say: Wording) -> str:
    """Return a range of what a thermocouple reads wrong, the smaller first, each with its way."""
    near, far = sorted((low_c, high_c), key=abs)
    if low_c * high_c > 0.0:
        return f"{say.difference(abs(near))} to {reads_wrong(far, say)}"
    return f"{reads_wrong(low_c, say)} to {reads_wrong(high_c, say)}"
