"""Two schedules segment by segment: which goes with which, and what differs, in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

from firing.report.sanitize import pad, shorten
from firing.schedule.schedule import Schedule, Segment
from firing.units import TemperatureUnit, from_celsius, rate_from_celsius, write_duration

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
