"""Lines of text that an instrument sends by itself, over a port or on standard input."""

import os
import select
import sys
import time
from collections import deque

from firing.capture.conversion import SourceUnit
from firing.capture.fields import LineParser
from firing.capture.reading import Reading
from firing.capture.serial_port import PortSettings, SerialPort
from firing.capture.source import SourceEnded

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


class LineReader:
    """Makes readings of bytes, and notices when no line means anything."""

    def __init__(self, parser: LineParser, hint: str) -> None:
        self._parser = parser
        self._hint = hint
        self._ready: deque[Reading] = deque()
        self._garbled = 0
        self._read_any = False
        self._remarks: list[str] = []
        self._buffer = LineBuffer()

    def begin(self, *, synchronise: bool) -> None:
        """Forget the bytes of a line that was under way."""
        self._buffer = LineBuffer(synchronise=synchronise)
        self._garbled = 0

    def feed(self, chunk: bytes) -> None:
        """Take bytes in."""
        for line in self._buffer.feed(chunk, time.monotonic()):
            reading = self._parser.parse(line)
            if reading is not None:
                self._ready.append(reading)
                self._garbled, self._read_any = 0, True
                continue
            self._garbled += 1
            if self._garbled == GARBLED_LINES:
                self._remarks.append(
                    f"{GARBLED_LINES} lines in a row are no readings ({self._why()}); {self._hint}"
                )

    def _why(self) -> str:
        return ", ".join(reason for reason, _ in self._parser.refused.most_common(2))

    def unread(self) -> str:
        """Return, as a sentence, that no line meant anything, or none at last; else nothing.

        A damaged line among good ones, or a header above them, is no trouble.
        """
        count = self._parser.refused.total()
        if count and not self._read_any:
            return f"no line was a reading ({count} came: {self._why()}); {self._hint}"
        if self._garbled >= GARBLED_LINES:
            return f"the last {self._garbled} lines were no readings ({self._why()}); {self._hint}"
        return ""

    def next(self) -> Reading | None:
        """Return the oldest reading not given yet."""
        return self._ready.popleft() if self._ready else None

    def remarks(self) -> list[str]:
        """Return what has not been told yet."""
        remarks, self._remarks = self._remarks, []
        return remarks


class TextLineSource:
    """An instrument that sends a line a reading."""

    def __init__(self, settings: PortSettings, parser: LineParser) -> None:
        self.name = settings.port
        self.channels = parser.channels
        self.gives_output = parser.layout.gives_output
        self.unsolicited = True
        self.unit: SourceUnit = "C"
        self._port = SerialPort(settings)
        baud = "" if "://" in settings.port else f" and the baud rate ({settings.baud})"
        self._reader = LineReader(parser, f"check the fields{baud}")

    def open(self) -> None:
        """Open the port; the first line is dropped, as it may have begun before."""
        self._port.open()
        self._reader.begin(synchronise=True)

    def read(self, wait_s: float) -> Reading | None:
        """Return the next reading; see `ReadingSource`."""
        found = self._reader.next()
        if found is None:
            chunk = self._port.read()
            if chunk:
                self._reader.feed(chunk)
            found = self._reader.next()
        return found

    def close(self) -> None:
        """Close the port."""
        self._port.close()

    def remarks(self) -> list[str]:
        """Return what has not been told yet."""
        return self._reader.remarks()

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
