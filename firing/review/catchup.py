"""Time made up by a controller whose clock does not wait: no program of its own.

While the kiln is behind for want of power, or after an interruption, such a clock goes on.  What
comes next then seems to run faster than planned, to begin elsewhere, or to be held for less, until
the kiln is with its set-point again; never by more than had been lost.
"""

from collections.abc import Sequence
from dataclasses import replace

from firing.review.verdict import Cause, CauseShare

LOSSES: tuple[Cause, ...] = ("power_limited", "interruption", "waiting")
MADE_UP: tuple[Cause, ...] = ("other_program", "shorter_hold")
LEAST_S = 300.0
"""Less lost is nothing to make up [s]."""
MOST_SHARE = 1.2
MOST_S = 300.0
"""A program faster by more than was lost, and the edges' own error, was keyed in so."""
WORDS = "the kiln caught up with a clock that had not waited for it"


def caught_up(
    accounts: Sequence[Sequence[CauseShare]],
) -> list[tuple[CauseShare, ...]]:
    """Return the segments' accounts with the time made up told as that.

    Parameters
    ----------
    accounts : sequence of sequences of CauseShare
        What each segment's account says, in their order.

    Returns
    -------
    list of tuple of CauseShare
        The same sums; ``waiting`` below zero is time made up.
    """
    lost_s = 0.0
    result: list[tuple[CauseShare, ...]] = []
    for shares in accounts:
        faster_s = -sum(s.seconds for s in shares if s.cause in MADE_UP)
        told = tuple(shares)
        # An interruption may be made up within its own segment, power only where it asks for less.
        away_s = lost_s + sum(s.seconds for s in shares if s.cause == "interruption")
        if away_s >= LEAST_S and 0.0 < faster_s <= MOST_SHARE * away_s + MOST_S:
            told = tuple(_told(share) for share in shares)
        result.append(told)
        lost_s = max(lost_s + sum(s.seconds for s in told if s.cause in LOSSES), 0.0)
    return result


def _told(share: CauseShare) -> CauseShare:
    if share.cause not in MADE_UP or share.seconds >= 0.0:
        return share
    words = f"{share.evidence}: {WORDS}" if share.evidence else WORDS
    return replace(share, cause="waiting", evidence=words, suggestions=SUGGESTION)


SUGGESTION = ("Let the controller wait for the kiln, if it can; the plan's rates are then kept.",)
