"""``firing review``: what a firing really did."""

from pathlib import Path
from typing import Any

import click

from firing.cli import outcome
from firing.cli.arguments import html_option, json_option, load_schedule, parse_when
from firing.cli.logoptions import log_options, open_log
from firing.cli.planoptions import kiln_options, open_kiln, open_load


@click.command("review")
@click.argument("schedule")
@click.argument("logs", metavar="LOG...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--start",
    metavar="WHEN",
    help="When it was meant to start; what came before is then a late start.",
)
@kiln_options
@log_options
@html_option
@json_option
def review_command(
    schedule: str,
    logs: tuple[Path, ...],
    start: str | None,
    kiln: str | None,
    load: str | None,
    channel: str | None,
    html: Path | None,
    overwrite: bool,
    as_json: bool,
    **reading: Any,
) -> int:
    """Set LOG, a logger's file, against SCHEDULE, the plan it was fired by.

    Several files are the parts of one firing.  With a kiln file the review knows what that kiln
    could have done.
    """
    from firing.report.terminal import review_text
    from firing.review.examine import review
    from firing.tomlfile import write_text

    plan = load_schedule(schedule)
    record, number = open_log(logs, channel, reading)
    due = None if start is None else parse_when(start, near=record.trace.started)
    result = review(
        plan,
        record,
        channel=number,
        due=due,
        kiln=None if kiln is None else open_kiln(kiln),
        load=None if load is None else open_load(load),
    )
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
