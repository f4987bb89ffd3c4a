"""Short of power: which of power, losses and load fits the log, and what cannot be told apart."""

from collections.abc import Iterator

from firing.errors import FiringError
from firing.review import thresholds as limit
from firing.review.result import Finding, Review
from firing.review.wording import Wording


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
    return (
        f"in segment {index + 1} it fell behind from {say.degrees(run.behind_from_c)} on: "
        f"{say.rate(run.behind_c_per_h)} where {say.rate(planned_c_per_h)} was set, "
        f"{ground}"
    )


def of_power(review: Review) -> Iterator[Finding]:
    """Fit the kiln to this log alone where it was short of power, and say what fits.

    The ratios of power and loss to heat capacity are what a log tells without an anchor (see
    `firing.kiln.fit`): each cause of a delay moves them its own way.
    """
    if review.kiln_unused:
        yield Finding(
            "kiln_not_used",
            "check",
            "The kiln file's model could not fire this plan, so the log is compared without it.",
            evidence=review.kiln_unused,
            next_step="Mend the kiln file; 'firing forecast' with --kiln says the same.",
        )
        return
    if not _short(review):
        return
    if review.kiln is None:
        yield Finding(
            "power_cause_open",
            "note",
            "Why the kiln was short of power this log alone does not tell: worn elements, a dead "
            "bank, a low supply, a heavier load and higher losses all make it late alike.",
            next_step="Give a kiln file (--kiln): set against that kiln the log tells load and "
            "losses from power. Which of the elements or the supply it is, volts and amps tell, "
            "measured under load by a competent person.",
            source="kiln-fit-choices",
        )
        return
    from firing.kiln.fit import fit_kiln
    from firing.review.fit_input import fit_input_of

    try:
        record = fit_input_of(review.log, schedule=review.schedule, channel=review.channel + 1)
        fit = fit_kiln(review.kiln, [record])
    except FiringError as error:
        yield Finding(
            "power_cause_open",
            "note",
            "What made the kiln short of power cannot be told from this log.",
            evidence=str(error),
            next_step="Have volts and amps measured under load by a competent person.",
            confidence="possible",
        )
        return
    power, loss = fit.power_over_capacity, fit.loss_over_capacity
    odd = [
        (words, estimate)
        for words, estimate in (("power", power), ("losses", loss))
        if abs(estimate.value - 1.0) > max(limit.MULTIPLIER_OFF, 2.0 * estimate.se)
    ]
    seen = (
        f"power over heat capacity {power.value:.2f} ± {power.se:.2f}, losses over heat capacity "
        f"{loss.value:.2f} ± {loss.se:.2f} of the kiln file's; less power lowers the first alone, "
        "higher losses raise the second alone, and more to heat lowers both alike"
    )
    # More to heat lowers both ratios alike; less power only the one, higher losses raise the other.
    against_loss = power.value / loss.value
    low_power = (
        against_loss < 1.0 - 2.0 * limit.MULTIPLIER_OFF
        and loss.value < 1.0 + 2.0 * limit.MULTIPLIER_OFF
    )
    low_both = power.value < 1.0 - limit.MULTIPLIER_OFF and loss.value < 1.0 - limit.MULTIPLIER_OFF
    if not odd:
        message = "The kiln did what its file expects: the plan asks more than it can give."
        step = "Plan the stretch at the rates that 'firing forecast --kiln' shows."
    elif low_power:
        message = (
            "Less power fits best: worn elements, a dead bank or a low supply, which a log cannot "
            "tell apart."
        )
        step = (
            "Have volts and amps of every bank measured under load by a competent person: volts "
            "low points to the supply, amps low on one bank to that bank, on all to worn elements."
        )
    elif low_both:
        message = (
            "A heavier load, or walls that take up more heat, fits best: power and losses are both "
            "low against what had to be heated."
        )
        step = "Weigh the load and give it in a load file; compare with a firing of known load."
    elif loss.value > 1.0 + limit.MULTIPLIER_OFF:
        message = (
            "Higher losses fit best: a vent left on, a gap, or tired walls, which a log cannot "
            "tell apart."
        )
        step = "Fire once with the vent off and the lid checked, and compare the two logs."
    else:
        message = "No single cause fits: this log is unlike the kiln its file describes."
        step = "Check the kiln file, then learn it from several logs with 'firing kiln fit'."
    learnt = review.kiln.fitted.learnt is not None
    if odd and not learnt:
        # A file's own losses and the load's weight are known to tens of per cent: as far off as any
        # of these causes would put them.
        message += (
            " The kiln file was never fitted to a firing that kept its time, so this is a first "
            "guess: its own losses may be as far off."
        )
        step = (
            f"Fit the file to such a firing ('firing kiln fit … --write') and review again. {step}"
        )
    yield Finding(
        "power_cause",
        "check" if odd and learnt else "note",
        message,
        evidence=seen,
        next_step=step,
        source="kiln-fit-choices",
        confidence="likely" if learnt and power.identifiable and loss.identifiable else "possible",
    )


def _short(review: Review) -> bool:
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
