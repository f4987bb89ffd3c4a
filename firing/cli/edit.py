"""``firing edit``: the screens."""

import gc
import importlib

import click

from firing.cli import outcome
from firing.cli.arguments import controller_option, json_option, kiln_options


@click.command("edit")
@click.argument("schedule", required=False)
@kiln_options
@controller_option()
@click.option("--tariff", metavar="T", help="Tariff file (TOML), or example-tariff.")
@click.option("--start", metavar="WHEN", help='When it starts: "07:30", "2026-03-01 07:30", "now".')
@click.option("--cone", metavar="CONE", help="Target cone.")
@click.option("--light", is_flag=True, help="Begin in the light colours.")
@json_option
def edit_command(
    schedule: str | None,
    kiln: str | None,
    load: str | None,
    controller: str | None,
    tariff: str | None,
    start: str | None,
    cone: str | None,
    light: bool,
    as_json: bool,
) -> int:
    """Open SCHEDULE in the screens: plan, see what it does at once, and review logs.

    SCHEDULE is a TOML file or the name of a ready schedule; without it a new plan is opened. F1 is
    help. Without a kiln, load, controller or tariff named here, those last chosen in the screens
    are taken up again. With --json, how the plan was left is printed at the end.
    """
    given = {"kiln": kiln, "load": load, "controller": controller, "tariff": tariff}
    # By name and only here: the library and its other commands know of no screen.
    gc.enable()
    left = importlib.import_module("firing.tui.entry").edit(
        schedule,
        light=light,
        names={kind: name for kind, name in given.items() if name is not None},
        start=start,
        cone=cone,
    )
    if as_json:
        outcome.document(left)
    return outcome.DONE
