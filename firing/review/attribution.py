"""Where the time of a firing went: its segments' causes with time made up, and their sum.

Each cause of a segment's excess is one comparison, made where the log allows it and shown as its
evidence; what none explains stays under ``unexplained`` and is never spread over the others.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from firing.heat import default_kiln
from firing.review import thresholds as limit
from firing.review.alignment import AnalysedSegment
from firing.review.gaps import LACKED
from firing.review.program_changes import (
    begin_deviation,
    end_deviation,
    piece_deviation,
    rate_deviation,
    was_held,
)
from firing.review.ramp import Interruption, RampRun, StraightPiece, fully_on, interruptions
from firing.review.resample import ResampledTrace
from firing.review.result import Cause, CauseShare
from firing.schedule.schedule import Segment
from firing.schedule.timeline import ForecastSegment
from firing.units import TemperatureUnit, Wording, format_duration

SUGGESTIONS: dict[Cause, tuple[str, ...]] = {
    "late_start": ("Set the start on the controller, or note when it was really started.",),
    "power_limited": (
        "Plan this stretch at the rate the kiln really kept (--mend FILE, ^F on the screen); then "
        "the finish time will be right.",
        "Have volts and amps measured under load by a competent person: worn elements and a low "
        "supply look the same in a log.",
    ),
    "interruption": (
        "Find out what switched off: supply, breaker, door switch or controller.",
        "Have the wiring looked at by a licensed electrician if no reason is found.",
    ),
    "other_program": ("Read the keyed-in program back against the plan before starting.",),
    "waiting": (
        "Plan this stretch at the rate the kiln really kept (--mend FILE, ^F on the screen); then "
        "the finish time will be right.",
        "Log the output as well: it shows whether the elements were fully on.",
        "Where this is new, see whether the thermocouple sits as deep as before, and set witness "
        "cones: one that slid out makes a kiln late and its ware hotter than the readings.",
    ),
    "longer_hold": (
        "Check the hold keyed in, whether the controller waits for the kiln, and whether the "
        "program was started again in the hold.",
        "If nobody lengthened it a relay may have stuck: have it checked before the next firing.",
    ),
    "shorter_hold": ("Check the hold keyed in; the cone says whether it mattered.",),
    "slow_cooling": ("Plan this ramp at the rate the closed kiln keeps by itself.",),
    "fast_cooling": (
        "See whether this segment was keyed in, and keep lid and vents closed until it is over.",
    ),
    "unexplained": (),
}
SENSOR_STEPS = (
    "See how deep the thermocouple sits and whether its wires are tight, when the kiln is cold and "
    "isolated.",
)
SHORT_DRYING = (
    "Check the hold keyed in: so cold it dries the ware, so look for cracks before it is shortened "
    "on purpose.",
)
SHORT_ON_THE_WAY_DOWN = (
    "Check the hold keyed in, and look at the ware: no cone shows a hold on the way down.",
)


def attribute_segment(
    planned: ForecastSegment, analysed: AnalysedSegment, late_s: float, unit: TemperatureUnit
) -> tuple[CauseShare, ...]:
    """Split one segment's excess into causes; empty for what the log does not hold whole.

    `late_s` is how late it began, against the plan: what a ramp may have made up.
    """
    passage, segment, run = analysed.passage, analysed.segment, analysed.run
    if passage.start_s is None or passage.ramp_end_s is None or passage.end_s is None:
        return ()
    account = _Account(Wording(unit), analysed.trace, [], late_s)
    ramp_s, held_s = passage.ramp_end_s - passage.start_s, passage.end_s - passage.ramp_end_s
    ramp_excess_s = ramp_s - (planned.planned_s - segment.hold_s)
    hold_excess_s = held_s - segment.hold_s
    lag_s = _lag_s(ramp_excess_s, hold_excess_s, run, segment.rate_c_per_h)
    _ramp_causes(account, planned, analysed, ramp_s, ramp_excess_s - lag_s)
    _hold_causes(account, analysed, held_s, hold_excess_s + lag_s)
    excess_s = (passage.end_s - passage.start_s) - planned.planned_s
    cools = segment.drive == "off"
    return closed(account.shares, excess_s, "what kilns cool by themselves varies so much" * cools)


def closed(
    shares: Sequence[CauseShare], excess_s: float, words: str = ""
) -> tuple[CauseShare, ...]:
    """Add what is left as unexplained, so that the shares add up to the excess."""
    left_s = excess_s - sum(share.seconds for share in shares)
    if abs(left_s) < 1e-6:
        return tuple(shares)
    evidence = (
        "edges are found to a minute or two" if abs(left_s) <= 2 * limit.CAUSE_LEAST_S else words
    )
    return (*shares, CauseShare("unexplained", left_s, evidence))


@dataclass(slots=True)
class _Account:
    """The causes of one segment as they are found."""

    say: Wording
    trace: ResampledTrace
    shares: list[CauseShare]
    late_s: float = 0.0

    @property
    def small_s(self) -> float:
        """Seconds below which a difference is not given a cause: the edges' own error."""
        return max(limit.CAUSE_LEAST_S, 0.8 * self.trace.step_s)

    def add(
        self,
        cause: Cause,
        seconds: float,
        evidence: str,
        suggestions: tuple[str, ...] | None = None,
    ) -> None:
        """Charge seconds to a cause, with its own suggestions or the cause's."""
        if seconds != 0.0:
            steps = SUGGESTIONS[cause] if suggestions is None else suggestions
            self.shares.append(CauseShare(cause, seconds, evidence, steps))

    def add_interruptions(self, gaps: Sequence[Interruption], left_s: float, where: str) -> float:
        """Charge interruptions, no more than is left: a clock catches up afterwards."""
        seconds = min(sum(gap.seconds for gap in gaps), max(left_s, 0.0))
        if seconds <= limit.CAUSE_LEAST_S:
            return 0.0
        worst = max(gaps, key=lambda gap: gap.seconds)
        self.add(
            "interruption",
            seconds,
            f"in {where} the reading fell from {self.say.degrees(worst.before_c)} to "
            f"{self.say.degrees(worst.lowest_c)} and was back after "
            f"{format_duration(worst.seconds)}",
        )
        return seconds

    def behind(self, *, heats: bool, seconds: float) -> Cause:
        """Return the cause of a ramp's remaining excess."""
        if not heats:
            return "slow_cooling" if seconds > 0 else "fast_cooling"
        return "waiting" if seconds > 0 or self.makes_up(seconds) else "other_program"

    def makes_up(self, seconds: float) -> bool:
        """Return whether a ramp that was faster by so much had time to make up."""
        return self.late_s >= limit.LATE_SHARE * abs(seconds)


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
    as_set = (
        kept is None or rate_c_per_h is None or abs(kept / rate_c_per_h - 1.0) <= limit.SAME_RATE
    )
    if both_s > limit.LAG_S and not (as_set and ramp_excess_s > 0.0):
        return 0.0  # more than a lag: both were keyed in otherwise
    return both_s if ramp_excess_s > 0.0 else -both_s


def _ramp_causes(
    account: _Account,
    planned: ForecastSegment,
    analysed: AnalysedSegment,
    ramp_s: float,
    excess_s: float,
) -> None:
    """Charge what made one ramp longer or shorter; what is left over stays unexplained."""
    segment, run, heats = analysed.segment, analysed.run, analysed.heats
    if segment.rate_c_per_h is None:
        if not _usual_cooling(planned, segment, excess_s):
            _free_ramp(account, planned, heats, excess_s)
        return
    where = f"segment {analysed.index + 1}"
    if run is None:
        words = f"the clock ran through {where} while the kiln was still behind"
        account.add("waiting", excess_s, words)
        return
    left_s = excess_s
    # Where the ramp began and ended, if not where the plan says, is part of what was keyed in.
    short = analysed.before is not None and not was_held(analysed.before, analysed.trace)
    begin = account.behind(heats=True, seconds=excess_s) if short else "other_program"
    begin_s, begun = begin_deviation(analysed, account.say)
    begin_steps: tuple[str, ...] | None = None
    if analysed.before is None:
        # A kiln begins as warm as it is: nobody keyed that in.
        begin_steps = ()
        begin = "waiting" if begin_s > 0.0 else "other_program"
    for cause, steps, (seconds, words) in (
        (begin, begin_steps, (begin_s, begun)),
        ("other_program", None, end_deviation(analysed, run, account.say)),
    ):
        # … as far as it shows in the time: a set-point may start from elsewhere than the reading.
        shown_s = max(min(seconds, left_s), 0.0) if left_s > 0 else min(max(seconds, left_s), 0.0)
        if abs(shown_s) >= limit.OTHER_BEGIN_S:
            account.add(cause, shown_s, words, steps)
            left_s -= shown_s
    if ramp_s < limit.SHORT_RAMP_S:
        if abs(left_s) > 2 * account.small_s:
            target = account.say.degrees(segment.target_c)
            words = f"{where} took {format_duration(ramp_s)} to {target}"
            account.add(account.behind(heats=heats, seconds=left_s), left_s, words)
        return
    if analysed.limited:
        run = replace(run, kept_c_per_h=None, fades=True)
    left_s -= _program_causes(account, planned, analysed, run, left_s)
    left_s -= account.add_interruptions(run.interruptions, left_s, where)
    words = _behind_words(account, run, segment, where, left_s, heats)
    if heats and left_s > account.small_s:
        power_s, ground = _short_of_power(run, planned, left_s)
        if power_s > account.small_s:
            account.add("power_limited", power_s, f"{words}; {ground}")
            left_s -= power_s
    if abs(left_s) > account.small_s:
        account.add(account.behind(heats=heats, seconds=left_s), left_s, words)


def _program_causes(
    account: _Account,
    planned: ForecastSegment,
    analysed: AnalysedSegment,
    run: RampRun,
    left_s: float,
) -> float:
    """Charge one other rate or several stretches, whichever leaves less unexplained."""
    rate_c_per_h = analysed.segment.rate_c_per_h
    assert rate_c_per_h is not None
    other_s, words = rate_deviation(analysed, run, account.say)
    pieces: tuple[StraightPiece, ...] = ()
    if analysed.heats and not run.interruptions and abs(left_s - other_s) > 2 * account.small_s:
        pieces = analysed.pieces
    in_pieces_s = sum(piece.excess_s(rate_c_per_h) for piece in pieces)
    power_s = 0.0
    if analysed.heats and not other_s:
        power_s, _ = _short_of_power(run, planned, left_s - run.interrupted_s)
    closer = abs(left_s - in_pieces_s) < abs(left_s - other_s)
    if not (pieces and power_s <= account.small_s and closer):
        account.add("other_program", other_s, words)
        return other_s
    for piece in pieces:
        seconds, words = piece_deviation(analysed, piece, account.say)
        account.add("longer_hold" if piece.flat else "other_program", seconds, words)
    return in_pieces_s


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


def _usual_cooling(planned: ForecastSegment, segment: Segment, excess_s: float) -> bool:
    """Return whether a kiln left to cool took what kilns like the default curve take.

    The curve is known to a factor only: what lies within it has no cause.
    """
    if segment.drive != "off":
        return False
    planned_s = planned.planned_s - segment.hold_s
    slow, fast = default_kiln.COOLING_FACTOR_RANGE
    shortest_s = planned_s * default_kiln.COOLING_FACTOR / fast
    longest_s = planned_s * default_kiln.COOLING_FACTOR / slow
    return shortest_s <= planned_s + excess_s <= longest_s


def _free_ramp(account: _Account, planned: ForecastSegment, heats: bool, excess_s: float) -> None:
    """Charge a ramp without a rate: against what was forecast of the kiln, it has no other plan."""
    off = "all the power there is" if heats else "the elements off"
    words = (
        f"segment {planned.index + 1} ran with {off}; the hours planned for it are the forecast's, "
        "of the default kiln unless a kiln file (--kiln) is given"
    )
    if heats and excess_s < 0:
        account.add("unexplained", excess_s, words)  # quicker than forecast is no want of power
    elif heats:
        account.add("power_limited", excess_s, words)
    else:
        account.add("slow_cooling" if excess_s > 0 else "fast_cooling", excess_s, words)


def _behind_words(
    account: _Account, run: RampRun, segment: Segment, where: str, seconds: float, heats: bool
) -> str:
    assert segment.rate_c_per_h is not None
    planned = account.say.rate(segment.rate_c_per_h)
    if not heats:
        # Slower than set, the elements were off all the same; faster, nothing held it back.
        by_itself = ": as if the kiln had been left to cool by itself"
        if seconds > 0 or run.mean_c_per_h < 1.1 * segment.rate_c_per_h:
            by_itself = ""
        mean = account.say.rate(run.mean_c_per_h)
        return f"{where} cooled at {mean}, {planned} was set{by_itself}"
    if seconds < 0 and account.makes_up(seconds):
        return f"{where} went faster than its {planned}: the kiln made up for time lost before"
    behind = run.behind_c_per_h is not None and run.behind_c_per_h < 0.95 * segment.rate_c_per_h
    if run.behind_from_c is not None and run.behind_c_per_h is not None and behind:
        # A thermocouple that overshoots leaves the corner above the target.
        below = run.behind_from_c < segment.target_c
        onset = f" from {account.say.degrees(run.behind_from_c)} on" if below else ""
        return (
            f"in {where} the kiln fell behind{onset}: "
            f"{account.say.rate(run.behind_c_per_h)} where {planned} was set"
        )
    mean = account.say.rate(run.mean_c_per_h)
    if mean == planned:
        return f"{where} ran a little {'slower' if seconds > 0 else 'faster'} than its {planned}"
    return f"{where} ran at {mean} on average, {planned} was set"


def _hold_causes(
    account: _Account, analysed: AnalysedSegment, held_s: float, excess_s: float
) -> None:
    segment, passage, run, trace = analysed.segment, analysed.passage, analysed.run, analysed.trace
    assert passage.ramp_end_s is not None
    assert passage.end_s is not None
    held_c = segment.target_c if passage.came_to_c is None else passage.came_to_c
    where = f"the hold at {account.say.degrees(held_c)}"
    left_s = excess_s
    if held_s > 0 and excess_s > 0:
        gaps = interruptions(trace, passage.ramp_end_s, passage.end_s)
        left_s -= account.add_interruptions(gaps, left_s, where)
    full = fully_on(trace, slice(trace.index(passage.ramp_end_s), trace.index(passage.end_s) + 1))
    full_s = 0.0 if full is None else float(full.mean()) * held_s
    far = segment.target_c - held_c > limit.OTHER_TARGET_C
    fully = full_s > limit.MOSTLY_ON * held_s and held_c < segment.target_c
    at_limit = run is not None and run.at_limit
    if at_limit and left_s > account.small_s and (far or fully):
        words = (
            f"the kiln stood at its limit near {account.say.degrees(held_c)} for "
            f"{format_duration(held_s)}, below the {account.say.degrees(segment.target_c)} set"
        )
        account.add("power_limited", left_s, words)
    elif abs(left_s) > account.small_s:
        cause: Cause = "longer_hold" if left_s > 0 else "shorter_hold"
        # No second figure beside the cause's minutes: the lag at the corner is not in those.
        past = "ran past" if left_s > 0 else "ended short of"
        words = f"{where} {past} its planned {format_duration(segment.hold_s)}"
        if segment.hold_s == 0.0:
            words = f"{where} lasted {format_duration(held_s)}, none was planned"
        elif left_s > 0 and (analysed.after is None or analysed.after.target_c < segment.target_c):
            words += "; a relay may have stuck, or it was lengthened"  # as a watch has it
        dries = cause == "shorter_hold" and held_c <= limit.DRYING_C
        on_the_way_down = cause == "shorter_hold" and not analysed.heats
        steps = SHORT_DRYING if dries else SHORT_ON_THE_WAY_DOWN if on_the_way_down else None
        account.add(cause, left_s, words, steps)


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


def attribute_firing(
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
