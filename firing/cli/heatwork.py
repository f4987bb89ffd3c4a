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
    from firing.report.listings import heatwork_report
    from firing.review.gaps import gap_words, surely_reached
    from firing.schedule.file import SCHEDULE_FILE, open_schedule

    if file.endswith(".toml") or SCHEDULE_FILE.is_ready(file):
        from firing.forecast.forecast import forecast

        course = forecast(open_schedule(file))
        trace, number = course.trace, 0
        basis = course.basis
        verdict = cone_reached(trace.time_s, trace.channel_c())
        lacks, least = [], False
    else:
        record, number = open_log(Path(file), channel, take_reading(reading))
        trace = record.trace
        basis = record.dialect.describe()
        verdict, gaps = surely_reached(trace, number)
        lacks = gap_words(gaps, "F" if record.dialect.unit == "F" else "C")
        least = any(gap.hides_heatwork for gap in gaps)
    above_s = trace.seconds_above(1000.0, number)
    if as_json:
        outcome.document(
            {
                "schema": 1,
                "kind": "heatwork",
                "file": file,
                "channel": trace.channels[number],
                "basis": basis,
                "cones": {**verdict.to_dict(), "lower_bound": least},
                "lacks": lacks,
                "time_above_1000_s": above_s,
            }
        )
    else:
        outcome.report(heatwork_report(verdict, above_s, basis, lacks, least=least))
    return outcome.DONE
