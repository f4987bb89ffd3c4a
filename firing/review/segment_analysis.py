"""A log along its plan: every segment with how its ramp ran, judged once and handed on."""

from dataclasses import dataclass, field
from functools import cached_property

from firing.review.alignment import Alignment, Passage
from firing.review.ramp import RampRun, StraightPiece, limited_after, ramp_run, straight_pieces
from firing.review.resample import ResampledTrace
from firing.schedule.schedule import Schedule, Segment


@dataclass(frozen=True, eq=False)
class AnalysedSegment:
    """One segment of the plan in a log; what a ramp's course tells is found when first asked for.

    Attributes
    ----------
    index : int
        Its number from 0.
    segment : Segment
        As planned.
    from_c : float
        Where the plan begins it [°C].
    passage, before : Passage
        Where it lies in the log, and the segment before it; None for the first.
    ramp_until_s : float
        Where its ramp ends, or the firing does if that came first [s].
    after : Segment or None
        The plan's next.
    """

    index: int
    segment: Segment
    from_c: float
    passage: Passage
    before: Passage | None
    ramp_until_s: float
    after: Segment | None
    trace: ResampledTrace = field(repr=False)

    @property
    def heats(self) -> bool:
        """Whether its ramp goes up."""
        return self.segment.target_c > self.from_c

    @property
    def goes_on_at_c_per_h(self) -> float | None:
        """The next segment's rate if the plan climbs on without a stay between [°C/h]."""
        if self.after is None or self.segment.hold_s > 0:
            return None
        return self.after.rate_c_per_h if self.after.target_c > self.segment.target_c else None

    @cached_property
    def run(self) -> RampRun | None:
        """How its ramp ran; None without a rate, or where the log holds nothing of it."""
        return self.run_until(self.ramp_until_s)

    @cached_property
    def limited(self) -> bool:
        """Whether its ramp was slower than planned and the kiln went on as slowly after it."""
        run, planned_c_per_h = self.run, self.segment.rate_c_per_h
        if run is None or run.kept_c_per_h is None or planned_c_per_h is None or not self.heats:
            return False
        return run.kept_c_per_h < planned_c_per_h and limited_after(
            run.kept_c_per_h, self.trace, self.ramp_until_s, self.goes_on_at_c_per_h
        )

    @cached_property
    def pieces(self) -> tuple[StraightPiece, ...]:
        """The straight stretches of its ramp that were meant otherwise than planned."""
        start_s, rate_c_per_h = self.passage.start_s, self.segment.rate_c_per_h
        if start_s is None or rate_c_per_h is None or not self.heats:
            return ()
        return straight_pieces(
            self.trace, start_s, self.ramp_until_s, rate_c_per_h, self.goes_on_at_c_per_h
        )

    def run_until(self, end_s: float) -> RampRun | None:
        """Return how its ramp ran up to a moment, as `run` does up to its end."""
        start_s, rate_c_per_h = self.passage.start_s, self.segment.rate_c_per_h
        if start_s is None or rate_c_per_h is None or end_s <= start_s:
            return None
        return ramp_run(self.trace, start_s, end_s, rate_c_per_h, heats=self.heats)


@dataclass(frozen=True, eq=False)
class AnalysedLog:
    """One channel of a log on an even grid, the plan laid along it, and each of its segments."""

    trace: ResampledTrace = field(repr=False)
    alignment: Alignment
    segments: tuple[AnalysedSegment, ...]


def analyse_segment(
    schedule: Schedule, index: int, trace: ResampledTrace, alignment: Alignment
) -> AnalysedSegment:
    """Return one segment of a plan as a log shows it."""
    passage = alignment.passages[index]
    return AnalysedSegment(
        index=index,
        segment=schedule.segments[index],
        from_c=schedule.from_c(index),
        passage=passage,
        before=alignment.passages[index - 1] if index else None,
        ramp_until_s=alignment.end_s if passage.ramp_end_s is None else passage.ramp_end_s,
        after=schedule.segments[index + 1] if index + 1 < len(schedule.segments) else None,
        trace=trace,
    )


def analyse(schedule: Schedule, trace: ResampledTrace, alignment: Alignment) -> AnalysedLog:
    """Return the segments of a plan that has been laid along a log."""
    segments = tuple(
        analyse_segment(schedule, index, trace, alignment)
        for index in range(len(schedule.segments))
    )
    return AnalysedLog(trace, alignment, segments)
