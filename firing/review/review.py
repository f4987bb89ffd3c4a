"""Review a firing: lay the plan along the log, account for its time, and judge its heat-work."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from firing.errors import FiringError
from firing.forecast.forecast import forecast
from firing.forecast.result import Forecast
from firing.logs.reader import Log
from firing.review import thresholds as limit
from firing.review.alignment import Alignment, AnalysedLog, AnalysedSegment, Passage, align, analyse
from firing.review.attribution import (
    SENSOR_STEPS,
    SUGGESTIONS,
    attribute_firing,
    attribute_segment,
    recovered_time,
)
from firing.review.boundaries import firing_boundaries
from firing.review.cooling import cooling_review, extra_segment, quickening
from firing.review.findings import find
from firing.review.findings.power import is_learnt, was_short
from firing.review.gaps import Gap, gaps_in, lacked_words
from firing.review.heat_verdict import (
    heat_beside_gaps,
    heat_of_channels,
    heat_verdict,
    heated_until_s,
    planned_cones,
    thermocouple_error,
)
from firing.review.overlay import compare_series
from firing.review.plan_match import doubt_of_plan, unit_by_plan, unrelated_to_plan
from firing.review.program_changes import program_changes
from firing.review.resample import resampled
from firing.review.result import (
    CauseShare,
    ExtraSegment,
    ProgramChange,
    Quickening,
    Review,
    ReviewedSegment,
    Witness,
)
from firing.review.sensor_shift import shift_of
from firing.review.witness import judge_witnesses
from firing.schedule.schedule import Schedule
from firing.schedule.timeline import ForecastSegment
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR, format_duration

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription
    from firing.ware.load import Load


def review(
    schedule: Schedule,
    log: Log,
    *,
    channel: int = 0,
    due: datetime | None = None,
    kiln: KilnDescription | None = None,
    load: Load | None = None,
    witnesses: Sequence[Witness] = (),
    compare_with: Log | Sequence[Log] | None = None,
    compare_channel: int | Sequence[int] = 0,
) -> Review:
    """Set a log against its plan; `fi.review` says more of what is asked.

    Channels count from 0.  Of several logs to compare with, the middle one by its duration is the
    yardstick; their channel is one for all, or one for each.  The kiln is as it was on the log's
    day, by its dated history.
    """
    if kiln is not None and log.trace.started is not None:
        kiln = kiln.as_of(log.trace.started.date())
    load = load if kiln is not None else None
    kiln_unused = ""
    try:
        plan = expected(schedule, kiln, load)
    except FiringError as error:
        if kiln is None:
            raise
        # What a kiln's tables do not reach must not keep anybody from reading a log.
        kiln_unused = str(error)
        plan = expected(schedule, None, None)
    result = _reviewed(schedule, plan, log, channel, due, kiln, load, tuple(witnesses), kiln_unused)
    if compare_with is None:
        return result
    logs = (compare_with,) if isinstance(compare_with, Log) else tuple(compare_with)
    channels = (
        (compare_channel,) * len(logs) if isinstance(compare_channel, int) else compare_channel
    )
    others = [
        _reviewed(schedule, plan, other, number, None, kiln, None, ())
        for other, number in zip(logs, channels, strict=True)
    ]
    return replace(result, comparison=compare_series(result, others)) if others else result


@lru_cache(maxsize=64)
def expected(schedule: Schedule, kiln: KilnDescription | None, load: Load | None) -> Forecast:
    """Return the forecast; in a kiln it costs half of what all the rest of a review does."""
    return forecast(schedule, kiln=kiln, load=load)


def _reviewed(
    schedule: Schedule,
    plan: Forecast,
    log: Log,
    channel: int,
    due: datetime | None,
    kiln: KilnDescription | None,
    load: Load | None,
    witnesses: tuple[Witness, ...],
    kiln_unused: str = "",
) -> Review:
    log = unit_by_plan(schedule, log, channel)
    temperature_c = log.trace.channel_c(channel)
    trace = resampled(log.trace.time_s, temperature_c, log.trace.duty, log.setpoint_c)
    alignment = firing_boundaries(align(schedule, trace), schedule, plan.segments, trace)
    analysed = analyse(schedule, trace, alignment)
    refused = unrelated_to_plan(schedule, analysed)
    gaps = gaps_in(log.trace.time_s, temperature_c)
    accounts, shift = _accounts(plan, analysed, gaps), None
    if not refused:
        falls = alignment.interruptions
        shift = shift_of(log.trace, channel, trace, alignment.end_s, falls, schedule.room_c)
    if shift is not None and not shift.other:
        accounts = [tuple(map(_of_sensor, shares)) for shares in accounts]
    segments = tuple(map(_reviewed_segment, plan.segments, analysed.segments, accounts))
    aligned_plan_c = np.full(log.trace.time_s.shape, np.nan)
    if not refused:
        aligned_plan_c = _aligned_plan_c(log.trace.time_s, plan.segments, alignment)
    planned_s = sum(segment.planned_s for segment in segments)
    late, began_s = _late_start(log, alignment, due)
    actual_s = alignment.end_s - began_s if alignment.complete and not refused else None
    causes: tuple[CauseShare, ...] = ()
    if actual_s is not None:
        causes = attribute_firing(accounts, late, actual_s - planned_s)
    changes: tuple[ProgramChange, ...] = ()
    if not refused:
        changes = program_changes(schedule, plan.segments, analysed, accounts)
    error = thermocouple_error(kiln, float(np.nanmax(temperature_c)), schedule.unit)
    planned = planned_cones(plan, kiln, error)
    if gaps:
        seen, gaps = heat_beside_gaps(log.trace, trace, channel, kiln, error, gaps)
    else:
        seen = heat_of_channels(log.trace, trace, channel, kiln, error)
    if any(gap.hides_heatwork for gap in gaps):
        witnesses = ()  # what they saw beside the readings nobody can set against them
    reached = seen.judged.get(log.trace.channels[channel])
    if reached is None:
        raise FiringError(f'channel "{log.trace.channels[channel]}" holds no usable reading')
    heat = heat_verdict(
        log.trace,
        trace,
        seen,
        channel=channel,
        heated_until_s=heated_until_s(trace),
        error=error,
        kiln=kiln,
        witness=judge_witnesses(log.trace, channel, witnesses) if witnesses else None,
    )
    extra = quicker = cooling = None
    if not refused:
        extra, quicker = _after_program(schedule, analysed)
        cooling = cooling_review(
            plan, alignment, trace, quicker, None if extra is None else extra.end_s
        )
    result = Review(
        log=log,
        schedule=schedule,
        forecast=plan,
        channel=channel,
        temperature_c=temperature_c,
        lead_in_s=alignment.lead_in_s,
        planned_s=planned_s,
        planned_basis=plan.planned_basis,
        forecast_s=plan.program_s,
        actual_s=actual_s,
        segments=() if refused else segments,
        causes=causes,
        cooling=cooling,
        cones_planned=planned,
        cones=reached,
        cones_by_channel=seen.judged,
        findings=(),
        analysed=analysed,
        plan_time_s=plan.trace.time_s + alignment.start_s,
        plan_c=plan.trace.channel_c(),
        aligned_plan_c=aligned_plan_c,
        refused=refused,
        plan_doubt="" if refused else doubt_of_plan(schedule, analysed),
        begins_inside=alignment.starts_inside,
        ended="log" if alignment.stops_inside else "stopped" if alignment.aborted else "program",
        end_s=alignment.end_s,
        heat=heat,
        quickening=quicker,
        extra_segment=extra,
        program_changes=changes,
        sensor_shift=shift,
        kiln=kiln,
        load=load,
        gaps=gaps,
        kiln_unused=kiln_unused,
    )
    if actual_s is None:
        shares = [segment.causes for segment in result.finished]
        result = replace(result, causes_so_far=attribute_firing(shares, (), result.late_so_far_s))
    result = _with_remedy(result)
    return replace(result, findings=find(result))


def _with_remedy(result: Review) -> Review:
    """Weigh why a learnt kiln was short of power, and mend the plan for it as it is."""
    kiln = result.kiln
    other_plan = result.refused or result.plan_doubt
    if kiln is None or result.kiln_unused or other_plan or not is_learnt(kiln):
        return result
    short = was_short(result)
    if not short and result.log.trace.duty is None:
        return result
    from firing.review.power_reason import explain, half_hours_of

    windows = half_hours_of(result, kiln)
    result = replace(result, half_hours=windows)
    if not short or windows is None:
        return result
    found, mended = explain(windows, load_known=result.load is not None, kiln=kiln), None
    # A supply that came back asks for another hour, and what no reason fits for a look first.
    # Nor is a plan made by readings that may be too low.
    if found is not None and found.mendable and result.sensor_shift is None:
        from firing.review.mending import mend

        with suppress(FiringError):
            mended = mend(
                result.schedule, kiln, result.load, found, result.cones_planned.reached_number
            )
    return replace(result, shortfall=found, mended=mended)


def _accounts(
    plan: Forecast, analysed: AnalysedLog, gaps: Sequence[Gap]
) -> list[tuple[CauseShare, ...]]:
    """Return the causes of every segment."""
    unit, due_s, plain = plan.schedule.unit, analysed.alignment.start_s, []
    for planned, segment in zip(plan.segments, analysed.segments, strict=True):
        start_s = segment.passage.start_s
        late_s = 0.0
        if start_s is not None and not analysed.alignment.starts_inside:
            late_s = start_s - due_s
        shares = attribute_segment(planned, segment, late_s, unit)
        plain.append(_without_gaps(shares, segment.passage, gaps))
        due_s += planned.planned_s
    return recovered_time(plain)


def _of_sensor(share: CauseShare) -> CauseShare:
    """Return an interruption with what to do where a thermocouple may have moved."""
    if share.cause != "interruption":
        return share
    return replace(share, suggestions=SENSOR_STEPS)


def _without_gaps(
    shares: tuple[CauseShare, ...], passage: Passage, gaps: Sequence[Gap]
) -> tuple[CauseShare, ...]:
    """Leave open what made a segment longer whose corners the log lacks."""
    for gap in gaps:
        edges = (passage.start_s, passage.ramp_end_s, passage.end_s)
        inside = any(
            edge is not None
            and gap.start_s - limit.CAUSE_LEAST_S <= edge <= gap.end_s + limit.CAUSE_LEAST_S
            for edge in edges
        )
        if inside and gap.seconds >= limit.GAP_CORNER_S and shares:
            seconds = sum(s.seconds for s in shares)
            return (CauseShare("unexplained", seconds, lacked_words(gap)),)
    return shares


def _after_program(
    schedule: Schedule, analysed: AnalysedLog
) -> tuple[ExtraSegment | None, Quickening | None]:
    """Return what ran after the plan's end, and where the cooling after that quickened."""
    alignment, trace = analysed.alignment, analysed.trace
    if not alignment.complete and not alignment.aborted:
        return None, None
    extra = extra_segment(trace, alignment.end_s, schedule.room_c)
    closed_s = alignment.end_s if extra is None else extra.end_s
    return extra, quickening(trace, closed_s, schedule.room_c)


def _late_start(
    log: Log, alignment: Alignment, due: datetime | None
) -> tuple[list[CauseShare], float]:
    """Return the late start, if one can be told, and the moment the firing counts from [s]."""
    if due is None:
        return [], alignment.start_s
    if log.trace.started is None:
        raise FiringError(
            f"{log.name} holds no clock times, so a start of {due:%Y-%m-%d %H:%M} cannot be "
            "compared; give the moment it began with --date, or leave out --start"
        )
    due_s = due.timestamp() - log.trace.started.timestamp()
    late_s = alignment.start_s - due_s
    words = f"heating began {format_duration(abs(late_s))} {'after' if late_s > 0 else 'before'} "
    words += f"{due:%Y-%m-%d %H:%M}"
    return [CauseShare("late_start", late_s, words, SUGGESTIONS["late_start"])], due_s


def _reviewed_segment(
    planned: ForecastSegment, analysed: AnalysedSegment, causes: tuple[CauseShare, ...]
) -> ReviewedSegment:
    segment, passage, trace = analysed.segment, analysed.passage, analysed.trace
    start_s, ramp_end_s, end_s = passage.start_s, passage.ramp_end_s, passage.end_s
    rate = None
    if start_s is not None and ramp_end_s is not None and ramp_end_s - start_s >= 60.0:
        travelled_c = abs(trace.at(ramp_end_s) - trace.at(start_s))
        rate = travelled_c / (ramp_end_s - start_s) * SECONDS_PER_HOUR
    peak_c = None
    if start_s is not None:
        until = trace.index(end_s if end_s is not None else float(trace.time_s[-1]))
        peak_c = float(np.max(trace.temperature_c[trace.index(start_s) : until + 1]))
    return ReviewedSegment(
        index=planned.index,
        name=segment.name,
        planned_s=planned.planned_s,
        forecast_s=planned.forecast_s,
        actual_s=None if start_s is None or end_s is None else end_s - start_s,
        start_s=start_s,
        ramp_end_s=ramp_end_s,
        end_s=end_s,
        target_c=segment.target_c,
        peak_c=peak_c,
        rate_c_per_h=rate,
        planned_rate_c_per_h=segment.rate_c_per_h,
        hold_s=end_s - ramp_end_s if end_s is not None and ramp_end_s is not None else None,
        planned_hold_s=segment.hold_s,
        causes=causes,
    )


def _aligned_plan_c(
    time_s: FloatArray, segments: tuple[ForecastSegment, ...], alignment: Alignment
) -> FloatArray:
    """Return the plan at each reading, every segment restarted where it really began; else NaN."""
    plan_c = np.full(time_s.shape, np.nan)
    for planned, passage in zip(segments, alignment.passages, strict=True):
        if passage.start_s is None:
            continue
        end_s = alignment.end_s if passage.end_s is None else passage.end_s
        inside = (time_s >= passage.start_s) & (time_s <= end_s)
        ramp_s = planned.ramp_end_s - planned.start_s
        elapsed_s = time_s[inside] - passage.start_s
        plan_c[inside] = np.interp(
            elapsed_s, [0.0, max(ramp_s, 1e-6)], [planned.from_c, planned.end_c]
        )
    return plan_c
