"""``firing ports``: the serial ports of this computer."""

import click

from firing.cli import outcome
from firing.cli.arguments import json_option


@click.command("ports")
@json_option
def ports_command(as_json: bool) -> int:
    """List the serial ports, with the numbers by which their USB devices are known.

    Nothing is opened: opening a port resets many boards.
    """
    from firing.capture.serial_port import list_ports
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
            told.append(f"serial {clean(port.serial_number)}")
        told.append(clean(port.description or port.manufacturer or ""))
        outcome.text("  ".join(part for part in told if part))
    return outcome.DONE
