"""How long a firing spends at each temperature: all that heat-work depends on.

A trace is read once into narrow temperature bins.  Each bin keeps the moments ∫(T − c)ᵏ dt about
its centre c of a trace that runs straight between its samples; a cone's heat-work is then a Taylor
sum over some thousand bins instead of an exponential a sample.  What is
left out stays below 1e-6 of the sum; :mod:`firing.cones.bins` sees to that.
"""

import math
from dataclasses import dataclass

import numpy as np

from firing.cones.bins import BIN_K, Bins
from firing.cones.kinetics import GAS_CONSTANT_J_PER_MOL_K, ConeLaw, FloatArray
from firing.errors import FiringError
from firing.units import KELVIN_AT_0_C

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
        first = int(np.searchsorted(self.centre_c, cut_c - BIN_K))
        # A large downward shift would pass absolute zero, where nothing happens any more.
        temperature_k = np.maximum(self.centre_c[first:] + (shift_c + KELVIN_AT_0_C), 1.0)
        inverse = 1.0 / temperature_k
        ln_rate = inverse * -law.activation_k
        slope = ln_rate * -inverse  # d ln(rate)/dT
        # Taylor coefficients of exp(−a/T): T²·f′ = a·f, differentiated k times, gives each from
        # the two before it.
        before, coefficient = np.ones_like(slope), slope
        weight = self.moments[0, first:] + slope * self.moments[1, first:]
        inverse_square = inverse * inverse
        for k, moment in enumerate(self.moments[2:, first:], start=1):
            following = coefficient * ((slope - 2.0 * k * inverse) * (1.0 / (k + 1)))
            if k > 1:
                following -= before * inverse_square * ((k - 1) / (k + 1))
            before, coefficient = coefficient, following
            weight += coefficient * moment
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
        As `firing.cones.heatwork.readings` returns them.
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
    bins = Bins(floor_c, peak_c, _steepest_per_k(laws, peak_c + highest_shift_c))
    bins.add(time_s, temperature_c)
    return Occupation(*bins.centres_and_moments(), peak_c, ln_span)


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
