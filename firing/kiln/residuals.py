"""What the half-hours of one firing say of power, loss, capacity and leak.

The heat a course needs scales with loss, leak and capacity, what the elements gave with power.
A window's residual is taken relative to one of them, so that one factor on all of them leaves it
unchanged, as it must (source ``kiln-fit-choices``): only an anchor fixes that factor.

A `FiringRecord` is one firing as a fit takes it: its course, and what is known of the duty.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from firing.errors import FiringError
from firing.kiln.description import Fitted, KilnDescription, resistance_factors
from firing.kiln.inverse_model import ChamberCourse, contents_heat_j, heat_needed, wall_heat_j
from firing.kiln.simulation import JOULES_PER_KWH
from firing.kiln.thermal_network import Network
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR
from firing.ware.load import Load

FULL_DUTY = 0.98
"""From here on the elements count as fully on."""


HOT_C = 40.0
"""A log that begins so far above the room begins in a hot kiln [°C]."""


@dataclass(frozen=True, eq=False)
class FiringRecord:
    """One firing."""

    name: str  # what sentences call it
    # Moments [s], a few minutes apart, and the chamber's temperature freed of noise [°C].
    time_s: FloatArray
    chamber_c: FloatArray
    duty: FloatArray  # share of full power over each step; NaN where it is not known
    # Whether the duty was logged; else it is inferred: 1 where the kiln fell behind its program, 0
    # in natural cooling.
    logged: bool
    kwh: float | None = None  # what a meter counted over the whole firing [kWh]
    load: Load | None = None  # what was in the kiln; None if nobody said
    # Without a load, whether the ware was unfired; None to judge by the peak.
    raw: bool | None = None
    room_c: float = 20.0  # room temperature [°C]
    started: datetime | None = None  # when the log began
    notes: tuple[str, ...] = ()  # what was assumed

    def __post_init__(self) -> None:
        if self.time_s.size < 2 or self.chamber_c.shape != self.time_s.shape:
            raise FiringError(f"{self.name}: a firing needs two moments or more, each with a °C")
        if self.duty.size != self.time_s.size - 1:
            raise FiringError(
                f"{self.name}: the duty needs one value for each step between moments"
            )
        if self.kwh is not None and not 0.0 < self.kwh < 1e5:
            raise FiringError(
                f"{self.name}: {self.kwh:g} kWh by meter is not a firing's; give the kWh of it, "
                "above 0 and below 100000"
            )

    @property
    def course(self) -> ChamberCourse:
        """The chamber's course."""
        return ChamberCourse(self.time_s, self.chamber_c)

    @property
    def step_s(self) -> FloatArray:
        """Length of each step [s], shape (n − 1,)."""
        return np.diff(self.time_s)

    @property
    def hot_start(self) -> bool:
        """Whether the log begins in a kiln still hot, whose walls' warmth it does not show."""
        return float(self.chamber_c[0]) > self.room_c + HOT_C

    @property
    def fastest_c_per_h(self) -> float:
        """The fastest rise over an hour [°C/h]."""
        ahead_c = np.interp(self.time_s + SECONDS_PER_HOUR, self.time_s, self.chamber_c)
        return float(np.max(ahead_c - self.chamber_c))

    @property
    def full_s(self) -> float:
        """How long the elements are known to have been fully on [s]."""
        return float(self.step_s[self.duty >= FULL_DUTY].sum())

    @property
    def powered_s(self) -> float:
        """How long they are known to have been on at all [s]."""
        return float(self.step_s[self.duty > 0.0].sum())

    @property
    def off_s(self) -> float:
        """How long they are known to have been off [s]."""
        return float(self.step_s[self.duty == 0.0].sum())


WINDOW_S = 1800.0
LEAST_WINDOW_S = 600.0
WINDOW_SCATTER = 0.005
"""Least scatter of a window's mean power, as a share of full power; source: kiln-fit-choices."""
METER_SCATTER = 0.005
"""How far a meter's kWh and the model's differ, besides the meter's own error; kiln-fit-choices."""
DIGITS = 9
"""Ratios that agree to so many digits are one."""
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
    return kiln.inside(None, "bisque" if raw else "glaze")


def described(kiln: KilnDescription) -> KilnDescription:
    """Return a kiln as described, nothing learnt, with its air's losses as plain figures."""
    return replace(kiln, fitted=Fitted(), leak_w_per_k=kiln.air_w_per_k, vent=False)


class Multipliers(NamedTuple):
    """Multipliers on the kiln as described; `loss` is the walls', `leak` that of moving air."""

    power: float
    loss: float
    capacity: float
    leak: float

    @classmethod
    def of(cls, log_factor: FloatArray) -> Multipliers:
        """Return those of which the logarithms are given, in the order of the fields."""
        return cls(*np.exp(log_factor).tolist())


class RecordResiduals:
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
        self._contents_j: FloatArray | None = None
        self._walls: dict[float, tuple[Network, FloatArray]] = {}
        self._sides: dict[tuple[float, float], tuple[FloatArray, FloatArray]] = {}

    def _wall(self, loss: float) -> tuple[Network, FloatArray]:
        """Return a network of this loss over capacity, and what its wall has taken up [J]."""
        if loss not in self._walls:
            kiln = replace(self.kiln, fitted=Fitted(loss=loss))
            network = Network(kiln, self.load, room_c=self.record.room_c)
            course = self.record.course
            try:
                if self._contents_j is None:
                    self._contents_j = contents_heat_j(network, course)
                wall_j = wall_heat_j(network, course)
            except FiringError as error:
                raise FiringError(
                    f"{self.record.name}: {error}; check the unit of the log's temperatures"
                ) from None
            self.evaluations += 1
            self._walls[loss] = network, wall_j
        return self._walls[loss]

    def sides(self, m: Multipliers) -> tuple[FloatArray, FloatArray]:
        """Return each step's heat needed, and what full power would give in it [J], (n − 1,).

        Only ratios are ever followed: one factor on all multipliers is one on the heat.
        """
        key = round(m.loss / m.capacity, DIGITS), round(m.leak / m.capacity, DIGITS)
        if key not in self._sides:
            loss, leak = key
            network, wall_j = self._wall(loss)
            assert self._contents_j is not None
            found = heat_needed(
                network,
                self.record.course,
                contents_j=self._contents_j,
                wall_j=wall_j,
                leak_w_per_k=leak * self.kiln.air_w_per_k,
            )
            ct = resistance_factors(found.wire_c)
            full_w = self.kiln.available_w * 0.5 * (1.0 / ct[1:] + 1.0 / ct[:-1])
            self._sides[key] = np.diff(found.heat_j), full_w * self.record.step_s
        need, full = self._sides[key]
        return m.capacity * need, full

    def window_j(self, m: Multipliers) -> tuple[FloatArray, FloatArray]:
        """Return each window's heat needed and its electrical energy [J], as far as known."""
        need, full = self.sides(m)
        given = np.nan_to_num(m.power * full * self.record.duty)
        return self._sum(need), self._sum(given)

    def _sum(self, steps: FloatArray) -> FloatArray:
        total = np.concatenate(([0.0], np.cumsum(steps)))
        summed: FloatArray = total[self._last] - total[self._first]
        return summed

    def residual(self, m: Multipliers) -> FloatArray:
        """Return the windows' residuals in units of their scatter."""
        need, given = self.window_j(m)
        return (need - given) / np.where(self.powered, m.power, m.capacity) / self.scatter_j

    @property
    def is_metered(self) -> bool:
        """Whether a meter's reading can be compared.

        Not in a kiln that was hot at the start: what its walls brought along is not known, and the
        reading is likely that of the whole firing.
        """
        return self.record.kwh is not None and not self.record.hot_start

    def metered(self, m: Multipliers) -> float | None:
        """Return the residual against the meter in units of its scatter; None without a meter."""
        kwh = self.record.kwh
        if kwh is None or not self.is_metered:
            return None
        need, full = self.sides(m)
        # Where the duty is known it is what the meter counted; elsewhere the heat that was needed.
        known = np.isfinite(self.record.duty)
        used = np.where(known, m.power * full * np.nan_to_num(self.record.duty), need)
        metered_j = kwh * JOULES_PER_KWH
        return float(used.sum() - metered_j) / (METER_SCATTER * metered_j)

    def least_power(self, m: Multipliers) -> float:
        """Return the largest share of full power that the course needed over half an hour."""
        need, full = self.sides(m)
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
    cuts = (np.flatnonzero(np.diff(kind)) + 1).tolist()
    time_s = record.time_s.tolist()
    for begin, end in pairwise((0, *cuts, kind.size)):
        if kind[begin] < 0:
            continue
        span_s = time_s[end] - time_s[begin]
        if span_s < LEAST_WINDOW_S:
            continue
        pieces = max(1, min(round(span_s / WINDOW_S), end - begin))
        places = {begin, end}
        for piece in range(1, pieces):
            edge_s = time_s[begin] + piece * span_s / pieces
            after = bisect_left(time_s, edge_s)
            places.add(after - (edge_s - time_s[after - 1] <= time_s[after] - edge_s))
        found += pairwise(sorted(places))
    return found


POWER, LOSS, CAPACITY, LEAK = 0, 1, 2, 3

NORMAL_OVER_MEDIAN = 1.4826
"""The standard deviation of a normal distribution over the median of its sizes."""
ROBUST_SIGMA = 2.0
"""Beyond this many scatters a window counts less: an opened lid, a cut in the supply."""
MOST_ALIKE = 0.2
"""The most that neighbouring windows are taken to err alike; kiln-fit-choices."""
LEAST_FACTOR, MOST_FACTOR = 0.1, 10.0
DIFFERENCE = 0.01
MOST_EVALUATIONS = 40


@dataclass(frozen=True, slots=True)
class Priors:
    """How far each multiplier is expected from 1, as the scatter of its logarithm."""

    power: float
    loss: float
    capacity: float
    leak: float

    @property
    def scatter(self) -> FloatArray:
        """All four, in the order of the parameters."""
        return np.array([self.power, self.loss, self.capacity, self.leak])


@dataclass(frozen=True, eq=False)
class FitSolution:
    """Where the sum of squares is least.

    `log_factor` holds the logarithms of power, loss, capacity and leak, `covariance` is theirs,
    priors included, widened by what the model leaves unexplained.  `rms` is that of the windows'
    mean power less the model's, as a share of full power; `least_power` the largest share of the
    described full power that any window needed.
    """

    log_factor: FloatArray
    covariance: FloatArray
    rms: float
    windows: int
    least_power: float
    evaluations: int


class _Problem:
    def __init__(self, by_firing: Sequence[RecordResiduals], priors: Priors) -> None:
        self.by_firing, self.scatter = by_firing, priors.scatter
        self.widened = 1.0

    def data(self, x: FloatArray) -> FloatArray:
        factors = Multipliers.of(x)
        data = np.concatenate([residuals.residual(factors) for residuals in self.by_firing])
        return data / self.widened

    def widen(self, x: FloatArray) -> None:
        """Take the windows' scatter from how far they are off, unless that is less than the least.

        By the median of their sizes, which a few odd windows do not move.
        """
        self.widened = 1.0
        self.widened = max(1.0, NORMAL_OVER_MEDIAN * float(np.median(np.abs(self.data(x)))))

    def anchors(self, x: FloatArray) -> FloatArray:
        factors = Multipliers.of(x)
        meters = [residuals.metered(factors) for residuals in self.by_firing]
        return np.concatenate((x / self.scatter, [m for m in meters if m is not None]))

    def tamed(self, x: FloatArray) -> FloatArray:
        """Return all residuals with the squares of far windows growing no faster than they.

        r·√(2/(1 + √(1 + z))) with z = (r/σ)² has the square σ²·2·(√(1 + z) − 1).
        """
        data = self.data(x)
        root = np.sqrt(1.0 + (data / ROBUST_SIGMA) ** 2)
        return np.concatenate((data * np.sqrt(2.0 / (1.0 + root)), self.anchors(x)))

    def tamed_slopes(self, x: FloatArray) -> FloatArray:
        """Return the derivatives of what the search squares."""
        return self.slopes(x, self.tamed)

    def slopes(self, x: FloatArray, of: Callable[[FloatArray], FloatArray]) -> FloatArray:
        """Return the derivatives of some residuals by the four logarithms, shape (m, 4)."""
        columns = []
        for i in range(x.size):
            step = DIFFERENCE * np.eye(x.size)[i]
            columns.append((of(x + step) - of(x - step)) / (2.0 * DIFFERENCE))
        return np.stack(columns, axis=1)


def solve(by_firing: Sequence[RecordResiduals], priors: Priors) -> FitSolution:
    """Find the multipliers by robust non-linear least squares."""
    from scipy.optimize import least_squares

    problem = _Problem(by_firing, priors)
    x: FloatArray = np.zeros(4)
    for _ in range(2):
        problem.widen(x)
        found = least_squares(
            problem.tamed,
            x,
            jac=problem.tamed_slopes,
            bounds=(math.log(LEAST_FACTOR), math.log(MOST_FACTOR)),
            xtol=1e-4,
            ftol=1e-7,
            gtol=1e-6,
            max_nfev=MOST_EVALUATIONS,
        )
        x = np.asarray(found.x, dtype=np.float64)
    if found.status <= 0 or not np.all(np.isfinite(x)):
        names = ", ".join(m.record.name for m in by_firing)
        raise FiringError(
            f"{names}: the fit does not converge within {MOST_EVALUATIONS} evaluations; check that "
            "the log is of this kiln and of one firing, and fit it alone"
        )
    data = problem.data(x)
    weight = 1.0 / np.sqrt(1.0 + (data / ROBUST_SIGMA) ** 2)
    of_data, of_anchors = problem.slopes(x, problem.data), problem.slopes(x, problem.anchors)
    widened = _unexplained(by_firing, data, weight)
    information = (of_data * weight[:, None]).T @ of_data / widened + of_anchors.T @ of_anchors
    spans = np.concatenate([m.span_s for m in by_firing])
    mean = data * problem.widened * WINDOW_SCATTER * np.sqrt(WINDOW_S / spans)
    return FitSolution(
        log_factor=x,
        covariance=np.asarray(np.linalg.inv(information), dtype=np.float64),
        rms=float(np.sqrt(np.sum(spans * mean**2) / np.sum(spans))),
        windows=int(data.size),
        least_power=max(m.least_power(Multipliers.of(x)) for m in by_firing),
        evaluations=sum(m.evaluations for m in by_firing),
    )


def _unexplained(
    by_firing: Sequence[RecordResiduals], data: FloatArray, weight: FloatArray
) -> float:
    """Return by how much the windows' variance must be widened, 1 or more.

    What a model leaves out lasts for hours: neighbouring windows err alike, and then count for
    fewer than they are (first-order autocorrelation ρ: (1 + ρ)/(1 − ρ) times the variance).
    """
    freedom = max(data.size - 4, 1)
    variance = float(np.sum(weight * data**2)) / freedom
    pairs, squares, begin = 0.0, float(np.sum(data**2)), 0
    for residuals in by_firing:
        part = data[begin : begin + len(residuals.windows)]
        pairs += float(part[:-1] @ part[1:])
        begin += len(residuals.windows)
    rho = min(max(pairs / squares if squares else 0.0, 0.0), MOST_ALIKE)
    return max(1.0, variance * (1.0 + rho) / (1.0 - rho))
