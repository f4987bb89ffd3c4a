"""Heat-work of a temperature trace, cone by cone.

Heat-work x is ∫ A·exp(−E/(R·T)) dt with the constants of :mod:`firing.cones.kinetics`; a cone is
down at x = 1.  Between its samples a trace is taken to run straight, and the integral is exact for
such a trace to 1e-6.
"""

import math
from collections.abc import Iterable, Mapping

import numpy as np

from firing.cones.kinetics import ConeLaw, cone_law, ramp_integral
from firing.cones.occupation import Occupation, counting_from_c, occupy
from firing.cones.table import CONES, parse_cone
from firing.errors import FiringError
from firing.trace import FloatArray
from firing.units import KELVIN_AT_0_C, SECONDS_PER_HOUR

_READINGS_C = (-100.0, 3000.0)


def readings(time_s: FloatArray, temperature_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Check a trace and bridge its gaps.

    What is left runs from the first to the last reading, NaN replaced by the straight line between
    neighbours.
    """
    time_s = np.ascontiguousarray(time_s, dtype=np.float64)
    temperature_c = np.ascontiguousarray(temperature_c, dtype=np.float64)
    if time_s.ndim != 1 or time_s.shape != temperature_c.shape:
        raise FiringError(
            f"heat-work needs one temperature for each time, not {temperature_c.shape} for "
            f"{time_s.shape}"
        )
    # A single missing reading makes the highest of them NaN.
    highest_c = float(temperature_c.max()) if temperature_c.size else math.nan
    if temperature_c.size and math.isnan(highest_c):
        known = np.flatnonzero(~np.isnan(temperature_c))
        if known.size:
            inside = slice(known[0], known[-1] + 1)
            bridged = np.interp(time_s[inside], time_s[known], temperature_c[known])
            time_s, temperature_c = time_s[inside], bridged
            highest_c = float(bridged.max())
        else:
            time_s, temperature_c = time_s[:0], temperature_c[:0]
    if time_s.size < 2:
        raise FiringError(
            f"heat-work needs at least 2 temperature readings over time, and there "
            f"{'is 1' if time_s.size else 'are none'}"
        )
    if not np.isfinite(time_s).all():
        raise FiringError("heat-work needs the time of every reading; leave out those without one")
    for extreme in (highest_c, float(temperature_c.min())):
        if not _READINGS_C[0] <= extreme <= _READINGS_C[1]:
            raise FiringError(
                f"{extreme:g} °C is no temperature of a kiln; heat-work is computed from "
                f"{_READINGS_C[0]:g} to {_READINGS_C[1]:g} °C, so mark other readings as missing"
            )
    return time_s, temperature_c


#: x from which a cone counts as down: 1, less what rounding may take.
DOWN = 1.0 - 1e-6

_STRAIGHT_K = 2.0  # up to here a segment's mean needs no closed form
_LEVEL_K = 1e-3  # a segment flatter than this counts as level when it is divided
_BLOCK = 4096
_LARGEST_SHIFT_K = 500.0


def heatwork(
    time_s: FloatArray,
    temperature_c: FloatArray,
    cones: Iterable[str] | None = None,
    shift_c: float | Mapping[str, float] | None = None,
) -> dict[str, float]:
    """Return the heat-work x of a trace by cone [1], every self-supporting one's if none is named.

    A cone is down from 1.  NaN, where there is no reading, is bridged by a straight line inside the
    trace and left out at its ends.  `shift_c` is added to the temperature before the law is
    evaluated [K]: one figure, or one for each cone by its printed spelling (0 where none is given).
    Relative error below 1e-6 (1e-4 where readings of a second stand apart to one side), for cones
    that end more than 200 °C above the peak below 1e-3 (source ``cone-model``).

    `FiringError` if time does not increase, there are fewer than two readings, a temperature is
    absurd, or a cone is not made.
    """
    names = CONES if cones is None else tuple(parse_cone(cone) for cone in cones)
    if not names:
        raise FiringError('no cone is asked for; write cones=["6"], or leave cones out for all')
    time_s, temperature_c = readings(time_s, temperature_c)
    shifts = _shifts(names, shift_c)
    chosen = [cone_law(name) for name in names]
    occupation = occupy(time_s, temperature_c, chosen, max(0.0, *shifts.values()))
    if len(set(shifts.values())) == 1:
        return dict(zip(shifts, occupation.heatworks(chosen, shifts[names[0]]), strict=True))
    return {law.cone: occupation.heatwork(law, shifts[law.cone]) for law in chosen}


def _shifts(
    names: tuple[str, ...], shift_c: float | Mapping[str, float] | None
) -> dict[str, float]:
    if isinstance(shift_c, Mapping):
        shifts = {name: float(shift_c.get(name, 0.0)) for name in names}
    else:
        shifts = dict.fromkeys(names, float(shift_c or 0.0))
    for shift in shifts.values():
        _check_shift(shift)
    return shifts


def _check_shift(shift_c: float) -> None:
    if not abs(shift_c) <= _LARGEST_SHIFT_K:
        raise FiringError(
            f"a shift of {shift_c:g} °C is outside −{_LARGEST_SHIFT_K:.0f} to "
            f"{_LARGEST_SHIFT_K:.0f} °C, where nothing is known; write a smaller one"
        )


def heatwork_progress(
    time_s: FloatArray, temperature_c: FloatArray, cone: str, shift_c: float = 0.0
) -> FloatArray:
    """Return a cone's heat-work from the start up to every sample [1], as `heatwork` counts it.

    It never falls, and is constant where the ends of the trace have no reading.
    """
    law = cone_law(cone)
    _check_shift(shift_c)
    kept_s, kept_c = readings(time_s, temperature_c)
    if np.any(np.diff(kept_s) <= 0.0):
        raise FiringError("the times of a trace must increase")
    progress = np.zeros(kept_s.size)
    np.cumsum(gains(law, kept_s, kept_c, shift_c), out=progress[1:])
    if kept_s.size == np.size(time_s):
        return progress
    before = int(np.searchsorted(time_s, kept_s[0]))
    after = np.size(time_s) - before - kept_s.size
    return np.pad(progress, (before, after), mode="edge")


def gains(
    law: ConeLaw, time_s: FloatArray, temperature_c: FloatArray, shift_c: float
) -> FloatArray:
    """Return the heat-work of each straight segment between n samples, shape (n − 1,)."""
    return _gains(law.activation_k, law.ln_a_per_s, time_s, temperature_c, shift_c)


def _gains(
    activation_k: float | FloatArray,
    ln_a_per_s: float | FloatArray,
    time_s: FloatArray,
    temperature_c: FloatArray,
    shift_c: float | FloatArray,
) -> FloatArray:
    """Return the gains by one law, or by each of a column of laws, shape (laws, n − 1)."""
    dt = np.diff(time_s)
    length = np.diff(temperature_c)
    mid_k = (temperature_c[1:] + temperature_c[:-1]) * 0.5 + (shift_c + KELVIN_AT_0_C)
    np.maximum(mid_k, 1.0, out=mid_k)  # a large downward shift would pass absolute zero
    inverse = 1.0 / mid_k
    ln_rate = inverse * -activation_k
    slope = ln_rate * -inverse
    gained: FloatArray = np.exp(ln_rate + ln_a_per_s) * dt
    # The mean over a straight segment, in even powers of its length: what the fourth simplifies and
    # the sixth leaves out is below 2e-7 of it.
    span = length * slope
    span *= span
    gained *= (
        1.0
        + span * (1.0 / 24.0 + span * (1.0 / 1920.0))
        - (slope * inverse * (length * length) * (1.0 / 12.0))
    )
    long = np.flatnonzero(np.abs(length) > _STRAIGHT_K)
    if long.size:
        begin, end = (
            ramp_integral(activation_k, ln_a_per_s, temperature_c[place] + shift_c)
            for place in (long, long + 1)
        )
        gained[..., long] = (end - begin) * (dt[long] / length[long])
    return gained


def _gains_of_all(
    laws: list[tuple[ConeLaw, float]], time_s: FloatArray, temperature_c: FloatArray
) -> FloatArray:
    columns = np.array([(law.activation_k, law.ln_a_per_s, shift_c) for law, shift_c in laws])
    activation_k, ln_a_per_s, shift_c = columns.T[:, :, np.newaxis]
    return _gains(activation_k, ln_a_per_s, time_s, temperature_c, shift_c)


def heatworks(
    occupation: Occupation,
    laws: Iterable[tuple[ConeLaw, float]],
    time_s: FloatArray,
    temperature_c: FloatArray,
) -> list[float]:
    """Return the heat-work of a trace by each law, moved by its shift [K].

    From the trace's occupation or, where it is short, from its segments.
    """
    pairs = list(laws)
    if time_s.size > _SHORT_TRACE or not pairs:
        return [occupation.heatwork(law, shift_c) for law, shift_c in pairs]
    found: list[float] = _gains_of_all(pairs, time_s, temperature_c).sum(axis=1).tolist()
    return found


_SHORT_TRACE = 1000  # samples; up to here all laws at once are quicker than one after another


def times_down_s(
    laws: Iterable[tuple[ConeLaw, float]], time_s: FloatArray, temperature_c: FloatArray
) -> list[float | None]:
    """Return when each cone goes down [s], as `time_down_s` for each law and its shift."""
    pairs = list(laws)
    if time_s.size > _SHORT_TRACE or not pairs:
        return [time_down_s(law, time_s, temperature_c, shift_c) for law, shift_c in pairs]
    progress = np.cumsum(_gains_of_all(pairs, time_s, temperature_c), axis=1)
    found: list[float | None] = []
    for (law, shift), row in zip(pairs, progress, strict=True):
        at = int(np.searchsorted(row, DOWN))
        if at == row.size:
            found.append(None)
            continue
        missing = 1.0 - (float(row[at - 1]) if at else 0.0)
        share = _share_of_segment(law, time_s, temperature_c, shift, at, missing)
        found.append(float(time_s[at] + share * (time_s[at + 1] - time_s[at])))
    return found


def time_down_s(
    law: ConeLaw, time_s: FloatArray, temperature_c: FloatArray, shift_c: float
) -> float | None:
    """Return when a cone goes down [s], None if it does not.

    The trace is as `readings` returns it, and is moved by `shift_c`; the moment may lie between its
    samples.
    """
    # Nothing before the trace first gets this warm adds up to 1e-7.
    cut_c = counting_from_c(law, float(time_s[-1] - time_s[0]), 1e-7) - shift_c
    start = max(int(np.argmax(temperature_c >= cut_c)) - 1, 0)
    x = 0.0
    for first in range(start, time_s.size - 1, _BLOCK):
        last = min(first + _BLOCK, time_s.size - 1)
        here = slice(first, last + 1)
        progress = x + np.cumsum(gains(law, time_s[here], temperature_c[here], shift_c))
        if progress[-1] >= DOWN:
            index = int(np.argmax(progress >= DOWN))
            missing = 1.0 - (float(progress[index - 1]) if index else x)
            at = first + index
            share = _share_of_segment(law, time_s, temperature_c, shift_c, at, missing)
            return float(time_s[at] + share * (time_s[at + 1] - time_s[at]))
        x = float(progress[-1])
    return None


def _share_of_segment(
    law: ConeLaw,
    time_s: FloatArray,
    temperature_c: FloatArray,
    shift_c: float,
    at: int,
    missing: float,
) -> float:
    """Return after which share of a segment the missing heat-work has been gained."""
    start_c = float(temperature_c[at]) + shift_c
    end_c = float(temperature_c[at + 1]) + shift_c
    duration_s = float(time_s[at + 1] - time_s[at])
    if abs(end_c - start_c) < _LEVEL_K:
        return min(missing / (law.per_second(end_c) * duration_s), 1.0)
    rate_c_per_h = abs(end_c - start_c) / duration_s * SECONDS_PER_HOUR
    # Both rising and falling, what is gained is a difference of two ramps from absolute zero.
    before = law.of_ramp(start_c, rate_c_per_h)
    then = before + missing if end_c > start_c else before - missing
    if then <= 0.0:
        return 1.0
    share = (law.ramp_reaching_c(then, rate_c_per_h) - start_c) / (end_c - start_c)
    return min(max(share, 0.0), 1.0)
