"""Several firings of one plan over each other, by their segments or by the clock."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from firing.errors import FiringError
from firing.review import thresholds as limit
from firing.serialise import Serialised, keyed
from firing.trace import median
from firing.units import format_duration, format_temperature
from firing.viewable import Plottable

if TYPE_CHECKING:
    from firing.review.result import Review
    from firing.schedule.schedule import Schedule
    from firing.trace import FloatArray

Align = Literal["segment", "clock"]
"""``segment``: every segment begins at one place for all, and runs as long as it did; ``clock``:
over the time since each began to heat."""

LETTERS = "ABCDEF"
"""A firing each; more lines over each other are told apart by nobody."""
MOST_FIRINGS = len(LETTERS)


@dataclass(frozen=True, eq=False)
class OverlaidFiring:
    """One of the firings: its letter, its review, and its course on the axis that all share.

    `time_s` and `temperature_c` have a missing value where a segment waits for the longest.
    `at_s` is where each segment begins on the shared axis, None for one the log does not hold.
    """

    letter: str
    review: Review
    at_s: tuple[float | None, ...]
    time_s: FloatArray = field(repr=False)
    temperature_c: FloatArray = field(repr=False)

    @property
    def name(self) -> str:
        """The log's name."""
        return self.review.log.name

    def to_dict(self) -> dict[str, Any]:
        """Return the firing as the JSON shows it, without its readings."""
        review = self.review
        segments = [
            {
                "index": segment.index,
                "at_s": at_s,
                "start_s": segment.start_s,
                "actual_s": segment.actual_s,
                "excess_s": segment.excess_s,
                "rate_c_per_h": segment.rate_c_per_h,
                "hold_s": segment.hold_s,
                "peak_c": segment.peak_c,
            }
            for segment, at_s in zip(review.segments, self.at_s, strict=True)
        ]
        return keyed(
            letter=self.letter,
            log=self.name,
            started=review.log.trace.started,
            lead_in_s=review.lead_in_s,
            compared=not review.refused,
            refused=review.refused or None,
            plan_doubt=review.plan_doubt or None,
            actual_s=review.actual_s,
            excess_s=review.excess_s,
            peak_c=review.peak_c,
            reached=review.cones.reached,
            reached_number=review.cones.reached_number,
            segments=segments,
        )


@dataclass(frozen=True, slots=True, eq=False)
class SegmentOfAll(Serialised):
    """What one segment took in every firing [s], None where a log lacks it, and the span."""

    index: int
    name: str
    planned_s: float
    took_s: tuple[float | None, ...]
    least_s: float | None
    median_s: float | None
    most_s: float | None


@dataclass(frozen=True, eq=False)
class Overlay(Plottable):
    """Several firings of one plan over each other.

    Attributes
    ----------
    schedule : Schedule
        The plan.
    align : {"segment", "clock"}
        By what they are laid over each other.
    firings : tuple of OverlaidFiring
        In the order given, lettered from A.
    segments : tuple of SegmentOfAll
        What every segment took in each.
    plan_time_s, plan_c : ndarray of float, shape (n,)
        The plan on the shared axis [s], [°C].
    remarks : tuple of str
        What differs, one sentence each; one that says so where nothing does.
    """

    schedule: Schedule
    align: Align
    firings: tuple[OverlaidFiring, ...]
    segments: tuple[SegmentOfAll, ...]
    plan_time_s: FloatArray = field(repr=False)
    plan_c: FloatArray = field(repr=False)
    remarks: tuple[str, ...] = ()

    def __repr__(self) -> str:
        """Return the plan's title, how many firings, and how they are aligned, on one line."""
        return f"<Overlay {self.schedule.title!r}: {len(self.firings)} firings by {self.align}>"

    def to_dict(self) -> dict[str, Any]:
        """Return the firings as one JSON document, schema 1."""
        return keyed(
            schema=1,
            kind="compare",
            schedule=self.schedule,
            align=self.align,
            firings=self.firings,
            segments=self.segments,
            remarks=self.remarks,
        )


def overlay(reviews: Sequence[Review], align: Align = "segment") -> Overlay:
    """Lay the reviews of several firings of one plan over each other.

    Raises
    ------
    FiringError
        If there are fewer than two firings or more than six.
    """
    if not 2 <= len(reviews) <= MOST_FIRINGS:
        raise FiringError(
            f"{len(reviews)} firing{'' if len(reviews) == 1 else 's'} cannot be laid over each "
            f"other; choose 2 to {MOST_FIRINGS}"
        )
    schedule = reviews[0].schedule
    plan = reviews[0].forecast
    spans = [_spans(review) for review in reviews]
    plan_spans: list[Span] = [(timed.start_s, timed.end_s) for timed in plan.segments]
    slots_s = None if align == "clock" else _slots([plan_spans, *spans])
    firings = []
    for letter, review, held in zip(LETTERS, reviews, spans, strict=False):
        trace = review.log.trace
        laid = _laid(trace.time_s, review.temperature_c, held, slots_s, review.lead_in_s)
        firings.append(OverlaidFiring(letter, review, *laid))
    _, plan_time_s, plan_c = _laid(plan.trace.time_s, plan.trace.channel_c(), plan_spans, slots_s)
    segments = tuple(_segments(reviews))
    remarks = tuple(_remarks(firings, segments))
    return Overlay(schedule, align, tuple(firings), segments, plan_time_s, plan_c, remarks)


Span = tuple[float, float] | None
"""When a segment began and ended [s]; None for one that the log does not hold."""


def _spans(review: Review) -> list[Span]:
    last_s = float(review.log.trace.time_s[-1])
    return [
        None if s.start_s is None else (s.start_s, last_s if s.end_s is None else s.end_s)
        for s in review.segments
    ]


def _slots(all_spans: Sequence[Sequence[Span]]) -> list[float]:
    """Return where each segment begins when it has room for the longest; last, where all end."""
    slots_s = [0.0]
    for index in range(len(all_spans[0])):
        held = [spans[index] for spans in all_spans if index < len(spans)]
        slots_s.append(slots_s[-1] + max(span[1] - span[0] for span in held if span is not None))
    return slots_s


def _laid(
    time_s: FloatArray,
    temperature_c: FloatArray,
    spans: Sequence[Span],
    slots_s: Sequence[float] | None,
    begun_s: float = 0.0,
) -> tuple[tuple[float | None, ...], FloatArray, FloatArray]:
    """Return where segments begin on the shared axis, and a course laid on it.

    Without slots, or segments to lay in them, by the time since the heating began.
    """
    if slots_s is None or not any(spans):
        first = int(np.searchsorted(time_s, begun_s))
        at_s = tuple(None if span is None else span[0] - begun_s for span in spans)
        return at_s, time_s[first:] - begun_s, temperature_c[first:]
    known = np.isfinite(temperature_c)
    at: list[FloatArray] = []
    value: list[FloatArray] = []
    ended = spans[-1]
    # Cooling begins at one place for all, too.
    cooling = [] if ended is None else [(ended[1], float(time_s[-1]))]
    for span, slot_s in zip([*spans, *cooling], slots_s, strict=False):
        if span is None:
            continue
        start_s, end_s = span
        inside = (time_s > start_s) & (time_s < end_s)
        edges_c = np.interp([start_s, end_s], time_s[known], temperature_c[known])
        moments = np.concatenate(([start_s], time_s[inside], [end_s])) - start_s + slot_s
        # The line is open where a segment waits for the longest.
        at += [moments, moments[-1:]]
        value += [edges_c[:1], temperature_c[inside], edges_c[1:], np.array([np.nan])]
    starts = tuple(
        None if span is None else slot_s for span, slot_s in zip(spans, slots_s, strict=False)
    )
    return starts, np.concatenate(at), np.concatenate(value)


def _segments(reviews: Sequence[Review]) -> Iterator[SegmentOfAll]:
    compared = [review for review in reviews if review.segments]
    for index, segment in enumerate(compared[0].segments if compared else ()):
        took_s = tuple(
            review.segments[index].actual_s if review.segments else None for review in reviews
        )
        known = np.array([s for s in took_s if s is not None])
        yield SegmentOfAll(
            index,
            segment.name,
            segment.planned_s,
            took_s,
            float(known.min()) if known.size else None,
            median(known) if known.size else None,
            float(known.max()) if known.size else None,
        )


def _remarks(firings: Sequence[OverlaidFiring], segments: Sequence[SegmentOfAll]) -> list[str]:
    schedule = firings[0].review.schedule
    strangers = [
        f"{firing.letter} {firing.name} was fired by another plan: only its course and its "
        "heat-work compare."
        for firing in firings
        if firing.review.refused
    ]
    strangers += [
        f"{firing.letter} {firing.name} may have been fired by another plan: "
        f"{firing.review.plan_doubt}."
        for firing in firings
        if firing.review.plan_doubt
    ]
    differ: list[str] = []
    whole = {f.letter: f.review.actual_s for f in firings if f.review.actual_s is not None}
    if whole and _spread(whole) >= limit.COMPARED_S:
        differ.append(f"The firings took {_from_to(whole)}.")
    for segment in segments:
        both = zip(firings, segment.took_s, strict=True)
        took = {firing.letter: took_s for firing, took_s in both if took_s is not None}
        play_s = max(limit.COMPARED_S, limit.COMPARED_SHARE * segment.planned_s)
        if took and _spread(took) >= play_s:
            differ.append(f"Segment {schedule.label(segment.index)} took {_from_to(took)}.")
    peaks = {firing.letter: firing.review.peak_c for firing in firings}
    if _spread(peaks) >= limit.COMPARED_C:
        low, high = (f"{format_temperature(peaks[x], schedule.unit)} ({x})" for x in _ends(peaks))
        differ.append(f"The highest readings were {low} to {high}.")
    cones = {f.letter: n for f in firings if (n := f.review.cones.reached_number) is not None}
    if cones and _spread(cones) >= limit.TELLING_CONES:
        least, most = _ends(cones)
        differ.append(f"{most} came to {_spread(cones):.1f} cones more heat-work than {least}.")
    return [*strangers, *(differ or ["Nothing differs by more than firings of one program do."])]


def _spread(values: Mapping[str, float]) -> float:
    return max(values.values()) - min(values.values())


def _ends(values: Mapping[str, float]) -> tuple[str, str]:
    """Return the letters of the least and the most."""
    return min(values, key=lambda at: values[at]), max(values, key=lambda at: values[at])


def _from_to(took_s: Mapping[str, float]) -> str:
    least, most = _ends(took_s)
    return f"{format_duration(took_s[least])} ({least}) to {format_duration(took_s[most])} ({most})"
