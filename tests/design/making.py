"""Small invented problems for the designer's tests."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from firing.controller.controller import Controller
from firing.controller.file import open_controller
from firing.design.designer import answer, prepared
from firing.design.request import DesignRequest
from firing.design.solve import ProgramSolution
from firing.forecast.forecast import forecast
from firing.kiln.description import KilnDescription
from firing.kiln.file import open_kiln
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.ware.file import open_load
from firing.ware.limits import USUAL_MARGIN, Breach, Dwell, RateCap
from firing.ware.load import Dryness, HeatedFrom, Load, Piece, WareState

EXAMPLES = Path(__file__).parents[2] / "schedules"

PLANTERS_AND_CUPS = open_load(EXAMPLES / "example-load-planters-and-cups.toml")
GLAZED = open_load(EXAMPLES / "example-load-glazed-cups.toml")
CONTROLLER = open_controller(EXAMPLES / "example-controller.toml")


def example_kiln() -> KilnDescription:
    """The kiln of every acceptance scene."""
    return open_kiln(EXAMPLES / "example-kiln.toml")


def ware(
    thickest_mm: float,
    dryness: Dryness = "bone dry",
    heated_from: HeatedFrom = "both",
    body: str = "stoneware, grogged",
) -> Load:
    """Twelve and a half kilogram of one kind of ware."""
    return Load(
        (Piece("pot", 10, thickest_mm, 1.25, heated_from),), dryness, body, furniture_kg=28.0
    )


def alone(load: Load, name: str) -> Load:
    """Only one kind of a load."""
    return replace(load, pieces=tuple(piece for piece in load.pieces if piece.name == name))


class Steps(RateCap):
    """A cap that is level between edges."""

    def __init__(self, edges_c: FloatArray, rates_c_per_h: FloatArray) -> None:
        super().__init__("made", "made for a test", "slab-ramp", edges_c, rates_c_per_h)

    def at(self, temperature_c: FloatArray) -> FloatArray:
        """Return the rate at temperatures."""
        cell = np.searchsorted(self.knots_c, temperature_c, side="right") - 1
        return self.rates_c_per_h[np.clip(cell, 0, self.rates_c_per_h.size - 1)]

    def lowest_between(self, low_c: FloatArray, high_c: FloatArray) -> FloatArray:
        """Return the lowest rate inside intervals."""
        found = []
        for low, high in zip(low_c, high_c, strict=True):
            inside = (self.knots_c[:-1] < high - 1e-6) & (self.knots_c[1:] > low + 1e-6)
            found.append(self.rates_c_per_h[inside].min(initial=np.inf))
        return np.array(found)


def dwell(low_c: float, high_c: float, at_least_s: float) -> Dwell:
    """A least time in a window."""
    return Dwell((low_c, high_c), at_least_s, "carbon", "made for a test", "slab-ramp", 0.0, 1e9)


def check_plan(
    schedule: Schedule,
    load: Load,
    *,
    margin: float = USUAL_MARGIN,
    kiln: KilnDescription | None = None,
    state: WareState | None = None,
) -> tuple[Breach, ...]:
    """Where a schedule is not safe for its load, as its forecast has it."""
    return forecast(schedule, kiln=kiln, load=load, margin=margin, state=state).breaches


def fastest(
    load: Load,
    request: DesignRequest,
    *,
    kiln: KilnDescription | None = None,
    controller: Controller | None = None,
    state: WareState | None = None,
) -> ProgramSolution:
    """The optimum within the limits, before the simulated wall has had its say.

    At full power, and with every segment that saves time.
    """
    controller = Controller() if controller is None else controller
    request = replace(request, reserve=0.0, few_within=0.0)
    ready = prepared(load, request, kiln, state, controller)
    found = answer(ready.load, request, ready.limits, ready.curves, controller, ready.offset_c)
    return found.solution
