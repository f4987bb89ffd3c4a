"""A firing in a kiln whose elements are worn, by the test suite's own kiln, and its log."""

import time
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from logmaker import GLAZE, Faults, Firing, Sampling, fire, sample, write_csv
from watch.replaying import Told

from firing.capture.clock import utc_stamp
from firing.capture.reading import Reading, Status
from firing.capture.recording_file import header, row
from firing.files.kinds import ready_text
from firing.kiln.description import KilnDescription
from firing.kiln.file import parse_kiln
from firing.schedule.schedule import Schedule, Segment
from firing.ware.load import Load
from firing.watch.options import WatchOptions
from firing.watch.setup import open_watch

WORN = 0.78
HOUR_S = 3600.0
PLAN = Schedule(
    "glaze", tuple(Segment(top, rate, hold_s=hold) for rate, top, hold in GLAZE), purpose="glaze"
)


@dataclass(frozen=True, eq=False)
class Truth:
    """What really happened."""

    firing: Firing
    end_s: float
    cold_s: float

    def kwh(self, until_s: float) -> float:
        """Energy from the supply until a moment, on the log's clock [kWh]."""
        steps = np.diff(self.firing.time_s, prepend=0.0)
        so_far = np.cumsum(self.firing.power_w * steps) / 3.6e6
        return float(np.interp(until_s, self.firing.time_s, so_far))


@cache
def truth(power: float = WORN) -> Truth:
    """Fire the plan in a kiln of so much of its power, down to 60 °C."""
    made = fire(GLAZE, faults=Faults(power_factor=power))
    assert made.program_end_s is not None
    return Truth(made, made.program_end_s, float(made.time_s[-1]))


def kiln() -> KilnDescription:
    """The kiln as its file has it: new elements."""
    return parse_kiln(ready_text("example-kiln"), "example-kiln")


def write_log(
    path: Path, *, power: float = WORN, duty: bool = False, until_h: float | None = None
) -> Path:
    """Write what a logger saw every fifty seconds."""
    until_s = None if until_h is None else until_h * HOUR_S
    how = Sampling(interval_s=50.0, noise_c=0.2, with_duty=duty, until_s=until_s)
    return write_csv(sample(truth(power).firing, how), path)


NAMES = ("kiln", "top", "bottom", "shelf")


def record_hours(path: Path, hours: float) -> float:
    """Write what a recorder has of the last hours, up to now; return the last temperature [°C].

    Four channels every half minute, and the controller's output.
    """
    made, began_s = truth().firing, time.time() - hours * HOUR_S
    lines = [header(NAMES, True)]
    celsius = 20.0
    for second in np.arange(0.0, hours * HOUR_S, 30.0).tolist():
        celsius = float(np.interp(second, made.time_s, made.reading_c))
        duty = float(np.interp(second, made.time_s, made.duty))
        reading = Reading([celsius] * 4, [Status.OK] * 4, None, duty)
        lines.append(row(utc_stamp(began_s + second), reading, NAMES, True))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return celsius


def write_plan(path: Path) -> Path:
    """Write the plan as a schedule file."""
    tables = [
        f'[[segment]]\nrate = {rate:g}\ntarget = {top:g}\nhold = "{hold / 60.0:g}m"\n'
        for rate, top, hold in GLAZE
    ]
    path.write_text('title = "glaze"\npurpose = "glaze"\n' + "".join(tables), encoding="utf-8")
    return path


def watched(
    log: Path, *, load: Load | None = None, every_s: float = HOUR_S, plan: Schedule | None = PLAN
) -> Told:
    """Watch a log with the kiln as its file has it."""
    opened = open_watch(WatchOptions(str(log), schedule=plan, kiln=kiln(), load=load))
    told = Told()
    try:
        opened.session(told, every_s).run(lambda: False)
    finally:
        opened.close()
    return told
