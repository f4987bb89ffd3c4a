"""The segment table in words: its columns for the room there is, and its cells."""

from collections.abc import Sequence
from dataclasses import dataclass

from firing.forecast.result import Forecast
from firing.schedule.schedule import Schedule
from firing.schedule.schema import HOLD_S, RATE_C_PER_H, TARGET_C
from firing.units import (
    SECONDS_PER_HOUR,
    TemperatureUnit,
    format_temperature,
    from_celsius,
    hours_minutes,
    rate_from_celsius,
)

from .edits import HEAD_ROW, SEGMENT_KEYS, SegmentKey, cell_text
from .equipment import plan_times

COMPUTED = ("takes", "ends", "planned", "limit")
"""Columns that follow from the others."""

_TAKES, _ENDS, _TO, _HOLD, _PLANNED, _LIMIT = 6, 9, 6, 6, 7, 7
_ACTION_LEAST = 24


@dataclass(frozen=True, slots=True)
class ColumnLayout:
    """Keys and widths of the columns, from the left."""

    keys: tuple[str, ...]
    widths: tuple[int, ...]


def layout(room: int, schedule: Schedule) -> ColumnLayout:
    """Return the columns for a table `room` cells wide.

    What does not fit lies to the right and is reached with the cursor; what is computed is shown
    only where it fits.
    """
    free = any(segment.drive == "unlimited" for segment in schedule.segments)
    rate = 9 if free else 6
    fixed = {"number": 2, "rate": rate, "target": _TO, "hold": _HOLD}
    keys = ["number", "name", "rate", "target", "hold"]
    left = room - 1 - sum(fixed.values()) - len(keys)
    if left >= _TAKES + _ENDS + 2 + 14:
        fixed |= {"takes": _TAKES, "ends": _ENDS}
        keys += ["takes", "ends"]
        left -= _TAKES + _ENDS + 2
    if left >= _PLANNED + _LIMIT + 2 + 14:
        fixed |= {"planned": _PLANNED, "limit": _LIMIT}
        keys[-2:-2] = ["planned"]
        keys.append("limit")
        left -= _PLANNED + _LIMIT + 2
    keys.append("action")
    if left >= 14 + _ACTION_LEAST:
        fixed["action"] = max(_ACTION_LEAST, left // 2)
        left -= fixed["action"] + 1
    else:
        fixed["action"] = _ACTION_LEAST + 8
    fixed["name"] = max(left, 8)
    return ColumnLayout(tuple(keys), tuple(fixed[key] for key in keys))


def titles(schedule: Schedule) -> dict[str, str]:
    """Return the heading of every column."""
    unit = schedule.unit
    return {
        "number": "#",
        "name": "segment",
        "rate": f"°{unit}/h",
        "target": f"to °{unit}",
        "hold": "hold",
        "takes": "takes",
        "ends": "ends",
        "planned": "planned",
        "limit": "limit",
        "action": "then, by hand",
    }


def cells(
    schedule: Schedule, forecast: Forecast | None, keys: Sequence[str]
) -> list[tuple[str, ...]]:
    """Return the rows: the start, then every segment.

    The forecast fills the computed columns, and marks ramps that are slower than programmed.
    """
    current = forecast if forecast is not None and forecast.schedule == schedule else None
    rows = [{"name": "start", "target": _short(from_celsius(schedule.start_c, schedule.unit))}]
    for index in range(len(schedule.segments)):
        rows.append(_segment_cells(schedule, current, index))
    return [tuple(row.get(key, "") for key in keys) for row in rows]


def _segment_cells(schedule: Schedule, forecast: Forecast | None, index: int) -> dict[str, str]:
    segment, unit = schedule.segments[index], schedule.unit
    row = {
        "number": str(index + 1),
        "name": segment.name,
        "rate": segment.drive,
        "target": _short(from_celsius(segment.target_c, unit)),
        "hold": cell_text(schedule, index, "hold") if segment.hold_s else "–",
        "action": segment.action,
    }
    if segment.rate_c_per_h is not None:
        cools = segment.target_c < schedule.from_c(index)
        row["rate"] = ("−" if cools else "") + _short(rate_from_celsius(segment.rate_c_per_h, unit))
    if forecast is not None and index < len(forecast.segments):
        timed = forecast.segments[index]
        keeper = plan_times(forecast)
        row["takes"] = hours_minutes(timed.forecast_s)
        row["planned"] = hours_minutes(timed.planned_s)
        row["limit"] = "–" if timed.limited_by == "program" else timed.limited_by
        started = forecast.started is not None
        row["ends"] = keeper.at(timed.end_s) if started else hours_minutes(timed.end_s)
        # Without a kiln nobody knows what it can follow.
        if segment.drive == "rate" and timed.limited_by != "program" and forecast.kiln is not None:
            row["rate"] += "*"
    return row


def _short(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def cell_label(schedule: Schedule, row: int, key: str) -> str:
    """Return which cell it is: ``3 Rise, rate``."""
    where = "start" if row == HEAD_ROW else f"segment {row + 1}"
    words = {"number": "", "target": "to", "action": "then, by hand", "name": "name"}.get(key, key)
    return f"{where}, {words}" if words else where


def limits(key: str, unit: TemperatureUnit, row: int) -> str:
    """Return what may be written into a cell, with its unit."""
    if key == "rate" and row != HEAD_ROW:
        low, high = (rate_from_celsius(value, unit) for value in RATE_C_PER_H)
        return f"{low:g} to {high:g} °{unit}/h, unlimited or off"
    if key == "target":
        low, high = (from_celsius(value, unit) for value in TARGET_C)
        return f"{low:g} to {high:g} °{unit}"
    if key == "hold" and row != HEAD_ROW:
        return f"0 to {HOLD_S[1] / SECONDS_PER_HOUR:.0f} h: 30m, 6h, 1h30m, 1:30"
    if key in ("name", "action") and row != HEAD_ROW:
        return "a few words, or none"
    return "follows from the others" if key in COMPUTED else ""


def explain(schedule: Schedule, forecast: Forecast | None, row: int, key: str) -> str:
    """Return what is worth knowing about a cell; empty if nothing is."""
    if row == HEAD_ROW:
        return "Where the program starts from: the room's temperature, or a kiln still hot."
    segment = schedule.segments[row]
    if key == "rate":
        if segment.drive == "unlimited":
            return "All the power there is."
        if segment.drive == "off":
            return "The elements stay off until the target."
        if forecast is not None and forecast.schedule == schedule:
            timed = forecast.segments[row]
            if timed.limited_by != "program" and forecast.kiln is not None:
                return (
                    f"* {timed.limited_by.capitalize()} limits: {hours_minutes(timed.forecast_s)} "
                    f"instead of {hours_minutes(timed.planned_s)}; the kiln cannot follow."
                )
    if key in COMPUTED or key == "number":
        return "Computed; change the rate, the target or the hold."
    return segment.action and f"Then, by hand: {segment.action}"


def editable(row: int, key: str) -> SegmentKey | None:
    """Return the field a cell edits; None if it cannot be edited."""
    for field in SEGMENT_KEYS:
        if key == field and (row != HEAD_ROW or field == "target"):
            return field
    return None


def peak_words(before: Schedule, after: Schedule) -> str:
    """Return that the peak has moved, if it has; its temperature decides which cautions apply."""
    if before.peak_c == after.peak_c:
        return ""
    return f"  The peak is {format_temperature(after.peak_c, after.unit)} now."
