"""The tariff file: its schema, and how it is read with every fault at once."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, ValidationInfo, WithJsonSchema

from firing.errors import FiringError
from firing.files.ready import read_named
from firing.files.tomlfile import Fault, FaultyFile, KeyPath, clean, read_table, read_text
from firing.kiln.tariff import DAYS, EVERY_DAY, MINUTES_PER_DAY, Period, Tariff

_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)|24:00")


def parse_clock_min(text: str) -> int:
    """Return minutes after midnight of ``07:00``; ``24:00`` is the end of the day.

    Raises
    ------
    FiringError
        If it is not a time of day.
    """
    match = _CLOCK.fullmatch(text.strip())
    if match is None:
        raise FiringError(f'"{clean(text)}" is not a time of day; write "07:00" (24-hour clock)')
    return MINUTES_PER_DAY if match[1] is None else 60 * int(match[1]) + int(match[2])


def parse_days(text: str) -> frozenset[int]:
    """Return the days of ``mon-fri``, ``sat, sun`` or ``fri-mon``, 0 for Monday.

    Raises
    ------
    FiringError
        If a day is not known.
    """
    found: set[int] = set()
    for part in text.lower().split(","):
        ends = [end.strip() for end in part.split("-")]
        wrong = [end for end in ends if end not in DAYS]
        if wrong or len(ends) > 2:
            raise FiringError(
                f'"{clean(text)}" is not a set of days; write "mon-fri" or "sat, sun", with '
                f"{', '.join(DAYS)}"
            )
        first, last = DAYS.index(ends[0]), DAYS.index(ends[-1])
        found.update((first + i) % 7 for i in range((last - first) % 7 + 1))
    return frozenset(found)


def _text(value: Any, example: str) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{clean(str(value))} stands where text in quotes is wanted; {example}")
    return value


def _clock(value: Any, info: ValidationInfo) -> str:
    text = _text(value, 'write "07:00"')
    try:
        parse_clock_min(text)
    except FiringError as error:
        raise ValueError(str(error)) from None
    return text


def _days(value: Any) -> str:
    text = _text(value, 'write "mon-fri"')
    try:
        parse_days(text)
    except FiringError as error:
        raise ValueError(str(error)) from None
    return text


def _currency(value: Any) -> str:
    text = _text(value, 'write currency = "EUR"')
    if not 1 <= len(text) <= 8 or clean(text) != text:
        raise ValueError('must have 1 to 8 characters; write a short name like "EUR"')
    return text


Clock = Annotated[str, PlainValidator(_clock), WithJsonSchema({"type": "string"})]
Days = Annotated[str, PlainValidator(_days), WithJsonSchema({"type": "string"})]
Currency = Annotated[str, PlainValidator(_currency), WithJsonSchema({"type": "string"})]


class PeriodTable(BaseModel):
    """One ``[[period]]`` of a tariff file."""

    model_config = ConfigDict(extra="forbid", strict=True, populate_by_name=True)

    days: Days = Field("mon-sun", description='days it begins on: "mon-fri", "sat, sun"')
    from_: Clock = Field("00:00", alias="from", description='from when, like "07:00"')
    to: Clock = Field("24:00", description="until when; before `from` it runs past midnight")
    price_per_kwh: float = Field(
        ge=0,
        le=1000,
        allow_inf_nan=False,
        description="price of a kWh",
        json_schema_extra={"example": "price_per_kwh = 0.34", "unit": "a kWh"},
    )


class TariffTable(BaseModel):
    """A tariff file."""

    model_config = ConfigDict(extra="forbid", strict=True, title="Electricity tariff")

    currency: Currency = Field(
        description="name of the currency", json_schema_extra={"example": 'currency = "EUR"'}
    )
    period: list[PeriodTable] = Field(
        min_length=1,
        max_length=100,
        description="prices; the first that holds counts, the last may leave out days and hours",
        json_schema_extra={"example": "a table [[period]] with price_per_kwh"},
    )


def _across(table: TariffTable) -> list[tuple[KeyPath, str]]:
    """Return which periods have no length."""
    return [
        (
            ("period", index, "to"),
            f"begins and ends at {entry.to}; leave both out for the whole day",
        )
        for index, entry in enumerate(table.period)
        if parse_clock_min(entry.from_) == parse_clock_min(entry.to)
    ]


def parse_tariff(text: str, name: str = "tariff") -> Tariff:
    """Read a tariff from TOML text.

    Parameters
    ----------
    text : str
        The file's text.
    name : str
        What faults call the file.

    Raises
    ------
    FaultyFile
        With every fault of the file; or naming the first hour of the week without a price.
    """
    table = read_table(text, name, TariffTable, _across)
    periods = []
    for entry in table.period:
        days = EVERY_DAY if entry.days == "mon-sun" else parse_days(entry.days)
        first, last = parse_clock_min(entry.from_), parse_clock_min(entry.to)
        periods.append(Period(entry.price_per_kwh, days, first, last))
    tariff = Tariff(table.currency, tuple(periods))
    try:
        for weekday in range(7):
            for minute in range(MINUTES_PER_DAY):
                tariff.price_at(weekday, minute)
    except FiringError as error:
        raise FaultyFile([Fault(name, None, "period", str(error))]) from None
    return tariff


def read_tariff(path: Path) -> Tariff:
    """Read a tariff file; see `parse_tariff`."""
    return parse_tariff(read_text(path), str(path))


def open_tariff(name: str) -> Tariff:
    """Read a tariff file, or the example tariff."""
    return read_named(name, parse_tariff, read_tariff)


__all__ = [
    "TariffTable",
    "open_tariff",
    "parse_clock_min",
    "parse_days",
    "parse_tariff",
    "read_tariff",
]
