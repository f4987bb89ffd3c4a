"""How long a firing spends at each temperature: all that heat-work depends on.

A trace is read once into narrow temperature bins.  Each bin keeps the moments ∫(T − c)ᵏ dt about
its centre c of a trace that runs straight between its samples; a cone's heat-work is then a Taylor
sum of exp(−a/T) over some thousand bins instead of an exponential a sample.  For every cone that
takes a fifteenth to a sixth of the exponentials; the exact sum over the samples takes three to ten
times as long as they, and thrice for a verdict: with a million samples a person would wait.

After moments 0 to n, n odd, the next term is hⁿ⁺¹·∫(T − c)ⁿ⁺¹ dt/(n + 1)!, where h = d ln(rate)/dT
is 0.03 to 0.1/K near a cone's end point.  So a row of samples goes whole into one bin, to order 3
or 5, where its moment n + 1 is small enough for the steepest cone; elsewhere its segments are
spread over the bins they cross.  What is left out stays below 1e-6 of the sum.  Rows of even times
that hardly move, as most do, need only their mean and mean square, in wider bins.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firing.cones.kinetics import GAS_CONSTANT_J_PER_MOL_K, ConeLaw
from firing.errors import FiringError
from firing.trace import FloatArray
from firing.units import KELVIN_AT_0_C

Index = npt.NDArray[np.intp]

BIN_K = 0.25
_NARROW = 4
_WIDE_K = _NARROW * BIN_K  # bins of rows that hardly move, and of what is kept at last
_ROW = 32  # segments summed together before they are sorted into bins
_ONES = np.ones(_ROW)
_BLOCK = 4096 * _ROW  # segments handled at a time, so that the work stays in the cache
_EVEN = 1e-7  # how far from even the times of a block may be, as a share of it
_CALM_K2 = 0.2
"""Mean square of a row's distance from its mean, up to which its mean and this do: what they
leave out is below 1e-4 of it however its readings lie, and below 1e-6 where they lie evenly."""
_PROBE = 32  # one row in so many decides how a block is added
_FEW = 0.2  # share of rows that may need another way than their block
_LEFT_OUT = 4e-7  # what the first term that a Taylor series leaves out may amount to
_LEVEL_K = 1e-6  # a segment flatter than this counts as level
_STEEP_PER_K = 0.1  # d ln(rate)/dT of the steepest cone at its end point
_WITHIN_REACH_K = 200.0  # cones that end further above the peak are told less exactly
_BEYOND_REACH = 0.3  # a slope so much smaller turns an error of 4e-7 into 5e-4 at the sixth power
_NEAR_PEAK_K = 10.0
_NEGLIGIBLE = 1e-9


@dataclass(frozen=True, eq=False)
class Occupation:
    """Time spent in temperature bins.

    Attributes
    ----------
    centre_c : ndarray, shape (bins,)
        Centres of the occupied bins [°C], rising.
    moments : ndarray, shape (orders, bins)
        ∫(T − centre)ᵏ dt [s·Kᵏ] for k = 0 to 3, and to 5 where these matter.
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
        first = int(np.searchsorted(self.centre_c, cut_c - _WIDE_K))
        [x] = self._heatworks([law], shift_c, first)
        return x

    def heatworks(self, laws: Sequence[ConeLaw], shift_c: float = 0.0) -> list[float]:
        """Return the heat-work x of many cones, with the whole trace moved by `shift_c` [K]."""
        return self._heatworks(laws, shift_c, 0)

    def _heatworks(self, laws: Sequence[ConeLaw], shift_c: float, first: int) -> list[float]:
        # A large downward shift would pass absolute zero, where nothing happens any more.
        inverse = 1.0 / np.maximum(self.centre_c[first:] + (shift_c + KELVIN_AT_0_C), 1.0)
        powers = [np.ones_like(inverse)]
        for _ in self.moments[1:]:
            powers.append(powers[-1] * inverse)
        power = np.stack(powers)
        orders = len(self.moments)
        # A sum over the bins for every power of the activation temperature, for all laws alike.
        weight = _TAYLOR[:orders, :orders].T @ (self.moments[:, first:] * power) * power
        activation_k = np.array([[law.activation_k] for law in laws])
        ln_a = np.array([[law.ln_a_per_s] for law in laws])
        sums = np.exp(ln_a - activation_k * inverse) @ weight.T
        found: list[float] = (sums * activation_k ** np.arange(orders)).sum(axis=1).tolist()
        return found


def _taylor(orders: int) -> FloatArray:
    """Return b, where the Taylor coefficient k of exp(−a·u), u = 1/T, is Σⱼ b[k, j]·aʲ·uᵏ⁺ʲ.

    T²·f′ = a·f, differentiated k times, gives each coefficient from the two before it.
    """
    b = np.zeros((orders, orders))
    b[0, 0] = b[1, 1] = 1.0
    for k in range(1, orders - 1):
        b[k + 1, 1:] = b[k, :-1]
        b[k + 1] -= 2.0 * k * b[k] + (k - 1) * b[k - 1]
        b[k + 1] /= k + 1
    return b


_TAYLOR = _taylor(6)


class _Bins:
    """Bins while they are being filled.

    What is colder than `floor_c`, the lower edge of the coldest, is left out or counted there;
    `steepest_per_k` is the largest d ln(rate)/dT that the Taylor series have to serve.
    """

    def __init__(self, floor_c: float, peak_c: float, steepest_per_k: float) -> None:
        self.floor_c = floor_c
        # Mean fourth and sixth power of the distance from a centre up to which orders 3 and 5 do.
        self.calm_k4 = 24.0 * _LEFT_OUT / steepest_per_k**4
        self.calm_k6 = 720.0 * _LEFT_OUT / steepest_per_k**6
        wide = int((peak_c - floor_c) / _WIDE_K) + 2
        self.count = wide * _NARROW
        self.work = np.empty(_BLOCK)
        self.moments = np.zeros((4, self.count))
        self.rows: list[tuple[FloatArray, FloatArray]] = []
        # Mean and mean square of the rows of blocks with even times, by where the block begins.
        self.even: dict[int, tuple[FloatArray, FloatArray]] = {}
        self.wide = np.zeros((5, wide))
        # Sums of g·eᵏ, k = 0 to 3, with g the step of the time per kelvin at a sample [s/K] and e
        # its height above the lower edge of its bin, in bins.
        self.steps = np.zeros((4, self.count))

    def add(self, time_s: FloatArray, temperature_c: FloatArray, tops_c: Sequence[float]) -> None:
        """Add a trace, block by block, each in the way that suits it; `tops_c` are the highest."""
        segments = time_s.size - 1
        left: list[tuple[FloatArray, FloatArray]] = []
        for start, top_c in zip(range(0, segments, _BLOCK), tops_c, strict=True):
            stop = min(start + _BLOCK, segments)
            dt = np.subtract(
                time_s[start + 1 : stop + 1], time_s[start:stop], out=self.work[: stop - start]
            )
            shortest_s = float(dt.min())
            if shortest_s <= 0.0:
                raise FiringError("the times of a trace must increase")
            if top_c < self.floor_c:
                continue
            block_c = temperature_c[start : stop + 1]
            whole = dt.size // _ROW * _ROW
            dt_rows = dt[:whole].reshape(-1, _ROW)
            a, b = block_c[:whole].reshape(-1, _ROW), block_c[1 : whole + 1].reshape(-1, _ROW)
            mean_s = float(time_s[stop] - time_s[start]) / dt.size
            is_even = whole and shortest_s >= (1.0 - _EVEN) * mean_s
            if is_even and self._is_calm(a[::_PROBE], b[::_PROBE]):
                self.even[start] = _row_sums(a, b)
                if whole < dt.size:
                    self._add_steps(dt[np.newaxis, whole:], block_c[np.newaxis, whole:])
                continue
            order = self._order(a[::_PROBE], b[::_PROBE]) if whole else None
            if order is None:
                self._add_steps(dt[np.newaxis], block_c[np.newaxis])
                continue
            wild = self._add_rows(dt_rows, a, b, order)
            if wild.any():
                left.append((dt_rows[wild], np.hstack([a[wild], b[wild, -1:]])))
            if whole < dt.size:
                self._add_steps(dt[np.newaxis, whole:], block_c[np.newaxis, whole:])
        if self.even:
            self._add_even(time_s, temperature_c)
        if left:
            durations, temperatures = zip(*left, strict=True)
            self._add_steps(np.concatenate(durations), np.concatenate(temperatures))

    def _is_calm(self, a: FloatArray, b: FloatArray) -> bool:
        """Tell whether rows like these stay close to their means."""
        mean, square = _row_sums(a, b)
        return bool(np.count_nonzero(square - mean * mean > _CALM_K2) < _FEW * len(a))

    def _add_even(self, time_s: FloatArray, temperature_c: FloatArray) -> None:
        """Add the even blocks all at once, their rows by the first three moments about the mean."""
        mean, square = (np.concatenate(sums) for sums in zip(*self.even.values(), strict=True))
        begins = np.concatenate(
            [start + np.arange(0, _ROW * len(sums[0]), _ROW) for start, sums in self.even.items()]
        )
        spread = square - mean * mean
        calm = spread <= _CALM_K2
        index = ((mean - self.floor_c) * (1.0 / _WIDE_K)).astype(np.intp)
        off = mean - ((index + 0.5) * _WIDE_K + self.floor_c)
        lasts_s = time_s.take(begins + _ROW) - time_s.take(begins)
        lasts_s *= calm & (mean >= self.floor_c)
        np.maximum(index, 0, out=index)
        square = off * off
        first = lasts_s * off
        rows = (
            lasts_s,
            first,
            lasts_s * (square + spread),
            first * (square + 3.0 * spread),
            # between readings that swing between two levels and such that scatter
            lasts_s * (square * (square + 6.0 * spread) + 2.0 * spread * spread),
        )
        for order, row in enumerate(rows):
            self.wide[order] = np.bincount(index, row, self.wide.shape[1])
        wild = begins[~calm]
        if wild.size:
            places = wild[:, np.newaxis] + np.arange(_ROW + 1)
            self._add_steps(np.diff(time_s[places]), temperature_c[places])

    def _order(self, a: FloatArray, b: FloatArray) -> int | None:
        """Return the order of the Taylor series that serves rows like these, if one does."""
        _, _, square, spread = self._about_centres(a, b)
        spread += square
        power = spread * spread
        few = _FEW * len(a)
        if np.count_nonzero(power @ _ONES > (16.0 * _ROW) * self.calm_k4) < few:
            return 3
        power *= spread
        return 5 if np.count_nonzero(power @ _ONES > (50.0 * _ROW) * self.calm_k6) < few else None

    def _about_centres(
        self, a: FloatArray, b: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return each row's bin, and s, s² and L² of its segments from `a` to `b` [°C].

        The moments of a straight segment are polynomials in these: s is twice the distance of its
        middle from the centre of the row's bin, L its length.
        """
        s = a + b
        index: FloatArray = np.floor((s @ _ONES) * (0.5 / _ROW / BIN_K) - self.floor_c / BIN_K)
        s -= 2.0 * self._centre_c(index)[:, np.newaxis]
        length = b - a
        length *= length
        return index, s, s * s, length

    def _centre_c(self, index: FloatArray) -> FloatArray:
        centre: FloatArray = (index + 0.5) * BIN_K + self.floor_c
        return centre

    def _add_rows(
        self, dt: FloatArray, a: FloatArray, b: FloatArray, order: int
    ) -> npt.NDArray[np.bool_]:
        """Add the rows that stay close to one temperature and return which do not."""
        index, s, square, long = self._about_centres(a, b)
        spread = square + long
        moments = np.empty((order + 1, index.size))
        moments[0] = dt @ _ONES
        square *= dt
        power = s * dt
        moments[1] = power @ _ONES * (1.0 / 2.0)
        power *= spread
        moments[3] = power @ _ONES * (1.0 / 8.0)
        np.multiply(spread, dt, out=power)
        moments[2] = (square @ _ONES * 2.0 + power @ _ONES) * (1.0 / 12.0)
        power *= spread
        sum_power = power @ _ONES
        # The mean fourth power over a segment is at most (s² + L²)²/16, the sixth (s² + L²)³/50.
        if order == 3:
            calm = sum_power <= (16.0 * self.calm_k4) * moments[0]
        else:
            long *= square
            square *= spread
            moments[4] = sum_power * (1.0 / 80.0) + (square + long) @ _ONES * (1.0 / 20.0)
            # s⁴ + (10/3)·s²·L² + L⁴, times s.
            long *= 4.0 / 3.0
            long += power
            long *= s
            moments[5] = long @ _ONES * (1.0 / 32.0)
            power *= spread
            calm = power @ _ONES <= (50.0 * self.calm_k6) * moments[0]
        kept = calm & (index >= 0.0)
        self.rows.append((index * kept, moments * kept))
        wild: npt.NDArray[np.bool_] = ~calm
        return wild

    def _add_steps(self, dt: FloatArray, rows_c: FloatArray) -> None:
        """Add segments, exactly, by the steps of the time per kelvin at their ends.

        `dt` has shape (rows, m), and `rows_c` (rows, m + 1): m consecutive segments a row.
        """
        above = rows_c - self.floor_c
        above *= 1.0 / BIN_K
        np.maximum(above, 0.0, out=above)
        index = above.astype(np.intp)
        above -= index
        length = np.diff(rows_c)
        level = np.flatnonzero(np.abs(length) < _LEVEL_K)
        if level.size:
            start = level + level // dt.shape[1]  # a row has one more sample than segments
            self._add_level(index.take(start), above.take(start), dt.take(level))
            length.put(level, np.inf)
        # Below the upper end of a segment the time per kelvin is larger by dt/L, below its lower
        # end no longer; with a signed L this holds for rising and falling ones.
        s_per_k = dt / length
        step = np.empty(rows_c.shape)
        step[:, 0] = -s_per_k[:, 0]
        np.subtract(s_per_k[:, :-1], s_per_k[:, 1:], out=step[:, 1:-1])
        step[:, -1] = s_per_k[:, -1]
        _add_powers(self.steps, index.ravel(), above.ravel(), step.ravel())

    def _add_level(self, index: Index, above: FloatArray, dt: FloatArray) -> None:
        # What is colder than the floor has been lifted to it, and is negligible even there.
        above -= 0.5
        above *= BIN_K
        _add_powers(self.moments, index, above, dt)

    def centres_and_moments(self) -> tuple[FloatArray, FloatArray]:
        """Return centres and moments of the occupied bins, as `Occupation` keeps them."""
        orders = max([5, *(len(row_moments) for _, row_moments in self.rows)])
        moments = np.zeros((orders, self.count))
        moments[:4] = self.moments
        if self.steps.any():
            moments[:3] += self._moments_of_steps()
        for order in range(orders):
            rows = [row for row in self.rows if len(row[1]) > order]
            if rows:
                index = np.concatenate([row[0] for row in rows]).astype(np.intp)
                added = np.concatenate([row[1][order] for row in rows])
                moments[order] += np.bincount(index, added, self.count)
        wide = _widened(moments)
        wide[:5] += self.wide
        occupied = np.flatnonzero(wide[0] > 0.0)
        at = occupied.astype(np.float64)
        centre_c: FloatArray = (at + 0.5) * _WIDE_K + self.floor_c
        return centre_c, wide[:, occupied]

    def _moments_of_steps(self) -> FloatArray:
        # Summed up from the hot end: there a small error would weigh most.
        crossing = np.zeros(self.count)
        crossing[:-1] = np.cumsum(self.steps[0, :0:-1])[::-1]
        # ∫xᵏ over the part of a bin, 0 ≤ x ≤ 1, that lies below each step, then about its centre.
        i0, i1, i2 = ((crossing + self.steps[k]) * (BIN_K**k / k) for k in (1, 2, 3))
        half_k = 0.5 * BIN_K
        # Without the third moment at most (h·0.125 K)³/6 of a bin's time is left out, 3e-7.
        return np.stack([i0, i1 - half_k * i0, i2 - BIN_K * i1 + half_k**2 * i0])


def _widened(moments: FloatArray) -> FloatArray:
    """Return the moments of wide bins: those of the narrow ones in each, about its centre."""
    orders = len(moments)
    narrow = moments.reshape(orders, -1, _NARROW)
    off = (np.arange(_NARROW) - 0.5 * (_NARROW - 1)) * BIN_K
    wide = np.zeros(narrow.shape[:2])
    for order in range(orders):
        for part in range(order + 1):
            wide[order] += narrow[part] @ (math.comb(order, part) * off ** (order - part))
    return wide


def _row_sums(a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return mean and mean square of rows of straight segments from `a` to `b`, all as long."""
    begin, end = a[:, 0], b[:, -1]
    mean: FloatArray = (a @ _ONES + 0.5 * (end - begin)) * (1.0 / _ROW)
    square: FloatArray = 2.0 * np.einsum("ij,ij->i", a, a) + np.einsum("ij,ij->i", a, b)
    square += end * end - begin * begin
    square *= 1.0 / 3.0 / _ROW
    return mean, square


def _add_powers(sums: FloatArray, index: Index, base: FloatArray, weight: FloatArray) -> None:
    """Add weight·baseᵏ to `sums[k]` at `index`, and use `weight` up."""
    for order, total in enumerate(sums):
        if order:
            weight *= base
        total += np.bincount(index, weight, total.size)


def occupy(
    time_s: FloatArray,
    temperature_c: FloatArray,
    laws: list[ConeLaw],
    highest_shift_c: float = 0.0,
) -> Occupation:
    """Sort a trace, as `firing.cones.heatwork.readings` returns it, into temperature bins.

    Time too cold for any of `laws`, moved by `highest_shift_c` at most, is left out: provably below
    1e-9 of the heat-work of each.  A heat-work is good to 1e-6 for cones that end up to 200 K above
    the peak, to 1e-3 beyond.
    """
    begins = range(0, time_s.size - 1, _BLOCK)
    tops_c = [float(temperature_c[begin : begin + _BLOCK + 1].max()) for begin in begins]
    block = int(np.argmax(tops_c)) * _BLOCK
    top = block + int(np.argmax(temperature_c[block : block + _BLOCK + 1]))
    peak_c, ln_span = _span(time_s, temperature_c, top)
    cuts_c = [_coldest_counting_c(law, peak_c, ln_span, highest_shift_c) for law in laws]
    floor_c = max(min(cuts_c, default=peak_c), _COLDEST_C) - 8.0 * BIN_K
    bins = _Bins(floor_c, peak_c, _steepest_per_k(laws, peak_c + highest_shift_c))
    bins.add(time_s, temperature_c, tops_c)
    return Occupation(*bins.centres_and_moments(), peak_c, ln_span)


_COLDEST_C = -100.0


def _span(time_s: FloatArray, temperature_c: FloatArray, top: int) -> tuple[float, float]:
    """Return the peak [°C] and ln(duration / (1e-9 · time surely spent within 10 K of it))."""
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


def _steepest_per_k(laws: list[ConeLaw], peak_c: float) -> float:
    """Return the d ln(rate)/dT at which the Taylor series have to serve."""
    slopes = [_STEEP_PER_K]
    for law in laws:
        end_k = min(peak_c, law.law_60_c) + KELVIN_AT_0_C
        within_reach = law.law_60_c < peak_c + _WITHIN_REACH_K
        slopes.append(law.activation_k / end_k**2 * (1.0 if within_reach else _BEYOND_REACH))
    return max(slopes)


def counting_from_c(law: ConeLaw, duration_s: float, share: float) -> float:
    """Return below which temperature a whole duration adds less than `share` to x [°C]."""
    ln_per_second = math.log(share / duration_s)
    activation_k = law.energy_j_per_mol / GAS_CONSTANT_J_PER_MOL_K
    return activation_k / (law.ln_a_per_s - ln_per_second) - KELVIN_AT_0_C
