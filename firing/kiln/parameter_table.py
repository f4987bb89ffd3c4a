"""A kiln told row by row: every figure the model uses, with its unit and where it comes from."""

from dataclasses import dataclass

from firing.kiln.description import CT_SOURCE, KilnDescription, resistance_factor
from firing.serialise import Serialised

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
