"""What the course says of the power: gone, in part gone, or on where it should be off.

The watch sees no current, only what the kiln does: it falls where it should be heated, it climbs
at once more slowly, or it stays hot past the end of its hold.

Patience and distances are common practice, no source.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from firing.heat import default_kiln
from firing.review.position import Plan, Position
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR
from firing.watch.history import (
    LEAST_NOISE_C,
    LEAST_POINTS,
    RATE_WINDOW_S,
    RecentReadings,
)
from firing.watch.led_cooling import LedCooling
from firing.watch.line_scan import BEFORE_S, GAPS_S, LineScan
from firing.watch.recent_course import (
    BEFORE_POINTS,
    FALL_C,
    LEVEL_C,
    LEVEL_ERRORS,
    NOW_S,
    PACE_NOISE_SWING,
    RARE_POINTS,
    RARE_S,
    RISES_FROM_S,
    SETTLED_S,
    SIGNIFICANT_ERRORS,
    SWING_S,
    SWING_SHARE,
    Habit,
    LeastSquaresLine,
    RecentCourse,
)

KEEP_S = 7200.0
PACE_SWING_SHARE = 2.0
"""A pace is lost by so many times the swing about it: a line drawn through swings is off, too."""
WARM_C = 80.0
"""A kiln colder than this cannot fall so far: that is a matter of the thermocouple's leads."""
BEGUN_C = 10.0
"""A kiln that was never this far above its room may wait for its start yet [°C]."""
HOLD_LEFT_S = 240.0
"""A fall this shortly before a hold's end may be its end [s]."""
CLOCK_EARLY_S, CLOCK_MOST_EARLY_S, CLOCK_LATE_S = 120.0, 300.0, 900.0
"""A controller whose clock does not wait ends a segment when it was due, wherever the kiln is.  Its
begin is taken for too late by as much as the kiln is ahead of it: none runs ahead of its clock."""
BEHIND_C, KEEPS_PACE_S, KEEPS_PACE_SHARE = 15.0, 3600.0, 0.03
"""So far behind its clock a kiln gives all its power, and a pace that is the program's to within
this share for so long is that of a clock that waited [°C, s, -]."""
OFF_SHOWS_S, STILL_CLIMBS_SHARE = 600.0, 0.15
"""So long after a clock would have been through it still holds, or climbs by this share [s, -]."""
CORNER_C = 5.0
CORNER_S, CORNER_SHARE = 1800.0, 2.5
LEAST_PACE_SHARE = 0.5
CRAWLS_C, CRAWLS_MOST_S = 4.0, 2400.0
"""A kiln that crawls to its target has come to it anywhere within these degrees [°C, s]."""
LAGS_C, CATCHES_UP_C, NEAR_CLOCK_C, FIRST_SWING_C = 3.0, 1.5, 20.0, 12.0
"""So far behind its clock a kiln runs at full power; one that gains so much on it and is near it
again swings, by less than the last [°C]."""
COLD_SWINGS_C, COLD_SWING_C = 250.0, 22.0
"""Below this a kiln takes up little, and a relay makes it swing by so much [°C]."""
LATE_S = 180.0
REGAINED_C = 3.0
PACES = ((240.0, 2.2, 1200.0), (900.0, 4.0, 1800.0))
"""The last minutes or readings, and the time before that they are set beside [s, -, s]: for what is
lost at once, and for what goes over a quarter-hour.  Over hours every worn kiln loses pace."""
GAIN_PACES = (*PACES, (240.0, 2.2, 3600.0))
"""The same for a gain: a line through an hour has the pace of a relay's swings, too."""
LATEST_S, LATEST_READINGS, CLIMBS_SHARE = 120.0, 3, 0.4
BEFORE_READINGS = 6.0
AT_PACE_SHARE = 0.75
LOST_SHARE = 0.4
"""A ramp at this share of its plan that at once loses this share of its pace lost power; worn
elements lose it over hours."""
LOSS_C = 3.0
LEAST_PACE_C_PER_H = 15.0
"""What climbs by less has little to lose [°C/h]."""
SURE_SHARE = 1.4
"""By so many times what it takes a change is believed at the first reading that shows it [-]."""
KEEPS_PLAN_SHARE, GAIN_C, GAIN_SWINGS, WAITS_MOST_C = 0.05, 4.0, 2.0, 20.0
"""A ramp that kept its rate to within this share runs away from it by so much, and so many swings,
more than it may be behind a clock that waits [-, °C, -, °C]."""
SURELY_TURNS, STILL_TURNS = 5.0, 2.5
"""By so many standard errors it swings, and where it did does so yet [-, -]."""
PAST_SIGNIFICANT_ERRORS = 3.5
"""A hold ends once, and the slowest fall there is to be expected is less than any [-]."""
PAST_READINGS = 2
FIRST_FALLS = 1.5
"""A kiln that is let go falls by so many times its next pace at first, at the most [-]."""
LEVEL_S, LEVEL_READINGS = 900.0, 3
MEETS_S = 3600.0
"""An arrival is where the line through so long a stretch of its ramp meets the target [s]."""
ARRIVED_ERRORS, ARRIVED_SWINGS, MOST_EARLY_S = 1.5, 2.8, 720.0
"""By so many standard errors and swings the first reading at a target may be early, so much at most
[-, -, s]."""
MOST_SHARE = 1.2
"""Past a hold's end no reading is off by more than so many times what any was in the hold [-]."""
BELOW_MOST_S = 180.0
"""A swing's middle below its target is met so much sooner at the most [s]."""
AT_TARGET_C = 3.0
"""A controller's clock takes a kiln within so much of its target for one that is there [°C]."""
BENT_ERRORS, LEAST_MEETS_S = 3.0, 900.0
"""A ramp that bends by so many standard errors is no line; its last half is, down to so short
[-, s]."""
OUT_C, OUT_S = 4.0, 300.0
"""A hold is left upwards by so much above the highest it had until so long ago [°C, s]."""
NATURAL_SHARE = 0.5
"""A dense kiln cools at no less than this share of the default kiln's rate."""
OFF_LAG_S, OFF_SHARE, LEAST_DUE_C = 60.0, 0.75, 1.7
"""So late a kiln that is let go falls, and at the first at this share of the default kiln's rate at
the least: its elements and the skins of ware and bricks cool first; less than so much due shows
nothing [s, -, °C]."""
LED_LAG_S, LED_SHARE, LED_MOST = 120.0, 0.6, 0.25
"""One that is led down falls so late, at this share of its plan; at more than this share of that it
is being led [s, -, -]."""
LED_SEEN_C, LED_ERRORS = 1.0, 3.0
"""Noise hides the first minutes of its fall: a standard error more is allowed for by each of these,
and so many at the most [°C, -]."""
STILL_UP_SHARE = 0.5
"""Above its swing's top less this share of the least fall due a kiln is not let go; a full one,
which falls more slowly at first, lies below that [1]."""
DONE_FALLING_C = 15.0


@dataclass(frozen=True, slots=True)
class RampLine:
    """When the line through a ramp meets its target, give or take, and what scatters about it.

    The moment is -inf where nothing is known.
    """

    meets_s: float = -math.inf
    error_s: float = 0.0
    scatter_c: float = math.inf

    @property
    def latest_s(self) -> float:
        return self.meets_s + ARRIVED_ERRORS * self.error_s


@dataclass(slots=True)
class ObservedHold:
    """A hold as last seen: its segment, arrival, due end and lateness [s], and its level [°C].

    It came at `pace_c_per_h`; one that crawls may have arrived `unsure_s` sooner or later.
    `ramp` is the line it came along, and at `at_target_s` it was at its target after that.
    """

    index: int
    arrived_s: float
    due_s: float
    late_s: float | None
    level_c: float = math.nan
    pace_c_per_h: float = math.inf
    unsure_s: float = 0.0
    ramp: RampLine = RampLine()
    at_target_s: float = math.nan

    @property
    def level_from_s(self) -> float:
        """From when on it has its level: a swing's top was at the target before its middle."""
        return self.arrived_s + min(max(self.ramp.meets_s - self.arrived_s, 0.0), CORNER_S)

    @property
    def soonest_due_s(self) -> float:
        """When its end is due where a swing or noise was first at its target [s]."""
        late_s = self.ramp.meets_s - ARRIVED_ERRORS * self.ramp.error_s - self.arrived_s
        return self.due_s + min(max(late_s, 0.0), CORNER_S)


class PowerMonitor:
    """Follows what the power does to the kiln; without a plan nothing is due, and nothing told.

    Attributes
    ----------
    gone, weaker, stays_on, faster : bool
        The kiln falls where heating is due; climbs at once more slowly; stays hot past its hold;
        climbs faster than its program.
    falls, runs_up : bool
        It falls, further than it swings; it rises out of a hold, further than it ever did there.
    past_s : float
        How long past the end of the hold [s].
    waits : bool or None
        Whether the controller's clock waits while the kiln lags: said, or shown; else None.
    led : LedCooling or None
        Whether it falls faster than its program leads it down.
    over_by_clock : bool
        It fell where a clock that does not wait was through, and another was not.
    cut : set of int
        Segments whose hold was cut short.
    """

    def __init__(self, schedule: Schedule | None, waits: bool | None = None) -> None:
        self.waits = waits
        self._plan = None if schedule is None else Plan(schedule)
        self.led = None if self._plan is None else LedCooling(self._plan)
        self._recent = RecentReadings(KEEP_S)
        self._hold: ObservedHold | None = None
        self._ramp: Position | None = None
        self._begun_s: dict[int, float] = {}
        self._ramp_s = -math.inf
        self._lowest_c = math.inf
        self._until_s: float | None = None
        self._lost_at_c = math.nan
        self._lost_pace_c_per_h = math.nan
        self._lost_s = math.nan
        self._lost, self._gained = _Suspicion(), _Suspicion()
        self._sunk, self._rose, self._off_line = _Suspicion(), _Suspicion(), _Suspicion()
        self._fresh = False
        self._gained_c = self._gained_s = math.nan
        self.gone = self.weaker = self.stays_on = self.faster = False
        self.falls = self.runs_up = False
        self._clock_began_s: float | None = None
        self._ahead_s = self._behind_s = 0.0
        self._fall_began_s: float | None = None
        self._fell_from_c = math.nan
        self._fell_by_s = math.inf
        self._swung_s = -math.inf
        self.past_s = 0.0
        self.over_by_clock = False
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

    @property
    def surely_begun_c(self) -> float:
        """How far above its room a kiln has surely been heated, whatever the noise [°C]."""
        return BEGUN_C + SIGNIFICANT_ERRORS * self._recent.noise_c()

    def update(self, position: Position | None, *, may_be_stuck: bool = False) -> None:
        """Look at the course as it stands, once a reading.

        A reading that may be stuck has lost no pace.
        """
        if self._plan is None or position is None or not self._fresh:
            return
        self._fresh = False
        time_s, celsius = self._recent.points()
        if time_s.size < 3:
            return
        now = RecentCourse(time_s, celsius, self._recent.noise_c())
        if self.led is not None:
            self.led.update(position, now)
        self._update_hold(position)
        self._update_fall(position, now)
        if self.waits is None and self._shows_that_it_waits(self._plan, position, now):
            self.waits = True
        self._judge_loss(self._plan, position, now)
        if self.weaker or not may_be_stuck:
            self._judge_weakening(self._plan, position, now)
        self._judge_gain(self._plan, position, now)
        self.runs_up = self._runs_up(self._plan, now)
        self._judge_overlong_hold(self._plan, now)

    def _update_fall(self, position: Position, now: RecentCourse) -> None:
        """Take in whether it falls, since when, and when a clock that does not wait began."""
        if position.late_s is not None and position.phase in ("ramp", "hold"):
            self._clock_began_s = now.at_s - position.program_s - position.late_s
            if position.phase == "ramp" and position.segment is not None:
                self._update_clock(position.segment, position.late_s, now)
        if now.swings:
            self._swung_s = now.at_s
        self.falls = now.falls
        if not now.falls:
            self._fall_began_s, self._fell_from_c = None, now.highest_c
        elif self._fall_began_s is None:
            self._fall_began_s, self._fell_from_c = now.left_high_s, now.highest_c
        self._fell_by_s = self._latest_fall_s(now)

    def _update_clock(self, index: int, late_s: float, now: RecentCourse) -> None:
        """Take in, on a ramp, how far the kiln is from the clock as that is taken to have begun."""
        assert self._plan is not None
        rate_c_per_h = self._plan.schedule.segments[index].rate_c_per_h
        hour = now.time_s > now.at_s - KEEPS_PACE_S
        self._behind_s = 0.0
        if now.highest_c < COLD_SWINGS_C or rate_c_per_h is None:
            return
        since_s = self._begun_s.get(index, -math.inf) + SETTLED_S
        if now.time_s[hour][0] < since_s or np.count_nonzero(hour) < BEFORE_POINTS:
            return
        line = LeastSquaresLine(now.time_s[hour], now.values_c[hour])
        rate_c_per_s = rate_c_per_h / SECONDS_PER_HOUR
        line_late_s = late_s + (now.celsius - line.at_c(now.mean_s)) / rate_c_per_s
        self._ahead_s = max(self._ahead_s, -line_late_s)
        off_share = abs(line.slope_c_per_s / rate_c_per_s - 1.0)
        off_share += line.slope_error_c_per_s(now.noise_c) / rate_c_per_s
        # At the program's pace, and not far behind, its clock is with it and began later.
        if off_share < KEEPS_PACE_SHARE and line_late_s * rate_c_per_s < BEHIND_C:
            self._behind_s = max(line_late_s, 0.0)

    def _latest_fall_s(self, now: RecentCourse) -> float:
        """Return by when the fall it is in has surely begun [s]; infinite where none is seen.

        It was at its level for the last time, or of readings minutes apart, it takes so long to the
        first low one at a good half more than the pace of the next: a kiln falls fastest at first.
        """
        began_s, hold = self._fall_began_s, self._hold
        if began_s is None or hold is None or self._plan is None:
            return math.inf
        held = (now.time_s > hold.arrived_s) & (now.time_s < began_s)
        level_c = min(self._fell_from_c, self._plan.schedule.segments[hold.index].target_c)
        if held.any():
            level_c = min(level_c, float(np.median(now.values_c[held])))
        level_c -= max(now.usual_fall_c, LEVEL_C, LEVEL_ERRORS * now.minute_noise_c)
        if not now.is_rare:
            return now.last_above_s(level_c)
        low = (now.time_s > began_s + 0.5 * NOW_S) & (now.values_c < level_c)
        if np.count_nonzero(low) < PAST_READINGS:
            return math.inf
        low_s, low_c = now.time_s[low], now.values_c[low]
        fastest_c_per_s = FIRST_FALLS * float(low_c[0] - low_c[1]) / float(low_s[1] - low_s[0])
        if fastest_c_per_s <= 0.0:
            return math.inf
        return max(began_s, float(low_s[0]) - (level_c - float(low_c[0])) / fastest_c_per_s)

    @property
    def fell_at_the_clocks_end(self) -> bool:
        """Whether the fall began when a clock that does not wait was through with the heating."""
        plan = self._plan
        if plan is None or self._clock_began_s is None or self._fall_began_s is None or self.waits:
            return False
        if plan.last_heated < 0:
            return False
        end_s = _lets_go_s(plan, plan.last_heated, self._fell_from_c)
        after_s = self._fall_began_s - self._clock_began_s - end_s
        return -self._clock_early_s < after_s < CLOCK_LATE_S

    @property
    def _clock_early_s(self) -> float:
        """How much earlier than it is taken for a clock that does not wait may end [s]."""
        return min(CLOCK_EARLY_S + self._ahead_s, CLOCK_MOST_EARLY_S)

    def above_clock_c(self, now_s: float, now_c: float) -> float:
        """Return how far it is above where a clock that does not wait has it now [°C]."""
        if self._plan is None or self._clock_began_s is None:
            return math.inf
        return now_c - self._plan.at_c(now_s - self._clock_began_s)

    def _shows_that_it_waits(self, plan: Plan, position: Position, now: RecentCourse) -> bool:
        """Tell whether the kiln goes where only a clock that waited for it would have it."""
        index = position.segment
        if index is None or self._clock_began_s is None:
            return False
        clock_s = now.at_s - self._clock_began_s
        segment, part = plan.schedule.segments[index], plan.segments[index]
        if position.phase == "hold" and position.arrived_s is not None:
            heats_after = index + 1 < len(plan.segments) and plan.heats(index + 1)
            held = abs(now.celsius - segment.target_c) < CORNER_C + now.usual_fall_c
            still = now.at_s < position.arrived_s + segment.hold_s - HOLD_LEFT_S
            past_s = clock_s - part.end_s
            return held and still and past_s > (CLOCK_LATE_S if heats_after else OFF_SHOWS_S)
        rate, late_s, begun_s = segment.rate_c_per_h, position.late_s, position.begun_s
        if position.phase != "ramp" or rate is None or late_s is None or begun_s is None:
            return False
        behind_c = late_s * rate / SECONDS_PER_HOUR
        settled = now.time_s > begun_s + SETTLED_S
        long_ago = now.at_s - begun_s > KEEPS_PACE_S + SETTLED_S
        if not plan.heats(index) or behind_c < BEHIND_C or not long_ago:
            return False
        # A relay lets go at its set point: where that is far behind the clock, the clock waited.
        clock_c = np.interp(now.time_s - self._clock_began_s, plan.time_s, plan.temperature_c)
        near_s = now.time_s[~settled | (now.values_c > clock_c - BEHIND_C)]
        behind_s = float(near_s[-1]) + 1.0 if near_s.size else -math.inf
        if self._gains_since(now, behind_s, rate / SECONDS_PER_HOUR).turning > SURELY_TURNS:
            return True
        # What is left of full power falls from one half of the hour to the other.
        age_s = now.at_s - now.time_s
        heated = plan.last_heated
        # In a hold that it is led down to it may swing.
        let_go_s = _lets_go_s(plan, heated, now.celsius - BEHIND_C)
        over = clock_s > let_go_s + CLOCK_LATE_S
        offs = []
        for least_s, most_s in ((0.0, 0.5 * KEEPS_PACE_S), (0.5 * KEEPS_PACE_S, KEEPS_PACE_S)):
            inside = settled & (age_s >= least_s) & (age_s < most_s)
            if np.count_nonzero(inside) < BEFORE_POINTS:
                return False
            line = LeastSquaresLine(now.time_s[inside], now.values_c[inside])
            error = line.slope_error_c_per_s(now.noise_c) * SECONDS_PER_HOUR / rate
            share = line.slope_c_per_s * SECONDS_PER_HOUR / rate
            if over and share - 3.0 * error > STILL_CLIMBS_SHARE:
                return True
            # One that has just begun to fall is behind now, and kept its pace before.
            if np.mean(clock_c[inside] - now.values_c[inside]) < BEHIND_C:
                return False
            offs.append(abs(share - 1.0) + error)
        return max(offs) < KEEPS_PACE_SHARE

    def _update_hold(self, position: Position) -> None:
        assert self._plan is not None
        index = position.segment
        if position.phase == "ramp" and index is not None and position.begun_s is not None:
            self._begun_s[index] = position.begun_s
        if position.phase != "left":
            self._ramp = position if position.phase == "ramp" else None
            self._ramp_s = self._recent.points()[0][-1]
        if index is None:
            return
        if position.phase == "hold" and position.arrived_s is not None:
            hold_s = self._plan.schedule.segments[index].hold_s
            arrived_s, before = position.arrived_s, self._hold
            due_s = arrived_s + hold_s
            if before is not None and before.index == index:
                ramp, at_target_s = before.ramp, before.at_target_s
                if arrived_s != before.arrived_s and self._ramp_s < arrived_s + CORNER_S:
                    ramp, at_target_s = self._ramp_line(self._plan, position, index), math.nan
                if math.isnan(at_target_s):
                    at_target_s = self._at_target_s(self._plan, index, ramp)
                self._hold = replace(
                    before,
                    arrived_s=arrived_s,
                    due_s=due_s,
                    late_s=position.late_s,
                    ramp=ramp,
                    at_target_s=at_target_s,
                )
            else:
                pace = self._pace_before(arrived_s)
                unsure_s = self._crawls_s(self._plan, index, pace, arrived_s)
                ramp = self._ramp_line(self._plan, position, index)
                self._hold = ObservedHold(
                    index, arrived_s, due_s, position.late_s, math.nan, pace, unsure_s, ramp
                )
        elif position.phase == "ramp" and self._hold is not None and self._hold.index >= index:
            self._hold = None

    def _pace_before(self, arrived_s: float) -> float:
        """Return the pace at which the kiln came to a hold [°C/h]; infinite if not known."""
        time_s, celsius = self._recent.points()
        last = (time_s <= arrived_s) & (time_s > arrived_s - CORNER_S)
        if np.count_nonzero(last) < BEFORE_POINTS:
            return math.inf
        return LeastSquaresLine(time_s[last], celsius[last]).slope_c_per_s * SECONDS_PER_HOUR

    def _ramp_line(self, plan: Plan, position: Position, index: int) -> RampLine:
        """Return the line a kiln came to its hold along.

        Noise and swing bring the first reading at a target; a line through an hour of them has the
        middle of both, and so the set point's course.
        """
        time_s, celsius = self._recent.points()
        since_s = -math.inf if position.begun_s is None else position.begun_s + SETTLED_S
        arrived_s = math.inf if position.arrived_s is None else position.arrived_s
        ramp = (time_s < arrived_s) & (time_s > max(arrived_s - MEETS_S, since_s))
        if np.count_nonzero(ramp) < BEFORE_POINTS:
            return RampLine()
        time_s, celsius = time_s[ramp], celsius[ramp]
        straight = _straight_from(time_s, celsius)
        time_s, celsius = time_s[straight:], celsius[straight:]
        line = LeastSquaresLine(time_s, celsius)
        if not line.slope_c_per_s:
            return RampLine()
        meets_s = line.meets_s(plan.schedule.segments[index].target_c)
        scatter_c = line.scatter_c(time_s, celsius)
        error_s = line.error_c(meets_s, scatter_c) / abs(line.slope_c_per_s)
        if error_s > MOST_EARLY_S:
            return RampLine()
        scatter_c *= 1.0 + 3.0 / time_s.size  # few points tell it badly
        return RampLine(meets_s, error_s, max(scatter_c, LEAST_NOISE_C))

    def _at_target_s(self, plan: Plan, index: int, ramp: RampLine) -> float:
        """Return when it was at its target first once its ramp had met it [s]; NaN if not yet.

        A clock that waits begins the hold when the kiln is at its target: one that a swing has
        below it just then is there a part of a swing later.
        """
        time_s, celsius = self._recent.points()
        from_s = 2.0 * ramp.meets_s - ramp.latest_s
        if ramp.meets_s == -math.inf or time_s[0] > from_s:
            return math.nan
        above_c = celsius - plan.schedule.segments[index].target_c
        after = time_s >= from_s
        was_above = above_c[~after][-1:] if np.any(~after) else above_c[:1]
        there = after & ((np.abs(above_c) < AT_TARGET_C) | (above_c * was_above < 0.0))
        return float(time_s[np.argmax(there)]) if there.any() else math.nan

    def _crawls_s(self, plan: Plan, index: int, pace_c_per_h: float, arrived_s: float) -> float:
        """Return how unsure an arrival is [s] where the kiln crawls to its target at the last."""
        rate = plan.schedule.segments[index].rate_c_per_h
        if self.led is not None and self.led.soonest_s(index) > -math.inf:
            return min(max(arrived_s - self.led.soonest_s(index), 0.0), CRAWLS_MOST_S)
        if rate is None or pace_c_per_h > AT_PACE_SHARE * rate or not plan.heats(index):
            return 0.0
        return min(CRAWLS_C / max(pace_c_per_h, 1.0) * SECONDS_PER_HOUR, CRAWLS_MOST_S)

    def _leaves_early(self, hold: ObservedHold, now_s: float) -> bool:
        """Tell whether a fall now is too early to be the hold's end."""
        left_s = HOLD_LEFT_S + hold.unsure_s
        if self._fell_by_s < hold.soonest_due_s - left_s:
            return True
        if self._recent.interval_s() < RARE_S:
            return now_s < hold.soonest_due_s - left_s
        # Of rare readings the one that shows the fall comes long after it began; one from above the
        # target settles until it is below.
        time_s, celsius = self._recent.points()
        assert self._plan is not None
        above = celsius >= self._plan.schedule.segments[hold.index].target_c
        began_s = now_s
        if self._fall_began_s is not None:
            began_s = self._fall_began_s + 0.5 * self._recent.interval_s()
        began_s = max(began_s, float(np.max(time_s[above], initial=-math.inf)))
        return began_s < hold.due_s - left_s and now_s < hold.due_s + HOLD_LEFT_S

    def early_s(self, index: int, now_s: float) -> float:
        """Return how long before its time a segment's hold is left now [s]; 0 if it is not."""
        hold = self._hold
        return 0.0 if hold is None or hold.index != index else max(hold.due_s - now_s, 0.0)

    def still_held(self, now_s: float) -> int | None:
        """Return the segment whose hold has a while to go, whatever the readings look like."""
        hold = self._hold
        if self._plan is None or hold is None or not self._leaves_early(hold, now_s):
            return None
        hold_position = Position("hold", hold.index, None, hold.arrived_s, 0.0, None, hold.late_s)
        if self._ends_by_clock(self._plan, hold_position, hold.index, now_s):
            return None
        return hold.index

    # Power gone

    def _judge_loss(self, plan: Plan, position: Position, now: RecentCourse) -> None:
        if self.gone:
            self._lowest_c = min(self._lowest_c, now.celsius)
            regained = now.celsius > self._lowest_c + max(
                REGAINED_C, SIGNIFICANT_ERRORS * now.error_c
            )
            over = self._until_s is not None and now.at_s > self._until_s
            if regained or over:
                self.gone, self._lowest_c = False, math.inf
            return
        hold = self._hold
        heats_on = hold is not None and self._heats_on(plan, position, hold, now.at_s)
        held = hold is not None and (heats_on or self._leaves_early(hold, now.at_s))
        sinks = hold is not None and held and now.sinks_from(hold.level_from_s)
        sinks = sinks or (
            hold is not None and held and now.is_below_floor(hold.level_from_s, hold.ramp.scatter_c)
        )
        sinks = sinks or (hold is not None and held and self._left_its_level(now, hold))
        if now.highest_c < WARM_C or not (now.falls or sinks):
            return
        if self.fell_at_the_clocks_end:
            self.over_by_clock = self.over_by_clock or held or position.phase == "ramp"
            return
        if hold is not None and held:
            target_c = plan.schedule.segments[hold.index].target_c
            missing_c = target_c - now.celsius
            least_c = max(FALL_C, SIGNIFICANT_ERRORS * now.error_c, 0.7 * now.usual_fall_c)
            # A kiln that came late ran at full power, and swings for the first time here; so does
            # one on a relay that needed nearly all of it.
            came_late = hold.late_s is not None and hold.late_s > LATE_S
            swung = now.at_s - self._swung_s < SWING_S
            if (came_late or swung) and now.at_s - hold.arrived_s < CORNER_S:
                least_c = max(least_c, FIRST_SWING_C)
            # A hot one that ran above its target is let fall to it, and swings for the first time.
            level_c = float(np.median(now.values_c[now.time_s >= hold.arrived_s]))
            ran_over = level_c > target_c + LEVEL_C and now.highest_c > COLD_SWINGS_C
            if missing_c < least_c and (ran_over or not sinks):
                return
            if self._ends_by_clock(plan, position, hold.index, now.at_s):
                self.over_by_clock = True
            else:
                self.gone, self._until_s = True, None if heats_on else hold.due_s
                self.cut.add(hold.index)
            return
        if position.phase == "left" and self._ramp is not None:
            position = self._ramp  # a fall looks like leaving the plan as soon as it is seen
        index = position.segment
        if position.phase != "ramp" or index is None or not plan.heats(index):
            return
        begun_s = position.begun_s
        if begun_s is not None and now.at_s - begun_s < CORNER_S:
            # After a corner a swing overshoots, and falls the deeper.
            lagged = position.late_s is not None and position.late_s > LATE_S
            first_c = FIRST_SWING_C if lagged else 0.0
            if now.highest_c < COLD_SWINGS_C:
                first_c = COLD_SWING_C  # a relay's first swings, in a kiln that takes up little
            if now.fallen_c < max(first_c, CORNER_SHARE * now.usual_fall_c):
                return
        target_c = plan.schedule.segments[index].target_c
        reached_c = target_c - CORNER_C - SIGNIFICANT_ERRORS * now.error_c
        if now.highest_c >= reached_c:
            return
        if self._ends_by_clock(plan, position, index, now.at_s):
            self.over_by_clock = True
            return
        self.gone, self._until_s = True, None

    @staticmethod
    def _heats_on(plan: Plan, position: Position, hold: ObservedHold, now_s: float) -> bool:
        """Tell whether a hold is kept that a ramp upwards follows: no fall can be its end.

        A swing's top may have come to the target half an hour before its set point.
        """
        after = hold.index + 1
        heats = after < len(plan.segments) and plan.heats(after)
        kept = position.phase == "hold" and position.segment == hold.index
        return heats and kept and now_s < hold.soonest_due_s + CORNER_S

    def _left_its_level(self, now: RecentCourse, hold: ObservedHold) -> bool:
        """Tell whether the last readings lie below the hold's line by more than ever before."""
        since = now.time_s > hold.level_from_s + SETTLED_S
        if np.count_nonzero(since) < BEFORE_POINTS:
            return False
        for look in LineScan(now.time_s[since], now.values_c[since]).looks(-1.0, LEVEL_C):
            allowed_c = look.allowed_c(-1.0)
            if -look.away_c > allowed_c:
                return self._sunk.is_seen_again(now) or -look.away_c > SURE_SHARE * allowed_c
        return False

    def _ends_by_clock(self, plan: Plan, position: Position, index: int, now_s: float) -> bool:
        """Tell whether a segment ends about now on a clock that does not wait, and then cools."""
        after = index + 1
        if self.waits or (after < len(plan.segments) and plan.heats(after)):
            return False
        hold, late_s, on_plan_s = self._hold, position.late_s, position.program_s
        if hold is not None and hold.index == index:
            late_s = hold.late_s
            stayed_s = min(min(now_s, self._fell_by_s), hold.due_s) - hold.arrived_s
            on_plan_s = plan.segments[index].ramp_end_s + stayed_s
            if late_s is not None:
                late_s -= self._behind_s
        if late_s is None:
            return False
        clock_s = on_plan_s + late_s
        end_s = _lets_go_s(plan, index, self._fell_from_c)
        return plan.segments[index].end_s - self._clock_early_s < clock_s < end_s + CLOCK_LATE_S

    # Part of it gone

    def _judge_weakening(self, plan: Plan, position: Position, now: RecentCourse) -> None:
        index = position.segment
        ramping = position.phase == "ramp" and index is not None and plan.heats(index)
        if self.weaker:
            due_c = self._lost_at_c + self._lost_pace_c_per_h * (now.at_s - self._lost_s) / 3600.0
            if not ramping or now.celsius > due_c - LOSS_C:
                self.weaker = False
            return
        if position.phase == "left" and self._ramp is not None:
            position, index = self._ramp, self._ramp.segment
            ramping = index is not None and plan.heats(index) and now.at_s < self._ramp_s + CORNER_S
        if not ramping or index is None or self._ends_by_clock(plan, position, index, now.at_s):
            return
        interval_s = self._recent.interval_s()
        for pace_s, readings, before_s in PACES:
            if self._lost_its_pace(
                plan,
                position,
                index,
                now,
                max(pace_s, readings * interval_s),
                max(before_s, BEFORE_READINGS * interval_s),
            ):
                self.weaker = True
                return
        self.weaker = self._left_its_line(plan, position, index, now)

    def _left_its_line(self, plan: Plan, position: Position, index: int, now: RecentCourse) -> bool:
        """Tell whether the last readings lie below the ramp's line by more than ever before."""
        segment = plan.schedule.segments[index]
        turns = index + 1 == len(plan.segments) or not plan.heats(index + 1)
        most_c = segment.target_c - CORNER_C
        if turns and now.highest_c > most_c - SIGNIFICANT_ERRORS * now.error_c:
            return False  # it may have come to its target, and be let go
        rate_c_per_s = (segment.rate_c_per_h or math.inf) / SECONDS_PER_HOUR
        for scan in self._scans(plan, position, index, now):
            for look in scan.looks(-1.0, LOSS_C, most_c, GAPS_S):
                pace_c_per_s = min(look.slope_c_per_s, rate_c_per_s)
                if pace_c_per_s * SECONDS_PER_HOUR < LEAST_PACE_C_PER_H:
                    continue
                # Where its line begins: at its end it may have come up to its clock, and first
                # swing.
                begun_c = look.from_c - look.slope_c_per_s * BEFORE_S
                lagged = self.above_clock_c(look.from_s - BEFORE_S, begun_c) < -LAGS_C
                gained_c = (look.slope_c_per_s - rate_c_per_s) * BEFORE_S
                caught_up = (
                    lagged
                    and gained_c > CATCHES_UP_C
                    and self.above_clock_c(now.at_s, now.celsius) > -NEAR_CLOCK_C
                )
                allowed_c = max(
                    FIRST_SWING_C if caught_up else LOSS_C,
                    1.25 * COLD_SWING_C if begun_c < COLD_SWINGS_C else 0.0,
                    LOST_SHARE * look.due_c,
                    look.allowed_c(-1.0),
                )
                if -look.away_c <= allowed_c:
                    continue
                # What only stands may be a stuck reading.
                fell = now.celsius < look.from_c - SIGNIFICANT_ERRORS * now.error_c
                sure = fell and -look.away_c > SURE_SHARE * allowed_c
                if not sure and self._is_caught_here(plan, now):
                    return False
                if not self._off_line.is_seen_again(now) and not sure:
                    return False
                self._lost_at_c = min(look.from_c + pace_c_per_s * (now.at_s - look.from_s), most_c)
                self._lost_s = now.at_s
                self._lost_pace_c_per_h = 0.5 * pace_c_per_s * SECONDS_PER_HOUR
                return True
        return False

    def _scans(
        self, plan: Plan, position: Position, index: int, now: RecentCourse
    ) -> Iterator[LineScan]:
        """Yield what looks at the readings since its ramp had its own pace.

        Until there are enough of them, also one that has the ramp before go on into this one: with
        the power it had it keeps that pace, or the new one's where that is slower.
        """
        segments, time_s, values_c = plan.schedule.segments, now.time_s, now.values_c
        rate_c_per_s = (segments[index].rate_c_per_h or math.inf) / SECONDS_PER_HOUR
        begun_s = -math.inf if position.begun_s is None else position.begun_s
        own, earlier = time_s >= begun_s + SETTLED_S, None
        before_c_per_s = (segments[index - 1].rate_c_per_h or 0.0) / SECONDS_PER_HOUR
        if index and plan.heats(index - 1) and before_c_per_s:
            corner_s = begun_s - segments[index - 1].hold_s
            since = time_s >= self._begun_s.get(index - 1, -math.inf) + SETTLED_S
            ramp = since & (time_s < corner_s)
            # What had all its power on has not shown how it swings.
            if rate_c_per_s >= before_c_per_s or _keeps_pace(
                time_s[ramp], values_c[ramp], before_c_per_s
            ):
                earlier = LineScan(time_s[ramp], values_c[ramp], before_c_per_s)
        if earlier is not None and now.at_s < begun_s + 2.0 * SETTLED_S + BEFORE_S:
            held = segments[index - 1].hold_s > 0.0
            goes_on_c_per_s = 0.0 if held else min(rate_c_per_s, before_c_per_s)
            straight_c = (
                values_c
                + before_c_per_s * np.maximum(corner_s - time_s, 0.0)
                - goes_on_c_per_s * np.maximum(begun_s - time_s, 0.0)
            )
            yield LineScan(time_s[since], straight_c[since], goes_on_c_per_s, past_until_s=corner_s)
        yield LineScan(time_s[own], values_c[own], rate_c_per_s, earlier)

    def _lost_its_pace(
        self,
        plan: Plan,
        position: Position,
        index: int,
        now: RecentCourse,
        pace_s: float,
        before_s: float,
    ) -> bool:
        """Tell whether the pace of the last minutes is below that of the time before."""
        age_s = now.at_s - now.time_s
        inside = (age_s >= pace_s) & (age_s <= pace_s + before_s)
        if position.begun_s is not None:
            inside &= now.time_s >= position.begun_s + SETTLED_S
        if np.count_nonzero(inside) < BEFORE_POINTS:
            return False
        line = LeastSquaresLine(now.time_s[inside], now.values_c[inside])
        if line.span_s < 0.6 * before_s or line.slope_c_per_s <= 0.0:
            return False
        segment = plan.schedule.segments[index]
        pace_c_per_h = line.slope_c_per_s * SECONDS_PER_HOUR
        if segment.rate_c_per_h is not None and pace_c_per_h < AT_PACE_SHARE * segment.rate_c_per_h:
            return False
        # One that caught up with its program slows down to the pace of that, and has lost nothing.
        due_c_per_h = min(pace_c_per_h, segment.rate_c_per_h or math.inf)
        last_s = float(now.time_s[inside][-1])
        whole_c = due_c_per_h * (now.mean_s - last_s) / SECONDS_PER_HOUR
        expected_c = line.at_c(last_s) + whole_c
        at_once = pace_s < PACES[1][0]
        # Near its target a ramp may have come to it, and no more is due.
        error_c = SIGNIFICANT_ERRORS * now.error_c
        if at_once and expected_c > segment.target_c - 2.0 * whole_c - error_c:
            return False
        expected_c = min(expected_c, segment.target_c - CORNER_C - error_c)
        loss_c = expected_c - now.celsius
        first = int(np.argmax(inside))
        lagged = self.above_clock_c(float(now.time_s[first]), float(now.values_c[first])) < -LAGS_C
        caught_up = lagged and self.above_clock_c(now.at_s, now.celsius) > -NEAR_CLOCK_C
        if loss_c <= max(
            FIRST_SWING_C if caught_up else LOSS_C,
            1.25 * COLD_SWING_C if now.highest_c < COLD_SWINGS_C else 0.0,
            LOST_SHARE * whole_c,
        ):
            return False
        error_c = math.hypot(now.error_c, line.error_c(now.mean_s, now.noise_c))
        swing_c = max(line.swing_c(now.time_s[inside], now.values_c[inside]), now.usual_fall_c)
        if now.is_rare:
            swing_c = max(swing_c, now.deepest_fall_c)
        by_noise_c = PACE_NOISE_SWING * now.minute_noise_c
        swing_c = math.sqrt(max(swing_c * swing_c - by_noise_c * by_noise_c, 0.0))
        latest = age_s <= max(LATEST_S, LATEST_READINGS * self._recent.interval_s())
        climbs = False
        if at_once and np.count_nonzero(latest) >= LATEST_READINGS:
            pace_now = LeastSquaresLine(now.time_s[latest], now.values_c[latest]).slope_c_per_s
            # A relay that was off for a while, and the kiln climbs again.
            climbs = pace_now * SECONDS_PER_HOUR > CLIMBS_SHARE * due_c_per_h
        enough_c = max(now.errors * error_c, PACE_SWING_SHARE * swing_c)
        if climbs or loss_c <= enough_c:
            habit = self._habit(now, position, pace_s, before_s)
            if habit is None or loss_c <= habit.allows_c(-1.0, now.errors, error_c):
                return False
            if not self._lost.is_seen_again(now):
                return False
        if self._is_caught_here(plan, now):
            return False
        self._lost_at_c, self._lost_s = expected_c, now.at_s
        self._lost_pace_c_per_h = 0.5 * pace_c_per_h
        return True

    def _is_caught_here(self, plan: Plan, now: RecentCourse) -> bool:
        """Tell whether a relay caught the kiln as low beside its clock before, twice."""
        began_s = self._clock_began_s
        return began_s is not None and now.is_within_swing(
            np.interp(now.time_s - began_s, plan.time_s, plan.temperature_c)
        )

    def _habit(
        self, now: RecentCourse, position: Position, pace_s: float, before_s: float
    ) -> Habit | None:
        """Return what the same look saw since its ramp had its own pace."""
        begun_s = -math.inf if position.begun_s is None else position.begun_s + SETTLED_S
        return now.habit(begun_s, pace_s, before_s)

    # More of it than the program asks for

    def _judge_gain(self, plan: Plan, position: Position, now: RecentCourse) -> None:
        index = position.segment
        rate = None if index is None else plan.schedule.segments[index].rate_c_per_h
        if position.phase != "ramp" or index is None or rate is None or not plan.heats(index):
            self.faster = False
            return
        if self.faster:
            passed_h = (now.at_s - self._gained_s) / SECONDS_PER_HOUR
            self.faster = now.celsius > self._gained_c + rate * passed_h + 0.5 * GAIN_C
            return
        target_c = plan.schedule.segments[index].target_c
        due_c = self._ran_away_from_c(plan, position, index, now)
        if due_c is not None:
            self.faster, self._gained_c, self._gained_s = True, due_c, now.at_s
            return
        for pace_s, readings, before_s in GAIN_PACES:
            pace_s = max(pace_s, readings * self._recent.interval_s())
            before_s = max(before_s, BEFORE_READINGS * self._recent.interval_s())
            age_s = now.at_s - now.time_s
            inside = (age_s >= pace_s) & (age_s <= pace_s + before_s)
            if position.begun_s is not None:
                inside &= now.time_s >= position.begun_s + SETTLED_S
            if np.count_nonzero(inside) < BEFORE_POINTS or now.highest_c < COLD_SWINGS_C:
                continue
            line = LeastSquaresLine(now.time_s[inside], now.values_c[inside])
            off = line.slope_c_per_s * SECONDS_PER_HOUR / rate - 1.0
            if line.span_s < 0.6 * before_s or off > KEEPS_PLAN_SHARE:
                continue
            if off < -KEEPS_PLAN_SHARE and not self.waits:
                continue
            last_s = float(now.time_s[inside][-1])
            whole_c = rate * (now.mean_s - last_s) / SECONDS_PER_HOUR
            due_c = line.at_c(last_s) + whole_c
            if due_c > target_c - 2.0 * whole_c - SIGNIFICANT_ERRORS * now.error_c:
                continue
            behind_c = max(-self.above_clock_c(last_s, line.at_c(last_s)), 0.0)
            error_c = math.hypot(now.error_c, line.error_c(now.mean_s, now.noise_c))
            swing_c = max(line.swing_c(now.time_s[inside], now.values_c[inside]), now.usual_fall_c)
            gain_c = now.celsius - due_c - min(behind_c, WAITS_MOST_C)
            if gain_c <= GAIN_C:
                continue
            if gain_c <= max(now.errors * error_c, GAIN_SWINGS * swing_c):
                habit = self._habit(now, position, pace_s, before_s)
                if habit is None or gain_c <= habit.allows_c(1.0, now.errors, error_c):
                    continue
                if not self._gained.is_seen_again(now):
                    continue
            self.faster, self._gained_c, self._gained_s = True, due_c, now.at_s
            return

    def _ran_away_from_c(
        self, plan: Plan, position: Position, index: int, now: RecentCourse
    ) -> float | None:
        """Return where its program has it at the most, if it is above by more than ever [°C]."""
        segment = plan.schedule.segments[index]
        begun_s = -math.inf if position.begun_s is None else position.begun_s + SETTLED_S
        if segment.rate_c_per_h is None or now.highest_c < COLD_SWINGS_C:
            return None
        rate_c_per_s = segment.rate_c_per_h / SECONDS_PER_HOUR
        scan = self._gains_since(now, begun_s, rate_c_per_s)
        # What may be running away already hides how it swung until then.
        before_s = now.at_s - OUT_S
        lately_s = max(begun_s, before_s - SWING_S)
        swings = (
            self._gains_since(now, begun_s, rate_c_per_s, before_s).turning > SURELY_TURNS
            and self._gains_since(now, lately_s, rate_c_per_s, before_s).turning > STILL_TURNS
        )
        for look in scan.looks(1.0, GAIN_C):
            if look.from_c + 3.0 * look.due_c > segment.target_c:
                continue
            # What a relay lets go of is at its set point; else the clock may be ahead, and it may
            # catch up with that.
            ahead_c = 0.0
            if not swings:
                keeps = look.slope_c_per_s > (1.0 - KEEPS_PLAN_SHARE) * rate_c_per_s
                if not (keeps or self.waits):
                    continue
                ahead_c = min(max(-self.above_clock_c(look.from_s, look.from_c), 0.0), WAITS_MOST_C)
            allowed_c = max(GAIN_C, look.allowed_c(1.0)) + ahead_c
            if look.away_c <= allowed_c:
                continue
            if self._gained.is_seen_again(now) or look.away_c > SURE_SHARE * allowed_c:
                return look.from_c + rate_c_per_s * (now.at_s - look.from_s)
            return None
        return None

    @staticmethod
    def _gains_since(
        now: RecentCourse, since_s: float, rate_c_per_s: float, until_s: float = math.inf
    ) -> LineScan:
        """Return what looks for more than a rate in the readings between two moments."""
        since = (now.time_s >= since_s) & (now.time_s <= until_s)
        return LineScan(now.time_s[since], now.values_c[since], rate_c_per_s, gains=True)

    # On past its time

    def _judge_overlong_hold(self, plan: Plan, now: RecentCourse) -> None:
        hold = self._hold
        if hold is None or now.at_s <= hold.due_s:
            self.stays_on = False
            return
        after = hold.index + 1
        if after < len(plan.segments) and plan.heats(after):
            self.stays_on = False
            return
        # Of what noise and swing allow the latest: an end that is sure, and so is what came before
        # the soonest; a first reading at the target may be the ramp's yet.
        end_s = self._latest_end_s(plan, hold, now)
        sure_s = end_s - plan.schedule.segments[hold.index].hold_s
        level = (now.time_s >= max(hold.due_s - LEVEL_S, sure_s)) & (
            now.time_s <= hold.soonest_due_s
        )
        if np.count_nonzero(level) < LEVEL_READINGS:
            level = (now.time_s >= max(hold.due_s - LEVEL_S, hold.arrived_s)) & (
                now.time_s <= hold.due_s
            )
        past = now.time_s > end_s
        after_s = now.time_s[past] - end_s
        if self.stays_on:
            if hold.level_c - now.celsius > DONE_FALLING_C:
                self.stays_on, self._hold = False, None
            self.past_s = now.at_s - hold.due_s
            return
        if not level.any():
            return
        level_c = hold.level_c = float(np.mean(now.values_c[level]))
        # Readings minutes apart take a swing for noise; it scatters by less about its ramp.
        noise_c = min(now.calm_noise_c, hold.ramp.scatter_c)
        level_error_c = noise_c / math.sqrt(float(np.count_nonzero(level)))
        self.past_s = now.at_s - hold.due_s
        fallen_c = level_c - now.celsius
        error_c = math.hypot(now.error_c, level_error_c)
        if fallen_c > DONE_FALLING_C + SIGNIFICANT_ERRORS * error_c:
            self._hold = None
            return
        # Above its target by more than a swing, it is not on its way there any more.
        target_c = plan.schedule.segments[hold.index].target_c
        over_c = max(FALL_C, SWING_SHARE * now.usual_fall_c, SIGNIFICANT_ERRORS * now.error_c)
        if after_s.size < PAST_READINGS:
            rises = now.celsius > target_c + over_c and -fallen_c > FALL_C
            self.stays_on = rises or self.runs_up
            return
        planned = plan.schedule.segments[after].rate_c_per_h if after < len(plan.segments) else None
        natural = float(default_kiln.cooling_rate_c_per_h(np.array([level_c]))[0])
        # One that is led down lags, and hides its fall; one that is let go falls at once.
        lag_s, rate, most, errors = OFF_LAG_S, OFF_SHARE * natural, 1.0, 0.0
        if planned is not None:
            # Where the clock waits for a kiln above it, it is led down by little at first, the more
            # the longer: noise must not hide that.
            if self.waits is not False:
                errors = min(noise_c / LED_SEEN_C, LED_ERRORS)
            lag_s, most = LED_LAG_S, LED_MOST
            rate = LED_SHARE * min(planned, NATURAL_SHARE * natural)
        due_c = rate / SECONDS_PER_HOUR * np.maximum(after_s - lag_s, 0.0)
        weight = float(due_c @ due_c)
        if due_c[-1] < LEAST_DUE_C:
            self.stays_on = -fallen_c > now.believed_c(FALL_C, error_c)
            return
        # Which share of the slowest fall there is to be expected it has fallen, least squares.
        shares = float(due_c @ (level_c - now.values_c[past])) / weight
        share_error = math.hypot(
            noise_c / math.sqrt(weight), level_error_c * float(np.sum(due_c)) / weight
        )
        held_c = now.values_c[
            (now.time_s >= hold.level_from_s) & (now.time_s <= hold.soonest_due_s)
        ]
        swing_c = 0.0
        if now.swings:
            swing_c = min(0.5 * now.usual_fall_c, _amplitude_c(held_c, noise_c))
        unsure_share = PAST_SIGNIFICANT_ERRORS * share_error + swing_c / float(due_c[-1])
        if now.is_rare and held_c.size >= RARE_POINTS:
            # To readings so rare a swing is as noise, but none of them is further off than ever.
            most_c = MOST_SHARE * float(np.max(np.abs(held_c - np.mean(held_c))))
            most_c += PAST_SIGNIFICANT_ERRORS * level_error_c
            unsure_share = min(unsure_share, most_c * float(np.sum(due_c)) / weight)
        most_share = unsure_share + (max(shares, 0.0) if swing_c else shares)
        still_up_c = now.highest_of_c(level) - STILL_UP_SHARE * float(due_c[-1])
        self.stays_on = (
            -fallen_c > now.believed_c(FALL_C, error_c)
            or (most_share < 1.0 and shares + errors * share_error < most)
            or (planned is None and now.rises_since(end_s + RISES_FROM_S))
            or (planned is None and now.is_above(still_up_c))
        )

    def _runs_up(self, plan: Plan, now: RecentCourse) -> bool:
        """Tell whether it rises out of a hold it should cool from, above its highest there."""
        hold = self._hold
        if hold is None or now.highest_c < COLD_SWINGS_C:
            return False
        after = hold.index + 1
        if after < len(plan.segments) and plan.heats(after):
            return False
        # A controller that overshoots on arrival does so in the first minutes.
        held = (now.time_s > hold.arrived_s + SETTLED_S) & (now.time_s < now.at_s - OUT_S)
        if np.count_nonzero(held) < LEVEL_READINGS:
            return False
        over_c = now.celsius - now.highest_of_c(held)
        enough_c = now.believed_c(OUT_C, math.hypot(now.error_c, now.calm_noise_c))
        if over_c <= enough_c:
            return False
        return self.runs_up or self._rose.is_seen_again(now) or over_c > SURE_SHARE * enough_c

    def _latest_end_s(self, plan: Plan, hold: ObservedHold, now: RecentCourse) -> float:
        """Return when a hold is surely over [s]: noise and swing show it reached too early."""
        hold_s = plan.schedule.segments[hold.index].hold_s
        rate_c_per_h = plan.schedule.segments[hold.index].rate_c_per_h
        early_s = 0.0
        if rate_c_per_h is not None:
            early_c = ARRIVED_ERRORS * now.minute_noise_c
            if now.swings:
                early_c += ARRIVED_SWINGS * now.usual_fall_c
            pace_c_per_h = max(hold.pace_c_per_h, LEAST_PACE_SHARE * rate_c_per_h)
            pace_c_per_h = min(rate_c_per_h, pace_c_per_h)
            early_s = min(early_c / pace_c_per_h * SECONDS_PER_HOUR, MOST_EARLY_S)
        if hold.ramp.meets_s > -math.inf:
            unsure_s = 0.0 if now.swings else hold.unsure_s
            latest_s = hold.ramp.latest_s
            if now.swings and self.waits is not False and hold.at_target_s > latest_s:
                latest_s = hold.at_target_s
            latest_s -= self._below_s(plan, hold, now)
            # A ramp that bent before its target is no line: noise lets it be known no better.
            bent_s = min(max(hold.arrived_s - latest_s, 0.0), early_s)
            return max(hold.due_s + max(unsure_s, bent_s), latest_s + hold_s)
        return hold.due_s + early_s + (0.0 if rate_c_per_h is None else hold.unsure_s)

    def _below_s(self, plan: Plan, hold: ObservedHold, now: RecentCourse) -> float:
        """Return how much sooner than at its target a swinging ramp met the level of its hold [s].

        A relay that switches on lower below its set point than off above it swings about a middle
        of its own, in the ramp as in the hold.
        """
        rate_c_per_h = plan.schedule.segments[hold.index].rate_c_per_h
        held = (now.time_s >= hold.level_from_s) & (now.time_s <= hold.soonest_due_s)
        if rate_c_per_h is None or not now.swings or np.count_nonzero(held) < LEVEL_READINGS:
            return 0.0
        below_c = plan.schedule.segments[hold.index].target_c - float(np.mean(now.values_c[held]))
        return min(max(below_c, 0.0) / rate_c_per_h * SECONDS_PER_HOUR, BELOW_MOST_S)


def _lets_go_s(plan: Plan, index: int, celsius: float) -> float:
    """Return when the plan's clock lets a kiln go that a segment was to heat further [s].

    Where it is led down afterwards, that is when the set point has come down to it; in a hold that
    it is led down to, a colder one is heated to the end.
    """
    end_s, after = plan.segments[index].end_s, index + 1
    while after < len(plan.segments) and not plan.heats(after) and not math.isnan(celsius):
        segment = plan.segments[after]
        if celsius > plan.schedule.segments[after].target_c:
            return max(end_s, plan.ramp_s(after, celsius))
        end_s, after = segment.end_s, after + 1
    return end_s


def _amplitude_c(values_c: FloatArray, noise_c: float) -> float:
    """Return the amplitude of a swing in readings with noise [°C]; infinite where it is not known.

    The variance of a sine is half of its amplitude's square, and adds to that of the noise.
    """
    if values_c.size < RARE_POINTS:
        return math.inf
    few = 1.0 + 2.0 / values_c.size
    return few * math.sqrt(2.0 * max(few * float(np.var(values_c)) - noise_c * noise_c, 0.0))


def _keeps_pace(time_s: FloatArray, values_c: FloatArray, pace_c_per_s: float) -> bool:
    """Tell whether the last of a ramp was no slower than its program."""
    last = time_s > time_s[-1:] - MEETS_S
    if np.count_nonzero(last) < BEFORE_POINTS:
        return False
    line = LeastSquaresLine(time_s[last], values_c[last])
    return line.slope_c_per_s > (1.0 - KEEPS_PLAN_SHARE) * pace_c_per_s


def _straight_from(time_s: FloatArray, values_c: FloatArray) -> int:
    """Return from which point on a ramp is straight.

    One that catches up with its program, and then goes on at the pace of that, bends: the line
    through both comes to its target too early.
    """
    first = 0
    while True:
        t, span_s = time_s[first:], float(time_s[-1] - time_s[first])
        later = first + int(np.searchsorted(t, time_s[-1] - 0.5 * span_s))
        if time_s.size - later < BEFORE_POINTS or span_s < 2.0 * LEAST_MEETS_S:
            return first
        t = (t - np.mean(t)) / span_s
        # A parabola beside the line, least squares: each is off the one before.
        bend = t * t - np.mean(t * t)
        bend -= t * float(bend @ t) / float(t @ t)
        line = LeastSquaresLine(time_s[first:], values_c[first:])
        away_c = values_c[first:] - line.at_c(0.0) - line.slope_c_per_s * time_s[first:]
        weight = float(bend @ bend)
        size_c = float(bend @ away_c) / weight
        left_c = away_c - size_c * bend
        power = float(left_c @ left_c)
        error_c = math.sqrt(power / max(t.size - 3, 1) / weight)
        # A swing's readings are worth fewer, as of a process that forgets exponentially.
        like = min(max(float(left_c[1:] @ left_c[:-1]) / max(power, 1e-9), 0.0), 0.999)
        error_c *= math.sqrt((1.0 + like) / (1.0 - like))
        if abs(size_c) <= BENT_ERRORS * error_c:
            return first
        first = later


class _Suspicion:
    """Takes what one reading shows for believed once the next shows it, too."""

    def __init__(self) -> None:
        self._before_s = self._last_s = -math.inf

    def is_seen_again(self, now: RecentCourse) -> bool:
        """Take in that it is seen now, and tell whether it was at the reading before."""
        if now.at_s > self._last_s:
            self._before_s, self._last_s = self._last_s, now.at_s
        return bool(self._before_s >= now.time_s[-2])
