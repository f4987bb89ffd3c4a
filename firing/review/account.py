"""Where the time went: every segment's excess split into causes that add up to it exactly.

Each cause is one comparison, made where the log allows it and shown as its evidence; what none of
them explains stays under ``unexplained`` and is never spread over the others.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from firing.course import ForecastSegment
from firing.kiln import natural
from firing.review.alignment import Passage
from firing.review.evenly import EvenTrace
from firing.review.pieces import Piece, keyed_pieces
from firing.review.ramp import (
    SAME_RATE,
    Interruption,
    RampRun,
    fully_on,
    interruptions,
    ramp_run,
)
from firing.review.verdict import Cause, CauseShare
from firing.schedule import Schedule, Segment
from firing.units import (
    SECONDS_PER_HOUR,
    TemperatureUnit,
    format_duration,
    format_rate,
    format_temperature,
)

SMALL_S = 120.0
"""Edges are found to about a minute or two: less than this is not given a cause [s]."""
SHORT_RAMP_S = 1200.0
"""A ramp shorter than this is too short to tell its rate's course [s]."""
LAG_S = 900.0
"""A controller that runs by the clock counts a hold from when the set-point arrives: up to this
much of a late arrival is the same minutes as the hold's shortfall, and neither is a cause [s]."""
OTHER_LEVEL_C = 8.0
"""A hold this far from its target is at another one [°C]."""
PLATEAU_S = 540.0
"""A stay of this long at another level was meant [s]."""
WARM_START_S = 300.0
"""A start from another temperature is told when it is worth this many seconds of the ramp."""

SUGGESTIONS: dict[Cause, tuple[str, ...]] = {
    "late_start": ("Set the start on the controller, or note when it was really started.",),
    "power_limited": (
        "Plan this stretch at the rate the kiln really kept; the clock then tells the truth.",
        "Have volts and amps measured under load by a competent person: worn elements and a low "
        "supply look the same in a log.",
    ),
    "interruption": (
        "Find out what switched off: supply, breaker, door switch or controller.",
        "Have the wiring looked at by a licensed electrician if no reason is found.",
    ),
    "other_program": ("Read the keyed-in program back against the plan before starting.",),
    "waiting": (
        "Plan this stretch at the rate the kiln really kept; the clock then tells the truth.",
        "Log the output as well: it tells whether the elements were fully on.",
    ),
    "longer_hold": ("Check the hold keyed in, and whether the controller waits for the kiln.",),
    "shorter_hold": ("Check the hold keyed in; the cone says whether it mattered.",),
    "slow_cooling": ("Plan this ramp at the rate the closed kiln keeps by itself.",),
    "fast_cooling": ("Keep the lid and the vents closed until the plan says otherwise.",),
    "unexplained": (),
}


@dataclass(slots=True)
class _Account:
    """The causes of one segment as they are found."""

    unit: TemperatureUnit
    shares: list[CauseShare]

    def add(self, cause: Cause, seconds: float, evidence: str) -> None:
        if seconds != 0.0:
            self.shares.append(CauseShare(cause, seconds, evidence, SUGGESTIONS[cause]))

    def degrees(self, temperature_c: float) -> str:
        return format_temperature(temperature_c, self.unit)

    def rate(self, rate_c_per_h: float) -> str:
        return format_rate(rate_c_per_h, self.unit)


def account_segment(
    schedule: Schedule,
    planned: ForecastSegment,
    passage: Passage,
    before: Passage | None,
    trace: EvenTrace,
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
    trace : EvenTrace
        The log.

    Returns
    -------
    tuple of CauseShare
        They add up to actual less planned seconds; empty for what the log does not hold whole.
    """
    start_s, ramp_end_s, end_s = passage.start_s, passage.ramp_end_s, passage.end_s
    if start_s is None or ramp_end_s is None or end_s is None:
        return ()
    segment = schedule.segments[planned.index]
    book = _Account(schedule.unit, [])
    planned_ramp_s = planned.planned_s - segment.hold_s
    ramp_excess_s = (ramp_end_s - start_s) - planned_ramp_s
    hold_excess_s = (end_s - ramp_end_s) - segment.hold_s
    run = None
    if segment.rate_c_per_h is not None and ramp_end_s > start_s:
        heats = segment.target_c > planned.from_c
        run = ramp_run(trace, start_s, ramp_end_s, segment.rate_c_per_h, heats=heats)
    lag_s = _lag_s(ramp_excess_s, hold_excess_s, run, segment.rate_c_per_h)
    _ramp_causes(book, schedule, planned, passage, before, trace, run, ramp_excess_s - lag_s)
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


def _ramp_causes(
    book: _Account,
    schedule: Schedule,
    planned: ForecastSegment,
    passage: Passage,
    before: Passage | None,
    trace: EvenTrace,
    run: RampRun | None,
    excess_s: float,
) -> None:
    assert passage.start_s is not None
    assert passage.ramp_end_s is not None
    segment = schedule.segments[planned.index]
    heats = segment.target_c > planned.from_c
    ramp_s = passage.ramp_end_s - passage.start_s
    if segment.rate_c_per_h is None:
        if not _usual_cooling(planned, segment, excess_s):
            _free_ramp(book, heats, excess_s)
        return
    where = f"segment {planned.index + 1}"
    if run is None:
        words = f"the clock ran through {where} while the kiln was still behind"
        book.add("waiting", excess_s, words)
        return
    left_s = excess_s
    # Where the ramp began and ended, if not where the plan says, is part of what was keyed in.
    short = before is not None and not _stayed(before, trace)
    begin: Cause = _behind(heats=True, seconds=excess_s) if short else "other_program"
    for cause, (seconds, words) in (
        (begin, _other_begin(book, planned, passage, segment.rate_c_per_h, where)),
        ("other_program", _other_end(book, planned, passage, run, trace, where)),
    ):
        # … as far as it shows in the time: a set-point may start from elsewhere than the reading.
        shown_s = max(min(seconds, left_s), 0.0) if left_s > 0 else min(max(seconds, left_s), 0.0)
        if abs(shown_s) >= WARM_START_S:
            book.add(cause, shown_s, words)
            left_s -= shown_s
    if ramp_s < SHORT_RAMP_S:
        if abs(left_s) > 2 * small_s(trace):
            words = f"{where} took {format_duration(ramp_s)} to {book.degrees(segment.target_c)}"
            book.add(_behind(heats, left_s), left_s, words)
        return
    rate_c_per_h = segment.rate_c_per_h
    keyed_s, keyed_words = _keyed_rate(book, schedule, planned, passage, run)
    pieces: tuple[Piece, ...] = ()
    if heats and not run.interruptions and abs(left_s - keyed_s) > 2 * small_s(trace):
        pieces = keyed_pieces(
            trace,
            passage.start_s,
            passage.ramp_end_s,
            rate_c_per_h,
            _goes_on_at(schedule, planned.index),
        )
    in_pieces_s = sum(piece.excess_s(rate_c_per_h) for piece in pieces)
    power_s, ground = (0.0, "")
    if heats and not keyed_s:
        power_s, ground = _short_of_power(run, planned, left_s - run.interrupted_s)
    # One other rate or several stretches: whichever leaves less unexplained.
    if pieces and power_s <= small_s(trace) and abs(left_s - in_pieces_s) < abs(left_s - keyed_s):
        for piece in pieces:
            _book_piece(book, schedule, planned, piece, where)
        left_s -= in_pieces_s
    else:
        book.add("other_program", keyed_s, keyed_words)
        left_s -= keyed_s
    left_s -= _interrupted(book, run.interruptions, left_s, where)
    words = _behind_words(book, run, segment, where, left_s, heats)
    if heats and left_s > small_s(trace):
        power_s, ground = _short_of_power(run, planned, left_s)
        if power_s > small_s(trace):
            book.add("power_limited", power_s, f"{words}; {ground}")
            left_s -= power_s
    if abs(left_s) > small_s(trace):
        book.add(_behind(heats, left_s), left_s, words)


def _goes_on_at(schedule: Schedule, index: int) -> float | None:
    """Return the rate of the next segment if it climbs on without a stay between [°C/h]."""
    if schedule.segments[index].hold_s > 0 or index + 1 >= len(schedule.segments):
        return None
    after = schedule.segments[index + 1]
    return after.rate_c_per_h if after.target_c > schedule.segments[index].target_c else None


def _short_of_power(run: RampRun, planned: ForecastSegment, left_s: float) -> tuple[float, str]:
    """Return how much of a delay the kiln's power explains, and on what ground.

    The logged duty decides; without one the kiln model, and beyond it the log's own course.
    """
    if run.full_duty_share is not None:
        share = run.full_duty_share
        if not run.by_duty:
            return left_s, "the set-point stood well above the reading"
        return left_s * share, f"the elements were fully on for {100 * share:.0f} % of the delay"
    if run.fades:
        return left_s, "it slowed steadily as it got hotter, as a kiln at its limit does"
    expected_s = planned.forecast_s - planned.planned_s
    if planned.limited_by == "power" and expected_s > 0:
        return min(left_s, expected_s), "the kiln model expects as much"
    return 0.0, ""


def small_s(trace: EvenTrace) -> float:
    """Return the seconds below which a difference is not given a cause: the edges' own error."""
    return max(SMALL_S, 0.8 * trace.step_s)


def _usual_cooling(planned: ForecastSegment, segment: Segment, excess_s: float) -> bool:
    """Return whether a kiln left to cool took what kilns like the default curve take.

    The curve is known to a factor only: what lies within it has no cause.
    """
    if segment.drive != "off":
        return False
    planned_s = planned.planned_s - segment.hold_s
    slow, fast = natural.COOLING_FACTOR_RANGE
    shortest_s = planned_s * natural.COOLING_FACTOR / fast
    longest_s = planned_s * natural.COOLING_FACTOR / slow
    return shortest_s <= planned_s + excess_s <= longest_s


def _free_ramp(book: _Account, heats: bool, excess_s: float) -> None:
    words = "no rate was set; compared with the default kiln curve, not with this kiln"
    if heats:
        book.add("power_limited", excess_s, words)
    else:
        book.add("slow_cooling" if excess_s > 0 else "fast_cooling", excess_s, words)


def _stayed(passage: Passage, trace: EvenTrace) -> bool:
    """Return whether a segment stayed at its level, so that the level was meant."""
    if passage.ramp_end_s is None or passage.end_s is None:
        return False
    return passage.end_s - passage.ramp_end_s >= max(PLATEAU_S, 2.0 * trace.step_s)


def _other_begin(
    book: _Account, planned: ForecastSegment, passage: Passage, rate_c_per_h: float, where: str
) -> tuple[float, str]:
    """Return the seconds a ramp took more for beginning elsewhere than planned."""
    if passage.from_c is None:
        return 0.0, ""
    sign = 1.0 if planned.end_c > planned.from_c else -1.0
    seconds = sign * (planned.from_c - passage.from_c) / rate_c_per_h * SECONDS_PER_HOUR
    begun, meant = book.degrees(passage.from_c), book.degrees(planned.from_c)
    return seconds, f"{where} began at {begun}, planned {meant}"


def _other_end(
    book: _Account,
    planned: ForecastSegment,
    passage: Passage,
    run: RampRun,
    trace: EvenTrace,
    where: str,
) -> tuple[float, str]:
    """Return the seconds a ramp took more for being sent elsewhere than planned."""
    level_c, rate_c_per_h = passage.level_c, run.kept_c_per_h or run.mean_c_per_h
    # A kiln that only failed to get there falls behind first; its top may look flat all the same.
    sure = run.kept_c_per_h is not None or _stayed(passage, trace)
    if level_c is None or rate_c_per_h <= 0 or not sure or run.behind_from_c is not None:
        return 0.0, ""
    if abs(level_c - planned.end_c) < OTHER_LEVEL_C:
        return 0.0, ""
    sign = 1.0 if planned.end_c > planned.from_c else -1.0
    seconds = sign * (level_c - planned.end_c) / rate_c_per_h * SECONDS_PER_HOUR
    return (
        seconds,
        f"{where} went to {book.degrees(level_c)}, planned {book.degrees(planned.end_c)}",
    )


def _keyed_rate(
    book: _Account, schedule: Schedule, planned: ForecastSegment, passage: Passage, run: RampRun
) -> tuple[float, str]:
    """Return the seconds a ramp took more for running straight at another rate; 0 if it did not."""
    rate_c_per_h, kept = schedule.segments[planned.index].rate_c_per_h, run.kept_c_per_h
    if rate_c_per_h is None or kept is None or abs(kept / rate_c_per_h - 1.0) <= SAME_RATE:
        return 0.0, ""
    span_c = abs(planned.end_c - planned.from_c)
    words = (
        f"segment {planned.index + 1} ran straight at {book.rate(kept)}, planned "
        f"{book.rate(rate_c_per_h)}"
    )
    ramp_end_s, end_s = passage.ramp_end_s, passage.end_s
    if ramp_end_s is None or end_s is None or end_s - ramp_end_s < PLATEAU_S:
        words += _like_next(schedule, planned.index, kept)
    return span_c * (1.0 / kept - 1.0 / rate_c_per_h) * SECONDS_PER_HOUR, words


def _like_next(schedule: Schedule, index: int, rate_c_per_h: float) -> str:
    """Return words for a rate that is the next segment's own, as if this one was skipped."""
    if index + 1 >= len(schedule.segments):
        return ""
    after = schedule.segments[index + 1]
    same_way = (after.target_c > schedule.from_c(index + 1)) == (
        schedule.segments[index].target_c > schedule.from_c(index)
    )
    meant = after.rate_c_per_h
    if not same_way or meant is None or abs(rate_c_per_h / meant - 1.0) > SAME_RATE:
        return ""
    return f", which is segment {index + 2}'s: as if segment {index + 1} had been skipped"


def _book_piece(
    book: _Account, schedule: Schedule, planned: ForecastSegment, piece: Piece, where: str
) -> None:
    """Book a stretch of a ramp that ran otherwise than planned, as keyed in so."""
    rate_c_per_h = schedule.segments[planned.index].rate_c_per_h
    assert rate_c_per_h is not None
    seconds = piece.excess_s(rate_c_per_h)
    if piece.flat:
        words = (
            f"{where} stood at {book.degrees(0.5 * (piece.from_c + piece.to_c))} for "
            f"{format_duration(piece.seconds)} and then went on, where no hold is planned: "
            "a segment more than planned, or a pause"
        )
        book.add("longer_hold", seconds, words)
        return
    words = (
        f"{where} ran straight at {book.rate(piece.rate_c_per_h)} from "
        f"{book.degrees(piece.from_c)} to {book.degrees(piece.to_c)}, planned "
        f"{book.rate(rate_c_per_h)}"
    )
    reaches_end = abs(piece.to_c - planned.end_c) <= OTHER_LEVEL_C
    if reaches_end:
        words += _like_next(schedule, planned.index, piece.rate_c_per_h).replace(
            "had been skipped", "had been left early"
        )
    book.add("other_program", seconds, words)


def _interrupted(book: _Account, gaps: Sequence[Interruption], left_s: float, where: str) -> float:
    """Book interruptions, no more than is left: a clock-run controller catches up afterwards."""
    total_s = sum(gap.seconds for gap in gaps)
    seconds = min(total_s, max(left_s, 0.0))
    if seconds > SMALL_S:
        worst = max(gaps, key=lambda gap: gap.seconds)
        book.add(
            "interruption",
            seconds,
            f"in {where} the reading fell from {book.degrees(worst.before_c)} to "
            f"{book.degrees(worst.lowest_c)} and was back after {format_duration(worst.seconds)}",
        )
        return seconds
    return 0.0


def _behind(heats: bool, seconds: float) -> Cause:
    if heats:
        return "waiting"
    return "slow_cooling" if seconds > 0 else "fast_cooling"


def _behind_words(
    book: _Account, run: RampRun, segment: Segment, where: str, seconds: float, heats: bool
) -> str:
    assert segment.rate_c_per_h is not None
    planned = book.rate(segment.rate_c_per_h)
    if not heats:
        # Slower than set, the elements were off all the same; faster, nothing held it back.
        by_itself = "" if seconds > 0 else ": as if the kiln had been left to cool by itself"
        return f"{where} cooled at {book.rate(run.mean_c_per_h)}, {planned} was set{by_itself}"
    if seconds < 0:
        return f"{where} went faster than its {planned}: the kiln made up for time lost before"
    if run.behind_from_c is not None and run.behind_c_per_h is not None:
        return (
            f"in {where} the kiln fell behind from {book.degrees(run.behind_from_c)} on: "
            f"{book.rate(run.behind_c_per_h)} where {planned} was set"
        )
    return f"{where} ran at {book.rate(run.mean_c_per_h)} on average, {planned} was set"


def _hold_causes(
    book: _Account,
    segment: Segment,
    passage: Passage,
    trace: EvenTrace,
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
        left_s -= _interrupted(book, gaps, left_s, where)
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
        book.add(cause, left_s, words)


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
        total.append(CauseShare(cause, seconds, evidence, SUGGESTIONS[cause]))
    closed = list(_closed(total, excess_s))
    return tuple(sorted(closed, key=lambda share: -abs(share.seconds)))
