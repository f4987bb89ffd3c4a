"""A second independent test instrument: another kiln, another controller, another sensor.

`logmaker` is one kiln of one make; a review that was tuned to it alone would be tuned to its
simplifications.  This one differs wherever a real kiln might: a front-loading box of 120 l in two
layers of wall, air and elements apart, ware with a middle of its own, furniture apart, water that
boils off, a draught that goes with the root of the heat, elements whose resistance rises, a supply
that wanders, a PID controller that switches in cycles, and a sheathed sensor that lags twice.  Like
`logmaker` it imports nothing of the package, and no test may demand that the package's kiln model
agree with it closely.  Figures are plausible, from memory; none is exact.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import pi, sin, sqrt

import numpy as np
from logmaker import KELVIN, STEFAN_BOLTZMANN, Boundary, Firing, PlanStep

BOX_BISQUE: tuple[PlanStep, ...] = (
    (60.0, 120.0, 3600.0),
    (80.0, 600.0, 0.0),
    (130.0, 960.0, 1200.0),
)
BOX_GLAZE: tuple[PlanStep, ...] = (
    (120.0, 300.0, 0.0),
    (160.0, 950.0, 0.0),
    (75.0, 1200.0, 1200.0),
    (70.0, 1050.0, 1800.0),
)
EVENING_S = 10.0 * 3600.0
"""From a start in the forenoon to the evening, when a street's supply sags [s]."""


@dataclass(frozen=True)
class BoxKiln:
    """A front loader: 76 mm of insulating brick, 50 mm of fibre board, 6.2 kW in three banks."""

    power_w: float = 6200.0
    inner_m2: float = 1.46
    outer_m2: float = 2.75
    brick_m: float = 0.076
    board_m: float = 0.05
    brick_nodes: int = 4
    board_nodes: int = 2
    brick_kg_m3: float = 560.0
    board_kg_m3: float = 300.0
    ware_kg: float = 26.0
    furniture_kg: float = 22.0
    air_j_per_k: float = 900.0
    elements_j_per_k: float = 2400.0
    elements_m2: float = 0.31
    ware_m2: float = 1.7
    furniture_m2: float = 0.9
    core_w_per_k: float = 95.0  # from the ware's skin to its middle
    draught_w_per_k: float = 0.30  # at 400 K above the room; goes with the root of that
    vent_w_per_k: float = 0.75
    plug_w_per_k: float = 0.5  # a vent plug that was left out, at 400 K, by draught
    plug_m2: float = 0.0012  # … and the hole that radiates
    open_door_w_per_k: float = 7.0
    open_door_m2: float = 0.03
    sheath_s: float = 55.0
    bead_s: float = 15.0


@dataclass(frozen=True)
class BoxController:
    """A PID controller that switches its contactor in cycles.

    `waits`: beyond `holdback_c` its clock stands still.  Otherwise the set-point runs by the clock.
    """

    waits: bool = True
    holdback_c: float = 8.0
    band_c: float = 20.0
    integral_s: float = 240.0
    derivative_s: float = 60.0
    cycle_s: float = 30.0


@dataclass(frozen=True)
class BoxFaults:
    """What goes wrong; every default means nothing does.

    Attributes
    ----------
    power_factor : float
        Share of the elements' power left.
    dip_volts, dip_from_s, dip_length_s : float
        The supply at this share of its volts for a time.
    dead_banks, dead_from_c, dead_from_s : int, float, float
        Banks of three that give nothing, from the first moment both are passed.
    ware_factor, furniture_factor : float
        Times what usually stands in the kiln.
    water_kg : float
        Free water of damp ware beyond what air-dry ware holds.
    vent_on, plug_out : bool
        All through the firing and its cooling.
    gap_w_per_k : float
        A gap at the door: what it carries off, by draught, at 400 K.
    opened_at_c, opened_s : float, float
        The door opened a hand's breadth during the firing, at this reading on the way up, so long.
    lid_propped_at_c : float, optional
        The door propped once the kiln has cooled to this.
    stuck_from_c : float, optional
        One bank's relay welds shut at this reading and stays so until the program's end.
    chatter_from_c, chatter_share : float
        A contactor that drops out, on average, for this share of the time, from this reading on.
    slips_from_c, slips_c_per_h : float, float
        The sensor slides out of its hole: it falls behind the truth at this pace, by at most 12 %.
    drift_at_1000_c : float
        It reads this much above the truth at 1000 °C, in proportion elsewhere.
    keyed_in : sequence of PlanStep, optional
        The program that really ran: edited, a segment skipped or repeated.
    outage_at_c, outage_s : float
        A door sensor that trips: no power from this reading on, so long.
    stop_at_c : float, optional
        Switched off at this reading.
    """

    power_factor: float = 1.0
    dip_volts: float = 1.0
    dip_from_s: float = EVENING_S
    dip_length_s: float = 0.0
    dead_banks: int = 0
    dead_from_c: float = -1000.0
    dead_from_s: float = -1.0
    ware_factor: float = 1.0
    furniture_factor: float = 1.0
    water_kg: float = 0.0
    vent_on: bool = False
    plug_out: bool = False
    gap_w_per_k: float = 0.0
    opened_at_c: float | None = None
    opened_s: float = 0.0
    lid_propped_at_c: float | None = None
    stuck_from_c: float | None = None
    chatter_from_c: float = 9999.0
    chatter_share: float = 0.0
    slips_from_c: float = 9999.0
    slips_c_per_h: float = 0.0
    drift_at_1000_c: float = 0.0
    keyed_in: tuple[PlanStep, ...] | None = None
    outage_at_c: float | None = None
    outage_s: float = 0.0
    stop_at_c: float | None = None


@dataclass(frozen=True)
class Day:
    """What differs between two healthy firings: the load, the room, the supply's wandering."""

    load_factor: float = 1.0
    room_c: float = 18.0
    supply_share: float = 0.01  # of the volts, up and down over the day
    supply_phase: float = 0.0


def _clay_cp(celsius: float) -> float:
    return 760.0 + 0.36 * min(celsius, 1100.0)


def _cordierite_cp(celsius: float) -> float:
    return 780.0 + 0.42 * min(celsius, 1000.0)


def _brick_cp(celsius: float) -> float:
    return 880.0 + 0.17 * celsius


def _board_cp(celsius: float) -> float:
    return 850.0 + 0.25 * celsius


def _brick_k(celsius: float) -> float:
    return 0.13 + 5.0e-5 * celsius + 4.0e-8 * celsius * celsius


def _board_k(celsius: float) -> float:
    return 0.055 + 2.0e-11 * (celsius + KELVIN) ** 3


AIR, WIRE, SKIN, CORE, SHELVES, WALL = 0, 1, 2, 3, 4, 5
BOIL_C = 100.0
BOIL_W_PER_K = 400.0
LATENT_J_PER_KG = 2.4e6


class _Box:
    """All temperatures, one implicit step at a time; a star about the air."""

    def __init__(self, kiln: BoxKiln, faults: BoxFaults, day: Day) -> None:
        self.kiln, self.room_c = kiln, day.room_c
        self.ware_kg = kiln.ware_kg * day.load_factor * faults.ware_factor
        self.shelves_kg = kiln.furniture_kg * faults.furniture_factor
        self.ware_m2 = kiln.ware_m2 * (day.load_factor * faults.ware_factor) ** (2.0 / 3.0)
        self.shelves_m2 = kiln.furniture_m2 * faults.furniture_factor
        self.core_w_per_k = kiln.core_w_per_k * day.load_factor * faults.ware_factor
        self.water_kg = faults.water_kg
        count = kiln.brick_nodes + kiln.board_nodes
        thick = [kiln.brick_m / kiln.brick_nodes] * kiln.brick_nodes
        thick += [kiln.board_m / kiln.board_nodes] * kiln.board_nodes
        whole = sum(thick)
        middles = np.cumsum(thick) - 0.5 * np.array(thick)
        span = kiln.outer_m2 - kiln.inner_m2
        self.thick = thick
        self.area = [kiln.inner_m2 + span * float(m) / whole for m in middles]
        density = [kiln.brick_kg_m3] * kiln.brick_nodes + [kiln.board_kg_m3] * kiln.board_nodes
        self.node_kg = [a * t * d for a, t, d in zip(self.area, thick, density, strict=True)]
        self.temps = np.full(WALL + count, day.room_c)
        self.count = count
        self.loss_w = 0.0
        self.stored_j = 0.0

    def step(
        self, seconds: float, watts: float, draught: float, fan: float, hole_m2: float
    ) -> None:
        kiln, room, count = self.kiln, self.room_c, self.count
        t = self.temps.tolist()
        size = WALL + count

        def radiate(one: float, two: float) -> float:
            a, b = one + KELVIN, two + KELVIN
            return STEFAN_BOLTZMANN * (a * a + b * b) * (a + b)

        capacity = [0.0] * size
        capacity[AIR], capacity[WIRE] = kiln.air_j_per_k, kiln.elements_j_per_k
        capacity[SKIN] = 0.4 * self.ware_kg * _clay_cp(t[SKIN])
        capacity[CORE] = 0.6 * self.ware_kg * _clay_cp(t[CORE])
        capacity[SHELVES] = self.shelves_kg * _cordierite_cp(t[SHELVES])
        conduct = []
        for i in range(count):
            here = t[WALL + i]
            brick = i < kiln.brick_nodes
            capacity[WALL + i] = self.node_kg[i] * (_brick_cp(here) if brick else _board_cp(here))
            conduct.append((_brick_k(here) if brick else _board_k(here)) * self.area[i])
        matrix = np.zeros((size, size))
        right = np.zeros(size)

        def couple(i: int, j: int, g: float) -> None:
            matrix[i, i] += g
            matrix[j, j] += g
            matrix[i, j] -= g
            matrix[j, i] -= g

        for i in range(size):
            matrix[i, i] += capacity[i] / seconds
            right[i] = capacity[i] / seconds * t[i]
        air = t[AIR]
        couple(AIR, WIRE, kiln.elements_m2 * (12.0 + 0.75 * radiate(t[WIRE], air)))
        couple(AIR, SKIN, self.ware_m2 * (12.0 + 0.8 * radiate(t[SKIN], air)))
        couple(AIR, SHELVES, self.shelves_m2 * (12.0 + 0.8 * radiate(t[SHELVES], air)))
        couple(SKIN, CORE, self.core_w_per_k)
        face = kiln.inner_m2 * (12.0 + 0.75 * radiate(t[WALL], air))
        skin = conduct[0] / (0.5 * self.thick[0])
        couple(AIR, WALL, face * skin / (face + skin))
        for i in range(count - 1):
            half = 0.5 * self.thick[i] / conduct[i] + 0.5 * self.thick[i + 1] / conduct[i + 1]
            couple(WALL + i, WALL + i + 1, 1.0 / half)
        shell = t[-1]
        film = kiln.outer_m2 * (1.8 * max(shell - room, 1.0) ** 0.25 + 0.85 * radiate(shell, room))
        through = conduct[-1] / (0.5 * self.thick[-1])
        out = film * through / (film + through)
        matrix[-1, -1] += out
        right[-1] += out * room
        gap = draught * sqrt(max(air - room, 0.0) / 400.0) + fan
        gap += 0.8 * hole_m2 * radiate(air, room)
        matrix[AIR, AIR] += gap
        right[AIR] += gap * room
        right[WIRE] += watts
        if self.water_kg > 0.0:
            # What the ware takes up beyond boiling goes into steam.
            for node, share in ((SKIN, 0.4), (CORE, 0.6)):
                if t[node] > BOIL_C - 15.0:
                    g = BOIL_W_PER_K * share
                    taken = g * max(t[node] - (BOIL_C - 15.0), 0.0)
                    matrix[node, node] += g
                    right[node] += g * (BOIL_C - 15.0)
                    self.water_kg -= taken * seconds / LATENT_J_PER_KG
        new = np.linalg.solve(matrix, right)
        self.loss_w = float(out * (new[-1] - room) + gap * (new[AIR] - room))
        self.stored_j += float(np.dot(capacity, new - self.temps))
        self.temps = new


class _Walk:
    """The controller's walk through its program, and its contactor."""

    def __init__(self, plan: Sequence[PlanStep], controller: BoxController, start_c: float) -> None:
        self.plan, self.controller = plan, controller
        self.index, self.set_point_c, self.from_c, self.held_s = 0, start_c, start_c, 0.0
        self.integral, self.last_c, self.slope = 0.0, start_c, 0.0
        self.on_s, self.into_cycle_s = 0.0, 0.0
        self.boundaries = [Boundary(0.0)]

    @property
    def running(self) -> bool:
        return self.index < len(self.plan)

    def advance(self, now_s: float, seconds: float, reading_c: float) -> None:
        rate, target, hold_s = self.plan[self.index]
        here, rising = self.boundaries[-1], target >= self.from_c
        near = abs(self.set_point_c - reading_c) <= self.controller.holdback_c
        moves = near or not self.controller.waits
        if here.ramp_end_s is None:
            if rate is None:
                self.set_point_c = target
                arrived = (reading_c >= target - 3.0) if rising else (reading_c <= target + 3.0)
            else:
                if moves:
                    way = target - self.set_point_c
                    step = rate / 3600.0 * seconds
                    self.set_point_c += min(step, way) if rising else max(-step, way)
                arrived = self.set_point_c == target and moves
            if arrived:
                self.boundaries[-1] = replace(here, ramp_end_s=now_s)
                if hold_s <= 0.0:
                    self._close(now_s)
        else:
            self.held_s += seconds if moves else 0.0
            if self.held_s >= hold_s:
                self._close(now_s)

    def _close(self, now_s: float) -> None:
        self.boundaries[-1] = replace(self.boundaries[-1], hold_end_s=now_s)
        self.from_c, self.held_s = self.plan[self.index][1], 0.0
        self.index += 1
        if self.running:
            self.boundaries.append(Boundary(now_s))

    def duty(self, reading_c: float, seconds: float) -> float:
        how = self.controller
        self.slope += (seconds / (seconds + 60.0)) * (
            (reading_c - self.last_c) / seconds - self.slope
        )
        self.last_c = reading_c
        error = self.set_point_c - reading_c
        wanted = error / how.band_c + self.integral - how.derivative_s * self.slope / how.band_c
        if 0.0 < wanted < 1.0 or (wanted >= 1.0 and error < 0) or (wanted <= 0.0 and error > 0):
            self.integral += error / how.band_c * seconds / how.integral_s
            self.integral = min(1.0, max(0.0, self.integral))
        if self.into_cycle_s <= 0.0:
            self.into_cycle_s = how.cycle_s
            self.on_s = min(1.0, max(0.0, wanted)) * how.cycle_s
        on = min(seconds, max(self.on_s, 0.0)) / seconds
        self.on_s -= seconds
        self.into_cycle_s -= seconds
        return on


def fire_box(
    plan: Sequence[PlanStep],
    *,
    kiln: BoxKiln | None = None,
    controller: BoxController | None = None,
    faults: BoxFaults | None = None,
    day: Day | None = None,
    cool_to_c: float = 80.0,
    max_h: float = 48.0,
) -> Firing:
    """Run one firing and return what truly happened; the same firing is run once."""
    return _fired(
        tuple(plan),
        kiln or BoxKiln(),
        controller or BoxController(),
        faults or BoxFaults(),
        day or Day(),
        cool_to_c,
        max_h,
    )


@lru_cache(maxsize=200)
def _fired(
    plan: tuple[PlanStep, ...],
    kiln: BoxKiln,
    controller: BoxController,
    faults: BoxFaults,
    day: Day,
    cool_to_c: float,
    max_h: float,
) -> Firing:
    box = _Box(kiln, faults, day)
    walk = _Walk(faults.keyed_in or plan, controller, day.room_c)
    bead = sheath = reading = day.room_c
    now_s, slipped_c, chatter = 0.0, 0.0, 0.0
    stopped = dead = welded = False
    door_left_s, door_done = 0.0, faults.opened_at_c is None
    outage_left_s, outage_done = 0.0, faults.outage_at_c is None
    rows = [(0.0, reading, reading, reading, np.nan, 0.0, 0.0, 0.0)]
    while now_s < max_h * 3600.0:
        active = walk.running and not stopped
        seconds = 10.0 if active else 60.0
        volts = 1.0 + day.supply_share * sin(2.0 * pi * now_s / 86400.0 * 3.0 + day.supply_phase)
        if 0.0 <= now_s - faults.dip_from_s < faults.dip_length_s:
            volts *= faults.dip_volts
        ct = 1.0 + 0.04 * min(max(float(box.temps[WIRE]) - 250.0, 0.0) / 800.0, 1.0)
        full_w = kiln.power_w * faults.power_factor * volts * volts / ct
        duty = watts = 0.0
        if active:
            dead = dead or (
                faults.dead_banks > 0
                and reading >= faults.dead_from_c
                and now_s >= faults.dead_from_s
            )
            if not outage_done and faults.outage_at_c is not None:
                outage_done = reading >= faults.outage_at_c
                outage_left_s = faults.outage_s if outage_done else 0.0
            if not door_done and faults.opened_at_c is not None:
                door_done = reading >= faults.opened_at_c
                door_left_s = faults.opened_s if door_done else 0.0
            walk.advance(now_s + seconds, seconds, reading)
            duty = walk.duty(reading, seconds)
            share = (3 - faults.dead_banks) / 3.0 if dead else 1.0
            watts = duty * full_w * share
            welded = welded or (faults.stuck_from_c is not None and reading >= faults.stuck_from_c)
            if welded:
                watts = full_w * (1.0 + 2.0 * duty) / 3.0
            if reading >= faults.chatter_from_c:
                # Drops out now and then, the same way in every run.
                chatter = (chatter + 0.618033988749895 * 0.37) % 1.0
                watts *= 0.0 if chatter < faults.chatter_share else 1.0
            if outage_left_s > 0.0:
                watts = 0.0
                outage_left_s -= seconds
            if reading >= faults.slips_from_c:
                slipped_c += faults.slips_c_per_h * seconds / 3600.0
            stopped = faults.stop_at_c is not None and reading >= faults.stop_at_c
        air = float(box.temps[AIR])
        propped = (
            not active and faults.lid_propped_at_c is not None and air <= faults.lid_propped_at_c
        )
        opened = door_left_s > 0.0 or propped
        door_left_s -= seconds
        box.step(
            seconds,
            watts,
            kiln.draught_w_per_k
            + (kiln.plug_w_per_k if faults.plug_out else 0.0)
            + faults.gap_w_per_k
            + (kiln.open_door_w_per_k if opened else 0.0),
            kiln.vent_w_per_k if faults.vent_on else 0.0,
            (kiln.plug_m2 if faults.plug_out else 0.0) + (kiln.open_door_m2 if opened else 0.0),
        )
        now_s += seconds
        # The sensor sees air and the wall's face.
        truth = 0.75 * float(box.temps[AIR]) + 0.25 * float(box.temps[WALL])
        sheath += (truth - sheath) * seconds / (kiln.sheath_s + seconds)
        bead += (sheath - bead) * seconds / (kiln.bead_s + seconds)
        lost = min(slipped_c, 0.12 * max(bead - day.room_c, 0.0))
        reading = bead - lost + faults.drift_at_1000_c * (bead - day.room_c) / (1000.0 - day.room_c)
        rows.append(
            (
                now_s,
                truth,
                float(box.temps[SKIN]),
                reading,
                walk.set_point_c if active else np.nan,
                duty,
                watts,
                box.loss_w,
            )
        )
        if (stopped or not walk.running) and truth <= cool_to_c:
            break
    columns = np.array(rows, dtype=np.float64).T
    columns.setflags(write=False)
    time_s, kiln_c, setting_c, reading_c, set_point_c, duties, power_w, loss_w = columns
    finished = not walk.running
    return Firing(
        time_s=time_s,
        kiln_c=kiln_c,
        setting_c=setting_c,
        reading_c=reading_c,
        set_point_c=set_point_c,
        duty=duties,
        power_w=power_w,
        loss_w=loss_w,
        boundaries=tuple(walk.boundaries),
        program_start_s=0.0,
        program_end_s=walk.boundaries[-1].hold_end_s if finished else None,
        stored_j=box.stored_j,
        room_c=day.room_c,
    )
