"""How a running firing stands, in one line for a person."""

import math
from datetime import datetime

from firing.clock import after
from firing.cones.table import describe_number
from firing.forecast.opening import RANGES_HOLD
from firing.schedule.schedule import Schedule
from firing.units import (
    TemperatureUnit,
    format_duration,
    format_rate,
    format_temperature,
)
from firing.watch.state import ConeForecast, Estimate


def status_line(
    estimate: Estimate,
    began: datetime,
    schedule: Schedule | None,
    unit: TemperatureUnit = "C",
) -> str:
    """Return one line, its parts set off by semicolons; `began` is second 0 in the zone text in.

    It speaks in the plan's unit; without a plan, in `unit`.
    """
    unit = unit if schedule is None else schedule.unit
    clock = MomentText(began, estimate.now_s)
    parts = [clock.now, temperature_text(estimate, unit)]
    parts += position_text(estimate, schedule, unit)
    if estimate.reached is not None:
        parts.append(f"heat-work so far cone {describe_number(estimate.reached_number)}")
    parts += [words for entry in estimate.cones if (words := cone_text(entry, clock))]
    ends, unload = end_texts(estimate, clock)
    if ends:
        parts.append(f"program ends {ends}")
    if unload:
        parts.append(f"unload {unload}")
    if estimate.stalls_c is not None:
        stands = format_temperature(estimate.stalls_c, unit)
        parts.append(f"by its model the kiln does not get beyond {stands}")
    if energy := energy_text(estimate):
        parts.append(energy)
    if estimate.action and estimate.action_s is not None:
        parts.append(f"{clock.at(estimate.action_s)}: {estimate.action}")
    if estimate.untold:
        parts.append(f"not known now: {', '.join(estimate.untold)}")
    if estimate.alarms:
        parts.append(f"ALARM {', '.join(estimate.alarms)}")
    return "; ".join(parts)


def time_of_day(began: datetime, at_s: float) -> str:
    """Return a moment as the time of day, ``21:04``."""
    return f"{after(began, at_s):%H:%M}"


def energy_text(estimate: Estimate) -> str:
    """Return what the firing took so far, and will take; empty where that is not known."""
    spent, total = estimate.energy_kwh, estimate.energy_total_kwh
    if spent is None:
        return ""
    if estimate.position is not None and estimate.position.phase == "done":
        total = None  # no more is to come
    return f"about {spent:.1f} kWh" if total is None else f"about {spent:.1f} of {total:.0f} kWh"


def temperature_text(estimate: Estimate, unit: TemperatureUnit) -> str:
    """Return how hot it is and how fast that changes."""
    if math.isnan(estimate.temperature_c):
        return "no reading"
    text = format_temperature(estimate.temperature_c, unit)
    if estimate.rate_c_per_h is not None:
        text += f" {format_rate(estimate.rate_c_per_h, unit)}".replace(" -", " −")
    return text


def position_text(
    estimate: Estimate, schedule: Schedule | None, unit: TemperatureUnit
) -> list[str]:
    """Return where the firing stands in its plan, how far from it, and how late."""
    position = estimate.position
    if schedule is None or position is None:
        return []
    if position.phase == "waiting":
        return ["not heating yet"]
    if position.phase == "done":
        return ["program done"]
    if position.phase == "left" or position.segment is None:
        return ["away from the plan"]
    segment = schedule.segments[position.segment]
    place = f"segment {position.segment + 1} of {len(schedule.segments)} {segment.name}".rstrip()
    if position.phase == "hold":
        left_s = position.hold_left_s(estimate.now_s, segment.hold_s)
        place += (
            f", hold, {format_duration(left_s)} left"
            if left_s > 0.0
            else f", hold over since {format_duration(-left_s)}"
        )
    found = [place]
    if estimate.deviation_c is not None:
        size = abs(estimate.deviation_c) * (1.8 if unit == "F" else 1.0)
        side = "above" if estimate.deviation_c > 0.0 else "below"
        found.append("on plan" if size < 1.0 else f"{size:.0f} °{unit} {side} plan")
    if position.late_s is not None and abs(position.late_s) >= 120.0:
        side = "late" if position.late_s > 0.0 else "early"
        found.append(f"{format_duration(abs(position.late_s))} {side}")
    if estimate.plan_doubted:
        found.append("this may be another program")
    return found


def cone_text(entry: ConeForecast, clock: "MomentText") -> str:
    """Return since when a cone is down, or when it will be; empty where the plan does not."""
    if entry.down_s is not None:
        return f"cone {entry.cone} down since {clock.at(entry.down_s)}"
    if entry.expected_s is None:
        return ""
    return f"cone {entry.cone} {clock.range(entry.expected_s, entry.low_s, entry.high_s)}"


def end_texts(estimate: Estimate, clock: "MomentText") -> tuple[str, str]:
    """Return when the program ends and when to unload, with their ranges; empty where not known.

    Of a kiln that is known the last of them says what share of firings the ranges hold.
    """
    ends = unload = ""
    level = "" if estimate.kiln is None else f", {RANGES_HOLD}"
    opens = estimate.unload_s is not None and estimate.unload_s > estimate.now_s
    if estimate.program_end_s is not None:
        ends = clock.range(
            estimate.program_end_s,
            estimate.program_end_low_s,
            estimate.program_end_high_s,
            level="" if opens else level,
        )
    if opens:
        assert estimate.unload_s is not None
        unload = clock.range(
            estimate.unload_s, estimate.unload_low_s, estimate.unload_high_s, level=level
        )
    return ends, unload


class MomentText:
    """Tells moments as a time of day, with the weekday where it is not today's."""

    def __init__(self, began: datetime, now_s: float) -> None:
        self._began = began
        self._today = after(began, now_s)
        self.now = f"{self._today:%H:%M}"

    def at(self, moment_s: float) -> str:
        """Return one moment."""
        moment = after(self._began, moment_s)
        same_day = moment.date() == self._today.date()
        return f"{moment:%H:%M}" if same_day else f"{moment:%a %H:%M}"

    def range(
        self, middle_s: float, low_s: float | None, high_s: float | None, *, level: str = ""
    ) -> str:
        """Return a moment and the range it lies in, with what that holds."""
        middle = self.at(middle_s)
        low = "" if low_s is None else self.at(low_s)
        high = "" if high_s is None else self.at(high_s)
        if low == high == middle:
            return middle
        end = f"to {high}" if high else "or later, perhaps never"
        return f"{middle} ({low or '?'} {end}{level})"
