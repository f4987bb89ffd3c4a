"""A controller that follows a program: the set-point over time, with or without waiting.

While power lasts the kiln follows within a quarter of a degree.  A controller that waits stops its
clock whenever the kiln is more than `WAIT_BAND_C` behind, and begins a hold only when the target is
reached; one that does not wait runs by the clock whatever the kiln does.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from firing.errors import FiringError
from firing.kiln.thermal_network import CHAMBER, CONTROL_BAND_C, Network, NetworkState
from firing.schedule.schedule import Schedule, Segment
from firing.schedule.timeline import LimitedBy
from firing.units import SECONDS_PER_HOUR

WAIT_BAND_C = 2.0  # source: kiln-model-choices
LANDED_C = 0.6 * CONTROL_BAND_C
"""A target counts as reached this near [°C]: half the controller's band and a little more."""

STALLED_C_PER_H = 2.0
"""Slower than this at full power a kiln has stalled."""
WATER_SHARE = 0.02
"""A kiln has stalled only while water takes up less than this share of full power."""
LONGEST_S = 400 * SECONDS_PER_HOUR

CORNER_S = 30.0
"""The first step after the set-point bends [s]."""
SWITCH_S = 10.0
"""The first step after all power is switched on or off [s]."""
FASTEST_GROWTH = 2.3
"""Above 1 + √2 the time formula would not be stable (Hairer, Nørsett and Wanner, III.5)."""


@dataclass(frozen=True, slots=True)
class Precision:
    """How finely to compute.

    `tolerance_c` is how far a step's answer may be from the parabola through the last three, which
    the formula's third order is far nearer to than that; `fineness` the multiplier on the number of
    intervals in wall and ware.
    """

    tolerance_c: float = 4.0
    longest_step_s: float = 2700.0
    fineness: int = 1


class Moment(NamedTuple):
    """A state, when it was, and the set-point then (None with the elements off)."""

    time_s: float
    state: NetworkState
    set_point_c: float | None


class Follower:
    """Drives a network through a schedule, step by step.

    `moments` are all accepted steps, from the start; `now_s` and `chamber_c` are of the latest.
    """

    def __init__(self, network: Network, *, waits: bool, precision: Precision) -> None:
        self.network, self.waits, self.precision = network, waits, precision
        self.now_s, self.chamber_c = 0.0, network.now.temperature_c[CHAMBER]
        self.moments = [Moment(0.0, network.now, self.chamber_c)]
        self._step_s = CORNER_S

    def corner(self, first_s: float = CORNER_S) -> None:
        """Take short steps again: something is about to bend."""
        self._step_s = min(self._step_s, first_s)
        self.network.bend()

    def step(
        self, up_to_s: float, set_point_at: Callable[[float], float | None]
    ) -> tuple[float, NetworkState]:
        """Return a step that is fine enough and not longer than `up_to_s`; not yet accepted."""
        tolerance_c, settled = self.precision.tolerance_c, len(self.moments) >= 4
        step_s = min(self._step_s, self.precision.longest_step_s)
        if step_s >= up_to_s:
            step_s = up_to_s
        elif 2.0 * step_s > up_to_s:
            step_s = 0.5 * up_to_s
        while True:
            state = self.network.advance(step_s, set_point_at(step_s))
            ratio = state.surprise_c / tolerance_c
            if ratio <= 3.0 or step_s <= 2.0 or not settled:
                break
            step_s *= max(0.2, 0.8 * ratio ** (-1.0 / 3.0))
        factor = FASTEST_GROWTH if ratio <= 0.0 else 0.9 * ratio ** (-1.0 / 3.0)
        self._step_s = step_s * min(FASTEST_GROWTH, max(0.3, factor))
        if not settled:
            self._step_s = max(self._step_s, step_s)
        return step_s, state

    def accept(self, step_s: float, state: NetworkState, set_point_c: float | None) -> None:
        """Add a step to the course."""
        self.network.accept(state, step_s)
        self.now_s += step_s
        self.chamber_c = state.temperature_c[CHAMBER]
        self.moments.append(Moment(self.now_s, state, set_point_c))

    def until_crossing(self, level_c: float, set_point_c: float | None) -> bool:
        """Run with one set-point until the chamber crosses a level [°C].

        False if the kiln stalls on its way up.
        """
        rises = level_c > self.chamber_c
        sign = 1.0 if rises else -1.0
        self.corner(SWITCH_S)
        # On its way power is all on, or off; the controller's band would only bend the last step.
        aim_c = None if set_point_c is None else set_point_c + sign * CONTROL_BAND_C
        while sign * (level_c - self.chamber_c) > 0.0:
            before_c = self.chamber_c
            step_s, state = self.step(math.inf, lambda _: aim_c)
            for _ in range(4):
                over_c = sign * (state.temperature_c[0] - level_c)
                if over_c < 0.05:
                    break
                step_s *= (level_c - before_c) / (state.temperature_c[0] - before_c)
                state = self.network.advance(step_s, aim_c)
                if abs(state.temperature_c[0] - level_c) < 0.05:
                    break
            self.accept(step_s, state, set_point_c)
            if abs(state.temperature_c[0] - level_c) < 0.05:
                return True
            if rises and self._stalls(before_c, step_s):
                return False
        return True

    def _clear_s(self, to_c: float, left_s: float) -> float:
        """Return for how long a kiln that lags surely does not arrive: half its way, at its pace.

        The set-point does not arrive before its clock says either.
        """
        (before_s, before, _), (now_s, now, _) = self.moments[-2:]
        pace = abs(now.temperature_c[0] - before.temperature_c[0]) / (now_s - before_s)
        way_c = abs(to_c - self.chamber_c) - WAIT_BAND_C
        half_s = 0.5 * way_c / pace if pace > 0.0 else math.inf
        return max(left_s, half_s, CORNER_S)

    def _stalls(self, before_c: float, step_s: float) -> bool:
        if self.now_s > LONGEST_S:
            return True
        rate = (self.chamber_c - before_c) / step_s * SECONDS_PER_HOUR
        # The first minutes of a cold kiln are the elements' own warming.
        if step_s <= 60.0 or rate >= STALLED_C_PER_H:
            return False
        # What water takes up holds a kiln back for a while only: it comes to an end.
        before, now = self.moments[-2].state, self.moments[-1].state
        water_w = (sum(before.pending_j) - sum(now.pending_j)) / step_s
        return water_w < WATER_SHARE * now.full_w

    def hold(self, set_point_c: float, duration_s: float) -> None:
        """Keep a set-point for a time [s]."""
        self.corner()
        end_s = self.now_s + duration_s
        while end_s - self.now_s > 1e-6:
            step_s, state = self.step(end_s - self.now_s, lambda _: set_point_c)
            self.accept(step_s, state, set_point_c)

    def ramp(self, from_c: float, to_c: float, rate_c_per_h: float) -> bool:
        """Run a ramp by its rate; return False if the kiln stalls."""
        per_s = rate_c_per_h / SECONDS_PER_HOUR
        sign = 1.0 if to_c > from_c else -1.0
        set_point = from_c
        lagging = False
        self.corner()

        def at(step_s: float) -> float:
            ahead = set_point + sign * per_s * step_s
            return min(ahead, to_c) if sign > 0 else max(ahead, to_c)

        while sign * (to_c - set_point) > 1e-9:
            begin, left_s = set_point, abs(to_c - set_point) / per_s
            before_c = self.chamber_c
            step_s, state = self.step(self._clear_s(to_c, left_s) if lagging else left_s, at)
            wanted = at(step_s)
            self.accept(step_s, state, wanted)
            set_point = wanted
            lag = sign * (wanted - self.chamber_c)
            lagging = self.waits and lag > WAIT_BAND_C
            if lagging:
                set_point = self.chamber_c + sign * WAIT_BAND_C
                set_point = max(set_point, begin) if sign > 0 else min(set_point, begin)
                if sign > 0 and self._stalls(before_c, step_s):
                    return False
        if self.waits and sign * (to_c - self.chamber_c) > LANDED_C:
            return self.until_crossing(to_c - sign * LANDED_C, to_c)
        return True


@dataclass(frozen=True, slots=True)
class SegmentRun:
    """One segment as it went; times from the start of the program [s].

    It ends where a kiln stalled, and is not `finished` then.  `programmed_s` is what ramp and hold
    are written to take, None for a ramp without a rate; `limited_by` what set the ramp's pace.
    """

    index: int
    start_s: float
    ramp_end_s: float
    end_s: float
    programmed_s: float | None
    from_c: float
    end_c: float
    limited_by: LimitedBy
    finished: bool = True


def run_segment(
    follower: Follower, schedule: Schedule, index: int, set_point_c: float, *, last_c: float
) -> SegmentRun:
    """Run one segment.

    It starts from a set-point; a last segment that cools is over at `last_c` at the latest.
    """
    segment = schedule.segments[index]
    start_s, from_c = follower.now_s, follower.chamber_c
    target = segment.target_c
    cools = target < set_point_c
    if cools:
        if index == len(schedule.segments) - 1 and not segment.hold_s:
            target = max(target, last_c)
        else:
            _require_reachable(segment, index, follower.network.room_c)
    programmed = segment.ramp_s(set_point_c)
    limited: LimitedBy = "program"
    if segment.drive == "off":
        limited, finished = "cooling", follower.until_crossing(target, None)
    elif segment.drive == "unlimited":
        limited, finished = "power", follower.until_crossing(target - LANDED_C, target)
    else:
        assert segment.rate_c_per_h is not None
        finished = follower.ramp(set_point_c, target, segment.rate_c_per_h)
        took_s = follower.now_s - start_s
        full_s = abs(target - set_point_c) / segment.rate_c_per_h * SECONDS_PER_HOUR
        behind_c = abs(target - follower.chamber_c)
        if took_s > full_s + max(60.0, 0.005 * full_s) or behind_c > WAIT_BAND_C or not finished:
            limited = "cooling" if cools else "power"
    ramp_end_s = follower.now_s
    if finished and segment.hold_s:
        follower.hold(target, segment.hold_s)
    return SegmentRun(
        index=index,
        start_s=start_s,
        ramp_end_s=ramp_end_s,
        end_s=follower.now_s,
        programmed_s=None if programmed is None else programmed + segment.hold_s,
        from_c=from_c,
        end_c=follower.chamber_c,
        limited_by=limited,
        finished=finished,
    )


def _require_reachable(segment: Segment, index: int, room_c: float) -> None:
    if segment.target_c < room_c + 2.0:
        raise FiringError(
            f"segment {index + 1}: a kiln in a room of {room_c:.0f} °C does not cool to "
            f"{segment.target_c:.0f} °C by itself; give {room_c + 2.0:.0f} °C or more"
        )
