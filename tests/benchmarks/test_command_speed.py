"""Whole commands against the bare imports and reads they cannot do without, in one run."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from benchmarks.turns import commands_in_turns
from logmaker import GLAZE, Sampling, fire, sample, write_csv

pytestmark = pytest.mark.soak  # ratios ask for a machine that does nothing else

FIRING = (sys.executable, "-c", "from firing.cli import main; main()")
PLAN = """title = "made"
[[segment]]
rate = 100
target = 200
[[segment]]
rate = 180
target = 1000
[[segment]]
rate = 80
target = 1222
hold = "15m"
[[segment]]
rate = 80
target = 1000
"""


def check(
    ours: tuple[str, ...],
    bare: tuple[str, ...],
    most: float,
    record: Callable[[str, object], None],
    rounds: int = 5,
) -> None:
    turns = commands_in_turns(ours, bare, most=most, rounds=rounds)
    record("cpu", str(turns))
    print(f"\n{' '.join(ours[3:])[:60]}: {turns}")
    assert turns.ratio <= most


def test_help_costs_little_more_than_click(
    record_property: Callable[[str, object], None],
) -> None:
    check((*FIRING, "--help"), (sys.executable, "-c", "import click"), 1.5, record_property)


def test_a_cone_costs_little_more_than_click(
    record_property: Callable[[str, object], None],
) -> None:
    check((*FIRING, "cone", "6"), (sys.executable, "-c", "import click"), 2.2, record_property)


def test_hold_costs_little_more_than_numpy(
    record_property: Callable[[str, object], None],
) -> None:
    ours = (*FIRING, "hold", "6", "--at", "1200")
    check(ours, (sys.executable, "-c", "import numpy"), 2.5, record_property)


def test_a_review_of_a_small_log_costs_half_of_importing_pandas(
    tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    # A log of a plain dialect with fewer than 20,000 rows is read without pandas.  Where importing
    # pandas takes 0.42 s of the processor, this is 0.25 s.
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    log = write_csv(sample(fire(GLAZE), Sampling(interval_s=30.0)), tmp_path / "small.csv")
    ours = (*FIRING, "review", str(plan), str(log))
    assert subprocess.run(ours, capture_output=True, check=False).returncode in (0, 1)
    check(ours, (sys.executable, "-c", "import pandas"), 0.6, record_property, rounds=3)


READ_ISO = """
import sys, pandas as pd
pd.read_csv(sys.argv[1], sep=",", decimal=".", encoding="utf-8", header=0,
            parse_dates=["Time"], date_format="ISO8601",
            dtype={"Kiln (°C)": float, "Top (°C)": float, "Bottom (°C)": float})
"""


@pytest.fixture
def day_log(tmp_path: Path) -> Path:
    """Return a log of a whole day, one row a second, three channels."""
    firing = fire(GLAZE)
    made = sample(firing, Sampling(interval_s=1.0, extra_channels={"top": -6.0, "bottom": 4.0}))
    # as many rows as a day has seconds, whatever the firing took
    last = made.temperature_c[-1]
    rows = 86_400
    short = max(0, rows - made.time_s.size)
    values = np.vstack([made.temperature_c[:rows], np.tile(last, (short, 1))])
    made = type(made)(np.arange(rows, dtype=float), values, made.channels, None, None)
    return write_csv(made, tmp_path / "day.csv")


def test_a_review_costs_at_most_twice_the_reading(
    day_log: Path, tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    ours = (*FIRING, "review", str(plan), str(day_log))
    assert subprocess.run(ours, capture_output=True, check=False).returncode in (0, 1)
    bare = (sys.executable, "-c", READ_ISO, str(day_log))
    check(ours, bare, 2.0, record_property)
