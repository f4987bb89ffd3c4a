"""Modbus RTU by a register map: against pymodbus as the instrument, and against a late one."""

import math
import os
import struct
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from capture.modbusline import Line, serving
from capture.ptywatch import Instrument

from firing.capture.conversion import plain_converter
from firing.capture.modbus import SILENT_ASKS, ModbusSource, RegisterChannel
from firing.capture.reading import Reading, Status
from firing.capture.serial_port import PortSettings
from firing.errors import FiringError

# 1215.5 °C in tenths; -3.5 in tenths; 1215.5 as float32, high word first and last; a sensor break
FLOAT = struct.unpack(">HH", struct.pack(">f", 1215.5))
REGISTERS = [12155, 65536 - 35, *FLOAT, *reversed(FLOAT), 0x7FFF, 0, 12155]
MAP = (
    RegisterChannel("kiln", 0, 3, "int16", scale=0.1),
    RegisterChannel("room", 1, 4, "int16", scale=0.1),
    RegisterChannel("top", 2, 3, "float32"),
    RegisterChannel("bottom", 4, 4, "float32", "low first"),
    RegisterChannel("shelf", 6, 3, "int16", missing=(0x7FFF,)),
    RegisterChannel("lid", 7, 3, "uint32", scale=0.1),
)


@pytest.fixture
def line(tmp_path: Path) -> Iterator[Line]:
    made = Line(tmp_path)
    yield made
    made.close()


def source(
    port: object, registers: tuple[RegisterChannel, ...], unit: int = 7, wait_s: float = 0.5
) -> ModbusSource:
    settings = PortSettings(str(port), 19200)
    return ModbusSource(settings, unit, registers, plain_converter("C"), 0.05, wait_s)


def take(what: ModbusSource) -> Reading:
    while (found := what.read(0.5)) is None:
        pass
    return found


def test_a_register_map_is_read_with_two_functions_only(line: Line) -> None:
    with serving(line, 7, REGISTERS):
        instrument = source(line.port, MAP)
        instrument.open()
        for _ in range(2):
            found = take(instrument)
            assert found.values_c[:4] == pytest.approx([1215.5, -3.5, 1215.5, 1215.5])
            assert math.isnan(found.values_c[4])
            assert found.values_c[5] == pytest.approx(1215.5)
            assert found.statuses == [*[Status.OK] * 4, Status.MISSING, Status.OK]
        instrument.close()
    assert line.functions() == {3, 4}


def test_a_register_that_is_not_there_is_told_of_once(line: Line) -> None:
    registers = (MAP[0], RegisterChannel("attic", 900, 3))
    with serving(line, 7, REGISTERS):
        instrument = source(line.port, registers, wait_s=0.2)
        instrument.open()
        for _ in range(2):
            found = take(instrument)
            assert found.values_c[0] == pytest.approx(1215.5)
            assert found.statuses[1] is Status.MISSING
        remarks = instrument.remarks()
        instrument.close()
    assert len(remarks) == 1
    assert "register 900 (attic)" in remarks[0]


def test_a_unit_that_is_not_there_is_told_of(line: Line) -> None:
    line.absent_unit = 9
    with serving(line, 7, REGISTERS):
        instrument = source(line.port, MAP[:2], unit=9, wait_s=0.03)
        instrument.open()
        for _ in range(SILENT_ASKS + 1):
            assert take(instrument).statuses == [Status.MISSING] * 2
        assert ["unit 9 has not answered" in remark for remark in instrument.remarks()] == [True]
        instrument.close()


def crc(data: bytes) -> bytes:
    """Return the check of a frame (Modbus over Serial Line, V1.02, 6.2.2)."""
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = (value >> 1) ^ 0xA001 if value & 1 else value >> 1
    return value.to_bytes(2, "little")


def test_a_late_answer_does_not_shift_the_next(instrument: Instrument) -> None:
    """An instrument that takes its time for the first question: each answer is its address."""
    seen: list[int] = []

    def serve() -> None:
        while len(seen) < 7:
            frame = b""
            while len(frame) < 8:
                frame += os.read(instrument.master, 8 - len(frame))
            address = int.from_bytes(frame[2:4], "big")
            seen.append(address)
            answer = bytes([7, 3, 2]) + address.to_bytes(2, "big")
            if len(seen) == 1:
                time.sleep(0.4)  # longer than is waited for
            instrument.send(answer + crc(answer))

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    registers = tuple(RegisterChannel(f"z{n}", n, 3) for n in (11, 12, 13))
    asked = source(instrument.port, registers, wait_s=0.25)
    asked.open()
    assert take(asked).statuses == [Status.MISSING] * 3
    for _ in range(2):
        assert take(asked).values_c == [11.0, 12.0, 13.0]
    asked.close()
    thread.join(5.0)


def test_a_missing_package_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "minimalmodbus", None)
    with pytest.raises(FiringError, match=r"firing\[modbus\]"):
        source("/dev/ttyUSB0", MAP)


def test_writing_functions_and_sockets_are_refused() -> None:
    with pytest.raises(FiringError, match="never sent"):
        source("/dev/ttyUSB0", (RegisterChannel("kiln", 0, 6),))  # type: ignore[arg-type]  # refused
    with pytest.raises(FiringError, match="serial port"):
        source("socket://localhost:502", MAP)
