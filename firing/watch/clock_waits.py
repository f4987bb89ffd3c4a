"""How likely it is that the controller's clock waits for a kiln that lags.

Nothing that is read says so, and a kiln at full power climbs alike either way.  But a clock that
never waits leads its kiln all the way back to where it is, one that waits by no more than its band;
and a kiln that is regulated far behind a clock that never waited has one that did.
"""

import math

WAITS_PRIOR = 0.75
"""Before anything was seen: most kiln controllers wait; common practice, no source [-]."""
BAND_C = 10.0
"""Bands within which clocks run on, in the mean of an exponential scatter; common practice, no
source [°C]."""
LINE_OFF_C = 3.0
"""The line through half an hour of swings and noise is off by so much at two times [°C]."""
CAUGHT_UP_C = 30.0
"""A kiln that was led back by so much has a clock that does not wait [°C]."""
FAR_C = 20.0
"""So far behind its clock a kiln that is regulated has another clock than that [°C]."""
KEEPS_PACE_SHARE = 0.03
BY_CHANCE = 0.1
"""How likely full power happens to give just the program's pace for half an hour, or a course that
looks regulated [-]."""


class ClockEvidence:
    """What the course has shown of the clock so far.

    Attributes
    ----------
    began_s : float or None
        When a clock that never waited would have begun, as last seen [s].
    """

    def __init__(self) -> None:
        self.began_s: float | None = None
        self._most_behind_c = -math.inf
        self._led_back_c = 0.0
        self._regulated_behind = False

    def begin_ramp(self) -> None:
        """Begin with another ramp: what the kiln was behind in °C counts by another rate."""
        self._most_behind_c = -math.inf

    def add(self, behind_c: float, pace_share: float, *, regulated: bool) -> None:
        """Take in how far a ramp is behind a clock that never waited, where it was never as hot.

        It climbs at `pace_share` of its rate; `regulated` where that is surely not for want of
        power.
        """
        self._most_behind_c = max(self._most_behind_c, behind_c)
        self._led_back_c = max(self._led_back_c, self._most_behind_c - behind_c)
        keeps_pace = abs(pace_share - 1.0) < KEEPS_PACE_SHARE
        self._regulated_behind |= behind_c > FAR_C and (keeps_pace or regulated)

    @property
    def caught_up(self) -> bool:
        """Whether the kiln was led back as only a clock that does not wait leads it."""
        return self._led_back_c > CAUGHT_UP_C

    @property
    def waits_share(self) -> float:
        """How likely the clock waits."""
        if self.caught_up:
            return 0.0
        band_holds = math.exp(-max(self._led_back_c - LINE_OFF_C, 0.0) / BAND_C)
        waits = WAITS_PRIOR * band_holds
        other = (1.0 - WAITS_PRIOR) * (BY_CHANCE if self._regulated_behind else 1.0)
        return waits / (waits + other)
