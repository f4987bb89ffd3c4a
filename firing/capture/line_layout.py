"""What lines of an unknown instrument look like, and which options would read them."""

from __future__ import annotations

import re
import shlex
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from firing.capture.conversion import SourceUnit
from firing.capture.fields import UNUSED_FIELD
from firing.logs.plausibility_limits import LIVE_COLDEST_C, LIVE_HOTTEST_C
from firing.units import celsius_from_fahrenheit

LONGEST_SHOWN = 60
LEAST_SHARE = 0.6
"""So many of the lines have to be laid out alike [-]."""
MOST_CHANNELS = 4
_DELIMITERS = (",", ";", "\t", " ")
_NUMBER = re.compile(
    r"\s*(?:[A-Za-z][\w .#/()-]{0,30}?\s*[:=]\s*)?([+-]?\d+(?:([.,])\d+)?)\s*"
    r"(?:°|deg\.?)?\s*([CcFf])?\s*"
)
_NAMES = ("kiln", "second", "third", "fourth")


def raw_text(line: bytes) -> str:
    """Return bytes as they came, in quotation marks; what cannot be printed as its number."""
    shown = "".join(chr(b) if 32 <= b < 127 else f"\\x{b:02x}" for b in line[:LONGEST_SHOWN])
    return f'"{shown}…"' if len(line) > LONGEST_SHOWN else f'"{shown}"'


def is_text(line: bytes) -> bool:
    """Tell whether bytes are a line of text, not what a wrong baud rate makes of one."""
    allowed = sum(32 <= b < 127 or b in (9, 0xB0, 0xC2) for b in line)
    return bool(line) and allowed >= 0.95 * len(line)


@dataclass(frozen=True, slots=True)
class LineLayout:
    """How lines seem to be laid out, in the words of the options."""

    fields: tuple[str, ...]
    delimiter: str = ","
    decimal: str = "."
    unit: SourceUnit = "C"

    def options(self) -> str:
        """Return the options that say so."""
        words = ["--fields", ",".join(self.fields)]
        if self.delimiter != ",":
            words += ["--delimiter", self.delimiter]
        if self.decimal != ".":
            words += ["--decimal", self.decimal]
        if self.unit != "C":
            words += ["--unit", self.unit]
        return shlex.join(words)


def layout_of(lines: Iterable[bytes]) -> LineLayout | None:
    """Return how most of the lines are laid out; None if they are no lines of readings."""
    texts = [line.decode("latin-1").strip() for line in lines if is_text(line.strip())]
    found: Counter[LineLayout] = Counter()
    for text in texts:
        layout = _layout_of_one(text)
        if layout is not None:
            found[layout] += 1
    if not found:
        return None
    layout, count = found.most_common(1)[0]
    return layout if count >= LEAST_SHARE * len(texts) else None


def _layout_of_one(text: str) -> LineLayout | None:
    best: LineLayout | None = None
    most = 0
    for delimiter in _DELIMITERS:
        cells = text.split(None if delimiter == " " else delimiter)
        if delimiter != "," and len(cells) == 1:
            continue
        numbers = [_NUMBER.fullmatch(cell) for cell in cells]
        comma = any(match is not None and match[2] == "," for match in numbers)
        if comma and delimiter == ",":
            continue
        fahrenheit = any(
            match is not None and (match[3] or "") in "Ff" and match[3] for match in numbers
        )
        names: list[str] = []
        channels = 0
        for match in numbers:
            if match is None or channels == MOST_CHANNELS or not _may_be_hot(match[1], fahrenheit):
                names.append(UNUSED_FIELD)
                continue
            names.append(_NAMES[channels])
            channels += 1
        if channels > most:
            most = channels
            best = LineLayout(
                tuple(names), delimiter, "," if comma else ".", "F" if fahrenheit else "C"
            )
    return best


def _may_be_hot(number: str, fahrenheit: bool) -> bool:
    value = float(number.replace(",", "."))
    value_c = celsius_from_fahrenheit(value) if fahrenheit else value
    return LIVE_COLDEST_C <= value_c <= LIVE_HOTTEST_C


def suggestion(lines: Iterable[bytes]) -> str:
    """Return, in words, which options would read the lines; empty if none would."""
    layout = layout_of(lines)
    if layout is None:
        return ""
    return (
        f"check the fields: {layout.options()} reads such lines, if the kiln's number is the one "
        'called kiln; "-" passes one over'
    )
