"""Lives of elements at the level of measures: wear by laws that the forecast does not assume.

Power falls with the resistance by one of seven laws; loads, supply, logging and the owner's habits
differ from life to life.  The truth is the first firing after which a usual load can no longer
climb at the planned rate.  Magnitudes are from memory, and none is the forecast's own.
"""

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from firing.logbook.measure import Measure
from firing.logbook.wear import NEW_ELEMENTS, Kept

LAWS = ("linear", "accelerating", "exponential", "saturating", "damaged", "irregular", "bathtub")
BEGIN = datetime(2024, 1, 8, 7, 30, tzinfo=UTC)
LONGEST = 900


@dataclass(frozen=True)
class Life:
    """One life: its firings, and after how many of them the peak was out of reach."""

    law: str
    kept: list[Kept]
    out_after: int
    power: np.ndarray


def resistance_rise(law: str, random: np.random.Generator) -> np.ndarray:
    """Return the rise of resistance, as a share of new, firing by firing."""
    n = np.arange(LONGEST, dtype=np.float64)
    life = float(np.exp(random.uniform(math.log(110.0), math.log(480.0))))
    age = n / life
    if law == "linear":
        return 0.10 * age
    if law == "accelerating":
        return 0.10 * age ** random.uniform(1.5, 2.4)
    if law == "exponential":
        k = random.uniform(1.0, 2.5)
        return 0.10 * (np.exp(k * age) - 1.0) / (math.exp(k) - 1.0)
    if law == "saturating":
        k = random.uniform(0.5, 1.2)
        return 0.10 * (1.0 - np.exp(-k * age)) / (1.0 - math.exp(-k))
    if law == "damaged":
        rise = 0.08 * age
        rise[n >= random.integers(20, 250)] += random.uniform(0.03, 0.09)
        return rise
    if law == "irregular":
        return np.cumsum(random.gamma(0.15, 0.10 / life / 0.15, LONGEST))
    return 0.04 * np.sqrt(age) + 0.06 * age**2.5


def make_life(law: str, random: np.random.Generator) -> Life:
    """Return one life that ends within `LONGEST` firings."""
    while True:
        power = 1.0 / (1.0 + resistance_rise(law, random))
        rate = float(random.choice((60.0, 75.0, 80.0, 100.0, 110.0)))
        need = float(np.exp(-random.uniform(0.05, 0.20)))
        below = np.flatnonzero(power < need)
        if below.size and 30 <= below[0] <= 600:
            kept = _kept(power[: below[0] + 80], need, rate, random)
            return Life(law, kept, int(below[0]), power)


def _kept(power: np.ndarray, need: float, rate: float, random: np.random.Generator) -> list[Kept]:
    logged, bisques = random.random() < 0.6, random.uniform(0.0, 0.5)
    noise = random.uniform(0.003, 0.008) if logged else random.uniform(0.005, 0.016)
    error = random.uniform(0.007, 0.011) if logged else random.uniform(0.012, 0.019)
    load_sd, steep = random.uniform(0.05, 0.2), random.uniform(220.0, 420.0)
    lost = need - rate / steep
    level, bias = float(np.exp(random.normal(0.0, 0.1))), float(np.exp(random.normal(0.0, 0.012)))
    moved, when = random.random() < 0.1, BEGIN
    vent_at = int(random.integers(20, 200)) if random.random() < 0.15 else LONGEST
    losses_noise = random.uniform(0.004, 0.03)
    found: list[Kept] = []
    for number in range(power.size):
        when += timedelta(days=float(random.exponential(6.0)) + 1.0)
        bisque = random.random() < bisques
        more = 1.12 if moved and number >= vent_at else 1.0
        at = power[number] / more
        load = float(np.clip(random.normal(1.0, load_sd), 0.5, 1.6))
        peak, wanted, base = (985.0, 130.0, 0.62 * lost) if bisque else (1225.0, rate, lost)
        slope = steep / (0.55 + 0.45 * load)
        seen = at * float(np.exp(noise * random.standard_normal()))
        if random.random() < 0.02:
            seen *= float(np.exp(0.04 * random.standard_normal()))
        spare = slope * (at - base) - wanted
        chance = 0.97 if logged else 1.0 / (1.0 + math.exp((spare - 40.0) / 20.0))
        tells = random.random() < chance
        climb = slope * (seen - base)
        found.append(
            (
                when,
                Measure(
                    power_over_loss=level * seen * (bias if bisque else 1.0) if tells else None,
                    power_over_loss_se=error if tells else None,
                    least_power_over_loss=None,
                    output="logged" if logged else "inferred" if tells else "none",
                    losses=more * float(np.exp(losses_noise * random.standard_normal())),
                    losses_se=0.06,
                    leak=0.0,
                    leak_se=0.1,
                    contents=load,
                    contents_se=0.1,
                    climb_left_c_per_h=climb if tells else None,
                    climb_per_power_c_per_h=slope * seen if tells else None,
                    planned_rate_c_per_h=wanted,
                    planned_peak_c=peak,
                    peak_c=peak,
                    reached=True,
                    heating_s=9.0 * 3600.0,
                    hours_above=(6.0, 2.5, 0.6),
                ),
                (NEW_ELEMENTS,) if number == 0 else (),
            )
        )
    return found


# -- a second generator -----------------------------------------------------------------------

OTHER_LAWS = ("an element lost", "power of hours", "by temperature", "seasons", "vent at times")
"""Of each, one thing is in every life; the others are rare in it, or not there."""
YEAR_D = 365.25


def make_other_life(law: str, random: np.random.Generator) -> Life:
    """Return one life of other laws, gaps and loads, that ends within `LONGEST` firings.

    Hours in the heat wear it, not firings.  Out of reach is when it first can't climb at the
    planned rate with the usual load, its vent closed and the mains as they are that day.
    """
    while True:
        count = LONGEST
        when = np.cumsum(random.gamma(2.0, random.uniform(1.0, 6.0), count) + 0.5)
        glaze_c = random.uniform(1180.0, 1280.0)
        bisque = random.random(count) < random.choice((0.0, 0.3, 0.5))
        peak_c = np.where(bisque, random.uniform(980.0, 1060.0), glaze_c)
        peak_c = peak_c + random.normal(0.0, 6.0, count)
        hours = np.where(bisque, 0.5, 1.0) * random.gamma(8.0, 1.0 / 8.0, count)
        life = float(random.uniform(90.0, 420.0))
        wears = "by temperature" if law == "by temperature" else (
            str(random.choice(("power of hours", "by temperature")))
            if law != "power of hours" else law
        )  # fmt: skip
        if wears == "by temperature":
            # Oxidation by Arrhenius' law, 220 to 320 kJ/mol from memory: a glaze wears most.
            over = random.uniform(220e3, 320e3) / 8.314
            hours = hours * np.exp(over * (1.0 / (glaze_c + 273.0) - 1.0 / (peak_c + 273.0)))
            exponent = random.choice((0.5, 1.0))
        else:
            exponent = random.uniform(0.7, 2.0)
        worn = np.concatenate(([0.0], np.cumsum(hours)[:-1]))
        power = 1.0 / (1.0 + 0.10 * (worn / life) ** exponent)
        if law == "an element lost" or random.random() < 0.03:
            lost = 1.0 / float(random.integers(6, 16))
            power[int(random.integers(15, 300)) :] *= 1.0 - lost
        if law == "seasons":
            year = 2.0 * np.pi * (when / YEAR_D + random.random())
            power *= (1.0 + random.uniform(0.01, 0.03) * np.cos(year)) ** 2
        power *= 1.0 + 0.002 * random.standard_normal(count)
        need = 1.0 - random.uniform(0.06, 0.22)
        below = np.flatnonzero(power / power[0] < need)
        if below.size and 25 <= below[0] <= 700:
            vented = random.random(count) < (0.25 if law == "vent at times" else 0.01)
            kept = _other_kept(power / power[0], when, peak_c, bisque, vented, need, random)
            return Life(law, kept[: below[0] + 80], int(below[0]), power)


def _other_kept(
    power: np.ndarray, when: np.ndarray, peak_c: np.ndarray, bisque: np.ndarray,
    vented: np.ndarray, need: float, random: np.random.Generator,
) -> list[Kept]:  # fmt: skip
    logged = random.random() < 0.5
    error = random.uniform(0.006, 0.012) if logged else random.uniform(0.012, 0.025)
    rate, steep = float(random.choice((50.0, 70.0, 90.0, 120.0))), random.uniform(180.0, 480.0)
    open_takes, heavy, load = random.uniform(0.05, 0.15), random.uniform(0.03, 0.25), 1.0
    level, losses_noise = float(np.exp(random.normal(0.0, 0.15))), random.uniform(0.01, 0.03)
    found: list[Kept] = []
    for number in range(power.size):
        # Loads of a season are alike; what a log says is off by its own error, rarely by more.
        load = float(np.clip(1.0 + 0.6 * (load - 1.0) + random.normal(0.0, heavy), 0.5, 1.7))
        more = 1.0 + open_takes * float(vented[number])
        wanted = 140.0 if bisque[number] else rate
        lost = (need - rate / steep) * (0.65 if bisque[number] else 1.0)
        slope = steep / (0.4 + 0.6 * load)
        off = random.standard_t(6.0) * error * random.choice((0.5, 1.0))
        seen = float(power[number]) / more * math.exp(off)
        left = slope * (seen - lost)
        short = left < wanted + float(random.uniform(0.0, 60.0))
        tells = bool(random.random() < 0.95) if logged else short
        planned_c = 1000.0 if bisque[number] else 1230.0
        told = Measure(
            power_over_loss=level * seen if tells else None,
            power_over_loss_se=error if tells else None,
            least_power_over_loss=None,
            output="logged" if logged else "inferred" if tells else "none",
            losses=more * math.exp(losses_noise * random.standard_normal()),
            losses_se=0.06,
            leak=0.0,
            leak_se=0.1,
            contents=load,
            contents_se=0.1,
            climb_left_c_per_h=left if tells else None,
            climb_per_power_c_per_h=slope * seen if tells else None,
            planned_rate_c_per_h=wanted,
            planned_peak_c=planned_c,
            peak_c=planned_c + float(peak_c[number] - peak_c[bisque == bisque[number]].mean()),
            reached=True,
            heating_s=9.0 * 3600.0,
            hours_above=(6.0, 2.5, 0.6),
        )
        day = BEGIN + timedelta(days=float(when[number]))
        found.append((day, told, (NEW_ELEMENTS,) if number == 0 else ()))
    return found
