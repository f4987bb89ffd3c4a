"""A third independent test instrument, small: a fibre kiln whose controller clicks on and off.

Only for what goes wrong with the program, the sensors and the lid.  It imports nothing of the
package.  Two lumps and a wall of six layers, explicit steps of 5 s, elements that are wholly on or
off about the set-point, and as many sensors as asked for.  Figures are plausible, none is exact.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from logmaker import KELVIN, STEFAN_BOLTZMANN, FloatArray, LogTable, PlanStep

FIBRE_BISQUE: tuple[PlanStep, ...] = (
    (70.0, 100.0, 5400.0),
    (90.0, 550.0, 0.0),
    (140.0, 1000.0, 1800.0),
)
FIBRE_GLAZE: tuple[PlanStep, ...] = (
    (130.0, 600.0, 0.0),
    (170.0, 1100.0, 0.0),
    (60.0, 1230.0, 1200.0),
    (90.0, 1000.0, 2400.0),
)


@dataclass(frozen=True)
class FibreKiln:
    """A kiln, its controller, and what goes wrong; the defaults are a healthy one.

    `waits_c`: beyond this the controller's clock stands still; infinite, it runs by the clock.
    `sensor` turns (seconds, true °C) into what the control thermocouple gives, before its lag.
    `lid_opened_at_c` props the lid on the way down.
    """

    power_w: float = 8200.0
    ware_kg: float = 40.0
    waits_c: float = 10.0
    lid_opened_at_c: float | None = None
    lid_w_per_k: float = 6.0
    outage_at_c: float | None = None
    outage_s: float = 0.0
    sensor: Callable[[float, float], float] | None = None
    second_sensor: bool = False
    seed: int = 0


def fire_fibre(steps: Sequence[PlanStep], how: FibreKiln, interval_s: float = 60.0) -> LogTable:
    """Run the program in `steps` and return the log; it ends at 60 °C."""
    wall, nodes = 0.15 / 6, 6
    area, density = 2.1, 170.0
    temps = [18.0] * (nodes + 2)  # ware, air, wall from inside to outside
    dt, now, index, set_c, from_c, held = 5.0, 0.0, 0, 18.0, 18.0, 0.0
    lagged = read = 18.0
    outage_left, outage_done, on, arrived = 0.0, how.outage_at_c is None, False, False
    rows: list[tuple[float, float, float, float]] = []
    on_s = 0.0
    opened = False
    random = np.random.default_rng(how.seed)
    next_row = 0.0
    while now < 72 * 3600.0:
        running = index < len(steps)
        if running:
            rate, target, hold = steps[index]
            near = abs(set_c - read) <= how.waits_c
            rising = target >= from_c
            if not arrived:
                if rate is None:
                    set_c = target
                    arrived = read >= target - 3.0 if rising else read <= target + 3.0
                elif near:
                    step = rate * dt / 3600.0
                    set_c = min(set_c + step, target) if rising else max(set_c - step, target)
                    arrived = set_c == target
                if arrived:
                    held = 0.0
            if arrived:
                held += dt if near else 0.0
                if held >= hold:
                    index, from_c, arrived = index + 1, target, False
            if read < set_c - 1.0:
                on = True
            elif read > set_c + 1.0:
                on = False
        if not outage_done and how.outage_at_c is not None and read >= how.outage_at_c:
            outage_done, outage_left = True, how.outage_s
        heats = running and on and outage_left <= 0.0
        outage_left -= dt
        on_s += dt if running and on else 0.0
        watts = how.power_w if heats else 0.0
        ware, air = temps[0], temps[1]
        if not running and how.lid_opened_at_c is not None and air <= how.lid_opened_at_c:
            opened = True
        k = [0.05 + 1.6e-4 * t + 1.2e-7 * t * t for t in temps[2:]]

        def radiate(one: float, two: float) -> float:
            a, b = one + KELVIN, two + KELVIN
            return STEFAN_BOLTZMANN * (a * a + b * b) * (a + b)

        to_ware = 2.2 * (14.0 + 0.75 * radiate(ware, air)) * (air - ware)
        face = 1.9 * (14.0 + 0.8 * radiate(air, temps[2]))
        skin = k[0] * area / (wall / 2)
        into = face * skin / (face + skin) * (air - temps[2])
        through = [
            0.5 * (k[i] + k[i + 1]) * area / wall * (temps[2 + i] - temps[3 + i])
            for i in range(nodes - 1)
        ]
        out = 2.4 * (9.0 + 0.4 * radiate(temps[-1], 18.0)) * (temps[-1] - 18.0)
        leak = (0.5 + (how.lid_w_per_k if opened else 0.0)) * (air - 18.0)
        temps[0] += to_ware * dt / (how.ware_kg * (800.0 + 0.3 * ware))
        temps[1] += (watts - to_ware - into - leak) * dt / 16000.0
        flows = [into, *through, out]
        for i in range(nodes):
            temps[2 + i] += (flows[i] - flows[i + 1]) * dt / (area * wall * density * 1050.0)
        now += dt
        seen = temps[1] if how.sensor is None else how.sensor(now, temps[1])
        lagged += (seen - lagged) * dt / 40.0
        read = lagged
        if now >= next_row:
            rows.append((now, read, temps[1], on_s / interval_s))
            on_s, next_row = 0.0, next_row + interval_s
        if not running and temps[1] < 60.0:
            break
    table = np.array(rows)
    values: FloatArray = table[:, 1:2] + random.normal(0.0, 0.25, (len(rows), 1))
    names: tuple[str, ...] = ("kiln",)
    if how.second_sensor:
        low = table[:, 2:3] * 0.992 + random.normal(0.0, 0.25, (len(rows), 1))
        values, names = np.concatenate((values, low), axis=1), ("kiln", "lower shelf")
    return LogTable(
        table[:, 0] - table[0, 0],
        np.round(values, 1),
        names,
        np.clip(table[:, 3], 0.0, 1.0),
        None,
    )
