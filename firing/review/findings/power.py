"""How heat came and went: what a want of power comes from, and how the kiln cooled by itself.

Which of power, losses, load and supply fits, and what would settle it; a lid, a vent or a leak, or
slower than was to be expected.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from firing.clock import after
from firing.cones.table import describe_number
from firing.review import thresholds as limit
from firing.review.result import Finding, PowerReason, Review
from firing.trace import median
from firing.units import Wording, format_duration

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription


REASON_NAMES: dict[PowerReason, str] = {
    "power": "less power",
    "losses": "higher losses",
    "load": "a heavier load",
    "supply": "a sagging supply",
    "unknown": "something else",
}


def power_shortfall(review: Review, index: int) -> str:
    """Return what shows that a segment's ramp was short of power, as a clause; else nothing."""
    analysed, say = review.analysed.segments[index], Wording(review.schedule.unit)
    start_s, planned_c_per_h = analysed.passage.start_s, analysed.segment.rate_c_per_h
    if start_s is None:
        return ""
    if planned_c_per_h is None:
        return f"segment {index + 1} asks for all the power there is"
    if analysed.ramp_until_s - start_s < limit.WEAK_RAMP_S or analysed.run is None:
        return ""
    run = analysed.run
    if run.behind_from_c is None or run.behind_c_per_h is None:
        return ""
    if not run.at_limit:
        return ""
    ground = (
        "with the elements fully on"
        if run.mostly_on
        else "more and more slowly as it got hotter, as a kiln at its limit does"
    )
    below = run.behind_from_c < analysed.segment.target_c
    onset = f" from {say.degrees(run.behind_from_c)} on" if below else ""
    return (
        f"in segment {index + 1} it fell behind{onset}: "
        f"{say.rate(run.behind_c_per_h)} where {say.rate(planned_c_per_h)} was set, "
        f"{ground}"
    )


def of_power(review: Review) -> Iterator[Finding]:
    """Yield why the kiln was short of power, if it was."""
    if review.kiln_unused:
        yield Finding(
            "kiln_not_used",
            "check",
            "The kiln file's model could not fire this plan, so the log is compared without it.",
            evidence=review.kiln_unused,
            next_step="Fix the kiln file; 'firing forecast' with --kiln says the same.",
        )
        return
    yield from _stuck(review)
    yield from _damp(review)
    if not was_short(review):
        return
    if review.kiln is None:
        yield Finding(
            "power_cause_open",
            "note",
            "This log alone can't show why the kiln fell behind: worn elements, a dead "
            "bank, a low supply, a heavier load and higher losses all make it late alike.",
            next_step="Give a kiln file (--kiln): compared with that kiln the log separates "
            "load and losses from power. Volts and amps, measured under load by a competent "
            "person, show which of elements and supply it is.",
            source="kiln-fit-choices",
            reason="unknown",
            probabilities={"unknown": 1.0},
        )
        return
    if not is_learnt(review.kiln):
        yield Finding(
            "power_cause",
            "note",
            "This log can't show why the kiln fell behind: the kiln file was never fitted to its "
            "logs, so nobody knows what this kiln does in good order.",
            evidence="losses and weights of a kiln file are known to tens of per cent, as far off "
            "as any cause would put them",
            next_step="Learn the kiln from one or more firings that kept their time: firing kiln "
            "fit KILN LOG… --schedule PLAN --write. Then review this log again.",
            source="kiln-fit-choices",
            confidence="possible",
            reason="unknown",
            probabilities={"unknown": 1.0},
        )
        return
    yield _reasoned(review)
    yield from _mended(review)


def is_learnt(kiln: KilnDescription) -> bool:
    """Return whether a kiln file was ever fitted to logs."""
    fitted = kiln.fitted
    return fitted.learnt is not None or any(
        value != 1.0 for value in (fitted.power, fitted.loss, fitted.capacity, fitted.leak_factor)
    )


_SLID = (
    "; a thermocouple that slid out from then on looks much the same, and the ware is then hotter "
    "than its readings: witness cones settle it"
)


def _reasoned(review: Review) -> Finding:
    volts = (
        "Have volts and amps of every bank measured under load by a competent person: volts low "
        "points to the supply, amps low on one bank to that bank, on all to worn elements."
    )
    found = review.shortfall
    if found is None:
        return Finding(
            "power_cause",
            "note",
            "This log can't show why the kiln fell behind.",
            evidence="too little of it shows what the elements gave",
            next_step=volts,
            confidence="possible",
            reason="unknown",
            probabilities={"unknown": 1.0},
        )
    if review.sensor_shift is not None and found.confidence != "possible":
        # What drew more heat may be a kiln that was hotter than its readings.
        found = replace(found, confidence="possible")
    chances = sorted(found.probabilities.items(), key=lambda item: -item[1])
    seen = "probabilities, against this kiln as its logs taught it: " + ", ".join(
        f"{REASON_NAMES[reason]} " + ("over 99 %" if chance > 0.99 else f"{100.0 * chance:.0f} %")
        for reason, chance in chances
        if chance >= limit.REASON_TOLD
    )
    word = {"sure": "", "likely": "Likely: ", "possible": "Possibly: "}[found.confidence]
    if found.reason == "power":
        when = "" if found.from_s is None else f", from {_after(review, found.from_s)} on"
        message = (
            f"{word}the elements gave {100.0 * found.power_down:.0f} % less power than this kiln "
            f"has{when}: worn elements, a dead bank or a low supply, a log can't show which."
        )
        if found.from_s is not None:
            message = (
                f"{word}power fell by {100.0 * found.power_down:.0f} %{when} and stayed down: a "
                "bank that failed, a relay that drops out or a supply that sagged."
            )
            seen += _SLID
        step = volts
    elif found.reason == "losses":
        message = (
            f"{word}more heat escaped, by about {100.0 * found.leak_more:.0f} % of the kiln's own "
            "losses: a vent left on, a plug left out, or a gap at the lid or door."
        )
        step = (
            "Look at the vent, the plugs and the lid's seat when the kiln is cold. Then fire once "
            "with all closed, and compare the two logs."
        )
    elif found.reason == "load" and found.water_kg is not None:
        dry = Wording(review.schedule.unit).degrees(limit.DAMP_C[1])
        message = (
            f"{word}the ware was damp: below {dry} it took the heat of about "
            f"{found.water_kg:.0f} kg of water more than reckoned with."
        )
        step = (
            "Dry the ware longer, or candle it below "
            f"{Wording(review.schedule.unit).degrees(95.0)}: damp ware can burst."
        )
    elif found.reason == "load":
        message = (
            f"{word}there was more to heat, about {found.load_times:.1f} times the load reckoned "
            "with: heavier ware, more shelves, or damp ware."
        )
        step = "Weigh ware and shelves, write them in a load file (--load), and review again."
    elif found.reason == "supply":
        assert found.from_s is not None
        assert found.until_s is not None
        volts_down = 100.0 * (1.0 - max(1.0 - found.power_down, 0.0) ** 0.5)
        message = (
            f"{word}the supply sagged from {_after(review, found.from_s)} to "
            f"{_after(review, found.until_s)}: {100.0 * found.power_down:.0f} % less power, which "
            f"is {volts_down:.0f} % less volts, and then it came back."
        )
        seen += _SLID
        step = (
            "Have the volts logged under load at that hour by a competent person, and start at an "
            "hour when fewer ovens are on."
        )
    elif found.as_learnt > max(p for r, p in chances if r != "unknown"):
        message = (
            "The kiln did all that its logs taught it can do: the plan asks for more than it can "
            "give."
        )
        step = "Plan the stretch at the rates that 'firing forecast --kiln' shows."
    elif chances[0][0] == "unknown" and found.probabilities["unknown"] > limit.REASON_LIKELY:
        message = (
            "No single reason fits: less power, higher losses, a heavier load and a sagging supply "
            "each leave another mark than this log shows."
        )
        step = (
            "Weigh the load, look at vent and lid, and have volts and amps of every bank measured "
            "under load by a competent person."
        )
    else:
        two = [REASON_NAMES[reason] for reason, _ in chances if reason != "unknown"][:2]
        message = f"This log can't show {two[0]} from {two[1]}."
        step = (
            "Log the output and all of the cooling next time, and weigh the load: that sets them "
            f"apart. {volts}"
        )
    return Finding(
        "power_cause",
        "note" if found.reason == "unknown" else "check",
        message[0].upper() + message[1:],
        evidence=seen,
        next_step=step,
        source="kiln-fit-choices",
        confidence=found.confidence if found.reason != "unknown" else "possible",
        reason=found.reason,
        probabilities={reason: round(chance, 3) for reason, chance in chances},
    )


def _stuck(review: Review) -> Iterator[Finding]:
    """Yield heat that came while the output was off: a relay that does not open."""
    windows, say = review.half_hours, Wording(review.schedule.unit)
    if windows is None or review.log.trace.duty is None or review.end_s is None:
        return
    climbing = windows.known & windows.powered & (windows.middle_c > limit.STUCK_ABOVE_C)
    # A load heavier than reckoned with gives back as the kiln cools what it took on the way up.
    contents = windows.contents[climbing]
    took = -float(windows.excess[climbing] @ contents) / max(float(contents @ contents), 1e-12)
    excess = windows.excess + limit.STUCK_LOAD * max(took, 0.0) * np.minimum(windows.contents, 0.0)
    fed = (
        windows.known
        & (windows.given < limit.STUCK_GIVEN)
        & (windows.end_s <= review.end_s)
        & (windows.middle_c > limit.STUCK_ABOVE_C)
        & (excess > limit.STUCK_HEAT)
    )
    if np.count_nonzero(fed) < limit.STUCK_WINDOWS:
        return
    share = 100.0 * median(excess[fed])
    first = int(np.argmax(fed))
    yield Finding(
        "relay_stuck",
        "act",
        f"From {say.degrees(float(windows.middle_c[first]))} on the elements heated with the "
        f"output off, at about {share:.0f} % of full power: a relay or contactor stays closed.",
        evidence=f"{np.count_nonzero(fed)} half-hours with the output at 0 % in which the kiln "
        "cooled more slowly than one without heat can",
        next_step="Fire no more before a competent person has checked relays and cut-out, with the "
        "kiln isolated: a kiln that can't switch off can burn down what is round it.",
        source="kiln-fit-choices",
        at_s=float(windows.start_s[first]),
        confidence="likely",
    )


def _damp(review: Review) -> Iterator[Finding]:
    """Yield heat that went into steam: ware that was damper than the load says."""
    windows, say = review.half_hours, Wording(review.schedule.unit)
    if windows is None or review.log.trace.duty is None:
        return
    low_c, high_c = limit.DAMP_C
    on = windows.known & windows.powered
    boiling = on & (windows.middle_c > low_c) & (windows.middle_c < high_c)
    after_it = on & (windows.middle_c > high_c) & (windows.middle_c < limit.DAMP_AFTER_C)
    wet = boiling & (windows.excess < -limit.DAMP_HEAT)
    if np.count_nonzero(wet) < limit.STUCK_WINDOWS or not after_it.any():
        return
    # A heavier load goes on taking more; water is gone.
    if median(windows.excess[after_it]) < 0.5 * median(windows.excess[wet]):
        return
    water_kg = float(-np.sum((windows.excess * windows.full_j)[wet])) / limit.WATER_J_PER_KG
    if water_kg < limit.DAMP_KG:
        return
    yield Finding(
        "damp_ware",
        "check",
        f"Between {say.degrees(low_c)} and {say.degrees(high_c)} it took the heat of about "
        f"{water_kg:.0f} kg of water more than reckoned with: the ware was damper than the load "
        "says.",
        evidence=f"{np.count_nonzero(wet)} half-hours in which more heat went in than a dry load "
        "takes; further up it did not",
        next_step="Weigh a piece before and after drying; hold longer below "
        f"{say.degrees(95.0)} until it loses no more, or damp ware can burst.",
        source="clay-water-practice",
        at_s=float(windows.start_s[int(np.argmax(wet))]),
        confidence="likely",
    )


def _mended(review: Review) -> Iterator[Finding]:
    """Yield what to key while the kiln is as it is."""
    mended, found, say = review.mended, review.shortfall, Wording(review.schedule.unit)
    if mended is None or not mended.changes:
        return
    cone = ""
    if mended.cone_number is not None:
        cone = f", cone {describe_number(mended.cone_number)}"
    started = review.log.trace.started
    ends = ""
    if started is not None:
        begins_s = review.analysed.alignment.start_s
        begins, over = (after(started, begins_s + s) for s in (0.0, mended.program_s))
        ends = f" Begun at {begins:%H:%M} as this time, it ends at {over:%H:%M}."
    anew = ""
    if mended.with_new_elements_s is not None:
        anew = (
            f" With new elements the plan as it stands would take "
            f"{format_duration(mended.with_new_elements_s)}."
        )
    # An even ramp is as slow as its slowest stretch, which a waiting clock is only there.
    waits = ""
    if mended.unchanged_s is not None:
        waits = f"; unchanged, {format_duration(mended.unchanged_s)} where the controller waits"
    lower = f"{mended.peak_words} " if mended.peak_words else ""
    yield Finding(
        "mended",
        "note",
        f"{lower}With this kiln as it is, key {'; '.join(mended.changes)}: it then takes "
        f"{format_duration(mended.program_s)}{cone}{waits}.{ends}{anew}",
        evidence=f"simulated up to {say.degrees(review.schedule.peak_c)} with what this log shows",
        next_step="'firing review' with --mend FILE writes that plan, ^F on the screen takes it. "
        "See to the kiln, too.",
        source="kiln-model-choices",
        confidence="likely" if found is not None and found.confidence != "possible" else "possible",
    )


def _after(review: Review, at_s: float) -> str:
    start_s = review.analysed.alignment.start_s
    say = Wording(review.schedule.unit)
    at = say.degrees(review.analysed.trace.at(at_s))
    return f"{format_duration(max(at_s - start_s, 0.0))} ({at})"


def was_short(review: Review) -> bool:
    """Return whether want of power made the firing late, or kept it from its peak."""
    shares = (
        share for shares in (segment.causes for segment in review.segments) for share in shares
    )
    short_s = sum(s.seconds for s in shares if s.cause == "power_limited")
    if short_s >= limit.POWER_LATE_S and not review.refused:
        return True
    below_c = review.schedule.peak_c - review.peak_c
    if review.refused or below_c < limit.PEAK_MISSED_C or review.analysed.alignment.stops_inside:
        return False
    return bool(power_shortfall(review, review.schedule.peak_index))


SOURCE = {"kiln": "leak-default, vent-default", "default": "cooling-default"}


def of_cooling(review: Review) -> Iterator[Finding]:
    """Yield what the cooling tells."""
    yield from _quicker(review)
    yield from _pace(review)
    if (
        review.cooling is None
        and not review.refused
        and review.analysed.alignment.complete
        and review.schedule.peak_c > limit.COOLING_TOLD_C
        and review.quickening is None
    ):
        yield Finding(
            "cooling_not_logged",
            "note",
            "The log ends with the program; the cooling is not in it.",
            next_step="Leave the logger running: cooling shows how tight the kiln is.",
        )


def _quicker(review: Review) -> Iterator[Finding]:
    say = Wording(review.schedule.unit)
    found = review.quickening
    if found is None:
        return
    hot = found.at_c >= limit.OPENED_HOT_C
    when = f"{format_duration(found.at_s - review.analysed.alignment.start_s)} after its start"
    if review.log.trace.started is not None:
        when = f"at {after(review.log.trace.started, found.at_s):%H:%M}, {when}"
    yield Finding(
        "lid_opened",
        "check" if hot else "note",
        f"From {say.degrees(found.at_c)} on, {when}, the kiln suddenly cooled faster: at up to "
        f"{say.rate(found.after_c_per_h)}, after {say.rate(found.before_c_per_h)} "
        "before. Lid, door, bung or vent was opened there; a log can't show which.",
        evidence="a closed kiln only ever cools more slowly as it gets colder",
        next_step=f"Keep it closed until {say.degrees(100.0)} or what its manual says, if "
        "the ware cracked; hot air and radiant heat burn."
        if hot
        else "Let it cool closed if the ware is thick; hot air and radiant heat burn.",
        source="quartz-inversion-entry",
        at_s=found.at_s,
        confidence="likely",
    )


def _pace(review: Review) -> Iterator[Finding]:
    say = Wording(review.schedule.unit)
    cooling = review.cooling
    if cooling is None or cooling.closed_share is None or cooling.usual_share is None:
        return
    closed_to_c = cooling.to_c if review.quickening is None else review.quickening.at_c
    if cooling.from_c - closed_to_c < limit.PACE_C:
        return
    least, most = cooling.usual_share
    share = cooling.closed_share
    if cooling.basis == "kiln" and review.kiln is not None and is_learnt(review.kiln):
        # A forecast's range is for its own load; firings differ by theirs.
        least, most = min(least, limit.LEARNT_COOLING[0]), max(most, limit.LEARNT_COOLING[1])
    if least <= share <= most:
        return
    fitted = cooling.basis == "kiln"
    learnt = review.kiln is not None and is_learnt(review.kiln)
    what = "this kiln's model" if fitted else "the default curve"
    span = f"from {say.degrees(cooling.from_c)} to {say.degrees(cooling.to_c)}"
    if review.quickening is not None:
        span = f"until it suddenly cooled faster at {say.degrees(review.quickening.at_c)}"
    evidence_words = (
        f"{share:.2f} times what {what} gives; {least:.2f} to {most:.2f} times is usual"
    )
    if share < least:
        # Kilns differ by more than a vent makes, so only one known from its logs gives it away.
        usual = "" if learnt else ", or a kiln that always cools so"
        yield Finding(
            "vent_or_leak",
            "check" if learnt else "note",
            f"Natural cooling {span} was faster than {what}: a vent left on, a gap at lid or door, "
            f"walls that let more through, a smaller load{usual}. The log can't show which.",
            evidence=evidence_words,
            next_step="See whether a vent was on and whether lid or door closes all round; the "
            "same load in an earlier log (--compare) shows whether it is new.",
            source=SOURCE[cooling.basis],
            at_s=cooling.start_s,
            confidence="likely" if learnt else "possible",
        )
    else:
        yield Finding(
            "slow_cooling",
            "note",
            f"Natural cooling {span} was slower than {what}: a heavier load, more furniture or a "
            "tighter kiln. Nothing is wrong with that.",
            evidence=evidence_words,
            next_step="Plan the opening by this firing rather than by the default."
            if not fitted
            else "Learn the kiln from its logs: firing kiln fit.",
            source=SOURCE[cooling.basis],
            at_s=cooling.start_s,
            confidence="possible",
        )
