"""What a schedule will do, said beforehand: hours, opening time, cones and warnings.

Without a kiln file the program's own arithmetic is all there is: it says how long the ramps and
holds are written to take, not whether a kiln can follow.  Ramps without a rate, cooling that a
kiln cannot follow, and the cooling after the program come from the default curves of
:mod:`firing.kiln.natural`, and the forecast says so.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone
from typing import Any, Literal

import numpy as np

from firing.cones.equivalence import ConeVerdict, cone_reached
from firing.errors import FiringError
from firing.kiln import natural
from firing.plan_warnings import PlanWarning, warnings_for
from firing.schedule import Schedule, Segment
from firing.trace import FloatArray, Trace
from firing.units import format_duration

LimitedBy = Literal["program", "power", "cooling"]

UNLOAD_C = 60.0
"""Ware is handled at about this temperature (common practice, no source)."""

FIRST_CRACK_C = 150.0
"""A lid is first propped at about this temperature, if at all (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class ForecastSegment:
    """One segment on the clock; times count from the start of the program [s]."""

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
            "ends_at": clock_iso(started, self.end_s),
        }


@dataclass(frozen=True, eq=False)
class Forecast:
    """A schedule's course.

    Attributes
    ----------
    program_s : float
        From the start to the end of the last segment [s].
    heating_s, cooling_s, total_s : float
        Until the temperature leaves the peak for good, from there to `unload_c`, and both [s].
    total_low_s, total_high_s : float
        `total_s` with the default cooling curve at the ends of its range [s].
    first_crack_s : float or None
        When the kiln has cooled to 150 °C [s]; None if the program never leaves it that hot.
    trace : Trace
        The course, one channel, to the unloading temperature.
    """

    schedule: Schedule
    segments: tuple[ForecastSegment, ...]
    trace: Trace
    program_s: float
    heating_s: float
    total_s: float
    total_low_s: float
    total_high_s: float
    first_crack_s: float | None
    unload_c: float
    peak_c: float
    cones: ConeVerdict
    basis: str
    planned_basis: str
    started: datetime | None = None
    target_cone: str | None = None
    warnings: tuple[PlanWarning, ...] = ()

    @property
    def cooling_s(self) -> float:
        """From leaving the peak to the unloading temperature [s]."""
        return self.total_s - self.heating_s

    @property
    def needs_action(self) -> bool:
        """Whether a warning asks for something to be done."""
        return any(warning.severity == "act" for warning in self.warnings)

    def to_dict(self) -> dict[str, Any]:
        """Return the forecast as one JSON document, schema 1."""
        return {
            "schema": 1,
            "kind": "forecast",
            "schedule": self.schedule.to_dict(),
            "basis": self.basis,
            "planned_basis": self.planned_basis,
            "starts_at": clock_iso(self.started, 0.0),
            "program_s": self.program_s,
            "heating_s": self.heating_s,
            "cooling_s": self.cooling_s,
            "total_s": self.total_s,
            "total_low_s": self.total_low_s,
            "total_high_s": self.total_high_s,
            "program_ends_at": clock_iso(self.started, self.program_s),
            "first_crack_s": self.first_crack_s,
            "unload_c": self.unload_c,
            "opens_at": clock_iso(self.started, self.total_s),
            "peak_c": self.peak_c,
            "reaches_peak": None,
            "highest_c": None,
            "segments": [segment.to_dict(self.started) for segment in self.segments],
            "cones": {**self.cones.to_dict(), "target": self.target_cone},
            "energy_kwh": None,
            "cost": None,
            "max_rate_c_per_h": [],
            "warnings": [warning.to_dict() for warning in self.warnings],
        }


def clock(started: datetime, after_s: float) -> datetime:
    """Return the wall-clock moment `after_s` seconds after `started`.

    The sum is made on the time line, not on the clock's face, so that a change to or from summer
    time in between moves the hour shown and not the duration.
    """
    if started.tzinfo is None:
        raise FiringError("a start time needs a time zone")
    moment = datetime.fromtimestamp(started.timestamp(), tz=started.tzinfo)
    later = (started.timestamp() + after_s) - moment.timestamp()
    return _local(moment, later)


def _local(moment: datetime, later_s: float) -> datetime:
    # A fixed offset (what astimezone() leaves behind) knows nothing of summer time: such a moment
    # came from the machine's own zone, so the machine's own rules are asked again.
    zone = moment.tzinfo
    if isinstance(zone, timezone):
        local_offset = datetime.fromtimestamp(moment.timestamp()).astimezone().utcoffset()
        if local_offset == moment.utcoffset():
            return datetime.fromtimestamp(moment.timestamp() + later_s).astimezone()
        return moment + timedelta(seconds=later_s)
    return datetime.fromtimestamp(moment.timestamp() + later_s, tz=zone)


def clock_iso(started: datetime | None, after_s: float) -> str | None:
    """Return that moment as ISO 8601 to the second, or None if no start is known."""
    if started is None:
        return None
    return clock(started, after_s).isoformat(timespec="seconds")


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
        run, limited_by = natural.heat(from_c, segment.target_c), "power"
        time_s, temperature_c = run.time_s, run.temperature_c
    elif segment.drive == "off":
        run, limited_by = natural.cool(from_c, segment.target_c, room_c=room_c), "cooling"
        time_s, temperature_c = run.time_s, run.temperature_c
    elif cools and segment.rate_c_per_h is not None and segment.target_c >= room_c + 2.0:
        lowest = np.array([segment.target_c])
        slowest = float(natural.cooling_rate_c_per_h(lowest, room_c=room_c)[0])
        if slowest < segment.rate_c_per_h:
            run = natural.cool(
                from_c, segment.target_c, room_c=room_c, rate_cap_c_per_h=segment.rate_c_per_h
            )
            time_s, temperature_c, limited_by = run.time_s, run.temperature_c, "cooling"
    run_s = float(time_s[-1])
    if segment.hold_s:
        time_s = np.append(time_s, run_s + segment.hold_s)
        temperature_c = np.append(temperature_c, segment.target_c)
    planned_s = (run_s if ramp_s is None else ramp_s) + segment.hold_s
    return _Leg(time_s, temperature_c, run_s, planned_s, limited_by)


def planned_course(schedule: Schedule) -> tuple[Trace, tuple[ForecastSegment, ...], str]:
    """Return the program's course, its segments on the clock, and what the durations rest on.

    Parameters
    ----------
    schedule : Schedule
        The program.

    Returns
    -------
    trace : Trace
        Temperatures from the start to the end of the last segment.
    segments : tuple of ForecastSegment
        One a segment.
    planned_basis : str
        The program's arithmetic, or which segments had to be read off a default curve.

    Raises
    ------
    FiringError
        If a ramp without a rate leads where the default curves do not go.
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


def forecast(
    schedule: Schedule,
    *,
    started: datetime | None = None,
    unload_c: float = UNLOAD_C,
    target_cone: str | None = None,
) -> Forecast:
    """Forecast a schedule without a kiln.

    Parameters
    ----------
    schedule : Schedule
        The program.
    started : datetime, optional
        When it starts, with its time zone.
    unload_c : float
        The temperature the kiln is opened at [°C].
    target_cone : str, optional
        The cone wanted; the forecast then says what would meet it.

    Returns
    -------
    Forecast

    Raises
    ------
    FiringError
        If `unload_c` is not above the room, or a ramp cannot be forecast.
    """
    room_c = schedule.room_c
    if not room_c + 2.0 <= unload_c <= 300.0:
        raise FiringError(
            f"the kiln is opened at {room_c + 2.0:.0f} to 300 °C; {unload_c:g} °C is outside that"
        )
    program, segments, planned_basis = planned_course(schedule)
    program_s = segments[-1].end_s
    times, temperatures = program.time_s, program.channel_c()
    last_c = schedule.segments[-1].target_c
    cooled_s, low_s, high_s = 0.0, 0.0, 0.0
    if last_c > unload_c:
        run = natural.cool(last_c, unload_c, room_c=room_c)
        fast, slow = natural.COOLING_FACTOR_RANGE[1], natural.COOLING_FACTOR_RANGE[0]
        cooled_s = run.duration_s
        low_s = natural.cool(last_c, unload_c, room_c=room_c, factor=fast).duration_s
        high_s = natural.cool(last_c, unload_c, room_c=room_c, factor=slow).duration_s
        times = np.concatenate((times, program_s + run.time_s[1:]))
        temperatures = np.concatenate((temperatures, run.temperature_c[1:]))
    trace = Trace(times, temperatures, ("forecast",), "forecast", started=started)
    cones = cone_reached(trace.time_s, trace.channel_c())
    result = Forecast(
        schedule=schedule,
        segments=segments,
        trace=trace,
        program_s=program_s,
        heating_s=segments[schedule.peak_index].end_s,
        total_s=program_s + cooled_s,
        total_low_s=program_s + low_s,
        total_high_s=program_s + high_s,
        first_crack_s=_last_crossing_s(trace, FIRST_CRACK_C),
        unload_c=unload_c,
        peak_c=schedule.peak_c,
        cones=cones,
        basis="no kiln given: programmed durations, and the default cooling curve",
        planned_basis=planned_basis,
        started=started,
        target_cone=target_cone,
    )
    return replace(result, warnings=warnings_for(schedule, segments, trace, cones, target_cone))


def _last_crossing_s(trace: Trace, level_c: float) -> float | None:
    """Return when the trace last falls through `level_c` [s]; None if it never does."""
    temperature_c = trace.channel_c()
    falls = np.flatnonzero((temperature_c[:-1] > level_c) & (temperature_c[1:] <= level_c))
    if falls.size == 0:
        return None
    i = int(falls[-1])
    share = (temperature_c[i] - level_c) / (temperature_c[i] - temperature_c[i + 1])
    return float(trace.time_s[i] + share * (trace.time_s[i + 1] - trace.time_s[i]))


def describe_total(result: Forecast) -> str:
    """Return closing to opening in words, with the range the default cooling curve leaves."""
    if result.total_high_s <= result.program_s:
        return format_duration(result.total_s)
    return (
        f"{format_duration(result.total_s)} "
        f"({format_duration(result.total_low_s)} to {format_duration(result.total_high_s)})"
    )
