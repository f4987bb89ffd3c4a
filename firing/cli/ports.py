"""``firing ports`` and ``notify``: what a watch reads from, and who its messages go to."""

from __future__ import annotations

from pathlib import Path

import click

from firing.cli import outcome
from firing.cli.arguments import WholeNumber, json_option


@click.command("ports")
@click.option(
    "--listen",
    "heard",
    metavar="PORT",
    help="Open this one, show what it sends, and say what reads it.",
)
@click.option(
    "--baud", type=WholeNumber(50, 4_000_000), metavar="RATE", help="Listen at this rate only."
)
@json_option
def ports_command(heard: str | None, baud: int | None, as_json: bool) -> int:
    """List the serial ports, with the numbers by which their USB devices are known.

    A port with a USB serial number may be named by it, as usb:NUMBER, wherever a port is named:
    the number stays with its instrument when the system gives the port another name.

    Nothing is opened unless you --listen, as opening a port resets many boards.  That tries the
    usual baud rates, a few seconds each, and sends nothing.  Exit code 1: no line was a reading.
    """
    if heard is not None:
        return _listen(heard, baud, as_json)
    if baud is not None:
        raise click.UsageError("--baud goes with --listen PORT")
    from firing.capture.serial_port import BY_NUMBER, list_ports
    from firing.files.tomlfile import clean

    ports = list_ports()
    if as_json:
        outcome.document(
            {"schema": 1, "kind": "ports", "ports": [port.to_dict() for port in ports]}
        )
        return outcome.DONE
    if not ports:
        outcome.text("No serial port is there.")
    for port in ports:
        told = [port.device]
        if port.vendor_id is not None and port.product_id is not None:
            told.append(f"USB {port.vendor_id:04x}:{port.product_id:04x}")
        if port.serial_number:
            told.append(f"{BY_NUMBER}{clean(port.serial_number)}")
        told.append(clean(port.description or port.manufacturer or ""))
        outcome.text("  ".join(part for part in told if part))
    return outcome.DONE


def _listen(port: str, baud: int | None, as_json: bool) -> int:
    from firing.capture.text_lines import BAUDS, listen

    found = listen(port, BAUDS if baud is None else (baud,))
    best = found[-1]
    if as_json:
        document = {"schema": 1, "kind": "listen", "heard": [entry.to_dict() for entry in found]}
        outcome.document({**document, "command": best.command or None})
        return outcome.act_if(best.layout is None)
    for entry in found:
        rate = "" if "://" in port else f" at {entry.baud} baud"
        if not entry.byte_count:
            outcome.text(f"{port}{rate}: nothing came.")
            continue
        what = "lines come" if entry.lines else "bytes arrive but no line ends"
        if entry.lines and entry.layout is None:
            what = "lines come, but no readings"
        outcome.text(f"{port}{rate}: {what}.")
        for line in entry.shown():
            outcome.text(f"  {line}")
    if best.layout is not None:
        outcome.text("This reads it, if the kiln's number is the one called kiln:")
        outcome.text(f"  {best.command}")
        return outcome.DONE
    if not any(entry.byte_count for entry in found):
        outcome.text(
            "An instrument that has to be asked sends nothing by itself: write a source file "
            "(kind scpi or modbus).  Else check the cable and its power."
        )
    else:
        outcome.text("No rate makes lines of readings: check the instrument's own settings.")
    return outcome.ACT


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
