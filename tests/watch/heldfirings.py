"""Firings held apart for the watch: another kiln, other controllers, and what may go wrong.

Nothing here is shared with the package, with `logmaker` or with the firings its alarms were tuned
by.  The kiln is a chamber that follows at once, ware, furniture and a wall in five shells; its
exchange goes with the cube of the temperature.  Controllers are of the kinds a studio meets: in
proportion, with a relay in cycles, and on/off with a swing; their clock waits or does not.
"""

import math
import random
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

import numpy as np
from watch.madefirings import Heard

from firing.capture.reading import PlausibilityCheck, Reading, Status
from firing.forecast.forecast import forecast
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray
from firing.watch.events import AlarmLimits
from firing.watch.predictor import ForecastPredictor
from firing.watch.watcher import Watcher

HOUR_S = 3600.0
STEP_S = 10.0
ROOM_C = 20.0
Steps = tuple[tuple[float, float, float], ...]
"""Rate [°C/h], target [°C] and hold [s] of each segment."""
Control = Literal["proportional", "cycled", "on/off", "wide on/off"]
CONTROLS: tuple[Control, ...] = ("proportional", "cycled", "on/off", "wide on/off")
SWING_C = {"on/off": 1.5, "wide on/off": 5.0}

PLANS: dict[str, Steps] = {
    "bisque": ((60.0, 95.0, 3.0 * HOUR_S), (90.0, 600.0, 0.0), (150.0, 1000.0, 600.0)),
    "candled": ((40.0, 110.0, 4.0 * HOUR_S), (120.0, 980.0, 900.0)),
    "glaze": ((150.0, 570.0, 0.0), (180.0, 1080.0, 0.0), (70.0, 1215.0, 1500.0)),
    "soaked": ((140.0, 600.0, 0.0), (120.0, 1180.0, 2.0 * HOUR_S)),
    "dropped": ((160.0, 1100.0, 0.0), (80.0, 1200.0, 600.0), (150.0, 1050.0, 2400.0)),
    "slow": ((150.0, 1000.0, 0.0), (90.0, 1190.0, 900.0), (70.0, 900.0, 0.0)),
    "decal": ((110.0, 500.0, 0.0), (160.0, 790.0, 900.0)),
}


@dataclass(frozen=True)
class HeldKiln:
    """Power [W], what stands in it [J/K], wall area [m²] and thickness [m]."""

    power_w: float = 10_500.0
    load_j_per_k: float = 62_000.0
    wall_m2: float = 2.4
    wall_m: float = 0.09
    lag_s: float = 45.0


KILNS = (
    HeldKiln(),
    HeldKiln(4_200.0, 15_000.0, 0.8, 0.08, 25.0),
    HeldKiln(15_500.0, 110_000.0, 3.2, 0.11, 70.0),
)


@dataclass(frozen=True)
class Mishap:
    """What goes wrong with the power, and when [s].

    `share` is what is left of the power; `over_s` over how long it goes down to that; a relay that
    is `welded` gives full power, one that `keeps_on` holds what it held.
    """

    at_s: float = math.inf
    share: float = 1.0
    over_s: float = 1.0
    lasts_s: float = math.inf
    welded: bool = False
    keeps_on: bool = False


@dataclass
class HeldFiring:
    """The thermocouple's true course, and when each hold began and ended by the controller."""

    time_s: FloatArray
    reading_c: FloatArray
    arrived_s: list[float] = field(default_factory=list)
    left_s: list[float] = field(default_factory=list)
    end_s: float = math.inf

    def when_s(self, at_c: float) -> float:
        return float(self.time_s[int(np.argmax(self.reading_c >= at_c))])


def held_firing(
    steps: Steps,
    kiln: HeldKiln = KILNS[0],
    control: Control = "proportional",
    *,
    waits: bool = True,
    mishap: Mishap = Mishap(),
    cool_to_c: float = 55.0,
    most_s: float = 40.0 * HOUR_S,
) -> HeldFiring:
    """Fire a program, and cool."""
    shells = [ROOM_C] * 5
    shell_j_per_k = kiln.wall_m2 * kiln.wall_m / 5 * 600.0 * 1000.0
    load_c = core_c = chamber_c = probe_c = ROOM_C
    found_t, found_c = [0.0], [ROOM_C]
    made = HeldFiring(np.zeros(0), np.zeros(0))
    segment, set_c, held_s, at_s = 0, ROOM_C, 0.0, 0.0
    total, on, cycle_s, kept_on = 0.0, False, 0.0, 0.0
    clock_ends = []
    from_c, clock_s = ROOM_C, 0.0
    for rate, target, hold_s in steps:
        ramp_s = abs(target - from_c) / rate * HOUR_S
        clock_ends.append((clock_s, clock_s + ramp_s, clock_s + ramp_s + hold_s))
        clock_s, from_c = clock_ends[-1][2], target
    while at_s < most_s:
        running = segment < len(steps)
        if running and not waits:
            while segment < len(steps) and at_s >= clock_ends[segment][2]:
                made.arrived_s.append(clock_ends[segment][1])
                made.left_s.append(clock_ends[segment][2])
                segment += 1
            running = segment < len(steps)
            if running:
                begin, top, _ = clock_ends[segment]
                before_c = steps[segment - 1][1] if segment else ROOM_C
                share = min((at_s - begin) / max(top - begin, 1.0), 1.0)
                set_c = before_c + share * (steps[segment][1] - before_c)
        elif running:
            rate, target, hold_s = steps[segment]
            sign = 1.0 if target >= set_c or held_s else -1.0
            behind = sign * (set_c - probe_c)
            if abs(set_c - target) > 1e-6:
                if behind < 8.0:
                    move = rate * STEP_S / HOUR_S
                    up = target > set_c
                    set_c = min(set_c + move, target) if up else max(set_c - move, target)
            elif held_s > 0.0 or abs(probe_c - target) < 2.0:
                if held_s == 0.0:
                    made.arrived_s.append(at_s)
                held_s += STEP_S
                if held_s > hold_s:
                    made.left_s.append(at_s)
                    segment, held_s = segment + 1, 0.0
                    running = segment < len(steps)
        if not running and made.end_s == math.inf:
            made.end_s = at_s
        gap_c = set_c - probe_c
        wanted = 0.0
        if running:
            if control == "proportional":
                total = min(max(total + gap_c * STEP_S / 900.0, 0.0), 12.0)
                wanted = min(max((gap_c + total) / 12.0, 0.0), 1.0)
            elif control == "cycled":
                total = min(max(total + gap_c * STEP_S / 1200.0, 0.0), 14.0)
                cycle_s = (cycle_s + STEP_S) % 60.0
                wanted = 1.0 if cycle_s < 60.0 * min(max((gap_c + total) / 14.0, 0.0), 1.0) else 0.0
            else:
                swing_c = SWING_C[control]
                on = gap_c > -swing_c if on else gap_c > swing_c
                wanted = 1.0 if on else 0.0
            kept_on += (wanted - kept_on) * STEP_S / 1800.0
        since_s = at_s - mishap.at_s
        if 0.0 <= since_s < mishap.lasts_s:
            down = min(since_s / mishap.over_s, 1.0)
            wanted *= 1.0 - (1.0 - mishap.share) * down
            if mishap.welded:
                wanted = 1.0
            elif mishap.keeps_on:
                wanted = min(max(kept_on + 0.04 * (set_c - probe_c), 0.0), 1.0)
        kelvin = chamber_c + 273.0
        radiant = 4.0 * 5.67e-8 * kelvin**3
        g_load = (0.5 * radiant + 6.0) * 1.4 * (kiln.load_j_per_k / 62_000.0) ** 0.7
        g_wall = (0.8 * radiant + 6.0) * kiln.wall_m2
        own = 9_000.0 * kiln.power_w / 10_000.0 / STEP_S
        leak = 0.9 * kiln.wall_m2 / 2.4
        chamber_c = (
            own * chamber_c
            + wanted * kiln.power_w
            + g_load * load_c
            + g_wall * shells[0]
            + leak * ROOM_C
        ) / (own + g_load + g_wall + leak)
        into_core = 0.35 * g_load / (1.0 + g_load / 120.0) * (load_c - core_c)
        half = 0.5 * kiln.load_j_per_k
        load_c += (g_load * (chamber_c - load_c) - into_core) * STEP_S / half
        core_c += into_core * STEP_S / half
        flows = [g_wall * (chamber_c - shells[0])]
        for inner, outer in pairwise(shells):
            k = 0.14 + 0.9e-4 * 0.5 * (inner + outer)
            flows.append(k * kiln.wall_m2 / (kiln.wall_m / 5) * (inner - outer))
        flows.append(11.0 * kiln.wall_m2 * 1.3 * (shells[-1] - ROOM_C))
        for i in range(5):
            shells[i] += (flows[i] - flows[i + 1]) * STEP_S / shell_j_per_k
        probe_c += (chamber_c - probe_c) * (1.0 - math.exp(-STEP_S / kiln.lag_s))
        at_s += STEP_S
        found_t.append(at_s)
        found_c.append(probe_c)
        if not running and probe_c <= cool_to_c:
            break
    made.time_s, made.reading_c = np.array(found_t), np.array(found_c)
    return made


def schedule_of(steps: Steps) -> Schedule:
    return Schedule("held", tuple(Segment(t, rate, "rate", hold_s) for rate, t, hold_s in steps))


@dataclass(frozen=True)
class Instrument:
    """How often it reads [s], its noise and its digits [°C]."""

    interval_s: float = 10.0
    noise_c: float = 0.3
    digits_c: float = 0.1
    seed: int = 1

    def read(self, firing: HeldFiring, until_s: float) -> tuple[FloatArray, FloatArray]:
        chance = np.random.default_rng(self.seed)
        last_s = min(until_s, float(firing.time_s[-1]))
        time_s = np.arange(chance.uniform(0.0, self.interval_s), last_s, self.interval_s)
        true_c = np.interp(time_s, firing.time_s, firing.reading_c)
        noisy_c = true_c + chance.normal(0.0, 1.0, time_s.size) * self.noise_c
        return time_s, np.round(noisy_c / self.digits_c) * self.digits_c


def listened(
    firing: HeldFiring,
    steps: Steps,
    instrument: Instrument,
    *,
    begin_s: float = 0.0,
    until_s: float = math.inf,
    stuck_s: float = math.inf,
) -> Heard:
    """Watch a firing; from `stuck_s` on the reading stands still."""
    time_s, reading_c = instrument.read(firing, until_s)
    stands = time_s >= stuck_s
    if stands.any():
        reading_c = np.where(stands, reading_c[int(np.argmax(stands)) - 1], reading_c)
    schedule = schedule_of(steps)
    lost_s = max(60.0, 2.5 * instrument.interval_s)
    watcher = Watcher(
        AlarmLimits(schedule.peak_c + 20.0, lost_after_s=lost_s),
        schedule,
        ForecastPredictor(forecast(schedule)),
    )
    judge, heard = PlausibilityCheck(1), Heard(time_s=time_s)
    for moment_s, value_c in zip(time_s.tolist(), reading_c.tolist(), strict=True):
        if moment_s < begin_s:
            watcher.add_earlier(moment_s, value_c)
            continue
        if not watcher.history.points or heard.time_s is time_s:
            watcher.begin(moment_s, live=False)
            heard.time_s = time_s.copy()
        reading = Reading([value_c], [Status.OK], moment_s)
        judge.mark(moment_s, reading)
        heard.notices += watcher.add(moment_s, reading, 0)
    watcher.close()
    return heard


def healthy_case(seed: int) -> tuple[str, Steps, HeldFiring, Instrument]:
    """Return a firing in which nothing goes wrong, and how it is read."""
    chance = random.Random(seed)
    name = chance.choice(list(PLANS))
    control = chance.choice(CONTROLS)
    kiln = chance.choice(KILNS)
    waits = chance.random() < 0.5
    interval_s = chance.choice([10.0, 20.0, 60.0, 120.0, 300.0])
    noise_c = chance.choice([0.0, 0.3, 1.0, 3.0])
    digits_c = chance.choice([0.1, 1.0])
    firing = held_firing(PLANS[name], kiln, control, waits=waits)
    words = (
        f"{name}, {control}, {kiln.power_w:.0f} W, clock {'waits' if waits else 'runs'}, every "
        f"{interval_s:g} s, ±{noise_c:g} °C, digits of {digits_c:g} °C"
    )
    return words, PLANS[name], firing, Instrument(interval_s, noise_c, digits_c, seed)
