"""Lines of text that an instrument sends by itself, over a port or on standard input."""

from __future__ import annotations

import os
import select
import shlex
import sys
import time
from collections import deque
from dataclasses import dataclass
from typing import Any

from firing.capture.fields import LineLayout, LineParser, is_text, layout_of, raw_text, suggestion
from firing.capture.reading import Reading, SourceUnit
from firing.capture.serial_port import PortSettings, SerialPort
from firing.capture.source import SourceEnded, UsualPause
from firing.units import format_duration

LONGEST_LINE = 1024
"""A line of readings is never longer; what is, is noise without a line end [bytes]."""
STALE_S = 5.0
"""A line does not take longer to arrive, even at 300 baud: its beginning belonged to another one
that was cut off [s]."""


class LineBuffer:
    """Collects bytes and gives whole lines, whether they end in LF, CR LF or CR.

    To `synchronise` drops the first line, because reading may begin in its middle.
    """

    def __init__(self, *, synchronise: bool = True) -> None:
        self._rest = b""
        self._skipping = synchronise
        self._last_s: float | None = None
        self.overlong = 0
        self.cut_off = 0

    def feed(self, chunk: bytes, at_s: float) -> list[bytes]:
        """Add bytes that arrived at a monotonic moment; return the lines they complete."""
        if self._rest and self._last_s is not None and at_s - self._last_s > STALE_S:
            self._rest, self._skipping = b"", True
            self.cut_off += 1
        self._last_s = at_s
        text = self._rest + chunk.replace(b"\r", b"\n")
        if b"\n" not in text:
            if len(text) > LONGEST_LINE:
                self.overlong += not self._skipping
                text, self._skipping = b"", True
            self._rest = text
            return []
        lines = text.split(b"\n")
        self._rest = lines.pop()
        if self._skipping:
            self._skipping = False
            del lines[0]
        return [line for line in lines if line]


GARBLED_LINES = 20
"""So many lines in a row that mean nothing are told of."""
ENDLESS_BYTES = 256
ENDLESS_PIECES = 3
"""So many bytes, or so many pieces with long pauses between, without a line end are told of."""


class LineReader:
    """Makes readings of bytes, and notices when no line means anything, or none ends.

    `hint` says what else to look at where nothing better can be said.
    """

    def __init__(self, parser: LineParser, hint: str) -> None:
        self._parser = parser
        self._hint = hint
        self._refused: deque[bytes] = deque(maxlen=GARBLED_LINES)
        self._endless = b""
        self._endless_bytes = 0
        self._endless_told = False
        self._ready: deque[Reading] = deque()
        self._garbled = 0
        self._read_any = False
        self._remarks: list[str] = []
        self._buffer = LineBuffer()

    def begin(self, *, synchronise: bool) -> None:
        """Forget the bytes of a line that was under way."""
        self._buffer = LineBuffer(synchronise=synchronise)
        self._garbled = 0
        self._endless, self._endless_bytes = b"", 0

    def feed(self, chunk: bytes) -> None:
        """Take bytes in."""
        for line in self._buffer.feed(chunk, time.monotonic()):
            reading = self._parser.parse(line)
            if reading is not None:
                self._ready.append(reading)
                self._garbled, self._read_any = 0, True
                continue
            self._garbled += 1
            self._refused.append(line)
            if self._garbled == GARBLED_LINES:
                self._remarks.append(
                    f"{GARBLED_LINES} lines in a row are no readings ({self._why()}); "
                    f"{self._what_to_do()}"
                )
        self._look_for_an_end(chunk)

    def _look_for_an_end(self, chunk: bytes) -> None:
        if b"\n" in chunk or b"\r" in chunk:
            self._endless, self._endless_bytes, self._endless_told = b"", 0, False
            return
        self._endless = (self._endless + chunk)[-LONGEST_LINE:]
        self._endless_bytes += len(chunk)
        many = self._endless_bytes >= ENDLESS_BYTES or self._buffer.cut_off >= ENDLESS_PIECES
        if many and not self._endless_told:
            self._endless_told = True
            self._remarks.append(self._no_end())

    def _no_end(self) -> str:
        return (
            f"bytes arrive but no line ends ({self._endless_bytes} so far, the last "
            f"{raw_text(self._endless[-24:])}); {self._hint}"
        )

    def _what_to_do(self) -> str:
        """Return the last line as it came, and what would read it."""
        last = raw_text(self._refused[-1])
        return f"the last was {last}; {suggestion(self._refused) or self._hint}"

    def _why(self) -> str:
        return ", ".join(reason for reason, _ in self._parser.refused.most_common(2))

    def unread(self) -> str:
        """Return, as a sentence, that no line meant anything, or none at last; else nothing.

        A damaged line among good ones, or a header above them, is no trouble.
        """
        count = self._parser.refused.total()
        if count and not self._read_any:
            told = f"no line was a reading ({count} came: {self._why()})"
            return f"{told}; {self._what_to_do()}"
        if self._garbled >= GARBLED_LINES:
            told = f"the last {self._garbled} lines were no readings ({self._why()})"
            return f"{told}; {self._what_to_do()}"
        return self._no_end() if self._endless_told else ""

    def next(self) -> Reading | None:
        """Return the oldest reading not given yet."""
        return self._ready.popleft() if self._ready else None

    def remarks(self) -> list[str]:
        """Return what has not been told yet."""
        remarks, self._remarks = self._remarks, []
        return remarks


SILENT_SOCKET_S = 30.0
LONGEST_SILENCE_S = 1800.0
"""A socket that was silent for so long is opened again: first, doubled each time, at the most [s].
"""


class TextLineSource:
    """An instrument that sends a line a reading."""

    def __init__(self, settings: PortSettings, parser: LineParser) -> None:
        self.name = settings.port
        self.channels = parser.channels
        self.gives_output = parser.layout.gives_output
        self.unsolicited = True
        self.unit: SourceUnit = "C"
        self._port = SerialPort(settings)
        hint = "check the fields"
        if "://" not in settings.port:
            hint += f" and the baud rate ({settings.baud})"
        self._reader = LineReader(
            parser, f"{hint}; 'firing ports --listen {settings.port}' tries what reads it"
        )
        self._begun = False
        self._silences = 0
        self._pause = UsualPause()
        self._byte_s = 0.0
        self._patience_s = SILENT_SOCKET_S
        self._remarks: list[str] = []

    def open(self) -> None:
        """Open the port.

        The first line may have begun before, and is dropped; unless nothing came for a while, as
        then what comes begins with its first byte.
        """
        self._port.open()
        self._reader.begin(synchronise=True)
        self._begun = False
        self._byte_s = time.monotonic()

    def read(self, wait_s: float) -> Reading | None:
        """Return the next reading; see `ReadingSource`."""
        found = self._reader.next()
        if found is None:
            chunk = self._port.read()
            if chunk:
                self._begun = True
                self._byte_s, self._patience_s = time.monotonic(), SILENT_SOCKET_S
                self._reader.feed(chunk)
            else:
                self._when_silent()
            found = self._reader.next()
            if found is not None:
                self._pause.add(time.monotonic())
        return found

    def _when_silent(self) -> None:
        if not self._begun:
            self._begun = True
            self._reader.begin(synchronise=False)
        if not self._port.is_socket:
            return  # to open a serial port resets many boards
        patience_s = self._pause.patience_s(self._patience_s)
        if time.monotonic() - self._byte_s <= patience_s:
            return
        # The other end may be gone without having said so; a connection anew costs nothing.
        first = self._patience_s == SILENT_SOCKET_S
        self._silences += first
        if first and self._silences.bit_count() == 1:  # one that often falls silent: less and less
            self._remarks.append(
                f"{self.name} sent nothing for {format_duration(patience_s)}; the connection is "
                "opened again, and as often as that does not help"
            )
        self._patience_s = min(2.0 * self._patience_s, LONGEST_SILENCE_S)
        self.open()

    def close(self) -> None:
        """Close the port."""
        self._port.close()

    def remarks(self) -> list[str]:
        """Return what has not been told yet."""
        remarks, self._remarks = [*self._remarks, *self._reader.remarks()], []
        return remarks

    def unread(self) -> str:
        """Return that no line meant anything, or none at last, as a sentence; else nothing."""
        return self._reader.unread()


class StandardInputSource:
    """Lines on standard input, or another `descriptor`, from their first byte to the end."""

    def __init__(self, parser: LineParser, descriptor: int | None = None) -> None:
        self.name = "standard input"
        self.channels = parser.channels
        self.gives_output = parser.layout.gives_output
        self.unsolicited = True
        self.unit: SourceUnit = "C"
        self._descriptor = descriptor
        self._reader = LineReader(parser, "check the fields")
        self._ended = False

    def open(self) -> None:
        """Begin with the first byte."""
        self._reader.begin(synchronise=False)

    def read(self, wait_s: float) -> Reading | None:
        """Return the next reading; see `ReadingSource`."""
        found = self._reader.next()
        if found is not None:
            return found
        if self._ended:
            raise SourceEnded("standard input ended")
        source = sys.stdin.fileno() if self._descriptor is None else self._descriptor
        # Windows selects on sockets only; there a read waits, and so does a request to stop.
        if sys.platform != "win32" and not select.select([source], [], [], wait_s)[0]:
            return None
        chunk = os.read(source, 65536)
        if not chunk:
            self._ended = True
            chunk = b"\n"  # a last line without its end is whole: nothing can follow it
        self._reader.feed(chunk)
        return self._reader.next()

    def close(self) -> None:
        """Leave standard input alone."""

    def remarks(self) -> list[str]:
        """Return what has not been told yet."""
        return self._reader.remarks()

    def unread(self) -> str:
        """Return that no line meant anything, or none at last, as a sentence; else nothing."""
        return self._reader.unread()


BAUDS = (9600, 115200, 19200, 38400, 57600, 4800, 2400, 1200)
"""Tried one after the other, the commonest first."""
LISTEN_S = 4.0
"""How long each rate is listened to: a few lines of an instrument at one a second [s]."""
ENOUGH_LINES = 5
SHOWN_LINES = 3
QUOTE = chr(34)


@dataclass(frozen=True, slots=True)
class Heard:
    """What came from a port at one baud rate: how many bytes, and the whole lines of them."""

    port: str
    baud: int
    byte_count: int
    lines: tuple[bytes, ...]
    tail: bytes
    layout: LineLayout | None

    @property
    def command(self) -> str:
        """The watch that reads it; empty if nothing was understood."""
        if self.layout is None:
            return ""
        baud = "" if "://" in self.port or self.baud == BAUDS[0] else f" --baud {self.baud}"
        return f"firing watch {shlex.quote(self.port)}{baud} {self.layout.options()}"

    def shown(self) -> tuple[str, ...]:
        """Return the last lines as they came; of bytes without a line end, the last."""
        if self.lines:
            return tuple(raw_text(line) for line in self.lines[-SHOWN_LINES:])
        return (raw_text(self.tail[-24:]),) if self.tail else ()

    def to_dict(self) -> dict[str, Any]:
        """Return it keyed for JSON."""
        layout = self.layout
        return {
            "port": self.port,
            "baud": self.baud,
            "bytes": self.byte_count,
            "lines": [line.strip(QUOTE) for line in self.shown()] if self.lines else [],
            "fields": None if layout is None else list(layout.fields),
            "delimiter": None if layout is None else layout.delimiter,
            "decimal": None if layout is None else layout.decimal,
            "unit": None if layout is None else layout.unit,
            "command": self.command or None,
        }


def listen(port: str, bauds: tuple[int, ...] = BAUDS, for_s: float = LISTEN_S) -> tuple[Heard, ...]:
    """Listen at each baud rate until one makes lines of readings; return what came at each.

    `SourceLost` if the port cannot be opened, or is gone.
    """
    heard: list[Heard] = []
    for baud in bauds if "://" not in port else bauds[:1]:
        heard.append(_heard_at(port, baud, for_s))
        if heard[-1].layout is not None:
            break
    return tuple(heard)


def _heard_at(port: str, baud: int, for_s: float) -> Heard:
    link = SerialPort(PortSettings(port, baud))
    link.open()
    buffer = LineBuffer(synchronise=True)
    lines: list[bytes] = []
    tail, count = b"", 0
    until_s = time.monotonic() + for_s
    try:
        while time.monotonic() < until_s and len(lines) < ENOUGH_LINES:
            chunk = link.read()
            count += len(chunk)
            tail = (tail + chunk)[-64:]
            lines += buffer.feed(chunk, time.monotonic()) if chunk else []
    finally:
        link.close()
    readable = [line for line in lines if is_text(line.strip())]
    # A wrong rate makes a line of text now and then, never of most.
    layout = layout_of(readable) if len(readable) > 0.5 * len(lines) else None
    return Heard(port, baud, count, tuple(lines), tail, layout)
