"""What a plan is and what it is forecast under, as fields of a form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from firing.schedule.schedule import PURPOSES, Schedule
from firing.units import format_temperature, parse_temperature_c

from . import edits
from .equipment import Circumstances, Equipment, forecast_plan
from .fields import Field, cone_name, optional


def plan_fields(schedule: Schedule, now: Circumstances) -> list[Field]:
    """Return the fields about a plan; each is judged as the plan stands now."""

    def unload(text: str) -> float:
        unload_c = parse_temperature_c(text, schedule.unit)
        # What it is fired with has faults of its own, which are no reason to refuse this.
        forecast_plan(schedule, replace(now, unload_c=unload_c, equipment=Equipment()))
        return unload_c

    return [
        Field(
            "title",
            "Title",
            "Ware and purpose in a few words.",
            lambda text: edits.set_head(schedule, "title", text).title,
        ),
        Field(
            "purpose",
            "Purpose",
            "Decides which cautions apply; ← → changes it.",
            options=[(purpose, purpose) for purpose in PURPOSES],
        ),
        Field(
            "started",
            "Starts",
            "07:30, tomorrow 07:30, 2026-03-01 07:30 or now; empty to count from the start.",
            optional(_moment),
        ),
        Field(
            "cone",
            "Target cone",
            "Like 6 or 04; empty if none is. The warnings then say what would meet it.",
            optional(cone_name),
        ),
        Field(
            "unload",
            "Opened at",
            "The temperature the kiln is unloaded at, like 60C or 140F.",
            unload,
        ),
        Field(
            "notes",
            "Notes",
            "Whatever is worth remembering.",
            lambda text: edits.set_head(schedule, "notes", text.strip()).notes,
            lines=4,
        ),
    ]


def plan_texts(schedule: Schedule, now: Circumstances) -> dict[str, str]:
    """Return what the fields about a plan begin with."""
    return {
        "title": schedule.title,
        "purpose": schedule.purpose,
        "started": "" if now.started is None else f"{now.started:%Y-%m-%d %H:%M}",
        "cone": now.target_cone or schedule.cone or "",
        "unload": format_temperature(now.unload_c, schedule.unit),
        "notes": schedule.notes,
    }


def described(
    schedule: Schedule, now: Circumstances, filled: Mapping[str, Any]
) -> tuple[Schedule, Circumstances]:
    """Return a plan and its circumstances with what was filled in."""
    changed = replace(
        schedule,
        title=filled["title"],
        purpose=filled["purpose"],
        notes=filled["notes"],
        cone=filled["cone"],
    )
    # The cone stands in the plan, and is saved and undone with it.
    return changed, replace(
        now, started=filled["started"], target_cone=None, unload_c=filled["unload"]
    )


def _moment(text: str) -> datetime:
    from firing.clock import parse_when

    return parse_when(text)
