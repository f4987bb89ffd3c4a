"""The tariff file: its schema, and how it is read with every fault at once."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, ValidationInfo, WithJsonSchema

from firing.errors import FiringError
from firing.files.kinds import FileKind, WrongKeys
from firing.files.tomlfile import clean, file_key, number
from firing.kiln.tariff import DAYS, EVERY_DAY, MINUTES_PER_DAY, Period, Tariff
from firing.units import TemperatureUnit

_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)|24:00")


def parse_clock_min(text: str) -> int:
    """Return minutes after midnight of ``07:00``; ``24:00`` is the end of the day."""
    match = _CLOCK.fullmatch(text.strip())
    if match is None:
        raise FiringError(f'"{clean(text)}" is not a time of day; write "07:00" (24-hour clock)')
    return MINUTES_PER_DAY if match[1] is None else 60 * int(match[1]) + int(match[2])


def parse_days(text: str) -> frozenset[int]:
    """Return the days of ``mon-fri``, ``sat, sun`` or ``fri-mon``, 0 for Monday."""
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
        raise ValueError(f"{clean(str(value))} stands where text in quotes belongs; {example}")
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
    price_per_kwh: float = number("price of a kWh", "price_per_kwh = 0.34", "a kWh", ge=0, le=1000)


class TariffTable(BaseModel):
    """A tariff file."""

    model_config = ConfigDict(extra="forbid", strict=True, title="Electricity tariff")

    currency: Currency = file_key("name of the currency", 'currency = "EUR"')
    period: list[PeriodTable] = file_key(
        "prices; the first that holds counts, the last may leave out days and hours",
        "a table [[period]] with price_per_kwh",
        min_length=1,
        max_length=100,
    )


def _tariff(table: TariffTable) -> Tariff:
    empty = [
        (index, entry)
        for index, entry in enumerate(table.period)
        if parse_clock_min(entry.from_) == parse_clock_min(entry.to)
    ]
    if empty:
        raise WrongKeys(
            *(
                (
                    ("period", index, "to"),
                    f"begins and ends at {entry.to}; leave both out for the whole day",
                )
                for index, entry in empty
            )
        )
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
        # Of the week as a whole, so at no line.
        raise WrongKeys(((), f"period: {error}")) from None
    return tariff


def _described(tariff: Tariff, _: TemperatureUnit) -> list[str]:
    prices = sorted({period.price_per_kwh for period in tariff.periods})
    span = f"{prices[0]:g}" if len(prices) == 1 else f"{prices[0]:g} to {prices[-1]:g}"
    return [f"{tariff.currency} {span} per kWh"]


TARIFF_FILE = FileKind("tariff", lambda: TariffTable, _tariff, describe=_described)
parse_tariff, open_tariff = TARIFF_FILE.parse, TARIFF_FILE.open
