"""Messages: what is sent when, by clocks that are moved by hand, and what endpoints do to them."""

import json
import os
import re
import sys
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from remote.endpoints import hanging_endpoint, http_endpoint, mail_endpoint
from waiting import wait_until

from firing.remote import messages
from firing.remote.messages import Message, Messenger, Outbox, compose, deliver, send_trials
from firing.remote.notify_file import (
    Channel,
    MailChannel,
    NotifySettings,
    PostChannel,
    ProgramChannel,
    Secret,
    open_notify,
)
from firing.watch import alarm_command
from firing.watch.alarm_command import AlarmCommand
from firing.watch.calls import CallBoard
from firing.watch.events import EventState, Severity, WatchEvent

EVENING = datetime(2026, 3, 2, 20, 0, tzinfo=UTC)


def channel(name: str = "phone", after_s: float = 0.0, **more: bool) -> ProgramChannel:
    flags = {"notes": True, "heartbeat": True, "at_night": False} | more
    return ProgramChannel(name, after_s, run=("true",), **flags)


class Bench:
    """A messenger whose clocks stand until they are moved, and what it has sent."""

    def __init__(self, *channels: Channel, quiet: str = "", heartbeat_s: float | None = None):
        self.sent: list[tuple[str, Message]] = []
        self.now_s = 0.0
        self.calls = CallBoard(lambda: self.now_s)
        hours = None
        if quiet:
            begin, end = quiet.split("-")
            hours = (
                datetime.strptime(begin, "%H:%M").time(),
                datetime.strptime(end, "%H:%M").time(),
            )
        settings = NotifySettings(channels or (channel(),), hours, heartbeat_s, 600.0, 2)
        self.messenger = Messenger(
            settings,
            self.calls,
            "Studio",
            lambda: "at 812 °C",
            send=lambda to, message: self.sent.append((to.name, message)),
            clock_s=lambda: self.now_s,
            now=lambda: EVENING + timedelta(seconds=self.now_s),
        )

    def go(self, seconds: float, step_s: float = 30.0) -> None:
        """Let time pass."""
        until_s = self.now_s + seconds
        while self.now_s < until_s:
            self.now_s = min(self.now_s + step_s, until_s)
            self.messenger.tick()

    def event(
        self, name: str = "top", state: EventState = "raised", severity: Severity = "act"
    ) -> int:
        """Let something happen; return the number of its call, if it is one."""
        event = WatchEvent(name, severity, state, self.now_s, f"{name} has happened")
        self.calls.take(event)
        self.messenger.notice(event)
        self.now_s += 1.0
        self.messenger.tick()
        return max((call.number for call in self.calls.open()), default=0)

    def told(self) -> list[tuple[str, str, str]]:
        """Return what was sent since last asked: to whom, its kind, and its gist."""
        wait_until(lambda: all(box.idle for box in self.messenger._boxes))
        found = [(name, message.kind, message.subject) for name, message in self.sent]
        self.sent.clear()
        return found


@pytest.fixture
def bench() -> Callable[..., Bench]:
    return Bench


def test_a_call_is_sent_at_once_and_again_until_somebody_answers(
    bench: Callable[..., Bench],
) -> None:
    found = bench()
    number = found.event()
    assert found.told() == [("phone", "call", "Studio: ALARM: top has happened")]
    found.go(570.0)
    assert found.told() == []
    found.go(60.0)
    ((_, kind, gist),) = found.told()
    assert kind == "call"
    assert "unanswered for 10 min" in gist
    found.calls.acknowledge(number)
    found.go(7200.0)
    assert found.told() == []


def test_a_call_is_sent_again_no_more_often_than_was_said(bench: Callable[..., Bench]) -> None:
    found = bench()
    found.event()
    found.go(4 * 3600.0)
    assert len(found.told()) == 1 + 2


def test_a_call_goes_further_when_nobody_answers_it(bench: Callable[..., Bench]) -> None:
    found = bench(channel("phone"), channel("neighbour", 900.0))
    found.event()
    found.go(870.0)
    assert {name for name, _, _ in found.told()} == {"phone"}
    found.go(60.0)
    assert "neighbour" in {name for name, _, _ in found.told()}


def test_a_call_that_is_answered_goes_no_further(bench: Callable[..., Bench]) -> None:
    found = bench(channel("phone"), channel("neighbour", 900.0))
    number = found.event()
    assert [name for name, _, _ in found.told()] == ["phone"]
    found.calls.acknowledge(number)
    found.go(7200.0)
    assert found.told() == []


def test_a_snoozed_call_comes_again_when_it_was_asked_to(bench: Callable[..., Bench]) -> None:
    found = bench()
    number = found.event()
    found.go(550.0, 10.0)
    found.told()
    found.calls.snooze(number, 900.0)
    found.go(890.0, 10.0)
    assert found.told() == []
    found.go(30.0, 10.0)
    assert [kind for _, kind, _ in found.told()] == ["call"]


def test_an_alarm_that_is_over_is_told_to_whoever_was_called(bench: Callable[..., Bench]) -> None:
    found = bench(channel("phone"), channel("neighbour", 900.0))
    found.event()
    found.told()
    found.now_s += 60.0
    found.event(state="over")
    assert found.told() == [("phone", "over", "Studio: over: top has happened")]


def test_mere_notes_wait_in_the_quiet_hours_and_calls_never_do(bench: Callable[..., Bench]) -> None:
    found = bench(channel("phone"), channel("log", at_night=True), quiet="21:00-07:00")
    found.event("hold-over", "told", "note")
    assert {(name, kind) for name, kind, _ in found.told()} == {("phone", "note"), ("log", "note")}
    found.go(2 * 3600.0)  # 22:00
    found.event("hold-over", "told", "note")
    assert [(name, kind) for name, kind, _ in found.told()] == [("log", "note")]
    found.event("top")
    assert {(name, kind) for name, kind, _ in found.told()} == {("phone", "call"), ("log", "call")}
    found.calls.acknowledge(found.calls.open()[0].number)
    found.go(8.9 * 3600.0, 300.0)  # 06:54
    assert found.told() == []
    found.go(0.2 * 3600.0, 300.0)
    ((name, kind, gist),) = found.told()
    assert (name, kind) == ("phone", "note")
    assert "22:00 hold-over has happened" in gist


def test_the_heartbeat_says_how_it_stands_and_when_the_next_word_comes(
    bench: Callable[..., Bench],
) -> None:
    found = bench(channel("phone"), channel("quiet", heartbeat=False), heartbeat_s=3600.0)
    found.go(3 * 3600.0)
    wait_until(lambda: len(found.sent) == 3)
    text = found.sent[0][1].text
    assert "1 h" in text
    assert "at 812 °C" in text
    assert [name for name, _, _ in found.told()] == ["phone"] * 3


def test_the_disk_that_takes_no_lines_is_a_call(bench: Callable[..., Bench]) -> None:
    found = bench()
    for trouble in (None, "the disk is full", "the disk is full", None):
        found.messenger.recording(trouble)
    assert [(kind, gist) for _, kind, gist in found.told()] == [
        ("call", "Studio: nothing is recorded now: the disk is full"),
        ("note", "Studio: lines are recorded again"),
    ]


def test_what_fails_is_told_once_tried_again_and_then_told_to_be_over() -> None:
    tries: list[str] = []

    def send(to: Channel, message: Message) -> None:
        tries.append(message.id)
        if len(tries) <= 3:
            raise ConnectionRefusedError(111, "Connection refused")

    box = Outbox(channel(), send, retry_s=(0.0,))
    box.put(compose("call", "1", "ALARM", "", EVENING))
    wait_until(lambda: len(tries) == 4)
    assert box.close(time.monotonic() + 10.0)
    assert box.remarks() == [
        "a message to phone did not get out (connection refused); it is tried again, and the "
        "watch goes on",
        "messages to phone get out again",
    ]


def test_a_note_is_given_up_before_a_call_when_too_many_wait() -> None:
    started, go_on = threading.Event(), threading.Event()
    sent: list[str] = []

    def send(to: Channel, message: Message) -> None:
        started.set()
        go_on.wait(20.0)
        sent.append(message.id)

    box = Outbox(channel(), send)
    box.put(compose("note", "first", "", "", EVENING))
    assert started.wait(20.0)
    box.put(compose("call", "alarm", "", "", EVENING))
    for number in range(3 * messages.MOST_WAITING):
        box.put(compose("note", f"{number}", "", "", EVENING))
    go_on.set()
    wait_until(lambda: len(sent) == 1 + messages.MOST_WAITING)
    assert sent[:2] == ["first", "alarm"]
    assert sent[-1] == f"{3 * messages.MOST_WAITING - 1}"


def test_an_endpoint_that_hangs_holds_up_nobody_else(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(messages, "ANSWER_S", 60.0)
    monkeypatch.setattr(messages, "DELIVERY_S", 0.1)
    with hanging_endpoint() as port, http_endpoint() as taken:
        address = f"http://127.0.0.1:{port}/secret-topic"
        hangs = PostChannel("hangs", 0.0, True, True, False, Secret(address), None, "text")
        works = PostChannel("works", 0.0, True, True, False, Secret(taken.address), None, "text")
        messenger = Messenger(
            NotifySettings((hangs, works)), CallBoard(), "", lambda: "", retry_s=(0.0,)
        )
        messenger.begin()
        wait_until(lambda: len(taken.bodies) == 1)
        remarks: list[str] = []
        wait_until(lambda: bool(remarks.extend(messenger.remarks()) or remarks))
        assert "hangs did not get out (it hung for 0.1 s)" in remarks[0]
        assert "secret-topic" not in remarks[0]
        monkeypatch.setattr(messages, "CLOSING_S", 0.1)
        assert not messenger.close()


def test_a_post_carries_the_document_and_its_token_and_follows_nowhere() -> None:
    message = compose("call", "1", "ALARM: too hot", "Studio", EVENING, lambda: "at 812 °C")
    with http_endpoint() as taken, http_endpoint() as elsewhere:
        post = PostChannel(
            "phone", 0.0, True, True, False, Secret(taken.address), Secret("hush"), "json"
        )
        deliver(post, message)
        (document,) = taken.documents
        assert document["kind"] == "message"
        assert document["of"] == "call"
        assert document["at"] == "2026-03-02T20:00:00+00:00"
        assert document["text"] == "Studio: ALARM: too hot\nat 812 °C"
        assert taken.headers[0]["Authorization"] == "Bearer hush"
        taken.status, taken.location = 307, elsewhere.address
        with pytest.raises(messages._NotDelivered, match="the server answers 307"):
            deliver(post, message)
        assert elsewhere.bodies == []


def test_a_mail_arrives() -> None:
    message = compose("note", "x", "it is warm\r\nBcc: all@example.org", "Küche", EVENING)
    with mail_endpoint() as (port, mails):
        mail = MailChannel(
            "mail", 0.0, True, True, False,
            "127.0.0.1", port, "none", None, None, "kiln@example.org", ("potter@example.org",),
        )  # fmt: skip
        deliver(mail, message)
    (text,) = mails
    assert "To: potter@example.org" in text
    assert "\nDate: " in text  # RFC 5322, 3.6: a mail has one
    assert re.search(r"\nMessage-ID: <\S+@example\.org>\s", text)
    assert "\nBcc:" not in text


def test_a_program_gets_the_sentence_and_the_document(tmp_path: Path) -> None:
    out = tmp_path / "out"
    code = "import sys; open(sys.argv[1], 'w').write(sys.argv[-1] + '|' + sys.stdin.read())"
    run = (sys.executable, "-c", code, str(out))
    message = compose("call", "1", "$(reboot)", "", EVENING)
    deliver(ProgramChannel("bell", 0.0, True, True, False, run), message)
    sentence, _, document = out.read_text().partition("|")
    assert sentence == "$(reboot)"
    assert json.loads(document)["id"] == "1"


def hanging_program(folder: Path) -> tuple[str, ...]:
    """A shell script that waits for a program of its own, which writes its number down."""
    script = folder / "hang.sh"
    script.write_text(f"#!/bin/sh\nsleep 50 &\necho $! > {folder}/child\nwait\n", encoding="utf-8")
    script.chmod(0o755)
    return (str(script),)


def child_lives(folder: Path) -> bool:
    child = folder / "child"
    if not child.exists():
        return False  # ended before it started anything
    number = int(child.read_text(encoding="utf-8"))
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    stat = Path(f"/proc/{number}/stat")
    return not stat.exists() or stat.read_text(encoding="utf-8").split()[2] != "Z"


def test_a_program_that_hangs_is_ended_with_all_it_started(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(messages, "ANSWER_S", 0.5)
    program = ProgramChannel("bell", 0.0, True, True, False, hanging_program(tmp_path))
    with pytest.raises(messages._NotDelivered, match="was ended"):
        deliver(program, compose("call", "1", "hot", "", EVENING))
    wait_until(lambda: not child_lives(tmp_path))


def test_an_alarm_command_that_hangs_is_ended_with_all_it_started_and_that_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    command = AlarmCommand(hanging_program(tmp_path))
    command.begin(0.0)
    told = command.tick()
    wait_until(lambda: child_lives(tmp_path))
    monkeypatch.setattr(alarm_command, "LONGEST_RUN_S", 0.0)
    wait_until(lambda: bool(told.extend(command.tick()) or told))
    assert "ran longer than" in told[0]
    assert "at its trial" in told[0]
    wait_until(lambda: not child_lives(tmp_path))


FILE = """
quiet_hours = "22:00-07:00"
heartbeat = "6h"
[[post]]
name = "phone"
address_env = "KILN_ADDRESS"
[[post]]
name = "board"
address_file = "address"
format = "json"
[[mail]]
name = "mail"
after = "15m"
server = "mail.example.org"
user = "studio"
password = "hush-hush"
sender = "kiln@example.org"
to = ["potter@example.org"]
"""


def test_secrets_come_from_where_only_their_owner_reads_and_are_never_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "notify.toml"
    path.write_text(FILE)
    path.chmod(0o600)
    secret = tmp_path / "address"
    secret.write_text("https://example.org/hidden-topic\n")
    secret.chmod(0o600)
    monkeypatch.setenv("KILN_ADDRESS", "https://example.org/other-topic")
    settings = open_notify(path)
    assert [c.name for c in settings.channels] == ["phone", "board", "mail"]
    first, second, third = settings.channels
    assert isinstance(first, PostChannel)
    assert first.address.reveal() == "https://example.org/other-topic"
    assert isinstance(second, PostChannel)
    assert second.address.reveal() == "https://example.org/hidden-topic"
    assert isinstance(third, MailChannel)
    assert third.password is not None
    assert third.password.reveal() == "hush-hush"
    shown = f"{settings!r} {settings.words} {settings.to_dict()}"
    for hidden in ("topic", "hush"):
        assert hidden not in shown


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        ("chmod file", "others can read this file; run chmod 600"),
        ("chmod secret", "others can read"),
        ("no secret", "cannot be read"),
        ("no variable", "the environment variable KILN_ADDRESS is not set"),
        ("bad address", "has an address that is none"),
        ("no tls", "would send the password in clear"),
    ],
)
def test_a_secret_that_is_open_to_others_or_missing_is_refused_and_not_quoted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, spoil: str, told: str
) -> None:
    path, secret = tmp_path / "notify.toml", tmp_path / "address"
    path.write_text(FILE.replace("server =", 'security = "none"\nserver =', spoil == "no tls"))
    secret.write_text("https://example.org/hidden-topic\n")
    path.chmod(0o644 if spoil == "chmod file" else 0o600)
    secret.chmod(0o604 if spoil == "chmod secret" else 0o600)
    if spoil == "no secret":
        secret.unlink()
    bad = "gopher://example.org/other-topic" if spoil == "bad address" else "https://e.org/topic"
    if spoil != "no variable":
        monkeypatch.setenv("KILN_ADDRESS", bad)
    with pytest.raises(Exception, match=told) as refused:
        open_notify(path)
    assert "topic" not in str(refused.value)
    assert "hush" not in str(refused.value)


def test_a_trial_says_how_each_channel_went() -> None:
    with http_endpoint() as taken:
        taken.status = 500
        post = PostChannel("phone", 0.0, True, True, False, Secret(taken.address), None, "text")
        missing = ProgramChannel("bell", 0.0, True, True, False, ("/no/such/program",))
        fine = channel("fine")
        trials = send_trials(NotifySettings((post, missing, fine)))
    assert [trial.reason for trial in trials] == [
        "the server answers 500", "no such file or directory", None,
    ]  # fmt: skip
