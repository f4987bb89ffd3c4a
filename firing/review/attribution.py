"""Where the time of a firing went: its segments' causes with time made up, and their sum."""

from collections.abc import Sequence
from dataclasses import replace

from firing.review import thresholds as limit
from firing.review.gaps import LACKED
from firing.review.result import Cause, CauseShare
from firing.review.segment_causes import closed
from firing.units import format_duration

LOSSES: tuple[Cause, ...] = ("power_limited", "interruption", "waiting")
MADE_UP: tuple[Cause, ...] = ("other_program", "shorter_hold")
MADE_UP_WORDS = "the kiln caught up with a clock that had not waited for it"
MADE_UP_STEPS = (
    "Let the controller wait for the kiln, if it can; the plan's rates are then kept.",
)
FREE_RAMP_STEPS = ("Give a kiln file (--kiln), best one learnt from this kiln's logs.",)


def recovered_time(
    accounts: Sequence[Sequence[CauseShare]],
) -> list[tuple[CauseShare, ...]]:
    """Return the segments' accounts with time made up told as that: ``waiting`` below zero."""
    lost_s = 0.0
    result: list[tuple[CauseShare, ...]] = []
    for shares in accounts:
        faster_s = -sum(s.seconds for s in shares if s.cause in MADE_UP)
        told = tuple(shares)
        # An interruption may be made up within its own segment, power only where it asks for less.
        away_s = lost_s + sum(s.seconds for s in shares if s.cause == "interruption")
        if (
            away_s >= limit.LOST_LEAST_S
            and 0.0 < faster_s <= limit.MADE_UP_SHARE * away_s + limit.MADE_UP_S
        ):
            told = tuple(_told(share) for share in shares)
        result.append(told)
        lost_s = max(lost_s + sum(s.seconds for s in told if s.cause in LOSSES), 0.0)
    return result


def _told(share: CauseShare) -> CauseShare:
    if share.cause not in MADE_UP or share.seconds >= 0.0:
        return share
    words = f"{share.evidence}: {MADE_UP_WORDS}" if share.evidence else MADE_UP_WORDS
    return replace(share, cause="waiting", evidence=words, suggestions=MADE_UP_STEPS)


def _made_up(sums: dict[Cause, float]) -> dict[Cause, float]:
    """Return the causes' seconds with time made up set against the time that was lost before.

    A ramp that went faster than its rate is a kiln catching up with the clock: over the firing it
    takes back what want of power or an interruption had cost, the largest loss first.
    """
    result = dict(sums)
    made_up_s = -min(result.get("waiting", 0.0), 0.0)
    if made_up_s == 0.0:
        return result
    losses: tuple[Cause, ...] = ("power_limited", "interruption")
    for cause in sorted((c for c in losses if result.get(c, 0.0) > 0), key=lambda c: -result[c]):
        back_s = min(made_up_s, result[cause])
        result[cause] -= back_s
        result["waiting"] += back_s
        made_up_s -= back_s
    return result


def whole_account(
    segments: Sequence[Sequence[CauseShare]], before: Sequence[CauseShare], excess_s: float
) -> tuple[CauseShare, ...]:
    """Add up the causes over the firing, largest first; they add up to `excess_s`.

    `before` are what belongs to no segment, such as a late start.
    """
    by_cause: dict[Cause, list[CauseShare]] = {}
    for share in [*before, *(share for shares in segments for share in shares)]:
        by_cause.setdefault(share.cause, []).append(share)
    total: list[CauseShare] = []
    sums = _made_up(
        {cause: sum(share.seconds for share in shares) for cause, shares in by_cause.items()}
    )
    for cause, shares in by_cause.items():
        seconds, lost_s = sums[cause], sum(share.seconds for share in shares)
        if cause == "unexplained" or (seconds == 0.0 and lost_s != 0.0):
            continue
        telling = sorted(shares, key=lambda share: -abs(share.seconds))[:2]
        evidence = "; ".join(share.evidence for share in telling if share.evidence)
        if lost_s - seconds >= limit.CAUSE_LEAST_S and cause != "waiting":
            evidence += f"; {format_duration(lost_s - seconds)} of it was made up later"
        total.append(CauseShare(cause, seconds, evidence, telling[0].suggestions))
    # What stays open keeps its reason where there is one worth telling.
    reasons = dict.fromkeys(
        s.evidence
        for s in by_cause.get("unexplained", [])
        if s.evidence and abs(s.seconds) >= limit.LAG_S
    )
    # A kiln file cannot tell what nobody logged.
    lacked = all(reason.startswith(LACKED) for reason in reasons)
    steps = () if lacked else FREE_RAMP_STEPS
    total_shares = [
        replace(share, evidence="; ".join(reasons), suggestions=steps)
        if share.cause == "unexplained" and reasons
        else share
        for share in closed(total, excess_s)
    ]
    return tuple(sorted(total_shares, key=lambda share: -abs(share.seconds)))
