"""``firing schema``: what a file may hold, as JSON Schema."""

import importlib

import click

from firing.cli import outcome
from firing.cli.arguments import json_option

SCHEMAS = {
    "schedule": ("firing.schedule.schema", "ScheduleTable"),
    "kiln": ("firing.kiln.schema", "KilnTable"),
    "load": ("firing.ware.file", "LoadTable"),
    "controller": ("firing.controller.file", "ControllerTable"),
    "source": ("firing.capture.source_settings", "SourceTable"),
    "tariff": ("firing.kiln.tariff_file", "TariffTable"),
}


@click.command("schema")
@click.argument("kind", type=click.Choice(list(SCHEMAS)))
@json_option
def schema_command(kind: str, as_json: bool) -> int:
    """Print the JSON Schema (draft 2020-12) of a KIND of file; always JSON."""
    module, name = SCHEMAS[kind]
    model = getattr(importlib.import_module(module), name)
    schema = model.model_json_schema()
    dialect = "https://json-schema.org/draft/2020-12/schema"
    outcome.document({"$schema": dialect, **schema})
    return outcome.DONE
