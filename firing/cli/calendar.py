"""``firing calendar``: the moments of a firing for the calendar on a phone."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from firing.cli import outcome
from firing.cli.arguments import (
    controller_option,
    json_option,
    kiln_options,
    kiln_size_option,
    one_kiln,
    unload_option,
)
from firing.clock import parse_when

if TYPE_CHECKING:
    from firing.heat.default_kiln import UsualKiln
    from firing.report.calendar import FiringCalendar


@click.command("calendar")
@click.argument("schedule")
@click.option(
    "--start",
    metavar="WHEN",
    required=True,
    help='When it starts: "07:30", "2026-03-01 07:30", "now".',
)
@kiln_options
@kiln_size_option
@controller_option()
@unload_option("unload", "Cool enough to open at this; a plain number uses the plan's unit.")
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="Write the calendar file (.ics)."
)
@click.option("--overwrite", is_flag=True, help="Replace the --out file if it is there already.")
@json_option
def calendar_command(
    schedule: str,
    start: str,
    kiln: str | None,
    load: str | None,
    usual: UsualKiln | None,
    controller: str | None,
    unload: str,
    out: Path | None,
    overwrite: bool,
    as_json: bool,
) -> int:
    """List when SCHEDULE needs you, and write it for a calendar with --out.

    Start, end of candling, what is done by hand, peak, end of heating, and cool enough to open.
    Moments that need you have a reminder.  Import the file again after a change: the firing's
    events then move.  With --controller the program as keyed counts.

    A reminder is no alarm: be at the kiln at the end point.
    """
    from firing.controller.program import key_in
    from firing.files.kinds import open_file
    from firing.forecast.forecast import forecast
    from firing.report.calendar import calendar
    from firing.report.card import Card
    from firing.schedule.file import open_schedule
    from firing.units import parse_temperature_c

    plan = open_schedule(schedule)
    takes = open_file("controller", controller)
    program = None if takes is None else key_in(plan, takes)
    course = forecast(
        plan if program is None else program.schedule,
        started=parse_when(start),
        unload_c=parse_temperature_c(unload, plan.unit),
        kiln=open_file("kiln", kiln),
        load=open_file("load", load),
        waits=takes is None or takes.waits,
        usual=one_kiln(kiln, usual),
    )
    found = calendar(course if program is None else Card(program, course))
    if out is not None:
        write_calendar(found, out, overwrite=overwrite)
    if as_json:
        outcome.document(found.to_dict())
        return outcome.act_if(bool(found.notes))
    outcome.text(f"{found.title}: when you are needed (*), and when it is done")
    for event in found.events:
        mark = "*" if event.needs_you else " "
        outcome.text(f"{mark} {event.at:%a %Y-%m-%d %H:%M}  {event.summary.removeprefix('Kiln: ')}")
        if event.id == "cool-enough":
            outcome.text(f"  {event.description.splitlines()[0].replace('.  ', '. ')}")
    for note in found.notes:
        outcome.text(note)
    if out is None:
        outcome.text("Nothing is written; --out firing.ics writes it for your calendar.")
    return outcome.act_if(bool(found.notes))


def write_calendar(found: FiringCalendar, out: Path, *, overwrite: bool) -> None:
    """Write a calendar file and say so."""
    outcome.write(out, found.to_ics(), overwrite=overwrite)
    outcome.note(f"calendar written to {out}")
