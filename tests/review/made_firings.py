"""Reviews of made firings, and traces simple enough to follow by hand."""

from pathlib import Path

import numpy as np
from logmaker import Controller, Faults, PlanStep, Sampling, fire, sample, write_csv

from firing.logs.reader import Log, read_log
from firing.review.result import Finding, Review
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray, Trace


def as_schedule(plan: tuple[PlanStep, ...]) -> Schedule:
    segments: list[Segment] = []
    before_c = 20.0
    for rate, target_c, hold_s in plan:
        drive = "rate" if rate is not None else "unlimited" if target_c > before_c else "off"
        segments.append(Segment(target_c, rate, drive, hold_s))
        before_c = target_c
    return Schedule("made", tuple(segments), "bisque")


def made_log(
    folder: Path,
    plan: tuple[PlanStep, ...],
    *,
    waits: bool = True,
    faults: Faults | None = None,
    sampling: Sampling | None = None,
    name: str = "log.csv",
) -> Log:
    firing = fire(plan, controller=Controller(waits=waits), faults=faults)
    return read_log(write_csv(sample(firing, sampling or Sampling(interval_s=60.0)), folder / name))


def finding(review: Review, name: str) -> Finding | None:
    return next((f for f in review.findings if f.id == name), None)


def ramp_c(top_c: float, rate_c_per_h: float = 60.0) -> tuple[FloatArray, FloatArray]:
    """A steady ramp that ends at its top and drops at once."""
    up_s = (top_c - 20.0) / rate_c_per_h * 3600.0
    time_s = np.append(np.linspace(0.0, up_s, 2001), up_s + 60.0)
    return time_s, np.append(np.linspace(20.0, top_c, 2001), 20.0)


def ramp(top_c: float, rate_c_per_h: float = 60.0, *, channel: str = "kiln") -> Trace:
    time_s, temperature_c = ramp_c(top_c, rate_c_per_h)
    return Trace(time_s, temperature_c, (channel,), "measured")
