"""Two firings of one plan beside each other, segment by segment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from firing.review import thresholds as limit
from firing.review.result import CausePair, Comparison, CoolingPair, SegmentPair, SegmentRange
from firing.trace import median
from firing.units import format_duration, format_rate, format_temperature, rate_from_celsius

if TYPE_CHECKING:
    from firing.review.result import Cause, Review
    from firing.schedule.schedule import Schedule


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
        else tuple(_remarks(this, other, pairs, cooling, (this_peak_c, other_peak_c)))
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


def _remarks(
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
    found += _spread(this, other)
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


def _spread(this: Review, other: Review) -> list[str]:
    spreads = [
        None if r.heat is None or r.heat.unevenness is None else r.heat.unevenness.last_hour_c
        for r in (this, other)
    ]
    if spreads[0] is None or spreads[1] is None or abs(spreads[0] - spreads[1]) < limit.COMPARED_C:
        return []
    unit = this.schedule.unit
    one, two = (rate_from_celsius(spread, unit) for spread in spreads if spread is not None)
    return [f"Its channels were {one:.0f} °{unit} apart over the last hour, the other's {two:.0f}."]
