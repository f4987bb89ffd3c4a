"""The form about a plan: what it is, and what it is forecast under."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from firing.schedule.schedule import PURPOSES, Schedule
from firing.units import format_temperature, parse_temperature_c

from . import edits
from .equipment import Equipment
from .forecasting import Circumstances, forecast_plan
from .screens.filling import Blank, Filling

if TYPE_CHECKING:
    from .screens.plan_host import PlanHost


async def about_plan(screen: PlanHost) -> tuple[Schedule, Circumstances] | None:
    """Let the form be filled in; returns the plan and its circumstances, or None."""
    schedule, now = screen.session.document.schedule, screen.session.circumstances

    def unload(text: str) -> float:
        unload_c = parse_temperature_c(text, schedule.unit)
        # What it is fired with has faults of its own, which are no reason to refuse this.
        forecast_plan(schedule, replace(now, unload_c=unload_c, studio=Equipment()))
        return unload_c

    blanks = [
        Blank(
            "title",
            "Title",
            schedule.title,
            "Ware and purpose in a few words.",
            lambda text: edits.set_head(schedule, "title", text).title,
        ),
        Blank(
            "purpose",
            "Purpose",
            schedule.purpose,
            "Decides which cautions apply; ← → changes it.",
            options=[(purpose, purpose) for purpose in PURPOSES],
        ),
        Blank(
            "started",
            "Starts",
            "" if now.started is None else f"{now.started:%Y-%m-%d %H:%M}",
            "07:30, tomorrow 07:30, 2026-03-01 07:30 or now; empty to count from the start.",
            _moment,
        ),
        Blank(
            "cone",
            "Cone wanted",
            now.target_cone or "",
            "Like 6 or 04; empty if none is. The warnings then say what would meet it.",
            _cone,
        ),
        Blank(
            "unload",
            "Opened at",
            format_temperature(now.unload_c, schedule.unit),
            "The temperature the kiln is unloaded at, like 60C or 140F.",
            unload,
        ),
        Blank(
            "notes",
            "Notes",
            schedule.notes,
            "Whatever is worth remembering.",
            lambda text: edits.set_head(schedule, "notes", text.strip()).notes,
            lines=4,
        ),
    ]
    filled = await screen.app.push_screen_wait(Filling("About this plan", blanks))
    if filled is None:
        return None
    changed = replace(
        schedule, title=filled["title"], purpose=filled["purpose"], notes=filled["notes"]
    )
    return changed, replace(
        now, started=filled["started"], target_cone=filled["cone"], unload_c=filled["unload"]
    )


def _moment(text: str) -> datetime | None:
    from firing.clock import parse_when

    return parse_when(text) if text.strip() else None


def _cone(text: str) -> str | None:
    from firing.cones.table import parse_cone

    return parse_cone(text) if text.strip() else None
