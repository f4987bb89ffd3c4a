"""What the half-hours of one firing say of power, loss and capacity.

The heat a course needs scales with loss and capacity, what the elements gave with power.  Every
window's misfit is taken relative to one of the three, so that one factor on all of them leaves it
unchanged, as it must (source ``kiln-fit-choices``): only an anchor fixes that factor.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from firing.errors import FiringError
from firing.kiln.description import Fitted, KilnDescription, resistance_factor
from firing.kiln.firing_record import FiringRecord
from firing.kiln.inverse_model import contents_heat_j, heat_needed, wall_heat_j
from firing.kiln.simulation import JOULES_PER_KWH
from firing.kiln.thermal_network import Network
from firing.trace import FloatArray
from firing.ware.load import Load, typical_load

WINDOW_S = 1800.0
LEAST_WINDOW_S = 600.0
WINDOW_SCATTER = 0.03
"""Scatter of a window's mean power, as a share of full power; source: kiln-fit-choices."""
METER_SCATTER = 0.02  # source: meter-class-memory
HOT_SETTLE_S = 3.0 * 3600.0
"""Of a log that begins in a hot kiln so much is not used: by then the walls follow the log [s]."""
GLAZE_PEAK_C = 1120.0
"""Without a load or a program, a firing beyond this is taken for one of bisqued ware [°C]."""


def load_of(kiln: KilnDescription, record: FiringRecord) -> Load:
    """Return a record's load, or a typical one for its kind of firing."""
    if record.load is not None:
        return record.load
    raw = record.raw
    if raw is None:
        raw = float(record.chamber_c.max()) < GLAZE_PEAK_C
    return typical_load(kiln.volume_l, "bone dry" if raw else "bisqued")


def described(kiln: KilnDescription) -> KilnDescription:
    """Return a kiln as described, nothing learnt, with its air's losses as plain figures."""
    return replace(kiln, fitted=Fitted(), leak_w_per_k=kiln.air_w_per_k, vent=False)


class RecordMisfit:
    """What one firing's windows say, as a function of the multipliers.

    The kiln is as `described` returns it; `evaluations` counts how often its wall was followed.
    """

    def __init__(self, kiln: KilnDescription, record: FiringRecord) -> None:
        self.kiln, self.record, self.load = kiln, record, load_of(kiln, record)
        self.windows = windows_of(record)
        self.powered = np.array([bool(np.any(record.duty[a:b] > 0.0)) for a, b in self.windows])
        bounds = np.array(self.windows, dtype=np.int64).reshape(-1, 2)
        self._first, self._last = bounds[:, 0], bounds[:, 1]
        span_s = record.time_s[self._last] - record.time_s[self._first]
        # A short window's ends weigh more in it.
        self.scatter_j = WINDOW_SCATTER * kiln.available_w * np.sqrt(span_s * WINDOW_S)
        self.span_s = span_s
        self.evaluations = 0
        self._contents: dict[float, FloatArray] = {}
        self._sides: dict[tuple[float, float], tuple[FloatArray, FloatArray]] = {}

    def _network(self, loss: float, capacity: float) -> Network:
        kiln = replace(self.kiln, fitted=Fitted(loss=loss, capacity=capacity))
        return Network(kiln, self.load, room_c=self.record.room_c)

    def sides(self, loss: float, capacity: float) -> tuple[FloatArray, FloatArray]:
        """Return each step's heat needed, and what full power would give in it [J], (n − 1,)."""
        key = (loss, capacity)
        if key not in self._sides:
            network, course = self._network(loss, capacity), self.record.course
            try:
                if capacity not in self._contents:
                    self._contents[capacity] = contents_heat_j(network, course)
                wall_j = wall_heat_j(network, course)
            except FiringError as error:
                raise FiringError(
                    f"{self.record.name}: {error}; check the unit of the log's temperatures"
                ) from None
            self.evaluations += 1
            found = heat_needed(network, course, contents_j=self._contents[capacity], wall_j=wall_j)
            ct = np.array([resistance_factor(value) for value in found.wire_c.tolist()])
            full_w = self.kiln.available_w * 0.5 * (1.0 / ct[1:] + 1.0 / ct[:-1])
            self._sides[key] = (np.diff(found.heat_j), full_w * self.record.step_s)
        return self._sides[key]

    def window_j(self, power: float, loss: float, capacity: float) -> tuple[FloatArray, FloatArray]:
        """Return each window's heat needed and its electrical energy [J], as far as known."""
        need, full = self.sides(loss, capacity)
        given = np.nan_to_num(power * full * self.record.duty)
        return self._sum(need), self._sum(given)

    def _sum(self, steps: FloatArray) -> FloatArray:
        total = np.concatenate(([0.0], np.cumsum(steps)))
        summed: FloatArray = total[self._last] - total[self._first]
        return summed

    def residual(self, power: float, loss: float, capacity: float) -> FloatArray:
        """Return the windows' misfits in units of their scatter."""
        need, given = self.window_j(power, loss, capacity)
        return (need - given) / np.where(self.powered, power, capacity) / self.scatter_j

    @property
    def is_metered(self) -> bool:
        """Whether a meter's reading can be compared.

        Not in a kiln that was hot at the start: what its walls brought along is not known, and the
        reading is likely that of the whole firing.
        """
        return self.record.kwh is not None and not self.record.hot_start

    def metered(self, power: float, loss: float, capacity: float) -> float | None:
        """Return the misfit to the meter in units of its scatter; None without a meter."""
        kwh = self.record.kwh
        if kwh is None or not self.is_metered:
            return None
        need, full = self.sides(loss, capacity)
        # Where the duty is known it is what the meter counted; elsewhere the heat that was needed.
        known = np.isfinite(self.record.duty)
        used = np.where(known, power * full * np.nan_to_num(self.record.duty), need)
        metered_j = kwh * JOULES_PER_KWH
        return float(used.sum() - metered_j) / (METER_SCATTER * metered_j)

    def least_power(self, loss: float, capacity: float) -> float:
        """Return the largest share of full power that the course needed over half an hour."""
        need, full = self.sides(loss, capacity)
        count = max(1, round(WINDOW_S / float(np.median(self.record.step_s))))
        if need.size <= count:
            return float(need.sum() / full.sum())
        ones = np.ones(count)
        return float(np.max(np.convolve(need, ones, "valid") / np.convolve(full, ones, "valid")))


def windows_of(record: FiringRecord) -> list[tuple[int, int]]:
    """Return the windows of a record, as pairs of moments' numbers.

    Stretches of known duty, cut where the elements come on or go off, in pieces of about half an
    hour; of a log that begins in a hot kiln not the first hours.
    """
    kind = np.where(np.isnan(record.duty), -1, (record.duty > 0.0).astype(np.int64))
    if record.hot_start:
        kind[record.time_s[:-1] - record.time_s[0] < HOT_SETTLE_S] = -1
    found: list[tuple[int, int]] = []
    cuts = np.flatnonzero(np.diff(kind)) + 1
    for begin, end in zip((0, *cuts.tolist()), (*cuts.tolist(), kind.size), strict=True):
        if kind[begin] < 0:
            continue
        span_s = float(record.time_s[end] - record.time_s[begin])
        if span_s < LEAST_WINDOW_S:
            continue
        pieces = max(1, min(round(span_s / WINDOW_S), end - begin))
        edges = np.linspace(record.time_s[begin], record.time_s[end], pieces + 1)
        places = np.unique(np.abs(record.time_s[:, None] - edges).argmin(axis=0)).tolist()
        found += list(pairwise(places))
    return found


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
class FitSolution:
    """Where the sum of squares is least.

    `log_factor` holds the logarithms of power, loss and capacity, `covariance` is theirs, priors
    included, widened by what the model leaves unexplained.  `rms` is that of the windows' mean
    power less the model's, as a share of full power; `least_power` the largest share of the
    described full power that any window needed.
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


def solve(misfits: Sequence[RecordMisfit], priors: Priors) -> FitSolution:
    """Find the multipliers by robust non-linear least squares."""
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
    return FitSolution(
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
