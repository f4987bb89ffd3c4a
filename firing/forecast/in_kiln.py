"""The forecast in a kiln: what its model, with its load, makes of a program, and what it costs."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time
from itertools import combinations
from typing import TYPE_CHECKING

from firing.clock import parse_awake, parse_window
from firing.cones.equivalence import cone_reached
from firing.errors import FiringError
from firing.forecast.result import Forecast, KilnForecast, Starts
from firing.kiln.description import KilnDescription
from firing.kiln.simulation import Simulation, fastest_rates, highest_hold, simulate
from firing.kiln.tariff import Tariff, cheapest_start, cost, energy_course, energy_of, waking_starts
from firing.schedule.schedule import Schedule
from firing.schedule.timeline import ForecastSegment, planned_basis
from firing.thermocouple.tolerance import least_tolerance_c
from firing.trace import Trace
from firing.ware.load import Load, WareState

if TYPE_CHECKING:
    from collections.abc import Callable


def forecast_in_kiln(
    schedule: Schedule,
    kiln: KilnDescription,
    load: Load | None,
    *,
    waits: bool,
    unload_c: float,
    started: datetime | None,
    state: WareState | None,
) -> Forecast:
    """Return the forecast, but for its ware and its warnings.

    Segments that a stalled kiln never begins take no time at the stall's end.
    """

    def fire(one: KilnDescription) -> Simulation:
        return simulate(one, load, schedule, waits=waits, until_c=unload_c, state=state)

    run = fire(kiln)
    segments = tuple(_segment(schedule, run, index) for index in range(len(schedule.segments)))
    kiln_part = _kiln_part(kiln, run, load, schedule.room_c, fire)
    trace = Trace(run.time_s, run.chamber_c, ("forecast",), "forecast", run.duty, started)
    program_s = segments[-1].end_s
    peak = segments[schedule.peak_index] if run.reaches_peak else segments[-1]
    core = Trace(run.time_s, run.ware_core_c, ("core",), "forecast", started=started)
    return Forecast(
        schedule=schedule,
        segments=segments,
        trace=trace,
        program_s=program_s,
        heating_s=peak.end_s,
        total_s=trace.duration_s,
        unload_c=unload_c,
        peak_c=schedule.peak_c if run.reaches_peak else run.peak_c,
        cones=cone_reached(
            trace.time_s,
            trace.channel_c() + kiln_part.cone_offset_c,
            kiln_part.thermocouple_c,
            at_least=kiln_part.thermocouple_at_least,
            offset_c=kiln_part.cone_offset_c,
        ),
        basis=kiln_part.basis,
        planned_basis=planned_basis(schedule, "the kiln model"),
        started=started,
        kiln=kiln_part,
        core=None if load is None else core,
    )


def _kiln_part(
    kiln: KilnDescription,
    run: Simulation,
    load: Load | None,
    room_c: float,
    again: Callable[[KilnDescription], Simulation],
) -> KilnForecast:
    near = least_tolerance_c(kiln.thermocouple, kiln.thermocouple_class, run.peak_c)
    fitted = kiln.fitted.learnt is not None
    load_words = "a typical load" if load is None else "its load"
    basis = f'simulated in the kiln "{kiln.name}"' + (
        f", fitted to its own logs ({kiln.fitted.basis or kiln.fitted.learnt}), with {load_words}"
        if fitted
        else f" as its file describes it, with {load_words}; no log has been fitted yet"
    )
    return KilnForecast(
        name=kiln.name,
        reaches_peak=run.reaches_peak,
        stalled=run.stall is not None,
        peak_c=run.peak_c,
        peak_s=run.peak_s,
        highest_c=highest_hold(kiln, room_c=room_c).temperature_c,
        max_c=kiln.max_c,
        energy=energy_of(run),
        course=energy_course(run),
        max_rate=fastest_rates(kiln, run.load, room_c=room_c),
        thermocouple_c=near.value_c,
        thermocouple_at_least=near.at_least,
        cone_offset_c=kiln.fitted.cone_offset_c,
        basis=basis,
        notes=run.notes,
        run=run,
        again=again,
        weighed=load is not None,
    )


def _segment(schedule: Schedule, run: Simulation, index: int) -> ForecastSegment:
    segment = schedule.segments[index]
    if index >= len(run.segments):
        ramp_s = segment.ramp_s(schedule.from_c(index))
        return ForecastSegment(
            index=index,
            name=segment.name,
            start_s=run.program_s,
            ramp_end_s=run.program_s,
            end_s=run.program_s,
            planned_s=(ramp_s or 0.0) + segment.hold_s,
            from_c=schedule.from_c(index),
            end_c=segment.target_c,
            limited_by="power",
            action=segment.action,
            ends=False,
        )
    part = run.segments[index]
    return ForecastSegment(
        index=index,
        name=segment.name,
        start_s=part.start_s,
        ramp_end_s=part.ramp_end_s,
        end_s=part.end_s,
        planned_s=part.end_s - part.start_s if part.programmed_s is None else part.programmed_s,
        from_c=schedule.from_c(index),
        end_c=segment.target_c,
        limited_by=part.limited_by,
        action=segment.action,
        ends=part.finished,
    )


def with_tariff(
    result: Forecast,
    tariff: Tariff | None,
    window: str | None,
    awake: str | None,
) -> Forecast:
    """Return a forecast with its cost, its cheapest start and its waking starts."""
    if result.kiln is None:
        raise FiringError("a tariff, a window or waking hours need a kiln; add --kiln")
    course = result.kiln.course
    amount = None
    if tariff is not None and result.started is not None:
        amount = cost(course, result.started, tariff)
    cheapest, stretches = None, None
    asleep: tuple[str, ...] = ()
    if window is not None or awake is not None or (tariff is not None and result.started is None):
        earliest, latest = parse_window(window, result.started)
        if tariff is not None:
            cheapest = cheapest_start(course, tariff, earliest, latest)
        if awake is not None:
            found, asleep = _waking_starts(result, parse_awake(awake), earliest, latest)
            stretches = tuple(
                (a.isoformat(timespec="minutes"), b.isoformat(timespec="minutes")) for a, b in found
            )
    kiln = replace(result.kiln, cost=amount, starts=Starts(cheapest, stretches, asleep))
    return replace(result, kiln=kiln)


def _waking_starts(
    result: Forecast, awake: tuple[time, time], earliest: datetime, latest: datetime
) -> tuple[tuple[tuple[datetime, datetime], ...], tuple[str, ...]]:
    """Return the starts that put the peak and all that is done by hand into waking hours.

    Where there is none, those that leave out the fewest hand actions, and which.
    """
    peak = result.segments[result.schedule.peak_index]
    by_hand = [s for s in result.segments if s.action and s is not peak]
    for fewer in range(len(by_hand) + 1):
        for left in combinations(by_hand, fewer):
            moments = [s.end_s for s in by_hand if s not in left]
            found = waking_starts(
                peak.ramp_end_s, peak.end_s, awake, earliest, latest, also_s=moments
            )
            if found:
                return found, tuple(s.action for s in left)
    return (), ()
