"""A review as one list: where the time went, what to know, the segments and the cones.

Each entry knows what to tell of itself and which stretch of the log it is about, so that the list
and the curve can be walked together.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from firing.cones.table import describe_number
from firing.report.charts.course import marked_causes, place_of_cause
from firing.report.review import finding_words, lead_in_words, log_words, review_answer
from firing.report.review_heat import cones_by_channel, cooling_words
from firing.report.review_time import attribution_table
from firing.report.sanitize import display_width, pad, shorten, wrap
from firing.report.text import bar
from firing.report.words import SEVERITY_WORDS, closed, sentence
from firing.review.overlay import Overlay
from firing.review.result import CAUSE_NAMES, Review, ReviewedSegment
from firing.units import (
    TemperatureUnit,
    format_duration,
    format_rate,
    format_temperature,
    hours_minutes,
    in_unit,
)

from .plot_lines import reviewed_at

_BAR, _MINUTES = 8, 4
_INDENT, _LEAST = 2, 8
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
    segment: int | None = None
    """The segment it is about, from 0; None for none."""
    of_segment: bool = False
    """Whether it is that segment's own line."""
    cut: bool = False
    """Whether it is one line, however long its words are."""

    def lines(self, room: int) -> list[str]:
        """Return it in lines of `room` cells: words wrapped, number and bar on the right."""
        tail = f" {self.figure}" if self.figure else ""
        tail += f" {self.bar}" if self.bar else ""
        if self.cut:
            left = max(room - display_width(tail), _LEAST)
            return [pad(shorten(self.words, left), left) + tail]
        first, *rest = wrap(self.words, max(room - display_width(tail), _LEAST))
        if rest:
            rest = wrap(" ".join(rest), max(room - _INDENT - display_width(tail), _LEAST))
        lines = [first, *(" " * _INDENT + line for line in rest)]
        lines[0] = pad(lines[0], room - display_width(tail)) + tail
        return lines


def summary(review: Review) -> tuple[str, str]:
    """Return in two lines how long a firing ran, and how hot and to which cone."""
    planned = format_duration(review.planned_s)
    excess_s = review.printed_excess_s
    if review.actual_s is None or excess_s is None:
        ran = review_answer(review)[0]
    elif abs(excess_s) < _ON_TIME_S:
        ran = f"Ran {format_duration(review.actual_s)}, as planned."
    else:
        side = "longer" if excess_s > 0 else "shorter"
        ran = (
            f"Ran {format_duration(review.actual_s)}, {format_duration(abs(excess_s))} "
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
    """Return the whole list of a review, in its plan's unit."""
    found = [
        *_section("Where the time went, minutes", _causes(review)),
        *_section("What to know", _findings(review)),
        *_section("Segments, h:mm", _segments(review), _columns("plan", "real", "off")),
        *_section("Cones by channel", _cones(review)),
        *_section("Cooling and log", _rest(review)),
    ]
    return [_told_in(entry, review.schedule.unit) for entry in found]


def _told_in(entry: ReviewEntry, unit: TemperatureUnit) -> ReviewEntry:
    details = tuple(in_unit(words, unit) for words in entry.details)
    # A segment's words are the plan's own.
    words = entry.words if entry.of_segment else in_unit(entry.words, unit)
    return replace(entry, words=words, details=details)


def _section(
    heading: str, content: Iterator[ReviewEntry], figure: str = ""
) -> Iterator[ReviewEntry]:
    found = list(content)
    if found:
        yield ReviewEntry(heading, figure, heading=True)
        yield from found


def _causes(review: Review) -> Iterator[ReviewEntry]:
    table = attribution_table(review)
    letters = {mark.cause: f"{mark.letter} " for mark in marked_causes(review)}
    lines = zip(review.causes, table.rows, table.bars, strict=True)
    for cause, (words, minutes), share in lines:
        details = [cause.evidence, *cause.suggestions]
        segment = _segment_of(review, cause.cause)
        place = place_of_cause(review, cause.cause)
        if place is None and segment is not None and segment.start_s is not None:
            place = segment.start_s, _end_s(review, segment)
        yield ReviewEntry(
            f"{letters.get(cause.cause, '')}{words}",
            f"{minutes:>{_MINUTES}}",
            f"{bar(share, _BAR):<{_BAR}}",
            tuple(closed(sentence(text)) for text in details if text),
            place,
            segment=None if segment is None else segment.index,
        )


def _segment_of(review: Review, cause: str) -> ReviewedSegment | None:
    """Return the segment that most of a cause fell into."""

    def share_s(segment: ReviewedSegment) -> float:
        return sum(abs(part.seconds) for part in segment.causes if part.cause == cause)

    most = max(review.segments, key=share_s, default=None)
    return most if most is not None and share_s(most) > 0 else None


def _end_s(review: Review, segment: ReviewedSegment) -> float:
    return float(review.log.trace.time_s[-1]) if segment.end_s is None else segment.end_s


def _findings(review: Review) -> Iterator[ReviewEntry]:
    for finding in review.findings:
        message, *more = finding_words(finding)
        yield ReviewEntry(
            f"{SEVERITY_WORDS[finding.severity]}: {message}",
            details=(message, *more),
            span_s=None if finding.at_s is None else (finding.at_s, finding.at_s),
            segment=None if finding.at_s is None else reviewed_at(review, finding.at_s),
        )


def _columns(planned: str, real: str, off: str) -> str:
    return f"{planned:>5} {real:>5} {off:>6}"


def _segments(review: Review) -> Iterator[ReviewEntry]:
    for segment in review.segments:
        details = [*_planned_and_real(review, segment)]
        details += [
            f"{sentence(CAUSE_NAMES[cause.cause])} {format_duration(cause.seconds, signed=True)}"
            + (f": {closed(cause.evidence)}" if cause.evidence else ".")
            for cause in segment.causes
        ]
        span_s = None
        if segment.start_s is not None:
            span_s = segment.start_s, _end_s(review, segment)
        # As the two are printed, so that they add up.
        minutes = [round(s / 60.0) for s in (segment.planned_s, segment.actual_s) if s is not None]
        off_s = 60.0 * (minutes[1] - minutes[0]) if len(minutes) > 1 else None
        yield ReviewEntry(
            review.schedule.label(segment.index),
            _columns(
                hours_minutes(segment.planned_s),
                hours_minutes(segment.actual_s),
                hours_minutes(off_s, signed=True),
            ),
            details=tuple(details),
            span_s=span_s,
            segment=segment.index,
            of_segment=True,
        )


def _planned_and_real(review: Review, segment: ReviewedSegment) -> Iterator[str]:
    """Yield what was planned of a segment and what it really was, a sentence each."""
    unit = review.schedule.unit
    planned = format_duration(segment.planned_s)
    if segment.actual_s is None:
        yield f"Planned {planned}; the log holds a part of it."
    else:
        yield f"Took {format_duration(segment.actual_s)}, planned {planned}."
    rate, wanted = segment.rate_c_per_h, segment.planned_rate_c_per_h
    if rate is not None:
        beside = "" if wanted is None else f", planned {format_rate(wanted, unit)}"
        yield f"Rate really held {format_rate(rate, unit)}{beside}."
    if segment.hold_s is not None and (segment.hold_s >= 60.0 or segment.planned_hold_s):
        yield (
            f"Held {format_duration(segment.hold_s)}, planned "
            f"{format_duration(segment.planned_hold_s) if segment.planned_hold_s else 'no hold'}."
        )
    heats = segment.target_c >= review.schedule.from_c(segment.index)
    if segment.peak_c is not None and heats:
        yield (
            f"Highest {format_temperature(segment.peak_c, unit)}, planned "
            f"{format_temperature(segment.target_c, unit)}."
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


def overlay_entries(found: Overlay) -> list[ReviewEntry]:
    """Return several firings over each other as a list: each firing, what differs, the segments."""
    return [
        *_section("The firings, h:mm", _firings(found), f"{'took':>5} {'off':>6}"),
        *_section("What differs", (_remark(w, found.schedule.unit) for w in found.remarks)),
        *_section("Segments, h:mm", _of_all(found), _columns("plan", "least", "most")),
    ]


def _remark(words: str, unit: TemperatureUnit) -> ReviewEntry:
    return _told_in(ReviewEntry(words, details=(words,)), unit)


def _firings(found: Overlay) -> Iterator[ReviewEntry]:
    for firing in found.firings:
        review = firing.review
        yield ReviewEntry(
            f"{firing.letter} {firing.name}",
            f"{hours_minutes(review.actual_s):>5} "
            f"{hours_minutes(review.printed_excess_s, signed=True):>6}",
            details=(*summary(review), "del takes it out."),
        )


def _of_all(found: Overlay) -> Iterator[ReviewEntry]:
    for segment in found.segments:
        times = (segment.planned_s, segment.least_s, segment.most_s)
        details = [f"Planned {format_duration(segment.planned_s)}."]
        starts: list[float] = []
        for firing, took_s in zip(found.firings, segment.took_s, strict=True):
            if took_s is None:
                details.append(f"The log of {firing.letter} lacks a part of it.")
                continue
            rate = firing.review.segments[segment.index].rate_c_per_h
            at = "" if rate is None else f" at {format_rate(abs(rate), found.schedule.unit)}"
            details.append(f"{firing.letter} took {format_duration(took_s)}{at}.")
            starts += [at_s for at_s in firing.at_s[segment.index : segment.index + 1] if at_s]
        start_s = min(starts, default=0.0)
        yield ReviewEntry(
            found.schedule.label(segment.index),
            _columns(*map(hours_minutes, times)),
            details=tuple(details),
            span_s=(start_s, start_s + max(segment.planned_s, segment.most_s or 0.0)),
            segment=segment.index,
            of_segment=True,
        )
