"""Reading a log: find its dialect, read its table, clean it, and say what was done."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal, cast

import numpy as np

from firing.errors import FiringError
from firing.files.disk import UnusableInput, read_whole
from firing.logs import vocabulary
from firing.logs.cleaning import Cleaning, Flag, clean
from firing.logs.containers import contents
from firing.logs.detection import detect, layout_of
from firing.logs.dialect import Column, ColumnRole, Dialect, ReadingUnit
from firing.logs.layout import LogLayout
from firing.logs.options import PartChoice, ReadingOptions
from firing.logs.parts import choose_part, interval_s, join, parts_of, section_of, spans
from firing.logs.physics import (
    Course,
    DegreeUnit,
    celsius_of,
    course_of,
    fits_fahrenheit,
    is_hot_in_degrees,
    is_plain_kiln,
    settle_unit,
    unit_switches,
)
from firing.logs.plausibility_limits import LOG_HOTTEST_C, TYPE_K_ENDS_C
from firing.logs.readings import LogReadings, read_rows
from firing.logs.rearranging import (
    rearranged,
    starts_earlier,
    with_joined_decimals,
    with_one_mark,
    with_same_columns,
    without_groups,
)
from firing.logs.row_order import blocks_again, other_headers
from firing.logs.row_times import RowTimes, Zone, row_times, with_stated_start
from firing.logs.spelling import respell
from firing.logs.table import LogTable, may_be_hot
from firing.logs.text import Text, clean_text, printable
from firing.logs.times import DAYS_TO_1970, DateOrder, TimeUnitOption
from firing.logs.values import Decimal, split_line
from firing.logs.vocabulary import preamble_zone, speaks_of_zone, time_zone
from firing.trace import FloatArray, Trace, quantile
from firing.units import format_duration
from firing.viewable import Plottable

MOST_BYTES = 200_000_000
"""A month of three channels, once a second, is half of it."""
LONGEST_DAYS = 400


@dataclass(frozen=True, eq=False)
class Log(Plottable):
    """One log as read.

    Attributes
    ----------
    path : Path
        The file, or the first of several.
    trace : Trace
        All temperature channels, `kind` "measured"; NaN where a reading is no number or is marked
        by the cleaning.
    dialect : Dialect
        How the file is written.
    rows, used : int
        Lines of readings in the file, and those that are in the trace.
    notes : tuple of str
        What was assumed, marked or left out, as sentences.
    interval_s : float
        Median time between readings [s].
    setpoint_c : ndarray, shape (n,), optional
        The logged set-point [°C].
    unusable : tuple of int
        Readings of each channel that are no temperature, or are marked.
    raw_c : ndarray, shape (n, channels)
        The temperatures before cleaning [°C]; NaN only where there is no number.  Default: those
        of `trace`.
    cleaning : Cleaning
        What is held against each reading.  Default: nothing.
    name : str
        The file's name, or that of the first and how many more there are; harmless to show.
    """

    path: Path
    trace: Trace
    dialect: Dialect
    rows: int
    used: int
    notes: tuple[str, ...]
    interval_s: float
    setpoint_c: FloatArray | None
    unusable: tuple[int, ...]
    raw_c: FloatArray = field(default_factory=lambda: np.empty(0))
    cleaning: Cleaning = field(
        default_factory=lambda: Cleaning(np.zeros((0, 0), dtype=np.uint8), (), ())
    )
    name: str = ""

    @property
    def open_choices(self) -> tuple[str, ...]:
        """The notes that a person may answer with an option: they come before any result."""
        return tuple(f"{note[:1].upper()}{note[1:]}." for note in self.notes if " --" in note)

    def unit_is_open(self, channel: int) -> bool:
        """Return whether °C was assumed for a channel that a kiln could give in °F as well."""
        if self.dialect.unit_from != "assumed":
            return False
        course = course_of(self.raw_c.reshape(self.trace.time_s.size, -1)[:, channel])
        return course is not None and fits_fahrenheit(course)

    @property
    def other_notes(self) -> tuple[str, ...]:
        """The notes that leave no choice."""
        return tuple(note for note in self.notes if " --" not in note)

    def __post_init__(self) -> None:
        if not self.name:
            object.__setattr__(self, "name", printable(self.path.name))
        if not self.raw_c.size:
            object.__setattr__(self, "raw_c", self.trace.temperature_c)
        if not self.cleaning.marks.size:
            marks = np.zeros(self.raw_c.shape, dtype=np.uint8)
            object.__setattr__(self, "cleaning", Cleaning(marks, self.trace.channels, ()))

    def __repr__(self) -> str:
        """Return name, rows, length, channels and start, on one line."""
        lasts = format_duration(self.trace.duration_s)
        started = self.trace.started
        begun = "" if started is None else f" from {started:%Y-%m-%d %H:%M}"
        channels = ", ".join(self.trace.channels)
        return f"<Log {self.name!r}: {self.used} readings over {lasts}{begun}; {channels}>"


_LONGEST_TRACE_S = 60 * 86400.0
"""Readings that last longer are no firing; three hours in milliseconds are 125 days (a choice)."""


def log_of(trace: Trace, name: str = "readings") -> Log:
    """Return readings that come from no file as a log, as if they had been read from one."""
    columns = [Column(0, "time", "time", "time")]
    columns += [
        Column(place, channel, channel, "temperature", "C", "header")
        for place, channel in enumerate(trace.channels, 1)
    ]
    rows = trace.time_s.size
    if rows < 2:
        raise FiringError(f"a log needs at least two readings, and this trace has {rows}")
    if trace.duration_s > _LONGEST_TRACE_S:
        days = trace.duration_s / 86400.0
        raise FiringError(
            f"times are in seconds, and these readings last {days:.0f} days: divide times in "
            "milliseconds by 1000, or give one firing"
        )
    missing = np.count_nonzero(np.isnan(trace.temperature_c), axis=0)
    return Log(
        path=Path(name),
        trace=trace,
        dialect=Dialect("utf-8", ",", ".", 0, 2, True, tuple(columns), "seconds"),
        rows=rows,
        used=rows,
        notes=(),
        interval_s=float(np.median(np.diff(trace.time_s))),
        setpoint_c=None,
        unusable=tuple(missing.tolist()),
        name=name,
    )


def read_log(
    path: Path | str,
    *,
    unit: ReadingUnit | None = None,
    time_unit: TimeUnitOption | None = None,
    date_order: DateOrder | None = None,
    zone: str | None = None,
    delimiter: str | None = None,
    decimal: Decimal | None = None,
    encoding: str | None = None,
    skip_lines: int | None = None,
    columns: Mapping[str, ColumnRole] | None = None,
    thermocouple_type: str | None = None,
    junction_c: float | None = None,
    restart_pause_s: float | None = None,
    part: PartChoice | None = None,
    cleaning: bool = True,
) -> Log:
    """Read the log of a firing.

    Parameters
    ----------
    path : Path or str
        A text file: one reading a line, a time and one or more temperatures.
    unit : {"C", "F", "K", "mV", "C/10", "F/10", "C/100", "C/1000", "K/10", "C/2", "C/4", "C/16"}
        Unit of all temperatures, instead of the one stated in the file; ``C/10`` is tenths of a
        degree, ``C/4`` the quarters that a thermocouple chip counts.  Optional.
    time_unit : {"us", "ms", "s", "min", "h", "d", "epoch", "serial", "serial-1904"}, optional
        Unit of times written as bare numbers; ``epoch`` counts from 1970, ``serial`` is a
        spreadsheet's days, from 1900 or 1904.
    date_order : {"dmy", "mdy", "ymd", "ydm"}, optional
        Order of day and month.
    zone : str, optional
        Time zone of wall-clock times without an offset, like ``Europe/Berlin``; default this
        computer's.
    delimiter, decimal, encoding : str, optional
        Marks and codec, instead of those found.
    skip_lines : int, optional
        Lines above the header.
    columns : mapping of str to role, optional
        What columns hold, by name or number from 1: time, date, temperature, set-point, duty,
        junction or ignore.
    thermocouple_type : str, optional
        Letter of the thermocouple, for channels in millivolts; never guessed.
    junction_c : float, optional
        Temperature of the reference junction [°C], for channels in millivolts, instead of a column.
    restart_pause_s : float, optional
        How long the logger stood still [s] wherever an elapsed clock begins again at zero.
    part : int or "all", optional
        Which firing, from 1, of a file that holds several; ``all`` takes them for one.
    cleaning : bool
        Whether readings that no kiln can have given are left out of the trace.

    Returns
    -------
    Log
        Times count from the first reading.

    Raises
    ------
    FiringError
        If the file cannot be read as a log, in one sentence.

    Examples
    --------
    >>> import firing as fi
    >>> from importlib.resources import files
    >>> log = fi.read_log(files("firing") / "data" / "demo" / "log.csv")
    >>> len(log.to_pandas()) == log.used
    True
    """
    options = ReadingOptions(
        unit=unit,
        time_unit=time_unit,
        date_order=date_order,
        zone=zone,
        delimiter=delimiter,
        decimal=decimal,
        encoding=encoding,
        skip_lines=skip_lines,
        columns=columns or {},
        thermocouple_type=thermocouple_type,
        junction_c=junction_c,
        restart_pause_s=restart_pause_s,
        part=part,
        as_logged=not cleaning,
    )
    return read_logs([path], options)


def read_logs(
    paths: Sequence[Path | str],
    options: ReadingOptions | None = None,
    *,
    whole_lines: bool = False,
) -> Log:
    """Read the log of one firing from one or more files, joined in the order of their times.

    Parameters
    ----------
    paths : sequence of Path or str
        The files.  Without wall-clock times they are joined in the order given, the options'
        restart pause apart.
    options : ReadingOptions, optional
        How they are to be read, every one of them.
    whole_lines : bool
        Whether a last line without its end is left out, as a logger may still be writing it.

    Returns
    -------
    Log
        One trace with every column of temperatures [°C], and how it was read.

    Raises
    ------
    FiringError
        If a file cannot be read as a log, or the files cannot be joined.

    Examples
    --------
    >>> import firing as fi
    >>> from importlib.resources import files
    >>> fi.read_logs([files("firing") / "data" / "demo" / "log.csv"]).trace.channels
    ('Kiln', 'Lower shelf')
    """
    options = _with_type(options or ReadingOptions())
    zone = Zone(options.zone)
    if not paths:
        raise FiringError("no log is given; name one file or more")
    files: list[LogReadings] = []
    for path in map(Path, paths):
        files.append(_read_file(path, options, zone, files[0] if files else None, whole_lines))
    whole = join(files, options.restart_pause_s)
    return _log_of(Path(paths[0]), whole, options)


def read_bytes(data: bytes, name: str, options: ReadingOptions | None = None) -> Log:
    """Read the log of one firing from the bytes of its file; sentences call it `name`."""
    options = _with_type(options or ReadingOptions())
    shown, zone = printable(name) or "the log", Zone(options.zone)
    text = _text_of(data, shown, options, whole_lines=False)
    found = _read_text(shown, text, options, zone, None, live=False)
    return _log_of(Path(name), join([found], options.restart_pause_s), options)


def _with_type(options: ReadingOptions) -> ReadingOptions:
    """Return the options with the thermocouple's letter as the tables have it."""
    if options.thermocouple_type is None:
        return options
    from firing.thermocouple.reference import parse_type

    return replace(options, thermocouple_type=parse_type(options.thermocouple_type))


def open_log(
    paths: Path | Sequence[Path],
    channel: str | None,
    options: ReadingOptions,
    *,
    whole_lines: bool = False,
) -> tuple[Log, int]:
    """Read a log from one file or several, and choose its kiln channel, as every command does."""
    files = [paths] if isinstance(paths, Path) else list(paths)
    _refuse_other_kinds(files)
    log = read_logs(files, options, whole_lines=whole_lines)
    number = pick_channel(log, channel)
    if channel is None and not whole_lines:
        doubt = _doubted_channel(log, number)
        if doubt:
            log = replace(log, notes=(doubt, *log.notes))
    return log, number


def _refuse_other_kinds(files: Sequence[Path]) -> None:
    """Refuse a file that its name and its keys show to be no log; `FiringError` with what it is."""
    for path in files:
        if path.suffix.lower() == ".toml":
            from firing.files.kinds import kind_of

            kind = kind_of(path)
            if kind is not None:
                raise FiringError(f"{printable(str(path))} is a {kind} file; name the log instead")


def _read_file(
    path: Path, options: ReadingOptions, zone: Zone, first: LogReadings | None, whole_lines: bool
) -> LogReadings:
    """Read one file; `first` is the first of several, whose header a later one may lack."""
    name = printable(path.name) or "the log"
    text = _text_of(_bytes_of(path, name), name, options, whole_lines)
    found = _read_text(name, text, options, zone, first, live=whole_lines)
    if first is None:
        return found
    ours = found.dialect
    if not ours.header and len(found.channels) == len(first.channels):
        found = replace(found, channels=first.channels)
    return found


def _text_of(data: bytes, name: str, options: ReadingOptions, whole_lines: bool) -> Text:
    """Return a file's text, taken out of what holds it and put into the reader's own spelling."""
    contained = contents(data, name)
    encoding = "utf-8" if contained.names else options.encoding
    text = clean_text(contained.data, name=name, encoding=encoding)
    if whole_lines:
        # a part of a number would be read as another temperature: 12 of 1215
        text = replace(text, body=text.body[: text.body.rfind(b"\n") + 1])
    spelled = respell(text.body)
    return replace(
        text,
        body=spelled.body,
        notes=(*contained.notes, *text.notes),
        names=contained.names or spelled.names,
        zone=spelled.zone,
    )


def _read_text(
    name: str,
    text: Text,
    options: ReadingOptions,
    zone: Zone,
    first: LogReadings | None,
    *,
    live: bool,
) -> LogReadings:
    text = with_joined_decimals(with_same_columns(text))
    text, layout = _laid_out(name, text, options)
    table, times, notes = _timed(name, text, layout, options, zone)
    unread = np.flatnonzero(~np.isfinite(times.time_s))
    if unread.size > _UNREAD_SHARE * table.rows:
        mended = with_one_mark(text, layout)
        if mended is not None:
            text, layout = _laid_out(name, mended, options)
            table, times, notes = _timed(name, text, layout, options, zone)
            unread = np.flatnonzero(~np.isfinite(times.time_s))
    headers = other_headers(table, unread)
    below = _header_below(table, headers)
    if below:
        text = replace(text, names=below)
        text, layout = _laid_out(name, text, options)
        table, times, notes = _timed(name, text, layout, options, zone)
        headers = []
    again = [] if headers or live else blocks_again(table, times, unread)
    headers = headers or again
    if headers:
        section = section_of(table, text.body, headers, options.part, again=bool(again))
        text = replace(text, body=section)
        text, layout = _laid_out(name, text, options)
        table, times, notes = _timed(name, text, layout, options, zone)
    if options.unit is None and not live:
        _read_in_one_scale(table, times, notes)
    if not (live or options.with_gaps):
        _refuse_swapped(table, times)
    _adopt_hot(table, notes)
    if not _follow_unit(table, first, notes) and options.unit is None:
        _settle_units(table, times, notes, live=live)
    readings = read_rows(table, times, options, tuple(notes), live=live)
    return replace(readings, part_taken=bool(headers))


def _header_below(table: LogTable, headers: Sequence[int]) -> tuple[str, ...]:
    """Return the names of a header that stands below all readings, as the newest came first."""
    if table.dialect.header or len(headers) != 1:
        return ()
    last = next((row for row in range(table.rows - 1, -1, -1) if not table.is_blank(row)), -1)
    cells = split_line(table.line_text(last), table.dialect.delimiter)
    fits = last == headers[0] and len(cells) == len(table.dialect.columns)
    return tuple(cells) if fits else ()


def _suspect_fahrenheit(table: LogTable, notes: list[str]) -> None:
    """Doubt °C in a log of a few readings, whose course shows nothing."""
    values = [table.celsius(c) for c in table.dialect.channel_columns if c.unit == "C"]
    highest_c = max((float(np.nanmax(v)) for v in values if np.isfinite(v).any()), default=0.0)
    if highest_c > TYPE_K_ENDS_C:
        notes.append(
            f"the highest reading is {highest_c:.0f}, above the {TYPE_K_ENDS_C:.0f} °C where a "
            "type K thermocouple ends; if the log is in °F, say --unit F"
        )


_UNREAD_SHARE = 0.01
_MOST_REARRANGED = 4


def _laid_out(name: str, text: Text, options: ReadingOptions) -> tuple[Text, LogLayout]:
    """Return the text and its table, cells that belong together put together."""
    layout = layout_of(text, options, name)
    if starts_earlier(text, layout):
        mended = with_one_mark(text, layout)
        if mended is not None:
            text, layout = mended, layout_of(mended, options, name)
    if layout.grouped:
        text = without_groups(text, layout)
        layout = layout_of(text, replace(options, decimal=layout.decimal), name)
    for _ in range(_MOST_REARRANGED):
        found = rearranged(text, layout)
        if found is None:
            break
        text, layout = found, layout_of(found, replace(options, delimiter="\t"), name)
    return text, layout


def _timed(
    name: str, text: Text, layout: LogLayout, options: ReadingOptions, zone: Zone
) -> tuple[LogTable, RowTimes, list[str]]:
    """Return a text's table, when its rows were, and the notes on them."""
    notes = list(text.notes)
    dialect = detect(text, options, name, layout)
    if options.zone is None and dialect.time_kind in ("datetime", *DAYS_TO_1970):
        heads = [dialect.columns[place].written for place in dialect.time_columns]
        stated = (
            text.zone
            or next(filter(None, map(time_zone, heads)), None)
            or _zone_beside(layout)
            or preamble_zone(layout.preamble)
        )
        if stated is not None:
            zone = Zone(stated)
            notes.append(f"times are read as {stated}, as the file says; --zone takes another")
    table = LogTable(name, text.body, dialect)
    times = row_times(table, zone, notes)
    if times.elapsed and layout.preamble:
        times = with_stated_start(times, layout.preamble, options.date_order, zone, notes)
    return table, times, notes


def _zone_beside(layout: LogLayout) -> str | None:
    """Return the time zone that stands in a column of its own, the same in every row."""
    for index, kind in enumerate(layout.kinds):
        cells = set(layout.column(index)) if kind == "text" else set()
        named = layout.names is not None and speaks_of_zone(layout.names[index])
        if len(cells) == 1 and (named or next(iter(cells)) in ("UTC", "GMT")):
            return time_zone(next(iter(cells)))
    return None


def _follow_unit(table: LogTable, first: LogReadings | None, notes: list[str]) -> bool:
    """Give a file without a unit that of the first: a rotating logger states it there only."""
    dialect = table.dialect
    if first is None or dialect.unit_from != "assumed" or first.dialect.unit_from == "assumed":
        return False
    unit = first.dialect.unit
    table.dialect = replace(
        dialect,
        columns=tuple(
            replace(c, unit=unit, unit_from=first.dialect.unit_from)
            if c.role in ("temperature", "set-point") and c.unit_from == "assumed"
            else c
            for c in dialect.columns
        ),
    )
    notes.append(f"states no unit, so {first.name} was followed")
    return True


def _read_in_one_scale(table: LogTable, times: RowTimes, notes: list[str]) -> None:
    """Take a channel that was switched between °C and °F on the way for °C all along."""
    dialect = table.dialect
    rows = np.flatnonzero(np.isfinite(times.time_s))
    rows = rows[::-1] if times.descending else rows
    switched = set()
    for column in dialect.of_role("temperature", "set-point"):
        if column.unit not in ("C", "F"):
            continue
        values = table.numbers(column.index, column.degrees)
        known = rows[np.isfinite(values[rows])]
        found = unit_switches(times.time_s[known], values[known])
        if not found:
            continue
        to_f = not found[0][1]
        places = [0, *(place for place, _ in found), known.size]
        celsius = values.copy()
        for begin, end in pairwise(places):
            if to_f:
                part = known[begin:end]
                celsius[part] = (values[part] - 32.0) / 1.8
            to_f = not to_f
        table.rewrite(column.index, celsius)
        switched.add(column.index)
        row = int(known[found[0][0]])
        before, after = values[known[found[0][0] - 1]], values[row]
        way = ("°C", "°F") if found[0][1] else ("°F", "°C")
        more = "" if len(found) == 1 else f", and {len(found) - 1} more times after it"
        notes.append(
            f"{column.name} changes from {way[0]} to {way[1]} at line {table.line(row)}{more}: "
            f"{before:.5g} is followed by {after:.5g} while the kiln goes on, so all is converted "
            f"to °C; say --unit C or --unit F if it is all in one"
        )
    if switched:
        table.dialect = replace(
            dialect,
            columns=tuple(
                replace(c, unit="C", unit_from="physics")
                if c.index in switched or (c.role == "temperature" and c.unit_from == "assumed")
                else c
                for c in dialect.columns
            ),
        )


_APART, _ALIKE_SHARE, _MOST_SWAPS = 50.0, 0.08, 8
_BESIDE = 5


def _goes_on_swapped(one: FloatArray, two: FloatArray, at: int) -> bool:
    """Tell whether two columns go on quietly on both sides of where they change places."""
    if not _BESIDE <= at < one.size - _BESIDE - 1:
        return False
    quiet_c = 0.5 * abs(float(one[at] - two[at]))
    sides = (slice(at - _BESIDE, at + 1), slice(at + 1, at + 1 + _BESIDE))
    return all(float(np.ptp(column[side])) < quiet_c for column in (one, two) for side in sides)


def _refuse_swapped(table: LogTable, times: RowTimes) -> None:
    """Refuse a table whose columns change places on the way: each then goes on as the other."""
    columns = [
        c
        for c in table.dialect.columns
        if c.role == "temperature" or (c.role == "other" and may_be_hot(c))
    ]
    rows = np.flatnonzero(np.isfinite(times.time_s))
    values = [table.numbers(c.index, c.degrees)[rows] for c in columns]
    for n, one in enumerate(values):
        for m in range(n):
            two = values[m]
            apart = np.abs(one[:-1] - two[:-1])
            near = 2.0 + _ALIKE_SHARE * apart
            with np.errstate(invalid="ignore"):
                swaps = np.flatnonzero(
                    (apart > _APART)
                    & (np.abs(one[1:] - two[:-1]) < near)
                    & (np.abs(two[1:] - one[:-1]) < near)
                )
            swaps = np.array([at for at in swaps.tolist() if _goes_on_swapped(one, two, at)])
            if 0 < swaps.size <= _MOST_SWAPS:
                raise FiringError(
                    f"{table.name}: from line {table.line(int(rows[swaps[0] + 1]))} on "
                    f"{columns[m].name} and {columns[n].name} have changed places; save "
                    "the rows below as a file of their own, or put the columns in order"
                )


def _adopt_hot(table: LogTable, notes: list[str]) -> None:
    """Take a channel called a room's or a board's for the kiln's where it alone gets hot."""
    dialect = table.dialect
    known = [course_of(table.numbers(c.index, c.degrees)) for c in dialect.channel_columns]
    if any(course is not None and course.high > _NO_KILN for course in known):
        return
    like = dialect.channel_columns[0]
    if like.unit == "mV":
        return
    for column in dialect.columns:
        if column.role != "other" or not may_be_hot(column):
            continue
        course = course_of(table.numbers(column.index, like.degrees))
        if course is None or course.high < _A_FIRING:
            continue
        hot = replace(column, role="temperature", unit=like.unit, unit_from=like.unit_from)
        table.dialect = replace(
            table.dialect,
            columns=tuple(hot if c.index == column.index else c for c in table.dialect.columns),
        )
        notes.append(
            f"{column.name} reaches {course.high:.0f}, as no room does, so it is read as a "
            f'temperature of the kiln; say --column "{column.name}=ignore" if it is none'
        )


_NO_KILN, _A_FIRING = 150.0, 300.0  # in the log's own degrees

_LEAST_LIVE = 3
UNIT_NOTE = "no unit is stated, so °C is assumed; say --unit F if the log is in °F"


def _settle_units(table: LogTable, times: RowTimes, notes: list[str], *, live: bool) -> None:
    """Give channels the unit that a kiln's physics leaves them, where the file leaves it open.

    A `live` log is asked about by its first readings, as nobody is there when it gets hot.
    """
    dialect = table.dialect
    courses: dict[int, Course] = {}
    for column in dialect.channel_columns:
        if column.unit in ("C", "F", "K"):
            values = table.numbers(column.index, column.degrees)[np.isfinite(times.time_s)]
            ordered = values[::-1] if times.descending else values
            found = course_of(ordered, _LEAST_LIVE) if live else course_of(ordered)
            if found is not None:
                courses[column.index] = found
    assumed = [c for c in dialect.channel_columns if c.unit_from == "assumed"]
    if not courses:
        notes += [UNIT_NOTE] if assumed else []
        _suspect_fahrenheit(table, notes)
        return
    # the hottest channel is the kiln's: a room's readings could be in any unit
    hottest_at = max(courses, key=lambda index: courses[index].high)
    if not is_hot_in_degrees(courses[hottest_at]):
        # watts go higher than a kiln, whose degrees stand beside them
        plain = [index for index, course in courses.items() if is_plain_kiln(course)]
        hottest_at = max(plain, key=lambda index: courses[index].high, default=hottest_at)
    kiln = dialect.columns[hottest_at]
    stated = None if kiln.unit_from == "assumed" else kiln.unit
    if stated is None and vocabulary.names_counts(kiln.written):
        raise FiringError(
            f'{table.name}: by its name "{kiln.name}" holds counts, and no unit is stated; say '
            "--unit C if they are degrees, --unit C/4 or --unit C/16 if they are the parts of one "
            "that a thermocouple chip counts, or change them into degrees in a spreadsheet"
        )
    settled = settle_unit(
        table.name, kiln.name, courses[hottest_at], cast('Literal["C", "F", "K"] | None', stated)
    )
    if settled.note:
        notes.append(settled.note)
    elif assumed:
        notes.append(UNIT_NOTE)
    dialect = _without_impossible(dialect, courses, kiln.index, settled.unit, notes)
    table.dialect = dialect
    if settled.unit == kiln.unit:
        return
    table.dialect = replace(
        dialect,
        columns=tuple(
            replace(c, unit=settled.unit, unit_from="physics")
            if c.role in ("temperature", "set-point")
            and (c.unit, c.unit_from == "assumed") == (kiln.unit, kiln.unit_from == "assumed")
            else c
            for c in dialect.columns
        ),
    )


def _without_impossible(
    dialect: Dialect, courses: dict[int, Course], kiln: int, unit: DegreeUnit, notes: list[str]
) -> Dialect:
    """Take no channel for a temperature that goes higher than any, beside one that is a kiln's."""
    columns = []
    for column in dialect.columns:
        course = courses.get(column.index)
        if (
            course is not None
            and column.index != kiln
            and column.unit_from == "assumed"
            and celsius_of(np.array([course.high]), unit)[0] > LOG_HOTTEST_C
        ):
            notes.append(f"not read as a kiln temperature: {column.name}, up to {course.high:.0f}")
            column = replace(column, role="other", unit=None, unit_from=None)
        columns.append(column)
    return replace(dialect, columns=tuple(columns))


def _bytes_of(path: Path, name: str) -> bytes:
    try:
        return read_whole(path, MOST_BYTES)
    except UnusableInput as fault:
        raise FiringError(f"{name} {fault}") from None
    except FileNotFoundError as fault:
        raise FiringError(f"{printable(str(path), longest=200)} does not exist") from fault
    except IsADirectoryError as fault:
        raise FiringError(f"{name} is a directory; give the log file in it") from fault
    except (OSError, ValueError) as fault:
        why = getattr(fault, "strerror", None) or "no file can have this name"
        raise FiringError(f"{name} cannot be read: {why}") from fault


def _trace(readings: LogReadings, temperature_c: FloatArray) -> Trace:
    return Trace(
        time_s=readings.time_s,
        temperature_c=temperature_c,
        channels=readings.channels,
        kind="measured",
        duty=readings.duty,
        started=readings.started,
    )


def _clean(readings: LogReadings, wanted: bool) -> Cleaning:
    if wanted:
        return clean(_trace(readings, readings.temperature_c), where=readings.where)
    missing = np.isnan(readings.temperature_c)
    marks = np.where(missing, np.uint8(Flag.MISSING), np.uint8(Flag.USED))
    return Cleaning(marks, readings.channels, ())


def _log_of(path: Path, whole: LogReadings, options: ReadingOptions) -> Log:
    """Clean the readings, take the part that is meant, and put a log together."""
    part, wanted = options.part, not options.as_logged
    judged: Cleaning | None = None
    if len(whole.sections) == 1:
        judged = _clean(whole, wanted)
        cleaned_c = judged.applied(whole.temperature_c)
    else:
        sections_at = spans(whole.sections, whole.time_s.size)
        sections = [whole.cut(begin, end, "") for begin, end in sections_at]
        cleaned_c = np.concatenate([_clean(s, wanted).applied(s.temperature_c) for s in sections])
    readings = choose_part(whole, parts_of(whole, cleaned_c), None if whole.part_taken else part)
    if judged is None or readings is not whole:
        judged = _clean(readings, wanted)
        cleaned_c = judged.applied(readings.temperature_c)
    _require_short(readings)
    idle = _idle_words(readings, cleaned_c)
    return Log(
        path=path,
        name=readings.name,
        trace=_trace(readings, cleaned_c),
        raw_c=readings.temperature_c,
        cleaning=judged,
        dialect=readings.dialect,
        rows=readings.rows,
        used=int(readings.time_s.size),
        notes=(*readings.notes, *idle, *judged.notes),
        interval_s=interval_s(readings),
        setpoint_c=readings.setpoint_c,
        unusable=tuple(np.count_nonzero(np.isnan(cleaned_c), axis=0).tolist()),
    )


_IDLE_BELOW_C, _HEATS_C, _LONG_IDLE_S = 50.0, 150.0, 12 * 3600.0


def _idle_words(readings: LogReadings, cleaned_c: FloatArray) -> tuple[str, ...]:
    """Say that a logger ran for long before the firing: times since the start begin with it."""
    hot = np.flatnonzero((cleaned_c > _HEATS_C).any(axis=1))
    before = cleaned_c[: int(hot[0]) if hot.size else 0]
    cold = np.flatnonzero((before <= _IDLE_BELOW_C).all(axis=1))
    if not cold.size:
        return ()
    last = int(cold[-1])
    idle_s = float(readings.time_s[last] - readings.time_s[0])
    if idle_s < _LONG_IDLE_S:
        return ()
    return (
        f"the kiln stands cold for {format_duration(idle_s)} before it heats, until "
        f"{readings.where(last)}; times since the start count that wait",
    )


def _require_short(readings: LogReadings) -> None:
    """Refuse readings over a time that no firing and no logger lasts."""
    time_s = readings.time_s
    days = float(time_s[-1] - time_s[0]) / 86400.0
    if days > LONGEST_DAYS:
        after = int(np.argmax(np.diff(time_s)))
        raise FiringError(
            f"{readings.name}: its times run over {days:,.0f} days, and {LONGEST_DAYS} is the "
            f"most; the longest step follows {readings.where(after)}. If the clock was set there, "
            "leave out the lines on one side of it"
        )


def pick_channel(log: Log, which: str | int | None = None) -> int:
    """Return the place, from 0, of the channel of a name or number from 1, or of the kiln.

    With none given: the channel whose name is that of the kiln or its controller, else the first
    with the most usable readings.  `FiringError` if there is no such channel.
    """
    channels = log.trace.channels
    if which is None:
        warm = _warm_channels(log)
        named = [index for index in warm if vocabulary.names_kiln(channels[index])]
        extremes = {index for index in warm if _EXTREME.search(channels[index])}
        # "Kiln 2" stands beside the "Kiln" itself
        seconds = {n for n in warm if any(channels[n].startswith(f"{channels[m]} ") for m in warm)}
        return (
            min(named, key=lambda index: index in seconds)
            if named
            else min(
                warm,
                key=lambda index: (index in extremes, index in seconds, log.unusable[index]),
            )
        )
    wanted = str(which).strip()
    written = {column.name: column.written.casefold() for column in log.dialect.channel_columns}
    for index, name in enumerate(channels):
        if wanted.casefold() in (name.casefold(), written.get(name, "")):
            return index
    if wanted.isdecimal() and 1 <= int(wanted) <= len(channels):
        return int(wanted) - 1
    listed = ", ".join(f"{index} ({name})" for index, name in enumerate(channels, start=1))
    raise FiringError(f'{log.name} has no channel "{printable(wanted)}"; its channels are {listed}')


_MOST_UNUSABLE, _OFFERED = 0.2, 3
_FAR_APART_C = 100.0  # more than top and bottom of one kiln differ


def _doubted_channel(log: Log, chosen: int) -> str:
    """Return the words for a channel that may be the kiln's as well as the chosen one, if any."""
    channels = log.trace.channels
    warm = _warm_channels(log)
    if [n for n in warm if vocabulary.names_kiln(channels[n])] == [chosen]:
        return ""
    peaks_c = {n: float(np.nanmax(log.trace.temperature_c[:, n])) for n in warm}
    if chosen not in peaks_c:
        return ""
    written = {column.name: column.written for column in log.dialect.channel_columns}
    # what falls from the heat to nothing at once is no thermocouple
    most = _MOST_UNUSABLE * log.used
    others = [channels[n] for n in warm if n != chosen and log.unusable[n] <= most]
    if others and vocabulary.role(written.get(channels[chosen], "")) == "unknown":
        named = [one if re.fullmatch(r"[\w.]+", one) else f'"{one}"' for one in others[:_OFFERED]]
        return (
            f"{channels[chosen]} is taken for the kiln, as no name says which channel is; say "
            f"--channel {' or --channel '.join(named)} for "
            f"{'that one' if len(named) == 1 else 'another'}"
        )
    for index, peak_c in peaks_c.items():
        if abs(peak_c - peaks_c[chosen]) > _FAR_APART_C and not _EXTREME.search(channels[index]):
            return (
                f"{channels[chosen]} is taken for the kiln and reaches {peaks_c[chosen]:.0f} °C; "
                f"{channels[index]} reaches {peak_c:.0f} °C; say --channel with its name if it "
                "is the kiln"
            )
    return ""


_EXTREME = re.compile(r"\b(?:min|max|minimum|maximum|lowest|highest)\b", re.I)
_WARM_SHARE, _FIRED_C = 0.35, 200.0


def _warm_channels(log: Log) -> list[int]:
    """Return the channels that can be the kiln's: in a firing no room, board or dead input is."""
    peaks_c = []
    for values in log.trace.temperature_c.T:
        known = values[np.isfinite(values)]
        peaks_c.append(quantile(known, 0.99) if known.size else -np.inf)
    most_c = max(peaks_c)
    if most_c < _FIRED_C:
        return [index for index, peak_c in enumerate(peaks_c) if np.isfinite(peak_c)] or [0]
    return [index for index, peak_c in enumerate(peaks_c) if peak_c >= _WARM_SHARE * most_c]


def describe_channel(log: Log, index: int, which: str | int | None = None) -> str:
    """Return a sentence saying which channel `pick_channel` took and why."""
    channels = log.trace.channels
    taken = f'channel {index + 1} "{channels[index]}"'
    if len(channels) == 1:
        return f"the kiln's temperature is {taken}, the only one"
    others = ", ".join(
        f"{place + 1} ({name})" for place, name in enumerate(channels) if place != index
    )
    if which is not None:
        return f"the kiln's temperature is {taken}, as asked; the others are {others}"
    if vocabulary.names_kiln(channels[index]):
        why = "by its name"
    else:
        why = "the first with the most usable readings"
    return f"the kiln's temperature is {taken}, {why}; --channel takes another: {others}"


def log_document(log: Log, index: int) -> dict[str, Any]:
    """Return how a log was read, as every command that reads one has it in its JSON."""
    return {
        "name": log.name,
        "rows": log.rows,
        "used": log.used,
        "dialect": log.dialect.to_dict(),
        "notes": list(log.notes),
        "channels": list(log.trace.channels),
        "channel": log.trace.channels[index],
        "unit": log.dialect.unit,
        "interval_s": log.interval_s,
    }


def how_read(log: Log, index: int, which: str | None) -> list[str]:
    """Return how a log was read and which channel was taken, a sentence each.

    What its cleaning held against readings is not among them: only the whole log could tell that,
    and a watch judges reading by reading.
    """
    known = log.notes[: len(log.notes) - len(log.cleaning.notes)]
    return [*known, describe_channel(log, index, which)]
