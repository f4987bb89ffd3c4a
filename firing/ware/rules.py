"""The limits of a load: everything that binds it, gathered for its governing piece.

Figures of common practice and of published advice are taken to contain the usual margin already;
what is computed from the body is a best estimate, and the margin comes on top
(``usual-margin-choice``).
"""

from collections.abc import Iterator

from firing.errors import FiringError
from firing.schedule.schedule import PURPOSES, Purpose
from firing.ware.body import body_named
from firing.ware.case import USUAL_MARGIN, Case
from firing.ware.drying import (
    DRY_BISQUE_SHARE,
    DRY_SHARE,
    DRYING_C,
    allowed_vapour_kpa,
    drying_advice,
    drying_fourier,
)
from firing.ware.limits import Dwell, WareLimits
from firing.ware.load import Load
from firing.ware.rates import rates_of
from firing.ware.reactions import BURN_OUT_C, STEAM_C, burn_out_s, steam_escape_s
from firing.ware.state import WareState

_FACTOR_OF_THREE = (1.0 / 3.0, 3.0)


def dwells_of(case: Case) -> Iterator[Dwell]:
    """Yield every dwell for a wall, from the coldest window to the hottest."""
    yield from _drying(case)
    yield from _steam(case)
    yield from _burn_out(case)


def _drying(case: Case) -> Iterator[Dwell]:
    dry_share = DRY_SHARE if case.raw else DRY_BISQUE_SHARE
    left = drying_fourier(case.water_share, dry_share) - case.done.drying_fourier
    if left <= 0.0:
        return
    moisture = case.body.of("moisture diffusivity", "raw" if case.raw else "bisqued")
    best_s = left * case.path_m**2 / moisture.value
    yield Dwell(
        DRYING_C,
        best_s * case.margin,
        "free water",
        f"the free water of {case.wall}, {100 * case.water_share:g} % of its dry mass, must be out "
        "below boiling",
        "drying-diffusivity",
        left * case.path_m**2 / moisture.high[0],
        best_s * max(case.margin, moisture.value / moisture.low[0]),
    )


def _steam(case: Case) -> Iterator[Dwell]:
    if not case.raw or case.done.bound_water_is_gone:
        return
    best_s = steam_escape_s(case.body, case.path_m) * (1.0 - case.done.bound_water_gone)
    yield Dwell(
        STEAM_C,
        best_s * case.margin,
        "bound water",
        f"the bound water of {case.wall} must have time to leave as steam",
        "steam-escape-inferred",
        best_s * _FACTOR_OF_THREE[0],
        best_s * max(case.margin, _FACTOR_OF_THREE[1]),
    )


def _burn_out(case: Case) -> Iterator[Dwell]:
    if not case.raw:
        return
    best_s = burn_out_s(case.body, case.path_m)
    left_s = best_s * case.margin - case.done.burn_out_s
    if left_s <= 0.0:
        return
    yield Dwell(
        BURN_OUT_C,
        left_s,
        "carbon",
        f"the carbon in {case.wall} must burn, with air, before sintering seals it",
        "shrinking-core-memory",
        max(best_s * _FACTOR_OF_THREE[0] - case.done.burn_out_s, 0.0),
        max(best_s * max(case.margin, _FACTOR_OF_THREE[1]) - case.done.burn_out_s, left_s),
    )


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

    Parameters
    ----------
    load : Load
        The load; its piece with the longest way for heat governs.
    purpose : {"bisque", "glaze", "once-fired", "decal", "other"}
        What the firing is for.  Once-fired ware is limited like a bisque on the way up.
    margin : float
        Caution, 1 to 5; 1.5 reproduces common practice.
    state : WareState, optional
        What an interrupted firing has already done to the ware.

    Returns
    -------
    WareLimits

    Raises
    ------
    FiringError
        If a thickness, the margin or the body is unknown to the limits, or the dryness contradicts
        the purpose.
    """
    _check(load, purpose, margin)
    case = Case(
        piece=load.thickest,
        path_m=load.thickest.heat_path_m,
        body=body_named(load.body),
        raw=load.has_bound_water,
        wet=load.water_share > 0.0,
        shrinking=load.dryness in ("leather hard", "damp"),
        water_share=load.water_share,
        purpose=purpose,
        margin=margin,
        done=WareState() if state is None else state,
    )
    return WareLimits(
        piece=case.piece,
        purpose=purpose,
        margin=margin,
        limits=tuple(rates_of(case)),
        dwells=tuple(dwells_of(case)),
        vapour_kpa=allowed_vapour_kpa(case.body, case.before),
        advice=drying_advice(load),
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
        if not 0.0 < piece.thickest_mm <= THICKEST_MM:
            raise FiringError(
                f'"{piece.name}" is {piece.thickest_mm:g} mm thick, and limits are known above 0 '
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
        raise FiringError(
            f'a {purpose} firing of freshly glazed ware would melt its glaze; write "glaze"'
        )
