"""``firing schedules``: the ready schedules and example files."""

from pathlib import Path

import click

from firing.cli import outcome
from firing.cli.arguments import json_option


@click.command("schedules")
@click.argument("name", required=False)
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="Write NAME to a new file."
)
@json_option
def schedules_command(name: str | None, out: Path | None, as_json: bool) -> int:
    """List the ready schedules, or print NAME: one of them, or an example file."""
    import tomllib

    from firing.errors import FiringError
    from firing.files.ready import example_names, ready_names, ready_text
    from firing.schedule.file import parse_schedule

    if name is not None:
        content = ready_text(name)
        if out is not None:
            outcome.write(out, content)
            outcome.note(f"written to {out}")
        elif as_json:
            outcome.document({"schema": 1, "kind": "ready-file", "name": name, "toml": content})
        else:
            outcome.text(content.rstrip("\n"))
        return outcome.DONE
    if out is not None:
        raise FiringError("--out wants the name of a ready schedule before it")
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
