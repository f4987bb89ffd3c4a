"""Whole commands against the bare imports and reads they cannot do without, in one run.

Each pair is taken in turns, so that a machine that slows down slows both; the ratio compared is
that of the medians.
"""

import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from logmaker import GLAZE, Sampling, fire, sample, write_csv

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


def medians_s(ours: tuple[str, ...], bare: tuple[str, ...], rounds: int) -> tuple[float, float]:
    """Return the median wall times of two commands run in turns, after one run of each."""
    times: tuple[list[float], list[float]] = ([], [])
    for turn in range(rounds + 1):
        for command, taken in zip((ours, bare), times, strict=True):
            start = time.perf_counter()
            subprocess.run(command, capture_output=True, check=False)
            if turn:
                taken.append(time.perf_counter() - start)
    return statistics.median(times[0]), statistics.median(times[1])


def check(
    ours: tuple[str, ...],
    bare: tuple[str, ...],
    most: float,
    record: Callable[[str, object], None],
    rounds: int = 11,
) -> None:
    # A disturbed machine spoils a measurement, it never flatters one: the best of three counts.
    for _ in range(3):
        ours_s, bare_s = medians_s(ours, bare, rounds)
        ratio = ours_s / bare_s
        record("seconds", f"{ours_s:.3f} against {bare_s:.3f}, ratio {ratio:.2f}")
        print(f"\n{' '.join(ours[3:])[:60]}: {ours_s:.3f} s against {bare_s:.3f} s: {ratio:.2f}")
        if ratio <= most:
            return
    raise AssertionError(f"{ratio:.2f} times the bare command, where {most:g} is the most")


def test_help_costs_little_more_than_click(
    record_property: Callable[[str, object], None],
) -> None:
    check((*FIRING, "--help"), (sys.executable, "-c", "import click"), 1.5, record_property)


@pytest.mark.soak
def test_hold_costs_little_more_than_numpy(
    record_property: Callable[[str, object], None],
) -> None:
    ours = (*FIRING, "hold", "6", "--at", "1200")
    check(ours, (sys.executable, "-c", "import numpy"), 2.5, record_property)


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


@pytest.mark.soak
def test_a_review_costs_at_most_twice_the_reading(
    day_log: Path, tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    ours = (*FIRING, "review", str(plan), str(day_log))
    assert subprocess.run(ours, capture_output=True, check=False).returncode in (0, 1)
    bare = (sys.executable, "-c", READ_ISO, str(day_log))
    check(ours, bare, 2.0, record_property, rounds=5)
