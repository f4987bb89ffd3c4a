"""Instruments on Modbus RTU, read by a user's register map.  Functions 3 and 4 only: reads.

A Modbus RTU answer carries no number of its question.  An answer that comes too late would pass for
that of the next question, one register off and without an error, and how late it may come nobody
knows.  So after a missed answer nothing is believed until the instrument has answered a question of
another length: it answers in order, so whatever was late has come in before that.
"""

import math
import struct
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from firing.capture.reading import (
    OUTPUT_FIELD,
    Converter,
    Reading,
    SourceUnit,
    Status,
    duty_from_percent,
    missing_reading,
)
from firing.capture.serial_port import PortSettings, SerialPort
from firing.capture.source import PollingTimer, SourceLost
from firing.errors import FiringError

RegisterType = Literal["int16", "uint16", "int32", "uint32", "float32"]
WordOrder = Literal["high first", "low first"]
_FORMAT: dict[RegisterType, str] = {
    "int16": ">h",
    "uint16": ">H",
    "int32": ">i",
    "uint32": ">I",
    "float32": ">f",
}


@dataclass(frozen=True, slots=True)
class RegisterChannel:
    """Where one channel stands: its registers from `address`, from 0 as it goes over the wire.

    `function` 3 reads holding registers, 4 input registers; no other is ever sent.  `word_order`
    says which of two registers holds the upper half.  `missing` are raw numbers for "no reading".
    """

    name: str
    address: int
    function: Literal[3, 4] = 3
    type: RegisterType = "int16"
    word_order: WordOrder = "high first"
    scale: float = 1.0
    missing: tuple[int, ...] = ()

    @property
    def width(self) -> int:
        """How many registers it takes."""
        return struct.calcsize(_FORMAT[self.type]) // 2

    def value(self, registers: Sequence[int]) -> float:
        """Return the number its registers hold; NaN where they mean none."""
        words = registers if self.word_order == "high first" else list(reversed(registers))
        raw = struct.unpack(_FORMAT[self.type], b"".join(w.to_bytes(2, "big") for w in words))[0]
        if raw in self.missing or not math.isfinite(raw):
            return math.nan
        return float(raw) * self.scale


ANSWER_WAIT_S = 0.5
SILENT_ASKS = 5
READ_FUNCTIONS = (3, 4)
TEST_WIDTHS = (3, 4, 5, 6)
"""No channel is so many registers wide, so no late answer is as long as that of a test question."""
TESTS = 3
QUIET_S = 10.0
"""An instrument that answers no test question at all has to be quiet for so long instead [s]."""


class ModbusSource:
    """An instrument on a Modbus line, at the address `unit`, 1 to 247.

    A register called ``output`` holds the controller's output in percent, all others temperatures.
    """

    def __init__(
        self,
        settings: PortSettings,
        unit: int,
        registers: Sequence[RegisterChannel],
        converter: Converter,
        interval_s: float,
        answer_wait_s: float = ANSWER_WAIT_S,
        quiet_s: float = QUIET_S,
    ) -> None:
        try:
            import minimalmodbus
        except ImportError:
            raise FiringError(
                "Modbus needs the package minimalmodbus, which is not installed; in firing's "
                "folder run: pip install '.[modbus]'"
            ) from None
        if "://" in settings.port:
            raise FiringError(f"{settings.port}: Modbus RTU needs a serial port, not an address")
        for channel in registers:
            if channel.function not in READ_FUNCTIONS:
                raise FiringError(
                    f"{channel.name}: Modbus function {channel.function} is never sent; write 3 "
                    "(holding registers) or 4 (input registers)"
                )
        self.name = f"{settings.port}, unit {unit}"
        names = [channel.name for channel in registers]
        self.channels = tuple(name for name in names if name != OUTPUT_FIELD)
        self.gives_output = OUTPUT_FIELD in names
        self.unsolicited = False
        self.unit: SourceUnit = "C"
        if not self.channels:
            raise FiringError(
                "no register holds a temperature; name one after where its thermocouple is, like "
                '"kiln"'
            )
        self._package: Any = minimalmodbus
        self._port = SerialPort(settings)
        self._unit = unit
        self._registers = tuple(registers)
        self._converter = converter
        self.interval_s = interval_s
        self._answer_wait_s = answer_wait_s
        self._timer = PollingTimer(interval_s)
        self._instrument: Any = None
        self._silent = self._silences = 0
        self._quiet_s = quiet_s
        self._unsure = False
        self._tested = 0
        self._unanswered_tests = 0
        self._answers_tests = False
        self._quiet_since_s = 0.0
        self._any = False
        self._remarks: list[str] = []
        self._told_before: set[str] = set()

    def open(self) -> None:
        """Open the port; whether the instrument answers shows with the first question."""
        self._port.open(wait_s=self._answer_wait_s)
        self._instrument = self._package.Instrument(self._port.port, self._unit)
        self._instrument.clear_buffers_before_each_transaction = True
        self._timer = PollingTimer(self.interval_s)
        self._unsure = True  # an answer to whoever asked before may still be on its way

    def read(self, wait_s: float) -> Reading | None:
        """Ask when it is time; see `ReadingSource`."""
        if not self._timer.due(wait_s):
            return None
        reading = Reading([], [])
        if self._unsure and not self._is_in_step():
            if self._unanswered_tests < TESTS:
                self._count_silence()
            return missing_reading(len(self.channels))
        for channel in self._registers:
            value = self._ask(channel)
            if value is not None and self._unsure and not self._is_in_step():
                value = None
            if value is None:
                # The rest of the round would wait as long for the same silence.
                missing = missing_reading(len(self.channels) - len(reading.values_c))
                reading.values_c += missing.values_c
                reading.statuses += missing.statuses
                self._count_silence()
                return reading
            if channel.name == OUTPUT_FIELD:
                reading.duty = duty_from_percent(value)
                continue
            known = value == value
            value_c, status = self._converter(value, None) if known else (value, Status.MISSING)
            reading.values_c.append(value_c)
            reading.statuses.append(status)
        self._silent = 0
        self._any = self._any or any(value == value for value in reading.values_c)
        return reading

    def _ask(self, channel: RegisterChannel) -> float | None:
        """Return what a channel's registers hold, NaN for no reading; None without an answer."""
        package = self._package
        try:
            registers = self._instrument.read_registers(
                channel.address, channel.width, functioncode=channel.function
            )
        except package.SlaveReportedException as fault:
            # It may refuse a test question of before, whose answer is late.
            self._unsure = self._unsure or self._tested > 0
            self._tell_once(
                f"{self.name} refuses register {channel.address} ({channel.name}): {fault}; "
                "check the register map"
            )
            return float("nan")
        except (package.NoResponseError, package.InvalidResponseError, ValueError):
            self._unsure = True
            return None
        except SourceLost:
            raise
        except self._port.lost_kinds as fault:
            raise self._port.lost(fault) from None
        return channel.value(registers)

    def _count_silence(self) -> None:
        self._silent += 1
        if self._silent != SILENT_ASKS:
            return
        self._silences += 1
        if self._silences.bit_count() == 1:  # a bad line has many: each is told less often
            self._remarks.append(
                f"{self.name} has not answered {SILENT_ASKS} times; check the cable, the unit "
                f"number and the line settings ({self._port.settings.baud} baud, parity "
                f"{self._port.settings.parity})"
            )

    def _is_in_step(self) -> bool:
        """Tell whether the next answer is that of the next question, after one was missed."""
        if self._unanswered_tests >= TESTS and not self._answers_tests:
            return self._is_quiet()
        self._drain()
        width = TEST_WIDTHS[self._tested % len(TEST_WIDTHS)]
        self._tested += 1
        first = self._registers[0]
        package = self._package
        try:
            self._instrument.read_registers(first.address, width, functioncode=first.function)
        except package.SlaveReportedException:
            pass  # a refusal, too, comes after whatever was late
        except (package.NoResponseError, package.InvalidResponseError, ValueError):
            self._unanswered_tests += 1
            self._quiet_since_s = time.monotonic()
            return False
        except self._port.lost_kinds as fault:
            raise self._port.lost(fault) from None
        self._unsure, self._unanswered_tests, self._answers_tests = False, 0, True
        return True

    def _is_quiet(self) -> bool:
        """Tell, listening only, whether nothing has come in for long."""
        while self._port.read():
            self._quiet_since_s = time.monotonic()
        if time.monotonic() - self._quiet_since_s < self._quiet_s:
            return False
        self._unsure, self._unanswered_tests = False, TESTS  # the next miss waits as long again
        return True

    def _drain(self) -> None:
        """Take in what has come meanwhile."""
        until_s = time.monotonic() + 4.0 * self._answer_wait_s
        while time.monotonic() < until_s and self._port.read():
            pass

    def _tell_once(self, remark: str) -> None:
        if remark not in self._told_before:
            self._told_before.add(remark)
            self._remarks.append(remark)

    def close(self) -> None:
        """Close the port."""
        self._instrument = None
        self._port.close()

    def remarks(self) -> list[str]:
        """Return what has not been told yet."""
        remarks, self._remarks = self._remarks, []
        return remarks

    def unread(self) -> str:
        """Return, as a sentence, that nothing it answered was a reading; else nothing."""
        if self._any or not self._told_before:
            return ""
        return f"no answer was a reading; {sorted(self._told_before)[0]}"
