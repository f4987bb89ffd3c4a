"""The least squares behind a fit: multipliers, and their errors, from what the firings say."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from firing.errors import FiringError
from firing.kiln.misfit import WINDOW_S, WINDOW_SCATTER, RecordMisfit
from firing.trace import FloatArray

POWER, LOSS, CAPACITY = 0, 1, 2

ROBUST_SIGMA = 2.0
"""Beyond this many scatters a window counts less: an opened lid, a cut in the supply."""
LEAST_FACTOR, MOST_FACTOR = 0.1, 10.0
DIFFERENCE = 0.01
MOST_EVALUATIONS = 25


@dataclass(frozen=True, slots=True)
class Priors:
    """How far each multiplier is expected from 1, as the scatter of its logarithm."""

    power: float
    loss: float
    capacity: float

    @property
    def scatter(self) -> FloatArray:
        """All three, in the order of the parameters."""
        return np.array([self.power, self.loss, self.capacity])


@dataclass(frozen=True, eq=False)
class Solution:
    """Where the sum of squares is least.

    Attributes
    ----------
    log_factor : ndarray, shape (3,)
        Logarithms of power, loss and capacity.
    covariance : ndarray, shape (3, 3)
        Of those logarithms, priors included, widened by what the model leaves unexplained.
    rms : float
        Of the windows' mean power less the model's, as a share of full power.
    windows : int
        How many.
    least_power : float
        The largest share of the described full power that any window needed, at the solution.
    evaluations : int
        How often the firings were followed.
    """

    log_factor: FloatArray
    covariance: FloatArray
    rms: float
    windows: int
    least_power: float
    evaluations: int


class _Problem:
    def __init__(self, misfits: Sequence[RecordMisfit], priors: Priors) -> None:
        self.misfits, self.scatter = misfits, priors.scatter

    def data(self, x: FloatArray) -> FloatArray:
        power, loss, capacity = np.exp(x).tolist()
        return np.concatenate([m.residual(power, loss, capacity) for m in self.misfits])

    def anchors(self, x: FloatArray) -> FloatArray:
        power, loss, capacity = np.exp(x).tolist()
        meters = [m.metered(power, loss, capacity) for m in self.misfits]
        return np.concatenate((x / self.scatter, [m for m in meters if m is not None]))

    def tamed(self, x: FloatArray) -> FloatArray:
        """Return all misfits with the squares of far windows growing no faster than they.

        r·√(2/(1 + √(1 + z))) with z = (r/σ)² has the square σ²·2·(√(1 + z) − 1).
        """
        data = self.data(x)
        root = np.sqrt(1.0 + (data / ROBUST_SIGMA) ** 2)
        return np.concatenate((data * np.sqrt(2.0 / (1.0 + root)), self.anchors(x)))

    def tamed_slopes(self, x: FloatArray) -> FloatArray:
        """Return the derivatives of what the search squares."""
        return self.slopes(x, self.tamed)

    def slopes(self, x: FloatArray, of: Callable[[FloatArray], FloatArray]) -> FloatArray:
        """Return the derivatives of some misfits by the three logarithms, shape (m, 3)."""
        here = of(x)
        columns = []
        for i in range(3):
            moved = x.copy()
            moved[i] += DIFFERENCE
            columns.append((of(moved) - here) / DIFFERENCE)
        return np.stack(columns, axis=1)


def solve(misfits: Sequence[RecordMisfit], priors: Priors) -> Solution:
    """Find the multipliers by robust non-linear least squares.

    Parameters
    ----------
    misfits : sequence of RecordMisfit
        The firings, with a window between them at least.
    priors : Priors
        How far from 1 to expect each multiplier.

    Raises
    ------
    FiringError
        If the search does not converge.
    """
    from scipy.optimize import least_squares

    problem = _Problem(misfits, priors)
    found = least_squares(
        problem.tamed,
        np.zeros(3),
        jac=problem.tamed_slopes,
        bounds=(math.log(LEAST_FACTOR), math.log(MOST_FACTOR)),
        xtol=1e-4,
        ftol=1e-5,
        gtol=1e-6,
        max_nfev=MOST_EVALUATIONS,
    )
    x: FloatArray = np.asarray(found.x, dtype=np.float64)
    if found.status <= 0 or not np.all(np.isfinite(x)):
        names = ", ".join(m.record.name for m in misfits)
        raise FiringError(
            f"{names}: the fit does not converge within {MOST_EVALUATIONS} evaluations; check that "
            "the log is of this kiln and of one firing, and fit it alone"
        )
    data = problem.data(x)
    weight = 1.0 / np.sqrt(1.0 + (data / ROBUST_SIGMA) ** 2)
    of_data, of_anchors = problem.slopes(x, problem.data), problem.slopes(x, problem.anchors)
    widened = _unexplained(misfits, data, weight)
    information = (of_data * weight[:, None]).T @ of_data / widened + of_anchors.T @ of_anchors
    _, loss, capacity = np.exp(x).tolist()
    spans = np.concatenate([m.span_s for m in misfits])
    mean = data * WINDOW_SCATTER * np.sqrt(WINDOW_S / spans)
    return Solution(
        log_factor=x,
        covariance=np.asarray(np.linalg.inv(information), dtype=np.float64),
        rms=float(np.sqrt(np.sum(spans * mean**2) / np.sum(spans))),
        windows=int(data.size),
        least_power=max(m.least_power(loss, capacity) for m in misfits),
        evaluations=sum(m.evaluations for m in misfits),
    )


def _unexplained(misfits: Sequence[RecordMisfit], data: FloatArray, weight: FloatArray) -> float:
    """Return by how much the windows' variance must be widened, 1 or more.

    What a model leaves out lasts for hours: neighbouring windows err alike, and then count for
    fewer than they are (first-order autocorrelation ρ: (1 + ρ)/(1 − ρ) times the variance).
    """
    freedom = max(data.size - 3, 1)
    variance = float(np.sum(weight * data**2)) / freedom
    pairs, squares, begin = 0.0, float(np.sum(data**2)), 0
    for misfit in misfits:
        part = data[begin : begin + len(misfit.windows)]
        pairs += float(part[:-1] @ part[1:])
        begin += len(misfit.windows)
    rho = min(max(pairs / squares if squares else 0.0, 0.0), 0.8)
    return max(1.0, variance * (1.0 + rho) / (1.0 - rho))
