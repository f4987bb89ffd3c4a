"""Logs of the true kiln, as a logger would have written them, read back by the package."""

from dataclasses import replace
from pathlib import Path

import numpy as np
from kiln.true_kiln import Plan, TrueFiring
from logmaker import LogTable, write_csv

from firing.kiln.residuals import FiringRecord
from firing.logs.reader import Log, read_log
from firing.review.fit_input import fit_input_of
from firing.schedule.schedule import Purpose, Schedule, Segment
from firing.ware.load import Load

GLAZE: Plan = ((150.0, 600.0, 0.0), (200.0, 1140.0, 0.0), (80.0, 1240.0, 600.0))
BISQUE: Plan = ((60.0, 90.0, 3600.0), (100.0, 600.0, 0.0), (150.0, 900.0, 600.0))


def schedule_of(plan: Plan, purpose: Purpose = "glaze") -> Schedule:
    """The program as the package takes it; ``glaze`` because the true ware is bisqued."""
    return Schedule("plan", tuple(Segment(t, r, hold_s=h) for r, t, h in plan), purpose=purpose)


def log_of(
    firing: TrueFiring,
    folder: Path,
    *,
    duty: bool = True,
    set_point: bool = False,
    noise_c: float = 0.4,
    step_c: float = 0.5,
    seed: int = 1,
    part: slice = slice(None),
    name: str = "log.csv",
) -> Log:
    """Write a firing with noise and steps, and read it."""
    random = np.random.default_rng(seed)
    values = firing.chamber_c + random.normal(0.0, noise_c, firing.chamber_c.size)
    values = np.round(values / step_c) * step_c
    time_s = firing.time_s[part] - firing.time_s[part][0]
    table = LogTable(
        time_s,
        values[part, None],
        ("kiln",),
        firing.duty[part] if duty else None,
        firing.set_point_c[part] if set_point else None,
    )
    return read_log(write_csv(table, folder / name))


def record(log: Log, *, schedule: Schedule | None = None, kwh: float | None = None,
           load: Load | None = None) -> FiringRecord:  # fmt: skip
    """The log as a fit takes it; the true ware is bisqued, whatever the peak."""
    return replace(fit_input_of(log, schedule=schedule, kwh=kwh, load=load), raw=False)
