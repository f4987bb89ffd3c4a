"""Ware that a program finds hot: what must be out of it already, and the sentence that says so.

A program that starts above a window never gives the ware its time there.  Unless a log tells more,
whatever that window is for is taken to be done; nobody but the potter knows, so it is said.
"""

from dataclasses import dataclass, replace

from firing.schedule.schedule import Purpose, Schedule, WareDone
from firing.units import format_duration, format_temperature, from_celsius
from firing.ware.body import body_named
from firing.ware.drying import DRYING_C
from firing.ware.limits import Dwell, StayReason
from firing.ware.load import Goes, Load, WareState
from firing.ware.reactions import BURN_OUT_C, STEAM_C, burn_out_s
from firing.ware.safe_rates import MARGINS, limits_for

DRY_ABOVE_C = 120.0
"""Ware that went in bone dry is taken to be dry above this, where the limits of free water end."""
DAMP_IS_DRY_ABOVE_C = 300.0
"""Ware that went in damp is taken to be dry above this: no kiln is opened and filled that hot
(common practice, no source)."""
_DRY_FOURIER = 5.0
"""Of all free water exp(−5·π²/4) is left then, less than a hundred thousandth."""
_NAMES: dict[StayReason, str] = {
    "shrinkage": "its shrinkage water",
    "free water": "its free water",
    "bound water": "its bound water",
    "carbon": "its carbon",
}


@dataclass(frozen=True, slots=True)
class WareAtStart:
    """The ware as a program finds it.

    The load is bone dry where it went in damp and is dry by now; there is no state for a program
    that starts cold; `assumed` says as sentences what is only assumed.
    """

    load: Load
    state: WareState | None
    assumed: str = ""


def ware_at_start(
    load: Load, schedule: Schedule, *, margin: float, state: WareState | None = None
) -> WareAtStart:
    """Return the ware as a program finds it.

    What earlier firing is known to have done may be given; nothing is assumed then.
    """
    if state is None and schedule.ware_done is not None:
        state = state_of(schedule.ware_done, load)
        if state is not None:
            return WareAtStart(as_dried(load, schedule.purpose, margin, state), state)
    if state is not None or schedule.start_c <= DRYING_C[1]:
        return WareAtStart(load, state)
    found = assumed_state(load, schedule.start_c)
    limits = limits_for(load, purpose=schedule.purpose, margin=margin)
    left = limits_for(load, purpose=schedule.purpose, margin=margin, state=found).dwells
    kept = {dwell.reason for dwell in left}
    past = [dwell for dwell in limits.dwells if dwell.reason not in kept]
    if not past:
        return WareAtStart(load, found)
    dry = as_dried(load, schedule.purpose, margin, found)
    return WareAtStart(dry, found, _assumption(schedule, past))


_GOES: tuple[Goes, Goes, Goes] = ("water", "steam", "air")
_AS_THICK = 1.02


def ware_done(load: Load, state: WareState) -> WareDone:
    """Return what has been done to a load, as a schedule carries it on."""
    water, steam, air = (round(1000.0 * load.slowest(what).path_m(what), 2) for what in _GOES)
    return WareDone(
        paths_mm=(water, steam, air),
        drying_fourier=round(min(state.drying_fourier, 1e6), 4),
        bound_water_gone=round(min(max(state.bound_water_gone, 0.0), 1.0), 4),
        burn_out_s=60.0 * int(state.burn_out_s / 60.0),
    )


def state_of(done: WareDone, load: Load) -> WareState | None:
    """Return what a schedule says was done to a load; None for ware thicker than it speaks of."""
    paths_mm = (1000.0 * load.slowest(what).path_m(what) for what in _GOES)
    if any(mm > _AS_THICK * known for mm, known in zip(paths_mm, done.paths_mm, strict=True)):
        return None
    return WareState(done.drying_fourier, done.bound_water_gone, done.burn_out_s)


def assumed_state(load: Load, start_c: float) -> WareState:
    """Return what ware must have lost that is whole and as hot as a program starts."""
    damp = load.dryness in ("leather hard", "damp")
    dry = start_c > (DAMP_IS_DRY_ABOVE_C if damp else DRY_ABOVE_C)
    body = body_named(load.body)
    burnt_s = 0.0
    if start_c > BURN_OUT_C[1]:
        path_m = load.slowest("air").path_m("air")
        burnt_s = MARGINS[1] * burn_out_s(body, path_m, dark=load.dark)
    return WareState(
        drying_fourier=_DRY_FOURIER if dry else 0.0,
        bound_water_gone=1.0 if start_c > STEAM_C[1] else 0.0,
        burn_out_s=burnt_s,
    )


def as_dried(load: Load, purpose: Purpose, margin: float, state: WareState) -> Load:
    """Return a damp load as bone dry once a firing has dried it."""
    if load.dryness not in ("leather hard", "damp"):
        return load
    limits = limits_for(load, purpose=purpose, margin=margin, state=state)
    wet = any(dwell.reason == "free water" for dwell in limits.dwells)
    return load if wet else replace(load, dryness="bone dry")


def _assumption(schedule: Schedule, past: list[Dwell]) -> str:
    unit = schedule.unit
    parts: list[str] = []
    for dwell in past:
        if any(part.startswith(_NAMES[dwell.reason]) for part in parts):
            continue
        low, high = (f"{from_celsius(value, unit):.0f}" for value in dwell.window_c)
        took = format_duration(dwell.at_least_s)
        parts.append(f"{_NAMES[dwell.reason]} ({took} from {low} to {high} °{unit})")
    lost = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    return (
        f"The program starts at {format_temperature(schedule.start_c, unit)}. The ware must "
        f"already have lost {lost}; this is assumed, not checked. If it has not, let the kiln cool "
        f"below {format_temperature(past[0].window_c[0], unit)} and start from there."
    )
