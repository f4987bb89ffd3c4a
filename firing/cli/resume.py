"""``firing resume``: after an interruption."""

from pathlib import Path
from typing import Any

import click

from firing.cli import outcome
from firing.cli.arguments import (
    DURATION_S,
    TEMPERATURE,
    controller_option,
    json_option,
    kiln_options,
    temperature_in,
)
from firing.cli.log_options import log_options, take_reading
from firing.errors import FiringError
from firing.logs.reader import log_document, open_log


@click.command("resume")
@click.argument("schedule")
@click.argument("log", type=click.Path(path_type=Path))
@kiln_options
@controller_option()
@click.option("--cone", metavar="CONE", help="Target cone; else what the schedule comes to.")
@click.option("--margin", type=float, default=1.5, show_default=True, help="Caution, 1 to 5.")
@click.option("--reads", type=TEMPERATURE, metavar="T", help="What the kiln reads now …")
@click.option(
    "--ago",
    "ago_s",
    type=DURATION_S,
    default="0m",
    metavar="D",
    help="… this long after the log's last reading.",
)
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="Write the rest as a schedule."
)
@click.option("--overwrite", is_flag=True, help="Replace the --out file if it is there already.")
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
