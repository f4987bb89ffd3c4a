"""The tables of a forecast and a review as headers, rows and alignment, for terminal and page.

Cells are raw text: whoever shows them makes them safe for where they go.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from firing.cones.table import describe_number, describe_range
from firing.forecast.result import Forecast
from firing.report.formatting import hours_minutes, sentence
from firing.report.summary import forecast_times
from firing.review.result import CAUSE_NAMES, CauseShare, Review, ReviewedSegment
from firing.schedule.schedule import Segment
from firing.schedule.timeline import ForecastSegment
from firing.units import (
    SECONDS_PER_MINUTE,
    TemperatureUnit,
    from_celsius,
    rate_from_celsius,
)


@dataclass(frozen=True)
class Rows:
    """A table: headers, rows, and a letter a column, ``l`` for text and ``r`` for numbers."""

    headers: Sequence[str]
    align: str
    rows: list[Sequence[str]] = field(default_factory=list)


def forecast_segments(forecast: Forecast) -> Rows:
    """Return every segment: its rate, target and hold, how long it takes and when it ends."""
    unit = forecast.schedule.unit
    keeper = forecast_times(forecast)
    ends = "ends after" if forecast.started is None else "ends at"
    table = Rows(("#", "segment", f"°{unit}/h", f"to °{unit}", "hold", "takes", ends), "rlrrrrr")
    for segment, timed in zip(forecast.schedule.segments, forecast.segments, strict=True):
        end = hours_minutes(timed.end_s) if forecast.started is None else keeper.at(timed.end_s)
        if not timed.ends:
            end = "never"
        table.rows.append(
            (
                str(timed.index + 1),
                timed.name,
                _rate_words(segment, timed.from_c, unit) + _mark(segment, timed),
                _degrees(timed.end_c, unit),
                hours_minutes(segment.hold_s) if segment.hold_s else "–",
                hours_minutes(timed.forecast_s) if timed.ends else "–",
                end,
            )
        )
    return table


def _rate_words(segment: Segment, from_c: float, unit: TemperatureUnit) -> str:
    if segment.rate_c_per_h is None:
        return "full power" if segment.drive == "unlimited" else "off"
    sign = "−" if segment.target_c < from_c else ""
    return f"{sign}{rate_from_celsius(segment.rate_c_per_h, unit):.0f}"


def _mark(segment: Segment, timed: ForecastSegment) -> str:
    return "*" if segment.drive == "rate" and timed.limited_by != "program" else ""


def slower_than_programmed(forecast: Forecast) -> str:
    """Return what the mark ``*`` in the segment table means; empty if it does not occur."""
    marked = [
        timed
        for segment, timed in zip(forecast.schedule.segments, forecast.segments, strict=True)
        if _mark(segment, timed)
    ]
    if not marked:
        return ""
    return "* slower than programmed: the kiln cannot follow"


def hand_actions(forecast: Forecast) -> list[str]:
    """Return what a person does, and when, one sentence each."""
    keeper = forecast_times(forecast)
    return [
        f"{sentence(keeper.when(timed.end_s))}, as segment {timed.index + 1} ends: {timed.action}"
        for timed in forecast.segments
        if timed.action and timed.ends
    ]


def review_segments(review: Review) -> Rows:
    """Return every segment, planned and actual."""
    unit = review.schedule.unit
    table = Rows(
        (
            "#",
            "segment",
            "planned",
            "actual",
            "differs",
            f"°{unit}/h",
            f"top °{unit}",
            "hold",
            "main cause",
        ),
        "rlrrrrrrl",
    )
    for segment in review.segments:
        main = _main_cause(segment.causes)
        table.rows.append(
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
    total = (review.planned_s, review.actual_s), hours_minutes(review.excess_s, signed=True)
    table.rows.append(("", "together", *map(hours_minutes, total[0]), total[1], "", "", "", ""))
    return table


def _main_cause(causes: Sequence[CauseShare]) -> CauseShare | None:
    telling = [cause for cause in causes if abs(cause.seconds) >= SECONDS_PER_MINUTE]
    return max(telling, key=lambda cause: abs(cause.seconds), default=None)


def _planned_and_actual_rate(segment: ReviewedSegment, unit: TemperatureUnit) -> str:
    pair = [
        "–" if rate is None else f"{rate_from_celsius(rate, unit):.0f}"
        for rate in (segment.planned_rate_c_per_h, segment.rate_c_per_h)
    ]
    return "/".join(pair)


def _planned_and_actual_hold(segment: ReviewedSegment) -> str:
    if segment.planned_hold_s == 0.0 and (segment.hold_s or 0.0) < SECONDS_PER_MINUTE:
        return "–"
    return f"{hours_minutes(segment.planned_hold_s)}/{hours_minutes(segment.hold_s)}"


_WHOLE_BAR_S = 900.0
PAIRS_NOTE = "times in h:mm; rates and holds as planned/actual"


def account(causes: Sequence[CauseShare], *, bar_width: int = 0) -> Rows:
    """Return the causes with their minutes, and a small bar each if `bar_width` allows one.

    Longer is drawn solid and shorter hatched, so that the bars differ without colour.
    """
    table = Rows(("cause", "minutes", ""), "lrl") if bar_width else Rows(("cause", "minutes"), "lr")
    # A whole bar is a quarter of an hour at least: minutes are not to look like much.
    largest_s = max([abs(cause.seconds) for cause in causes] + [_WHOLE_BAR_S])
    for cause in causes:
        minutes = round(cause.seconds / SECONDS_PER_MINUTE)
        sign = "−" if minutes < 0 else "+" if minutes > 0 else ""
        size = round(bar_width * abs(cause.seconds) / largest_s)
        bar = ("█" if cause.seconds > 0 else "▒") * size
        row = (cause.name, f"{sign}{abs(minutes)}")
        table.rows.append((*row, bar) if bar_width else row)
    return table


def cones_by_channel(review: Review) -> Rows:
    """Return the cone of every channel, with its range, and its highest reading."""
    unit = review.schedule.unit
    table = Rows(("channel", "cone", "range", f"highest °{unit}"), "lllr")
    trace = review.log.trace
    for name, verdict in review.cones_by_channel.items():
        reading = trace.channel_c(name)
        table.rows.append(
            (
                name,
                _bound(verdict.reached_number),
                "–" if verdict.high is None else describe_range(verdict.low, verdict.high),
                _degrees(float(reading[reading == reading].max()), unit),
            )
        )
    return table


def cooling_through(review: Review) -> Rows | None:
    """Return how fast every channel cooled through the inversions; None where none did."""
    heat = review.heat
    if heat is None:
        return None
    unit = review.schedule.unit
    shown = [part for part in heat.through if set(part.rate_c_per_h.values()) != {None}]
    if not shown:
        return None
    heads = [f"°{unit}/h at {_degrees(part.at_c, unit)} °{unit}" for part in shown]
    table = Rows(("channel", *heads), "l" + "r" * len(shown))
    for name in review.log.trace.channels:
        rates = [part.rate_c_per_h[name] for part in shown]
        table.rows.append(
            (name, *("–" if r is None else f"{rate_from_celsius(r, unit):.0f}" for r in rates))
        )
    return table


def unevenness(review: Review) -> Rows | None:
    """Return the channels of the chamber at the peak and over the last hour; None with one."""
    found = None if review.heat is None else review.heat.unevenness
    if found is None:
        return None
    unit = review.schedule.unit
    table = Rows(("channel", f"at peak °{unit}", f"last hour °{unit}", "cone"), "lrrl")
    for channel in found.channels:
        table.rows.append(
            (
                channel.name,
                *(
                    "–" if value is None else _degrees(value, unit)
                    for value in (channel.at_peak_c, channel.last_hour_c)
                ),
                _bound(channel.cone_number),
            )
        )
    spreads = (found.at_peak_c, found.last_hour_c)
    table.rows.append(
        (
            "apart by",
            *("–" if v is None else f"{rate_from_celsius(v, unit):.0f}" for v in spreads),
            "–" if found.cones is None else f"{found.cones:.1f}",
        )
    )
    return table


def witnesses(review: Review) -> Rows | None:
    """Return every witness cone, what the readings make of it, and the offset; None without."""
    verdict = None if review.heat is None else review.heat.witness
    if verdict is None:
        return None
    from firing.review.witness import position_words

    unit = review.schedule.unit
    table = Rows(("cone", "place", "was", "by readings of", "it is", f"offset °{unit}"), "llllll")
    for offset in (verdict.kiln, *verdict.others):
        for result in offset.results:
            table.rows.append(
                (
                    result.witness.cone,
                    result.witness.place or "–",
                    result.witness.seen,
                    result.channel,
                    position_words(result.heatwork),
                    offset_words(result.offset_c, result.low_c, result.high_c, unit),
                )
            )
    return table


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


def compared_segments(review: Review) -> Rows | None:
    """Return the segments of two firings beside each other; None without a second."""
    comparison = review.comparison
    if comparison is None or not comparison.segments:
        return None
    table = Rows(("#", "segment", "planned", "this", "other", "differs"), "rlrrrr")
    for pair in comparison.segments:
        table.rows.append(
            (
                str(pair.index + 1),
                pair.name,
                hours_minutes(pair.planned_s),
                hours_minutes(pair.this_s),
                hours_minutes(pair.other_s),
                hours_minutes(pair.difference_s, signed=True),
            )
        )
    one, two = comparison.this_s, comparison.other_s
    differs = None if one is None or two is None else one - two
    table.rows.append(
        (
            "",
            "together",
            *map(hours_minutes, (review.planned_s, one, two)),
            hours_minutes(differs, signed=True),
        )
    )
    return table


def compared_figures(review: Review) -> Rows | None:
    """Return causes, peak, cone and cooling of two firings side by side; None without a second."""
    comparison = review.comparison
    if comparison is None:
        return None
    unit = review.schedule.unit
    table = Rows(("", "this", "other"), "lrr")
    for pair in comparison.causes:
        if max(abs(pair.this_s), abs(pair.other_s)) >= SECONDS_PER_MINUTE:
            table.rows.append(
                (
                    CAUSE_NAMES[pair.cause],
                    hours_minutes(pair.this_s, signed=True),
                    hours_minutes(pair.other_s, signed=True),
                )
            )
    peaks = comparison.this_peak_c, comparison.other_peak_c
    table.rows.append((f"highest °{unit}", *(_degrees(peak_c, unit) for peak_c in peaks)))
    numbers = review.cones.reached_number, comparison.other.cones.reached_number
    table.rows.append(("cone", *map(_bound, numbers)))
    cooling = comparison.cooling
    if cooling is not None:
        span = f"cooling {_degrees(cooling.from_c, unit)} to {_degrees(cooling.to_c, unit)} °{unit}"
        table.rows.append((span, *map(hours_minutes, (cooling.this_s, cooling.other_s))))
    return table


def _bound(number: float | None) -> str:
    return "none" if number is None else describe_number(number)


def _degrees(temperature_c: float, unit: TemperatureUnit) -> str:
    return f"{from_celsius(temperature_c, unit):.0f}"
