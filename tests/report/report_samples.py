"""A forecast and a review made by hand, small enough to follow.

The plan is piecewise linear, so every duration is arithmetic: 20 to 120 °C at 50 °C/h is 2 h, to
600 °C at 120 °C/h 4 h, to 1200 °C at 150 °C/h 4 h and a hold of 30 min: 10 h 30 min together.  The
"log" runs the second ramp in 4 h 40 min and holds for 50 min: 1 h longer.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from firing.cones.equivalence import cone_reached
from firing.forecast.forecast import forecast
from firing.forecast.result import Forecast
from firing.logs.dialect import Column, Dialect
from firing.logs.reader import Log
from firing.review.alignment import align, analyse
from firing.review.resample import resampled
from firing.review.result import CauseShare, CoolingReview, Finding, Review, ReviewedSegment
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray, Trace
from firing.units import TemperatureUnit

HOUR_S = 3600.0
MINUTE_S = 60.0
STARTED = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
"""A Monday evening."""

PLAN_H = np.array([0.0, 2.0, 6.0, 10.0, 10.5])
PLAN_C = np.array([20.0, 120.0, 600.0, 1200.0, 1200.0])
ACTUAL_H = np.array([0.0, 2.0, 20.0 / 3.0, 32.0 / 3.0, 11.5, 23.5])
ACTUAL_C = np.array([20.0, 120.0, 600.0, 1200.0, 1200.0, 100.0])
LEAD_IN_S = 10.0 * MINUTE_S


@dataclass(frozen=True)
class Names:
    """Every text a stranger's file can put into a report."""

    title: str = "Plates, invented"
    segment: str = "Drying"
    action: str = "close the lid"
    channel: str = "middle"
    log_name: str = "plates.csv"
    note: str = "1 row was no reading."


def sample_schedule(names: Names | None = None, unit: TemperatureUnit = "C") -> Schedule:
    names = names or Names()
    return Schedule(
        names.title,
        (
            Segment(120.0, 50.0, name=names.segment, action=names.action),
            Segment(600.0, 120.0),
            Segment(1200.0, 150.0, hold_s=1800.0, name="To the cone"),
        ),
        purpose="glaze",
        unit=unit,
    )


def sample_forecast(
    names: Names | None = None, unit: TemperatureUnit = "C", started: datetime | None = STARTED
) -> Forecast:
    return forecast(sample_schedule(names, unit), started=started)


def _dialect(channels: tuple[str, ...]) -> Dialect:
    columns = [Column(0, "time", "time", "time")]
    columns += [
        Column(i + 1, name, name, "temperature", "C", "header") for i, name in enumerate(channels)
    ]
    return Dialect("utf-8", ",", ".", 0, 2, True, tuple(columns), "seconds")


def sample_trace(
    names: Names | None = None, *, step_s: float = 30.0, started: datetime | None = STARTED
) -> Trace:
    names = names or Names()
    time_s = np.arange(0.0, LEAD_IN_S + ACTUAL_H[-1] * HOUR_S + 1.0, step_s)
    middle = np.interp((time_s - LEAD_IN_S) / HOUR_S, ACTUAL_H, ACTUAL_C)
    both = np.column_stack((middle, middle - 8.0))
    return Trace(time_s, both, (names.channel, "bottom"), "measured", started=started)


def _segments(names: Names) -> tuple[ReviewedSegment, ...]:
    waiting = CauseShare("waiting", 40.0 * MINUTE_S)
    longer = CauseShare("longer_hold", 20.0 * MINUTE_S)
    edges_s = LEAD_IN_S + np.array([0.0, 2.0, 20.0 / 3.0, 11.5]) * HOUR_S
    ramp_ends_s = LEAD_IN_S + np.array([2.0, 20.0 / 3.0, 32.0 / 3.0]) * HOUR_S
    targets, planned_h = (120.0, 600.0, 1200.0), (2.0, 4.0, 4.5)
    rates, planned_rates = (50.0, 480.0 / (14.0 / 3.0), 150.0), (50.0, 120.0, 150.0)
    holds_s, planned_holds_s = (0.0, 0.0, 50.0 * MINUTE_S), (0.0, 0.0, 30.0 * MINUTE_S)
    causes = ((), (waiting,), (longer,))
    return tuple(
        ReviewedSegment(
            index=i,
            name=(names.segment, "", "To the cone")[i],
            planned_s=planned_h[i] * HOUR_S,
            forecast_s=planned_h[i] * HOUR_S,
            actual_s=float(edges_s[i + 1] - edges_s[i]),
            start_s=float(edges_s[i]),
            ramp_end_s=float(ramp_ends_s[i]),
            end_s=float(edges_s[i + 1]),
            target_c=targets[i],
            peak_c=targets[i],
            rate_c_per_h=rates[i],
            planned_rate_c_per_h=planned_rates[i],
            hold_s=holds_s[i],
            planned_hold_s=planned_holds_s[i],
            causes=causes[i],
        )
        for i in range(3)
    )


def _aligned_plan_c(time_s: FloatArray) -> FloatArray:
    hours = (time_s - LEAD_IN_S) / HOUR_S
    plan_h = np.interp(hours, [0.0, 2.0, 20.0 / 3.0, 32.0 / 3.0], PLAN_H[:4])
    # A bow below the second ramp, deepest in its middle, so that there is something to see.
    bow_c = 40.0 * np.clip(np.sin(np.pi * (hours - 2.0) / (14.0 / 3.0)), 0.0, None)
    aligned = np.interp(plan_h, PLAN_H, PLAN_C) + np.where(hours < 20.0 / 3.0, bow_c, 0.0)
    return np.where((hours >= 0.0) & (hours <= 11.5), aligned, np.nan)


def sample_review(
    names: Names | None = None,
    unit: TemperatureUnit = "C",
    *,
    step_s: float = 30.0,
    started: datetime | None = STARTED,
) -> Review:
    names = names or Names()
    plan = sample_forecast(names, unit, None)
    trace = sample_trace(names, step_s=step_s, started=started)
    log = Log(
        path=Path(names.log_name),
        trace=trace,
        dialect=_dialect(trace.channels),
        rows=trace.time_s.size + 1,
        used=trace.time_s.size,
        notes=(names.note,),
        interval_s=step_s,
        setpoint_c=None,
        unusable=(1, 0),
    )
    middle = trace.channel_c(0)
    even = resampled(trace.time_s, middle)
    verdicts = {
        name: cone_reached(trace.time_s, trace.channel_c(i))
        for i, name in enumerate(trace.channels)
    }
    return Review(
        log=log,
        schedule=plan.schedule,
        forecast=plan,
        channel=0,
        temperature_c=middle,
        lead_in_s=LEAD_IN_S,
        planned_s=10.5 * HOUR_S,
        planned_basis="the program's own arithmetic",
        forecast_s=10.5 * HOUR_S,
        actual_s=11.5 * HOUR_S,
        segments=_segments(names),
        causes=(
            CauseShare(
                "waiting",
                40.0 * MINUTE_S,
                "the kiln stayed behind in segment 2",
                ("measure the elements cold, with the kiln isolated",),
            ),
            CauseShare("longer_hold", 20.0 * MINUTE_S, "held 50 min instead of 30 min"),
            CauseShare("unexplained", 0.0),
        ),
        cooling=CoolingReview(
            from_c=1200.0,
            to_c=100.0,
            start_s=LEAD_IN_S + 11.5 * HOUR_S,
            end_s=LEAD_IN_S + 23.5 * HOUR_S,
            forecast_s=11.0 * HOUR_S,
            causes=(CauseShare("slow_cooling", HOUR_S),),
        ),
        cones_planned=plan.cones,
        cones=verdicts[trace.channels[0]],
        cones_by_channel=verdicts,
        findings=(
            Finding(
                "ran_long",
                "act",
                "The firing ran 1 h 00 min over its plan.",
                evidence="11 h 30 min against 10 h 30 min",
                next_step="Look at the elements.",
                source="cone-model",
                at_s=LEAD_IN_S,
            ),
            Finding("uneven", "check", "The bottom stayed 8 °C below the middle."),
            Finding("cone_met", "note", "The heat-work agrees with the plan."),
        ),
        analysed=analyse(plan.schedule, even, align(plan.schedule, even)),
        plan_time_s=LEAD_IN_S + PLAN_H * HOUR_S,
        plan_c=PLAN_C,
        aligned_plan_c=_aligned_plan_c(trace.time_s),
    )
