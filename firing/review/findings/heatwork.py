"""Findings about heat-work: the cone, witness cones, evenness, and the sensor's hours."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from firing.cones.equivalence import cone_reached
from firing.cones.table import cone_number, describe_number, describe_range
from firing.review import thresholds as limit
from firing.review.heat_verdict import with_hold
from firing.review.result import (
    WITNESS_SOURCES,
    Confidence,
    Finding,
    HeatVerdict,
    KilnOffset,
    Review,
    Unevenness,
    WitnessVerdict,
)
from firing.units import Wording, format_duration, rate_from_celsius

CHART = "cone-chart-1996"
_SLOW = ("power_limited", "waiting")
_SHORT_STEP = (
    "Look at the ware: what it has not seen yet has to be fired another time, from cold or by "
    "'firing resume' with this log."
)


def of_heat(review: Review) -> Iterator[Finding]:
    """Yield what the heat-work came to."""
    yield from _cone(review)
    yield from _target(review)
    yield from _hold(review)
    yield from _refire(review)
    if review.heat is not None:
        yield from _witness(review, review.heat)
        yield from _uneven(review, review.heat)
        yield from _sensor(review, review.heat)


def _margin(review: Review) -> str:
    say = Wording(review.schedule.unit)
    budget = review.cones.budget
    whose = (
        "without the thermocouple's own error"
        if budget.thermocouple_c is None
        else f"with the thermocouple's ±{say.finely(budget.thermocouple_c)}"
    )
    offset_c = 0.0 if review.heat is None else review.heat.offset_c
    moved = ""
    if offset_c:
        moved = f"; the kiln file's offset of {say.finely(offset_c, signed=True)} is in it"
    return f"margin {say.finely(budget.total_c)}, {whose}{moved}"


def _cone(review: Review) -> Iterator[Finding]:
    planned, reached = review.cones_planned, review.cones
    if planned.reached_number is None or review.refused:
        return
    above = (reached.reached_number or -99.0) > planned.reached_number
    if (
        review.analysed.alignment.stops_inside
        or _begins_hot(review)
        or (review.cone_is_least and not above)
    ):
        yield _cone_open(review)
        return
    if reached.reached_number is None or reached.low is None or reached.high is None:
        yield Finding(
            "cone_missed",
            "act",
            f"No cone of the chart was reached; the plan amounts to cone "
            f"{describe_number(planned.reached_number)}.",
            next_step=_SHORT_STEP
            if review.analysed.alignment.aborted
            else "Find out why it stayed so cold before firing the ware again.",
            source=CHART,
        )
        return
    number, wanted = map(describe_number, (reached.reached_number, planned.reached_number))
    words = f"cone {number} ({describe_range(reached.low, reached.high)}), planned {wanted}"
    off = reached.reached_number - planned.reached_number
    inside = reached.low <= planned.reached_number <= reached.high
    # So far short asks for action though the range of the figure may still hold the plan's cone.
    if abs(off) < limit.TELLING_CONES or (inside and off > -limit.FAR_CONES):
        yield Finding(
            "cone_met",
            "note",
            f"The heat-work agrees with the plan: {words}.",
            evidence=_margin(review),
            next_step="Set witness cones beside the ware now and then; they see what it sees.",
            source=CHART,
            confidence="likely",
        )
        return
    short, far = off < 0, abs(off) >= limit.FAR_CONES
    if ware := _contradicted(review, off):
        # What the ware saw is the witness cones' to say; the readings alone ask for nothing.
        yield Finding(
            "cone_missed",
            "check",
            f"The readings alone come to {'less' if short else 'more'} heat-work than planned, by "
            f"{abs(off):.1f} cones: {words}. By the witness cones the ware was {ware} than they "
            "say.",
            evidence=_margin(review),
            next_step="Go by the witness cones and the ware; leave the plan's hold and peak until "
            "the offset of the readings is known.",
            source=CHART,
            confidence="possible",
        )
        return
    yield Finding(
        "cone_missed",
        "act" if far else "check",
        f"The ware saw {'less' if short else 'more'} heat-work than planned, by {abs(off):.1f} "
        f"cones: {words}.",
        evidence=_margin(review),
        next_step=_cone_step(review, short=short),
        source=CHART,
        confidence="likely" if far and not inside else "possible",
    )


def _contradicted(review: Review, off: float) -> str:
    """Return what witness cones say the ware was, if that takes a miss of `off` cones away.

    ``hotter`` or ``colder`` than the readings say; a miss that they leave standing is told as one.
    """
    if review.heat is None or review.heat.witness is None:
        return ""
    offset, used_c = review.heat.witness.kiln, review.heat.offset_c
    if offset.questions or not offset.agree:
        return ""
    hotter = offset.low_c is not None and offset.low_c > used_c
    colder = offset.high_c is not None and offset.high_c < used_c
    if not (colder if off > 0 else hotter):
        return ""
    if offset.offset_c is not None:
        left = off + (offset.offset_c - used_c) / limit.ONE_CONE_C
        if left * off > 0 and abs(left) >= limit.TELLING_CONES:
            return ""
    return "hotter" if hotter else "colder"


def _target(review: Review) -> Iterator[Finding]:
    """Judge the firing by the cone it was for, where the schedule states one."""
    target, reached = review.schedule.cone, review.cones
    if target is None or review.refused or review.analysed.alignment.stops_inside:
        return
    if _begins_hot(review) or reached.reached_number is None or reached.high is None:
        return
    low, high = reached.low, reached.high
    wanted, off = cone_number(target), reached.reached_number - cone_number(target)
    if off < 0.0 and review.cone_is_least:
        return
    if low is not None and low <= wanted <= high and off > -limit.FAR_CONES:
        return
    far = abs(off) >= limit.FAR_CONES
    if _contradicted(review, off):
        yield Finding(
            "cone_off_target",
            "check",
            f"The firing is for cone {target}, and the readings alone come to {reached.words}.",
            evidence=_margin(review),
            next_step="Go by the witness cones and the ware.",
            source=CHART,
            confidence="possible",
        )
        return
    yield Finding(
        "cone_off_target",
        "act" if far else "check",
        f"The firing is for cone {target}, and the readings come to {reached.words}.",
        evidence=_margin(review),
        next_step="Look at the ware and the witness cones; 'firing ways "
        f"{target}{' --unit F' if review.schedule.unit == 'F' else ''}' lists holds and peaks that "
        "bring that cone down.",
        source=CHART,
        confidence="likely" if far else "possible",
    )


def _hold(review: Review) -> Iterator[Finding]:
    """Yield what a hold at the peak of another length did to the cone."""
    reached = review.cones.reached_number
    if review.refused or review.cone_is_least or reached is None or not review.segments:
        return
    peak = review.segments[review.schedule.peak_index]
    if peak.hold_s is None or peak.ramp_end_s is None or peak.end_s is None:
        return
    if abs(peak.hold_s - peak.planned_hold_s) < limit.HOLD_OFF_S:
        return
    usable = np.isfinite(review.temperature_c)
    offset_c = 0.0 if review.heat is None else review.heat.offset_c
    course = review.log.trace.time_s[usable], review.temperature_c[usable] + offset_c
    as_planned = cone_reached(
        *with_hold(*course, peak.ramp_end_s, peak.end_s, peak.planned_hold_s)
    ).reached_number
    if as_planned is None or abs(reached - as_planned) < limit.TELLING_CONES:
        return
    side = "hotter" if reached > as_planned else "colder"
    yield Finding(
        "hold_effect",
        "note",
        f"The hold of {format_duration(peak.hold_s)}, planned "
        f"{format_duration(peak.planned_hold_s)}, made it {abs(reached - as_planned):.1f} cones "
        f"{side}: with the planned hold it would have come to cone {describe_number(as_planned)}.",
        evidence="the same readings with the hold as planned",
        next_step="Read the hold back at the controller before the next firing.",
        source="cone-model",
        at_s=peak.ramp_end_s,
        confidence="likely",
    )


def _refire(review: Review) -> Iterator[Finding]:
    """Yield whether firing the ware again helps, and how: common practice, no more."""
    planned, reached = review.cones_planned.reached_number, review.cones.reached_number
    if planned is None or review.refused or review.cone_is_least or _begins_hot(review):
        return
    if review.analysed.alignment.stops_inside:
        return
    off = (-99.0 if reached is None else reached) - planned
    if abs(off) < limit.FAR_CONES:
        return
    if _contradicted(review, off):
        return
    inside = () if review.heat is None or review.heat.unevenness is None else tuple(
        f"{channel.name} cone {describe_number(channel.cone_number)}"
        for channel in review.heat.unevenness.channels
        if channel.cone_number is not None
    )  # fmt: skip
    places = f" By place: {', '.join(inside)}." if len(inside) > 1 else ""
    if off > 0:
        looked = "bloating, slumping and glaze that ran"
        if review.schedule.purpose == "bisque":
            looked = "bloating and slumping"
        yield Finding(
            "refire",
            "note",
            f"Firing it again takes no heat-work back.{places}",
            next_step=f"Look for {looked}; what is sound can be used. "
            "Set the next firing cooler or its hold shorter.",
            source="refiring-practice",
            confidence="possible",
        )
        return
    glazed = review.schedule.purpose in ("glaze", "decal", "once-fired")
    why = (
        "glaze that stayed dull or rough often comes right"
        if glazed
        else "ware that is too porous can have what it lacks"
    )
    rate = rate_from_celsius(limit.REFIRE_C_PER_H, review.schedule.unit)
    yield Finding(
        "refire",
        "note",
        f"Firing it again is usually worth it: {why}.{places}",
        next_step=f"From cold, climb at most {rate:.0f} °{review.schedule.unit}/h to red heat, as "
        "fired ware cracks at the inversions, then run the plan's last segments to its cone. Try "
        "one piece first.",
        source="refiring-practice",
        confidence="possible",
    )


def _cone_step(review: Review, *, short: bool) -> str:
    """Return what to do about heat-work that differs, after what made it differ."""
    look = "Look at the ware and the witness cones before changing the plan; "
    if not short:
        slow = any(c.cause in _SLOW and c.seconds >= limit.SLOW_CLIMB_S for c in review.causes)
        why = "the slow climb added heat-work, and " if slow else ""
        return f"{look}{why}a shorter hold takes some away."
    if review.analysed.alignment.aborted:
        return _SHORT_STEP
    if review.peak_c < review.schedule.peak_c - limit.ONE_CONE_C:
        return "Look at the ware and the witness cones; reach the peak first, then see to the hold."
    if review.made_up_s >= limit.SLOW_CLIMB_S:
        return f"{look}the clock cut its hottest hours short while the kiln was behind."
    if any(c.cause == "fast_cooling" and c.seconds <= -limit.SLOW_CLIMB_S for c in review.causes):
        return f"{look}the slow cooling that was planned adds heat-work too."
    return f"{look}a longer hold at the peak adds heat-work."


def _begins_hot(review: Review) -> bool:
    """Return whether a log begins so near the peak that heat-work is missing from it."""
    near_c = review.peak_c - limit.HEATWORK_BELOW_C
    return review.analysed.alignment.starts_inside and review.first_c > near_c


def _cone_open(review: Review) -> Finding:
    """Return what a log that holds a part of the firing says of its heat-work."""
    part = "begins too late" if _begins_hot(review) else "ends too early"
    if review.cone_is_least:
        part = "lacks too much"
    wanted, number = review.cones_planned.reached_number, review.cones.reached_number
    came = "no cone of the chart" if number is None else f"cone {describe_number(number)}"
    if review.cone_is_least:
        came = f"at least {came}"
    return Finding(
        "cone_open",
        "note",
        f"The log {part} to show the heat-work: what is in it amounts to {came}; the plan amounts "
        f"to cone {describe_number(wanted)}.",
        next_step="Go by the witness cones and the ware.",
        source=CHART,
    )


def _witness(review: Review, heat: HeatVerdict) -> Iterator[Finding]:
    say = Wording(review.schedule.unit)
    verdict = heat.witness
    if verdict is None:
        return
    offset = verdict.kiln
    seen = "; ".join(
        f"cone {one.cone} {one.seen}" + (f" ({one.place})" if one.place else "")
        for one in (result.witness for result in offset.results)
    )
    if offset.questions:
        yield Finding(
            "witness_doubtful",
            "check",
            " ".join(offset.questions),
            evidence=f"{seen}; two sound thermocouples of a kiln differ by far less",
            next_step="Read the numbers on the cones and give --witness again. If they are right, "
            "have the thermocouple and its place checked; no offset is written from this.",
            source=WITNESS_SOURCES,
            confidence="likely",
        )
        return
    if not offset.agree:
        yield Finding(
            "witnesses_disagree",
            "check",
            "The witness cones contradict each other: no one offset of the readings makes all of "
            "them what they are.",
            evidence=seen,
            next_step="Look for a cone that was set at a wrong angle or touched something; "
            "otherwise the places differ.",
            source=WITNESS_SOURCES,
        )
        return
    used_c = heat.offset_c
    if offset.low_c is not None and offset.low_c > used_c:
        yield _off(review, heat, verdict, seen, low=True)
    elif offset.high_c is not None and offset.high_c < used_c:
        yield _off(review, heat, verdict, seen, low=False)
    elif offset.offset_c is not None:
        yield Finding(
            "witnesses_agree",
            "note",
            "The witness cones agree with the readings"
            + (
                f" and the kiln file's offset of {say.finely(used_c, signed=True)}"
                if used_c
                else ""
            )
            + f": the offset is {_range(review, offset)}.",
            evidence=seen,
            next_step="Keep the cones with the log; several firings show the offset better.",
            source=WITNESS_SOURCES,
            confidence="likely",
        )


def _within(offset: KilnOffset, value_c: float) -> bool:
    low_ok = offset.low_c is None or offset.low_c <= value_c
    return low_ok and (offset.high_c is None or offset.high_c >= value_c)


def _range(review: Review, offset: KilnOffset) -> str:
    say = Wording(review.schedule.unit)
    low = "open" if offset.low_c is None else say.difference(offset.low_c, signed=True)
    high = "open" if offset.high_c is None else say.difference(offset.high_c, signed=True)
    if offset.offset_c is None:
        return f"between {low} and {high}"
    return f"{say.difference(offset.offset_c, signed=True)} ({low} to {high})"


def _off(
    review: Review, heat: HeatVerdict, verdict: WitnessVerdict, seen: str, *, low: bool
) -> Finding:
    say = Wording(review.schedule.unit)
    offset = verdict.kiln
    sound = [other for other in verdict.others if _within(other, 0.0)]
    used_c = heat.offset_c
    edge_c = offset.low_c if low else offset.high_c
    assert edge_c is not None
    middle_c = edge_c if offset.offset_c is None else offset.offset_c
    far_c = abs(middle_c - used_c)
    clear = abs(edge_c - used_c) >= 0.5 * far_c
    side, ware = ("low", "hotter") if low else ("high", "colder")
    size = say.difference(abs(middle_c))
    known = f" (the kiln file says {say.finely(used_c, signed=True)})" if used_c else ""
    least = "at least " if offset.offset_c is None else ""
    confidence: Confidence = "sure" if clear and len(offset.results) > 1 else "likely"
    why = "ageing, the sensor's place and a cone's set all show like this"
    if sound:
        names = " and ".join(other.channel for other in sound)
        confidence = "possible"
        why = (
            f"but the cone agrees with the thermocouple it stood at ({names}): the place differs "
            "from the kiln's thermocouple, which may be sound"
        )
    if sound:
        step = (
            f"Set a cone beside {offset.channel} itself before its offset is changed; a kiln that "
            "is uneven has no one offset."
        )
    else:
        named = "--write-offset" if review.kiln is not None else "--kiln FILE --write-offset"
        step = (
            f"Add {named} to have every later forecast and review count with it, and set witness "
            "cones again next time."
        )
    return Finding(
        "thermocouple_low" if low else "thermocouple_high",
        "act" if far_c >= limit.FAR_OFFSET_C else "check",
        f"By the witness cones the readings of {offset.channel} are {least}{size} too {side}"
        f"{known}: the ware was {ware} than they say. Offset {_range(review, offset)}.",
        evidence=f"{seen}; {why}",
        next_step=step,
        source=WITNESS_SOURCES,
        confidence=confidence,
    )


def _uneven(review: Review, heat: HeatVerdict) -> Iterator[Finding]:
    say = Wording(review.schedule.unit)
    found = heat.unevenness
    if found is None:
        return
    spread_c = found.last_hour_c if found.last_hour_c is not None else found.at_peak_c
    cones = found.cones or 0.0
    if spread_c is None or (spread_c < limit.UNEVEN_C and cones < limit.UNEVEN_CONES):
        return
    by_cones = f", {cones:.1f} cones" if found.cones is not None and cones >= 0.05 else ""
    at_peak = "" if found.at_peak_c is None else say.difference(found.at_peak_c)
    within = spread_c <= limit.TWO_SENSORS_C
    yield Finding(
        "uneven",
        "check",
        f"{found.coldest} stayed {say.difference(spread_c)} below {found.hottest} over the "
        f"last hour{by_cones}."
        + (" Two good thermocouples can differ this much." if within else "")
        + _over_the_hold(review, found),
        evidence=f"{at_peak} at the peak" if at_peak else "",
        next_step="Set witness cones in both places: they show whether the kiln or a thermocouple "
        "is off; then a hold at the peak, or a different stacking, evens it out.",
        source="iec-60584-1" if within else "peak-soak-practice",
        confidence="possible" if within else "likely",
    )


def _over_the_hold(review: Review, found: Unevenness) -> str:
    """Return what the hold at the peak made of the spread, and what more of it would."""
    if not review.segments:
        return ""
    say, peak = Wording(review.schedule.unit), review.segments[review.schedule.peak_index]
    if peak.ramp_end_s is None or peak.end_s is None or peak.hold_s is None:
        return ""
    span_s = peak.hold_s - limit.PEAK_S
    if span_s < limit.EVENING_OUT_S:
        return ""
    spreads = []
    for middle_s in (peak.ramp_end_s + 0.5 * limit.PEAK_S, peak.end_s - 0.5 * limit.PEAK_S):
        near = np.abs(review.log.trace.time_s - middle_s) <= 0.5 * limit.PEAK_S
        hottest, coldest = (
            review.log.trace.channel_c(name)[near] for name in (found.hottest, found.coldest)
        )
        both = np.isfinite(hottest) & np.isfinite(coldest)
        if not both.any():
            return ""
        spreads.append(float(np.mean(hottest[both] - coldest[both])))
    first_c, last_c = spreads
    if first_c <= 0.0 or last_c > limit.EVENED_SHARE * first_c:
        return (
            f" Over the hold of {format_duration(peak.hold_s)} it stayed near "
            f"{say.difference(max(last_c, 0.0))}: a longer hold would not even it out."
        )
    words = f" Over the hold it shrank from {say.difference(first_c)} to {say.difference(last_c)}"
    if last_c <= limit.UNEVEN_C:
        return f"{words}."
    # What evens out does so in proportion to what is left.
    more_s = span_s * math.log(last_c / limit.UNEVEN_C) / math.log(first_c / last_c)
    return (
        f"{words}; about {format_duration(more_s)} more would bring it to "
        f"{say.difference(limit.UNEVEN_C)}."
    )


def _sensor(review: Review, heat: HeatVerdict) -> Iterator[Finding]:
    say = Wording(review.schedule.unit)
    name = review.log.trace.channels[review.channel]
    hours = heat.exposures.get(name)
    if hours is None or not heat.drift or hours.hours[0] < 0.1:
        return
    told = ", ".join(
        f"{spent:.1f} h above {say.degrees(level_c)}"
        for level_c, spent in zip(hours.levels_c, hours.hours, strict=True)
        if spent >= 0.05
    )
    first, last = heat.drift[0], heat.drift[-1]
    yield Finding(
        "sensor_hours",
        "note",
        f"This firing added to the thermocouple's age: {told}. {first.text}",
        next_step=last.text,
        source=first.source,
        confidence="possible",
    )
