"""``firing guide``: from a fault of the ware to the program."""

from pathlib import Path

import click

from firing.cli import outcome
from firing.cli.arguments import json_option, kiln_options


@click.command("guide")
@click.argument("fault", required=False)
@click.argument("schedule", required=False)
@kiln_options
@click.option("--cone", metavar="CONE", help="Target cone, for under- or over-fired glaze.")
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="Write the changed plan."
)
@click.option("--overwrite", is_flag=True, help="Replace the --out file if it is there already.")
@json_option
def guide_command(
    fault: str | None,
    schedule: str | None,
    kiln: str | None,
    load: str | None,
    cone: str | None,
    out: Path | None,
    overwrite: bool,
    as_json: bool,
) -> int:
    """Say what can cause FAULT, which segment of SCHEDULE it concerns, and what to change.

    Without a fault it lists the faults it knows.  Every line says how sure it is.  The changed plan
    is checked against --load.  The exit status is 1 if there is a change to make.
    """
    from firing.design.guide import fault_names, guide
    from firing.errors import FiringError
    from firing.files.kinds import open_file
    from firing.report.guide import faults_report, guide_report
    from firing.schedule.file import SCHEDULE_FILE, open_schedule, write_schedule

    if fault is None:
        faults = fault_names()
        if as_json:
            outcome.document({"schema": 1, "kind": "faults", "faults": faults})
        else:
            outcome.report(faults_report(faults))
        return outcome.DONE
    if schedule is None and out is not None:
        raise FiringError("--out writes a changed plan; name the plan to change as well")
    found = guide(
        fault,
        None if schedule is None else open_schedule(schedule),
        kiln=open_file("kiln", kiln),
        load=open_file("load", load),
        cone=cone,
    )
    if out is not None and schedule is not None:
        if found.changed is None:
            outcome.note("nothing to change, so no file was written")
        else:
            base = SCHEDULE_FILE.text(schedule)
            write_schedule(found.changed, out, base_text=base, overwrite=overwrite)
            outcome.note(f"changed plan written to {out}")
    if as_json:
        outcome.document(found.to_dict())
    else:
        outcome.report(guide_report(found))
    return outcome.act_if(found.needs_action)
