"""A watch with a page and messages: whatever hangs or fails there, every line is recorded."""

import json
import os
import threading
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest
from commandline import call
from remote.endpoints import hanging_endpoint, http_endpoint
from remote.serving import free_port
from waiting import wait_until
from watch.replaying import AS_PLANNED, write_course

from firing.logs.reader import read_log
from firing.remote import messages
from firing.remote.messages import Message, Messenger
from firing.remote.notify_file import NotifySettings, PostChannel, ProgramChannel, Secret
from firing.remote.outlets import Outlets
from firing.remote.page import WatchParts
from firing.remote.page_server import PageAddress
from firing.watch.calls import CallBoard
from firing.watch.fault_isolation import SeveralListeners
from firing.watch.listener import open_with_listener
from firing.watch.options import WatchOptions
from firing.watch.snapshot import RecordingState, WatchState


@pytest.fixture
def line() -> Iterator[tuple[str, int]]:
    """Return a serial line: the name it is opened by, and where to write its lines."""
    master, slave = os.openpty()
    tty.setraw(master)
    tty.setraw(slave)
    yield os.ttyname(slave), master
    os.close(slave)
    os.close(master)


class Quiet:
    """A first listener that keeps what it is told."""

    def __init__(self) -> None:
        self.notes: list[str] = []

    def note(self, sentence: str) -> None:
        self.notes.append(sentence)

    def notice(self, notice: object) -> None: ...

    def status(self, estimate: object, reading: object) -> None: ...

    def tick(self) -> None: ...


@pytest.mark.parametrize("fault", ["hangs", "raises"])
def test_a_page_and_messages_that_hang_or_fail_keep_no_line_from_its_file(
    line: tuple[str, int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: str
) -> None:
    released = threading.Event()

    def broken(*_: object) -> dict[str, str]:
        if fault == "raises":
            raise RuntimeError("broken")
        released.wait(60.0)
        return {}

    monkeypatch.setattr(WatchParts, "html", broken)
    monkeypatch.setattr(messages, "CLOSING_S", 0.1)
    with hanging_endpoint() as port:
        address = Secret(f"http://127.0.0.1:{port}/")
        notify = NotifySettings(
            (PostChannel("phone", 0.0, True, True, False, address, None, "text"),)
        )
        outlets = Outlets(PageAddress(free_port()), notify, "Studio")
        out = tmp_path / "out.csv"
        opened, published = open_with_listener(WatchOptions(line[0], out=out), outlets.publish)
        first = Quiet()
        outlets.open(opened)
        outlets.begin()
        stop = threading.Event()
        together = outlets.beside(first, {"the page": published}, 60.0)
        watch = threading.Thread(target=lambda: opened.session(together, 1.0).run(stop.is_set))
        watch.start()
        try:
            for number in range(20):
                os.write(line[1], f"{100 + number}\n".encode())
            wait_until(lambda: "119" in out.read_text())
        finally:
            stop.set()
            watch.join(20.0)
            assert not watch.is_alive()
            opened.close()
            outlets.end(by_itself=False)
            released.set()
    # The first line after opening may be the rest of one, and then it is not taken.
    recorded = read_log(out).trace.channel_c().tolist()
    assert recorded == [100.0 + number for number in range(20)][-len(recorded) :]
    assert len(recorded) >= 19


def test_a_second_listener_that_fails_is_told_by_the_first_and_hides_nothing() -> None:
    class Failing(Quiet):
        def tick(self) -> None:
            raise RuntimeError("broken")

    first, second = Quiet(), Failing()
    together = SeveralListeners(first, {"the page": second}, lambda: ["a remark"], 60.0)
    together.note("said")
    together.tick()
    assert first.notes[:2] == ["said", "a remark"]
    assert "the page failed (broken)" in first.notes[2]


@pytest.mark.parametrize(
    "seen",
    [
        WatchState(not_recorded="no room"),
        WatchState(recording=RecordingState("x.csv", 5, None, "no room", 3, 0, "")),
    ],
)
def test_that_nothing_is_recorded_calls_somebody(
    seen: WatchState, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent: list[Message] = []
    notify = NotifySettings((ProgramChannel("bell", 0.0, True, True, False, ("true",)),))
    outlets = Outlets(None, notify)
    board = CallBoard()
    outlets._messenger = Messenger(
        notify, board, "", lambda: "", send=lambda channel, message: sent.append(message)
    )
    outlets.publish(seen)
    outlets.tick()
    outlets.tick()
    wait_until(lambda: bool(sent))
    assert [message.kind for message in sent] == ["call"]
    assert "nothing is recorded now: no room" in sent[0].text.lower()


def test_a_replayed_log_sends_nobody_messages(tmp_path: Path) -> None:
    write_course(tmp_path / "log.csv", AS_PLANNED, step_s=600.0)
    file = tmp_path / "notify.toml"
    file.write_text('[[program]]\nname = "bell"\nrun = ["true"]\n')
    result = call(tmp_path, "watch", "log.csv", "--notify", "notify.toml")
    assert result.returncode == 2
    assert "nobody is sent messages" in result.stderr


def test_a_source_after_the_page_is_a_source(tmp_path: Path) -> None:
    write_course(tmp_path / "log.csv", AS_PLANNED, step_s=600.0)
    result = call(tmp_path, "watch", "--page-lan", "--page", "log.csv", "--notify", "none.toml")
    assert "none.toml: there is no such file" in result.stderr
    assert "Missing argument 'SOURCE...'" in call(tmp_path, "watch", "--page").stderr


@pytest.mark.parametrize("port", ["80", "x", "kiln.toml", "99999"])
def test_what_is_no_port_is_refused(tmp_path: Path, port: str) -> None:
    result = call(tmp_path, "watch", "x.csv", "--page", port)
    assert result.returncode == 2
    assert "is no port" in result.stderr


def test_the_notify_command_shows_tries_and_hides(tmp_path: Path) -> None:
    file = tmp_path / "notify.toml"
    with http_endpoint() as taken:
        file.write_text(f'[[post]]\nname = "phone"\naddress = "{taken.address}"\n')
        refused = call(tmp_path, "notify", "notify.toml")
        assert refused.returncode == 2
        assert "chmod 600" in refused.stderr
        file.chmod(0o600)
        shown = call(tmp_path, "notify", "notify.toml")
        assert shown.returncode == 0
        assert taken.bodies == []
        tried = call(tmp_path, "notify", "notify.toml", "--try", "--json")
        assert tried.returncode == 0
        assert json.loads(tried.stdout)["trials"][0]["delivered"] is True
        assert len(taken.bodies) == 1
        taken.status = 404
        failed = call(tmp_path, "notify", "notify.toml", "--try")
        assert failed.returncode == 1
        assert "NOT delivered: the server answers 404" in failed.stdout
    for result in (refused, shown, tried, failed):
        assert "topic" not in result.stdout + result.stderr
