"""``firing forecast``: what a schedule will do."""

from pathlib import Path

import click

from firing.cli import outcome
from firing.cli.arguments import (
    TEMPERATURE_C,
    html_option,
    json_option,
    load_schedule,
    parse_when,
)


@click.command("forecast")
@click.argument("schedule")
@click.option("--start", metavar="WHEN", help='When it starts: "07:30", "2026-03-01 07:30", "now".')
@click.option(
    "--unload-at",
    "unload_c",
    type=TEMPERATURE_C,
    default="60",
    show_default=True,
    metavar="TEMP",
    help="Temperature the kiln is unloaded at, °C unless marked F.",
)
@click.option("--cone", metavar="CONE", help="The cone wanted; says what would meet it.")
@html_option
@json_option
def forecast_command(
    schedule: str,
    start: str | None,
    unload_c: float,
    cone: str | None,
    html: Path | None,
    overwrite: bool,
    as_json: bool,
) -> int:
    """Say what SCHEDULE will do: hours, opening time, cone, and what to look out for.

    SCHEDULE is a TOML file, or the name of a ready schedule (see 'firing schedules').
    """
    from firing.cones.table import parse_cone
    from firing.forecast import forecast
    from firing.report.terminal import forecast_text
    from firing.tomlfile import write_text

    result = forecast(
        load_schedule(schedule),
        started=None if start is None else parse_when(start),
        unload_c=unload_c,
        target_cone=None if cone is None else parse_cone(cone),
    )
    if html is not None:
        from firing.report.page import forecast_page

        write_text(html, forecast_page(result), overwrite=overwrite)
        outcome.note(f"page written to {html}")
    if as_json:
        outcome.document(result.to_dict())
    else:
        outcome.text(
            forecast_text(
                result,
                width=outcome.width(),
                colour=outcome.colour_wanted(),
                ascii_only=not outcome.braille_possible(),
            )
        )
    return outcome.act_if(result.needs_action)
