"""Two firings of one plan beside each other, segment by segment."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from firing.units import format_duration, format_rate, format_temperature, rate_from_celsius

if TYPE_CHECKING:
    from firing.review.result import Cause, Review
    from firing.schedule.schedule import Schedule

TELLING_S = 600.0
"""Two firings of one program in one kiln are within ten minutes of each other, segment by segment,
unless something differs (common practice, no source) [s]."""
TELLING_SHARE = 0.05
COOLING_SHARE = 0.1
LEAST_COOLING_C = 100.0
TELLING_CONES = 0.2


@dataclass(frozen=True, slots=True)
class SegmentPair:
    """One segment in both firings [s]; None where a log does not hold it whole."""

    index: int
    name: str
    planned_s: float
    this_s: float | None
    other_s: float | None

    @property
    def difference_s(self) -> float | None:
        """This less the other [s]."""
        if self.this_s is None or self.other_s is None:
            return None
        return self.this_s - self.other_s

    def to_dict(self) -> dict[str, Any]:
        """Return the pair as the JSON shows it."""
        return {
            "index": self.index,
            "name": self.name,
            "planned_s": self.planned_s,
            "this_s": self.this_s,
            "other_s": self.other_s,
            "difference_s": self.difference_s,
        }


@dataclass(frozen=True, slots=True)
class CausePair:
    """One cause in both firings [s]."""

    cause: Cause
    this_s: float
    other_s: float

    def to_dict(self) -> dict[str, Any]:
        """Return the pair as the JSON shows it."""
        return {
            "cause": self.cause,
            "this_s": self.this_s,
            "other_s": self.other_s,
            "difference_s": self.this_s - self.other_s,
        }


@dataclass(frozen=True, slots=True)
class CoolingPair:
    """Natural cooling of both over the temperatures that both logs cover."""

    from_c: float
    to_c: float
    this_s: float
    other_s: float

    def to_dict(self) -> dict[str, Any]:
        """Return the pair as the JSON shows it."""
        return {
            "from_c": self.from_c,
            "to_c": self.to_c,
            "this_s": self.this_s,
            "other_s": self.other_s,
        }


@dataclass(frozen=True, eq=False)
class Comparison:
    """Another firing of the plan, set beside this one.

    Attributes
    ----------
    other : Review
        The other firing's own review.
    segments : tuple of SegmentPair
    causes : tuple of CausePair
        Every cause of either, the largest difference first.
    cooling : CoolingPair or None
    remarks : tuple of str
        What differs, one sentence each; one that says so where nothing does.
    this_peak_c, other_peak_c : float
        Highest readings [°C].
    this_s, other_s : float or None
        Duration of both [s].
    """

    other: Review
    segments: tuple[SegmentPair, ...]
    causes: tuple[CausePair, ...]
    cooling: CoolingPair | None
    remarks: tuple[str, ...]
    this_peak_c: float
    other_peak_c: float
    this_s: float | None
    other_s: float | None

    def to_dict(self) -> dict[str, Any]:
        """Return the comparison as the JSON shows it."""
        difference_s = None
        if self.this_s is not None and self.other_s is not None:
            difference_s = self.this_s - self.other_s
        return {
            "log": self.other.log.name,
            "compared": not self.other.refused,
            "refused": self.other.refused or None,
            "this_s": self.this_s,
            "other_s": self.other_s,
            "difference_s": difference_s,
            "segments": [pair.to_dict() for pair in self.segments],
            "causes": [pair.to_dict() for pair in self.causes],
            "cooling": None if self.cooling is None else self.cooling.to_dict(),
            "peak_c": {"this": self.this_peak_c, "other": self.other_peak_c},
            "reached": self.other.cones.reached,
            "reached_number": self.other.cones.reached_number,
            "remarks": list(self.remarks),
        }


def compare(this: Review, other: Review) -> Comparison:
    """Set two reviews of one plan beside each other.

    Parameters
    ----------
    this, other : Review
        The firing under review, and another of the same plan.
    """
    pairs = tuple(
        SegmentPair(one.index, one.name, one.planned_s, one.actual_s, two.actual_s)
        for one, two in zip(this.segments, other.segments, strict=False)
    )
    causes = _causes(this, other)
    cooling = _cooling(this, other)
    this_peak_c, other_peak_c = (float(np.nanmax(r.temperature_c)) for r in (this, other))
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
    if from_c - to_c < LEAST_COOLING_C:
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
        if abs(difference_s) >= TELLING_S:
            side = "longer" if difference_s > 0 else "shorter"
            found.append(
                f"This firing ran {format_duration(abs(difference_s))} {side} than "
                f"{other.log.name}."
            )
    for pair in pairs:
        if _tells(pair):
            found.append(_segment_words(schedule, pair, this, other))
    one, two = this.cones.reached_number, other.cones.reached_number
    if one is not None and two is not None and abs(one - two) >= TELLING_CONES:
        found.append(
            f"It came to {abs(one - two):.1f} cones {'more' if one > two else 'less'} heat-work."
        )
    if abs(peaks_c[0] - peaks_c[1]) >= 5.0:
        a, b = (format_temperature(peak_c, schedule.unit) for peak_c in peaks_c)
        found.append(f"Its highest reading was {a}, the other's {b}.")
    if cooling is not None:
        share = cooling.this_s / cooling.other_s - 1.0
        if abs(share) >= COOLING_SHARE:
            side, why = (
                ("faster", "a vent left on, a gap at the lid, or a smaller load")
                if share < 0
                else ("slower", "a heavier load, or a vent or gap that is now closed")
            )
            a, b = (format_temperature(t, schedule.unit) for t in (cooling.from_c, cooling.to_c))
            found.append(
                f"It cooled {100.0 * abs(share):.0f} % {side} from {a} to {b}: {why}; the logs "
                "cannot tell which."
            )
    if this.quickening is not None and other.quickening is None:
        at = format_temperature(this.quickening.at_c, schedule.unit)
        found.append(f"Only this one was opened while it cooled, at {at}.")
    found += _spread(this, other)
    return found or ["Nothing differs by more than two firings of one program do."]


def _tells(pair: SegmentPair) -> bool:
    difference_s = pair.difference_s
    least_s = max(TELLING_S, TELLING_SHARE * pair.planned_s)
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
    if spreads[0] is None or spreads[1] is None or abs(spreads[0] - spreads[1]) < 5.0:
        return []
    unit = this.schedule.unit
    one, two = (rate_from_celsius(spread, unit) for spread in spreads if spread is not None)
    return [f"Its channels were {one:.0f} °{unit} apart over the last hour, the other's {two:.0f}."]
