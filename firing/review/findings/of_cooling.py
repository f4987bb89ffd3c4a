"""Findings about natural cooling: a lid, a vent or a leak, or slower than was to be expected."""

from collections.abc import Iterator

from firing.review.findings.evidence import Evidence
from firing.review.verdict import Finding

SOURCE = {"kiln": "leak-default, vent-default", "default": "cooling-default"}
WARE_C = 300.0
"""Opened above this, ware is at risk: quartz and cristobalite invert at 573 and 226 °C [°C]."""

CLEARLY = 0.9
"""A kiln that was never fitted to a log may be off by about a tenth itself."""


def of_cooling(evidence: Evidence) -> Iterator[Finding]:
    """Yield what the cooling tells."""
    yield from _quicker(evidence)
    yield from _pace(evidence)
    if (
        evidence.cooling is None
        and not evidence.refused
        and evidence.alignment.complete
        and evidence.schedule.peak_c > 300.0
        and evidence.quickening is None
    ):
        yield Finding(
            "cooling_not_logged",
            "note",
            "The log ends with the program; the cooling is not in it.",
            next_step="Leave the logger running: cooling tells how tight the kiln is.",
        )


def _quicker(evidence: Evidence) -> Iterator[Finding]:
    found = evidence.quickening
    if found is None:
        return
    hot = found.at_c >= WARE_C
    yield Finding(
        "lid_opened",
        "check" if hot else "note",
        f"From {evidence.degrees(found.at_c)} on the kiln suddenly cooled faster: at up to "
        f"{evidence.rate(found.after_c_per_h)}, after {evidence.rate(found.before_c_per_h)} "
        "before. Lid, door, bung or vent was opened there; which of them a log cannot tell.",
        evidence="a closed kiln only ever cools more slowly as it gets colder",
        next_step="Keep it closed until 100 °C or what its manual says, if the ware cracked; hot "
        "air and radiant heat burn."
        if hot
        else "Let it cool closed if the ware is thick; hot air and radiant heat burn.",
        source="quartz-inversion-entry",
        at_s=found.at_s,
        confidence="likely",
    )


def _pace(evidence: Evidence) -> Iterator[Finding]:
    cooling = evidence.cooling
    if cooling is None or cooling.closed_share is None or cooling.usual_share is None:
        return
    least, most = cooling.usual_share
    share = cooling.closed_share
    if least <= share <= most:
        return
    fitted = cooling.basis == "kiln"
    learnt = evidence.kiln is not None and evidence.kiln.fitted.learnt is not None
    clear = learnt or share < CLEARLY * least
    what = "this kiln's model" if fitted else "the default curve"
    span = f"from {evidence.degrees(cooling.from_c)} to {evidence.degrees(cooling.to_c)}"
    if evidence.quickening is not None:
        span = f"until it suddenly cooled faster at {evidence.degrees(evidence.quickening.at_c)}"
    evidence_words = (
        f"{share:.2f} times what {what} gives; {least:.2f} to {most:.2f} times is usual"
    )
    if share < least:
        yield Finding(
            "vent_or_leak",
            "check" if clear else "note",
            f"Natural cooling {span} was faster than {what}: a vent left on, a gap at the lid, "
            "walls that let more through, or a smaller load. The log cannot tell these apart.",
            evidence=evidence_words,
            next_step="See whether a vent was on and whether the lid closes all round; the same "
            "load in an earlier log (--compare) tells whether it is new.",
            source=SOURCE[cooling.basis],
            at_s=cooling.start_s,
            confidence="likely" if clear else "possible",
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
