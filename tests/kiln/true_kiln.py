"""An independent simulator of the kiln model's equations: the truth that fits are scored against.

The same physics as ``firing.kiln`` by other means: explicit steps of ten seconds, the wall in even
cells with temperatures at their centres, ware of one temperature, power constant over a step.  Of
the package only the material tables, the kiln's description and the load are read.
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from firing.kiln.description import KilnDescription
from firing.ware.load import Load

FloatArray = npt.NDArray[np.float64]
Plan = tuple[tuple[float, float, float], ...]
"""(rate_c_per_h, target_c, hold_s); afterwards the elements stay off."""

SIGMA = 5.670374419e-8
KELVIN = 273.15
STEP_S = 10.0
EVERY_S = 60.0
WAIT_C = 4.0


@dataclass(frozen=True)
class Truth:
    """The multipliers a fit has to find."""

    power: float = 1.0
    loss: float = 1.0
    capacity: float = 1.0


@dataclass(frozen=True, eq=False)
class TrueFiring:
    """What happened, minute by minute: [s], [°C], duty since the minute before; and kWh."""

    time_s: FloatArray
    chamber_c: FloatArray
    duty: FloatArray
    set_point_c: FloatArray
    kwh: float
    program_end_s: float


def _even(points: tuple[tuple[float, float], ...]) -> tuple[FloatArray, FloatArray]:
    """A table with its first and last slopes carried on by 400 °C."""
    x, y = np.array(points).T
    first = y[0] - (y[1] - y[0]) / (x[1] - x[0]) * 400.0
    last = y[-1] + (y[-1] - y[-2]) / (x[-1] - x[-2]) * 400.0
    return np.array([x[0] - 400.0, *x, x[-1] + 400.0]), np.array([first, *y, last])


def _black(one_c: float, two_c: float) -> float:
    a, b = one_c + KELVIN, two_c + KELVIN
    return SIGMA * (a * a + b * b) * (a + b)


class _Kiln:
    """Temperatures: wire, shelves, ware, and the wall from inside to outside."""

    def __init__(self, kiln: KilnDescription, load: Load, truth: Truth, room_c: float) -> None:
        assert kiln.leak_w_per_k is not None
        assert load.furniture_kg is not None
        self.room, self.truth = room_c, truth
        (layer,) = kiln.wall
        material = layer.material
        self.k_table = _even(material.conductivity.points)
        self.c_table = _even(material.specific_heat.points)
        cells, thick = 16, layer.thickness_m
        diameter = (4.0 * kiln.volume_l / 1000.0 / math.pi) ** (1.0 / 3.0)
        r, h = diameter / 2.0, diameter
        edges = np.linspace(0.0, thick, cells + 1)
        centres = 0.5 * (edges[1:] + edges[:-1])

        def resistance(x: FloatArray) -> FloatArray:
            # Side, both ends, and Langmuir's 0.54 a metre for the two round edges.
            side, ends = 2 * math.pi * h / np.log1p(x / r), 2 * math.pi * r * r / x
            openness: FloatArray = side + ends + 0.54 * 2.0 * math.pi * diameter
            return 1.0 / openness

        # A body whose resistance grows by dR over dx has the area dx/dR there.
        area = 2e-6 / (resistance(centres + 1e-6) - resistance(centres - 1e-6))
        self.mass = truth.capacity * area * thick / cells * material.density_kg_per_m3
        self.between = truth.loss / np.diff(resistance(centres))
        self.skin_in = truth.loss / float(resistance(centres[:1])[0])
        self.skin_out = truth.loss / float((resistance(edges[-1:]) - resistance(centres[-1:]))[0])
        self.area_in = 2 * math.pi * r * (h + r)
        outer_r, outer_h = r + thick, h + 2 * thick
        self.area_out = truth.loss * 2 * math.pi * outer_r * (outer_h + outer_r)
        self.leak = truth.loss * kiln.leak_w_per_k
        self.full_w = truth.power * kiln.power_w
        self.wire_m2 = kiln.power_w / 2.0e4
        self.wire_j_per_k = truth.capacity * 0.25 * 0.003 * self.wire_m2 * 7100.0 * 600.0
        self.shelf_kg = truth.capacity * load.furniture_kg
        self.shelf_m2 = load.furniture_kg / 2000.0 / 0.016  # half of both faces
        (piece,) = load.pieces
        path = piece.thickest_mm / 2000.0
        face = load.ware_kg / 1900.0 / path
        self.ware_m2 = 0.5 * face
        self.ware_kg = truth.capacity * load.ware_kg
        # A thin wall heated steadily is, at its mean, as far behind its face as through a third.
        self.ware_link = 4e-7 * 1900.0 * 1100.0 * face / (path / 3.0)
        self.wire = self.shelf = self.ware = self.chamber = room_c
        self.wall = np.full(cells, room_c)
        self.supplied_j = 0.0

    def full_now_w(self) -> float:
        ct = np.interp(self.wire, (250, 500, 800, 1000, 1200), (1, 1.01, 1.03, 1.04, 1.04))
        return self.full_w / float(ct)

    def step(self, power_w: float) -> None:
        dt, t = STEP_S, self.chamber
        k = np.interp(self.wall, *self.k_table)
        c = np.interp(self.wall, *self.c_table)
        g_wire = self.wire_m2 * (0.7 * _black(self.wire, t) + 5.0)
        g_shelf = self.shelf_m2 * (0.9 * _black(self.shelf, t) + 5.0)
        film = self.ware_m2 * (0.9 * _black(self.ware, t) + 5.0)
        g_ware = film * self.ware_link / (film + self.ware_link)
        film = self.area_in * (0.9 * _black(float(self.wall[0]), t) + 5.0)
        skin = self.skin_in * float(k[0])
        g_wall = film * skin / (film + skin)
        # The wire is quick: its own balance is taken at the end of the step.
        heavy = self.wire_j_per_k / dt
        self.wire = (heavy * self.wire + power_w + g_wire * t) / (heavy + g_wire)
        links = (
            (g_wire, self.wire),
            (g_shelf, self.shelf),
            (g_ware, self.ware),
            (g_wall, float(self.wall[0])),
            (self.leak, self.room),
        )
        t = sum(g * other for g, other in links) / sum(g for g, _ in links)
        self.chamber = t
        cp = np.interp(self.shelf, (-200.0, 400.0, 1200.0, 1500.0), (882.5, 956.0, 1054.0, 1090.8))
        ware_k = self.ware + KELVIN
        ware_cp = 1128.0 + 0.102 * ware_k - 36e6 / ware_k**2  # Michot 2011
        flows = np.empty(self.wall.size + 1)
        flows[0] = g_wall * (t - self.wall[0])
        flows[1:-1] = self.between * 0.5 * (k[1:] + k[:-1]) * (self.wall[:-1] - self.wall[1:])
        flows[-1] = self._out_w(float(self.wall[-1]), self.skin_out * float(k[-1]))
        self.shelf += dt * g_shelf * (t - self.shelf) / (self.shelf_kg * float(cp))
        self.ware += dt * g_ware * (t - self.ware) / (self.ware_kg * ware_cp)
        self.wall = self.wall + dt * (flows[:-1] - flows[1:]) / (self.mass * c)
        self.supplied_j += dt * power_w

    def _out_w(self, last_c: float, skin: float) -> float:
        face = last_c
        for _ in range(3):
            film = 1.31 * abs(face - self.room) ** (1.0 / 3.0) + 0.3 * _black(face, self.room)
            g = self.area_out * film
            face = (skin * last_c + g * self.room) / (skin + g)
        return float(g * (face - self.room))


@cache
def fire(
    kiln: KilnDescription,
    load: Load,
    plan: Plan,
    truth: Truth,
    room_c: float = 20.0,
    cool_to_c: float = 150.0,
) -> TrueFiring:
    """Run a program on a controller that waits, then let the kiln cool by itself.

    The ware must be bisqued: there is no water here.
    """
    assert load.dryness == "bisqued"
    kiln_now = _Kiln(kiln, load, truth, room_c)
    rows = [(0.0, room_c, 0.0, room_c)]
    now, index, held, integral, set_point, from_c = 0.0, 0, 0.0, 0.0, room_c, room_c
    program_end = math.nan
    while now < 100 * 3600.0 and (index < len(plan) or kiln_now.chamber > cool_to_c):
        duties = 0.0
        for _ in range(round(EVERY_S / STEP_S)):
            duty = 0.0
            if index < len(plan):
                rate, target, hold = plan[index]
                sign = 1.0 if target > from_c else -1.0
                lag = sign * (set_point - kiln_now.chamber)
                if abs(target - set_point) > 1e-9:
                    if lag < WAIT_C:
                        set_point += sign * min(rate * STEP_S / 3600.0, abs(target - set_point))
                elif lag < 1.0:
                    held += STEP_S
                    if held >= hold:
                        index, held, from_c = index + 1, 0.0, target
                error = set_point - kiln_now.chamber
                wanted = integral + error / 3.0
                if 0.0 < wanted < 1.0:
                    integral = min(1.0, max(0.0, integral + error / 3.0 * STEP_S / 200.0))
                duty = min(1.0, max(0.0, wanted))
                program_end = now
            kiln_now.step(duty * kiln_now.full_now_w())
            now += STEP_S
            duties += duty * STEP_S / EVERY_S
        rows.append((now, kiln_now.chamber, duties, set_point))
    time_s, chamber_c, duty_s, set_points = np.array(rows).T
    kwh = kiln_now.supplied_j / 3.6e6
    return TrueFiring(time_s, chamber_c, duty_s, set_points, kwh, program_end)
