"""The rest of a firing by the kiln model, from the state in which the kiln is now."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firing.kiln.controller_model import WAIT_BAND_C, Follower, Precision, SegmentRun, run_segment
from firing.kiln.nodes import CHAMBER
from firing.kiln.thermal_network import Network
from firing.review.position import Position
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.watch.history import course_on_grid
from firing.watch.state import RemainingCourse

ARRIVED_C = 0.5


@dataclass(frozen=True, eq=False)
class SimulatedRemainder:
    """What is still to come, by the kiln model; times count from now [s].

    `program_s` is to the end of the program, or to where the kiln stalls, at `stalls_c`.  `ramps`
    are their begins and ends, and whether each comes after the present one.
    """

    time_s: FloatArray
    temperature_c: FloatArray
    supplied_j: float
    program_s: float
    ramps: tuple[tuple[float, float, bool], ...]
    segment_ends_s: dict[int, float]
    stalls_c: float | None

    def stretched(
        self, slower_now: float, slower_later: float, cooling: tuple[float, float]
    ) -> RemainingCourse:
        """Return it as a watch tells it.

        `slower_now` and `slower_later` are how many times longer heating takes than this, in the
        present ramp and those after it; `cooling` the shortest and longest natural cooling as
        multiples of this.
        """
        bends = [0.0]
        warped = [0.0]
        for begin_s, end_s, later in self.ramps:
            slower = slower_later if later else slower_now
            for moment_s, factor in ((begin_s, 1.0), (end_s, slower)):
                if moment_s > bends[-1]:
                    warped.append(warped[-1] + factor * (moment_s - bends[-1]))
                    bends.append(moment_s)
        last_s = max(float(self.time_s[-1]), bends[-1] + 1.0)
        warped.append(warped[-1] + last_s - bends[-1])
        bends.append(last_s)

        def stretched_s(moment_s: float) -> float:
            return float(np.interp(moment_s, bends, warped))

        program_s, unload_s = stretched_s(self.program_s), stretched_s(float(self.time_s[-1]))
        low, high = cooling
        cooling_s = unload_s - program_s
        return RemainingCourse(
            *course_on_grid(np.interp(self.time_s, bends, warped), self.temperature_c),
            program_s,
            unload_s,
            program_s + low * cooling_s,
            program_s + high * cooling_s,
            {index: stretched_s(end_s) for index, end_s in self.segment_ends_s.items()},
        )


def simulate_remaining(
    network: Network, schedule: Schedule, position: Position, now_s: float, *, unload_c: float
) -> SimulatedRemainder:
    """Simulate the rest of a firing, down to where it can be unloaded.

    The network, the kiln as it is now, is led on; the controller's clock waits when the kiln lags.
    """
    follower = Follower(network, waits=True, precision=Precision())
    now_c = follower.chamber_c
    ends_s: dict[int, float] = {}
    ramps: list[tuple[float, float, bool]] = []
    stalls_c: float | None = None
    first, set_point_c = 0, now_c
    if position.segment is not None:
        first = position.segment
        target_c = schedule.segments[first].target_c
        set_point_c = _set_point_c(position, target_c, now_c)
        if position.phase == "hold":
            left_s = position.hold_left_s(now_s, schedule.segments[first].hold_s)
            if left_s > 0.0:
                follower.hold(target_c, left_s)
            ends_s[first] = follower.now_s
        if position.phase in ("hold", "done"):
            first, set_point_c = first + 1, target_c
    if position.phase == "done":
        first = len(schedule.segments)
    for index in range(first, len(schedule.segments)):
        run = run_segment(follower, schedule, index, set_point_c, last_c=unload_c)
        target_c = schedule.segments[index].target_c
        if target_c > set_point_c:
            ramps.append((run.start_s, run.ramp_end_s, _is_later(run, position)))
        set_point_c = target_c
        if not run.finished:
            stalls_c = follower.chamber_c
            break
        ends_s[index] = run.end_s
    program_s = follower.now_s
    if stalls_c is None and follower.chamber_c > unload_c + ARRIVED_C:
        follower.until_crossing(unload_c, None)
    moments = follower.moments
    return SimulatedRemainder(
        np.array([moment.time_s for moment in moments]),
        np.array([moment.state.temperature_c[CHAMBER] for moment in moments]),
        moments[-1].state.supplied_j - moments[0].state.supplied_j,
        program_s,
        tuple(ramps),
        ends_s,
        stalls_c,
    )


def _set_point_c(position: Position, target_c: float, now_c: float) -> float:
    """Return where the controller's ramp is: a clock that waits is never far ahead of the kiln."""
    if position.set_point_c is None:
        return now_c
    if target_c >= now_c:
        return min(position.set_point_c, now_c + WAIT_BAND_C)
    return max(position.set_point_c, now_c - WAIT_BAND_C)


def _is_later(run: SegmentRun, position: Position) -> bool:
    return position.segment is None or run.index > position.segment
