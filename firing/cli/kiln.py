"""``firing kiln show`` and ``firing kiln fit``: what a kiln is, and what its logs teach of it."""

from pathlib import Path
from typing import Any

import click

from firing.cli import outcome
from firing.cli.arguments import json_option, load_schedule
from firing.cli.logoptions import log_options, open_log
from firing.cli.planoptions import open_kiln, open_load


@click.group("kiln")
def kiln_command() -> None:
    """Show a kiln, or learn it from its own logs."""


@kiln_command.command("show")
@click.argument("kiln")
@json_option
def show_command(kiln: str, as_json: bool) -> int:
    """Print every figure the model uses for KILN, given, derived and assumed, with its source."""
    from firing.kiln.limits import fastest_rates, highest_hold
    from firing.kiln.listing import describe_kiln
    from firing.report.listings import kiln_text

    described = open_kiln(kiln)
    rows = describe_kiln(described)
    highest = highest_hold(described)
    rates = fastest_rates(described)
    if as_json:
        outcome.document(
            {
                "schema": 1,
                "kind": "kiln",
                "name": described.name,
                "rows": [row.to_dict() for row in rows],
                "highest_c": highest.temperature_c,
                "highest_by_tables": highest.by_tables,
                "max_rate_c_per_h": [list(pair) for pair in rates],
            }
        )
    else:
        outcome.text(kiln_text(described.name, rows, highest, rates, width=outcome.width()))
    return outcome.DONE
