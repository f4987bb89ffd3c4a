"""What a review says: in short, on a page with one sheet to print, and whole.

The short form and the page begin alike: what happened, why, and what to do next.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial

from firing.report.cautions import cautions_named, cautions_whole
from firing.report.charts.course import (
    both_courses,
    overlaid_courses,
    overlaid_series,
    plan_and_actual,
    review_series,
)
from firing.report.document import (
    Block,
    Bullets,
    Chart,
    FillIn,
    Flagged,
    FlaggedList,
    Numbered,
    Paragraph,
    Report,
    Section,
    Sources,
    Table,
    Tile,
    Tiles,
    on_page,
    on_text,
)
from firing.report.review_heat import (
    cones_section,
    cooling_section,
    cooling_through,
    margin_words,
    result_sentence,
    witness_words,
)
from firing.report.review_time import (
    attribution_section,
    duration_sentence,
    ran_words,
    segments_section,
)
from firing.report.words import (
    CONE_SOURCES,
    Timekeeper,
    closed,
    cone_or_none,
    first_sentence,
    source_ids,
)
from firing.review.gaps import LACKED
from firing.review.overlay import Overlay
from firing.review.result import (
    CAUSE_NAMES,
    WITNESS_SOURCES,
    CauseShare,
    Comparison,
    Finding,
    Review,
)
from firing.review.thresholds import TOLD_CAUSE_S
from firing.safety import DEFERENCE, cautions_for
from firing.units import (
    SECONDS_PER_MINUTE,
    Wording,
    format_duration,
    format_temperature,
    hours_minutes,
    temperature_figure,
)

_LONG_LEAD_IN_S = 1800.0
_OF_THE_ACCOUNT = ("ran_long", "ran_short", "evened_out")


def review_report(review: Review) -> Report:
    """Return a review as a report; the page has the findings first, and room for more."""
    schedule = review.schedule
    margins = margin_words(review)
    findings, segments = _findings(review), segments_section(review)
    account, cones = attribution_section(review), cones_section(review, margins)
    cooling, log = cooling_section(review), _log(review)
    answer, course = _short_answer(review), _course(review)
    why, steps = _why(review), _steps(review)
    cautions = cautions_for(schedule.peak_c, schedule.purpose)
    basis = [f"Planned durations by {review.planned_basis}.", *margins]
    return Report(
        "Review",
        schedule.title,
        unit=schedule.unit,
        subject="Review of a firing",
        answer=answer,
        brief=_brief(review, answer, why, steps, course),
        parts=(
            on_page(
                Tiles(_tiles(review)),
                why,
                Section("Next time", [Numbered(steps[: _STEPS_SHOWN + 1])]),
                Section("Plan and actual", [course], "course-heading"),
                _what_else(review),
                FillIn(["Notes"]),
                Section(
                    "Cautions for the next firing",
                    [cautions_named(cautions), Paragraph(DEFERENCE, "deference")],
                    "caution-names",
                ),
                *(_folded(part) for part in (findings, account, segments, cones, cooling)),
            ),
            on_text(_in_kiln(review), course, segments, account, cones, cooling),
            *_comparison(review),
            on_text(findings, log),
            on_page(
                _folded(log),
                Section(
                    "The cautions in full",
                    cautions_whole(cautions),
                    "cautions",
                    folded=True,
                ),
                Section("How we know", [Bullets(basis)], "basis", folded=True),
                Section("Sources", [Sources(list(_source_ids(review)))], folded=True),
            ),
        ),
    )


def _folded(section: Section | None) -> Section | None:
    return None if section is None else replace(section, folded=True)


_CAUSES_SHOWN, _STEPS_SHOWN, _OTHERS_SHOWN = 3, 3, 3
_FROM_S = 180.0
"""A cause of fewer minutes is not among the first things to say [s]."""


def _brief(
    review: Review, answer: Sequence[str], why: Section, steps: Sequence[str], course: Chart
) -> list[Block | None]:
    """Return the review in short: what happened, why, and what next."""
    first = _first_cause(review)
    return [
        *map(Paragraph, answer[:-1]),
        Paragraph(result_sentence(review, brief=True)),
        _in_kiln(review),
        Paragraph(f"Why: {first}.") if first else None,
        Paragraph(f"Next: {first_sentence(steps[0])}")
        if steps
        else Paragraph("Next: nothing to change."),
        why,
        Section("Then", [Bullets([first_sentence(s) for s in steps[1:_STEPS_SHOWN]])]),
        _beside(review),
        _what_else(review, most=2),
        Section("", [course]),
        Section("", [Paragraph(_MORE)]),
    ]


def _in_kiln(review: Review) -> Paragraph | None:
    """Return the kiln the cone's range is for: its thermocouple is part of that range."""
    if review.kiln is None or review.kiln_unused or review.heat is None:
        return None
    off_c, unit = review.heat.thermocouple.tolerance_c, review.schedule.unit
    size = "" if off_c is None else f", within {Wording(unit).difference(off_c)}"
    fitted, then = review.kiln.fitted, ""
    if fitted.learnt and any(one.on > fitted.learnt for one in review.kiln.history):
        power = f"{100.0 * fitted.power:.0f} %"
        then = f" Its power is that of {fitted.learnt}, {power} of what its file describes."
    return Paragraph(
        f"Reviewed in {review.kiln.name}: the cone's range takes in its thermocouple's class{size}."
        + then
    )


def _beside(review: Review) -> Section | None:
    """Return what sets the firing apart from the one it is compared with."""
    comparison = review.comparison
    if comparison is None:
        return None
    differ_s = None
    if comparison.this_s is not None and comparison.other_s is not None:
        differ_s = comparison.this_s - comparison.other_s
    hours = []
    if differ_s is not None and abs(differ_s) < SECONDS_PER_MINUTE:
        hours = ["Took as long as the other, to the minute."]
    elif differ_s is not None:
        hours = [f"Took {format_duration(differ_s, signed=True)}."]
    return Section(f"Beside {comparison.other.log.name}", [Bullets([*hours, *comparison.remarks])])


_MORE = "All of it: --full. To send or print: --html FILE. Cautions: firing safety PLAN."


def _short_answer(review: Review) -> list[str]:
    """Return what stands before all else, hours and cone; the reasons follow with their minutes."""
    opening = [*review.log.open_choices, *_doubt(review), *review.lacks]
    return [*opening, ran_words(review), result_sentence(review)]


def _doubt(review: Review) -> list[str]:
    """Return the question that stands before all figures if the plan may be another's."""
    return [f.message for f in review.findings if f.id == "plan_doubted"]


def _telling(review: Review) -> list[tuple[CauseShare, float]]:
    """Return the causes worth saying first, with their minutes as printed [s], largest first."""
    if review.plan_doubt:  # what explains another plan's minutes sends a potter to a sound kiln
        return []
    printed_s = review.printed_cause_s
    shown = [(c, printed_s[c.cause]) for c in review.causes]
    excess_s = review.excess_s
    least_s = _FROM_S
    if excess_s is not None and abs(excess_s) < _FROM_S:  # "as planned" has no reason of 4 min
        least_s = TOLD_CAUSE_S
    if review.actual_s is None:
        shown = [(c, c.seconds) for c in review.causes_so_far]
    return [
        (c, s)
        for c, s in shown
        if abs(s) >= least_s and (c.cause != "unexplained" or _is_lacked(c))
    ]


def _is_lacked(cause: CauseShare) -> bool:
    """Return whether a gap in the log leaves a cause open."""
    return cause.cause == "unexplained" and cause.evidence.startswith(LACKED)


def _first_cause(review: Review) -> str:
    telling = _telling(review)
    if not telling:
        return ""
    cause, seconds = telling[0]
    mostly = "mostly " if len(telling) > 1 else ""
    so_far = " so far" if review.actual_s is None else ""
    if _is_lacked(cause):
        return f"{mostly}not known ({format_duration(seconds, signed=True)}, the log lacks it)"
    return f"{mostly}{cause.name}, {format_duration(seconds, signed=True)}{so_far}"


def _why(review: Review) -> Section:
    """Return the largest causes, each with its minutes and where it shows."""
    words = []
    for cause, seconds in _telling(review)[:_CAUSES_SHOWN]:
        seen = f": {cause.evidence}" if cause.evidence else ""
        words.append(closed(f"{format_duration(seconds, signed=True)} {cause.name}{seen}"))
    return Section("Why", [Bullets(words)])


def _steps(review: Review) -> list[str]:
    """Return what to do next, the most pressing first, each once."""
    of_causes = [step for cause, _ in _telling(review) for step in cause.suggestions[:1]]
    steps: list[str] = []
    for finding in review.findings:
        if review.plan_doubt and finding.id != "plan_doubted":
            continue
        if finding.severity == "note" or not finding.next_step:
            continue
        if finding.id == "stopped_early" and review.ended == "log" and of_causes:
            # A firing that may still run: what made it late comes before how it was logged.
            steps += [*of_causes, "'firing resume' with this log says what is left to fire."]
        steps.append(finding.next_step)
    steps += of_causes
    told: dict[str, str] = {}
    for step in map(closed, steps):
        head = first_sentence(step).split(";")[0].rstrip(".")
        if not any(head.startswith(known) or known.startswith(head) for known in told):
            told[head] = step
    return list(told.values())


def _what_else(review: Review, most: int = _OTHERS_SHOWN) -> Section:
    """Return the other findings' messages in short, the most pressing first."""
    said = {*_OF_THE_ACCOUNT, "nothing_wrong", "plan_unrelated", "plan_doubted", "gap"}
    if review.plan_comes_to_its_cone and any(f.id == "cone_missed" for f in review.findings):
        said.add("cone_off_target")  # its miss is told once
    others = [finding for finding in review.findings if finding.id not in said]
    words = [first_sentence(finding.message) for finding in others[:most]]
    more = len(others) - len(words)
    if more > 0:
        words.append(f"{more} more to know.")
    return Section("What else", [Bullets(words)])


def _tiles(review: Review) -> list[Tile]:
    """Return hours, cone, peak and cooling, each beside what was planned."""
    unit = review.schedule.unit
    seen = witness_words(review)
    tiles = [Tile("Witness cones", seen)] if seen else []
    if review.actual_s is not None and not review.refused:
        excess_s = review.printed_excess_s or 0.0
        planned = format_duration(review.planned_s)
        beside = f"as planned ({planned})"
        if abs(excess_s) >= _FROM_S:
            beside = f"{format_duration(excess_s, signed=True)} on {planned}"
        late = any(finding.id == "ran_long" for finding in review.findings)
        tiles.append(Tile("Heating", format_duration(review.actual_s), beside, not late))
    wanted = review.schedule.cone
    planned_cone = cone_or_none(review.cones_planned.reached_number)
    off = any(f.id in ("cone_missed", "cone_off_target", "peak_missed") for f in review.findings)
    least = "at least " if review.cone_is_least else ""
    tiles.append(
        Tile(
            "Cone by the thermocouple",
            f"{least}{cone_or_none(review.cones.reached_number)}",
            f"for cone {wanted}" if wanted else f"planned {planned_cone}",
            None if review.refused else not off,
        )
    )
    tiles.append(
        Tile(
            "Highest reading",
            format_temperature(review.peak_c, unit),
            "" if review.refused else f"planned {format_temperature(review.schedule.peak_c, unit)}",
        )
    )
    cooling = review.cooling
    if cooling is not None:
        span = (
            f"{temperature_figure(cooling.from_c, unit)} to "
            f"{format_temperature(cooling.to_c, unit)}, "
            f"expected {format_duration(cooling.forecast_s)}"
        )
        tiles.append(Tile("Cooling", format_duration(cooling.actual_s), span))
    return tiles


def review_answer(review: Review) -> list[str]:
    """Return how long the firing ran and why, which cone it reached, and the highest reading.

    What the log left open and what it lacks stand before them.
    """
    seen = [duration_sentence(review), result_sentence(review)]
    return [*review.log.open_choices, *_doubt(review), *review.lacks, *seen]


def _findings(review: Review) -> Section:
    told = [
        Flagged(finding.severity, " ".join(finding_words(finding)), source_ids([finding.source]))
        for finding in findings_told(review)
    ]
    return Section("Findings", [FlaggedList(told)])


def findings_told(review: Review) -> list[Finding]:
    """Return the findings without what the account, shown before them, has said already."""
    return [
        replace(finding, evidence='see "Where the time went"')
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


def overlay_report(found: Overlay) -> Report:
    """Return several firings of one plan over each other as a report."""
    unit = found.schedule.unit
    by = "by their segments" if found.align == "segment" else "by the clock"
    chart = Chart(partial(overlaid_courses, found), overlaid_series(found), unit)
    return Report(
        "Compare",
        found.schedule.title,
        unit=unit,
        subject=f"{len(found.firings)} firings over each other, {by}",
        answer=found.remarks[:1],
        parts=(
            Bullets(found.remarks[1:]),  # the first is the answer
            Section("", [chart]),
            overlaid_table(found),
            overlaid_segments(found),
        ),
    )


def overlaid_table(found: Overlay) -> Table:
    """Return a row a firing: when, how long, how hot, and which cone."""
    unit = found.schedule.unit
    rows = []
    for firing in found.firings:
        review, started = firing.review, firing.review.log.trace.started
        off = hours_minutes(review.printed_excess_s, signed=True)
        rows.append(
            (
                firing.letter,
                firing.name,
                "–" if started is None else Timekeeper(started, 0.0).date_words(0.0),
                hours_minutes(review.actual_s),
                off,
                temperature_figure(review.peak_c, unit),
                cone_or_none(review.cones.reached_number),
            )
        )
    headers = ("", "log", "began", "took", "off plan", f"highest °{unit}", "cone")
    return Table(headers, "lllrrrr", rows, "The firings (h:mm)")


def overlaid_segments(found: Overlay) -> Table | None:
    """Return what every segment took in every firing; None where no log is of the plan."""
    if not found.segments:
        return None
    letters = [firing.letter for firing in found.firings]
    rows = [
        (
            str(segment.index + 1),
            segment.name,
            hours_minutes(segment.planned_s),
            *map(hours_minutes, segment.took_s),
        )
        for segment in found.segments
    ]
    whole = [hours_minutes(firing.review.actual_s) for firing in found.firings]
    rows.append(("", "together", hours_minutes(found.firings[0].review.planned_s), *whole))
    return Table(
        ("#", "segment", "planned", *letters),
        "rl" + "r" * (1 + len(letters)),
        rows,
        "What every segment took in every firing (h:mm)",
    )


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
        hint = " --start with the hour it was meant to begin shows how late it was."
    return f"{begins}; that is not counted.{hint}"


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
