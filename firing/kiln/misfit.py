"""What the half-hours of one firing say of power, loss and capacity.

The heat a course needs scales with loss and capacity, what the elements gave with power.  Every
window's misfit is taken relative to one of the three, so that one factor on all of them leaves it
unchanged, as it must (source ``kiln-fit-choices``): only an anchor fixes that factor.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from firing.errors import FiringError
from firing.kiln.description import Fitted, KilnDescription
from firing.kiln.elements import resistance_factor
from firing.kiln.heatneed import contents_heat_j, needed, wall_heat_j
from firing.kiln.network import Network
from firing.kiln.record import FiringRecord
from firing.kiln.thermal import JOULES_PER_KWH
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

    Parameters
    ----------
    kiln : KilnDescription
        As `described` returns it.
    record : FiringRecord
        The firing.

    Attributes
    ----------
    evaluations : int
        How often its wall was followed.
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
            found = needed(network, course, contents_j=self._contents[capacity], wall_j=wall_j)
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
