"""One segment of a program in a kiln: how long it took, and what set its pace."""

from dataclasses import dataclass
from typing import Literal

from firing.errors import FiringError
from firing.kiln.controller_model import LANDED_C, WAIT_BAND_C, Follower
from firing.schedule.schedule import Schedule, Segment
from firing.units import SECONDS_PER_HOUR

LimitedBy = Literal["program", "power", "cooling"]


@dataclass(frozen=True, slots=True)
class SegmentRun:
    """One segment as it went; times from the start of the program [s].

    Attributes
    ----------
    index : int
        Number of the segment from 0.
    start_s, ramp_end_s, end_s : float
        Its start, the end of its ramp and of its hold; where a kiln stalled, the moment it did.
    programmed_s : float or None
        What its ramp and hold are written to take; None for a ramp without a rate.
    from_c, end_c : float
        Chamber temperature at its start and end [°C].
    limited_by : {"program", "power", "cooling"}
        What set the ramp's pace.
    finished : bool
        False where the kiln stalled.
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
