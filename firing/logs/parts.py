"""Which firing or table of a file is meant, and several files of one firing joined."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firing.errors import FiringError
from firing.logs.options import PartChoice
from firing.logs.readings import LogReadings
from firing.logs.table import LogTable
from firing.logs.text import printable
from firing.trace import FloatArray, median
from firing.units import format_duration

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


@dataclass(frozen=True, eq=False)
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


BoolArray = npt.NDArray[np.bool_]

_GAP_INTERVALS = 3.0  # a longer pause between files is told


def join(readings: Sequence[LogReadings], pause_s: float | None) -> LogReadings:
    """Join the readings of several files.

    Files with wall-clock times are put in the order of their times; where they overlap, the file
    that began first counts.  Files that count from their own beginning are taken in the order
    given, a stated pause between them.
    """
    if len(readings) == 1:
        return readings[0]
    broken = next((one for one in readings if len(one.sections) > 1), None)
    if broken is not None:
        raise FiringError(
            f"{broken.name}: the elapsed time begins again at "
            f"{broken.where(broken.sections[1])}; say --restart-pause with how long the logger "
            "stood still"
        )
    notes: list[str] = []
    ordered, offsets_s = _ordered_by_start(readings, pause_s, notes)
    channels = _common_channels(ordered, notes)
    times: list[FloatArray] = []
    kept: list[LogReadings] = []
    keeps: list[BoolArray] = []
    end_s = -np.inf
    for one, offset_s in zip(ordered, offsets_s, strict=True):
        time_s = one.time_s + offset_s
        fresh = time_s > end_s
        if not fresh.all():
            notes.append(
                f"{one.name}: {np.count_nonzero(~fresh)} of {time_s.size} readings lie within the "
                "file before and are left out"
            )
        if not fresh.any():
            continue
        if kept:
            _note_gap(kept[-1], one, float(time_s[fresh][0] - end_s), notes)
        end_s = float(time_s[-1])
        times.append(time_s[fresh])
        kept.append(one)
        keeps.append(fresh)
    begins = np.concatenate([[0], np.cumsum([time.size for time in times])])[:-1]
    parts = list(zip(kept, keeps, strict=True))
    whole_s = np.concatenate(times)
    dialect = kept[0].dialect
    columns = tuple(
        replace(c, role="other") if c.role == "temperature" and c.name not in channels else c
        for c in dialect.columns
    )
    return replace(
        kept[0],
        dialect=replace(dialect, columns=columns),
        name=f"{readings[0].name} and {len(readings) - 1} more",
        rows=sum(one.rows for one in readings),
        time_s=whole_s - whole_s[0],
        temperature_c=np.concatenate(
            [one.temperature_c[keep][:, _channel_indices(one, channels)] for one, keep in parts]
        ),
        channels=channels,
        setpoint_c=_joined_column([(one.setpoint_c, keep) for one, keep in parts]),
        duty=_joined_column([(one.duty, keep) for one, keep in parts]),
        lines=np.concatenate([one.lines[keep] for one, keep in parts]),
        sections=(0,),
        notes=(*(f"{one.name}: {note}" for one in ordered for note in one.notes), *notes),
        files=tuple((int(begin), one.name) for begin, one in zip(begins, kept, strict=True)),
    )


def _ordered_by_start(
    readings: Sequence[LogReadings], pause_s: float | None, notes: list[str]
) -> tuple[list[LogReadings], list[float]]:
    """Return the files in order, and when each began, in seconds after the first."""
    moments_s = [one.started.timestamp() for one in readings if one.started is not None]
    if len(moments_s) == len(readings):
        order = np.argsort(moments_s, kind="stable").tolist()
        return [readings[n] for n in order], [moments_s[n] - min(moments_s) for n in order]
    nameless = next(one for one in readings if one.started is None)
    if moments_s:
        raise FiringError(
            f"{nameless.name} holds no clock times and another file does, so nothing shows which "
            "was first; give files of one kind"
        )
    if pause_s is None:
        raise FiringError(
            f"{nameless.name} holds no clock times, so nothing shows how far the files are apart; "
            "give them in order and say --restart-pause with the pause between them (0m for none)"
        )
    offsets_s = [0.0]
    for one in readings[:-1]:
        step_s = max(pause_s, interval_s(one))
        offsets_s.append(offsets_s[-1] + float(one.time_s[-1]) + step_s)
    notes.append(
        f"the files are joined in the order given, {format_duration(pause_s)} apart as asked"
    )
    return list(readings), offsets_s


def interval_s(readings: LogReadings) -> float:
    """Return the median time between readings [s]."""
    return median(np.diff(readings.time_s))


def _common_channels(readings: Sequence[LogReadings], notes: list[str]) -> tuple[str, ...]:
    first = readings[0]
    common = [name for name in first.channels if all(name in one.channels for one in readings)]
    if not common:
        listed = "; ".join(f"{one.name} has {', '.join(one.channels)}" for one in readings)
        raise FiringError(f"the files share no channel, so they cannot be joined: {listed}")
    left = sorted({name for one in readings for name in one.channels} - set(common))
    if left:
        notes.append(f"not in every file and left out: {', '.join(left)}")
    return tuple(common)


def _channel_indices(readings: LogReadings, channels: Sequence[str]) -> list[int]:
    return [readings.channels.index(name) for name in channels]


def _joined_column(columns: Sequence[tuple[FloatArray | None, BoolArray]]) -> FloatArray | None:
    """Join a column that not every file may have; NaN where it is missing."""
    if all(values is None for values, _ in columns):
        return None
    return np.concatenate(
        [
            np.full(int(np.count_nonzero(keep)), np.nan) if values is None else values[keep]
            for values, keep in columns
        ]
    )


def _note_gap(before: LogReadings, after: LogReadings, pause_s: float, notes: list[str]) -> None:
    usual_s = max(interval_s(before), interval_s(after))
    if pause_s > _GAP_INTERVALS * usual_s:
        notes.append(
            f"nothing was logged for {format_duration(pause_s)} between {before.name} and "
            f"{after.name}"
        )
