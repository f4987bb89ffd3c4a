"""Channels logged in millivolts: what is needed to read them as temperatures, and the reading."""

import numpy as np
import numpy.typing as npt

from firing.errors import FiringError
from firing.logs.dialect import Column, Dialect
from firing.logs.options import ReadingOptions
from firing.logs.plausibility_limits import MOST_MV
from firing.trace import FloatArray


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
