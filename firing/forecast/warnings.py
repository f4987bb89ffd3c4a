"""What the owner of a plan should know before starting it, each with its place and source."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from firing.cones.equivalence import cone_reached
from firing.cones.heatwork import heatwork
from firing.cones.kinetics import cone_law
from firing.cones.table import CONES, cone_number, describe_number
from firing.cones.uncertainty import FURTHEST_BELOW_K
from firing.forecast.result import Forecast, KilnForecast, PlanWarning
from firing.heat import default_kiln
from firing.trace import FloatArray
from firing.units import (
    SECONDS_PER_HOUR,
    SECONDS_PER_MINUTE,
    format_duration,
    format_hold,
    format_rate,
    format_temperature,
)

if TYPE_CHECKING:
    from firing.ware.limits import Breach
    from firing.ware.load import Load

_DOWN_EXACTLY = 1.0
LONGEST_ADVISED_HOLD_S = 2 * SECONDS_PER_HOUR
"""A hold longer than this is no advice: a higher peak does it sooner (a choice) [s]."""


@dataclass(frozen=True, slots=True)
class Adjustment:
    """How far a course is from bringing one cone just down.

    1 of heat-work is down.  `hold_s` is to be added at the peak, or taken away if negative, as far
    as there is heat-work; `whole_c` is by how much the whole course would have to be hotter.
    """

    cone: str
    heatwork: float
    hold_s: float
    whole_c: float


def adjustment_for(cone: str, time_s: FloatArray, temperature_c: FloatArray) -> Adjustment:
    """Return what would bring a cone just down; source ``cone-model``."""
    law = cone_law(cone)
    progress = cone_reached(time_s, temperature_c).by_cone[law.cone]
    shift_c = law.shift_c(progress.approach_rate_c_per_h)
    per_s = law.per_second(float(np.max(temperature_c)) + shift_c)
    hold_s = (_DOWN_EXACTLY - progress.heatwork) / per_s
    return Adjustment(
        cone=law.cone,
        heatwork=progress.heatwork,
        hold_s=hold_s,
        whole_c=_shift_to_down_c(law.cone, time_s, temperature_c, shift_c),
    )


def _shift_to_down_c(
    cone: str, time_s: FloatArray, temperature_c: FloatArray, shift_c: float
) -> float:
    """Halve the range until the course moved by so many degrees brings the cone just down."""
    low_c, high_c = -400.0, 400.0
    for _ in range(40):
        middle_c = (low_c + high_c) / 2.0
        x = heatwork(time_s, temperature_c, (cone,), shift_c + middle_c)[cone]
        low_c, high_c = (low_c, middle_c) if x >= _DOWN_EXACTLY else (middle_c, high_c)
    return (low_c + high_c) / 2.0


_SLIP_CONES = 1.5  # a plan so near the cone of the other series was meant for that

TELLING_S = 300.0
"""A segment that the kiln takes this much longer over is told [s]."""


def warnings_for(forecast: Forecast, load: Load | None = None) -> tuple[PlanWarning, ...]:
    """Return everything to know about a plan and its load, the most pressing first."""
    schedule, cones = forecast.schedule, forecast.cones
    found = [
        *_ware(forecast),
        *_practice(forecast, load),
        *_assumed(forecast),
        *_target_cone(forecast),
        *(
            PlanWarning("cone_range", "check", text, source="cone-chart-1996")
            for text in cones.warnings_in(schedule.unit)
        ),
    ]
    if forecast.kiln is None:
        found += [
            *_too_fast(forecast),
            _no_kiln(forecast),
        ]
    else:
        found += [*_kiln_limits(forecast, forecast.kiln), *_behind(forecast)]
        found += [PlanWarning("kiln_note", "note", _sentence(n)) for n in forecast.kiln.notes]
    order = {"act": 0, "check": 1, "note": 2}
    return tuple(sorted(found, key=lambda warning: order[warning.severity]))


def _no_kiln(forecast: Forecast) -> PlanWarning:
    usual = forecast.usual
    words = (
        "No kiln was given: can't say whether your kiln will keep up. The cooling is that of "
        f"{usual.words}."
    )
    if usual == default_kiln.TRIAL:
        words += (
            " A box with more brick cools two to three times as long: give its size, "
            '--kiln-size "300 l, 230 mm, front".'
        )
    return PlanWarning("no_kiln", "note", words, source=usual.source)


def _assumed(forecast: Forecast) -> Iterator[PlanWarning]:
    """Say what a program that starts hot takes for granted of its ware."""
    if forecast.assumed:
        start_c = forecast.schedule.start_c
        yield PlanWarning("hot_start", "check", forecast.assumed, at_c=start_c, at_s=0.0)


def _ware(forecast: Forecast) -> Iterator[PlanWarning]:
    """Tell what is not safe for the ware, and what would not be if it is less good-natured."""
    if forecast.ware is None:
        return
    # Natural cooling begins where the program ends.
    starts_s = [*(segment.start_s for segment in forecast.segments), forecast.program_s]
    for breach in forecast.ware.breaches:
        yield PlanWarning(
            "ware_limit",
            "act",
            breach.message,
            at_c=breach.at_c,
            at_s=starts_s[breach.segment],
            source=breach.source,
        )
    for caution in forecast.ware.cautions:
        name = "slow_drying" if caution.kind == "vapour" else "still_shrinks"
        yield PlanWarning(name, "check", caution.message, at_c=caution.at_c, source=caution.source)


def slower_by_practice(forecast: Forecast, load: Load | None) -> tuple[Breach, ...]:
    """Return where the trade is slower than this plan, though the ware's limits are kept.

    That is its time below boiling, and its slow burn-out of a dark or thick body.
    """
    if forecast.ware is None or load is None or forecast.ware.breaches:
        return ()
    limits = forecast.ware.limits
    from firing.ware.check import check_program
    from firing.ware.practice import limits_by

    slower = limits_by(limits, load, "slower")
    more = replace(
        slower,
        limits=tuple(limit for limit in slower.limits if limit not in limits.limits),
        dwells=tuple(stay for stay in slower.dwells if stay not in limits.dwells),
    )
    return check_program(forecast.schedule, more)


def _practice(forecast: Forecast, load: Load | None) -> Iterator[PlanWarning]:
    starts_s = [segment.start_s for segment in forecast.segments]
    for breach in slower_by_practice(forecast, load):
        yield PlanWarning(
            "practice",
            "check",
            f"Common practice is slower: {breach.message}",
            at_c=breach.at_c,
            at_s=starts_s[breach.segment],
            source=breach.source,
        )


def _sentence(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}{'' if words.endswith('.') else '.'}"


def _kiln_limits(forecast: Forecast, kiln: KilnForecast) -> Iterator[PlanWarning]:
    """Warn of what this kiln cannot or must not do."""
    schedule = forecast.schedule
    wanted = format_temperature(schedule.peak_c, schedule.unit)
    if not kiln.reaches_peak:
        top = format_temperature(kiln.peak_c, schedule.unit)
        if kiln.stalled:
            what = f"The kiln stalls at {top}: it has no power left to reach {wanted}"
        else:
            what = f"The clock moves on before the kiln is there: it comes to {top}, not {wanted}"
        yield PlanWarning(
            "peak_out_of_reach",
            "act",
            f"{what}; plan a lower cone, a lighter load or a slower end, and have power and "
            "volts measured under load by a competent person.",
            at_c=kiln.peak_c,
            at_s=kiln.peak_s,
            source="kiln-model-choices",
        )
    if schedule.peak_c > kiln.max_c:
        allowed = format_temperature(kiln.max_c, schedule.unit)
        yield PlanWarning(
            "above_kiln_maximum",
            "act",
            f"The plan goes to {wanted}, and the kiln file allows {allowed}: plan a lower peak; "
            "the kiln's manual decides.",
            at_c=schedule.peak_c,
        )


def _behind(forecast: Forecast) -> Iterator[PlanWarning]:
    """Tell every segment that this kiln takes longer over than its program says."""
    schedule = forecast.schedule
    for planned in forecast.segments:
        segment = schedule.segments[planned.index]
        late_s = planned.forecast_s - planned.planned_s
        if segment.rate_c_per_h is None or planned.limited_by == "program" or late_s < TELLING_S:
            continue
        if not planned.ends:
            continue
        power = planned.limited_by == "power"
        reason = "is short of power" if power else "cools slower than that by itself"
        yield PlanWarning(
            "heating_behind" if power else "cooling_behind",
            "check",
            f"Segment {planned.index + 1} is to go at "
            f"{format_rate(segment.rate_c_per_h, schedule.unit)}, and the kiln {reason}: expect "
            f"{format_duration(planned.forecast_s)} instead of "
            f"{format_duration(planned.planned_s)}.",
            at_c=planned.end_c,
            at_s=planned.start_s,
            source="kiln-model-choices",
        )


def _target_cone(forecast: Forecast) -> Iterator[PlanWarning]:
    schedule, course, cones = forecast.schedule, forecast.trace, forecast.cones
    target = forecast.target_cone
    if target is None:
        return
    wanted = cone_number(target)
    number, low, high = cones.reached_number, cones.low, cones.high
    # A hair short of a cone is that cone, as both are printed.
    if cones.reached == target or describe_number(number) == describe_number(wanted):
        return
    # Just short or just over, within the range, is for the witness cone to settle.
    hotter = [cone_number(cone) for cone in CONES if cone_number(cone) > wanted]
    within = (
        low is not None and high is not None and high >= wanted and (not hotter or low < hotter[0])
    )
    offset_c = 0.0 if forecast.kiln is None else forecast.kiln.cone_offset_c
    change = adjustment_for(target, course.time_s, course.channel_c() + offset_c)
    peak = format_temperature(schedule.peak_c, schedule.unit)
    if forecast.kiln is not None and not forecast.kiln.reaches_peak:
        what = f"the kiln does not get to {peak}, so no hold there would do"
    elif abs(change.whole_c) > FURTHEST_BELOW_K:
        what = "no hold does; change the peak"
        from firing.cones.holds import other_series

        other = other_series(target)
        if other is not None and low is not None and high is not None:
            meant = cone_number(other)
            if low - _SLIP_CONES <= meant <= high + _SLIP_CONES:
                what = f"did you mean cone {other}? Otherwise change the peak"
    else:
        hold_s = schedule.segments[schedule.peak_index].hold_s
        degrees = max(abs(change.whole_c) * (1.8 if schedule.unit == "F" else 1.0), 1.0)
        ways = [
            f"a peak {degrees:.0f} °{schedule.unit} {'higher' if change.whole_c > 0 else 'lower'}"
        ]
        # A hold is keyed in minutes: rounded so that the cone is down with it.
        minutes = math.ceil(change.hold_s / SECONDS_PER_MINUTE)
        if 0 < change.hold_s <= LONGEST_ADVISED_HOLD_S:
            ways.insert(0, f"{format_hold(minutes * SECONDS_PER_MINUTE)} more hold at {peak}")
        elif minutes < 0 and -change.hold_s <= hold_s:
            ways.insert(0, f"{format_hold(-minutes * SECONDS_PER_MINUTE)} less hold at {peak}")
        what = f"{' or '.join(ways)} would meet it"
    stands = "no cone of the chart" if number is None else f"cone {describe_number(number)}"
    yield PlanWarning(
        "cone_off_target",
        "check" if within else "act",
        f"The plan amounts to {stands}, not cone {target}: {what}.",
        at_c=schedule.peak_c,
        source="cone-model",
    )


def _too_fast(forecast: Forecast) -> Iterator[PlanWarning]:
    """Warn of rates that the default kiln could not follow, up or down."""
    schedule = forecast.schedule
    for planned in forecast.segments:
        segment = schedule.segments[planned.index]
        if segment.rate_c_per_h is None:
            continue
        rate = format_rate(segment.rate_c_per_h, schedule.unit)
        if planned.limited_by == "cooling":
            if planned.ends and planned.forecast_s - planned.planned_s < TELLING_S:
                continue
            grid_c = np.linspace(planned.end_c, planned.from_c, 200)
            slow = default_kiln.cooling_rate_c_per_h(
                grid_c, room_c=schedule.room_c, factor=forecast.usual.cooling_factor
            )
            below_c = float(grid_c[slow < segment.rate_c_per_h].max())
            yield PlanWarning(
                "cooling_behind",
                "check",
                f"Segment {planned.index + 1} is to cool at {rate}; below "
                f"{format_temperature(below_c, schedule.unit)} the default kiln cools slower than "
                f"that by itself, so the segment is forecast {format_duration(planned.forecast_s)} "
                f"instead of {format_duration(planned.planned_s)}.",
                at_c=below_c,
                at_s=planned.start_s,
                source=default_kiln.COOLING_SOURCE,
            )
        elif planned.end_c > planned.from_c:
            grid_c = np.linspace(planned.from_c, planned.end_c, 200)
            most = default_kiln.full_power_rate_c_per_h(grid_c)
            over = grid_c[most < segment.rate_c_per_h]
            if over.size:
                yield PlanWarning(
                    "heating_behind",
                    "check",
                    f"Segment {planned.index + 1} is to heat at {rate}; from "
                    f"{format_temperature(float(over.min()), schedule.unit)} on the default "
                    "kiln at full power is slower than that, so expect to wait unless yours is "
                    "stronger.",
                    at_c=float(over.min()),
                    at_s=planned.start_s,
                    source=default_kiln.HEATING_SOURCE,
                )
