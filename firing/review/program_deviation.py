"""What seems to have been keyed in otherwise: where a ramp began, where it went, and its rate."""

from firing.review.alignment import Passage
from firing.review.piecewise_linear import StraightPiece
from firing.review.ramp import SAME_RATE, RampRun
from firing.review.resample import ResampledTrace
from firing.review.segment_causes import Book
from firing.schedule.schedule import Schedule
from firing.schedule.timeline import ForecastSegment
from firing.units import SECONDS_PER_HOUR, format_duration

OTHER_LEVEL_C = 8.0
"""A hold this far from its target is at another one [°C]."""
PLATEAU_S = 540.0
"""A stay of this long at another level was meant [s]."""


def stayed(passage: Passage, trace: ResampledTrace) -> bool:
    """Return whether a segment stayed at its level, so that the level was meant."""
    if passage.ramp_end_s is None or passage.end_s is None:
        return False
    return passage.end_s - passage.ramp_end_s >= max(PLATEAU_S, 2.0 * trace.step_s)


def other_begin(
    book: Book, planned: ForecastSegment, passage: Passage, rate_c_per_h: float, where: str
) -> tuple[float, str]:
    """Return the seconds a ramp took more for beginning elsewhere than planned."""
    if passage.from_c is None:
        return 0.0, ""
    sign = 1.0 if planned.end_c > planned.from_c else -1.0
    seconds = sign * (planned.from_c - passage.from_c) / rate_c_per_h * SECONDS_PER_HOUR
    begun, meant = book.degrees(passage.from_c), book.degrees(planned.from_c)
    return seconds, f"{where} began at {begun}, planned {meant}"


def other_end(
    book: Book,
    planned: ForecastSegment,
    passage: Passage,
    run: RampRun,
    trace: ResampledTrace,
    where: str,
) -> tuple[float, str]:
    """Return the seconds a ramp took more for being sent elsewhere than planned."""
    level_c, rate_c_per_h = passage.level_c, run.kept_c_per_h or run.mean_c_per_h
    # A kiln that only failed to get there falls behind first; its top may look flat all the same.
    sure = run.kept_c_per_h is not None or stayed(passage, trace)
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


def keyed_rate(
    book: Book, schedule: Schedule, planned: ForecastSegment, passage: Passage, run: RampRun
) -> tuple[float, str]:
    """Return the seconds a ramp took more for running straight at another rate; 0 if it did not."""
    rate_c_per_h, kept = schedule.segments[planned.index].rate_c_per_h, run.kept_c_per_h
    if rate_c_per_h is None or kept is None or abs(kept / rate_c_per_h - 1.0) <= SAME_RATE:
        return 0.0, ""
    span_c = abs(planned.end_c - planned.from_c)
    if passage.level_c is not None and passage.from_c is not None:
        span_c = min(span_c, abs(passage.level_c - passage.from_c))
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


def book_piece(
    book: Book, schedule: Schedule, planned: ForecastSegment, piece: StraightPiece, where: str
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
