"""``firing notify``: who gets messages of a running firing, and whether they arrive."""

from __future__ import annotations

from pathlib import Path

import click

from firing.cli import outcome
from firing.cli.arguments import json_option


@click.command("notify")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--try", "trial", is_flag=True, help="Send a trial message every way.")
@json_option
def notify_command(file: Path, trial: bool, as_json: bool) -> int:
    """Show who a notify FILE (TOML) sends messages to; with --try, send them one.

    "firing watch … --notify FILE" sends the messages of a firing.  Secrets (addresses that let
    anybody write to your phone, passwords) are never shown.  A message can be late or fail: it is
    no alarm to rely on.  Exit code 1: a trial did not get out.
    """
    from firing.remote.notify_file import open_notify

    settings = open_notify(file)
    document = {"schema": 1, "kind": "notify", "file": str(file), **settings.to_dict()}
    failed = False
    if trial:
        from firing.remote.messages import send_trials

        trials = send_trials(settings)
        failed = any(sent.reason is not None for sent in trials)
        document["trials"] = [sent.to_dict() for sent in trials]
    if as_json:
        outcome.document(document)
        return outcome.act_if(failed)
    for line in settings.words:
        outcome.text(line)
    if trial:
        for sent in trials:
            how = (
                f"delivered in {sent.took_s:.1f} s"
                if sent.reason is None
                else f"NOT delivered: {sent.reason}"
            )
            outcome.text(f"Trial to {sent.channel.name}: {how}.")
    else:
        outcome.text("Nothing was sent; --try sends a trial message every way.")
    return outcome.act_if(failed)
