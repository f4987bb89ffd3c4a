"""Speed of ITS-90 from emf to temperature, as a ratio taken in one run.

The bar: a million samples at least 30 times as fast, a sample, as ``thermocouple-its90``, which
goes one by one; it is given fewer of the same samples.
"""

from collections.abc import Callable

import numpy as np
import pytest
import thermocouple_its90
from benchmarks.turns import Turns, Work, in_turns
from longer import beyond

from firing.thermocouple.junction import convert
from firing.thermocouple.reference import emf_mv, readable_c, temperature_c

pytestmark = pytest.mark.soak  # ratios ask for a machine that does nothing else

SAMPLES = 1_000_000
FEWER = 4_000
MOST = 1.0 / 30.0


def against_fewer(ours: Work, theirs: Work) -> Turns:
    """All the samples against what as many would cost one by one, told from some of them."""
    share = SAMPLES / FEWER
    turns = in_turns(ours, theirs, most=MOST * share)
    return Turns(turns.ours_s, turns.bare_s * share)


@pytest.mark.parametrize("type", beyond(1, ["K", "N", "S", "B"]))
def test_a_million_samples_from_emf(
    type: str, record_property: Callable[[str, object], None]
) -> None:
    low_c, high_c = max(readable_c(type)[0], 20.0), readable_c(type)[1]
    emfs = emf_mv(np.random.default_rng(5).uniform(low_c, high_c, SAMPLES), type)
    few = emfs[:FEWER].tolist()
    theirs = thermocouple_its90.get(type).temperature
    turns = against_fewer(lambda: temperature_c(emfs, type), lambda: [theirs(emf) for emf in few])
    record_property("inverse", f"{1.0 / turns.ratio:.0f} times as fast")
    print(f"\n{type}: {1e3 * turns.ours_s:.0f} ms, {1.0 / turns.ratio:.0f} times as fast")
    assert turns.ratio <= MOST


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

    turns = against_fewer(
        lambda: convert(emfs, "K", junction_c).summary(), lambda: [theirs(*pair) for pair in few]
    )
    record_property("whole", f"{1.0 / turns.ratio:.0f} times as fast")
    print(f"\nwhole: {1e3 * turns.ours_s:.0f} ms, {1.0 / turns.ratio:.0f} times as fast")
    assert turns.ratio <= MOST
