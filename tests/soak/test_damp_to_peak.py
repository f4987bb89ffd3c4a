"""Sixty loads from damp to the peak: one program each, and an independent wall bears it out.

The wall is stepped here once more, by backward differences in a scheme of its own, with the bound
water leaving every layer by its kinetics.  What clay is like comes from the table of bodies; the
pressure of steam from the figures of the steam tables; what is allowed from the published limits.
"""

import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from design.making import CONTROLLER, example_kiln, ware
from firing.tui.equipment import ChosenFile, Circumstances, Equipment, forecast_plan

from firing.controller.program import key_in
from firing.design.designer import design
from firing.design.repair import repaired_design
from firing.design.request import DesignRequest
from firing.design.result import Design
from firing.design.resume import resume
from firing.forecast.forecast import forecast
from firing.forecast.result import Forecast
from firing.kiln.description import KilnDescription
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.ware.body import body_named
from firing.ware.drying import DryFirst
from firing.ware.load import Dryness, HeatedFrom, Load

HOUR = 3600.0
REQUEST = DesignRequest("bisque", top_c=980.0)
MORE = 1.05
CELLS = 10
STEPS = 4000

# Steam tables: °C, kPa.
STEAM_C = np.array([0.0, 20.0, 40.0, 60.0, 80.0, 95.0, 110.0, 150.0, 180.0, 374.0])
STEAM_KPA = np.array([0.611, 2.34, 7.38, 19.9, 47.4, 84.5, 143.3, 476.0, 1002.0, 22064.0])
# Free water by dry mass (common practice), its saturation, what is dry, and D at 90 °C [m²/s].
WATER: dict[Dryness, float] = {"leather hard": 0.18, "damp": 0.06, "bone dry": 0.015}
SATURATED, DRY = 0.027, 0.0015
MOISTURE_M2_PER_S = 5e-9
ALLOWED_KPA = 100.0
# Kaolinite: 222 kJ/mol, half gone at 555 °C on a ramp of 100 °C/h; 400 kJ/kg of clay.
REACTION_K = 222e3 / 8.314
REACTION_J_PER_KG = 0.4e6


def steam_kpa(at_c: FloatArray) -> FloatArray:
    """Vapour pressure of water: its logarithm is straight in 1/T between the tables' points."""
    kelvin = 1.0 / (np.clip(at_c, 0.0, 374.0) + 273.15)
    known = 1.0 / (STEAM_C + 273.15)
    return np.exp(np.interp(-kelvin, -known, np.log(STEAM_KPA)))


def _rate_constant() -> float:
    kelvin = np.linspace(300.0, 555.0 + 273.15, 4000)
    spent = np.trapezoid(np.exp(-REACTION_K / kelvin), kelvin) / (100.0 / HOUR)
    return math.log(2.0) / float(spent)


RATE_PER_S = _rate_constant()


def stepped(system: FloatArray, right: FloatArray) -> FloatArray:
    found: FloatArray = np.linalg.solve(system, right)
    return found


class Wall:
    """What an independent wall does along a course of its face."""

    def __init__(self, load: Load, time_s: FloatArray, face_c: FloatArray) -> None:
        body, piece = body_named(load.body), load.pieces[0]
        path_m = 0.001 * piece.thickest_mm * (0.5 if piece.heated_from == "both" else 1.0)
        raw, fired = body.of("diffusivity", "raw"), body.of("diffusivity", "bisqued")
        clay = body.share("clay", "raw")
        self.times = np.linspace(time_s[0], time_s[-1], STEPS + 1)
        self.face = np.interp(self.times, time_s, face_c)
        peak = int(np.argmax(self.face))
        step_s, width = float(self.times[1] - self.times[0]), path_m / CELLS
        wall = np.full(CELLS + 1, self.face[0])
        water = np.full(CELLS + 1, WATER[load.dryness])
        bound = np.zeros(CELLS + 1)
        core, wet, mean = [float(wall[-1])], [float(water[-1])], [WATER[load.dryness]]
        # Second differences, mirrored at the middle; the first row is the face.
        second = (
            np.diag(np.full(CELLS + 1, -2.0)) + np.eye(CELLS + 1, k=1) + np.eye(CELLS + 1, k=-1)
        )
        second[-1, -2], second[0] = 2.0, 0.0
        one, weights = np.eye(CELLS + 1), np.full(CELLS + 1, 1.0 / CELLS)
        weights[[0, -1]] *= 0.5
        for number in range(1, STEPS + 1):
            table = raw if number <= peak else fired
            kappa = table.at(0.5 * (wall + self.face[number]))
            now = bound
            if number <= peak:
                speed = RATE_PER_S * np.exp(-REACTION_K / (wall + 273.15))
                now = 1.0 - (1.0 - bound) * np.exp(-speed * step_s)
            kelvin = wall + 273.15
            heat = 1128.0 + 0.102 * kelvin - 36e6 / kelvin**2
            taken = clay * REACTION_J_PER_KG * (now - bound) / heat
            right = wall - taken
            right[0] = self.face[number]
            wall = stepped(one - (step_s / width**2 * kappa)[:, None] * second, right)
            bound = now
            if water.max() > 1e-7:
                moves = MOISTURE_M2_PER_S * float(steam_kpa(wall[-1:])[0]) / 70.2
                right = water.copy()
                right[0] = 0.0
                water = stepped(one - step_s / width**2 * moves * second, right)
            core.append(float(wall[-1]))
            wet.append(float(water[-1]))
            mean.append(float(weights @ water))
        self.core, self.wet, self.mean = np.array(core), np.array(wet), np.array(mean)
        self.falls = np.arange(STEPS + 1) > peak

    def apart_k(self, low_c: float, high_c: float, falls: bool) -> float:
        """The largest difference while the face is in a window, on the way up or down."""
        inside = (self.face >= low_c) & (self.face <= high_c) & (self.falls == falls)
        return float(np.abs(self.face - self.core)[inside].max(initial=0.0))

    @property
    def vapour_kpa(self) -> float:
        """The largest vapour pressure in the middle."""
        return float((np.minimum(self.wet / SATURATED, 1.0) * steam_kpa(self.core)).max())

    @property
    def water_at_boiling(self) -> float:
        """What free water is left in the wall when its face passes the boiling point."""
        return float(self.mean[int(np.argmax(self.face >= 100.0))])


def face_of(course: Forecast) -> tuple[FloatArray, FloatArray]:
    if course.kiln is None:
        return course.trace.time_s, course.trace.channel_c()
    return course.kiln.run.time_s, course.kiln.run.ware_c


def check_wall(load: Load, course: Forecast) -> None:
    wall = Wall(load, *face_of(course))
    body = body_named(load.body)
    # 10 K where a quarter is quartz, in proportion, twice that while heating, 20 K at most.
    cooling_k = min(10.0 * 0.25 / body.share("quartz", "bisqued"), 20.0)
    heating_k = min(20.0 * 0.25 / body.share("quartz", "raw"), 20.0)
    assert wall.water_at_boiling <= DRY
    assert wall.vapour_kpa <= MORE * ALLOWED_KPA
    assert wall.apart_k(565.0, 600.0, falls=False) <= MORE * heating_k
    assert wall.apart_k(450.0, 650.0, falls=False) <= MORE * 10.0
    assert wall.apart_k(550.0, 580.0, falls=True) <= MORE * cooling_k


def check_verdicts(schedule: Schedule, load: Load, kiln: KilnDescription | None) -> None:
    """Forecast, mending, resuming, the card and the screens find nothing to do."""
    course = forecast(schedule, kiln=kiln, load=load)
    assert not course.needs_action
    assert not [warning for warning in course.warnings if warning.id == "practice"]
    made = repaired_design(schedule, load, kiln=kiln)
    assert made.schedule == schedule
    assert "Nothing had to be changed." in made.notes
    whatever = Path("a file")
    equipment = Equipment(
        kiln=None if kiln is None else ChosenFile(whatever, kiln), load=ChosenFile(whatever, load)
    )
    assert not forecast_plan(schedule, Circumstances(equipment=equipment)).needs_action
    keyed = key_in(schedule, CONTROLLER)
    assert keyed.changes == ()
    assert not forecast(keyed.schedule, kiln=kiln, load=load).needs_action
    log = np.array([0.0, 60.0]), np.array([20.0, 20.05])
    rest = resume(schedule, *log, load=load, kiln=kiln)
    assert rest.problems == ()
    assert rest.forecast is not None
    assert rest.forecast.breaches == ()


THICKNESSES = (3.0, 6.0, 10.0, 15.0, 20.0, 30.0, 40.0, 60.0)
Row = tuple[Dryness, HeatedFrom, str, bool, tuple[float, ...]]
# Dryness, shape, body, whether in the kiln, and the thicknesses in mm.
MATRIX: tuple[Row, ...] = (
    ("bone dry", "both", "stoneware", False, THICKNESSES),
    ("damp", "both", "stoneware", False, THICKNESSES[:7]),
    ("leather hard", "both", "stoneware", False, THICKNESSES[:7]),
    ("bone dry", "one", "stoneware, grogged", False, THICKNESSES[:6]),
    ("damp", "one", "stoneware, grogged", False, THICKNESSES[:5]),
    ("leather hard", "one", "stoneware, grogged", False, THICKNESSES[:5]),
    ("bone dry", "both", "porcelain", False, THICKNESSES[:6]),
    ("damp", "both", "earthenware, grogged", False, THICKNESSES[:7]),
    ("damp", "both", "stoneware, grogged", True, (6.0, 20.0, 35.0)),
    ("bone dry", "both", "stoneware, grogged", True, (8.0, 18.0, 50.0)),
    ("leather hard", "both", "bone china", True, (5.0, 15.0)),
    ("bone dry", "one", "earthenware", True, (12.0,)),
)


def made_for(load: Load, kiln: KilnDescription | None) -> Design:
    made = design(load, REQUEST, kiln=kiln, controller=CONTROLLER)
    assert made.safe
    check_wall(load, made.forecast)
    check_verdicts(made.schedule, load, kiln)
    return made


def test_there_are_sixty_loads() -> None:
    assert sum(len(row[-1]) for row in MATRIX) == 60


@pytest.mark.soak
@pytest.mark.parametrize("row", MATRIX, ids=lambda row: "-".join(map(str, row[:4])))
def test_every_load_gets_one_program_that_takes_longer_the_thicker_it_is(row: Row) -> None:
    dryness, shape, body, in_kiln, thicknesses = row
    kiln = example_kiln() if in_kiln else None
    hours = [made_for(ware(mm, dryness, shape, body), kiln).total_s for mm in thicknesses]
    assert all(a <= b for a, b in pairwise(hours))


@pytest.mark.parametrize(
    ("thickest_mm", "dryness", "shape"),
    [(20.0, "damp", "both"), (8.0, "leather hard", "one"), (40.0, "bone dry", "both")],
)
def test_a_load_from_damp_to_the_peak_in_one_program(
    thickest_mm: float, dryness: Dryness, shape: HeatedFrom
) -> None:
    made_for(ware(thickest_mm, dryness, shape, "stoneware"), None)


@pytest.mark.parametrize(
    ("thickest_mm", "shape"), [(6.0, "both"), (15.0, "one"), (40.0, "both"), (60.0, "one")]
)
def test_wetter_ware_takes_longer_or_is_refused_with_what_to_do(
    thickest_mm: float, shape: HeatedFrom
) -> None:
    before_s = 0.0
    wetter: tuple[Dryness, ...] = ("bone dry", "damp", "leather hard")
    for dryness in wetter:
        load = ware(thickest_mm, dryness, shape, "stoneware")
        try:
            took_s = design(load, REQUEST, controller=CONTROLLER).total_s
        except DryFirst as refusal:
            told = str(refusal)
            assert told.startswith(("Dry first: ", "Turn it first: "))
            if dryness != "bone dry":
                assert "at room conditions" in told
                assert "more than 0.5 % of its weight in a day" in told
            took_s = math.inf
        assert took_s >= before_s
        before_s = took_s


def test_the_wall_here_follows_the_algebra_of_the_steady_ramp() -> None:
    # R·L²/2κ (Carslaw and Jaeger): 40 °C/h down, 4e-7 m²/s, 20 mm of way: 5.6 K.
    load = ware(40.0, "bone dry", "both", "stoneware")
    time_s = np.array([0.0, 50.0 * HOUR, 70.0 * HOUR])
    wall = Wall(load, time_s, np.array([20.0, 950.0, 150.0]))
    steady_k = 40.0 / HOUR * 0.02**2 / (2.0 * 4e-7)
    assert wall.apart_k(550.0, 580.0, falls=True) == pytest.approx(steady_k, rel=0.02)


def test_a_program_that_is_too_quick_is_seen_by_the_wall_here_too() -> None:
    load = ware(20.0, "damp", "both", "stoneware")
    made = design(load, REQUEST, controller=CONTROLLER)
    segments = [replace(s, hold_s=0.0) for s in made.schedule.segments]
    quick = forecast(replace(made.schedule, segments=tuple(segments)), load=load)
    assert quick.needs_action
    assert Wall(load, *face_of(quick)).vapour_kpa > 2.0 * ALLOWED_KPA
