"""The rows of a log that count, in the order of their times; restarts of an elapsed clock."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firing.errors import FiringError
from firing.logs.layout import looks_like_header
from firing.logs.physics import LONGEST_FIRING_S, goes_on, is_gap, roughness
from firing.logs.row_times import RowTimes
from firing.logs.table import LogTable
from firing.logs.text import printable
from firing.logs.times import SECONDS_PER_DAY
from firing.logs.values import cell_kind, is_missing, match_number, split_line
from firing.trace import FloatArray, median
from firing.units import format_duration

RowNumbers = npt.NDArray[np.intp]

_MOST_RESTARTS = 50
_RAN_STEPS = 8.0  # readings a clock has run for before it can be said to begin again
_STRAY_SHARE = 0.01  # more rows out of order than this are no slip of a logger
_HOUR_S = 3600.0


@dataclass(frozen=True, eq=False)
class OrderedRows:
    """The rows that count, by their places in the table; times increase within each section.

    Sections begin at 0, and wherever the clock began again at zero.  By `shift_s` the log began
    later than its first clock says, as that was set on the way.
    """

    rows: RowNumbers
    time_s: FloatArray
    sections: tuple[int, ...]
    shift_s: float = 0.0


def ordered_rows(
    table: LogTable,
    times: RowTimes,
    level: FloatArray | None,
    pause_s: float | None,
    notes: list[str],
) -> OrderedRows:
    """Return the rows with a time of their own, in order; refuse a log that runs backwards.

    `level` is how hot the kiln was in each row, 0 to 1000: where the clock jumps and the kiln went
    on without a break, the clock was set.  There `pause_s` passed, or one interval.  Blank lines
    and repeated headers are no rows and leave `table.rows`.
    """
    time_s = times.time_s
    readable = np.isfinite(time_s)
    _note_unreadable_times(table, np.flatnonzero(~readable), notes)
    rows: RowNumbers = np.flatnonzero(readable)
    if times.descending:
        rows = rows[::-1]
        notes.append("the newest reading comes first in the file; it is read from its end")
    rows = _without_footer(table, rows, time_s, level, notes)
    rows = _without_repeats(table, rows, time_s, level, notes)
    rows = _without_stray_rows(table, rows, time_s, times.elapsed, notes)
    rows = _sorted_if_smoother(table, rows, time_s, level, notes)
    time_s, shift_s = _one_clock(table, rows, times, level, pause_s, notes)
    if times.elapsed:
        time_s = _hours_counted(time_s, rows, notes)
    steps_s = np.diff(time_s[rows])
    back = np.flatnonzero(steps_s < 0)
    sections = [0]
    if back.size:
        usual_s = median(np.abs(steps_s))
        lands_s = time_s[rows[back + 1]]
        ran_s = time_s[rows[back]]
        near_zero = lands_s <= 2.0 * usual_s + max(0.0, float(time_s[rows[0]]))
        restarted = times.elapsed and bool((near_zero & (ran_s >= _RAN_STEPS * usual_s)).all())
        if not restarted or back.size > _MOST_RESTARTS:
            raise _runs_backwards(table, rows, time_s, times, int(back[0]))
        sections += [int(place) + 1 for place in back]
    else:
        _note_hour_gap(table, rows, steps_s, times, notes)
    same = np.concatenate([[False], steps_s == 0])[: rows.size]
    twice = rows[same]
    if rows.size >= _LEAST_OF_ONE_TIME and twice.size > _SAME_TIME * rows.size:
        raise FiringError(
            f"{table.name}: {twice.size} of {rows.size} rows repeat the time before, such as "
            f'"{table.time_text(int(twice[0]))}", so that is no time of a reading; say --column '
            "with the name of the time column and =time"
        )
    if twice.size:
        lines = "line repeats" if twice.size == 1 else "lines repeat"
        notes.append(
            f"{twice.size} {lines} the time before and only the first reading counts "
            f"(first at line {table.line(int(twice[0]))}: {table.time_text(int(twice[0]))})"
        )
        shift = np.cumsum(same)
        sections = [place - int(shift[place]) for place in sections]
        rows = rows[~same]
    if rows.size < 2:
        if rows.size:
            raise FiringError(f"{table.name} holds one reading; a firing needs at least two")
        row = next((row for row in range(table.rows) if not table.is_blank(row)), 0)
        way_out = (
            "write its dates like 2026-03-14 18:30:00"
            + ("" if table.time_text(row)[:4].isdecimal() else ", or say --date-order mdy")
            if table.dialect.time_kind == "datetime"
            else "say --column with the name of the time column and =time, or --decimal , or "
            "--decimal . if the mark is the cause"
        )
        raise FiringError(
            f"{table.name} holds no reading with a readable time; line {table.line(row)} has "
            f'"{table.time_text(row)}"; {way_out}'
        )
    return OrderedRows(rows, time_s[rows], tuple(sections), shift_s)


_AS_HOURS = "are read as hours and minutes"


def _hours_counted(time_s: FloatArray, rows: RowNumbers, notes: list[str]) -> FloatArray:
    """Count the hours of a clock that shows minutes and seconds only, and begins again at 60."""
    steps_s = np.diff(time_s[rows])
    back = steps_s < 0
    if np.count_nonzero(back) < 2 or not (steps_s > 0).any():
        return time_s
    usual_s = median(steps_s[steps_s > 0])
    # 59:30 was read as minutes and seconds, or as hours and minutes
    for period_s, factor in ((_HOUR_S, 1.0), (60.0 * _HOUR_S, 1.0 / 60.0)):
        if np.all(np.abs(steps_s[back] + period_s - usual_s) <= 0.5 * usual_s):
            counted = time_s.copy()
            counted[rows[1:]] += period_s * np.cumsum(back)
            notes[:] = [note for note in notes if _AS_HOURS not in note]
            notes.append(
                f"the times begin again after 60 minutes, {np.count_nonzero(back)} times without "
                "a break, so they are read as minutes and seconds, an hour added each time"
            )
            return counted * factor
    return time_s


_LEAST_OF_ONE_TIME, _SAME_TIME = 150, 0.985
"""A reading a second under a clock of minutes repeats 59 of 60 times; a date repeats them all."""
_LEAST_JUDGED = 20
_SMOOTHER = 0.9


def _sorted_if_smoother(
    table: LogTable,
    rows: RowNumbers,
    time_s: FloatArray,
    level: FloatArray | None,
    notes: list[str],
) -> RowNumbers:
    """Put rows in the order of their times where the kiln then goes a smoother way.

    A block that a logger wrote late makes the kiln leap there and back as the file stands; a clock
    that was set back makes it leap when the rows are sorted.
    """
    stamps = time_s[rows]
    if level is None or rows.size < _LEAST_JUDGED or not np.any(np.diff(stamps) < 0):
        return rows
    order = np.argsort(stamps, kind="stable")
    ordered = rows[order]
    # of a block that stands twice, both readings of a moment are the same; a clock that was set
    # back or began again gives one moment to two states of the kiln
    if roughness(level[ordered]) > _SMOOTHER * roughness(level[rows]) and not _fills_gaps(
        stamps, order
    ):
        return rows
    first = int(rows[int(np.argmax(np.diff(stamps) < 0)) + 1])
    moved = int(np.count_nonzero(np.diff(order) != 1))
    notes.append(
        f"rows stand out of the order of their times in {moved} places (first at line "
        f"{table.line(first)}: {table.time_text(first)}); they are sorted by time"
    )
    return ordered


_FITS_STEPS = 3.0


def _fills_gaps(stamps: FloatArray, order: RowNumbers) -> bool:
    """Tell whether blocks of rows fit between each other like the parts of a puzzle.

    A clock that was set back makes them overlap, or leaves a gap.
    """
    usual_s = median(np.abs(np.diff(stamps)))
    steps_s = np.diff(stamps[order])
    seams_s = steps_s[np.diff(order) != 1]
    return bool(
        usual_s > 0.0
        # a block out of its place breaks the order where it was and where it is, no more
        and seams_s.size <= 2 * np.count_nonzero(np.diff(stamps) < 0)
        and (seams_s >= 0.75 * usual_s).all()
        and (seams_s <= _FITS_STEPS * usual_s).all()
    )


_MOST_SET = 8


def _one_clock(
    table: LogTable,
    rows: RowNumbers,
    times: RowTimes,
    level: FloatArray | None,
    pause_s: float | None,
    notes: list[str],
) -> tuple[FloatArray, float]:
    """Take out the jumps of a clock that was set, as far as the kiln shows that it was.

    Returns the times and by how much the log began later than its first clock says.
    """
    time_s = times.time_s
    stamps = time_s[rows]
    steps_s = np.diff(stamps)
    positive = steps_s[steps_s > 0]
    if level is None or rows.size < _LEAST_JUDGED or not positive.size:
        return time_s, 0.0
    usual_s = median(positive)
    jumps = np.flatnonzero(is_gap(steps_s, usual_s) | ((steps_s < 0) & (not times.elapsed)))
    if not jumps.size or jumps.size > _MOST_SET:
        return time_s, 0.0
    course = level[rows]
    moved = time_s.copy()
    shift_s = 0.0
    unsure: list[int] = []
    for place in jumps.tolist():
        at = place + 1
        step_s = float(steps_s[place])
        on = goes_on(stamps, course, at, usual_s)
        if step_s > LONGEST_FIRING_S and on is None:
            on = True
        if step_s < 0:
            # time does not run back: where the kiln goes on, or a pause is told, the clock was set
            if on is False and pause_s is None:
                continue
        elif on is not True and not (pause_s is not None and on is None):
            whole = abs(step_s / usual_s - round(step_s / usual_s)) < _WHOLE_STEPS
            # a logger that left out rows is some whole intervals late
            if on is None and (step_s >= _LEAST_UNSURE_S or not whole):
                unsure.append(place)
            continue
        passed_s = max(usual_s, pause_s or 0.0)
        moved[rows[at:]] -= step_s - passed_s
        shift_s += step_s - passed_s
        line = table.line(int(rows[at]))
        way = "forward" if step_s > 0 else "back"
        notes.append(
            f"the clock jumps {way} by {_span(abs(step_s))} at line {line} while the kiln goes on "
            f"without a break, so it was set there and {format_duration(passed_s)} passed; say "
            "--restart-pause with the time that really did"
        )
    if unsure and len(unsure) <= _FEW_UNSURE:
        leaps = ", ".join(
            f"{_span(float(steps_s[place]))} at line {table.line(int(rows[place + 1]))}"
            for place in unsure
        )
        notes.append(
            f"the clock leaps {leaps} while the kiln hardly moves, so nothing shows whether time "
            "passed; say --restart-pause 0m if the clock was set"
        )
    return moved, shift_s


_FEW_UNSURE, _LEAST_UNSURE_S, _WHOLE_STEPS = 3, 600.0, 0.1


def _span(seconds: float) -> str:
    if seconds >= 2 * SECONDS_PER_DAY:
        return f"{seconds / SECONDS_PER_DAY:.0f} days"
    return format_duration(seconds)


_MOST_LOST = 0.05


def refuse_lost_rows(table: LogTable, times: RowTimes, rows: RowNumbers) -> None:
    """Refuse a log of which more than one row in twenty has no time or no temperature to read.

    An empty cell, or a word for an open thermocouple, says itself that there is no reading.
    """
    lost = np.flatnonzero(~np.isfinite(times.time_s))
    filled = [int(row) for row in lost.tolist() if not table.is_blank(row)]
    most = _MOST_LOST * (rows.size + len(filled))
    if rows.size + len(filled) >= _LEAST_JUDGED and len(filled) > most:
        mark = table.dialect.delimiter
        unread = [row for row in filled if not looks_like_header(table.line_text(row), mark)]
        if len(unread) > _MOST_LOST * (rows.size + len(unread)):
            raise FiringError(
                f"{table.name}: {len(unread)} of {rows.size + len(unread)} rows have no time that "
                f"can be read (first at line {table.line(unread[0])}: "
                f'"{printable(table.line_text(unread[0]))}"); say --column with the name of the '
                "time column and =time, or --with-gaps to read the rest"
            )
    _refuse_wider_rows(table)
    channels = table.dialect.channel_columns
    for column in channels:
        values = table.numbers(column.index, column.degrees)[rows]
        bad = rows[np.isnan(values)]
        if bad.size <= _MOST_LOST * rows.size or rows.size < _LEAST_JUDGED:
            continue
        odd = [row for row in bad.tolist() if not is_missing(table.cell(row, column.index))]
        without = f'--column "{column.name}=ignore" to do without it, ' if channels[1:] else ""
        if len(odd) > _MOST_LOST * rows.size:
            raise FiringError(
                f"{table.name}: {len(odd)} of {rows.size} readings of {column.name} are no number "
                f"that can be read (first at line {table.line(odd[0])}: "
                f'"{table.cell(odd[0], column.index)}"); say --decimal , or --decimal . if the '
                f"mark is the cause, {without}or --with-gaps to read the rest"
            )


_ASKED_ROWS, _FEW_WIDER = 20_000, 2


def _refuse_wider_rows(table: LogTable) -> None:
    """Refuse a table whose rows grow wider on the way, where that moves a channel's numbers."""
    dialect = table.dialect
    width = len(dialect.columns)
    if dialect.delimiter == " ":
        return
    asked = range(0, table.rows, max(1, table.rows // _ASKED_ROWS))
    wider = []
    for row in asked:
        if table.delimiters(row) < width:
            continue
        cells = split_line(table.line_text(row), dialect.delimiter)
        if any(cell_kind(cell) == "number" for cell in cells[width:]):
            wider.append(row)
    many = len(wider) > max(_FEW_WIDER, 0.01 * len(asked)) and len(asked) >= _LEAST_JUDGED
    if many and _breaks_at(table, wider):
        raise FiringError(
            f"{table.name}: from line {table.line(wider[0])} on rows hold more numbers than the "
            f'{width} columns, such as "{printable(table.line_text(wider[0]))}", so nothing '
            "shows which is the kiln's; if 1,234.5 has a comma for thousands, export with "
            "semicolons between columns; if a column was added there, split the file before that "
            "line, or say --with-gaps to read the columns as the first rows have them"
        )


_BREAK, _BREAK_STEPS = 30.0, 6.0


def _breaks_at(table: LogTable, wider: list[int]) -> bool:
    """Tell whether a channel leaps where rows get wider: what was added then moved its numbers."""
    odd = set(wider)
    begins = [row for row in wider if row and row - 1 not in odd]
    width, decimal = len(table.dialect.columns), table.dialect.decimal
    for column in table.dialect.channel_columns:
        values = table.numbers(column.index, column.degrees)
        steps = np.abs(np.diff(values))
        known = steps[np.isfinite(steps)]
        usual = float(median(known)) if known.size else 0.0
        most = max(_BREAK, _BREAK_STEPS * usual)
        if any(not steps[row - 1] <= most for row in begins):
            return True
        # a set point put before it hides the leap: then the last number goes on as well
        for row in begins:
            added = split_line(table.line_text(row), table.dialect.delimiter)[width:]
            beside = [found[0] for cell in added if (found := match_number(cell, decimal))]
            if any(abs(value - values[row - 1]) <= most for value in beside):
                return True
    return not begins


def blocks_again(table: LogTable, times: RowTimes, unread: RowNumbers) -> list[int]:
    """Return the rows that repeat the header where the log's dates begin once more.

    Each sensor then has a block of its own.
    """
    if times.elapsed or times.descending:
        return []
    mark = table.dialect.delimiter
    own = _compact("".join(column.written for column in table.dialect.columns))
    readable = np.flatnonzero(np.isfinite(times.time_s))
    if readable.size < _LEAST_JUDGED:
        return []
    first_s = float(times.time_s[readable[0]])
    usual_s = float(median(np.abs(np.diff(times.time_s[readable]))))
    found = []
    for row in unread.tolist():
        below = int(np.searchsorted(readable, row))
        if not _RAN_STEPS <= below < readable.size - _RAN_STEPS:
            continue
        begins_s = float(times.time_s[readable[below]])
        here = "".join(split_line(table.line_text(row), mark))
        if abs(begins_s - first_s) <= 2.0 * usual_s and own and _compact(here) == own:
            found.append(row)
    return found


def other_headers(table: LogTable, unread: RowNumbers) -> list[int]:
    """Return the rows that name columns otherwise than the header does, or first name them."""
    dialect = table.dialect
    own = _compact("".join(column.written for column in dialect.columns))
    found = []
    for row in unread.tolist():
        text = table.line_text(row)
        if looks_like_header(text, dialect.delimiter):
            here = _compact("".join(split_line(text, dialect.delimiter)))
            if not dialect.header or not own.endswith(here):
                found.append(row)
    return found


def _compact(text: str) -> str:
    return "".join(text.casefold().split()).lstrip("#/%;")


def _note_unreadable_times(table: LogTable, unread: RowNumbers, notes: list[str]) -> None:
    mark = table.dialect.delimiter
    filled = [int(row) for row in unread if not table.is_blank(int(row))]
    headers = [row for row in filled if looks_like_header(table.line_text(row), mark)]
    table.rows -= unread.size - len(filled) + len(headers)
    if headers:
        count = "once more" if len(headers) == 1 else f"{len(headers)} times more"
        notes.append(
            f"the header stands {count} among the readings (first at line "
            f"{table.line(headers[0])}); the logger was probably restarted"
        )
    known = set(headers)
    lost = [row for row in filled if row not in known]
    if lost:
        text = table.time_text(lost[0])
        notes.append(
            f"{len(lost)} of {table.rows} lines have no readable time and are left out "
            f'(the first is line {table.line(lost[0])}: "{text}")'
        )


def _without_footer(
    table: LogTable,
    rows: RowNumbers,
    time_s: FloatArray,
    level: FloatArray | None,
    notes: list[str],
) -> RowNumbers:
    """Leave out rows below the last reading, without one and back in time: a list of events."""
    if level is None or not np.isfinite(level[rows]).any():
        return rows
    last = int(np.flatnonzero(np.isfinite(level[rows]))[-1])
    if last + 1 == rows.size or time_s[rows[last + 1]] >= time_s[rows[last]]:
        return rows
    notes.append(
        f"from line {table.line(int(rows[last + 1]))} on the lines hold times and no readings; "
        "they are left out"
    )
    return rows[: last + 1]


def _without_repeats(
    table: LogTable,
    rows: RowNumbers,
    time_s: FloatArray,
    level: FloatArray | None,
    notes: list[str],
) -> RowNumbers:
    """Leave out rows that stand twice, and what was noted late without a reading."""
    back = np.flatnonzero(np.diff(time_s[rows]) < 0)
    if level is None or not 0 < back.size <= _MOST_RESTARTS:
        return rows
    drop = np.zeros(rows.size, dtype=np.bool_)
    first = 0
    for place in back.tolist():
        at = place + 1
        if np.isnan(level[rows[at]]):
            drop[at] = True
            continue
        again = np.flatnonzero(time_s[rows[:at]] == time_s[rows[at]])
        size = at - int(again[-1]) if again.size else 0
        one, two = rows[at - size : at], rows[at : at + size]
        if (
            two.size == size > 0
            and np.array_equal(time_s[one], time_s[two])
            and np.array_equal(level[one], level[two], equal_nan=True)
        ):
            drop[at : at + size] = True
            first = first or at
    kept = rows[~drop]
    if first:
        notes.append(
            f"from line {table.line(int(rows[first]))} on rows stand a second time, "
            f"{np.count_nonzero(drop)} in all, and count once"
        )
    return kept


def _without_stray_rows(
    table: LogTable, rows: RowNumbers, time_s: FloatArray, elapsed: bool, notes: list[str]
) -> RowNumbers:
    """Leave out single rows whose time is out of line while the others' go on past them."""
    stamps = time_s[rows]
    back = np.flatnonzero(np.diff(stamps) < 0)
    if not back.size or back.size > _STRAY_SHARE * rows.size:
        return rows
    stray = []
    for place in back.tolist():
        before = stamps[place - 1] if place else -np.inf
        after = stamps[place + 2] if place + 2 < stamps.size else np.inf
        if place and stamps[place + 1] > before:
            stray.append(place)  # this one was ahead of its time
        elif after > stamps[place] and place + 2 < stamps.size:
            stray.append(place + 1)  # the next one is behind its time
        else:
            return rows
    kept = np.delete(rows, stray)
    if np.any(np.diff(time_s[kept]) < 0):
        return rows
    first = int(rows[stray[0]])
    lines = "line is" if len(stray) == 1 else "lines are"
    notes.append(
        f"{len(stray)} {lines} out of order and left out "
        f'(first at line {table.line(first)}: "{table.time_text(first)}")'
    )
    return kept


def _runs_backwards(
    table: LogTable, rows: RowNumbers, time_s: FloatArray, times: RowTimes, at: int
) -> FiringError:
    before, after = int(rows[at]), int(rows[at + 1])
    hint = (
        "if its blocks are mixed up, sort the lines by their times in a spreadsheet; if the clock "
        "was set back there, "
        + (
            "leave out the lines on one side of it"
            if times.elapsed
            else "say --restart-pause with the time that really passed"
        )
    )
    step_s = float(time_s[after] - time_s[before])
    if not times.elapsed and time_s[after] <= time_s[rows[0]]:
        hint = (
            "if each sensor has a block of its own, keep the lines of the kiln's; if its blocks "
            "are mixed up, sort the lines by their times in a spreadsheet"
        )
    if not times.elapsed and -_HOUR_S <= step_s < -0.5 * _HOUR_S:
        hint = (
            "if the clocks were set back there, say the --zone they belong to, like Europe/Berlin"
        )
    return FiringError(
        f"{table.name}, line {table.line(after)}: time runs backwards, from "
        f'"{table.time_text(before)}" to "{table.time_text(after)}"; {hint}'
    )


def _note_hour_gap(
    table: LogTable, rows: RowNumbers, steps_s: FloatArray, times: RowTimes, notes: list[str]
) -> None:
    """Say where clocks may have been set forward without the zone's rules knowing of it."""
    if times.elapsed or times.started is None or steps_s.size < 10:
        return
    usual_s = median(steps_s)
    over_s = steps_s - _HOUR_S
    if usual_s > 0.25 * _HOUR_S:
        return
    for place in np.flatnonzero((over_s >= 0) & (over_s <= 1.5 * usual_s))[:1].tolist():
        before, after = int(rows[place]), int(rows[place + 1])
        notes.append(
            f"an hour is missing between lines {table.line(before)} and {table.line(after)}, "
            f'"{printable(table.time_text(before))}" to "{printable(table.time_text(after))}"; if '
            "the clocks were set forward there, say the --zone they belong to"
        )


def join_sections(ordered: OrderedRows, pause_s: float, notes: list[str]) -> OrderedRows:
    """Put the sections of a restarted clock one after another, a stated pause between them.

    At least one interval passes.
    """
    time_s = ordered.time_s.copy()
    steps_s = np.diff(time_s)
    interval_s = median(steps_s[steps_s > 0])
    step_s = max(pause_s, interval_s)
    for place in ordered.sections[1:]:
        time_s[place:] += time_s[place - 1] + step_s - time_s[place]
    count = len(ordered.sections) - 1
    restarts = "a restart" if count == 1 else f"{count} restarts"
    notes.append(
        f"the clock went on across {restarts} of the logger, with a pause of "
        f"{format_duration(step_s)} as asked"
    )
    return OrderedRows(ordered.rows, time_s, (0,))
