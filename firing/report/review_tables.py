"""The tables of a review."""

from collections.abc import Sequence

from firing.cones.table import describe_number, describe_range
from firing.report.document import Table
from firing.report.formatting import hours_minutes
from firing.review.result import CAUSE_NAMES, CauseShare, Review, ReviewedSegment
from firing.review.witness import position_words
from firing.units import (
    SECONDS_PER_MINUTE,
    TemperatureUnit,
    from_celsius,
    rate_from_celsius,
)

PAIRS_NOTE = "times in h:mm; rates and holds as planned/actual"
_WHOLE_BAR_S = 900.0


def segments(review: Review) -> Table:
    """Return every segment, planned and actual."""
    unit = review.schedule.unit
    rows: list[tuple[str, ...]] = []
    for segment in review.segments:
        main = _main_cause(segment.causes)
        rows.append(
            (
                str(segment.index + 1),
                segment.name,
                hours_minutes(segment.planned_s),
                hours_minutes(segment.actual_s),
                hours_minutes(segment.excess_s, signed=True),
                _planned_and_actual_rate(segment, unit),
                "–" if segment.peak_c is None else _degrees(segment.peak_c, unit),
                _planned_and_actual_hold(segment),
                "" if main is None else main.name,
            )
        )
    whole = map(hours_minutes, (review.planned_s, review.actual_s))
    excess = hours_minutes(review.excess_s, signed=True)
    rows.append(("", "together", *whole, excess, "", "", "", ""))
    columns = ("#", "segment", "planned", "actual", "differs", f"°{unit}/h", f"top °{unit}")
    return Table(
        (*columns, "hold", "main cause"),
        "rlrrrrrrl",
        rows,
        f"The segments, planned and actual: {PAIRS_NOTE}",
    )


def _main_cause(causes: Sequence[CauseShare]) -> CauseShare | None:
    telling = [cause for cause in causes if abs(cause.seconds) >= SECONDS_PER_MINUTE]
    return max(telling, key=lambda cause: abs(cause.seconds), default=None)


def _planned_and_actual_rate(segment: ReviewedSegment, unit: TemperatureUnit) -> str:
    return "/".join(
        "–" if rate is None else f"{rate_from_celsius(rate, unit):.0f}"
        for rate in (segment.planned_rate_c_per_h, segment.rate_c_per_h)
    )


def _planned_and_actual_hold(segment: ReviewedSegment) -> str:
    if segment.planned_hold_s == 0.0 and (segment.hold_s or 0.0) < SECONDS_PER_MINUTE:
        return "–"
    return f"{hours_minutes(segment.planned_hold_s)}/{hours_minutes(segment.hold_s)}"


def account(causes: Sequence[CauseShare]) -> Table:
    """Return the causes with their minutes, and a bar each."""
    # A whole bar is a quarter of an hour at least: minutes are not to look like much.
    largest_s = max([abs(cause.seconds) for cause in causes] + [_WHOLE_BAR_S])
    rows = []
    for cause in causes:
        minutes = round(cause.seconds / SECONDS_PER_MINUTE)
        sign = "−" if minutes < 0 else "+" if minutes > 0 else ""
        rows.append((cause.name, f"{sign}{abs(minutes)}"))
    return Table(
        ("cause", "minutes"),
        "lr",
        rows,
        "The account: minutes longer (+) or shorter (−) than planned, by cause",
        bars=[cause.seconds / largest_s for cause in causes],
    )


def cones_by_channel(review: Review) -> Table:
    """Return the cone of every channel, with its range, and its highest reading."""
    unit = review.schedule.unit
    rows = []
    for name, verdict in review.cones_by_channel.items():
        reading = review.log.trace.channel_c(name)
        rows.append(
            (
                name,
                _bound(verdict.reached_number),
                "–" if verdict.high is None else describe_range(verdict.low, verdict.high),
                _degrees(float(reading[reading == reading].max()), unit),
            )
        )
    return Table(
        ("channel", "cone", "range", f"highest °{unit}"),
        "lllr",
        rows,
        "The cone each channel came to, and its highest reading",
    )


def cooling_through(review: Review) -> Table | None:
    """Return how fast every channel cooled through the inversions; None where none did."""
    heat = review.heat
    if heat is None:
        return None
    unit = review.schedule.unit
    shown = [part for part in heat.through if set(part.rate_c_per_h.values()) != {None}]
    if not shown:
        return None
    rows = []
    for name in review.log.trace.channels:
        rates = [part.rate_c_per_h[name] for part in shown]
        rows.append(
            (name, *("–" if r is None else f"{rate_from_celsius(r, unit):.0f}" for r in rates))
        )
    return Table(
        ("channel", *(f"°{unit}/h at {_degrees(part.at_c, unit)} °{unit}" for part in shown)),
        "l" + "r" * len(shown),
        rows,
        "How fast every channel cooled through the inversions of quartz and cristobalite",
    )


def unevenness(review: Review) -> Table | None:
    """Return the channels of the chamber at the peak and over the last hour; None with one."""
    found = None if review.heat is None else review.heat.unevenness
    if found is None:
        return None
    unit = review.schedule.unit
    rows = [
        (
            channel.name,
            *(
                "–" if value_c is None else _degrees(value_c, unit)
                for value_c in (channel.at_peak_c, channel.last_hour_c)
            ),
            _bound(channel.cone_number),
        )
        for channel in found.channels
    ]
    spreads = [
        "–" if spread_c is None else f"{rate_from_celsius(spread_c, unit):.0f}"
        for spread_c in (found.at_peak_c, found.last_hour_c)
    ]
    rows.append(("apart by", *spreads, "–" if found.cones is None else f"{found.cones:.1f}"))
    return Table(
        ("channel", f"at peak °{unit}", f"last hour °{unit}", "cone"),
        "lrrl",
        rows,
        "How far the channels were apart at the peak and over the last hour",
    )


def witnesses(review: Review) -> Table | None:
    """Return every witness cone, what the readings make of it, and the offset; None without."""
    verdict = None if review.heat is None else review.heat.witness
    if verdict is None:
        return None
    unit = review.schedule.unit
    rows = [
        (
            result.witness.cone,
            result.witness.place or "–",
            result.witness.seen,
            result.channel,
            position_words(result.heatwork),
            offset_words(result.offset_c, result.low_c, result.high_c, unit),
        )
        for offset in (verdict.kiln, *verdict.others)
        for result in offset.results
    ]
    return Table(
        ("cone", "place", "was", "by readings of", "it is", f"offset °{unit}"),
        "llllll",
        rows,
        "The witness cones, what the readings make of each, and the offset that follows",
    )


def offset_words(
    offset_c: float | None, low_c: float | None, high_c: float | None, unit: TemperatureUnit
) -> str:
    """Return an offset with its range: ``+12 (+4 to +19)``, ``+5 or more``, ``open``."""

    def signed(value_c: float) -> str:
        value = round(rate_from_celsius(value_c, unit))
        return "0" if value == 0 else f"{'−' if value < 0 else '+'}{abs(value)}"

    if offset_c is not None and low_c is not None and high_c is not None:
        return f"{signed(offset_c)} ({signed(low_c)} to {signed(high_c)})"
    if low_c is not None:
        return f"{signed(low_c)} or more"
    return "open" if high_c is None else f"{signed(high_c)} or less"


def compared_segments(review: Review) -> Table | None:
    """Return the segments of two firings beside each other; None without a second."""
    comparison = review.comparison
    if comparison is None or not comparison.segments:
        return None
    rows = [
        (
            str(pair.index + 1),
            pair.name,
            hours_minutes(pair.planned_s),
            hours_minutes(pair.this_s),
            hours_minutes(pair.other_s),
            hours_minutes(pair.difference_s, signed=True),
        )
        for pair in comparison.segments
    ]
    one, two = comparison.this_s, comparison.other_s
    differs = None if one is None or two is None else one - two
    rows.append(
        (
            "",
            "together",
            hours_minutes(review.planned_s),
            hours_minutes(one),
            hours_minutes(two),
            hours_minutes(differs, signed=True),
        )
    )
    return Table(
        ("#", "segment", "planned", "this", "other", "differs"),
        "rlrrrr",
        rows,
        "The segments of both firings (h:mm)",
    )


def compared_figures(review: Review) -> Table | None:
    """Return causes, peak, cone and cooling of two firings side by side; None without a second."""
    comparison = review.comparison
    if comparison is None:
        return None
    unit = review.schedule.unit
    rows = [
        (CAUSE_NAMES[pair.cause], *(hours_minutes(s, signed=True) for s in both_s))
        for pair in comparison.causes
        if max(map(abs, both_s := (pair.this_s, pair.other_s))) >= SECONDS_PER_MINUTE
    ]
    peaks = comparison.this_peak_c, comparison.other_peak_c
    rows.append((f"highest °{unit}", *(_degrees(peak_c, unit) for peak_c in peaks)))
    numbers = review.cones.reached_number, comparison.other.cones.reached_number
    rows.append(("cone", *map(_bound, numbers)))
    cooling = comparison.cooling
    if cooling is not None:
        span = f"cooling {_degrees(cooling.from_c, unit)} to {_degrees(cooling.to_c, unit)} °{unit}"
        rows.append((span, *map(hours_minutes, (cooling.this_s, cooling.other_s))))
    return Table(("", "this", "other"), "lrr", rows, "Causes, peak, cone and cooling of both")


def _bound(number: float | None) -> str:
    return "none" if number is None else describe_number(number)


def _degrees(temperature_c: float, unit: TemperatureUnit) -> str:
    return f"{from_celsius(temperature_c, unit):.0f}"
