"""Short of power: which of power, losses and load fits the log, and what cannot be told apart."""

from collections.abc import Iterator

from firing.errors import FiringError
from firing.review.findings.evidence import Evidence
from firing.review.ramp import ramp_run
from firing.review.result import Finding

LEAST_S = 900.0


def weakness(evidence: Evidence, index: int) -> str:
    """Return what shows that a segment's ramp was short of power, as a clause; else nothing.

    Parameters
    ----------
    evidence : Evidence
        The review so far.
    index : int
        The segment, from 0.
    """
    passage, segment = evidence.alignment.passages[index], evidence.schedule.segments[index]
    start_s = passage.start_s
    if start_s is None:
        return ""
    end_s = evidence.alignment.end_s if passage.ramp_end_s is None else passage.ramp_end_s
    if segment.rate_c_per_h is None:
        return f"segment {index + 1} asks for all the power there is"
    if end_s - start_s < LEAST_S:
        return ""
    run = ramp_run(evidence.trace, start_s, end_s, segment.rate_c_per_h, heats=True)
    if run.behind_from_c is None or run.behind_c_per_h is None:
        return ""
    fully_on = (run.full_duty_share or 0.0) >= 0.5
    if not fully_on and not run.fades:
        return ""
    ground = (
        "with the elements fully on"
        if fully_on
        else "more and more slowly as it got hotter, as a kiln at its limit does"
    )
    return (
        f"in segment {index + 1} it fell behind from {evidence.degrees(run.behind_from_c)} on: "
        f"{evidence.rate(run.behind_c_per_h)} where {evidence.rate(segment.rate_c_per_h)} was set, "
        f"{ground}"
    )


TELLING_S = 600.0
MISSED_C = 8.0
"""A peak missed by more than a controller's own error [°C]."""
OFF = 0.05
"""A multiplier this far from the kiln file's is named, if it is also twice its standard error."""


def of_power(evidence: Evidence) -> Iterator[Finding]:
    """Fit the kiln to this log alone where it was short of power, and say what fits.

    The ratios of power and loss to heat capacity are what a log tells without an anchor (see
    `firing.kiln.fit`): each cause of a delay moves them its own way.
    """
    if evidence.unusable:
        yield Finding(
            "kiln_not_used",
            "check",
            "The kiln file's model could not fire this plan, so the log is compared without it.",
            evidence=evidence.unusable,
            next_step="Mend the kiln file; 'firing forecast' with --kiln says the same.",
        )
        return
    if not _short(evidence):
        return
    if evidence.kiln is None:
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
        record = fit_input_of(
            evidence.log, schedule=evidence.schedule, channel=evidence.channel + 1
        )
        fit = fit_kiln(evidence.kiln, [record])
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
        if abs(estimate.value - 1.0) > max(OFF, 2.0 * estimate.se)
    ]
    seen = (
        f"power over heat capacity {power.value:.2f} ± {power.se:.2f}, losses over heat capacity "
        f"{loss.value:.2f} ± {loss.se:.2f} of the kiln file's; less power lowers the first alone, "
        "higher losses raise the second alone, and more to heat lowers both alike"
    )
    # More to heat lowers both ratios alike; less power only the one, higher losses raise the other.
    against_loss = power.value / loss.value
    low_power = against_loss < 1.0 - 2.0 * OFF and loss.value < 1.0 + 2.0 * OFF
    low_both = power.value < 1.0 - OFF and loss.value < 1.0 - OFF
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
    elif loss.value > 1.0 + OFF:
        message = (
            "Higher losses fit best: a vent left on, a gap, or tired walls, which a log cannot "
            "tell apart."
        )
        step = "Fire once with the vent off and the lid checked, and compare the two logs."
    else:
        message = "No single cause fits: this log is unlike the kiln its file describes."
        step = "Check the kiln file, then learn it from several logs with 'firing kiln fit'."
    learnt = evidence.kiln.fitted.learnt is not None
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


def _short(evidence: Evidence) -> bool:
    """Return whether want of power made the firing late, or kept it from its peak."""
    shares = (share for shares in evidence.accounts for share in shares)
    short_s = sum(s.seconds for s in shares if s.cause == "power_limited")
    if short_s >= TELLING_S and not evidence.refused:
        return True
    below_c = evidence.schedule.peak_c - evidence.peak_c
    if evidence.refused or below_c < MISSED_C or evidence.alignment.stops_inside:
        return False
    return bool(weakness(evidence, evidence.schedule.peak_index))
