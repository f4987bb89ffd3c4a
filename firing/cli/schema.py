"""``firing schema``: what a file may hold, as JSON Schema."""

import click

from firing.cli import outcome
from firing.cli.arguments import json_option
from firing.files.kinds import KIND_NAMES, file_kind


@click.command("schema")
@click.argument("kind", type=click.Choice(KIND_NAMES))
@json_option
def schema_command(kind: str, as_json: bool) -> int:
    """Print the JSON Schema (draft 2020-12) of a KIND of file; always JSON."""
    schema = file_kind(kind).json_schema()
    dialect = "https://json-schema.org/draft/2020-12/schema"
    outcome.document({"$schema": dialect, **schema})
    return outcome.DONE
