"""Free water: how long a wall needs to lose it, the pressure it can build, and when to dry first.

Moisture follows the same law as heat, with a diffusivity a hundred times smaller and only roughly
known (``drying-diffusivity``): times go with the square of the way.
"""

import math
from dataclasses import dataclass

import numpy as np

from firing.errors import FiringError
from firing.trace import FloatArray
from firing.units import KELVIN_AT_0_C, SECONDS_PER_HOUR
from firing.ware.body import Body, State, body_named
from firing.ware.load import Load, Piece

DRYING_C = (80.0, 95.0)
"""Warm enough to drive water out, safely below boiling [°C]; ``soak-practice``."""
REFERENCE_C = 90.0  # where the diffusivity is stated
# What may be left, by dry mass, of raw ware and of bisque; source: dry-residue-choice.
DRY_SHARE, DRY_BISQUE_SHARE = 0.00075, 0.0025
SATURATED_SHARE = 0.027  # moisture whose vapour is saturated; source: clay-sorption-inferred
VAPOUR_SHARE_OF_STRENGTH = 0.1  # source: vapour-choice
DRY_FIRST_S = 120 * SECONDS_PER_HOUR  # source: drying-advice-choice
# Clay shrinks until this share of free water is left, and has to lose what is above it gently, at
# less than the window's warm end; source: shrinkage-drying-practice.
SHRINKS_ABOVE_SHARE = 0.08
SHRINKING_C = (45.0, 60.0)
# What drying at room conditions comes to, and how near to it a piece counts as there.
ROOM_DRY_SHARE, NEAR_ROOM_DRY_SHARE = (
    0.015,
    0.005,
)  # sources: bone-dry-moisture, weigh-test-practice
WEIGH_TEST = "A piece that still loses more than 0.5 % of its weight in a day is not dry."

# Wagner and Pruss 1993, eq. 1 (wagner-pruss-1993).
_CRITICAL_K, _CRITICAL_KPA = 647.096, 22064.0
_COEFFICIENTS = (
    (-7.85951783, 1.0),
    (1.84408259, 1.5),
    (-11.7866497, 3.0),
    (22.6807411, 3.5),
    (-15.9618719, 4.0),
    (1.80122502, 7.5),
)
# Enough for the smallest Fourier number the series are used for, 0.01: the next is below 1e-11.
_TERMS = 16


def saturation_kpa(temperature_c: FloatArray) -> FloatArray:
    """Return the saturation pressure of water [kPa]; ``wagner-pruss-1993``, eq. 1.

    Known from 0 to 373.9 °C.
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + KELVIN_AT_0_C
    if not np.all((kelvin >= KELVIN_AT_0_C) & (kelvin <= _CRITICAL_K)):
        raise FiringError(
            "water has a saturation pressure from 0 to 373.9 °C only; ask inside that"
        )
    tau = 1.0 - kelvin / _CRITICAL_K
    total = sum(a * tau**power for a, power in _COEFFICIENTS)
    pressure: FloatArray = _CRITICAL_KPA * np.exp(_CRITICAL_K / kelvin * total)
    return pressure


def _pressure_kpa(temperature_c: FloatArray) -> FloatArray:
    """Saturation pressure, kept at its ends where water is frozen or no longer liquid."""
    return saturation_kpa(np.clip(temperature_c, 0.0, 373.9))


def moisture_diffusivity(body: Body, state: State, temperature_c: FloatArray) -> FloatArray:
    """Return the diffusivity of moisture [m²/s], in proportion to the saturation pressure.

    The tabled figure holds at 90 °C (``drying-rate-inferred``).
    """
    reference = body.of("moisture diffusivity", "raw" if state == "raw" else "bisqued").value
    pressure: FloatArray = _pressure_kpa(temperature_c)
    return reference * pressure / float(saturation_kpa(np.array(REFERENCE_C)))


def mean_left(fourier: FloatArray) -> FloatArray:
    """Return the share of its free water a wall still holds after a Fourier number D·t/L² [1].

    8/π²·Σ exp(−(2n+1)²π²Fo/4)/(2n+1)² (Carslaw and Jaeger, ch. III, with moisture for heat).
    """
    odd = 2.0 * np.arange(_TERMS) + 1.0
    decay = np.exp(-np.multiply.outer(np.asarray(fourier), odd**2 * math.pi**2 / 4.0))
    series = 8.0 / math.pi**2 * (decay @ (1.0 / odd**2))
    # Hardly begun, the cut series is worse than the law of the half space.
    begun = 1.0 - 2.0 * np.sqrt(np.asarray(fourier) / math.pi)
    return np.where(np.asarray(fourier) < 0.01, begun, series)


def middle_left(fourier: FloatArray) -> FloatArray:
    """Return the share of its free water the middle of a wall still holds; see `mean_left`."""
    odd = 2.0 * np.arange(_TERMS) + 1.0
    signs = (-1.0) ** np.arange(_TERMS) / odd
    decay = np.exp(-np.multiply.outer(np.asarray(fourier), odd**2 * math.pi**2 / 4.0))
    # Hardly begun, the cut series ripples about 1.
    share: FloatArray = np.clip(4.0 / math.pi * (decay @ signs), 0.0, 1.0)
    return np.where(np.asarray(fourier) < 0.01, 1.0, share)


def drying_fourier(water_share: float, dry_share: float = DRY_SHARE) -> float:
    """Return the Fourier number after which a wall counts as dry; 0 if it already does.

    First term of `mean_left`, exact to 1 % wherever more than a third of the water has to go.  Free
    water at the start, and what may be left, are shares of the dry mass.
    """
    if water_share <= dry_share:
        return 0.0
    return max(math.log(8.0 / math.pi**2 * water_share / dry_share) * 4.0 / math.pi**2, 0.0)


def vapour_kpa(water_share: FloatArray, temperature_c: FloatArray) -> FloatArray:
    """Return the vapour pressure over moist clay [kPa]; ``clay-sorption-inferred``.

    Above 373.9 °C the pressure there is kept, when next to nothing is left.
    """
    pressure: FloatArray = np.minimum(water_share / SATURATED_SHARE, 1.0)
    return pressure * _pressure_kpa(temperature_c)


def allowed_vapour_kpa(body: Body, state: State) -> float:
    """Return the vapour a wall may hold, a tenth of its strength [kPa]; ``vapour-choice``."""
    excess = body.of("strength excess of laboratory bars", state).value
    return VAPOUR_SHARE_OF_STRENGTH * body.of("strength", state).value / excess / 1000.0


def shrinking_fourier(water_share: float) -> float:
    """Return the Fourier number after which a wall no longer shrinks; 0 if it already does not."""
    if water_share <= SHRINKS_ABOVE_SHARE:
        return 0.0
    return max(math.log(8.0 / math.pi**2 * water_share / SHRINKS_ABOVE_SHARE) * 4 / math.pi**2, 0.0)


def shrinking_s(body: Body, fourier: float, path_m: float) -> float:
    """Return how long a wall needs for a Fourier number in the window of shrinking [s]."""
    middle_c = np.array(0.5 * (SHRINKING_C[0] + SHRINKING_C[1]))
    return fourier * path_m**2 / float(moisture_diffusivity(body, "raw", middle_c))


class DryFirst(FiringError):
    """Ware that no kiln should dry: one refusal, that says how to dry it."""


@dataclass(frozen=True, slots=True)
class DryingAdvice:
    """That ware should be dried before it is fired, and how long that takes.

    Attributes
    ----------
    piece : Piece
        The kind that dries last.
    at_least_s, low_s, high_s : float
        Time at 80 to 95 °C with the usual moisture diffusivity, the highest and the cautious [s].
    both_faces_s : float or None
        The usual time if a piece heated from one face is turned so that both are free [s].
    room_s : float
        Time at room conditions until it is nearly as dry as it gets there [s].
    message : str
        All that in a few sentences.
    source : str
        Id of the rule it follows.
    """

    piece: Piece
    at_least_s: float
    low_s: float
    high_s: float
    both_faces_s: float | None
    room_s: float
    message: str
    source: str = "drying-advice-choice"


def drying_advice(load: Load, margin: float = 1.5, done: float = 0.0) -> DryingAdvice | None:
    """Say that a load should be dried before it is fired, or None.

    Leather-hard and damp ware is candled in the program itself.  It is to dry first where the kiln
    would have to wait more than five days for its water, the margin included
    (``drying-advice-choice``).  Bone-dry ware, however thick, is finished in the kiln.  `done` is
    the drying done already, as a Fourier number.
    """
    if load.dryness not in ("leather hard", "damp"):
        return None
    place, body = load.slowest("water"), body_named(load.body)
    piece, path_m = place.piece, place.path_m("water")
    moisture = body.of("moisture diffusivity", "raw")
    needed = max(drying_fourier(load.water_share) - done, 0.0) * path_m**2
    shrinks = max(shrinking_fourier(load.water_share) - done, 0.0)
    gently_s = shrinking_s(body, shrinks, path_m)
    usual_s = needed / moisture.value + gently_s
    if usual_s * margin <= DRY_FIRST_S:
        return None
    slowest, fastest = moisture.low[0] / moisture.value, moisture.high[0] / moisture.value
    low_s, high_s = usual_s / fastest, usual_s / slowest
    one_way = place.spot.water_mm >= place.spot.thickness_mm
    turned_s = usual_s / 4.0 if one_way else None
    room_s = room_drying_s(load)
    best_s = room_s if turned_s is None else room_s / 4.0
    how_heated = f"heated from {'one face' if one_way else 'both faces'}"
    if piece.shape is not None:
        how_heated = f"its water has furthest to go in {place.words}"
    turned = "" if turned_s is None else f" With both faces free {_hours(turned_s)} h would do."
    how = "" if turned_s is None else ", with both faces free"
    message = (
        f'Dry first: "{piece.name}" is {load.dryness}, {place.spot.thickness_mm:g} mm thick and '
        f"{how_heated}. The kiln would have to candle it for {_hours(usual_s * margin)} h "
        f"({_hours(usual_s)} h without the margin, range {_hours(low_s)} to {_hours(high_s)} h)."
        f"{turned} Dry it {about_days(best_s)} at room conditions{how}, then weigh it daily. "
        f'{WEIGH_TEST} Then write dryness = "bone dry".'
    )
    return DryingAdvice(piece, usual_s, low_s, high_s, turned_s, room_s, message)


def turned_advice(load: Load, margin: float, done: float = 0.0) -> str:
    """Return what to do with ware that need not be damp or lie on a shelf as it does.

    That is bone-dry ware on a shelf, or ware freshly glazed, that would be candled for too long.

    Empty if nothing need be done.
    """
    place = load.slowest("water")
    piece, path_m = place.piece, place.path_m("water")
    if load.dryness == "bisqued, freshly glazed":
        return _glaze_first(load, margin, done)
    if load.dryness != "bone dry" or place.spot.water_mm < place.spot.thickness_mm:
        return ""
    moisture = body_named(load.body).of("moisture diffusivity", "raw").value
    needed = max(drying_fourier(load.water_share) - done, 0.0) * path_m**2
    usual_s = needed * margin / moisture
    if usual_s <= DRY_FIRST_S:
        return ""
    if piece.shape is not None:
        eased = piece.eased()
        if eased is None:
            return ""
        shorter_m = 0.001 * max(spot.water_mm for spot in eased.piece.spots)
        return (
            f"Stand it otherwise first: the kiln would have to candle {place.words} for "
            f"{_hours(usual_s)} h, bone dry as it is. {eased.how} it takes "
            f"{_hours(usual_s * (shorter_m / path_m) ** 2)} h; then write {eased.write}."
        )
    return (
        f'Turn it first: "{piece.name}" is {piece.thickest_mm:g} mm thick and heated from one '
        f"face. The kiln would have to candle it for {_hours(usual_s)} h, bone dry as it is. Stand "
        f"it on strips or on its edge, so that heat reaches both faces: then "
        f"{_hours(usual_s / 4.0)} h do."
        ' Then write heated_from = "both".'
    )


def _glaze_first(load: Load, margin: float, done: float) -> str:
    place, body = load.slowest("water"), body_named(load.body)
    path_m, moisture = place.path_m("water"), body.of("moisture diffusivity", "bisqued").value
    needed = max(drying_fourier(load.water_share, DRY_BISQUE_SHARE) - done, 0.0)
    usual_s = needed * path_m**2 * margin / moisture
    if usual_s <= DRY_FIRST_S:
        return ""
    room = float(moisture_diffusivity(body, "bisqued", np.array(20.0)))
    air_s = drying_fourier(load.water_share, NEAR_ROOM_DRY_SHARE) * path_m**2 / room
    return (
        f"Dry first: the fresh glaze coat has wetted {place.words}. The kiln would have to candle "
        f"it for {_hours(usual_s)} h. Dry it {about_days(air_s)} at room conditions, then weigh it "
        f'daily. {WEIGH_TEST} Then write dryness = "bisqued".'
    )


def room_drying_s(load: Load) -> float:
    """Return how long the thickest piece dries at 20 °C until it hardly loses water any more [s].

    By the same law as in the kiln; in practice draughts and damp weather change it by much.
    """
    above, near = load.water_share - ROOM_DRY_SHARE, NEAR_ROOM_DRY_SHARE
    fourier = 0.0 if above <= near else drying_fourier(above, near)
    moisture = moisture_diffusivity(body_named(load.body), "raw", np.array(20.0))
    return fourier * load.slowest("water").path_m("water") ** 2 / float(moisture)


def _hours(duration_s: float) -> str:
    hours = duration_s / SECONDS_PER_HOUR
    return f"{hours:.0f}" if hours >= 9.5 else f"{hours:.1f}"


def about_days(duration_s: float) -> str:
    """Return a time in whole days, ``about 3 days``."""
    days = max(1, math.ceil(duration_s / (24 * SECONDS_PER_HOUR) - 1e-9))
    return f"about {days} day{'' if days == 1 else 's'}"
