"""What is wanted of a design: how its form begins, how the fields are read, and the design made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from firing.errors import FiringError
from firing.schedule.schedule import Schedule
from firing.schedule.schema import MAX_SEGMENTS
from firing.units import (
    TemperatureUnit,
    format_temperature,
    in_unit,
    parse_duration_s,
    parse_rate_c_per_h,
)

from .equipment import Circumstances, Equipment
from .fields import Field, cone_name, optional, temperature

if TYPE_CHECKING:
    from firing.controller.controller import Controller
    from firing.design.result import Design

NEW, MEND = "new", "mend"
"""Whether a new plan is made, or the open one mended."""
HOWS = ((NEW, "a new plan, the fastest that is safe"), (MEND, "this plan, made safe"))
_FIRED_C = 500.0
"""A plan that goes no hotter is none of a firing yet [°C]."""
PURPOSES = ("bisque", "glaze", "once-fired", "decal")


def design_fields(unit: TemperatureUnit) -> list[Field]:
    """Return the fields about a design; figures may be written without their unit."""
    degrees = optional(temperature(unit))
    rate = optional(lambda text: parse_rate_c_per_h(text, unit))
    duration = optional(parse_duration_s)
    new = ("how", NEW)
    return [
        Field(
            "how",
            "Design",
            "A new plan, or this one changed as little as makes it safe.",
            options=HOWS,
        ),
        Field(
            "purpose",
            "Purpose",
            "Decides which limits of the ware count.",
            options=[(purpose, purpose) for purpose in PURPOSES],
        ),
        Field(
            "cone",
            "Cone",
            "Target cone, like 6 or 04; empty with a top below.",
            optional(cone_name),
            when=new,
        ),
        Field("top", "Top temperature", "Instead of a cone, like 980.", degrees, when=new),
        Field("margin", "Margin", "Caution, 1 to 5; 1.5 is common practice.", optional(_margin)),
        Field(
            "open", "Opened at", "Closing to opening at this temperature is made shortest.", degrees
        ),
        Field(
            "segments",
            "Segments at most",
            "1 to 99; empty for what the controller takes.",
            optional(_segments),
        ),
        Field("peak", "Peak at most", "With a cone; empty for any.", degrees, when=new),
        Field(
            "least", "Hold at least", "At the peak, like 10m; empty for none.", duration, when=new
        ),
        Field(
            "most",
            "Hold at most",
            "At the peak, like 30m; empty for up to 3 h.",
            duration,
            when=new,
        ),
        Field(
            "final",
            "Final at most",
            in_unit(
                "Rate of the last 100 °C per hour; with a cone at most 150 °C/h, where the chart "
                "ends.",
                unit,
            ),
            rate,
            when=new,
        ),
        Field(
            "drop", "Drop to", "Fall from the peak to here; empty for no drop.", degrees, when=new
        ),
        Field("drop_hold", "and hold there", "After the drop, like 20m.", duration, when=new),
        Field(
            "slow", "Cool at most", "Degrees per hour; empty for no slow cooling.", rate, when=new
        ),
        Field("slow_to", "down to", "Where the slow cooling ends.", degrees, when=new),
        Field(
            "reserve",
            "Power reserve",
            "Percent the elements may weaken; 0 for full power.",
            _reserve,
            when=new,
        ),
    ]


@dataclass(frozen=True, slots=True)
class WantedDesign:
    """What the fields began with the last time, and what was written in them."""

    begun: dict[str, str]
    texts: dict[str, str]


def begin(schedule: Schedule, circumstances: Circumstances) -> dict[str, str]:
    """Return what the fields hold for a plan before anybody has written anything."""
    from firing.design.request import RESERVE
    from firing.ware.limits import USUAL_MARGIN

    cone = circumstances.target_cone or schedule.cone
    controller = circumstances.equipment.controller
    begun = dict.fromkeys((field.key for field in design_fields(schedule.unit)), "")
    begun |= {
        "how": NEW,
        "purpose": schedule.purpose if schedule.purpose in PURPOSES else PURPOSES[0],
        "cone": cone or "",
        "top": ""
        if cone or schedule.peak_c < _FIRED_C
        else format_temperature(schedule.peak_c, schedule.unit),
        "margin": f"{USUAL_MARGIN:g}",
        "open": format_temperature(circumstances.unload_c, schedule.unit),
        "reserve": f"{100.0 * RESERVE:g}",
        "segments": "" if controller is None else str(controller.value.max_segments),
    }
    return begun


def continued(begun: Mapping[str, str], last: WantedDesign | None) -> dict[str, str]:
    """Return the fields with what was written last, but for those that begin otherwise now."""
    if last is None:
        return dict(begun)
    same = {key for key, text in begun.items() if last.begun.get(key) == text}
    if not {"cone", "top"} <= same:
        # Only one of the two may be filled in: they go together.
        same -= {"cone", "top"}
    return {key: last.texts[key] if key in same else text for key, text in begun.items()}


def top_gives_way(shown: Mapping[str, str], texts: Mapping[str, str]) -> bool:
    """Whether a cone was written beside a top that only stood there, as the plan's peak."""
    return bool(texts["cone"].strip() and not shown["cone"] and texts["top"] == shown["top"])


def _margin(text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise FiringError(f'"{text}" is not a margin; write a number from 1 to 5: 1.5') from None


def _reserve(text: str) -> float:
    try:
        return float(text.replace(",", ".").removesuffix("%")) / 100.0
    except ValueError:
        raise FiringError(f'"{text}" is not a percentage; write 10, or 0 for none') from None


def _segments(text: str) -> int:
    if not (text.isdecimal() and 1 <= int(text[:4]) <= MAX_SEGMENTS and len(text) < 4):
        raise FiringError(f'"{text}" is not a number of segments; write 1 to {MAX_SEGMENTS}')
    return int(text)


def make(schedule: Schedule, equipment: Equipment, wanted: Mapping[str, Any]) -> Design:
    """Return the design that is wanted of a plan, by the fields as they were read.

    Refused if there is no load, or the demands leave no schedule: the sentence says which collide.
    """
    from firing.ware.limits import USUAL_MARGIN

    if equipment.load is None:
        raise FiringError("a design needs to know the ware; choose a load")
    load = equipment.load.value
    kiln = None if equipment.kiln is None else equipment.kiln.value
    controller = _controller(equipment, wanted.get("segments"))
    margin = USUAL_MARGIN if wanted.get("margin") is None else wanted["margin"]
    if wanted["how"] == MEND:
        from firing.design.repair import repaired_design

        if controller is None and wanted.get("segments") is not None:
            controller = _usual(schedule.unit, wanted["segments"])
        return repaired_design(
            schedule,
            load,
            purpose=wanted["purpose"],
            margin=margin,
            kiln=kiln,
            controller=controller,
            open_c=_open_c(wanted),
        )
    from firing.design.designer import design
    from firing.design.request import RESERVE, Bounds, CoolingRequest, DesignRequest

    reserve = wanted.get("reserve")
    request = DesignRequest(
        wanted["purpose"],
        cone=wanted.get("cone"),
        top_c=wanted.get("top"),
        bounds=Bounds(
            wanted.get("peak"), wanted.get("least") or 0.0, wanted.get("most"), wanted.get("final")
        ),
        margin=margin,
        cooling=CoolingRequest(
            wanted.get("drop"),
            wanted.get("drop_hold") or 0.0,
            wanted.get("slow"),
            wanted.get("slow_to"),
        ),
        open_c=_open_c(wanted),
        reserve=RESERVE if reserve is None else reserve,
    )
    controller = controller or _usual(schedule.unit, wanted.get("segments"))
    return design(load, request, kiln=kiln, controller=controller)


def _open_c(wanted: Mapping[str, Any]) -> float:
    from firing.forecast.opening import UNLOAD_C

    found = wanted.get("open")
    return UNLOAD_C if found is None else float(found)


def _controller(equipment: Equipment, segments: int | None) -> Controller | None:
    if equipment.controller is None:
        return None
    found = equipment.controller.value
    return found if segments is None else replace(found, max_segments=segments)


def _usual(unit: TemperatureUnit, segments: int | None) -> Controller:
    """Return the library's usual controller, in whole degrees of the plan's unit."""
    from firing.controller.controller import DEFAULT_SEGMENTS, usual_controller

    return replace(usual_controller(unit), max_segments=segments or DEFAULT_SEGMENTS)


def taken(schedule: Schedule, design: Design) -> Schedule:
    """Return a designed schedule as it takes a plan's place: in its unit, with its notes."""
    return replace(design.schedule, unit=schedule.unit, notes=schedule.notes)
