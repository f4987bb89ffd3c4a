"""Messages of a running firing: what is sent when, and each channel's own thread that sends it.

A call goes at once, or by a later channel when nobody answers it, and again until somebody does.
Mere notes wait in the quiet hours.  An endpoint that hangs holds up its own thread, nothing else.

A message can be late or fail, so none of this is an alarm to rely on; and as a computer that died
cannot say so, a heartbeat says how it stands, and when the next word is due.
"""

from __future__ import annotations

import json
import math
import smtplib
import ssl
import subprocess
import threading
import time
import urllib.error
import urllib.request
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from email.message import EmailMessage
from email.utils import formatdate, make_msgid
from typing import Any, Literal

from firing.remote.notify_file import (
    Channel,
    MailChannel,
    NotifySettings,
    PostChannel,
    ProgramChannel,
)
from firing.report.sanitize import plain
from firing.report.words import sentence
from firing.serialise import OMITTED, Serialised
from firing.units import format_duration
from firing.version import __version__
from firing.watch.alarm_command import end_group
from firing.watch.calls import Call, CallBoard
from firing.watch.events import WatchEvent

MessageKind = Literal["call", "over", "note", "heartbeat", "trial"]

ANSWER_S = 15.0
"""How long a server may take for one step of its answer [s]."""
DELIVERY_S = 40.0
"""How long one delivery may take in all [s]; it is then given up and tried again."""
MOST_HANGING = 4
"""So many deliveries that never come back are left behind at the most."""
RETRY_S = (5.0, 15.0, 60.0, 180.0, 300.0)
"""How long to wait after the first failures, and after every later one [s]."""
GIVE_UP_S = {"call": 6.0 * 3600.0, "over": 3600.0, "note": 3600.0, "heartbeat": 600.0, "trial": 0.0}
"""For how long a message is tried [s]."""
MOST_WAITING = 50
CLOSING_S = 3.0
"""How long the end of a watch waits for what is still to be sent [s]."""
TICK_S = 0.5


@dataclass(frozen=True)
class Message(Serialised):
    """One message: what it is about, and its sentences."""

    kind: MessageKind
    id: str
    at: str
    """When it happened, ISO 8601."""
    subject: str
    """The gist in one line."""
    text: str
    """All of it."""
    made_s: float = field(metadata=OMITTED, default=0.0)

    def document(self) -> str:
        """Return it as one JSON document."""
        return json.dumps({"schema": 1, **self.to_dict(), "kind": "message", "of": self.kind})


class _NotDelivered(Exception):
    """Why a message did not get out, in words without any secret."""


def deliver(channel: Channel, message: Message) -> None:
    """Send a message by a channel; `_NotDelivered` if it did not get out."""
    try:
        match channel:
            case ProgramChannel():
                _run(channel, message)
            case PostChannel():
                _post(channel, message)
            case MailChannel():
                _mail(channel, message)
    except _NotDelivered:
        raise
    except smtplib.SMTPResponseException as fault:
        # What the server said may quote the login.
        raise _NotDelivered(f"the mail server answers {fault.smtp_code}") from None
    except urllib.error.HTTPError as fault:
        raise _NotDelivered(f"the server answers {fault.code}") from None
    except urllib.error.URLError as fault:
        raise _NotDelivered(_reason(fault.reason)) from None
    except Exception as fault:
        raise _NotDelivered(_reason(fault)) from None


def _reason(fault: object) -> str:
    """Say why something failed; only what the system says of it, as all else may quote secrets."""
    if isinstance(fault, TimeoutError):
        return "no answer came in time"
    if isinstance(fault, ssl.SSLError):
        return "the secure line could not be set up"
    if isinstance(fault, OSError) and fault.strerror:
        return fault.strerror[0].lower() + fault.strerror[1:]
    return type(fault).__name__


def _run(channel: ProgramChannel, message: Message) -> None:
    process = subprocess.Popen(
        [*channel.run, message.text],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        process.communicate(f"{message.document()}\n".encode(), timeout=ANSWER_S)
    except subprocess.TimeoutExpired:
        end_group(process)
        process.wait()
        raise _NotDelivered(f"it ran longer than {ANSWER_S:.0f} s and was ended") from None
    if process.returncode:
        raise _NotDelivered(f"it ended with exit code {process.returncode}")


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """Follows nowhere: an answer could send the message, and its token, to somebody else."""

    def redirect_request(self, *_: Any) -> None:
        """Return no further question."""


def _post(channel: PostChannel, message: Message) -> None:
    as_json = channel.format == "json"
    headers = {
        "Content-Type": "application/json" if as_json else "text/plain; charset=utf-8",
        "User-Agent": f"firing/{__version__}",
    }
    if channel.bearer is not None:
        headers["Authorization"] = f"Bearer {channel.bearer.reveal()}"
    body = message.document() if as_json else message.text
    asked = urllib.request.Request(channel.address.reveal(), body.encode(), headers, method="POST")
    opener = urllib.request.build_opener(_NoRedirect)
    with opener.open(asked, timeout=ANSWER_S) as answer:
        answer.read(1024)


def _mail(channel: MailChannel, message: Message) -> None:
    mail = EmailMessage()
    mail["Subject"] = message.subject
    mail["From"] = channel.sender
    mail["To"] = ", ".join(channel.to)
    # Without these two a mail is easily taken for spam.
    mail["Date"] = formatdate(localtime=True)
    mail["Message-ID"] = make_msgid(domain=channel.sender.rpartition("@")[2].strip("<> "))
    mail.set_content(f"{message.text}\n")
    secure = ssl.create_default_context()
    with _mail_server(channel, secure) as server:
        if channel.security == "starttls":
            server.starttls(context=secure)
        if channel.user is not None and channel.password is not None:
            server.login(channel.user, channel.password.reveal())
        server.send_message(mail)


def _mail_server(channel: MailChannel, secure: ssl.SSLContext) -> smtplib.SMTP:
    if channel.security == "tls":
        return smtplib.SMTP_SSL(channel.server, channel.port, timeout=ANSWER_S, context=secure)
    return smtplib.SMTP(channel.server, channel.port, timeout=ANSWER_S)


class _Delivery:
    """Sends messages by one channel, none for longer than is good.

    A name that is looked up, or an answer that trickles in, heeds no time limit of its own; so each
    is sent in a thread that is left behind if it hangs.
    """

    def __init__(self, channel: Channel, send: Callable[[Channel, Message], None]) -> None:
        self._channel, self._send = channel, send
        self._hanging: list[threading.Thread] = []

    def attempt(self, message: Message) -> str | None:
        """Send a message; return why it did not get out, None if it did."""
        self._hanging = [thread for thread in self._hanging if thread.is_alive()]
        if len(self._hanging) >= MOST_HANGING:
            return "earlier messages still hang"
        outcome: list[str | None] = []

        def send() -> None:
            try:
                self._send(self._channel, message)
                outcome.append(None)
            except _NotDelivered as reason:
                outcome.append(str(reason))
            except Exception as fault:
                outcome.append(_reason(fault))

        thread = threading.Thread(target=send, name="message", daemon=True)
        thread.start()
        thread.join(DELIVERY_S)
        if thread.is_alive():
            self._hanging.append(thread)
            return f"it hung for {DELIVERY_S:g} s"
        return outcome[0]


class Outbox:
    """One channel's messages and the thread that sends them, in order, again where one fails."""

    def __init__(
        self,
        channel: Channel,
        send: Callable[[Channel, Message], None] = deliver,
        retry_s: tuple[float, ...] = RETRY_S,
    ) -> None:
        self.channel = channel
        self._delivery, self._retry_s = _Delivery(channel, send), retry_s
        self._waiting: deque[Message] = deque()
        self._changed = threading.Condition()
        self._over = False
        self._busy = self._hurries = False
        self._failing = False
        self._remarks: deque[str] = deque(maxlen=20)
        self._thread = threading.Thread(
            target=self._work, name=f"messages to {channel.name}", daemon=True
        )
        self._thread.start()

    def put(self, message: Message) -> None:
        """Take a message; what is least worth is given up where too many wait."""
        with self._changed:
            if len(self._waiting) >= MOST_WAITING:
                notes = [m for m in self._waiting if m.kind in ("note", "heartbeat")]
                self._waiting.remove(notes[0] if notes else self._waiting[0])
            self._waiting.append(message)
            # Somebody is called: what failed before is tried again at once.
            self._hurries = self._hurries or message.kind == "call"
            self._changed.notify()

    def drop(self, names: Iterable[str]) -> None:
        """Give up calls that somebody has answered, or that are over, before they got out."""
        gone = set(names)
        with self._changed:
            kept = [m for m in self._waiting if not (m.kind == "call" and m.id in gone)]
            self._waiting = deque(kept)

    @property
    def idle(self) -> bool:
        """Whether nothing waits and nothing is being sent."""
        with self._changed:
            return not (self._waiting or self._busy)

    def remarks(self) -> list[str]:
        """Return what a person has to be told of this channel and was not yet."""
        found = []
        while self._remarks:
            found.append(self._remarks.popleft())
        return found

    def close(self, until_s: float) -> bool:
        """Let what waits get out until then (monotonic); returns whether all of it has."""
        with self._changed:
            self._over = True
            self._changed.notify()
            while (self._waiting or self._busy) and time.monotonic() < until_s:
                self._changed.wait(max(until_s - time.monotonic(), 0.01))
        return self.idle

    def _work(self) -> None:
        failures = 0
        while True:
            with self._changed:
                while not self._waiting:
                    if self._over:
                        return
                    self._changed.wait()
                message = self._waiting.popleft()
                self._busy = True
            reason = self._delivery.attempt(message)
            with self._changed:
                self._busy = False
                if reason is None:
                    failures = 0
                    if self._failing:
                        self._failing = False
                        self._remarks.append(f"messages to {self.channel.name} get out again")
                    self._changed.notify_all()
                    continue
                failures += 1
                self._note_failure(message, reason)
                if time.monotonic() - message.made_s < GIVE_UP_S[message.kind]:
                    self._waiting.appendleft(message)
                self._changed.notify_all()
                pause_s = self._retry_s[min(failures, len(self._retry_s)) - 1]
                until_s = time.monotonic() + pause_s
                self._hurries = False
                while time.monotonic() < until_s and not (self._over or self._hurries):
                    self._changed.wait(max(until_s - time.monotonic(), 0.001))
                if self._over:
                    return

    def _note_failure(self, message: Message, reason: str) -> None:
        if not self._failing:
            self._failing = True
            self._remarks.append(
                f"a message to {self.channel.name} did not get out ({plain(reason)}); it is tried "
                "again, and the watch goes on"
            )


@dataclass
class _Calling:
    """What was sent of one call: since when it is open, when it went which way, and how often."""

    since_s: float
    sent_s: dict[str, float] = field(default_factory=dict)
    times: dict[str, int] = field(default_factory=dict)
    snoozed: bool = False


class Messenger:
    """Decides what is sent when; asked several times a second, it never waits for anything."""

    def __init__(
        self,
        settings: NotifySettings,
        calls: CallBoard,
        name: str,
        stands: Callable[[], str],
        *,
        send: Callable[[Channel, Message], None] = deliver,
        clock_s: Callable[[], float] = time.monotonic,
        now: Callable[[], datetime] = lambda: datetime.now().astimezone(),
        retry_s: tuple[float, ...] = RETRY_S,
    ) -> None:
        self._settings, self._board, self._name, self._stands = settings, calls, name, stands
        self._clock_s, self._now = clock_s, now
        self._boxes = [Outbox(channel, send, retry_s) for channel in settings.channels]
        self._open: dict[int, tuple[Call, _Calling]] = {}
        self._held: list[str] = []
        self._heartbeat_s = clock_s()
        self._ticked_s = -math.inf
        self._trouble: str | None = None

    # What a watch tells

    def begin(self) -> None:
        """Say that the watch has begun, which shows whether messages get out."""
        self._note("begun", "the watch has begun", heartbeat=True)

    def notice(self, event: WatchEvent) -> None:
        """Take in an event; what somebody has to act on is on the list of calls already."""
        if event.severity == "note" and event.state != "over":  # a call's end is seen on the list
            self._note(event.id, event.message)

    def tick(self) -> None:
        """Send what is due."""
        now_s = self._clock_s()
        if now_s - self._ticked_s < TICK_S:
            return
        self._ticked_s = now_s
        self._follow_calls(now_s)
        if self._held and not self._is_quiet():
            held, self._held = self._held, []
            many = "one note" if len(held) == 1 else f"{len(held)} notes"
            self._send_notes("held", f"{many} of the quiet hours: {'; '.join(held)}", False)
        every_s = self._settings.heartbeat_s
        if every_s is not None and now_s - self._heartbeat_s >= every_s:
            self._heartbeat_s = now_s
            self._heartbeat(every_s)

    def recording(self, trouble: str | None) -> None:
        """Take in why lines are not being written, None if they are."""
        if trouble is not None and self._trouble is None:
            self._put(self._boxes, "call", "recording", f"nothing is recorded now: {trouble}")
        elif trouble is None and self._trouble is not None:
            self._note("recording", "lines are recorded again")
        self._trouble = trouble

    def end(self, words: str, *, by_itself: bool) -> None:
        """Say that the watch has ended; nobody is asked to answer that."""
        if by_itself:
            self._put(self._boxes, "call", "ended", words)
        else:
            self._note("ended", words)

    def remarks(self) -> list[str]:
        """Return what a person has to be told and was not yet, a sentence each."""
        return [sentence for box in self._boxes for sentence in box.remarks()]

    def close(self) -> bool:
        """Let what waits get out for a moment; returns whether all of it has."""
        until_s = time.monotonic() + CLOSING_S
        closed = [box.close(until_s) for box in self._boxes]
        return all(closed)

    # What is sent

    def _follow_calls(self, now_s: float) -> None:
        now_open = {call.number: call for call in self._board.open()}
        for number in [n for n in self._open if n not in now_open]:
            call, calling = self._open.pop(number)
            told = [box for box in self._boxes if box.channel.name in calling.sent_s]
            for box in self._boxes:
                box.drop([f"{number}"])
            if call.stands and told:
                words = f"over: {call.message}"
                if call.acknowledged:
                    self._note(f"{number}", words)
                else:
                    self._put(told, "over", f"{number}", words)
        for number, call in now_open.items():
            _, calling = self._open.get(number, (call, _Calling(now_s)))
            self._open[number] = call, calling
            if call.unanswered:
                self._call(call, calling, now_s)
            else:
                for box in self._boxes:
                    box.drop([f"{number}"])
            calling.snoozed = call.snoozed

    def _call(self, call: Call, calling: _Calling, now_s: float) -> None:
        """Send a call by the channels whose turn it is, the first time or again."""
        open_s = now_s - calling.since_s
        still = f" (unanswered for {format_duration(open_s)})" if open_s >= 60.0 else ""
        words = f"{'ALARM' if call.stands else 'TO DO'}: {call.message}{still}"
        for box in self._boxes:
            name = box.channel.name
            if name in calling.sent_s:
                waited = now_s - calling.sent_s[name] >= self._settings.repeat_s
                again = waited and calling.times[name] <= self._settings.repeats
                due = again or calling.snoozed  # the reminder that was asked for
            else:
                due = open_s >= box.channel.after_s
            if due:
                calling.sent_s[name] = now_s
                calling.times[name] = calling.times.get(name, 0) + 1
                self._put([box], "call", f"{call.number}", words)

    def _note(self, name: str, words: str, *, heartbeat: bool = False) -> None:
        if self._is_quiet():
            self._held = [*self._held, f"{self._now():%H:%M} {words}"][-MOST_WAITING:]
            boxes = [box for box in self._boxes if box.channel.at_night]
        else:
            boxes = self._boxes
        self._put(
            [b for b in boxes if b.channel.notes or (heartbeat and b.channel.heartbeat)],
            "note",
            name,
            words,
        )

    def _send_notes(self, name: str, words: str, at_night: bool) -> None:
        boxes = [b for b in self._boxes if b.channel.notes and (at_night or not b.channel.at_night)]
        self._put(boxes, "note", name, words)

    def _heartbeat(self, every_s: float) -> None:
        quiet = self._is_quiet()
        boxes = [
            b for b in self._boxes if b.channel.heartbeat and (b.channel.at_night or not quiet)
        ]
        words = f"the watch goes on; the next word comes in {format_duration(every_s)}"
        self._put(boxes, "heartbeat", "heartbeat", words)

    def _is_quiet(self) -> bool:
        return self._settings.is_quiet(self._now().time())

    def _put(self, boxes: Iterable[Outbox], kind: MessageKind, name: str, words: str) -> None:
        message = compose(kind, name, words, self._name, self._now(), self._stands)
        for box in boxes:
            box.put(message)


def compose(
    kind: MessageKind,
    name: str,
    words: str,
    watch: str,
    now: datetime,
    stands: Callable[[], str] = lambda: "",
) -> Message:
    """Return a message: the gist, and below it how the firing stands."""
    gist = plain(sentence(f"{watch}: {words}" if watch else words))
    try:
        standing = plain(stands())
    except Exception:  # what failed there is told there; the call itself goes
        standing = ""
    text = f"{gist}\n{standing}" if standing else gist
    at = now.isoformat(timespec="seconds")
    return Message(kind, name, at, gist[:200], text, time.monotonic())


@dataclass(frozen=True)
class Trial:
    """How a trial message went by one channel."""

    channel: Channel
    reason: str | None
    took_s: float

    def to_dict(self) -> dict[str, Any]:
        """Return it keyed for JSON."""
        return {
            "name": self.channel.name,
            "way": self.channel.way,
            "delivered": self.reason is None,
            "reason": self.reason,
            "took_s": round(self.took_s, 2),
        }


def send_trials(settings: NotifySettings) -> list[Trial]:
    """Send a trial message by every channel, and say how each went."""
    words = "a trial: nothing has happened, and messages of a firing come this way"
    found = []
    for channel in settings.channels:
        message = compose("trial", "trial", words, "", datetime.now().astimezone())
        begun_s = time.monotonic()
        reason = _Delivery(channel, deliver).attempt(message)
        found.append(Trial(channel, reason, time.monotonic() - begun_s))
    return found
