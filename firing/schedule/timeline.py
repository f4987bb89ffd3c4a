"""A program laid out on the clock: its own arithmetic, and default curves where it sets no rate."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

import numpy as np

from firing.clock import after_iso
from firing.errors import FiringError
from firing.heat import default_kiln
from firing.schedule.schedule import Schedule, Segment
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

    @property
    def forecast_s(self) -> float:
        """Seconds the segment is expected to take."""
        return self.end_s - self.start_s

    def to_dict(self, started: datetime | None) -> dict[str, Any]:
        """Return the segment as the JSON shows it, with clock times if the start is known."""
        return {
            "index": self.index,
            "name": self.name,
            "start_s": self.start_s,
            "ramp_end_s": self.ramp_end_s,
            "end_s": self.end_s,
            "planned_s": self.planned_s,
            "forecast_s": self.forecast_s,
            "from_c": self.from_c,
            "end_c": self.end_c,
            "limited_by": self.limited_by,
            "ends_at": after_iso(started, self.end_s),
        }


@dataclass(frozen=True, eq=False)
class _Leg:
    """A segment's ramp and hold as points [s, °C] from the segment's start."""

    time_s: FloatArray
    temperature_c: FloatArray
    ramp_s: float
    planned_s: float
    limited_by: LimitedBy


def _leg(segment: Segment, from_c: float, room_c: float) -> _Leg:
    cools = segment.target_c < from_c
    ramp_s = segment.ramp_s(from_c)
    limited_by: LimitedBy = "program"
    time_s = np.array([0.0, ramp_s or 0.0])
    temperature_c = np.array([from_c, segment.target_c])
    if segment.drive == "unlimited":
        run, limited_by = default_kiln.heat(from_c, segment.target_c), "power"
        time_s, temperature_c = run.time_s, run.temperature_c
    elif segment.drive == "off":
        run, limited_by = default_kiln.cool(from_c, segment.target_c, room_c=room_c), "cooling"
        time_s, temperature_c = run.time_s, run.temperature_c
    elif cools and segment.rate_c_per_h is not None and segment.target_c >= room_c + 2.0:
        lowest = np.array([segment.target_c])
        slowest = float(default_kiln.cooling_rate_c_per_h(lowest, room_c=room_c)[0])
        if slowest < segment.rate_c_per_h:
            run = default_kiln.cool(
                from_c, segment.target_c, room_c=room_c, rate_cap_c_per_h=segment.rate_c_per_h
            )
            time_s, temperature_c, limited_by = run.time_s, run.temperature_c, "cooling"
    run_s = float(time_s[-1])
    if segment.hold_s:
        time_s = np.append(time_s, run_s + segment.hold_s)
        temperature_c = np.append(temperature_c, segment.target_c)
    planned_s = (run_s if ramp_s is None else ramp_s) + segment.hold_s
    return _Leg(time_s, temperature_c, run_s, planned_s, limited_by)


def set_point_over_time(schedule: Schedule) -> tuple[Trace, tuple[ForecastSegment, ...], str]:
    """Return the program's course, its segments on the clock, and what the durations rest on.

    The durations rest on the program's arithmetic, or on a default curve for the segments named.
    """
    times, temperatures = [np.array([0.0])], [np.array([schedule.start_c])]
    segments: list[ForecastSegment] = []
    free: list[str] = []
    now_s = 0.0
    for index, segment in enumerate(schedule.segments):
        from_c = schedule.from_c(index)
        try:
            leg = _leg(segment, from_c, schedule.room_c)
        except FiringError as error:
            raise FiringError(f"segment {index + 1}: {error}") from None
        if segment.drive != "rate":
            free.append(str(index + 1))
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
    basis = "the program's own arithmetic"
    if free:
        plural = "s" if len(free) > 1 else ""
        basis += f"; segment{plural} {', '.join(free)} (no rate set) by the default kiln curve"
    return trace, tuple(segments), basis
