"""``firing schedules``, ``safety``, ``sources``, ``schema`` and ``demo``: what comes with it."""

from pathlib import Path

import click

from firing.cli import outcome
from firing.cli.arguments import json_option, out_option, report_options
from firing.files.kinds import KIND_NAMES, file_kind
from firing.units import TemperatureUnit


@click.command("schedules")
@click.argument("name", required=False)
@out_option("Write NAME to a new file.")
@json_option
def schedules_command(name: str | None, out: Path | None, overwrite: bool, as_json: bool) -> int:
    """List the ready schedules, or print NAME: one of them, or an example file."""
    import tomllib

    from firing.errors import FiringError
    from firing.files.kinds import example_names, ready_names, ready_text
    from firing.schedule.file import parse_schedule

    if name is not None:
        content = ready_text(name)
        if out is not None:
            outcome.write(out, content, overwrite=overwrite)
            outcome.note(f"written to {out}")
        if as_json:
            outcome.document({"schema": 1, "kind": "ready-file", "name": name, "toml": content})
        elif out is None:
            outcome.text(content.rstrip("\n"))
        return outcome.DONE
    if out is not None:
        raise FiringError("--out writes one ready file; name it, like thin-ware-bisque")
    ready = {n: parse_schedule(ready_text(n), n) for n in ready_names()}
    if as_json:
        outcome.document(
            {
                "schema": 1,
                "kind": "schedules",
                "schedules": [{"name": n, **s.to_dict()} for n, s in ready.items()],
                "examples": example_names(),
            }
        )
        return outcome.DONE
    wide = max(len(n) for n in [*ready, *example_names()])
    outcome.text("Ready schedules, with the reason for every segment in their comments:\n")
    for n, schedule in ready.items():
        outcome.text(f"  {n:<{wide}}  {schedule.title}")
    outcome.text("\nExample files of an invented studio:\n")
    for n in example_names():
        data = tomllib.loads(ready_text(n))
        outcome.text(f"  {n:<{wide}}  {data.get('name', '')}".rstrip())
    outcome.text("\n'firing schedules NAME' prints one; 'firing forecast NAME' forecasts it.")
    return outcome.DONE


@click.command("sources")
@click.argument("source_id", metavar="[ID]", required=False)
@json_option
def sources_command(source_id: str | None, as_json: bool) -> int:
    """List the sources of every figure, or print the one called ID."""
    from firing.report.listings import sources_report
    from firing.sources import load_sources, source

    chosen = load_sources() if source_id is None else {source_id: source(source_id)}
    if as_json:
        outcome.document(
            {
                "schema": 1,
                "kind": "sources",
                "sources": [{"id": key, **entry.to_dict()} for key, entry in chosen.items()],
            }
        )
    else:
        outcome.report(sources_report(chosen))
    return outcome.DONE


@click.command("schema")
@click.argument("kind", type=click.Choice(KIND_NAMES))
@json_option
def schema_command(kind: str, as_json: bool) -> int:
    """Print the JSON Schema (draft 2020-12) of a KIND of file; always JSON."""
    schema = file_kind(kind).json_schema()
    dialect = "https://json-schema.org/draft/2020-12/schema"
    outcome.document({"$schema": dialect, **schema})
    return outcome.DONE


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


FOLDER = "firing-demo"


@click.command("demo")
@report_options
@json_option
def demo_command(as_json: bool) -> int:
    """Forecast an invented plan, review the log of its firing, and write the page.

    Everything goes into a new folder firing-demo (firing-demo-2 if that is there, and so on).
    """
    from datetime import datetime
    from importlib import resources

    from firing.files.tomlfile import write_text
    from firing.forecast.forecast import forecast
    from firing.logs.reader import pick_channel, read_log
    from firing.report.page import render_page
    from firing.report.review import review_report
    from firing.review.review import review
    from firing.schedule.file import open_schedule

    folder = _new_folder()
    for name in ("plan.toml", "log.csv"):
        content = (resources.files("firing") / "data" / "demo" / name).read_text(encoding="utf-8")
        write_text(folder / name, content)
    plan = open_schedule(folder / "plan.toml")
    record = read_log(folder / "log.csv")
    started = record.trace.started or datetime.now().astimezone()
    course = forecast(plan, started=started)
    result = review(plan, record, channel=pick_channel(record, None))
    page = folder / "review.html"
    write_text(page, render_page(review_report(result)))
    if as_json:
        outcome.document(
            {
                "schema": 1,
                "kind": "demo",
                "invented": True,
                "folder": str(folder),
                "page": str(page),
                "forecast": course.to_dict(),
                "review": result.to_dict(),
            }
        )
        return outcome.DONE
    outcome.report(review_report(result))
    outcome.text(
        f"\nAn invented studio and load. As a page: {page}. Go on with:\n"
        f"  firing forecast {folder}/plan.toml --start 07:30"
    )
    return outcome.DONE


def _new_folder() -> Path:
    """Make and return the first folder of that name which is not there yet."""
    from firing.errors import FiringError

    number = 1
    while True:
        folder = Path(FOLDER if number == 1 else f"{FOLDER}-{number}")
        try:
            folder.mkdir()
        except FileExistsError:
            number += 1
        except OSError as error:
            raise FiringError(
                f"the folder {folder} cannot be made here ({error.strerror}); "
                "go to a folder that can be written to"
            ) from None
        else:
            return folder
