"""Everything that says which instrument is read and how, whoever said it: a file or options."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from firing.capture.fields import UNUSED_FIELD, FieldLayout, LineParser
from firing.capture.modbus import RegisterChannel as ModbusRegister
from firing.capture.reading import SourceUnit, converter_for
from firing.capture.serial_port import Parity, PortSettings
from firing.capture.source import ReadingSource
from firing.errors import FiringError

if TYPE_CHECKING:
    from firing.capture.modbus import ModbusSource
    from firing.capture.scpi import ScpiSource
    from firing.capture.text_lines import StandardInputSource, TextLineSource

SourceKind = Literal["lines", "scpi", "modbus"]
STANDARD_INPUT = "-"

__all__ = [
    "STANDARD_INPUT",
    "ModbusRegister",
    "SourceKind",
    "SourceSettings",
    "WatchedFiring",
    "make_source",
]


@dataclass(frozen=True, slots=True)
class SourceSettings:
    """Which instrument is read, and how.

    Attributes
    ----------
    kind : {"lines", "scpi", "modbus"}
        Whether it speaks by itself or has to be asked.
    port : str
        A serial port, a URL of pyserial, or ``-`` for standard input.
    baud, parity, stop_bits
        Line settings.
    fields, delimiter, decimal, unit
        How a line or an answer is laid out; see `firing.capture.fields.FieldLayout`.
    thermocouple, junction_c
        What millivolts need: the letter, and the reference junction [°C].
    query, interval_s
        What an instrument is asked, and how often [s].
    unit_number, registers
        Its address on a Modbus line, and its register map.

    Raises
    ------
    FiringError
        If these do not go together.
    """

    port: str
    kind: SourceKind = "lines"
    baud: int = 9600
    parity: Parity = "none"
    stop_bits: int = 1
    fields: tuple[str, ...] = ("kiln",)
    delimiter: str = ","
    decimal: str = "."
    unit: SourceUnit = "C"
    thermocouple: str | None = None
    junction_c: float | None = None
    query: str = "READ?"
    interval_s: float = 1.0
    unit_number: int = 1
    registers: tuple[ModbusRegister, ...] = ()

    def __post_init__(self) -> None:
        if self.port == STANDARD_INPUT and self.kind != "lines":
            raise FiringError(f'standard input cannot be asked; kind = "{self.kind}" needs a port')
        if self.thermocouple is not None and self.unit != "mV":
            raise FiringError(
                f"a thermocouple type is for readings in mV, and the unit is {self.unit}; leave it "
                "out, or say that the unit is mV"
            )
        if self.unit == "mV" and self.junction_c is None and "junction" not in self.fields:
            raise FiringError(
                "millivolts need the temperature of the reference junction; give it, like 25, or "
                'name a field "junction"'
            )
        for character in ',;"\n\r':
            for name in (*self.fields, *(register.name for register in self.registers)):
                if character in name or not name.isprintable() or not name.strip():
                    raise FiringError(
                        f'"{name}" cannot name a channel; write letters, digits and spaces'
                    )
                if name != UNUSED_FIELD and name.startswith(("=", "+", "-", "@")):
                    raise FiringError(
                        f'"{name}" cannot name a channel, as a spreadsheet would run it; begin '
                        "with a letter"
                    )


@dataclass(frozen=True)
class WatchedFiring:
    """What a source file says of the firing it is the source of; files by their path or ready name.

    None where it says nothing.
    """

    name: str | None = None
    schedule: str | None = None
    kiln: str | None = None
    load: str | None = None
    controller: str | None = None
    out: Path | None = None
    notify: Path | None = None
    page: int | None = None
    page_lan: bool = False


def make_source(settings: SourceSettings) -> ReadingSource:
    """Return the source that settings describe, not opened yet.

    `FiringError` if they cannot be used, or a package they need is missing.
    """
    source = _made(settings)
    source.unit = settings.unit
    return source


def _made(
    settings: SourceSettings,
) -> TextLineSource | StandardInputSource | ScpiSource | ModbusSource:
    converter = converter_for(settings.unit, settings.thermocouple, settings.junction_c)
    port = PortSettings(settings.port, settings.baud, settings.parity, settings.stop_bits)
    if settings.kind == "modbus":
        from firing.capture.modbus import ModbusSource

        return ModbusSource(
            port, settings.unit_number, settings.registers, converter, settings.interval_s
        )
    layout = FieldLayout(settings.fields, settings.delimiter, settings.decimal, settings.unit)
    # °C needs no conversion, and the parser is quicker when it knows.
    parser = LineParser(layout, None if settings.unit == "C" else converter)
    if settings.kind == "scpi":
        from firing.capture.scpi import ScpiSource

        return ScpiSource(port, parser, settings.query, settings.interval_s)
    from firing.capture.text_lines import StandardInputSource, TextLineSource

    return (
        StandardInputSource(parser)
        if settings.port == STANDARD_INPUT
        else TextLineSource(port, parser)
    )
