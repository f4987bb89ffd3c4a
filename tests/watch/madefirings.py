"""Made firings with one danger each, and healthy ones: what a watch must tell, and must not.

The kiln is `logmaker`'s, which shares no code with the package.  Faults of the power are faults of
that kiln; faults of the thermocouple's circuit change the readings alone, by the physics of the
circuit: a short reads its own place's temperature, a thermocouple pulled out cools as a body in
air, reversed leads read as far below the terminals as the kiln is above them.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from logmaker import Firing, FloatArray, PlanStep

from firing.capture.reading import PlausibilityCheck, Reading, Status
from firing.forecast.forecast import forecast
from firing.schedule.schedule import Schedule, Segment
from firing.watch.events import AlarmLimits, WatchEvent
from firing.watch.predictor import ForecastPredictor
from firing.watch.watcher import Watcher

ROOM_C = 20.0
TERMINALS_C = 35.0
"""Where leads short, beside the kiln; common practice, no source."""
SHORT_GLAZE: tuple[PlanStep, ...] = (
    (150.0, 600.0, 0.0),
    (180.0, 1000.0, 0.0),
    (100.0, 1200.0, 1800.0),
)
SLOW_COOLED: tuple[PlanStep, ...] = (*SHORT_GLAZE, (80.0, 1000.0, 1200.0))


def as_schedule(plan: tuple[PlanStep, ...]) -> Schedule:
    return Schedule("made", tuple(Segment(t, rate, "rate", hold_s) for rate, t, hold_s in plan))


def crossing_s(firing: Firing, at_c: float) -> float:
    """Return when a firing first reads a temperature [s]."""
    return float(firing.time_s[int(np.argmax(firing.reading_c >= at_c))])


def shorted(time_s: FloatArray, reading_c: FloatArray, from_s: float) -> FloatArray:
    return np.where(time_s >= from_s, TERMINALS_C, reading_c)


def pulled_out(time_s: FloatArray, reading_c: FloatArray, from_s: float) -> FloatArray:
    """A sheath of a minute's time constant comes to rest beside the hot wall, at 120 °C."""
    since_s = np.maximum(time_s - from_s, 0.0)
    left = np.exp(-since_s / 60.0)
    at_c = float(np.interp(from_s, time_s, reading_c))
    return np.where(time_s >= from_s, 120.0 + (at_c - 120.0) * left, reading_c)


def opened(time_s: FloatArray, reading_c: FloatArray, from_s: float) -> FloatArray:
    """An instrument that drives an open input to the end of its scale, type K's 1372 °C."""
    return np.where(time_s >= from_s, 1372.0, reading_c)


def reversed_leads(time_s: FloatArray, reading_c: FloatArray, from_s: float) -> FloatArray:
    """As far below the terminals as the kiln is above them, near enough."""
    return np.where(time_s >= from_s, 2.0 * ROOM_C - reading_c, reading_c)


def stuck(time_s: FloatArray, reading_c: FloatArray, from_s: float) -> FloatArray:
    at_c = float(np.interp(from_s, time_s, reading_c))
    return np.where(time_s >= from_s, at_c, reading_c)


@dataclass
class Heard:
    """What a watch told, with the times of the readings it saw."""

    notices: list[WatchEvent] = field(default_factory=list)
    time_s: FloatArray = field(default_factory=lambda: np.zeros(0))

    def acts(self) -> list[WatchEvent]:
        """Return the alarms that were raised."""
        return [n for n in self.notices if n.severity == "act" and n.state == "raised"]

    def in_time(self, from_s: float, more_s: float = 0.0) -> list[WatchEvent]:
        """Return alarms raised within five minutes or three readings of a moment, and no more."""
        after = self.time_s[self.time_s >= from_s]
        last_s = max(from_s + 300.0 + more_s, float(after[min(2, after.size - 1)]))
        return [n for n in self.acts() if from_s <= n.at_s <= last_s]


def watched(
    firing: Firing,
    plan: tuple[PlanStep, ...] | None,
    *,
    interval_s: float = 10.0,
    noise_c: float = 0.3,
    seed: int = 1,
    resolution_c: float = 0.1,
    change: Callable[[FloatArray, FloatArray, float], FloatArray] | None = None,
    from_s: float = 0.0,
    begin_s: float = 0.0,
    until_s: float | None = None,
    limits: AlarmLimits | None = None,
) -> Heard:
    """Watch a firing whose readings a fault of the circuit changes from a moment on.

    Readings before `begin_s` were recorded before the watch was started again.
    """
    end_s = float(firing.time_s[-1]) if until_s is None else until_s
    phase_s = float(np.random.default_rng(seed).uniform(0.0, interval_s))
    time_s = np.arange(phase_s, end_s, interval_s)
    reading_c = np.interp(time_s, firing.time_s, firing.reading_c)
    noise = np.random.default_rng(seed + 1).normal(0.0, noise_c, time_s.size)
    if change is not None:
        reading_c = change(time_s, reading_c, from_s)
    if change not in (stuck, opened):
        reading_c = reading_c + noise
    else:
        reading_c = reading_c + np.where(time_s < from_s, noise, 0.0)
    reading_c = np.round(reading_c / resolution_c) * resolution_c
    schedule = None if plan is None else as_schedule(plan)
    predictor = None if schedule is None else ForecastPredictor(forecast(schedule))
    if limits is None:
        top_c = None if schedule is None else schedule.peak_c + 20.0
        limits = AlarmLimits(top_c, lost_after_s=max(60.0, 2.5 * interval_s))
    watcher, judge = Watcher(limits, schedule, predictor), PlausibilityCheck(1)
    heard = Heard(time_s=time_s)
    before = time_s < begin_s
    for moment_s, value_c in zip(time_s[before].tolist(), reading_c[before].tolist(), strict=True):
        watcher.add_earlier(moment_s, value_c)
    watcher.begin(begin_s, live=False)
    now = ~before
    for moment_s, value_c in zip(time_s[now].tolist(), reading_c[now].tolist(), strict=True):
        reading = Reading([value_c], [Status.OK], moment_s)
        judge.mark(moment_s, reading)
        heard.notices += watcher.add(moment_s, reading, 0)
    watcher.close()
    return heard
