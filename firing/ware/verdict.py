"""The one check of the ware: forecast, card, design, mending, resuming and screens all ask it.

A firing is safe for a load if every rate keeps to the steady limits, every stay is long enough, and
the simulated wall bears that out: on the way up, in holds, and on the way down, whether the cooling
is programmed or the kiln's own.
"""

from __future__ import annotations

from dataclasses import dataclass

from firing.schedule.schedule import Schedule
from firing.ware.check import Breach, check_schedule, with_natural_cooling
from firing.ware.face import FaceCourse
from firing.ware.limits import WareLimits
from firing.ware.load import Load
from firing.ware.simulate import WareCourse, simulate_ware
from firing.ware.state import WareState
from firing.ware.verify import slow_drying, verify_ware


@dataclass(frozen=True, eq=False)
class WareVerdict:
    """What a firing does to its load.

    Attributes
    ----------
    limits : WareLimits
        What was asked of it.
    course : WareCourse
        The thickest wall along it.
    breaches : tuple of Breach
        Where it is not safe, in the order of the segments; a breach of the segment after the last
        is in the natural cooling.
    cautions : tuple of Breach
        What it would break if the ware is less good-natured than usual.
    """

    limits: WareLimits
    course: WareCourse
    breaches: tuple[Breach, ...]
    cautions: tuple[Breach, ...]

    @property
    def safe(self) -> bool:
        """Whether nothing is broken."""
        return not self.breaches


def check_ware(
    schedule: Schedule,
    load: Load,
    face: FaceCourse,
    limits: WareLimits,
    *,
    state: WareState | None = None,
) -> WareVerdict:
    """Check a firing against the limits of its load.

    Parameters
    ----------
    schedule : Schedule
        The program.
    load : Load
        What is fired.
    face : FaceCourse
        How the faces of the ware go through it and the natural cooling after it.
    limits : WareLimits
        Of the load.
    state : WareState, optional
        What earlier firing has done to the ware.

    Raises
    ------
    FiringError
        If the course leaves −40 to 1450 °C.
    """
    whole = with_natural_cooling(schedule)
    by_rates = check_schedule(whole, limits, heating_curve=face.heating, cooling_curve=face.cooling)
    course = simulate_ware(
        load, face.time_s, face.face_c, start=state, through_c=limits.watched_edges_c
    )
    in_wall = verify_ware(course, limits, whole, face.ends_s)
    # A rate that is too fast says already, and more plainly, why the wall differs too much; water
    # that has no time to leave says why there is too much vapour.
    said = {(b.reason, b.direction, b.segment) for b in by_rates if b.kind == "rate"}
    short = {b.reason for b in by_rates if b.kind in ("dwell", "dry first")}
    more = [
        b
        for b in in_wall
        if (b.reason, b.direction, b.segment) not in said
        and not (b.kind in ("vapour", "bound water") and b.reason in short)
    ]
    found = sorted((*by_rates, *more), key=lambda breach: (breach.segment, breach.from_c))
    wet = any(b.reason == "free water" and b.kind != "rate" for b in found)
    slow = None if wet else slow_drying(course, limits, whole)
    return WareVerdict(limits, course, tuple(found), () if slow is None else (slow,))
