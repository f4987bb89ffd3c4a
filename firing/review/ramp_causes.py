"""A ramp's excess: another program, an interruption, want of power, waiting, or free cooling."""

from dataclasses import replace

from firing.heat import default_kiln
from firing.review.alignment import Passage
from firing.review.piecewise_linear import StraightPiece, limited_after, straight_pieces
from firing.review.program_deviation import book_piece, keyed_rate, other_begin, other_end, stayed
from firing.review.ramp import RampRun
from firing.review.resample import ResampledTrace
from firing.review.segment_causes import Book, book_interruptions, small_s
from firing.schedule.schedule import Schedule, Segment
from firing.schedule.timeline import ForecastSegment
from firing.units import format_duration

SHORT_RAMP_S = 1200.0
"""A ramp shorter than this is too short to tell its rate's course [s]."""
WARM_START_S = 300.0
"""A start from another temperature is told when it is worth this many seconds of the ramp."""


def ramp_causes(
    book: Book,
    schedule: Schedule,
    planned: ForecastSegment,
    passage: Passage,
    before: Passage | None,
    trace: ResampledTrace,
    run: RampRun | None,
    excess_s: float,
) -> None:
    """Book what made one ramp longer or shorter than planned.

    Parameters
    ----------
    book : Book
        Where it is booked.
    schedule : Schedule
        The plan.
    planned : ForecastSegment
        The segment's own times.
    passage, before : Passage
        Where the segment, and the one before it if there is one, lie in the log.
    trace : ResampledTrace
        The log.
    run : RampRun or None
        How the ramp ran; None for one without a rate, or that took no time.
    excess_s : float
        What there is to book [s]; what is left over stays unexplained.
    """
    assert passage.start_s is not None
    assert passage.ramp_end_s is not None
    segment = schedule.segments[planned.index]
    heats = segment.target_c > planned.from_c
    ramp_s = passage.ramp_end_s - passage.start_s
    if segment.rate_c_per_h is None:
        if not _usual_cooling(planned, segment, excess_s):
            _free_ramp(book, planned, heats, excess_s)
        return
    where = f"segment {planned.index + 1}"
    if run is None:
        words = f"the clock ran through {where} while the kiln was still behind"
        book.add("waiting", excess_s, words)
        return
    left_s = excess_s
    # Where the ramp began and ended, if not where the plan says, is part of what was keyed in.
    short = before is not None and not stayed(before, trace)
    begin = book.behind(heats=True, seconds=excess_s) if short else "other_program"
    for cause, (seconds, words) in (
        (begin, other_begin(book, planned, passage, segment.rate_c_per_h, where)),
        ("other_program", other_end(book, planned, passage, run, trace, where)),
    ):
        # … as far as it shows in the time: a set-point may start from elsewhere than the reading.
        shown_s = max(min(seconds, left_s), 0.0) if left_s > 0 else min(max(seconds, left_s), 0.0)
        if abs(shown_s) >= WARM_START_S:
            book.add(cause, shown_s, words)
            left_s -= shown_s
    if ramp_s < SHORT_RAMP_S:
        if abs(left_s) > 2 * small_s(trace):
            words = f"{where} took {format_duration(ramp_s)} to {book.degrees(segment.target_c)}"
            book.add(book.behind(heats=heats, seconds=left_s), left_s, words)
        return
    rate_c_per_h = segment.rate_c_per_h
    goes_on_at = _goes_on_at(schedule, planned.index)
    kept = run.kept_c_per_h
    slower = heats and kept is not None and kept < rate_c_per_h
    if slower and limited_after(kept or 0.0, trace, passage.ramp_end_s, goes_on_at):
        run = replace(run, kept_c_per_h=None, fades=True)
    keyed_s, keyed_words = keyed_rate(book, schedule, planned, passage, run)
    pieces: tuple[StraightPiece, ...] = ()
    if heats and not run.interruptions and abs(left_s - keyed_s) > 2 * small_s(trace):
        pieces = straight_pieces(
            trace,
            passage.start_s,
            passage.ramp_end_s,
            rate_c_per_h,
            goes_on_at,
        )
    in_pieces_s = sum(piece.excess_s(rate_c_per_h) for piece in pieces)
    power_s, ground = (0.0, "")
    if heats and not keyed_s:
        power_s, ground = _short_of_power(run, planned, left_s - run.interrupted_s)
    # One other rate or several stretches: whichever leaves less unexplained.
    if pieces and power_s <= small_s(trace) and abs(left_s - in_pieces_s) < abs(left_s - keyed_s):
        for piece in pieces:
            book_piece(book, schedule, planned, piece, where)
        left_s -= in_pieces_s
    else:
        book.add("other_program", keyed_s, keyed_words)
        left_s -= keyed_s
    left_s -= book_interruptions(book, run.interruptions, left_s, where)
    words = _behind_words(book, run, segment, where, left_s, heats)
    if heats and left_s > small_s(trace):
        power_s, ground = _short_of_power(run, planned, left_s)
        if power_s > small_s(trace):
            book.add("power_limited", power_s, f"{words}; {ground}")
            left_s -= power_s
    if abs(left_s) > small_s(trace):
        book.add(book.behind(heats=heats, seconds=left_s), left_s, words)


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


def _free_ramp(book: Book, planned: ForecastSegment, heats: bool, excess_s: float) -> None:
    """Book a ramp without a rate: against what was forecast of the kiln, it has no other plan."""
    off = "all the power there is" if heats else "the elements off"
    words = (
        f"segment {planned.index + 1} ran with {off}; the hours planned for it are the forecast's, "
        "of the default kiln unless a kiln file (--kiln) is given"
    )
    if heats and excess_s < 0:
        book.add("unexplained", excess_s, words)  # quicker than forecast is no want of power
    elif heats:
        book.add("power_limited", excess_s, words)
    else:
        book.add("slow_cooling" if excess_s > 0 else "fast_cooling", excess_s, words)


def _behind_words(
    book: Book, run: RampRun, segment: Segment, where: str, seconds: float, heats: bool
) -> str:
    assert segment.rate_c_per_h is not None
    planned = book.rate(segment.rate_c_per_h)
    if not heats:
        # Slower than set, the elements were off all the same; faster, nothing held it back.
        by_itself = ": as if the kiln had been left to cool by itself"
        if seconds > 0 or run.mean_c_per_h < 1.1 * segment.rate_c_per_h:
            by_itself = ""
        return f"{where} cooled at {book.rate(run.mean_c_per_h)}, {planned} was set{by_itself}"
    if seconds < 0 and book.makes_up(seconds):
        return f"{where} went faster than its {planned}: the kiln made up for time lost before"
    behind = run.behind_c_per_h is not None and run.behind_c_per_h < 0.95 * segment.rate_c_per_h
    if run.behind_from_c is not None and run.behind_c_per_h is not None and behind:
        return (
            f"in {where} the kiln fell behind from {book.degrees(run.behind_from_c)} on: "
            f"{book.rate(run.behind_c_per_h)} where {planned} was set"
        )
    return f"{where} ran at {book.rate(run.mean_c_per_h)} on average, {planned} was set"
