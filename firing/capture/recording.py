"""The recorder's file as text: its header, its rows, and reading back what a crash left of it.

A plain CSV: ``time`` in UTC, one temperature in °C a channel, and ``status``, which is empty where
all is well.  A row without temperatures marks a gap and says why.
"""

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from firing.capture.reading import Reading, Status
from firing.tomlfile import clean

TIME_COLUMN = "time"
STATUS_COLUMN = "status"
_UNIT = " (°C)"


def header(channels: Sequence[str]) -> str:
    """Return the first line, without its end."""
    return ",".join([TIME_COLUMN, *(f"{name}{_UNIT}" for name in channels), STATUS_COLUMN])


def row(stamp: str, reading: Reading, channels: Sequence[str]) -> str:
    """Return the line of a reading, without its end."""
    cells = ["" if value != value else f"{value:.2f}" for value in reading.values_c]
    marked = [
        f"{name} {status.value}"
        for name, status in zip(channels, reading.statuses, strict=True)
        if status is not Status.OK
    ]
    return ",".join([stamp, *cells, "; ".join(marked)])


def gap_row(stamp: str, reason: str, channels: int) -> str:
    """Return a line that marks a gap and says why, without its end."""
    told = clean(" ".join(reason.replace(",", ";").replace('"', "'").split()))
    return ",".join([stamp, *[""] * channels, f"gap: {told}"])


@dataclass(frozen=True, eq=False)
class Recorded:
    """What a recording holds already.

    Attributes
    ----------
    channels : tuple of str
        Names of its channels.
    epoch_s : list of float
        Moments of its rows, seconds since 1970.
    values_c : list of list of float
        Temperatures of each row [°C]; NaN where there is none, or it is marked.
    """

    channels: tuple[str, ...]
    epoch_s: list[float]
    values_c: list[list[float]]


def whole_length(data: bytes) -> int:
    """Return how many bytes of a recording are whole lines of text.

    A power cut may leave a line without its end, or a stretch of zero bytes where the system had
    made the file longer and not yet written to it.
    """
    zero = data.find(b"\0")
    whole = data if zero < 0 else data[:zero]
    return whole.rfind(b"\n") + 1


def parse_header(line: str) -> tuple[str, ...] | None:
    """Return the channels that a first line names; None if it is not one of a recording."""
    cells = next(csv.reader([line]), [])
    if len(cells) < 3 or cells[0] != TIME_COLUMN or cells[-1] != STATUS_COLUMN:
        return None
    names = cells[1:-1]
    if not all(name.endswith(_UNIT) for name in names):
        return None
    return tuple(name.removesuffix(_UNIT) for name in names)


def parse_rows(text: str, channels: tuple[str, ...]) -> Recorded:
    """Read the rows below the header; one that is damaged is passed over.

    Parameters
    ----------
    text : str
        Whole lines.
    channels : tuple of str
        Names of the channels.
    """
    count = len(channels)
    epoch_s: list[float] = []
    values_c: list[list[float]] = []
    for line in text.splitlines():
        cells = line.split(",", count + 1)
        if len(cells) != count + 2:
            continue
        try:
            moment_s = datetime.fromisoformat(cells[0]).timestamp()
            values = [float(cell) if cell else math.nan for cell in cells[1:-1]]
        except ValueError:
            continue
        marks = cells[-1]
        if marks:
            for index, name in enumerate(channels):
                if any(mark.startswith(f"{name} ") for mark in marks.split("; ")):
                    values[index] = math.nan
        epoch_s.append(moment_s)
        values_c.append(values)
    return Recorded(channels, epoch_s, values_c)
