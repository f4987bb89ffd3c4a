"""A log replayed as fast as it goes, and everything that was told of it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from firing.capture.clock import TimeBase
from firing.capture.log_sources import ReplayedLog
from firing.capture.reading import Reading
from firing.capture.source import Connection
from firing.forecast.forecast import forecast
from firing.schedule.schedule import Schedule, Segment
from firing.watch.events import AlarmLimits, WatchEvent
from firing.watch.predictor import ForecastPredictor
from firing.watch.session import WatchSession
from firing.watch.state import Estimate
from firing.watch.watcher import Watcher

HOUR_S = 3600.0

# up at 100 °C/h, half an hour at 600, up at 150 °C/h, a quarter of an hour at 900
PLAN = Schedule(
    "test",
    (
        Segment(600.0, 100.0, hold_s=1800.0, name="Rise", action="close the lid"),
        Segment(900.0, 150.0, hold_s=900.0, name="Top"),
    ),
)
AS_PLANNED = ((0.0, 20.0), (5.8, 600.0), (6.3, 600.0), (8.3, 900.0), (8.55, 900.0))
"""PLAN exactly, as (hours, °C)."""


@dataclass
class Told:
    """Everything a watch told."""

    notes: list[str] = field(default_factory=list)
    notices: list[WatchEvent] = field(default_factory=list)
    estimates: list[Estimate] = field(default_factory=list)

    def note(self, sentence: str) -> None:
        self.notes.append(sentence)

    def notice(self, notice: WatchEvent) -> None:
        self.notices.append(notice)

    def status(self, estimate: Estimate, reading: Reading | None) -> None:
        self.estimates.append(estimate)

    def tick(self) -> None: ...

    def of(self, name: str) -> list[tuple[str, float]]:
        """Return what was told of one alarm: its state and when [h]."""
        return [(n.state, n.at_s / HOUR_S) for n in self.notices if n.id == name]

    def at(self, hour: float) -> Estimate:
        """Return the status told nearest to a moment."""
        return min(self.estimates, key=lambda e: abs(e.now_s - hour * HOUR_S))


def write_course(
    path: Path,
    points: Sequence[tuple[float, float]],
    *,
    step_s: float = 54.0,
    noise_c: float = 0.2,
    gaps: Sequence[tuple[float, float]] = (),
    spikes: Sequence[tuple[float, float]] = (),
) -> Path:
    """Write a log that runs straight between points of (hours, °C).

    `gaps` are stretches of hours without a reading, `spikes` single readings of (hour, °C).
    """
    hours, celsius = np.array(points).T
    time_s = np.arange(0.0, hours[-1] * HOUR_S + 0.5 * step_s, step_s)
    value = np.interp(time_s / HOUR_S, hours, celsius)
    value += np.random.default_rng(8).normal(0.0, noise_c, value.size)
    cells = [f"{v:.2f}" for v in value]
    for begin, end in gaps:
        for index in np.flatnonzero((time_s >= begin * HOUR_S) & (time_s < end * HOUR_S)):
            cells[index] = ""
    for hour, spike_c in spikes:
        cells[int(hour * HOUR_S / step_s)] = f"{spike_c:.2f}"
    lines = [f"{t:.1f},{cell}" for t, cell in zip(time_s, cells, strict=True)]
    path.write_text("\n".join(["time_s,kiln (°C)", *lines]) + "\n", encoding="utf-8")
    return path


def replayed(
    path: Path,
    schedule: Schedule | None = PLAN,
    *,
    limits: AlarmLimits | None = None,
    cones: tuple[str, ...] = (),
    every_s: float = 86_400.0,
) -> Told:
    """Watch a log from its beginning to its end."""
    told = Told()
    source = ReplayedLog(path, float("inf"))
    predictor = None if schedule is None else ForecastPredictor(forecast(schedule))
    watcher = Watcher(limits or AlarmLimits(), schedule, predictor, cones=cones)
    connection = Connection(source)
    connection.open()
    WatchSession(
        connection,
        watcher,
        told,
        TimeBase(0.0),
        channel=source.kiln_channel,
        status_every_s=every_s,
        live=False,
    ).run(lambda: False)
    return told
