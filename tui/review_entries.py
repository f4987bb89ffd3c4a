"""A review as one list: where the time went, what to know, the segments and the cones.

Each entry knows what to tell of itself and which stretch of the log it is about, so that the list
and the curve can be walked together.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from firing.cones.table import describe_number
from firing.report.review import finding_words, lead_in_words, log_words, review_answer
from firing.report.review_heat import cones_by_channel, cooling_words
from firing.report.review_time import account_table
from firing.report.text import bar
from firing.report.words import SEVERITY_WORDS, closed, sentence
from firing.review.result import CAUSE_NAMES, CauseShare, Finding, Review, ReviewedSegment
from firing.units import format_duration, format_temperature, hours_minutes

_BAR = 8
_ON_TIME_S = 60.0


@dataclass(frozen=True, slots=True)
class ReviewEntry:
    """One line of the list."""

    words: str
    figure: str = ""
    bar: str = ""
    """What it is, its number, and a bar for it."""
    details: tuple[str, ...] = ()
    """What to tell of it, a sentence or two each."""
    span_s: tuple[float, float] | None = None
    """The stretch of the log it is about [s]; None for a heading or the whole firing."""
    heading: bool = False
    """Whether it only names what follows."""


def summary(review: Review) -> tuple[str, str]:
    """Return in two lines how long a firing ran, and how hot and to which cone."""
    planned = format_duration(review.planned_s)
    if review.actual_s is None or review.excess_s is None:
        ran = review_answer(review)[0]
    elif abs(review.excess_s) < _ON_TIME_S:
        ran = f"Ran {format_duration(review.actual_s)}, as planned."
    else:
        side = "longer" if review.excess_s > 0 else "shorter"
        ran = (
            f"Ran {format_duration(review.actual_s)}, {format_duration(abs(review.excess_s))} "
            f"{side} than its program of {planned}."
        )
    unit = review.schedule.unit
    wanted = review.cones_planned.reached_number
    highest_c = float(np.nanmax(review.temperature_c))
    return ran, (
        f"Reached {review.cones.words}, planned "
        f"{'none' if wanted is None else describe_number(wanted)}; highest "
        f"{format_temperature(highest_c, unit)}, planned "
        f"{format_temperature(review.schedule.peak_c, unit)}."
    )


def review_entries(review: Review) -> list[ReviewEntry]:
    """Return the whole list of a review."""
    from .reading_fields import by_meaning

    found = [
        *_section("Where the time went, minutes", _causes(review)),
        *_section("What to know", _findings(review)),
        *_section("Segments, h:mm off plan", _segments(review)),
        *_section("Cones by channel", _cones(review)),
        *_section("Cooling and log", _rest(review)),
    ]
    return [
        replace(entry, words=by_meaning(entry.words), details=tuple(map(by_meaning, entry.details)))
        for entry in found
    ]


def _section(heading: str, content: Iterator[ReviewEntry]) -> Iterator[ReviewEntry]:
    found = list(content)
    if found:
        yield ReviewEntry(heading, heading=True)
        yield from found


def _causes(review: Review) -> Iterator[ReviewEntry]:
    table = account_table(review)
    lines = zip(review.causes, table.rows, table.bars, strict=True)
    for cause, (words, minutes), share in lines:
        details = [cause.evidence, *cause.suggestions]
        yield ReviewEntry(
            words,
            minutes,
            bar(share, _BAR),
            tuple(closed(sentence(text)) for text in details if text),
            _place_of(review, cause),
        )


def _place_of(review: Review, cause: CauseShare) -> tuple[float, float] | None:
    """Return the segment that most of a cause fell into, as a stretch of the log."""
    best: tuple[float, tuple[float, float]] | None = None
    for segment in review.segments:
        share_s = sum(abs(part.seconds) for part in segment.causes if part.cause == cause.cause)
        if segment.start_s is not None and share_s > 0 and (best is None or share_s > best[0]):
            best = share_s, (segment.start_s, _end_s(review, segment))
    if best is None and cause.cause == "late_start":
        return 0.0, review.lead_in_s
    return None if best is None else best[1]


def _end_s(review: Review, segment: ReviewedSegment) -> float:
    return float(review.log.trace.time_s[-1]) if segment.end_s is None else segment.end_s


def _findings(review: Review) -> Iterator[ReviewEntry]:
    for finding in review.findings:
        message, *more = finding_words(finding)
        yield ReviewEntry(
            f"{SEVERITY_WORDS[finding.severity]}: {message}",
            details=(message, *more),
            span_s=_finding_span(finding),
        )


def _finding_span(finding: Finding) -> tuple[float, float] | None:
    return None if finding.at_s is None else (finding.at_s, finding.at_s)


def _segments(review: Review) -> Iterator[ReviewEntry]:
    for segment in review.segments:
        details = [
            f"Planned {format_duration(segment.planned_s)}, took "
            f"{format_duration(segment.actual_s)}."
            if segment.actual_s is not None
            else f"Planned {format_duration(segment.planned_s)}; the log holds a part of it."
        ]
        details += [
            f"{sentence(CAUSE_NAMES[cause.cause])} {format_duration(cause.seconds, signed=True)}"
            + (f": {closed(cause.evidence)}" if cause.evidence else ".")
            for cause in segment.causes
        ]
        span_s = None
        if segment.start_s is not None:
            span_s = segment.start_s, _end_s(review, segment)
        yield ReviewEntry(
            review.schedule.label(segment.index),
            hours_minutes(segment.excess_s, signed=True),
            details=tuple(details),
            span_s=span_s,
        )


def _cones(review: Review) -> Iterator[ReviewEntry]:
    trace = review.log.trace
    for name, cone, span, highest in cones_by_channel(review).rows:
        hottest_s = float(trace.time_s[int(np.nanargmax(trace.channel_c(name)))])
        yield ReviewEntry(
            f"{name}: {cone}" if cone == "none" else f"{name}: cone {cone}",
            f"{highest} °{review.schedule.unit}",
            details=(
                f"Cone {cone}, {span}; highest reading {highest} °{review.schedule.unit}.",
                *review.cones.notes_in(review.schedule.unit),
                *review.cones.warnings_in(review.schedule.unit),
            ),
            span_s=(hottest_s, hottest_s),
        )


def _rest(review: Review) -> Iterator[ReviewEntry]:
    cooling = review.cooling
    if cooling is not None:
        yield ReviewEntry(
            "Cooling",
            hours_minutes(cooling.actual_s),
            details=tuple(cooling_words(review)),
            span_s=(cooling.start_s, cooling.end_s),
        )
    words = (*log_words(review), lead_in_words(review))
    yield ReviewEntry("The log", details=tuple(text for text in words if text))
