"""The one wall that a load's limits are about: the governing piece, its clay and its condition."""

from dataclasses import dataclass

import numpy as np

from firing.schedule.schedule import Purpose
from firing.trace import FloatArray
from firing.ware.body import Body, State
from firing.ware.load import Piece
from firing.ware.state import WareState
from firing.ware.wall import rate_for_lag_c_per_h

USUAL_MARGIN = 1.5
"""What rates of common practice and published advice contain already; ``usual-margin-choice``."""

# Thin and thick in course notes [mm].
_THIN_MM, _THICK_MM = 10.0, 25.0


@dataclass(frozen=True, slots=True)
class Case:
    """A governing wall and what is asked of it.

    Attributes
    ----------
    piece : Piece
        The piece.
    path_m : float
        How far heat, water and gas have to go in it [m].
    body : Body
        Its clay.
    raw, wet, shrinking : bool
        Whether it was never fired, holds free water, and still shrinks as that leaves.
    water_share : float
        Free water at the start by dry mass.
    purpose, margin : str, float
        What it is fired for and with how much caution.
    done : WareState
        What earlier firing has done to it.
    """

    piece: Piece
    path_m: float
    body: Body
    raw: bool
    wet: bool
    shrinking: bool
    water_share: float
    purpose: Purpose
    margin: float
    done: WareState

    @property
    def wall(self) -> str:
        """The governing wall in words."""
        how = "" if self.piece.heated_from == "both" else ", heated from one face,"
        return f'the {self.piece.thickest_mm:g} mm wall of "{self.piece.name}"{how}'

    @property
    def before(self) -> State:
        """What the ware is on the way up."""
        if self.raw:
            return "raw"
        return "glazed" if self.purpose == "decal" else "bisqued"

    @property
    def after(self) -> State:
        """What it is on the way down."""
        first_of_two = self.purpose == "bisque" or (self.purpose == "other" and self.raw)
        return "bisqued" if first_of_two else "glazed"

    def allowed_k(self, difference_k: float) -> float:
        """What is left of a difference that contains the usual margin, with this one [K]."""
        return difference_k * USUAL_MARGIN / self.margin

    def lag_rate(self, state: State, knots_c: FloatArray, difference_k: float) -> FloatArray:
        """The rate that keeps to a difference which contains the usual margin [°C/h]."""
        diffusivity = self.body.of("diffusivity", state).at(knots_c)
        return rate_for_lag_c_per_h(self.allowed_k(difference_k), self.path_m, diffusivity)

    def by_thickness(self, rates_c_per_h: tuple[float, float]) -> float:
        """Practice's rate for the wall: straight in the logarithms between thin and thick [°C/h].

        A wall heated from one face counts as one twice as thick.
        """
        thin, thick = rates_c_per_h
        place = np.interp(
            np.log(2000.0 * self.path_m), np.log([_THIN_MM, _THICK_MM]), np.log([thin, thick])
        )
        return float(np.exp(place)) * USUAL_MARGIN / self.margin
