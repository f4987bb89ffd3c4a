"""Speed of ITS-90 from emf to temperature, as a ratio taken in one run.

The bar: a million samples at least 30 times as fast, a sample, as ``thermocouple-its90``, which
goes one by one; it is given fewer of the same samples.
"""

import time
from collections.abc import Callable

import numpy as np
import pytest
import thermocouple_its90

from firing.thermocouple.inverse import readable_c, temperature_c
from firing.thermocouple.junction import celsius_from_mv
from firing.thermocouple.reference import emf_mv

SAMPLES = 1_000_000
FEWER = 4_000


def quickest_s(work: Callable[[], object], rounds: int) -> float:
    """The least disturbed time of several rounds."""
    taken = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return min(taken)


@pytest.mark.parametrize("type", ["K", "N", "S", "B"])
def test_a_million_samples_from_emf(
    type: str, record_property: Callable[[str, object], None]
) -> None:
    low_c, high_c = max(readable_c(type)[0], 20.0), readable_c(type)[1]
    emfs = emf_mv(np.random.default_rng(5).uniform(low_c, high_c, SAMPLES), type)
    few = emfs[:FEWER].tolist()
    theirs = thermocouple_its90.get(type).temperature
    temperature_c(emfs[:10], type)
    theirs(few[0])

    ours_s = quickest_s(lambda: temperature_c(emfs, type), 5)
    theirs_s = quickest_s(lambda: [theirs(emf) for emf in few], 5) * SAMPLES / FEWER

    record_property("ours_ms", round(ours_s * 1e3, 1))
    record_property("one_by_one_ms", round(theirs_s * 1e3, 1))
    print(f"{type}: {ours_s * 1e3:.0f} ms, one by one {theirs_s * 1e3:.0f} ms", end=" ")
    print(f"({theirs_s / ours_s:.0f} times)")
    assert ours_s * 30.0 <= theirs_s


def test_a_log_in_millivolts_with_its_junction_column(
    record_property: Callable[[str, object], None],
) -> None:
    # The whole way, a junction for each sample, gaps, reasons and sentences, clears the bar too.
    at_c = np.interp(np.arange(SAMPLES), [0.0, 0.6 * SAMPLES, SAMPLES], [20.0, 1222.0, 60.0])
    junction_c = 25.0 + 3.0 * np.sin(np.arange(SAMPLES) / 5e4)
    emfs = emf_mv(at_c, "K") - emf_mv(junction_c, "K")
    spread = slice(None, None, SAMPLES // FEWER)
    few = list(zip(emfs[spread].tolist(), junction_c[spread].tolist(), strict=True))
    emfs[1::1000] = np.nan
    theirs = thermocouple_its90.get("K").temperature

    ours_s = quickest_s(lambda: celsius_from_mv(emfs, "K", junction_c), 5)
    theirs_s = quickest_s(lambda: [theirs(*pair) for pair in few], 5) * SAMPLES / FEWER

    record_property("ours_ms", round(ours_s * 1e3, 1))
    print(f"whole: {ours_s * 1e3:.0f} ms ({theirs_s / ours_s:.0f} times)")
    assert ours_s * 30.0 <= theirs_s
