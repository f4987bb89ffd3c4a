"""The readings of one file as they stand there: before cleaning, joining and taking parts."""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt

from firing.errors import FiringError
from firing.logs.dialect import Column, Dialect
from firing.logs.options import ReadingOptions
from firing.logs.physics import hottest, set_point_of
from firing.logs.plausibility_limits import MOST_MV
from firing.logs.row_order import join_sections, ordered_rows, refuse_lost_rows
from firing.logs.row_times import RowTimes
from firing.logs.table import LogTable
from firing.logs.vocabulary import names_kiln
from firing.trace import FloatArray

RowNumbers = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class LogReadings:
    """What one file, or several joined, holds; seconds increase within each section.

    `setpoint_c` and `duty` (0 to 1) are None where they are not logged.  `lines` are those the
    readings stand on, from 1.  `sections` begin where the clock began again at zero, and at 0;
    `files` says where each file begins.  `part_taken`: already the part that was asked for.
    """

    name: str
    dialect: Dialect
    rows: int
    time_s: FloatArray
    started: datetime | None
    temperature_c: FloatArray
    channels: tuple[str, ...]
    setpoint_c: FloatArray | None
    duty: FloatArray | None
    lines: RowNumbers
    sections: tuple[int, ...]
    notes: tuple[str, ...]
    files: tuple[tuple[int, str], ...] = ()
    part_taken: bool = False

    def where(self, row: int) -> str:
        """Return words for the place of a reading: its line, and its file if there are several."""
        if len(self.files) < 2:
            return f"line {self.lines[row]}"
        name = [name for begin, name in self.files if begin <= row][-1]
        return f"{name} line {self.lines[row]}"

    def cut(self, begin: int, end: int, note: str) -> "LogReadings":
        """Return a stretch of the readings, its time counted from its first one."""
        part = slice(begin, end)
        time_s = self.time_s[part]
        started = self.started
        if started is not None:
            started = started + timedelta(seconds=float(time_s[0]))
        files = [(max(0, first - begin), name) for first, name in self.files if first < end]
        return replace(
            self,
            time_s=time_s - time_s[0],
            started=started,
            temperature_c=self.temperature_c[part],
            setpoint_c=None if self.setpoint_c is None else self.setpoint_c[part],
            duty=None if self.duty is None else self.duty[part],
            lines=self.lines[part],
            sections=(0,),
            files=tuple(files),
            notes=(*self.notes, note),
        )


_C_PER_MV = 25.0  # of a type K thermocouple, roughly: only the course counts


def read_rows(
    table: LogTable,
    times: RowTimes,
    options: ReadingOptions,
    before: tuple[str, ...],
    *,
    live: bool = False,
) -> LogReadings:
    """Read every row of a table; `before` are the notes on its text so far.

    A `live` log is not refused for rows that cannot be read: a watch has to go on.
    """
    dialect = table.dialect
    notes = [*before, *table.notes, *dialect.notes]
    junction = junction_column(table.name, dialect, options)
    # what comes later may not change how a live log's earlier rows read
    level = (
        None
        if live
        else hottest(
            [
                table.numbers(c.index, c.degrees) * (_C_PER_MV if c.unit == "mV" else 1.0)
                for c in dialect.channel_columns
            ]
        )
    )
    ordered = ordered_rows(table, times, level, options.restart_pause_s, notes)
    if not (live or options.with_gaps):
        refuse_lost_rows(table, times, ordered.rows)
    if len(ordered.sections) > 1 and options.restart_pause_s is not None:
        ordered = join_sections(ordered, options.restart_pause_s, notes)
    keep = ordered.rows
    junction_c: FloatArray = np.empty(0)
    if junction is not None:
        junction_c = table.celsius(junction)[keep]
    columns = []
    for column in dialect.channel_columns:
        if column.unit != "mV":
            columns.append(table.celsius(column)[keep])
            continue
        at_c = junction_c if junction is not None else options.junction_c
        emf_mv = table.numbers(column.index)[keep]
        columns.append(convert_emf(column, emf_mv, options, 0.0 if at_c is None else at_c, notes))
    if any(column.unit == "mV" for column in dialect.channel_columns):
        notes.append(junction_text(dialect, options, junction, junction_c))
    set_point = next(iter(dialect.of_role("set-point")), None)
    setpoint_c = None if set_point is None else table.celsius(set_point)[keep]
    duty = _duty(table, keep, notes)
    temperature_c = np.stack(columns, axis=1)
    _drop_shifted_rows(table, keep, [temperature_c, setpoint_c, duty], notes)
    _report_unusable(table, keep, temperature_c, notes)
    channels = tuple(column.name for column in dialect.channel_columns)
    if set_point is None and len(channels) > 1 and not live:
        at = set_point_of(ordered.time_s, list(temperature_c.T))
        # what is called the kiln's own is not taken from it
        if at is not None and not names_kiln(channels[at]):
            setpoint_c = temperature_c[:, at]
            notes.append(
                f"{channels[at]} is straight and another channel follows behind it, so it is read "
                f'as the set point; say --column "{channels[at]}=temperature" if it is a reading'
            )
            keep_at = [n for n in range(len(channels)) if n != at]
            temperature_c = temperature_c[:, keep_at]
            place = dialect.channel_columns[at].index
            columns_now = tuple(
                replace(c, role="set-point") if c.index == place else c for c in dialect.columns
            )
            dialect = table.dialect = replace(dialect, columns=columns_now)
            channels = tuple(channels[n] for n in keep_at)
    # the first row kept need not be the first one read
    started, begin_s = times.started, float(ordered.time_s[0])
    if started is not None:
        started += timedelta(seconds=begin_s + ordered.shift_s)
    return LogReadings(
        name=table.name,
        dialect=dialect,
        rows=table.rows,
        time_s=ordered.time_s - begin_s,
        started=started,
        temperature_c=temperature_c,
        channels=channels,
        setpoint_c=setpoint_c,
        duty=duty,
        lines=keep + dialect.first_line,
        sections=ordered.sections,
        notes=tuple(notes),
    )


def _drop_shifted_rows(
    table: LogTable,
    keep: RowNumbers,
    columns: list[FloatArray | None],
    notes: list[str],
) -> None:
    """Take no reading from rows in which nobody can tell which column a number belongs to."""
    shifted = table.shifted()
    if shifted is None or not shifted[keep].any():
        return
    bad = shifted[keep]
    for column in columns:
        if column is not None:
            column[bad] = np.nan
    row = int(keep[np.argmax(bad)])
    notes.append(
        f"{np.count_nonzero(bad)} lines have more or fewer cells than the table, and between "
        "spaces nothing shows which is missing; they are left out "
        f"(first at line {table.line(row)})"
    )


def _report_unusable(
    table: LogTable, keep: RowNumbers, temperature_c: FloatArray, notes: list[str]
) -> None:
    lost = 0
    for column, values in zip(table.dialect.channel_columns, temperature_c.T, strict=True):
        bad = np.isnan(values)
        count = int(np.count_nonzero(bad))
        lost += count == keep.size
        if count:
            row = int(keep[np.argmax(bad)])
            notes.append(
                f"{column.name}: {count} of {values.size} readings are no temperature "
                f'(the first is line {table.line(row)}: "{table.cell(row, column.index)}")'
            )
    if lost == temperature_c.shape[1]:
        listed = ", ".join(column.name for column in table.dialect.channel_columns)
        raise FiringError(f"{table.name} holds no usable temperature in {listed}")


def _duty(table: LogTable, keep: RowNumbers, notes: list[str]) -> FloatArray | None:
    """Return the logged output as a share of full power, 0 to 1."""
    column = next(iter(table.dialect.of_role("duty")), None)
    if column is None:
        return None
    values = table.numbers(column.index)[keep]
    finite = values[np.isfinite(values)]
    if not finite.size:
        return None
    percent = "%" in column.written or "percent" in column.written.casefold() or finite.max() > 1.0
    share = values / 100.0 if percent else values.copy()
    low, high = float(finite.min()), float(finite.max()) / (100.0 if percent else 1.0)
    if low < 0.0 or high > 1.0:
        notes.append(
            f"{column.name} runs from {finite.min():g} to {finite.max():g}, which is neither a "
            "share nor a percentage of full power, and is left out"
        )
        return None
    return share


def junction_column(name: str, dialect: Dialect, options: ReadingOptions) -> Column | None:
    """Return the column of the reference junction, None where its temperature is told.

    Millivolts are refused where the type or the junction is not known.
    """
    columns = [c for c in dialect.channel_columns if c.unit == "mV"]
    if not columns:
        return None
    listed = ", ".join(c.name for c in columns)
    if options.thermocouple_type is None:
        raise FiringError(
            f"{name}: {listed} {'is' if len(columns) == 1 else 'are'} in millivolts, which mean "
            "another temperature for every type of thermocouple; say --thermocouple-type with its "
            "letter, like K or S"
        )
    if options.junction_c is not None:
        return None
    junction = next(iter(dialect.of_role("junction")), None)
    if junction is None:
        raise FiringError(
            f"{name}: {listed} {'is' if len(columns) == 1 else 'are'} in millivolts and no column "
            "holds the temperature of the reference (cold) junction, where the thermocouple meets "
            "the logger; say --junction with its temperature in °C, or --column with the name of "
            "its column and =junction"
        )
    return junction


def convert_emf(
    column: Column,
    emf_mv: FloatArray,
    options: ReadingOptions,
    junction_c: FloatArray | float,
    notes: list[str],
) -> FloatArray:
    """Return the temperatures [°C], shape (n,), that millivolts mean; NaN where they mean none."""
    from firing.thermocouple.junction import convert

    possible: npt.NDArray[np.bool_] = np.abs(emf_mv) <= MOST_MV
    found = convert(np.where(possible, emf_mv, np.nan), options.thermocouple_type or "", junction_c)
    notes += [f"{column.name}: {words}" for words in found.summary()]
    return found.temperature_c


def junction_text(
    dialect: Dialect, options: ReadingOptions, junction: Column | None, junction_c: FloatArray
) -> str:
    """Return a sentence saying how millivolts were read."""
    if junction is None:
        where = f"at {options.junction_c:g} °C as asked"
    else:
        known = junction_c[np.isfinite(junction_c)]
        span = f" ({known.min():.1f} to {known.max():.1f} °C)" if known.size else ""
        where = f"in {junction.name}{span}"
    listed = ", ".join(c.name for c in dialect.channel_columns if c.unit == "mV")
    return (
        f"{listed} read as type {options.thermocouple_type} millivolts, the reference junction "
        f"{where}"
    )
