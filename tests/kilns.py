"""An invented kiln, loads and programs for the tests of the kiln room."""

from dataclasses import replace

from firing.heat.properties import wall_material
from firing.kiln.description import KilnDescription, WallLayer
from firing.schedule.schedule import Schedule, Segment
from firing.ware.load import Load, Piece

HOUR = 3600.0


def trial_kiln(**changes: object) -> KilnDescription:
    """180 l, 75 mm of insulating brick, 9.5 kW: the trial kiln of ``kiln-model-trial``."""
    kiln = KilnDescription(
        name="trial kiln",
        power_w=9500.0,
        rated_volts=240.0,
        volume_l=180.0,
        shape="round",
        wall=(WallLayer(wall_material("insulating brick 1260"), 0.075),),
        leak_w_per_k=0.8,
    )
    return replace(kiln, **changes)  # type: ignore[arg-type]  # any field of the kiln


BISQUED = Load((Piece("pots", 50, 8.0, 0.7),), "bisqued", furniture_kg=28.0)
"""35 kg of ware and 28 kg of furniture, no water."""
RAW = replace(BISQUED, dryness="bone dry")

BISQUE = Schedule(
    "bisque",
    (
        Segment(90.0, 60.0, hold_s=HOUR),
        Segment(600.0, 100.0),
        Segment(900.0, 150.0, hold_s=600.0),
    ),
    purpose="bisque",
)
GLAZE = Schedule(
    "glaze",
    (
        Segment(600.0, 150.0),
        Segment(1140.0, 200.0),
        Segment(1240.0, 80.0, hold_s=600.0),
    ),
    purpose="glaze",
)


def full_power(top_c: float) -> Schedule:
    """All the power there is, to a temperature."""
    return Schedule("full power", (Segment(top_c, None, "unlimited"),))
