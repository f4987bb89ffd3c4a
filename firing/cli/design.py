"""``firing design``, ``guide`` and ``resume``: from ware, fault or interruption to the program."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firing.cli import outcome
from firing.cli.arguments import (
    DURATION_S,
    RATE,
    TEMPERATURE,
    Number,
    WholeNumber,
    calendar_option,
    controller_option,
    json_option,
    kiln_options,
    kiln_size_option,
    log_options,
    one_kiln,
    out_option,
    rate_in,
    report_options,
    take_reading,
    temperature_in,
    unload_option,
)
from firing.errors import FiringError

if TYPE_CHECKING:
    from firing.heat.default_kiln import UsualKiln
    from firing.ware.practice import By


@click.command("design")
@click.argument("purpose", type=click.Choice(["bisque", "glaze", "once-fired", "decal"]))
@kiln_options
@kiln_size_option
@click.option("--cone", metavar="CONE", help="Target cone.")
@click.option("--top", type=TEMPERATURE, metavar="T", help="Or the top temperature.")
@controller_option()
@click.option("--segments", type=WholeNumber(1, 99), help="At most so many segments.")
@click.option(
    "--margin",
    type=Number(),
    default=1.5,
    show_default=True,
    help="Caution, 1 to 5; 1.5 is common practice.",
)
@click.option("--peak-at-most", "peak", type=TEMPERATURE, metavar="T", help="With --cone.")
@click.option("--hold-at-most", "most_s", type=DURATION_S, metavar="H", help="At the peak.")
@click.option(
    "--hold-at-least", "least_s", type=DURATION_S, default="0m", metavar="H", help="At the peak."
)
@click.option(
    "--final-at-most",
    "final",
    type=RATE,
    metavar="R",
    help="Rate of the last 100 °C; with --cone at most 150 °C/h, where the chart ends.",
)
@click.option(
    "--degas",
    "degas_s",
    type=DURATION_S,
    default="0m",
    metavar="H",
    help="Hold before the glaze seals, so that gases leave.",
)
@click.option("--drop-to", "drop", type=TEMPERATURE, metavar="T", help="Drop from the peak.")
@click.option(
    "--drop-hold", "drop_s", type=DURATION_S, default="0m", metavar="H", help="Hold after the drop."
)
@click.option("--slow-cool", "slow", type=RATE, metavar="R", help="Slow-cool at most this fast …")
@click.option("--slow-to", "slow_to", type=TEMPERATURE, metavar="T", help="… until here.")
@unload_option("opened", "Closing to opening here is made shortest.")
@click.option(
    "--reserve",
    type=Number(0, 50),
    default=10.0,
    show_default=True,
    metavar="PERCENT",
    help="Keep the program with elements this much weaker; 0 uses full power.",
)
@click.option(
    "--fastest", is_flag=True, help="Use every segment that saves time, not the fewest within 3 %."
)
@click.option(
    "--by",
    type=click.Choice(["practice", "physics", "slower"]),
    default="slower",
    show_default=True,
    help="Which limits of the ware count: the trade's, the computed ones, or both.",
)
@click.option("--from", "base", metavar="SCHEDULE", help="Make this schedule safe instead.")
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="Write the schedule file."
)
@click.option("--start", metavar="WHEN", help="When it starts; goes with --calendar.")
@calendar_option
@click.option("--overwrite", is_flag=True, help="Replace the --out file if it is there already.")
@report_options
@json_option
def design_command(
    purpose: str,
    kiln: str | None,
    load: str | None,
    usual: UsualKiln | None,
    cone: str | None,
    top: str | None,
    controller: str | None,
    segments: int | None,
    margin: float,
    peak: str | None,
    most_s: float | None,
    least_s: float,
    final: str | None,
    degas_s: float,
    drop: str | None,
    drop_s: float,
    slow: str | None,
    slow_to: str | None,
    opened: str,
    reserve: float,
    fastest: bool,
    by: str,
    base: str | None,
    out: Path | None,
    start: str | None,
    ics: Path | None,
    overwrite: bool,
    as_json: bool,
) -> int:
    """Make the fastest schedule that is safe for --load, for a PURPOSE.

    Every segment comes with its reason and source.  With --from, a schedule is changed as little as
    makes it safe for the load.  A plain number uses the unit of the answer: that of the controller,
    or of the kiln, or of the load; with --from of the controller, or of the schedule.
    """
    from dataclasses import replace
    from typing import cast

    from firing.clock import parse_when
    from firing.design.designer import design, owners_controller
    from firing.design.explain import designed_text
    from firing.design.repair import repaired_design
    from firing.design.request import FEW_WITHIN, Bounds, CoolingRequest, DesignRequest
    from firing.design.result import dry_first_document
    from firing.files.kinds import open_file
    from firing.report.design import design_report, dry_first_report
    from firing.schedule.file import SCHEDULE_FILE, open_schedule
    from firing.schedule.schedule import Purpose
    from firing.units import in_unit, parse_temperature_c
    from firing.ware.drying import DryFirst
    from firing.ware.file import open_load

    if load is None:
        raise FiringError(
            "a design needs to know the ware; write --load with a load file, such as "
            "example-load-planters-and-cups"
        )
    if start is not None and ics is None:
        raise FiringError("--start is for the calendar; give --calendar FILE, too")
    wanted = cast("Purpose", purpose)
    ware = open_load(load)
    in_kiln = open_file("kiln", kiln)
    keyed = open_file("controller", controller)
    if segments is not None:
        keyed = keyed or owners_controller(ware, in_kiln)
        keyed = replace(keyed, max_segments=segments)
    unit = (keyed or owners_controller(ware, in_kiln)).unit
    base_text = None
    try:
        if base is not None:
            if cone is not None or top is not None:
                raise FiringError(
                    "--from takes a schedule that has its own end, and --cone and --top name "
                    "another; leave one of them out"
                )
            plan = open_schedule(base)
            base_text = SCHEDULE_FILE.text(base)
            result = repaired_design(
                plan,
                ware,
                purpose=wanted,
                margin=margin,
                kiln=in_kiln,
                controller=keyed,
                open_c=parse_temperature_c(opened, plan.unit if keyed is None else keyed.unit),
                usual=one_kiln(kiln, usual),
            )
        else:
            request = DesignRequest(
                wanted,
                cone=cone,
                top_c=temperature_in(top, unit),
                bounds=Bounds(temperature_in(peak, unit), least_s, most_s, rate_in(final, unit)),
                margin=margin,
                cooling=CoolingRequest(
                    temperature_in(drop, unit),
                    drop_s,
                    rate_in(slow, unit),
                    temperature_in(slow_to, unit),
                ),
                open_c=parse_temperature_c(opened, unit),
                usual=one_kiln(kiln, usual),
                by=cast("By", by),
                reserve=reserve / 100.0,
                degas_s=degas_s,
                few_within=0.0 if fastest else FEW_WITHIN,
            )
            result = design(ware, request, kiln=in_kiln, controller=keyed)
    except DryFirst as wet:
        # No program is right for this ware yet, and what to do is known: that is the answer.
        if as_json:
            outcome.document(dry_first_document(str(wet)))
        else:
            outcome.report(dry_first_report(str(wet), unit))
        return outcome.ACT
    except FiringError as error:
        raise FiringError(in_unit(str(error), unit)) from None
    if out is not None:
        head = [*([result.advice] if result.advice else []), *result.problems]
        head += result.notes if base is None else ()
        written = designed_text(result.schedule, result.reasons, head, base_text)
        outcome.write(out, written, overwrite=overwrite)
        outcome.note(f"schedule written to {out}")
    if ics is not None:
        from firing.cli.forecast import write_calendar
        from firing.report.calendar import calendar

        started = None if start is None else parse_when(start)
        found = calendar(replace(result.forecast, started=started))
        write_calendar(found, ics, overwrite=overwrite)
    if as_json:
        outcome.document(result.to_dict())
    else:
        outcome.report(design_report(result))
    return outcome.act_if(not result.safe)


@click.command("guide")
@click.argument("fault", required=False)
@click.argument("schedule", required=False)
@kiln_options
@click.option("--cone", metavar="CONE", help="Target cone, for under- or over-fired glaze.")
@out_option("Write the changed plan.")
@json_option
def guide_command(
    fault: str | None,
    schedule: str | None,
    kiln: str | None,
    load: str | None,
    cone: str | None,
    out: Path | None,
    overwrite: bool,
    as_json: bool,
) -> int:
    """Say what can cause FAULT, which segment of SCHEDULE it concerns, and what to change.

    Without a fault it lists the faults it knows.  Every line says how sure it is.  The changed plan
    is checked against --load.  The exit status is 1 if there is a change to make.
    """
    from firing.design.guide import fault_names, guide
    from firing.files.kinds import open_file
    from firing.report.design import faults_report, guide_report
    from firing.schedule.file import SCHEDULE_FILE, open_schedule, write_schedule

    if fault is None:
        faults = fault_names()
        if as_json:
            outcome.document({"schema": 1, "kind": "faults", "faults": faults})
        else:
            outcome.report(faults_report(faults))
        return outcome.DONE
    if schedule is None and out is not None:
        raise FiringError("--out writes a changed plan; name the plan to change as well")
    found = guide(
        fault,
        None if schedule is None else open_schedule(schedule),
        kiln=open_file("kiln", kiln),
        load=open_file("load", load),
        cone=cone,
    )
    if out is not None and schedule is not None:
        if found.changed is None:
            outcome.note("nothing to change, so no file was written")
        else:
            base = SCHEDULE_FILE.text(schedule)
            write_schedule(found.changed, out, base_text=base, overwrite=overwrite)
            outcome.note(f"changed plan written to {out}")
    if as_json:
        outcome.document(found.to_dict())
    else:
        outcome.report(guide_report(found))
    return outcome.act_if(found.needs_action)


@click.command("resume")
@click.argument("schedule")
@click.argument("log", type=click.Path(path_type=Path))
@kiln_options
@controller_option()
@click.option("--cone", metavar="CONE", help="Target cone; else what the schedule comes to.")
@click.option("--margin", type=Number(), default=1.5, show_default=True, help="Caution, 1 to 5.")
@click.option("--reads", type=TEMPERATURE, metavar="T", help="What the kiln reads now …")
@click.option(
    "--ago",
    "ago_s",
    type=DURATION_S,
    default="0m",
    metavar="D",
    help="… this long after the log's last reading.",
)
@out_option("Write the rest as a schedule.")
@log_options
@json_option
def resume_command(
    schedule: str,
    log: Path,
    kiln: str | None,
    load: str | None,
    controller: str | None,
    cone: str | None,
    margin: float,
    reads: str | None,
    ago_s: float,
    out: Path | None,
    overwrite: bool,
    channel: str | None,
    as_json: bool,
    **reading: Any,
) -> int:
    """Say what to key in now, when the firing of SCHEDULE in LOG was interrupted.

    Drying, bound water and heat-work that were done already count.  A plain number uses the unit of
    the answer: that of the controller, or of the schedule.
    """
    from firing.clock import parse_when
    from firing.design.resume import resume
    from firing.files.kinds import open_file
    from firing.logs.reader import log_document, open_log
    from firing.report.design import resume_report
    from firing.schedule.file import open_schedule, write_schedule
    from firing.units import in_unit

    plan = open_schedule(schedule)
    record, number = open_log(log, channel, take_reading(reading))
    ware, in_kiln, keyed = (
        open_file("load", load),
        open_file("kiln", kiln),
        open_file("controller", controller),
    )
    unit = plan.unit if keyed is None else keyed.unit
    try:
        found = resume(
            plan,
            record.trace.time_s,
            record.trace.channel_c(number),
            load=ware,
            kiln=in_kiln,
            controller=keyed,
            cone=cone,
            margin=margin,
            reads_c=temperature_in(reads, unit),
            ago_s=ago_s,
            started=record.trace.started,
            clock=parse_when("now"),
        )
    except FiringError as error:
        raise FiringError(in_unit(str(error), unit)) from None
    if out is not None and found.schedule is not None:
        outcome.refuse_input(out)
        write_schedule(found.schedule, out, overwrite=overwrite)
        outcome.note(f"schedule written to {out}")
    if as_json:
        outcome.document({**found.to_dict(), "log": log_document(record, number)})
    else:
        outcome.report(resume_report(found, record.open_choices, record.other_notes))
    return outcome.act_if(found.needs_action)
