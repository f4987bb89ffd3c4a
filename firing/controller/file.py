"""The controller file: its schema, and how it is read with every fault at once."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, PlainValidator, WithJsonSchema

from firing.controller.controller import Controller
from firing.errors import FiringError
from firing.files.kinds import FileKind, WrongKeys
from firing.files.tomlfile import Wrong, clean, file_key, number, plain_line
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


def _rate(words: str, key: str, default: float, *, at_most: float) -> Any:
    return number(
        words,
        f"{key} = {default:g}",
        "degrees per hour",
        default=default,
        gt=0,
        le=at_most,
        written=(key, "rate"),
    )


class ControllerTable(BaseModel):
    """A controller file."""

    model_config = ConfigDict(extra="forbid", strict=True, title="Kiln controller")

    name: Line = file_key("what its owner calls it", 'name = "Bench controller"')
    max_segments: int = file_key(
        "the most segments, each a ramp and a hold, of one program",
        "max_segments = 8",
        "segments",
        ge=1,
        le=MAX_SEGMENTS,
    )
    unit: Literal["C", "F"] = file_key(
        "unit of its temperatures and rates, and of the rates and steps in this file",
        'unit = "C"',
        default="C",
    )
    notation: Literal["rate", "time"] = file_key(
        "whether a ramp is keyed as degrees per hour or as minutes to the target",
        'notation = "rate"',
        default="rate",
    )
    rate_min: float = _rate("the slowest rate", "rate_min", 1.0, at_most=1000)
    rate_max: float = _rate("the fastest rate", "rate_max", 600.0, at_most=10000)
    rate_step: float = _rate("step of a rate", "rate_step", 1.0, at_most=100)
    target_step: float = number(
        "step of a target",
        "target_step = 1",
        "degrees",
        default=1.0,
        gt=0,
        le=50,
        written=("target_step", "difference"),
    )
    hold_max: Duration = file_key(
        "the longest hold", 'hold_max = "48h"', default=48 * SECONDS_PER_HOUR
    )
    hold_step: Duration = file_key("step of a hold", 'hold_step = "1m"', default=60.0)
    waits: bool = file_key(
        "whether its clock waits when the kiln lags", "waits = true", default=True
    )
    controls_cooling: bool = file_key(
        "whether it can slow the cooling after the peak", "controls_cooling = true", default=True
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
