"""One file that holds more than one firing, or more than one table: which part is meant."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from firing.errors import FiringError
from firing.logs.firings import firing_starts, stretches
from firing.logs.readings import Readings
from firing.logs.table import ReadingTable
from firing.trace import FloatArray

_MOST_LISTED = 6

PartChoice = int | Literal["all"]


@dataclass(frozen=True)
class Part:
    """A stretch of readings (first, after the last), and whether a restarted clock begins it."""

    begin: int
    end: int
    restarted: bool


def parts_of(readings: Readings, cleaned_c: FloatArray) -> tuple[Part, ...]:
    """Return the firings of a log, and the sections of a clock that began again at zero.

    Parameters
    ----------
    readings : Readings
        The log.
    cleaned_c : ndarray, shape (n, channels)
        Its temperatures without the marked ones [°C].
    """
    found = []
    for begin, end in stretches(readings.sections, readings.time_s.size):
        starts = firing_starts(readings.time_s[begin:end], cleaned_c[begin:end])
        for number, (first, last) in enumerate(stretches(starts, end - begin)):
            found.append(Part(begin + first, begin + last, begin > 0 and number == 0))
    return tuple(found)


def choose(readings: Readings, parts: Sequence[Part], part: PartChoice | None) -> Readings:
    """Return the part of a log that is meant.

    Raises
    ------
    FiringError
        If there are several and none is named, or the named one does not exist.
    """
    count = len(parts)
    restarts = [p for p in parts if p.restarted]
    if part == "all" and not restarts:
        return readings
    if part is None and count == 1:
        return readings
    if part is None or part == "all":
        shown = [f"{n} from {readings.where(p.begin)}" for n, p in enumerate(parts, start=1)]
        listed = "; ".join(shown if count <= _MOST_LISTED else [*shown[:_MOST_LISTED], "and so on"])
        if restarts:
            raise FiringError(
                f"{readings.name}: the elapsed time begins again at "
                f"{readings.where(restarts[0].begin)}, so the logger was restarted; say "
                "--restart-pause with how long it stood still (0m if it went on at once), or "
                f"--part with one of its {count} parts ({listed})"
            )
        raise FiringError(
            f"{readings.name} holds {count} firings ({listed}); say --part with the number of one, "
            "or --part all if it was one firing that cooled in between"
        )
    if not 1 <= part <= count:
        holds = "one firing" if count == 1 else f"{count} parts"
        raise FiringError(f"{readings.name} holds {holds}, so there is no --part {part}")
    if count == 1:
        return readings
    chosen = parts[part - 1]
    if chosen.end - chosen.begin < 2:
        raise FiringError(f"{readings.name}: part {part} holds one reading; a firing needs two")
    begin, end = readings.where(chosen.begin), readings.where(chosen.end - 1)
    note = f"part {part} of {count} as told, from {begin} to {end}"
    return readings.cut(chosen.begin, chosen.end, note)


def section_of(
    table: ReadingTable, body: bytes, headers: Sequence[int], part: PartChoice | None
) -> bytes:
    """Return the body of one table of a file that holds several, its lines where they were.

    Parameters
    ----------
    table : ReadingTable
        The file, read by its first header.
    body : bytes
        The file's text.
    headers : sequence of int
        The rows of the table that name other columns.
    part : int
        The table that is meant, from 1.

    Raises
    ------
    FiringError
        If none is named, or the named one does not exist.
    """
    lines = [table.line(row) for row in headers]
    count = len(lines) + 1
    if part is None or part == "all" or not 1 <= part <= count:
        raise FiringError(
            f"{table.name}, line {lines[0]}: a header names other columns than the one above, "
            f"so the file holds {count} tables; say --part with the number of one, 1 to {count}"
        )
    rows = body.split(b"\n")
    begin = 0 if part == 1 else lines[part - 2] - 1
    end = len(rows) if part == count else lines[part - 1] - 1
    return b"\n" * begin + b"\n".join(rows[begin:end]) + b"\n"
