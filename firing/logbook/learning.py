"""A kiln learnt over many firings at once: walls that stay, power on a path, a load each time.

Half-hour by half-hour the heat that each measured course took is a sum of marks, as for a measure.
The walls' and the leak's weights are those of all firings; each firing has a power, which goes on
from the one before, and a load about the usual one.  Least squares with priors find them, and the
wall is followed again about what was found until it stays.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from firing.errors import FiringError
from firing.kiln.description import Fitted, KilnDescription, PastFit, PastPower
from firing.kiln.fit import METER_ERROR, MODEL_SCATTER
from firing.kiln.residuals import (
    NORMAL_OVER_MEDIAN,
    ROBUST_SIGMA,
    WINDOW_S,
    WINDOW_SCATTER,
    FiringRecord,
    Multipliers,
    RecordResiduals,
    described,
)
from firing.kiln.simulation import JOULES_PER_KWH
from firing.logbook.measure import LOSS_STEP, LOWEST_C, MOST_ALIKE
from firing.review.power_reason import half_hours
from firing.serialise import OMITTED, Serialised, named
from firing.trace import FloatArray, median

# How far each is expected from the kiln file before a log is read, as shares; kiln-fit-choices.
WALL_PRIOR, LEAK_PRIOR, POWER_PRIOR, LOAD_PRIOR = 0.35, 0.5, 0.3, 0.3
LOADS_DIFFER = 0.2
"""How far one firing's load is expected from the usual one, as a share; learning-choices."""
WEIGHED = 0.08
"""Likewise of a load that was weighed; kiln-fit-choices."""
PATH_STEP, PATH_BREAK = 0.02, 0.3
"""How far power goes from one firing to the next, and where the kiln was worked on; likewise."""
RATED_SCATTER = 0.15
"""How far a kiln file's power, or its walls' heat, is from the truth, as a share; likewise."""
WALL, LEAK, SHARED = 0, 1, 2
ROUNDS, WEIGHINGS, FURTHEST, LEAST_SHARE = 9, 6, 0.4, 0.2
SETTLED = 0.003
LEAST_WINDOWS = 8
MOST_FIRINGS = 12
"""So many of the latest firings are learnt from: what is older tells of another state."""
NINETY, TOLD = 1.645, 0.7
"""Standard deviations that hold 90 % between; a range as wide as this share of what was expected
before any log says that the logs cannot tell."""
PROFILE = (0.55, 0.7, 0.85, 1.0, 1.2, 1.45, 1.8)
PROFILE_CHI2 = 2.706
"""A likelihood that fell by half of that is outside 90 %; Wilks' theorem."""


@dataclass(frozen=True, slots=True)
class LearntFiring(Serialised):
    """One firing: its power over the kiln file's, its load over a typical one, errors as shares."""

    name: str
    on: date | None = field(metadata=named("date"))
    power: float
    power_se: float | None
    load: float
    load_se: float


@dataclass(frozen=True, slots=True)
class Profile(Serialised):
    """A figure, its 90 % range by the logs alone, and whether that narrows what was expected."""

    name: str
    value: float
    low: float
    high: float
    told: bool = field(metadata=named("known"))


@dataclass(frozen=True, eq=False)
class Learnt(Serialised):
    """What a logbook's firings have taught of their kiln.

    Attributes
    ----------
    firings : tuple of LearntFiring
        In the order of time.
    change, change_se : float or None
        By what share power went from the first of them to the last, and its error.
    level_se : float
        How far that power may be off against the kiln file's, as a share.
    profiles : tuple of Profile
        Walls, moving air and the usual load: what the logs say of each, whatever the others are.
    anchored : bool
        Whether a meter fixes the absolute size.
    rms : float
        Of the half-hours' power less the model's, as a share of full power.
    cannot_tell : tuple of str
        What the logs leave open, and what would show it, as sentences.
    fitted : Fitted
        For the kiln file.
    """

    firings: tuple[LearntFiring, ...]
    change: float | None
    change_se: float | None
    level_se: float
    profiles: tuple[Profile, ...]
    anchored: bool
    rms: float
    cannot_tell: tuple[str, ...]
    fitted: Fitted = field(metadata=OMITTED)

    def __repr__(self) -> str:
        """Return firings, change of power and its level, on one line."""
        several = "1 firing" if len(self.firings) == 1 else f"{len(self.firings)} firings"
        change = "change of power unknown"
        if self.change is not None and self.change_se is not None:
            change = f"power {100.0 * self.change:+.1f} ± {100.0 * self.change_se:.1f} %"
        level = f"level {self.firings[-1].power:.2f} ± {self.level_se:.2f}"
        return f"<Learnt {several}, {change}, {level}>"

    def to_past(self) -> PastFit:
        """Return what the kiln file keeps of it, to compare other fits with."""
        last, fitted = self.firings[-1], self.fitted
        told = last.power_se is not None
        return PastFit(
            on=fitted.learnt,
            power=fitted.power,
            loss=fitted.loss,
            capacity=fitted.capacity,
            leak=fitted.leak_factor,
            power_se=self.level_se if told and self.anchored else None,
            power_over_losses_se=last.power_se,
            basis=fitted.basis,
        )

    def history(self) -> tuple[PastPower, ...]:
        """Return the firings that show the power, for the kiln file; of one day the last."""
        days = {
            one.on: PastPower(one.on, one.power, one.power_se, one.load)
            for one in self.firings
            if one.on is not None and one.power_se is not None
        }
        return tuple(days.values())


def learn(
    kiln: KilnDescription, records: Sequence[FiringRecord], worked_on: Sequence[int] = ()
) -> Learnt:
    """Learn a kiln from several firings, in the order of time.

    Parameters
    ----------
    kiln : KilnDescription
        The kiln as its file describes it; what it learnt before does not count.
    records : sequence of FiringRecord
        The firings; of many only the latest `MOST_FIRINGS` are used.
    worked_on : sequence of int
        The places of the first firings after elements, relays or walls were worked on.

    Raises
    ------
    FiringError
        If the firings show too little of what the elements did, or are of another kiln.
    """
    first = max(len(records) - MOST_FIRINGS, 0)
    problem = _Problem(kiln, records[first:], [i - first for i in worked_on if i > first])
    return problem.learnt()


class _Problem:
    """All unknowns in one vector: wall and leak, then each firing's power, then each one's load."""

    def __init__(
        self, kiln: KilnDescription, records: Sequence[FiringRecord], worked_on: Sequence[int]
    ) -> None:
        if not records:
            raise FiringError("nothing is learnt without a firing; keep logs with 'firing keep'")
        self.kiln, self.base, self.records = kiln, described(kiln), list(records)
        self.count = len(records)
        self.wall = self.leak = 1.0
        steps = np.full(self.count, PATH_STEP)
        steps[list(worked_on)] = PATH_BREAK
        steps[0] = 0.0
        along = np.cumsum(steps**2)
        path = POWER_PRIOR**2 + np.minimum.outer(along, along) + 1e-8 * np.eye(self.count)
        weighed = np.array([record.load is not None for record in records])
        own = np.where(weighed, WEIGHED, LOADS_DIFFER) ** 2
        usual = LOAD_PRIOR**2 * np.outer(~weighed, ~weighed)
        self.prior = np.zeros((SHARED + 2 * self.count,) * 2)
        self.prior[WALL, WALL], self.prior[LEAK, LEAK] = WALL_PRIOR**-2.0, LEAK_PRIOR**-2.0
        self.of_powers = slice(SHARED, SHARED + self.count)
        self.of_loads = slice(SHARED + self.count, SHARED + 2 * self.count)
        self.prior[self.of_powers, self.of_powers] = np.linalg.inv(path)
        self.prior[self.of_loads, self.of_loads] = np.linalg.inv(usual + np.diag(own))
        self._solve()

    def _solve(self) -> None:
        share, before = np.ones(SHARED), np.zeros(SHARED)
        for _ in range(ROUNDS):
            marks, needed, scatter, parts = self._marks(self.wall, slopes=True)
            if needed.size < LEAST_WINDOWS:
                names = ", ".join(record.name for record in self.records)
                raise FiringError(
                    f"{names}: too little shows what the elements did; keep logs with the "
                    "controller's output, or with all of their cooling"
                )
            self.found, self.information = self._weighed(marks, needed, scatter, parts)
            step = np.clip(self.found[:SHARED], (-FURTHEST, -0.8 * self.leak), (FURTHEST, 2.0))
            # A whole step can go beyond, and back again for ever; what is left of the last one
            # says what share of it leads there.
            left = np.divide(step, before, out=np.zeros(SHARED), where=before != 0.0)
            share = np.clip(share / np.maximum(1.0 - left, 0.1), LEAST_SHARE, 1.0)
            before = step
            self.wall *= math.exp(share[WALL] * step[WALL])
            self.leak += share[LEAK] * step[LEAK]
            if np.all(np.abs(step) < SETTLED):
                break
        if not 0.2 < self.wall < 5.0 or np.any(self.found[self.of_powers] <= 0.0):
            raise FiringError(
                "these firings are not of the kiln that the file describes; check its walls, "
                "volume and power, and which firings are of it"
            )
        self.covariance = np.linalg.inv(self.information + self.prior)

    def _marks(
        self, wall: float, *, slopes: bool
    ) -> tuple[FloatArray, FloatArray, FloatArray, list[slice]]:
        """Return marks, heat needed, scatter, and each firing's rows, with a wall given."""
        rows, needed, scatters, parts, begin = [], [], [], [], 0
        for i, record in enumerate(self.records):
            here = half_hours(self._with(wall), record)
            known = here.known & (here.middle_c > LOWEST_C)
            marks = np.zeros((int(known.sum()), SHARED + 2 * self.count))
            if slopes:
                less, more = (
                    half_hours(self._with(wall * math.exp(s)), record)
                    for s in (-LOSS_STEP, LOSS_STEP)
                )
                marks[:, WALL] = (less.excess - more.excess)[known] / (2.0 * LOSS_STEP)
            all_w_per_k = wall * self.base.wall_w_per_k + self.leak * self.base.air_w_per_k
            marks[:, LEAK] = -here.leak[known] * self.base.air_w_per_k / all_w_per_k
            marks[:, SHARED + i] = here.given[known]
            marks[:, SHARED + self.count + i] = -here.contents[known]
            span = ((here.end_s - here.start_s) / WINDOW_S)[known]
            rows.append(marks)
            needed.append((here.excess + here.given)[known])
            scatters.append(np.sqrt(WINDOW_SCATTER**2 / span + here.doubt[known] ** 2))
            parts.append(slice(begin, begin + marks.shape[0]))
            begin += marks.shape[0]
        return np.concatenate(rows), np.concatenate(needed), np.concatenate(scatters), parts

    def _with(self, wall: float) -> KilnDescription:
        return replace(self.base, fitted=Fitted(loss=wall, leak=self.leak))

    def _expected(self) -> FloatArray:
        """Return where the priors pull what is to be found: steps of wall and leak, powers."""
        expected = np.zeros(self.prior.shape[0])
        expected[WALL], expected[LEAK] = -math.log(self.wall), 1.0 - self.leak
        expected[self.of_powers] = 1.0
        return expected

    def _weighed(
        self, marks: FloatArray, needed: FloatArray, scatter: FloatArray, parts: list[slice]
    ) -> tuple[FloatArray, FloatArray]:
        """Return the robust solution, and what the logs alone know of it."""
        pull = self.prior @ self._expected()
        widened = np.ones_like(needed)
        # Each firing by itself, and of a logged output, which may be a relay's, its cooling apart.
        powered = np.any(marks[:, self.of_powers] != 0.0, axis=1)
        rows, groups = np.arange(needed.size), []
        for record, part in zip(self.records, parts, strict=True):
            apart = rows[part][powered[part]] if record.logged else rows[:0]
            groups += [apart, np.setdiff1d(rows[part], apart)]
        groups = [group for group in groups if group.size]
        weight = 1.0 / scatter
        for _ in range(WEIGHINGS):
            w2 = (weight / widened) ** 2
            information = (marks * w2[:, None]).T @ marks
            found = np.linalg.solve(
                information + self.prior, (marks * w2[:, None]).T @ needed + pull
            )
            off = (needed - marks @ found) / scatter
            for group in groups:
                size = NORMAL_OVER_MEDIAN * float(np.median(np.abs(off[group])))
                widened[group] = max(1.0, size)
            weight = (1.0 + (off / widened / ROBUST_SIGMA) ** 2) ** -0.25 / scatter
        scaled = off / widened
        pairs = sum(float(scaled[p][1:] @ scaled[p][:-1]) for p in parts if scaled[p].size)
        alike = min(max(pairs / max(float(scaled @ scaled), 1e-12), 0.0), MOST_ALIKE)
        self.fewer = (1.0 - alike) / (1.0 + alike)
        self.rms = float(np.sqrt(np.mean((off * scatter) ** 2)))
        self.weights = weight / widened
        solution: FloatArray = np.asarray(found, dtype=np.float64)
        known: FloatArray = information * self.fewer
        return solution, known

    def learnt(self) -> Learnt:
        powers, loads = self.found[self.of_powers], 1.0 + self.found[self.of_loads]
        scale, anchored, level_se = self._scale(powers, loads)
        shows = self._shows_power()
        firings = []
        for i, record in enumerate(self.records):
            se = math.sqrt(self.covariance[SHARED + i, SHARED + i]) / powers[i]
            load_se = math.sqrt(self.covariance[SHARED + self.count + i, SHARED + self.count + i])
            firings.append(
                LearntFiring(
                    record.name,
                    None if record.started is None else record.started.date(),
                    float(scale * powers[i]),
                    float(se) if shows[i] else None,
                    float(scale * loads[i]),
                    float(load_se / max(loads[i], 0.05)),
                )
            )
        change = change_se = None
        told = np.flatnonzero(shows)
        if told.size > 1:
            a, b = SHARED + int(told[0]), SHARED + int(told[-1])
            # Of one kiln: what the walls and all else may be off by is the same in both.
            along = np.zeros(self.found.size)
            along[b], along[a] = 1.0 / self.found[b], -1.0 / self.found[a]
            change = float(self.found[b] / self.found[a]) - 1.0
            change_se = math.hypot(math.sqrt(along @ self.covariance @ along), MODEL_SCATTER)
        profiles = self._profiles(loads)
        days = [one.on for one in firings if one.on is not None]
        on = max(days, default=None)
        fitted = Fitted(
            power=float(scale * powers[-1]),
            loss=float(scale * self.wall),
            capacity=float(scale),
            cone_offset_c=self.kiln.fitted.cone_offset_c,
            learnt=on,
            basis=f"{on}: {self.count} firings of the logbook; "
            + ("fixed by the meter" if anchored else "ratios only, no anchor"),
            leak=float(scale * self.leak),
            errors=self._errors(),
            hottest_c=max(float(record.chamber_c.max()) for record in self.records),
            fastest_c_per_h=max(record.fastest_c_per_h for record in self.records),
            usual_load=float(np.clip(np.mean(loads), 0.25, 4.0)),
        )
        return Learnt(
            firings=tuple(firings),
            change=change,
            change_se=change_se,
            level_se=level_se,
            profiles=profiles,
            anchored=anchored,
            rms=self.rms,
            cannot_tell=self._cannot_tell(profiles, shows, anchored),
            fitted=fitted,
        )

    def _shows_power(self) -> list[bool]:
        """Return which firings show their power by themselves, not by the path alone."""
        path = np.linalg.inv(self.prior[self.of_powers, self.of_powers])
        shown = []
        for i in range(self.count):
            own = self.information[SHARED + i, SHARED + i]
            shown.append(bool(own > 0.0 and own * path[i, i] > OWN_SAY))
        return shown

    def _scale(self, powers: FloatArray, loads: FloatArray) -> tuple[float, bool, float]:
        """Return the one factor on all heat, whether a meter fixes it, and power's level error."""
        metered = []
        for i, record in enumerate(self.records):
            residuals = RecordResiduals(self.base, record)
            if not residuals.is_metered or record.kwh is None:
                continue
            need, full = residuals.sides(Multipliers(1.0, self.wall, 1.0, self.leak))
            known = np.isfinite(record.duty)
            used = np.where(known, powers[i] * full * np.nan_to_num(record.duty), need)
            metered.append(math.log(record.kwh * JOULES_PER_KWH / float(used.sum())))
        own = float(self.covariance[self.of_powers, self.of_powers][-1, -1]) / powers[-1] ** 2
        if metered:
            return math.exp(median(np.array(metered))), True, math.sqrt(own + METER_ERROR**2)
        # One factor leaves every log unchanged: the file's power, walls and losses settle it.
        logs = np.log([powers[0], 1.0, self.wall, max(self.leak, 0.05), float(np.mean(loads))])
        spread = np.array([RATED_SCATTER, RATED_SCATTER, 0.25, LEAK_PRIOR, LOAD_PRIOR])
        weight = spread**-2.0
        factor = math.exp(-float(weight @ logs) / float(weight.sum()))
        return factor, False, math.sqrt(own + 1.0 / float(weight.sum()))

    def _errors(self) -> tuple[float, ...]:
        """Return how far power, walls, capacity and leak may be off together, as files have it."""
        pick = np.zeros((4, self.found.size))
        pick[0, SHARED + self.count - 1] = 1.0 / self.found[SHARED + self.count - 1]
        pick[1, WALL], pick[3, LEAK] = 1.0, 1.0 / max(self.leak, 0.05)
        covariance = pick @ self.covariance @ pick.T + MODEL_SCATTER**2 * np.eye(4)
        factor = np.linalg.cholesky(covariance)
        return tuple(
            float(np.clip(row[j], -9.0, 9.0)) for i, row in enumerate(factor) for j in range(i + 1)
        )

    def _profiles(self, loads: FloatArray) -> tuple[Profile, ...]:
        """Return what the logs alone say of walls, moving air and the usual load."""
        low, high = self._wall_profile()
        walls = Profile("walls", self.wall, low, high, self._narrows(low, high, WALL_PRIOR))
        found = [walls]
        usual = np.zeros(self.found.size)
        usual[self.of_loads] = 1.0 / self.count
        air = np.zeros(self.found.size)
        air[LEAK] = 1.0
        for name, along, value, prior in (
            ("moving air", air, self.leak, LEAK_PRIOR),
            ("usual load", usual, float(np.mean(loads)), LOAD_PRIOR),
        ):
            variance = float(along @ self.covariance @ along)
            # Without what was expected of it beforehand.
            alone = 1.0 / max(1.0 / variance - prior**-2.0, 1e-6)
            half = NINETY * math.sqrt(alone)
            low, high = max(value - half, 0.0), value + half
            found.append(Profile(name, value, low, high, self._narrows(low, high, prior)))
        return tuple(found)

    @staticmethod
    def _narrows(low: float, high: float, prior: float) -> bool:
        return high - low < 2.0 * NINETY * TOLD * prior

    def _wall_profile(self) -> tuple[float, float]:
        """Return the walls that fit as well, all else found anew for each of them."""
        free = np.arange(1, self.found.size)
        pull = (self.prior @ self._expected())[free]
        squares = []
        factors = np.array(PROFILE)
        for factor in PROFILE:
            marks, needed, _, _ = self._marks(self.wall * factor, slopes=False)
            marks = marks[:, free] * self.weights[:, None]
            needed = needed * self.weights
            prior = self.prior[np.ix_(free, free)]
            found = np.linalg.solve(marks.T @ marks + prior, marks.T @ needed + pull)
            off, away = needed - marks @ found, found - self._expected()[free]
            squares.append(self.fewer * float(off @ off) + float(away @ prior @ away))
        finer = np.linspace(math.log(factors[0]), math.log(factors[-1]), 241)
        curve = np.interp(finer, np.log(factors), np.array(squares) - min(squares))
        inside = finer[curve <= PROFILE_CHI2]
        return self.wall * math.exp(inside[0]), self.wall * math.exp(inside[-1])

    def _cannot_tell(
        self, profiles: Sequence[Profile], shows: Sequence[bool], anchored: bool
    ) -> tuple[str, ...]:
        said = []
        walls, air, load = profiles
        if not walls.told or not air.told:
            said.append(
                f"Walls and moving air are not separated: walls from {walls.low:.2f} to "
                f"{walls.high:.2f} times the kiln file's fit as well. A log that runs down to "
                "100 °C shows them apart."
            )
        if not load.told:
            said.append(
                f"The usual load is not known: {load.low:.1f} to {load.high:.1f} times a typical "
                "one fits as well. One weighed load, kept with --load, shows it."
            )
        if not any(shows):
            said.append(
                "No firing shows the power. Log the controller's output, or keep one that ran "
                "short of power."
            )
        if not anchored:
            said.append(
                "Only ratios are known, and kWh are not. One meter reading, kept with --kwh, "
                "fixes them."
            )
        return tuple(said)


OWN_SAY = 4.0
"""A firing shows its power if it says so many times more of it than its path does."""
