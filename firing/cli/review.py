"""``firing review``: what a firing really did."""

from pathlib import Path
from typing import Any

import click

from firing.cli import outcome
from firing.cli.arguments import html_option, json_option, load_schedule, parse_when
from firing.cli.logoptions import log_options, open_log


@click.command("review")
@click.argument("schedule")
@click.argument("log", type=click.Path(path_type=Path))
@click.option(
    "--start",
    metavar="WHEN",
    help="When it was meant to start; what came before is then a late start.",
)
@log_options
@html_option
@json_option
def review_command(
    schedule: str,
    log: Path,
    start: str | None,
    channel: str | None,
    html: Path | None,
    overwrite: bool,
    as_json: bool,
    **reading: Any,
) -> int:
    """Set LOG, a logger's CSV file, against SCHEDULE, the plan it was fired by."""
    from firing.report.terminal import review_text
    from firing.review.examine import review
    from firing.tomlfile import write_text

    plan = load_schedule(schedule)
    record, number = open_log(log, channel, reading)
    due = None if start is None else parse_when(start, near=record.trace.started)
    result = review(plan, record, channel=number, due=due)
    if html is not None:
        from firing.report.page import review_page

        write_text(html, review_page(result), overwrite=overwrite)
        outcome.note(f"page written to {html}")
    if as_json:
        outcome.document(result.to_dict())
    else:
        outcome.text(
            review_text(
                result,
                width=outcome.width(),
                colour=outcome.colour_wanted(),
                ascii_only=not outcome.braille_possible(),
            )
        )
    return outcome.act_if(result.needs_action)
