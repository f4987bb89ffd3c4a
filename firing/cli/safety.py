"""``firing safety``: the cautions."""

import click

from firing.cli import outcome
from firing.cli.arguments import json_option
from firing.units import TemperatureUnit


@click.command("safety")
@click.argument("schedule", required=False)
@json_option
def safety_command(schedule: str | None, as_json: bool) -> int:
    """Print the cautions that apply to SCHEDULE, or all of them."""
    from firing.report.cautions import cautions_report
    from firing.safety import DEFERENCE, FIGURES_NOTE, all_cautions, cautions_for
    from firing.schedule.file import open_schedule

    unit: TemperatureUnit = "C"
    if schedule is None:
        cautions, title = all_cautions(), "Cautions for firing an electric kiln"
    else:
        plan = open_schedule(schedule)
        cautions = cautions_for(plan.peak_c, plan.purpose)
        title, unit = f"Cautions for: {plan.title}", plan.unit
    if as_json:
        outcome.document(
            {
                "schema": 1,
                "kind": "safety",
                "title": title,
                "deference": DEFERENCE,
                "figures_note": FIGURES_NOTE,
                "cautions": [caution.to_dict() for caution in cautions],
            }
        )
    else:
        outcome.report(cautions_report(title, cautions, unit))
    return outcome.DONE
