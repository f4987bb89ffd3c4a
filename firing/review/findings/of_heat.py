"""Findings about heat-work: the cone, witness cones, evenness, and the sensor's hours."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from firing.cones.table import describe_number, describe_range
from firing.review.findings.evidence import Evidence
from firing.review.result import Confidence, Finding

if TYPE_CHECKING:
    from firing.review.witness import KilnOffset, WitnessVerdict

CHART = "cone-chart-1996"
WITNESS = "cone-bending-practice, cone-model, cone-maker-tolerance"
FAR_CONES = 0.5
"""Half a cone off the plan asks for action; less is worth a look."""
LEAST_CONES = 0.2
"""Less is not seen on the ware: half an hour of a cone's clock is as much (common practice, no
source)."""
FAR_OFFSET_C = 10.0
"""About half a cone [°C]."""
UNEVEN_CONES = 0.5
UNEVEN_C = 10.0
"""Half a cone between two places is worth a look (common practice, no source)."""
FAR_PEAK_C = 25.0
"""About a cone under its peak a firing lacks its peak, not its hold [°C]."""
FAST_S = 900.0
_SLOW = ("power_limited", "waiting")
HEATWORK_BELOW_C = 100.0
"""Further below its peak a firing does next to none of its heat-work: by the law of any cone its
rate falls by a factor of fifty and more in 100 °C (source ``cone-model``) [°C]."""
_SHORT_STEP = (
    "Look at the ware: what it has not seen yet has to be fired another time, from cold or by "
    "'firing resume' with this log."
)
TWO_SENSORS_C = 12.0
"""Two class 2 thermocouples, each ±9 °C at 1200 as delivered (source iec-60584-1), may differ by
about as much in one place [°C]."""


def of_heat(evidence: Evidence) -> Iterator[Finding]:
    """Yield what the heat-work came to."""
    yield from _cone(evidence)
    yield from _witness(evidence)
    yield from _uneven(evidence)
    yield from _sensor(evidence)


def _margin(evidence: Evidence) -> str:
    budget = evidence.reached.budget
    whose = (
        "without the thermocouple's own error"
        if budget.thermocouple_c is None
        else f"with the thermocouple's ±{evidence.finely(budget.thermocouple_c)}"
    )
    offset_c = evidence.heat.offset_c
    moved = ""
    if offset_c:
        moved = f"; the kiln file's offset of {evidence.finely(offset_c, signed=True)} is in it"
    return f"margin {evidence.finely(budget.total_c)}, {whose}{moved}"


def _cone(evidence: Evidence) -> Iterator[Finding]:
    planned, reached = evidence.planned, evidence.reached
    if planned.reached_number is None or evidence.refused:
        return
    if evidence.alignment.stops_inside or _begins_hot(evidence):
        yield _cone_open(evidence)
        return
    if reached.reached_number is None or reached.low is None or reached.high is None:
        yield Finding(
            "cone_missed",
            "act",
            f"No cone of the chart was reached; the plan amounts to cone "
            f"{describe_number(planned.reached_number)}.",
            next_step=_SHORT_STEP
            if evidence.alignment.aborted
            else "Find out why it stayed so cold before firing the ware again.",
            source=CHART,
        )
        return
    number, wanted = map(describe_number, (reached.reached_number, planned.reached_number))
    words = f"cone {number} ({describe_range(reached.low, reached.high)}), planned {wanted}"
    off = reached.reached_number - planned.reached_number
    if reached.low <= planned.reached_number <= reached.high or abs(off) < LEAST_CONES:
        yield Finding(
            "cone_met",
            "note",
            f"The heat-work agrees with the plan: {words}.",
            evidence=_margin(evidence),
            next_step="Set witness cones beside the ware now and then; they see what it sees.",
            source=CHART,
            confidence="likely",
        )
        return
    short, far = off < 0, abs(off) >= FAR_CONES
    yield Finding(
        "cone_missed",
        "act" if far else "check",
        f"The ware saw {'less' if short else 'more'} heat-work than planned, by {abs(off):.1f} "
        f"cones: {words}.",
        evidence=_margin(evidence),
        next_step=_cone_step(evidence, short=short),
        source=CHART,
        confidence="likely" if far else "possible",
    )


def _cone_step(evidence: Evidence, *, short: bool) -> str:
    """Return what to do about heat-work that differs, after what made it differ."""
    look = "Look at the ware and the witness cones before changing the plan; "
    if not short:
        slow = any(c.cause in _SLOW and c.seconds >= FAST_S for c in evidence.causes)
        why = "the slow climb added heat-work, and " if slow else ""
        return f"{look}{why}a shorter hold takes some away."
    if evidence.alignment.aborted:
        return _SHORT_STEP
    if evidence.peak_c < evidence.schedule.peak_c - FAR_PEAK_C:
        return "Look at the ware and the witness cones; reach the peak first, then see to the hold."
    if evidence.made_up_s >= FAST_S:
        return f"{look}the clock cut its hottest hours short while the kiln was behind."
    if any(c.cause == "fast_cooling" and c.seconds <= -FAST_S for c in evidence.causes):
        return f"{look}the slow cooling that was planned adds heat-work too."
    return f"{look}a longer hold at the peak adds heat-work."


def _begins_hot(evidence: Evidence) -> bool:
    """Return whether a log begins so near the peak that heat-work is missing from it."""
    near_c = evidence.peak_c - HEATWORK_BELOW_C
    return evidence.alignment.starts_inside and evidence.first_c > near_c


def _cone_open(evidence: Evidence) -> Finding:
    """Return what a log that holds a part of the firing says of its heat-work."""
    part = "begins too late" if _begins_hot(evidence) else "ends too early"
    wanted, number = evidence.planned.reached_number, evidence.reached.reached_number
    came = "no cone of the chart" if number is None else f"cone {describe_number(number)}"
    return Finding(
        "cone_open",
        "note",
        f"The log {part} to tell the heat-work: what is in it amounts to {came}; the plan amounts "
        f"to cone {describe_number(wanted)}.",
        next_step="Go by the witness cones and the ware.",
        source=CHART,
    )


def _witness(evidence: Evidence) -> Iterator[Finding]:
    verdict = evidence.heat.witness
    if verdict is None:
        return
    offset = verdict.kiln
    seen = "; ".join(_seen_words(result.witness.cone, result.witness.seen, result.witness.place)
                     for result in offset.results)  # fmt: skip
    if not offset.agree:
        yield Finding(
            "witnesses_disagree",
            "check",
            "The witness cones contradict each other: no one offset of the readings makes all of "
            "them what they are.",
            evidence=seen,
            next_step="Look for a cone that was set at a wrong angle or touched something; "
            "otherwise the places differ.",
            source=WITNESS,
        )
        return
    used_c = evidence.heat.offset_c
    if offset.low_c is not None and offset.low_c > used_c:
        yield _off(evidence, verdict, seen, low=True)
    elif offset.high_c is not None and offset.high_c < used_c:
        yield _off(evidence, verdict, seen, low=False)
    elif offset.offset_c is not None:
        yield Finding(
            "witnesses_agree",
            "note",
            "The witness cones agree with the readings"
            + (
                f" and the kiln file's offset of {evidence.finely(used_c, signed=True)}"
                if used_c
                else ""
            )
            + f": the offset is {_range(evidence, offset)}.",
            evidence=seen,
            next_step="Keep the cones with the log; several firings tell the offset better.",
            source=WITNESS,
            confidence="likely",
        )


def _seen_words(cone: str, seen: str, place: str) -> str:
    return f"cone {cone} {seen}" + (f" ({place})" if place else "")


def _within(offset: KilnOffset, value_c: float) -> bool:
    low_ok = offset.low_c is None or offset.low_c <= value_c
    return low_ok and (offset.high_c is None or offset.high_c >= value_c)


def _range(evidence: Evidence, offset: KilnOffset) -> str:
    low = "open" if offset.low_c is None else evidence.difference(offset.low_c, signed=True)
    high = "open" if offset.high_c is None else evidence.difference(offset.high_c, signed=True)
    if offset.offset_c is None:
        return f"between {low} and {high}"
    return f"{evidence.difference(offset.offset_c, signed=True)} ({low} to {high})"


def _off(evidence: Evidence, verdict: WitnessVerdict, seen: str, *, low: bool) -> Finding:
    offset = verdict.kiln
    sound = [other for other in verdict.others if _within(other, 0.0)]
    used_c = evidence.heat.offset_c
    edge_c = offset.low_c if low else offset.high_c
    assert edge_c is not None
    middle_c = edge_c if offset.offset_c is None else offset.offset_c
    far_c = abs(middle_c - used_c)
    clear = abs(edge_c - used_c) >= 0.5 * far_c
    side, ware = ("low", "hotter") if low else ("high", "colder")
    size = evidence.difference(abs(middle_c))
    known = f" (the kiln file says {evidence.finely(used_c, signed=True)})" if used_c else ""
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
        named = "--write-offset" if evidence.kiln is not None else "--kiln FILE --write-offset"
        step = (
            f"Add {named} to have every later forecast and review count with it, and set witness "
            "cones again next time."
        )
    return Finding(
        "thermocouple_low" if low else "thermocouple_high",
        "act" if far_c >= FAR_OFFSET_C else "check",
        f"By the witness cones the readings of {offset.channel} are {least}{size} too {side}"
        f"{known}: the ware was {ware} than they say. Offset {_range(evidence, offset)}.",
        evidence=f"{seen}; {why}",
        next_step=step,
        source=WITNESS,
        confidence=confidence,
    )


def _uneven(evidence: Evidence) -> Iterator[Finding]:
    found = evidence.heat.unevenness
    if found is None:
        return
    spread_c = found.last_hour_c if found.last_hour_c is not None else found.at_peak_c
    cones = found.cones or 0.0
    if spread_c is None or (spread_c < UNEVEN_C and cones < UNEVEN_CONES):
        return
    by_cones = f", {cones:.1f} cones" if found.cones is not None and cones >= 0.05 else ""
    at_peak = "" if found.at_peak_c is None else evidence.difference(found.at_peak_c)
    within = spread_c <= TWO_SENSORS_C
    yield Finding(
        "uneven",
        "check",
        f"{found.coldest} stayed {evidence.difference(spread_c)} below {found.hottest} over the "
        f"last hour{by_cones}."
        + (" Two sound thermocouples may differ by as much." if within else ""),
        evidence=f"{at_peak} at the peak" if at_peak else "",
        next_step="Set witness cones in both places: they tell whether the kiln or a thermocouple "
        "is off; then a hold at the peak, or another packing, evens it out.",
        source="iec-60584-1" if within else "peak-soak-practice",
        confidence="possible" if within else "likely",
    )


def _sensor(evidence: Evidence) -> Iterator[Finding]:
    name = evidence.log.trace.channels[evidence.channel]
    hours = evidence.heat.exposures.get(name)
    if hours is None or not evidence.heat.drift or hours.hours[0] < 0.1:
        return
    told = ", ".join(
        f"{spent:.1f} h above {evidence.degrees(level_c)}"
        for level_c, spent in zip(hours.levels_c, hours.hours, strict=True)
        if spent >= 0.05
    )
    first, last = evidence.heat.drift[0], evidence.heat.drift[-1]
    yield Finding(
        "sensor_hours",
        "note",
        f"This firing added to the thermocouple's age: {told}. {first.text}",
        next_step=last.text,
        source=first.source,
        confidence="possible",
    )
