"""What needs time on the way up, one function a reason, each with its figures and its source.

Every time grows with the square of the way that water and gas have to go.
"""

from collections.abc import Iterator

from firing.ware.case import Case
from firing.ware.drying import DRY_BISQUE_SHARE, DRY_SHARE, DRYING_C, drying_fourier
from firing.ware.limits import Dwell
from firing.ware.reactions import BURN_OUT_C, STEAM_C, burn_out_s, steam_escape_s

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
