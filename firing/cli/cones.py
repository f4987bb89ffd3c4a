"""``firing cone``, ``hold``, ``peak``, ``ways``, ``cone-at``, ``heatwork``: chart, law and sum."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from firing.cli import outcome
from firing.cli.arguments import DURATION_S, html_option, json_option, log_options, take_reading
from firing.errors import FiringError
from firing.units import (
    TemperatureUnit,
    celsius_from_fahrenheit,
    common_unit,
    format_duration,
    format_rate,
    format_temperature,
    from_celsius,
    in_unit,
    parse_rate_c_per_h,
    parse_temperature_c,
)

if TYPE_CHECKING:
    from firing.cones.holds import Cooling


Command = TypeVar("Command", bound=Callable[..., Any])

USUAL_RATE = "60C/h"

_TYPES = "self-supporting, large, small, bar, iron-free or iron-free large."


def _type_option(command: Command) -> Command:
    return click.option(
        "--type",
        "kind",
        default="self-supporting",
        show_default=True,
        metavar="TYPE",
        help=f"Type of cone: {_TYPES}",
    )(command)


def _rate_option(command: Command) -> Command:
    return click.option(
        "--rate",
        metavar="R",
        help="Heating rate of the last 100 °C (180 °F); 60C/h (108F/h) if left out.",
    )(command)


def _cooling_option(command: Command) -> Command:
    return click.option(
        "--cooling",
        metavar="LEGS",
        help='Count the heat-work of a cooling, like "100C/h to 1040C".',
    )(command)


@click.command("cone")
@click.argument("cone")
@click.option("--rate", metavar="R", help="At this rate, like 60C/h or 108F/h.")
@json_option
def cone_command(cone: str, rate: str | None, as_json: bool) -> int:
    """Show the end points of CONE, as printed, or at a heating rate of the last 100 °C.

    "SK 6a" asks for a Seger cone: two published series, printed without a rate.
    """
    from firing.cones.lookup import cone_rows, is_seger, seger_rows
    from firing.report.sanitize import wrap

    if is_seger(cone):
        return _seger(seger_rows(cone), as_json)
    unit = common_unit(rate)
    rate_c_per_h = None if rate is None else parse_rate_c_per_h(rate, unit)
    answer = cone_rows(cone, rate_c_per_h, unit)
    if as_json:
        outcome.document({"schema": 1, "kind": "cone", **answer.to_dict()})
        return outcome.DONE
    outcome.text(f"Cone {answer.cone}: end points by heating rate of the last 100 °C (180 °F)\n")
    for row in answer.rows:
        words = row.type.replace("_", " ")
        printed = "" if row.source == "cone-chart-1996" else "  by the fitted law"
        rates = "  ".join(f"{format_rate(row.rate_c_per_h, one):>8}" for one in _both(unit))
        ends = "  ".join(f"{format_temperature(row.end_point_c, one):>7}" for one in _both(unit))
        outcome.text(f"  {words:<26}  {rates}  {ends}{printed}")
    outcome.text("")
    for sentence in (
        *(f"Note: {in_unit(warning, unit)}" for warning in answer.warnings),
        "Chart revised in 1996 (source: cone-chart-1996; between its rates: cone-model).",
    ):
        outcome.text("\n".join(wrap(sentence, outcome.width())))
    return outcome.DONE


def _both(unit: TemperatureUnit) -> tuple[TemperatureUnit, TemperatureUnit]:
    return ("C", "F") if unit == "C" else ("F", "C")


def _seger(answer: Any, as_json: bool) -> int:
    from firing.report.sanitize import wrap

    if as_json:
        outcome.document({"schema": 1, "kind": "seger_cone", **answer.to_dict()})
        return outcome.DONE
    outcome.text(f"Seger cone {answer.cone}: published end points, no heating rate printed\n")
    for row in answer.rows:
        outcome.text(
            f"  {row.series:<30}  {format_temperature(row.end_point_c):>7}  "
            f"{format_temperature(row.end_point_c, 'F'):>7}  ({row.source})"
        )
    outcome.text("")
    outcome.text("\n".join(wrap(answer.note, outcome.width())))
    return outcome.DONE


@click.command("hold")
@click.argument("cone")
@click.option("--at", required=True, metavar="T", help="Held at, like 1200C or 2192F.")
@_rate_option
@_type_option
@_cooling_option
@json_option
def hold_command(
    cone: str, at: str, rate: str | None, kind: str, cooling: str | None, as_json: bool
) -> int:
    """Say how long to hold at a temperature until CONE is down.

    A plain number has the unit of the others, or is °C.
    """
    from firing.cones.holds import hold_needed, what_the_range_spans

    unit = common_unit(at, rate)
    at_c = parse_temperature_c(at, unit)
    rate_c_per_h = parse_rate_c_per_h(rate or USUAL_RATE, unit)
    legs = _cooling(cooling, unit)
    answer = hold_needed(cone, at_c, rate_c_per_h, kind=kind, cooling=legs, unit=unit)
    if as_json:
        outcome.document({"schema": 1, "kind": "hold", "unit": unit, **answer.to_dict()})
        return outcome.DONE
    outcome.text(
        f"{_name(answer.cone, answer.kind)} at {format_temperature(at_c, unit)} after "
        f"{format_rate(rate_c_per_h, unit)}: hold {format_duration(answer.hold_s)} "
        f"({format_duration(answer.low_s)} to {format_duration(answer.high_s)})."
    )
    _explain(what_the_range_spans(unit), answer.warnings, answer.kind, counted=bool(legs))
    return outcome.DONE


@click.command("peak")
@click.argument("cone")
@click.option(
    "--hold", "hold_s", type=DURATION_S, required=True, metavar="H", help='Hold there, like "15m".'
)
@_rate_option
@_type_option
@_cooling_option
@click.option("--unit", type=click.Choice(["C", "F"]), help="Unit of the answer.")
@json_option
def peak_command(
    cone: str,
    hold_s: float,
    rate: str | None,
    kind: str,
    cooling: str | None,
    unit: TemperatureUnit | None,
    as_json: bool,
) -> int:
    """Say how hot to go so that CONE is down after a hold there."""
    from firing.cones.holds import peak_needed, what_the_range_spans

    unit = unit or common_unit(rate)
    rate_c_per_h = parse_rate_c_per_h(rate or USUAL_RATE, unit)
    legs = _cooling(cooling, unit)
    answer = peak_needed(cone, hold_s, rate_c_per_h, kind=kind, cooling=legs, unit=unit)
    if as_json:
        outcome.document({"schema": 1, "kind": "peak", "unit": unit, **answer.to_dict()})
        return outcome.DONE
    low, high = (format_temperature(value, unit) for value in (answer.low_c, answer.high_c))
    outcome.text(
        f"{_name(answer.cone, answer.kind)} with a hold of {format_duration(hold_s)} after "
        f"{format_rate(rate_c_per_h, unit)}: go to {format_temperature(answer.peak_c, unit)} "
        f"({low} to {high})."
    )
    _explain(what_the_range_spans(unit), answer.warnings, answer.kind, counted=bool(legs))
    return outcome.DONE


@click.command("ways")
@click.argument("cone")
@click.option("--at-most", metavar="T", help="The hottest peak allowed, like 1200C or 2190F.")
@click.option(
    "--rate",
    "rates",
    multiple=True,
    metavar="R",
    help="Final rate; may be given again.  60, 100 and 150C/h (108, 180, 270F/h) if left out.",
)
@_type_option
@_cooling_option
@click.option("--unit", type=click.Choice(["C", "F"]), help="Unit of the answer.")
@html_option
@json_option
def ways_command(
    cone: str,
    at_most: str | None,
    rates: tuple[str, ...],
    kind: str,
    cooling: str | None,
    unit: TemperatureUnit | None,
    html: Path | None,
    overwrite: bool,
    as_json: bool,
) -> int:
    """List the holds, peaks and final rates that bring CONE down, with their ranges."""
    from firing.cones.ways import USUAL_RATES_C_PER_H, ways_to_cone
    from firing.report.listings import ways_report

    unit = unit or common_unit(at_most, *rates)
    answer = ways_to_cone(
        cone,
        at_most_c=None if at_most is None else parse_temperature_c(at_most, unit),
        rates_c_per_h=tuple(parse_rate_c_per_h(rate, unit) for rate in rates)
        or USUAL_RATES_C_PER_H,
        kind=kind,
        cooling=_cooling(cooling, unit),
        unit=unit,
    )
    if as_json:
        outcome.document({"schema": 1, "kind": "ways", **answer.to_dict()})
    else:
        outcome.report(ways_report(answer))
    if html is not None:
        outcome.page(ways_report(answer), html, overwrite=overwrite)
    return outcome.DONE


@click.command("cone-at")
@click.argument("legs", nargs=-1, required=True)
@_type_option
@click.option("--unit", type=click.Choice(["C", "F"]), help="Unit of plain numbers.")
@json_option
def cone_at_command(
    legs: tuple[str, ...], kind: str, unit: TemperatureUnit | None, as_json: bool
) -> int:
    """Say which cone LEGS come to: "108F/h to 2190F hold 20m".

    Several legs stand behind one another with a comma or "then"; those that cool count, too.
    """
    from firing.cones.cone_at import cone_at
    from firing.report.listings import cone_at_report

    answer = cone_at(" ".join(legs), kind=kind, unit=unit)
    if as_json:
        outcome.document({"schema": 1, "kind": "cone_at", **answer.to_dict()})
    else:
        outcome.report(cone_at_report(answer))
    return outcome.DONE


def _cooling(text: str | None, unit: TemperatureUnit) -> Cooling:
    if text is None:
        return ()
    from firing.cones.cone_at import parse_cooling

    return parse_cooling(text, unit)


def _name(cone: str, kind: str) -> str:
    return f"Cone {cone}" if kind == "self-supporting" else f"Cone {cone}, {kind},"


def _explain(spans: str, warnings: tuple[str, ...], kind: str, *, counted: bool) -> None:
    from firing.report.sanitize import wrap

    cooled = (
        "The heat-work of the cooling you stated is counted."
        if counted
        else "Cooling is left out: a kiln's own cooling adds a little, slow cooling more."
    )
    sentences = [
        spans,
        cooled,
        *(f"Note: {warning}" for warning in warnings),
        f"{kind[:1].upper()}{kind[1:]} cones, chart of 1996 (sources: cone-chart-1996, "
        "cone-model).",
    ]
    for sentence in sentences:
        outcome.text("\n".join(wrap(sentence, outcome.width())))


@click.command("heatwork")
@click.argument("file")
@log_options
@json_option
def heatwork_command(file: str, channel: str | None, as_json: bool, **reading: Any) -> int:
    """Say which cones FILE, a schedule (TOML) or a log, amounts to, in its own unit."""
    import numpy as np

    from firing.cones.equivalence import cone_reached
    from firing.logs.reader import log_document, open_log
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
    from firing.cones.holds import FIRED_C

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
