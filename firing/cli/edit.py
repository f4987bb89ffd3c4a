"""``firing edit``: the screens."""

import gc
import importlib

import click

from firing.cli import outcome
from firing.cli.arguments import json_option


@click.command("edit")
@click.argument("schedule", required=False)
@click.option("--light", is_flag=True, help="Begin in the light colours.")
@json_option
def edit_command(schedule: str | None, light: bool, as_json: bool) -> int:
    """Open SCHEDULE in the screens: plan, see what it does at once, and review logs.

    SCHEDULE is a TOML file or the name of a ready schedule; without it a new plan is opened. F1 is
    help. With --json, how the plan was left is printed at the end.
    """
    # By name and only here: the library and its other commands know of no screen.
    gc.enable()
    left = importlib.import_module("tui.entry").edit(schedule, light=light)
    if as_json:
        outcome.document(left)
    return outcome.DONE
