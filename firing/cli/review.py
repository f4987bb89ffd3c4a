"""``firing review``: what a firing really did."""

from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firing.cli import outcome
from firing.cli.arguments import (
    align_option,
    html_option,
    json_option,
    kiln_options,
    log_options,
    logbook_option,
    report_options,
    take_reading,
)
from firing.clock import parse_when
from firing.errors import FiringError
from firing.logs.reader import open_log

if TYPE_CHECKING:
    from firing.logs.options import ReadingOptions
    from firing.logs.reader import Log
    from firing.review.overlay import Align
    from firing.review.result import Review


@click.command("review")
@click.argument("schedule")
@click.argument("logs", metavar="LOG...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--start",
    metavar="WHEN",
    help="When it was meant to start; what came before is then a late start.",
)
@click.option("--cone", metavar="CONE", help="Target cone, if not the schedule's own.")
@click.option(
    "--date",
    "began",
    metavar="WHEN",
    help="When a log without clock times began: 2026-11-03 08:15.",
)
@click.option(
    "--witness",
    "witnesses",
    multiple=True,
    metavar="CONE=SEEN@PLACE",
    help='A cone that stood in the kiln: "6=3:00@top", "6=down", "7=standing"; may be given again.',
)
@click.option(
    "--write-offset",
    is_flag=True,
    help="Write the offset the witness cones show into the --kiln file.",
)
@click.option(
    "--mend",
    "mended_file",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Write the plan at rates the kiln keeps, for the same cone, to FILE.",
)
@click.option(
    "--compare",
    "others",
    metavar="LOG2",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Another firing of the plan, set beside this one; may be given again.",
)
@click.option("--keep", is_flag=True, help="Keep LOG in the logbook, with plan, kiln and cones.")
@logbook_option
@kiln_options
@log_options
@html_option
@report_options
@json_option
def review_command(
    schedule: str,
    logs: tuple[Path, ...],
    start: str | None,
    cone: str | None,
    began: str | None,
    witnesses: tuple[str, ...],
    write_offset: bool,
    mended_file: Path | None,
    others: tuple[Path, ...],
    keep: bool,
    place: Path | None,
    kiln: str | None,
    load: str | None,
    channel: str | None,
    html: Path | None,
    overwrite: bool,
    as_json: bool,
    **reading: Any,
) -> int:
    """Compare LOG, a kiln log, with SCHEDULE, the plan it was fired by.

    Several files are the parts of one firing.  With a kiln file the review knows what that kiln
    could have done.  Options of reading hold for LOG2 too, but for --part.
    """
    from firing.files.kinds import open_file
    from firing.report.review import review_report
    from firing.review.review import review
    from firing.schedule.file import open_schedule

    plan = open_schedule(schedule)
    if cone is not None:
        from firing.cones.table import parse_cone

        plan = replace(plan, cone=parse_cone(cone))
    if write_offset:
        _check_offset(kiln, witnesses)
    if mended_file is not None:
        _check_mend(mended_file, schedule, logs, kiln, load, others)
    if keep and len(logs) > 1:
        raise FiringError("--keep keeps one log; join the parts into one file first")
    how = take_reading(reading)
    record, number = open_log(logs, channel, how)
    if began is not None and record.trace.started is None:
        record = replace(record, trace=replace(record.trace, started=parse_when(began)))
    due = None if start is None else parse_when(start, near=record.trace.started)
    beside = [open_log(other, channel, replace(how, part=None)) for other in others]
    result = review(
        plan,
        record,
        channel=number,
        due=due,
        kiln=open_file("kiln", kiln),
        load=open_file("load", load),
        witnesses=_witnesses(witnesses),
        compare_with=[log for log, _ in beside],
        compare_channel=[place for _, place in beside],
    )
    if result.plan_doubt or result.refused:
        result = _with_plan_named(result, Path(schedule).parent, logs[0].parent)
    written: dict[str, Any] = {}
    if write_offset:
        assert kiln is not None
        written = {"offset_written": _write_offset(Path(kiln), result)}
    not_mended, failed = "", False
    if mended_file is not None:
        result, not_mended, failed = _write_mended(mended_file, result, overwrite=overwrite)
        written["mended_file"] = None if not_mended else str(mended_file)
        written["not_mended"] = not_mended
    if keep:
        said = (how, channel, record, witnesses)
        written["kept"] = _keep(logs[0], place, schedule, kiln, load, *said)
    if html is not None:
        outcome.page(review_report(result), html, overwrite=overwrite)
    if as_json:
        outcome.document({**result.to_dict(), **written})
    else:
        outcome.report(review_report(result))
    if mended_file is not None:
        outcome.note(not_mended or _mended_words(mended_file, result))
    return outcome.REFUSED if failed else outcome.act_if(result.needs_action)


def _with_plan_named(result: "Review", *folders: Path) -> "Review":
    """Name the plan that was fired, if it lies beside the plan or the log, or is a ready one."""
    from firing.files.kinds import ready_names
    from firing.review.which_plan import name_the_plan
    from firing.schedule.file import open_schedule

    beside = sorted({path for folder in folders for path in folder.glob("*.toml")})
    plans = {}
    for name in [*map(str, beside[:_PLANS_READ]), *ready_names()]:
        with suppress(FiringError):  # a kiln's file, say
            plans[name] = open_schedule(name)
    return name_the_plan(result, plans)


_PLANS_READ = 50


def _keep(
    log: Path,
    place: Path | None,
    schedule: str,
    kiln: str | None,
    load: str | None,
    how: "ReadingOptions",
    channel: str | None,
    record: "Log",
    witnesses: tuple[str, ...],
) -> dict[str, Any]:
    """Keep the log, say so, and return what became of it as the JSON shows it."""
    from firing.logbook.keeping import keep_one
    from firing.logbook.record import Entry

    began = record.trace.started
    said = Entry(
        "",
        b"",
        reading=how.given(),
        channel=channel or "",
        began_at=None if began is None else began.timestamp(),
        witnesses=witnesses,
    )
    kept = keep_one(log, place=place, plan=schedule, kiln=kiln, load=load, said=said)
    outcome.note(kept.words)
    return kept.to_dict()


@click.command("compare")
@click.argument("logs", metavar="LOG...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--schedule", metavar="PLAN", required=True, help="The plan they were fired by.")
@align_option
@kiln_options
@log_options
@html_option
@report_options
@json_option
def compare_command(
    logs: tuple[Path, ...],
    schedule: str,
    align: "Align",
    kiln: str | None,
    load: str | None,
    channel: str | None,
    html: Path | None,
    overwrite: bool,
    as_json: bool,
    **reading: Any,
) -> int:
    """Lay two to six firings of one plan over each other, a LOG each.

    What differs comes first, then the curves, and what every segment took in every firing.
    """
    from firing.files.kinds import open_file
    from firing.report.review import overlay_report
    from firing.review.overlay import overlay
    from firing.review.review import review
    from firing.schedule.file import open_schedule

    plan, how = open_schedule(schedule), take_reading(reading)
    of_kiln = {"kiln": open_file("kiln", kiln), "load": open_file("load", load)}
    read = [open_log(log, channel, how) for log in logs]
    found = overlay([review(plan, log, channel=at, **of_kiln) for log, at in read], align)
    if html is not None:
        outcome.page(overlay_report(found), html, overwrite=overwrite)
    if as_json:
        outcome.document(found.to_dict())
    else:
        outcome.report(overlay_report(found))
    return outcome.DONE


def _witnesses(told: tuple[str, ...]) -> tuple[Any, ...]:
    if not told:
        return ()
    from firing.review.witness import parse_witness

    return tuple(map(parse_witness, told))


def _check_offset(kiln: str | None, witnesses: tuple[str, ...]) -> None:
    """Refuse before anything is read what could not be written afterwards."""
    if kiln is None or not Path(kiln).is_file():
        raise FiringError(
            "--write-offset changes a kiln file of yours, so --kiln has to name one; copy the "
            "example first if you have none"
        )
    if not witnesses:
        raise FiringError(
            '--write-offset needs witness cones to learn from; add --witness "6=3:00@top"'
        )


def _write_offset(path: Path, result: "Review") -> dict[str, Any]:
    """Write the offset, say what was written, and return it as the JSON shows it."""
    from firing.review.witness import write_offset

    if result.heat is None or result.heat.witness is None:
        raise FiringError(
            "the log lacks a part of the heat-work, so its witness cones show no offset and none "
            "was written; take a firing with a complete log"
        )
    before_c, written_c = write_offset(path, result.heat.witness.kiln)
    outcome.note(
        f"{path}: kiln_reads_low_c in [fitted] was {before_c:g} °C and is now {written_c:g} °C; "
        "nothing else was changed"
    )
    return {"file": str(path), "before_c": before_c, "after_c": written_c}


def _check_mend(path: Path, *inputs: Any) -> None:
    """Refuse to write the mended plan over anything that was given."""
    given = [Path(each) for one in inputs for each in (one if isinstance(one, tuple) else (one,))
             if each is not None]  # fmt: skip
    if any(each.exists() and path.exists() and each.samefile(path) for each in given):
        raise FiringError(
            f"--mend {path} would write over a file that was given; choose another name"
        )


def _write_mended(path: Path, result: "Review", *, overwrite: bool) -> tuple["Review", str, bool]:
    """Write the mended plan; return the review with it, or why there is none.

    Last is whether a plan should have been mended and could not be.
    """
    from firing.review.mending import mending_of
    from firing.schedule.file import write_schedule

    try:
        mended = mending_of(result)
    except FiringError as error:
        return result, f"{path} was not written: {error}", True
    if not mended.changes:
        words = "every ramp kept its rate, so the plan can stay as it is"
        return result, f"{path} was not written: {words}", False
    write_schedule(mended.schedule, path, overwrite=overwrite)
    return replace(result, mended=mended), "", False


def _mended_words(path: Path, result: "Review") -> str:
    """Return what was written: first whether its peak is another, and that its cone is kept."""
    from firing.cones.table import describe_number

    mended = result.mended
    assert mended is not None
    cone = ""
    if mended.cone_number is not None and not mended.peak_words:
        cone = f" It comes to cone {describe_number(mended.cone_number)}."
    lower = f"{mended.peak_words} " if mended.peak_words else ""
    doubt = f" {mended.doubt_words}" if mended.doubt_words else ""
    return (
        f"{lower}{path}: the plan at rates that the kiln keeps.{cone}{doubt} Check it against the "
        "ware before use."
    )
