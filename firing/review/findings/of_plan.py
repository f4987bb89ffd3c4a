"""Findings about the plan: another firing altogether, stopped, off its peak, or off its hours."""

from collections.abc import Iterator

import numpy as np

from firing.review.alignment import heating_interruptions
from firing.review.findings.evidence import Evidence
from firing.review.findings.of_power import weakness
from firing.review.result import Finding, Severity

WORTH_TELLING_S = 900.0
"""A firing this much off its plan is told as such [s] …"""
WORTH_TELLING_SHARE = 0.02
"""… if it is also this share of the plan."""
PEAK_OFF_C = 5.0
ARRIVED_C = 5.0
"""A segment that came this near to its target had come to it [°C]."""
OVERSHOOT_C = 15.0
"""By so much controllers overshoot at the end of a ramp (common practice, no source) [°C]."""
HELD_S = 540.0
FAR_PEAK_C = 25.0
"""About a cone off the planned peak asks for action [°C]."""


def of_plan(evidence: Evidence) -> Iterator[Finding]:
    """Yield what the firing made of its plan."""
    if evidence.refused:
        yield Finding(
            "plan_unrelated",
            "act",
            f"Log and plan do not belong together: {evidence.refused}. They are not compared; the "
            "heat-work told is the log's own.",
            next_step="Give the plan that was fired, or the log that belongs to this one.",
            confidence="likely",
        )
        return
    yield from _stopped(evidence)
    yield from _peak(evidence)
    yield from _interrupted(evidence)
    yield from _fell_behind(evidence)
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
    weak = "" if came else weakness(evidence, index)
    if ended:
        step = "Keep the logger running until the kiln has cooled."
    elif weak:
        step = (
            "Have volts and amps measured under load by a competent person; 'firing resume' tells "
            "what is left to fire."
        )
    else:
        step = (
            "Find out why before firing on; 'firing resume' with this log tells what is left to "
            "fire."
        )
    yield Finding(
        "stopped_early",
        "act",
        f"{what} {where}.",
        evidence=f"what was seen of the plan ends {evidence.duration(alignment.end_s)} into the "
        f"log{'' if ended else '; from there on the kiln only cooled'}"
        f"{f'; before that the kiln was short of power: {weak}' if weak else ''}",
        next_step=step,
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
    at_s = float(evidence.log.trace.time_s[where])
    peaks = (
        f"The highest reading was {evidence.degrees(evidence.peak_c)}, "
        f"{evidence.difference(abs(off_c))} {'below' if off_c < 0 else 'above'} the planned "
        f"{evidence.degrees(evidence.schedule.peak_c)}"
    )
    severity: Severity = "act" if abs(off_c) >= FAR_PEAK_C else "check"
    if 0 < off_c <= OVERSHOOT_C and not _held_above(evidence):
        yield Finding(
            "overshot",
            "note",
            f"{peaks}, for moments only: the controller overshot.",
            next_step="Leave it if the cone agrees; a slower last ramp overshoots less.",
            at_s=at_s,
        )
        return
    if off_c > 0:
        step = "See whether the target was keyed in as planned."
        if off_c > FAR_PEAK_C and not _held_there(evidence):
            step = (
                "Read the keyed-in program back; if it was right, check before the next firing "
                "that the controller can still switch the elements off, and its independent "
                "cut-out: a relay that sticks goes on heating."
            )
        yield Finding("peak_passed", severity, f"{peaks}.", next_step=step, at_s=at_s)
        return
    weak = weakness(evidence, evidence.schedule.peak_index)
    clock = ""
    if evidence.excess_s is not None and abs(evidence.excess_s) <= _worth_telling_s(evidence):
        clock = (
            f". The program ended on time all the same, "
            f"{evidence.duration(evidence.alignment.end_s - evidence.alignment.start_s)} after its "
            "start: the controller ran by the clock and did not wait for the kiln"
        )
    if weak:
        step = (
            "Plan this stretch at the rate the kiln kept; if it once did better, have volts and "
            "amps measured under load by a competent person."
        )
        peaks += ": the kiln was short of power"
    elif clock:
        step = (
            "Slow the last ramp down to what the kiln can do, or let the controller wait for the "
            "kiln if it can."
        )
    else:
        step = "Read the keyed-in program back against the plan before starting."
    yield Finding(
        "peak_missed",
        severity,
        f"{peaks}{clock}.",
        evidence=weak,
        next_step=step,
        at_s=at_s,
        confidence="likely" if weak or clock else "sure",
    )


def _held_above(evidence: Evidence) -> bool:
    """Return whether the kiln stayed above its planned peak, by the hold there."""
    passage = evidence.alignment.passages[evidence.schedule.peak_index]
    if passage.level_c is None or passage.ramp_end_s is None or passage.end_s is None:
        return True
    stayed = passage.end_s - passage.ramp_end_s >= HELD_S
    return stayed and passage.level_c - evidence.schedule.peak_c > PEAK_OFF_C


def _held_there(evidence: Evidence) -> bool:
    """Return whether the highest readings were a stay, as only a controller keeps one."""
    passage = evidence.alignment.passages[evidence.schedule.peak_index]
    if passage.level_c is None or passage.ramp_end_s is None or passage.end_s is None:
        return False
    stayed_s = passage.end_s - passage.ramp_end_s
    return stayed_s >= HELD_S and evidence.peak_c - passage.level_c <= PEAK_OFF_C


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


def _fell_behind(evidence: Evidence) -> Iterator[Finding]:
    """Yield want of power that cost no time, as the clock took it out of what came after."""
    lost = [
        (share.seconds, index, share.evidence)
        for index, shares in enumerate(evidence.accounts)
        for share in shares
        if share.cause == "power_limited" and share.seconds > 0
    ]
    lost_s = sum(seconds for seconds, _, _ in lost)
    made_up_s = min(evidence.made_up_s, lost_s)
    if evidence.excess_s is None or made_up_s < _worth_telling_s(evidence):
        return
    if evidence.peak_c < evidence.schedule.peak_c - PEAK_OFF_C:
        return  # the missed peak says so
    _, index, words = max(lost)
    yield Finding(
        "fell_behind",
        "check",
        f"The kiln was short of power and fell {evidence.duration(lost_s)} behind, most of it in "
        f"segment {index + 1}; the clock did not wait, and {evidence.duration(made_up_s)} of it "
        "came out of the ramps and holds after.",
        evidence=words,
        next_step="Plan this stretch at the rate the kiln kept, or let the controller wait for the "
        "kiln if it can; if the kiln once did better, have volts and amps measured under load by a "
        "competent person.",
        at_s=evidence.alignment.passages[index].start_s,
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


def _worth_telling_s(evidence: Evidence) -> float:
    return max(WORTH_TELLING_S, WORTH_TELLING_SHARE * evidence.planned_s)


def _evened_out(evidence: Evidence) -> Iterator[Finding]:
    """Yield what made a firing longer here and shorter there, so that it took its planned time."""
    least_s = _worth_telling_s(evidence)
    telling = [c for c in evidence.causes if abs(c.seconds) >= least_s]
    if not telling:
        return
    parts = (
        f"{c.name} {'−' if c.seconds < 0 else '+'}{evidence.duration(abs(c.seconds))}"
        for c in telling
    )
    yield Finding(
        "evened_out",
        "check",
        f"It took about its planned time, but not by the plan: {', '.join(parts)}.",
        evidence="; ".join(c.evidence for c in telling if c.evidence),
        next_step=next((c.suggestions[0] for c in telling if c.suggestions), ""),
        confidence="likely",
    )


def _duration(evidence: Evidence) -> Iterator[Finding]:
    excess_s = evidence.excess_s
    if excess_s is None:
        return
    planned_s = evidence.planned_s
    if abs(excess_s) < _worth_telling_s(evidence):
        yield from _evened_out(evidence)
        return
    telling = [c for c in evidence.causes if abs(c.seconds) >= 300.0][:3]
    parts = []
    for cause in telling:
        sign = "−" if cause.seconds < 0 else "+"
        size = evidence.duration(abs(cause.seconds))
        parts.append(f"{cause.name} {sign}{size}")
    words = "longer" if excess_s > 0 else "shorter"
    # Another program keyed in explains the holds that differ as well.
    first = [c for c in telling if c.cause == "other_program"] + telling
    suggestions = next((c.suggestions for c in first if c.suggestions), ())
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
