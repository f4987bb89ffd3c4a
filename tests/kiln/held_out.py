"""Kilns the model was never tuned on: other physics, made to be predicted, many fired at once.

Nothing here is ``firing.kiln``'s: elements, ware and wall faces exchange radiation face to face,
the wall has two layers with a contact resistance, conductivities follow a power of the temperature,
air leaks by the stack effect, a strip of dense brick bridges the wall, and the thermocouple stands
in a sheath that sees the wall.  Rounds of all kilns are stepped together, as arrays.

What an owner would write of each (`owner_file`) is read off its truth with an owner's errors: rated
power, the nearest brick of the list, no leak.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
from logmaker import LogTable

from firing.heat.properties import wall_material
from firing.kiln.description import KilnDescription, WallLayer
from firing.ware.load import Load, Piece

FloatArray = npt.NDArray[np.float64]
Plan = tuple[tuple[float, float, float], ...]
"""(rate_c_per_h, target_c, hold_s); afterwards the elements stay off."""

SIGMA, KELVIN = 5.670374419e-8, 273.15
STEP_S, COOLING_STEP_S = 20.0, 120.0
CELLS = 6  # in each of the two layers
LAYERS = 2


@dataclass(frozen=True)
class Layer:
    """Conductivity k0 + k1·(K/1000)^n, density, specific heat c0 + c1·°C, thickness."""

    thickness_m: float
    k0: float
    k1: float
    power: float
    density: float
    c0: float = 830.0
    c1: float = 0.22


def brick(thickness_m: float, k_400: float = 0.14, k_1200: float = 0.22, n: float = 2.0,
          density: float = 490.0, c0: float = 880.0) -> Layer:  # fmt: skip
    """Insulating brick through two points of a data sheet, curved between them."""
    a, b = (0.67315**n, 1.47315**n)
    k1 = (k_1200 - k_400) / (b - a)
    return Layer(thickness_m, k_400 - k1 * a, k1, n, density, c0=c0, c1=0.13)


@dataclass(frozen=True)
class TrueKiln:
    """One kiln as it is.

    `owner_wall` is what its owner writes of the wall: material and mm; `rated_w` of its power.
    """

    name: str
    volume_l: float
    power_w: float
    rated_w: float
    inner: Layer
    outer: Layer
    owner_wall: tuple[tuple[str, float], ...]
    contact_m2k_per_w: float = 0.02
    leak_cm2: float = 8.0
    strip_w_per_k: float = 0.15
    strip_j_per_k: float = 8000.0
    shape: str = "round"
    emissivity: float = 0.8
    jacket_emissivity: float = 0.4
    sees_wall: float = 0.1
    lag_s: float = 25.0
    waits: bool = True
    vent_cm2: float = 0.0
    max_c: float = 1300.0


@dataclass(frozen=True)
class Charge:
    """What stands in it: ware [kg], its thickest place [mm], furniture [kg], unfired or not."""

    ware_kg: float
    thick_mm: float
    furniture_kg: float
    raw: bool = False

    def load(self, volume_l: float) -> Load:
        """The load file's content, weighed by an owner."""
        dryness = "bone dry" if self.raw else "bisqued"
        mass = self.ware_kg * (1.015 if self.raw else 1.0)
        piece = Piece("pots", 40, self.thick_mm, mass / 40.0)
        return Load((piece,), dryness, furniture_kg=self.furniture_kg)


@dataclass(frozen=True)
class Round:
    """One firing to be made: which kiln, with what, by which program, and what is wrong with it."""

    kiln: TrueKiln
    charge: Charge
    plan: Plan
    power_factor: float = 1.0
    volts: float = 1.0
    room_c: float = 20.0
    patience_h: float = 18.0  # then somebody switches off, wherever the program is


@dataclass(frozen=True, eq=False)
class Fired:
    """What happened: [s], [°C] by the thermocouple, duty since the row before; hours and kWh.

    `heating_s` ends where the peak's hold does, `opens_s` where the reading is 60 °C again.
    """

    time_s: FloatArray
    reading_c: FloatArray
    duty: FloatArray
    set_point_c: FloatArray
    heating_s: float
    opens_s: float
    kwh: float

    def table(self, *, seed: int = 1, duty: bool = True, interval_s: float = 60.0) -> LogTable:
        """As a logger of a quarter of a degree with 0.4 °C of noise would have written it."""
        at = np.arange(0.0, self.time_s[-1] + 1e-6, interval_s)
        values = np.interp(at, self.time_s, self.reading_c)
        values = values + np.random.default_rng(seed).normal(0.0, 0.4, at.size)
        spent = np.concatenate(([0.0], np.cumsum(self.duty[1:] * np.diff(self.time_s))))
        share = np.diff(np.interp(at, self.time_s, spent), prepend=0.0) / interval_s
        return LogTable(
            at, (np.round(4.0 * values) / 4.0)[:, None], ("kiln",),
            np.clip(share, 0.0, 1.0) if duty else None, None,
        )  # fmt: skip


def _black(one_c: FloatArray, two_c: FloatArray) -> FloatArray:
    a, b = one_c + KELVIN, two_c + KELVIN
    result: FloatArray = SIGMA * (a * a + b * b) * (a + b)
    return result


class _Batch:
    """All rounds at once; nodes: wire, air, ware core, ware face, furniture, strip, wall cells."""

    WIRE, AIR, CORE, FACE, SHELF, STRIP, WALL = range(7)

    def __init__(self, rounds: tuple[Round, ...]) -> None:
        self.rounds = rounds
        count = len(rounds)
        self.size = self.WALL + LAYERS * CELLS

        def of(get: object) -> FloatArray:
            return np.array([get(r) for r in rounds], dtype=np.float64)  # type: ignore[operator]

        self.room = of(lambda r: r.room_c)
        volume = of(lambda r: r.kiln.volume_l / 1000.0)
        round_ = of(lambda r: r.kiln.shape == "round")
        side = np.where(round_, (4.0 * volume / np.pi) ** (1 / 3), volume ** (1 / 3))
        self.inside = np.where(round_, 1.5 * np.pi * side**2, 6.0 * side**2)
        thick = of(lambda r: r.kiln.inner.thickness_m + r.kiln.outer.thickness_m)
        self.outside = np.where(
            round_,
            np.pi * (side + 2 * thick) * (side + 2 * thick) * 1.5,
            6.0 * (side + 2 * thick) ** 2,
        )
        self.height = side
        cells = [layer for layer in ("inner", "outer") for _ in range(CELLS)]

        def cell(name: str) -> FloatArray:
            return np.stack(
                [of(lambda r, c=c: getattr(getattr(r.kiln, c), name)) for c in cells], axis=1
            )

        self.k0, self.k1, self.n = cell("k0"), cell("k1"), cell("power")
        self.c0, self.c1 = cell("c0"), cell("c1")
        self.dx = cell("thickness_m") / CELLS
        centre = np.cumsum(self.dx, axis=1) - 0.5 * self.dx
        share = centre / thick[:, None]
        # Of two parallel faces the area grows as the square of the distance.
        root = np.sqrt(self.inside)[:, None] * (1 - share) + np.sqrt(self.outside)[:, None] * share
        self.area = root**2
        self.mass = self.area * self.dx * cell("density")
        self.contact = of(lambda r: r.kiln.contact_m2k_per_w)
        self.full = of(lambda r: r.kiln.power_w * r.power_factor * r.volts**2)
        self.wire_m2 = of(lambda r: r.kiln.power_w / 1.7e4)
        self.wire_j = self.wire_m2 * 3.2 * 620.0
        self.air_j = 700.0 * volume
        ware, mm = of(lambda r: r.charge.ware_kg), of(lambda r: r.charge.thick_mm)
        self.raw = of(lambda r: r.charge.raw)
        self.ware_kg = 0.5 * ware
        face = ware / 1850.0 / (0.001 * mm)
        self.ware_m2 = 1.1 * face
        self.ware_link = 2.0 * face * 1.0 / (0.001 * mm / 4.0)
        self.shelf_kg = of(lambda r: r.charge.furniture_kg)
        self.shelf_m2 = self.shelf_kg / 2100.0 / 0.018
        self.emissivity = of(lambda r: r.kiln.emissivity)
        self.jacket = of(lambda r: r.kiln.jacket_emissivity)
        self.strip_g = of(lambda r: r.kiln.strip_w_per_k)
        self.strip_j = of(lambda r: r.kiln.strip_j_per_k)
        self.leak_m2 = of(lambda r: 1e-4 * (r.kiln.leak_cm2 + r.kiln.vent_cm2))
        self.lag = of(lambda r: r.kiln.lag_s)
        self.sees = of(lambda r: r.kiln.sees_wall)
        self.t = np.repeat(self.room[:, None], self.size, axis=1)
        self.reading = self.room.copy()
        self.supplied = np.zeros(count)

    def leak_w_per_k(self, air_c: FloatArray) -> FloatArray:
        """Stack effect: √(2·ρ·Δρ·g·h) through openings, a quarter of a metre high at work."""
        hot, cold = 353.0 / (air_c + KELVIN), 353.0 / (self.room + KELVIN)
        head = np.maximum(cold - hot, 0.0) * 9.81 * self.height
        flow: FloatArray = 0.6 * self.leak_m2 * np.sqrt(2.0 * hot * head) * (1000.0 + 0.15 * air_c)
        return flow

    def step(self, dt: float, duty: FloatArray) -> None:
        t = self.t
        wire, air, core, face, shelf, strip = (t[:, i] for i in range(self.WALL))
        wall = t[:, self.WALL :]
        count, size = t.shape
        g = np.zeros((count, size, size))
        right = np.zeros((count, size))

        def link(i: int, j: int, value: FloatArray) -> None:
            g[:, i, i] += value
            g[:, j, j] += value
            g[:, i, j] -= value
            g[:, j, i] -= value

        eps = self.emissivity
        wall_m2 = self.inside
        # Radiation: the wire to wall and ware by what each offers of surface, all to each other.
        seen = wall_m2 + self.ware_m2 + self.shelf_m2
        w = self.WALL
        k = self.k0 + self.k1 * ((wall + KELVIN) / 1000.0) ** self.n
        half = self.area * k / (0.5 * self.dx)
        for node, area in ((w, wall_m2), (self.FACE, self.ware_m2), (self.SHELF, self.shelf_m2)):
            film = 0.75 * self.wire_m2 * area / seen * _black(wire, t[:, node])
            film += 6.0 * area / seen * self.wire_m2
            if node == w:
                film = film * half[:, 0] / (film + half[:, 0])
            link(self.WIRE, node, film)
        for a, b, area in (
            (w, self.FACE, wall_m2 * self.ware_m2 / seen),
            (w, self.SHELF, wall_m2 * self.shelf_m2 / seen),
            (self.FACE, self.SHELF, self.ware_m2 * self.shelf_m2 / seen),
        ):
            film = eps * area * _black(t[:, a], t[:, b])
            if a == w:
                film = film * half[:, 0] / (film + half[:, 0])
            link(a, b, film)
        h = 7.0
        link(self.AIR, self.WIRE, h * self.wire_m2)
        film = h * wall_m2
        link(self.AIR, w, film * half[:, 0] / (film + half[:, 0]))
        link(self.AIR, self.FACE, h * self.ware_m2)
        link(self.AIR, self.SHELF, h * self.shelf_m2)
        link(self.CORE, self.FACE, self.ware_link)
        into = 0.02 * wall_m2 * (10.0 + 0.8 * _black(air, strip))
        link(self.AIR, self.STRIP, into * 2 * self.strip_g / (into + 2 * self.strip_g))
        g[:, self.STRIP, self.STRIP] += 2 * self.strip_g
        right[:, self.STRIP] += 2 * self.strip_g * self.room
        for i in range(LAYERS * CELLS - 1):
            between = 1.0 / half[:, i] + 1.0 / half[:, i + 1]
            if i == CELLS - 1:
                between = between + self.contact / self.area[:, i]
            link(w + i, w + i + 1, 1.0 / between)
        last = wall[:, -1]
        over = np.maximum(last - self.room, 1.0)
        out = self.outside * (1.5 * over**0.25 + self.jacket * _black(last, self.room))
        out = out * half[:, -1] / (out + half[:, -1])
        g[:, -1, -1] += out
        right[:, -1] += out * self.room
        leak = self.leak_w_per_k(air)
        g[:, self.AIR, self.AIR] += leak
        right[:, self.AIR] += leak * self.room

        capacity = np.empty((count, size))
        capacity[:, self.WIRE] = self.wire_j
        capacity[:, self.AIR] = self.air_j
        for node, celsius in ((self.CORE, core), (self.FACE, face)):
            cp = 780.0 + 0.42 * np.minimum(celsius, 900.0)
            # Chemical water: 250 kJ/kg of clay body about 530 °C; the last free water about 110 °C.
            cp = cp + self.raw * (
                250e3 / 90.0 * np.exp(-np.pi * ((celsius - 530.0) / 90.0) ** 2)
                + 0.015 * 2.3e6 / 40.0 * np.exp(-np.pi * ((celsius - 110.0) / 40.0) ** 2)
            )
            capacity[:, node] = self.ware_kg * cp
        capacity[:, self.SHELF] = self.shelf_kg * (820.0 + 0.26 * shelf)
        capacity[:, self.STRIP] = self.strip_j
        capacity[:, w:] = self.mass * (self.c0 + self.c1 * wall)
        # Water does not come back as the ware cools.
        self.raw = np.where(face > 650.0, 0.0, self.raw)

        ct = np.interp(wire, (20.0, 300.0, 700.0, 1300.0), (1.0, 1.0, 1.025, 1.045))
        power = duty * self.full / ct
        right[:, self.WIRE] += power
        diagonal = np.arange(size)
        g[:, diagonal, diagonal] += capacity / dt
        right += capacity / dt * t
        self.t = np.linalg.solve(g, right[:, :, None])[:, :, 0]
        self.supplied += power * dt
        mix = (1.0 - self.sees) * (
            0.5 * self.t[:, self.AIR] + 0.5 * self.t[:, self.FACE]
        ) + self.sees * self.t[:, w]
        self.reading = self.reading + (mix - self.reading) * dt / (self.lag + dt)


@cache
def fire_all(rounds: tuple[Round, ...]) -> tuple[Fired, ...]:
    """Run every round to 60 °C again."""
    batch = _Batch(rounds)
    count = len(rounds)
    longest = max(len(r.plan) for r in rounds)
    rate, target, hold = np.zeros((3, count, longest + 1))
    for i, r in enumerate(rounds):
        for j, (a, b, c) in enumerate(r.plan):
            rate[i, j], target[i, j], hold[i, j] = a, b, c
    steps = np.array([len(r.plan) for r in rounds])
    peaks = np.array([int(np.argmax([s[1] for s in r.plan])) for r in rounds])
    waits = np.array([r.kiln.waits for r in rounds])
    index = np.zeros(count, dtype=np.int64)
    held, integral = np.zeros(count), np.zeros(count)
    set_point, begun = batch.room.copy(), batch.room.copy()
    heating, opens = np.full(count, np.nan), np.full(count, np.nan)
    rows: list[tuple[float, FloatArray, FloatArray, FloatArray]] = [
        (0.0, batch.reading.copy(), np.zeros(count), set_point.copy())
    ]
    now, every = 0.0, np.arange(count)
    patience_s = np.array([3600.0 * r.patience_h for r in rounds])
    while np.isnan(opens).any() and now < 110 * 3600.0:
        index = np.where(now >= patience_s, steps, index)
        running = index < steps
        dt = STEP_S if running.any() else COOLING_STEP_S
        to, per_h = target[every, index], rate[every, index]
        sign = np.where(to >= begun, 1.0, -1.0)
        lag = sign * (set_point - batch.reading)
        ramping = running & (np.abs(to - set_point) > 1e-9)
        moves = ramping & ((lag < 3.0) | ~waits)
        way = np.minimum(per_h * dt / 3600.0, np.abs(to - set_point))
        set_point = np.where(moves, set_point + sign * way, set_point)
        holding = running & ~ramping & ((lag < 1.5) | ~waits)
        held = np.where(holding, held + dt, held)
        over = holding & (held >= hold[every, index])
        heating = np.where(over & (index == peaks), now + dt, heating)
        begun = np.where(over, to, begun)
        index, held = np.where(over, index + 1, index), np.where(over, 0.0, held)
        error = set_point - batch.reading
        wanted = error / 5.0 + integral
        inside = (wanted > 0.0) & (wanted < 1.0)
        integral = np.where(inside, np.clip(integral + error / 5.0 * dt / 180.0, 0, 1), integral)
        integral = np.where(wanted <= 0.0, integral * (1.0 - dt / 180.0), integral)
        duty = np.where(running, np.clip(wanted, 0.0, 1.0), 0.0)
        batch.step(dt, duty)
        now += dt
        cooled = (index >= steps) & (batch.reading <= 60.0) & np.isnan(opens)
        opens = np.where(cooled, now, opens)
        rows.append((now, batch.reading.copy(), duty, set_point.copy()))
    time_s = np.array([row[0] for row in rows])
    readings, duties, points = (np.stack([row[i] for row in rows]) for i in (1, 2, 3))
    found = []
    for i in range(count):
        last = int(np.searchsorted(time_s, opens[i])) + 1 if np.isfinite(opens[i]) else time_s.size
        found.append(
            Fired(
                time_s[:last], readings[:last, i], duties[:last, i], points[:last, i],
                float(heating[i]), float(opens[i]), float(batch.supplied[i]) / 3.6e6,
            )
        )  # fmt: skip
    return tuple(found)


def owner_file(kiln: TrueKiln) -> KilnDescription:
    """What the owner writes of it: no leak, no fit."""
    return KilnDescription(
        name=kiln.name,
        power_w=kiln.rated_w,
        rated_volts=240.0,
        volume_l=kiln.volume_l,
        shape="round" if kiln.shape == "round" else "box",
        wall=tuple(WallLayer(wall_material(name), mm / 1000.0) for name, mm in kiln.owner_wall),
        vent=kiln.vent_cm2 > 0,
        max_c=kiln.max_c,
    )


SOFT = "insulating brick 1260"
FIBRE = "ceramic fibre blanket 128"
_FELT = Layer(0.013, 0.02, 0.11, 3.0, 130.0, c0=1050.0, c1=0.1)


def _board(mm: float) -> Layer:
    return Layer(mm / 1000.0, 0.05, 0.06, 2.0, 300.0, c0=900.0, c1=0.1)


KILNS: tuple[TrueKiln, ...] = (
    TrueKiln(
        "A", 180.0, 9500.0, 9600.0, brick(0.050), brick(0.025), ((SOFT, 75.0),), leak_cm2=10.0
    ),
    TrueKiln(
        "B",
        110.0,
        6900.0,
        7000.0,
        brick(0.040, 0.15, 0.25),
        brick(0.024, 0.15, 0.25),
        ((SOFT, 64.0),),
        leak_cm2=5.0,
        strip_w_per_k=0.1,
    ),
    TrueKiln(
        "C",
        65.0,
        5200.0,
        5000.0,
        brick(0.064, 0.13, 0.21),
        brick(0.012, 0.13, 0.21),
        ((SOFT, 76.0),),
        leak_cm2=6.0,
        contact_m2k_per_w=0.0,
    ),
    TrueKiln(
        "D",
        280.0,
        15200.0,
        15000.0,
        brick(0.076, 0.145, 0.235),
        _FELT,
        ((SOFT, 76.0), (FIBRE, 13.0)),
        leak_cm2=14.0,
        shape="box",
    ),
    TrueKiln(
        "E",
        200.0,
        12000.0,
        12000.0,
        brick(0.090, 0.15, 0.23, 3.0),
        _board(25.0),
        ((SOFT, 115.0),),
        leak_cm2=4.0,
        shape="box",
        strip_w_per_k=0.35,
    ),
    TrueKiln(
        "F",
        140.0,
        8200.0,
        8600.0,
        brick(0.040, 0.13, 0.22, 1.0),
        brick(0.035, 0.13, 0.22, 1.0),
        ((SOFT, 75.0),),
        leak_cm2=16.0,
        sees_wall=0.0,
    ),
    TrueKiln(
        "G",
        90.0,
        6300.0,
        6000.0,
        brick(0.064, density=540.0),
        _FELT,
        ((SOFT, 64.0), (FIBRE, 13.0)),
        leak_cm2=3.0,
    ),
    TrueKiln(
        "H",
        240.0,
        11300.0,
        11500.0,
        brick(0.040, 0.155, 0.26),
        brick(0.036, 0.14, 0.22),
        ((SOFT, 76.0),),
        leak_cm2=9.0,
        contact_m2k_per_w=0.05,
        vent_cm2=6.0,
    ),
    TrueKiln(
        "I",
        180.0,
        10100.0,
        9600.0,
        brick(0.045, 0.125, 0.205, 2.5, 470.0),
        brick(0.030, 0.125, 0.205, 2.5, 470.0),
        ((SOFT, 75.0),),
        leak_cm2=12.0,
        waits=False,
    ),
    TrueKiln(
        "J",
        55.0,
        4300.0,
        4400.0,
        brick(0.040, 0.15, 0.23),
        brick(0.023, 0.15, 0.23),
        ((SOFT, 63.0),),
        leak_cm2=2.5,
        lag_s=60.0,
    ),
    TrueKiln(
        "K",
        320.0,
        18000.0,
        18000.0,
        brick(0.100, 0.14, 0.22, 2.0),
        _board(30.0),
        ((SOFT, 100.0), (FIBRE, 25.0)),
        leak_cm2=10.0,
        shape="box",
        strip_w_per_k=0.5,
    ),
    TrueKiln(
        "L",
        150.0,
        9300.0,
        9000.0,
        brick(0.038, 0.14, 0.25, 3.0),
        brick(0.038, 0.14, 0.25, 3.0),
        ((SOFT, 76.0),),
        leak_cm2=7.0,
        jacket_emissivity=0.8,
    ),
    TrueKiln(
        "M",
        100.0,
        7400.0,
        7200.0,
        brick(0.064, 0.135, 0.20, density=450.0),
        brick(0.012),
        ((SOFT, 76.0),),
        leak_cm2=9.0,
        emissivity=0.65,
    ),
    TrueKiln(
        "N",
        210.0,
        11800.0,
        12000.0,
        brick(0.050, 0.16, 0.24),
        brick(0.050, 0.12, 0.19),
        ((SOFT, 100.0),),
        leak_cm2=6.0,
        sees_wall=0.25,
    ),
)
"""Fourteen, settled before any of the fit's figures were looked at."""

GLAZE: Plan = ((120.0, 200.0, 0.0), (180.0, 1050.0, 0.0), (75.0, 1225.0, 900.0))
BISQUE: Plan = ((60.0, 95.0, 5400.0), (90.0, 600.0, 0.0), (130.0, 980.0, 900.0))
NEXT: tuple[Plan, ...] = (
    ((150.0, 600.0, 0.0), (220.0, 1100.0, 0.0), (90.0, 1240.0, 600.0)),
    ((100.0, 250.0, 0.0), (160.0, 1000.0, 0.0), (110.0, 1200.0, 1800.0)),
    ((140.0, 900.0, 0.0), (110.0, 1215.0, 1200.0)),
)


def usual_charge(kiln: TrueKiln, *, raw: bool = False, share: float = 1.0) -> Charge:
    """35 kg of ware and 28 of furniture in 180 l, in proportion (source ``typical-load``)."""
    return Charge(
        share * 35.0 * kiln.volume_l / 180.0, 8.0, share * 28.0 * kiln.volume_l / 180.0, raw=raw
    )


def rounds_of(kilns: tuple[TrueKiln, ...] = KILNS) -> tuple[Round, ...]:
    """A glaze and a bisque to learn from, and three firings to be foretold, kiln by kiln."""
    found = []
    for number, kiln in enumerate(kilns):
        found.append(Round(kiln, usual_charge(kiln), GLAZE))
        found.append(Round(kiln, usual_charge(kiln, raw=True), BISQUE))
        for other, plan in enumerate(NEXT):
            share = (0.85, 1.0, 1.15)[(number + other) % 3]
            found.append(Round(kiln, usual_charge(kiln, share=share), plan))
    return tuple(found)
