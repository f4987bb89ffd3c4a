"""How a kiln cools by itself, and when it can be unloaded by that.

The default kiln's hours from one temperature to the next are the scale: on it any kiln's cooling is
nearly a straight line, whose slope says how many times as long this one takes.  The line goes
through the longest stretch of late readings that contradicts no shorter one (Lepskii 1991,
doi:10.1137/1135065), so a lid that was cracked shortens it and noise lengthens it.

A reading that drops faster than ware can is not the kiln's.  Until it is back, what the readings
before it showed goes on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from firing.errors import FiringError
from firing.heat import default_kiln
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR
from firing.watch.history import TICKS_PER_S, is_last_at_its_tick, nearest_ticks
from firing.watch.state import RemainingCourse

SEEN_S, LEAST_POINTS = 1800.0, 5
FIRST_WINDOW_S, WINDOW_GROWS, WINDOW_SHARE, WINDOW_MOST = 900.0, 1.25, 0.2, 0.7
"""Stretches to look at: the first, how they grow, and of the cooling so far the share that is
enough if it is sharp, and the most [s, -, -, -]."""
SHAPE_OFF = 0.065
"""How far the rest may be off that goes on as this stretch did: one standard deviation, as a share
of it; common practice, no source."""
SHARP, TOO_BLUNT, CONTRADICTS, SHAPE = 0.015, 0.12, 2.5, 0.03
"""Standard error of a slope that is sharp, and of one that says nothing; how many of them, and what
share of the slope for the scale's own shape, two stretches may differ by [-]."""
BETWEEN_LAWS = 0.06
"""The rate of the default kiln falls with the 1.12th power of what it is above the room (from 300
to 100 °C), by Newton's law of cooling with the first: half of the way between [-]."""
BOTH_LAWS, LEFT_BY = 0.5, 0.3
"""The weight of the default kiln's own shape, and of a course's that keeps the readings' pace: the
law between it and Newton's foresees as well.  A course that differs from that pace by such a share
has half of it [-, -]."""
LEAST_SCATTER_C = 0.3
SMOOTH_POINTS = 31
LEVEL_POINTS, LEVEL_C = 5, 0.25
"""How hot it is now says the mean of so many points, or of as many as are so sharp [-, °C]."""
DEVIATIONS = 1.28
"""Standard deviations to either side that hold 80 % of a normal distribution."""
SOONEST_OFF_S = 120.0
ROOM_UNSEEN_C, START_ERROR_C = 5.0, 1.5
"""How far the room may be off the plan's, and a kiln that starts cold off its room [°C]."""
COLD_START_C, WARM_START_C, WARM_ERROR = 26.0, 45.0, 0.8
"""A kiln that starts warmer than the first may be warm from its last firing: it may be off the room
by so much of the difference; hotter than the second it tells nothing [°C, °C, -]."""
START_S = 90.0

DROP_S, DROP_C, DROP_SHARE, DROP_TIMES = 600.0, 20.0, 0.1, 3.0
"""A reading drops if within this time it falls by so much, by this share of what it is above the
room, and by so many times what the default kiln does, all together [s, °C, -, -].  Common practice,
no source."""
ALL_OF_IT = 0.5
"""A drop of more than this share of what the kiln was above the room is no ware's, but that of the
air, or of a thermocouple that has moved [-]."""
BACK_SHARE, SETTLED_S = 0.5, 900.0
"""It is back when it has regained this share; so long after it tells of the kiln again [-, s]."""


@dataclass(frozen=True, slots=True)
class CoolingPace:
    """How a kiln cools by itself: so many times as long as the default kiln, and how hot it is.

    `now_c` is on its line at its last believed reading, `age_s` ago, and off by `now_error_c`.
    `error` is one standard error of `times`, as a share, and `window_c` the temperatures of the
    line's stretch.  `drop` has the moment of a reading that dropped, and the temperatures before
    and after; None otherwise.
    """

    times: float
    now_c: float
    seen_s: float
    error: float
    room_c: float
    room_error_c: float
    window_c: tuple[float, float]
    age_s: float = 0.0
    drop: tuple[float, float, float] | None = None
    now_error_c: float = 0.0

    def left_s(
        self, unload_c: float, shape: float = 1.0, trust: float = 0.0
    ) -> tuple[float, float, float]:
        """Return how long it is until unloading, and the ends of its 80 % range [s].

        `shape` is how many times as long the rest takes of a kiln whose beginning of it is the
        default kiln's, and `trust` the weight of that against the law of the readings alone.
        """
        whole_s = self._whole_s(self.room_c, unload_c, shape, trust)
        warmer_s, colder_s = (
            self._whole_s(self.room_c + sign * self.room_error_c, unload_c, shape, trust)
            for sign in (1.0, -1.0)
        )
        rate = default_kiln.cooling_rate_c_per_h(np.array(self.now_c), room_c=self.room_c) / 3600.0
        level_s = self.times * self.now_error_c / max(float(rate), 1e-9)
        own = math.hypot(self.error, SHAPE_OFF, level_s / whole_s)
        late = math.hypot(own, max(warmer_s, colder_s) / whole_s - 1.0)
        soon = math.hypot(own, 1.0 - min(warmer_s, colder_s) / whole_s)
        left_s = max(whole_s - self.age_s, 1.0)
        low_s = whole_s * max(1.0 - DEVIATIONS * soon, 0.1) - self.age_s
        high_s = whole_s * (1.0 + DEVIATIONS * late) - self.age_s
        if self.drop is not None:
            low_s = min(low_s, 0.5 * left_s)  # it may have been opened
        return (
            left_s,
            max(min(low_s, left_s - SOONEST_OFF_S), 0.0),
            max(high_s, left_s + SOONEST_OFF_S),
        )

    def _whole_s(self, room_c: float, unload_c: float, shape: float, trust: float) -> float:
        """Return the time from `now_c` to unloading in a room of a temperature [s]."""
        room_c = min(room_c, unload_c - 4.0, self.window_c[1] - 4.0)
        if self.now_c <= unload_c:
            return 1.0
        known_s = default_kiln.cool(*self.window_c, room_c=self.room_c).duration_s
        other_s = default_kiln.cool(*self.window_c, room_c=room_c).duration_s
        rest_s = default_kiln.cool(self.now_c, unload_c, room_c=room_c).duration_s
        then_c, last_c = self.window_c[0] - room_c, unload_c - room_c
        bend = math.pow(last_c / then_c, 0.5 * BETWEEN_LAWS)
        # Each says how the rest departs from the default kiln's: both would say it twice.
        law = math.pow(shape, trust) * math.pow(bend, 1.0 - trust)
        return self.times * known_s / other_s * rest_s * law

    def course(self, unload_c: float) -> RemainingCourse:
        """Return the rest of the cooling as the default kiln has it, at this one's pace."""
        left_s, low_s, high_s = self.left_s(unload_c, 1.0, BOTH_LAWS)
        if self.now_c <= unload_c or left_s <= 1.0:
            return RemainingCourse(
                np.array([0.0, 1.0]), np.full(2, unload_c), 0.0, 1.0, 0.0, high_s, {}
            )
        run = default_kiln.cool(
            self.now_c, unload_c, room_c=min(self.room_c, unload_c - 4.0), factor=1.0
        )
        at_s = run.time_s * (left_s + self.age_s) / run.duration_s - self.age_s
        time_s = np.linspace(0.0, left_s, 200)
        return RemainingCourse(
            nearest_ticks(time_s) / TICKS_PER_S,
            np.interp(time_s, at_s, run.temperature_c),
            0.0,
            left_s,
            low_s,
            high_s,
            {},
        )


def room_of(time_s: FloatArray, temperature_c: FloatArray, planned_c: float) -> tuple[float, float]:
    """Return the room's temperature and how far it may be off, by a kiln that started cold [°C]."""
    first_c = float(np.mean(temperature_c[time_s <= time_s[0] + START_S]))
    if first_c > WARM_START_C or time_s.size < LEAST_POINTS:
        return planned_c, ROOM_UNSEEN_C
    early = temperature_c[time_s <= time_s[0] + 2.0 * START_S]
    rise_c = max(float((early if early.size > 2 else temperature_c[:2])[-1]) - first_c, 0.0)
    first_c -= 0.5 * rise_c  # it may have heated before the first reading
    warm_c = WARM_ERROR * max(first_c - COLD_START_C, 0.0)
    error_c = math.hypot(_scatter_c(temperature_c[:60]), START_ERROR_C) + warm_c + 0.3 * rise_c
    trust = ROOM_UNSEEN_C**2 / (ROOM_UNSEEN_C**2 + error_c**2)
    return planned_c + trust * (first_c - planned_c), math.sqrt(trust) * error_c


def cooling_pace(
    time_s: FloatArray,
    temperature_c: FloatArray,
    since_s: float,
    room_c: float,
    room_error_c: float = ROOM_UNSEEN_C,
    now_s: float | None = None,
) -> CoolingPace | None:
    """Return how a kiln has cooled by itself since a moment; None if that does not show yet."""
    now_s = float(time_s[-1]) if now_s is None else now_s
    after = time_s >= since_s
    time_s, temperature_c = time_s[after], temperature_c[after]
    if time_s.size < LEAST_POINTS:
        return None
    kept, drop = believed(time_s, temperature_c, room_c)
    kept &= temperature_c > room_c + 2.0
    time_s, temperature_c = time_s[kept], temperature_c[kept]
    if time_s.size < LEAST_POINTS or time_s[-1] - since_s < SEEN_S:
        return None
    found = _line(time_s, temperature_c, since_s, room_c)
    if found is None:
        return None
    times, error, now_c, window_c, now_error_c = found
    last_s = float(time_s[-1])
    return CoolingPace(
        times,
        now_c,
        last_s - since_s,
        error,
        room_c,
        room_error_c,
        window_c,
        now_s - last_s,
        drop,
        now_error_c,
    )


def _line(
    time_s: FloatArray, temperature_c: FloatArray, since_s: float, room_c: float
) -> tuple[float, float, float, tuple[float, float], float] | None:
    """Return slope, its error, the temperature now and those of the stretch, and the first's."""
    try:
        scale = default_kiln.cool(
            float(np.max(temperature_c)) + 5.0, float(np.min(temperature_c)), room_c=room_c
        )
    except FiringError:
        return None
    usual_s = np.interp(-temperature_c, -scale.temperature_c, scale.time_s)
    # A degree counts for as many hours as the kiln takes for it there.
    # Of the smooth course: noise that weighed itself would tell it too hot.
    ones = np.ones(min(SMOOTH_POINTS, time_s.size))
    count = np.convolve(np.ones(time_s.size), ones, "same")
    calm_c = np.convolve(temperature_c, ones, "same") / count
    weight = (default_kiln.cooling_rate_c_per_h(calm_c, room_c=room_c) / 3600.0) ** 2
    about_s = time_s - time_s[-1]
    scatter_c = _scatter_c(temperature_c)
    so_far_s = float(time_s[-1]) - since_s
    best: tuple[float, float, float, float] | None = None
    low, high, window_s = 0.0, math.inf, FIRST_WINDOW_S
    while True:
        window_s = min(window_s, WINDOW_MOST * so_far_s)
        inside = about_s >= -window_s
        if np.count_nonzero(inside) >= LEAST_POINTS:
            slope, level_s, error = _weighted_line(
                about_s[inside], usual_s[inside], weight[inside], scatter_c
            )
            off = CONTRADICTS * error + SHAPE * abs(slope)
            if best is None and (slope <= 0.0 or error > TOO_BLUNT * slope):
                pass
            elif max(low, slope - off) > min(high, slope + off):
                break
            else:
                low, high = max(low, slope - off), min(high, slope + off)
                best = slope, error / slope, level_s, window_s
        enough = max(SECONDS_PER_HOUR, WINDOW_SHARE * so_far_s)
        if window_s >= WINDOW_MOST * so_far_s or (
            best is not None and best[1] < SHARP and window_s >= enough
        ):
            break
        window_s *= WINDOW_GROWS
    if best is None:
        return None
    slope, share, level_s, window_s = best
    inside = about_s >= -window_s
    # The scale's shape is not quite this kiln's: its level is that of the latest points.
    points = min(
        max(LEVEL_POINTS, round((scatter_c / LEVEL_C) ** 2)), int(np.count_nonzero(inside))
    )
    latest = slice(-points, None)
    level_s = float(np.average((usual_s - slope * about_s)[latest], weights=weight[latest]))
    ends_c = np.interp([level_s, level_s - slope * window_s], scale.time_s, scale.temperature_c)
    now_c, then_c = float(ends_c[0]), float(ends_c[1])
    if then_c <= now_c:
        return None
    return 1.0 / slope, share, now_c, (then_c, now_c), scatter_c / math.sqrt(points)


def _weighted_line(
    about_s: FloatArray, usual_s: FloatArray, weight: FloatArray, scatter_c: float
) -> tuple[float, float, float]:
    """Return a line's slope, its value at 0 and the slope's standard error."""
    total = float(np.sum(weight))
    middle_s, mean_s = float(weight @ about_s) / total, float(weight @ usual_s) / total
    spread = float(weight @ (about_s - middle_s) ** 2)
    slope = float(weight @ ((about_s - middle_s) * (usual_s - mean_s))) / max(spread, 1e-12)
    return slope, mean_s - slope * middle_s, scatter_c / math.sqrt(max(spread, 1e-12))


def _scatter_c(temperature_c: FloatArray) -> float:
    """Return the scatter of the latest points, which a slope has no part in [°C]."""
    bends = np.abs(np.diff(temperature_c[-200:], 2))
    return max(1.4826 * float(np.median(bends)) / math.sqrt(6.0), LEAST_SCATTER_C)


def believed(
    time_s: FloatArray, temperature_c: FloatArray, room_c: float
) -> tuple[np.ndarray, tuple[float, float, float] | None]:
    """Tell which readings of a cooling are the kiln's, (n,), and what drop is not over.

    That is its moment and the temperatures before and after; None where all is well.
    """
    kept = np.ones(time_s.size, dtype=bool)
    calm_c = temperature_c
    if temperature_c.size >= 3:  # one reading that is off is no drop
        middle = np.median(np.stack((calm_c[:-2], calm_c[1:-1], calm_c[2:])), axis=0)
        calm_c = np.concatenate((calm_c[:1], middle, calm_c[-1:]))
    before = np.minimum(
        np.searchsorted(time_s, time_s - DROP_S), np.maximum(np.arange(time_s.size) - 1, 0)
    )
    above_c = np.maximum(calm_c[before] - room_c, 1.0)
    rate = default_kiln.cooling_rate_c_per_h(calm_c[before], room_c=room_c)
    usual = 1.0 - np.exp(-DROP_TIMES * rate * (time_s - time_s[before]) / 3600.0 / above_c)
    drops = calm_c[before] - calm_c > DROP_C + (DROP_SHARE + usual) * above_c
    if drops.size > 1 and drops[-1] and not drops[-2]:
        drops[-1] = kept[-1] = False  # one reading is no drop, and none of the kiln's either
    at = 0
    while True:
        later = np.flatnonzero(drops[at:])
        if not later.size:
            return kept, None
        first = at + int(later[0])
        from_i = int(before[first])
        still = np.flatnonzero(~drops[first:])
        end = first + int(still[0]) - 1 if still.size else time_s.size - 1
        from_c, to_c = float(calm_c[from_i]), float(np.min(calm_c[first : end + 1]))
        fading = np.exp(-rate[first] / above_c[first] * (time_s[end:] - time_s[from_i]) / 3600.0)
        back = np.flatnonzero(calm_c[end:] - to_c > BACK_SHARE * (from_c - to_c) * fading)
        if back.size:
            again_s = float(time_s[end + int(back[0])]) + SETTLED_S
            at = int(np.searchsorted(time_s, again_s))
            kept[from_i:at] = False
        elif from_c - to_c > ALL_OF_IT * (from_c - room_c):
            kept[from_i + 1 :] = False
            return kept, (float(time_s[from_i]), from_c, to_c)
        else:
            at = end + 1  # opened a little: what follows is another cooling
            kept[:at] = False


def as_it_cools(rest: RemainingCourse, pace: CoolingPace, room_c: float) -> RemainingCourse:
    """Return the rest of a cooling at its readings' pace, in a shape between theirs and a course's.

    `room_c` is the room that the course was reckoned for.  The less it keeps to that pace now,
    the less its shape counts.
    """
    begin_c, unload_c = float(rest.temperature_c[0]), float(rest.temperature_c[-1])
    if pace.now_c <= unload_c + 0.5 or unload_c < room_c + 2.0 or rest.time_s.size < 3:
        return rest
    # How the course itself begins, beside the default kiln, over the next fifth of the excess.
    later_c = max(room_c + 0.8 * (pace.now_c - room_c), unload_c)
    later_s = float(np.interp(-later_c, -rest.temperature_c, rest.time_s))
    if begin_c - later_c < 1.0 or later_s <= 0.0:
        # It begins elsewhere than the readings that are believed.
        return pace.course(unload_c)
    own = later_s / default_kiln.cool(begin_c, later_c, room_c=room_c).duration_s
    whole = float(rest.time_s[-1]) / default_kiln.cool(begin_c, unload_c, room_c=room_c).duration_s
    trust = BOTH_LAWS / (1.0 + (math.log(own / pace.times) / LEFT_BY) ** 2)
    left_s, low_s, high_s = pace.left_s(unload_c, whole / own, trust)
    ticks = nearest_ticks(rest.time_s * (left_s / float(rest.time_s[-1])))
    kept = is_last_at_its_tick(ticks)
    kept[0] = True
    if not np.all(np.diff(ticks[kept]) > 0):
        return rest
    return replace(
        rest,
        time_s=ticks[kept] / TICKS_PER_S,
        temperature_c=rest.temperature_c[kept],
        unload_s=left_s,
        unload_low_s=low_s,
        unload_high_s=high_s,
    )
