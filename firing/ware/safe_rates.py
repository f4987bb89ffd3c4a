"""The limits of a load: everything that binds its governing wall, each reason with its source.

Every rate falls with the way heat has to go.  Figures of common practice and of published advice
are taken to contain the usual margin already; what is computed from the body is a best estimate,
and the margin comes on top (``usual-margin-choice``).
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from firing.errors import FiringError
from firing.schedule.schedule import PURPOSES, Purpose
from firing.trace import FloatArray
from firing.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE
from firing.ware.body import Body, State, body_named
from firing.ware.drying import (
    DRY_BISQUE_SHARE,
    DRY_SHARE,
    DRYING_C,
    SHRINKING_C,
    allowed_vapour_kpa,
    drying_advice,
    drying_fourier,
    shrinking_fourier,
    shrinking_s,
)
from firing.ware.limits import (
    HIGHEST_C,
    LOWEST_C,
    USUAL_MARGIN,
    Direction,
    Dwell,
    Limit,
    Reason,
    WareLimits,
)
from firing.ware.load import WAYS, Goes, Load, Piece, Place, WareState
from firing.ware.reactions import (
    BOUND_WATER_C,
    BURN_OUT_C,
    HEAT_OF_REACTION_J_PER_KG,
    HEAT_OF_REACTION_RANGE_J_PER_KG,
    LATE_STEAM_C,
    STEAM_C,
    burn_out_s,
    busiest_per_k,
    late_share,
    reaction_capacity,
    steam_escape_s,
)
from firing.ware.wall import rate_for_lag_c_per_h

MARGINS = (1.0, 5.0)
THICKEST_MM = 250.0
"""Twice the 127 mm of the thickest practice on record; nothing supports the square laws beyond."""


def limits_for(
    load: Load,
    *,
    purpose: Purpose,
    margin: float = USUAL_MARGIN,
    state: WareState | None = None,
) -> WareLimits:
    """Return the fastest safe rates and the least dwells for a load.

    The piece with the longest way for heat governs.  Once-fired ware is limited like a bisque on
    the way up.  A margin of 1.5 reproduces common practice.  `state` is what an interrupted firing
    has already done to the ware.
    """
    _check(load, purpose, margin)
    wall = GoverningWall(
        piece=load.thickest,
        places={what: load.slowest(what) for what in WAYS},
        body=body_named(load.body),
        raw=load.has_bound_water,
        wet=load.water_share > 0.0,
        dark=load.dark,
        shrinking=load.dryness in ("leather hard", "damp"),
        water_share=load.water_share,
        purpose=purpose,
        margin=margin,
        done=WareState() if state is None else state,
    )
    return WareLimits(
        piece=wall.piece,
        purpose=purpose,
        margin=margin,
        limits=tuple(rates_of(wall)),
        dwells=tuple(dwells_of(wall)),
        vapour_kpa=allowed_vapour_kpa(wall.body, wall.before),
        places=wall.places,
        advice=drying_advice(load, margin, wall.done.drying_fourier),
    )


def _check(load: Load, purpose: Purpose, margin: float) -> None:
    if purpose not in PURPOSES:
        raise FiringError(f'"{purpose}" is no purpose; write one of: {", ".join(PURPOSES)}')
    if not MARGINS[0] <= margin <= MARGINS[1]:
        raise FiringError(
            f"a margin of {margin:g} is outside {MARGINS[0]:g} to {MARGINS[1]:g}; 1.5 is common "
            "practice, more is more careful"
        )
    for piece in load.pieces:
        thick_mm = max(spot.thickness_mm for spot in piece.spots)
        if not 0.0 < thick_mm <= THICKEST_MM:
            raise FiringError(
                f'"{piece.name}" is {thick_mm:g} mm thick, and limits are known above 0 '
                f"and up to {THICKEST_MM:.0f} mm; write the thickest wall in millimetres"
            )
    if purpose in ("glaze", "decal") and load.has_bound_water:
        raise FiringError(
            f"a {purpose} firing needs ware that has been fired, and this load is {load.dryness}; "
            'fire it with purpose "bisque" first, or write "once-fired" if raw ware is glazed'
        )
    if purpose == "once-fired" and not load.has_bound_water:
        raise FiringError(
            f'a once-fired firing is the first one, and this load is {load.dryness}; write "glaze"'
        )
    if load.dryness == "bisqued, freshly glazed" and purpose in ("bisque", "decal"):
        fired = (
            '; if its glaze has been fired, write dryness = "bisqued"' if purpose == "decal" else ""
        )
        raise FiringError(
            f'a {purpose} firing of freshly glazed ware would melt its glaze; write "glaze"{fired}'
        )


# Thin and thick in course notes [mm].
_THIN_MM, _THICK_MM = 10.0, 25.0


@dataclass(frozen=True, slots=True)
class GoverningWall:
    """The one wall that a load's limits are about, and what is asked of it.

    `places` are where heat, water, steam and air have furthest to go; `raw` ware was never fired,
    `wet` ware holds free water, and `shrinking` ware still shrinks as that leaves; `done` is what
    earlier firing has done to it.
    """

    piece: Piece
    places: Mapping[Goes, Place]
    body: Body
    raw: bool
    wet: bool
    dark: bool
    shrinking: bool
    water_share: float
    purpose: Purpose
    margin: float
    done: WareState

    @property
    def path_m(self) -> float:
        """How far heat has to go [m]."""
        return self.path_of("heat")

    @property
    def words(self) -> str:
        """Where heat has furthest to go, in words."""
        return self.places["heat"].words

    def path_of(self, what: Goes) -> float:
        """How far heat, water, steam or air have to go [m]."""
        return self.places[what].path_m(what)

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


# Where a plate is pulled: the middle while it heats, the faces, twice as hard, while it cools.
# source: plate-stress-memory
SHAPE_FACTOR: dict[Direction, float] = {"heating": 6.0, "cooling": 3.0}


def bearable_rate_c_per_h(
    body: Body, state: State, path_m: float, temperature_c: FloatArray, direction: Direction
) -> FloatArray:
    """Return the steady rate at which thermal stress equals strength [°C/h].

    v = σ(1−µ)λA/(αE r²cρ) (Štubňa 2011, ``stubna-2011``), λ/cρ being the diffusivity and r the way
    heat has to go; the strength is that of a body cut from a large blank (``stubna-strength``).
    """
    temperature_c = np.asarray(temperature_c, dtype=np.float64)
    strength = body.of("strength", state).at(temperature_c)
    excess = body.of("strength excess of laboratory bars", state).value
    poisson = body.of("Poisson ratio", state).value
    stiffness = body.of("expansion", state).value * body.of("modulus", state).at(temperature_c)
    bearable_k = strength / excess * (1.0 - poisson) / stiffness
    diffusivity = body.of("diffusivity", state).at(temperature_c)
    rate: FloatArray = SHAPE_FACTOR[direction] * bearable_k * diffusivity / path_m**2
    return rate * SECONDS_PER_HOUR


# The fastest rates, one function a reason.

# The difference allowed through a wall; source: wall-difference-limit.
DIFFERENCE_K = 10.0
REFERENCE_QUARTZ = 0.25  # sources: inversion-strain-inferred, quartz-inversion-entry
QUARTZ_STRAIN, CRISTOBALITE_STRAIN = 0.0045, 0.01
MILDER_WHILE_HEATING = 2.0
# However small a share is said to be, it is not known well enough for more.
LARGEST_DIFFERENCE_K = 20.0

FREE_WATER_C = 120.0

# Windows [°C] in which a change of size is provided for, and the face temperatures between which
# the difference counts: 573 °C, or 220 to 270 °C, until the middle, up to 20 K behind, is through.
# The rest is approach: the lag of a faster ramp falls to a third in as many kelvin as are allowed.
Windows = dict[Direction, tuple[tuple[float, float], tuple[float, float]]]
QUARTZ_C: Windows = {
    "heating": ((450.0, 600.0), (565.0, 600.0)),
    "cooling": ((550.0, 670.0), (550.0, 580.0)),
}
CRISTOBALITE_C: Windows = {
    "heating": ((120.0, 290.0), (215.0, 290.0)),
    "cooling": ((200.0, 360.0), (200.0, 275.0)),
}


@dataclass(frozen=True, slots=True)
class WareStage:
    """A window of temperature [°C] in which something happens to the ware, going up or down."""

    name: str
    window_c: tuple[float, float]
    direction: Direction
    source: str


def ware_stages(*, raw: bool, wet: bool) -> tuple[WareStage, ...]:
    """Return what happens to ware that is `raw`, or `wet`, in the order of a firing."""
    inversion = "quartz-inversion-entry"
    found = [WareStage("candling", DRYING_C, "heating", "soak-practice")] if wet else []
    if raw:
        found.append(WareStage("chemical water", BOUND_WATER_C, "heating", "vaughan-1955"))
    found.append(WareStage("quartz inversion", QUARTZ_C["heating"][1], "heating", inversion))
    if raw:
        found.append(WareStage("burn-out", BURN_OUT_C, "heating", "burnout-practice"))
    return (*found, WareStage("quartz inversion", QUARTZ_C["cooling"][1], "cooling", inversion))


# Little bound water leaves below and above.
_BOUND_WATER_WATCHED_C = (450.0, 650.0)
_LATE_WATER_WATCHED_C = (450.0, 700.0)

# The reaction makes a wall lag at most this many times as much: no slower ramp matters.
_REACTION_SLOWS = 6.0

# Rates of practice [°C/h] for thin and for thick walls.
_RAW_TO_600 = (100.0, 50.0)  # source: ware-rates-practice
_RAW_ABOVE = (150.0, 100.0)  # thin from the same source, which leaves thick ware open
_GLAZE_TO_600 = (150.0, 125.0)  # both ends of the range in glaze-rates-practice
_PRACTICE_CHANGES_C = 600.0
_SHRINKING_C_PER_H = 20.0  # source: castable-dry-out-practice
_RANGE_OF_PRACTICE = (0.75, 1.25)


def _level(
    reason: Reason,
    text: str,
    source: str,
    window_c: tuple[float, float],
    rate_c_per_h: float,
    spread: tuple[float, float] = _RANGE_OF_PRACTICE,
) -> Limit:
    """A heating limit of one rate over its window."""
    rates = np.array([rate_c_per_h, rate_c_per_h])
    return Limit(reason, text, source, np.array(window_c), rates, "heating", spread)


def rates_of(wall: GoverningWall) -> Iterator[Limit]:
    """Yield every limit of rate, both directions, for a wall."""
    yield from _free_water(wall)
    yield from _bound_water(wall)
    yield from _quartz(wall)
    yield from _cristobalite(wall)
    yield from _practice(wall)
    yield from _stress(wall)


def _free_water(wall: GoverningWall) -> Iterator[Limit]:
    if not wall.wet:
        return
    knots = np.array([LOWEST_C, FREE_WATER_C])
    diffusivity = wall.body.of("diffusivity", wall.before)
    yield Limit(
        "free water",
        f"until the free water is gone the middle of {wall.words} is to be at most "
        f"{wall.allowed_k(DIFFERENCE_K):.3g} K behind",
        "wall-difference-limit",
        knots,
        wall.lag_rate(wall.before, knots, DIFFERENCE_K),
        "heating",
        diffusivity.spread_at(FREE_WATER_C),
        wall.allowed_k(DIFFERENCE_K),
        (LOWEST_C, FREE_WATER_C),
    )
    if wall.shrinking:
        shrinks = _level(
            "free water",
            "ware that is not bone dry still shrinks, and its skin must not run ahead",
            "castable-dry-out-practice",
            (LOWEST_C, DRYING_C[1]),
            _SHRINKING_C_PER_H * USUAL_MARGIN / wall.margin,
            (0.5, 2.0),
        )
        yield replace(shrinks, until="free water")


def _bound_water(wall: GoverningWall) -> Iterator[Limit]:
    if not wall.raw or wall.done.bound_water_is_gone:
        return
    first, last = BOUND_WATER_C
    knots = np.arange(first, last + 1.0, 5.0)
    plain = wall.lag_rate("raw", knots, DIFFERENCE_K)
    slowest = float(plain.min()) / _REACTION_SLOWS
    reaction_c, more = reaction_capacity(wall.body, busiest_per_k(slowest, late_share(wall.body)))
    yield Limit(
        "bound water",
        f"the bound water leaves and takes heat: the middle of {wall.words} is to be at most "
        f"{wall.allowed_k(DIFFERENCE_K):.3g} K behind",
        "reaction-heat-inferred",
        knots,
        plain / (1.0 + np.interp(knots, reaction_c, more)),
        "heating",
        _spread_with_reaction(wall.body.of("diffusivity", "raw").spread_at(first), more.max()),
        wall.allowed_k(DIFFERENCE_K),
        _LATE_WATER_WATCHED_C if late_share(wall.body) else _BOUND_WATER_WATCHED_C,
    )


def _spread_with_reaction(spread: tuple[float, float], most: float) -> tuple[float, float]:
    """The range of a rate from that of the diffusivity and that of the heat of reaction."""
    least_heat, most_heat = HEAT_OF_REACTION_RANGE_J_PER_KG
    slower = (1.0 + most) / (1.0 + most * most_heat / HEAT_OF_REACTION_J_PER_KG)
    faster = (1.0 + most) / (1.0 + most * least_heat / HEAT_OF_REACTION_J_PER_KG)
    return spread[0] * slower, spread[1] * faster


def _at_inversion(
    wall: GoverningWall,
    reason: Reason,
    direction: Direction,
    share: float,
    strain: float,
    milder: float,
) -> Limit:
    in_proportion_k = milder * DIFFERENCE_K * REFERENCE_QUARTZ * QUARTZ_STRAIN / (share * strain)
    allowed_k = min(in_proportion_k, LARGEST_DIFFERENCE_K)
    windows = QUARTZ_C if reason == "quartz" else CRISTOBALITE_C
    window_c, watched_c = windows[direction]
    knots = np.array(window_c)
    state = wall.before if direction == "heating" else wall.after
    return Limit(
        reason,
        f"{reason} changes its size at once, and {wall.words} with {100 * share:g} % of it is to "
        f"differ by at most {wall.allowed_k(allowed_k):.3g} K",
        "quartz-inversion-entry" if milder == 1.0 and reason == "quartz" else _STRAIN_SOURCE,
        knots,
        wall.lag_rate(state, knots, allowed_k),
        direction,
        wall.body.of("diffusivity", state).spread_at(float(knots[0])),
        wall.allowed_k(allowed_k),
        watched_c,
    )


_STRAIN_SOURCE = "inversion-strain-inferred"


def _quartz(wall: GoverningWall) -> Iterator[Limit]:
    before = wall.body.share("quartz", wall.before)
    after = wall.body.share("quartz", wall.after)
    if before > 0.0:
        milder = MILDER_WHILE_HEATING
        yield _at_inversion(wall, "quartz", "heating", before, QUARTZ_STRAIN, milder)
    if after > 0.0:
        yield _at_inversion(wall, "quartz", "cooling", after, QUARTZ_STRAIN, 1.0)


def _cristobalite(wall: GoverningWall) -> Iterator[Limit]:
    """Only fired ware has any: it forms above about 1100 °C."""
    before = wall.body.share("cristobalite", wall.before)
    after = wall.body.share("cristobalite", wall.after)
    if before > 0.0:
        yield _at_inversion(wall, "cristobalite", "heating", before, CRISTOBALITE_STRAIN, 1.0)
    if after > 0.0:
        yield _at_inversion(wall, "cristobalite", "cooling", after, CRISTOBALITE_STRAIN, 1.0)


def _practice(wall: GoverningWall) -> Iterator[Limit]:
    below, above = (LOWEST_C, _PRACTICE_CHANGES_C), (_PRACTICE_CHANGES_C, HIGHEST_C)
    said = f"common practice, no source, for {wall.words}"
    if wall.raw:
        rates, source = _RAW_TO_600, "ware-rates-practice"
        faster = wall.by_thickness(_RAW_ABOVE)
        yield _level("common practice", f"{said} above 600 °C", source, above, faster)
    else:
        rates, source = _GLAZE_TO_600, "glaze-rates-practice"
    rate = wall.by_thickness(rates)
    yield _level("common practice", f"{said} up to 600 °C", source, below, rate)


def _stress(wall: GoverningWall) -> Iterator[Limit]:
    knots = np.append(np.arange(LOWEST_C, HIGHEST_C, 25.0), HIGHEST_C)
    directions: tuple[tuple[Direction, State], ...] = (
        ("heating", wall.before),
        ("cooling", wall.after),
    )
    for direction, state in directions:
        yield Limit(
            "thermal stress",
            f"thermal stress in {wall.words} reaches the strength of {state} {wall.body.name}",
            "stubna-2011",
            knots,
            bearable_rate_c_per_h(wall.body, state, wall.path_m, knots, direction) / wall.margin,
            direction,
            wall.body.of("strength", state).spread_at(20.0),
        )


# The least times.

_NEXT_TO_NOTHING = 0.01
_FACTOR_OF_THREE = (1.0 / 3.0, 3.0)


def dwells_of(wall: GoverningWall) -> Iterator[Dwell]:
    """Yield every dwell for a wall, from the coldest window to the hottest."""
    yield from _shrinking(wall)
    yield from _drying(wall)
    yield from _steam(wall)
    yield from _burn_out(wall)


def _shrinking(wall: GoverningWall) -> Iterator[Dwell]:
    left = shrinking_fourier(wall.water_share) - wall.done.drying_fourier
    if left <= 0.0 or not wall.shrinking:
        return
    moisture = wall.body.of("moisture diffusivity", "raw")
    best_s = shrinking_s(wall.body, left, wall.path_of("water"))
    yield Dwell(
        SHRINKING_C,
        best_s * wall.margin,
        "shrinkage",
        f"{wall.places['water'].words} still shrinks, and must do so before it gets hotter",
        "shrinkage-drying-practice",
        best_s * moisture.value / moisture.high[0],
        best_s * max(wall.margin, moisture.value / moisture.low[0]),
    )


def _drying(wall: GoverningWall) -> Iterator[Dwell]:
    dry_share = DRY_SHARE if wall.raw else DRY_BISQUE_SHARE
    left = drying_fourier(wall.water_share, dry_share) - wall.done.drying_fourier
    if left <= 0.0:
        return
    moisture = wall.body.of("moisture diffusivity", "raw" if wall.raw else "bisqued")
    path_m = wall.path_of("water")
    best_s = left * path_m**2 / moisture.value
    yield Dwell(
        DRYING_C,
        best_s * wall.margin,
        "free water",
        f"the free water of {wall.places['water'].words}, {100 * wall.water_share:g} % of its dry "
        "mass, must be out below boiling",
        "drying-diffusivity",
        left * path_m**2 / moisture.high[0],
        best_s * max(wall.margin, moisture.value / moisture.low[0]),
    )


def _steam(wall: GoverningWall) -> Iterator[Dwell]:
    if not wall.raw or wall.done.bound_water_is_gone:
        return
    whole_s = steam_escape_s(wall.body, wall.path_of("steam"))
    late = late_share(wall.body)
    # The earlier water leaves first; a firing that has begun on the later one is past its window.
    best_s = whole_s * max(1.0 - wall.done.bound_water_gone / (1.0 - late), 0.0)
    if best_s < _NEXT_TO_NOTHING * whole_s:
        return
    yield Dwell(
        STEAM_C,
        best_s * wall.margin,
        "bound water",
        f"the bound water of {wall.places['steam'].words} must have time to leave as steam",
        "steam-escape-inferred",
        best_s * _FACTOR_OF_THREE[0],
        best_s * max(wall.margin, _FACTOR_OF_THREE[1]),
    )
    if late == 0.0:
        return
    yield Dwell(
        LATE_STEAM_C,
        late * whole_s * wall.margin,
        "bound water",
        f"the later water of the illite in {wall.places['steam'].words} must have time to leave",
        "illite-water-2019",
        late * whole_s * _FACTOR_OF_THREE[0],
        late * whole_s * max(wall.margin, _FACTOR_OF_THREE[1]),
    )


def _burn_out(wall: GoverningWall) -> Iterator[Dwell]:
    if not wall.raw:
        return
    best_s = burn_out_s(wall.body, wall.path_of("air"), dark=wall.dark)
    left_s = best_s * wall.margin - wall.done.burn_out_s
    # A minute is less than the middle of a wall is known to lag behind its face.
    if left_s <= (SECONDS_PER_MINUTE if wall.done.burn_out_s else 0.0):
        return
    yield Dwell(
        BURN_OUT_C,
        left_s,
        "carbon",
        f"the carbon in {wall.places['air'].words} must burn, with air, before sintering seals it",
        "shrinking-core-memory",
        max(best_s * _FACTOR_OF_THREE[0] - wall.done.burn_out_s, 0.0),
        max(best_s * max(wall.margin, _FACTOR_OF_THREE[1]) - wall.done.burn_out_s, left_s),
    )
