"""Firings of one plan: two beside each other by segment, several by segment or by the clock."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal, get_args

import numpy as np

from firing.errors import FiringError
from firing.review import thresholds as limit
from firing.review.result import CausePair, Comparison, CoolingPair, SegmentPair, SegmentRange
from firing.serialise import Serialised, keyed
from firing.trace import median
from firing.units import format_duration, format_rate, format_temperature, rate_from_celsius
from firing.viewable import Plottable

if TYPE_CHECKING:
    from firing.review.result import Cause, Review
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
            reached=review.cones.reached_as_printed,
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

    `FiringError` if there are fewer than two firings or more than six.
    """
    if not 2 <= len(reviews) <= MOST_FIRINGS:
        raise FiringError(
            f"{len(reviews)} firing{'' if len(reviews) == 1 else 's'} cannot be laid over each "
            f"other; choose 2 to {MOST_FIRINGS}"
        )
    if align not in get_args(Align):
        raise FiringError(f'align = "{align:.40}" is no option; write segment or clock')
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


def compare(this: Review, other: Review) -> Comparison:
    """Set the review of a firing beside that of another of the same plan."""
    pairs = tuple(
        SegmentPair(one.index, one.name, one.planned_s, one.actual_s, two.actual_s)
        for one, two in zip(this.segments, other.segments, strict=False)
    )
    causes = _causes(this, other)
    cooling = _cooling(this, other)
    this_peak_c, other_peak_c = this.peak_c, other.peak_c
    remarks = (
        ("The other log is none of this plan's, or this one is not: only the heat-work compares.",)
        if this.refused or other.refused
        else tuple(_what_differs(this, other, pairs, cooling, (this_peak_c, other_peak_c)))
    )
    return Comparison(
        other,
        pairs,
        causes,
        cooling,
        remarks,
        this_peak_c,
        other_peak_c,
        this.actual_s,
        other.actual_s,
    )


def compare_series(this: Review, others: Sequence[Review]) -> Comparison:
    """Set a firing beside several others of its plan: beside their middle one, and their range."""
    whole = sorted(
        (other for other in others if other.actual_s is not None and not other.refused),
        key=lambda other: other.actual_s or 0.0,
    )
    if len(others) == 1 or not whole:
        return compare(this, others[0])
    middle = whole[(len(whole) - 1) // 2]
    beside = compare(this, middle)
    ranges: list[SegmentRange] = []
    outside: list[str] = []
    for index, segment in enumerate(this.segments):
        took_s = sorted(s for o in whole if (s := o.segments[index].actual_s) is not None)
        if not took_s:
            continue
        least_s, most_s = took_s[0], took_s[-1]
        usual_s = median(np.array(took_s))
        ranges.append(SegmentRange(index, segment.actual_s, least_s, usual_s, most_s))
        if segment.actual_s is None:
            continue
        play_s = max(limit.COMPARED_S, limit.COMPARED_SHARE * segment.planned_s)
        if not least_s - play_s <= segment.actual_s <= most_s + play_s:
            outside.append(
                f"Segment {this.schedule.label(index)} took {format_duration(segment.actual_s)}; "
                f"in the other {len(took_s)} firings {format_duration(least_s)} to "
                f"{format_duration(most_s)}."
            )
    first = (
        f"Beside {len(others)} other firings, {middle.log.name} is the middle one of the "
        f"{len(whole)} that ended: {format_duration(middle.actual_s or 0.0)}."
    )
    return replace(
        beside,
        remarks=(first, *outside, *beside.remarks),
        series=tuple(ranges),
        logs=tuple(other.log.name for other in others),
    )


def _causes(this: Review, other: Review) -> tuple[CausePair, ...]:
    seconds: dict[Cause, list[float]] = {}
    for place, review in enumerate((this, other)):
        for cause in review.causes:
            seconds.setdefault(cause.cause, [0.0, 0.0])[place] += cause.seconds
    pairs = [CausePair(cause, one, two) for cause, (one, two) in seconds.items()]
    return tuple(sorted(pairs, key=lambda pair: -abs(pair.this_s - pair.other_s)))


def _cooling(this: Review, other: Review) -> CoolingPair | None:
    """Compare both from the lower beginning to the higher end, up to where either quickened."""
    if this.cooling is None or other.cooling is None:
        return None
    from_c = min(this.cooling.from_c, other.cooling.from_c)
    to_c = max(
        [this.cooling.to_c, other.cooling.to_c]
        + [r.quickening.at_c for r in (this, other) if r.quickening is not None]
    )
    if from_c - to_c < limit.COMPARED_COOLING_C:
        return None
    one, two = (_fall_s(review, from_c, to_c) for review in (this, other))
    return None if one is None or two is None else CoolingPair(from_c, to_c, one, two)


def _fall_s(review: Review, from_c: float, to_c: float) -> float | None:
    assert review.cooling is not None
    first = int(np.searchsorted(review.log.trace.time_s, review.cooling.start_s))
    time_s, temperature_c = review.log.trace.time_s[first:], review.temperature_c[first:]
    begun = np.flatnonzero(temperature_c <= from_c)
    ended = np.flatnonzero(temperature_c <= to_c)
    if begun.size == 0 or ended.size == 0:
        return None
    return float(time_s[ended[0]] - time_s[begun[0]])


def _what_differs(
    this: Review,
    other: Review,
    pairs: tuple[SegmentPair, ...],
    cooling: CoolingPair | None,
    peaks_c: tuple[float, float],
) -> list[str]:
    schedule, found = this.schedule, []
    if this.actual_s is not None and other.actual_s is not None:
        difference_s = this.actual_s - other.actual_s
        if abs(difference_s) >= limit.COMPARED_S:
            side = "longer" if difference_s > 0 else "shorter"
            found.append(
                f"This firing ran {format_duration(abs(difference_s))} {side} than "
                f"{other.log.name}."
            )
    for pair in pairs:
        if _tells(pair):
            found.append(_segment_words(schedule, pair, this, other))
    one, two = this.cones.reached_number, other.cones.reached_number
    if one is not None and two is not None and abs(one - two) >= limit.TELLING_CONES:
        found.append(
            f"It came to {abs(one - two):.1f} cones {'more' if one > two else 'less'} heat-work."
        )
    if abs(peaks_c[0] - peaks_c[1]) >= limit.COMPARED_C:
        a, b = (format_temperature(peak_c, schedule.unit) for peak_c in peaks_c)
        found.append(f"Its highest reading was {a}, the other's {b}.")
    if cooling is not None:
        share = cooling.this_s / cooling.other_s - 1.0
        if abs(share) >= limit.COMPARED_COOLING_SHARE:
            side, why = (
                ("faster", "a vent left on, a gap at lid or door, or a smaller load")
                if share < 0
                else ("slower", "a heavier load, or a vent or gap that is now closed")
            )
            a, b = (format_temperature(t, schedule.unit) for t in (cooling.from_c, cooling.to_c))
            found.append(
                f"It cooled {100.0 * abs(share):.0f} % {side} from {a} to {b}: {why}; the logs "
                "can't show which."
            )
    if this.quickening is not None and other.quickening is None:
        at = format_temperature(this.quickening.at_c, schedule.unit)
        found.append(f"Only this one was opened while it cooled, at {at}.")
    found += _spread_words(this, other)
    return found or ["Nothing differs by more than two firings of one program do."]


def _tells(pair: SegmentPair) -> bool:
    difference_s = pair.difference_s
    least_s = max(limit.COMPARED_S, limit.COMPARED_SHARE * pair.planned_s)
    return difference_s is not None and abs(difference_s) >= least_s


def _segment_words(schedule: Schedule, pair: SegmentPair, this: Review, other: Review) -> str:
    assert pair.difference_s is not None
    side = "longer" if pair.difference_s > 0 else "shorter"
    words = (
        f"Segment {schedule.label(pair.index)} took {format_duration(abs(pair.difference_s))} "
        f"{side}"
    )
    rates = [r.segments[pair.index].rate_c_per_h for r in (this, other)]
    if rates[0] is not None and rates[1] is not None:
        one, two = (format_rate(rate, schedule.unit) for rate in rates if rate is not None)
        if one != two:
            words += f" ({one} where the other ran at {two})"
    return f"{words}."


def _spread_words(this: Review, other: Review) -> list[str]:
    spreads = [
        None if r.heat is None or r.heat.unevenness is None else r.heat.unevenness.last_hour_c
        for r in (this, other)
    ]
    if spreads[0] is None or spreads[1] is None or abs(spreads[0] - spreads[1]) < limit.COMPARED_C:
        return []
    unit = this.schedule.unit
    one, two = (rate_from_celsius(spread, unit) for spread in spreads if spread is not None)
    return [f"Its channels were {one:.0f} °{unit} apart over the last hour, the other's {two:.0f}."]
