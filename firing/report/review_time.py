"""Where the time of a firing went: its duration in a sentence, its segments, and the account."""

from collections.abc import Sequence
from functools import partial

from firing.report.charts.course import attribution_drawing
from firing.report.document import (
    Block,
    Bullets,
    Chart,
    Paragraph,
    Section,
    Table,
    on_page,
    on_text,
)
from firing.report.words import closed, minutes_between, sentence
from firing.review.result import CauseShare, Review, ReviewedSegment
from firing.units import (
    SECONDS_PER_MINUTE,
    TemperatureUnit,
    format_duration,
    hours_minutes,
    rate_from_celsius,
    temperature_figure,
)

_PAIRS_NOTE = "times in h:mm; rates and holds as planned/actual"
_ON_TIME_S = 180.0
_EDGES_S = 300.0
_REST_S = 120.0
_WHOLE_BAR_S = 900.0
_MOST_CAUSES = 3
_CAUSES_TOLD = 3


def duration_sentence(review: Review) -> str:
    """Return how long the firing ran against its plan, and why."""
    words = _duration_words(review)
    if review.peak_is_hidden and not review.refused:
        return f"By what the log holds: {words[0].lower()}{words[1:]}"
    return words


def ran_words(review: Review) -> str:
    """Return how long the firing ran against its plan, without the reasons."""
    words = _duration_words(review, causes=False)
    if review.peak_is_hidden and not review.refused:
        return f"By what the log holds: {words[0].lower()}{words[1:]}"
    return words


def _duration_words(review: Review, *, causes: bool = True) -> str:
    if review.refused:
        return f"Not compared with the plan: {review.refused}."
    excess_s = review.excess_s
    if review.actual_s is None or excess_s is None:
        return _unfinished(review)
    if abs(excess_s) < _ON_TIME_S:
        lead = f"Ran {format_duration(review.actual_s)}, as planned"
    else:
        side = "over" if excess_s > 0 else "under"
        lead = (
            f"Ran {format_duration(review.actual_s)}, "
            f"{format_duration(abs(review.printed_excess_s or excess_s))} {side} "
            f"its {format_duration(review.planned_s)}"
        )
    parts = _causes_words(review) if causes else ""
    return f"{lead}: {parts}." if parts else f"{lead}."


def _unfinished(review: Review) -> str:
    """Say how far a firing or its log went that does not hold the whole program."""
    planned = format_duration(review.planned_s)
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
            f"{planned} of the program; {shown} complete in it."
        )
    open_ones = [segment for segment in review.segments if segment.end_s is None]
    where = f"within segment {open_ones[0].index + 1}" if open_ones else "before its end"
    if review.end_s is None:
        return f"The log does not show the end of the {planned} program: it stops {where}."
    into = format_duration(review.end_s - review.lead_in_s)
    if review.ended == "stopped":
        return f"Stopped after {into}, {where} of its program of {planned}.{_late_so_far(review)}"
    return f"The log ends after {into}, {where} of the program of {planned}.{_late_so_far(review)}"


def _late_so_far(review: Review) -> str:
    late_s = review.late_so_far_s
    if abs(late_s) < _ON_TIME_S:
        return ""
    side = "late" if late_s > 0 else "early"
    return (
        f" By the end of segment {review.finished[-1].index + 1} it was "
        f"{format_duration(abs(late_s))} {side}."
    )


def _causes_words(review: Review) -> str:
    telling = [cause for cause in review.causes if abs(cause.seconds) >= _ON_TIME_S]
    named = [cause for cause in telling if cause.cause != "unexplained"]
    if named and len(named) < len(telling):
        # A few minutes more or less are the edges' own error.
        telling = [c for c in telling if c in named or abs(c.seconds) >= _EDGES_S]
    printed_s = review.printed_cause_s
    words = [
        f"{c.name} {format_duration(printed_s[c.cause], signed=True)}{_place(review, c)}"
        for c in telling[:_MOST_CAUSES]
    ]
    rest_s = sum(printed_s[cause.cause] for cause in telling[_MOST_CAUSES:])
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


def segments_section(review: Review) -> Section:
    """Return the segments, planned and actual; empty if the plan belongs to another firing."""
    parts: list[Block] = [_segments_table(review), on_text(Paragraph(f"({_PAIRS_NOTE})"))]
    return Section("Segments", parts if review.segments else [], heading_on="page")


def _segments_table(review: Review) -> Table:
    """Return every segment, planned and actual."""
    unit = review.schedule.unit
    rows: list[tuple[str, ...]] = []
    planned_s = minutes_between([segment.planned_s for segment in review.segments])
    actual_s = minutes_between([segment.actual_s for segment in review.segments])
    for segment, plan_s, ran_s in zip(review.segments, planned_s, actual_s, strict=True):
        main = _main_cause(segment.causes)
        rate, hold = _planned_and_actual(segment, unit)
        rows.append(
            (
                str(segment.index + 1),
                segment.name,
                hours_minutes(plan_s),
                hours_minutes(ran_s),
                hours_minutes(
                    None if ran_s is None or plan_s is None else ran_s - plan_s, signed=True
                ),
                rate,
                "–" if segment.peak_c is None else temperature_figure(segment.peak_c, unit),
                hold,
                "" if main is None else main.name,
            )
        )
    whole = map(hours_minutes, (review.planned_s, review.actual_s))
    excess = hours_minutes(review.printed_excess_s, signed=True)
    rows.append(("", "together", *whole, excess, "", "", "", ""))
    columns = ("#", "segment", "planned", "actual", "differs", f"°{unit}/h", f"top °{unit}")
    return Table(
        (*columns, "hold", "main cause"),
        "rlrrrrrrl",
        rows,
        f"The segments, planned and actual: {_PAIRS_NOTE}",
    )


def _main_cause(causes: Sequence[CauseShare]) -> CauseShare | None:
    telling = [cause for cause in causes if abs(cause.seconds) >= SECONDS_PER_MINUTE]
    return max(telling, key=lambda cause: abs(cause.seconds), default=None)


def _planned_and_actual(segment: ReviewedSegment, unit: TemperatureUnit) -> tuple[str, str]:
    """Return a segment's rate and its hold, each as planned and as it was."""
    rates = "/".join(
        "–" if rate is None else f"{rate_from_celsius(rate, unit):.0f}"
        for rate in (segment.planned_rate_c_per_h, segment.rate_c_per_h)
    )
    if segment.planned_hold_s == 0.0 and (segment.hold_s or 0.0) < SECONDS_PER_MINUTE:
        return rates, "–"
    return rates, f"{hours_minutes(segment.planned_hold_s)}/{hours_minutes(segment.hold_s)}"


def attribution_section(review: Review) -> Section | None:
    """Return the causes with their minutes and what they rest on; None where none are known."""
    if not review.causes:
        return None
    return Section(
        "Where the time went",
        [
            Chart(partial(attribution_drawing, review)),
            attribution_table(review),
            on_text(Bullets(cause_words(review.causes, most=_CAUSES_TOLD))),
            on_page(Bullets(cause_words(review.causes))),
        ],
        "account-heading",
    )


def attribution_table(review: Review) -> Table:
    """Return the causes with their minutes, and a bar each."""
    causes, printed_s = review.causes, review.printed_cause_s
    # A whole bar is a quarter of an hour at least: minutes are not to look like much.
    largest_s = max([abs(cause.seconds) for cause in causes] + [_WHOLE_BAR_S])
    rows = []
    for cause in causes:
        minutes = round(printed_s[cause.cause] / SECONDS_PER_MINUTE)
        sign = "−" if minutes < 0 else "+" if minutes > 0 else ""
        rows.append((cause.name, f"{sign}{abs(minutes)}"))
    return Table(
        ("cause", "minutes"),
        "lr",
        rows,
        "The account: minutes longer (+) or shorter (−) than planned, by cause",
        bars=[cause.seconds / largest_s for cause in causes],
    )


def cause_words(causes: Sequence[CauseShare], *, most: int | None = None) -> list[str]:
    """Return what each telling cause rests on and what may help, one item each."""
    words: list[str] = []
    for cause in causes[:most]:
        helps = f"What may help: {' '.join(map(closed, cause.suggestions))}"
        parts = [part for part in (cause.evidence, helps if cause.suggestions else "") if part]
        if parts and abs(cause.seconds) >= _EDGES_S:
            words.append(f"{sentence(cause.name)}: {' '.join(map(closed, parts))}")
    return words
