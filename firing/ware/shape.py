"""The shapes a potter has, and how far heat, water, steam and air have to go into each.

Every way is that of the plain wall heated from both faces: half its thickness L, whose middle lags
a steady ramp R by R·L²/2κ (``slab-ramp``).  Another shape's way is the L with the same lag.

* A wall with both faces free: half of it.  A closed form is heated from outside alone, and nothing
  passes its inner face, each side of the hollow being as warm as the other: all of it.
* A round bar as thick as wide, for anything solid: R·a²/4κ in its axis (Carslaw and Jaeger, ch.
  VII), so L = a/√2.  A lump that is shorter lags less.
* A plate, a tile, a foot, or a stack of thickness t on a shelf of thickness s that conducts no
  better than the ware: one wall of t + s heated from both faces, so L = (t + s)/2; where the shelf
  is the thicker, the ware lags most where it lies on it, L = √(t·s).
* A thick place T in a closed form whose wall is w.  Its inner face is warmed by the rest of the
  hollow, which lags by R·w²/2κ, through radiation, β = h/k: with B = βT the lag leaves the outer
  face with the slope R·L/κ, L = T·(1 + B/2 + B·w²/2T²)/(1 + B), and is largest at the depth L.
  h = 10 W/m²K near 100 °C, the least it comes to, and k = 0.35 W/mK of raw clay make β = 1/35 mm.
* The foot of a closed form on a shelf, together T thick: the lag of its upper face is R·U²/2κ with
  U² = (T² + βT·w²)/(1 + βT), and the largest a little below it, L² = U² + (β(U² − w²)/2)².

Water goes the way of heat, but not through a shelf, and into a closed hollow only once the wall
around it has dried and takes it up: times go with L², so a thick place has L² = T²/4 + w², and a
foot on a shelf, which has one face, L² = T² + w².  Steam of the bound water pushes itself out
through a drilled hole; air for the carbon does not come in through one, nor water below boiling
out.  Sources: ``ware-shape-computed``, ``shelf-practice``.
"""

import math
from dataclasses import dataclass
from typing import Literal

Shape = Literal["plate", "tile", "stack", "wall", "open hollow", "closed hollow", "solid"]
Vents = Literal["none", "drilled", "open"]
HeatedFrom = Literal["both", "one"]

SHELF_MM = 16.0  # source: shelf-practice
SOURCE = "ware-shape-computed"

_LYING: tuple[Shape, ...] = ("plate", "tile", "stack")
_HOLLOW: tuple[Shape, ...] = ("open hollow", "closed hollow")
_WITH_FOOT: tuple[Shape, ...] = ("wall", *_HOLLOW)


@dataclass(frozen=True, slots=True)
class Spot:
    """One place of a piece, and how far heat, water, steam and air have to go to its middle [mm].

    `name` and `where` say it as people do: a foot, on the shelf.
    """

    name: str
    where: str
    thickness_mm: float
    heat_mm: float
    water_mm: float
    steam_mm: float
    air_mm: float


def on_shelf_mm(thickness_mm: float, shelf_mm: float = SHELF_MM) -> float:
    """Return the way into ware that lies on a shelf and is free above [mm]."""
    if thickness_mm >= shelf_mm:
        return 0.5 * (thickness_mm + shelf_mm)
    return math.sqrt(thickness_mm * shelf_mm)


def round_bar_mm(across_mm: float) -> float:
    """Return the way into a round bar heated all round [mm]."""
    return 0.5 * across_mm / math.sqrt(2.0)


RADIATION_PER_MM = 1.0 / 35.0  # source: ware-shape-computed


def thick_place_mm(place_mm: float, wall_mm: float) -> float:
    """Return the way into a thick place of a closed form with a thinner wall [mm]."""
    biot = RADIATION_PER_MM * place_mm
    warmed = 1.0 + (wall_mm / place_mm) ** 2
    return place_mm * (1.0 + 0.5 * biot * warmed) / (1.0 + biot)


def closed_foot_mm(foot_mm: float, wall_mm: float, shelf_mm: float = SHELF_MM) -> float:
    """Return the way into the foot of a closed form that stands on a shelf [mm]."""
    both, beta = foot_mm + shelf_mm, RADIATION_PER_MM
    upper = (both**2 + beta * both * wall_mm**2) / (1.0 + beta * both)
    return math.sqrt(upper + (0.5 * beta * max(upper - wall_mm**2, 0.0)) ** 2)


@dataclass(frozen=True, slots=True)
class PieceForm:
    """What is known of a piece's form; see `firing.ware.load.Piece` for the fields."""

    shape: Shape | None
    thickest_mm: float
    heated_from: HeatedFrom = "both"
    wall_mm: float | None = None
    foot_mm: float | None = None
    stacked: int = 1
    across_mm: float | None = None
    raised: bool = False
    vents: Vents = "none"

    def spots(self) -> tuple[Spot, ...]:
        """Return its places, the ones that may be heated last."""
        thick = self.thickest_mm
        if self.shape is None:
            if self.heated_from == "one":
                return (Spot("wall", "heated from one face", thick, *[thick] * 4),)
            return (_free("wall", thick),)
        if self.shape in _LYING:
            return (self._lying(),)
        if self.shape == "solid":
            return (Spot("middle", "", thick, *[round_bar_mm(thick)] * 4),)
        closed = self.shape == "closed hollow" and self.vents != "open"
        wall = thick if self.wall_mm is None else self.wall_mm
        found = [self._closed("wall", wall, wall) if closed else _free("wall", wall)]
        if wall < thick and self.foot_mm != thick:
            name = "thickest place"
            found.append(self._closed(name, thick, wall) if closed else _free(name, thick))
        if self.foot_mm is not None:
            found.append(self._foot(self.foot_mm, wall, closed))
        return tuple(found)

    @property
    def lies_on_shelf(self) -> bool:
        """Whether it lies with its under side on the shelf."""
        return self.shape in _LYING and not self.raised

    def _lying(self) -> Spot:
        thick = self.stacked * self.thickest_mm
        heat, water = on_shelf_mm(thick), thick
        where = "on the shelf"
        if self.raised:
            heat, water, where = 0.5 * thick, 0.5 * thick, "raised off the shelf"
        if self.across_mm is not None:
            # What comes in at the edge only helps.
            side = round_bar_mm(self.across_mm)
            heat, water = min(heat, side), min(water, side)
        name = "stack" if self.stacked > 1 or self.shape == "stack" else str(self.shape)
        return Spot(name, where, thick, heat, water, water, water)

    def _closed(self, name: str, thick: float, wall: float) -> Spot:
        heat, water = thick, thick
        if thick > wall:
            heat = thick_place_mm(thick, wall)
            water = min(math.hypot(0.5 * thick, wall), thick)
        steam = 0.5 * thick if self.vents == "drilled" else thick
        return Spot(name, "heated from outside alone", thick, heat, water, steam, thick)

    def _foot(self, foot: float, wall: float, closed: bool) -> Spot:
        if self.raised:
            return self._closed("foot", foot, wall) if closed else _free("foot", foot)
        if not closed:
            return Spot("foot", "on the shelf", foot, on_shelf_mm(foot), foot, foot, foot)
        heat, water = closed_foot_mm(foot, wall), math.hypot(foot, wall)
        return Spot("foot", "on the shelf", foot, heat, water, foot, foot)

    def faults(self) -> list[tuple[str, str]]:
        """Return what does not fit together: the key, and what to write."""
        found: list[tuple[str, str]] = []

        def wrong(key: str, words: str) -> None:
            found.append((key, words))

        shape = self.shape
        if shape is None:
            for key in ("wall_mm", "foot_mm", "across_mm"):
                if getattr(self, key) is not None:
                    wrong(key, 'needs a shape beside it; write shape = "open hollow"')
            if self.raised:
                wrong("raised", 'needs a shape beside it; write shape = "plate"')
            if self.stacked != 1:
                wrong("stacked", 'needs a shape beside it; write shape = "stack"')
            if self.vents != "none":
                wrong("vents", 'needs a shape beside it; write shape = "closed hollow"')
            return found
        if self.heated_from == "one":
            wrong("heated_from", f'the shape "{shape}" says what is heated; leave heated_from out')
        if self.wall_mm is not None and shape not in _HOLLOW:
            wrong("wall_mm", f'is for hollow forms; a "{shape}" has its thickest_mm only')
        elif self.wall_mm is not None and self.wall_mm > self.thickest_mm:
            wrong(
                "wall_mm",
                f"{self.wall_mm:g} mm is above thickest_mm, {self.thickest_mm:g} mm; write the "
                "larger one as thickest_mm",
            )
        if self.foot_mm is not None and shape not in _WITH_FOOT:
            wrong("foot_mm", f'is for standing pieces; a "{shape}" has its thickest_mm only')
        elif self.foot_mm is not None and self.foot_mm > self.thickest_mm:
            wrong(
                "foot_mm",
                f"{self.foot_mm:g} mm is above thickest_mm, {self.thickest_mm:g} mm; write the "
                "larger one as thickest_mm, and wall_mm for the wall",
            )
        if self.stacked != 1 and shape not in _LYING:
            wrong("stacked", f'is for pieces that lie; a "{shape}" stands by itself')
        if self.across_mm is not None and shape not in _LYING:
            wrong("across_mm", f'is for pieces that lie; leave it out for a "{shape}"')
        if self.vents != "none" and shape != "closed hollow":
            wrong("vents", f'are for a closed form; leave them out for a "{shape}"')
        if self.raised and shape == "solid":
            wrong("raised", "changes nothing for a solid piece; leave it out")
        return found


def _free(name: str, thick: float) -> Spot:
    return Spot(name, "", thick, *[0.5 * thick] * 4)
