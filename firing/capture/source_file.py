"""The source file: which instrument is read, and how; every fault of it named at once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from firing.capture.modbus import RegisterChannel as ModbusRegister
from firing.capture.modbus import RegisterType, WordOrder
from firing.capture.source import LEAST_INTERVAL_S, MOST_INTERVAL_S
from firing.capture.source_settings import SourceSettings, WatchedFiring
from firing.errors import FiringError
from firing.files.kinds import FileKind, WrongKeys, example_names, ready_names
from firing.files.tomlfile import file_key
from firing.units import parse_duration_s, parse_temperature_c

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
    missing: list[int] = file_key(
        'raw numbers that mean "no reading"', "missing = [-9999]", default=[]
    )


class FiringTable(BaseModel):
    """The ``[firing]`` of a source file: what "firing watch" takes unless it is told."""

    model_config = _STRICT

    name: str | None = Field(
        None,
        min_length=1,
        max_length=60,
        description="what you call this kiln",
        json_schema_extra={"example": 'name = "Front kiln"'},
    )
    schedule: str | None = Field(None, min_length=1, description="the plan it is fired by")
    kiln: str | None = Field(None, min_length=1, description="its kiln file")
    load: str | None = Field(None, min_length=1, description="what is in it")
    controller: str | None = Field(None, min_length=1, description="its controller file")
    out: str | None = Field(
        None,
        min_length=1,
        description="where to record to",
        json_schema_extra={"example": 'out = "firing.csv"'},
    )
    notify: str | None = Field(None, min_length=1, description="who gets messages")
    page: int | None = Field(
        None,
        ge=1024,
        le=65535,
        description="show it on a page at this port",
        json_schema_extra={"example": "page = 8437"},
    )
    page_lan: bool = Field(False, description="let phones of the local network open the page")


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
    firing: FiringTable | None = Field(None, description="what is watched, and by which files")


def _source(table: SourceTable) -> SourceSettings:
    if table.kind == "modbus" and not table.register_:
        raise _wrong("register", "is missing; write a table [[register]] with name and address")
    if table.kind != "modbus" and table.register_:
        raise _wrong("register", f'has no meaning for kind = "{table.kind}"; leave it out')
    interval_s = _read(parse_duration_s, table.interval, "interval")
    if not LEAST_INTERVAL_S <= interval_s <= MOST_INTERVAL_S:
        raise _wrong("interval", f'"{table.interval}" is outside 0.2 s to 10 min; write "1s"')
    junction_c: float | None = None
    if table.junction is not None:
        junction_c = _read(parse_temperature_c, str(table.junction), "junction")
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
                    **entry.model_dump(exclude={"missing"}), missing=tuple(entry.missing)
                )
                for entry in table.register_
            ),
        )
    except FiringError as error:
        raise WrongKeys(((), str(error))) from None


def _wrong(key: str, message: str) -> WrongKeys:
    return WrongKeys(((key,), message))


def _read(parse: Callable[[str], float], text: str, key: str) -> float:
    try:
        return float(parse(text))
    except FiringError as error:
        raise _wrong(key, str(error)) from None


def read_firing(source: str) -> WatchedFiring:
    """Return what a source file says of its firing; nothing, if it is no source file.

    Files that it names lie where it lies itself.

    `FiringError` if the file is faulty.
    """
    path = Path(source)
    if path.suffix.lower() != ".toml" or "://" in source:
        return WatchedFiring()
    kind = FileKind("source", lambda: SourceTable, lambda table: (_source(table), table.firing)[1])
    told = kind.open(path)
    if told is None:
        return WatchedFiring()
    folder = path.parent

    def beside(name: str | None) -> str | None:
        ready = name in (*ready_names(), *example_names())
        if name is None or (ready and not (folder / name).exists()):
            return name
        return str(folder / Path(name).expanduser())

    return WatchedFiring(
        told.name,
        beside(told.schedule),
        beside(told.kiln),
        beside(told.load),
        beside(told.controller),
        None if told.out is None else folder / Path(told.out).expanduser(),
        None if told.notify is None else folder / Path(told.notify).expanduser(),
        told.page,
        told.page_lan,
    )


SOURCE_FILE = FileKind("source", lambda: SourceTable, _source)
parse_source, open_source = SOURCE_FILE.parse, SOURCE_FILE.open
