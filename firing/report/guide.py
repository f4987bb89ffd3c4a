"""What a guide says: the causes of a fault, the likelier first, and the changed plan."""

from __future__ import annotations

from collections.abc import Mapping

from firing.design.guide import FaultCause, Guide, certainty_words
from firing.report.document import Block, Bullets, Paragraph, Report, Section, Sources
from firing.report.forecast import forecast_answer, forecast_segments
from firing.units import format_duration


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
