"""What seems to have been keyed in otherwise: where a ramp began, where it went, and its rate.

Each is told as the seconds that the ramp took more for it, and in words.
"""

from firing.review import thresholds as limit
from firing.review.alignment import Passage
from firing.review.piecewise_linear import StraightPiece
from firing.review.ramp import RampRun
from firing.review.resample import ResampledTrace
from firing.review.segment_analysis import AnalysedSegment
from firing.review.wording import Wording
from firing.units import SECONDS_PER_HOUR, format_duration


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
