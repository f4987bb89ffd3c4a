"""Findings about natural cooling: a lid, a vent or a leak, or slower than was to be expected."""

from collections.abc import Iterator

from firing.clock import after
from firing.review import thresholds as limit
from firing.review.findings.power import is_learnt
from firing.review.result import Finding, Review
from firing.review.wording import Wording
from firing.units import format_duration

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
