"""``firing demo``: the main job on an invented firing that ran long."""

from pathlib import Path

import click

from firing.cli import outcome
from firing.cli.arguments import json_option, report_options

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
