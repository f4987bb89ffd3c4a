"""What the course says of the power: gone, in part gone, or on where it should be off.

The watch sees no current, only what the kiln does: it falls where it should be heated, it climbs
at once more slowly, or it stays hot past the end of its hold.

Patience and distances are common practice, no source.
"""

import math
from dataclasses import dataclass

import numpy as np

from firing.heat import default_kiln
from firing.review.position import Plan, Position
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR
from firing.watch.history import LEAST_POINTS, RATE_WINDOW_S, RecentReadings

KEEP_S = 7200.0
NOW_S = 60.0
"""The temperature now is the mean over so long [s]."""
HIGH_S = 900.0
FALL_C = 6.0
"""A controller settles by less than this after a corner [°C]."""
WARM_C = 80.0
"""A kiln colder than this cannot fall so far: that is a matter of the thermocouple's leads."""
SIGNIFICANT_ERRORS = 5.0
"""A change is believed at so many standard errors."""
HOLD_LEFT_S = 240.0
"""A fall this shortly before a hold's end may be its end [s]."""
CLOCK_EARLY_S, CLOCK_LATE_S = 300.0, 900.0
"""A controller whose clock does not wait ends a segment when it was due, wherever the kiln is."""
CORNER_C = 5.0
REGAINED_C = 3.0

PACE_S = 240.0
PACE_READINGS = 2.2
BEFORE_S = 1200.0
BEFORE_READINGS = 6.0
BEFORE_POINTS = 4
SETTLED_S = 600.0
"""A ramp has its own pace so long after its begin [s]."""
AT_PACE_SHARE = 0.75
LOST_SHARE = 0.4
"""A ramp at this share of its plan that at once loses this share of its pace lost power; worn
elements lose it over hours."""
LOSS_C = 3.0

PAST_SIGNIFICANT_ERRORS = 4.0
PAST_S = 240.0
PAST_READINGS = 2
LEVEL_S = 900.0
NATURAL_SHARE = 0.5
"""A dense kiln cools at no less than this share of the default kiln's rate."""
FALLEN_SHARE = 0.4
DONE_FALLING_C = 15.0


@dataclass(slots=True)
class ObservedHold:
    """A hold as last seen: its segment, arrival, due end and lateness [s], and its level [°C]."""

    index: int
    arrived_s: float
    due_s: float
    late_s: float | None
    level_c: float = math.nan


class PowerMonitor:
    """Follows what the power does to the kiln; without a plan nothing is due, and nothing told.

    Attributes
    ----------
    gone, weaker, stays_on : bool
        The kiln falls where heating is due; climbs at once more slowly; stays hot past its hold.
    past_s : float
        How long past the end of the hold [s].
    cut : set of int
        Segments whose hold was cut short.
    """

    def __init__(self, schedule: Schedule | None) -> None:
        self._plan = None if schedule is None else Plan(schedule)
        self._recent = RecentReadings(KEEP_S)
        self._hold: ObservedHold | None = None
        self._ramp: Position | None = None
        self._lowest_c = math.inf
        self._until_s: float | None = None
        self._lost_at_c = math.nan
        self._lost_pace_c_per_h = math.nan
        self._lost_s = math.nan
        self._fresh = False
        self.gone = self.weaker = self.stays_on = False
        self.past_s = 0.0
        self.cut: set[int] = set()

    def add_reading(self, time_s: float, value_c: float) -> None:
        """Take a reading in that may be a kiln's."""
        self._fresh = self._recent.add(time_s, value_c) or self._fresh

    def rate_error_c_per_h(self) -> float:
        """Return the standard error of a rate over ten minutes, or five readings [°C/h]."""
        interval_s = self._recent.interval_s()
        if math.isnan(interval_s):
            return math.inf
        points = max(RATE_WINDOW_S / interval_s, float(LEAST_POINTS))
        per_s = self._recent.noise_c() * math.sqrt(12.0 / points**3) / interval_s
        return per_s * SECONDS_PER_HOUR

    def update(self, position: Position | None) -> None:
        """Look at the course as it stands, once a reading."""
        if self._plan is None or position is None or not self._fresh:
            return
        self._fresh = False
        time_s, celsius = self._recent.points()
        if time_s.size < 3:
            return
        now = _RecentCourse(time_s, celsius, self._recent.noise_c())
        self._update_hold(position)
        self._judge_loss(self._plan, position, now)
        self._judge_weakening(self._plan, position, now)
        self._judge_overlong_hold(self._plan, now)

    def _update_hold(self, position: Position) -> None:
        assert self._plan is not None
        index = position.segment
        if position.phase != "left":
            self._ramp = position if position.phase == "ramp" else None
        if index is None:
            return
        if position.phase == "hold" and position.arrived_s is not None:
            hold_s = self._plan.schedule.segments[index].hold_s
            level_c = math.nan
            if self._hold is not None and self._hold.index == index:
                level_c = self._hold.level_c
            arrived_s = position.arrived_s
            self._hold = ObservedHold(
                index, arrived_s, arrived_s + hold_s, position.late_s, level_c
            )
        elif position.phase == "ramp" and self._hold is not None and self._hold.index >= index:
            self._hold = None

    def still_held(self, now_s: float) -> int | None:
        """Return the segment whose hold has a while to go, whatever the readings look like."""
        hold = self._hold
        if self._plan is None or hold is None or now_s >= hold.due_s - HOLD_LEFT_S:
            return None
        hold_position = Position("hold", hold.index, None, hold.arrived_s, 0.0, None, hold.late_s)
        if self._ends_by_clock(self._plan, hold_position, hold.index, now_s):
            return None
        return hold.index

    # Power gone

    def _judge_loss(self, plan: Plan, position: Position, now: "_RecentCourse") -> None:
        if self.gone:
            self._lowest_c = min(self._lowest_c, now.celsius)
            regained = now.celsius > self._lowest_c + max(
                REGAINED_C, SIGNIFICANT_ERRORS * now.error_c
            )
            over = self._until_s is not None and now.at_s > self._until_s
            if regained or over:
                self.gone, self._lowest_c = False, math.inf
            return
        if now.highest_c < WARM_C or now.fallen_c < max(
            FALL_C, SIGNIFICANT_ERRORS * now.fall_error_c
        ):
            return
        hold = self._hold
        if hold is not None and now.at_s < hold.due_s - HOLD_LEFT_S:
            target_c = plan.schedule.segments[hold.index].target_c
            missing_c = target_c - now.celsius
            if missing_c < max(FALL_C, SIGNIFICANT_ERRORS * now.error_c):
                return
            if not self._ends_by_clock(plan, position, hold.index, now.at_s):
                self.gone, self._until_s = True, hold.due_s
                self.cut.add(hold.index)
            return
        if position.phase == "left" and self._ramp is not None:
            position = self._ramp  # a fall looks like leaving the plan as soon as it is seen
        index = position.segment
        if position.phase != "ramp" or index is None or not plan.heats(index):
            return
        target_c = plan.schedule.segments[index].target_c
        reached_c = target_c - CORNER_C - SIGNIFICANT_ERRORS * now.error_c
        if now.highest_c >= reached_c or self._ends_by_clock(plan, position, index, now.at_s):
            return
        self.gone, self._until_s = True, None

    def _ends_by_clock(self, plan: Plan, position: Position, index: int, now_s: float) -> bool:
        """Tell whether a segment ends about now on a clock that does not wait, and then cools."""
        after = index + 1
        if after < len(plan.segments) and plan.heats(after):
            return False
        hold, late_s, on_plan_s = self._hold, position.late_s, position.program_s
        if hold is not None and hold.index == index:
            late_s = hold.late_s
            stayed_s = min(now_s - hold.arrived_s, hold.due_s - hold.arrived_s)
            on_plan_s = plan.segments[index].ramp_end_s + stayed_s
        if late_s is None:
            return False
        clock_s = on_plan_s + late_s
        end_s = plan.segments[index].end_s
        return end_s - CLOCK_EARLY_S < clock_s < end_s + CLOCK_LATE_S

    # Part of it gone

    def _judge_weakening(self, plan: Plan, position: Position, now: "_RecentCourse") -> None:
        index = position.segment
        ramping = position.phase == "ramp" and index is not None and plan.heats(index)
        if self.weaker:
            due_c = self._lost_at_c + self._lost_pace_c_per_h * (now.at_s - self._lost_s) / 3600.0
            if not ramping or now.celsius > due_c - LOSS_C:
                self.weaker = False
            return
        if not ramping or index is None:
            return
        interval_s = self._recent.interval_s()
        pace_s = max(PACE_S, PACE_READINGS * interval_s)
        before_s = max(BEFORE_S, BEFORE_READINGS * interval_s)
        age_s = now.at_s - now.time_s
        inside = (age_s >= pace_s) & (age_s <= pace_s + before_s)
        if position.begun_s is not None:
            inside &= now.time_s >= position.begun_s + SETTLED_S
        if np.count_nonzero(inside) < BEFORE_POINTS:
            return
        line = _LeastSquaresLine(now.time_s[inside], now.values_c[inside])
        if line.span_s < 0.6 * before_s or line.slope_c_per_s <= 0.0:
            return
        segment = plan.schedule.segments[index]
        pace_c_per_h = line.slope_c_per_s * SECONDS_PER_HOUR
        if segment.rate_c_per_h is not None and pace_c_per_h < AT_PACE_SHARE * segment.rate_c_per_h:
            return
        expected_c = line.at_c(now.mean_s)
        loss_c = expected_c - now.celsius
        whole_c = line.slope_c_per_s * (now.mean_s - float(now.time_s[inside][-1]))
        error_c = math.hypot(now.error_c, line.error_c(now.mean_s, now.noise_c))
        corner_c = segment.target_c - 2.0 * whole_c - SIGNIFICANT_ERRORS * now.error_c
        if expected_c > corner_c:
            return
        if loss_c > max(LOSS_C, LOST_SHARE * whole_c, SIGNIFICANT_ERRORS * error_c):
            self.weaker = True
            self._lost_at_c, self._lost_s = expected_c, now.at_s
            self._lost_pace_c_per_h = 0.5 * pace_c_per_h

    # On past its time

    def _judge_overlong_hold(self, plan: Plan, now: "_RecentCourse") -> None:
        hold = self._hold
        if hold is None or now.at_s <= hold.due_s:
            self.stays_on = False
            return
        after = hold.index + 1
        if after < len(plan.segments) and plan.heats(after):
            self.stays_on = False
            return
        level = (now.time_s >= max(hold.due_s - LEVEL_S, hold.arrived_s)) & (
            now.time_s <= hold.due_s
        )
        after_s = now.time_s[now.time_s > hold.due_s] - hold.due_s
        past = after_s.size
        if self.stays_on:
            if hold.level_c - now.celsius > DONE_FALLING_C:
                self.stays_on, self._hold = False, None
            self.past_s = now.at_s - hold.due_s
            return
        if past < PAST_READINGS or not level.any():
            return
        level_c = hold.level_c = float(np.mean(now.values_c[level]))
        self.past_s = now.at_s - hold.due_s
        # The line that falls from the hold's level at its end, least squares.
        weight = float(after_s @ after_s)
        fallen_c = level_c - now.values_c[now.time_s > hold.due_s]
        drop_c = float(after_s @ fallen_c) / weight * self.past_s
        error_c = now.noise_c * math.hypot(
            self.past_s / math.sqrt(weight), 1.0 / math.sqrt(float(np.count_nonzero(level)))
        )
        if drop_c > DONE_FALLING_C + SIGNIFICANT_ERRORS * error_c:
            self._hold = None
            return
        slowest = NATURAL_SHARE * float(default_kiln.cooling_rate_c_per_h(np.array([level_c]))[0])
        planned = plan.schedule.segments[after].rate_c_per_h if after < len(plan.segments) else None
        rate = slowest if planned is None else min(planned, slowest)
        due_c = rate * self.past_s / SECONDS_PER_HOUR
        rises = -drop_c > max(FALL_C, SIGNIFICANT_ERRORS * error_c)
        self.stays_on = rises or (
            self.past_s >= PAST_S
            and drop_c + PAST_SIGNIFICANT_ERRORS * error_c < FALLEN_SHARE * due_c
        )


class _RecentCourse:
    """The course as it stands: how hot it is now, how high it was, and how surely."""

    def __init__(self, time_s: FloatArray, values_c: FloatArray, noise_c: float) -> None:
        self.time_s, self.values_c, self.noise_c = time_s, values_c, noise_c
        self.at_s = float(time_s[-1])
        age_s = self.at_s - time_s
        last = age_s < NOW_S
        self.count = int(np.count_nonzero(last))
        self.celsius = float(np.mean(values_c[last]))
        self.mean_s = float(np.mean(time_s[last]))
        self.error_c = noise_c / math.sqrt(self.count)
        number = (age_s // NOW_S).astype(np.int64)
        count = np.bincount(number)
        sums = np.bincount(number, weights=values_c)
        recent = (count > 0) & (
            np.arange(count.size) * NOW_S <= max(HIGH_S, _age_of_last_four_s(age_s))
        )
        means = sums[recent] / count[recent]
        self.highest_c = float(np.max(means))
        self.fallen_c = self.highest_c - self.celsius
        fewest = int(np.min(count[recent]))
        self.fall_error_c = noise_c * math.sqrt(1.0 / self.count + 1.0 / fewest)


def _age_of_last_four_s(age_s: FloatArray) -> float:
    """Return how far back the last four readings lie [s]."""
    return float(age_s[max(age_s.size - 4, 0)])


class _LeastSquaresLine:
    """A straight line through points, least squares."""

    def __init__(self, time_s: FloatArray, values_c: FloatArray) -> None:
        self._middle_s, self._middle_c = float(np.mean(time_s)), float(np.mean(values_c))
        from_middle_s = time_s - self._middle_s
        self._count = time_s.size
        self._spread = float(from_middle_s @ from_middle_s)
        self.span_s = float(time_s[-1] - time_s[0])
        self.slope_c_per_s = float(from_middle_s @ (values_c - self._middle_c)) / max(
            self._spread, 1e-9
        )

    def at_c(self, moment_s: float) -> float:
        return self._middle_c + self.slope_c_per_s * (moment_s - self._middle_s)

    def error_c(self, moment_s: float, noise_c: float) -> float:
        """Return the standard error of what the line says of a moment [°C]."""
        away_s = moment_s - self._middle_s
        return noise_c * math.sqrt(1.0 / self._count + away_s * away_s / max(self._spread, 1e-9))
