"""Follows one firing: takes readings in, tells of events, and says how it stands."""

import math

import numpy as np

from firing.capture.reading import Reading, Status
from firing.errors import FiringError
from firing.schedule import Schedule
from firing.trace import FloatArray
from firing.watch.alarms import AlarmBoard
from firing.watch.cones import (
    coldest_counting_c,
    cone_outlooks,
    cones_so_far,
    down_since_s,
)
from firing.watch.estimate import Estimate
from firing.watch.history import History
from firing.watch.notices import Limits, Notice, Situation
from firing.watch.outlook import Outlook, Rest
from firing.watch.position import Plan, Position, locate

LOCATE_EVERY_S = 60.0
LAGGING_C = 10.0
"""A ramp this far behind its plan goes on as it went, not as it was meant to [°C]."""
SLOWEST = 10.0
"""A kiln that goes slower still has stalled, and no time can be told."""


class Watcher:
    """Follows one firing.

    Parameters
    ----------
    limits : Limits
        What alarms go by.
    schedule : Schedule, optional
        The plan.
    outlook : Outlook, optional
        Says how it goes on; needed where there is a plan.
    cones : tuple of str
        Cones to tell of, in their printed spelling.
    cone_offset_c : float
        What the thermocouple reads too low by for cones, from witness cones [°C].
    thermocouple_c : float, optional
        Its tolerance near the peak, ± [°C].
    """

    def __init__(
        self,
        limits: Limits,
        schedule: Schedule | None = None,
        outlook: Outlook | None = None,
        *,
        cones: tuple[str, ...] = (),
        cone_offset_c: float = 0.0,
        thermocouple_c: float | None = None,
    ) -> None:
        self.schedule = schedule
        self.history = History()
        self.board = AlarmBoard(limits, schedule, "C" if schedule is None else schedule.unit)
        self.outlook = outlook
        self._plan = None if schedule is None else Plan(schedule)
        self._cones = cones
        self._offset_c = cone_offset_c
        self._thermocouple_c = thermocouple_c
        self._position: Position | None = None
        self._deviation_c: float | None = None
        self._rate_c_per_h: float | None = None
        self._located_s = -math.inf
        self._usable_s: float | None = None
        self._reading_c = math.nan
        self._stuck = False
        self._ended: set[int] | None = None
        self._down: set[str] = set()

    def remember(self, time_s: float, temperature_c: float) -> None:
        """Take in a reading of before, about which nothing is to be told any more."""
        self.history.add(time_s, temperature_c)
        self._usable_s = time_s

    def begin(self, now_s: float) -> None:
        """Begin watching: what readings of before amount to is known, and not told."""
        if self.history.points >= 2:
            self._locate(now_s)
        self._usable_s = now_s

    def add(self, time_s: float, reading: Reading, channel: int) -> list[Notice]:
        """Take a reading in and return what has to be told.

        Parameters
        ----------
        time_s : float
            When [s].
        reading : Reading
            All channels.
        channel : int
            Which one is the kiln's.
        """
        value_c = reading.usable_c(channel)
        self._stuck = reading.statuses[channel] is Status.STUCK
        self._reading_c = value_c
        if self._usable_s is None:
            self._usable_s = time_s
        if not math.isnan(value_c):
            self.history.add(time_s, value_c)
            self._usable_s = time_s
        return self.tick(time_s)

    def tick(self, now_s: float) -> list[Notice]:
        """Look at the clock, whether there is a reading or not, and return what has to be told."""
        told: list[Notice] = []
        if now_s - self._located_s >= LOCATE_EVERY_S and self.history.points >= 2:
            told += self._locate(now_s)
        told += self.board.feed(
            Situation(
                now_s=now_s,
                reading_c=self._reading_c,
                usable_s=now_s if self._usable_s is None else self._usable_s,
                stuck=self._stuck,
                now_c=self.history.now_c(),
                highest_c=self.history.highest_c,
                rate_c_per_h=self._rate_c_per_h,
                position=self._position,
                deviation_c=self._deviation_c,
            )
        )
        return told

    def _locate(self, now_s: float) -> list[Notice]:
        self._located_s = now_s
        time_s, temperature_c = self.history.trace()
        self._rate_c_per_h = self.history.rate_c_per_h()
        told: list[Notice] = []
        now_c = self.history.now_c()
        if self._plan is not None:
            self._position = locate(self._plan, time_s, temperature_c, now_c)
            set_point_c = self._position.set_point_c
            self._deviation_c = None if set_point_c is None else now_c - set_point_c
            told += self._segments_ended(now_s)
        told += self._cones_down(now_s, time_s, temperature_c)
        return told

    def _segments_ended(self, now_s: float) -> list[Notice]:
        """Tell of segments that have ended since last looked at: holds over, hands needed."""
        position, schedule = self._position, self.schedule
        if schedule is None or position is None:
            return []
        ended: set[int] = set()
        if position.phase == "done":
            ended = set(range(len(schedule.segments)))
        elif position.segment is not None:
            ended = set(range(position.segment))
            hold_s = schedule.segments[position.segment].hold_s
            if position.phase == "hold" and position.hold_left_s(now_s, hold_s) <= 0.0:
                ended.add(position.segment)
        before, self._ended = self._ended, ended | (self._ended or set())
        if before is None:
            return []  # ended before anybody watched
        told = []
        for index in sorted(ended - before):
            segment, label = schedule.segments[index], schedule.label(index)
            if segment.hold_s > 0.0:
                message = f"the hold of segment {label} is over"
                told.append(Notice("hold-over", "note", "told", now_s, message))
            if segment.action:
                message = f"at the end of segment {label}: {segment.action}"
                told.append(Notice("action", "act", "told", now_s, message))
        return told

    def _cones_down(
        self, now_s: float, time_s: FloatArray, temperature_c: FloatArray
    ) -> list[Notice]:
        told = []
        for cone in self._cones:
            hot_enough = self.history.highest_c + self._offset_c > coldest_counting_c(cone)
            if cone in self._down or not hot_enough:
                continue
            moment_s = down_since_s(cone, time_s, temperature_c + self._offset_c)
            if moment_s is None:
                continue
            self._down.add(cone)
            if now_s - moment_s < 30.0 * LOCATE_EVERY_S:
                message = f"by heat-work cone {cone} is down; witness cones decide"
                told.append(Notice("cone", "act", "told", now_s, message))
        return told

    def estimate(self, now_s: float) -> Estimate:
        """Return the state of the firing now, with all that follows from it."""
        position, schedule = self._position, self.schedule
        name = ""
        if schedule is not None and position is not None and position.segment is not None:
            name = schedule.segments[position.segment].name
        now_c = self.history.now_c()
        bare = Estimate(
            now_s,
            now_c,
            self._rate_c_per_h,
            position,
            name,
            self._deviation_c,
            alarms=self.board.standing,
        )
        if self.history.points < 2:
            return bare
        time_s, temperature_c = self.history.trace()
        rests = self._rests(now_s, now_c)
        for_cones_c = temperature_c + self._offset_c
        reached, number, low, high = cones_so_far(time_s, for_cones_c, self._thermocouple_c)
        shifted = None if rests is None else tuple(_shifted(r, self._offset_c) for r in rests)
        outlooks = cone_outlooks(
            self._cones,
            time_s,
            for_cones_c,
            None if shifted is None else (shifted[0], shifted[1], shifted[2]),
            self._thermocouple_c,
        )
        action, action_s = self._next_action(rests, now_s)
        expected, quickest, slowest = (None, None, None) if rests is None else rests
        return Estimate(
            now_s=now_s,
            temperature_c=now_c,
            rate_c_per_h=self._rate_c_per_h,
            position=position,
            segment_name=name,
            deviation_c=self._deviation_c,
            reached=reached,
            reached_number=number,
            low=low,
            high=high,
            cones=outlooks,
            program_end_s=_end_s(expected, now_s),
            program_end_low_s=_end_s(quickest, now_s),
            program_end_high_s=_end_s(slowest, now_s),
            unload_s=None if expected is None else now_s + expected.unload_s,
            unload_low_s=None if quickest is None else now_s + quickest.unload_low_s,
            unload_high_s=None if slowest is None else now_s + slowest.unload_high_s,
            action=action,
            action_s=action_s,
            alarms=self.board.standing,
        )

    def _rests(self, now_s: float, now_c: float) -> tuple[Rest, Rest, Rest] | None:
        """Return how it goes on: as expected, at its quickest, at its slowest."""
        position = self._position
        if position is None or self.outlook is None or math.isnan(now_c):
            return None
        slower = self._slower(position)
        lags = self._deviation_c is not None and self._deviation_c < -LAGGING_C
        try:
            expected = self.outlook.rest(
                position, now_s, now_c, slower_now=slower if lags else 1.0, slower_later=1.0
            )
            quickest = self.outlook.rest(position, now_s, now_c)
            slowest = self.outlook.rest(
                position, now_s, now_c, slower_now=slower, slower_later=slower
            )
        except FiringError:
            return None  # a course that no curve answers for: nothing is told rather than guessed
        return expected, quickest, slowest

    def _slower(self, position: Position) -> float:
        """Return how many times longer this ramp takes than planned; 1 if it keeps up."""
        schedule, rate = self.schedule, self._rate_c_per_h
        if schedule is None or position.phase != "ramp" or position.segment is None:
            return 1.0
        planned = schedule.segments[position.segment].rate_c_per_h
        late = self._deviation_c is not None and self._deviation_c < 0.0
        if planned is None or rate is None or not late or rate > 0.95 * planned:
            return 1.0
        return min(planned / max(rate, planned / SLOWEST), SLOWEST)

    def _next_action(
        self, rests: tuple[Rest, Rest, Rest] | None, now_s: float
    ) -> tuple[str, float | None]:
        if self.schedule is None or rests is None:
            return "", None
        for index, left_s in rests[0].segment_ends_s.items():
            action = self.schedule.segments[index].action
            if action and index not in (self._ended or ()):
                return action, now_s + left_s
        return "", None


def _end_s(rest: Rest | None, now_s: float) -> float | None:
    return None if rest is None or rest.program_s == 0.0 else now_s + rest.program_s


def _shifted(rest: Rest, offset_c: float) -> Rest:
    return Rest(
        rest.time_s,
        np.asarray(rest.temperature_c + offset_c),
        rest.program_s,
        rest.unload_s,
        rest.unload_low_s,
        rest.unload_high_s,
        rest.segment_ends_s,
    )
