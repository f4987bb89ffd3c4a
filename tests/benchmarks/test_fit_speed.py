"""Speed of a fit, as a ratio taken in one run.

The bar: a fit on a log of 24 hours at one reading a minute takes at most the time of 40 forecasts
of that firing by the kiln model.
"""

import time
from collections.abc import Callable
from pathlib import Path

import pytest
from kiln.fitlogs import GLAZE, log_of, record, schedule_of
from kiln.true_kiln import Truth, fire
from kilns import BISQUED, trial_kiln

from firing.kiln.fit import fit_kiln
from firing.kiln.thermal import simulate

MOST_FORECASTS = 40.0


def quickest_s(*works: Callable[[], object], rounds: int = 5) -> list[float]:
    """Each work's least disturbed time of several rounds, taken in turns."""
    times: list[list[float]] = [[] for _ in works]
    for _ in range(rounds):
        for taken, work in zip(times, works, strict=True):
            start = time.perf_counter()
            work()
            taken.append(time.perf_counter() - start)
    return [min(taken) for taken in times]


@pytest.mark.parametrize("duty", [True, False], ids=["output", "schedule"])
def test_a_fit_costs_few_forecasts(
    duty: bool, tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    kiln, schedule = trial_kiln(), schedule_of(GLAZE)
    firing = fire(kiln, BISQUED, GLAZE, Truth(power=0.9, loss=1.1, capacity=1.05))
    log = log_of(firing, tmp_path, duty=duty)
    assert log.trace.duration_s > 23 * 3600.0
    assert log.interval_s == 60.0

    def fitted() -> object:
        return fit_kiln(kiln, [record(log, schedule=schedule, kwh=firing.kwh)])

    fitted()
    ours_s, forecast_s = quickest_s(fitted, lambda: simulate(kiln, BISQUED, schedule))
    record_property("fit_ms", round(ours_s * 1e3, 1))
    record_property("forecast_ms", round(forecast_s * 1e3, 1))
    print(
        f"fit {ours_s * 1e3:.0f} ms, forecast {forecast_s * 1e3:.1f} ms: {ours_s / forecast_s:.1f}"
    )
    assert ours_s <= MOST_FORECASTS * forecast_s
