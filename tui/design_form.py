"""What is wanted of a design: how its form begins, how the fields are read, and the design made."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from firing.errors import FiringError
from firing.schedule.schedule import Schedule
from firing.schedule.values import MAX_SEGMENTS
from firing.units import (
    TemperatureUnit,
    format_temperature,
    parse_duration_s,
    parse_rate_c_per_h,
    parse_temperature_c,
    rate_from_celsius,
)

from .equipment import Equipment
from .forecasting import Circumstances

if TYPE_CHECKING:
    from firing.controller.controller import Controller
    from firing.design.result import Design

NEW, MEND = "new", "mend"
"""Whether a new plan is made, or the open one mended."""
HOWS = ((NEW, "a new plan, the fastest that is safe"), (MEND, "this plan, mended"))
PURPOSES = ("bisque", "glaze", "once-fired", "decal")

What = Literal["how", "purpose", "cone", "temperature", "duration", "rate", "margin", "segments"]


@dataclass(frozen=True, slots=True)
class DesignField:
    """One field of the form.

    Attributes
    ----------
    key, label, hint : str
        Its name, what it is called, and what may be written.
    what : str
        What kind of value it holds.
    only_new : bool
        Whether it is asked of a new plan only.
    """

    key: str
    label: str
    hint: str
    what: What
    only_new: bool = False


FIELDS = (
    DesignField(
        "how", "Design", "A new plan, or this one changed as little as makes it safe.", "how"
    ),
    DesignField("purpose", "Purpose", "Decides which limits of the ware count.", "purpose"),
    DesignField(
        "cone", "Cone", "The cone wanted, like 6 or 04; empty with a top below.", "cone", True
    ),
    DesignField("top", "Top temperature", "Instead of a cone, like 980.", "temperature", True),
    DesignField("margin", "Margin", "Caution, 1 to 5; 1.5 is common practice.", "margin"),
    DesignField(
        "open",
        "Opened at",
        "Closing to opening at this temperature is made shortest.",
        "temperature",
    ),
    DesignField(
        "segments", "Segments at most", "1 to 99; empty for what the controller takes.", "segments"
    ),
    DesignField("peak", "Peak at most", "With a cone; empty for any.", "temperature", True),
    DesignField(
        "least", "Hold at least", "At the peak, like 10m; empty for none.", "duration", True
    ),
    DesignField(
        "most", "Hold at most", "At the peak, like 30m; empty for up to 3 h.", "duration", True
    ),
    DesignField(
        "final",
        "Final at most",
        "Rate of the last 100 °C per hour; with a cone at most 150 °C/h, where the chart ends.",
        "rate",
        True,
    ),
    DesignField(
        "drop", "Drop to", "Fall from the peak to here; empty for no drop.", "temperature", True
    ),
    DesignField("drop_hold", "and hold there", "After the drop, like 20m.", "duration", True),
    DesignField(
        "slow", "Cool at most", "Degrees per hour; empty for no slow cooling.", "rate", True
    ),
    DesignField("slow_to", "down to", "Where the slow cooling ends.", "temperature", True),
)


@dataclass(frozen=True, slots=True)
class WantedDesign:
    """What the fields began with the last time, and what was written in them."""

    begun: dict[str, str]
    texts: dict[str, str]


def begin(schedule: Schedule, circumstances: Circumstances) -> dict[str, str]:
    """Return what the fields hold for a plan before anybody has written anything."""
    from firing.ware.limits import USUAL_MARGIN

    cone, controller = circumstances.target_cone, circumstances.studio.controller
    begun = dict.fromkeys((field.key for field in FIELDS), "")
    begun |= {
        "how": NEW,
        "purpose": schedule.purpose if schedule.purpose in PURPOSES else PURPOSES[0],
        "cone": cone or "",
        "top": "" if cone else format_temperature(schedule.peak_c, schedule.unit),
        "margin": f"{USUAL_MARGIN:g}",
        "open": format_temperature(circumstances.unload_c, schedule.unit),
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


def read(what: What, text: str, unit: TemperatureUnit) -> Any:
    """Return the value of a field; None where it is empty.

    Raises
    ------
    FiringError
        If the text is no such value.
    """
    if not text.strip():
        return None
    if what == "cone":
        from firing.cones.table import parse_cone

        return parse_cone(text)
    readers: dict[What, Callable[[str], Any]] = {
        "temperature": lambda text: parse_temperature_c(text, unit),
        "rate": lambda text: parse_rate_c_per_h(text, unit),
        "duration": parse_duration_s,
        "margin": _margin,
        "segments": _segments,
    }
    return readers[what](text) if what in readers else text


def _margin(text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise FiringError(f'"{text}" is not a margin; write a number from 1 to 5: 1.5') from None


def _segments(text: str) -> int:
    words = text.strip()
    if not (words.isdecimal() and 1 <= int(words[:4]) <= MAX_SEGMENTS and len(words) < 4):
        raise FiringError(f'"{text}" is not a number of segments; write 1 to {MAX_SEGMENTS}')
    return int(words)


def make(schedule: Schedule, studio: Equipment, wanted: Mapping[str, Any]) -> Design:
    """Return the design that is wanted.

    Parameters
    ----------
    schedule : Schedule
        The open plan.
    studio : Equipment
        With the load it is for; kiln and controller if there are any.
    wanted : mapping of str to value
        The fields by their keys, as `read` returned them.

    Raises
    ------
    FiringError
        If there is no load, or the demands leave no schedule: the sentence says which collide.
    """
    from firing.ware.limits import USUAL_MARGIN

    if studio.load is None:
        raise FiringError("a design needs to know the ware; choose a load")
    load = studio.load.value
    kiln = None if studio.kiln is None else studio.kiln.value
    controller = _controller(studio, wanted.get("segments"))
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
    from firing.design.peak_candidates import Bounds
    from firing.design.request import CoolingRequest, DesignRequest

    wish = DesignRequest(
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
    )
    controller = controller or _usual(schedule.unit, wanted.get("segments"))
    return design(load, wish, kiln=kiln, controller=controller)


def _open_c(wanted: Mapping[str, Any]) -> float:
    from firing.design.request import OPEN_C

    found = wanted.get("open")
    return OPEN_C if found is None else float(found)


def _controller(studio: Equipment, segments: int | None) -> Controller | None:
    if studio.controller is None:
        return None
    found = studio.controller.value
    return found if segments is None else replace(found, max_segments=segments)


def _usual(unit: TemperatureUnit, segments: int | None) -> Controller:
    """Return the library's usual controller, in whole degrees of the plan's unit."""
    from firing.controller.controller import DEFAULT_SEGMENTS, Controller

    usual = Controller(max_segments=segments or DEFAULT_SEGMENTS)
    return replace(usual, unit=unit, rate_max=rate_from_celsius(usual.rate_max, unit))


def taken(schedule: Schedule, design: Design) -> Schedule:
    """Return a designed schedule as it takes a plan's place: in its unit, with its notes."""
    return replace(design.schedule, unit=schedule.unit, notes=schedule.notes)
