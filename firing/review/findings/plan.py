"""Findings about the plan: another firing altogether, stopped, off its peak, or off its hours."""

from collections.abc import Iterator

import numpy as np

from firing.review import thresholds as limit
from firing.review.findings.power import power_shortfall
from firing.review.program_changes import climbed_by_program
from firing.review.result import Finding, ProgramChange, Review, Severity
from firing.review.sensor_shift import fell_at_once
from firing.units import Wording, format_duration

PLAN_FIRED = (
    "Give the plan that was fired; the minutes below mean nothing by another. If it was this one, "
    "read the keyed-in program back before the next firing."
)


def of_plan(review: Review) -> Iterator[Finding]:
    """Yield what the firing made of its plan."""
    if review.refused:
        yield Finding(
            "plan_unrelated",
            "act",
            f"Log and plan do not belong together: {review.refused}. They are not compared; the "
            "heat-work shown is the log's own.",
            next_step="Give the plan that was fired, or the log that belongs to this one.",
            confidence="likely",
        )
        return
    if review.plan_doubt:
        came = review.cones.reached_as_printed
        planned = review.cones_planned.reached_as_printed
        cones = f"; it came to cone {came}, the plan to {planned}" if came and planned else ""
        yield Finding(
            "plan_doubted",
            "act",
            f"Is this the plan it was fired by? {review.plan_doubt[0].upper()}"
            f"{review.plan_doubt[1:]}{cones}.",
            evidence="a controller kept that hold; a relay that sticks never stays",
            next_step=PLAN_FIRED,
            confidence="likely",
        )
    yield from _stopped(review)
    yield from _peak(review)
    yield from _changed(review)
    yield from _interrupted(review)
    yield from _fell_behind(review)
    yield from _beyond(review)
    yield from _duration(review)


def _stopped(review: Review) -> Iterator[Finding]:
    say = Wording(review.schedule.unit)
    alignment, schedule = review.analysed.alignment, review.schedule
    if alignment.starts_inside:
        yield Finding(
            "log_starts_late",
            "check",
            f"The log begins at {say.degrees(review.first_c)}, inside the "
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
    segment, came_to_c = schedule.segments[index], alignment.passages[index].came_to_c
    target = say.degrees(segment.target_c)
    ended = alignment.stops_inside
    what = "The log ends" if ended else "The firing was stopped"
    came_c = max(limit.CAME_C, 3.0 * review.analysed.trace.noise_c)
    came = came_to_c is not None and abs(came_to_c - segment.target_c) <= came_c
    where = (
        f"before segment {index + 1} was over: it never went above "
        f"{say.degrees(review.peak_c)}, and that segment goes to {target}"
    )
    if came and index + 1 < len(schedule.segments):
        after = schedule.segments[index + 1]
        where = (
            f"once segment {index + 1} had come to {target}: segment {index + 2}, "
            f"to {say.degrees(after.target_c)}, was never run"
        )
    weak = "" if came else power_shortfall(review, index)
    at_top = came_to_c is not None and abs(came_to_c - segment.target_c) <= limit.CAME_NEARLY_C
    if not ended and not weak and at_top and segment.hold_s >= limit.CHANGE_LEAST_S:
        where += (
            f". Switched off there, or its hold of {format_duration(segment.hold_s)} was skipped"
        )
    if ended:
        step = "Keep the logger running until the kiln has cooled."
    elif weak:
        step = (
            "Have volts and amps measured under load by a competent person; 'firing resume' says "
            "what is left to fire."
        )
    else:
        step = (
            "Find out why before firing on; 'firing resume' with this log says what is left to "
            "fire."
        )
    yield Finding(
        "stopped_early",
        "act",
        f"{what} {where}.",
        evidence=f"what was seen of the plan ends {format_duration(alignment.end_s)} into the "
        f"log{'' if ended else '; from there on the kiln only cooled'}"
        f"{f'; before that the kiln was short of power: {weak}' if weak else ''}",
        next_step=step,
        at_s=alignment.end_s,
        confidence="sure" if ended else "likely",
    )


_CHANGE_STEPS = {
    "skipped": "Read the program back, and see whether a key that skips a segment was pressed.",
    "repeated": "Find out whether the controller lost its power, or somebody started it again.",
    "edited": "Ask who changed it; write it into the plan if it was meant.",
}


def _changed(review: Review) -> Iterator[Finding]:
    """Yield segments that were skipped, repeated or edited, with what of the ware to look at."""
    for change in review.program_changes:
        look = _look_at(review, change)
        missing = change.kind == "skipped" and change.confidence != "possible"
        yield Finding(
            f"segment_{change.kind}",
            # The ware lacks what the segment was for, and the next firing will, too.
            "act" if missing else "check",
            change.words,
            evidence=change.evidence,
            next_step=f"{_CHANGE_STEPS[change.kind]} {look}".rstrip(),
            at_s=change.at_s,
            confidence=change.confidence,
        )


def _look_at(review: Review, change: ProgramChange) -> str:
    """Return what of the ware a changed program may have harmed."""
    schedule = review.schedule
    segment, from_c = schedule.segments[change.segment], schedule.from_c(change.segment)
    low_c, high_c = sorted((from_c, segment.target_c))
    quicker = change.kind == "skipped" or change.seconds < 0
    if low_c > segment.target_c - 1e-9 and quicker:
        return "Look at the glaze and for cooling cracks: the slow cooling is missing."
    if quicker and segment.target_c <= limit.DRYING_C:
        return "Look for cracks and pieces that burst: the drying was cut short."
    if change.segment == schedule.peak_index or (
        change.kind == "repeated" and high_c > limit.HOT_C
    ):
        return "Look at the cones and the ware: the heat-work is another."
    if quicker and low_c < limit.INVERSIONS_C[0] < high_c:
        return "Look for cracks: the ware went faster through quartz inversion."
    return ""


def _peak(review: Review) -> Iterator[Finding]:
    say, alignment = Wording(review.schedule.unit), review.analysed.alignment
    if alignment.aborted or alignment.stops_inside:
        return
    off_c = review.peak_c - review.schedule.peak_c
    if abs(off_c) <= limit.PEAK_OFF_C:
        return
    where = int(np.nanargmax(review.temperature_c))
    at_s = float(review.log.trace.time_s[where])
    peaks = (
        f"The highest reading was {say.degrees(review.peak_c)}, "
        f"{say.difference(abs(off_c))} {'below' if off_c < 0 else 'above'} the planned "
        f"{say.degrees(review.schedule.peak_c)}"
    )
    severity: Severity = "act" if abs(off_c) >= limit.ONE_CONE_C else "check"
    if 0 < off_c <= limit.PEAK_OVERSHOOT_C and not _held_above(review):
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
        if off_c > limit.ONE_CONE_C and not _held_there(review):
            step = (
                "Read the keyed-in program back; if it was right, check before the next firing "
                "that the controller can still switch the elements off, and its independent "
                "cut-out: a relay that sticks goes on heating."
            )
        yield Finding("peak_passed", severity, f"{peaks}.", next_step=step, at_s=at_s)
        return
    weak = power_shortfall(review, review.schedule.peak_index)
    clock = ""
    if review.excess_s is not None and abs(review.excess_s) <= _worth_telling_s(review):
        clock = (
            f". The program ended on time all the same, "
            f"{format_duration(alignment.end_s - alignment.start_s)} after its "
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


def _held_above(review: Review) -> bool:
    """Return whether the kiln stayed above its planned peak, by the hold there."""
    passage = review.analysed.alignment.passages[review.schedule.peak_index]
    if passage.came_to_c is None or passage.ramp_end_s is None or passage.end_s is None:
        return True
    stayed = passage.end_s - passage.ramp_end_s >= limit.MEANT_STAY_S
    return stayed and passage.came_to_c - review.schedule.peak_c > limit.PEAK_OFF_C


def _held_there(review: Review) -> bool:
    """Return whether the highest readings were a stay, as only a controller keeps one."""
    passage = review.analysed.alignment.passages[review.schedule.peak_index]
    if passage.came_to_c is None or passage.ramp_end_s is None or passage.end_s is None:
        return False
    stayed_s = passage.end_s - passage.ramp_end_s
    return stayed_s >= limit.MEANT_STAY_S and review.peak_c - passage.came_to_c <= limit.PEAK_OFF_C


def _interrupted(review: Review) -> Iterator[Finding]:
    say = Wording(review.schedule.unit)
    trace = review.analysed.trace
    again = {change.at_s for change in review.program_changes if change.kind == "repeated"}
    for gap in review.analysed.alignment.interruptions:
        if gap.start_s in again or fell_at_once(trace, gap):
            continue
        low = trace.index(gap.start_s) + int(
            np.argmin(trace.temperature_c[trace.index(gap.start_s) : trace.index(gap.end_s) + 1])
        )
        low_s = float(trace.time_s[low])
        times = _quicker_than_cooling(review, gap.start_s, low_s)
        if times is not None:
            yield Finding(
                "opened",
                "check",
                f"At {say.degrees(gap.before_c)} the reading fell by "
                f"{say.difference(gap.before_c - gap.lowest_c)} in "
                f"{format_duration(low_s - gap.start_s)}, {times:.1f} times as fast as this kiln "
                "cools there by itself: lid, door or a bung was open, it seems.",
                evidence=f"{format_duration(gap.seconds)} from leaving to regaining the "
                "temperature; a kiln without power only cools at its own pace",
                next_step="Ask who opened it; a door switch that trips leaves the kiln at its own "
                "pace. Look at the ware for cracks, and keep it closed: hot air and radiant heat "
                "burn.",
                at_s=gap.start_s,
                confidence="possible",
            )
            continue
        by_program = ""
        if climbed_by_program(review.schedule, review.analysed, gap):
            by_program = (
                "; it climbed again at its segment's own rate: the controller went on from there, "
                "or the program was started again"
            )
        yield Finding(
            "interrupted",
            "check",
            f"An interruption at {say.degrees(gap.before_c)}: the reading fell for "
            f"{format_duration(low_s - gap.start_s)}, by "
            f"{say.difference(gap.before_c - gap.lowest_c)}, and took "
            f"{format_duration(gap.end_s - low_s)} to come back.",
            evidence=f"{format_duration(gap.seconds)} from leaving to regaining the temperature"
            f"{by_program}",
            next_step="Find out what switched off: supply, breaker, door switch or controller; "
            "'firing resume' says how to go on if it happens again.",
            at_s=gap.start_s,
            confidence="likely",
        )


def _quicker_than_cooling(review: Review, from_s: float, until_s: float) -> float | None:
    """Return how many times as fast as the kiln's own cooling a fall was; None if not quicker."""
    trace, end_s = review.analysed.trace, review.end_s
    first, last = trace.index(from_s), trace.index(min(until_s, from_s + limit.OPENED_S))
    if end_s is None or last - first < 3 or review.ended == "log":
        return None
    fell_c_per_s = (trace.temperature_c[first] - trace.temperature_c[last]) / (
        trace.time_s[last] - trace.time_s[first]
    )
    later = trace.temperature_c[trace.index(end_s) :]
    middle_c = 0.5 * (trace.temperature_c[first] + trace.temperature_c[last])
    below = np.flatnonzero(later < middle_c - limit.AROUND_C)
    above = np.flatnonzero(later > middle_c + limit.AROUND_C)
    if below.size == 0 or above.size == 0 or above[-1] >= below[0]:
        return None
    own_s = float(below[0] - above[-1]) * trace.step_s
    own_c_per_s = float(later[above[-1]] - later[below[0]]) / own_s
    times = float(fell_c_per_s / own_c_per_s)
    return times if times >= limit.OPENED_FACTOR else None


def _fell_behind(review: Review) -> Iterator[Finding]:
    """Yield want of power that cost no time, as the clock took it out of what came after."""
    lost = [
        (share.seconds, index, share.evidence)
        for index, shares in enumerate(segment.causes for segment in review.segments)
        for share in shares
        if share.cause == "power_limited" and share.seconds > 0
    ]
    lost_s = sum(seconds for seconds, _, _ in lost)
    made_up_s = min(review.made_up_s, lost_s)
    if review.excess_s is None or made_up_s < _worth_telling_s(review):
        return
    if review.peak_c < review.schedule.peak_c - limit.PEAK_OFF_C:
        return  # the missed peak says so
    _, index, words = max(lost)
    yield Finding(
        "fell_behind",
        "check",
        f"The kiln was short of power and fell {format_duration(lost_s)} behind, most of it in "
        f"segment {index + 1}; the clock did not wait, and {format_duration(made_up_s)} of it "
        "came out of the ramps and holds after.",
        evidence=words,
        next_step="Plan this stretch at the rate the kiln kept, or let the controller wait for the "
        "kiln if it can; if the kiln once did better, have volts and amps measured under load by a "
        "competent person.",
        at_s=review.analysed.alignment.passages[index].start_s,
        confidence="likely",
    )


def _beyond(review: Review) -> Iterator[Finding]:
    say = Wording(review.schedule.unit)
    beyond = review.extra_segment
    if beyond is None or not review.analysed.alignment.complete:
        return
    end_s = review.analysed.alignment.end_s
    to = say.degrees(beyond.to_c)
    how = f"held near {to}"
    if beyond.from_c - beyond.to_c >= limit.EXTRA_FALL_C:
        how = f"cooled to {to} at {say.rate(abs(beyond.rate_c_per_h))} on average"
    yield Finding(
        "ran_beyond",
        "check",
        f"After the plan's last segment the kiln was still {how}, for "
        f"{format_duration(beyond.end_s - end_s)}: more segments than planned seem to have been "
        "keyed in.",
        evidence="the readings stood still or fell in a straight line there; a kiln left to itself "
        "falls ever more slowly",
        next_step="Read the keyed-in program back against the plan before starting.",
        at_s=end_s,
        confidence="likely",
    )


def _worth_telling_s(review: Review) -> float:
    return max(limit.WORTH_TELLING_S, limit.WORTH_TELLING_SHARE * review.planned_s)


def _evened_out(review: Review) -> Iterator[Finding]:
    """Yield what made a firing longer here and shorter there, so that it took its planned time."""
    least_s = _worth_telling_s(review)
    telling = [c for c in review.causes if abs(c.seconds) >= least_s]
    if not telling:
        return
    printed_s = review.printed_cause_s
    parts = (f"{c.name} {format_duration(printed_s[c.cause], signed=True)}" for c in telling)
    yield Finding(
        "evened_out",
        "check",
        f"It took about its planned time, but not by the plan: {', '.join(parts)}.",
        evidence="; ".join(c.evidence for c in telling if c.evidence),
        next_step=next((c.suggestions[0] for c in telling if c.suggestions), ""),
        confidence="likely",
    )


def _duration(review: Review) -> Iterator[Finding]:
    excess_s = review.excess_s
    if excess_s is None:
        return
    planned_s = review.planned_s
    if abs(excess_s) < _worth_telling_s(review):
        yield from _evened_out(review)
        return
    telling = [c for c in review.causes if abs(c.seconds) >= limit.TOLD_CAUSE_S][:3]
    printed_s = review.printed_cause_s
    parts = [f"{c.name} {format_duration(printed_s[c.cause], signed=True)}" for c in telling]
    words = "longer" if excess_s > 0 else "shorter"
    # Another program keyed in explains the holds that differ as well.
    first = [c for c in telling if c.cause == "other_program"] + telling
    suggestions = next((c.suggestions for c in first if c.suggestions), ())
    left_s = sum(abs(c.seconds) for c in review.causes if c.cause == "unexplained")
    why = f": {', '.join(parts)}" if parts else ""
    late = excess_s > max(limit.LATE_S, limit.LATE_SHARE_OF_PLAN * planned_s)
    yield Finding(
        "ran_long" if excess_s > 0 else "ran_short",
        "act" if late else "check",
        f"It ran {format_duration(abs(review.printed_excess_s or excess_s))} {words} than its "
        f"program of {format_duration(planned_s)}{why}.",
        evidence="; ".join(c.evidence for c in telling if c.evidence),
        next_step=suggestions[0] if suggestions else "Set it beside an earlier log (--compare).",
        confidence="likely" if left_s <= 0.2 * abs(excess_s) else "possible",
    )
