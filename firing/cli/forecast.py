"""``firing forecast``: what a schedule will do."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from firing.cli import outcome
from firing.cli.arguments import (
    html_option,
    json_option,
    kiln_options,
    kiln_size_option,
    one_kiln,
    report_options,
    unload_option,
)
from firing.clock import parse_when

if TYPE_CHECKING:
    from firing.heat.default_kiln import UsualKiln


@click.command("forecast")
@click.argument("schedule")
@kiln_options
@kiln_size_option
@click.option("--tariff", metavar="T", help="Tariff file (TOML), or example-tariff; needs --kiln.")
@click.option("--start", metavar="WHEN", help='When it starts: "07:30", "2026-03-01 07:30", "now".')
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
@click.option(
    "--by-the-clock",
    is_flag=True,
    help="The controller's clock does not wait when the kiln lags; matters with --kiln.",
)
@click.option(
    "--margin",
    type=float,
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
    result = forecast(
        plan,
        started=None if start is None else parse_when(start),
        unload_c=parse_temperature_c(unload, plan.unit),
        target_cone=None if cone is None else parse_cone(cone),
        kiln=open_file("kiln", kiln),
        load=open_file("load", load),
        waits=not by_the_clock,
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
