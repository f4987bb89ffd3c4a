"""Segments that were skipped, repeated or edited: what no kiln does by itself, only its program.

Each needs a kiln that was following its set-point: one that is late, that a clock leaves behind, or
that stands at its limit skips and repeats nothing.

What seems to have been keyed in otherwise, where a ramp began, where it went, its rate, is told as
the seconds that the ramp took more for it, and in words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firing.review import thresholds as limit
from firing.review.alignment import AnalysedLog, AnalysedSegment, Passage, stayed
from firing.review.ramp import (
    Interruption,
    RampRun,
    StraightPiece,
    fully_on,
    is_straight,
    line_and_bend,
)
from firing.review.resample import ResampledTrace
from firing.review.result import CauseShare, ProgramChange
from firing.schedule.schedule import Schedule
from firing.schedule.timeline import ForecastSegment
from firing.units import SECONDS_PER_HOUR, Wording, format_duration


def was_held(passage: Passage, trace: ResampledTrace) -> bool:
    """Return whether a segment stayed where it came to, so that this was meant."""
    if passage.ramp_end_s is None or passage.end_s is None:
        return False
    return passage.end_s - passage.ramp_end_s >= max(limit.MEANT_STAY_S, 2.0 * trace.step_s)


def begin_deviation(analysed: AnalysedSegment, say: Wording) -> tuple[float, str]:
    """Return what beginning elsewhere than planned cost a ramp."""
    from_c, rate_c_per_h = analysed.passage.from_c, analysed.segment.rate_c_per_h
    if from_c is None or rate_c_per_h is None:
        return 0.0, ""
    sign = 1.0 if analysed.heats else -1.0
    seconds = sign * (analysed.from_c - from_c) / rate_c_per_h * SECONDS_PER_HOUR
    begun, meant = (say.degrees(t) for t in (from_c, analysed.from_c))
    return seconds, f"segment {analysed.index + 1} began at {begun}, planned {meant}"


def end_deviation(analysed: AnalysedSegment, run: RampRun, say: Wording) -> tuple[float, str]:
    """Return what being sent elsewhere than planned cost a ramp."""
    came_to_c, target_c = analysed.passage.came_to_c, analysed.segment.target_c
    rate_c_per_h = run.kept_c_per_h or run.mean_c_per_h
    # A kiln that only failed to get there falls behind first; its top may look flat all the same.
    sure = run.kept_c_per_h is not None or was_held(analysed.passage, analysed.trace)
    if came_to_c is None or rate_c_per_h <= 0 or not sure or run.behind_from_c is not None:
        return 0.0, ""
    if abs(came_to_c - target_c) < limit.OTHER_TARGET_C:
        return 0.0, ""
    sign = 1.0 if analysed.heats else -1.0
    seconds = sign * (came_to_c - target_c) / rate_c_per_h * SECONDS_PER_HOUR
    went, meant = (say.degrees(t) for t in (came_to_c, target_c))
    return seconds, f"segment {analysed.index + 1} went to {went}, planned {meant}"


def rate_deviation(analysed: AnalysedSegment, run: RampRun, say: Wording) -> tuple[float, str]:
    """Return what running straight at another rate cost a ramp; 0 if it did not."""
    rate_c_per_h, kept = analysed.segment.rate_c_per_h, run.kept_c_per_h
    if rate_c_per_h is None or kept is None or _same(kept, rate_c_per_h):
        return 0.0, ""
    passage = analysed.passage
    span_c = abs(analysed.segment.target_c - analysed.from_c)
    if passage.came_to_c is not None and passage.from_c is not None:
        span_c = min(span_c, abs(passage.came_to_c - passage.from_c))
    words = (
        f"segment {analysed.index + 1} climbed steadily at {say.rate(kept)}, planned "
        f"{say.rate(rate_c_per_h)}"
    )
    ramp_end_s, end_s = passage.ramp_end_s, passage.end_s
    if ramp_end_s is None or end_s is None or end_s - ramp_end_s < limit.MEANT_STAY_S:
        words += _like_next(analysed, kept, "had been skipped")
    return span_c * (1.0 / kept - 1.0 / rate_c_per_h) * SECONDS_PER_HOUR, words


def piece_deviation(
    analysed: AnalysedSegment, piece: StraightPiece, say: Wording
) -> tuple[float, str]:
    """Return what one stretch of a ramp cost that ran otherwise than planned."""
    rate_c_per_h, where = analysed.segment.rate_c_per_h, f"segment {analysed.index + 1}"
    assert rate_c_per_h is not None
    seconds = piece.excess_s(rate_c_per_h)
    if piece.flat:
        return seconds, (
            f"{where} stood at {say.degrees(0.5 * (piece.from_c + piece.to_c))} for "
            f"{format_duration(piece.seconds)} and then went on, where no hold is planned: "
            "a segment more than planned, or a pause"
        )
    words = (
        f"{where} climbed steadily at {say.rate(piece.rate_c_per_h)} from "
        f"{say.degrees(piece.from_c)} to {say.degrees(piece.to_c)}, "
        f"planned {say.rate(rate_c_per_h)}"
    )
    if abs(piece.to_c - analysed.segment.target_c) <= limit.OTHER_TARGET_C:
        words += _like_next(analysed, piece.rate_c_per_h, "had been left early")
    return seconds, words


def _like_next(analysed: AnalysedSegment, rate_c_per_h: float, what: str) -> str:
    """Return words for a rate that is the next segment's own, as if this one was left out."""
    after = analysed.after
    if after is None or (after.target_c > analysed.segment.target_c) != analysed.heats:
        return ""
    if after.rate_c_per_h is None or not _same(rate_c_per_h, after.rate_c_per_h):
        return ""
    number = analysed.index + 1
    return f", which is segment {number + 1}'s: as if segment {number} {what}"


def _same(rate_c_per_h: float, other_c_per_h: float) -> bool:
    return abs(rate_c_per_h / other_c_per_h - 1.0) <= limit.SAME_RATE


def program_changes(
    schedule: Schedule,
    planned: Sequence[ForecastSegment],
    analysed: AnalysedLog,
    accounts: Sequence[Sequence[CauseShare]],
) -> tuple[ProgramChange, ...]:
    """Return what was skipped, repeated or edited, in the order of the firing."""
    look = _Look(schedule, planned, analysed, accounts, Wording(schedule.unit))
    found = [change for gap in analysed.alignment.interruptions if (change := look.replay(gap))]
    for index in range(len(analysed.segments)):
        change = look.skipped(index) or look.repeated_hold(index) or look.edited(index)
        if change is not None:
            found.append(change)
    return tuple(sorted(found, key=lambda change: change.at_s))


def climbed_by_program(schedule: Schedule, analysed: AnalysedLog, gap: Interruption) -> bool:
    """Return whether a fall was regained at a segment's own rate, not as fast as the kiln can."""
    climb = _Look(schedule, (), analysed, (), Wording(schedule.unit)).climb_again(gap)
    return climb is not None and bool(climb[3])


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    schedule: Schedule
    planned: Sequence[ForecastSegment]
    analysed: AnalysedLog
    accounts: Sequence[Sequence[CauseShare]]
    say: Wording

    def seconds(self, index: int, *causes: str) -> float:
        """Return what a segment's account charges to some causes [s]."""
        return sum(s.seconds for s in self.accounts[index] if s.cause in causes)

    def skipped(self, index: int) -> ProgramChange | None:
        """Return a segment, or its hold, that was left out."""
        segment = self.analysed.segments[index]
        if segment.passage.start_s is None or segment.passage.end_s is None:
            return None
        return (
            self._never_run(segment)
            or self._left_to_cool(segment)
            or self._ran_as_next(segment)
            or self._no_hold(segment)
        )

    def _never_run(self, segment: AnalysedSegment) -> ProgramChange | None:
        """Tell a segment that took no time, and whose target the kiln stayed far from."""
        index, passage, say = segment.index, segment.passage, self.say
        assert passage.start_s is not None
        assert passage.end_s is not None
        planned_s = self.planned[index].planned_s
        came_c = passage.came_to_c
        if came_c is None or abs(came_c - segment.segment.target_c) < limit.ONE_CONE_C:
            return None
        after = segment.after
        lost_s = sum(
            max(self.seconds(i, "power_limited", "interruption", "waiting"), 0.0)
            for i in range(index + 1)
        )
        if lost_s > limit.ON_TIME_BEFORE * planned_s or planned_s < limit.CHANGE_LEAST_S:
            return None
        brief = passage.end_s - passage.start_s <= max(
            limit.NEVER_RUN_SHARE * planned_s, limit.SKIPPED_HOLD_S
        )
        # … or that went straight to where the next one goes.
        straight_on = after is not None and abs(came_c - after.target_c) <= limit.OTHER_TARGET_C
        if after is None or not (brief or straight_on):
            return None
        if segment.run is not None and segment.run.at_limit:
            return None
        return ProgramChange(
            "skipped",
            index,
            passage.end_s - passage.start_s - planned_s,
            passage.start_s,
            f"Segment {index + 1}, to {say.degrees(segment.segment.target_c)}, was skipped, "
            f"{format_duration(abs(passage.end_s - passage.start_s - planned_s))} less: the kiln "
            f"came to {say.degrees(came_c)} and the program went on with segment {index + 2}.",
            "a program keyed in without it looks the same",
        )

    def _left_to_cool(self, segment: AnalysedSegment) -> ProgramChange | None:
        """Tell a slow cooling that was not run: the kiln cooled by itself instead."""
        index, passage, run, say = segment.index, segment.passage, segment.run, self.say
        rate_c_per_h = segment.segment.rate_c_per_h
        if segment.heats or rate_c_per_h is None or run is None or passage.start_s is None:
            return None
        seconds = self.seconds(index, "fast_cooling", "shorter_hold")
        faster = run.mean_c_per_h >= limit.LEFT_TO_COOL * rate_c_per_h
        if self.seconds(index, "fast_cooling") > -limit.CHANGE_LEAST_S or not faster:
            return None
        assert passage.end_s is not None
        inside = slice(
            self.analysed.trace.index(passage.start_s), self.analysed.trace.index(passage.end_s) + 1
        )
        full = fully_on(self.analysed.trace, inside)
        if full is not None and float(np.mean(full)) > limit.MOSTLY_ON:
            return None  # a kiln that cools too fast with its elements on has another trouble
        return ProgramChange(
            "skipped",
            index,
            seconds,
            passage.start_s,
            f"Segment {index + 1}, cooling at {say.rate(rate_c_per_h)}, was skipped, "
            f"{format_duration(-seconds)} less: the kiln cooled by itself at "
            f"{say.rate(run.mean_c_per_h)}.",
            "a kiln that was switched off there looks the same",
        )

    def _ran_as_next(self, segment: AnalysedSegment) -> ProgramChange | None:
        """Tell a ramp that ran, from its begin or from a moment on, at the next segment's rate."""
        index, passage, run, say = segment.index, segment.passage, segment.run, self.say
        after, rate_c_per_h = segment.after, segment.segment.rate_c_per_h
        seconds = self.seconds(index, "other_program")
        if rate_c_per_h is None or not segment.heats or run is None or after is None:
            return None
        if abs(seconds) < limit.CHANGE_LEAST_S or after.rate_c_per_h is None:
            return None
        if after.target_c < segment.segment.target_c or _like(rate_c_per_h, after.rate_c_per_h):
            return None
        assert passage.start_s is not None
        from_s, from_c, left = passage.start_s, passage.from_c, "skipped"
        kept_c_per_h = run.kept_c_per_h
        if kept_c_per_h is None or not _like(kept_c_per_h, after.rate_c_per_h):
            piece = self._last_piece(segment)
            if piece is None or not _like(piece.rate_c_per_h, after.rate_c_per_h):
                return None
            from_s, from_c, left = piece.start_s, piece.from_c, "left early"
            kept_c_per_h = piece.rate_c_per_h
        if segment.segment.hold_s >= limit.CHANGE_LEAST_S and was_held(
            passage, self.analysed.trace
        ):
            return None  # its own hold was run
        if segment.limited or from_c is None:
            return None
        seconds += self.seconds(index, "shorter_hold")
        change = "less" if seconds < 0 else "more"
        return ProgramChange(
            "skipped",
            index,
            seconds,
            from_s,
            f"Segment {index + 1} was {left}, it seems, {format_duration(abs(seconds))} {change}: "
            f"from {say.degrees(from_c)} on the kiln climbed at segment {index + 2}'s "
            f"{say.rate(kept_c_per_h)}, planned {say.rate(rate_c_per_h)}.",
            f"segment {index + 1} keyed in, or edited, with that rate looks the same",
        )

    def _last_piece(self, segment: AnalysedSegment) -> StraightPiece | None:
        """Return the straight stretch that a ramp ended with, if it was charged as one."""
        pieces = [piece for piece in segment.pieces if not piece.flat]
        if not pieces or self.seconds(segment.index, "other_program") == 0.0:
            return None
        last = pieces[-1]
        ends = abs(last.to_c - segment.segment.target_c) <= 2.0 * limit.OTHER_TARGET_C
        return last if ends else None

    def _no_hold(self, segment: AnalysedSegment) -> ProgramChange | None:
        index, passage, say = segment.index, segment.passage, self.say
        hold_s, run = segment.segment.hold_s, segment.run
        seconds = self.seconds(index, "shorter_hold")
        if hold_s < limit.CHANGE_LEAST_S or seconds > -limit.CHANGE_LEAST_S:
            return None
        assert passage.ramp_end_s is not None
        assert passage.end_s is not None
        held_s = passage.end_s - passage.ramp_end_s
        if held_s > max(limit.SKIPPED_HOLD_SHARE * hold_s, limit.SKIPPED_HOLD_S):
            return None
        if run is not None and (run.at_limit or segment.limited):
            return None  # the clock held while the kiln still came up
        if stayed(self.analysed.trace, passage.ramp_end_s, passage.end_s):
            return None  # it was held, elsewhere
        if self._late_at(index, passage.ramp_end_s) > limit.LOST_LEAST_S and not (
            run is not None
            and run.kept_c_per_h is not None
            and segment.segment.rate_c_per_h is not None
            and _like(run.kept_c_per_h, segment.segment.rate_c_per_h)
        ):
            return None  # behind a clock that may have held already
        target = say.degrees(segment.segment.target_c)
        held = "" if held_s < 60.0 else f" after {format_duration(held_s)}"
        return ProgramChange(
            "skipped",
            index,
            seconds,
            passage.ramp_end_s,
            f"Segment {index + 1}'s hold of {format_duration(hold_s)} at {target} was skipped, "
            f"{format_duration(-seconds)} less: the program went on{held or ' at once'}.",
            "a hold keyed in as nothing looks the same",
        )

    def _late_at(self, index: int, at_s: float) -> float:
        """Return how much later than by the plan's clock a segment's hold began [s]."""
        due_s = sum(segment.planned_s for segment in self.planned[: index + 1])
        due_s -= self.analysed.segments[index].segment.hold_s
        return at_s - self.analysed.alignment.start_s - due_s

    def _caught_up(self, index: int) -> bool:
        """Return whether the kiln ran faster than planned to make up for time lost."""
        if any(self.seconds(i, "waiting") < -limit.LOST_LEAST_S for i in range(len(self.accounts))):
            return True
        segment = self.analysed.segments[index]
        rates = [p.rate_c_per_h for p in segment.pieces if not p.flat]
        planned_c_per_h = segment.segment.rate_c_per_h or 0.0
        return bool(rates) and min(rates) < planned_c_per_h < max(rates)

    def repeated_hold(self, index: int) -> ProgramChange | None:
        """Return a hold that ran twice, or more often."""
        segment, say = self.analysed.segments[index], self.say
        passage, hold_s, run = segment.passage, segment.segment.hold_s, segment.run
        seconds = self.seconds(index, "longer_hold")
        if hold_s < limit.CHANGE_LEAST_S or seconds < limit.CHANGE_LEAST_S:
            return None
        if passage.ramp_end_s is None or passage.end_s is None:
            return None
        held_s = passage.end_s - passage.ramp_end_s
        times = round(held_s / hold_s)
        near_s = max(limit.TWICE_SHARE * hold_s, 2.0 * limit.CAUSE_LEAST_S)
        if times < 2 or abs(held_s - times * hold_s) > near_s:
            return None
        if run is not None and run.at_limit:
            return None
        often = "twice" if times == 2 else f"{times} times"
        return ProgramChange(
            "repeated",
            index,
            seconds,
            passage.ramp_end_s + hold_s,
            f"Segment {index + 1}'s hold at {say.degrees(segment.segment.target_c)} ran {often}: "
            f"{format_duration(held_s)}, planned {format_duration(hold_s)}.",
            "a hold keyed in that long, or made longer while it ran, looks the same",
        )

    def edited(self, index: int) -> ProgramChange | None:
        """Return a ramp whose rate changed while it ran, or that was sent elsewhere."""
        segment = self.analysed.segments[index]
        return self._other_rate(segment) or self._other_target(segment)

    def _other_rate(self, segment: AnalysedSegment) -> ProgramChange | None:
        index, passage, say = segment.index, segment.passage, self.say
        rate_c_per_h = segment.segment.rate_c_per_h
        seconds = self.seconds(index, "other_program")
        if rate_c_per_h is None or passage.start_s is None or abs(seconds) < limit.CHANGE_LEAST_S:
            return None
        kept_c_per_h = None if segment.run is None else segment.run.kept_c_per_h
        if kept_c_per_h is not None and not _like(kept_c_per_h, rate_c_per_h):
            return None  # one rate all along was keyed in so
        pieces = [piece for piece in segment.pieces if not piece.flat]
        charged = [abs(s.seconds) for s in self.accounts[index] if s.cause == "other_program"]
        if not pieces or not any(
            abs(abs(piece.excess_s(rate_c_per_h)) - size) < 1.0
            for piece in pieces
            for size in charged
        ):
            return None
        piece = pieces[-1]
        if (seconds > 0.0) != (piece.rate_c_per_h < rate_c_per_h):
            return None
        if seconds > 0.0 and self._caught_up(index):
            return None
        lost_s = sum(
            max(self.seconds(i, "power_limited", "interruption", "waiting"), 0.0)
            for i in range(index + 1)
        )
        if seconds < 0.0 and lost_s > max(limit.LOST_LEAST_S, limit.LATE_SHARE * -seconds):
            return None  # the kiln made up for that
        ramp_s = segment.ramp_until_s - passage.start_s
        if piece.start_s - passage.start_s < limit.CHANGED_FROM * ramp_s and (
            segment.ramp_until_s - piece.end_s < limit.CHANGED_FROM * ramp_s
        ):
            return None
        more = "more" if seconds > 0 else "less"
        slid = seconds > 0.0 and self.analysed.trace.duty is None
        return ProgramChange(
            "edited",
            index,
            seconds,
            piece.start_s,
            f"Segment {index + 1} was changed while it ran, it seems, "
            f"{format_duration(abs(seconds))} {more}: from {say.degrees(piece.from_c)} to "
            f"{say.degrees(piece.to_c)} the kiln climbed at {say.rate(piece.rate_c_per_h)}, "
            f"planned {say.rate(rate_c_per_h)}.",
            "a segment keyed in more than planned looks the same"
            + (", and so does a thermocouple that slid out there" if slid else ""),
            "possible" if slid else "likely",
        )

    def _other_target(self, segment: AnalysedSegment) -> ProgramChange | None:
        index, passage, run, say = segment.index, segment.passage, segment.run, self.say
        target_c, came_c = segment.segment.target_c, passage.came_to_c
        if came_c is None or run is None or not segment.heats or passage.ramp_end_s is None:
            return None
        off_c = came_c - target_c
        if abs(off_c) < limit.OTHER_TARGET_C or run.at_limit or run.behind_from_c is not None:
            return None
        trace = self.analysed.trace
        held = was_held(passage, trace) or (
            passage.end_s is not None and stayed(trace, passage.ramp_end_s, passage.end_s)
        )
        if not held or self.seconds(index, "other_program") == 0.0:
            return None
        return ProgramChange(
            "edited",
            index,
            self.seconds(index, "other_program"),
            passage.ramp_end_s,
            f"Segment {index + 1} went to {say.degrees(came_c)} and held there; planned was "
            f"{say.degrees(target_c)}.",
            "a target keyed in so, one edited while it ran, and a logger's sensor that reads "
            "otherwise than the controller's look alike",
            "possible",
        )

    def replay(self, gap: Interruption) -> ProgramChange | None:
        """Return a fall that was regained by earlier segments run again, at their own rates."""
        trace, say = self.analysed.trace, self.say
        first = trace.index(gap.start_s)
        climb = self.climb_again(gap)
        if climb is None:
            return None
        running, low, lowest_c, matched = climb
        own = self.schedule.segments[running].rate_c_per_h
        telling = [
            i
            for i in matched
            if i < running
            and own is not None
            and abs((self.schedule.segments[i].rate_c_per_h or own) / own - 1.0)
            > 2.0 * limit.REPLAY_RATE
        ]
        held = self._held_again(first, low, running)
        turned = next(
            (
                i
                for i in range(running)
                if matched
                and abs(self.schedule.segments[i].target_c - lowest_c) <= limit.REPLAY_TURN_C
            ),
            None,
        )
        if not telling and held is None and turned is None:
            return None
        begun = min(i for i in (held, turned, *telling) if i is not None)
        again = f"segment {begun + 1}"
        how = []
        if held is not None:
            how.append(f"it held near {say.degrees(self.schedule.segments[held].target_c)} again")
        if telling:
            rate = self.schedule.segments[telling[0]].rate_c_per_h
            assert rate is not None
            how.append(f"it climbed at segment {telling[0] + 1}'s {say.rate(rate)} again")
        if not how:
            assert turned is not None
            how.append(
                f"turned at segment {turned + 1}'s target to climb at segment {matched[0] + 1}'s "
                "own rate"
            )
        return ProgramChange(
            "repeated",
            begun,
            gap.seconds,
            gap.start_s,
            f"At {say.degrees(gap.before_c)}, in segment {running + 1}, the program began again "
            f"with {again}, {format_duration(gap.seconds)} more. The reading fell to "
            f"{say.degrees(lowest_c)}, and {' and '.join(how)}.",
            "a kiln whose power only was away climbs again as fast as it can",
            "possible" if held is None and not telling else "likely",
        )

    def climb_again(self, gap: Interruption) -> tuple[int, int, float, list[int]] | None:
        """Return the segment a fall began in, the sample and temperature it turned at, and the
        segments at whose rates it was regained; None if some of it ran otherwise."""
        trace = self.analysed.trace
        first, last = trace.index(gap.start_s), trace.index(gap.end_s)
        course = trace.temperature_c[first : last + 1]
        lowest_c = float(course.min())
        # It climbs again from where it was last near its lowest.
        near = np.flatnonzero(course <= lowest_c + max(limit.STILL_C, 4.0 * trace.noise_c))
        low = first + int(near[-1])
        running = self._running_at(gap.start_s)
        if running is None or last - low < 4:
            return None
        matched: list[int] = []
        for index in range(running + 1):
            from_c = max(self.schedule.from_c(index), lowest_c)
            to_c = min(self.schedule.segments[index].target_c, gap.before_c)
            found = self._climbed_as(index, low, last, from_c, to_c)
            if found is False:
                return None
            if found:
                matched.append(index)
        return running, low, lowest_c, matched

    def _running_at(self, at_s: float) -> int | None:
        for segment in self.analysed.segments:
            passage = segment.passage
            if passage.start_s is None:
                continue
            if passage.start_s <= at_s and (passage.end_s is None or at_s <= passage.end_s):
                return segment.index
        return None

    def _climbed_as(
        self, index: int, low: int, last: int, from_c: float, to_c: float
    ) -> bool | None:
        """Return whether a climb again ran at a segment's rate; None where too little shows it."""
        trace, rate_c_per_h = self.analysed.trace, self.schedule.segments[index].rate_c_per_h
        if rate_c_per_h is None or to_c - from_c < limit.REPLAY_C:
            return None
        margin_c = min(0.2 * (to_c - from_c), 15.0)
        course = trace.temperature_c[low : last + 1]
        inside = np.flatnonzero((course > from_c + margin_c) & (course < to_c - margin_c))
        if inside.size < 6 or inside.size * trace.step_s < limit.REPLAY_S:
            # Faster than any segment: power that came back.
            return False if to_c - from_c > 2.0 * limit.REPLAY_C else None
        part = slice(low + int(inside[0]), low + int(inside[-1]) + 1)
        slope, bend, error = line_and_bend(trace.time_s[part], trace.temperature_c[part])
        straight = is_straight(bend, error, limit.FADING_BEND)
        return abs(slope / rate_c_per_h - 1.0) <= limit.REPLAY_RATE and straight

    def _held_again(self, first: int, low: int, running: int) -> int | None:
        """Return the segment whose hold was run again on the way down or at the bottom."""
        trace = self.analysed.trace
        course = trace.temperature_c[first : low + 1]
        for index in range(running):
            segment = self.schedule.segments[index]
            near = np.abs(course - segment.target_c) <= limit.HOLD_SCATTER_C + 3.0 * trace.noise_c
            held_s = float(np.count_nonzero(near)) * trace.step_s
            # A fall that crosses it, however slow, is no hold.
            own_s = 2.0 * limit.HOLD_SCATTER_C / max(segment.rate_c_per_h or 60.0, 20.0)
            least_s = max(limit.REPLAY_HELD * segment.hold_s, limit.REPLAY_S)
            if segment.hold_s > 0.0 and held_s >= least_s + own_s * SECONDS_PER_HOUR:
                return index
        return None


def _like(rate_c_per_h: float, other_c_per_h: float) -> bool:
    return abs(rate_c_per_h / other_c_per_h - 1.0) <= limit.SAME_RATE
