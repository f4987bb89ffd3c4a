"""One planned ramp that ran as several straight stretches, as segments keyed in differently do.

A controller runs every segment straight, with sharp corners between them; a kiln at its limit
bends.  The fewest straight stretches that pass through the readings are found exactly, by dynamic
programming over all corners (Bellman & Roth 1969, doi:10.1080/01621459.1969.10501038).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firing.review import thresholds as limit
from firing.review.ramp import fully_on, is_straight, line_and_bend
from firing.review.resample import ResampledTrace
from firing.trace import FloatArray, median, quantile
from firing.units import SECONDS_PER_HOUR


@dataclass(frozen=True, slots=True)
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
    miss = _misfits(time_s, temperature_c)
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


def _misfits(time_s: FloatArray, temperature_c: FloatArray) -> FloatArray:
    """Return the squared misfit of the best line through points a to b − 1, for all a and b."""
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
