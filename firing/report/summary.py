"""The answer first: what a forecast or a review comes to, in two or three sentences.

The terminal and the page open with the same sentences, so they are made here.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from firing.cones.equivalence import ConeVerdict
from firing.cones.table import describe_number, describe_range
from firing.forecast.result import Forecast
from firing.report.formatting import Timekeeper, sentence
from firing.review.result import CauseShare, Finding, Review
from firing.units import SECONDS_PER_MINUTE, format_duration, format_temperature

CONES_MEANT = "self-supporting regular cones, maker's chart of 1996"
CONE_SOURCES = ("cone-chart-1996", "cone-model")
_ON_TIME_S = 180.0
_EDGES_S = 300.0
_LONG_LEAD_IN_S = 1800.0
_OF_THE_ACCOUNT = ("ran_long", "ran_short", "evened_out")
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
    words = describe_number(verdict.reached_number)
    high = verdict.reached_number if verdict.high is None else verdict.high
    span = describe_range(verdict.low, high)
    # Between two cones of the zero series the number has named both already.
    known = span.removeprefix("between ").replace(" and ", "–")
    return f"cone {words}" if words.startswith(known) else f"cone {words} ({span})"


def review_answer(review: Review) -> list[str]:
    """Return how long the firing ran and why, which cone it reached, and the highest reading."""
    return [_duration_sentence(review), _result_sentence(review)]


def _duration_sentence(review: Review) -> str:
    planned = format_duration(review.planned_s)
    if review.refused:
        return f"Not compared with the plan: {review.refused}."
    excess_s = review.excess_s
    if review.actual_s is None or excess_s is None:
        return _unfinished(review, planned)
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


def _unfinished(review: Review, planned: str) -> str:
    """Say how far a firing or its log went that does not hold the whole program."""
    whole = [segment for segment in review.segments if segment.actual_s is not None]
    if review.begins_inside:
        both = " and ends" if review.ended == "log" else ""
        shown = (
            f"segment {', '.join(str(s.index + 1) for s in whole)} is" if whole else "no segment is"
        )
        if len(whole) > 1:
            shown = f"segments {', '.join(str(s.index + 1) for s in whole)} are"
        return (
            f"The log begins{both} inside the firing, so its hours cannot be set against the "
            f"{planned} of the program; {shown} in it whole."
        )
    open_ones = [segment for segment in review.segments if segment.end_s is None]
    where = f"within segment {open_ones[0].index + 1}" if open_ones else "before its end"
    if review.end_s is None:
        return f"The log does not show the end of the {planned} program: it stops {where}."
    into = format_duration(review.end_s - review.lead_in_s)
    if review.ended == "stopped":
        return f"Stopped after {into}, {where} of its program of {planned}."
    return f"The log ends after {into}, {where} of the program of {planned}."


def _causes_words(review: Review) -> str:
    telling = [cause for cause in review.causes if abs(cause.seconds) >= _ON_TIME_S]
    named = [cause for cause in telling if cause.cause != "unexplained"]
    if named and len(named) < len(telling):
        # A few minutes more or less are the edges' own error.
        telling = [c for c in telling if c in named or abs(c.seconds) >= _EDGES_S]
    words = [
        f"{cause.name} {format_duration(cause.seconds, signed=True)}{_place(review, cause)}"
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
    partly = review.begins_inside or review.ended == "log"
    came = "What is in it amounts to" if partly else "Reached"
    words = f"{came} {cone_range(review.cones)}, planned {_planned_cone(review)}"
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
        f"{format_duration(cause.seconds, signed=True)} {cause.name}" for cause in cooling.causes
    ]
    return [f"{span}: {', '.join(parts)}." if parts else f"{span}."]


def lead_in_words(review: Review) -> str:
    """Return how much of the log lies before the heating; empty if next to nothing does."""
    if review.lead_in_s < SECONDS_PER_MINUTE:
        return ""
    begins = f"The log begins {format_duration(review.lead_in_s)} before the heating"
    if any(cause.cause == "late_start" for cause in review.causes):
        return f"{begins}; what of it came after --start is counted as a late start."
    hint = ""
    if review.lead_in_s >= _LONG_LEAD_IN_S and review.log.trace.started is not None:
        hint = " --start with the hour it was meant to begin tells by how much it was late."
    return f"{begins}; that is not counted.{hint}"


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
        if parts and abs(cause.seconds) >= _EDGES_S:
            words.append(f"{sentence(cause.name)}: {' '.join(map(_closed, parts))}")
    return words


def _suggestion(suggestions: Sequence[str]) -> list[str]:
    return [f"What may help: {' '.join(map(_closed, suggestions))}"] if suggestions else []


def _closed(words: str) -> str:
    return words if words.endswith((".", "!", "?")) else f"{words}."


def findings_told(review: Review) -> list[Finding]:
    """Return the findings without what the account, shown before them, has said already."""
    return [
        replace(finding, evidence='as told under "Where the time went"')
        if finding.id in _OF_THE_ACCOUNT and finding.evidence and review.causes
        else finding
        for finding in review.findings
    ]


def finding_words(finding: Finding) -> list[str]:
    """Return a finding's message, what was seen, how sure it is, and the next step."""
    words = [finding.message]
    if finding.evidence:
        words.append(f"Seen: {finding.evidence}")
    words.append(f"Confidence: {finding.confidence}")
    if finding.next_step:
        words.append(f"Next: {finding.next_step}")
    return [_closed(part) for part in words]
