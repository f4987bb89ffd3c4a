"""The serial ports of this computer."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Port:
    """One port.

    Attributes
    ----------
    device, description : str
        What to open it by, and what the system calls it.
    vendor_id, product_id : int or None
        USB numbers (VID and PID); None for what is not on USB.
    serial_number, manufacturer : str or None
        What the device says of itself.
    """

    device: str
    description: str
    vendor_id: int | None
    product_id: int | None
    serial_number: str | None
    manufacturer: str | None

    def to_dict(self) -> dict[str, Any]:
        """Return the port as JSON shows it; VID and PID in hexadecimal, as they are written."""
        return {
            "device": self.device,
            "description": self.description,
            "vid": None if self.vendor_id is None else f"{self.vendor_id:04x}",
            "pid": None if self.product_id is None else f"{self.product_id:04x}",
            "serial_number": self.serial_number,
            "manufacturer": self.manufacturer,
        }


def list_ports() -> tuple[Port, ...]:
    """Return the ports there are, in the order of their names; nothing is opened."""
    from serial.tools import list_ports as tools

    found = [
        Port(
            device=str(entry.device),
            description="" if entry.description in (None, "n/a") else str(entry.description),
            vendor_id=entry.vid,
            product_id=entry.pid,
            serial_number=entry.serial_number,
            manufacturer=entry.manufacturer,
        )
        for entry in tools.comports()
    ]
    return tuple(sorted(found, key=lambda port: port.device))
