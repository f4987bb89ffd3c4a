"""The source file: which instrument is read, and how; every fault of it named at once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from firing.capture.conversion import SourceUnit, converter_for
from firing.capture.fields import FieldLayout, LineParser
from firing.capture.modbus import RegisterChannel as ModbusRegister
from firing.capture.modbus import RegisterType, WordOrder
from firing.capture.serial_port import Parity, PortSettings
from firing.capture.source import LEAST_INTERVAL_S, MOST_INTERVAL_S, ReadingSource
from firing.errors import FiringError
from firing.files.tomlfile import Fault, FaultyFile, key_lines, line_of, read_text, validate
from firing.units import parse_duration_s, parse_temperature_c

SourceKind = Literal["lines", "scpi", "modbus"]
STANDARD_INPUT = "-"

__all__ = ["STANDARD_INPUT", "ModbusRegister", "SourceKind", "SourceSettings", "make_source"]


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


def make_source(settings: SourceSettings) -> ReadingSource:
    """Return the source that settings describe, not opened yet.

    Raises
    ------
    FiringError
        If they cannot be used, or a package they need is missing.
    """
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


_STRICT = ConfigDict(extra="forbid", strict=True)


class RegisterTable(BaseModel):
    """One ``[[register]]`` of a source file."""

    model_config = _STRICT

    name: str = Field(
        min_length=1,
        max_length=60,
        description="the channel's name; \"output\" for the controller's output in percent",
        json_schema_extra={"example": 'name = "kiln"'},
    )
    address: int = Field(
        ge=0,
        le=65535,
        description="number of the first register, from 0 as it goes over the wire",
        json_schema_extra={"example": "address = 0"},
    )
    function: Literal[3, 4] = Field(
        3,
        description="Modbus function that reads it: 3 (holding) or 4 (input registers)",
        json_schema_extra={"example": "function = 4"},
    )
    type: RegisterType = Field("int16", description="what the registers hold")
    word_order: WordOrder = Field(
        "high first", description="which of two registers holds the upper half"
    )
    scale: float = Field(
        1.0,
        description="what the number is multiplied by",
        json_schema_extra={"example": "scale = 0.1"},
    )
    missing: list[int] = Field([], description='raw numbers that mean "no reading"')


class SourceTable(BaseModel):
    """A source file."""

    model_config = ConfigDict(extra="forbid", strict=True, title="Source of readings")

    kind: Literal["lines", "scpi", "modbus"] = Field(
        "lines",
        description="lines: the instrument sends them by itself; scpi, modbus: it is asked",
        json_schema_extra={"example": 'kind = "lines"'},
    )
    port: str = Field(
        min_length=1,
        description='a serial port, "socket://host:port", or "-" for standard input',
        json_schema_extra={"example": 'port = "/dev/ttyUSB0"'},
    )
    baud: int = Field(
        9600, ge=50, le=4_000_000, json_schema_extra={"example": "baud = 9600", "unit": "baud"}
    )
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1
    fields: list[str] = Field(
        ["kiln"],
        min_length=1,
        max_length=64,
        description='the fields of a line in their order: a channel\'s name, "-" for one that is '
        'not used, "junction" for the reference junction in °C, "output" for the controller\'s '
        "output in percent",
        json_schema_extra={"example": 'fields = ["kiln", "top"]'},
    )
    delimiter: str = Field(
        ",",
        min_length=1,
        max_length=1,
        description="what stands between fields; a space for any run of blanks",
        json_schema_extra={"example": 'delimiter = ","'},
    )
    decimal: Literal[".", ","] = "."
    unit: Literal["C", "F", "mV"] = Field("C", description="unit of every channel")
    thermocouple: str | None = Field(None, description='its letter, where unit is "mV"')
    junction: str | float | None = Field(
        None,
        description="temperature of the reference junction, °C unless marked F",
        json_schema_extra={"example": "junction = 25"},
    )
    query: Literal["READ?", "MEAS:TEMP?"] = Field(
        "READ?",
        description="the question put to a scpi instrument",
        json_schema_extra={"example": 'query = "READ?"'},
    )
    interval: str = Field(
        "1s",
        description="time from one question to the next (scpi, modbus)",
        json_schema_extra={"example": 'interval = "1s"'},
    )
    unit_number: int = Field(
        1,
        ge=1,
        le=247,
        description="the instrument's address on a Modbus line",
        json_schema_extra={"example": "unit_number = 1"},
    )
    register_: list[RegisterTable] = Field(
        [], alias="register", max_length=64, description="where a modbus instrument's readings are"
    )


def parse_source(text: str, name: str = "source") -> SourceSettings:
    """Read a source file from its text.

    Parameters
    ----------
    text : str
        The file's text.
    name : str
        What faults call the file.

    Raises
    ------
    FaultyFile
        With every fault of the file.
    """
    table, faults, _ = validate(text, name, SourceTable)
    if table is None:
        raise FaultyFile(faults)
    lines = key_lines(text)

    def fault(key: str, message: str) -> FaultyFile:
        return FaultyFile([Fault(name, line_of((key,), lines), key, message)])

    if table.kind == "modbus" and not table.register_:
        raise fault("register", "is missing; write a table [[register]] with name and address")
    if table.kind != "modbus" and table.register_:
        raise fault("register", f'has no meaning for kind = "{table.kind}"; leave it out')
    interval_s = _read(parse_duration_s, table.interval, "interval", fault)
    if not LEAST_INTERVAL_S <= interval_s <= MOST_INTERVAL_S:
        raise fault("interval", f'"{table.interval}" is outside 0.2 s to 10 min; write "1s"')
    junction_c: float | None = None
    if table.junction is not None:
        junction_c = _read(parse_temperature_c, str(table.junction), "junction", fault)
    try:
        return SourceSettings(
            kind=table.kind,
            port=table.port,
            baud=table.baud,
            parity=table.parity,
            stop_bits=table.stop_bits,
            fields=tuple(table.fields),
            delimiter=table.delimiter,
            decimal=table.decimal,
            unit=table.unit,
            thermocouple=table.thermocouple,
            junction_c=junction_c,
            query=table.query,
            interval_s=interval_s,
            unit_number=table.unit_number,
            registers=tuple(
                ModbusRegister(
                    name=entry.name,
                    address=entry.address,
                    function=entry.function,
                    type=entry.type,
                    word_order=entry.word_order,
                    scale=entry.scale,
                    missing=tuple(entry.missing),
                )
                for entry in table.register_
            ),
        )
    except FiringError as error:
        raise FaultyFile([Fault(name, None, "", str(error))]) from None


def _read(parse: Any, text: str, key: str, fault: Any) -> float:
    try:
        return float(parse(text))
    except FiringError as error:
        raise fault(key, str(error)) from None


def read_source(path: Path) -> SourceSettings:
    """Read a source file; see `parse_source`."""
    return parse_source(read_text(path), str(path))
