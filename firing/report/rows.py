"""The tables of a forecast and a review as headers, rows and alignment, for terminal and page.

Cells are raw text: whoever shows them makes them safe for where they go.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from firing.cones.naming import describe_number
from firing.course import ForecastSegment
from firing.forecast import Forecast
from firing.report.answers import forecast_times
from firing.report.words import hours_minutes, sentence
from firing.review.verdict import CAUSE_NAMES, CauseShare, Review, ReviewedSegment
from firing.schedule import Segment
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
                "" if main is None else CAUSE_NAMES[main.cause],
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


PAIRS_NOTE = "times in h:mm; rates and holds as planned/actual"


def account(causes: Sequence[CauseShare], *, bar_width: int = 0) -> Rows:
    """Return the causes with their minutes, and a small bar each if `bar_width` allows one.

    Longer is drawn solid and shorter hatched, so that the bars differ without colour.
    """
    table = Rows(("cause", "minutes", ""), "lrl") if bar_width else Rows(("cause", "minutes"), "lr")
    largest_s = max((abs(cause.seconds) for cause in causes), default=0.0)
    for cause in causes:
        minutes = round(cause.seconds / SECONDS_PER_MINUTE)
        sign = "−" if minutes < 0 else "+" if minutes > 0 else ""
        size = round(bar_width * abs(cause.seconds) / largest_s) if largest_s else 0
        bar = ("█" if cause.seconds > 0 else "▒") * size
        row = (CAUSE_NAMES[cause.cause], f"{sign}{abs(minutes)}")
        table.rows.append((*row, bar) if bar_width else row)
    return table


def cones_by_channel(review: Review) -> Rows:
    """Return the cone of every channel, with its range, and its highest reading."""
    unit = review.schedule.unit
    table = Rows(("channel", "cone", "range", f"highest °{unit}"), "lllr")
    trace = review.log.trace
    for name, verdict in review.cones_by_channel.items():
        reading = trace.channel_c(name)
        low, high = (_bound(number) for number in (verdict.low, verdict.high))
        table.rows.append(
            (
                name,
                _bound(verdict.reached_number),
                f"{low} to {high}",
                _degrees(float(reading[reading == reading].max()), unit),
            )
        )
    return table


def _bound(number: float | None) -> str:
    return "none" if number is None else describe_number(number)


def _degrees(temperature_c: float, unit: TemperatureUnit) -> str:
    return f"{from_celsius(temperature_c, unit):.0f}"
