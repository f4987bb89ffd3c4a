"""Modbus RTU by a register map: against pymodbus as the instrument, and against a late one."""

import itertools
import math
import os
import queue
import select
import struct
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from capture.modbusline import Line, serving
from capture.ptywatch import Instrument
from longer import beyond

from firing.capture.modbus import SILENT_ASKS, ModbusSource, RegisterChannel
from firing.capture.reading import Reading, Status, plain_converter
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
    return ModbusSource(settings, unit, registers, plain_converter("C"), 0.05, wait_s, wait_s)


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
    assert instrument.unread() == ""  # the kiln's own is read


def test_a_map_of_which_nothing_is_a_reading_is_told_at_the_end(line: Line) -> None:
    with serving(line, 7, REGISTERS):
        instrument = source(line.port, (RegisterChannel("attic", 900, 3),), wait_s=0.2)
        instrument.open()
        take(instrument)
        instrument.close()
    assert "no answer was a reading" in instrument.unread()
    assert "register 900 (attic)" in instrument.unread()


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


class Slow:
    """An instrument that answers in order, each answer its register's address, some of them late.

    `late_s` is how long it takes for each question, over and over.  To a question for more than a
    register it answers, refuses, or says nothing: `to_many`.
    """

    def __init__(self, instrument: Instrument, late_s: Sequence[float], to_many: str) -> None:
        self._instrument, self._late_s, self._to_many = instrument, late_s, to_many
        self._asked: queue.Queue[bytes | None] = queue.Queue()
        self.functions: set[int] = set()
        self._threads = [threading.Thread(target=part) for part in (self._listen, self._answer)]
        self._running = True
        for thread in self._threads:
            thread.start()

    def _listen(self) -> None:
        frame = b""
        while self._running:
            if select.select([self._instrument.master], [], [], 0.02)[0]:
                frame += os.read(self._instrument.master, 8 - len(frame))
            if len(frame) == 8:
                self._asked.put(frame)
                frame = b""
        self._asked.put(None)

    def _answer(self) -> None:
        late = itertools.cycle(self._late_s)
        while (frame := self._asked.get()) is not None:
            address, count = struct.unpack(">HH", frame[2:6])
            self.functions.add(frame[1])
            if count == 1 or self._to_many != "ignores":
                time.sleep(next(late))
            answer = bytes([7, frame[1], 2 * count]) + address.to_bytes(2, "big") * count
            if count > 1 and self._to_many == "ignores":
                continue
            if count > 1 and self._to_many == "refuses":
                answer = bytes([7, frame[1] | 0x80, 2])
            self._instrument.send(answer + crc(answer))

    def stop(self) -> None:
        self._running = False
        for thread in self._threads:
            thread.join()


# seconds, where 0.05 are waited for; by prime lengths, any question may be the late one
LATENESS = [
    (0.0, 0.0, 0.0, 0.08, 0.0, 0.0, 0.0),
    (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.12, 0.07, 0.0, 0.0, 0.3),
    (0.06,),
]


@pytest.mark.parametrize(("to_many", "late_s"), beyond(
    2, [[many, late_s] for late_s in LATENESS for many in ("answers", "refuses", "ignores")]
))  # fmt: skip
def test_a_late_answer_never_lands_in_the_column_of_another(
    instrument: Instrument, to_many: str, late_s: tuple[float, ...]
) -> None:
    slow = Slow(instrument, late_s, to_many)
    registers = tuple(RegisterChannel(f"z{n}", n, 3) for n in (11, 12, 13))
    settings = PortSettings(str(instrument.port), 19200)
    asked = ModbusSource(settings, 7, registers, plain_converter("C"), 0.01, 0.05, quiet_s=0.4)
    asked.open()
    found = [take(asked) for _ in range(30)]
    asked.close()
    slow.stop()
    for reading in found:
        for value_c, own_c in zip(reading.values_c, (11.0, 12.0, 13.0), strict=True):
            assert value_c == own_c or math.isnan(value_c)
    whole = sum(not math.isnan(reading.values_c[-1]) for reading in found)
    missed = sum(math.isnan(reading.values_c[-1]) for reading in found)
    assert missed > 2
    assert whole > 0 or min(late_s) > 0.05
    assert slow.functions == {3}


def test_a_missing_package_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "minimalmodbus", None)
    with pytest.raises(FiringError, match=r"'\.\[modbus\]'"):
        source("/dev/ttyUSB0", MAP)


def test_writing_functions_and_sockets_are_refused() -> None:
    with pytest.raises(FiringError, match="never sent"):
        source("/dev/ttyUSB0", (RegisterChannel("kiln", 0, 6),))  # type: ignore[arg-type]  # refused
    with pytest.raises(FiringError, match="serial port"):
        source("socket://localhost:502", MAP)
