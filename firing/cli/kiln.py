"""``firing kiln show`` and ``firing kiln fit``: what a kiln is, and what its logs teach of it."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firing.cli import outcome
from firing.cli.arguments import (
    Number,
    Subcommands,
    json_option,
    log_options,
    optional_logbook,
    report_options,
    take_reading,
)
from firing.logs.reader import log_document, open_log
from firing.units import TemperatureUnit

if TYPE_CHECKING:
    from firing.kiln.fit_result import KilnFit


@click.group("kiln", cls=Subcommands)
def kiln_command() -> None:
    """Show a kiln, or learn it from its own logs."""


@kiln_command.command("show")
@click.argument("kiln")
@json_option
def show_command(kiln: str, as_json: bool) -> int:
    """Print every figure the model uses for KILN, given, derived and assumed, with its source."""
    from firing.kiln.description import describe_kiln
    from firing.kiln.file import open_kiln
    from firing.kiln.simulation import fastest_rates, highest_hold
    from firing.report.listings import kiln_report

    described = open_kiln(kiln)
    rows = describe_kiln(described)
    highest = highest_hold(described)
    rates = fastest_rates(described)
    if as_json:
        outcome.document(
            {
                "schema": 1,
                "kind": "kiln",
                "name": described.name,
                "rows": [row.to_dict() for row in rows],
                "highest_c": highest.temperature_c,
                "highest_by_tables": highest.by_tables,
                "max_rate_c_per_h": [list(pair) for pair in rates],
            }
        )
    else:
        outcome.report(kiln_report(described.name, rows, highest, rates, described.unit))
    return outcome.DONE


@kiln_command.command("materials")
@click.option("--unit", type=click.Choice(["C", "F"]), default="C", help="Unit of the list.")
@json_option
def materials_command(unit: TemperatureUnit, as_json: bool) -> int:
    """List the wall materials a kiln file may name, with their values and sources."""
    from firing.heat.properties import material_rows
    from firing.report.listings import materials_report

    rows = material_rows()
    if as_json:
        listed = [row.to_dict() for row in rows]
        outcome.document({"schema": 1, "kind": "materials", "materials": listed})
    else:
        outcome.report(materials_report(rows, unit))
    return outcome.DONE


@kiln_command.command("fit")
@click.argument("kiln")
@click.argument("logs", metavar="[LOG]...", nargs=-1, type=click.Path(path_type=Path))
@optional_logbook(
    "Learn from the kept firings of KILN instead of from LOGs; this user's own without FILE."
)
@click.option(
    "--schedule",
    "schedules",
    multiple=True,
    metavar="S",
    help="The schedule the firings were run by; or one for each LOG, in their order.",
)
@click.option(
    "--load",
    "loads",
    multiple=True,
    metavar="L",
    help="What was in the kiln, a load file: fixes the size; or one for each LOG.",
)
@click.option(
    "--kwh",
    type=Number(0.0, min_open=True),
    multiple=True,
    metavar="KWH",
    help="What a meter counted over a firing; once for each LOG, in their order.",
)
@click.option(
    "--elements-new", is_flag=True, help="The elements were new: with measured volts an anchor."
)
@click.option("--date", "on", metavar="DAY", help="The day of a log that has none: 2026-11-03.")
@click.option("--write", is_flag=True, help="Write what was learnt into the KILN file.")
@log_options
@report_options
@json_option
def fit_command(
    kiln: str,
    logs: tuple[Path, ...],
    book: str | None,
    schedules: tuple[str, ...],
    loads: tuple[str, ...],
    kwh: tuple[float, ...],
    elements_new: bool,
    on: str | None,
    write: bool,
    channel: str | None,
    as_json: bool,
    **reading: Any,
) -> int:
    """Learn KILN's power, losses and heat capacity from the LOG of one firing or of several.

    Prints what the logs show and what they can't; with --write it goes into the file's [fitted],
    and everything else in the file stays as it is.
    """
    from firing.clock import parse_when
    from firing.errors import FiringError
    from firing.files.kinds import open_file

    if book is not None:
        if logs or schedules or loads or kwh:
            raise FiringError(
                "--logbook has logs, plans, loads and kWh of its own; leave out LOG, --schedule, "
                "--load and --kwh"
            )
        return _learn(kiln, book, write=write, as_json=as_json)
    if not logs:
        raise FiringError("name a LOG of a firing in this kiln, or learn from it with --logbook")
    from firing.kiln.element_wear import power_trend
    from firing.kiln.file import open_kiln
    from firing.kiln.fit import fit_kiln
    from firing.report.listings import fit_report
    from firing.review.fit_input import fit_input_of
    from firing.schedule.file import open_schedule

    if kwh and len(kwh) != len(logs):
        raise FiringError(
            f"--kwh stands {len(kwh)} times and LOG {len(logs)} times; give one for each log"
        )
    if write and not Path(kiln).exists():
        raise FiringError(f"{kiln}: there is no such file to write to")
    described = open_kiln(kiln)
    plans = [open_schedule(name) for name in _each(schedules, len(logs), "--schedule")]
    inside = [open_file("load", name) for name in _each(loads, len(logs), "--load")]
    how = take_reading(reading)
    records = []
    read: list[dict[str, Any]] = []
    choices: list[str] = []
    notes: list[str] = []
    for number, path in enumerate(logs):
        log, place = open_log(path, channel, how)
        read.append(log_document(log, place))
        choices += [f"{log.name}: {words}" for words in log.open_choices]
        notes += [f"{log.name}: {words}" for words in log.other_notes]
        records.append(
            fit_input_of(
                log,
                schedule=plans[number] if plans else None,
                load=inside[number] if inside else None,
                kwh=kwh[number] if kwh else None,
                channel=place + 1,
            )
        )
    fit = fit_kiln(
        described,
        records,
        elements_new=elements_new,
        try_walls=True,
        on=None if on is None else parse_when(on).date(),
    )
    trend = power_trend(described, [fit])
    if write:
        _write_fitted(Path(kiln), fit)
        outcome.note(f"[fitted] written to {kiln}")
    if as_json:
        document = {"schema": 1, "kind": "fit", **fit.to_dict(), "trend": trend.to_dict()}
        document["logs"] = read
        document["log"] = {"notes": [f"{one['name']}: {n}" for one in read for n in one["notes"]]}
        outcome.document(document)
    else:
        report = fit_report(described.name, fit, trend, described.unit, choices, notes)
        outcome.report(report)
    return outcome.act_if(trend.needs_action)


def _learn(kiln: str, place: str, *, write: bool, as_json: bool) -> int:
    """Learn a kiln from its kept firings."""
    from firing.errors import FiringError
    from firing.files.tomlfile import read_text, write_text
    from firing.kiln.file import open_kiln, write_fitted
    from firing.logbook.keeping import records_of
    from firing.logbook.learning import learn
    from firing.logbook.store import Logbook
    from firing.report.trends import learnt_report

    described = open_kiln(kiln)
    with Logbook.open(Path(place) if place else None, create=False) as book:
        name = book.kiln_called(described.name)
        records, worked_on = records_of(book, name)
        if not records:
            known = ", ".join(book.kilns()) or "none"
            raise FiringError(
                f'{kiln}: the logbook holds no firing of "{described.name}"; it knows: {known}'
            )
    learnt = learn(described, records, worked_on)
    if write:
        if not Path(kiln).exists():
            raise FiringError(f"{kiln}: there is no such file to write to")
        text = read_text(Path(kiln))
        text = write_fitted(text, learnt.fitted, learnt.to_past(), learnt.history())
        write_text(Path(kiln), text, overwrite=True)
        outcome.note(f"[fitted] and [[history]] written to {kiln}")
    if as_json:
        outcome.document({"schema": 1, "kind": "learnt", "kiln": name, **learnt.to_dict()})
    else:
        outcome.report(learnt_report(name, learnt, written=write, unit=described.unit))
    return outcome.DONE


def _each(given: tuple[str, ...], logs: int, option: str) -> tuple[str, ...]:
    """Return one for each log: as given, or the one that is given for all."""
    from firing.errors import FiringError

    if len(given) in (0, logs):
        return given
    if len(given) == 1:
        return given * logs
    raise FiringError(
        f"{option} stands {len(given)} times and LOG {logs} times; give it once, or for each log"
    )


def _write_fitted(path: Path, fit: "KilnFit") -> None:
    from firing.files.tomlfile import read_text, write_text
    from firing.kiln.file import parse_kiln, write_fitted

    text = read_text(path)
    fitted = fit.to_fitted(parse_kiln(text, str(path)).fitted)
    write_text(path, write_fitted(text, fitted, fit.to_past()), overwrite=True)
