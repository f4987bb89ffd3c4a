"""A cooling that the program leads down: a kiln that falls below it has lost its power.

A controller leads a kiln down by heating it less, so that it comes to no temperature sooner than
its program does.  Whenever that began: what falls faster than it is led down is not heated.

Distances are common practice, no source.
"""

import math
from itertools import takewhile

from firing.review.position import Plan, Position
from firing.units import SECONDS_PER_HOUR
from firing.watch.recent_course import RecentCourse

LAG_S = 180.0
"""The kiln falls so much later than the set point, and then catches up [s]."""
BELOW_C, BELOW_SWINGS = 6.0, 2.5
"""A relay swings about the set point, the deeper after a corner: so far below it does not
[°C, -]."""
HELD_C = 12.0
"""In a hold that it comes down to, a relay swings for the first time, by less than this [°C]."""
READINGS, SURE_SHARE = 2, 1.4
"""A single low reading may be a disturbance, unless it is so many times further below [-, -]."""


class LedCooling:
    """Follows a kiln that its program leads down from the last peak.

    Attributes
    ----------
    outrun : bool
        The kiln is below where its program would have it by now at the lowest.
    due_c : float
        Where that is [°C]; NaN where nothing is led down.
    rate_c_per_h : float
        How fast it is led down there [°C/h], a positive figure; 0 where it is held.
    """

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        segments = plan.schedule.segments
        heated = plan.last_heated
        self._after = after = heated + 1 if heated >= 0 else len(segments)
        led = list(takewhile(lambda one: one.rate_c_per_h is not None, segments[after:]))
        self._led_until_s = plan.segments[after + len(led) - 1].end_s if led else -math.inf
        self._began_s: float | None = None
        self._at_s = self._swing_c = 0.0
        self._low = 0
        self.outrun, self.due_c, self.rate_c_per_h = False, math.nan, math.nan

    def soonest_s(self, index: int) -> float:
        """Return when the program may have come down to a segment's target at the soonest [s].

        A kiln that follows it comes there later; -inf where the beginning was not seen.
        """
        if self._began_s is None or index < self._after:
            return -math.inf
        return self._began_s + self._plan.segments[index].ramp_end_s - self._at_s

    def update(self, position: Position, now: RecentCourse) -> None:
        """Look at the course as it stands, once a reading."""
        if position.segment is None or self._led_until_s == -math.inf:
            return
        if position.segment < self._after:
            if position.phase in ("ramp", "hold"):
                self._began_s, self.outrun, self.due_c, self._low = None, False, math.nan, 0
            return
        if self._began_s is None:
            # One that a clock left behind may come up to a hold of its cooling: when, says nothing.
            if now.highest_c < self._plan.schedule.segments[self._after].target_c + HELD_C:
                return
            self._began_s, self._swing_c = now.left_high_s, now.usual_fall_c
            self._at_s = self._plan.ramp_s(self._after, now.highest_c)
        program_s = self._at_s + now.mean_s - self._began_s
        lowest_s = program_s + LAG_S
        if lowest_s >= self._led_until_s:  # from there on it may cool as it likes
            self.outrun, self.due_c = False, math.nan
            return
        self.due_c = self._plan.at_c(lowest_s)
        self.rate_c_per_h = round(
            SECONDS_PER_HOUR * (self._plan.at_c(lowest_s - 1.0) - self.due_c), 3
        )
        error_c = now.errors * math.hypot(now.error_c, now.minute_noise_c)
        below_c = self.due_c - now.celsius
        least_c = BELOW_C if self.rate_c_per_h > 0.0 else HELD_C
        enough_c = max(least_c, BELOW_SWINGS * self._swing_c, error_c)
        self._low = self._low + 1 if below_c > enough_c else 0
        surely = self._low >= READINGS or below_c > SURE_SHARE * enough_c
        self.outrun = below_c > 0.0 and (self.outrun or surely)
