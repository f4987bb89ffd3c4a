"""Listens to a port nobody knows yet: which baud rate makes lines of it, and what they hold.

It only listens; nothing is ever sent.
"""

from __future__ import annotations

import shlex
import time
from dataclasses import dataclass
from typing import Any

from firing.capture.line_layout import LineLayout, is_text, layout_of, raw_text
from firing.capture.serial_port import PortSettings, SerialPort
from firing.capture.text_lines import LineBuffer

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

    Raises
    ------
    SourceLost
        If the port cannot be opened, or is gone.
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
