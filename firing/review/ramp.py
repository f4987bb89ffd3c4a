"""What one logged ramp was: run at a set rate, falling behind it, or broken off and regained.

A ramp may also have run as several straight stretches, as segments keyed in differently do: a
controller runs every segment straight, with sharp corners between them; a kiln at its limit bends.
The fewest straight stretches that pass through the readings are found exactly, by dynamic
programming over all corners (Bellman & Roth 1969, doi:10.1080/01621459.1969.10501038).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from firing.review import thresholds as limit
from firing.review.resample import ResampledTrace
from firing.trace import FloatArray, median, quantile
from firing.units import SECONDS_PER_HOUR


@dataclass(frozen=True, slots=True, eq=False)
class Interruption:
    """Power was away: from `start_s` the readings fell to `lowest_c`; at `end_s` they were back."""

    start_s: float
    end_s: float
    before_c: float
    lowest_c: float

    @property
    def seconds(self) -> float:
        """Time from leaving to regaining the temperature [s]."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True, eq=False)
class RampRun:
    """How a ramp ran.

    Attributes
    ----------
    mean_c_per_h : float
        Rise over time, interruptions left out [°C/h].
    kept_c_per_h : float or None
        The rate that a good part of the ramp kept [°C/h]; None if no part kept one.
    behind_from_c, behind_c_per_h : float or None
        Where it began to fall behind its kept (or planned) rate, and its mean rate from there.
    interruptions : tuple of Interruption
    full_duty_share : float or None
        How much of the time lost by being slower was lost with the elements fully on, 0 to 1; None
        where the log tells neither duty nor, by its set-point, that they were.
    fades : bool
        Whether it got steadily slower as it got hotter while it was behind, as a kiln at its limit
        does.
    by_duty : bool
        Whether the logged duty told it, and not the set-point.
    """

    mean_c_per_h: float
    kept_c_per_h: float | None
    behind_from_c: float | None
    behind_c_per_h: float | None
    interruptions: tuple[Interruption, ...]
    full_duty_share: float | None = None
    fades: bool = False
    by_duty: bool = True

    @property
    def interrupted_s(self) -> float:
        """Seconds of all interruptions together."""
        return sum(gap.seconds for gap in self.interruptions)

    @property
    def mostly_on(self) -> bool:
        """Whether the elements were known to be fully on while it lost its time."""
        return (self.full_duty_share or 0.0) >= limit.MOSTLY_ON

    @property
    def at_limit(self) -> bool:
        """Whether it was all that the kiln could do."""
        return self.fades or self.mostly_on


def interruptions(trace: ResampledTrace, start_s: float, end_s: float) -> tuple[Interruption, ...]:
    """Return where the readings fell well below what was reached, while heating or holding."""
    first, last = trace.index(start_s), trace.index(end_s)
    temperature_c = trace.temperature_c[first : last + 1]
    if temperature_c.size < 3:
        return ()
    reached = np.maximum.accumulate(temperature_c)
    low = reached - temperature_c > max(limit.FALL_C, 8.0 * trace.noise_c)
    found: list[Interruption] = []
    position = 0
    while True:
        hits = np.flatnonzero(low[position:])
        if hits.size == 0:
            return tuple(found)
        inside = position + int(hits[0])
        level_c = float(reached[inside])
        near = temperature_c >= level_c - 2.0
        before = int(np.flatnonzero(near[:inside])[-1])
        after = np.flatnonzero(near[inside:])
        if after.size == 0:  # what was reached may have been an overshoot
            after = np.flatnonzero(temperature_c[inside:] >= level_c - limit.REGAINED_C)
        if after.size == 0:
            return tuple(found)  # it never came back: it was left, not interrupted
        stop = inside + int(after[0])
        found.append(
            Interruption(
                start_s=float(trace.time_s[first + before]),
                end_s=float(trace.time_s[first + stop]),
                before_c=level_c,
                lowest_c=float(temperature_c[before : stop + 1].min()),
            )
        )
        position = stop + 1
        if position >= temperature_c.size:
            return tuple(found)


def ramp_run(
    trace: ResampledTrace, start_s: float, end_s: float, planned_c_per_h: float, *, heats: bool
) -> RampRun:
    """Judge one ramp of a log; rates are sizes, positive in the direction of the ramp."""
    sign = 1.0 if heats else -1.0
    gaps = interruptions(trace, start_s, end_s) if heats else ()
    first, last = trace.index(start_s), trace.index(end_s)
    part = slice(first, last + 1)
    time_s, temperature_c = trace.time_s[part], trace.temperature_c[part]
    running = np.ones(time_s.size, dtype=bool)
    for gap in gaps:
        running &= (time_s < gap.start_s) | (time_s > gap.end_s)
    rise_c = sign * float(temperature_c[-1] - temperature_c[0])
    run_s = end_s - start_s - sum(gap.seconds for gap in gaps)
    mean = rise_c / run_s * SECONDS_PER_HOUR if run_s > 0 else 0.0
    # The corners of the ramp, where the slope's window reaches beyond it, tell nothing of its rate.
    corner_s = min(limit.RAMP_CORNER_S, limit.RAMP_CORNER_SHARE * (end_s - start_s))
    middle = running & (time_s >= start_s + corner_s) & (time_s <= end_s - corner_s)
    rate = sign * trace.rate_c_per_h[part]
    error = trace.rate_error_c_per_h
    kept = _kept_rate(
        time_s[middle], sign * temperature_c[middle], rate[middle], planned_c_per_h, error
    )
    if kept is None and not gaps:
        kept = _settled_rate(
            time_s[middle], sign * temperature_c[middle], rate[middle], planned_c_per_h
        )
    if kept is not None and kept < (1.0 - limit.SAME_RATE) * planned_c_per_h:
        # Straight for want of power, or for want of a climb long enough to bend on: not keyed in.
        full = fully_on(trace, part)
        if (full is not None and float(np.mean(full[middle])) > limit.MOSTLY_ON) or (
            heats and rise_c < limit.KEPT_OVER_C
        ):
            kept = None
    wanted = planned_c_per_h if kept is None else kept
    behind = np.flatnonzero(middle & (rate < limit.BEHIND_SHARE * wanted))
    behind_from_c = behind_c_per_h = None
    if behind.size >= 5:
        behind_from_c = float(temperature_c[behind[0]])
        behind_c_per_h = float(np.mean(rate[middle & (np.arange(rate.size) >= behind[0])]))
    full_duty_share = None
    full = fully_on(trace, part)
    if full is not None and heats:
        lost = np.clip(1.0 - rate / wanted, 0.0, 1.0) * (
            running & (rate < limit.LOSING_SHARE * wanted)
        )
        total = float(lost.sum())
        full_duty_share = float((lost * full).sum()) / total if total > 0 else 0.0
        if trace.duty is None:
            # A controller that waits may keep its set-point near: it tells all or nothing.
            full_duty_share = 1.0 if full_duty_share >= limit.MOSTLY_ON else None
    fades = heats and _fades(temperature_c[behind], rate[behind], trace.step_s)
    by_duty = trace.duty is not None
    return RampRun(mean, kept, behind_from_c, behind_c_per_h, gaps, full_duty_share, fades, by_duty)


def fully_on(trace: ResampledTrace, part: slice) -> npt.NDArray[np.bool_] | None:
    """Return where the elements were fully on, by duty or set-point; None without either."""
    if trace.duty is not None:
        return np.asarray(trace.duty[part] >= limit.FULL_DUTY)
    return None if trace.behind is None else trace.behind[part]


def _fades(temperature_c: FloatArray, rate: FloatArray, step_s: float) -> bool:
    """Return whether a rate falls steadily as the temperature rises."""
    if rate.size * step_s < limit.FADING_S or rate.size < 8:
        return False
    # What is heavy, or was held up before, first gets faster: the fade is judged from there on.
    window = max(3, round(limit.FADING_S / 3.0 / step_s))
    smooth = np.convolve(rate, np.ones(window) / window, mode="valid")
    top = int(np.argmax(smooth[: max(smooth.size // 2, 1)])) + window // 2
    rate, temperature_c = rate[top:], temperature_c[top:]
    third = rate.size // 3
    if third < 3:
        return False
    first, middle, last = (
        median(part) for part in (rate[:third], rate[third:-third], rate[-third:])
    )
    climbed_c = median(temperature_c[-third:]) - median(temperature_c[:third])
    hotter = climbed_c > limit.FADING_OVER_C
    return hotter and first > 0 and last <= limit.FADING_TO * first and first >= middle >= last


def _kept_rate(
    time_s: FloatArray,
    climbed_c: FloatArray,
    rate: FloatArray,
    planned_c_per_h: float,
    error_c_per_h: float,
) -> float | None:
    """Return the rate that a good part of the ramp kept, the planned one first."""
    if rate.size < 8:
        return None
    for candidate in (planned_c_per_h, median(rate), quantile(rate, 0.85)):
        if candidate <= 0:
            continue
        # Noise and a controller's ripple scatter the slopes about a rate that is kept.
        spread = min(
            max(1.5 * limit.SAME_RATE, 2.0 * error_c_per_h / candidate), limit.SAME_RATE_LOOSEST
        )
        near = np.abs(rate / candidate - 1.0) <= spread
        if near.sum() < max(8, limit.STRAIGHT_SHARE * rate.size):
            continue
        slope, bend, bend_error = line_and_bend(time_s[near], climbed_c[near])
        if abs(slope / candidate - 1.0) > 2.0 * limit.SAME_RATE:
            continue
        faster = candidate > (1.0 + limit.SAME_RATE) * planned_c_per_h
        if is_straight(bend, bend_error, limit.SETTLING_MOST if faster else limit.BEND_MOST):
            if candidate != planned_c_per_h:
                # What lies near a rate is straight by choice; one that fades throughout is not.
                _, whole, whole_error = line_and_bend(time_s, climbed_c)
                if whole + 2.0 * whole_error < -limit.FADING_BEND and not faster:
                    continue
            return slope
    return None


def _settled_rate(
    time_s: FloatArray, climbed_c: FloatArray, rate: FloatArray, planned_c_per_h: float
) -> float | None:
    """Return the other rate that a ramp kept once its controller had settled after the corner."""
    late = slice(round(limit.SETTLED_FROM * rate.size), None)
    if rate[late].size < 12:
        return None
    slope, bend, bend_error = line_and_bend(time_s[late], climbed_c[late])
    if slope <= 0 or abs(slope / planned_c_per_h - 1.0) <= 2.0 * limit.SAME_RATE:
        return None
    third = rate[late].size // 3
    first, last = median(rate[late][:third]), median(rate[late][-third:])
    # A kiln at its limit loses a tenth and more over the same stretch.
    steady = first > 0 and last >= limit.STEADY_SHARE * first
    return slope if steady and is_straight(bend, bend_error) else None


def is_straight(bend: float, bend_error: float, slowing_most: float = limit.BEND_MOST) -> bool:
    """Return whether a stretch was run at a set rate, by its bend and that one's standard error.

    `slowing_most` is the share by which its rate may have fallen: one faster than planned was not
    short of power.

    A kiln at its limit, or left to cool, slows steadily; one that settles after overshooting a
    corner speeds up a little.
    """
    return (
        bend + 2.0 * bend_error >= -slowing_most and bend - 2.0 * bend_error <= limit.SETTLING_MOST
    )


def line_and_bend(time_s: FloatArray, climbed_c: FloatArray) -> tuple[float, float, float]:
    """Return the mean rate [°C/h], its relative change over the part, and that change's error."""
    span_s = float(time_s[-1] - time_s[0]) or 1.0
    u = (time_s - time_s.mean()) / span_s
    design = np.stack((np.ones_like(u), u, u * u - np.mean(u * u)), axis=1)
    solution, _, _, _ = np.linalg.lstsq(design, climbed_c, rcond=None)
    residual = climbed_c - design @ solution
    variance = float(residual @ residual) / max(u.size - 3, 1)
    covariance = variance * np.linalg.pinv(design.T @ design)
    slope = float(solution[1])
    if slope <= 0:
        return 0.0, 1.0, 0.0
    # d/du (a u + b u²) runs from a − b to a + b as u goes from −½ to ½.
    bend = 2.0 * float(solution[2]) / slope
    error = 2.0 * float(np.sqrt(covariance[2, 2])) / slope
    return slope / span_s * SECONDS_PER_HOUR, bend, error


@dataclass(frozen=True, slots=True, eq=False)
class StraightPiece:
    """A straight stretch of a ramp.

    Attributes
    ----------
    start_s, end_s : float
        When [s].
    from_c, to_c : float
        Where its line begins and ends [°C].
    flat : bool
        Whether it stood still.
    """

    start_s: float
    end_s: float
    from_c: float
    to_c: float
    flat: bool

    @property
    def seconds(self) -> float:
        """How long it lasted [s]."""
        return self.end_s - self.start_s

    @property
    def rate_c_per_h(self) -> float:
        """Its slope [°C/h]."""
        return (self.to_c - self.from_c) / self.seconds * SECONDS_PER_HOUR

    def excess_s(self, planned_c_per_h: float) -> float:
        """Return the seconds it took more than the same climb at the planned rate."""
        return self.seconds - (self.to_c - self.from_c) / planned_c_per_h * SECONDS_PER_HOUR


def straight_pieces(
    trace: ResampledTrace,
    start_s: float,
    end_s: float,
    planned_c_per_h: float,
    next_c_per_h: float | None = None,
) -> tuple[StraightPiece, ...]:
    """Return the stretches of a heating ramp that ran otherwise than planned, if it was so meant.

    Empty if the ramp is not made of straight stretches, or if they get slower one after another as
    a kiln at its limit does.  `next_c_per_h` is the next segment's rate if that climbs on at once.
    """
    first, last = trace.index(start_s), trace.index(end_s)
    time_s, temperature_c = trace.time_s[first : last + 1], trace.temperature_c[first : last + 1]
    if time_s.size < 12:
        return ()
    every = -(-time_s.size // limit.MOST_POINTS)
    whole = time_s.size // every * every
    points_s = time_s[:whole].reshape(-1, every).mean(axis=1)
    points_c = temperature_c[:whole].reshape(-1, every).mean(axis=1)
    corners = _fewest(points_s, points_c, max(limit.THROUGH_C, 2.0 * trace.noise_c))
    pieces = [
        _piece(points_s[a:b], points_c[a:b], points_s, (a, b), planned_c_per_h)
        for a, b in pairwise(corners)
    ]
    if not pieces or _slows(pieces, planned_c_per_h):
        return ()
    told = []
    for piece in pieces:
        limited = piece is pieces[-1] and limited_after(
            piece.rate_c_per_h, trace, end_s, next_c_per_h
        )
        if piece.flat or (_meant(piece, trace, planned_c_per_h) and not limited):
            told.append(piece)
    return tuple(told)


def _fewest(time_s: FloatArray, temperature_c: FloatArray, through_c: float) -> list[int]:
    """Return the corners of the fewest straight stretches through the points; [] if too many."""
    n = time_s.size
    miss = _squared_residuals(time_s, temperature_c)
    best = np.full(n + 1, np.inf)
    best[0] = 0.0
    origins: list[np.ndarray] = []
    for _ in range(limit.MOST_PIECES):
        through = best[:, None] + miss
        origins.append(np.argmin(through, axis=0))
        best = np.min(through, axis=0)
        if best[n] <= through_c**2 * n:
            corners = [n]
            for origin in reversed(origins):
                corners.append(int(origin[corners[-1]]))
            return corners[::-1]
    return []


def _squared_residuals(time_s: FloatArray, temperature_c: FloatArray) -> FloatArray:
    """Return the least sum of squared residuals of a line through points a to b − 1."""
    t, y = time_s - time_s[0], temperature_c - temperature_c[0]
    t = t / (t[-1] or 1.0)

    def summed(values: FloatArray) -> FloatArray:
        total = np.concatenate(([0.0], np.cumsum(values)))
        return total[None, :] - total[:, None]

    count = np.maximum(summed(np.ones_like(t)), 1.0)
    s_t, s_y = summed(t), summed(y)
    var_t = summed(t * t) - s_t * s_t / count
    var_y = summed(y * y) - s_y * s_y / count
    both = summed(t * y) - s_t * s_y / count
    miss = var_y - np.where(var_t > 1e-12, both * both / np.maximum(var_t, 1e-12), 0.0)
    size = np.arange(t.size + 1)
    # A stretch has three points at least: through two any line passes.
    return np.where(size[None, :] - size[:, None] >= 3, np.maximum(miss, 0.0), np.inf)


def _piece(
    time_s: FloatArray,
    temperature_c: FloatArray,
    points_s: FloatArray,
    part: tuple[int, int],
    planned_c_per_h: float,
) -> StraightPiece:
    a, b = part
    step_s = float(points_s[1] - points_s[0])
    start_s = float(time_s[0]) - (0.5 * step_s if a else 0.0)
    end_s = float(time_s[-1]) + (0.5 * step_s if b < points_s.size else 0.0)
    slope, at_zero = np.polyfit(time_s - start_s, temperature_c, 1)
    from_c, to_c = float(at_zero), float(at_zero + slope * (end_s - start_s))
    still = abs(slope) * SECONDS_PER_HOUR <= limit.PIECE_FLAT_SHARE * planned_c_per_h
    flat = (
        end_s - start_s >= limit.PIECE_FLAT_S
        and abs(to_c - from_c) <= limit.PIECE_FLAT_C
        and bool(still)
    )
    return StraightPiece(start_s, end_s, from_c, to_c, flat)


def _slows(pieces: list[StraightPiece], planned_c_per_h: float) -> bool:
    """Return whether stretch after stretch is slower, down to the last: a kiln at its limit."""
    rates = [p.rate_c_per_h for p in pieces if not p.flat and p.seconds >= limit.PIECE_FLAT_S]
    slower = [rate for rate in rates if rate < (1.0 - 2.0 * limit.SAME_RATE) * planned_c_per_h]
    return len(slower) >= 2 and all(b < a for a, b in pairwise(slower))


def limited_after(
    rate_c_per_h: float, trace: ResampledTrace, end_s: float, next_c_per_h: float | None
) -> bool:
    """Return whether the kiln went on as slowly into a segment that asks for more."""
    if next_c_per_h is None:
        return False
    first, last = (
        trace.index(end_s + limit.SLOPE_HALF_WINDOW_S),
        trace.index(end_s + limit.LIMITED_AFTER_S),
    )
    if last - first < 4:
        return False
    rate = median(trace.rate_c_per_h[first : last + 1])
    return rate < 0.95 * next_c_per_h and rate < 1.05 * rate_c_per_h


def _had_power(piece: StraightPiece, trace: ResampledTrace) -> bool:
    """Return whether the kiln later ran so much faster, and hotter, that it had power in hand."""
    after = trace.index(piece.end_s)
    hotter = trace.temperature_c[after:] > piece.to_c
    rates = trace.rate_c_per_h[after:][hotter]
    # A supply that was low for a while and came back makes up less than that.
    return rates.size >= 10 and piece.rate_c_per_h < limit.POWER_IN_HAND * quantile(rates, 0.95)


def _meant(piece: StraightPiece, trace: ResampledTrace, planned_c_per_h: float) -> bool:
    """Return whether a stretch ran straight at another rate, with power in hand."""
    rate = piece.rate_c_per_h
    if abs(rate / planned_c_per_h - 1.0) <= 2.0 * limit.SAME_RATE:
        return False
    if rate > planned_c_per_h:
        return (
            piece.seconds >= limit.PIECE_FLAT_S
            and piece.to_c - piece.from_c >= limit.PIECE_FASTER_C
        )
    if piece.seconds < limit.PIECE_S or piece.to_c - piece.from_c < limit.PIECE_C:
        return False
    inside = slice(trace.index(piece.start_s), trace.index(piece.end_s) + 1)
    full = fully_on(trace, inside)
    if full is not None and float(np.mean(full)) > limit.MOSTLY_ON:
        return False
    if _had_power(piece, trace):
        return True
    # Rounded corners are no bend.
    corner = max(int(0.08 * (inside.stop - inside.start)), 1)
    inner = slice(inside.start + corner, inside.stop - corner)
    if inner.stop - inner.start < 8:
        return False
    _, bend, error = line_and_bend(trace.time_s[inner], trace.temperature_c[inner])
    return is_straight(bend, error)
