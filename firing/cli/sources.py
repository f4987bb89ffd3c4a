"""``firing sources``: where the figures come from."""

import click

from firing.cli import outcome
from firing.cli.arguments import json_option


@click.command("sources")
@click.argument("source_id", metavar="[ID]", required=False)
@json_option
def sources_command(source_id: str | None, as_json: bool) -> int:
    """List the sources of every figure, or print the one called ID."""
    from firing.report.listings import sources_report
    from firing.sources import load_sources, source

    chosen = load_sources() if source_id is None else {source_id: source(source_id)}
    if as_json:
        outcome.document(
            {
                "schema": 1,
                "kind": "sources",
                "sources": [{"id": key, **entry.to_dict()} for key, entry in chosen.items()],
            }
        )
    else:
        outcome.report(sources_report(chosen))
    return outcome.DONE
