"""What is in the kiln: pieces, their clay and dryness, what was done to them, and furniture."""

import math
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal, get_args

from firing.arguments import check_fields
from firing.errors import FiringError
from firing.schedule.schedule import Purpose
from firing.serialise import Serialised
from firing.units import TemperatureUnit
from firing.ware.shape import HeatedFrom, PieceForm, Shape, Spot, Vents

Dryness = Literal["leather hard", "damp", "bone dry", "bisqued", "bisqued, freshly glazed"]
DRYNESSES: tuple[Dryness, ...] = get_args(Dryness)

BODIES = (
    "earthenware",
    "earthenware, grogged",
    "stoneware",
    "stoneware, grogged",
    "porcelain",
    "bone china",
)
"""The bodies a load may name; all are terms of the trade."""

WATER_OF_DRYNESS: dict[Dryness, tuple[float, str]] = {
    "leather hard": (0.18, "clay-water-practice"),
    "damp": (0.06, "clay-water-practice"),
    "bone dry": (0.015, "bone-dry-moisture"),
    "bisqued": (0.0, "clay-water-practice"),
    "bisqued, freshly glazed": (0.05, "clay-water-practice"),
}
"""Free water as a share of the dry mass, and the id of its source."""

THINNEST_MM = 0.1
"""No ware is thinner (common practice, no source); it catches slips of the key."""


def too_thin(thick_mm: float) -> str:
    """Return the refusal of a wall that nobody can have made."""
    return f"{thick_mm:g} mm is thinner than any ware, {THINNEST_MM:g} mm; write millimetres"


BODY_DENSITY_KG_PER_M3 = 1900.0  # source: body-density-practice
DEFAULT_BODY = "stoneware"

# The load a kiln is reckoned with when none is given; source: typical-load.
TYPICAL_WARE_KG_PER_L = 35.0 / 180.0
TYPICAL_FURNITURE_KG_PER_L = 28.0 / 180.0
TYPICAL_THICKNESS_MM = 8.0


@dataclass(frozen=True, slots=True)
class Piece:
    """Pieces of one kind.

    Attributes
    ----------
    name : str
        What they are.
    count : int
        How many.
    thickest_mm : float
        Their thickest place [mm].
    mass_kg : float
        Mass of one as it goes into the kiln, water included [kg].
    heated_from : {"both", "one"}
        Without a shape: whether heat reaches both faces of the thickest place, or only one.
    shape : str, optional
        ``"plate"``, ``"tile"``, ``"stack"``, ``"wall"``, ``"open hollow"``, ``"closed hollow"`` or
        ``"solid"``; how far heat and water have to go follows from it.
    wall_mm : float, optional
        Of a hollow form: its wall, where that is thinner than its thickest place [mm].
    foot_mm : float, optional
        Of a standing piece: its foot or floor [mm].
    stacked : int
        Of pieces that lie: how many lie on each other.
    across_mm : float, optional
        Of pieces that lie: how wide they are [mm].
    raised : bool
        Whether air passes under it: a foot ring, props or stilts.
    vents : {"none", "drilled", "open"}
        Of a closed hollow form.
    """

    name: str
    count: int
    thickest_mm: float
    mass_kg: float
    heated_from: HeatedFrom = "both"
    shape: Shape | None = None
    wall_mm: float | None = None
    foot_mm: float | None = None
    stacked: int = 1
    across_mm: float | None = None
    raised: bool = False
    vents: Vents = "none"

    def __post_init__(self) -> None:
        check_fields(self)
        if not (
            1 <= self.count < math.inf and self.thickest_mm > 0.0 and 0.0 < self.mass_kg < math.inf
        ):
            raise FiringError(
                f'"{self.name}" needs a count of 1 or more, a thickness above 0 mm and a mass '
                "above 0 kg"
            )
        if self.thickest_mm < THINNEST_MM:
            raise FiringError(f'"{self.name}": {too_thin(self.thickest_mm)}')
        faults = self.form.faults()
        if faults:
            key, words = faults[0]
            raise FiringError(f'{key} of "{self.name}": {words}')

    @property
    def form(self) -> PieceForm:
        """Its form alone."""
        return PieceForm(
            self.shape,
            self.thickest_mm,
            self.heated_from,
            self.wall_mm,
            self.foot_mm,
            self.stacked,
            self.across_mm,
            self.raised,
            self.vents,
        )

    @property
    def spots(self) -> tuple[Spot, ...]:
        """Its places, and how far heat, water, steam and air have to go into each."""
        return self.form.spots()

    @property
    def slowest_spot(self) -> Spot:
        """The place that is heated last."""
        return max(self.spots, key=lambda spot: spot.heat_mm)

    def eased(self) -> "Eased | None":
        """Return what would shorten its longest way; None if nothing is known."""
        ways: list[Eased] = []
        props, hole = "raised = true", 'vents = "open"'
        if self.shape is not None and not self.raised and self.shape not in ("wall", "solid"):
            raised = replace(self, raised=True)
            ways.append(Eased("Raised on props, so that air passes under,", props, raised))
        if self.shape == "closed hollow" and self.vents != "open":
            opened = replace(self, vents="open")
            ways.append(Eased("With a wide opening into its hollow", hole, opened))
            if not self.raised:
                both = replace(self, raised=True, vents="open")
                how = "Raised on props and with a wide opening into its hollow"
                ways.append(Eased(how, f"{props} and {hole}", both))

        def longest_mm(piece: Piece) -> float:
            return max(max(spot.heat_mm, spot.water_mm) for spot in piece.spots)

        better = [way for way in ways if longest_mm(way.piece) < 0.9 * longest_mm(self)]
        return min(better, key=lambda way: longest_mm(way.piece), default=None)

    def words_of(self, spot: Spot) -> str:
        """Return a place in words: ``the 20 mm foot of "jar" (on the shelf)``."""
        where = f" ({spot.where})" if spot.where else ""
        return f'the {spot.thickness_mm:g} mm {spot.name} of "{self.name}"{where}'

    @property
    def total_kg(self) -> float:
        """Mass of all of them [kg]."""
        return self.count * self.mass_kg

    @property
    def heat_path_m(self) -> float:
        """How far heat must go inwards [m]: half a wall heated from both faces."""
        return 0.001 * self.slowest_spot.heat_mm


@dataclass(frozen=True, slots=True)
class Eased:
    """What would help a piece: how, what to write in the load file, and the piece then."""

    how: str
    write: str
    piece: Piece


Goes = Literal["heat", "water", "steam", "air"]
WAYS: tuple[Goes, ...] = get_args(Goes)


@dataclass(frozen=True, slots=True)
class Place:
    """A spot of a piece."""

    piece: Piece
    spot: Spot

    @property
    def words(self) -> str:
        """The place in words."""
        return self.piece.words_of(self.spot)

    def path_m(self, what: Goes) -> float:
        """How far heat, water, steam or air have to go there [m]."""
        spot = self.spot
        ways = {
            "heat": spot.heat_mm,
            "water": spot.water_mm,
            "steam": spot.steam_mm,
            "air": spot.air_mm,
        }
        return 0.001 * ways[what]


@dataclass(frozen=True, slots=True)
class Load:
    """A kiln's load.

    Attributes
    ----------
    pieces : tuple of Piece
        At least one kind.
    dryness : str
        One of `DRYNESSES`.
    body : str
        One of `BODIES`.
    furniture_kg : float or None
        Shelves and posts [kg]; None if unknown, then in proportion to the kiln's volume.
    assumed : bool
        Whether the load was not given but stands in for a typical one.
    dark : bool
        Whether the body is dark, iron-rich or full of organic matter: more carbon has to burn.
    unit : {"C", "F"}
        The unit its owner reads and writes: with °F go inches and pounds.

    Examples
    --------
    Heat has further to go through a tile on the shelf than into a thicker wall from both faces:

    >>> import firing as fi
    >>> cups = fi.Piece("cup", count=40, thickest_mm=16.0, mass_kg=0.5)
    >>> tiles = fi.Piece("tile", count=4, thickest_mm=12.0, mass_kg=1.0, heated_from="one")
    >>> load = fi.Load((cups, tiles), "bone dry")
    >>> load.thickest.name, load.ware_kg
    ('tile', 24.0)
    """

    pieces: tuple[Piece, ...]
    dryness: Dryness
    body: str = DEFAULT_BODY
    furniture_kg: float | None = None
    assumed: bool = False
    dark: bool = False
    unit: TemperatureUnit = "C"

    def __post_init__(self) -> None:
        check_fields(self)
        if not self.pieces:
            raise FiringError("a load needs at least one piece")
        if self.furniture_kg is not None and not 0.0 <= self.furniture_kg < math.inf:
            raise FiringError(
                f"furniture of {self.furniture_kg:g} kg is less than none, or endless"
            )

    @property
    def thickest(self) -> Piece:
        """The kind whose inside is heated last: the longest way for heat, then the heaviest."""
        return max(self.pieces, key=lambda piece: (piece.heat_path_m, piece.total_kg))

    def slowest(self, what: Goes) -> Place:
        """Return the place where heat, water, steam or air have the longest way of all."""
        places = [Place(piece, spot) for piece in self.pieces for spot in piece.spots]
        if what == "heat":
            return Place(self.thickest, self.thickest.slowest_spot)
        return max(places, key=lambda place: (place.path_m(what), place.piece.total_kg))

    def times(self, factor: float) -> "Load":
        """Return so many times the load, as heavier pieces and furniture."""
        if factor == 1.0:
            return self
        pieces = tuple(replace(piece, mass_kg=factor * piece.mass_kg) for piece in self.pieces)
        furniture = None if self.furniture_kg is None else factor * self.furniture_kg
        return replace(self, pieces=pieces, furniture_kg=furniture)

    @property
    def water_share(self) -> float:
        """Free water by dry mass."""
        return WATER_OF_DRYNESS[self.dryness][0]

    @property
    def has_bound_water(self) -> bool:
        """Whether the clay still holds its chemically bound water."""
        return not self.dryness.startswith("bisqued")

    @property
    def ware_kg(self) -> float:
        """Mass of all ware as it goes in [kg]."""
        return sum(piece.total_kg for piece in self.pieces)

    @property
    def dry_kg(self) -> float:
        """Mass of all ware without its free water [kg]."""
        return self.ware_kg / (1.0 + self.water_share)


@cache
def typical_load(volume_l: float, dryness: Dryness = "bone dry") -> Load:
    """Return the load reckoned with when none is given; source ``typical-load``."""
    ware_kg = TYPICAL_WARE_KG_PER_L * volume_l
    count = max(1, round(ware_kg / 0.7))
    return Load(
        pieces=(Piece("ware", count, TYPICAL_THICKNESS_MM, ware_kg / count),),
        dryness=dryness,
        furniture_kg=TYPICAL_FURNITURE_KG_PER_L * volume_l,
        assumed=True,
    )


def load_or_typical(load: Load | None, volume_l: float, purpose: Purpose | None) -> Load:
    """Return the load, or a typical one for the purpose where nobody said what is in the kiln."""
    if load is not None:
        return load
    return typical_load(volume_l, "bisqued" if purpose in ("glaze", "decal") else "bone dry")


_BOUND_WATER_IS_GONE = 0.99


@dataclass(frozen=True, slots=True)
class WareState(Serialised):
    """What a firing has done to the middle of the thickest ware so far.

    Attributes
    ----------
    drying_fourier : float
        Drying done, as the Fourier number of moisture D·t/L² [1].
    bound_water_gone : float
        Share of the bound water that has left, 0 to 1.
    burn_out_s : float
        Time the middle has been where carbon burns, 650 to 800 °C [s].
    """

    drying_fourier: float = 0.0
    bound_water_gone: float = 0.0
    burn_out_s: float = 0.0

    @property
    def bound_water_is_gone(self) -> bool:
        """Whether what is left of the bound water no longer counts."""
        return self.bound_water_gone >= _BOUND_WATER_IS_GONE
