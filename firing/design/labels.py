"""Ways up in the making: where each stands, and which of them another can replace."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firing.trace import FloatArray

IntArray = npt.NDArray[np.int64]

SLACK_S = 1e-6


@dataclass(frozen=True, slots=True)
class PeakCandidate:
    """An end that a way up may have.

    Attributes
    ----------
    peak_c : float
        The peak [°C].
    hold_s : float
        The hold there [s].
    rate_c_per_h : float or None
        The rate of the last segment, over 100 °C or more [°C/h]; None for any.
    """

    peak_c: float
    hold_s: float = 0.0
    rate_c_per_h: float | None = None


@dataclass(frozen=True, slots=True)
class HeatingLeg:
    """A ramp to a target and the hold there: [°C], [s], [s]."""

    target_c: float
    ramp_s: float
    hold_s: float


@dataclass(frozen=True, eq=False)
class Labels:
    """Paths with one number of segments; arrays of shape (paths,).

    `stops` counts the holds a path may use in the window it stands in, 0 outside.
    """

    node: IntArray
    time_s: FloatArray
    inside_s: FloatArray
    stops: IntArray
    parent: IntArray

    def taken(self, rows: npt.NDArray[np.intp]) -> Labels:
        return Labels(
            self.node[rows],
            self.time_s[rows],
            self.inside_s[rows],
            self.stops[rows],
            self.parent[rows],
        )


def not_replaced(new: FloatArray, old: FloatArray) -> npt.NDArray[np.intp]:
    """Return the rows of `new` that no row of it or of `old` replaces, earliest first.

    Columns are time, time inside and stops; no later, no shorter inside and no fewer stops
    replaces.
    """
    order = np.lexsort((-new[:, 2], -new[:, 1], new[:, 0]))
    kept: list[int] = []
    for stops in sorted({int(s) for s in new[:, 2]}, reverse=True):
        rows = order[new[order, 2] == stops]
        better = [old[old[:, 2] >= stops], new[kept] if kept else new[:0]]
        known = np.vstack(better)
        inside = new[rows, 1]
        before = np.concatenate(([-np.inf], np.maximum.accumulate(inside)[:-1]))
        fine = inside > before + SLACK_S
        if known.shape[0]:
            beaten = (known[None, :, 0] <= new[rows, 0][:, None] + SLACK_S) & (
                known[None, :, 1] >= inside[:, None] - SLACK_S
            )
            fine &= ~beaten.any(axis=1)
        kept.extend(int(row) for row in rows[fine])
    return np.array(kept, dtype=np.intp)
