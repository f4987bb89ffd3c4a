"""What a review says: where the time went, cones and heat-work, cooling, findings and the log."""

from collections.abc import Iterator
from functools import partial

from firing.report import review_tables as tables
from firing.report.cautions import cautions_whole
from firing.report.charts.account import account_drawing
from firing.report.charts.figure import TimeAxis
from firing.report.charts.heatwork import heatwork_drawing
from firing.report.charts.review_course import both_courses, plan_and_actual, review_series
from firing.report.document import (
    Bullets,
    Chart,
    Flagged,
    FlaggedList,
    Paragraph,
    Part,
    Report,
    Section,
    Sources,
    on_page,
    on_text,
)
from firing.report.formatting import CONE_SOURCES, source_ids
from firing.report.review_sentences import (
    cause_words,
    cooling_words,
    finding_words,
    findings_told,
    heat_words,
    lead_in_words,
    log_words,
    margin_words,
    review_answer,
)
from firing.review.result import Review
from firing.review.witness import SOURCES as WITNESS_SOURCES
from firing.safety import cautions_for

_CAUSES_TOLD = 3


def review_report(review: Review) -> Report:
    """Return a review as a report; the page has the findings first, and room for more."""
    schedule = review.schedule
    findings, segments = _findings(review), _segments(review)
    cautions = cautions_for(schedule.peak_c, schedule.purpose)
    return Report(
        "Review",
        schedule.title,
        subject="Review of a firing",
        answer=review_answer(review),
        parts=(
            on_page(findings),
            Section("Plan and actual", [_course(review)], "course-heading", heading_on="page"),
            on_text(segments),
            _account(review),
            on_page(segments),
            _cones(review),
            Section("Cooling", [Bullets(cooling_words(review)), tables.cooling_through(review)]),
            *_comparison(review),
            on_text(findings),
            _log(review),
            on_page(
                Section("Cautions for the next firing", cautions_whole(cautions), "cautions"),
                Section("What this rests on", [Bullets(_basis(review))], "basis"),
                Section("Sources", [Sources(list(_source_ids(review)))]),
            ),
        ),
    )


def _findings(review: Review) -> Section:
    told = [
        Flagged(finding.severity, " ".join(finding_words(finding)), source_ids([finding.source]))
        for finding in findings_told(review)
    ]
    return Section("Findings", [FlaggedList(told)])


def _course(review: Review) -> Chart:
    draw, series = partial(plan_and_actual, review), review_series(review)
    return Chart(draw, series, review.schedule.unit, review.log.trace.started)


def _segments(review: Review) -> Section:
    parts: list[Part] = [tables.segments(review), on_text(Paragraph(f"({tables.PAIRS_NOTE})"))]
    return Section("Segments", parts if review.segments else [], heading_on="page")


def _account(review: Review) -> Section | None:
    if not review.causes:
        return None
    return Section(
        "Where the time went",
        [
            Chart(partial(account_drawing, review)),
            tables.account(review.causes),
            on_text(Bullets(cause_words(review.causes, most=_CAUSES_TOLD))),
            on_page(Bullets(cause_words(review.causes))),
        ],
        "account-heading",
    )


def _cones(review: Review) -> Section:
    margins = [Paragraph(words) for words in margin_words(review)]
    parts: list[Part] = [
        Section("Cones", [tables.cones_by_channel(review), on_text(*margins)], heading_on="text"),
        _heatwork(review),
        Section("Witness cones", [tables.witnesses(review)], heading_on="text"),
        Section("Heat-work", [Bullets(heat_words(review))], heading_on="text"),
        Section("Evenness", [tables.unevenness(review)], heading_on="text"),
    ]
    return Section("Cones and heat-work", parts, "cones", heading_on="page")


def _heatwork(review: Review) -> Chart:
    trace = review.log.trace
    axis = TimeAxis.over(trace.started, float(trace.time_s[-1]))
    cones = review.cones, review.cones_planned
    subject = f"the log, channel {trace.channels[review.channel]}"
    readings = trace.time_s, review.temperature_c
    return Chart(partial(heatwork_drawing, axis, *readings, cones, subject))


def _comparison(review: Review) -> list[Part]:
    comparison = review.comparison
    if comparison is None:
        return []
    other = comparison.other.log.name
    parts: list[Part | None] = [
        Bullets(comparison.remarks),
        Chart(partial(both_courses, review, comparison.other)),
        tables.compared_segments(review),
        tables.compared_figures(review),
    ]
    return [
        on_text(Section(f"Beside {other} (other)", parts)),
        on_page(Section(f"Beside {other}", parts, "comparison-heading")),
    ]


def _log(review: Review) -> Section:
    read, lead_in = log_words(review), lead_in_words(review)
    return Section(
        "The log",
        [
            on_text(Bullets(read), Paragraph(lead_in)),
            on_page(Bullets([*read, lead_in] if lead_in else read)),
        ],
        "log",
    )


def _basis(review: Review) -> list[str]:
    return [f"Planned durations by {review.planned_basis}.", *margin_words(review)]


def _source_ids(review: Review) -> Iterator[str]:
    yield from CONE_SOURCES
    if review.cooling:
        yield "cooling-default"
    heat = review.heat
    if heat is not None:
        yield heat.thermocouple.source
        yield from (remark.source for remark in heat.drift)
        yield from source_ids([WITNESS_SOURCES] if heat.witness is not None else [])
        if tables.cooling_through(review) is not None:
            yield "quartz-inversion-entry"
    yield from source_ids(finding.source for finding in review.findings)
