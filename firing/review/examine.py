"""Review a firing: lay the plan along the log, account for its time, and judge its heat-work."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from firing.cones.equivalence import ConeVerdict, cone_reached
from firing.course import ForecastSegment
from firing.errors import FiringError
from firing.forecast import forecast
from firing.kiln import natural
from firing.logs.reader import Log
from firing.review.account import account_segment, whole_account
from firing.review.alignment import Alignment, Passage, align
from firing.review.evenly import EvenTrace, even_trace
from firing.review.findings import Evidence, find
from firing.review.verdict import CauseShare, CoolingReview, Review, ReviewedSegment
from firing.schedule import Schedule
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR, format_duration

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription
    from firing.ware.load import Load

COOLING_LEAST_C = 20.0
"""Natural cooling is reviewed once the log follows it down this far [°C]."""


def review(
    schedule: Schedule,
    log: Log,
    *,
    channel: int = 0,
    due: datetime | None = None,
    kiln: KilnDescription | None = None,
    load: Load | None = None,
) -> Review:
    """Set a log against its plan.

    Parameters
    ----------
    schedule : Schedule
        What was to be fired.
    log : Log
        What was logged.
    channel : int
        The temperature channel, from 0, that the kiln was run by.
    due : datetime, optional
        When the firing was meant to start, with its time zone; what came before heating began is
        then a late start, not lead-in.
    kiln, load : KilnDescription, Load, optional
        The kiln and what was in it: the yardstick for what was possible.

    Returns
    -------
    Review

    Raises
    ------
    FiringError
        If the channel has no two readings, or `due` is given and the log tells no clock time.
    """
    plan = forecast(schedule, kiln=kiln, load=load if kiln is not None else None)
    temperature_c = log.trace.channel_c(channel)
    trace = even_trace(log.trace.time_s, temperature_c, log.trace.duty)
    alignment = align(schedule, trace)
    accounts = [
        account_segment(schedule, planned, passage, before, trace)
        for planned, passage, before in zip(
            plan.segments, alignment.passages, (None, *alignment.passages[:-1]), strict=True
        )
    ]
    segments = tuple(
        _segment(schedule, planned, passage, trace, account)
        for planned, passage, account in zip(
            plan.segments, alignment.passages, accounts, strict=True
        )
    )
    planned_s = sum(segment.planned_s for segment in segments)
    late, began_s = _late_start(log, alignment, due)
    actual_s = alignment.end_s - began_s if alignment.complete else None
    causes: tuple[CauseShare, ...] = ()
    if actual_s is not None:
        causes = whole_account(accounts, late, actual_s - planned_s)
    by_channel = {
        name: verdict
        for number, name in enumerate(log.trace.channels)
        if (verdict := _cones(log, number)) is not None
    }
    reached = by_channel.get(log.trace.channels[channel])
    if reached is None:
        raise FiringError(f'channel "{log.trace.channels[channel]}" holds no usable reading')
    cooling = _cooling(schedule, alignment, trace)
    excess_s = None if actual_s is None else actual_s - planned_s
    findings = find(
        Evidence(
            schedule=schedule,
            forecast=plan,
            log=log,
            temperature_c=temperature_c,
            alignment=alignment,
            causes=causes,
            excess_s=excess_s,
            cooling=cooling,
            planned=plan.cones,
            reached=reached,
        )
    )
    return Review(
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
        segments=segments,
        causes=causes,
        cooling=cooling,
        cones_planned=plan.cones,
        cones=reached,
        cones_by_channel=by_channel,
        findings=findings,
        plan_time_s=plan.trace.time_s + alignment.start_s,
        plan_c=plan.trace.channel_c(),
        aligned_plan_c=_aligned_plan_c(log.trace.time_s, plan.segments, alignment),
    )


def _late_start(
    log: Log, alignment: Alignment, due: datetime | None
) -> tuple[list[CauseShare], float]:
    """Return the late start, if one can be told, and the moment the firing counts from [s]."""
    if due is None:
        return [], alignment.start_s
    if log.trace.started is None:
        raise FiringError(
            f"{log.name} holds no clock times, so a start of {due:%Y-%m-%d %H:%M} cannot be "
            "compared; leave out --start"
        )
    due_s = due.timestamp() - log.trace.started.timestamp()
    late_s = alignment.start_s - due_s
    words = f"heating began {format_duration(abs(late_s))} {'after' if late_s > 0 else 'before'} "
    words += f"{due:%Y-%m-%d %H:%M}"
    from firing.review.account import SUGGESTIONS

    return [CauseShare("late_start", late_s, words, SUGGESTIONS["late_start"])], due_s


def _segment(
    schedule: Schedule,
    planned: ForecastSegment,
    passage: Passage,
    trace: EvenTrace,
    causes: tuple[CauseShare, ...],
) -> ReviewedSegment:
    segment = schedule.segments[planned.index]
    start_s, ramp_end_s, end_s = passage.start_s, passage.ramp_end_s, passage.end_s
    whole = start_s is not None and end_s is not None
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
        actual_s=end_s - start_s if whole and start_s is not None and end_s is not None else None,
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


def _cones(log: Log, channel: int) -> ConeVerdict | None:
    temperature_c = log.trace.channel_c(channel)
    usable = np.isfinite(temperature_c)
    if usable.sum() < 2:
        return None
    return cone_reached(log.trace.time_s[usable], temperature_c[usable])


def _cooling(schedule: Schedule, alignment: Alignment, trace: EvenTrace) -> CoolingReview | None:
    """Compare the cooling after the program with the default curve, span for span."""
    if alignment.stops_inside:
        return None
    room_c = schedule.room_c
    first = trace.index(alignment.end_s)
    after_c = trace.temperature_c[first:]
    cold = np.flatnonzero(after_c <= room_c + 10.0)
    last = first + (int(cold[0]) if cold.size else after_c.size - 1)
    from_c, to_c = float(trace.temperature_c[first]), float(trace.temperature_c[last])
    if from_c - to_c < COOLING_LEAST_C or to_c < room_c + 2.0:
        return None
    actual_s = float(trace.time_s[last] - trace.time_s[first])
    expected_s = natural.cool(from_c, to_c, room_c=room_c).duration_s
    slow, fast = natural.COOLING_FACTOR_RANGE
    longest_s = expected_s * natural.COOLING_FACTOR / slow
    shortest_s = expected_s * natural.COOLING_FACTOR / fast
    causes: tuple[CauseShare, ...] = ()
    words = (
        f"the default range is {format_duration(shortest_s)} to {format_duration(longest_s)}; "
        "this kiln is not described yet"
    )
    if actual_s > longest_s:
        causes = (CauseShare("slow_cooling", actual_s - expected_s, words),)
    elif actual_s < shortest_s:
        causes = (CauseShare("fast_cooling", actual_s - expected_s, words),)
    return CoolingReview(
        from_c=from_c,
        to_c=to_c,
        start_s=float(trace.time_s[first]),
        end_s=float(trace.time_s[last]),
        forecast_s=expected_s,
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
