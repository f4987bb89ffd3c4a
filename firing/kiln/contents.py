"""What stands in the chamber, as the thermal model sees it: masses, surfaces and materials."""

from dataclasses import dataclass, replace

from firing.heat.conduction import Layer, Slab
from firing.heat.geometry import Plane
from firing.heat.properties import Grid, Material, PropertyTable, grid_of
from firing.ware.load import BODY_DENSITY_KG_PER_M3, TYPICAL_FURNITURE_KG_PER_L, Load
from firing.ware.water_heat import HeatDemand, demands_of

EXPOSED_SHARE = 0.5  # of ware's and shelves' surface sees the chamber; source: kiln-model-choices
SHELF_M = 0.016  # source: shelf-practice
SHELF_KG_PER_M3 = 2000.0  # source: shelf-practice
DIFFUSIVITY_M2_PER_S = 4e-7  # source: body-diffusivity-practice
THICK_INTERVALS = 2


def _ware_specific_heat(temperature_c: float) -> float:
    """Return 1128 + 0.102·T − 36e6/T² [J/(kg K)], T in kelvin; source ``michot-2011``."""
    kelvin = temperature_c + 273.15
    return 1128.0 + 0.102 * kelvin - 36e6 / kelvin**2


_SAMPLES_C = (-10.0, 20.0, 60.0, 100.0, 150.0, 200.0, 300.0, 400.0, 600.0, 800.0, 1100.0, 1400.0)

# A mean conductivity for the ware: the usual diffusivity times density and 1100 J/(kg K).
WARE = Material(
    "clay body",
    BODY_DENSITY_KG_PER_M3,
    PropertyTable(
        "conductivity of the clay body",
        "W/(m K)",
        ((20.0, DIFFUSIVITY_M2_PER_S * BODY_DENSITY_KG_PER_M3 * 1100.0),),
    ),
    PropertyTable(
        "specific heat of the clay body",
        "J/(kg K)",
        tuple((t, _ware_specific_heat(t)) for t in _SAMPLES_C),
    ),
    ("michot-2011", "body-diffusivity-practice", "body-density-practice"),
)

# 956 J/(kg K) at 400 °C and 1054 at 1200, the line drawn on both ways; source: furniture-heat.
FURNITURE = Material(
    "kiln furniture",
    SHELF_KG_PER_M3,
    PropertyTable("conductivity of kiln furniture", "W/(m K)", ((20.0, 1.2),)),
    PropertyTable(
        "specific heat of kiln furniture",
        "J/(kg K)",
        ((20.0, 909.5), (400.0, 956.0), (1200.0, 1054.0), (1500.0, 1090.8)),
    ),
    ("furniture-heat", "shelf-practice"),
)


@dataclass(frozen=True, slots=True)
class Lump:
    """A body of one temperature: material, volume times capacity factor, surface, water's heat."""

    grid: Grid
    volume_m3: float
    area_m2: float
    demands: tuple[HeatDemand, ...] = ()


@dataclass(frozen=True, slots=True)
class ThickWare:
    """The thickest kind of piece, as plates heated from their face, and the heat of its water."""

    slab: Slab
    area_m2: float
    demands: tuple[HeatDemand, ...]


@dataclass(frozen=True, slots=True)
class Contents:
    """Furniture and thin ware as lumps, in that order, and the thickest ware through its depth."""

    lumps: tuple[Lump, ...]
    furniture: int | None
    thick: ThickWare


def contents_of(load: Load, volume_l: float, capacity_factor: float, fineness: int = 1) -> Contents:
    """Return a load as the thermal model sees it.

    Parameters
    ----------
    load : Load
        The load.
    volume_l : float
        The kiln's volume, for furniture nobody weighed [l].
    capacity_factor : float
        Multiplier on every heat capacity and heat of water.
    fineness : int
        Multiplier on the number of intervals through the thickest piece.
    """

    def scaled(demands: tuple[HeatDemand, ...]) -> tuple[HeatDemand, ...]:
        return tuple(replace(d, joules=capacity_factor * d.joules) for d in demands)

    lumps: list[Lump] = []
    furniture_kg = load.furniture_kg
    if furniture_kg is None:
        furniture_kg = TYPICAL_FURNITURE_KG_PER_L * volume_l
    furniture = None
    if furniture_kg > 0:
        furniture = 0
        volume = furniture_kg / SHELF_KG_PER_M3
        area = EXPOSED_SHARE * 2.0 * volume / SHELF_M
        lumps.append(Lump(grid_of(FURNITURE), capacity_factor * volume, area))
    thickest = load.thickest
    others = tuple(piece for piece in load.pieces if piece is not thickest)
    if others:
        volume = sum(piece.total_kg for piece in others) / WARE.density_kg_per_m3
        area = sum(piece.total_kg / WARE.density_kg_per_m3 / piece.heat_path_m for piece in others)
        dry = 1.0 / (1.0 + load.water_share)
        lumps.append(
            Lump(
                grid_of(WARE),
                capacity_factor * volume * dry,
                EXPOSED_SHARE * area,
                scaled(demands_of(load, others)),
            )
        )
    volume = thickest.total_kg / WARE.density_kg_per_m3
    face = volume / thickest.heat_path_m
    slab = Slab(
        [Layer(WARE, thickest.heat_path_m, THICK_INTERVALS * fineness)],
        Plane(face),
        capacity_factor=capacity_factor / (1.0 + load.water_share),
    )
    thick = ThickWare(slab, EXPOSED_SHARE * face, scaled(demands_of(load, (thickest,))))
    return Contents(tuple(lumps), furniture, thick)
