"""Findings about the plan: another firing altogether, stopped, off its peak, or off its hours."""

from collections.abc import Iterator

import numpy as np

from firing.review.alignment import heating_interruptions
from firing.review.findings.evidence import Evidence
from firing.review.verdict import CAUSE_NAMES, Finding

WORTH_TELLING_S = 900.0
"""A firing this much off its plan is told as such [s] …"""
WORTH_TELLING_SHARE = 0.05
"""… if it is also this share of the plan."""
PEAK_OFF_C = 5.0
ARRIVED_C = 5.0
"""A segment that came this near to its target had come to it [°C]."""
FAR_PEAK_C = 25.0
"""About a cone off the planned peak asks for action [°C]."""
ON_TIME_SHARE = 0.03


def of_plan(evidence: Evidence) -> Iterator[Finding]:
    """Yield what the firing made of its plan."""
    if evidence.refused:
        yield Finding(
            "plan_unrelated",
            "act",
            f"This log is not a firing of this plan: {evidence.refused}. They are not compared; "
            "the heat-work below is the log's own.",
            next_step="Give the plan that was fired, or the log that belongs to this one.",
            confidence="likely",
        )
        return
    yield from _stopped(evidence)
    yield from _peak(evidence)
    yield from _interrupted(evidence)
    yield from _beyond(evidence)
    yield from _duration(evidence)


def _stopped(evidence: Evidence) -> Iterator[Finding]:
    alignment, schedule = evidence.alignment, evidence.schedule
    if alignment.starts_inside:
        yield Finding(
            "log_starts_late",
            "check",
            f"The log begins at {evidence.degrees(evidence.first_c)}, inside the "
            "firing; what came before is not in it.",
            next_step="Start the logger before the kiln.",
        )
    open_ones = [
        index
        for index, passage in enumerate(alignment.passages)
        if passage.end_s is None and not (alignment.starts_inside and passage.start_s is None)
    ]
    if not open_ones or alignment.complete:
        return
    index = open_ones[0]
    segment, level_c = schedule.segments[index], alignment.passages[index].level_c
    target = evidence.degrees(segment.target_c)
    ended = alignment.stops_inside
    what = "The log ends" if ended else "The firing was stopped"
    came_c = max(ARRIVED_C, 3.0 * evidence.trace.noise_c)
    came = level_c is not None and abs(level_c - segment.target_c) <= came_c
    where = (
        f"before segment {index + 1} was over: it never went above "
        f"{evidence.degrees(evidence.peak_c)}, and that segment goes to {target}"
    )
    if came and index + 1 < len(schedule.segments):
        after = schedule.segments[index + 1]
        where = (
            f"once segment {index + 1} had come to {target}: segment {index + 2}, "
            f"to {evidence.degrees(after.target_c)}, was never run"
        )
    yield Finding(
        "stopped_early",
        "act",
        f"{what} {where}.",
        evidence=f"what was seen of the plan ends {evidence.duration(alignment.end_s)} into the "
        "log" + ("" if ended else "; from there on the kiln only cooled"),
        next_step="Find out why before firing the same load again."
        if not ended
        else "Keep the logger running until the kiln has cooled.",
        at_s=alignment.end_s,
        confidence="sure" if ended else "likely",
    )


def _peak(evidence: Evidence) -> Iterator[Finding]:
    if evidence.alignment.aborted or evidence.alignment.stops_inside:
        return
    off_c = evidence.peak_c - evidence.schedule.peak_c
    if abs(off_c) <= PEAK_OFF_C:
        return
    where = int(np.nanargmax(evidence.temperature_c))
    peaks = (
        f"The highest reading was {evidence.degrees(evidence.peak_c)}, planned "
        f"{evidence.degrees(evidence.schedule.peak_c)}"
    )
    step = (
        "See whether the program was keyed in as planned and whether the kiln still had power in "
        "hand near the top."
    )
    excess_s = evidence.excess_s
    on_time = excess_s is not None and abs(excess_s) <= max(
        WORTH_TELLING_S, ON_TIME_SHARE * evidence.forecast.program_s
    )
    if off_c < 0 and on_time:
        peaks += (
            ", though the program took its planned time: the controller ran by the clock and did "
            "not wait for the kiln"
        )
        step = (
            "Slow the last ramp down to what the kiln can do, or let the controller wait for the "
            "kiln if it can."
        )
    elif off_c > FAR_PEAK_C:
        step = (
            "Check that the controller can still switch the elements off, and its independent "
            "cut-out, before the next firing: a relay that sticks goes on heating."
        )
    yield Finding(
        "peak_missed" if off_c < 0 else "peak_passed",
        "act" if abs(off_c) >= FAR_PEAK_C else "check",
        f"{peaks}.",
        evidence=evidence.difference(off_c, signed=True),
        next_step=step,
        at_s=float(evidence.log.trace.time_s[where]),
        confidence="likely" if off_c < 0 and on_time else "sure",
    )


def _interrupted(evidence: Evidence) -> Iterator[Finding]:
    schedule, trace = evidence.schedule, evidence.trace
    for gap in heating_interruptions(schedule, trace):
        low = trace.index(gap.start_s) + int(
            np.argmin(trace.temperature_c[trace.index(gap.start_s) : trace.index(gap.end_s) + 1])
        )
        low_s = float(trace.time_s[low])
        yield Finding(
            "interrupted",
            "check",
            f"An interruption at {evidence.degrees(gap.before_c)}: the reading fell for "
            f"{evidence.duration(low_s - gap.start_s)}, by "
            f"{evidence.difference(gap.before_c - gap.lowest_c)}, and took "
            f"{evidence.duration(gap.end_s - low_s)} to come back.",
            evidence=f"{evidence.duration(gap.seconds)} from leaving to regaining the temperature",
            next_step="Find out what switched off: supply, breaker, door switch or controller; "
            "'firing resume' tells how to go on if it happens again.",
            at_s=gap.start_s,
            confidence="likely",
        )


def _beyond(evidence: Evidence) -> Iterator[Finding]:
    beyond = evidence.beyond
    if beyond is None or not evidence.alignment.complete:
        return
    end_s = evidence.alignment.end_s
    to = evidence.degrees(beyond.to_c)
    how = f"held near {to}"
    if beyond.from_c - beyond.to_c >= 20.0:
        how = f"cooled to {to} at {evidence.rate(abs(beyond.rate_c_per_h))} on average"
    yield Finding(
        "ran_beyond",
        "check",
        f"After the plan's last segment the kiln was still {how}, for "
        f"{evidence.duration(beyond.end_s - end_s)}: more segments than planned seem to have been "
        "keyed in.",
        evidence="the readings stood still or fell in a straight line there; a kiln left to itself "
        "falls ever more slowly",
        next_step="Read the keyed-in program back against the plan before starting.",
        at_s=end_s,
        confidence="likely",
    )


def _duration(evidence: Evidence) -> Iterator[Finding]:
    excess_s = evidence.excess_s
    if excess_s is None:
        return
    planned_s = evidence.forecast.program_s
    if abs(excess_s) < max(WORTH_TELLING_S, WORTH_TELLING_SHARE * planned_s):
        return
    telling = [c for c in evidence.causes if abs(c.seconds) >= 300.0][:3]
    parts = []
    for cause in telling:
        sign = "−" if cause.seconds < 0 else "+"
        size = evidence.duration(abs(cause.seconds))
        parts.append(f"{CAUSE_NAMES[cause.cause]} {sign}{size}")
    words = "longer" if excess_s > 0 else "shorter"
    suggestions = next((c.suggestions for c in telling if c.suggestions), ())
    left_s = sum(abs(c.seconds) for c in evidence.causes if c.cause == "unexplained")
    why = f": {', '.join(parts)}" if parts else ""
    yield Finding(
        "ran_long" if excess_s > 0 else "ran_short",
        "check",
        f"It ran {evidence.duration(abs(excess_s))} {words} than its program of "
        f"{evidence.duration(planned_s)}{why}.",
        evidence="; ".join(c.evidence for c in telling if c.evidence),
        next_step=suggestions[0] if suggestions else "Set it beside an earlier log (--compare).",
        confidence="likely" if left_s <= 0.2 * abs(excess_s) else "possible",
    )
