"""The schema of a schedule file, as models whose faults can all be named at once."""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, ValidationInfo, WithJsonSchema

from firing.schedule.schedule import Purpose
from firing.schedule.values import (
    MAX_SEGMENTS,
    check_hold,
    check_line,
    check_rate,
    check_temperature,
    check_text,
    check_title,
)
from firing.units import TemperatureUnit


def _unit(info: ValidationInfo) -> TemperatureUnit:
    data = (info.context or {}).get("data", {})
    return "F" if data.get("unit") == "F" else "C"


def _temperature(value: Any, info: ValidationInfo) -> float:
    return check_temperature(value, _unit(info), info.field_name or "target")


def _rate(value: Any, info: ValidationInfo) -> float | str:
    return check_rate(value, _unit(info))


Temperature = Annotated[float, PlainValidator(_temperature), WithJsonSchema({"type": "number"})]
Rate = Annotated[
    float | Literal["unlimited", "off"],
    PlainValidator(_rate),
    WithJsonSchema(
        {"anyOf": [{"type": "number", "exclusiveMinimum": 0}, {"enum": ["unlimited", "off"]}]}
    ),
]
Hold = Annotated[str, PlainValidator(check_hold), WithJsonSchema({"type": "string"})]
Title = Annotated[
    str, PlainValidator(check_title), WithJsonSchema({"type": "string", "minLength": 1})
]
Line = Annotated[str, PlainValidator(check_line), WithJsonSchema({"type": "string"})]
Text = Annotated[str, PlainValidator(check_text), WithJsonSchema({"type": "string"})]


class SegmentTable(BaseModel):
    """One ``[[segment]]`` of a schedule file."""

    model_config = ConfigDict(extra="forbid", strict=True)

    name: Line = Field("", description="what the segment is for")
    rate: Rate = Field(
        description='degrees of the file\'s unit per hour, "unlimited" (all the power there is) '
        'or "off" (elements off until the target)',
        json_schema_extra={"example": "rate = 60"},
    )
    target: Temperature = Field(
        description="temperature the ramp ends at, in the file's unit",
        json_schema_extra={"example": "target = 900"},
    )
    hold: Hold = Field(
        "0m",
        description='time kept at the target: "6h", "1h30m", "90m" or "1:30" (h:mm)',
        json_schema_extra={"example": 'hold = "30m"'},
    )
    action: Line = Field("", description="what a person does when this segment ends")


class ScheduleTable(BaseModel):
    """A schedule file."""

    model_config = ConfigDict(extra="forbid", strict=True, title="Firing schedule")

    title: Title = Field(
        description="ware and purpose in a few words",
        json_schema_extra={"example": 'title = "Mugs, bone dry, to 900"'},
    )
    purpose: Purpose = Field(
        "other",
        description="which cautions and limits apply",
        json_schema_extra={"example": 'purpose = "bisque"'},
    )
    unit: Literal["C", "F"] = Field(
        "C",
        description="unit of every temperature and rate in the file",
        json_schema_extra={"example": 'unit = "C"'},
    )
    start: Temperature | None = Field(
        None, description="room temperature that the program starts from; 20 °C if not given"
    )
    notes: Text = Field("", description="free text")
    segment: list[SegmentTable] = Field(
        min_length=1,
        max_length=MAX_SEGMENTS,
        description="the ramps and holds, in order",
        json_schema_extra={"example": "a table [[segment]] with rate and target"},
    )
