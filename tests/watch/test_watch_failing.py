"""Recording, alarms, estimates and display fail apart: whatever raises, each line is recorded."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from capture.ptywatch import readings
from longer import beyond
from watch.replaying import AS_PLANNED, HOUR_S, PLAN, Told, write_course

from firing.capture.clock import SuspensionDetector, TimeBase
from firing.capture.reading import PlausibilityCheck, Reading, Status
from firing.capture.recorder import Recorder
from firing.capture.source import Connection, UsualPause
from firing.watch.alarm_command import AlarmCommand
from firing.watch.alarms import AlarmBoard
from firing.watch.calls import CallBoard
from firing.watch.events import AlarmLimits
from firing.watch.fault_isolation import FORGOTTEN_AFTER_SUCCESSES, FaultIsolation
from firing.watch.history import History
from firing.watch.kiln_model import KilnModel
from firing.watch.options import WatchOptions
from firing.watch.predictor import ForecastPredictor
from firing.watch.session import WatchSession
from firing.watch.setup import open_watch
from firing.watch.state import Prediction
from firing.watch.terminal import Terminal
from firing.watch.watcher import Watcher

SPIKE_C = 1300.0

ESTIMATORS = [
    "firing.watch.watcher.locate",
    "firing.watch.watcher.predict",
    "firing.watch.watcher.cones_reached",
    "firing.watch.watcher.forecast_cones",
    "firing.watch.watcher.down_since_s",
    "firing.watch.watcher.lowest_effective_c",
]
METHODS = [
    [ForecastPredictor, "remaining"],
    [History, "now_c"],
    [KilnModel, "update"],
    [PlausibilityCheck, "mark"],
    [Prediction, "timed"],
    [Prediction, "shifted"],
    [History, "rate_c_per_h"],
    [History, "trace"],
    [Watcher, "estimate"],
    [Watcher, "begin"],
    [KilnModel, "remaining"],
    [KilnModel, "tick"],
    [KilnModel, "begin"],
    [CallBoard, "take"],
    [CallBoard, "due"],
    [Recorder, "tick"],
    [Recorder, "remarks"],
    [Watcher, "remarks"],
]
ALARMING = [(History, "add"), (Watcher, "add"), (AlarmBoard, "update")]
"""What alarms themselves are made of: no line is lost, and that they are blind is told."""


def boom(*_: Any, **__: Any) -> Any:
    raise ZeroDivisionError("a fault\nof two lines")


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A firing as planned, with two readings over the top at 8.4 h."""
    over = [(8.4, SPIKE_C), (8.4 + 1 / 15, SPIKE_C + 1.0)]
    return write_course(tmp_path / "log.csv", AS_PLANNED, step_s=240.0, spikes=over)


def watched(
    log: Path, listener: Any | None = None, every_s: float = HOUR_S, **options: Any
) -> tuple[Told, Path]:
    out = log.with_name("out.csv")
    opened = open_watch(
        WatchOptions(str(log), schedule=PLAN, top_c=1200.0, out=out, cones=("012",), **options)
    )
    told = Told()
    try:
        opened.session(listener or told, every_s).run(lambda: False)
    finally:
        opened.close()
    return told, out


def whole(told: Told, out: Path, *, alarms: bool = True) -> None:
    assert readings(out) == readings(out.with_name("log.csv"))
    assert [note for note in told.notes if "\n" in note or "Traceback" in note] == []
    if alarms:
        assert "raised" in [state for state, _ in told.of("over-top")]


def test_without_a_fault_nothing_is_told_of_one(log: Path) -> None:
    told, out = watched(log)
    whole(told, out)
    assert [note for note in told.notes if "failed" in note] == []
    assert all(estimate.untold == () for estimate in told.estimates)
    assert told.of("blind") == []


@pytest.mark.parametrize("name", beyond(2, ESTIMATORS))
def test_an_estimator_that_raises_ends_nothing(
    log: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setattr(name, boom)
    told, out = watched(log)
    whole(told, out)
    failed = [note for note in told.notes if "failed (a fault of two lines)" in note]
    assert len(failed) >= 1
    assert len(failed) == len(set(failed))
    assert all("it is tried again" in note for note in failed)
    assert len(told.estimates) > 7


@pytest.mark.parametrize(("owner", "name"), beyond(4, METHODS))
def test_a_part_that_raises_ends_nothing(
    log: Path, monkeypatch: pytest.MonkeyPatch, owner: type, name: str
) -> None:
    from watch.wornkiln import kiln

    monkeypatch.setattr(owner, name, boom)
    monkeypatch.setattr("firing.watch.kiln_model.REFIT_EVERY_S", 1e9)  # a refit takes seconds
    if owner is KilnModel and name == "tick":
        monkeypatch.setattr("firing.watch.kiln_model.REFIT_EVERY_S", 60.0)
    told, out = watched(log, kiln=kiln() if owner is KilnModel else None)
    whole(told, out, alarms=(owner, name) not in [(History, "now_c"), (PlausibilityCheck, "mark")])
    assert sum("a fault of two lines" in note for note in told.notes) >= 1


@pytest.mark.parametrize(("owner", "name"), ALARMING)
def test_alarms_that_fail_are_told_and_each_line_is_recorded(
    log: Path, monkeypatch: pytest.MonkeyPatch, owner: type, name: str
) -> None:
    monkeypatch.setattr(owner, name, boom)
    told, out = watched(log)
    whole(told, out, alarms=False)
    assert sum("a fault of two lines" in note for note in told.notes) >= 1
    if owner is AlarmBoard:
        assert [notice.severity for notice in told.notices if notice.id == "blind"] == ["act"]


@pytest.mark.parametrize(
    "name", beyond(2, ["_top", "_above", "_stalled", "_cooling", "_lost", "_stuck", "_unload"])
)
def test_an_alarm_that_fails_silences_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    runs_away = (*AS_PLANNED, (10.2, 1250.0))  # as a relay that sticks does
    log = write_course(tmp_path / "log.csv", runs_away, step_s=240.0)
    monkeypatch.setattr(AlarmBoard, name, boom)
    told, out = watched(log)
    whole(told, out, alarms=name != "_top")
    if name == "_top":
        assert "raised" in [state for state, _ in told.of("hold-long")]
    assert [notice.severity for notice in told.notices if notice.id == "blind"] == ["act"]


def test_a_place_that_fails_is_not_shown_as_if_current_and_comes_back(
    log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import firing.watch.watcher as module

    real = module.locate
    monkeypatch.setattr(
        module,
        "locate",
        lambda plan, time_s, course_c, now_c: (
            boom() if 4.0 < time_s[-1] / HOUR_S < 5.0 else real(plan, time_s, course_c, now_c)
        ),
    )
    told, out = watched(log, every_s=0.5 * HOUR_S)
    whole(told, out)
    before, during, after = (told.at(hour) for hour in (3.5, 4.5, 5.5))
    for estimate in (before, after):
        assert estimate.position is not None
        assert estimate.program_end_s is not None
        assert estimate.untold == ()
    assert during.position is None
    assert during.deviation_c is None
    assert during.program_end_s is None
    assert during.unload_s is None
    assert during.untold == ("the place in the plan",)
    assert during.temperature_c == pytest.approx(20.0 + 100.0 * during.now_s / HOUR_S, abs=2.0)
    assert sum("the place in the plan failed" in note for note in told.notes) == 1
    assert told.notes.count("the place in the plan works again") == 1
    assert [notice.severity for notice in told.notices if notice.id == "blind"] == ["act"]


class Broken:
    """A listener of which some parts raise."""

    def __init__(self, told: Told, *parts: str) -> None:
        for name in ("note", "notice", "status", "tick"):
            setattr(self, name, boom if name in parts else getattr(told, name))


@pytest.mark.parametrize("part", beyond(2, ["notice", "status", "note", "tick"]))
def test_a_listener_that_raises_ends_nothing_and_silences_no_alarm(
    log: Path, monkeypatch: pytest.MonkeyPatch, part: str
) -> None:
    rung: list[str] = []
    monkeypatch.setattr(AlarmCommand, "tell", lambda self, event: rung.append(event.message))
    told = Told()
    _, out = watched(log, Broken(told, part), command="true")
    assert readings(out) == readings(out.with_name("log.csv"))
    assert any("over the top temperature" in message for message in rung)
    if part == "notice":
        assert any("over the top temperature" in note for note in told.notes)
    elif part != "note":
        assert "raised" in [state for state, _ in told.of("over-top")]
    if part != "note":
        assert any("the display" in note and "failed" in note for note in told.notes)


@pytest.mark.parametrize("name", beyond(1, ["tell", "tick"]))
def test_a_command_that_raises_ends_nothing(
    log: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setattr(AlarmCommand, name, boom)
    told, out = watched(log, command="true")
    whole(told, out)


def test_what_was_not_shown_is_shown_when_it_can_be(log: Path) -> None:
    told = Told()
    refused: list[str] = []

    class Slow(Broken):
        def note(self, sentence: str) -> None:
            if len(refused) < 3:
                refused.append(sentence)
                boom()
            told.note(sentence)

    listener = Slow.__new__(Slow)
    listener.__dict__.update(notice=boom, status=told.status, tick=told.tick)
    watched(log, listener)
    assert any("over the top temperature" in note for note in told.notes)
    assert refused[0] in told.notes


def test_the_terminals_own_words_may_fail(
    log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from datetime import UTC, datetime

    monkeypatch.setattr("firing.watch.terminal.status_line", boom)
    out = log.with_name("out.csv")
    terminal = Terminal(datetime(2026, 3, 1, tzinfo=UTC), PLAN, None, None, False, ("kiln",))
    watched(log, terminal)
    assert readings(out) == readings(out.with_name("log.csv"))
    said = capsys.readouterr().err
    assert "the display of how it stands failed (a fault of two lines)" in said
    assert "ALARM over-top" in said


@pytest.mark.parametrize("name", beyond(1, ["notice", "status", "note", "tick", "lay_down"]))
def test_a_screens_listener_that_raises_ends_nothing(
    log: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    from firing.tui.live_watch import LiveWatch

    from firing.watch.listener import WatchListener

    rung: list[str] = []
    monkeypatch.setattr(AlarmCommand, "tell", lambda self, event: rung.append(event.message))
    monkeypatch.setattr(WatchListener, name, boom)
    out = log.with_name("out.csv")
    order = WatchOptions(
        str(log), {"speed": "max"}, out=out, schedule=PLAN, top_c=1200.0, command="true"
    )
    watch = LiveWatch(order)
    watch.begin()
    watch._thread.join(60.0)
    assert not watch.running
    assert readings(out) == readings(out.with_name("log.csv"))
    assert any("over the top temperature" in message for message in rung)


class Faulty:
    """A source that raises what no source should, and gives a reading otherwise."""

    name, channels, gives_output, unsolicited = "faulty", ("kiln",), False, True

    def __init__(self) -> None:
        self.opened = self.reads = 0

    def open(self) -> None:
        self.opened += 1

    def read(self, wait_s: float) -> Reading | None:
        self.reads += 1
        if self.reads % 3 == 0:
            boom()
        return Reading([20.0 + self.reads], [Status.OK])

    def close(self) -> None: ...

    def remarks(self) -> list[str]:
        return boom() if self.reads % 2 else []


@pytest.mark.parametrize(
    ("owner", "name"),
    beyond(1, [[UsualPause, "add"], [SuspensionDetector, "is_late"], [TimeBase, "clock_step_s"],
               [UsualPause, "patience_s"], [CallBoard, "due"]]),
)  # fmt: skip
def test_of_a_live_watch_too_a_part_that_raises_ends_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, owner: type, name: str
) -> None:
    class Hot(Faulty):
        def read(self, wait_s: float) -> Reading | None:
            self.reads += 1
            return Reading([200.0 + 0.1 * self.reads], [Status.OK])

    source = Hot()
    recorder, told = Recorder(tmp_path / "out.csv", source.channels), Told()
    watcher = Watcher(AlarmLimits(top_c=200.5))
    session = WatchSession(
        Connection(source), watcher, told, recorder.base, recorder=recorder, calls=CallBoard()
    )
    monkeypatch.setattr(owner, name, boom)
    session.run(lambda: source.reads >= 9)
    recorder.close()
    assert len(readings(tmp_path / "out.csv")) == 9
    assert "raised" in [state for state, _ in told.of("over-top")]
    assert any("failed (a fault of two lines)" in note for note in told.notes)


def test_a_source_that_raises_is_opened_again_and_each_line_is_recorded(tmp_path: Path) -> None:
    source = Faulty()
    recorder = Recorder(tmp_path / "out.csv", source.channels)
    told = Told()
    connection = Connection(source)
    connection.open()
    WatchSession(connection, Watcher(AlarmLimits()), told, recorder.base, recorder=recorder).run(
        lambda: source.reads >= 9
    )
    recorder.close()
    assert readings(tmp_path / "out.csv") == [20.0 + n for n in (1, 2, 4, 5, 7, 8)]
    assert source.opened == 3  # not after the last
    assert any("faulty failed (a fault of two lines)" in note for note in told.notes)


def test_a_failure_is_told_once_until_the_part_has_worked_for_long() -> None:
    isolation = FaultIsolation()
    for fails in [
        False,
        True,
        True,
        False,
        True,
        False,
        *[False] * FORGOTTEN_AFTER_SUCCESSES,
        True,
    ]:
        isolation.run("the sum", boom if fails else lambda: 1, 0)
        assert isolation.is_failing("the sum") == fails
    told = isolation.remarks()
    assert [sentence.split(" (")[0] for sentence in told] == [
        "the sum failed", "the sum works again", "the sum failed",
    ]  # fmt: skip
    assert isolation.remarks() == []


def test_what_asks_to_stop_is_no_failure() -> None:
    def asked() -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        FaultIsolation().run("the sum", asked, None)
