"""The notify file: who gets messages of a running firing, and by which way.

What must stay secret (an address that lets anybody write to a phone, a password) stands in an
environment variable, in a file of its own, or here; a file that holds a secret may be readable by
its owner alone.
"""

from __future__ import annotations

import os
import stat
from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import time
from pathlib import Path
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, WithJsonSchema

from firing.clock import parse_awake
from firing.errors import FiringError
from firing.files.disk import read_whole
from firing.files.kinds import FileKind, WrongKeys
from firing.files.tomlfile import Wrong, clean, plain_line
from firing.units import format_duration, parse_duration_s

_STRICT = ConfigDict(extra="forbid", strict=True)
_MOST_CHANNELS = 16
_LONGEST_SECRET = 2000
REPEAT_S = (60.0, 86_400.0)
HEARTBEAT_S = (300.0, 7 * 86_400.0)
Security = Literal["starttls", "tls", "none"]


class Secret:
    """A text that is shown to nobody: not in messages, faults, or tracebacks."""

    __slots__ = ("_text",)

    def __init__(self, text: str) -> None:
        self._text = text

    def __repr__(self) -> str:
        return "Secret(…)"

    def reveal(self) -> str:
        """Return the text, for whoever it is meant for."""
        return self._text


@dataclass(frozen=True)
class Channel(ABC):
    """One way to somebody.

    Attributes
    ----------
    name : str
        What its owner calls it.
    after_s : float
        How long a call is left unanswered before it goes this way [s].
    notes, heartbeat : bool
        Whether mere notes, and the regular word that the watch goes on, go this way.
    at_night : bool
        Whether they go in the quiet hours, too.
    """

    name: str
    after_s: float
    notes: bool
    heartbeat: bool
    at_night: bool

    @property
    @abstractmethod
    def way(self) -> str:
        """How a message goes, in a few words without any secret."""


@dataclass(frozen=True)
class ProgramChannel(Channel):
    """A program of one's own: the message is its last argument, and a JSON document its input."""

    run: tuple[str, ...]

    @property
    def way(self) -> str:
        """How a message goes."""
        return f"program {self.run[0]}"


@dataclass(frozen=True)
class PostChannel(Channel):
    """An HTTP POST to an address."""

    address: Secret
    bearer: Secret | None
    format: Literal["text", "json"]

    @property
    def way(self) -> str:
        """How a message goes."""
        return f"HTTP POST ({self.format})"


@dataclass(frozen=True)
class MailChannel(Channel):
    """A mail by a server's SMTP."""

    server: str
    port: int
    security: Security
    user: str | None
    password: Secret | None
    sender: str
    to: tuple[str, ...]

    @property
    def way(self) -> str:
        """How a message goes."""
        return f"mail to {', '.join(self.to)}"


@dataclass(frozen=True)
class NotifySettings:
    """Who gets messages, and when.

    Attributes
    ----------
    channels : tuple of Channel
        The ways, in the file's order of each kind.
    quiet : tuple of time, optional
        Between these times of day mere notes wait; calls never do.
    heartbeat_s : float, optional
        How often it is said that the watch goes on [s].
    repeat_s, repeats
        A call that nobody answers is sent again so often [s], so many times.
    """

    channels: tuple[Channel, ...]
    quiet: tuple[time, time] | None = None
    heartbeat_s: float | None = None
    repeat_s: float = 600.0
    repeats: int = 6

    @property
    def words(self) -> tuple[str, ...]:
        """Who gets what, and when, a sentence a line, without any secret."""
        found = []
        for channel in self.channels:
            parts = [channel.way]
            if channel.after_s:
                parts.append(f"calls unanswered for {format_duration(channel.after_s)}")
            else:
                parts.append("calls at once")
            parts += ["notes"] if channel.notes else []
            if self.heartbeat_s is not None and channel.heartbeat:
                parts.append(f"a word every {format_duration(self.heartbeat_s)}")
            parts += ["at night, too"] if channel.at_night else []
            found.append(f"{channel.name}: {', '.join(parts)}.")
        again = f"every {format_duration(self.repeat_s)}, up to {self.repeats} times"
        found.append(f"A call that nobody answers is sent again {again}.")
        if self.quiet is not None:
            begin, end = self.quiet
            found.append(f"Mere notes wait from {begin:%H:%M} to {end:%H:%M}; calls never do.")
        return tuple(found)

    def to_dict(self) -> dict[str, Any]:
        """Return it keyed for JSON, without any secret."""
        return {
            "channels": [
                {
                    "name": channel.name,
                    "way": channel.way,
                    "after_s": channel.after_s,
                    "notes": channel.notes,
                    "heartbeat": channel.heartbeat,
                    "at_night": channel.at_night,
                }
                for channel in self.channels
            ],
            "quiet_hours": None
            if self.quiet is None
            else {"from": f"{self.quiet[0]:%H:%M}", "to": f"{self.quiet[1]:%H:%M}"},
            "heartbeat_s": self.heartbeat_s,
            "repeat_s": self.repeat_s,
            "repeats": self.repeats,
        }

    def is_quiet(self, moment: time) -> bool:
        """Tell whether a time of day lies in the quiet hours."""
        if self.quiet is None:
            return False
        begin, end = self.quiet
        if begin <= end:
            return begin <= moment < end
        return moment >= begin or moment < end


def _duration(value: Any) -> float:
    if not isinstance(value, str):
        raise ValueError('a duration is text; write "15m"')
    try:
        return parse_duration_s(clean(value))
    except FiringError as error:
        raise ValueError(str(error)) from None


def _hours(value: Any) -> tuple[time, time]:
    if not isinstance(value, str):
        raise ValueError('a span of the day is text; write "22:00-07:00"')
    try:
        return parse_awake(clean(value))
    except FiringError:
        raise ValueError(
            f'"{clean(value)[:40]}" is not a span of the day; write "22:00-07:00"'
        ) from None


Line = Annotated[
    str, PlainValidator(plain_line("phone")), WithJsonSchema({"type": "string", "minLength": 1})
]
Duration = Annotated[float, PlainValidator(_duration), WithJsonSchema({"type": "string"})]
Hours = Annotated[tuple[time, time], PlainValidator(_hours), WithJsonSchema({"type": "string"})]


class ChannelTable(BaseModel):
    """What every channel has."""

    model_config = _STRICT

    name: Line = Field(
        description="what you call it", json_schema_extra={"example": 'name = "phone"'}
    )
    after: Duration = Field(
        0.0,
        description="send a call only when it is unanswered for so long",
        json_schema_extra={"example": 'after = "15m"'},
    )
    notes: bool = Field(True, description="whether mere notes are sent, not only calls")
    heartbeat: bool = Field(True, description="whether the regular word is sent")
    at_night: bool = Field(False, description="send notes in the quiet hours, too")


class ProgramTable(ChannelTable):
    """One ``[[program]]`` of a notify file."""

    run: list[str] = Field(
        min_length=1,
        max_length=64,
        description="a program and its arguments; the message comes after them",
        json_schema_extra={"example": 'run = ["notify-send", "Kiln"]'},
    )


class PostTable(ChannelTable):
    """One ``[[post]]`` of a notify file."""

    address: str | None = Field(None, description="where to, from http:// or https:// on")
    address_env: Line | None = Field(None, description="the environment variable that holds it")
    address_file: Line | None = Field(None, description="the file that holds it")
    bearer: str | None = Field(None, description="a token for the header Authorization: Bearer")
    bearer_env: Line | None = Field(None, description="the environment variable that holds it")
    bearer_file: Line | None = Field(None, description="the file that holds it")
    format: Literal["text", "json"] = Field("text", description="what is sent")


class MailTable(ChannelTable):
    """One ``[[mail]]`` of a notify file."""

    server: Line = Field(
        description="the mail server's name",
        json_schema_extra={"example": 'server = "mail.example.org"'},
    )
    port: int = Field(587, ge=1, le=65535, json_schema_extra={"example": "port = 587"})
    security: Security = Field("starttls", description="how the line to the server is protected")
    user: Line | None = Field(None, description="the name to log in with")
    password: str | None = Field(None, description="the password")
    password_env: Line | None = Field(None, description="the environment variable that holds it")
    password_file: Line | None = Field(None, description="the file that holds it")
    sender: Line = Field(
        description="the address it comes from",
        json_schema_extra={"example": 'sender = "kiln@example.org"'},
    )
    to: list[Line] = Field(
        min_length=1,
        max_length=16,
        description="the addresses it goes to",
        json_schema_extra={"example": 'to = ["potter@example.org"]'},
    )


class NotifyTable(BaseModel):
    """A notify file."""

    model_config = ConfigDict(extra="forbid", strict=True, title="Messages of a firing")

    quiet_hours: Hours | None = Field(
        None,
        description="when mere notes wait; calls always go",
        json_schema_extra={"example": 'quiet_hours = "22:00-07:00"'},
    )
    heartbeat: Duration | None = Field(
        None,
        description="how often to say that the watch goes on",
        json_schema_extra={"example": 'heartbeat = "6h"'},
    )
    repeat: Duration = Field(
        600.0,
        description="how often to send a call again that nobody answers",
        json_schema_extra={"example": 'repeat = "10m"'},
    )
    repeats: int = Field(
        6,
        ge=0,
        le=100,
        description="how many times to send it again",
        json_schema_extra={"example": "repeats = 6"},
    )
    program: list[ProgramTable] = Field([], max_length=_MOST_CHANNELS)
    post: list[PostTable] = Field([], max_length=_MOST_CHANNELS)
    mail: list[MailTable] = Field([], max_length=_MOST_CHANNELS)


@dataclass(frozen=True)
class _Files:
    """Where secrets of a file may be: beside it, and in itself only if nobody else reads it."""

    folder: Path = field(default_factory=Path)
    private: bool = True

    def secret(self, table: BaseModel, key: str, at: tuple[str | int, ...]) -> Secret | None:
        """Return a secret that stands under one of three keys; None if it stands nowhere."""
        ways = (key, f"{key}_env", f"{key}_file")
        given = [(way, getattr(table, way)) for way in ways if getattr(table, way) is not None]
        if not given:
            return None
        way, value = given[0]
        if len(given) > 1:
            raise WrongKeys(((*at, given[1][0]), f"{way} stands here already; leave one out"))
        if way == key:
            if not self.private:
                raise WrongKeys(
                    ((*at, way), f"others can read this file; run chmod 600, or use {key}_env")
                )
            text = value
        elif way.endswith("_env"):
            text = os.environ.get(value, "")
            if not text:
                raise WrongKeys(((*at, way), f"the environment variable {value} is not set"))
        else:
            text = self._from_file(value, (*at, way))
        text = text.strip()
        if not text or len(text) > _LONGEST_SECRET or not text.isprintable():
            raise WrongKeys(((*at, way), "must be one line of 1 to 2000 characters"))
        return Secret(text)

    def _from_file(self, name: str, at: tuple[str | int, ...]) -> str:
        path = self.folder / Path(name).expanduser()
        try:
            if is_shared(path):
                raise WrongKeys((at, f"others can read {path}; run chmod 600 {path}"))
            return read_whole(path, _LONGEST_SECRET).decode()
        except (OSError, ValueError) as fault:
            reason = getattr(fault, "strerror", None) or "it is no text"
            raise WrongKeys((at, f"{path} cannot be read: {reason}")) from None
        except FiringError as fault:
            if isinstance(fault, WrongKeys):
                raise
            raise WrongKeys((at, f"{path} {fault}")) from None


def is_shared(path: Path) -> bool:
    """Tell whether others than its owner can read a file."""
    return os.name == "posix" and bool(stat.S_IMODE(path.stat().st_mode) & 0o077)


def _channels(table: NotifyTable, files: _Files) -> Iterator[Channel]:
    for number, program in enumerate(table.program):
        yield ProgramChannel(*_common(program, ("program", number)), tuple(program.run))
    for number, post in enumerate(table.post):
        at = ("post", number)
        address = files.secret(post, "address", at)
        if address is None:
            raise WrongKeys(
                ((*at, "name"), 'has no address; write address_env = "KILN_ADDRESS" under it')
            )
        _require_address(address.reveal(), at)
        bearer = files.secret(post, "bearer", at)
        yield PostChannel(*_common(post, at), address, bearer, post.format)
    for number, mail in enumerate(table.mail):
        at = ("mail", number)
        password = files.secret(mail, "password", at)
        if (mail.user is None) != (password is None):
            raise WrongKeys(((*at, "name"), "needs both a user and a password, or neither"))
        if password is not None and mail.security == "none":
            raise WrongKeys(
                ((*at, "security"), "would send the password in clear; write starttls or tls")
            )
        yield MailChannel(
            *_common(mail, at),
            mail.server,
            mail.port,
            mail.security,
            mail.user,
            password,
            mail.sender,
            tuple(mail.to),
        )


def _require_address(address: str, at: tuple[str | int, ...]) -> None:
    """Refuse what cannot be posted to, without quoting it."""
    try:
        parts = urlsplit(address)
        usable = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        usable = False
    if not usable or not address.isascii() or " " in address:
        raise WrongKeys(((*at, "name"), "has an address that is none; begin with https://"))


def _common(table: ChannelTable, at: tuple[str | int, ...]) -> tuple[str, float, bool, bool, bool]:
    if table.after > REPEAT_S[1]:
        raise WrongKeys(((*at, "after"), 'must be at most 24 h; write after = "15m"'))
    return table.name, table.after, table.notes, table.heartbeat, table.at_night


def _settings(table: NotifyTable, files: _Files) -> NotifySettings:
    low, high = REPEAT_S
    wrong: list[Wrong] = []
    if not low <= table.repeat <= high:
        wrong.append((("repeat",), 'must be 1 min to 24 h; write repeat = "10m"'))
    if table.heartbeat is not None and not HEARTBEAT_S[0] <= table.heartbeat <= HEARTBEAT_S[1]:
        wrong.append((("heartbeat",), 'must be 5 min to 7 days; write heartbeat = "6h"'))
    if wrong:
        raise WrongKeys(*wrong)
    channels = tuple(_channels(table, files))
    if not channels:
        raise WrongKeys(((), "nobody gets a message; write [[program]], [[post]] or [[mail]]"))
    names = [channel.name for channel in channels]
    for name in names:
        if names.count(name) > 1:
            raise WrongKeys(((), f'two channels are called "{name}"; give each a name of its own'))
    return NotifySettings(channels, table.quiet_hours, table.heartbeat, table.repeat, table.repeats)


NOTIFY_FILE = FileKind("notify", lambda: NotifyTable, lambda table: _settings(table, _Files()))


def open_notify(path: Path) -> NotifySettings:
    """Read a notify file, with the secrets it names.

    `FiringError` if something in it is wrong, or a secret cannot be had or is open to others.
    """
    text = NOTIFY_FILE.text(path)
    try:
        files = _Files(path.resolve().parent, not is_shared(path))
    except OSError as fault:
        raise FiringError(f"{path}: cannot be read: {fault.strerror}") from None
    kind = FileKind("notify", lambda: NotifyTable, lambda table: _settings(table, files))
    return kind.parse(text, str(path))
