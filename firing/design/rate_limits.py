"""Everything that caps a rate, whoever says so: ware, kiln, or the person asking."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from firing.trace import FloatArray


class Ceiling(Protocol):
    """One reason's fastest rate over a window; `firing.ware.limits.Limit` is one."""

    @property
    def reason(self) -> str:
        """A word or two."""

    @property
    def text(self) -> str:
        """The reason in words, with its figures."""

    @property
    def source(self) -> str:
        """Id of the bibliography."""

    def at(self, temperature_c: FloatArray) -> FloatArray:
        """Return the rate at temperatures [°C], infinite outside the window [°C/h]."""

    def lowest_between(self, low_c: FloatArray, high_c: FloatArray) -> FloatArray:
        """Return the lowest rate inside intervals, infinite where they lie outside [°C/h]."""


@dataclass(frozen=True, eq=False)
class Cap:
    """A cap of the kiln or of the person asking: a rate straight between knots.

    Attributes
    ----------
    reason, text, source : str
        As of `Ceiling`.
    knots_c, rates_c_per_h : ndarray, shape (n,)
        Temperatures [°C], rising, and rates [°C/h].
    endless : bool
        Whether the first and last rate hold on below and above; else nothing is said there.
    """

    reason: str
    text: str
    source: str
    knots_c: FloatArray
    rates_c_per_h: FloatArray
    endless: bool = False

    def at(self, temperature_c: FloatArray) -> FloatArray:
        """Return the rate at temperatures [°C/h]."""
        outside = None if self.endless else np.inf
        return np.interp(
            temperature_c, self.knots_c, self.rates_c_per_h, left=outside, right=outside
        )

    def lowest_between(self, low_c: FloatArray, high_c: FloatArray) -> FloatArray:
        """Return the lowest rate inside intervals [°C/h]; one that only touches is outside."""
        low, high = np.asarray(low_c), np.asarray(high_c)
        if not self.endless:
            low, high = np.maximum(low, self.knots_c[0]), np.minimum(high, self.knots_c[-1])
        inside = (self.knots_c > low[:, None]) & (self.knots_c < high[:, None])
        lowest = np.where(inside, self.rates_c_per_h, np.inf).min(axis=1)
        for end in (low, high):
            lowest = np.minimum(lowest, np.interp(end, self.knots_c, self.rates_c_per_h))
        return np.where(high - low > 1e-6, lowest, np.inf)


def lowest_of(ceilings: Iterable[Ceiling], edges_c: FloatArray) -> FloatArray:
    """Return the fastest rate that every ceiling allows between neighbouring edges [°C/h].

    Parameters
    ----------
    ceilings : iterable of Ceiling
        What caps the rate.
    edges_c : ndarray, shape (n,)
        Rising temperatures [°C].

    Returns
    -------
    ndarray, shape (n − 1,)
    """
    lowest = np.full(edges_c.size - 1, np.inf)
    for ceiling in ceilings:
        lowest = np.minimum(lowest, ceiling.lowest_between(edges_c[:-1], edges_c[1:]))
    return lowest


def binding(ceilings: Sequence[Ceiling], low_c: float, high_c: float) -> tuple[float, Ceiling]:
    """Return the lowest rate between two temperatures [°C/h] and the ceiling that sets it."""
    ends = np.array([low_c]), np.array([high_c])
    rates = [float(ceiling.lowest_between(*ends)[0]) for ceiling in ceilings]
    place = int(np.argmin(rates))
    return rates[place], ceilings[place]


def spans(cells: FloatArray) -> FloatArray:
    """Return the lowest of consecutive cells for every pair of edges.

    Parameters
    ----------
    cells : ndarray, shape (n − 1,)
        A value between each two neighbouring edges.

    Returns
    -------
    ndarray, shape (n, n)
        At [i, j], i < j, the lowest value between edges i and j; infinite elsewhere.
    """
    size = cells.size + 1
    lowest = np.full((size, size), np.inf)
    for i in range(size - 1):
        lowest[i, i + 1 :] = np.minimum.accumulate(cells[i:])
    return lowest
