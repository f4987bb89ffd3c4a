"""Where the time went: every segment's excess split into causes that add up to it exactly.

Each cause is one comparison, made where the log allows it and shown as its evidence; what none of
them explains stays under ``unexplained`` and is never spread over the others.
"""

from collections.abc import Sequence
from dataclasses import replace

from firing.review.alignment import Passage
from firing.review.program_deviation import OTHER_LEVEL_C
from firing.review.ramp import SAME_RATE, RampRun, fully_on, interruptions, ramp_run
from firing.review.ramp_causes import ramp_causes
from firing.review.resample import ResampledTrace
from firing.review.result import Cause, CauseShare
from firing.review.segment_causes import FREE_RAMP, SMALL_S, Book, book_interruptions, small_s
from firing.schedule.schedule import Schedule, Segment
from firing.schedule.timeline import ForecastSegment
from firing.units import format_duration

LAG_S = 900.0
"""A controller that runs by the clock counts a hold from when the set-point arrives: up to this
much of a late arrival is the same minutes as the hold's shortfall, and neither is a cause [s]."""
SHORT_DRYING = (
    "Check the hold keyed in: so cold it dries the ware, so look for cracks before it is shortened "
    "on purpose.",
)
DRYING_C = 250.0
"""Up to here a hold is there to drive water out, not for heat-work [°C]."""


def account_segment(
    schedule: Schedule,
    planned: ForecastSegment,
    passage: Passage,
    before: Passage | None,
    trace: ResampledTrace,
    late_s: float = 0.0,
) -> tuple[CauseShare, ...]:
    """Split one segment's excess over its plan into causes.

    Parameters
    ----------
    schedule : Schedule
        The plan.
    planned : ForecastSegment
        The segment's own times.
    passage, before : Passage
        Where the segment, and the one before it if there is one, lie in the log.
    trace : ResampledTrace
        The log.
    late_s : float
        How late the segment began, against the plan [s]: what a ramp may have made up.

    Returns
    -------
    tuple of CauseShare
        They add up to actual less planned seconds; empty for what the log does not hold whole.
    """
    start_s, ramp_end_s, end_s = passage.start_s, passage.ramp_end_s, passage.end_s
    if start_s is None or ramp_end_s is None or end_s is None:
        return ()
    segment = schedule.segments[planned.index]
    book = Book(schedule.unit, [], late_s)
    planned_ramp_s = planned.planned_s - segment.hold_s
    ramp_excess_s = (ramp_end_s - start_s) - planned_ramp_s
    hold_excess_s = (end_s - ramp_end_s) - segment.hold_s
    run = None
    if segment.rate_c_per_h is not None and ramp_end_s > start_s:
        heats = segment.target_c > planned.from_c
        run = ramp_run(trace, start_s, ramp_end_s, segment.rate_c_per_h, heats=heats)
    lag_s = _lag_s(ramp_excess_s, hold_excess_s, run, segment.rate_c_per_h)
    ramp_causes(book, schedule, planned, passage, before, trace, run, ramp_excess_s - lag_s)
    at_limit = run is not None and (run.fades or (run.full_duty_share or 0.0) >= 0.5)
    full = fully_on(trace, slice(trace.index(ramp_end_s), trace.index(end_s) + 1))
    full_s = 0.0 if full is None else float(full.mean()) * (end_s - ramp_end_s)
    _hold_causes(book, segment, passage, trace, hold_excess_s + lag_s, at_limit, full_s)
    excess_s = (end_s - start_s) - planned.planned_s
    cools = segment.drive == "off"
    return _closed(book.shares, excess_s, "what kilns cool by themselves varies so much" * cools)


def _lag_s(
    ramp_excess_s: float, hold_excess_s: float, run: RampRun | None, rate_c_per_h: float | None
) -> float:
    """Return the seconds by which a late arrival only shortened the hold, not the firing.

    By the clock, or once the reading is near enough for it, a controller counts the hold while the
    kiln still comes up: those minutes are the ramp's excess and the hold's shortfall at once.  An
    early arrival lengthens it likewise.
    """
    if ramp_excess_s * hold_excess_s >= 0.0:
        return 0.0
    both_s = min(abs(ramp_excess_s), abs(hold_excess_s))
    kept = None if run is None else run.kept_c_per_h
    as_set = kept is None or rate_c_per_h is None or abs(kept / rate_c_per_h - 1.0) <= SAME_RATE
    if both_s > LAG_S and not (as_set and ramp_excess_s > 0.0):
        return 0.0  # more than a lag: both were keyed in otherwise
    return both_s if ramp_excess_s > 0.0 else -both_s


def _closed(
    shares: Sequence[CauseShare], excess_s: float, words: str = ""
) -> tuple[CauseShare, ...]:
    """Add what is left as unexplained, so that the shares add up to the excess."""
    left_s = excess_s - sum(share.seconds for share in shares)
    if abs(left_s) < 1e-6:
        return tuple(shares)
    evidence = "edges are found to a minute or two" if abs(left_s) <= 2 * SMALL_S else words
    return (*shares, CauseShare("unexplained", left_s, evidence))


def _hold_causes(
    book: Book,
    segment: Segment,
    passage: Passage,
    trace: ResampledTrace,
    excess_s: float,
    at_limit: bool,
    full_s: float,
) -> None:
    assert passage.ramp_end_s is not None
    assert passage.end_s is not None
    held_s = passage.end_s - passage.ramp_end_s
    level_c = segment.target_c if passage.level_c is None else passage.level_c
    where = f"the hold at {book.degrees(level_c)}"
    left_s = excess_s
    if held_s > 0 and excess_s > 0:
        gaps = interruptions(trace, passage.ramp_end_s, passage.end_s)
        left_s -= book_interruptions(book, gaps, left_s, where)
    far = segment.target_c - level_c > OTHER_LEVEL_C
    fully = full_s > 0.5 * held_s and level_c < segment.target_c
    if at_limit and left_s > small_s(trace) and (far or fully):
        words = (
            f"the kiln stood at its limit near {book.degrees(level_c)} for "
            f"{format_duration(held_s)}, below the {book.degrees(segment.target_c)} set"
        )
        book.add("power_limited", left_s, words)
    elif abs(left_s) > small_s(trace):
        cause: Cause = "longer_hold" if left_s > 0 else "shorter_hold"
        words = (
            f"{where} lasted {format_duration(held_s)}, planned {format_duration(segment.hold_s)}"
        )
        dries = cause == "shorter_hold" and level_c <= DRYING_C
        book.add(cause, left_s, words, SHORT_DRYING if dries else None)


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

    Parameters
    ----------
    segments : sequence of sequences of CauseShare
        What each segment's account says.
    before : sequence of CauseShare
        What belongs to no segment, such as a late start.
    excess_s : float
        Actual less planned seconds of the whole firing.
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
        if lost_s - seconds >= SMALL_S and cause != "waiting":
            evidence += f"; {format_duration(lost_s - seconds)} of it was made up later"
        total.append(CauseShare(cause, seconds, evidence, telling[0].suggestions))
    # What stays open keeps its reason where there is one worth telling.
    reasons = [
        s.evidence
        for s in by_cause.get("unexplained", [])
        if s.evidence and abs(s.seconds) >= LAG_S
    ]
    closed = [
        replace(share, evidence="; ".join(reasons), suggestions=FREE_RAMP)
        if share.cause == "unexplained" and reasons
        else share
        for share in _closed(total, excess_s)
    ]
    return tuple(sorted(closed, key=lambda share: -abs(share.seconds)))


LOSSES: tuple[Cause, ...] = ("power_limited", "interruption", "waiting")
MADE_UP: tuple[Cause, ...] = ("other_program", "shorter_hold")
LEAST_S = 300.0
"""Less lost is nothing to make up [s]."""
MOST_SHARE = 1.2
MOST_S = 300.0
"""A program faster by more than was lost, and the edges' own error, was keyed in so."""
WORDS = "the kiln caught up with a clock that had not waited for it"


def recovered_time(
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
