"""Where a firing stood when it was interrupted, and what of its program is left."""

from dataclasses import replace

import numpy as np

from firing.controller.controller import Controller
from firing.errors import FiringError
from firing.review.position import Plan, heating_ended_s, locate
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray

NEAR_C = 4.0
"""A target this near counts as reached: controllers hold within a few degrees [°C]."""
LANDED_C = 1.0
"""From this near on a hold counts as begun [°C]."""
NOT_REACHED_C = 10.0
"""A segment whose target the readings came no nearer to was not done [°C] …"""
HELD_SHARE = 0.75
"""… nor one near which they stayed for less than this share of its hold."""
LEFT_OF_HOLD_S, LEFT_OF_HOLD_SHARE = 240.0, 0.02
"""A hold that lacks no more, in seconds or as a share, was held: each of its ends is found to a
minute or two, and to a step of the log."""
WARE_C = (-39.0, 1449.0)
"""What a kiln and its ware may read [°C]."""
BACK = "Back to where it was"
"""The name of the way back up."""


def readings_until_now(
    time_s: FloatArray, temperature_c: FloatArray, reads_c: float | None, ago_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return the readings there are, with the one of now at their end."""
    times, readings = np.asarray(time_s, dtype=float), np.asarray(temperature_c, dtype=float)
    known = np.isfinite(readings)
    times, readings = times[known], readings[known]
    if times.size < 2:
        raise FiringError("a log needs at least 2 readings to show where a firing stood")
    if reads_c is not None:
        if not WARE_C[0] <= reads_c <= WARE_C[1]:
            raise FiringError(
                f"a reading of {reads_c:.0f} °C now is no temperature of a kiln; "
                "write one like 560 °C"
            )
        if not ago_s > 0.0:
            raise FiringError(
                "what the kiln reads now needs how long ago the log ends; write --ago 2h beside "
                "--reads"
            )
        if reads_c > float(readings[-1]) + NEAR_C:
            raise FiringError(
                f"the kiln reads {reads_c:.0f} °C now, above the log's last {readings[-1]:.0f} °C, "
                "and a kiln that is off does not heat; give the log of all the heating"
            )
        times = np.append(times, times[-1] + ago_s)
        readings = np.append(readings, reads_c)
    return times, readings


def interrupted_segment(
    schedule: Schedule, times: FloatArray, readings: FloatArray
) -> tuple[int, float]:
    """Return the segment that was interrupted, and how much of its hold was done [s].

    Up to the peak it is the one in which the firing stood when its heating ended; cooling by a
    program and cooling by itself look alike, so after the peak the first segment that still lies
    below the last reading is the one.
    """
    until_s = heating_ended_s(times, readings)
    heated = max(int(np.searchsorted(times, until_s, side="right")), 2)
    found = locate(Plan(schedule), times[:heated], readings[:heated], float(readings[heated - 1]))
    index = min(found.segment or 0, _first_not_done(schedule, times[:heated], readings[:heated]))
    phase = found.phase if index == found.segment else "ramp"
    if phase == "hold" and found.arrived_s is not None:
        hold_s, held_s = schedule.segments[index].hold_s, float(times[heated - 1]) - found.arrived_s
        left_s = max(
            LEFT_OF_HOLD_S, LEFT_OF_HOLD_SHARE * hold_s, 1.5 * float(np.median(np.diff(times)))
        )
        if held_s < hold_s - left_s:
            return index, held_s
        index, phase = index + 1, "ramp"
    if phase != "done" and index <= schedule.peak_index:
        return index, 0.0
    for index in range(schedule.peak_index + 1, len(schedule.segments)):
        if schedule.segments[index].target_c < readings[-1] - NEAR_C:
            return index, 0.0
    return len(schedule.segments), 0.0


def _first_not_done(schedule: Schedule, times: FloatArray, readings: FloatArray) -> int:
    """Return the first segment that cannot be done by the readings: no later one can be either.

    A long wait before a ramp that has hardly begun looks much like the end of a program.  What lies
    below a log's first reading was before it.
    """
    step_s, highest_c = np.diff(times, append=times[-1]), float(readings.max())
    for index, segment in enumerate(schedule.segments):
        if segment.target_c < readings[0] - NOT_REACHED_C:
            continue
        near = np.abs(readings - segment.target_c) <= NOT_REACHED_C
        held_s = float(step_s[near].sum())
        if segment.target_c > highest_c + NOT_REACHED_C or held_s < HELD_SHARE * segment.hold_s:
            return index
    return len(schedule.segments)


def rest_of(
    schedule: Schedule,
    segment: int,
    held_s: float,
    reached_c: float,
    now_c: float,
    heats: bool,
    judged: bool,
    controller: Controller,
) -> Schedule | None:
    """Return the program from now on, before the ware has its say; None if nothing is left."""
    segments: list[Segment] = []
    if heats:
        current = schedule.segments[segment]
        back_c = min(controller.nearest_target_c(reached_c), current.target_c)
        if current.target_c - back_c <= NEAR_C:
            back_c = current.target_c
        gone = current.target_c == back_c
        rate = controller.fastest_c_per_h if judged else _own_rate(schedule, now_c, back_c)
        if back_c > now_c + 1.0:
            hold_s = max(current.hold_s - held_s, 0.0) if gone else 0.0
            action = current.action if gone else ""
            segments.append(Segment(back_c, rate, hold_s=hold_s, name=BACK, action=action))
        elif gone and current.hold_s > held_s:
            # Hardly cooled at all: a ramp of a degree or so, then the rest of the hold.
            target_c = now_c + 1.0
            left_s = current.hold_s - held_s
            segments.append(Segment(target_c, rate, hold_s=left_s, name=current.name))
        if not gone:
            segments.append(current)
        segments.extend(schedule.segments[segment + 1 :])
    else:
        first = max(segment, schedule.peak_index + 1)
        below = [s for s in schedule.segments[first:] if s.target_c < now_c - NEAR_C]
        segments.extend(below)
    if not segments:
        return None
    return replace(
        schedule,
        title=f"Rest of: {schedule.title}"[:120],
        segments=tuple(segments),
        start_c=now_c,
    )


def _own_rate(schedule: Schedule, low_c: float, high_c: float) -> float:
    """Return the slowest rate the plan itself has on its way up between two temperatures."""
    rates = [
        segment.rate_c_per_h
        for index, segment in enumerate(schedule.segments[: schedule.peak_index + 1])
        if segment.rate_c_per_h is not None
        and schedule.from_c(index) < high_c
        and segment.target_c > low_c
    ]
    return min(rates, default=60.0)
