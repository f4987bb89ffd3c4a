"""Small invented problems for the designer's tests."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from firing.controller.file import open_controller
from firing.kiln.description import KilnDescription
from firing.kiln.file import open_kiln
from firing.trace import FloatArray
from firing.ware.file import open_load
from firing.ware.limits import Dwell
from firing.ware.load import Dryness, HeatedFrom, Load, Piece

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


@dataclass(frozen=True, eq=False)
class Steps:
    """A ceiling that is level between edges."""

    edges_c: FloatArray
    rates_c_per_h: FloatArray
    reason: str = "made"
    text: str = "made for a test"
    source: str = "slab-ramp"

    def at(self, temperature_c: FloatArray) -> FloatArray:
        """Return the rate at temperatures."""
        cell = np.searchsorted(self.edges_c, temperature_c, side="right") - 1
        return self.rates_c_per_h[np.clip(cell, 0, self.rates_c_per_h.size - 1)]

    def lowest_between(self, low_c: FloatArray, high_c: FloatArray) -> FloatArray:
        """Return the lowest rate inside intervals."""
        found = []
        for low, high in zip(low_c, high_c, strict=True):
            inside = (self.edges_c[:-1] < high - 1e-6) & (self.edges_c[1:] > low + 1e-6)
            found.append(self.rates_c_per_h[inside].min(initial=np.inf))
        return np.array(found)


def dwell(low_c: float, high_c: float, at_least_s: float) -> Dwell:
    """A least time in a window."""
    return Dwell((low_c, high_c), at_least_s, "carbon", "made for a test", "slab-ramp", 0.0, 1e9)
