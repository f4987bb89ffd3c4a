"""The controller file: its schema, and how it is read with every fault at once."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, WithJsonSchema

from firing.controller.controller import Controller
from firing.errors import FiringError
from firing.files.kinds import FileKind, WrongKeys
from firing.files.tomlfile import Wrong, clean, number, plain_line
from firing.schedule.schema import HOLD_S, MAX_SEGMENTS, RATE_C_PER_H
from firing.units import SECONDS_PER_HOUR, TemperatureUnit, parse_duration_s, rate_from_celsius

LONGEST_HOLD_S = HOLD_S[1]


def _duration(value: Any) -> float:
    if not isinstance(value, str):
        raise ValueError('a duration is text; write "48h", "1m" or "30s"')
    try:
        seconds = parse_duration_s(clean(value))
    except FiringError as error:
        raise ValueError(str(error)) from None
    if not 1.0 <= seconds <= LONGEST_HOLD_S:
        raise ValueError(
            f'"{clean(value)}" is outside 1 s to {LONGEST_HOLD_S / SECONDS_PER_HOUR:.0f} h; write '
            '"48h" or "1m"'
        )
    return seconds


Line = Annotated[
    str,
    PlainValidator(plain_line("Bench controller")),
    WithJsonSchema({"type": "string", "minLength": 1}),
]
Duration = Annotated[float, PlainValidator(_duration), WithJsonSchema({"type": "string"})]


class ControllerTable(BaseModel):
    """A controller file."""

    model_config = ConfigDict(extra="forbid", strict=True, title="Kiln controller")

    name: Line = Field(
        description="what its owner calls it",
        json_schema_extra={"example": 'name = "Bench controller"'},
    )
    max_segments: int = Field(
        ge=1,
        le=MAX_SEGMENTS,
        description="the most segments, each a ramp and a hold, of one program",
        json_schema_extra={"example": "max_segments = 8", "unit": "segments"},
    )
    unit: Literal["C", "F"] = Field(
        "C",
        description="unit of its temperatures and rates, and of the rates and steps in this file",
        json_schema_extra={"example": 'unit = "C"'},
    )
    notation: Literal["rate", "time"] = Field(
        "rate",
        description="whether a ramp is keyed as degrees per hour or as minutes to the target",
        json_schema_extra={"example": 'notation = "rate"'},
    )
    rate_min: float = number(
        "the slowest rate",
        "rate_min = 1",
        "degrees per hour",
        default=1.0,
        gt=0,
        le=1000,
        written=("rate_min", "rate"),
    )
    rate_max: float = number(
        "the fastest rate",
        "rate_max = 600",
        "degrees per hour",
        default=600.0,
        gt=0,
        le=10000,
        written=("rate_max", "rate"),
    )
    rate_step: float = number(
        "step of a rate",
        "rate_step = 1",
        "degrees per hour",
        default=1.0,
        gt=0,
        le=100,
        written=("rate_step", "rate"),
    )
    target_step: float = number(
        "step of a target",
        "target_step = 1",
        "degrees",
        default=1.0,
        gt=0,
        le=50,
        written=("target_step", "difference"),
    )
    hold_max: Duration = Field(
        48 * SECONDS_PER_HOUR,
        description="the longest hold",
        json_schema_extra={"example": 'hold_max = "48h"'},
    )
    hold_step: Duration = Field(
        60.0,
        description="step of a hold",
        json_schema_extra={"example": 'hold_step = "1m"'},
    )
    waits: bool = Field(
        True,
        description="whether its clock waits when the kiln lags",
        json_schema_extra={"example": "waits = true"},
    )
    controls_cooling: bool = Field(
        True,
        description="whether it can slow the cooling after the peak",
        json_schema_extra={"example": "controls_cooling = true"},
    )


def _controller(table: ControllerTable) -> Controller:
    slowest = rate_from_celsius(RATE_C_PER_H[0], table.unit)
    fastest = f"rate_max, {table.rate_max:g} °{table.unit}/h"
    wrong: list[Wrong] = []
    if table.rate_min < slowest:
        wrong.append(
            (("rate_min",), f"{table.rate_min:g} is below {slowest:g} °{table.unit}/h, the slowest "
             f"rate a schedule may have; write rate_min = {slowest:g}")
        )  # fmt: skip
    if table.rate_min > table.rate_max:
        wrong.append(
            (("rate_min",), f"{table.rate_min:g} is above {fastest}; write rate_min = 1")
        )  # fmt: skip
    if table.rate_step > table.rate_max:
        wrong.append(
            (("rate_step",), f"{table.rate_step:g} is above {fastest}, so no rate could be keyed; "
             "write rate_step = 1")
        )  # fmt: skip
    if table.hold_step > table.hold_max:
        wrong.append(
            (("hold_step",), "is longer than hold_max, so no hold could be keyed; "
             'write hold_step = "1m"')
        )  # fmt: skip
    if wrong:
        raise WrongKeys(*wrong)
    return Controller(
        **table.model_dump(exclude={"hold_max", "hold_step"}),
        hold_max_s=table.hold_max,
        hold_step_s=table.hold_step,
    )


def _described(controller: Controller, _: TemperatureUnit) -> list[str]:
    keyed = "degrees per hour" if controller.notation == "rate" else "minutes to target"
    return [
        controller.name,
        f"{controller.max_segments} segments",
        f"°{controller.unit}",
        keyed,
        "" if controller.waits else "its clock does not wait",
        "" if controller.controls_cooling else "it cannot slow the cooling",
    ]


CONTROLLER_FILE = FileKind("controller", lambda: ControllerTable, _controller, describe=_described)
parse_controller, open_controller = CONTROLLER_FILE.parse, CONTROLLER_FILE.open
