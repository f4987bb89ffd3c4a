"""What limits the rate, one function a reason, each with its figures and its source.

Every rate falls with the way heat has to go.
"""

from collections.abc import Iterator

import numpy as np

from firing.ware.body import State
from firing.ware.case import USUAL_MARGIN, Case
from firing.ware.drying import DRYING_C
from firing.ware.limits import HIGHEST_C, LOWEST_C, Direction, Limit, Reason, bearable_rate_c_per_h
from firing.ware.reactions import (
    BOUND_WATER_C,
    HEAT_OF_REACTION_J_PER_KG,
    HEAT_OF_REACTION_RANGE_J_PER_KG,
    busiest_per_k,
    reaction_capacity,
)

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
# Little bound water leaves below and above.
_BOUND_WATER_WATCHED_C = (450.0, 650.0)

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
    return Limit(reason, text, source, "heating", np.array(window_c), rates, spread)


def rates_of(case: Case) -> Iterator[Limit]:
    """Yield every limit of rate, both directions, for a wall."""
    yield from _free_water(case)
    yield from _bound_water(case)
    yield from _quartz(case)
    yield from _cristobalite(case)
    yield from _practice(case)
    yield from _stress(case)


def _free_water(case: Case) -> Iterator[Limit]:
    if not case.wet:
        return
    knots = np.array([LOWEST_C, FREE_WATER_C])
    diffusivity = case.body.of("diffusivity", case.before)
    yield Limit(
        "free water",
        f"until the free water is gone the middle of {case.wall} is to be at most "
        f"{case.allowed_k(DIFFERENCE_K):.3g} K behind",
        "wall-difference-limit",
        "heating",
        knots,
        case.lag_rate(case.before, knots, DIFFERENCE_K),
        diffusivity.spread_at(FREE_WATER_C),
        case.allowed_k(DIFFERENCE_K),
        (LOWEST_C, FREE_WATER_C),
    )
    if case.shrinking:
        yield _level(
            "free water",
            "ware that is not bone dry still shrinks, and its skin must not run ahead",
            "castable-dry-out-practice",
            (LOWEST_C, DRYING_C[1]),
            _SHRINKING_C_PER_H * USUAL_MARGIN / case.margin,
            (0.5, 2.0),
        )


def _bound_water(case: Case) -> Iterator[Limit]:
    if not case.raw or case.done.bound_water_is_gone:
        return
    first, last = BOUND_WATER_C
    knots = np.arange(first, last + 1.0, 5.0)
    plain = case.lag_rate("raw", knots, DIFFERENCE_K)
    slowest = float(plain.min()) / _REACTION_SLOWS
    reaction_c, more = reaction_capacity(case.body, busiest_per_k(slowest))
    yield Limit(
        "bound water",
        f"the bound water leaves and takes heat: the middle of {case.wall} is to be at most "
        f"{case.allowed_k(DIFFERENCE_K):.3g} K behind",
        "reaction-heat-inferred",
        "heating",
        knots,
        plain / (1.0 + np.interp(knots, reaction_c, more)),
        _spread_with_reaction(case.body.of("diffusivity", "raw").spread_at(first), more.max()),
        case.allowed_k(DIFFERENCE_K),
        _BOUND_WATER_WATCHED_C,
    )


def _spread_with_reaction(spread: tuple[float, float], most: float) -> tuple[float, float]:
    """The range of a rate from that of the diffusivity and that of the heat of reaction."""
    least_heat, most_heat = HEAT_OF_REACTION_RANGE_J_PER_KG
    slower = (1.0 + most) / (1.0 + most * most_heat / HEAT_OF_REACTION_J_PER_KG)
    faster = (1.0 + most) / (1.0 + most * least_heat / HEAT_OF_REACTION_J_PER_KG)
    return spread[0] * slower, spread[1] * faster


def _at_inversion(
    case: Case, reason: Reason, direction: Direction, share: float, strain: float, milder: float
) -> Limit:
    in_proportion_k = milder * DIFFERENCE_K * REFERENCE_QUARTZ * QUARTZ_STRAIN / (share * strain)
    allowed_k = min(in_proportion_k, LARGEST_DIFFERENCE_K)
    windows = QUARTZ_C if reason == "quartz" else CRISTOBALITE_C
    window_c, watched_c = windows[direction]
    knots = np.array(window_c)
    state = case.before if direction == "heating" else case.after
    return Limit(
        reason,
        f"{reason} changes its size at once, and {case.wall} with {100 * share:g} % of it is to "
        f"differ by at most {case.allowed_k(allowed_k):.3g} K",
        "quartz-inversion-entry" if milder == 1.0 and reason == "quartz" else _STRAIN_SOURCE,
        direction,
        knots,
        case.lag_rate(state, knots, allowed_k),
        case.body.of("diffusivity", state).spread_at(float(knots[0])),
        case.allowed_k(allowed_k),
        watched_c,
    )


_STRAIN_SOURCE = "inversion-strain-inferred"


def _quartz(case: Case) -> Iterator[Limit]:
    before = case.body.share("quartz", case.before)
    after = case.body.share("quartz", case.after)
    if before > 0.0:
        milder = MILDER_WHILE_HEATING
        yield _at_inversion(case, "quartz", "heating", before, QUARTZ_STRAIN, milder)
    if after > 0.0:
        yield _at_inversion(case, "quartz", "cooling", after, QUARTZ_STRAIN, 1.0)


def _cristobalite(case: Case) -> Iterator[Limit]:
    """Only fired ware has any: it forms above about 1100 °C."""
    before = case.body.share("cristobalite", case.before)
    after = case.body.share("cristobalite", case.after)
    if before > 0.0:
        yield _at_inversion(case, "cristobalite", "heating", before, CRISTOBALITE_STRAIN, 1.0)
    if after > 0.0:
        yield _at_inversion(case, "cristobalite", "cooling", after, CRISTOBALITE_STRAIN, 1.0)


def _practice(case: Case) -> Iterator[Limit]:
    below, above = (LOWEST_C, _PRACTICE_CHANGES_C), (_PRACTICE_CHANGES_C, HIGHEST_C)
    said = f"common practice, no source, for {case.wall}"
    if case.raw:
        rates, source = _RAW_TO_600, "ware-rates-practice"
        faster = case.by_thickness(_RAW_ABOVE)
        yield _level("common practice", f"{said} above 600 °C", source, above, faster)
    else:
        rates, source = _GLAZE_TO_600, "glaze-rates-practice"
    rate = case.by_thickness(rates)
    yield _level("common practice", f"{said} up to 600 °C", source, below, rate)


def _stress(case: Case) -> Iterator[Limit]:
    knots = np.append(np.arange(LOWEST_C, HIGHEST_C, 25.0), HIGHEST_C)
    directions: tuple[tuple[Direction, State], ...] = (
        ("heating", case.before),
        ("cooling", case.after),
    )
    for direction, state in directions:
        yield Limit(
            "thermal stress",
            f"thermal stress in {case.wall} reaches the strength of {state} {case.body.name}",
            "stubna-2011",
            direction,
            knots,
            bearable_rate_c_per_h(case.body, state, case.path_m, knots, direction) / case.margin,
            case.body.of("strength", state).spread_at(20.0),
        )
