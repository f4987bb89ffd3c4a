"""Moments, ranges, cones and sources in the words that the terminal and the pages share."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from firing.clock import after
from firing.cones.table import describe_number
from firing.forecast.opening import RANGES_HOLD
from firing.sources import load_sources
from firing.units import SECONDS_PER_MINUTE, format_duration, hours_minutes

if TYPE_CHECKING:
    from firing.forecast.result import Forecast, KilnForecast


WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
TOLD_FROM_S = 600.0
"""A heating's range that is narrower is not worth a word [s]."""
SEVERITY_WORDS = {"act": "To do", "check": "To check", "note": "To know"}


@dataclass(frozen=True, slots=True)
class Timekeeper:
    """Turns seconds after the start into what a person reads on a clock, or a stopwatch."""

    started: datetime | None
    """The moment of second 0, with its zone; None if nobody said when."""
    last_s: float
    """The last moment spoken of [s]: it decides whether weekdays are needed."""

    def at(self, after_s: float) -> str:
        """Return the clock time, with the weekday if the firing crosses midnight, else hours."""
        if self.started is None:
            return format_duration(after_s)
        moment = self._minute(after_s)
        days = (after(self.started, self.last_s).date() - self.first.date()).days
        if days == 0:
            return f"{moment:%H:%M}"
        if days <= 5:
            return f"{WEEKDAYS[moment.weekday()]} {moment:%H:%M}"
        return (
            f"{WEEKDAYS[moment.weekday()]} {moment.day} {_MONTHS[moment.month - 1]} {moment:%H:%M}"
        )

    def _minute(self, after_s: float) -> datetime:
        """Return the minute that a moment is nearest to, as durations are rounded too."""
        assert self.started is not None
        return after(self.started, after_s + SECONDS_PER_MINUTE / 2.0).replace(second=0)

    @property
    def first(self) -> datetime:
        """The start on the clock."""
        assert self.started is not None
        return after(self.started, 0.0)

    def when(self, after_s: float, *, about: bool = False) -> str:
        """Return the moment as part of a sentence: ``on Tue at 11:40`` or ``after 18 h 40 min``."""
        rough = "about " if about else ""
        if self.started is None:
            return f"after {rough}{self.at(after_s)}"
        day, _, minute = self.at(after_s).rpartition(" ")
        return f"on {day} at {rough}{minute}" if day else f"at {rough}{minute}"

    def date_words(self, after_s: float) -> str:
        """Return the whole date and the time; empty if no start is known."""
        if self.started is None:
            return ""
        moment = self._minute(after_s)
        day = f"{WEEKDAYS[moment.weekday()]} {moment.day} {_MONTHS[moment.month - 1]} {moment.year}"
        return f"{day} at {moment:%H:%M}"

    def start_words(self) -> str:
        """Return the whole date of the start, or that none was given."""
        if self.started is None:
            return "no start given: times count from the start"
        return f"starts {self.date_words(0.0)}"


def forecast_times(forecast: Forecast) -> Timekeeper:
    """Return the clock of a forecast, up to the latest opening."""
    return Timekeeper(forecast.started, max(forecast.total_high_s, forecast.program_s))


def opening_range(forecast: Forecast, *, again: bool = False) -> str:
    """Return the earliest and latest opening in brackets; empty where the cooling is none.

    In a kiln it says what share of firings the range holds, once in a document: not `again`.
    """
    if forecast.total_high_s - forecast.total_low_s < SECONDS_PER_MINUTE:
        return ""
    keeper = forecast_times(forecast)
    level = "" if forecast.kiln is None or again else f", {RANGES_HOLD}"
    return f" ({keeper.at(forecast.total_low_s)} to {keeper.at(forecast.total_high_s)}{level})"


def heating_range(forecast: Forecast) -> str:
    """Return the shortest and longest heating in brackets; empty where the program sets it."""
    if forecast.kiln is None or forecast.kiln.stalled:
        return ""
    low_s, high_s = forecast.kiln.ranges.heating_s
    if high_s - low_s < TOLD_FROM_S:
        return ""
    return f" ({hours_minutes(low_s)} to {hours_minutes(high_s)} h)"


def heating_end_range(forecast: Forecast) -> str:
    """Return when the heating ends at the earliest and latest in brackets; see `heating_range`."""
    if forecast.kiln is None or not heating_range(forecast):
        return ""
    keeper = forecast_times(forecast)
    low_s, high_s = forecast.kiln.ranges.heating_s
    return f" ({keeper.at(low_s)} to {keeper.at(high_s)})"


def energy_range(kiln: KilnForecast) -> str:
    """Return the least and most energy in brackets [kWh]; empty in a kiln that stalls."""
    low, high = kiln.ranges.energy_kwh
    return "" if kiln.stalled else f" ({low:.0f} to {high:.0f})"


def cost_range(kiln: KilnForecast) -> str:
    """Return the least and highest cost in brackets; empty without a cost."""
    amounts = kiln.cost_range
    return "" if amounts is None or kiln.stalled else f" ({amounts.low:.2f} to {amounts.high:.2f})"


def minutes_between(durations_s: Iterable[float | None]) -> list[float | None]:
    """Return durations one after another, each between moments that are rounded to the minute [s].

    Printed as h:mm they add up to their sum, and agree with the clock times of their ends.
    """
    end_s = printed_s = 0.0
    found: list[float | None] = []
    for duration_s in durations_s:
        if duration_s is None:
            found.append(None)
            continue
        end_s += duration_s
        now_s = SECONDS_PER_MINUTE * round(end_s / SECONDS_PER_MINUTE)
        found.append(now_s - printed_s)
        printed_s = now_s
    return found


CONES_MEANT = "self-supporting regular cones, maker's chart of 1996"
CONE_SOURCES = ("cone-chart-1996", "cone-model")


def cone_or_none(number: float | None) -> str:
    """Return a running cone number in words; ``none`` where no cone is down."""
    return "none" if number is None else describe_number(number)


def source_ids(fields: Iterable[str]) -> list[str]:
    """Return the ids in fields that may name several sources, apart by commas."""
    return [name.strip() for field in fields for name in field.split(",") if name.strip()]


def citations(ids: Iterable[str]) -> list[tuple[str, str]]:
    """Return (id, sentence) of each distinct source, in order; an unknown one is its own words."""
    known = load_sources()
    found: dict[str, str] = {}
    for name in ids:
        if name and name not in found:
            found[name] = known[name].sentence() if name in known else name
    return list(found.items())


def sentence(words: str) -> str:
    """Return `words` with a capital first letter, the rest as it is."""
    return words[:1].upper() + words[1:]


_SENTENCE_END = re.compile(r"(?<=[a-z0-9)°CF%][.!?]) (?=[A-Z])")


def first_sentence(words: str) -> str:
    """Return the first sentence of a text, with its full stop."""
    return closed(_SENTENCE_END.split(words.strip(), maxsplit=1)[0])


def closed(words: str) -> str:
    """Return `words` with a full stop, unless they end in a mark of their own."""
    return words if words.endswith((".", "!", "?")) else f"{words}."
