"""Many firings simulated at once, with physics of their own: what a watch is judged by.

Nothing here was ever used to set a threshold.  Elements, bricks, ware and what the thermocouple
sees are bodies that radiate to each other by the fourth power; ware takes up heat for its water and
its clay; controllers are PID with a switching cycle, or relays with a dead band, and their clocks
wait within a band of their own or not at all.  Every random number has a fixed seed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

HOUR_S = 3600.0
STEP_S = 5.0
ROOM_C = 18.0
SIGMA = 5.670374e-8
LAYERS = 7
FloatArray = npt.NDArray[np.float64]
Program = tuple[tuple[float, float, float], ...]
"""Rate [°C/h], target [°C] and hold [min] of each segment."""

PROGRAMS: dict[str, Program] = {
    "first firing": ((50.0, 100.0, 150.0), (80.0, 580.0, 0.0), (140.0, 960.0, 20.0)),
    "quick bisque": ((110.0, 550.0, 0.0), (160.0, 1020.0, 15.0)),
    "earthenware": ((130.0, 500.0, 0.0), (170.0, 1050.0, 12.0)),
    "stoneware": ((120.0, 600.0, 0.0), (165.0, 1100.0, 0.0), (75.0, 1225.0, 20.0)),
    "crystals": ((160.0, 1120.0, 0.0), (90.0, 1230.0, 8.0), (200.0, 1090.0, 120.0)),
    "soft end": ((140.0, 590.0, 10.0), (150.0, 1190.0, 40.0), (80.0, 850.0, 0.0)),
}


@dataclass(frozen=True)
class BatchKiln:
    """A cube: inner edge [m], brick [m], power new [W], its share left, load [kg of ware, shelves].

    `sheath_s` is how long the thermocouple's sheath takes.
    """

    edge_m: float
    brick_m: float
    power_w: float
    left: float = 1.0
    ware_kg: float = 20.0
    shelves_kg: float = 15.0
    sheath_s: float = 50.0
    leak_w_per_k: float = 0.8
    conductivity: float = 1.0


KILNS = (
    BatchKiln(0.38, 0.076, 5_200.0, 1.0, 7.0, 6.0, 30.0, 0.4),
    BatchKiln(0.56, 0.076, 11_000.0, 1.0, 22.0, 16.0, 55.0, 0.8),
    BatchKiln(0.62, 0.114, 12_500.0, 1.0, 28.0, 22.0, 80.0, 0.7),
    BatchKiln(0.74, 0.114, 18_000.0, 1.0, 50.0, 40.0, 70.0, 1.2),
)


@dataclass(frozen=True)
class BatchController:
    """A PID whose switching cycle is `cycle_s` (0: none), or a relay with a dead band [°C].

    Its clock waits while the kiln is further off than `band_c`; infinite where it does not wait.
    """

    cycle_s: float = 0.0
    dead_band_c: float | None = None
    band_c: float = 6.0
    band_p_c: float = 16.0
    reset_s: float = 1000.0
    rate_s: float = 60.0


@dataclass(frozen=True)
class Trouble:
    """The power's: from `at_s` on only this share, going there over a while, for a while.

    `welded` gives all power whatever the controller wants; one that is `held` keeps the last hold.
    """

    at_s: float = math.inf
    share: float = 1.0
    over_s: float = 0.0
    lasts_s: float = math.inf
    welded: bool = False
    held: bool = False


@dataclass(frozen=True)
class Air:
    """Cold air let in once a cooling kiln is below `below_c`: a vent, a peephole, a lid."""

    below_c: float
    w_per_k: float
    lasts_s: float = math.inf


@dataclass(frozen=True)
class Wanted:
    """One firing to make."""

    program: Program
    kiln: BatchKiln
    controller: BatchController = BatchController()
    trouble: Trouble = Trouble()
    room_c: float = ROOM_C
    air: Air = Air(-math.inf, 0.0)


@dataclass
class Made:
    """One firing: the thermocouple's true course, every 5 s, and what the controller did."""

    wanted: Wanted
    time_s: FloatArray
    true_c: FloatArray
    set_c: FloatArray
    duty: FloatArray
    arrived_s: list[float] = field(default_factory=list)
    left_s: list[float] = field(default_factory=list)
    end_s: float = math.inf
    aired_s: float = math.inf

    @property
    def peak_index(self) -> int:
        targets = [step[1] for step in self.wanted.program]
        return targets.index(max(targets))

    @property
    def heating_end_s(self) -> float:
        return self.left_s[self.peak_index] if len(self.left_s) > self.peak_index else math.inf

    def crossing_s(self, at_c: float) -> float:
        return float(self.time_s[int(np.argmax(self.true_c >= at_c))])


def fire_all(wanted: list[Wanted], *, cool_to_c: float = 55.0, most_h: float = 60.0) -> list[Made]:
    """Fire all of them at once, each until it has cooled after its program."""
    if not wanted:
        return []
    n = len(wanted)
    edge = np.array([w.kiln.edge_m for w in wanted])
    inner_m2 = 6.0 * edge**2
    brick_m = np.array([w.kiln.brick_m for w in wanted])
    outer_m2 = 6.0 * (edge + 2.0 * brick_m) ** 2
    full_w = np.array([w.kiln.power_w * w.kiln.left for w in wanted])
    rated_w = np.array([w.kiln.power_w for w in wanted])
    ware_kg = np.array([w.kiln.ware_kg for w in wanted])
    shelves_kg = np.array([w.kiln.shelves_kg for w in wanted])
    sheath_s = np.array([w.kiln.sheath_s for w in wanted])
    leak = np.array([w.kiln.leak_w_per_k for w in wanted])
    better = np.array([w.kiln.conductivity for w in wanted])
    dx = brick_m / LAYERS
    area = np.linspace(0.5 / LAYERS, 1.0 - 0.5 / LAYERS, LAYERS)[:, None]
    layer_m2 = inner_m2 + area * (outer_m2 - inner_m2)
    face_m2 = inner_m2 + np.linspace(0.0, 1.0, LAYERS + 1)[:, None] * (outer_m2 - inner_m2)
    layer_j = 480.0 * 1_030.0 * dx * layer_m2
    wire_j = rated_w / 20_000.0 * 0.00075 * 7_100.0 * 650.0 * 2.0
    wire_m2 = 0.5 * rated_w / 20_000.0
    load_m2 = 0.45 * inner_m2 * ((ware_kg + shelves_kg) / (190.0 * edge**3)).clip(0.4, 1.6) ** 0.5
    skin_share = 0.4
    room_c = np.array([w.room_c for w in wanted])
    air_below_c = np.array([w.air.below_c for w in wanted])
    air_w_per_k = np.array([w.air.w_per_k for w in wanted])
    air_lasts_s = np.array([w.air.lasts_s for w in wanted])
    aired_s = np.full(n, np.inf)
    peak = np.array([int(np.argmax([step[1] for step in w.program])) for w in wanted])
    # State.
    wire = room_c.copy()
    skin, core, tip, probe = wire.copy(), wire.copy(), wire.copy(), wire.copy()
    brick = np.tile(room_c, (LAYERS, 1))
    most_ware = wire.copy()
    # Programs.
    longest = max(len(w.program) for w in wanted)
    rate = np.ones((longest, n))
    target, hold_s = np.zeros((longest, n)), np.zeros((longest, n))
    for j, w in enumerate(wanted):
        for i in range(longest):
            r, t, h = w.program[min(i, len(w.program) - 1)]
            rate[i, j], target[i, j], hold_s[i, j] = r, t, 60.0 * h
    count = np.array([len(w.program) for w in wanted])
    segment = np.zeros(n, dtype=int)
    set_c, held = room_c.copy(), np.zeros(n)
    arrived = np.zeros(n, dtype=bool)
    total, out, on = np.zeros(n), np.zeros(n), np.zeros(n, dtype=bool)
    usual = np.zeros(n)
    band_c = np.array([w.controller.band_c for w in wanted])
    cycle_s = np.array([w.controller.cycle_s for w in wanted])
    relay = np.array([w.controller.dead_band_c is not None for w in wanted])
    dead_c = np.array([w.controller.dead_band_c or 0.0 for w in wanted])
    band_p = np.array([w.controller.band_p_c for w in wanted])
    reset_s = np.array([w.controller.reset_s for w in wanted])
    rate_s = np.array([w.controller.rate_s for w in wanted])
    at_s = np.array([w.trouble.at_s for w in wanted])
    share = np.array([w.trouble.share for w in wanted])
    over_s = np.maximum([w.trouble.over_s for w in wanted], STEP_S)
    until_s = at_s + np.array([w.trouble.lasts_s for w in wanted])
    welded = np.array([w.trouble.welded for w in wanted])
    keeps = np.array([w.trouble.held for w in wanted])
    phase = (977.0 * better + 31.0 * ware_kg) % 1.0  # of its own, whatever it is made beside
    arrivals: list[list[float]] = [[] for _ in wanted]
    leaves: list[list[float]] = [[] for _ in wanted]
    end_s = np.full(n, np.inf)
    courses, sets, duties = [probe.copy()], [set_c.copy()], [np.zeros(n)]
    columns = np.arange(n)
    now_s, last_probe = 0.0, probe.copy()
    moving = np.ones(n, dtype=bool)
    while now_s < most_h * HOUR_S and moving.any():
        # The controller's clock.
        running = segment < count
        seg = np.minimum(segment, count - 1)
        r, t, h = rate[seg, columns], target[seg, columns], hold_s[seg, columns]
        up = np.sign(t - set_c)
        lag = up * (set_c - probe)
        step_c = np.where(running & (lag < band_c), r * STEP_S / HOUR_S, 0.0)
        ramping = np.abs(t - set_c) > 1e-9
        set_c = np.where(
            running & ramping, set_c + up * np.minimum(step_c, np.abs(t - set_c)), set_c
        )
        reached = running & (np.abs(t - set_c) < 1e-9)
        near = np.isinf(band_c) | (np.abs(probe - t) < np.minimum(band_c, 3.0))
        first = reached & ~arrived & near
        for j in np.flatnonzero(first):
            arrivals[j].append(now_s)
        arrived |= first
        held = np.where(arrived, held + STEP_S, 0.0)
        through = arrived & (held > h)
        for j in np.flatnonzero(through):
            leaves[j].append(now_s)
        segment = segment + through
        arrived &= ~through
        ended = through & (segment >= count)
        end_s[ended] = now_s
        running = segment < count
        # Its output.
        gap = set_c - probe
        slope = (probe - last_probe) / STEP_S
        last_probe = probe.copy()
        wish = (gap + total - rate_s * slope) / band_p
        total = np.where(
            (wish < 1.0) & (wish > 0.0) | (np.sign(gap) != np.sign(wish - 0.5)),
            total + gap * STEP_S / reset_s,
            total,
        ).clip(-0.3 * band_p, band_p)
        wish = wish.clip(0.0, 1.0)
        on = np.where(gap > dead_c, True, np.where(gap < -0.3 * dead_c, False, on))
        place = (now_s / np.maximum(cycle_s, STEP_S) + phase) % 1.0
        cycled = np.where(cycle_s > 0.0, (place < wish).astype(float), wish)
        out = np.where(running, np.where(relay, on.astype(float), cycled), 0.0)
        usual += np.where(running, (out - usual) * STEP_S / 1500.0, 0.0)
        # What is wrong with the power.
        hit = (now_s >= at_s) & (now_s < until_s)
        down = ((now_s - at_s) / over_s).clip(0.0, 1.0)
        left = np.where(hit, 1.0 - (1.0 - share) * np.where(hit, down, 0.0), 1.0)
        given = np.where(hit & welded, 1.0, out * left)
        given = np.where(hit & keeps, (usual + 0.03 * (t - probe)).clip(0.0, 1.0), given)
        # The kiln.
        wire4, skin4 = (wire + 273.15) ** 4, (skin + 273.15) ** 4
        wall4 = (brick[0] + 273.15) ** 4
        to_wall = SIGMA * 0.55 * wire_m2 * (wire4 - wall4)
        to_ware = SIGMA * 0.40 * wire_m2 * (wire4 - skin4)
        between = SIGMA * 0.7 * load_m2 * (wall4 - skin4) + 5.0 * load_m2 * (brick[0] - skin)
        wire = wire + (given * full_w - to_wall - to_ware) * STEP_S / wire_j
        warm = 850.0 + 0.35 * (skin + core) / 2.0
        heat_j = warm * (ware_kg + shelves_kg)
        most_ware = np.maximum(most_ware, core)
        wetting = np.where(core >= most_ware - 0.5, 1.0, 0.0)
        wet_j = ware_kg * 0.02 * 2.3e6 / 30.0 * np.exp(-0.5 * ((core - 95.0) / 12.0) ** 2)
        clay_j = ware_kg * 5.5e4 / 62.0 * np.exp(-0.5 * ((core - 540.0) / 25.0) ** 2)
        inside = 0.6 * load_m2 * (8.0 + 2.0 * SIGMA * (core + 273.15) ** 3) * (skin - core)
        skin = skin + (to_ware + between - inside) * STEP_S / (skin_share * heat_j)
        core_j = (1.0 - skin_share) * heat_j + wetting * (wet_j + clay_j)
        core = core + inside * STEP_S / core_j
        conductivity = better * (0.11 + 1.2e-4 * brick)
        between_k = 0.5 * (conductivity[1:] + conductivity[:-1])
        flow = np.empty((LAYERS + 1, n))
        opens = (segment > peak) & (probe < air_below_c) & np.isinf(aired_s)
        aired_s[opens] = now_s
        air = np.where((now_s >= aired_s) & (now_s < aired_s + air_lasts_s), air_w_per_k, 0.0)
        core = core - 0.3 * air * (core - room_c) * STEP_S / core_j
        skin = skin - 0.3 * air * (skin - room_c) * STEP_S / (skin_share * heat_j)
        flow[0] = to_wall - between - (leak + 0.4 * air) * (brick[0] - room_c)
        flow[1:-1] = between_k * face_m2[1:-1] / dx * (brick[:-1] - brick[1:])
        outer4 = (brick[-1] + 273.15) ** 4 - (room_c + 273.15) ** 4
        flow[-1] = outer_m2 * (6.0 * (brick[-1] - room_c) + 0.8 * SIGMA * outer4)
        brick = brick + (flow[:-1] - flow[1:]) * STEP_S / layer_j
        seen = (0.12 * wire4 + 0.5 * wall4 + 0.38 * skin4) ** 0.25 - 273.15
        tip = tip + (seen - tip) * (1.0 - np.exp(-STEP_S / sheath_s))
        probe = probe + (tip - probe) * (1.0 - math.exp(-STEP_S / 8.0))
        now_s += STEP_S
        courses.append(probe.copy())
        sets.append(set_c.copy())
        duties.append(given)
        moving &= ~((segment >= count) & (probe < cool_to_c))
    all_c, all_set, all_duty = np.array(courses), np.array(sets), np.array(duties)
    time_s = np.arange(all_c.shape[0]) * STEP_S
    made = []
    for j, one in enumerate(wanted):
        over = np.flatnonzero((time_s > end_s[j]) & (all_c[:, j] < cool_to_c))
        last = int(over[0]) + 1 if over.size else time_s.size
        made.append(
            Made(
                one, time_s[:last], all_c[:last, j].copy(), all_set[:last, j].copy(),
                all_duty[:last, j].copy(), arrivals[j], leaves[j], float(end_s[j]),
                float(aired_s[j]),
            )
        )  # fmt: skip
    return made


def worn(kiln: BatchKiln, left: float) -> BatchKiln:
    return replace(kiln, left=left * kiln.left)


# What is made of them to judge a watch by.


@dataclass(frozen=True)
class Case:
    """One firing to judge by, how it is read, and what goes wrong with what is read.

    `kind` is healthy, heavy, weak, late, dip, or the danger's name; the danger begins at
    `danger_s`, and is named by one of `alarms`.
    """

    kind: str
    number: int
    wanted: Wanted
    interval_s: float
    noise_c: float
    digits_c: float
    begins_c: float = math.nan
    circuit: str = ""
    alarms: tuple[str, ...] = ()


PROGRAM_NAMES = tuple(PROGRAMS)
LEAST_WAIT_S = 420.0


def _chosen(chance: np.random.Generator, some: object) -> int:
    return int(chance.integers(len(some)))  # type: ignore[arg-type]


def _controller(chance: np.random.Generator) -> BatchController:
    band_c = (4.0, 8.0, 20.0, math.inf)[int(chance.integers(4))]
    how = int(chance.integers(5))
    if how == 0:
        return BatchController(dead_band_c=1.0, band_c=band_c)
    if how == 1:
        return BatchController(dead_band_c=3.5, band_c=band_c)
    cycle_s = (0.0, 15.0, 60.0)[how - 2]
    return BatchController(cycle_s, None, band_c, float(chance.uniform(10.0, 25.0)))


def usual_case(kind: str, number: int) -> tuple[Case, np.random.Generator]:
    """Return a case in which nothing goes wrong with the power or the readings."""
    chance = np.random.default_rng([sum(map(ord, kind)), number])
    program = PROGRAMS[PROGRAM_NAMES[_chosen(chance, PROGRAM_NAMES)]]
    kiln = KILNS[_chosen(chance, KILNS)]
    kiln = replace(
        kiln,
        ware_kg=kiln.ware_kg * chance.uniform(0.8, 1.15),
        conductivity=chance.uniform(0.9, 1.1),
    )
    left = {"weak": (0.80, 0.92), "late": (0.66, 0.80)}.get(kind)
    if left is not None:
        kiln = worn(kiln, chance.uniform(*left))
    if kind == "heavy":
        kiln = replace(kiln, ware_kg=1.8 * kiln.ware_kg, shelves_kg=1.4 * kiln.shelves_kg)
    interval_s = (10.0, 20.0, 60.0, 120.0, 300.0)[int(chance.integers(5))]
    noise_c = (0.0, 0.3, 1.0, 3.0)[int(chance.integers(4))]
    digits_c = (0.1, 1.0)[int(chance.integers(2))]
    wanted = Wanted(program, kiln, _controller(chance))
    return Case(kind, number, wanted, interval_s, noise_c, digits_c), chance


def read(case: Case, made: Made, until_s: float) -> tuple[FloatArray, FloatArray]:
    """Return what an instrument reads of a firing."""
    chance = np.random.default_rng([sum(map(ord, case.kind)), case.number, 7])
    last_s = min(until_s, float(made.time_s[-1]))
    time_s = np.arange(chance.uniform(0.0, case.interval_s), last_s, case.interval_s)
    reading_c = np.interp(time_s, made.time_s, made.true_c)
    reading_c = reading_c + chance.normal(0.0, 1.0, time_s.size) * case.noise_c
    return time_s, np.round(reading_c / case.digits_c) * case.digits_c


DANGERS: dict[str, tuple[str, ...]] = {
    "cut in candling": ("cooling",),
    "cut at the top": ("cooling",),
    "cut in a ramp": ("cooling", "power-weaker"),
    "outage": ("cooling", "power-weaker"),
    "bank": ("power-weaker", "cooling", "stalled"),
    "slow bank": ("power-weaker", "cooling", "stalled"),
    "half": ("power-weaker", "cooling", "stalled"),
    "hold goes on": ("hold-long",),
    "welded": ("hold-long", "over-top", "above-plan"),
    "welded in a ramp": ("climbs-fast", "above-plan", "over-top"),
    "shorted": ("reading-impossible",),
    "reversed": ("reading-impossible",),
    "pulled out": ("reading-impossible",),
    "stuck": ("reading-stuck",),
    "reversed from the start": ("reading-impossible",),
}
CIRCUIT = ("shorted", "reversed", "pulled out", "stuck", "reversed from the start")


@dataclass(frozen=True)
class Judged:
    """A case and its firing; the danger begins, and shows by 3 °C at the thermocouple [s].

    `usual_c` is the course that it would have had without.
    """

    case: Case
    made: Made
    danger_s: float = math.inf
    shows_s: float = math.inf
    usual_c: FloatArray = field(default_factory=lambda: np.zeros(0))


def judged(kinds: dict[str, int], first: int = 0) -> list[Judged]:
    """Make so many cases of each kind."""
    cases, chances = [], []
    for kind, count in kinds.items():
        for number in range(first, first + count):
            case, chance = usual_case(kind, number)
            if kind == "cut in candling":
                program = PROGRAMS["first firing"]
                case = replace(case, wanted=replace(case.wanted, program=program))
            cases.append(case)
            chances.append(chance)
    usual = fire_all([case.wanted for case in cases])
    harmed: list[int] = []
    starts: dict[int, float] = {}
    for j, (case, chance, made) in enumerate(zip(cases, chances, usual, strict=True)):
        wanted, trouble = _with_trouble(case.kind, made, chance)
        if case.kind in DANGERS:
            starts[j] = trouble.at_s
        if wanted is not None:
            cases[j] = replace(case, wanted=wanted)
            harmed.append(j)
    troubled = fire_all([cases[j].wanted for j in harmed])
    found = [Judged(case, made) for case, made in zip(cases, usual, strict=True)]
    for j, made in zip(harmed, troubled, strict=True):
        begins_s, usual_c = starts.get(j, math.inf), usual[j].true_c
        found[j] = Judged(cases[j], made, begins_s, _shows_s(usual[j], made), usual_c)
    for j, at_s in starts.items():
        if cases[j].kind in CIRCUIT:
            found[j] = Judged(cases[j], usual[j], at_s, at_s, usual[j].true_c)
    return found


def _shows_s(usual: Made, made: Made) -> float:
    both = min(usual.true_c.size, made.true_c.size)
    apart = np.abs(usual.true_c[:both] - made.true_c[:both]) > 3.0
    return float(made.time_s[int(np.argmax(apart))]) if apart.any() else math.inf


def _with_trouble(
    kind: str, made: Made, chance: np.random.Generator
) -> tuple[Wanted | None, Trouble]:
    """Return what is to be fired instead of an unharmed firing; None where that does."""
    if kind not in DANGERS and kind != "dip":
        return None, Trouble()
    wanted, peak = made.wanted, made.peak_index
    top_c = wanted.program[peak][1]
    arrived_s, left_s = made.arrived_s[peak], made.left_s[peak]
    ramp_s = made.crossing_s(chance.uniform(350.0, min(0.88 * top_c, float(made.true_c.max()))))
    if kind == "dip":
        share, lasts_s = chance.uniform(0.7, 0.85), chance.uniform(1.0, 3.0) * HOUR_S
        trouble = Trouble(ramp_s, share, 60.0, lasts_s)
    elif kind == "cut in candling":
        trouble = Trouble(made.arrived_s[0] + chance.uniform(1800.0, 7200.0), 0.0)
    elif kind == "cut at the top":
        trouble = Trouble(arrived_s + chance.uniform(0.2, 0.6) * (left_s - arrived_s), 0.0)
    elif kind == "cut in a ramp":
        trouble = Trouble(ramp_s, 0.0)
    elif kind == "outage":
        trouble = Trouble(ramp_s, 0.0, 0.0, chance.uniform(1200.0, 3600.0))
    elif kind in ("bank", "slow bank"):
        trouble = Trouble(ramp_s, 1.0 / 3.0, 600.0 if kind == "slow bank" else 0.0)
    elif kind == "half":
        trouble = Trouble(ramp_s, 0.5)
    elif kind == "hold goes on":
        rate, target_c, hold_min = wanted.program[peak]
        longer = (rate, target_c, hold_min + 180.0)
        program = (*wanted.program[:peak], longer, *wanted.program[peak + 1 :])
        return replace(wanted, program=program), Trouble(left_s)
    elif kind == "welded":
        trouble = Trouble(left_s, welded=True, lasts_s=2.0 * HOUR_S)
    elif kind == "welded in a ramp":
        trouble = Trouble(ramp_s, welded=True, lasts_s=2.0 * HOUR_S)
    elif kind == "reversed from the start":
        return None, Trouble(0.0)
    elif kind in CIRCUIT:
        return None, Trouble(ramp_s)
    return replace(wanted, trouble=trouble), trouble


def disturbed(kind: str, time_s: FloatArray, reading_c: FloatArray, at_s: float) -> FloatArray:
    """Return readings as a fault of the thermocouple's circuit leaves them."""
    after = time_s >= at_s
    if not after.any():
        return reading_c
    begin_c = float(reading_c[max(int(np.argmax(after)) - 1, 0)])
    since_s = np.maximum(time_s - at_s, 0.0)
    bad = {
        "shorted": np.full(time_s.size, 42.0),
        "reversed": 2.0 * 28.0 - reading_c,
        "reversed from the start": 2.0 * ROOM_C - reading_c,
        "pulled out": 90.0 + (begin_c - 90.0) * np.exp(-since_s / 45.0),
        "stuck": np.full(time_s.size, begin_c),
    }[kind]
    return np.where(after, np.round(10.0 * bad) / 10.0, reading_c)
