"""``firing card``: what to key in."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from firing.cli import outcome
from firing.cli.arguments import (
    calendar_option,
    controller_option,
    html_option,
    json_option,
    kiln_options,
    kiln_size_option,
    one_kiln,
)
from firing.clock import parse_when

if TYPE_CHECKING:
    from firing.heat.default_kiln import UsualKiln


@click.command("card")
@click.argument("schedule")
@controller_option(required=True)
@kiln_options
@kiln_size_option
@click.option("--start", metavar="WHEN", help='When it starts: "07:30", "2026-03-01 07:30", "now".')
@calendar_option
@html_option
@json_option
def card_command(
    schedule: str,
    controller: str,
    kiln: str | None,
    load: str | None,
    usual: UsualKiln | None,
    start: str | None,
    ics: Path | None,
    html: Path | None,
    overwrite: bool,
    as_json: bool,
) -> int:
    """Make the card to key SCHEDULE from: converted, rounded and fitted to a controller.

    With --html also as one page to print, with boxes to tick.  What is to be done first comes
    first, and the exit status is 1: a program that is not safe for the load, a peak out of reach,
    ramps merged because the controller takes fewer segments.
    """
    from firing.controller.file import open_controller
    from firing.controller.program import key_in
    from firing.files.kinds import open_file
    from firing.forecast.forecast import forecast
    from firing.report.card import Card, card_report
    from firing.schedule.file import open_schedule

    takes = open_controller(controller)
    program = key_in(open_schedule(schedule), takes)
    course = forecast(
        program.schedule,
        started=None if start is None else parse_when(start),
        kiln=open_file("kiln", kiln),
        load=open_file("load", load),
        waits=takes.waits,
        usual=one_kiln(kiln, usual),
    )
    card = Card(program, course)
    if html is not None:
        outcome.page(card_report(card), html, overwrite=overwrite)
    if ics is not None:
        from firing.cli.calendar import write_calendar
        from firing.report.calendar import calendar

        write_calendar(calendar(card), ics, overwrite=overwrite)
    if as_json:
        outcome.document(card.to_dict())
    else:
        outcome.report(card_report(card))
    return outcome.act_if(card.needs_action)
