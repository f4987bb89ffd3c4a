"""A watch without a screen: its thread, what it lays down, and the words for it."""

import http.client
import os
import threading
import tty
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from firing.tui.live_watch import LiveWatch
from firing.tui.plot_lines import WatchLines
from firing.tui.watch_text import alarm_words, figures, headline, stage_words
from firing.tui.widgets.headline import headline_rows, large
from remote.serving import free_port
from waiting import PATIENCE_S, wait_until
from watch.replaying import AS_PLANNED, HOUR_S, PLAN, write_course

from firing.capture.reading import Reading, Status
from firing.logs.reader import read_log
from firing.remote.outlets import Outlets
from firing.remote.page_server import PageAddress
from firing.report.sanitize import display_width
from firing.review.position import Position
from firing.watch.calls import Call
from firing.watch.events import WatchEvent
from firing.watch.listener import MOST_REMARKS, open_with_listener
from firing.watch.options import WatchOptions
from firing.watch.snapshot import RecordingState, WatchRemark, WatchState
from firing.watch.state import Estimate, RemainingCourse

BEGAN = datetime(2026, 3, 2, 20, 0, tzinfo=UTC)


@pytest.fixture
def watched() -> Iterator[Callable[[WatchOptions], LiveWatch]]:
    """Return what begins a watch; each is ended with its test."""
    begun: list[LiveWatch] = []

    def begin(order: WatchOptions) -> LiveWatch:
        begun.append(LiveWatch(order))
        begun[-1].begin()
        return begun[-1]

    yield begin
    for watch in begun:
        assert watch.end(PATIENCE_S)


@pytest.fixture
def port(tmp_path: Path) -> Iterator[tuple[Path, int]]:
    """Return a serial line: the name it is opened by, and where to write its lines."""
    master, slave = os.openpty()
    tty.setraw(master)
    tty.setraw(slave)
    yield Path(os.ttyname(slave)), master
    os.close(slave)
    os.close(master)


def send(port: tuple[Path, int], *lines: str) -> None:
    os.write(port[1], "".join(f"{line}\n" for line in lines).encode())


Watched = Callable[[WatchOptions], LiveWatch]


def test_a_watch_on_the_screen_stands_on_a_page_too(port: tuple[Path, int]) -> None:
    page = free_port()
    watch = LiveWatch(WatchOptions(str(port[0])), Outlets(PageAddress(page)))
    watch.begin()
    shown: list[str] = []

    def is_shown() -> bool:
        send(port, "321")
        asked = http.client.HTTPConnection("127.0.0.1", page, timeout=5.0)
        try:
            asked.request("GET", "/", headers={"Host": f"127.0.0.1:{page}"})
            shown.append(asked.getresponse().read().decode())
        except OSError:
            return False
        finally:
            asked.close()
        return "321<small>" in shown[-1]

    try:
        wait_until(is_shown)
    finally:
        assert watch.end(PATIENCE_S)


def test_a_replayed_log_is_followed_recorded_and_ends(watched: Watched, tmp_path: Path) -> None:
    log = write_course(tmp_path / "log.csv", AS_PLANNED, step_s=108.0)
    out = tmp_path / "out.csv"
    how = {"speed": "max"}
    watch = watched(WatchOptions(str(log), how, out=out, schedule=PLAN, lost_after_s=270.0))
    wait_until(lambda: not watch.running)
    seen = watch.seen
    assert seen.stage == "ended"
    assert not seen.live
    assert seen.complete
    # 8.55 h of a line every 108 s, the first included
    assert seen.recording is not None
    assert seen.recording.rows == 286
    assert read_log(out).trace.time_s.size == 286
    assert seen.estimate is not None
    assert seen.estimate.position is not None
    assert seen.estimate.position.segment == 1
    assert seen.estimate.position.phase in ("hold", "done")
    assert seen.now_s == pytest.approx(8.55 * HOUR_S, abs=1.0)
    words = [remark.words for remark in seen.remarks]
    assert "safety device" in words[0]
    assert any("close the lid" in sentence for sentence in words)
    assert any("ended" in sentence for sentence in words)
    # to close the lid somebody has to act; and the cone that is down is looked at
    assert seen.calls == sum(remark.kind in ("alarm", "call") for remark in seen.remarks) >= 1


def test_a_log_that_is_still_written_is_live_and_its_new_lines_are_readings(
    watched: Watched, tmp_path: Path
) -> None:
    log = write_course(tmp_path / "log.csv", AS_PLANNED[:2], step_s=60.0)
    out = tmp_path / "out.csv"
    held = len(log.read_text(encoding="utf-8").splitlines()) - 1
    watch = watched(WatchOptions(str(log), {"follow": True}, out=out, schedule=PLAN))
    wait_until(lambda: watch.seen.stage == "waiting")
    with log.open("a", encoding="utf-8") as file:
        file.write(f"{held * 60.0:.1f},601.25\n")
    wait_until(lambda: watch.seen.recording is not None and watch.seen.recording.rows == held + 1)
    seen = watch.seen
    assert seen.live
    assert seen.reading is not None
    assert seen.reading.values_c == [601.25]


def test_a_serial_line_connects_is_read_falls_silent_and_ends_in_order(
    watched: Watched, port: tuple[Path, int], tmp_path: Path
) -> None:
    out = tmp_path / "out.csv"
    line = {"fields": "kiln,top"}
    watch = watched(WatchOptions(str(port[0]), line, out=out, schedule=PLAN, lost_after_s=1.0))
    wait_until(lambda: watch.seen.stage == "waiting")
    # the first line of a port may have begun before it was opened
    send(port, "x", "20.5,19.5", "20.75,19.75")
    wait_until(lambda: watch.seen.recording is not None and watch.seen.recording.rows == 2)
    seen = watch.seen
    assert seen.stage == "reading"
    assert seen.live
    assert seen.names == ("kiln", "top")
    assert seen.reading is not None
    assert seen.reading.values_c[0] == 20.75
    wait_until(lambda: watch.seen.stage == "silent")
    wait_until(lambda: watch.seen.standing)
    words = alarm_words(watch.seen)
    assert len(words) == 1
    assert words[0].startswith("ALARM since ")
    calls = watch.seen.calls
    assert calls == 1
    send(port, "21.0,20.0")
    wait_until(lambda: watch.seen.stage == "reading" and not watch.seen.standing)
    assert watch.seen.calls == calls
    assert watch.end(PATIENCE_S)
    assert watch.seen.stage == "stopped"
    assert watch.seen.recording is not None
    assert watch.seen.recording.unsynced_s is None
    values_c = read_log(out).trace.channel_c()
    # the gap while it was silent is a row without readings
    assert list(values_c[np.isfinite(values_c)]) == [20.5, 20.75, 21.0]
    assert np.count_nonzero(np.isnan(values_c)) == 1
    assert watch.seen.recording.gap == f"no line from {port[0]}"


def test_a_line_that_is_lost_is_told_with_its_reason(watched: Watched, tmp_path: Path) -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    name = tmp_path / "port"
    name.symlink_to(os.ttyname(slave))
    watch = watched(WatchOptions(str(name)))
    wait_until(lambda: watch.seen.stage == "waiting")
    name.unlink()
    os.close(slave)
    os.close(master)
    wait_until(lambda: watch.seen.stage == "lost")
    assert str(name) in watch.seen.why
    words, fault = stage_words(watch.seen, str(name))
    assert fault
    assert words.startswith("LOST, reconnecting: ")


def test_what_cannot_be_opened_is_told_and_holds_nothing(watched: Watched, tmp_path: Path) -> None:
    watch = watched(WatchOptions(str(tmp_path / "nowhere"), out=tmp_path / "out.csv"))
    wait_until(lambda: not watch.running)
    assert watch.seen.stage == "broken"
    words, fault = stage_words(watch.seen, "nowhere")
    assert fault
    assert "there is no such file or port" in words
    assert not (tmp_path / "out.csv").exists()


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs a folder that takes no file")
def test_a_folder_that_takes_no_file_is_told_and_watching_goes_on(
    watched: Watched, port: tuple[Path, int]
) -> None:
    # One that is missing is refused before anything is watched.
    watch = watched(WatchOptions(str(port[0]), out=Path("/proc/out.csv")))
    wait_until(lambda: watch.seen.stage == "waiting")
    send(port, "x", "20.5")
    wait_until(lambda: watch.seen.stage == "reading")
    assert not watch.seen.complete
    assert any("NOTHING IS RECORDED" in words for words in alarm_words(watch.seen))


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a disk that is always full")
def test_a_full_disk_is_told_and_watching_goes_on(watched: Watched, port: tuple[Path, int]) -> None:
    watch = watched(WatchOptions(str(port[0]), out=Path("/dev/full")))
    wait_until(lambda: watch.seen.stage == "waiting")
    send(port, "x", "20.5")
    wait_until(lambda: watch.seen.stage == "reading" and watch.seen.recording.waiting)
    (words,) = alarm_words(watch.seen)
    assert words.startswith("NOT ON THE DISK: /dev/full takes no more lines: No space left")
    # the header waits with the reading
    assert "2 of them NOT in the file" in " ".join(panel(watch.seen)["Recording"])
    assert not watch.seen.complete


def test_a_recording_has_one_writer(
    watched: Watched, port: tuple[Path, int], tmp_path: Path
) -> None:
    out = tmp_path / "out.csv"
    first = watched(WatchOptions(str(port[0]), out=out))
    wait_until(lambda: first.seen.stage == "waiting")
    master, slave = os.openpty()
    try:
        second = watched(WatchOptions(os.ttyname(slave), out=out))
        wait_until(lambda: not second.running)
        assert "another 'firing watch'" in second.seen.why
    finally:
        os.close(slave)
        os.close(master)
    assert first.running


def test_an_unforeseen_fault_closes_the_recording_and_is_told(
    watched: Watched,
    port: tuple[Path, int],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    out = tmp_path / "out.csv"
    watch = watched(WatchOptions(str(port[0]), out=out))
    wait_until(lambda: watch.seen.stage == "waiting")
    send(port, "x", "20.5")
    wait_until(lambda: watch.seen.stage == "reading")

    def fail(*_: object) -> None:
        raise ZeroDivisionError("made up")

    monkeypatch.setattr("firing.watch.watcher.Watcher.add", fail)
    send(port, "20.6")
    # what follows the firing may fail, and reading goes on ...
    wait_until(lambda: any("failed (made up)" in remark.words for remark in watch.seen.remarks))
    assert watch.running
    # ... unless that itself fails
    monkeypatch.setattr("firing.watch.session.WatchSession._tell_remarks", fail)
    wait_until(lambda: not watch.running)
    assert watch.seen.stage == "broken"
    assert "ZeroDivisionError: made up" in watch.seen.why
    assert list(read_log(out).trace.channel_c()) == [20.5, 20.6]


def test_whoever_ends_a_watch_waits_for_its_file_and_no_lock_is_needed(
    watched: Watched, port: tuple[Path, int], tmp_path: Path
) -> None:
    """Ended from inside a look at it, as a signal that comes at any moment does."""
    out = tmp_path / "out.csv"
    watch = watched(WatchOptions(str(port[0]), out=out))
    wait_until(lambda: watch.seen.stage == "waiting")
    send(port, "x", "20.5", "20.6")
    wait_until(lambda: watch.seen.recording is not None and watch.seen.recording.rows == 2)
    assert threading.current_thread() is threading.main_thread()
    assert not watch.end(0.0) or not watch.running
    assert watch.end(PATIENCE_S)
    assert list(read_log(out).trace.channel_c()) == [20.5, 20.6]


# Words


def seen(**changes: object) -> WatchState:
    """Return a watch in the middle of a firing, made up."""
    position = Position("ramp", 1, 6.3 * HOUR_S, None, 7.3 * HOUR_S, 760.0, 600.0)
    estimate = Estimate(
        7.4 * HOUR_S, 750.0, 148.0, position, "Top", -10.0,
        program_end_s=9.0 * HOUR_S, program_end_low_s=8.9 * HOUR_S, program_end_high_s=None,
        unload_s=20.0 * HOUR_S, unload_low_s=19.0 * HOUR_S, unload_high_s=22.0 * HOUR_S,
        action="shut it", action_s=9.0 * HOUR_S,
    )  # fmt: skip
    made = WatchState(
        stage="reading",
        began=BEGAN,
        now_s=7.4 * HOUR_S,
        temperature_c=751.0,
        read_s=7.4 * HOUR_S,
        names=("kiln", "top"),
        reading=Reading([751.0, 730.0], [Status.OK, Status.OK]),
        estimate=estimate,
        rest=RemainingCourse(
            np.array([0.0, 1.6 * HOUR_S, 12.6 * HOUR_S]),
            np.array([751.0, 900.0, 60.0]),
            1.6 * HOUR_S, 12.6 * HOUR_S, 11.6 * HOUR_S, 14.6 * HOUR_S,
            {1: 1.6 * HOUR_S},
        ),
        time_s=np.array([0.0, 6.3, 7.4]) * HOUR_S,
        course_c=np.array([20.0, 600.0, 751.0]),
    )  # fmt: skip
    return replace(made, **changes)  # type: ignore[arg-type]  # any field


def panel(made: WatchState) -> dict[str, tuple[str, ...]]:
    return {figure.label: figure.lines for figure in figures(made, PLAN, "C")}


def test_the_panel_says_how_it_stands() -> None:
    told = panel(seen())
    assert told["Now"] == ("Tue 03:24  751 °C 148 °C/h",) or told["Now"] == (
        "03:24  751 °C 148 °C/h",
    )
    assert told["Plan"] == ("segment 2 of 2 Top", "10 °C below plan", "10 min late")
    assert told["By hand"] == ("05:00 shut it",)
    assert told["Program"] == ("ends 05:00 (04:54 or later, perhaps never)",)
    assert told["Unload"] == ("16:00 (15:00 to 18:00)",)
    assert told["Channels"] == ("top 730 °C",)
    assert told["Recording"] == ("none",)


def test_the_panel_says_what_it_took_and_where_the_kiln_stands() -> None:
    estimate = seen().estimate
    assert estimate is not None
    told = panel(seen(estimate=replace(estimate, energy_kwh=31.4, energy_total_kwh=58.0)))
    assert "31.4" in told["Energy"][0]
    assert "58" in told["Energy"][0]
    assert "Energy" not in panel(seen())
    position = Position("done", 1, None, 0.0, 0.0, None)
    over = replace(estimate, position=position, energy_kwh=57.6, energy_total_kwh=57.6)
    assert panel(seen(estimate=over))["Energy"] == ("about 57.6 kWh",)  # no more is to come
    assert "1180 °C" in panel(seen(estimate=replace(estimate, stalls_c=1180.0)))["Kiln"][0]


def test_a_reading_that_something_is_held_against_says_so() -> None:
    told = panel(seen(reading=Reading([float("nan"), 730.0], [Status.OPEN, Status.OK])))
    assert told["Channels"] == ("kiln open circuit", "top 730 °C")


@pytest.mark.parametrize(
    ("kept", "words"),
    [
        (
            RecordingState("a.csv", 12, 4.2, None, 0, 0, ""),
            ["a.csv", "12 lines, on the disk 4 s ago"],
        ),
        (
            RecordingState("a.csv", 12, 95.0, None, 0, 0, ""),
            ["a.csv", "12 lines, NOT on the disk for 95 s"],
        ),
        (
            RecordingState("a.csv", 12, 4.0, "No space left on device", 3, 2, "no line"),
            ["a.csv", "12 lines, 3 of them NOT in the file", "2 lines LOST", "gap: no line"],
        ),
    ],
)
def test_the_recording_says_what_is_not_in_the_file(kept: RecordingState, words: list[str]) -> None:
    told = panel(seen(recording=kept))["Recording"]
    for line, start in zip(told, words, strict=True):
        assert line.startswith(start)
    assert any(w.startswith("NOT ON THE DISK: ") for w in alarm_words(seen(recording=kept))) == (
        kept.trouble is not None
    )


def test_of_what_was_told_the_latest_is_kept(tmp_path: Path) -> None:
    log = write_course(tmp_path / "log.csv", AS_PLANNED, step_s=600.0)
    laid: list[WatchState] = []
    opened, listener = open_with_listener(WatchOptions(str(log)), laid.append)
    for number in range(3 * MOST_REMARKS):
        listener.note(str(number))
    listener.lay_down()
    opened.close()
    assert len(laid[-1].remarks) == MOST_REMARKS
    assert laid[-1].remarks[-1] == WatchRemark(0.0, "note", str(3 * MOST_REMARKS - 1))


# The curve


def test_the_plan_lies_where_the_firing_really_began() -> None:
    lines = WatchLines(PLAN)
    course = lines.plot_lines(seen(), "C")
    plan, rest, kiln = course.lines
    assert (plan.style, rest.style, kiln.style) == ("dashed", "dotted", "solid")
    # ten minutes late at 7.4 h, where the plan is 7.3 h old: it began 7.4 h − 7.3 h − 10 min in
    assert plan.time_s[0] == pytest.approx((7.4 - 7.3 - 1.0 / 6.0) * HOUR_S)
    assert rest.time_s[0] == 7.4 * HOUR_S
    assert rest.time_s[-1] == pytest.approx(20.0 * HOUR_S)
    assert course.place(8.0 * HOUR_S) == PLAN.label(1)
    assert course.place(3.0 * HOUR_S) == ""
    assert course.readout(0.0).startswith("Mon 20:00")


def test_the_plan_stays_where_it_lies_when_the_program_is_done() -> None:
    lines = WatchLines(PLAN)
    before = lines.plot_lines(seen(), "C").lines[0].time_s[0]
    made = seen()
    assert made.estimate is not None
    end_s = before + 8.55 * HOUR_S + 600.0
    done = Position("done", 1, None, end_s, 8.55 * HOUR_S, None, 600.0)
    for hours in (10.0, 15.0):
        estimate = replace(made.estimate, position=done, now_s=hours * HOUR_S)
        later = lines.plot_lines(seen(estimate=estimate, now_s=hours * HOUR_S), "C")
        assert later.lines[0].time_s[0] == pytest.approx(before)
    away = replace(
        made.estimate, position=Position("left", 1, None, None, 7.0 * HOUR_S, None), now_s=9e4
    )
    assert lines.plot_lines(seen(estimate=away), "C").lines[0].time_s[0] == pytest.approx(before)


def test_without_a_plan_there_are_only_readings() -> None:
    made = seen(rest=None, estimate=None)
    course = WatchLines(None).plot_lines(made, "F")
    assert [line.name for line in course.lines] == ["kiln"]
    assert course.unit == "F"
    assert panel(made)["Now"] == ("03:24  751 °C",)


def test_the_headline_says_what_matters_and_no_old_reading_as_if_current() -> None:
    found = headline(seen(), PLAN, "C")
    assert found.temperature == "751 °C"
    assert found.lines[0].startswith("10 °C below plan, 10 min late")
    assert (found.at, found.what) == ("05:00", "shut it")
    assert "top 730 °C" in found.lines
    assert not found.calls
    for stage in ("lost", "silent", "waiting", "connecting"):
        gone = headline(seen(stage=stage), PLAN, "C")
        assert "751" not in gone.temperature
        assert any("no reading now; 751 °C at 03:24" in line for line in gone.lines)
    assert headline(seen(), PLAN, "F").temperature == "1384 °F"  # 751 × 1.8 + 32


def test_a_call_colours_the_headline_until_it_is_answered_or_put_off() -> None:
    event = WatchEvent("over-top", "act", "raised", 7.0 * HOUR_S, "751 °C is over the top")
    remark = WatchRemark(event.at_s, "alarm", event.message)
    call = Call(1, event.id, event.at_s, event.message, stands=True)
    for made, calls, said in (
        (call, True, "ALARM since 03:00: 751 °C"),
        (replace(call, acknowledged=True), False, "ALARM since 03:00 (acknowledged): 751 °C"),
        (replace(call, snoozed=True), False, "ALARM since 03:00 (snoozed): 751 °C"),
    ):
        now = seen(standing=(remark,), open_calls=(made,))
        assert headline(now, PLAN, "C").calls == calls
        assert alarm_words(now)[0].startswith(said)  # it stands all the same
    lid = Call(2, "action", 7.0 * HOUR_S, "close the lid", stands=False)
    assert alarm_words(seen(open_calls=(lid,))) == ["TO DO since 03:00: close the lid."]
    # in a replay nobody has done it, and hours later it is no longer of now
    late = replace(lid, at_s=2.0 * HOUR_S)
    assert alarm_words(seen(open_calls=(late,), live=False)) == []


@pytest.mark.parametrize(("width", "height"), [(20, 3), (56, 3), (78, 5), (158, 10)])
def test_the_headline_fits_and_shows_the_hand_action(width: int, height: int) -> None:
    rows = headline_rows(headline(seen(), PLAN, "C"), width, height)
    assert len(rows) == height
    assert any("█" in row for row in rows)
    if width > 20:
        assert all(display_width(row) <= width for row in rows)
        assert "shut it" in "\n".join(rows)


@pytest.mark.parametrize("height", [3, 5, 10])
def test_large_digits_are_told_apart(height: int) -> None:
    drawn = {"\n".join(large(digit, height)) for digit in "0123456789-"}
    assert len(drawn) == 11
    assert {len(large(digit, height)) for digit in "08"} == {height}


def test_the_other_channels_are_drawn_too() -> None:
    time_s, course_c = np.array([0.0, HOUR_S]), np.array([20.0, 90.0])
    drawn = WatchLines(PLAN).plot_lines(seen(others=(("top", time_s, course_c),)), "C")
    line = next(line for line in drawn.lines if line.name == "top")
    assert list(line.temperature_c) == [20.0, 90.0]
    # beneath the kiln's own
    assert [line.name for line in drawn.lines].index("top") < len(drawn.lines) - 1


def test_the_course_of_every_channel_is_kept(watched: Watched, tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    lines = [f"{60 * n},{20 + n},{10 + n}" for n in range(60)]
    log.write_text("\n".join(["Time (s),Kiln (°C),Top (°C)", *lines]) + "\n", encoding="utf-8")
    watch = watched(WatchOptions(str(log), {"speed": "max"}))
    wait_until(lambda: not watch.running)
    ((name, time_s, course_c),) = watch.seen.others
    assert name == "Top"
    assert list(course_c) == [10.0 + n for n in range(60)]
    assert list(time_s) == list(watch.seen.time_s)
