"""What a design, a resumption and a guide say: the program, why, and what is wrong with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from firing.design.result import Design
from firing.design.resume import Resumption
from firing.forecast.result import Forecast
from firing.report.cautions import cautions_in_short, cautions_named
from firing.report.document import Block, Bullets, Paragraph, Report, Section, Sources
from firing.report.forecast import cone_falls, forecast_answer, forecast_segments, milestones
from firing.report.listings import how_read_section
from firing.report.words import forecast_times, sentence
from firing.safety import DEFERENCE, cautions_for
from firing.units import TemperatureUnit, format_duration, format_temperature

if TYPE_CHECKING:
    from firing.design.guide import FaultCause, Guide

_NUMBERS_TOLD = 3
_MUCH_LONGER = 1.25
_OPTIONS = {
    "degas": "--degas holds before the glaze seals, against pinholes.",
    "drop": "--drop-to holds after the peak, so that it heals over.",
    "slow": "--slow-cool gives a softer surface.",
}
_WORTH_TELLING_S = 60.0


def design_report(design: Design) -> Report:
    """Return a design as a report: the program, why, what it costs, and what is wrong."""
    course, unit = design.forecast, design.schedule.unit
    took = format_duration(design.total_s)
    answer = [
        f"Closing to opening at {format_temperature(course.unload_c, unit)}: {took}.",
        *forecast_answer(course),
    ]
    cited = [name for reason in design.reasons for name in reason.sources]
    cited += [name for row in design.practice for name in row.sources]
    return Report(
        "Design",
        design.schedule.title,
        [
            Paragraph(f"To do first: {design.advice}") if design.advice else None,
            *_problems(design.problems),
            *map(Paragraph, answer),
            Section("", forecast_segments(course)),
            Section("Why", [Bullets(_reasons(design))]),
            Section("Beside practice", [Bullets(_practice_words(design))]),
            Section("Segments", [Bullets(_segments_words(design))]),
            Section("To know", [Bullets(design.notes)]),
            _cautions(course),
            Section("Sources", [Sources(cited)]),
        ],
        unit=unit,
        brief=_brief(design),
    )


_NOTES_SHOWN, _REASONS_SHOWN = 2, 3


def _brief(design: Design) -> list[Block | None]:
    """Return the design in short: when, which cone, what limits it, and the program."""
    course, unit = design.forecast, design.schedule.unit
    wanted = f", for cone {course.target_cone}" if course.target_cone else ""
    cautions = cautions_for(course.schedule.peak_c, course.schedule.purpose)
    limits = _limits(design)
    if len(limits) > _REASONS_SHOWN:
        limits = [*limits[:_REASONS_SHOWN], f"{len(limits) - _REASONS_SHOWN} more with --full."]
    practice = [row for row in design.practice if row.what == "heating"]
    cautioned = [] if course.ware is None else [c.message for c in course.ware.cautions]
    told = (*cautioned, " ".join(limits))
    notes = [words for words in design.notes if not any(words in one for one in told)]
    opening = format_temperature(course.unload_c, unit)
    return [
        Paragraph(f"To do first: {design.advice}") if design.advice else None,
        *_problems(design.problems),
        Paragraph(f"Closing to opening at {opening}: {format_duration(design.total_s)}."),
        Paragraph(milestones(course)),
        Paragraph(f"Comes to {course.cones.words}{wanted}.{cone_falls(course)}"),
        *(Paragraph(row.message) for row in practice),
        Paragraph("Check:") if cautioned else None,
        Bullets(cautioned) if cautioned else None,
        Section("", forecast_segments(course)),
        Section("Why", [Bullets(limits)]),
        Section("To know", [Bullets(notes[:_NOTES_SHOWN])]),
        Section(
            "",
            [
                cautions_in_short(cautions, "firing safety prints them"),
                Paragraph("Every limit with its source, and practice beside it: --full."),
            ],
        ),
    ]


def _limits(design: Design) -> list[str]:
    """Return what limits the segments, those with the same limit together."""
    numbers: dict[str, list[str]] = {}
    for index, reason in enumerate(design.reasons):
        if reason.sentences:
            numbers.setdefault(reason.sentences[0], []).append(str(index + 1))
    return [
        f"Segment{'s' if len(which) > 1 else ''} {' and '.join(which)}: {words}"
        for words, which in numbers.items()
    ]


def dry_first_report(advice: str, unit: TemperatureUnit = "C") -> Report:
    """Return what is said instead of a design where the ware is to dry first."""
    return Report(
        "Design",
        "No program yet",
        [
            Paragraph(advice),
            Section("Sources", [Sources(["drying-advice-choice", "weigh-test-practice"])]),
        ],
        unit=unit,
    )


def _reasons(design: Design) -> list[str]:
    return [
        f"Segment {index + 1}: {' '.join(reason.sentences)}"
        + "".join(f" [{name}]" for name in reason.sources)
        for index, reason in enumerate(design.reasons)
        if reason.sentences
    ]


def _practice_words(design: Design) -> list[str]:
    return [
        row.message + "".join(f" [{name}]" for name in dict.fromkeys(row.sources))
        for row in design.practice
    ]


def _segments_words(design: Design) -> list[str]:
    words = []
    if design.cost_of_segments_s is not None:
        count = len(design.schedule.segments)
        cost = format_duration(design.cost_of_segments_s)
        few = design.cost_of_segments_s < _WORTH_TELLING_S
        gain = "more would gain nothing" if few else f"more of them save at most {cost}"
        words.append(f"{count} of at most {design.controller.max_segments} are used; {gain}.")
    shown = offers(design)
    if shown:
        told = ", ".join(f"{n}: {format_duration(s)}" for n, s in shown)
        words.append(f"Closing to opening with fewer segments: {told}.")
    if design.schedule.purpose in ("glaze", "once-fired"):
        words += _options_left(design)
    return words


def _options_left(design: Design) -> list[str]:
    """Return what practice offers for a glaze and was not asked for already."""
    below = design.schedule.segments[design.schedule.peak_index + 1 :]
    had = {
        "degas": any("degassing-practice" in reason.sources for reason in design.reasons),
        "drop": any(segment.hold_s > 0.0 for segment in below),
        "slow": any(row.reason == "asked for" for row in design.cooling_limits),
    }
    left = [words for option, words in _OPTIONS.items() if not had[option]]
    if not left:
        return []
    return [f"Common practice offers more, and it is your choice: {' '.join(left)}"]


def offers(design: Design) -> list[tuple[int, float]]:
    """Return the programs with fewer segments that somebody may want: not much longer."""
    used, most_s = len(design.schedule.segments), _MUCH_LONGER * design.total_s
    return [(n, s) for n, s in design.by_segments if n < used and s <= most_s][-_NUMBERS_TOLD:]


def resume_report(
    found: Resumption, choices: Sequence[str] = (), read: Sequence[str] = ()
) -> Report:
    """Return a resumption as a report: where the firing stands, and what to key in now.

    Before it stands what the log left open (`choices`), after it how it was `read`.
    """
    course = found.forecast
    why = [
        f"Segment {index + 1}: {' '.join(reason.sentences)}"
        for index, reason in enumerate(found.reasons)
        if reason.sentences
    ]
    return Report(
        "",
        "After the interruption",
        [
            *map(Paragraph, choices),
            *map(Paragraph, found.notes),
            *_problems(found.problems),
            *_to_key_in(found),
            Paragraph(_cones(found)),
            Section("Why", [Bullets(why)]),
            how_read_section(read),
            None if course is None else _cautions(course),
        ],
        unit="C" if found.schedule is None else found.schedule.unit,
    )


def _to_key_in(found: Resumption) -> list[Block]:
    course = found.forecast
    if course is None:
        return [Paragraph("Nothing is left to key in: leave the kiln shut until it is cool.")]
    when = f"{sentence(forecast_times(course).start_words())}." if course.started else ""
    parts: list[Block] = [
        Paragraph(when),
        Section("", forecast_segments(course)),
        Paragraph(forecast_answer(course)[0]),
    ]
    last = format_temperature(found.now_c, course.schedule.unit)
    late = f"To key in if it still read {last}"
    return [Section(late if found.cooled_since else "To key in now", parts)]


def _cones(found: Resumption) -> str:
    return f"Together, log and rest come to {found.cones.words}."


def _problems(problems: tuple[str, ...]) -> list[Block]:
    if not problems:
        return []
    return [Paragraph("Not safe for this ware as it stands:"), Bullets(problems)]


def _cautions(course: Forecast) -> Section:
    cautions = cautions_for(course.schedule.peak_c, course.schedule.purpose)
    return Section("Cautions that apply", [cautions_named(cautions), Paragraph(DEFERENCE)])


def guide_report(found: Guide) -> Report:
    """Return a guide as a report."""
    parts = [
        Section("What in a schedule can cause it", [Bullets(_causes(found, True))]),
        Section(
            "Likelier than the schedule" if found.else_first else "What else can cause it",
            [Bullets(_causes(found, False))],
        ),
    ]
    if found.else_first:
        parts.reverse()
    cited = [cause.source for cause in found.causes if cause.source]
    return Report(
        "Guide",
        found.fault,
        [
            Paragraph(found.what),
            *parts,
            *_plan(found),
            Section("Sources", [Sources(list(dict.fromkeys(cited)))]),
        ],
        unit="C" if found.schedule is None else found.schedule.unit,
    )


def _causes(found: Guide, in_schedule: bool) -> list[str]:
    said: set[str] = set()
    words = []
    for cause in found.causes:
        if cause.in_schedule == in_schedule:
            words.append(_words(cause, cause.plan not in said))
            said.add(cause.plan)
    return words


def _words(cause: FaultCause, with_plan: bool) -> str:
    from firing.design.guide import certainty_words

    source = f" [{cause.source}]" if cause.source else ""
    plan = ""
    if cause.plan and with_plan:
        plan = f" This plan: {cause.plan[:1].lower()}{cause.plan[1:]}."
    return f"{cause.words} ({certainty_words(cause)}){source}{plan}"


def _plan(found: Guide) -> list[Block | None]:
    if found.schedule is None:
        return [Paragraph("Name a plan to see which of its segments that concerns.", "quiet")]
    course = found.forecast
    if not found.concerns_plan:
        purpose = found.schedule.purpose
        return [
            Paragraph(
                f"This plan is for {purpose}, and that is not where {found.fault} would come from: "
                "name the plan of the other firing."
            )
        ]
    if found.changed is None or course is None:
        return [
            Paragraph(
                "This plan has nothing that practice would have slower, longer or lower: look "
                "outside the schedule first."
            )
        ]
    longer = format_duration(found.longer_s, signed=True)
    blocks: list[Block | None] = [
        Bullets(list(found.changes)),
        *forecast_segments(course),
        Paragraph(f"{forecast_answer(course)[0]} That is {longer} from closing to opening."),
        Paragraph(forecast_answer(course)[1]),
    ]
    if course.ware is None:
        blocks.append(Paragraph("Give --load to check it against your ware."))
    elif course.ware.safe:
        blocks.append(Paragraph("It is safe for this load."))
    else:
        blocks.append(Paragraph("Not safe for this load as it stands:"))
        blocks.append(Bullets([breach.message for breach in course.breaches]))
    blocks.append(
        Paragraph("Change one thing at a time, and let witness cones and test pieces decide.")
    )
    return [Section("The changed plan", blocks)]


def faults_report(faults: Mapping[str, str]) -> Report:
    """Return the faults that the guide knows."""
    listed = [f"{name}: {what}" for name, what in faults.items()]
    return Report(
        "Guide",
        "Faults of fired ware",
        [Bullets(listed), Paragraph('Name one: firing guide "black core" plan.toml')],
    )
