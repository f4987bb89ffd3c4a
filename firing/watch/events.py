"""What is told while a firing runs, what alarms go by, and the patience they have."""

import math
from dataclasses import dataclass, field
from typing import Literal

from firing.forecast.opening import UNLOAD_C
from firing.review.position import Position
from firing.serialise import Serialised, rounded

Severity = Literal["act", "note"]
EventState = Literal["raised", "over", "told"]

NO_SAFETY_DEVICE = (
    "this watch is no safety device: an independent over-temperature cut-out and a person at the "
    "end point are"
)


@dataclass(frozen=True, slots=True)
class WatchEvent(Serialised):
    """One thing told while a firing runs: an alarm begins or ends, or a thing happened once.

    The severity says whether somebody has to do something; `repeat`, how many times it was told
    before without an answer.
    """

    id: str
    severity: Severity
    state: EventState
    at_s: float = field(metadata=rounded(1, "time_s"))
    message: str
    repeat: int = 0


@dataclass(frozen=True, slots=True)
class AlarmLimits:
    """What alarms go by.

    A temperature never to go above, how far above the plan is too far, how long without a usable
    reading is too long, and where the kiln may be unloaded.  `waits` says whether the controller's
    clock waits while the kiln lags; None where nobody said.
    """

    top_c: float | None = None
    above_c: float = 15.0
    lost_after_s: float = 60.0
    unload_c: float = UNLOAD_C
    waits: bool | None = None


@dataclass(frozen=True, slots=True)
class AlarmInputs:
    """What alarms look at.

    `reading_c` is the last reading, NaN if it was not usable; `usable_s` when the last usable one
    came, or watching began.  `now_c` is smoothed.  `deviation_c` is above the plan, or below
    (negative).  A live source's lines usually come every `line_every_s`.  Before
    `cold_from_s` a cold reading is not the ware's; `fires_again` after it has been unloaded.
    """

    now_s: float
    reading_c: float
    usable_s: float
    stuck: bool
    now_c: float
    highest_c: float
    rate_c_per_h: float | None
    position: Position | None
    deviation_c: float | None
    line_every_s: float = 0.0
    cold_from_s: float = -math.inf
    fires_again: bool = False


class AlarmLatch:
    """An alarm's memory: raised when its cause lasts, cleared when calm lasts.

    Between cause and calm lies a band in which nothing changes, so a value that hovers about a
    limit is told once.
    """

    def __init__(self, raise_after_s: float, clear_after_s: float) -> None:
        self._raise_after_s = raise_after_s
        self._clear_after_s = clear_after_s
        self._cause_since_s: float | None = None
        self._calm_since_s: float | None = None
        self.raised = False

    def update(
        self, now_s: float, cause: bool, calm: bool, *, at_once: bool = False
    ) -> EventState | None:
        """Take the state of things in; return "raised" or "over" when that changes.

        A cause that was waited for already is believed `at_once`.
        """
        if not cause:
            self._cause_since_s = None
        elif self._cause_since_s is None:
            self._cause_since_s = now_s
        if not calm:
            self._calm_since_s = None
        elif self._calm_since_s is None:
            self._calm_since_s = now_s
        since_s = self._calm_since_s if self.raised else self._cause_since_s
        patience_s = self._clear_after_s if self.raised else self._raise_after_s
        if at_once and not self.raised:
            patience_s = 0.0
        if since_s is None or now_s - since_s < patience_s:
            return None
        self.raised = not self.raised
        return "raised" if self.raised else "over"
