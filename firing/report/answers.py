"""The answer first: what a forecast or a review comes to, in two or three sentences.

The terminal and the page open with the same sentences, so they are made here.
"""

from collections.abc import Sequence

import numpy as np

from firing.cones.equivalence import ConeVerdict
from firing.cones.naming import describe_number
from firing.forecast import Forecast
from firing.report.words import Timekeeper, sentence
from firing.review.verdict import CAUSE_NAMES, CauseShare, Finding, Review
from firing.units import SECONDS_PER_MINUTE, format_duration, format_temperature

CONES_MEANT = "self-supporting regular cones, maker's chart of 1996"
CONE_SOURCES = ("cone-chart-1996", "cone-model")
_ON_TIME_S = 60.0
_MOST_CAUSES = 3
_REST_S = 120.0


def forecast_answer(forecast: Forecast) -> list[str]:
    """Return how long the heating takes, when the peak and the opening come, and the cone."""
    unit = forecast.schedule.unit
    keeper = forecast_times(forecast)
    peak = format_temperature(forecast.peak_c, unit)
    kiln = forecast.kiln
    if kiln is not None and not kiln.reaches_peak:
        words = f"This kiln comes to {peak} {keeper.when(kiln.peak_s)} and no further."
    else:
        first_peak = next(s for s in forecast.segments if s.end_c == forecast.peak_c)
        words = (
            f"Heats for {format_duration(forecast.heating_s)} and reaches {peak} "
            f"{keeper.when(first_peak.ramp_end_s)}."
        )
    unload = format_temperature(forecast.unload_c, unit)
    if kiln is not None and kiln.stalled:
        opening = "The rest of the program is not forecast."
    elif forecast.total_s > forecast.program_s:
        opening = (
            f"Opens at {unload} {keeper.when(forecast.total_s, about=True)} "
            f"({keeper.at(forecast.total_low_s)} to {keeper.at(forecast.total_high_s)})."
        )
    else:
        opening = f"Ends {keeper.when(forecast.program_s)}, already below {unload}."
    wanted = f"; cone {forecast.target_cone} is wanted" if forecast.target_cone else ""
    return [
        f"{words} {opening}",
        f"Amounts to {cone_range(forecast.cones)}{wanted}: {CONES_MEANT}.",
    ]


def forecast_times(forecast: Forecast) -> Timekeeper:
    """Return the clock of a forecast, up to the latest opening."""
    return Timekeeper(forecast.started, max(forecast.total_high_s, forecast.program_s))


def cone_range(verdict: ConeVerdict) -> str:
    """Return the cone with its range: ``cone 5.8 (5.3 to 6.2)``."""
    if verdict.reached_number is None:
        coldest = next(iter(verdict.by_cone), "022")
        return f"less than cone {coldest}, the coldest one made"
    low = "under the coldest" if verdict.low is None else describe_number(verdict.low)
    high = describe_number(verdict.high if verdict.high is not None else verdict.reached_number)
    words = describe_number(verdict.reached_number)
    return f"cone {words}" if low == high == words else f"cone {words} ({low} to {high})"


def review_answer(review: Review) -> list[str]:
    """Return how long the firing ran and why, which cone it reached, and the highest reading."""
    return [_duration_sentence(review), _result_sentence(review)]


def _duration_sentence(review: Review) -> str:
    planned = format_duration(review.planned_s)
    if review.refused:
        return f"Not compared with the plan: {review.refused}."
    excess_s = review.excess_s
    if review.actual_s is None or excess_s is None:
        reached = [s for s in review.segments if s.end_s is not None]
        stop = f"after segment {reached[-1].index + 1}" if reached else "within segment 1"
        return f"The log does not show the end of the {planned} program: it stops {stop}."
    if abs(excess_s) < _ON_TIME_S:
        lead = f"Ran {format_duration(review.actual_s)}, as planned"
    else:
        side = "over" if excess_s > 0 else "under"
        lead = (
            f"Ran {format_duration(review.actual_s)}, {format_duration(abs(excess_s))} {side} "
            f"its {planned}"
        )
    parts = _causes_words(review)
    return f"{lead}: {parts}." if parts else f"{lead}."


def _causes_words(review: Review) -> str:
    telling = [cause for cause in review.causes if abs(cause.seconds) >= _ON_TIME_S]
    words = [
        f"{CAUSE_NAMES[cause.cause]} {format_duration(cause.seconds, signed=True)}"
        f"{_place(review, cause)}"
        for cause in telling[:_MOST_CAUSES]
    ]
    rest_s = sum(cause.seconds for cause in telling[_MOST_CAUSES:])
    if abs(rest_s) >= _REST_S:
        words.append(f"smaller causes {format_duration(rest_s, signed=True)}")
    return ", ".join(words)


def _place(review: Review, cause: CauseShare) -> str:
    """Say which segment most of a cause fell into, if one stands out."""
    shares = {
        segment.index: sum(c.seconds for c in segment.causes if c.cause == cause.cause)
        for segment in review.segments
    }
    if not shares:
        return ""
    most = max(shares, key=lambda index: shares[index] / cause.seconds)
    share = shares[most] / cause.seconds
    if share < 0.5:
        return ""
    mostly = "" if share > 0.95 else "mostly "
    return f" ({mostly}in segment {review.schedule.label(most)})"


def _result_sentence(review: Review) -> str:
    unit = review.schedule.unit
    peaks = [s.peak_c for s in review.segments if s.peak_c is not None]
    if review.refused:
        highest = format_temperature(float(np.nanmax(review.temperature_c)), unit)
        return f"Reached {cone_range(review.cones)} ({CONES_MEANT}); highest reading {highest}."
    words = f"Reached {cone_range(review.cones)}, planned {_planned_cone(review)}"
    if not peaks:
        return f"{words} ({CONES_MEANT})."
    return (
        f"{words} ({CONES_MEANT}); highest reading {format_temperature(max(peaks), unit)}, "
        f"planned {format_temperature(review.schedule.peak_c, unit)}."
    )


def cooling_words(review: Review) -> list[str]:
    """Return what the natural cooling took against the default, one sentence; empty without."""
    cooling = review.cooling
    if cooling is None:
        return []
    unit = review.schedule.unit
    span = (
        f"From {format_temperature(cooling.from_c, unit)} to "
        f"{format_temperature(cooling.to_c, unit)} in {format_duration(cooling.actual_s)}; "
        f"{format_duration(cooling.forecast_s)} expected by "
        + ("the kiln's model" if cooling.basis == "kiln" else "the default cooling curve")
    )
    parts = [
        f"{format_duration(cause.seconds, signed=True)} {CAUSE_NAMES[cause.cause]}"
        for cause in cooling.causes
    ]
    return [f"{span}: {', '.join(parts)}." if parts else f"{span}."]


def lead_in_words(review: Review) -> str:
    """Return how much of the log lies before the heating; empty if next to nothing does."""
    if review.lead_in_s < SECONDS_PER_MINUTE:
        return ""
    return (
        f"The log begins {format_duration(review.lead_in_s)} before the heating; "
        "that is not counted."
    )


def log_words(review: Review) -> list[str]:
    """Return how the log was read: file, rows, interval, dialect and notes."""
    log = review.log
    rows = f"{log.name}: {log.rows} rows, {log.used} used, one about every "
    begun = Timekeeper(log.trace.started, 0.0).date_words(0.0)
    return [
        f"{rows}{format_duration(log.interval_s)}{f', from {begun}' if begun else ''}.",
        f"Read with {log.dialect.describe()}.",
        *log.notes,
    ]


def _planned_cone(review: Review) -> str:
    number = review.cones_planned.reached_number
    return "none" if number is None else describe_number(number)


def cause_words(causes: Sequence[CauseShare], *, most: int | None = None) -> list[str]:
    """Return what each telling cause rests on and what may help, one item each."""
    words: list[str] = []
    for cause in causes[:most]:
        parts = [part for part in (cause.evidence, *_suggestion(cause.suggestions)) if part]
        if parts and abs(cause.seconds) >= _ON_TIME_S:
            words.append(f"{sentence(CAUSE_NAMES[cause.cause])}: {' '.join(map(_closed, parts))}")
    return words


def _suggestion(suggestions: Sequence[str]) -> list[str]:
    return [f"What may help: {' '.join(map(_closed, suggestions))}"] if suggestions else []


def _closed(words: str) -> str:
    return words if words.endswith((".", "!", "?")) else f"{words}."


def finding_words(finding: Finding) -> list[str]:
    """Return a finding's message, what was seen, how sure it is, and the next step."""
    words = [finding.message]
    if finding.evidence:
        words.append(f"Seen: {finding.evidence}")
    words.append(f"Confidence: {finding.confidence}")
    if finding.next_step:
        words.append(f"Next: {finding.next_step}")
    return [_closed(part) for part in words]
