"""A kiln as its owner describes it, and everything that follows from the description.

`kiln_rows` tells it row by row: every figure the model uses, with its unit and origin.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, field, replace
from datetime import date
from functools import lru_cache
from typing import Literal

import numpy as np

from firing.arguments import check_fields, checked
from firing.errors import FiringError
from firing.heat.balance import FixedTemperature, at_rest
from firing.heat.conduction import BoxChamber, Chamber, Layer, RoundChamber, Slab, cube, drum
from firing.heat.properties import Material
from firing.schedule.schedule import Purpose
from firing.serialise import Serialised
from firing.trace import FloatArray
from firing.units import TemperatureUnit, format_size, format_temperature
from firing.ware.load import Load, load_or_typical

SURFACE_LOAD_W_PER_M2 = 2.0e4  # source: element-wire-memory (2 W/cm²)
WIRE_M = 0.003  # source: element-wire-memory
WIRE_KG_PER_M3 = 7100.0  # source: element-wire-memory
WIRE_J_PER_KGK = 600.0  # source: element-wire-memory
EMISSIVITY_WIRE = 0.7  # source: element-wire-memory

CT_SOURCE = "fecral-datasheet"
_CT = ((20.0, 1.00), (250.0, 1.00), (500.0, 1.01), (800.0, 1.03), (1000.0, 1.04), (1200.0, 1.04))
_CT_C = [at_c for at_c, _ in _CT]


def resistance_factor(element_c: float) -> float:
    """Return Ct of FeCrAl wire: its resistance at a temperature over that at 20 °C.

    Straight between the printed points; below them 1, and above 1200 °C, where the last two agree,
    their value (source ``fecral-datasheet``).
    """
    after = bisect_left(_CT_C, element_c)
    if after < 2:
        return _CT[0][1]
    if after == len(_CT):
        return _CT[-1][1]
    (t0, ct0), (t1, ct1) = _CT[after - 1], _CT[after]
    return ct0 + (ct1 - ct0) * (element_c - t0) / (t1 - t0)


def resistance_factors(element_c: FloatArray) -> FloatArray:
    """Return `resistance_factor` of many temperatures."""
    at_c, factors = zip(*_CT, strict=True)
    found: FloatArray = np.interp(element_c, at_c, factors)
    return found


ShapeName = Literal["round", "box"]

LEAK_SHARE = 0.3  # of what the walls conduct; source: leak-default (0.2 to 0.4)
VENT_SHARE = 0.18  # likewise, with a powered vent running; source: vent-default
LOSS_REFERENCE_C = (600.0, 60.0)  # inner and outer face at which "what the walls conduct" is taken

SAME_POWER, POWER_STEP = 0.01, 0.02
"""Powers of two days that differ by less, as shares, are one: a firing shows no more of it."""
WALL_INTERVALS = 10
WALL_GROWTH = 1.2


@dataclass(frozen=True, slots=True)
class WallLayer:
    """One layer of the wall, from the inside: a material and how thick [m]."""

    material: Material
    thickness_m: float


@dataclass(frozen=True, slots=True)
class Fitted:
    """What logs and witness cones have taught: multipliers on power, losses and capacity.

    Attributes
    ----------
    power, loss, capacity : float
        1 where nothing is learnt; `loss` is that of the walls.
    leak : float or None
        That of leaking and drawn air; None where nothing told it from the walls, see `leak_factor`.
    cone_offset_c : float
        What the thermocouple reads too low by, from witness cones [°C].
    learnt : date or None
        When.
    basis : str
        From what.
    errors : tuple of float
        How far the logarithms of power, loss, capacity and leak may be off together: the lower
        triangle of a Cholesky factor of their covariance, row by row; empty if not known.
    hottest_c, fastest_c_per_h : float or None
        How hot, and how fast upwards, the logs were.
    usual_load : float
        What usually stands in the kiln, as a multiple of a typical load.
    """

    power: float = 1.0
    loss: float = 1.0
    capacity: float = 1.0
    cone_offset_c: float = 0.0
    learnt: date | None = None
    basis: str = ""
    leak: float | None = None
    errors: tuple[float, ...] = ()
    hottest_c: float | None = None
    fastest_c_per_h: float | None = None
    usual_load: float = 1.0

    def error_columns(self) -> tuple[tuple[float, ...], ...]:
        """Return `errors` as columns: what may be off together, each apart from the others."""
        rows = [self.errors[i * (i + 1) // 2 : (i + 1) * (i + 2) // 2] for i in range(4)]
        return tuple(
            tuple(row[j] if j < len(row) else 0.0 for row in rows) for j in range(len(rows))
        )

    @property
    def leak_factor(self) -> float:
        """The multiplier on what leaking and drawn air carries off: `leak`, else the walls'."""
        return self.loss if self.leak is None else self.leak


@dataclass(frozen=True, slots=True)
class PastFit:
    """What one fit found, kept to be compared with: multipliers, and standard errors as shares.

    Errors are None where its logs did not tell the figure; `loaded` says whether the load was
    weighed, without which two capacities are not those of one load.  `least_power` is what its
    firings needed at the least, where they did not tell more of the power.
    """

    on: date | None
    power: float
    loss: float
    capacity: float
    leak: float
    power_se: float | None = None
    power_over_capacity_se: float | None = None
    power_over_losses_se: float | None = None
    loaded: bool = False
    basis: str = ""
    least_power: float | None = None


@dataclass(frozen=True, slots=True)
class PastPower:
    """What a logbook's firing of a day showed: power, its standard error as a share, and load.

    Power is a multiple of the kiln file's, the load one of a typical load.
    """

    on: date
    power: float
    power_se: float
    load: float


@dataclass(frozen=True, slots=True)
class ElementReading:
    """One dated measurement of a bank of elements: its resistance, or amps and volts under load."""

    on: date
    bank: str = "all"
    ohms: float | None = None
    amps: float | None = None
    volts: float | None = None

    @property
    def resistance_ohm(self) -> float:
        """The bank's resistance [Ω]."""
        if self.ohms is not None:
            return self.ohms
        if self.amps is None or self.volts is None:
            raise FiringError(
                f"the reading of {self.on.isoformat()} needs ohms, or both amps and volts"
            )
        return self.volts / self.amps


@dataclass(frozen=True, slots=True)
class KilnDescription:
    """An electric kiln.

    Attributes
    ----------
    name : str
        What its owner calls it.
    power_w : float
        Power of all elements, new and cold, at `rated_volts` [W].
    rated_volts, actual_volts : float
        For which the power holds, and what is measured under load [V]; `actual_volts` None if not
        measured.
    volume_l : float
        What the chamber holds [l].
    shape : {"round", "box"}
        A cylinder as high as wide, or a cube, unless `dimensions_m` says otherwise.
    wall : tuple of WallLayer
        From the inside to the outside.
    dimensions_m : tuple of float, optional
        Inside: diameter and height, or width, depth and height [m].
    phases : int
        1, or 3 for a three-phase supply with `rated_volts` between lines.
    max_c : float
        What its maker allows [°C].
    vent : bool
        Whether a powered vent runs through the whole firing.
    leak_w_per_k : float or None
        Heat carried off by leaking air [W/K]; None for `LEAK_SHARE` of what the walls conduct.
    outside_w_per_m2k : float or None
        Heat transfer coefficient of the outside, radiation included [W/(m² K)]; None to compute it.
    element_kg : float or None
        Mass of the elements [kg]; None for that of 3 mm wire.
    thermocouple, thermocouple_class : str
        Letter and tolerance class.
    fitted : Fitted
        What was learnt.
    readings : tuple of ElementReading
        In the order of the file.
    fits : tuple of PastFit
        Every fit that was written to the file, in its order.
    history : tuple of PastPower
        Firing by firing, what a logbook taught, in the file's order.
    unit : {"C", "F"}
        The unit its owner reads and writes: with °F go inches, pounds and cubic feet.
    """

    name: str
    power_w: float
    rated_volts: float
    volume_l: float
    shape: ShapeName
    wall: tuple[WallLayer, ...]
    actual_volts: float | None = None
    dimensions_m: tuple[float, ...] | None = None
    phases: int = 1
    max_c: float = 1300.0
    vent: bool = False
    leak_w_per_k: float | None = None
    outside_w_per_m2k: float | None = None
    element_kg: float | None = None
    thermocouple: str = "K"
    thermocouple_class: str = "2"
    fitted: Fitted = field(default_factory=Fitted)
    readings: tuple[ElementReading, ...] = ()
    fits: tuple[PastFit, ...] = ()
    history: tuple[PastPower, ...] = ()
    unit: TemperatureUnit = "C"

    def __post_init__(self) -> None:
        check_fields(self)
        if not self.wall:
            raise FiringError("a kiln needs at least one wall layer")
        if not (self.power_w > 0 and self.rated_volts > 0 and self.volume_l > 0):
            raise FiringError("a kiln needs power, volts and a volume above 0")

    def __repr__(self) -> str:
        """Return name, volume, power, wall and limit, on one line."""
        wall_mm = 1000.0 * sum(layer.thickness_m for layer in self.wall)
        return (
            f"<KilnDescription {self.name!r}: {self.shape}, "
            f"{format_size(self.volume_l, 'volume', self.unit)}, "
            f"{self.power_w / 1000.0:g} kW at {self.rated_volts:g} V, "
            f"wall {format_size(wall_mm, 'length', self.unit)}, "
            f"at most {format_temperature(self.max_c, self.unit)}>"
        )

    @checked
    def as_of(self, day: date | None) -> KilnDescription:
        """Return the kiln with the power it had on a day, by its dated history.

        It is that of the last firing kept until then, as a power holds until it is seen to change,
        or of the first.  The fit of that time has its losses, as a power is known beside those.
        """
        now = self.fitted
        if day is None or not self.history:
            return self
        days = {one.on: one.power for one in self.history}
        if day >= max((now.learnt or date.min), *days):
            return self
        on = max((one for one in days if one <= day), default=min(days))
        fits = [fit for fit in self.fits if fit.on is not None and fit.on >= on]
        then = min(fits, key=lambda fit: fit.on or day, default=None)
        if then is not None and then.on != now.learnt:
            now = replace(now, loss=then.loss, capacity=then.capacity, leak=then.leak)
        if abs(days[on] - now.power) >= SAME_POWER:
            # In steps of what a firing shows, so that few kilns are reckoned.
            now = replace(now, power=round(POWER_STEP * round(days[on] / POWER_STEP), 3))
        return self if now == self.fitted else replace(self, fitted=replace(now, learnt=on))

    @property
    def volts(self) -> float:
        """The supply under load: measured, else rated [V]."""
        return self.rated_volts if self.actual_volts is None else self.actual_volts

    @property
    def available_w(self) -> float:
        """Full power of the elements, cold, as they are now and at the actual volts [W].

        P = V²/R: a resistor's power goes with the square of the voltage (``power-voltage``).
        """
        return self.power_w * (self.volts / self.rated_volts) ** 2 * self.fitted.power

    @property
    def full_amps(self) -> float:
        """Line current at `available_w` [A]; for three phases, of each line, taken as balanced."""
        return self.available_w / (self.volts * (3.0**0.5 if self.phases == 3 else 1.0))

    @property
    def chamber(self) -> Chamber:
        """The inside of the kiln."""
        if self.dimensions_m is None:
            volume_m3 = 0.001 * self.volume_l
            return drum(volume_m3) if self.shape == "round" else cube(volume_m3)
        if self.shape == "round":
            diameter, height = self.dimensions_m
            return RoundChamber(diameter, height)
        width, depth, height = self.dimensions_m
        return BoxChamber(width, depth, height)

    @property
    def wall_m(self) -> float:
        """Thickness of the whole wall [m]."""
        return sum(layer.thickness_m for layer in self.wall)

    def slab(self, fineness: int = 1) -> Slab:
        """Return the wall for the conduction solver, `fineness` times the usual intervals.

        Intervals grow outwards, so that heat that arrives in bursts is met by thin ones.
        """
        layers = []
        for layer in self.wall:
            share = layer.thickness_m / self.wall_m
            intervals = max(2, round(WALL_INTERVALS * share)) * fineness
            growth = WALL_GROWTH ** (1.0 / fineness)
            layers.append(Layer(layer.material, layer.thickness_m, intervals, growth))
        return Slab(
            layers,
            self.chamber,
            conductance_factor=self.fitted.loss,
            capacity_factor=self.fitted.capacity,
        )

    @property
    def wall_w_per_k(self) -> float:
        """What the walls conduct a degree, as described, at 600 °C inside and 60 outside [W/K]."""
        return _conducted_w_per_k(self.wall, self.chamber)

    def inside(self, load: Load | None, purpose: Purpose | None) -> Load:
        """Return the load, or what usually stands in it where nobody said."""
        if load is not None:
            return load
        return load_or_typical(None, self.volume_l, purpose).times(self.fitted.usual_load)

    @property
    def leak_in_w_per_k(self) -> float:
        """What leaking air carries off a degree, given or by default [W/K]."""
        return LEAK_SHARE * self.wall_w_per_k if self.leak_w_per_k is None else self.leak_w_per_k

    @property
    def vent_in_w_per_k(self) -> float:
        """What a powered vent carries off a degree [W/K]; 0 without one."""
        return VENT_SHARE * self.wall_w_per_k if self.vent else 0.0

    @property
    def air_w_per_k(self) -> float:
        """What leaking and drawn air carries off a degree, as described [W/K]."""
        return self.leak_in_w_per_k + self.vent_in_w_per_k

    @property
    def element_m2(self) -> float:
        """Surface of the elements [m²], from the power and the usual surface load."""
        return self.power_w / SURFACE_LOAD_W_PER_M2

    @property
    def element_mass_kg(self) -> float:
        """Mass of the elements [kg]: given, or that of 3 mm wire of that surface."""
        if self.element_kg is not None:
            return self.element_kg
        return 0.25 * WIRE_M * self.element_m2 * WIRE_KG_PER_M3


@lru_cache(maxsize=64)
def _conducted_w_per_k(wall: tuple[WallLayer, ...], chamber: Chamber) -> float:
    layers = [Layer(layer.material, layer.thickness_m, 4) for layer in wall]
    inner, outer = LOSS_REFERENCE_C
    rest = at_rest(
        Slab(layers, chamber),
        0.5 * (inner + outer),
        inside=FixedTemperature(inner),
        outside=FixedTemperature(outer),
    )
    return rest.outward_w / (inner - outer)


FILE = "the kiln file"


@dataclass(frozen=True, slots=True)
class KilnRow(Serialised):
    """One figure: what it is, its value and unit, and its source.

    `source` is an id of the bibliography, or where in the user's files it stands.
    """

    name: str
    value: float | str
    unit: str
    source: str


def describe_kiln(kiln: KilnDescription) -> tuple[KilnRow, ...]:
    """Return every figure of a kiln, given, derived and assumed, in a reading order."""
    return (
        *_electric(kiln),
        *_chamber(kiln),
        *_walls(kiln),
        *_air(kiln),
        *_learnt(kiln),
    )


def _electric(kiln: KilnDescription) -> tuple[KilnRow, ...]:
    hot_w = kiln.available_w / resistance_factor(1200.0)
    return (
        KilnRow("rated power", kiln.power_w / 1000.0, "kW", FILE),
        KilnRow("rated volts", kiln.rated_volts, "V", FILE),
        KilnRow(
            "volts under load",
            kiln.volts,
            "V",
            FILE if kiln.actual_volts is not None else "taken as the rated volts",
        ),
        KilnRow("power now, cold", kiln.available_w / 1000.0, "kW", "power-voltage"),
        KilnRow("power now, elements at 1200 °C", hot_w / 1000.0, "kW", CT_SOURCE),
        KilnRow("line current at full power, cold", kiln.full_amps, "A", "power-voltage"),
        KilnRow(
            "mass of the elements",
            kiln.element_mass_kg,
            "kg",
            FILE if kiln.element_kg is not None else "element-wire-memory",
        ),
        KilnRow("surface of the elements", kiln.element_m2, "m²", "element-wire-memory"),
        KilnRow("thermocouple", f"{kiln.thermocouple}, class {kiln.thermocouple_class}", "", FILE),
        KilnRow("highest temperature allowed", kiln.max_c, "°C", FILE),
    )


def _chamber(kiln: KilnDescription) -> tuple[KilnRow, ...]:
    given = kiln.dimensions_m is not None
    names = ("diameter", "height") if kiln.shape == "round" else ("width", "depth", "height")
    chamber = kiln.chamber
    sizes = [float(getattr(chamber, f"{name}_m")) for name in names]
    assumed = "a cylinder as high as wide" if kiln.shape == "round" else "a cube"
    return (
        KilnRow("volume", kiln.volume_l, "l", FILE),
        *(
            KilnRow(f"inside {name}", 1000.0 * size, "mm", FILE if given else f"taken as {assumed}")
            for name, size in zip(names, sizes, strict=True)
        ),
        KilnRow("inside area", chamber.inside_m2, "m²", "geometry"),
        KilnRow("outside area", chamber.outside_m2(kiln.wall_m), "m²", "geometry"),
    )


def _walls(kiln: KilnDescription) -> tuple[KilnRow, ...]:
    rows: list[KilnRow] = []
    for number, layer in enumerate(kiln.wall, start=1):
        material, source = layer.material, ", ".join(layer.material.sources)
        title = f"wall layer {number}, {material.name}"
        low, high = material.conductivity.range_c
        middle = min(max(600.0, low), high)
        rows += [
            KilnRow(f"{title}: thickness", 1000.0 * layer.thickness_m, "mm", FILE),
            KilnRow(f"{title}: density", material.density_kg_per_m3, "kg/m³", source),
            KilnRow(
                f"{title}: conductivity at {middle:.0f} °C",
                material.conductivity.at(middle),
                "W/(m K)",
                source,
            ),
            KilnRow(
                f"{title}: specific heat at {middle:.0f} °C",
                material.specific_heat.at(middle),
                "J/(kg K)",
                source,
            ),
        ]
    factor = 1.0 / kiln.chamber.resistance(kiln.wall_m)
    flat = kiln.chamber.inside_m2 / kiln.wall_m
    rows += [
        KilnRow("shape factor of the walls", factor, "m", "langmuir-shape-factor"),
        KilnRow("that over the flat inside area's", factor / flat, "", "langmuir-shape-factor"),
        KilnRow("conducted at 600 °C", kiln.wall_w_per_k, "W/K", "kiln-model-trial"),
    ]
    return tuple(rows)


def _air(kiln: KilnDescription) -> tuple[KilnRow, ...]:
    leak_given, outside = kiln.leak_w_per_k is not None, kiln.outside_w_per_m2k
    return (
        KilnRow("leaking air", kiln.leak_in_w_per_k, "W/K", FILE if leak_given else "leak-default"),
        KilnRow("vent", kiln.vent_in_w_per_k, "W/K", "vent-default" if kiln.vent else FILE),
        KilnRow(
            "outside coefficient",
            "by temperature" if outside is None else outside,
            "W/(m² K)",
            FILE if outside is not None else "plate-convection-memory, jacket-emissivity-memory",
        ),
    )


def _learnt(kiln: KilnDescription) -> tuple[KilnRow, ...]:
    fitted = kiln.fitted
    when = f"learnt {fitted.learnt.isoformat()}" if fitted.learnt else ""
    source = ": ".join(part for part in (when, fitted.basis) if part) or FILE
    return (
        KilnRow("power multiplier", fitted.power, "", source),
        KilnRow("loss multiplier", fitted.loss, "", source),
        KilnRow("leak multiplier", fitted.leak_factor, "", source),
        KilnRow("capacity multiplier", fitted.capacity, "", source),
        KilnRow("thermocouple offset from cones", fitted.cone_offset_c, "°C", source),
        KilnRow("usual load over a typical one", fitted.usual_load, "", source),
        *(
            KilnRow(
                f"element reading {reading.on.isoformat()}, bank {reading.bank}",
                reading.resistance_ohm,
                "Ω",
                FILE,
            )
            for reading in kiln.readings
        ),
    )
