"""How a kiln's elements wear, firing by firing, and when its peak goes out of reach.

Power over losses falls as elements wear.  A vent or a wall that changed makes it fall too, but
shows in the cooling, where no element gives heat; a bank that failed falls at once.  Both are
breaks that no wear is read into.  Some thousand particles each hold a pace, an acceleration and a
random walk of their own; how well they foretold the firings so far is their weight, and where
their paths fall below the power that the peak needs is the answer (``wear-forecast-choices``).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Literal

import numpy as np

from firing.logbook.measure import Measure
from firing.logbook.record import Event, Firing, each_once
from firing.logbook.sensor import NEW_SENSOR, Kept, Sensor, sensor_of
from firing.serialise import Serialised, named
from firing.trace import FloatArray, median

NEW_ELEMENTS = "new elements"
MENDED = ("relay", "repair")
"""Events at which the power may jump without anything being worn."""

LEAST_FIRINGS = 6
"""So many firings must tell power over losses before anything is foretold."""
REPLACED = math.log(1.10)
"""Power that is lost when elements are replaced by the common rule, as a logarithm; source
element-replacement-practice."""
LIFE, LIFE_SPREAD = 250.0, 0.75
"""Firings until then, and their spread as a logarithm: 150 to 400 and more; anecdotal."""
BEND, BEND_SPREAD = 1.3, 0.6
"""Wear goes with so high a power of the age: slower or faster with age; wear-forecast-choices."""
WALK, WALK_SPREAD = 0.0012, 0.8
"""What wanders from one firing to the next, as a share of the power; likewise."""
NOISE_SPREAD = 0.35
"""How far a firing's standard error may be wrong, as a logarithm; likewise."""
DEGREES_OF_FREEDOM = 5.0
"""Of Student's t, so that one odd firing does not move the rest."""
PACE_SPREAD = 0.27
"""How far the wear to come departs from a law that fits the wear so far, as a logarithm."""
FAILS, FAILS_BY = 0.0006, (0.03, 0.25)
"""How often a firing costs a part of a bank, and how much of the power then; likewise."""
PARTICLES, HORIZON = 3000, 1000
KIND_APART_C, KIND_SPREAD = 40.0, 0.03
"""Peaks further apart are firings of another kind, whose level the model puts elsewhere."""
BREAK = 0.3
"""How far a level may jump at a break, as a logarithm."""
STEP_LEAST, LOSSES_LEAST, SURE = 0.05, 0.05, 4.5
"""Least jumps of power and of losses that are spoken of, as shares, and their standard errors."""
SIDE = 4
"""Firings on either side that a jump is seen by."""
NEAR_END = 12
"""So many firings show the level at either end of a series, and how fast it moves there."""
AROUND, APART = 8, 3.0
"""Firings on either side whose losses are the usual ones, and from how many standard deviations on
one stands apart."""
BARELY_C_PER_H = 15.0
"""A ramp with all the power there is needs no rate; slower than this no peak is reached."""
RECENT = 12

BreakKind = Literal["losses", "power"]


@dataclass(frozen=True, slots=True)
class Break(Serialised):
    """Where a kiln changed at once: the first firing after it, what, and by what share."""

    at: datetime
    kind: BreakKind
    share: float
    number: int = field(metadata=named("firing"))


@dataclass(frozen=True, slots=True)
class WearPoint(Serialised):
    """One firing of the trend; power as a share of the first that tells it, None where not told."""

    when: datetime
    power: float | None
    power_se: float | None
    losses: float | None
    climb_left_c_per_h: float | None
    peak_c: float


@dataclass(frozen=True, slots=True)
class ElementWear(Serialised):
    """What a kiln's firings since its last new elements show.

    Attributes
    ----------
    points : tuple of WearPoint
        Every firing since then.
    since : datetime or None
        When the elements were new; None where no such event is kept.
    firings, informative : int
        Firings since, and those that tell power over losses.
    power_down, power_down_se : float or None
        Share of power that the elements lost from the first firing that tells it to the last,
        losses' changes left out.
    breaks : tuple of Break
        Where losses or power changed at once.
    climb_left_c_per_h, planned_rate_c_per_h, peak_c : float or None
        What is left at the peak that needs most, now; the planned last rate there, and the peak.
    firings_left, firings_left_low, firings_left_high : int or None
        Until the peak goes out of reach at that rate: half of all chances, and 80 % between; None
        where that is further off than `HORIZON`, or not foretold.
    foretold : bool
        Whether anything is foretold.
    out_of_reach : bool
        Whether the peak is out of reach already.
    a_month : float or None
        Firings a month of late.
    not_yet : str
        Why nothing is foretold, and what would show it.
    apart : int
        Firings left out because their losses stand apart from those around them, as with an open
        vent.
    """

    points: tuple[WearPoint, ...]
    since: datetime | None
    firings: int
    informative: int
    power_down: float | None = None
    power_down_se: float | None = None
    breaks: tuple[Break, ...] = ()
    climb_left_c_per_h: float | None = None
    planned_rate_c_per_h: float | None = None
    peak_c: float | None = None
    firings_left: int | None = None
    firings_left_low: int | None = None
    firings_left_high: int | None = None
    foretold: bool = False
    out_of_reach: bool = False
    a_month: float | None = None
    not_yet: str = ""
    apart: int = 0

    @property
    def shows(self) -> bool:
        """Whether any wear shows yet; else what is foretold is what elements usually last."""
        down, se = self.power_down, self.power_down_se
        return down is not None and se is not None and down > WEAR_SHOWS * se

    def on(self, firings: int | None) -> datetime | None:
        """Return about when a firing so many on is fired, at the pace of late."""
        if firings is None or self.a_month is None or not self.points:
            return None
        days = firings / self.a_month * DAYS_A_MONTH
        return None if days > 3650.0 else self.points[-1].when + timedelta(days=days)


DAYS_A_MONTH = 30.44
WEAR_SHOWS = 2.0
"""Wear shows from so many standard errors on."""


def wear_of(kept: Sequence[Kept]) -> ElementWear:
    """Return how a kiln's elements wear, from all its firings in any order."""
    in_order = sorted(kept, key=lambda one: one[0])
    starts = [i for i, (_, _, events) in enumerate(in_order) if NEW_ELEMENTS in events]
    life = in_order[starts[-1] if starts else 0 :]
    since = life[0][0] if starts else None
    informative = [i for i, (_, m, _) in enumerate(life) if m.informative]
    told = _alike(life, informative) if informative else []
    series = _Series(life, told)
    points = series.points()
    a_month = _a_month([when for when, _, _ in life])
    bare = ElementWear(
        points, since, len(life), len(told), a_month=a_month, apart=len(informative) - len(told)
    )
    if len(told) < LEAST_FIRINGS:
        return replace(bare, not_yet=_not_yet(life, told))
    down, down_se = series.power_down()
    bare = replace(bare, breaks=series.breaks(), power_down=down, power_down_se=down_se)
    needed = series.needed()
    if needed is None:
        why = "no firing shows what its peak needs; review firings against their plans"
        return replace(bare, not_yet=why)
    passed, level = series.first_passage(needed, fresh=since is not None)
    low, middle, high = np.quantile(passed, (0.1, 0.5, 0.9), method="inverted_cdf").tolist()
    climb = series.climb_at(needed, level)
    rate = BARELY_C_PER_H if needed.rate_c_per_h is None else needed.rate_c_per_h
    at_last = series.measures[-1].climb_left_c_per_h if series.kind[-1] == needed.kind else None

    def within(firings: float) -> int | None:
        return None if firings > HORIZON else int(firings)

    return replace(
        bare,
        climb_left_c_per_h=climb,
        planned_rate_c_per_h=needed.rate_c_per_h,
        peak_c=needed.peak_c,
        firings_left=within(middle),
        firings_left_low=within(low),
        firings_left_high=within(high),
        foretold=True,
        # What the last firing still climbed at is within reach, whatever the model makes of it.
        out_of_reach=middle == 0.0
        and (climb is None or climb < rate)
        and (at_last is None or at_last < rate),
    )


@dataclass(frozen=True, slots=True)
class Trends(Serialised):
    """What a kiln's kept firings say of its elements and of its thermocouple.

    Attributes
    ----------
    kiln : str
        Its name.
    wear : ElementWear
        Power over losses, and when the peak goes out of reach.
    sensor : Sensor
        Offsets by witness cones, and hours in the heat.
    """

    kiln: str
    wear: ElementWear
    sensor: Sensor

    @property
    def needs_action(self) -> bool:
        """Whether the peak is out of reach, or so nearly that it may be at any firing."""
        left = self.wear.firings_left
        return self.wear.out_of_reach or (left is not None and left <= NEARLY)

    def __repr__(self) -> str:
        """Return firings, power and firings left, on one line."""
        wear = self.wear
        left = "not foretold"
        if wear.foretold:
            left = f"{wear.firings_left} left ({wear.firings_left_low}-{wear.firings_left_high})"
        several = "1 firing" if wear.firings == 1 else f"{wear.firings} firings"
        return f"<Trends {self.kiln!r}: {several}, {left}>"


NEARLY = 10


def trends_of(kiln: str, firings: Sequence[Firing], events: Sequence[Event]) -> Trends:
    """Return a kiln's trends from its kept firings and from what was done to it, in any order."""
    in_order = each_once(f for f in firings if f.measure is not None)
    left = sorted(events, key=lambda event: event.at_s)
    kept: list[Kept] = []
    for firing in in_order:
        before = [event for event in left if event.at_s <= firing.started_at]
        left = left[len(before) :]
        done = tuple(event.kind for event in before)
        kept.append((firing.started, Measure.from_dict(dict(firing.measure or {})), done))
    # What was done since the last firing begins anew, too.
    late = {event.kind for event in left}
    sensor = sensor_of([] if NEW_SENSOR in late else kept)
    asked = [
        firing.id
        for firing, (when, told, _) in zip(in_order, kept, strict=True)
        if firing.witnesses and not told.offsets and (sensor.since is None or when >= sensor.since)
    ]
    if NEW_SENSOR not in late:
        sensor = replace(sensor, left_out=tuple(asked))
    return Trends(kiln, wear_of([] if NEW_ELEMENTS in late else kept), sensor)


def _a_month(days: Sequence[datetime]) -> float | None:
    late = days[-RECENT:]
    span = (late[-1] - late[0]).total_seconds() / 86400.0 if late else 0.0
    return None if span < 1.0 else (len(late) - 1) / span * DAYS_A_MONTH


def _alike(life: Sequence[Kept], told: Sequence[int]) -> list[int]:
    """Return the firings that tell, but for single ones whose losses stand apart from the others'.

    A vent that stood open for one firing takes power that no element lost.  Only firings of one
    kind compare.
    """
    measures = [life[i][1] for i in told]
    losses = np.array([math.log(m.losses or math.nan) for m in measures])
    kinds = _kinds([m.planned_peak_c or m.peak_c for m in measures])
    off = np.zeros(losses.size)
    for kind in set(kinds.tolist()):
        mine = np.flatnonzero((kinds == kind) & np.isfinite(losses))
        if mine.size >= LEAST_FIRINGS:
            x = losses[mine]
            around = [median(x[max(i - AROUND, 0) : i + AROUND + 1]) for i in range(x.size)]
            off[mine] = x - np.array(around)
    apart = np.abs(off) > max(LOSSES_LEAST, APART * 1.4826 * float(np.median(np.abs(off))))
    return [i for i, far in zip(told, apart.tolist(), strict=True) if not far]


def _not_yet(life: Sequence[Kept], told: Sequence[int]) -> str:
    """Return what is missing, and what would show it."""
    if not life:
        return "no firing is kept since the elements were new"
    some = f"{len(told)} of the {LEAST_FIRINGS} firings it takes show the power"
    without = sum(1 for _, m, _ in life if m.output == "none")
    if without > len(life) // 2:
        return f"{some}; log the controller's output, or keep logs that ran short of power"
    return f"{some}; keep more logs, from cold to cold"


@dataclass(frozen=True, slots=True)
class _Needed:
    """Power over losses that a peak needs at its rate, as a logarithm, with what it scatters by."""

    level: float
    se: float
    kind: int
    rate_c_per_h: float | None
    peak_c: float
    firings: int


class _Series:
    """The firings of one life: those that tell, as logarithms, kinds and breaks taken out."""

    def __init__(self, life: Sequence[Kept], told: Sequence[int]) -> None:
        self.life, self.told = life, list(told)
        measures = [life[i][1] for i in told]
        self.measures = measures
        self.number = np.array(told, dtype=np.float64)
        self.raw = np.log([m.power_over_loss or 1.0 for m in measures])
        self.se = np.array([m.power_over_loss_se or 0.01 for m in measures])
        self.kind = _kinds([m.planned_peak_c or m.peak_c for m in measures])
        self.steps = self._find_steps() if len(told) >= LEAST_FIRINGS else []
        self.shift, self.fallen = np.zeros(self.raw.size), np.zeros(self.raw.size)
        self.level, self.level_se = self._without_kinds()

    def _find_steps(self) -> list[tuple[int, BreakKind, float]]:
        """Return breaks as number among those that tell, kind, and jump as a logarithm."""
        losses = np.log([m.losses or math.nan for m in self.measures])
        of_losses = jumps(self._of_main_kind(losses), LOSSES_LEAST)
        found: list[tuple[int, BreakKind, float]] = [(i, "losses", by) for i, by in of_losses]
        near = {j for i, _ in of_losses for j in range(i - 2, i + 3)}
        for i, by in jumps(self._of_main_kind(self.raw), STEP_LEAST):
            if i not in near:
                found.append((i, "power", by))
        return sorted(found)

    def _of_main_kind(self, raw: FloatArray) -> FloatArray:
        """Return a series with every kind brought to one by its median difference."""
        level = raw.copy()
        main = int(np.bincount(self.kind).argmax())
        for kind in set(self.kind.tolist()) - {main}:
            mine, other = np.flatnonzero(self.kind == kind), np.flatnonzero(self.kind == main)
            nearest = other[np.abs(mine[:, None] - other[None, :]).argmin(axis=1)]
            level[mine] -= float(np.nanmedian(raw[mine] - raw[nearest]))
        return level

    def _without_kinds(self) -> tuple[FloatArray, FloatArray]:
        """Return the levels as those of the most usual kind, and their errors.

        Kinds differ by what the model leaves out, the same each time.  What breaks did is found
        beside them, apart from the wear meanwhile.
        """
        if not self.raw.size:
            return self.raw, self.se
        main = int(np.bincount(self.kind).argmax())
        others = [kind for kind in np.unique(self.kind).tolist() if kind != main]
        age = (self.number - self.number.mean()) / max(float(np.ptp(self.number)), 1.0)
        columns = [np.ones_like(age), age, age**2]
        after = [(np.arange(age.size) >= i).astype(np.float64) for i, _, _ in self.steps]
        columns += [*after, *((self.kind == kind).astype(np.float64) for kind in others)]
        design = np.stack(columns, axis=1)
        prior = np.array([1.0, 1.0, 0.3, *(BREAK for _ in after), *(KIND_SPREAD for _ in others)])
        weighted = design / self.se[:, None] ** 2
        covariance = np.linalg.inv(design.T @ weighted + np.diag(prior**-2.0))
        found = covariance @ (weighted.T @ self.raw)
        for place, ((_, kind, _), column) in enumerate(
            zip(self.steps, after, strict=True), start=3
        ):
            jumped = self.shift if kind == "losses" else self.fallen
            jumped += found[place] * column
        level, error = self.raw.copy(), self.se.copy()
        for place, other in enumerate(others, start=3 + len(after)):
            mine = self.kind == other
            level[mine] -= found[place]
            error[mine] = np.hypot(error[mine], math.sqrt(covariance[place, place]))
        return level, error

    def breaks(self) -> tuple[Break, ...]:
        return tuple(
            Break(self.life[self.told[i]][0], kind, math.expm1(by), self.told[i] + 1)
            for i, kind, by in self.steps
        )

    def points(self) -> tuple[WearPoint, ...]:
        if self.told:
            power = np.exp(self.level - self.shift - self._ends()[0])
        at = {number: place for place, number in enumerate(self.told)}
        return tuple(
            WearPoint(
                when,
                float(power[at[i]]) if i in at else None,
                float(power[at[i]] * self.level_se[at[i]]) if i in at else None,
                m.losses,
                m.climb_left_c_per_h,
                m.peak_c,
            )
            for i, (when, m, _) in enumerate(self.life)
        )

    def power_down(self) -> tuple[float, float]:
        """Return the share of power lost from the first firing to the last, and its error."""
        begin, end = self._ends()
        near = min(NEAR_END, self.raw.size)
        # A line's rise over so many firings, by least squares; a median's is a bit rougher.
        rough = 1.1 * math.sqrt(12.0 * (near - 1.0) / (near * (near + 1.0)))
        return -math.expm1(end - begin), math.exp(end - begin) * rough * float(
            np.median(self.level_se)
        )

    def _ends(self) -> tuple[float, float]:
        """Return the levels at the first firing that tells and at the last, by those near each.

        A mean of the first few is the level in their middle: of eight firings that leaves out
        nearly half of the wear.  What fell at once is no slope.
        """
        steady = self.level - self.shift - self.fallen
        begin = _line_at(self.number[:NEAR_END], steady[:NEAR_END], self.number[0])
        end = _line_at(self.number[-NEAR_END:], steady[-NEAR_END:], self.number[-1])
        return begin + float(self.fallen[0]), end + float(self.fallen[-1])

    def needed(self) -> _Needed | None:
        """Return what the hottest of the usual peaks needs, by the latest firings of its kind."""
        found: list[_Needed] = []
        for kind in np.unique(self.kind).tolist():
            mine = [
                i
                for i in np.flatnonzero(self.kind == kind).tolist()
                if self.measures[i].climb_left_c_per_h is not None
                and self.measures[i].climb_per_power_c_per_h is not None
            ][-RECENT:]
            if not mine:
                continue
            last = self.measures[mine[-1]]
            rate = last.planned_rate_c_per_h
            levels = []
            for i in mine:
                spare = self._spare(self.measures[i], rate)
                if spare is not None:
                    levels.append(float(self.level[i]) + spare)
            if not levels:
                continue
            scatter = 1.4826 * median(np.abs(np.array(levels) - median(np.array(levels))))
            # Few firings don't show what loads differ by.
            scatter = math.hypot(scatter, LOADS_DIFFER / math.sqrt(len(levels)))
            peak_c = last.planned_peak_c or last.peak_c
            found.append(
                _Needed(
                    median(np.array(levels)),
                    1.25 * scatter / math.sqrt(len(levels)),
                    kind,
                    rate,
                    peak_c,
                    len(levels),
                )
            )
        usual = [one for one in found if one.firings > 1] or found
        return max(usual, key=lambda one: one.peak_c) if usual else None

    def _mended(self) -> set[int]:
        """Return the first firings that tell after a repair."""
        mended = [i for i, (_, _, events) in enumerate(self.life) if set(events) & set(MENDED)]
        return {int(np.searchsorted(self.number, i)) for i in mended}

    @staticmethod
    def _spare(m: Measure, rate_c_per_h: float | None) -> float | None:
        """Return the logarithm of the share of its power that a firing's peak needed."""
        rate = BARELY_C_PER_H if rate_c_per_h is None else rate_c_per_h
        climb, slope = m.climb_left_c_per_h, m.climb_per_power_c_per_h
        if climb is None or slope is None:
            return None
        share = 1.0 - (climb - rate) / slope
        return math.log(share) if 0.05 < share < 5.0 else None

    def climb_at(self, needed: _Needed, level: float) -> float | None:
        """Return the rate left at that peak at a level of power [°C/h], by the latest firings."""
        left = [
            m.climb_left_c_per_h + m.climb_per_power_c_per_h * math.expm1(level - was)
            for m, kind, was in zip(
                self.measures, self.kind.tolist(), self.level.tolist(), strict=True
            )
            if kind == needed.kind
            and m.climb_left_c_per_h is not None
            and m.climb_per_power_c_per_h is not None
        ]
        return median(np.array(left[-RECENT:])) if left else None

    def first_passage(self, needed: _Needed, *, fresh: bool) -> tuple[FloatArray, float]:
        """Return in how many firings each particle's power falls below what is needed.

        And the level now, by all of them.
        """
        random = np.random.default_rng(SEED)
        size = PARTICLES
        life = LIFE * np.exp(LIFE_SPREAD * random.standard_normal(size))
        bend = BEND * np.exp(BEND_SPREAD * random.standard_normal(size))
        walk = WALK * np.exp(WALK_SPREAD * random.standard_normal(size))
        noise = np.exp(NOISE_SPREAD * random.standard_normal(size))
        began = np.zeros(size) if fresh else random.uniform(0.0, 1.0, size) * life

        def worn(age: FloatArray | float) -> FloatArray:
            lost: FloatArray = REPLACED * ((began + age) / life) ** bend
            return lost

        mean, variance = np.full(size, self.level[0]) + worn(0.0), np.full(size, 0.01)
        chance = np.zeros(size)
        broken = {i for i, _, _ in self.steps} | self._mended()
        before = self.number[0]
        freedom = DEGREES_OF_FREEDOM
        for i, (number, level, se) in enumerate(
            zip(self.number, self.level, self.level_se, strict=True)
        ):
            variance = variance + walk**2 * (number - before)
            if i in broken:
                variance = variance + BREAK**2
            before = number
            error = (noise * se) ** 2
            spread = variance + error
            off = level + worn(number) - mean
            z2 = off**2 / spread
            chance -= 0.5 * np.log(spread) + 0.5 * (freedom + 1.0) * np.log1p(z2 / freedom)
            error = error * np.maximum((freedom + z2) / (freedom + 1.0), 1.0)
            gain = variance / (variance + error)
            mean = mean + gain * off
            variance = (1.0 - gain) * variance
        weight = np.exp(chance - chance.max())
        chosen = random.choice(size, size, p=weight / weight.sum())
        began, life, bend, walk = began[chosen], life[chosen], bend[chosen], walk[chosen]
        level = mean[chosen] + np.sqrt(variance[chosen]) * random.standard_normal(size)
        floor = needed.level + needed.se * random.standard_normal(size)
        now = float(len(self.life))
        level = level + walk * math.sqrt(now - 1.0 - before) * random.standard_normal(size)
        level_now = float(np.median(level - worn(now - 1.0)))
        passed = np.full(size, math.inf)
        passed[level - worn(now - 1.0) < floor] = 0.0
        ahead = np.concatenate((np.arange(1.0, 31.0), np.arange(32.0, HORIZON + 1.0, 4.0)))
        # No law holds for ever: what is to come is quicker or slower than the law says.
        pace = np.exp(PACE_SPREAD * random.standard_normal(size))
        at, base = 0.0, worn(now - 1.0)
        for step in ahead:
            span = step - at
            level = level + walk * math.sqrt(span) * random.standard_normal(size)
            fails = random.random(size) < FAILS * span
            if fails.any():
                level[fails] += np.log1p(-random.uniform(*FAILS_BY, int(fails.sum())))
            lost = base + pace * (worn(now - 1.0 + step) - base)
            below = (level - lost < floor) & np.isinf(passed)
            passed[below] = step
            at = step
        return passed, level_now


LOADS_DIFFER = 0.02
"""By so much the power that a peak needs differs from load to load, as a share; made firings."""
SEED = 8191


def _kinds(peaks_c: Sequence[float]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Return numbers from 0 for peaks that lie together."""
    if not peaks_c:
        return np.zeros(0, dtype=np.int64)
    order = np.argsort(peaks_c)
    apart = np.diff(np.array(peaks_c)[order], prepend=peaks_c[int(order[0])]) > KIND_APART_C
    kinds = np.zeros(len(peaks_c), dtype=np.int64)
    kinds[order] = np.cumsum(apart)
    return kinds


def _line_at(x: FloatArray, y: FloatArray, at: float) -> float:
    """Return the value at a place of a line through points, which one odd point doesn't move."""
    apart = x[:, None] - x[None, :]
    pairs = apart > 0.0
    slope = median((y[:, None] - y[None, :])[pairs] / apart[pairs]) if pairs.any() else 0.0
    return median(y - slope * (x - at))


def jumps(values: FloatArray, least: float) -> list[tuple[int, float]]:
    """Return where a series jumps and stays: the first value after, and by how much.

    The scatter is the series' own, between neighbours; both sides are medians of a few.
    """
    told = np.flatnonzero(np.isfinite(values))
    x = values[told]
    if x.size < 2 * (SIDE - 1):
        return []
    scatter = max(1.4826 * median(np.abs(np.diff(x))) / math.sqrt(2.0), 1e-4)
    found: list[tuple[int, float]] = []
    open_parts = [(0, x.size)]
    while open_parts:
        begin, end = open_parts.pop()
        best: tuple[float, int, float] | None = None
        for i in range(begin + SIDE - 1, end - SIDE + 2):
            before, after = x[max(i - SIDE, begin) : i], x[i : min(i + SIDE, end)]
            low, high = float(np.median(before)), float(np.median(after))
            sure = abs(high - low) / (1.25 * scatter * math.hypot(*_roots(before, after)))
            if abs(high - low) <= least or sure <= SURE:
                continue
            # Of neighbouring places the one that both sides agree with best.
            fit = abs(high - low) / (
                scatter + float(np.mean(np.abs(before - low)) + np.mean(np.abs(after - high)))
            )
            if best is None or fit > best[0]:
                best = fit, i, high - low
        if best is not None:
            found.append((int(told[best[1]]), best[2]))
            open_parts += [(begin, best[1]), (best[1], end)]
    return sorted(found)


def _roots(before: FloatArray, after: FloatArray) -> tuple[float, float]:
    return 1.0 / math.sqrt(before.size), 1.0 / math.sqrt(after.size)
