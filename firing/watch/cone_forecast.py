"""Heat-work while it adds up: what is down, and when the next cones will fall."""

from __future__ import annotations

import numpy as np

from firing.cones.equivalence import ConeProgress, cone_reached, law_shift_c
from firing.cones.heatwork import heatwork, time_down_s
from firing.cones.kinetics import cone_law
from firing.cones.table import CONES
from firing.trace import FloatArray
from firing.watch.state import ConeForecast, Prediction, RemainingCourse

COUNTS_C = 250.0
"""Colder, no cone gains in a week what could be seen, nor does its rate of approach count [°C]."""


def _while_it_counts(
    time_s: FloatArray, temperature_c: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return a course without what is too cold for any cone, before and after."""
    warm = np.flatnonzero(temperature_c >= COUNTS_C)
    if not warm.size:
        return time_s, temperature_c
    kept = slice(max(int(warm[0]) - 1, 0), int(warm[-1]) + 2)
    return time_s[kept], temperature_c[kept]


def down_since_s(cone: str, time_s: FloatArray, temperature_c: FloatArray) -> float | None:
    """Return when a cone went down [s] in the firing so far; None if it has not."""
    shift_c = law_shift_c(cone, time_s, temperature_c)
    return time_down_s(cone_law(cone), time_s, temperature_c, shift_c)


def lowest_effective_c(cone: str) -> float:
    """Return a temperature below which a cone cannot go down in a day [°C]."""
    return cone_law(cone).law_60_c - 200.0


def cones_reached(
    time_s: FloatArray, temperature_c: FloatArray, thermocouple_c: float | None = None
) -> tuple[str | None, float | None, float | None, float | None]:
    """Return the cone that is down, its running number, and the range of that."""
    if float(np.max(temperature_c)) < COUNTS_C:
        return None, None, None, None
    verdict = cone_reached(*_while_it_counts(time_s, temperature_c), thermocouple_c)
    return verdict.reached, verdict.reached_number, verdict.low, verdict.high


def forecast_cones(
    wanted: tuple[str, ...],
    time_s: FloatArray,
    temperature_c: FloatArray,
    ahead: Prediction | None,
    thermocouple_c: float | None = None,
) -> tuple[ConeForecast, ...]:
    """Return the cones that matter now, from the coldest: those wanted, and the next to fall.

    `thermocouple_c` is the tolerance of the thermocouple, ± [°C].
    """
    whole = None if ahead is None else _with_remaining(time_s, temperature_c, ahead.expected)
    chosen = set(wanted)
    final: dict[str, ConeProgress] = {}
    if whole is not None:
        final = cone_reached(*whole, thermocouple_c).by_cone
        now_s = float(time_s[-1])
        falling = [
            cone
            for cone in CONES
            if (down_s := final[cone].reached_s) is not None and down_s > now_s
        ]
        chosen.update(falling[:1])
    found = []
    for cone in (cone for cone in CONES if cone in chosen):
        off_c = final[cone].budget_c if cone in final else 0.0
        found.append(_forecast_one(cone, time_s, temperature_c, whole, ahead, off_c))
    return tuple(found)


def _forecast_one(
    cone: str,
    time_s: FloatArray,
    temperature_c: FloatArray,
    whole: tuple[FloatArray, FloatArray] | None,
    ahead: Prediction | None,
    off_c: float,
) -> ConeForecast:
    law = cone_law(cone)
    so_far = _while_it_counts(time_s, temperature_c)
    shift_c = law_shift_c(cone, *so_far)
    x = heatwork(*so_far, (cone,), shift_c)[cone]
    down_s = time_down_s(law, *so_far, shift_c)
    if down_s is not None or whole is None or ahead is None:
        return ConeForecast(cone, x, down_s, None, None, None)
    shift_c = law_shift_c(cone, *whole)
    quickest = _with_remaining(time_s, temperature_c, ahead.quickest)
    # A quicker climb is less heat-work: its cone may fall later than the expected course's, or not.
    early_s = [
        fallen_s
        for course in (quickest, whole)
        if (fallen_s := time_down_s(law, *course, shift_c + off_c)) is not None
    ]
    return ConeForecast(
        cone,
        x,
        None,
        time_down_s(law, *whole, shift_c),
        min(early_s, default=None),
        None
        if ahead.slowest is None
        else time_down_s(
            law, *_with_remaining(time_s, temperature_c, ahead.slowest), shift_c - off_c
        ),
    )


def _with_remaining(
    time_s: FloatArray, temperature_c: FloatArray, rest: RemainingCourse
) -> tuple[FloatArray, FloatArray]:
    now_s = float(time_s[-1])
    return _while_it_counts(
        np.concatenate((time_s, now_s + rest.time_s[1:])),
        np.concatenate((temperature_c, rest.temperature_c[1:])),
    )
