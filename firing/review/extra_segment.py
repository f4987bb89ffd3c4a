"""A segment more than planned, after the plan's last: a fall as straight as only power keeps it."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from firing.review.cooling import quickening
from firing.review.ramp import BEND_MOST, line_and_bend
from firing.review.resample import ResampledTrace
from firing.units import SECONDS_PER_HOUR

LEAST_S = 1800.0
LEAST_C = 60.0
"""Over this much a kiln that cools by itself slows by a tenth and more: a bend [s, °C]."""
STAY_C = 5.0
"""A stay moves by no more than this [°C]."""
MOST_PASSES = 4


@dataclass(frozen=True, slots=True)
class ExtraSegment:
    """What was run after the plan's last segment: until when, to what, and how fast on average."""

    end_s: float
    from_c: float
    to_c: float
    rate_c_per_h: float

    def to_dict(self) -> dict[str, Any]:
        """Return it as the JSON shows it."""
        return {
            "end_s": self.end_s,
            "from_c": self.from_c,
            "to_c": self.to_c,
            "rate_c_per_h": self.rate_c_per_h,
        }


def extra_segment(trace: ResampledTrace, from_s: float, room_c: float) -> ExtraSegment | None:
    """Return what was run under power after the plan's end; None if the kiln was left to itself.

    Parameters
    ----------
    trace : ResampledTrace
        The kiln's channel.
    from_s : float
        When the plan's last segment ended [s].
    room_c : float
        [°C].

    Returns
    -------
    ExtraSegment or None
        Only where the fall quickened at the end of a stay or of a straight stretch: a closed kiln
        left to itself falls ever more slowly.
    """
    begin_s = from_s
    for _ in range(MOST_PASSES):
        quicker = quickening(trace, begin_s, room_c)
        if quicker is None or not _under_power(trace, begin_s, quicker.at_s):
            break
        begin_s = quicker.at_s
    if begin_s == from_s:
        return None
    from_c, to_c = trace.at(from_s), trace.at(begin_s)
    return ExtraSegment(
        begin_s, from_c, to_c, (to_c - from_c) / (begin_s - from_s) * SECONDS_PER_HOUR
    )


def _under_power(trace: ResampledTrace, start_s: float, end_s: float) -> bool:
    """Return whether the readings stood still or fell in a straight line between two moments."""
    first, last = trace.index(start_s), trace.index(end_s)
    corner = max(1, round(0.1 * (last - first)))
    inside = slice(first + corner, last + 1 - corner)
    time_s, temperature_c = trace.time_s[inside], trace.temperature_c[inside]
    if time_s.size < 8 or end_s - start_s < LEAST_S:
        return False
    fallen_c = float(temperature_c[0] - temperature_c[-1])
    if float(np.ptp(temperature_c)) <= STAY_C + 3.0 * trace.noise_c:
        return True
    if fallen_c < 0.8 * LEAST_C:
        return False
    _, bend, error = line_and_bend(time_s, -temperature_c)
    return abs(bend) - 2.0 * error <= BEND_MOST
