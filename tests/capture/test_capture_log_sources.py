"""A log that is still being written: every line once, whole, and as a review will read it."""

import csv
import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from waiting import wait_until

from firing.capture import log_sources
from firing.capture.log_sources import FollowedLog
from firing.capture.reading import Reading
from firing.capture.source import Connection, SourceLost
from firing.errors import FiringError
from firing.logs.options import ReadingOptions
from firing.logs.reader import read_log
from firing.watch import setup
from firing.watch.options import WatchOptions
from firing.watch.setup import OpenWatch, check_options, open_watch

HEADER = "Time;Shelf (°F);Kiln (°F)\n"
TOLD = ReadingOptions(date_order="mdy", zone="UTC")


@pytest.fixture(autouse=True)
def _no_pause(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(log_sources, "LEAST_PAUSE_S", 0.0)
    monkeypatch.setattr(log_sources, "PAUSE_PER_READ", 0.0)


def line(minute: int, celsius: float) -> str:
    """One line of 4 March, which reads as 3 April, too."""
    shelf, kiln = (f"{1.8 * value + 32.0:.1f}".replace(".", ",") for value in (20.0, celsius))
    return f"03/04/2026 {7 + minute // 60:02d}:{minute % 60:02d}:00;{shelf};{kiln}\n"


def append(path: Path, text: str) -> None:
    with path.open("a", encoding="utf-8", newline="") as file:
        file.write(text)


class Silent:
    """A listener that shows nothing and counts."""

    def __init__(self) -> None:
        self.ticks: list[int] = []

    def note(self, sentence: str) -> None: ...

    def notice(self, notice: object) -> None: ...

    def status(self, estimate: object, reading: object) -> None: ...

    def tick(self) -> None:
        self.ticks.append(1)


def all_new(source: FollowedLog) -> list[Reading]:
    """Return every reading there is to be had now."""
    found: list[Reading] = []
    quiet = 0
    while quiet < 2:
        reading = source.read(0.0)
        quiet = quiet + 1 if reading is None else 0
        if reading is not None:
            found.append(reading)
    return found


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "log.csv"
    path.write_text(HEADER + "".join(line(n, 20.0 + n) for n in range(5)), encoding="utf-8")
    return path


def test_every_line_comes_once_and_whole(log: Path) -> None:
    source = FollowedLog(log, TOLD)
    source.open()
    assert source.channels == ("Shelf", "Kiln")
    assert source.kiln_channel == 1
    before = [reading.values_c[1] for _, reading in source.before()]
    assert before == pytest.approx([20.0, 21.0, 22.0, 23.0, 24.0])
    assert all_new(source) == []
    # 1215 °C is 2219 °F; torn after "22" the line would read as -5.6 °C
    torn = line(6, 1215.0)
    append(log, line(5, 1214.0) + torn[:-5])
    assert torn[:-5].endswith(";22")
    first = all_new(source)
    assert [reading.values_c[1] for reading in first] == pytest.approx([1214.0])
    append(log, torn[-5:] + line(7, 1216.0))
    rest = all_new(source)
    assert [reading.values_c[1] for reading in rest] == pytest.approx([1215.0, 1216.0])
    assert [reading.at_s for reading in rest] == [360.0, 420.0]

    whole = read_log(log, date_order="mdy", zone="UTC")
    told = [*source.before(), *((r.at_s, r) for r in [*first, *rest])]
    assert [at_s for at_s, _ in told] == whole.trace.time_s.tolist()
    np.testing.assert_array_equal([reading.values_c for _, reading in told], whole.raw_c)


def test_it_asks_what_a_finished_log_asks(log: Path) -> None:
    with pytest.raises(FiringError, match="--date-order"):
        FollowedLog(log)


def test_its_clock_is_the_logs_and_the_computers_only_since_the_last_line(log: Path) -> None:
    os.utime(log, (time.time() - 600.0, time.time() - 600.0))
    earliest_s = time.time()
    source = FollowedLog(log, TOLD)
    now_s, latest_s = source.base.now_s(), time.time()
    # the last line is of minute 4, and was written ten minutes ago
    assert 840.0 - 0.1 <= now_s <= 840.0 + (latest_s - earliest_s) + 0.1
    assert source.base.stamp(0.0) == "2026-03-04T07:00:00.000Z"


@pytest.mark.parametrize("how", ["replaced", "cut", "gone"])
def test_a_log_that_is_no_longer_the_same_is_lost_and_said(log: Path, how: str) -> None:
    connection = Connection(FollowedLog(log, TOLD))
    connection.open()
    was = log.read_text(encoding="utf-8")
    if how == "gone":
        log.unlink()
    elif how == "cut":
        log.write_text(was[: was.rindex("03/04")], encoding="utf-8")
    else:
        log.write_text(was.replace("75,2", "79,9") + line(5, 30.0), encoding="utf-8")
    for _ in range(log_sources.PATIENCE):
        assert connection.lost_because is None
        assert connection.read(0.0) is None
    assert connection.lost_because is not None
    assert ("does not exist" if how == "gone" else "no longer begins") in connection.lost_because
    # and it is back with what it was, and what came since
    log.write_text(was + line(5, 30.0), encoding="utf-8")
    found: Reading | None = None
    for _ in range(1000):
        found = found or connection.read(0.01)
    assert found is not None
    assert found.values_c[1] == pytest.approx(30.0)
    assert connection.lost_because is None


@pytest.mark.parametrize("how", ["moved away", "cut to nothing"])
def test_a_log_that_its_logger_begins_anew_goes_on(log: Path, how: str) -> None:
    connection = Connection(FollowedLog(log, TOLD))
    connection.open()
    if how == "moved away":
        log.rename(log.with_suffix(".1"))
    log.write_text(HEADER, encoding="utf-8")
    for _ in range(log_sources.PATIENCE):
        assert connection.read(0.0) is None
    append(log, line(7, 30.0) + line(8, 31.0))
    found: list[Reading] = []

    def takes_in(count: int) -> bool:
        reading = connection.read(0.01)
        found.extend([] if reading is None else [reading])
        return len(found) == count

    wait_until(lambda: takes_in(2))
    append(log, line(9, 32.0))
    wait_until(lambda: takes_in(3))
    assert [reading.values_c[1] for reading in found] == pytest.approx([30.0, 31.0, 32.0])
    assert [reading.at_s for reading in found] == [420.0, 480.0, 540.0]
    assert any("was begun anew" in remark for remark in connection.source.remarks())


def test_a_log_begun_anew_at_an_earlier_hour_is_lost(log: Path) -> None:
    source = FollowedLog(log, TOLD)
    log.write_text(HEADER + line(2, 30.0) + line(9, 31.0), encoding="utf-8")
    with pytest.raises(SourceLost, match="no longer begins"):
        source.open()


def test_a_source_that_cannot_be_read_at_the_start_is_refused(log: Path) -> None:
    source = FollowedLog(log, TOLD)
    log.unlink()
    with pytest.raises(SourceLost, match="does not exist"):
        source.open()


def test_a_watch_follows_a_log_and_records_all_of_it(log: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.csv"
    options = ["--date-order", "mdy", "--zone", "UTC", "--follow", "--out", str(out)]
    watch = subprocess.Popen(
        [sys.executable, "-c", "from firing.cli import main; main()", "watch", str(log), *options],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8",
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip

    def recorded() -> list[dict[str, str]]:
        if not out.exists():
            return []
        with out.open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    try:
        wait_until(lambda: len(recorded()) == 5)
        append(log, "".join(line(n, 20.0 + n) for n in range(5, 9)) + line(9, 29.0)[:-3])
        wait_until(lambda: len(recorded()) == 9)
        append(log, line(9, 29.0)[-3:])
        wait_until(lambda: len(recorded()) == 10)
        watch.send_signal(signal.SIGTERM)
        told = watch.communicate(timeout=60.0)[1]
    finally:
        watch.kill()
    assert watch.returncode == 0, told
    rows = recorded()
    assert [row["time"] for row in rows] == [f"2026-03-04T07:{n:02d}:00.000Z" for n in range(10)]
    assert [float(row["Kiln (°C)"]) for row in rows] == pytest.approx(
        [20.0 + n for n in range(10)], abs=0.03
    )
    assert {row["status"] for row in rows} == {""}


@pytest.mark.parametrize(
    ("source", "options"),
    [
        ("log", ("--speed", "60")),
        ("log", ("--as-logged",)),
        ("log", ("--baud", "9600")),
        ("-", ("--follow",)),
    ],
)
def test_what_does_not_go_with_it_is_refused(
    log: Path, source: str, options: tuple[str, ...]
) -> None:
    from firing.watch.options import WatchOptions
    from firing.watch.setup import check_options

    line: dict[str, object] = {"follow": True}
    reading = TOLD if source == "log" else ReadingOptions()
    if options[0] == "--as-logged":
        reading = ReadingOptions(date_order="mdy", zone="UTC", as_logged=True)
    elif len(options) == 2:
        line[options[0].strip("-")] = options[1]
    name = str(log) if source == "log" else source
    with pytest.raises(FiringError, match=f"{options[0]} has no meaning here"):
        check_options(WatchOptions(name, line, reading))


def test_a_followed_log_is_recorded_to_nothing_that_is_no_recording(
    log: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out.csv"
    out.write_text("mine\n", encoding="utf-8")
    with pytest.raises(FiringError, match="exists already"):
        check_options(WatchOptions(str(log), {"follow": True}, TOLD, out=out))
    assert out.read_text(encoding="utf-8") == "mine\n"


def follow(log: Path, out: Path, *more: str) -> OpenWatch:
    """Open a watch, let it take in what is there and what comes, and close it, as a crash would."""
    opened = open_watch(WatchOptions(str(log), {"follow": True}, TOLD, out=out))
    append(log, "".join(more))
    listener = Silent()
    opened.session(listener).run(lambda: len(listener.ticks) > 20 + 5 * len(more))
    opened.close()
    return opened


@pytest.fixture
def _that_day(monkeypatch: pytest.MonkeyPatch) -> None:
    """The recording was written just now: a quarter past seven on 4 March."""
    at_s = datetime(2026, 3, 4, 7, 15, tzinfo=UTC).timestamp()
    monkeypatch.setattr(setup, "time", SimpleNamespace(time=lambda: at_s))


@pytest.mark.usefixtures("_that_day")
@pytest.mark.parametrize("begun_anew", [False, True])
def test_a_followed_log_goes_on_in_its_recording_after_a_crash(
    log: Path, tmp_path: Path, begun_anew: bool
) -> None:
    out = tmp_path / "out.csv"
    follow(log, out, line(5, 25.0), line(6, 26.0))
    missed = line(7, 27.0) + line(8, 28.0)  # while nobody watched
    append(log, missed)
    if begun_anew:
        log.write_text(HEADER + missed, encoding="utf-8")
    again = follow(log, out, line(9, 29.0))
    assert again.recorder is not None
    assert again.recorder.path == out
    trace = read_log(out).trace
    assert trace.time_s.tolist() == [60.0 * n for n in range(10)]
    course_c = [20.0 + n for n in range(10)]
    assert trace.channel_c("Kiln").tolist() == pytest.approx(course_c, abs=0.03)
    assert "gap" not in out.read_text(encoding="utf-8")
    assert again.watcher.history.now_c() == pytest.approx(29.0, abs=1.0)


@pytest.mark.usefixtures("_that_day")
def test_a_recording_of_another_log_is_not_gone_on_with(log: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.csv"
    follow(log, out)
    before = out.read_bytes()
    other = "".join(line(n, 300.0).replace(":00;", ":30;") for n in range(3))
    log.write_text(HEADER + other, encoding="utf-8")
    with pytest.raises(FiringError, match="exists already"):
        open_watch(WatchOptions(str(log), {"follow": True}, TOLD, out=out))
    assert out.read_bytes() == before


def test_a_followed_log_is_asked_for_its_unit_while_it_is_cold(tmp_path: Path) -> None:
    """At 68 it is a room in °F or a warm kiln in °C; in the heat nobody is there to answer."""
    path = tmp_path / "log.csv"
    begun = "time_s,Kiln\n" + "".join(f"{60 * n},{68 + n % 2}\n" for n in range(6))
    path.write_text(begun, encoding="utf-8")
    with pytest.raises(FiringError, match="--unit F"):
        FollowedLog(path)
    source = FollowedLog(path, ReadingOptions(unit="F"))
    path.write_text(begun + "".join(f"{60 * n},{8 * n}\n" for n in range(20, 200)), "utf-8")
    source.open()
    assert source.read(0.0) is not None


def test_how_a_followed_log_reads_does_not_change_in_the_heat(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{60 * n},{20 + 6 * n},{20 + 6 * max(0, n - 4) + n % 3}\n" for n in range(230)]
    path.write_text("time_s,A,B\n" + "".join(rows[:30]), encoding="utf-8")
    source = FollowedLog(path)
    path.write_text("time_s,A,B\n" + "".join(rows), encoding="utf-8")
    source.open()
    assert source.channels == ("A", "B")
    assert source.read(0.0) is not None
