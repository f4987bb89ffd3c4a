"""What of a forecast's warnings can be mended in the plan, and the plan mended; one edit each."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from firing.cones.table import describe_number
from firing.errors import FiringError
from firing.units import (
    format_duration,
    format_rate,
    from_celsius,
    in_unit,
    rate_from_celsius,
    rate_to_celsius,
    to_celsius,
)

from .edits import CONE_CHANGES
from .equipment import Circumstances, forecast_plan

if TYPE_CHECKING:
    from firing.controller.controller import Controller
    from firing.forecast.cone_target import Changed
    from firing.forecast.result import Forecast, PlanWarning
    from firing.schedule.schedule import Schedule
    from firing.ware.limits import Breach

    from .equipment import Equipment

_SLOWER = 0.98
_STEPS = ("rate", "dwell")
"""Breaches that one step of a repair mends; the simulated wall's take all of it."""


@dataclass(frozen=True, slots=True)
class Cured:
    """A plan mended, what was done in a few words, and what is left or else to know.

    With `started` its start is another.
    """

    schedule: Schedule
    label: str
    words: str = ""
    started: datetime | None = None


@dataclass(frozen=True, slots=True)
class Offer:
    """A change of the plan that can be had: few words for it, a sentence, and what makes it.

    `sign` is ``!`` for what is to be done, ``?`` for what is to be checked.  Without `make` no
    change of the plan helps, unless it `asks` for something first.
    """

    title: str
    words: str
    make: Callable[[], Cured] | None = None
    sign: str = ""
    asks: str = ""


_SAFE = "fastest safe rate here"


def solutions(
    schedule: Schedule,
    forecast: Forecast,
    circumstances: Circumstances,
    cell: tuple[int, str],
    cone: str | None,
    ends: str,
) -> tuple[Offer, ...]:
    """Return what can be solved for in a cell: its own column's first."""
    row, column = cell
    equipment = circumstances.equipment
    ways: dict[str, Offer] = {}
    if cone is not None:
        for key, changed in CONE_CHANGES.items():

            def make(changed: Changed = changed) -> Cured:
                return to_cone(schedule, circumstances, cone, changed)

            words = f"The {changed} at the top that brings cone {cone} just down."
            ways[key] = Offer(f"{changed} for cone {cone}", words, make)
    found = [ways.pop(column)] if column in ways else []
    found += ways.values()
    if row >= 0:
        if equipment.load is not None:
            words = "As fast as the load allows here."
            safe = Offer(_SAFE, words, lambda: at_safe_rate(schedule, row, circumstances))
        else:
            words = "What is safe depends on the load.  Enter chooses one."
            safe = Offer(_SAFE, words, asks="load")
        # At the peak a cone is aimed at; everywhere else a rate is a matter of the ware.
        first = column == "rate" and row != schedule.peak_index and safe.make is not None
        found.insert(0 if first else len(found), safe)
    found.append(
        Offer(
            f"start to end at {ends}",
            f"The hour to start at, so that the program ends at {ends}.",
            lambda: starting_to_end(schedule, forecast, ends),
        )
    )
    return (*found, Offer("… at another hour", "Enter asks when it is to end.", asks="end"))


def fixes(forecast: Forecast | None, circumstances: Circumstances) -> tuple[Offer, ...]:
    """Return what to fix, the gravest first; what is only to know is left out."""
    if forecast is None:
        return ()
    found = list(_of_ware(forecast, circumstances.equipment))
    told = {"ware_limit"}
    for warning in forecast.warnings:
        if warning.id in told or warning.severity == "note":
            continue
        if warning.id == "heating_behind":
            told.add(warning.id)  # one change of all the rates mends them all
        found.append(_of_warning(warning, forecast, circumstances))
    return tuple(sorted(found, key=lambda offer: offer.sign != "!"))


_HOW_MANY = {1: "the ware's limit", 2: "both limits"}


def _of_ware(forecast: Forecast, equipment: Equipment) -> Iterator[Offer]:
    """Yield the ware's limits: all of them at once, then each by itself."""
    schedule, breaches = forecast.schedule, forecast.breaches
    if breaches and equipment.load is not None:
        many = _HOW_MANY.get(len(breaches), f"all {len(breaches)} limits")
        yield Offer(
            f"{many}: make it safe",
            in_unit(breaches[0].message, schedule.unit),
            lambda: made_safe(schedule, equipment),
            "!",
        )
    if len(breaches) < 2:
        return
    for breach in breaches:
        make = None
        if breach.kind in _STEPS and equipment.load is not None:

            def make(breach: Breach = breach) -> Cured:
                return made_safe_at(schedule, breach, equipment)

        yield Offer(_breach_title(breach), in_unit(breach.message, schedule.unit), make, "!")


def _breach_title(breach: Breach) -> str:
    where = f"{breach.segment + 1}: "
    if breach.kind == "dwell":
        return f"{where}{format_duration(breach.add_hold_s or 0.0)} short, {breach.reason}"
    if breach.kind == "dry first":
        return "too wet to be fired"
    if breach.kind in ("rate", "wall"):
        return f"{where}too fast, {breach.reason}"
    return f"{where}{breach.kind}, {breach.reason}"


def _of_warning(warning: PlanWarning, forecast: Forecast, circumstances: Circumstances) -> Offer:
    schedule, equipment = forecast.schedule, circumstances.equipment
    title, make = _TITLES.get(warning.id, warning.id.replace("_", " ")), None
    segment = next((s.index for s in forecast.segments if s.start_s == warning.at_s), None)
    if warning.id == "cone_off_target" and forecast.target_cone is not None:
        number = forecast.cones.reached_number
        reached = "none is down" if number is None else f"cone {describe_number(number)}"
        title, cone = f"{reached}, target {forecast.target_cone}", forecast.target_cone

        def make() -> Cured:
            if forecast.kiln is not None and not forecast.kiln.reaches_peak:
                return within_reach(forecast, circumstances)
            try:
                return to_cone(schedule, circumstances, cone, "hold")
            except FiringError:
                return to_cone(schedule, circumstances, cone, "peak")

    elif warning.id in ("practice", "slow_drying"):
        breach = _slower(warning, forecast, equipment)
        if breach is not None:
            segment = breach.segment
            title = "five-fold drying hold" if warning.id == "slow_drying" else "practice is slower"

            def make() -> Cured:
                return made_safe_at(schedule, breach, equipment, title)

    elif warning.id in ("peak_out_of_reach", "above_kiln_maximum"):
        segment = schedule.peak_index

        def make() -> Cured:
            return within_reach(forecast, circumstances)

    elif warning.id == "heating_behind" and forecast.kiln and forecast.kiln.reaches_peak:

        def make() -> Cured:
            return as_the_kiln_climbs(forecast, equipment)

    elif warning.id == "cooling_behind" and segment is not None:

        def make() -> Cured:
            return as_it_cools(forecast, segment)

    same = [w.at_s for w in forecast.warnings if w.id == warning.id]
    where = [str(s.index + 1) for s in forecast.segments if s.start_s in same]
    shown = title
    if segment is not None and warning.id in _TITLES:
        numbers = ", ".join(where) if warning.id == "heating_behind" else segment + 1
        shown = f"{numbers}: {title}"
    words = in_unit(warning.message, schedule.unit)
    return Offer(shown, words, make, "!" if warning.severity == "act" else "?")


_TITLES = {
    "peak_out_of_reach": "kiln does not get to the peak",
    "above_kiln_maximum": "hotter than the kiln may get",
    "heating_behind": "faster than the kiln climbs",
    "cooling_behind": "faster than the kiln cools",
    "practice": "practice is slower",
    "slow_drying": "may hold too much water",
    "still_shrinks": "may still shrink",
    "hot_start": "starts hot",
    "cone_range": "cone less sure",
}


def _slower(warning: PlanWarning, forecast: Forecast, equipment: Equipment) -> Breach | None:
    """Return what practice, or clay that dries slowly, asks of a plan beyond its limits."""
    from firing.forecast.warnings import slower_by_practice
    from firing.ware.check import check_program

    if warning.id == "practice":
        load = None if equipment.load is None else equipment.load.value
        found = slower_by_practice(forecast, load)
        return next((breach for breach in found if warning.message.endswith(breach.message)), None)
    if forecast.ware is None:
        return None
    limits = forecast.ware.limits
    # The long end of the time that its water needs: how fast clay dries is known to a factor.
    dwells = tuple(
        replace(dwell, at_least_s=dwell.high_s)
        for dwell in limits.dwells
        if dwell.reason == "free water"
    )
    return next(
        iter(check_program(forecast.schedule, replace(limits, limits=(), dwells=dwells))), None
    )


def _controller(schedule: Schedule, equipment: Equipment) -> Controller:
    from firing.controller.controller import Controller

    if equipment.controller is not None:
        return equipment.controller.value
    return Controller(max_segments=99, unit=schedule.unit)


def made_safe_at(
    schedule: Schedule, breach: Breach, equipment: Equipment, label: str = ""
) -> Cured:
    """Return the plan changed at one place where it breaks a limit of the ware."""
    from firing.controller.program import in_controllers_unit
    from firing.design.repair import repaired_at

    controller = _controller(schedule, equipment)
    found, done = repaired_at(in_controllers_unit(schedule, controller), breach, controller)
    return Cured(replace(found, unit=schedule.unit), label or _breach_title(breach), done)


def made_safe(schedule: Schedule, equipment: Equipment) -> Cured:
    """Return the plan with the smallest changes that keep the limits of its load.

    Raises `FiringError` if no slower or longer program keeps them.
    """
    from firing.design.repair import repaired_design

    if equipment.load is None:
        raise FiringError("a plan is made safe for a load; choose one")
    design = repaired_design(
        schedule,
        equipment.load.value,
        kiln=None if equipment.kiln is None else equipment.kiln.value,
        controller=None if equipment.controller is None else equipment.controller.value,
    )
    # In the plan's own unit, whatever the controller's is.
    done = replace(design.schedule, unit=schedule.unit, cone=schedule.cone)
    return Cured(done, "made safe for the load", "  ".join((*design.problems, design.advice)))


def as_the_kiln_climbs(forecast: Forecast, equipment: Equipment) -> Cured:
    """Return the plan with rates that its kiln keeps, and the hold or peak that keeps its cone.

    Raises `FiringError` if no such plan keeps it.
    """
    from firing.forecast.forecast import forecast as forecast_written
    from firing.review.mending import mend

    if equipment.kiln is None:
        raise FiringError("how fast a kiln climbs is known of a kiln; choose one")
    load = None if equipment.load is None else equipment.load.value
    # The cone of the plan as written: the slow climb's own is not what anybody asked for.
    number = forecast_written(forecast.schedule).cones.reached_number
    found = mend(forecast.schedule, equipment.kiln.value, load, None, number)
    words = "  ".join(filter(None, (found.peak_words, "; ".join(found.changes))))
    return Cured(found.schedule, "rates that the kiln keeps", words)


_BELOW_TOP_K = (5.0, 10.0, 20.0)
"""So far under the highest that a kiln gets to a lower peak is tried; the soonest done is taken."""


def within_reach(forecast: Forecast, circumstances: Circumstances) -> Cured:
    """Return the plan with a peak its kiln gets to and may have, and a hold that keeps its cone.

    The cone is the target's, else what the program comes to where the kiln follows it.  Raises
    `FiringError` if no such peak brings it down.
    """
    from firing.forecast.warnings import LONGEST_ADVISED_HOLD_S

    schedule, kiln, unit = forecast.schedule, forecast.kiln, forecast.schedule.unit
    equipment = circumstances.equipment
    if kiln is None:
        raise FiringError("what a kiln gets to is known of a kiln; choose one")
    bare = replace(circumstances, equipment=replace(equipment, kiln=None))
    cone = forecast.target_cone or forecast_plan(schedule, bare).cones.reached
    if cone is None:
        raise FiringError("this plan brings no cone down; write a lower peak")
    trouble = FiringError(
        f"no peak that this kiln gets to brings cone {cone} down; plan a lower one"
    )
    best: tuple[float, Cured] | None = None
    for below_k in (0.0,) if kiln.reaches_peak else _BELOW_TOP_K:
        top = math.floor(from_celsius(min(kiln.peak_c - below_k, kiln.max_c), unit) / 5.0) * 5.0
        top_c = to_celsius(top, unit)
        # What only led above it is left out.
        lower = [
            replace(segment, target_c=min(segment.target_c, top_c))
            for index, segment in enumerate(schedule.segments)
            if index == schedule.peak_index
            or segment.target_c < top_c
            or segment.hold_s
            or segment.action
        ]
        try:
            cured = to_cone(replace(schedule, segments=tuple(lower)), circumstances, cone, "hold")
        except FiringError as error:
            trouble = error
            continue
        then = forecast_plan(cured.schedule, circumstances)
        if then.kiln is not None and then.kiln.reaches_peak:
            took = then.program_s
            if best is None or took < best[0]:
                held_s = cured.schedule.segments[cured.schedule.peak_index].hold_s
                long = held_s > LONGEST_ADVISED_HOLD_S
                found = cured.words.replace("hold", f"peak {top:g} °{unit}, hold", 1)
                words = f"{_FIRST[kiln.reaches_peak]}  {found}{_LONG if long else ''}"
                best = (
                    took,
                    Cured(
                        replace(cured.schedule, cone=schedule.cone),
                        f"a peak of {top:g} °{unit}",
                        words,
                    ),
                )
    if best is None:
        raise trouble
    return best[1]


_FIRST = {
    False: "Have power and volts measured under load by a competent person.",
    True: "The kiln's manual decides.",
}
_LONG = "  So long a hold is little known; a lower cone is surer."


def as_it_cools(forecast: Forecast, segment: int) -> Cured:
    """Return the plan with a segment that cools no faster than its kiln does by itself."""
    part = forecast.segments[segment]
    rates: list[float | None] = [None] * len(forecast.segments)
    rates[segment] = (part.end_c - part.from_c) / (part.ramp_end_s - part.start_s) * 3600.0
    found, changes = with_rates_held(forecast.schedule, rates)
    return Cured(found, "as the kiln cools", "; ".join(changes))


def at_safe_rate(schedule: Schedule, row: int, circumstances: Circumstances) -> Cured:
    """Return the plan with a segment as fast as its load allows."""
    from firing.design.repair import fastest_safe_rate

    equipment = circumstances.equipment
    if equipment.load is None:
        raise FiringError("what is safe depends on the load; choose one")
    found = fastest_safe_rate(
        schedule,
        row,
        equipment.load.value,
        kiln=None if equipment.kiln is None else equipment.kiln.value,
        controller=None if equipment.controller is None else equipment.controller.value,
    )
    rate = format_rate(found.rate_c_per_h, schedule.unit)
    reason = in_unit(found.reason, schedule.unit)
    words = f"Segment {schedule.label(row)}: {rate} is the fastest safe rate; {reason}."
    part = forecast_plan(found.schedule, circumstances).segments[row]
    if equipment.kiln is not None and part.limited_by != "program":
        own = abs(part.end_c - part.from_c) / (part.ramp_end_s - part.start_s) * 3600.0
        words += f"  The kiln goes at {format_rate(own, schedule.unit)} by itself."
    return Cured(found.schedule, f"segment {row + 1} at its fastest safe rate", words)


def starting_to_end(schedule: Schedule, forecast: Forecast, ends: str) -> Cured:
    """Return the plan with the start that ends its program at a moment."""
    from firing.forecast.opening import start_to_end

    started = start_to_end(ends, forecast.program_s)
    words = (
        f"Start {started:%a %d %b %H:%M}; the program lasts {format_duration(forecast.program_s)}."
    )
    return Cured(schedule, f"the start, {started:%a %H:%M}", words, started)


def to_cone(schedule: Schedule, circumstances: Circumstances, cone: str, changed: Changed) -> Cured:
    """Return the plan with the hold, peak or rate that brings a cone just down."""
    from firing.forecast.cone_target import plan_for_cone

    found = plan_for_cone(
        replace(schedule, cone=cone),
        cone,
        changed,
        lambda plan: forecast_plan(plan, replace(circumstances, target_cone=cone)),
    )
    return Cured(found.schedule, f"to cone {cone}", found.words)


def with_rates_held(
    schedule: Schedule, rates_c_per_h: Sequence[float | None]
) -> tuple[Schedule, tuple[str, ...]]:
    """Return the plan with the rates that a firing really held, and each change in words.

    One a segment, None where nothing is known.  A ramp is only slowed, never quickened: what the
    ware can stand a log does not show.  Rates are rounded down to whole degrees an hour.
    """
    unit = schedule.unit
    segments, changes = list(schedule.segments), []
    for index, (segment, held) in enumerate(zip(schedule.segments, rates_c_per_h, strict=True)):
        planned = segment.rate_c_per_h
        if planned is None or held is None or abs(held) > _SLOWER * planned:
            continue
        whole = math.floor(rate_from_celsius(abs(held), unit) + 1e-9)
        if whole < 1:
            continue
        segments[index] = replace(segment, rate_c_per_h=rate_to_celsius(float(whole), unit))
        was = rate_from_celsius(planned, unit)
        changes.append(f"segment {index + 1}: {whole} °{unit}/h, planned {was:.4g}")
    return replace(schedule, segments=tuple(segments)), tuple(changes)
