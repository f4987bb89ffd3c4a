"""How the faces of the ware go through a whole firing: the program, and the cooling after it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from firing.heat import default_kiln
from firing.heat.default_kiln import TRIAL, UsualKiln
from firing.schedule.schedule import HOT_START_C, Schedule, Segment
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR

RateCurve = Callable[[FloatArray], FloatArray]
"""From temperatures [°C] to rates there [°C/h]."""

COOL_C = 60.0
"""Down to where the kiln's own cooling is looked at [°C]."""
AFTER_PROGRAM = "natural cooling after the program"
"""The name of what follows the last segment, where a check writes it out as one."""

# A pace of cooling is that over the 20 °C around a temperature.
_SPAN_C = 10.0
_EVERY_C = 5.0
# Between two steps of a simulation its course is drawn on at this spacing.
_BETWEEN_C = 5.0
# A kiln model that begins hot has found its balance by then.
_SETTLED_S = 1800.0
# A kiln that is opened hot cools on; closer to the room than this its own cooling is next to none.
_NEAREST_ROOM_K = 2.0


def with_natural_cooling(schedule: Schedule) -> Schedule:
    """Return a schedule that says what happens after its last segment: elements off."""
    if schedule.segments[-1].target_c <= COOL_C:
        return schedule
    off = Segment(COOL_C, None, "off", name=AFTER_PROGRAM)
    return replace(schedule, segments=(*schedule.segments, off))


@dataclass(frozen=True, eq=False)
class FaceCourse:
    """The temperature of the ware's faces over a firing, down to 60 °C, natural cooling included.

    The course is straight between its points; `ends_s` tells when the segments of the program end,
    `heating` how fast it rises at full power, and `cooling` how fast it falls where nothing holds
    it back.
    """

    time_s: FloatArray
    face_c: FloatArray
    ends_s: tuple[float, ...]
    heating: RateCurve
    cooling: RateCurve


def face_by_program(
    time_s: FloatArray,
    temperature_c: FloatArray,
    ends_s: Sequence[float],
    *,
    room_c: float,
    usual: UsualKiln = TRIAL,
) -> FaceCourse:
    """Return the faces' course where no kiln is known: the program's, cooling by default curves.

    Times and temperatures are the program's and some of the cooling after it.
    """
    factor = usual.cooling_factor
    times, faces = _with_cooling(time_s, temperature_c, room_c, factor)
    return FaceCourse(times, faces, tuple(ends_s), _heating(()), _default_cooling(room_c, factor))


def face_in_kiln(
    time_s: FloatArray,
    face_c: FloatArray,
    ends_s: Sequence[float],
    *,
    room_c: float,
    max_rate: Sequence[tuple[float, float]],
    cools_s: Sequence[tuple[float, float]],
) -> FaceCourse:
    """Return the faces' course of a simulated firing.

    `face_c` is that of the ware at the steps of the simulation; `max_rate` the ware's fastest
    rates, the default kiln's if empty; `cools_s` from when to when the program cools, or nothing is
    programmed.
    """
    rising = np.concatenate(([True], np.diff(time_s) > 0.0))
    times, faces = _interpolated(time_s[rising], face_c[rising])
    if faces[0] >= HOT_START_C:
        faces = _without_first_dip(times, faces)
    own = own_cooling(times, faces, cools_s)
    slower = 1.0
    if faces[-1] > COOL_C and own is not None:
        last_c = faces[-1:]
        usual = float(default_kiln.cooling_rate_c_per_h(last_c, room_c=room_c)[0])
        slower = float(own(last_c)[0]) / max(usual, 1e-6)
    pace = default_kiln.COOLING_FACTOR * min(max(slower, 0.2), 5.0)
    times, faces = _with_cooling(times, faces, room_c, pace)

    return FaceCourse(
        times,
        faces,
        tuple(ends_s),
        _heating(max_rate),
        _default_cooling(room_c) if own is None else own,
    )


def _heating(max_rate: Sequence[tuple[float, float]]) -> RateCurve:
    if not max_rate:
        return default_kiln.full_power_rate_c_per_h
    known_c, known = np.array(max_rate).T
    return lambda at_c: np.interp(at_c, known_c, known)


def _default_cooling(room_c: float, factor: float = default_kiln.COOLING_FACTOR) -> RateCurve:
    return lambda at_c: default_kiln.cooling_rate_c_per_h(at_c, room_c=room_c, factor=factor)


def _without_first_dip(time_s: FloatArray, face_c: FloatArray) -> FloatArray:
    """Return the course of a firing that goes on from a hot kiln without the model's first dip.

    How warm the inside of the walls, the shelves and the ware of a hot kiln are nobody knows: the
    model begins with all of them alike, and evens that out within a minute by letting the ware's
    face fall by tens of kelvins.  That fall is the model's and not the ware's.  Where the kiln is
    heated the face stays where it was until the course has come back there; where it cools, it
    falls evenly to where the course is after half an hour.
    """
    back = np.flatnonzero(face_c[1:] >= face_c[0])
    faces = face_c.copy()
    if back.size:
        faces[: int(back[0]) + 1] = face_c[0]
        return faces
    early = time_s < min(time_s[0] + _SETTLED_S, float(time_s[-1]))
    later = int(np.count_nonzero(early))
    ends_s, ends_c = time_s[[0, later]], face_c[[0, later]]
    faces[:later] = np.interp(time_s[:later], ends_s, ends_c)
    return faces


def own_cooling(
    time_s: FloatArray, face_c: FloatArray, cools_s: Sequence[tuple[float, float]]
) -> RateCurve | None:
    """Return how fast a course falls at each temperature where it cools; None if it nowhere does.

    The fastest where it falls more than once; beyond what it passes, the nearest known.  Outside
    `cools_s` the ware may dip as the load evens out.
    """
    middle_s = 0.5 * (time_s[1:] + time_s[:-1])
    cools = np.zeros(middle_s.shape, dtype=bool)
    for from_s, to_s in cools_s:
        cools |= (middle_s > from_s) & (middle_s < to_s)
    falls = np.concatenate(([False], cools & (np.diff(face_c) < 0.0), [False]))
    first = np.flatnonzero(~falls[:-1] & falls[1:])
    last = np.flatnonzero(falls[:-1] & ~falls[1:])
    paces: dict[float, float] = {}
    for begin, end in zip(first.tolist(), last.tolist(), strict=True):
        part_c, part_s = face_c[begin : end + 1][::-1], time_s[begin : end + 1][::-1]
        low_c, high_c = float(part_c[0]), float(part_c[-1])
        if high_c - low_c < _EVERY_C:
            continue
        at_c = _EVERY_C * np.arange(np.ceil(low_c / _EVERY_C), np.floor(high_c / _EVERY_C) + 1.0)
        below, above = np.maximum(at_c - _SPAN_C, low_c), np.minimum(at_c + _SPAN_C, high_c)
        taken_s = np.interp(below, part_c, part_s) - np.interp(above, part_c, part_s)
        rates = (above - below) / np.maximum(taken_s, 1e-9) * SECONDS_PER_HOUR
        for place_c, rate in zip(at_c.tolist(), rates.tolist(), strict=True):
            paces[place_c] = max(rate, paces.get(place_c, 0.0))
    if not paces:
        return None
    known_c = np.array(sorted(paces))
    known = np.array([paces[place_c] for place_c in known_c.tolist()])
    return lambda temperature_c: np.interp(temperature_c, known_c, known)


def _with_cooling(
    time_s: FloatArray, face_c: FloatArray, room_c: float, factor: float
) -> tuple[FloatArray, FloatArray]:
    """Return a course with the natural cooling to 60 °C that follows it, if it ends hotter."""
    to_c = max(COOL_C, room_c + _NEAREST_ROOM_K)
    if face_c[-1] <= to_c + _NEAREST_ROOM_K:
        return time_s, face_c
    run = default_kiln.cool(float(face_c[-1]), to_c, room_c=room_c, factor=factor)
    return (
        np.concatenate((time_s, time_s[-1] + run.time_s[1:])),
        np.concatenate((face_c, run.temperature_c[1:])),
    )


def _interpolated(time_s: FloatArray, face_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a simulated course with smooth points between its steps, never beyond them.

    Monotone cubics with harmonic slopes (Fritsch and Butland 1984, from memory): a step of the
    kiln's cooling is wide enough for its chord to hide how much faster it began than it ended.
    """
    steps = np.diff(time_s)
    chords = np.diff(face_c) / steps
    slopes = np.concatenate((chords[:1], np.zeros(chords.size - 1), chords[-1:]))
    same = chords[:-1] * chords[1:] > 0.0
    one, two = steps[:-1], steps[1:]
    weighted = np.where(
        same,
        3.0
        * (one + two)
        / np.where(
            same,
            (one + 2.0 * two) / np.where(same, chords[:-1], 1.0)
            + (2.0 * one + two) / np.where(same, chords[1:], 1.0),
            1.0,
        ),
        0.0,
    )
    slopes[1:-1] = weighted
    parts = np.maximum(np.ceil(np.abs(np.diff(face_c)) / _BETWEEN_C).astype(int), 1)
    places = np.concatenate(([0], np.cumsum(parts)))
    cell = np.repeat(np.arange(parts.size), parts)
    share = (np.arange(places[-1]) - places[cell]) / parts[cell]
    u, h = share, steps[cell]
    faces = (
        face_c[cell]
        + u * h * slopes[cell]
        + u**2 * h * (3.0 * chords[cell] - 2.0 * slopes[cell] - slopes[cell + 1])
        + u**3 * h * (slopes[cell] + slopes[cell + 1] - 2.0 * chords[cell])
    )
    return (
        np.append(time_s[cell] + share * steps[cell], time_s[-1]),
        np.append(faces, face_c[-1]),
    )
