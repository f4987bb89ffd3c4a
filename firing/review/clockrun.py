"""A program run by the clock in a kiln that could not follow: it ended on time all the same."""

from dataclasses import replace

from firing.course import ForecastSegment
from firing.review.alignment import Alignment, Passage

NEAR_S = 600.0
NEAR_SHARE = 0.02
"""A program that ends this near to its planned length ran by the clock [s, share of it]."""


def ended_by_clock(alignment: Alignment, planned: tuple[ForecastSegment, ...]) -> Alignment:
    """Return the alignment with a program that seems broken off, but took its time, as run.

    A controller whose clock does not wait goes through its segments while the kiln lags, and
    switches off when the last is due.  A kiln still below its target then seems to have been
    stopped; that it took just the planned time tells the two apart.

    Parameters
    ----------
    alignment : Alignment
        As the readings alone have it.
    planned : tuple of ForecastSegment
        The plan's segments.

    Returns
    -------
    Alignment
        The segment in which the readings left the plan ends with them; those after it, which the
        kiln never came to, take no time.
    """
    if not alignment.aborted or alignment.starts_inside:
        return alignment
    planned_s = sum(segment.planned_s for segment in planned)
    ran_s = alignment.end_s - alignment.start_s
    if abs(ran_s - planned_s) > max(NEAR_S, NEAR_SHARE * planned_s):
        return alignment
    end_s = alignment.end_s
    passages: list[Passage] = []
    for passage in alignment.passages:
        if passage.end_s is not None:
            passages.append(passage)
        elif passage.start_s is not None:
            arrived_s = end_s if passage.ramp_end_s is None else passage.ramp_end_s
            passages.append(replace(passage, ramp_end_s=arrived_s, end_s=end_s))
        else:
            level_c = passages[-1].level_c if passages else None
            passages.append(Passage(end_s, end_s, end_s, level_c, level_c))
    return replace(alignment, passages=tuple(passages), complete=True, aborted=False)
