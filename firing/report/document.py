"""A report as data: what it says, part by part, on a terminal and on a page alike.

A builder makes a report of a result, and a renderer shows it and knows of nothing else.  Its texts
are raw: the renderers make them safe for where they go.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from firing.units import TemperatureUnit, in_unit

if TYPE_CHECKING:
    from firing.report.charts.figure import Drawing
    from firing.report.charts.text_chart import ChartSeries
    from firing.trace import FloatArray

Medium = Literal["text", "page"]


@dataclass(frozen=True, slots=True, eq=False)
class Paragraph:
    """Running text; `kind` is how prominent it is: words under others are indented as text."""

    words: str
    kind: Literal["", "quiet", "deference", "under"] = ""


@dataclass(frozen=True, slots=True, eq=False)
class Bullets:
    """A list, an item a point."""

    items: Sequence[str]


@dataclass(frozen=True, slots=True, eq=False)
class Numbered:
    """Steps in the order they are taken."""

    steps: Sequence[str]


@dataclass(frozen=True, slots=True, eq=False)
class Tile:
    """One figure to see first: what it is, the figure, and what it is set against."""

    label: str
    figure: str
    beside: str = ""
    good: bool | None = None
    """Whether it is as it should be; None where nothing can be said."""


@dataclass(frozen=True, slots=True, eq=False)
class Tiles:
    """The figures a page begins with; text has sentences instead."""

    tiles: Sequence[Tile]


@dataclass(frozen=True, slots=True, eq=False)
class Figures:
    """Figures with what they rest on, a line each."""

    lines: Sequence[str]


@dataclass(frozen=True, slots=True, eq=False)
class Flagged:
    """Something found: how much it matters, what to read, and the ids of its sources."""

    severity: str
    words: str
    sources: Sequence[str]


@dataclass(frozen=True, slots=True, eq=False)
class FlaggedList:
    """What was found, the most pressing first; an empty one says that there is nothing."""

    items: Sequence[Flagged]


@dataclass(frozen=True, slots=True, eq=False)
class Sources:
    """Where the figures come from: the ids of sources, each cited once, in the report's unit."""

    ids: Sequence[str]
    unit: TemperatureUnit = "C"


@dataclass(frozen=True, slots=True, eq=False)
class FillIn:
    """Labels with room behind them, to write on once it is printed; nothing as text."""

    labels: Sequence[str]


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """Rows under headers; the first column heads its row."""

    headers: Sequence[str]
    align: str
    """A letter a column: ``l`` for text, ``r`` for numbers, ``t`` for boxes to tick."""
    rows: Sequence[Sequence[str]]
    caption: str = ""
    """What it says; the page shows it."""
    bars: Sequence[float] = ()
    """A share from -1 to 1 a row, drawn as a bar where no drawing shows it: as text."""
    large: range = range(0)
    """Columns that a page sets large, to be read from a distance."""


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """Temperatures over time: `series` as text, and the drawing that `draw` makes for the page.

    Either may be missing.  The drawing is only made where it is shown.
    """

    draw: Callable[[], Drawing | None]
    series: Sequence[ChartSeries] = ()
    unit: TemperatureUnit = "C"
    started: datetime | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Panel:
    """One of many small drawings: dots from left to right, and a level they are set against."""

    label: str
    values: FloatArray
    beside: str
    off: bool = False
    """Whether it is one to look at."""


@dataclass(frozen=True, slots=True, eq=False)
class Panels:
    """Small drawings of one kind on one scale, for the page; text has a table of the same."""

    panels: Sequence[Panel]
    level: float
    caption: str
    scale: Sequence[str]
    """What the lowest and the highest place of a panel stand for."""
    span: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """Parts under a heading; left out whole where none of them has anything to show."""

    heading: str
    """Empty to set the parts off without one."""
    parts: Sequence[Block | None]
    anchor: str = ""
    """Id of the heading on the page; made of the heading if empty."""
    heading_on: Medium | None = None
    """Where the heading is shown, if not on both."""
    folded: bool = False
    """Whether a page shows its heading alone until it is asked for, and paper leaves it out."""

    def titled(self, medium: Medium) -> bool:
        """Return whether the heading is shown there."""
        return bool(self.heading) and self.heading_on in (None, medium)


@dataclass(frozen=True, slots=True, eq=False)
class Only:
    """Parts for one medium: a page has room for more, and may order it otherwise."""

    medium: Medium
    parts: Sequence[Block | None]


Block = (
    Paragraph
    | Bullets
    | Numbered
    | Tiles
    | Figures
    | FlaggedList
    | Sources
    | FillIn
    | Table
    | Chart
    | Panels
    | Section
    | Only
)


@dataclass(frozen=True, slots=True, eq=False)
class Report:
    """One report: what it is (``Review``), what it is about, and what it says, in order."""

    name: str
    title: str
    """Text without one begins with its first part."""
    parts: Sequence[Block | None]
    subject: str = ""
    """The name in full, above the page's title."""
    when: str = ""
    """The moment it counts from."""
    answer: Sequence[str] = ()
    """What it comes to, told first."""
    brief: Sequence[Block | None] = ()
    """The short form of it for a terminal, answer included; empty where it is short anyway."""
    sheet: bool = False
    """Whether the page is one sheet to print."""
    unit: TemperatureUnit = "C"
    """The unit it speaks: with °F go inches, pounds and cubic feet."""

    @property
    def heading(self) -> str:
        """Name and title, as far as there are any."""
        return ": ".join(words for words in (self.name, self.title) if words)


def in_its_unit(report: Report) -> Report:
    """Return a report whose every sentence speaks its unit.

    Tables and charts are built in it already; sentences of the rooms below are written in °C, mm
    and kg.
    """
    if report.unit == "C":
        return report
    unit = report.unit
    answer = [in_unit(words, unit) for words in report.answer]
    return replace(
        report,
        title=in_unit(report.title, unit),
        answer=answer,
        parts=[None if part is None else _spoken(part, unit) for part in report.parts],
        brief=[None if part is None else _spoken(part, unit) for part in report.brief],
    )


def _spoken(part: Block, unit: TemperatureUnit) -> Block:
    match part:
        case Paragraph():
            return replace(part, words=in_unit(part.words, unit))
        case Bullets():
            return replace(part, items=[in_unit(words, unit) for words in part.items])
        case Numbered():
            return replace(part, steps=[in_unit(words, unit) for words in part.steps])
        case Figures():
            return replace(part, lines=[in_unit(words, unit) for words in part.lines])
        case FlaggedList():
            told = [replace(item, words=in_unit(item.words, unit)) for item in part.items]
            return replace(part, items=told)
        case Sources():
            return replace(part, unit=unit)
        case Section() | Only():
            inner = [None if one is None else _spoken(one, unit) for one in part.parts]
            return replace(part, parts=inner)
        case _:
            return part


def on_text(*parts: Block | None) -> Only:
    """Return parts for text alone."""
    return Only("text", parts)


def on_page(*parts: Block | None) -> Only:
    """Return parts for the page alone."""
    return Only("page", parts)


def shown(parts: Sequence[Block | None], medium: Medium) -> Iterator[Block]:
    """Yield what is meant for a medium, in order."""
    for part in parts:
        if isinstance(part, Only):
            if part.medium == medium:
                yield from shown(part.parts, medium)
        elif part is not None:
            yield part
