"""How long a firing spends at each temperature: all that heat-work depends on.

A trace is read once into narrow temperature bins.  Each bin keeps the moments ∫(T − c)ᵏ dt,
k = 0 to 3, about its centre c, exact for a trace that runs straight between its samples; a cone's
heat-work is then a Taylor sum over some thousand bins instead of an exponential a sample.

What the Taylor series leaves out stays below 1e-6 of the sum.  Its next term is h⁴·∫(T − c)⁴ dt/24
with h = d ln(rate)/dT, 0.03 to 0.1/K near a cone's end point, so a stretch of the trace is summed
whole only where ∫(T − c)⁴ dt is small enough for the steepest cone, and cut into pieces elsewhere.
"""

import math
from dataclasses import dataclass

import numpy as np

from firing.cones.kinetics import GAS_CONSTANT_J_PER_MOL_K, ConeLaw, FloatArray
from firing.errors import FiringError
from firing.units import KELVIN_AT_0_C

BIN_K = 0.25
ROW = 32  # segments summed together before they are sorted into bins
_BLOCK = 512 * ROW  # segments handled at a time, so that the work stays in the cache
_CALM_K4 = 0.1  # allowed mean fourth power of the distance from the centre, at most
_FOURTH_ORDER = 4e-7  # what the fourth-order term may amount to
_WITHIN_REACH_K = 200.0  # cones that end further above the peak are told less exactly
_NEAR_PEAK_K = 10.0
_NEGLIGIBLE = 1e-9


@dataclass(frozen=True, eq=False)
class Occupation:
    """Time spent in temperature bins.

    Attributes
    ----------
    centre_c : ndarray, shape (bins,)
        Centres of the occupied bins [°C], rising.
    moments : ndarray, shape (4, bins)
        ∫(T − centre)ᵏ dt for k = 0, 1, 2, 3 [s·Kᵏ].
    peak_c : float
        The hottest temperature [°C].
    ln_span : float
        Logarithm of how much hotter counting time weighs than everything a cone may leave out.
    """

    centre_c: FloatArray
    moments: FloatArray
    peak_c: float
    ln_span: float

    def heatwork(self, law: ConeLaw, shift_c: float = 0.0) -> float:
        """Return the heat-work x of one cone, with the whole trace moved by `shift_c` [K]."""
        cut_c = _coldest_counting_c(law, self.peak_c, self.ln_span, shift_c)
        first = int(np.searchsorted(self.centre_c, cut_c - BIN_K))
        # A large downward shift would pass absolute zero, where nothing happens any more.
        temperature_k = np.maximum(self.centre_c[first:] + (shift_c + KELVIN_AT_0_C), 1.0)
        m0, m1, m2, m3 = self.moments[:, first:]
        inverse = 1.0 / temperature_k
        ln_rate = inverse * -law.activation_k
        # d ln(rate)/dT, and the derivatives of exp(−a/T) in terms of it.
        slope = ln_rate * -inverse
        second = slope * (slope - 2.0 * inverse)
        third = slope * (slope * (slope - 6.0 * inverse) + 6.0 * inverse * inverse)
        weight = m0 + slope * m1 + second * (m2 / 2.0) + third * (m3 / 6.0)
        return float(np.exp(ln_rate + law.ln_a_per_s) @ weight)


def occupy(
    time_s: FloatArray,
    temperature_c: FloatArray,
    laws: list[ConeLaw],
    highest_shift_c: float = 0.0,
) -> Occupation:
    """Sort a trace into temperature bins.

    Parameters
    ----------
    time_s, temperature_c : ndarray, shape (n,)
        As `firing.cones.readings.readings` returns them.
    laws : list of ConeLaw
        The cones that will be asked for; colder time than any of them needs is left out.
    highest_shift_c : float
        The largest shift that will be asked for [K].

    Returns
    -------
    Occupation
        What was left out is provably below 1e-9 of the heat-work of each of `laws`.  A heat-work
        is good to 1e-6 for cones that end up to 200 K above the peak, to 1e-3 beyond.

    Raises
    ------
    FiringError
        If time does not increase.
    """
    peak_c, ln_span = _span(time_s, temperature_c)
    cuts_c = [_coldest_counting_c(law, peak_c, ln_span, highest_shift_c) for law in laws]
    floor_c = max(min(cuts_c, default=peak_c), float(temperature_c.min())) - 8.0 * BIN_K
    bins = _Bins(floor_c, peak_c, _allowed_spread_k4(laws, peak_c + highest_shift_c))
    loose = bins.add_rows(time_s, temperature_c)
    bins.add_segments(*loose)
    return bins.occupation(peak_c, ln_span)


def _span(time_s: FloatArray, temperature_c: FloatArray) -> tuple[float, float]:
    """Return the peak [°C] and ln(duration / (1e-9 · time surely spent within 10 K of it))."""
    top = int(np.argmax(temperature_c))
    near_s = 0.0
    for other in (top - 1, top + 1):
        if 0 <= other < time_s.size:
            drop_k = float(temperature_c[top] - temperature_c[other])
            share = 1.0 if drop_k <= _NEAR_PEAK_K else _NEAR_PEAK_K / drop_k
            near_s += share * abs(float(time_s[other] - time_s[top]))
    duration_s = float(time_s[-1] - time_s[0])
    if near_s <= 0.0 or duration_s <= 0.0:
        raise FiringError("the times of a trace must increase")
    return float(temperature_c[top]), math.log(duration_s / near_s / _NEGLIGIBLE)


def _coldest_counting_c(law: ConeLaw, peak_c: float, ln_span: float, shift_c: float) -> float:
    near_peak_k = max(peak_c - _NEAR_PEAK_K + shift_c + KELVIN_AT_0_C, 1.0)
    cut_k = 1.0 / (1.0 / near_peak_k + ln_span / law.activation_k)
    return cut_k - shift_c - KELVIN_AT_0_C


def _allowed_spread_k4(laws: list[ConeLaw], peak_c: float) -> float:
    """Return the mean (T − c)⁴ that keeps the fourth-order term small for every cone in reach."""
    steepest_per_k = max(
        (
            law.activation_k / (min(peak_c, law.law_60_c) + KELVIN_AT_0_C) ** 2
            for law in laws
            if law.law_60_c < peak_c + _WITHIN_REACH_K
        ),
        default=0.1,
    )
    return min(_CALM_K4, 24.0 * _FOURTH_ORDER / steepest_per_k**4)


class _Bins:
    """The bins while they are being filled."""

    def __init__(self, floor_c: float, peak_c: float, calm_k4: float) -> None:
        self.floor_c = floor_c
        self.calm_k4 = calm_k4
        self.count = int((peak_c - floor_c) / BIN_K) + 2
        self.moments = np.zeros((4, self.count))
        # Change of the time per kelvin at the bin edges, summed up from the hot end: there a small
        # error would weigh most.
        self.s_per_k_steps = np.zeros(self.count + 1)

    def _bin(self, temperature_c: FloatArray) -> FloatArray:
        index: FloatArray = np.floor((temperature_c - self.floor_c) * (1.0 / BIN_K))
        return index

    def _centre_c(self, index: FloatArray) -> FloatArray:
        centre: FloatArray = (index + 0.5) * BIN_K + self.floor_c
        return centre

    def _deposit(self, index: FloatArray, *moments: FloatArray) -> None:
        whole = index.astype(np.intp)
        for order, moment in enumerate(moments):
            self.moments[order] += np.bincount(whole, weights=moment, minlength=self.count)

    def add_rows(
        self, time_s: FloatArray, temperature_c: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Add every stretch of `ROW` segments that stays close to one temperature.

        Returns
        -------
        tuple of ndarray, shape (m,)
            Duration [s], start and end [°C] of the segments that are left to add one by one.
        """
        rows = (time_s.size - 1) // ROW
        index = np.zeros(rows)
        moments = np.zeros((4, rows))
        ones = np.ones(ROW)
        loose: list[tuple[FloatArray, FloatArray, FloatArray]] = []
        for start in range(0, rows * ROW, _BLOCK):
            stop = min(start + _BLOCK, rows * ROW)
            dt = np.diff(time_s[start : stop + 1])
            if dt.min() <= 0.0:
                raise FiringError("the times of a trace must increase")
            a, b = temperature_c[start:stop], temperature_c[start + 1 : stop + 1]
            if max(a.max(), b[-1]) < self.floor_c:
                continue
            # Twice the distance of a segment's middle from the centre, and its length: the moments
            # of a straight segment are polynomials in these two.
            twice_mid = a + b
            where = self._bin((twice_mid.reshape(-1, ROW) @ ones) * (0.5 / ROW))
            twice_mid -= np.repeat(2.0 * self._centre_c(where), ROW)
            length = b - a
            length *= length
            square = twice_mid * twice_mid
            length += square
            s_dt = twice_mid * dt
            w_dt = length * dt
            m0 = dt.reshape(-1, ROW) @ ones
            m1 = s_dt.reshape(-1, ROW) @ ones
            sum_w = w_dt.reshape(-1, ROW) @ ones
            square *= dt
            sum_square = square.reshape(-1, ROW) @ ones
            s_dt *= length
            m3 = s_dt.reshape(-1, ROW) @ ones
            w_dt *= length
            bound = w_dt.reshape(-1, ROW) @ ones
            calm = bound <= (16.0 * self.calm_k4) * m0
            if not calm.all():
                wild = np.repeat(~calm, ROW)
                loose.append((dt[wild], a[wild], b[wild]))
            calm &= where >= 0.0
            here = slice(start // ROW, stop // ROW)
            index[here] = where * calm
            moments[0, here] = m0 * calm
            moments[1, here] = m1 * calm * 0.5
            moments[2, here] = (sum_square * 2.0 + sum_w) * calm * (1.0 / 12.0)
            moments[3, here] = m3 * calm * 0.125
        self._deposit(index, *moments)
        rest = slice(rows * ROW, None)
        dt = np.diff(time_s[rest])
        if dt.size and dt.min() <= 0.0:
            raise FiringError("the times of a trace must increase")
        loose.append((dt, temperature_c[rest][:-1], temperature_c[rest][1:]))
        durations, starts, ends = zip(*loose, strict=True)
        return np.concatenate(durations), np.concatenate(starts), np.concatenate(ends)

    def add_segments(self, dt: FloatArray, a: FloatArray, b: FloatArray) -> None:
        """Add straight segments of durations `dt` [s] from `a` to `b` [°C], each shape (m,)."""
        for start in range(0, dt.size, _BLOCK):
            here = slice(start, start + _BLOCK)
            self._add_block(dt[here], np.minimum(a[here], b[here]), np.maximum(a[here], b[here]))

    def _add_block(self, dt: FloatArray, low: FloatArray, high: FloatArray) -> None:
        counting = high > self.floor_c
        if not counting.all():
            dt, low, high = dt[counting], low[counting], high[counting]
        mid, length = (low + high) * 0.5, high - low
        away = mid - self._centre_c(self._bin(mid))
        spread = away * away + length * length * 0.25
        long = spread * spread > self.calm_k4
        # A calm segment across the floor is at most a few bins long and negligible by then.
        calm = ~long & (mid >= self.floor_c)
        self._add_short(dt[calm], mid[calm], length[calm])
        if long.any():
            s_per_k = dt[long] / length[long]
            self._add_long(s_per_k, np.maximum(low[long], self.floor_c), high[long])

    def _add_short(self, dt: FloatArray, mid: FloatArray, length: FloatArray) -> None:
        index = self._bin(mid)
        away = mid - self._centre_c(index)
        spread = length * length / 12.0
        square = away * away
        self._deposit(
            index, dt, dt * away, dt * (square + spread), dt * away * (square + 3.0 * spread)
        )

    def _add_long(self, s_per_k: FloatArray, low: FloatArray, high: FloatArray) -> None:
        """Spread segments evenly over the bins they cross, with the two ends added apart."""
        first, last = self._bin(low), self._bin(high)
        upper = np.minimum(high, self.floor_c + (first + 1.0) * BIN_K)
        lower = np.maximum(upper, self.floor_c + last * BIN_K)
        for start, end in ((low, upper), (lower, high)):
            length = np.maximum(end - start, 0.0)
            # A piece that ends on an edge belongs to the bin below it.
            mid = np.minimum((start + end) * 0.5, high)
            self._add_short(s_per_k * length, mid, length)
        crossing = last > first
        for edge, sign in ((last[crossing], 1.0), (first[crossing] + 1.0, -1.0)):
            self.s_per_k_steps += np.bincount(
                edge.astype(np.intp), weights=sign * s_per_k[crossing], minlength=self.count + 1
            )

    def occupation(self, peak_c: float, ln_span: float) -> Occupation:
        """Return what has been added."""
        s_per_k = np.cumsum(self.s_per_k_steps[:0:-1])[::-1]
        self.moments[0] += s_per_k * BIN_K
        self.moments[2] += s_per_k * (BIN_K**3 / 12.0)
        occupied = self.moments[0] > 0.0
        centre_c = self._centre_c(np.flatnonzero(occupied).astype(np.float64))
        return Occupation(centre_c, self.moments[:, occupied], peak_c, ln_span)


def counting_from_c(law: ConeLaw, duration_s: float, share: float) -> float:
    """Return below which temperature a whole duration adds less than `share` to x [°C]."""
    ln_per_second = math.log(share / duration_s)
    activation_k = law.energy_j_per_mol / GAS_CONSTANT_J_PER_MOL_K
    return activation_k / (law.ln_a_per_s - ln_per_second) - KELVIN_AT_0_C
