"""One file that holds more than one firing, or more than one table: which part is meant."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firing.errors import FiringError
from firing.logs.options import PartChoice
from firing.logs.readings import LogReadings
from firing.logs.table import LogTable
from firing.logs.text import printable
from firing.trace import FloatArray, median

HOT_C = 300.0
"""A firing goes above this [°C] …"""
COLD_C = 100.0
"""… and between two of them the kiln, to be opened and filled, is below this [°C]."""
_LEAST_HOT = 10  # readings; fewer are no firing
_LEAST_HOT_S = 1800.0  # nor is a shorter time in the heat


def firing_starts(time_s: FloatArray, temperature_c: FloatArray) -> list[int]:
    """Return where each firing begins, 0 for the first, in cleaned readings, shape (n, channels).

    The kiln is as hot as its hottest channel.
    """
    hottest_c = temperature_c[:, 0] if temperature_c.shape[1] == 1 else _hottest(temperature_c)
    with np.errstate(invalid="ignore"):
        hot = hottest_c > HOT_C
        turns = np.flatnonzero(hot | (hottest_c < COLD_C))
    is_hot = hot[turns]
    heats = np.flatnonzero(is_hot[1:] & ~is_hot[:-1]) + 1
    starts = [0]
    seen_hot = bool(is_hot.size and is_hot[0])
    for heat in heats.tolist():
        if not seen_hot:
            seen_hot = True
            continue
        # the cold stretch before this heat: from the last hot reading to the first one again
        earlier = np.flatnonzero(is_hot[:heat])
        first_cold = int(turns[earlier[-1] + 1])
        begin = _border(time_s, hottest_c, first_cold, int(turns[heat]))
        if _is_firing(time_s, hot, starts[-1], begin):
            starts.append(begin)
    if len(starts) > 1 and not _is_firing(time_s, hot, starts[-1], hot.size):
        starts.pop()
    return starts


def _is_firing(time_s: FloatArray, hot: npt.NDArray[np.bool_], begin: int, end: int) -> bool:
    rows = np.flatnonzero(hot[begin:end])
    if rows.size < _LEAST_HOT:
        return False
    return bool(time_s[begin + rows[-1]] - time_s[begin + rows[0]] >= _LEAST_HOT_S)


def _hottest(temperature_c: FloatArray) -> FloatArray:
    hottest_c: FloatArray = np.fmax.reduce(temperature_c, axis=1)
    return hottest_c


def _border(time_s: FloatArray, hottest_c: FloatArray, first_cold: int, hot: int) -> int:
    """Return where the second of two firings begins: after the longest gap, or at its coldest."""
    pauses_s = np.diff(time_s[first_cold : hot + 1])
    longest = int(np.argmax(pauses_s))
    if pauses_s[longest] > 10.0 * median(pauses_s) + 600.0:
        return first_cold + longest + 1
    stretch = hottest_c[first_cold:hot]
    coldest = float(np.nanmin(stretch))
    # the last moment of the cold: heating begins after it
    return first_cold + int(np.flatnonzero(stretch <= coldest + 1.0)[-1])


def spans(starts: Sequence[int], total: int) -> list[tuple[int, int]]:
    """Return the stretches (first, after the last) that begin at `starts`."""
    return list(zip(starts, [*starts[1:], total], strict=True))


class SeveralFirings(FiringError):
    """A file holds several firings and nobody said which; `count` says how many."""

    def __init__(self, words: str, count: int) -> None:
        self.count = count
        super().__init__(words)


_MOST_LISTED = 6


@dataclass(frozen=True)
class Part:
    """A stretch of readings (first, after the last), and whether a restarted clock begins it."""

    begin: int
    end: int
    restarted: bool


def parts_of(readings: LogReadings, cleaned_c: FloatArray) -> tuple[Part, ...]:
    """Return the firings of a log, and the sections of a clock that began again at zero."""
    found = []
    for begin, end in spans(readings.sections, readings.time_s.size):
        starts = firing_starts(readings.time_s[begin:end], cleaned_c[begin:end])
        for number, (first, last) in enumerate(spans(starts, end - begin)):
            found.append(Part(begin + first, begin + last, begin > 0 and number == 0))
    return tuple(found)


def choose_part(
    readings: LogReadings, parts: Sequence[Part], part: PartChoice | None
) -> LogReadings:
    """Return the part of a log that is meant; refuse several of which none is named."""
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
        raise SeveralFirings(
            f"{readings.name} holds {count} firings ({listed}); say --part with the number of one, "
            "or --part all if it was one firing that cooled in between",
            count,
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
    note = f"part {part} of {count} as asked, from {begin} to {end}"
    return readings.cut(chosen.begin, chosen.end, note)


def _title(table: LogTable, header: int) -> str:
    """Return the line that stands right above a header, if it is words: whose block it is."""
    above = [table.line_text(row).strip() for row in range(max(0, header - 3), header)]
    filled = [text for text in above if text]
    is_title = bool(filled) and not any(c.isdigit() for c in filled[-1][:1])
    return printable(filled[-1]) if is_title else ""


def section_of(
    table: LogTable,
    body: bytes,
    headers: Sequence[int],
    part: PartChoice | None,
    *,
    again: bool = False,
) -> bytes:
    """Return the body of one table of a file that holds several, its lines where they were.

    `table` is the file as read by its first header, `headers` its rows that name other columns,
    or the same ones `again` for another sensor.
    """
    lines = [table.line(row) for row in headers]
    count = len(lines) + 1
    if part is None or part == "all" or not 1 <= part <= count:
        if again:
            titles = [title for title in (_title(table, row) for row in headers) if title]
            named = f" ({', '.join(titles)} among them)" if titles else ""
            raise FiringError(
                f"{table.name}, line {lines[0]}: the times begin once more under a header like the "
                f"first, as where each sensor has a block of its own{named}; say --part with the "
                f"number of the kiln's, 1 to {count}"
            )
        raise FiringError(
            f"{table.name}, line {lines[0]}: a header names other columns than the one above, "
            f"so the file holds {count} tables; say --part with the number of one, 1 to {count}"
        )
    rows = body.split(b"\n")
    begin = 0 if part == 1 else lines[part - 2] - 1
    end = len(rows) if part == count else lines[part - 1] - 1
    return b"\n" * begin + b"\n".join(rows[begin:end]) + b"\n"
