"""The recorder's file as text: its header, its rows, and reading back what a crash left of it.

A plain CSV: ``time`` in UTC, one temperature in °C a channel, the controller's output in percent
if the instrument tells it, and ``status``, which is empty where all is well.  A row without
temperatures marks a gap and says why.
"""

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from firing.capture.reading import Reading, Status, duty_from_percent
from firing.files.tomlfile import clean

TIME_COLUMN = "time"
STATUS_COLUMN = "status"
OUTPUT_COLUMN = "output (%)"
_UNIT = " (°C)"


_RUN_BY_SPREADSHEETS = ("=", "+", "-", "@", "\t", "\r")


def _as_text(cell: str) -> str:
    """Return a cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if cell.startswith(_RUN_BY_SPREADSHEETS) else cell


def _from_text(cell: str) -> str:
    bare = cell.removeprefix("'")
    return bare if bare.startswith(_RUN_BY_SPREADSHEETS) else cell


def _quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if set(cell) & set(',"') else cell


def header(channels: Sequence[str], output: bool = False) -> str:
    """Return the first line, without its end."""
    names = [_quoted(_as_text(f"{name}{_UNIT}")) for name in channels]
    return ",".join([TIME_COLUMN, *names, *[OUTPUT_COLUMN] * output, STATUS_COLUMN])


def row(stamp: str, reading: Reading, channels: Sequence[str], output: bool = False) -> str:
    """Return the line of a reading, without its end."""
    cells = ["" if value != value else f"{value:.2f}" for value in reading.values_c]
    if output:
        cells.append("" if reading.duty != reading.duty else f"{100.0 * reading.duty:.1f}")
    marked = [
        f"{name} {status.value}"
        for name, status in zip(channels, reading.statuses, strict=True)
        if status is not Status.OK
    ]
    return ",".join([stamp, *cells, _as_text("; ".join(marked))])


def gap_row(stamp: str, reason: str, columns: int) -> str:
    """Return a line that marks a gap and says why, without its end."""
    shown = clean(" ".join(reason.replace(",", ";").replace('"', "'").split()))
    return ",".join([stamp, *[""] * columns, f"gap: {shown}"])


@dataclass(frozen=True, eq=False)
class RecordedData:
    """What a recording holds already: a moment, the temperatures and the duty of every row.

    NaN where there is no temperature or it is marked, and where no output is shown.
    """

    channels: tuple[str, ...]
    epoch_s: list[float]
    values_c: list[list[float]]
    duty: list[float]


def intact_length(data: bytes) -> int:
    """Return how many bytes of a recording are whole lines of text.

    A power cut may leave a line without its end, or a stretch of zero bytes where the system had
    made the file longer and not yet written to it.
    """
    zero = data.find(b"\0")
    whole = data if zero < 0 else data[:zero]
    return whole.rfind(b"\n") + 1


def parse_header(line: str) -> tuple[tuple[str, ...], bool] | None:
    """Return the channels that a first line names, and whether there is a column of the output.

    None if it is not one of a recording.
    """
    cells = next(csv.reader([line]), [])
    if len(cells) < 3 or cells[0] != TIME_COLUMN or cells[-1] != STATUS_COLUMN:
        return None
    output = cells[-2] == OUTPUT_COLUMN
    names = cells[1 : -2 if output else -1]
    if not names or not all(name.endswith(_UNIT) for name in names):
        return None
    return tuple(_from_text(name).removesuffix(_UNIT) for name in names), output


def parse_rows(text: str, channels: tuple[str, ...], output: bool = False) -> RecordedData:
    """Read the whole lines below the header; one that is damaged is passed over."""
    count = len(channels) + output
    epoch_s: list[float] = []
    values_c: list[list[float]] = []
    duty: list[float] = []
    for line in text.splitlines():
        cells = line.split(",", count + 1)
        if len(cells) != count + 2:
            continue
        try:
            moment_s = datetime.fromisoformat(cells[0]).timestamp()
            values = [float(cell) if cell else math.nan for cell in cells[1:-1]]
        except ValueError:
            continue
        marks = _from_text(cells[-1])
        if marks:
            for index, name in enumerate(channels):
                if any(mark.startswith(f"{name} ") for mark in marks.split("; ")):
                    values[index] = math.nan
        epoch_s.append(moment_s)
        duty.append(duty_from_percent(values.pop()) if output else math.nan)
        values_c.append(values)
    return RecordedData(channels, epoch_s, values_c, duty)
