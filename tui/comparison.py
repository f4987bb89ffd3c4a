"""A design beside the plan it may replace: segment by segment, both curves, figures and reasons."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import inf
from typing import TYPE_CHECKING, Any

from firing.errors import FiringError
from firing.report.charts.text_chart import ChartSeries, LineStyle
from firing.report.sanitize import pad, shorten
from firing.report.words import Timekeeper, citations, forecast_times
from firing.schedule.schedule import Schedule, Segment
from firing.units import (
    TemperatureUnit,
    from_celsius,
    in_unit,
    rate_from_celsius,
    write_duration,
)

from .design_form import make, taken
from .equipment import Circumstances, forecast_plan, reread
from .key_figures import KeyFigure, key_figures
from .plot_lines import FORECAST, SET_POINT, PlotLines, rising, segment_at

if TYPE_CHECKING:
    from firing.design.result import Design
    from firing.forecast.result import Forecast


SAME, CHANGED, ADDED, GONE = "", "~", "+", "−"
"""What became of a segment."""

_ALONE = 1.0
_OTHER_RATE = _OTHER_HOLD = 0.4
_FAR_C, _FURTHEST = 60.0, 1.6
_NOT_PEAKS = 0.5

NUMBER, RATE, FREE_RATE, TARGET, HOLD = 2, 6, 10, 7, 8
"""Widths of the columns; the third is that of rates where a ramp has none."""


@dataclass(frozen=True, slots=True)
class Pair:
    """A segment now, from 0, and the designed one that takes its place; None for neither."""

    before: int | None
    after: int | None


def paired(before: Schedule, after: Schedule) -> list[Pair]:
    """Return which segments go together, in order: the cheapest alignment of the two.

    Heating goes with heating only and cooling with cooling; the peaks go together before anything
    else does.
    """
    rows, columns = len(before.segments), len(after.segments)
    cost = [[inf] * (columns + 1) for _ in range(rows + 1)]
    step: list[list[tuple[int, int]]] = [[(0, 0)] * (columns + 1) for _ in range(rows + 1)]
    cost[0][0] = 0.0
    for i in range(rows + 1):
        for j in range(columns + 1):
            # Of equal choices the first is taken: segments go together rather than stand alone.
            for down, right in ((1, 1), (1, 0), (0, 1)):
                if i < down or j < right:
                    continue
                alone = (down, right) != (1, 1)
                added = _ALONE if alone else _difference(before, i - 1, after, j - 1)
                total = cost[i - down][j - right] + added
                if total < cost[i][j]:
                    cost[i][j], step[i][j] = total, (down, right)
    pairs: list[Pair] = []
    i, j = rows, columns
    while i or j:
        down, right = step[i][j]
        i, j = i - down, j - right
        pairs.append(Pair(i if down else None, j if right else None))
    return pairs[::-1]


def _difference(before: Schedule, i: int, after: Schedule, j: int) -> float:
    one, other = before.segments[i], after.segments[j]
    if (one.target_c < before.from_c(i)) != (other.target_c < after.from_c(j)):
        return inf
    peaks = (i == before.peak_index) + (j == after.peak_index)
    if peaks == 2:
        return 0.0
    far = min(abs(one.target_c - other.target_c) / _FAR_C, _FURTHEST)
    return (
        far
        + _OTHER_RATE * ((one.drive, one.rate_c_per_h) != (other.drive, other.rate_c_per_h))
        + _OTHER_HOLD * (one.hold_s != other.hold_s)
        + _NOT_PEAKS * peaks
    )


def mark(before: Schedule, after: Schedule, pair: Pair) -> str:
    """Return the sign of what became of a segment, by its figures as they are shown."""
    if pair.before is None:
        return ADDED
    if pair.after is None:
        return GONE
    unit = after.unit
    one = figures(before, pair.before, unit)
    return SAME if one == figures(after, pair.after, unit) else CHANGED


def figures(schedule: Schedule, index: int, unit: TemperatureUnit) -> tuple[str, str, str]:
    """Return a segment's rate, target and hold as the plan's table shows them."""
    segment = schedule.segments[index]
    cools = segment.target_c < schedule.from_c(index)
    return (
        ("−" if cools and segment.drive == "rate" else "") + _rate(segment, unit),
        _short(from_celsius(segment.target_c, unit)),
        write_duration(segment.hold_s) if segment.hold_s else "–",
    )


def _rate(segment: Segment, unit: TemperatureUnit) -> str:
    if segment.rate_c_per_h is None:
        return segment.drive
    return _short(rate_from_celsius(segment.rate_c_per_h, unit))


def _short(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def changes(before: Schedule, after: Schedule, pair: Pair) -> str:
    """Return in words what became of a segment, like ``rate 60 → 45 °C/h, hold none → 30m``."""
    unit = after.unit
    if pair.after is None:
        return "Left out in the designed plan."
    if pair.before is None:
        return "Not in the plan as it is now."
    found = list(_changes(before.segments[pair.before], after.segments[pair.after], unit))
    if not found:
        return "The same in both."
    words = ", ".join(found)
    return f"{words[:1].upper()}{words[1:]}."


def _changes(one: Segment, other: Segment, unit: TemperatureUnit) -> Iterator[str]:
    was, now = _rate(one, unit), _rate(other, unit)
    if was != now:
        per_hour = "" if other.rate_c_per_h is None else f" °{unit}/h"
        yield f"rate {was} → {now}{per_hour}"
    was, now = (_short(from_celsius(s.target_c, unit)) for s in (one, other))
    if was != now:
        yield f"target {was} → {now} °{unit}"
    was, now = (write_duration(s.hold_s) if s.hold_s else "none" for s in (one, other))
    if was != now:
        yield f"hold {was} → {now}"


@dataclass(frozen=True, slots=True)
class Sides:
    """How two schedules are set side by side."""

    left: int
    right: int
    """Widths of the rate's column on either side."""
    room: int
    """The whole width [cells]; what is left over is for names."""

    @property
    def halves(self) -> tuple[int, int]:
        """Widths of all figures on either side."""
        return self.left + TARGET + HOLD, self.right + TARGET + HOLD

    @property
    def width(self) -> int:
        """What the figures need."""
        return NUMBER + sum(self.halves) + 3


def sides(before: Schedule, after: Schedule, room: int) -> Sides:
    """Return the columns for two schedules in a room `room` cells wide."""
    left, right = (
        FREE_RATE if any(s.drive == "unlimited" for s in schedule.segments) else RATE
        for schedule in (before, after)
    )
    return Sides(left, right, room)


def head(unit: TemperatureUnit, shape: Sides) -> str:
    """Return the line above the segments."""
    names = (f"°{unit}/h", f"to °{unit}", "hold")
    left, right = (_set(names, width) for width in (shape.left, shape.right))
    return f"{pad('#', NUMBER, right=True)}{left}   {right}"


def line(before: Schedule, after: Schedule, pair: Pair, shape: Sides) -> str:
    """Return a pair of segments side by side, the sign of what became of it between them."""
    unit = after.unit
    blank = ("", "", "")
    left = blank if pair.before is None else figures(before, pair.before, unit)
    right = blank if pair.after is None else figures(after, pair.after, unit)
    number = "" if pair.after is None else str(pair.after + 1)
    words = (
        f"{pad(number, NUMBER, right=True)}{_set(left, shape.left)} "
        f"{pad(mark(before, after, pair), 1)} {_set(right, shape.right)}"
    )
    spare = shape.room - shape.width - 2
    if spare < 8:
        return words
    schedule, index = (before, pair.before) if pair.after is None else (after, pair.after)
    assert index is not None
    return f"{words}  {shorten(schedule.segments[index].name, spare)}"


def _set(cells: tuple[str, str, str], rate: int) -> str:
    return "".join(
        pad(shorten(cell, width - 1), width, right=True)
        for cell, width in zip(cells, (rate, TARGET, HOLD), strict=True)
    )


_NAME = 6


@dataclass(frozen=True, slots=True)
class ComparisonRow:
    """One line of the comparison."""

    words: str
    """The line."""
    details: tuple[str, ...] = ()
    """Paragraphs that tell more."""
    heading: bool = False
    """Whether it only heads the lines below it."""
    at_s: float | None = None
    """The moment of the curves it is about [s]."""


@dataclass(frozen=True, eq=False)
class PlanComparison:
    """A plan and the design that may replace it, forecast under the same circumstances."""

    before: Schedule
    after: Schedule
    """The plan as it is, and as it would be."""
    design: Design
    """What was found, with its reasons."""
    now: Forecast | None
    then: Forecast | None
    """Of `before` and `after`; None where there can be none."""
    troubles: tuple[str, ...]
    """Why there is none."""
    key_figures: tuple[tuple[KeyFigure, ...], tuple[KeyFigure, ...]]
    """What both come to."""

    @property
    def repaired(self) -> bool:
        """Whether it is the open plan, made safe."""
        return self.design.cost_of_segments_s is None


def compare(
    schedule: Schedule, circumstances: Circumstances, wanted: Mapping[str, Any]
) -> PlanComparison:
    """Have a plan designed for the load chosen, and forecast it and the open one.

    Raises `FiringError` if there is no such design; the sentence says why.
    """
    equipment = reread(circumstances.equipment).equipment
    circumstances = replace(circumstances, equipment=equipment)
    design = make(schedule, equipment, wanted)
    after = taken(schedule, design)
    now, trouble = _forecast_or_trouble(schedule, circumstances)
    then, other = _forecast_or_trouble(after, circumstances)
    troubles = [
        f"No forecast of the {which} plan: {words}"
        for which, words in (("present", trouble), ("designed", other))
        if words
    ]
    # Here and not where they are shown: the words of a forecast load much that is new.
    left, right = (
        () if each is None else tuple(key_figures(each, equipment)) for each in (now, then)
    )
    return PlanComparison(
        before=schedule,
        after=after,
        design=design,
        now=now,
        then=then,
        troubles=tuple(troubles),
        key_figures=(left, right),
    )


def _forecast_or_trouble(
    schedule: Schedule, circumstances: Circumstances
) -> tuple[Forecast | None, str]:
    try:
        return forecast_plan(schedule, circumstances), ""
    except FiringError as error:
        return None, str(error)


def verdict(found: PlanComparison) -> tuple[str, bool]:
    """Return what comes first: whether the design is safe; and whether that is a fault."""
    design = found.design
    parts = [f"To do first: {design.advice}"] if design.advice else []
    if design.problems:
        count = len(design.problems)
        more = "" if count == 1 else f" And {count - 1} more."
        parts.append(f"Not safe for this ware as it stands: {design.problems[0]}{more}")
    unit = found.after.unit
    if parts:
        return in_unit("  ".join(parts), unit), True
    notes = design.notes[-1:] if found.repaired else design.notes
    kept = "  ".join(("The designed plan keeps every known limit of this ware.", *notes))
    return in_unit(kept, unit), False


def rows(found: PlanComparison, room: int) -> list[ComparisonRow]:
    """Return the comparison line by line, for a list `room` cells wide."""
    shape = sides(found.before, found.after, room)
    design = found.design
    lines = [*_figure_rows(found, shape), *_segment_rows(found, shape)]
    for heading, sentences in (
        ("To do first", (design.advice,) if design.advice else ()),
        ("Not safe for this ware as it stands", design.problems),
        ("What was changed" if found.repaired else "To know", design.notes),
        ("Not forecast", found.troubles),
    ):
        if sentences:
            lines.append(ComparisonRow(heading, heading=True))
            told = [in_unit(words, found.after.unit) for words in sentences]
            lines += [ComparisonRow(words, (words,)) for words in told]
    return lines


def _figure_rows(found: PlanComparison, shape: Sides) -> Iterator[ComparisonRow]:
    left, right = ({each.name: each for each in side} for side in found.key_figures)
    yield ComparisonRow(_side_by_side("", "now", "", "designed", shape), heading=True)
    for name in right or left:
        one, other = left.get(name), right.get(name)
        texts = ["–" if each is None else each.text for each in (one, other)]
        sign = "" if texts[0] == texts[1] else CHANGED
        details = [
            f"{side}: {words}"
            for side, each in (("Now", one), ("Designed", other))
            if each is not None
            for words in each.details
        ]
        yield ComparisonRow(
            _side_by_side(name, texts[0], sign, texts[1], shape), (*details, *found.troubles)
        )


def _side_by_side(name: str, left: str, sign: str, right: str, shape: Sides) -> str:
    """Return two texts above the figures of the segments, the sign between them in its column."""
    one, other = shape.halves
    one -= _NAME + 1 - NUMBER
    texts = (pad(shorten(text, width), width) for text, width in ((left, one), (right, other)))
    first, second = texts
    return f"{pad(name, _NAME)} {first} {pad(sign, 1)} {second}".rstrip()


def _segment_rows(found: PlanComparison, shape: Sides) -> Iterator[ComparisonRow]:
    before, after = found.before, found.after
    yield ComparisonRow(head(after.unit, shape), heading=True)
    for pair in paired(before, after):
        words = line(before, after, pair, shape)
        yield ComparisonRow(words, tuple(_about(found, pair)), at_s=_at_s(found, pair))


def _at_s(found: PlanComparison, pair: Pair) -> float | None:
    """Return when a segment ends, by the forecast of the plan it is in [s]."""
    gone = pair.after is None
    result, index = (found.now, pair.before) if gone else (found.then, pair.after)
    if result is None or index is None or index >= len(result.segments):
        return None
    return result.segments[index].end_s


def _about(found: PlanComparison, pair: Pair) -> Iterator[str]:
    before, after = found.before, found.after
    names = []
    if pair.after is not None:
        names.append(f"Designed: {after.label(pair.after)}.")
    if pair.before is not None:
        names.append(f"Now: {before.label(pair.before)}.")
    yield " ".join((*names, changes(before, after, pair)))
    if pair.after is None:
        return
    reason = found.design.reasons[pair.after]
    yield from (in_unit(words, after.unit) for words in reason.sentences)
    for _, words in citations(list(reason.sources)):
        yield f"Source: {in_unit(words, after.unit)}"
    action = after.segments[pair.after].action
    if action:
        yield f"Then, by hand: {action}."


def both_plans(found: PlanComparison) -> PlotLines:
    """Return both plans' curves: the present one dotted, the designed one solid on top."""
    kinds: tuple[tuple[str, Forecast | None, LineStyle, int], ...] = (
        ("now", found.now, "dotted", SET_POINT),
        ("designed", found.then, "solid", FORECAST),
    )
    lines = [
        ChartSeries(name, result.trace.time_s, result.trace.channel_c(), style, colour)
        for name, result, style, colour in kinds
        if result is not None
    ]
    results = [result for result in (found.now, found.then) if result is not None]
    corners = [0.0]
    for result in results[-1:]:
        corners += [at_s for s in result.segments for at_s in (s.ramp_end_s, s.end_s)]
        corners.append(float(result.trace.time_s[-1]))
    longest = max(results, key=lambda result: result.total_high_s, default=None)

    def place(at_s: float) -> str:
        index = None if found.then is None else segment_at(found.then, at_s)
        return "" if index is None else found.after.label(index)

    keeper = Timekeeper(None, 0.0) if longest is None else forecast_times(longest)
    return PlotLines(tuple(lines), found.after.unit, keeper, rising(corners), place)
