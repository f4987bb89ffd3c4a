"""``firing heatwork``: the cones of a schedule or a log, by themselves."""

from pathlib import Path
from typing import Any

import click

from firing.cli import outcome
from firing.cli.arguments import json_option
from firing.cli.log_options import log_options, take_reading
from firing.logs.reader import open_log


@click.command("heatwork")
@click.argument("file")
@log_options
@json_option
def heatwork_command(file: str, channel: str | None, as_json: bool, **reading: Any) -> int:
    """Say which cones FILE, a schedule (TOML) or a log, amounts to."""
    from firing.cones.equivalence import cone_reached
    from firing.files.ready import ready_names
    from firing.report.listings import heatwork_report
    from firing.schedule.file import open_schedule

    if file.endswith(".toml") or (file in ready_names() and not Path(file).exists()):
        from firing.forecast.forecast import forecast

        course = forecast(open_schedule(file))
        trace, number = course.trace, 0
        basis = course.basis
    else:
        record, number = open_log(Path(file), channel, take_reading(reading))
        trace = record.trace
        basis = record.dialect.describe()
    temperature_c = trace.channel_c(number)
    verdict = cone_reached(trace.time_s, temperature_c)
    above_s = trace.seconds_above(1000.0, number)
    if as_json:
        outcome.document(
            {
                "schema": 1,
                "kind": "heatwork",
                "file": file,
                "channel": trace.channels[number],
                "basis": basis,
                "cones": verdict.to_dict(),
                "time_above_1000_s": above_s,
            }
        )
    else:
        outcome.report(heatwork_report(verdict, above_s, basis))
    return outcome.DONE
