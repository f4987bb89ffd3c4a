"""Serial ports: unplugging in all its forms, boards that reset, ports that cannot be opened."""

import contextlib
import itertools
import json
import os
import shlex
import socket
import termios
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from capture.ptywatch import Instrument
from commandline import call

from firing.capture import serial_port, text_lines
from firing.capture.fields import FieldLayout, LineParser
from firing.capture.reading import Reading
from firing.capture.serial_port import (
    PortDescription,
    PortSettings,
    SerialPort,
    device_named,
    list_ports,
)
from firing.capture.source import FIRST_PAUSE_S, LONGEST_PAUSE_S, Connection, SourceLost
from firing.capture.text_lines import GARBLED_LINES, TextLineSource, listen


def source(port: object, *fields: str) -> TextLineSource:
    return TextLineSource(PortSettings(str(port)), LineParser(FieldLayout(fields or ("kiln",))))


def take(what: TextLineSource | Connection, patience_s: float = 60.0) -> Reading | None:
    until = time.monotonic() + patience_s
    while time.monotonic() < until:
        found = what.read(0.05)
        if found is not None:
            return found
    return None


def test_lines_come_through_a_port(instrument: Instrument) -> None:
    port = source(instrument.port)
    port.open()
    # what arrived before opening is a part of a line for all anybody knows
    instrument.send(b"5.5\n1215.5\r\n12")
    found = take(port)
    assert found is not None
    assert found.values_c == [1215.5]
    assert port.read(0.05) is None
    instrument.send(b"16.0\n")
    found = take(port)
    assert found is not None
    assert found.values_c == [1216.0]
    port.close()


def test_the_text_of_a_board_that_resets_is_passed_over(instrument: Instrument) -> None:
    port = source(instrument.port, "kiln", "top")
    port.open()
    instrument.send(b"\x00\xffets Jul 29 2019\r\nrst:0x1 (POWERON_RESET),boot:0x13\r\n")
    instrument.send(b"thermometer 2.1, ready\r\nkiln,top\r\n20.5,20.25\r\n")
    found = take(port)
    assert found is not None
    assert found.values_c == [20.5, 20.25]
    port.close()


def test_lines_that_mean_nothing_are_told_of_once(instrument: Instrument) -> None:
    port = source(instrument.port)
    port.open()
    for _ in range(GARBLED_LINES * 3):
        instrument.send(b"\xfa\x80\x11\x93\n")
    assert take(port, 0.5) is None
    remarks = port.remarks()
    assert len(remarks) == 1
    assert "baud rate (9600)" in remarks[0]
    port.close()


class Broken:
    """A port whose device is gone, in one of the ways pyserial shows that."""

    def __init__(self, fault: BaseException) -> None:
        self._fault = fault

    def _raise(self, *_: object) -> Any:
        raise self._fault

    read = write = reset_input_buffer = close = _raise
    in_waiting = property(_raise)


def serial_exception() -> BaseException:
    import serial

    fault: BaseException = serial.SerialException(
        "device reports readiness to read but returned no data "
        "(device disconnected or multiple access on port?)"
    )
    return fault


# the four kinds, measured on a pseudo-terminal
FAULTS = [
    serial_exception(),
    OSError(5, "Input/output error"),
    termios.error(5, "Input/output error"),
    TypeError("'NoneType' object cannot be interpreted as an integer"),
]


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: type(fault).__name__)
def test_every_kind_of_unplugging_is_one(fault: BaseException) -> None:
    link = SerialPort(PortSettings("/dev/ttyTEST"))
    link.port = Broken(fault)
    with pytest.raises(SourceLost, match="/dev/ttyTEST is gone"):
        link.read()
    assert "readiness" not in str(link.lost(fault))
    with pytest.raises(SourceLost, match="/dev/ttyTEST is gone"):
        link.ask(b"READ?\n")
    link.close()
    with pytest.raises(SourceLost, match="not open"):
        link.read()


def test_a_port_closed_by_another_thread_is_lost(instrument: Instrument) -> None:
    link = SerialPort(PortSettings(str(instrument.port)))
    link.open(wait_s=5.0)
    threading.Timer(0.1, link.port.close).start()
    until = time.monotonic() + 60.0
    with pytest.raises(SourceLost):
        _ = [link.read() for _ in iter(lambda: time.monotonic() < until, False)]


def test_an_unplugged_port_comes_back_by_itself(instrument: Instrument) -> None:
    connection = Connection(source(instrument.port))
    connection.open()
    instrument.send(b"x\n20.0\n99")
    assert take(connection) is not None
    assert take(connection, 0.5) is None
    instrument.unplug()
    assert take(connection, 0.5) is None
    assert connection.lost_because is not None
    instrument.plug_in()
    until = time.monotonic() + 60.0
    while connection.lost_because is not None and time.monotonic() < until:
        connection.read(0.05)
    instrument.send(b"x\n21.0\n")
    found = take(connection)
    assert found is not None
    assert found.values_c == [21.0]  # what was cut off before does not come into it
    connection.close()


class Gone:
    """A source that is lost at once and never comes back."""

    name, channels = "gone", ("kiln",)

    def __init__(self) -> None:
        self.opened: list[float] = []

    def open(self) -> None:
        self.opened.append(time.monotonic())
        if len(self.opened) > 1:
            raise SourceLost("gone")

    def read(self, wait_s: float) -> Reading | None:
        raise SourceLost("gone")

    def close(self) -> None: ...

    def remarks(self) -> list[str]:
        return []


def test_pauses_before_trying_again_grow(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = [0.0]
    monkeypatch.setattr("firing.capture.source.monotonic_s", lambda: clock[0])
    monkeypatch.setattr(time, "sleep", lambda s: clock.__setitem__(0, clock[0] + s))
    gone = Gone()
    connection = Connection(gone)
    connection.open()
    tried: list[float] = []
    while clock[0] < 30.0:
        before = len(gone.opened)
        assert connection.read(0.25) is None
        if len(gone.opened) > before:
            tried.append(clock[0])
    pauses = [b - a for a, b in itertools.pairwise(tried)]
    assert pauses[0] >= FIRST_PAUSE_S
    assert all(b >= a - 1e-9 for a, b in itertools.pairwise(pauses))
    assert pauses[-1] == pytest.approx(LONGEST_PAUSE_S, abs=0.01)


def test_a_port_that_is_not_there_is_told_with_what_to_do(tmp_path: object) -> None:
    with pytest.raises(SourceLost, match="firing ports"):
        source(f"{tmp_path}/ttyNONE").open()
    with pytest.raises(SourceLost, match=r"nothing answers|cannot be opened"):
        source("socket://127.0.0.1:1").open()
    with pytest.raises(SourceLost):
        source("nonsense://x").open()
    for name in (str(tmp_path), os.devnull, "x" * 5000):
        with pytest.raises(SourceLost, match="is no serial port; 'firing ports' lists"):
            source(name).open()


def test_a_port_is_opened_for_one_alone(instrument: Instrument) -> None:
    first, second = source(instrument.port), source(instrument.port)
    first.open()
    with pytest.raises(SourceLost, match="in use by another program"):
        second.open()
    first.close()
    second.open()
    second.close()


def test_ports_are_listed_with_their_numbers(monkeypatch: pytest.MonkeyPatch) -> None:
    from serial.tools import list_ports as tools
    from serial.tools.list_ports_common import ListPortInfo

    usb = ListPortInfo("/dev/ttyUSB7")
    usb.vid, usb.pid, usb.serial_number, usb.description = 0x1A86, 0x7523, "A1", "USB Serial"
    plain = ListPortInfo("/dev/ttyS0")
    monkeypatch.setattr(tools, "comports", lambda: [usb, plain])
    found = list_ports()
    assert [port.device for port in found] == ["/dev/ttyS0", "/dev/ttyUSB7"]
    assert found[0].to_dict()["vid"] is None
    assert found[1].to_dict() == {
        "device": "/dev/ttyUSB7",
        "name": "usb:A1",
        "description": "USB Serial",
        "vid": "1a86",
        "pid": "7523",
        "serial_number": "A1",
        "manufacturer": None,
    }


def test_standard_input_is_read_to_its_end() -> None:
    from firing.capture.source import SourceEnded
    from firing.capture.text_lines import StandardInputSource

    reading_end, writing_end = os.pipe()
    lines = StandardInputSource(LineParser(FieldLayout(("kiln",))), reading_end)
    lines.open()
    os.write(writing_end, b"20.5\n21.5\n22")
    os.close(writing_end)
    found = [reading.values_c[0] for _ in range(3) if (reading := lines.read(0.05)) is not None]
    # a last line without an end is whole: nothing can follow it
    assert found == [20.5, 21.5, 22.0]
    with pytest.raises(SourceEnded):
        lines.read(0.05)
    os.close(reading_end)


def test_the_first_line_after_a_silence_is_kept(instrument: Instrument) -> None:
    port = source(instrument.port)
    port.open()
    assert port.read(0.05) is None  # a quarter of a second in which nothing came
    instrument.send(b"1215.5\n1216.0\n")
    found = [take(port), take(port)]
    assert [reading.values_c for reading in found if reading is not None] == [[1215.5], [1216.0]]
    port.close()


class Server:
    """A socket that gives everybody who connects a few lines, and then is silent for ever."""

    def __init__(self, *greetings: bytes) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._greetings = list(greetings)
        self.connections: list[socket.socket] = []
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        with contextlib.suppress(OSError):
            while self._greetings:
                connection, _ = self._server.accept()
                self.connections.append(connection)
                connection.sendall(self._greetings.pop(0))

    def close(self) -> None:
        self._server.close()
        for connection in self.connections:
            connection.close()


@pytest.fixture
def server() -> Iterator[Server]:
    made = Server(b"x\n20.0\n21.0\n", b"x\n22.0\n", b"x\n23.0\n")
    yield made
    made.close()


def test_a_half_open_socket_is_opened_again_and_that_is_said_once(
    server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The other end is gone and has not said so: nothing comes, and nothing fails."""
    monkeypatch.setattr(text_lines, "SILENT_SOCKET_S", 0.4)
    port = source(server.port)
    port.open()
    found = [take(port) for _ in range(4)]
    # nothing that a connection brings is thrown away but its first line, which may be half a one
    assert [reading.values_c for reading in found if reading] == [[20.0], [21.0], [22.0], [23.0]]
    assert len(server.connections) == 3
    told = port.remarks()
    assert len(told) == 2  # once for each silence
    assert all("sent nothing for" in sentence for sentence in told)
    port.close()


def test_a_socket_is_asked_whether_the_other_end_is_there(server: Server) -> None:
    link = SerialPort(PortSettings(server.port))
    link.open()
    assert link.port._socket.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE) == 1
    link.close()


def test_a_serial_port_that_is_silent_is_left_open(
    instrument: Instrument, monkeypatch: pytest.MonkeyPatch
) -> None:
    """To open it again would reset many boards."""
    monkeypatch.setattr(text_lines, "SILENT_SOCKET_S", 0.0)
    port = source(instrument.port)
    port.open()
    opened = port._port.port
    assert port.read(0.05) is None
    assert port.read(0.05) is None
    assert port._port.port is opened
    port.close()


def usb(device: str, number: str) -> PortDescription:
    return PortDescription(device, "USB serial", 1, 2, number, None)


def test_two_kilns_cannot_change_places(
    instrument: Instrument, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Named by the USB serial number, whatever name the system gives the port this time."""
    here = str(instrument.port)
    for devices in ((here, "/dev/ttyNONE"), ("/dev/ttyNONE", here)):
        numbers = ("A7", "B8") if devices[0] == here else ("B8", "A7")
        ports = tuple(usb(*pair) for pair in zip(devices, numbers, strict=True))
        monkeypatch.setattr(serial_port, "list_ports", lambda ports=ports: ports)
        assert device_named("usb:a7") == here
        port = source("usb:A7")
        port.open()
        port.close()
    with pytest.raises(SourceLost, match="no port has this USB serial number"):
        device_named("usb:C9")
    monkeypatch.setattr(serial_port, "list_ports", lambda: (usb("/dev/a", "1"), usb("/dev/b", "1")))
    with pytest.raises(SourceLost, match="/dev/a and /dev/b have the same"):
        device_named("usb:1")
    assert device_named("/dev/ttyUSB0") == "/dev/ttyUSB0"


def test_listening_says_what_reads_a_port(instrument: Instrument, tmp_path: Path) -> None:
    running = threading.Event()

    def speak() -> None:
        number = 0
        while not running.wait(0.02):
            number += 1
            instrument.send(f"T1= {20 + number},5 C;19,5;12:00\r\n".encode())

    thread = threading.Thread(target=speak)
    thread.start()
    try:
        done = call(tmp_path, "ports", "--listen", str(instrument.port))
        document = json.loads(
            call(tmp_path, "ports", "--listen", str(instrument.port), "--json").stdout
        )
    finally:
        running.set()
        thread.join()
    assert done.returncode == 0
    assert "C;19,5;12:00" in done.stdout  # as it came
    command = document["command"]
    assert command in done.stdout
    words = shlex.split(command)
    assert words[:3] == ["firing", "watch", str(instrument.port)]
    assert words[words.index("--fields") + 1].split(",")[::2] == ["kiln", "-"]
    assert words[words.index("--delimiter") + 1] == ";"
    assert words[words.index("--decimal") + 1] == ","


def test_listening_in_vain_says_what_came(instrument: Instrument, tmp_path: Path) -> None:
    heard = listen(str(instrument.port), (9600, 1200), 0.1)
    assert [(entry.byte_count, entry.layout) for entry in heard] == [(0, None)] * 2
    link = SerialPort(PortSettings(str(instrument.port)))
    timer = threading.Timer(0.3, lambda: instrument.send(b"\xfa\x80\x11\x93" * 20))
    timer.start()
    heard = listen(str(instrument.port), (9600,), 1.5)
    timer.join()
    assert link.port is None
    assert (heard[0].byte_count, heard[0].lines, heard[0].layout) == (80, (), None)
    assert "\\xfa\\x80" in heard[0].shown()[0]
