"""A program that stood still, a clock that was set: the recording says so, at any rate of lines."""

from __future__ import annotations

import math
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest
from capture.ptywatch import readings, rows
from watch.replaying import Told

from firing.capture import clock
from firing.capture.reading import Reading, Status
from firing.capture.recorder import Recorder
from firing.capture.source import Connection, SourceLost
from firing.watch.events import AlarmLimits
from firing.watch.session import WatchSession
from firing.watch.watcher import Watcher

HOUR_S = 3600.0


class Clocks:
    """The clock that counts and the time of day, both moved by hand."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.monotonic_s = 5000.0
        self.ahead_s = datetime(2026, 3, 1, 6, tzinfo=UTC).timestamp() - 5000.0
        monkeypatch.setattr(clock, "monotonic_s", lambda: self.monotonic_s)
        monkeypatch.setattr("firing.capture.recorder.monotonic_s", lambda: self.monotonic_s)
        monkeypatch.setattr("firing.capture.source.monotonic_s", lambda: self.monotonic_s)
        monkeypatch.setattr(time, "time", lambda: self.monotonic_s + self.ahead_s)


class Line:
    """A source whose readings wait for their moment, or for whoever was away.

    `away` maps a number of a read to how long the program stands still in it [s].
    """

    name, channels, gives_output = "line", ("kiln",), False

    def __init__(
        self, clocks: Clocks, every_s: float, away: dict[int, float], *, unsolicited: bool = True
    ) -> None:
        self.unsolicited = unsolicited
        self.reads = 0
        self._clocks, self._every_s, self._away = clocks, every_s, away
        self._due_s = clocks.monotonic_s + every_s

    def open(self) -> None: ...

    def close(self) -> None: ...

    def remarks(self) -> list[str]:
        return []

    def read(self, wait_s: float) -> Reading | None:
        clocks = self._clocks
        self.reads += 1
        still_s = self._away.get(self.reads, 0.0)
        clocks.monotonic_s += still_s
        left_s = self._due_s - clocks.monotonic_s
        if left_s > wait_s:
            clocks.monotonic_s += wait_s
            return None
        clocks.monotonic_s += max(left_s, 0.001)
        if not self.unsolicited:
            self._due_s = clocks.monotonic_s
        # the temperature is the moment at which it was measured
        measured_s, self._due_s = self._due_s, self._due_s + self._every_s
        return Reading([measured_s - 5000.0], [Status.OK])


def run(clocks: Clocks, source: Line, path: Path, reads: int) -> Told:
    told = Told()
    recorder = Recorder(path, source.channels)
    connection = Connection(source)
    session = WatchSession(
        connection, Watcher(AlarmLimits(lost_after_s=1e9)), told, recorder.base,
        recorder=recorder, status_every_s=1e9, silent_after_s=1e9,
    )  # fmt: skip
    session.run(lambda: source.reads >= reads)
    recorder.close()
    return told


@pytest.fixture
def clocks(monkeypatch: pytest.MonkeyPatch) -> Clocks:
    return Clocks(monkeypatch)


@pytest.mark.parametrize("every_s", [0.1, 0.25, 1.0, 3.0])
@pytest.mark.parametrize("still_s", [20.0, 600.0])
def test_lines_that_waited_while_the_program_stood_still_are_marked(
    clocks: Clocks, tmp_path: Path, every_s: float, still_s: float
) -> None:
    source = Line(clocks, every_s, {100: still_s})
    backlog = int(still_s / every_s)
    told = run(clocks, source, tmp_path / "log.csv", 200 + backlog)
    found = rows(tmp_path / "log.csv")
    gaps = [cells for cells in found if cells[-1].startswith("gap:")]
    assert len(gaps) == 1
    assert "did not run for" in gaps[0][-1]
    assert sum("did not run for" in note for note in told.notes) == 1
    values = readings(tmp_path / "log.csv")
    assert values == sorted(values)
    late = [cells for cells in found if cells[-1] == "kiln late"]
    # what waited is late, and what came while that was read, a thousandth of a second each; but
    # nothing is late for more than 2 s
    assert min(backlog, 1990) - 2 <= len(late) <= 1.02 * backlog + 2
    fresh = [cells for cells in found if cells[-1] == ""]
    began_s = datetime.fromisoformat(found[0][0]).timestamp() - float(found[0][1])
    for cells in fresh:
        stamp_s = datetime.fromisoformat(cells[0]).timestamp()
        if backlog <= 1990:
            assert stamp_s - began_s == pytest.approx(float(cells[1]), abs=0.3)


def test_an_instrument_that_is_asked_has_no_late_lines(clocks: Clocks, tmp_path: Path) -> None:
    source = Line(clocks, 1.0, {100: 600.0}, unsolicited=False)
    told = run(clocks, source, tmp_path / "log.csv", 200)
    found = rows(tmp_path / "log.csv")
    assert sum(cells[-1].startswith("gap:") for cells in found) == 1
    assert not any("late" in cells[-1].removeprefix("gap") and cells[1] for cells in found)
    assert sum("did not run for 10 min" in note for note in told.notes) == 1


def test_a_source_that_takes_long_to_open_again_is_no_pause(clocks: Clocks, tmp_path: Path) -> None:
    class Gone(Line):
        def read(self, wait_s: float) -> Reading | None:
            if self.reads == 20:
                self.reads += 1
                raise SourceLost("line is gone")
            return super().read(wait_s)

        def open(self) -> None:
            self._clocks.monotonic_s += 15.0

    told = run(clocks, Gone(clocks, 1.0, {}), tmp_path / "log.csv", 60)
    assert not any("did not run" in note for note in told.notes)
    assert any("line is back" in note for note in told.notes)


@pytest.mark.parametrize("every_s", [0.1, 0.25, 1.0, 5.0])
def test_a_clock_that_is_set_is_told_at_any_rate_of_lines(
    clocks: Clocks, tmp_path: Path, every_s: float
) -> None:
    class Set(Line):
        def read(self, wait_s: float) -> Reading | None:
            if self.reads == 50:
                self._clocks.ahead_s += 2.0 * HOUR_S
            return super().read(wait_s)

    reads = 50 + int(70.0 / min(every_s, 0.25))
    told = run(clocks, Set(clocks, every_s, {}), tmp_path / "log.csv", reads)
    found = [note for note in told.notes if "clock was set by" in note]
    assert len(found) == 1
    assert "+2 h" in found[0]
    stamps_found = [cells[0] for cells in rows(tmp_path / "log.csv")]
    assert stamps_found == sorted(stamps_found)
    assert stamps_found[-1] < "2026-03-01T06:05"


def test_a_computer_that_woke_with_another_time_of_day_says_so_at_once(
    clocks: Clocks, tmp_path: Path
) -> None:
    class Woken(Line):
        def read(self, wait_s: float) -> Reading | None:
            if self.reads == 30:
                self._clocks.ahead_s -= 600.0
            return super().read(wait_s)

    told = run(clocks, Woken(clocks, 1.0, {31: 600.0}), tmp_path / "log.csv", 40)
    assert any("did not run for 10 min" in note for note in told.notes)
    assert any("clock was set by −10 min" in n or "set by -10 min" in n for n in told.notes)


@pytest.mark.parametrize(("year", "told_so"), [(1970, True), (2024, True), (2026, False)])
def test_a_computer_without_its_clock_says_so_at_the_beginning(
    clocks: Clocks, tmp_path: Path, year: int, told_so: bool
) -> None:
    clocks.ahead_s = datetime(year, 1, 2, tzinfo=UTC).timestamp()
    told = run(clocks, Line(clocks, 1.0, {}), tmp_path / "log.csv", 400)
    assert sum("clock is not set" in note for note in told.notes) == told_so


class Warm(Line):
    """The same, of a kiln that stands at 200 °C; it ends after a time."""

    ends_s = math.inf

    def read(self, wait_s: float) -> Reading | None:
        if self._clocks.monotonic_s >= self.ends_s:
            self._clocks.monotonic_s += wait_s
            return None
        found = super().read(wait_s)
        if found is not None:
            found.values_c = [200.0 + self.reads % 3]
        return found


@pytest.mark.parametrize(("every_s", "raised"), [(300.0, 1), (25.0, 0), (2.0, 0)])
def test_a_source_slower_than_lost_after_does_not_flap(
    clocks: Clocks, tmp_path: Path, every_s: float, raised: int
) -> None:
    """Before its second line nobody knows that it is slow; after that it is known."""
    told = watched(clocks, Warm(clocks, every_s, {}), tmp_path / "log.csv", 0.5 * HOUR_S)
    found = [notice.state for notice in told.notices if notice.id == "reading-lost"]
    assert found == ["raised", "over"] * raised
    gaps = [cells[-1] for cells in rows(tmp_path / "log.csv") if cells[-1].startswith("gap:")]
    assert len(gaps) == raised
    assert sum("slow for --lost-after" in note for note in told.notes) == (every_s > 20.0)


@pytest.mark.parametrize(("every_s", "within_s"), [(300.0, 901.0), (2.0, 61.0)])
def test_a_source_that_stops_is_told_after_three_of_its_pauses(
    clocks: Clocks, tmp_path: Path, every_s: float, within_s: float
) -> None:
    source = Warm(clocks, every_s, {})
    source.ends_s = 5000.0 + 0.5 * HOUR_S
    told = watched(clocks, source, tmp_path / "log.csv", HOUR_S)
    lost = [notice for notice in told.notices if notice.state == "raised"][-1]
    assert lost.id == "reading-lost"
    since_s = lost.at_s - 0.5 * HOUR_S
    assert within_s - every_s - 2.0 <= since_s <= within_s + 1.0


def watched(clocks: Clocks, source: Line, path: Path, for_s: float) -> Told:
    told = Told()
    recorder = Recorder(path, source.channels)
    session = WatchSession(
        Connection(source), Watcher(AlarmLimits(lost_after_s=60.0)), told, recorder.base,
        recorder=recorder, status_every_s=1e9, silent_after_s=60.0,
    )  # fmt: skip
    until_s = clocks.monotonic_s + for_s
    session.run(lambda: clocks.monotonic_s >= until_s)
    recorder.close()
    return told
