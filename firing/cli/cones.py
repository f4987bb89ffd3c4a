"""``firing cone``, ``hold`` and ``peak``: the chart and the law fitted to it."""

import click

from firing.cli import outcome
from firing.cli.arguments import DURATION_S, RATE_C_PER_H, TEMPERATURE_C, json_option
from firing.units import format_duration, format_temperature


@click.command("cone")
@click.argument("cone")
@click.option("--rate", "rate_c_per_h", type=RATE_C_PER_H, metavar="R", help="At this rate, °C/h.")
@json_option
def cone_command(cone: str, rate_c_per_h: float | None, as_json: bool) -> int:
    """Show the end points of CONE, as printed, or at a heating rate of the last 100 °C."""
    from firing.cones.lookup import cone_rows
    from firing.report.sanitize import wrap

    answer = cone_rows(cone, rate_c_per_h)
    if as_json:
        outcome.document({"schema": 1, "kind": "cone", **answer.to_dict()})
        return outcome.DONE
    outcome.text(f"Cone {answer.cone}: end points by heating rate of the last 100 °C\n")
    for row in answer.rows:
        words = row.type.replace("_", " ")
        printed = "" if row.source == "cone-chart-1996" else "  by the fitted law"
        outcome.text(
            f"  {words:<28} {row.rate_c_per_h:>4.0f} °C/h  "
            f"{format_temperature(row.end_point_c):>8}  "
            f"{format_temperature(row.end_point_c, 'F'):>8}{printed}"
        )
    outcome.text("")
    for sentence in (
        *(f"Note: {warning}" for warning in answer.warnings),
        "Chart revised in 1996 (source: cone-chart-1996; between its rates: cone-model).",
    ):
        outcome.text("\n".join(wrap(sentence, outcome.width())))
    return outcome.DONE


@click.command("hold")
@click.argument("cone")
@click.option(
    "--at",
    "at_c",
    type=TEMPERATURE_C,
    required=True,
    metavar="T",
    help="Held at, °C or like 2192F.",
)
@click.option(
    "--rate",
    "rate_c_per_h",
    type=RATE_C_PER_H,
    default="60",
    show_default=True,
    metavar="R",
    help="Heating rate before, °C/h.",
)
@json_option
def hold_command(cone: str, at_c: float, rate_c_per_h: float, as_json: bool) -> int:
    """Say how long to hold at a temperature until CONE is down."""
    from firing.cones.holds import hold_needed

    answer = hold_needed(cone, at_c, rate_c_per_h)
    if as_json:
        outcome.document({"schema": 1, "kind": "hold", **answer.to_dict()})
        return outcome.DONE
    outcome.text(
        f"Cone {answer.cone} at {format_temperature(at_c)} after {rate_c_per_h:.0f} °C/h: hold "
        f"{format_duration(answer.hold_s)} "
        f"({format_duration(answer.low_s)} to {format_duration(answer.high_s)})."
    )
    _explain(answer.warnings)
    return outcome.DONE


@click.command("peak")
@click.argument("cone")
@click.option(
    "--hold", "hold_s", type=DURATION_S, required=True, metavar="H", help='Hold there, like "15m".'
)
@click.option(
    "--rate",
    "rate_c_per_h",
    type=RATE_C_PER_H,
    default="60",
    show_default=True,
    metavar="R",
    help="Heating rate before, °C/h.",
)
@json_option
def peak_command(cone: str, hold_s: float, rate_c_per_h: float, as_json: bool) -> int:
    """Say how hot to go so that CONE is down after a hold there."""
    from firing.cones.holds import peak_needed

    answer = peak_needed(cone, hold_s, rate_c_per_h)
    if as_json:
        outcome.document({"schema": 1, "kind": "peak", **answer.to_dict()})
        return outcome.DONE
    outcome.text(
        f"Cone {answer.cone} with a hold of {format_duration(hold_s)} after "
        f"{rate_c_per_h:.0f} °C/h: go to {format_temperature(answer.peak_c)} "
        f"({format_temperature(answer.low_c)} to {format_temperature(answer.high_c)})."
    )
    _explain(answer.warnings)
    return outcome.DONE


def _explain(warnings: tuple[str, ...]) -> None:
    from firing.report.sanitize import wrap

    sentences = [
        "The range spans the cone's own ±2 °C and what the law may miss; the thermocouple's error "
        "comes on top.",
        *(f"Note: {warning}" for warning in warnings),
        "Self-supporting cones, chart of 1996 (sources: cone-chart-1996, cone-model).",
    ]
    for sentence in sentences:
        outcome.text("\n".join(wrap(sentence, outcome.width())))
