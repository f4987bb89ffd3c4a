"""A studio's folder of ten logs: an invented year of two programs in one kiln."""

from datetime import datetime, timedelta
from pathlib import Path

import logmaker

from firing.files.kinds import ready_text
from firing.schedule.file import open_schedule

PLANS = ("thin-ware-bisque", "stoneware-glaze-1240")
STARTS = tuple(datetime(2026, 1, 10, 8, 0) + timedelta(days=21 * n) for n in range(10))
"""From January on, every third Saturday; the fourth is in March."""


def steps_of(name: str) -> tuple[logmaker.PlanStep, ...]:
    return tuple((s.rate_c_per_h, s.target_c, s.hold_s) for s in open_schedule(name).segments)


def write_log(path: Path, number: int, *, interval_s: float = 300.0) -> Path:
    """Write the log of the firing of that number: bisque and glaze in turns."""
    fired = logmaker.fire(steps_of(PLANS[number % 2]), step_s=60.0)
    how = logmaker.Sampling(interval_s=interval_s, seed=number, with_duty=True)
    style = logmaker.CsvStyle(started=STARTS[number])
    return logmaker.write_csv(logmaker.sample(fired, how), path, style)


def make_folder(folder: Path, count: int = 10) -> Path:
    """Make a folder with a kiln's file and the logs of so many firings."""
    folder.mkdir(parents=True)
    kiln = ready_text("example-kiln")
    (folder / "kiln.toml").write_text(kiln, encoding="utf-8")
    for number in range(count):
        write_log(folder / f"log-{number:02d}.csv", number)
    return folder
