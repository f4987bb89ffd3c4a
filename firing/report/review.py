"""What a review says, from the answer to the sources; the page has the findings first."""

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

from firing.report.cautions import cautions_whole
from firing.report.charts.review_course import both_courses, plan_and_actual, review_series
from firing.report.document import (
    Block,
    Bullets,
    Chart,
    Flagged,
    FlaggedList,
    Paragraph,
    Report,
    Section,
    Sources,
    Table,
    on_page,
    on_text,
)
from firing.report.review_heat import (
    cones_section,
    cooling_section,
    cooling_through,
    margin_words,
    result_sentence,
)
from firing.report.review_time import account_section, duration_sentence, segments_section
from firing.report.words import CONE_SOURCES, Timekeeper, closed, cone_or_none, source_ids
from firing.review.gaps import gap_words
from firing.review.result import CAUSE_NAMES, WITNESS_SOURCES, Comparison, Finding, Review
from firing.safety import cautions_for
from firing.units import SECONDS_PER_MINUTE, format_duration, hours_minutes, temperature_figure

_LONG_LEAD_IN_S = 1800.0
_OF_THE_ACCOUNT = ("ran_long", "ran_short", "evened_out")


def review_report(review: Review) -> Report:
    """Return a review as a report; the page has the findings first, and room for more."""
    schedule = review.schedule
    findings, segments = _findings(review), segments_section(review)
    answer = review_answer(review)
    cautions = cautions_for(schedule.peak_c, schedule.purpose)
    return Report(
        "Review",
        schedule.title,
        unit=schedule.unit,
        subject="Review of a firing",
        answer=answer,
        parts=(
            on_page(findings),
            Section("Plan and actual", [_course(review)], "course-heading", heading_on="page"),
            on_text(segments),
            account_section(review),
            on_page(segments),
            cones_section(review),
            cooling_section(review),
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


def review_answer(review: Review) -> list[str]:
    """Return how long the firing ran and why, which cone it reached, and the highest reading.

    What the log left open and what it lacks stand before them.
    """
    seen = [duration_sentence(review), result_sentence(review)]
    lacks = gap_words(review.gaps, review.schedule.unit)
    return [*review.log.open_choices, *lacks, *seen]


def _findings(review: Review) -> Section:
    told = [
        Flagged(finding.severity, " ".join(finding_words(finding)), source_ids([finding.source]))
        for finding in findings_told(review)
    ]
    return Section("Findings", [FlaggedList(told)])


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
    return [closed(part) for part in words]


def _course(review: Review) -> Chart:
    draw, series = partial(plan_and_actual, review), review_series(review)
    return Chart(draw, series, review.schedule.unit, review.log.trace.started)


def _comparison(review: Review) -> list[Block]:
    comparison = review.comparison
    if comparison is None:
        return []
    other = comparison.other.log.name
    parts: list[Block | None] = [
        Bullets(comparison.remarks),
        Chart(partial(both_courses, review, comparison.other)),
        _compared_segments(review, comparison),
        _compared_figures(review, comparison),
    ]
    return [
        on_text(Section(f"Beside {other} (other)", parts)),
        on_page(Section(f"Beside {other}", parts, "comparison-heading")),
    ]


def _compared_segments(review: Review, comparison: Comparison) -> Table | None:
    if not comparison.segments:
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


def _compared_figures(review: Review, comparison: Comparison) -> Table:
    unit = review.schedule.unit
    rows = [
        (CAUSE_NAMES[pair.cause], *(hours_minutes(s, signed=True) for s in both_s))
        for pair in comparison.causes
        if max(map(abs, both_s := (pair.this_s, pair.other_s))) >= SECONDS_PER_MINUTE
    ]
    peaks = comparison.this_peak_c, comparison.other_peak_c
    rows.append((f"highest °{unit}", *(temperature_figure(peak_c, unit) for peak_c in peaks)))
    numbers = review.cones.reached_number, comparison.other.cones.reached_number
    rows.append(("cone", *map(cone_or_none, numbers)))
    cooling = comparison.cooling
    if cooling is not None:
        ends = (temperature_figure(at_c, unit) for at_c in (cooling.from_c, cooling.to_c))
        span = f"cooling {' to '.join(ends)} °{unit}"
        rows.append((span, *map(hours_minutes, (cooling.this_s, cooling.other_s))))
    return Table(("", "this", "other"), "lrr", rows, "Causes, peak, cone and cooling of both")


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


def log_words(review: Review) -> list[str]:
    """Return how the log was read: file, rows, interval, dialect and notes."""
    log = review.log
    rows = f"{log.name}: {log.rows} rows, {log.used} used, one about every "
    begun = Timekeeper(log.trace.started, 0.0).date_words(0.0)
    return [
        f"{rows}{format_duration(log.interval_s)}{f', from {begun}' if begun else ''}.",
        f"Read with {log.dialect.describe()}.",
        *log.other_notes,
    ]


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
        if cooling_through(review) is not None:
            yield "quartz-inversion-entry"
    yield from source_ids(finding.source for finding in review.findings)
