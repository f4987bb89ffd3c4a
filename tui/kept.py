"""The logbook on the screens: what is put into it, what is looked for, and a firing as a line."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from firing.errors import FiringError
from firing.logbook.record import Entry, Filter, Firing
from firing.logbook.store import Logbook
from firing.report.charts.text_chart import ChartSeries
from firing.report.logbook import energy_words, sparkline
from firing.report.words import Timekeeper
from firing.units import TemperatureUnit, format_duration, format_temperature, hours_minutes

from .fields import Field, optional
from .plot_lines import FORECAST, PlotLines
from .review_entries import ReviewEntry

if TYPE_CHECKING:
    from firing.logbook.keeping import KeptLog, Shelf
    from firing.schedule.schedule import Schedule

    from .equipment import Equipment
    from .session import LogChoice

SHOWN = 200
"""So many of the newest are listed; a word finds the others."""
_POINTS = 8


def keep_fields() -> list[Field]:
    """Return what may be said of a firing when it is kept."""
    return [
        Field(
            "notes", "Note", "What is worth finding again; empty for none.", _parts("\n"), lines=3
        ),
        Field(
            "witnesses",
            "Witness cones",
            "As they were found, like 6=3:00@top, 7=standing; empty for none.",
            _witnesses,
        ),
        Field("kwh", "kWh", "What the meter counted; empty if nobody read it.", optional(_amount)),
        Field("member", "For", "Who fired, or for whom; may be empty.", str.strip),
    ]


def _parts(between: str) -> Callable[[str], tuple[str, ...]]:
    def read(text: str) -> tuple[str, ...]:
        return tuple(part.strip() for part in text.split(between) if part.strip())

    return read


def _witnesses(text: str) -> tuple[str, ...]:
    from firing.review.witness import parse_witness

    told = _parts(",")(text)
    for one in told:
        parse_witness(one)
    return told


def _amount(text: str) -> float:
    try:
        amount = float(text.replace(",", ".").lower().removesuffix("kwh"))
    except ValueError:
        raise FiringError(f'"{text}" is no amount; write 38.5') from None
    if not 0.0 <= amount < 1e6:
        raise FiringError(f'"{text}" is no amount of a firing; write 38.5')
    return amount


def keep(
    schedule: Schedule, equipment: Equipment, choice: LogChoice, said: Mapping[str, Any]
) -> KeptLog:
    """Keep a log with the open plan and what it is fired with, as the screens have them.

    Raises `FiringError` if it cannot be kept; the sentence says why.
    """
    from firing.logbook.keeping import keep_logs, paper

    entry = Entry(
        "", b"", reading=choice.reading.given(), channel=choice.channel or "", **said
    )  # fmt: skip
    if equipment.load is not None:
        within = paper("load", equipment.load.name)
        entry = replace(entry, load=within.name, load_text=within.text)
    tariff = None if equipment.tariff is None else equipment.tariff.value
    with Logbook.open() as book:
        shelf = _shelf(book, schedule, equipment)
        found, *_ = keep_logs(book, [choice.path], shelf, entry, tariff=tariff)
        if found.state == "refused" or found.id is None:
            raise FiringError(found.why)
    return found


def _shelf(book: Logbook, schedule: Schedule, equipment: Equipment) -> Shelf:
    from firing.logbook.keeping import Paper, Shelf, paper
    from firing.schedule.file import schedule_text

    kilns = {name: Paper(name, text) for name, text in book.kilns().items()}
    if equipment.kiln is not None:
        kilns = {equipment.kiln.value.name: paper("kiln", equipment.kiln.name)}
    return Shelf({schedule.title: Paper(schedule.title, schedule_text(schedule))}, kilns)


def kept_words(found: KeptLog) -> str:
    """Return what became of a log that was kept."""
    was = {"known": "It is in the logbook already", "grown": "Kept again, longer than before"}
    kiln = f", kiln {found.kiln}" if found.kiln else ""
    added = f" Added to it: {', '.join(found.added)}." if found.added else ""
    return f"{was.get(found.state, 'Kept')}: firing {found.id}, {found.plan}{kiln}.{added}"


_CONE = re.compile(r"\bcone\s+(\S+)", re.I)
_LATE = re.compile(r"\blate\b", re.I)


def asked(text: str) -> Filter:
    """Return what is looked for: words, months, ``late``, and ``cone 6``."""
    cone = _CONE.search(text)
    rest = _LATE.sub("", _CONE.sub("", text))
    return Filter(cone=cone[1] if cone else "", late=bool(_LATE.search(text)), words=rest.strip())


@dataclass(frozen=True, slots=True)
class FoundFirings:
    """The firings found, the newest of `total`, and how many the logbook has."""

    firings: tuple[Firing, ...]
    total: int
    every: int


def find(text: str) -> FoundFirings:
    """Look into the logbook; an empty text finds all."""
    which = asked(text)
    with Logbook.open(create=False) as book:
        return FoundFirings(book.firings(which, limit=SHOWN), book.count(which), book.count())


def firing_entries(
    firings: Sequence[Firing], marked: Collection[int], unit: TemperatureUnit
) -> list[ReviewEntry]:
    """Return a line a firing: its mark, day and plan, its course, and its hours."""
    return [
        ReviewEntry(
            f"{'*' if one.id in marked else ' '}{one.started:%y-%m-%d} {one.plan or one.log}",
            f"{sparkline(one.course_c, _POINTS)} "
            f"{hours_minutes(one.duration_s or one.heating_s):>5}",
            details=tuple(_told(one, unit)),
            cut=True,
        )
        for one in firings
    ]


def _told(one: Firing, unit: TemperatureUnit) -> Iterator[str]:
    began = f"Firing {one.id}, {one.started:%Y-%m-%d %H:%M}"
    yield f"{began}, {one.kiln or 'kiln not known'}: {one.plan or 'no plan'}."
    if one.duration_s is not None:
        late = ""
        if one.excess_s is not None:
            late = f", {format_duration(one.excess_s, signed=True)}"
            late += f": {one.cause}" if one.cause else ""
        yield f"Ran {format_duration(one.duration_s)}{late}."
    if one.peak_c is not None:
        cone = f"Reached cone {one.reached}; highest" if one.reached else "Highest"
        yield f"{cone} {format_temperature(one.peak_c, unit)}."
    for witness in one.witnesses:
        place = f" at {witness.place}" if witness.place else ""
        yield f"Cone {witness.cone} {witness.seen}{place}."
    yield from (f"Note: {line}" for line in one.notes.splitlines())
    if energy := energy_words(one):
        yield f"{energy}."
    if one.trouble:
        yield f"Its log cannot be read: {one.trouble}."


def course_lines(one: Firing, unit: TemperatureUnit) -> PlotLines | None:
    """Return a kept firing's course as it is kept, at even times; None where none is."""
    course_c = np.array(one.course_c, dtype=float)
    if course_c.size < 2:
        return None
    # The way to the peak says how long the whole of it is.
    hottest = max(int(np.argmax(course_c)), 1)
    length_s = (one.heating_s or one.duration_s or 3600.0) * (course_c.size - 1) / hottest
    time_s = np.linspace(0.0, length_s, course_c.size)
    line = ChartSeries(one.kiln or "kiln", time_s, course_c, "solid", FORECAST)
    corners = np.array([0.0, time_s[hottest], length_s])
    return PlotLines((line,), unit, Timekeeper(one.started, length_s), corners, lambda _: "")
