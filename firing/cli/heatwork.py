"""``firing heatwork``: the cones of a schedule or a log, by themselves."""

from pathlib import Path
from typing import Any

import click
import numpy as np

from firing.cli import outcome
from firing.cli.arguments import json_option
from firing.cli.log_options import log_options, take_reading
from firing.cones.holds import FIRED_C
from firing.errors import FiringError
from firing.logs.reader import log_document, open_log
from firing.units import TemperatureUnit, celsius_from_fahrenheit, from_celsius


@click.command("heatwork")
@click.argument("file")
@log_options
@json_option
def heatwork_command(file: str, channel: str | None, as_json: bool, **reading: Any) -> int:
    """Say which cones FILE, a schedule (TOML) or a log, amounts to, in its own unit."""
    from firing.cones.equivalence import cone_reached
    from firing.report.listings import heatwork_report
    from firing.review.gaps import gap_words, surely_reached
    from firing.schedule.file import SCHEDULE_FILE, open_schedule

    if file.endswith(".toml") or SCHEDULE_FILE.is_ready(file):
        from firing.forecast.forecast import forecast

        course = forecast(open_schedule(file))
        trace, number = course.trace, 0
        basis, unit = course.basis, course.schedule.unit
        verdict = cone_reached(trace.time_s, trace.channel_c())
        lacks, least = [], False
        read: dict[str, Any] = {}
        notes: list[str] = []
    else:
        record, number = open_log(Path(file), channel, take_reading(reading))
        trace = record.trace
        basis = record.dialect.describe()
        unit = record.dialect.channel_columns[number].celsius_unit
        if record.dialect.unit_from != "option":
            check_log_unit(file, unit, float(np.nanmax(trace.channel_c(number))))
        verdict, gaps = surely_reached(trace, number)
        lacks = [*record.open_choices, *gap_words(gaps, unit)]
        read = {"log": log_document(record, number)}
        notes = list(record.other_notes)
        least = any(gap.hides_heatwork for gap in gaps)
    above_s = trace.seconds_above(1000.0, number)
    if as_json:
        outcome.document(
            {
                "schema": 1,
                "kind": "heatwork",
                "file": file,
                **read,
                "channel": trace.channels[number],
                "basis": basis,
                "unit": unit,
                "cones": {**verdict.to_dict(), "lower_bound": least},
                "lacks": lacks,
                "time_above_1000_s": above_s,
            }
        )
    else:
        outcome.report(
            heatwork_report(verdict, above_s, basis, unit, lacks, least=least, read=notes)
        )
    return outcome.DONE


def check_log_unit(file: str, unit: TemperatureUnit, highest_c: float) -> None:
    """Refuse readings that no kiln has in their unit, before anything is judged by them."""
    if highest_c <= FIRED_C[1]:
        return
    shown = from_celsius(highest_c, unit)
    words = f"{file}: the readings go up to {shown:.0f} °{unit}, and no kiln is fired so hot"
    meant_c = celsius_from_fahrenheit(shown)
    if unit == "C" and meant_c <= FIRED_C[1]:
        raise FiringError(
            f"{words}; did you mean °F ({meant_c:.0f} °C)? Then say --unit F, else --unit C"
        )
    raise FiringError(f"{words}; name their unit by --unit C or --unit F")
