"""``firing fleet``: many logs at once."""

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firing.cli import outcome
from firing.cli.arguments import (
    WholeNumber,
    html_option,
    json_option,
    log_options,
    optional_logbook,
    report_options,
    take_reading,
)
from firing.errors import FiringError

if TYPE_CHECKING:
    from firing.fleet.jobs import JobSource
    from firing.fleet.review_log import Studio
    from firing.fleet.run import Run
    from firing.fleet.table import FleetTable


@click.command("fleet")
@click.argument("source", metavar="[FOLDER|URL]", required=False)
@optional_logbook("Review the firings of a logbook; by default this user's own.")
@click.option("--plans", metavar="DIR", help="Folder of the schedule files, or one of them.")
@click.option("--kilns", metavar="DIR", help="Folder of the kiln files, or one of them.")
@click.option("--tariff", metavar="T", help="Tariff file (TOML), for the cost.")
@click.option("--out", "table", metavar="DIR", help="Folder or address of the table of results.")
@click.option(
    "--engine",
    type=click.Choice(["pool", "dask"]),
    default="pool",
    show_default=True,
    help="Processes of this computer, or a Dask cluster.",
)
@click.option("--scheduler", metavar="URL", help="Dask scheduler to use: tcp://host:8786.")
@click.option(
    "--workers", type=WholeNumber(1, 1024), metavar="N", help="Workers; default one a core."
)
@click.option("--list-columns", is_flag=True, help="List the columns of the table, and stop.")
@log_options
@html_option
@report_options
@json_option
def fleet_command(
    source: str | None,
    book: str | None,
    plans: str | None,
    kilns: str | None,
    tariff: str | None,
    table: str | None,
    engine: Any,
    scheduler: str | None,
    workers: int | None,
    list_columns: bool,
    channel: str | None,
    html: Path | None,
    overwrite: bool,
    as_json: bool,
    **reading: Any,
) -> int:
    """Review every log of FOLDER, and say what to look at first.

    The results are a table in --out, a row a log.  A second run reviews only what is new.  Without
    FOLDER the table is summed up as it is.  A log's kiln and plan are those whose names stand in
    its path, else those that its course fits.
    """
    # Arrow's own pool, chosen as it loads, keeps all the memory that a part once needed.
    os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")
    from firing.files.disk import check_writable
    from firing.fleet.summary import summarise
    from firing.fleet.table import FleetTable

    if list_columns:
        return _listed_columns(as_json)
    if table is None:
        raise FiringError("--out is missing; name the folder for the table of results")
    if source is not None and book is not None:
        raise FiringError("name a folder or --logbook, not both; two runs may share one --out")
    if html is not None:
        check_writable(html, overwrite=overwrite)  # before the work, not after it
    place, run = FleetTable(table), None
    if source is not None or book is not None:
        from firing.files.kinds import open_file
        from firing.fleet.inputs import studio_of

        prices, options = open_file("tariff", tariff), take_reading(reading)
        studio = studio_of(plans, kilns, tariff=prices, options=options, channel=channel)
        run = _run(_logs(source, book, studio), place, engine, scheduler, workers)
    elif plans or kilns or tariff or scheduler:
        raise FiringError("there is nothing to review; name the folder of the logs, too")
    found = summarise(place)
    if run is None and not found.logs:
        raise FiringError(f"{table} holds no table; name the folder of the logs to make one")
    if html is not None or not as_json:
        from firing.report.fleet import fleet_report

        if html is not None:
            outcome.page(fleet_report(found), html, overwrite=overwrite)
        if not as_json:
            outcome.report(fleet_report(found))
    if as_json:
        outcome.document({**found.to_dict(), "run": None if run is None else run.to_dict()})
    return outcome.act_if(found.needs_action)


def _logs(source: str | None, book: str | None, studio: "Studio") -> tuple["JobSource", "Studio"]:
    """Return where the logs are, and the studio they are set against."""
    from firing.fleet.jobs import FolderLogs, LogbookLogs

    if source is None:
        kept = LogbookLogs(Path(book) if book else None)
        return kept, kept.studio(studio)
    if not studio.plans:
        raise FiringError("--plans is missing; name the folder of the schedule files")
    return FolderLogs(source), studio


def _run(
    logs: tuple["JobSource", "Studio"],
    place: "FleetTable",
    engine: Any,
    scheduler: str | None,
    workers: int | None,
) -> "Run":
    from firing.cli.logbook import progress_line
    from firing.fleet.run import review_all

    run = review_all(
        logs[0], place, logs[1],
        engine=engine, workers=workers, scheduler=scheduler, progress=progress_line(),
    )  # fmt: skip
    outcome.note(
        f"{run.reviewed:,} of {run.found:,} logs were new"
        if run.reviewed
        else f"nothing is new in {run.found:,} logs"
    )
    return run


def _listed_columns(as_json: bool) -> int:
    """List the table's columns with their types and words."""
    from firing.fleet.table import schema

    listed = [
        {"name": one.name, "type": str(one.type), "words": one.metadata[b"words"].decode()}
        for one in schema()
    ]
    if as_json:
        outcome.document({"schema": 1, "kind": "fleet_columns", "columns": listed})
    else:
        from firing.report.document import Report
        from firing.report.document import Table as Rows

        rows = [(one["name"], one["type"], one["words"]) for one in listed]
        outcome.report(
            Report("", "Columns of the table", [Rows(("column", "type", "what"), "lll", rows)])
        )
    return outcome.DONE
