"""Reading a log: find its dialect, read its table, and say what was marked or left out."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from firing.errors import FiringError
from firing.logs.detection import detect_text
from firing.logs.dialect import Dialect, Overrides
from firing.logs.table import ReadingTable, usable_rows
from firing.logs.text import clean_text, neutral
from firing.logs.times import DateOrder
from firing.logs.values import Decimal
from firing.logs.words import TimeUnit
from firing.trace import FloatArray, Trace
from firing.units import TemperatureUnit

_TYPE_K_LIMIT_C = 1372.0  # end of the type K reference table, NIST SRD 60 / IEC 60584-1


@dataclass(frozen=True, eq=False)
class Log:
    """One log as read.

    Attributes
    ----------
    path : Path
        The file.
    trace : Trace
        All temperature channels, `kind` "measured"; a reading that is no number is NaN.
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
        Readings of each channel that are no temperature.
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

    @property
    def name(self) -> str:
        """The file's name, harmless to show."""
        return neutral(self.path.name)


def read_log(
    path: Path | str,
    *,
    unit: TemperatureUnit | None = None,
    time_unit: TimeUnit | None = None,
    date_order: DateOrder | None = None,
    delimiter: str | None = None,
    decimal: Decimal | None = None,
    encoding: str | None = None,
) -> Log:
    """Read the log of a firing.

    Parameters
    ----------
    path : Path or str
        A text file: one reading a line, a time and one or more temperatures.
    unit : {"C", "F"}, optional
        Unit of all temperatures, instead of the one stated in the file.
    time_unit : {"ms", "s", "min", "h", "d"}, optional
        Unit of times written as bare numbers.
    date_order : {"dmy", "mdy", "ymd"}, optional
        Order of day and month.
    delimiter, decimal, encoding : str, optional
        Marks and codec, instead of those found.

    Returns
    -------
    Log
        Times count from the first reading; wall-clock times without a zone are local ones.

    Raises
    ------
    FiringError
        If the file cannot be read as a log, in one sentence.
    """
    path = Path(path)
    name = neutral(path.name)
    text = clean_text(_bytes_of(path, name), name=name, encoding=encoding)
    overrides = Overrides(unit, time_unit, date_order, delimiter, decimal, encoding)
    dialect = detect_text(text.body, text.encoding, overrides=overrides, name=name)
    table = ReadingTable(name, text.body, dialect)
    notes = [*text.notes, *table.notes, *dialect.notes]
    time_s, started = table.times(notes)
    keep = usable_rows(table, time_s, notes)
    kept_s = time_s[keep]
    columns = [table.celsius(column)[keep] for column in dialect.channel_columns]
    temperature_c = np.stack(columns, axis=1)
    unusable = _report_unusable(table, keep, temperature_c, notes)
    _suspect_fahrenheit(dialect, temperature_c, notes)
    set_point = next(iter(dialect.of_role("set-point")), None)
    trace = Trace(
        time_s=kept_s - kept_s[0],
        temperature_c=temperature_c,
        channels=tuple(column.name for column in dialect.channel_columns),
        kind="measured",
        duty=_duty(table, keep, notes),
        started=started,
    )
    return Log(
        path=path,
        trace=trace,
        dialect=dialect,
        rows=table.rows,
        used=int(kept_s.size),
        notes=tuple(notes),
        interval_s=float(np.median(np.diff(kept_s))),
        setpoint_c=None if set_point is None else table.celsius(set_point)[keep],
        unusable=unusable,
    )


def _bytes_of(path: Path, name: str) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError as fault:
        raise FiringError(f"{neutral(str(path), longest=200)} does not exist") from fault
    except IsADirectoryError as fault:
        raise FiringError(f"{name} is a directory; give the log file in it") from fault
    except OSError as fault:
        raise FiringError(f"{name} cannot be read: {fault.strerror}") from fault


def _report_unusable(
    table: ReadingTable, keep: npt.NDArray[np.intp], temperature_c: FloatArray, notes: list[str]
) -> tuple[int, ...]:
    counts: list[int] = []
    for column, values in zip(table.dialect.channel_columns, temperature_c.T, strict=True):
        bad = np.isnan(values)
        count = int(np.count_nonzero(bad))
        counts.append(count)
        if count:
            row = int(keep[np.argmax(bad)])
            notes.append(
                f"{column.name}: {count} of {values.size} readings are no temperature "
                f'(the first is line {table.line(row)}: "{table.cell(row, column.index)}")'
            )
    if all(count == keep.size for count in counts):
        listed = ", ".join(column.name for column in table.dialect.channel_columns)
        raise FiringError(f"{table.name} holds no usable temperature in {listed}")
    return tuple(counts)


def _suspect_fahrenheit(dialect: Dialect, temperature_c: FloatArray, notes: list[str]) -> None:
    highest = float(np.nanmax(temperature_c))
    if dialect.unit_from == "assumed" and highest > _TYPE_K_LIMIT_C:
        notes.append(
            f"the highest reading is {highest:.0f}, above the {_TYPE_K_LIMIT_C:.0f} °C where a "
            "type K thermocouple ends; if the log is in °F, say --unit F"
        )


def _duty(table: ReadingTable, keep: npt.NDArray[np.intp], notes: list[str]) -> FloatArray | None:
    """Return the logged output as a share of full power, 0 to 1."""
    column = next(iter(table.dialect.of_role("duty")), None)
    if column is None:
        return None
    values = table.numbers(column.index)[keep]
    finite = values[np.isfinite(values)]
    if not finite.size:
        return None
    percent = "%" in column.written or "percent" in column.written.casefold() or finite.max() > 1.0
    share = values / 100.0 if percent else values
    low, high = float(finite.min()), float(finite.max()) / (100.0 if percent else 1.0)
    if low < 0.0 or high > 1.0:
        notes.append(
            f"{column.name} runs from {finite.min():g} to {finite.max():g}, which is neither a "
            "share nor a percentage of full power, and is left out"
        )
        return None
    return share
