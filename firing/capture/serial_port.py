"""A serial port, or what pyserial opens like one, with its four kinds of failure made one.

A port may be named by its USB serial number, ``usb:A1B2C3``: the number stays with its instrument
whatever name the system gives the port, so that two kilns cannot change places.

When a device is unplugged pyserial raises, depending on what was under way, `SerialException`, a
plain `OSError`, `termios.error` or `TypeError`.  All of them mean the same here: `SourceLost`.
"""

from __future__ import annotations

import contextlib
import socket
from dataclasses import dataclass
from typing import Any, Literal

from firing.capture.source import LINE_WAIT_S, SourceLost

Parity = Literal["none", "even", "odd"]
WRITE_TIMEOUT_S = 1.0
_CHUNK = 4096
BY_NUMBER = "usb:"
SOCKET = "socket://"
KEEPALIVE_S = 10
"""After so long without a byte the other end of a socket is asked whether it is there [s]."""
KEEPALIVE_TRIES = 3


@dataclass(frozen=True, slots=True)
class PortSettings:
    """How a port is opened: a device, or a URL such as ``socket://host:port``.

    The line settings have no meaning over a socket.
    """

    port: str
    baud: int = 9600
    parity: Parity = "none"
    stop_bits: int = 1


def disconnect_errors() -> tuple[type[BaseException], ...]:
    """Return every exception a port may raise when its device is gone."""
    kinds: list[type[BaseException]] = [OSError, TypeError]  # SerialException is an OSError
    with contextlib.suppress(ImportError):
        import termios

        kinds.append(termios.error)
    return tuple(kinds)


class SerialPort:
    """One port.  Every opening makes a new object below, as a lost one does not recover.

    Opening a port toggles DTR, which resets many boards: what they print then is not a reading.
    """

    def __init__(self, settings: PortSettings) -> None:
        self.settings = settings
        self.port: Any = None
        self.lost_kinds = disconnect_errors()
        self._opening_kinds: tuple[type[BaseException], ...] = (*self.lost_kinds, ValueError)

    def open(self, *, wait_s: float = LINE_WAIT_S) -> None:
        """Open the port for this process alone; a read waits `wait_s` for the first byte."""
        import serial

        self.close()
        wanted = self.settings
        try:
            port = serial.serial_for_url(
                device_named(wanted.port),
                baudrate=wanted.baud,
                parity=wanted.parity[0].upper(),
                stopbits=wanted.stop_bits,
                timeout=wait_s,
                write_timeout=WRITE_TIMEOUT_S,
                exclusive=True,
                do_not_open=True,
            )
            if self.is_socket:
                # What a socket brought is of this connection; pyserial would throw it away.
                port.reset_input_buffer = lambda: None
            port.open()
            if self.is_socket:
                del port.reset_input_buffer
                _keep_alive(getattr(port, "_socket", None))
            self.port = port
        except self._opening_kinds as fault:
            raise SourceLost(self._opening_fault(fault)) from None

    @property
    def is_socket(self) -> bool:
        """Whether it is a connection over the network, which may be opened anew without harm."""
        return self.settings.port.startswith(SOCKET)

    def _opening_fault(self, fault: BaseException) -> str:
        port, text = self.settings.port, str(fault)
        if "lock port" in text:
            return f"{port} is in use by another program; end that one first"
        if "No such file" in text or "FileNotFoundError" in text:
            return f"{port}: there is no such port; 'firing ports' lists those there are"
        if "Permission denied" in text or "PermissionError" in text:
            return (
                f"{port} may not be opened by this user; on Linux join the group that owns it "
                "(often dialout)"
            )
        if "refused" in text:
            return f"{port}: nothing answers there; check host and port"
        if not self.is_socket and not isinstance(fault, ValueError):
            return f"{port} is no serial port; 'firing ports' lists those there are"
        return f"{port} cannot be opened: {_plainly(fault)}"

    def read(self) -> bytes:
        """Return the bytes there are, waiting for the first; empty after the waiting time."""
        self._require_open()
        try:
            data: bytes = self.port.read(1)
            while data and len(data) < _CHUNK and (more := self.port.in_waiting):
                data += self.port.read(min(more, _CHUNK))
        except self.lost_kinds as fault:
            raise self.lost(fault) from None
        return data

    def ask(self, query: bytes) -> None:
        """Clear what arrived too late for the query before, and send a query."""
        self._require_open()
        try:
            self.port.reset_input_buffer()
            self.port.write(query)
        except self.lost_kinds as fault:
            raise self.lost(fault) from None

    def _require_open(self) -> None:
        if self.port is None:
            raise SourceLost(f"{self.settings.port} is not open")

    def lost(self, fault: BaseException) -> SourceLost:
        """Return the sentence for a failure of the open port."""
        return SourceLost(f"{self.settings.port} is gone: {_plainly(fault)}")

    def close(self) -> None:
        """Close the port, whatever state it is in."""
        if self.port is not None:
            with contextlib.suppress(*self.lost_kinds):
                self.port.close()
        self.port = None


def _keep_alive(connection: Any) -> None:
    """Have the system find out that the other end of a socket is gone, though it said nothing."""
    if not isinstance(connection, socket.socket):
        return
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for name, value in (
        ("TCP_KEEPIDLE", KEEPALIVE_S),
        ("TCP_KEEPINTVL", KEEPALIVE_S),
        ("TCP_KEEPCNT", KEEPALIVE_TRIES),
    ):
        if hasattr(socket, name):  # not everywhere
            connection.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)


def device_named(port: str) -> str:
    """Return the device that a port's name means: its own, or that of a USB serial number.

    `SourceLost` if no port has that number now, or more than one.
    """
    if not port.lower().startswith(BY_NUMBER):
        return port
    number = port[len(BY_NUMBER) :].strip().casefold()
    found = [entry for entry in list_ports() if (entry.serial_number or "").casefold() == number]
    if not found:
        raise SourceLost(
            f"{port}: no port has this USB serial number now; 'firing ports' lists those there are"
        )
    if len(found) > 1:
        devices = " and ".join(entry.device for entry in found)
        raise SourceLost(
            f"{port}: {devices} have the same USB serial number; name the port itself, such as one "
            "of /dev/serial/by-path"
        )
    return found[0].device


def _plainly(fault: BaseException) -> str:
    """Return an exception's text without its own class and numbers in front."""
    if isinstance(fault, OSError) and fault.strerror:
        text = fault.strerror
    elif isinstance(fault, TypeError):
        text = "it was closed"
    elif "readiness to read" in str(fault):
        text = "it was unplugged, or another program reads it, too"
    else:
        text = str(fault) or type(fault).__name__
    text = " ".join(text.split())
    return text[:120].rstrip(".")


@dataclass(frozen=True, slots=True)
class PortDescription:
    """One port: what opens it, what the system calls it, and what it says of itself over USB."""

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
            "name": f"{BY_NUMBER}{self.serial_number}" if self.serial_number else self.device,
            "description": self.description,
            "vid": None if self.vendor_id is None else f"{self.vendor_id:04x}",
            "pid": None if self.product_id is None else f"{self.product_id:04x}",
            "serial_number": self.serial_number,
            "manufacturer": self.manufacturer,
        }


def list_ports() -> tuple[PortDescription, ...]:
    """Return the ports there are, in the order of their names; nothing is opened."""
    from serial.tools import list_ports as tools

    found = [
        PortDescription(
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
