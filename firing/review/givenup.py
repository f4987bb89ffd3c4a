"""A kiln at its limit that was switched off below its peak, with more segments planned after it."""

from dataclasses import replace

import numpy as np

from firing.review.alignment import Alignment, Passage
from firing.review.evenly import EvenTrace
from firing.review.ramp import ramp_run
from firing.schedule.schedule import Schedule

SHORT_C = 25.0
"""About a cone short of its peak no controller that waits goes on by itself [°C]."""
AFTER_S = 1200.0
SETTLE_S = 120.0
DROPPING = 1.5
"""A fall so many times faster than the next segment's rate is the kiln left to itself."""


def given_up(
    alignment: Alignment, schedule: Schedule, trace: EvenTrace, *, on_time: bool
) -> Alignment:
    """Take a firing as stopped that fell behind, never came to its peak, and then only cooled.

    Parameters
    ----------
    alignment : Alignment
        As found so far.
    schedule : Schedule
        The plan.
    trace : EvenTrace
        The log.
    on_time : bool
        Whether the program took its planned time, so that a clock may have ended it.
    """
    index = schedule.peak_index
    passage, segment = alignment.passages[index], schedule.segments[index]
    follows = schedule.segments[index + 1 :]
    if on_time or not alignment.complete or not follows or follows[0].rate_c_per_h is None:
        return alignment
    if passage.start_s is None or passage.ramp_end_s is None or passage.end_s is None:
        return alignment
    if segment.rate_c_per_h is None or passage.level_c is None:
        return alignment
    if segment.target_c - passage.level_c < SHORT_C:
        return alignment
    run = ramp_run(trace, passage.start_s, passage.ramp_end_s, segment.rate_c_per_h, heats=True)
    if not run.fades and (run.full_duty_share or 0.0) < 0.5:
        return alignment
    after = slice(trace.index(passage.end_s + SETTLE_S), trace.index(passage.end_s + AFTER_S) + 1)
    if -float(np.median(trace.rate_c_per_h[after])) < DROPPING * follows[0].rate_c_per_h:
        return alignment
    unreached = [Passage(None, None, None, None, None)] * len(follows)
    left = replace(passage, ramp_end_s=None, end_s=None)
    return replace(
        alignment,
        passages=(*alignment.passages[:index], left, *unreached),
        end_s=passage.end_s,
        complete=False,
        aborted=True,
    )
