"""``firing forecast``, ``card`` and ``calendar``: what a plan will do, and what to do for it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from firing.cli import outcome
from firing.cli.arguments import (
    Number,
    calendar_option,
    controller_option,
    html_option,
    json_option,
    kiln_options,
    kiln_size_option,
    one_kiln,
    out_option,
    report_options,
    start_option,
    unload_option,
)
from firing.clock import parse_when, which_of_two

if TYPE_CHECKING:
    from firing.heat.default_kiln import UsualKiln
    from firing.report.calendar import FiringCalendar

_JUST_NOW = timedelta(minutes=2)


@click.command("forecast")
@click.argument("schedule")
@kiln_options
@kiln_size_option
@click.option("--tariff", metavar="T", help="Tariff file (TOML), or example-tariff; needs --kiln.")
@start_option()
@click.option(
    "--window",
    metavar="WHEN to WHEN",
    help="Look for the cheapest start in here; two days from the start if not given.",
)
@click.option(
    "--awake",
    metavar="HH:MM-HH:MM",
    help="Look for starts that put the peak and all hand actions into these hours; needs --kiln.",
)
@unload_option("unload", "The kiln is unloaded at this; a plain number uses the plan's unit.")
@click.option(
    "--cone",
    metavar="CONE",
    help="Target cone, if not the schedule's own; says what would meet it.",
)
@controller_option()
@click.option(
    "--by-the-clock",
    is_flag=True,
    help="The controller's clock does not wait when the kiln lags, as its file may say, too; "
    "matters with --kiln.",
)
@click.option(
    "--margin",
    type=Number(),
    default=1.5,
    show_default=True,
    help="Safety margin on ware limits, 1 to 5; matters with --load.",
)
@html_option
@report_options
@json_option
def forecast_command(
    schedule: str,
    kiln: str | None,
    load: str | None,
    usual: UsualKiln | None,
    tariff: str | None,
    start: str | None,
    window: str | None,
    awake: str | None,
    unload: str,
    cone: str | None,
    controller: str | None,
    by_the_clock: bool,
    margin: float,
    html: Path | None,
    overwrite: bool,
    as_json: bool,
) -> int:
    """Say what SCHEDULE will do: hours, opening time, cone, and what to look out for.

    SCHEDULE is a TOML file, or the name of a ready schedule (see 'firing schedules').  With a kiln
    file the firing is simulated: whether the peak is reached, what limits each segment, kWh, cost.
    """
    from firing.cones.table import parse_cone
    from firing.files.kinds import open_file
    from firing.forecast.forecast import forecast
    from firing.forecast.in_kiln import with_tariff
    from firing.report.forecast import forecast_report
    from firing.schedule.file import open_schedule
    from firing.units import parse_temperature_c

    plan = open_schedule(schedule)
    keyed = open_file("controller", controller)
    result = forecast(
        plan,
        started=None if start is None else parse_when(start),
        unload_c=parse_temperature_c(unload, plan.unit),
        target_cone=None if cone is None else parse_cone(cone),
        kiln=open_file("kiln", kiln),
        load=open_file("load", load),
        waits=not by_the_clock and (keyed is None or keyed.waits),
        usual=one_kiln(kiln, usual),
        margin=margin,
    )
    if tariff is not None or window is not None or awake is not None:
        prices = open_file("tariff", tariff)
        result = with_tariff(result, prices, window, awake)
    if html is not None:
        outcome.page(forecast_report(result), html, overwrite=overwrite)
    if as_json:
        outcome.document(result.to_dict())
    else:
        outcome.report(forecast_report(result))
    return outcome.act_if(result.needs_action)


@click.command("calendar")
@click.argument("schedule")
@start_option(required=True)
@kiln_options
@kiln_size_option
@controller_option()
@unload_option("unload", "Cool enough to open at this; a plain number uses the plan's unit.")
@out_option("Write the calendar file (.ics).")
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
        at = f"{event.at:%a %Y-%m-%d %H:%M}{which_of_two(event.at)}"
        outcome.text(f"{mark} {at}  {event.summary.removeprefix('Kiln: ')}")
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
    due = [event.at for event in found.events if event.needs_you]
    past = sum(at < datetime.now(UTC) - _JUST_NOW for at in due)
    if past:
        outcome.note(
            f"{past} of its {len(due)} reminders are past already and won't come; check --start, "
            f"{found.started:%Y-%m-%d %H:%M}"
        )


@click.command("card")
@click.argument("schedule")
@controller_option(required=True)
@kiln_options
@kiln_size_option
@start_option()
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
        from firing.report.calendar import calendar

        write_calendar(calendar(card), ics, overwrite=overwrite)
    if as_json:
        outcome.document(card.to_dict())
    else:
        outcome.report(card_report(card))
    return outcome.act_if(card.needs_action)
