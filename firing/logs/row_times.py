"""When every row of a log was: its time column as seconds, and the moment of the first row.

Of wall-clock times without an offset, across the nights when clocks are changed, a zone's rules and
what the log shows are both heard.  A logger whose clock runs straight through the night is
left alone; one that skips the hour in spring, or repeats it in autumn, is put back on real time.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, timezone, tzinfo

import numpy as np

from firing.clock import YEARS
from firing.errors import FiringError
from firing.logs.spelling import respell
from firing.logs.table import LogTable
from firing.logs.text import printable
from firing.logs.time_column import date_orders
from firing.logs.times import (
    DAYS_TO_1970,
    JULIAN_TO_1970,
    SECONDS_OF_KIND,
    SECONDS_PER_DAY,
    DateOrder,
    Moments,
    is_epoch,
    is_serial,
    read_moments,
    time_of_cell,
)
from firing.logs.values import is_missing
from firing.logs.vocabulary import counts_down
from firing.trace import FloatArray, median

_EPOCH = datetime(1970, 1, 1)
_LONGEST_DAYS = (
    400  # a log longer than this is told apart by its own notes, not searched day by day
)


@dataclass(frozen=True, eq=False)
class ClockChange:
    """A night when clocks are changed, in naive seconds since 1970 [s].

    Between `begin_s` and `end_s` no clock shows a time in spring (`shift_s` > 0), and every clock
    shows it twice in autumn (`shift_s` < 0).
    """

    begin_s: float
    end_s: float
    shift_s: float

    @property
    def words(self) -> str:
        """The night for reading: ``2025-03-30 at 02:00``."""
        at_s = self.begin_s if self.shift_s > 0 else self.end_s
        return f"{_EPOCH + timedelta(seconds=at_s):%Y-%m-%d at %H:%M}"


class Zone:
    """The rules of a time zone: a named one, a fixed offset, or this computer's."""

    def __init__(self, name: str | None = None) -> None:
        self._rules: tzinfo | None = None if name is None else _rules_of(name)

    def offset_s(self, naive_s: float, fold: int = 0) -> float:
        """Return the offset from UTC [s] at a wall-clock moment [naive s since 1970]."""
        naive = (_EPOCH + timedelta(seconds=naive_s)).replace(fold=fold)
        aware = naive.astimezone() if self._rules is None else naive.replace(tzinfo=self._rules)
        offset = aware.utcoffset()
        return 0.0 if offset is None else offset.total_seconds()

    def moment(self, naive_s: float, fold: int = 0) -> datetime | None:
        """Return a wall-clock moment with its offset in this zone, None outside 1970 to 2220."""
        if not _in_calendar(naive_s):
            return None
        offset = timedelta(seconds=self.offset_s(naive_s, fold))
        return (_EPOCH + timedelta(seconds=naive_s)).replace(tzinfo=timezone(offset))

    def local(self, utc_s: float) -> datetime:
        """Return a moment given in seconds since 1970, UTC, at this zone's offset."""
        aware = (_EPOCH + timedelta(seconds=utc_s)).replace(tzinfo=UTC).astimezone(self._rules)
        return aware.replace(tzinfo=timezone(aware.utcoffset() or timedelta(0)))

    def changes(self, first_s: float, last_s: float) -> tuple[ClockChange, ...]:
        """Return the clock changes between two naive moments, and up to a day around them."""
        days = (last_s - first_s) / SECONDS_PER_DAY
        if days > _LONGEST_DAYS or not _in_calendar(first_s) or not _in_calendar(last_s):
            return ()
        at = [first_s + day * SECONDS_PER_DAY for day in range(-1, int(days) + 3)]
        offsets = [self.offset_s(moment_s) for moment_s in at]
        found = []
        for index in range(1, len(at)):
            shift_s = offsets[index] - offsets[index - 1]
            if shift_s:
                found.append(self._change(at[index - 1], at[index], offsets[index - 1], shift_s))
        return tuple(found)

    def _change(self, low_s: float, high_s: float, before_s: float, shift_s: float) -> ClockChange:
        # of two readings of a clock the first counts (fold 0), so the rules change where the hour
        # that is skipped, or shown twice, ends
        while high_s - low_s > 0.5:
            middle_s = 0.5 * (low_s + high_s)
            if self.offset_s(middle_s) == before_s:
                low_s = middle_s
            else:
                high_s = middle_s
        end_s = float(round(high_s / 60.0) * 60)
        return ClockChange(end_s - abs(shift_s), end_s, shift_s)


def _in_calendar(naive_s: float) -> bool:
    return 0.0 <= naive_s <= 250 * 365 * SECONDS_PER_DAY


def _rules_of(name: str) -> tzinfo:
    text = name.strip()
    if text.upper() in ("UTC", "Z"):
        return UTC
    sign = {"+": 1, "-": -1, "−": -1}.get(text[:1])
    hours, _, minutes = text[1:].partition(":")
    if sign and re.fullmatch(r"\d{1,2}(:[0-5]\d)?", text[1:]) and int(hours) < 24:
        return timezone(sign * timedelta(hours=int(hours), minutes=int(minutes or 0)))
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(text)
    except (OSError, ValueError, LookupError) as fault:
        raise FiringError(
            f'"{printable(name)}" is no known time zone; write one like Europe/Berlin, UTC or '
            "+01:00"
        ) from fault


@dataclass(frozen=True, eq=False)
class RealTime:
    """Wall-clock times with every change of the clocks taken out: as far apart as they really were.

    `first_fold` is 1 where the first reading stands in the second of two like hours.
    """

    naive_s: FloatArray
    first_fold: int
    notes: tuple[str, ...]


def real_time(naive_s: FloatArray, zone: Zone, line: Callable[[int], int]) -> RealTime:
    """Put wall-clock times, readable and in the order of the file, on real time.

    `line` gives the line of a place in `naive_s`, for notes.
    """
    notes: list[str] = []
    fold = 0
    real_s = naive_s
    for change in zone.changes(float(naive_s.min()), float(naive_s.max())):
        step = (
            _skipped_hour_at(naive_s, change)
            if change.shift_s > 0
            else _repeated_hour_at(naive_s, change)
        )
        if step is None:
            continue
        if step < 0:
            word = "forward" if change.shift_s > 0 else "back"
            notes.append(
                f"clocks went {word} on {change.words}, but the logger's ran straight on; "
                "its times are taken as written"
            )
            inside = change.begin_s <= naive_s[0] < change.end_s
            fold = 1 if change.shift_s < 0 and inside else fold
            continue
        if real_s is naive_s:
            real_s = naive_s.copy()
        real_s[step:] -= change.shift_s
        words = "forward" if change.shift_s > 0 else "back"
        passed_s = float(real_s[step] - real_s[step - 1])
        notes.append(
            f"the clocks went {words} on {change.words}, between lines {line(step - 1)} and "
            f"{line(step)}; {passed_s:.0f} s really passed there"
        )
    return RealTime(real_s, fold, tuple(notes))


def _skipped_hour_at(naive_s: FloatArray, change: ClockChange) -> int | None:
    """Return where the skipped hour lies, −1 if the clock ran through it, None if it is not met."""
    if np.any((naive_s >= change.begin_s) & (naive_s < change.end_s)):
        return -1
    after = np.flatnonzero(naive_s >= change.end_s)
    if not after.size or after[0] == 0:
        return None
    return int(after[0])


def _repeated_hour_at(naive_s: FloatArray, change: ClockChange) -> int | None:
    """Return where the repeated hour begins anew, −1 if the clock ran on, None if it is not met."""
    near = (naive_s[1:] >= change.begin_s - 60.0) & (naive_s[1:] < change.end_s)
    back = np.flatnonzero(near & (np.diff(naive_s) < 0))
    if back.size:
        return int(back[0]) + 1
    after = np.flatnonzero(naive_s >= change.end_s)
    if not after.size or after[0] == 0:
        return None
    first = int(after[0])
    pause_s = float(naive_s[first] - naive_s[first - 1])
    if naive_s[first - 1] >= change.begin_s and pause_s < 0.5 * abs(change.shift_s):
        return -1
    # the hour, or its end, was not logged: the clock was put back before the next reading
    return first


_MIDNIGHT_GAP_S = 3600.0  # a clock that is further from midnight did not pass it, it was restarted


@dataclass(frozen=True, eq=False)
class RowTimes:
    """When every row was: seconds as the log counts them, NaN where the time cannot be read.

    `started` is the wall-clock moment of the first row.  A log that counts from its own beginning
    (`elapsed`) may begin again at zero; in a `descending` one the newest row comes first.
    """

    time_s: FloatArray
    started: datetime | None
    elapsed: bool
    descending: bool


def row_times(table: LogTable, zone: Zone, notes: list[str]) -> RowTimes:
    """Return when every row of a log was, by a zone's wall clock where no offset is written."""
    dialect = table.dialect
    kind = dialect.time_kind
    if kind == "datetime":
        return _from_dates(table, zone, notes)
    if kind == "elapsed clock":
        return _from_clocks(table, notes)
    numbers = table.numbers(dialect.time_columns[-1])
    if len(dialect.time_columns) == 2:
        numbers = numbers + table.numbers(dialect.time_columns[0])
    if kind in JULIAN_TO_1970:
        numbers = numbers - JULIAN_TO_1970[kind]
    elif not (is_serial(kind) or is_epoch(kind)):
        numbers = _rolled_over(table, numbers, notes)
    with np.errstate(over="ignore", invalid="ignore"):
        seconds = numbers * SECONDS_OF_KIND[kind]
    seconds[~(np.abs(seconds) < 1e15)] = np.nan
    if is_serial(kind):
        # a day's fraction holds a second's thousandth, but no more
        naive_s = np.round(seconds - DAYS_TO_1970[kind] * SECONDS_PER_DAY, 3)
        return _from_wall_clock(table, naive_s, zone, notes)
    descending = _is_descending(seconds)
    if is_epoch(kind):
        readable = np.flatnonzero(np.isfinite(seconds))
        if not readable.size:
            return RowTimes(seconds, None, False, descending)
        first_s = float(seconds[readable[-1 if descending else 0]])
        started = zone.local(first_s) if 0.0 < first_s < 5e9 else None
        return RowTimes(seconds - first_s, started, False, descending)
    return _counted_up(table, RowTimes(seconds, None, True, descending), notes)


_COUNTERS = (2.0**32, 2.0**31, 2.0**16, 86400.0, 86_400_000.0)
"""What a counter holds until it begins again: its bits, or the seconds of a day."""


def _rolled_over(table: LogTable, numbers: FloatArray, notes: list[str]) -> FloatArray:
    """Go on counting where a counter was full and began again at zero."""
    rows = np.flatnonzero(np.isfinite(numbers))
    steps = np.diff(numbers[rows])
    back = steps < 0
    if not back.any() or not (steps > 0).any() or np.count_nonzero(back) > 0.05 * steps.size:
        return numbers
    usual = float(median(steps[steps > 0]))
    for full in _COUNTERS:
        if numbers[rows].max() < full and np.all(np.abs(steps[back] + full - usual) <= 0.5 * usual):
            counted = numbers.copy()
            counted[rows[1:]] += full * np.cumsum(back)
            at = int(rows[1:][np.argmax(back)])
            notes.append(
                f"the counter of the time was full at line {table.line(at)} and began again at "
                "zero; the times go on from there"
            )
            return counted
    return numbers


def _counted_up(table: LogTable, times: RowTimes, notes: list[str]) -> RowTimes:
    """Turn the time that is left, if a column's name says so, into the time that has passed."""
    written = table.dialect.columns[table.dialect.time_columns[-1]].written
    if not counts_down(written) or not np.isfinite(times.time_s).any():
        return times
    if not _is_descending(times.time_s):
        return times
    passed_s = np.nanmax(times.time_s) - times.time_s
    notes.append(f'"{printable(written)}" counts down, so the file is read from its first line on')
    return RowTimes(passed_s, None, True, False)


def _from_dates(table: LogTable, zone: Zone, notes: list[str]) -> RowTimes:
    dialect = table.dialect
    places, order = dialect.time_columns, dialect.date_order
    if len(places) == 2:
        dates = read_moments(table.objects(places[0]), "date", order)
        if not dates.valid.any():  # a spreadsheet's date may carry an idle clock
            dates = read_moments(table.objects(places[0]), "datetime", order)
        clocks = read_moments(table.objects(places[1]), "clock")
        moments = _dates_filled(table, places[0], dates, clocks, notes).joined(clocks)
    else:
        moments = read_moments(table.objects(places[0]), "datetime", order)
    if np.isnan(moments.offset_s).all():
        naive_s = moments.day * SECONDS_PER_DAY + moments.second
        naive_s[~moments.valid] = np.nan
        return _from_wall_clock(table, naive_s, zone, notes)
    seconds = moments.elapsed_s()
    descending = _is_descending(seconds)
    rows = np.flatnonzero(moments.valid)
    if not rows.size:
        return RowTimes(seconds, None, False, False)
    first = int(rows[-1 if descending else 0])
    # A clock that was never set says year 1: its seconds count, its date does not.
    is_set = YEARS[0] <= moments.year(first) <= YEARS[1]
    started = moments.moment(first) if is_set else None
    return RowTimes(seconds - seconds[first], started, False, descending)


def _text(cell: object) -> str:
    return cell if isinstance(cell, str) else ""


def _dates_filled(
    table: LogTable, place: int, dates: Moments, clocks: Moments, notes: list[str]
) -> Moments:
    """Carry a date on over the rows below it that have none; past midnight it is the next day."""
    empty = ~dates.valid & clocks.valid
    if not empty.any() or not dates.valid.any():
        return dates
    blank = np.array([is_missing(_text(cell)) for cell in table.objects(place)])
    empty &= blank
    rows = np.flatnonzero((dates.valid | empty) & clocks.valid)
    steps_s = np.diff(clocks.second[rows])
    if np.count_nonzero(steps_s < 0) > np.count_nonzero(steps_s > 0):
        rows = rows[::-1]  # the newest row comes first, and a date stands below what is its day's
    dated = np.flatnonzero(dates.valid[rows])
    if not dated.size:
        return dates
    empty[rows[: dated[0]]] = False
    rows = rows[dated[0] :]
    if not empty.any():
        return dates
    day = dates.day.copy()
    valid = dates.valid | empty
    last_day, last_s = int(day[rows[0]]), -1.0
    for row in rows.tolist():
        second = float(clocks.second[row])
        if empty[row]:
            _require_next(table, row, second - last_s if last_s >= 0.0 else 0.0)
            if second < last_s - 0.5 * SECONDS_PER_DAY:
                last_day += 1
            day[row] = last_day
        else:
            last_day = int(day[row])
        last_s = second
    line = table.line(int(np.argmax(empty)))
    notes.append(f"the date stands only where it changes; rows without one go on (line {line})")
    return replace(dates, day=day, valid=valid)


_SAME_DAY_S = 6 * 3600.0


def _require_next(table: LogTable, row: int, step_s: float) -> None:
    """Refuse a leap of the clock where no date stands: the rows may belong to any day."""
    backward = -0.5 * SECONDS_PER_DAY < step_s < -_MIDNIGHT_GAP_S
    if backward or step_s > _SAME_DAY_S:
        raise FiringError(
            f"{table.name}, line {table.line(row)}: the clock leaps {abs(step_s) / 3600.0:.0f} h "
            "where no date stands, so nothing shows the day of the rows from there on; give these "
            "rows their date, or leave them out"
        )


def _from_wall_clock(
    table: LogTable, naive_s: FloatArray, zone: Zone, notes: list[str]
) -> RowTimes:
    """Put wall-clock times without an offset on real time."""
    naive_s = _both_halves(table, naive_s, notes)
    rows = np.flatnonzero(np.isfinite(naive_s))
    if not rows.size:
        return RowTimes(naive_s, None, False, False)
    descending = _is_descending(naive_s)
    ordered = rows[::-1] if descending else rows
    real = real_time(naive_s[ordered], zone, lambda place: table.line(int(ordered[place])))
    notes += real.notes
    first_s = float(naive_s[ordered[0]])
    seconds = np.full(naive_s.size, np.nan)
    seconds[ordered] = real.naive_s - first_s
    year = int(1970 + first_s / (365.2425 * SECONDS_PER_DAY))
    if _OTHER_CALENDARS[0] <= year <= _OTHER_CALENDARS[1]:
        notes.append(
            f"the year {year} is of another calendar, so the log has no date; to give it one, "
            "write dates like 2026-03-14"
        )
    return RowTimes(seconds, zone.moment(first_s, real.first_fold), False, descending)


_OTHER_CALENDARS = 1300, 1500
"""The Persian and the Islamic year of our days."""
_HALF_S, _HOUR_S = 0.5 * SECONDS_PER_DAY, 3600.0


def _both_halves(table: LogTable, naive_s: FloatArray, notes: list[str]) -> FloatArray:
    """Tell morning from evening where a clock of twelve hours does not: time goes on."""
    rows = np.flatnonzero(np.isfinite(naive_s))
    clock_s = naive_s[rows] % SECONDS_PER_DAY
    steps_s = np.diff(naive_s[rows])
    back = (steps_s < -0.9 * _HALF_S) & (steps_s > -_HALF_S)
    if (
        np.count_nonzero(back) < 1
        or np.any(clock_s < 3600.0)
        or np.any(clock_s >= _HALF_S + 3600.0)
        or (back | (steps_s > 0)).mean() < 0.99
    ):
        return naive_s
    halves_s = naive_s[rows] - np.where(clock_s >= _HALF_S, _HALF_S, 0.0)
    day_s = np.floor(halves_s / SECONDS_PER_DAY)
    usual_s = median(np.abs(np.diff(halves_s)))
    best: FloatArray | None = None
    for first in (0.0, 1.0):
        half = (first + np.cumsum(np.concatenate([[0.0], np.diff(halves_s) < 0.0]))) % 2
        # at midnight the evening ends
        turns = np.concatenate([[0.0], np.diff(day_s) > 0.0])
        half = (half + np.cumsum(turns)) % 2
        tried = halves_s + half * _HALF_S
        largest_s = np.abs(np.diff(tried) - usual_s).max()
        if best is None or largest_s < np.abs(np.diff(best) - usual_s).max():
            best = tried
    assert best is not None
    if np.any(np.diff(best) < 0.0):
        return naive_s
    found = naive_s.copy()
    found[rows] = best
    notes.append(
        "its clock has twelve hours and no a.m. or p.m.; which half of the day it is follows from "
        f"the date and the rows before (line {table.line(int(rows[0]))} is "
        f"{'p.m.' if best[0] % SECONDS_PER_DAY >= _HALF_S else 'a.m.'})"
    )
    return found


def _from_clocks(table: LogTable, notes: list[str]) -> RowTimes:
    """Read clocks without a date: elapsed times, or times of day."""
    dialect = table.dialect
    places = dialect.time_columns
    moments = read_moments(table.objects(places[-1]), "clock", two_parts=dialect.two_parts)
    seconds = moments.day * SECONDS_PER_DAY + moments.second
    if len(places) == 2:
        seconds = seconds + table.numbers(places[0]) * SECONDS_PER_DAY
    seconds[~moments.valid] = np.nan
    descending = _is_descending(seconds)
    if len(places) == 1 and not descending:
        seconds = _past_midnight(table, seconds, moments, notes)
    return _counted_up(table, RowTimes(seconds, None, True, descending), notes)


_STARTS = re.compile(
    r"(?<![^\W\d_])(?:start|began|begin|début|debut|inici|início|inizio|avvio|aanvang|開始|开始|始)",
    re.I,
)
_OF_SOMETHING_ELSE = re.compile(
    r"export|print|download|calib|firmware|built|version|boot|sync|saved|created|\bend\b|stop", re.I
)
_LONGEST_LABEL, _AT_ONCE_S = 120, 600.0


def with_stated_start(
    times: RowTimes, preamble: Sequence[str], order: DateOrder | None, zone: Zone, notes: list[str]
) -> RowTimes:
    """Give elapsed times the beginning that one line above them states, as ``Start: …``.

    It has to say so, with a whole date and time of day, and the times have to begin there.
    """
    known = times.time_s[np.isfinite(times.time_s)]
    if not times.elapsed or not known.size:
        return times
    lines = [line for line in preamble if len(line) <= _LONGEST_LABEL and _STARTS.search(line)]
    lines = [line for line in lines if not _OF_SOMETHING_ELSE.search(line)]
    parts = " ".join(re.sub(r"^\D*", "", line) for line in lines)  # a date and a clock, a line each
    stated = [(line, _moment_in(line, order)) for line in [*lines, parts]]
    found = {moment: line for line, moment in stated if moment is not None}
    if len(found) != 1:
        return times
    [(moment, line)] = found.items()
    first_s = float(known[-1 if times.descending else 0])
    of_day_s = (moment - moment.replace(hour=0, minute=0, second=0)).total_seconds()
    if abs(first_s - of_day_s) <= _AT_ONCE_S < first_s:  # the clocks are times of that day
        moment = moment.replace(hour=0, minute=0, second=0)
    elif not 0.0 <= first_s <= _AT_ONCE_S:
        return times
    if moment.tzinfo is None:
        local = zone.moment((moment - _EPOCH).total_seconds())
        if local is None:
            return times
        moment = local
    notes.append(f'the firing is dated by the line "{printable(line.strip())}"')
    return replace(times, started=moment)


def _moment_in(line: str, order: DateOrder | None) -> datetime | None:
    """Return the whole moment that a line ends with; None where its date can be read two ways."""
    plain = respell(re.sub(r"[\"']", "", line).encode()).body.decode()
    for at in (found.end() for found in re.finditer(r"[^\d]*?(?=\d)|[\s:=,;]+", plain)):
        rest = re.sub(r"(?<=\d)\s*[,;\t]\s*(?=\d)", " ", plain[at:].strip(" \t,;#*"))
        if time_of_cell(rest) != "datetime":
            continue
        orders, _ = date_orders([rest])
        if order is None and len(orders) > 1:
            return None
        read = read_moments(
            np.array([rest], dtype=object), "datetime", order or min(orders, default=None)
        )
        if not read.valid[0] or not YEARS[0] <= read.year(0) <= YEARS[1]:
            return None
        moment = read.moment(0)
        return moment.replace(tzinfo=None) if np.isnan(read.offset_s[0]) else moment
    return None


def _past_midnight(
    table: LogTable, seconds: FloatArray, moments: Moments, notes: list[str]
) -> FloatArray:
    """Go on counting where a clock without a date starts again at 0:00."""
    rows = np.flatnonzero(moments.valid)
    clock_s = moments.second[rows]
    if rows.size < 2 or moments.day[rows].any() or clock_s.max() >= SECONDS_PER_DAY:
        return seconds
    halves_s = clock_s % _HALF_S
    turns = np.diff(halves_s) < -0.5 * _HALF_S
    steps_s = np.diff(clock_s)
    usual_s = median(np.abs(steps_s))
    back = steps_s < 0
    near_s = max(_MIDNIGHT_GAP_S, 10 * usual_s)
    if (
        back.any()
        and np.all(steps_s[back] + _HALF_S <= near_s)
        and clock_s.min() >= _HOUR_S
        and clock_s.max() < _HALF_S + _HOUR_S
        # at noon as at midnight, and time runs on elsewhere
        and np.count_nonzero(np.diff(halves_s) < 0) == np.count_nonzero(turns)
    ):
        seconds = seconds.copy()
        seconds[rows] = halves_s
        seconds[rows[1:]] += np.cumsum(turns) * _HALF_S
        notes.append(
            "its clock has twelve hours and no a.m. or p.m.; the times go on from one half of the "
            f"day to the next (first at line {table.line(int(rows[1:][np.argmax(turns)]))})"
        )
        return seconds
    across_s = steps_s + SECONDS_PER_DAY
    wraps = (steps_s < -0.5 * SECONDS_PER_DAY) & (across_s <= near_s)
    if not wraps.any():
        return seconds
    seconds = seconds.copy()
    seconds[rows[1:]] += np.cumsum(wraps) * SECONDS_PER_DAY
    at = int(rows[1:][np.argmax(wraps)])
    notes.append(f"the clock passes midnight at line {table.line(at)}; the times go on from there")
    return seconds


def _is_descending(seconds: FloatArray) -> bool:
    """Tell whether times run from the newest to the oldest."""
    first = seconds[: min(seconds.size, 2000)]
    first = first[np.isfinite(first)]
    last = seconds[-min(seconds.size, 2000) :]
    last = last[np.isfinite(last)]
    if first.size < 3 or last.size < 3 or not first[0] > last[-1]:
        return False
    steps = np.concatenate([np.diff(first), np.diff(last)])
    return bool(np.count_nonzero(steps < 0) >= 0.9 * np.count_nonzero(steps))
