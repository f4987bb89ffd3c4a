"""An independent test instrument: makes kiln logs whose truth is known.

Own physics, not ``firing.kiln``: nothing of the package is imported here, so that a test which
scores the package against these logs never compares a model with itself.

The kiln is a chain of lumps - the setting (ware and furniture), the chamber (elements, air, inner
skin; the thermocouple sits here) and a few wall nodes - stepped implicitly every 10 s.  Radiation
and convection couple setting, chamber and hot face; the shell loses heat by radiation and
convection to the room; a leak (vent, lid gap) takes heat straight from the chamber.  The elements
are limited in power.  A PI controller with a small proportional band follows a moving set-point
that either waits for the kiln or runs by the clock.

Everything here is plausible, nothing is exact: the defaults were chosen to come near the example
kiln's published-style figures (see ``test_logmaker.py``), and no test may demand that the
package's kiln model agree with this one closely.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
PlanStep = tuple[float | None, float, float]
"""(rate_c_per_h or None for all the power there is / elements off, target_c, hold_s)"""

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m² K⁴), CODATA 2018, exact since the 2019 SI
KELVIN = 273.15

BISQUE: tuple[PlanStep, ...] = (
    (50.0, 110.0, 2 * 3600.0),
    (60.0, 600.0, 0.0),
    (100.0, 900.0, 900.0),
)
GLAZE: tuple[PlanStep, ...] = (
    (100.0, 200.0, 0.0),
    (180.0, 1000.0, 0.0),
    (80.0, 1222.0, 900.0),
    (80.0, 1000.0, 0.0),
)


@dataclass(frozen=True)
class Kiln:
    """A toploader of about 180 L in 75 mm of insulating brick, 9.6 kW with new elements."""

    power_w: float = 9600.0
    inner_area_m2: float = 1.70
    outer_area_m2: float = 2.60
    wall_m: float = 0.075
    wall_nodes: int = 5
    brick_kg_m3: float = 490.0
    brick_k_w_mk: tuple[float, float] = (0.101, 0.000102)  # at 0 °C, and per °C
    ware_kg: float = 35.0
    furniture_kg: float = 28.0
    chamber_j_per_k: float = 18_000.0  # elements, air and the inner skin of the brick
    exchange_m2: float = 2.4  # surface of the setting that sees the chamber
    leak_w_per_k: float = 0.45
    vent_w_per_k: float = 0.8  # what a vent adds
    propped_lid_w_per_k: float = 6.0  # what a lid propped a hand's breadth adds
    propped_lid_m2: float = 0.03  # and the opening that radiates
    thermocouple_lag_s: float = 20.0


@dataclass(frozen=True)
class Controller:
    """A PI set-point follower.

    `waits`: its clock stands still while the kiln is more than `wait_band_c` away, and a hold
    begins only when the kiln is there.  Otherwise the set-point runs by the clock alone.  After
    an outage the set-point goes on from where it stood.
    """

    waits: bool = True
    wait_band_c: float = 2.5
    proportional_band_c: float = 12.0
    reset_s: float = 150.0


@dataclass(frozen=True)
class Faults:
    """What goes wrong; every default means nothing does.

    Attributes
    ----------
    power_factor : float
        Share of rated power left (worn elements: 0.78).
    dip_volts, dip_from_s, dip_length_s : float
        Supply at this share of its volts, from this time after the program's start, this long;
        power goes with the square.
    dead_banks, dead_from_c : int, float
        Banks of three that give nothing, from the first moment the reading is this high.
    outage_at_c, outage_s : float
        No power from the first moment the reading is this high, for so long.
    keyed_in : sequence of PlanStep, optional
        The program the controller really ran.
    load_factor : float
        Ware and furniture as a multiple of the kiln's.
    vent_on : bool
        A vent drawing all through the firing.
    lid_propped_at_c : float, optional
        The lid is propped once the kiln has cooled to this after its program.
    thermocouple_offset_c : float
        Reading minus truth.
    late_start_s : float
        Idle time between the log's start and the program's.
    stop_at_c, stop_at_s : float, optional
        The program is broken off at the first reading this high, or this long after its start.
    """

    power_factor: float = 1.0
    dip_volts: float = 1.0
    dip_from_s: float = 0.0
    dip_length_s: float = 0.0
    dead_banks: int = 0
    dead_from_c: float = -1000.0
    outage_at_c: float | None = None
    outage_s: float = 0.0
    keyed_in: Sequence[PlanStep] | None = None
    load_factor: float = 1.0
    vent_on: bool = False
    lid_propped_at_c: float | None = None
    thermocouple_offset_c: float = 0.0
    late_start_s: float = 0.0
    stop_at_c: float | None = None
    stop_at_s: float | None = None


@dataclass(frozen=True)
class Boundary:
    """When one program step's ramp and hold really ended [s of the log]; None if never."""

    start_s: float
    ramp_end_s: float | None = None
    hold_end_s: float | None = None


@dataclass(frozen=True, eq=False)
class Firing:
    """The truth of one simulated firing; arrays of shape (n,), about 10 s apart."""

    time_s: FloatArray
    kiln_c: FloatArray
    setting_c: FloatArray
    reading_c: FloatArray
    set_point_c: FloatArray  # NaN where no program runs
    duty: FloatArray
    power_w: FloatArray
    loss_w: FloatArray
    boundaries: tuple[Boundary, ...]
    program_start_s: float
    program_end_s: float | None  # the last hold's end; None when it never got there
    stored_j: float  # heat content gained, start to end
    room_c: float


def _setting_cp(celsius: float) -> float:
    """Fired clay and cordierite, J/(kg K): common magnitude, from memory."""
    return 800.0 + 0.30 * celsius if celsius < 1000.0 else 1100.0


def _brick_cp(celsius: float) -> float:
    """Insulating firebrick, J/(kg K): common magnitude, from memory."""
    return 830.0 + 0.22 * celsius


class _Body:
    """The heat chain setting - chamber - wall nodes - room, one implicit step at a time."""

    def __init__(self, kiln: Kiln, load_factor: float, start_c: float, room_c: float) -> None:
        self.kiln = kiln
        self.room_c = room_c
        self.setting_kg = (kiln.ware_kg + kiln.furniture_kg) * load_factor
        count = kiln.wall_nodes
        self.node_m = kiln.wall_m / count
        span = kiln.outer_area_m2 - kiln.inner_area_m2
        centres = [(index + 0.5) / count for index in range(count)]
        self.node_kg = [
            (kiln.inner_area_m2 + span * where) * self.node_m * kiln.brick_kg_m3
            for where in centres
        ]
        self.face_m2 = [kiln.inner_area_m2 + span * i / count for i in range(count + 1)]
        self.temps = [start_c] * (count + 2)
        self.stored_j = 0.0
        self.loss_w = 0.0

    def step(self, seconds: float, power_w: float, leak_w_per_k: float, gap_m2: float) -> None:
        kiln, temps, room = self.kiln, self.temps, self.room_c
        count = kiln.wall_nodes
        setting, chamber, hot = temps[0], temps[1], temps[2]
        k_0, k_1 = kiln.brick_k_w_mk

        def radiate(one: float, two: float) -> float:
            a, b = one + KELVIN, two + KELVIN
            return STEFAN_BOLTZMANN * (a * a + b * b) * (a + b)

        half = 0.5 * self.node_m
        skin = (k_0 + k_1 * hot) * self.face_m2[0] / half
        to_face = kiln.inner_area_m2 * (20.0 + 0.7 * radiate(chamber, hot))
        links = [
            kiln.exchange_m2 * (25.0 + 0.7 * radiate(setting, chamber)),
            to_face * skin / (to_face + skin),
        ]
        for index in range(count - 1):
            mean = 0.5 * (temps[index + 2] + temps[index + 3])
            links.append((k_0 + k_1 * mean) * self.face_m2[index + 1] / self.node_m)
        shell = temps[-1]
        film = kiln.outer_area_m2 * (
            1.6 * max(shell - room, 1.0) ** 0.25 + 0.6 * radiate(shell, room)
        )
        through = (k_0 + k_1 * shell) * self.face_m2[-1] / half
        out = film * through / (film + through)
        gap = leak_w_per_k + gap_m2 * 0.8 * radiate(chamber, room)

        capacity = [self.setting_kg * _setting_cp(setting), kiln.chamber_j_per_k]
        capacity += [self.node_kg[i] * _brick_cp(temps[i + 2]) for i in range(count)]
        # Thomas algorithm on (C/dt + K) T_new = C/dt T_old + q
        size = count + 2
        diagonal = [0.0] * size
        right = [0.0] * size
        for i in range(size):
            inertia = capacity[i] / seconds
            diagonal[i] = inertia
            right[i] = inertia * temps[i]
            if i > 0:
                diagonal[i] += links[i - 1]
            if i < size - 1:
                diagonal[i] += links[i]
        diagonal[1] += gap
        right[1] += power_w + gap * room
        diagonal[-1] += out
        right[-1] += out * room
        for i in range(1, size):
            ratio = links[i - 1] / diagonal[i - 1]
            diagonal[i] -= ratio * links[i - 1]
            right[i] += ratio * right[i - 1]
        new = [0.0] * size
        new[-1] = right[-1] / diagonal[-1]
        for i in range(size - 2, -1, -1):
            new[i] = (right[i] + links[i] * new[i + 1]) / diagonal[i]
        self.loss_w = out * (new[-1] - room) + gap * (new[1] - room)
        self.stored_j += sum(c * (n - o) for c, n, o in zip(capacity, new, temps, strict=True))
        self.temps = new


class _Program:
    """The controller's walk through a plan: set-point, waiting, holds, boundaries."""

    def __init__(self, plan: Sequence[PlanStep], controller: Controller, start_c: float) -> None:
        self.plan, self.controller = plan, controller
        self.index = 0
        self.set_point_c = start_c
        self.held_s = 0.0
        self.boundaries: list[Boundary] = []
        self.integral = 0.0
        self.from_c = start_c

    @property
    def running(self) -> bool:
        return self.index < len(self.plan)

    def _open(self, now_s: float) -> None:
        if len(self.boundaries) == self.index:
            self.boundaries.append(Boundary(now_s))

    def advance(self, now_s: float, seconds: float, reading_c: float) -> None:
        """Move the set-point by one step; `now_s` is the step's end."""
        self._open(now_s - seconds)
        rate, target, hold_s = self.plan[self.index]
        here = self.boundaries[self.index]
        lag = abs(self.set_point_c - reading_c)
        ready = not self.controller.waits or lag <= self.controller.wait_band_c
        if here.ramp_end_s is None:
            rising = target >= self.from_c
            if rate is None:
                self.set_point_c = target
                missing = target - reading_c if rising else reading_c - target
                arrived = missing <= self.controller.wait_band_c
            else:
                if ready:
                    move = rate / 3600.0 * seconds
                    gap = target - self.set_point_c
                    self.set_point_c += min(move, gap) if rising else max(-move, gap)
                near = abs(target - reading_c) <= self.controller.wait_band_c
                arrived = self.set_point_c == target and (near or not self.controller.waits)
            if arrived:
                self.boundaries[self.index] = replace(here, ramp_end_s=now_s)
                if hold_s <= 0:
                    self._close(now_s)
        else:
            if ready:
                self.held_s += seconds
            if self.held_s >= hold_s:
                self._close(now_s)

    def _close(self, now_s: float) -> None:
        self.boundaries[self.index] = replace(self.boundaries[self.index], hold_end_s=now_s)
        self.from_c = self.plan[self.index][1]
        self.index += 1
        self.held_s = 0.0
        if self.running:
            self._open(now_s)

    def duty(self, reading_c: float, seconds: float) -> float:
        error = self.set_point_c - reading_c
        band = self.controller.proportional_band_c
        wanted = error / band + self.integral
        # integrate only inside the band: no wind-up on a kiln that cannot follow
        if 0.0 < wanted < 1.0:
            self.integral += error / band * seconds / self.controller.reset_s
            self.integral = min(1.0, max(0.0, self.integral))
        elif wanted <= 0.0:
            self.integral *= 1.0 - min(1.0, seconds / self.controller.reset_s)
        return min(1.0, max(0.0, wanted))


def _available_w(
    kiln: Kiln, faults: Faults, program_s: float, dead: bool, outage_left_s: float
) -> float:
    if outage_left_s > 0.0:
        return 0.0
    watts = kiln.power_w * faults.power_factor
    if 0.0 <= program_s - faults.dip_from_s < faults.dip_length_s:
        watts *= faults.dip_volts**2
    if dead:
        watts *= (3 - faults.dead_banks) / 3.0
    return watts


def fire(
    plan: Sequence[PlanStep],
    *,
    kiln: Kiln | None = None,
    controller: Controller | None = None,
    faults: Faults | None = None,
    start_c: float = 20.0,
    room_c: float = 20.0,
    cool_to_c: float = 60.0,
    max_h: float = 80.0,
    step_s: float = 10.0,
) -> Firing:
    """Run one firing and return what truly happened; the same firing is run once.

    Parameters
    ----------
    plan : sequence of PlanStep
        ``(rate_c_per_h, target_c, hold_s)``; a rate of None is all the power there is (or, for a
        lower target, elements off); a lower target with a rate is a controlled cooling.
    kiln, controller, faults
        What is fired, by what, and what goes wrong.
    start_c, room_c, cool_to_c : float
        Temperatures [°C] of kiln and room at the start, and where the record ends.
    max_h : float
        The record ends after so many hours at the latest.
    step_s : float
        Step [s] while a program runs; natural cooling takes steps of 60 s.
    """
    faults = faults or Faults()
    if faults.keyed_in is not None:
        faults = replace(faults, keyed_in=tuple(faults.keyed_in))
    return _fired(
        tuple(plan),
        kiln or Kiln(),
        controller or Controller(),
        faults,
        start_c,
        room_c,
        cool_to_c,
        max_h,
        step_s,
    )


@lru_cache(maxsize=100)
def _fired(
    plan: tuple[PlanStep, ...],
    kiln: Kiln,
    controller: Controller,
    faults: Faults,
    start_c: float,
    room_c: float,
    cool_to_c: float,
    max_h: float,
    step_s: float,
) -> Firing:
    """Run one firing.  Its arrays are read-only: whoever asks for it next gets the same ones."""
    body = _Body(kiln, faults.load_factor, start_c, room_c)
    program = _Program(faults.keyed_in or plan, controller, start_c)
    now_s, reading = 0.0, start_c + faults.thermocouple_offset_c
    sensed = start_c
    stopped = dead = False
    outage_left_s, outage_done = 0.0, faults.outage_at_c is None
    leak = kiln.leak_w_per_k + (kiln.vent_w_per_k if faults.vent_on else 0.0)
    rows = [(0.0, start_c, start_c, reading, np.nan, 0.0, 0.0, 0.0)]
    while now_s < max_h * 3600.0:
        program_s = now_s - faults.late_start_s
        active = program.running and not stopped
        seconds = step_s if active else 60.0
        if active and program_s < 0.0:
            seconds = min(60.0, -program_s)
            active = False
        watts = duty = 0.0
        if active:
            if not outage_done and faults.outage_at_c is not None:
                outage_done = reading >= faults.outage_at_c
                outage_left_s = faults.outage_s if outage_done else 0.0
            dead = dead or (faults.dead_banks > 0 and reading >= faults.dead_from_c)
            if outage_left_s <= 0.0:
                program.advance(now_s + seconds, seconds, reading)
                duty = program.duty(reading, seconds)
            watts = duty * _available_w(kiln, faults, program_s, dead, outage_left_s)
            outage_left_s -= seconds
            stopped = (faults.stop_at_c is not None and reading >= faults.stop_at_c) or (
                faults.stop_at_s is not None and program_s >= faults.stop_at_s
            )
        propped = (
            (stopped or not program.running)
            and faults.lid_propped_at_c is not None
            and body.temps[1] <= faults.lid_propped_at_c
        )
        body.step(
            seconds,
            watts,
            leak + (kiln.propped_lid_w_per_k if propped else 0.0),
            kiln.propped_lid_m2 if propped else 0.0,
        )
        now_s += seconds
        lag = kiln.thermocouple_lag_s
        sensed += (body.temps[1] - sensed) * seconds / (lag + seconds)
        reading = sensed + faults.thermocouple_offset_c
        rows.append(
            (
                now_s,
                body.temps[1],
                body.temps[0],
                reading,
                program.set_point_c if active else np.nan,
                duty,
                watts,
                body.loss_w,
            )
        )
        if (stopped or not program.running) and body.temps[1] <= cool_to_c:
            break
    columns = np.array(rows, dtype=np.float64).T
    columns.setflags(write=False)
    ends = program.boundaries
    finished = not program.running
    time_s, kiln_c, setting_c, reading_c, set_point_c, duties, power_w, loss_w = columns
    return Firing(
        time_s=time_s,
        kiln_c=kiln_c,
        setting_c=setting_c,
        reading_c=reading_c,
        set_point_c=set_point_c,
        duty=duties,
        power_w=power_w,
        loss_w=loss_w,
        boundaries=tuple(ends),
        program_start_s=faults.late_start_s,
        program_end_s=ends[-1].hold_end_s if finished and ends else None,
        stored_j=body.stored_j,
        room_c=room_c,
    )


@dataclass(frozen=True)
class Sampling:
    """How a logger saw the firing.

    `extra_channels` maps a name to how many degrees it reads above the kiln's thermocouple at
    1000 °C (in proportion elsewhere).  `from_s` and `until_s` cut the log to a part of the firing.
    """

    interval_s: float = 30.0
    noise_c: float = 0.3
    step_c: float = 0.25
    seed: int = 1
    with_duty: bool = False
    with_set_point: bool = False
    extra_channels: dict[str, float] = field(default_factory=dict)
    from_s: float = 0.0
    until_s: float | None = None


@dataclass(frozen=True, eq=False)
class LogTable:
    """What the logger wrote: time (n,), temperatures (n, channels), duty and set-point or None."""

    time_s: FloatArray
    temperature_c: FloatArray
    channels: tuple[str, ...]
    duty: FloatArray | None
    set_point_c: FloatArray | None


def sample(firing: Firing, how: Sampling | None = None) -> LogTable:
    """Sample a firing as a logger would: interval, noise, quantisation; times begin at 0."""
    how = how or Sampling()
    random = np.random.default_rng(how.seed)
    end_s = float(firing.time_s[-1]) if how.until_s is None else how.until_s
    at_s = np.arange(how.from_s, end_s + 1e-6, how.interval_s)
    base = np.interp(at_s, firing.time_s, firing.reading_c)
    columns = [base]
    for at_1000_c in how.extra_channels.values():
        columns.append(base + at_1000_c * (base - firing.room_c) / (1000.0 - firing.room_c))
    values = np.stack(columns, axis=1)
    values = values + random.normal(0.0, how.noise_c, values.shape)
    if how.step_c > 0:
        values = np.round(values / how.step_c) * how.step_c
    duty = set_point = None
    if how.with_duty:
        # a share of time: the mean over each logging interval
        total = np.concatenate([[0.0], np.cumsum(firing.duty[1:] * np.diff(firing.time_s))])
        so_far = np.interp(at_s, firing.time_s, total)
        before = np.interp(np.maximum(at_s - how.interval_s, 0.0), firing.time_s, total)
        duty = np.clip((so_far - before) / how.interval_s, 0.0, 1.0)
    if how.with_set_point:
        last = np.clip(np.searchsorted(firing.time_s, at_s), 0, firing.time_s.size - 1)
        set_point = np.round(firing.set_point_c[last], 1)
    return LogTable(at_s - how.from_s, values, ("kiln", *how.extra_channels), duty, set_point)


@dataclass(frozen=True)
class CsvStyle:
    """One way of writing a log down."""

    delimiter: str = ","
    decimal: str = "."
    time: Literal["iso", "iso-t", "seconds", "minutes", "hours", "clock"] = "iso"
    unit: Literal["C", "F"] = "C"
    encoding: str = "utf-8"
    newline: str = "\n"
    preamble: tuple[str, ...] = ()
    started: datetime = datetime(2025, 3, 14, 8, 15, 0)
    missing: str = ""


STYLES: dict[str, CsvStyle] = {
    "plain": CsvStyle(),
    "semicolon": CsvStyle(delimiter=";", decimal=",", encoding="cp1252", newline="\r\n"),
    "tab-minutes": CsvStyle(delimiter="\t", time="minutes"),
    "elapsed": CsvStyle(time="clock", preamble=("# invented logger", "# serial 0000")),
    "fahrenheit": CsvStyle(time="seconds", unit="F"),
    "hours": CsvStyle(time="hours", encoding="utf-16", delimiter="\t", decimal=","),
}

_TIME_HEADER = {
    "iso": "Time",
    "iso-t": "Time",
    "seconds": "time_s",
    "minutes": "Time (min)",
    "hours": "elapsed [h]",
    "clock": "Elapsed",
}


def _time_text(style: CsvStyle, seconds: float) -> str:
    if style.time in ("iso", "iso-t"):
        moment = style.started + timedelta(seconds=round(seconds, 3))
        return moment.isoformat("T" if style.time == "iso-t" else " ")
    if style.time == "clock":
        minutes, rest = divmod(round(seconds), 60)
        return f"{minutes // 60}:{minutes % 60:02d}:{rest:02d}"
    divisor = {"seconds": 1.0, "minutes": 60.0, "hours": 3600.0}[style.time]
    return f"{seconds / divisor:.6f}".rstrip("0").rstrip(".").replace(".", style.decimal)


def write_csv(log: LogTable, path: Path, style: CsvStyle | None = None) -> Path:
    """Write a log in one style; returns `path`."""
    style = style or CsvStyle()
    names = [_TIME_HEADER[style.time]]
    names += [f"{name.capitalize()} (°{style.unit})" for name in log.channels]
    temperatures = log.temperature_c if style.unit == "C" else log.temperature_c * 1.8 + 32.0
    columns = list(temperatures.T)
    digits = [2] * len(columns)
    if log.set_point_c is not None:
        names.append(f"Set point (°{style.unit})")
        in_c = log.set_point_c
        columns.append(in_c if style.unit == "C" else in_c * 1.8 + 32.0)
        digits.append(1)
    if log.duty is not None:
        names.append("Output (%)")
        columns.append(log.duty * 100.0)
        digits.append(1)
    cells = [
        [
            style.missing if value != value else f"{value:.{places}f}".replace(".", style.decimal)
            for value in column.tolist()
        ]
        for column, places in zip(columns, digits, strict=True)
    ]
    times = [_time_text(style, seconds) for seconds in log.time_s.tolist()]
    lines = [*style.preamble, style.delimiter.join(names)]
    lines += [style.delimiter.join(row) for row in zip(times, *cells, strict=True)]
    text = style.newline.join(lines) + style.newline
    path.write_bytes(text.encode(style.encoding))
    return path
