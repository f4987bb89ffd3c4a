"""A program laid out on the clock: its own arithmetic, and default curves where it sets no rate."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

import numpy as np

from firing.clock import after_iso
from firing.errors import FiringError
from firing.heat import default_kiln
from firing.heat.default_kiln import TRIAL, UsualKiln
from firing.schedule.schedule import Schedule, Segment
from firing.serialise import json_fields
from firing.trace import FloatArray, Trace

LimitedBy = Literal["program", "power", "cooling"]


@dataclass(frozen=True, slots=True)
class ForecastSegment:
    """One segment on the clock; times count from the start of the program [s].

    `ends` is False for what a stalled kiln never finishes.
    """

    index: int
    name: str
    start_s: float
    ramp_end_s: float
    end_s: float
    planned_s: float
    from_c: float
    end_c: float
    limited_by: LimitedBy
    action: str = ""
    ends: bool = True

    json_keys = (
        "index", "name", "start_s", "ramp_end_s", "end_s", "planned_s", "forecast_s", "from_c",
        "end_c", "limited_by",
    )  # fmt: skip

    @property
    def forecast_s(self) -> float:
        """Seconds the segment is expected to take."""
        return self.end_s - self.start_s

    def to_dict(self, started: datetime | None) -> dict[str, Any]:
        """Return the segment as the JSON shows it, with clock times if the start is known."""
        return json_fields(self) | {"ends_at": after_iso(started, self.end_s)}


@dataclass(frozen=True, eq=False)
class _Leg:
    """A segment's ramp and hold as points [s, °C] from the segment's start."""

    time_s: FloatArray
    temperature_c: FloatArray
    ramp_s: float
    planned_s: float
    limited_by: LimitedBy


def _leg(segment: Segment, from_c: float, room_c: float, usual: UsualKiln) -> _Leg:
    cools = segment.target_c < from_c
    ramp_s = segment.ramp_s(from_c)
    limited_by: LimitedBy = "program"
    time_s = np.array([0.0, ramp_s or 0.0])
    temperature_c = np.array([from_c, segment.target_c])
    if segment.drive == "unlimited":
        run, limited_by = default_kiln.heat(from_c, segment.target_c), "power"
        time_s, temperature_c = run.time_s, run.temperature_c
    elif segment.drive == "off":
        factor = usual.cooling_factor
        run = default_kiln.cool(from_c, segment.target_c, room_c=room_c, factor=factor)
        limited_by = "cooling"
        time_s, temperature_c = run.time_s, run.temperature_c
    elif cools and segment.rate_c_per_h is not None and segment.target_c >= room_c + 2.0:
        lowest = np.array([segment.target_c])
        factor = usual.cooling_factor
        own = default_kiln.cooling_rate_c_per_h(lowest, room_c=room_c, factor=factor)
        slowest = float(own[0])
        if slowest < segment.rate_c_per_h:
            run = default_kiln.cool(
                from_c,
                segment.target_c,
                room_c=room_c,
                rate_cap_c_per_h=segment.rate_c_per_h,
                factor=factor,
            )
            time_s, temperature_c, limited_by = run.time_s, run.temperature_c, "cooling"
    run_s = float(time_s[-1])
    if segment.hold_s:
        time_s = np.append(time_s, run_s + segment.hold_s)
        temperature_c = np.append(temperature_c, segment.target_c)
    planned_s = (run_s if ramp_s is None else ramp_s) + segment.hold_s
    return _Leg(time_s, temperature_c, run_s, planned_s, limited_by)


def set_point_over_time(
    schedule: Schedule, usual: UsualKiln = TRIAL
) -> tuple[Trace, tuple[ForecastSegment, ...], str]:
    """Return the program's course, its segments on the clock, and what the durations rest on.

    The durations rest on the program's arithmetic, or on a default curve for the segments named.
    """
    times, temperatures = [np.array([0.0])], [np.array([schedule.start_c])]
    segments: list[ForecastSegment] = []
    now_s = 0.0
    for index, segment in enumerate(schedule.segments):
        from_c = schedule.from_c(index)
        try:
            leg = _leg(segment, from_c, schedule.room_c, usual)
        except FiringError as error:
            raise FiringError(f"segment {index + 1}: {error}") from None
        segments.append(
            ForecastSegment(
                index=index,
                name=segment.name,
                start_s=now_s,
                ramp_end_s=now_s + leg.ramp_s,
                end_s=now_s + float(leg.time_s[-1]),
                planned_s=leg.planned_s,
                from_c=from_c,
                end_c=segment.target_c,
                limited_by=leg.limited_by,
                action=segment.action,
            )
        )
        times.append(now_s + leg.time_s[1:])
        temperatures.append(leg.temperature_c[1:])
        now_s = segments[-1].end_s
    trace = Trace(np.concatenate(times), np.concatenate(temperatures), ("plan",), "planned")
    return trace, tuple(segments), planned_basis(schedule, "the default kiln curve")


def planned_basis(schedule: Schedule, otherwise: str) -> str:
    """Return what planned durations rest on, given what stands in where no rate is set."""
    free = [str(i) for i, s in enumerate(schedule.segments, start=1) if s.drive != "rate"]
    basis = "the program's own arithmetic"
    if free:
        plural = "s" if len(free) > 1 else ""
        basis += f"; segment{plural} {', '.join(free)} (no rate set) by {otherwise}"
    return basis
