"""Speed of the logbook, as ratios taken in one run.

The bars: a list or a search among 5,000 firings takes at most 50 ms beyond the program's start,
and a folder is kept at 15 logs a second on one core.
"""

import sys
from collections.abc import Callable
from itertools import count
from pathlib import Path

import pytest
from benchmarks.turns import commands_in_turns, in_turns
from logbook.made import put
from logbook.studio import make_folder

from firing.kiln.file import open_kiln
from firing.logbook.keeping import keep_logs, logs_in, shelf_of
from firing.logbook.store import Logbook
from firing.logs.reader import read_log
from firing.review.review import review
from firing.review.which_plan import which_plan

pytestmark = pytest.mark.soak  # ratios ask for a machine that does nothing else

MOST_OVER_HELP = 1.38
"""Help takes 106 ms of a quiet machine; a list may take 40 ms more, where the bar is 50."""

FIRING = (sys.executable, "-c", "from firing.cli import main; main()")


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("large") / "studio.sqlite"
    with Logbook.open(path) as book:
        book._db.execute("PRAGMA synchronous = OFF")
        for number in range(5000):
            put(book, number, rows=40)
    return path


@pytest.mark.parametrize("words", [("list",), ("find", "celadon", "glaze", "march")])
def test_a_list_of_thousands_costs_little_more_than_help(
    words: tuple[str, ...], large: Path, record_property: Callable[[str, object], None]
) -> None:
    ours = (*FIRING, "logbook", *words, "--logbook", str(large))
    turns = commands_in_turns(ours, (*FIRING, "logbook", "--help"), most=MOST_OVER_HELP)
    record_property("cpu", str(turns))
    print(f"\n{' '.join(words)}: {turns}")
    assert turns.ratio <= MOST_OVER_HELP


def test_keeping_a_log_costs_what_reading_matching_and_measuring_it_do(
    tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    """Against reading and reviewing it once; a kiln's measure takes as long as its review."""
    logs = logs_in(make_folder(tmp_path / "logs", 6))
    kiln, numbers = open_kiln("example-kiln"), count()
    with Logbook.open(tmp_path / "first.sqlite") as first:
        shelf = shelf_of(first, beside=[tmp_path / "logs"])
    schedules = shelf.schedules()
    plans = [which_plan(read_log(log), schedules).fits[0].schedule for log in logs]

    def keep() -> None:
        with Logbook.open(tmp_path / f"{next(numbers)}.sqlite") as book:
            found = keep_logs(book, logs, shelf)
        assert [one.state for one in found] == ["kept"] * len(logs)

    def review_once() -> None:
        for log, plan in zip(logs, plans, strict=True):
            review(plan, read_log(log), kiln=kiln)

    turns = in_turns(keep, review_once, most=3.0)
    rate = len(logs) / turns.ours_s
    record_property("cpu", f"{turns}; {rate:.1f} logs a second")
    print(f"\nkeep: {turns}; {rate:.1f} logs a second")
    assert turns.ratio <= 3.0
