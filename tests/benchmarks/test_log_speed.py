"""Speed of reading a log, as a ratio of whole processes in one run.

The bar: 86,400 rows of three channels are read, cleaned and told about in at most 1.6 times the
time of a process that imports pandas and reads the same file with explicit options.
"""

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from benchmarks.turns import commands_in_turns, in_turns

from firing.logs.cleaning import clean
from firing.trace import Trace

pytestmark = pytest.mark.soak  # ratios ask for a machine that does nothing else

ROWS = 86_400

DIALECTS = {
    "iso": (",", ".", "%Y-%m-%d %H:%M:%S"),
    "semicolon, decimal comma, day first": (";", ",", "%d.%m.%Y %H:%M:%S"),
    "elapsed seconds": (",", ".", None),
    "elapsed clock": ("\t", ".", "clock"),
}

OURS = """
import sys
from firing.logs.reader import read_log
log = read_log(sys.argv[1])
assert log.used == 86400 and len(log.trace.channels) == 3, log
"""
THEIRS = """
import sys
import pandas as pd
path, sep, decimal, fmt = sys.argv[1:]
frame = pd.read_csv(path, sep=sep, decimal=decimal, engine="c")
if fmt == "clock":
    frame["Time"] = pd.to_timedelta(frame["Time"])
elif fmt != "None":
    frame["Time"] = pd.to_datetime(frame["Time"], format=fmt)
assert frame.shape == (86400, 4)
"""


def temperatures() -> np.ndarray:
    hours = np.arange(ROWS) / 3600.0
    curve = np.interp(hours, [0.0, 2.0, 11.0, 12.0, 24.0], [20.0, 110.0, 1222.0, 1222.0, 90.0])
    noise = np.random.default_rng(1).normal(0.0, 0.3, (ROWS, 3))
    return np.round((curve[:, None] + [0.0, -8.0, 5.0] + noise) * 4.0) / 4.0


def write_log(path: Path, delimiter: str, decimal: str, written: str | None) -> Path:
    start = 1_741_939_200  # 2025-03-14 08:00
    if written is None:
        times = [str(second) for second in range(ROWS)]
    elif written == "clock":
        times = [f"{s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}" for s in range(ROWS)]
    else:
        times = [time.strftime(written, time.gmtime(start + second)) for second in range(ROWS)]
    header = [
        "Time" if written else "Time (s)",
        *(f"{name} (°C)" for name in ("Kiln", "Bottom", "Top")),
    ]
    lines = [delimiter.join(header)]
    for moment, row in zip(times, temperatures().tolist(), strict=True):
        cells = [f"{value:.2f}".replace(".", decimal) for value in row]
        lines.append(delimiter.join([moment, *cells]))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("dialect", DIALECTS)
def test_reading_costs_little_more_than_pandas(dialect: str, tmp_path: Path) -> None:
    delimiter, decimal, written = DIALECTS[dialect]
    path = str(write_log(tmp_path / "log.csv", delimiter, decimal, written))
    options = (path, delimiter, decimal, str(written))
    ours, theirs = (sys.executable, "-c", OURS, path), (sys.executable, "-c", THEIRS, *options)
    for command in (ours, theirs):
        subprocess.run(command, check=True)
    turns = commands_in_turns(ours, theirs, most=1.6, rounds=3)
    print(f"\n{dialect} against pandas alone: {turns}")
    assert turns.ratio <= 1.6


def test_cleaning_costs_a_few_passes() -> None:
    values = temperatures()
    trace = Trace(np.arange(float(ROWS)), values, ("a", "b", "c"), "measured")
    assert not clean(trace).marks.any()
    turns = in_turns(
        lambda: clean(trace), lambda: [np.median(column) for column in values.T], most=12.0
    )
    print(f"\ncleaning against three medians: {turns}")
    assert turns.ratio <= 12.0
