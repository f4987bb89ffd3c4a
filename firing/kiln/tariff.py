"""The electricity a firing takes, what it costs by day and hour, and when it would cost least.

Prices hold on the clock of the user's place; energy is used on the time line.  So every price is
looked up for moments of the time line as that place's clock shows them, through changes to and from
summer time.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, time

import numpy as np

from firing.arguments import check_fields
from firing.clock import after, require_zone
from firing.errors import FiringError
from firing.kiln.simulation import JOULES_PER_KWH, Simulation
from firing.serialise import OMITTED, Serialised, named
from firing.trace import FloatArray


@dataclass(frozen=True, slots=True)
class Energy(Serialised):
    """Electricity of one firing.

    Attributes
    ----------
    kwh : float
        Energy of the whole firing [kWh].
    lost_kwh, stored_kwh : float
        What has left through walls and air, and what is still in the kiln at the end [kWh].
    mean_amps : float
        Mean line current from the start until the elements are last on [A].
    peak_amps : float
        The line current with the elements switched on, at its largest [A].
    mean_duty : float
        Mean share of full power over the same time, 0 to 1.
    powered_s : float
        From the start until the elements are last on [s].
    """

    kwh: float = field(metadata=named("energy_kwh"))
    lost_kwh: float = field(metadata=OMITTED)
    stored_kwh: float = field(metadata=OMITTED)
    mean_amps: float
    peak_amps: float
    mean_duty: float
    powered_s: float


def energy_of(run: Simulation) -> Energy:
    """Return the electricity of a simulated firing.

    Elements are resistors, so current and voltage are in step and I = P/U, or P/(√3·U) in each line
    of a balanced three-phase supply.  Where banks are switched apart a line may carry other
    currents: what a circuit must bear is for the kiln's plate and a licensed electrician to say.
    """
    on = np.flatnonzero(run.power_w > 0.0)
    last = int(on[-1]) if on.size else 0
    powered_s = float(run.time_s[last])
    supplied_j = float(run.supplied_j[last])
    amps_per_w = run.kiln.full_amps / run.kiln.available_w
    mean_w = supplied_j / powered_s if powered_s else 0.0
    full_w = float(np.mean(run.full_w[on])) if on.size else 0.0
    return Energy(
        kwh=run.energy_kwh,
        lost_kwh=float(run.lost_j[-1]) / JOULES_PER_KWH,
        stored_kwh=float(run.stored_j[-1]) / JOULES_PER_KWH,
        mean_amps=mean_w * amps_per_w,
        peak_amps=float(run.full_w[on].max()) * amps_per_w if on.size else 0.0,
        mean_duty=mean_w / full_w if full_w else 0.0,
        powered_s=powered_s,
    )


@dataclass(frozen=True, eq=False)
class EnergyCourse:
    """Energy taken from the supply since the start: seconds and joules, both shape (n,)."""

    time_s: FloatArray
    supplied_j: FloatArray

    @property
    def kwh(self) -> float:
        """In all [kWh]."""
        return float(self.supplied_j[-1]) / JOULES_PER_KWH

    @property
    def powered_s(self) -> float:
        """Until nothing more is taken [s]."""
        taken = np.flatnonzero(self.supplied_j < self.supplied_j[-1] - 1.0)
        after = int(taken[-1]) + 1 if taken.size else 0
        return float(self.time_s[after])


def energy_course(run: Simulation) -> EnergyCourse:
    """Return a simulated firing's energy over time."""
    return EnergyCourse(run.time_s, run.supplied_j)


MINUTES_PER_DAY = 1440
DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
EVERY_DAY = frozenset(range(7))
START_STEP_S = 900.0
LONGEST_WINDOW_S = 14 * 86400.0


@dataclass(frozen=True, slots=True)
class Period:
    """When a price holds.

    Attributes
    ----------
    price_per_kwh : float
        In the tariff's currency.
    days : frozenset of int
        Days of the week on which it begins, 0 for Monday.
    from_min, to_min : int
        Minutes after midnight; a period that ends before it begins runs past midnight, and belongs
        to the day it began on.
    """

    price_per_kwh: float
    days: frozenset[int] = EVERY_DAY
    from_min: int = 0
    to_min: int = MINUTES_PER_DAY

    def holds(self, weekday: int, minute: int) -> bool:
        """Whether it holds on a day of the week (0 for Monday) at a minute after midnight."""
        if self.from_min < self.to_min:
            return weekday in self.days and self.from_min <= minute < self.to_min
        if minute >= self.from_min:
            return weekday in self.days
        return minute < self.to_min and (weekday - 1) % 7 in self.days


@dataclass(frozen=True, slots=True)
class Tariff:
    """Prices by day and hour; the first period that holds counts.

    Attributes
    ----------
    currency : str
        As it is printed: ``EUR``.
    periods : tuple of Period
        From the first to the last that is looked at.
    """

    currency: str
    periods: tuple[Period, ...]

    def __post_init__(self) -> None:
        check_fields(self)
        if not self.periods:
            raise FiringError("a tariff needs at least one period")

    def price_at(self, weekday: int, minute: int) -> float:
        """Return the price at a day of the week (0 for Monday) and minute after midnight."""
        for period in self.periods:
            if period.holds(weekday, minute):
                return period.price_per_kwh
        hour, rest = divmod(minute, 60)
        raise FiringError(
            f"the tariff has no price for {DAYS[weekday]} {hour:02d}:{rest:02d}; end it with a "
            "period that leaves out days and hours"
        )

    @property
    def grid_s(self) -> float:
        """Prices change at multiples of this only, on any clock [s].

        Clocks differ from universal time by whole quarters of an hour.
        """
        edges = [edge for period in self.periods for edge in (period.from_min, period.to_min)]
        return 60.0 * math.gcd(15, *edges)


@dataclass(frozen=True, slots=True)
class Cost(Serialised):
    """What a firing costs, and how much of it at each price.

    Attributes
    ----------
    amount : float
        In `currency`.
    currency : str
        As the tariff names it.
    kwh_by_price : tuple of (float, float)
        Price and the energy taken at it [kWh], cheapest first.
    """

    amount: float
    currency: str
    kwh_by_price: tuple[tuple[float, float], ...]


@dataclass(frozen=True, eq=False)
class _Prices:
    """Prices over a stretch of the time line: edges (n + 1,) as POSIX seconds, and prices (n,)."""

    edges_s: FloatArray
    price: FloatArray


def _prices(tariff: Tariff, first: datetime, length_s: float) -> _Prices:
    grid_s = tariff.grid_s
    begin_s = math.floor(first.timestamp() / grid_s) * grid_s
    count = math.ceil((first.timestamp() + length_s - begin_s) / grid_s) + 1
    edges_s = np.asarray(begin_s + grid_s * np.arange(count + 1), dtype=np.float64)
    prices = []
    for edge_s in edges_s[:-1]:
        local = after(first, float(edge_s) - first.timestamp())
        prices.append(tariff.price_at(local.weekday(), 60 * local.hour + local.minute))
    return _Prices(edges_s, np.array(prices))


def _kwh_in(course: EnergyCourse, prices: _Prices, started: datetime) -> FloatArray:
    taken_j = np.interp(prices.edges_s - started.timestamp(), course.time_s, course.supplied_j)
    kwh: FloatArray = np.diff(taken_j) / JOULES_PER_KWH
    return kwh


def cost(course: EnergyCourse, started: datetime, tariff: Tariff) -> Cost:
    """Return what a firing costs."""
    require_zone(started)
    prices = _prices(tariff, started, course.powered_s)
    kwh = _kwh_in(course, prices, started)
    rows = tuple(
        (float(price), float(kwh[prices.price == price].sum())) for price in np.unique(prices.price)
    )
    amount = float(np.dot(kwh, prices.price))
    return Cost(amount, tariff.currency, tuple(row for row in rows if row[1] > 0.0))


@dataclass(frozen=True, slots=True)
class StartChoice:
    """A moment to start, and what the firing then costs."""

    started: datetime
    cost: Cost


def _starts(earliest: datetime, latest: datetime, step_s: float) -> list[datetime]:
    require_zone(earliest)
    require_zone(latest)
    window_s = latest.timestamp() - earliest.timestamp()
    if window_s < 0:
        raise FiringError("the window for the start ends before it begins; swap its two moments")
    if window_s > LONGEST_WINDOW_S:
        raise FiringError(
            f"a window of {window_s / 86400.0:.0f} days is longer than "
            f"{LONGEST_WINDOW_S / 86400.0:.0f} days; give a shorter one"
        )
    return [after(earliest, step_s * i) for i in range(int(window_s / step_s) + 1)]


def cheapest_start(
    course: EnergyCourse,
    tariff: Tariff,
    earliest: datetime,
    latest: datetime,
    *,
    step_s: float = START_STEP_S,
) -> StartChoice:
    """Return the start inside a window that costs least; the earliest of equals.

    Both ends of the window count as starts; one longer than two weeks is refused.
    """
    starts = _starts(earliest, latest, step_s)
    window_s = starts[-1].timestamp() - earliest.timestamp()
    prices = _prices(tariff, earliest, window_s + course.powered_s)
    amounts = [float(np.dot(_kwh_in(course, prices, s), prices.price)) for s in starts]
    # Starts whose costs differ by less than a millionth cost the same.
    limit = min(amounts) + 1e-6 * max(1.0, abs(min(amounts)))
    best = next(s for s, amount in zip(starts, amounts, strict=True) if amount <= limit)
    return StartChoice(best, cost(course, best, tariff))


def waking_starts(
    peak_from_s: float,
    peak_to_s: float,
    awake: tuple[time, time],
    earliest: datetime,
    latest: datetime,
    *,
    also_s: Sequence[float] = (),
    step_s: float = START_STEP_S,
) -> tuple[tuple[datetime, datetime], ...]:
    """Return the starts inside a window that put the peak into waking hours, as stretches.

    Each is a first and a last start.  `peak_from_s`, `peak_to_s` and `also_s`, other moments that
    somebody must be up for, count from the start.  Waking hours may run past midnight.
    """
    if peak_to_s < peak_from_s:
        raise FiringError("the peak ends before it begins")
    up = Period(0.0, EVERY_DAY, _minute(awake[0]), _minute(awake[1]) or MINUTES_PER_DAY)
    found: list[tuple[datetime, datetime]] = []
    going = False
    for start in _starts(earliest, latest, step_s):
        moments = [after(start, at_s) for at_s in (peak_from_s, peak_to_s, *also_s)]
        fits = all(up.holds(m.weekday(), 60 * m.hour + m.minute) for m in moments)
        # A peak that outlasts the night begins and ends awake, yet is not watched.
        fits = fits and peak_to_s - peak_from_s <= 60.0 * _length_min(up)
        if fits and going:
            found[-1] = (found[-1][0], start)
        elif fits:
            found.append((start, start))
        going = fits
    return tuple(found)


def _minute(moment: time) -> int:
    return 60 * moment.hour + moment.minute


def _length_min(period: Period) -> int:
    return (period.to_min - period.from_min) % MINUTES_PER_DAY or MINUTES_PER_DAY
