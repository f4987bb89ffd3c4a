"""Hours above 900, 1100 and 1200 °C, and drift in words."""

import re

import numpy as np
import pytest

from firing.errors import FiringError
from firing.sources import source
from firing.thermocouple.reference import TYPES
from firing.thermocouple.tolerance import Exposure, drift_remarks, exposure
from firing.trace import Trace


def trace(*channels: list[float]) -> Trace:
    hours = np.array([0.0, 12.0, 13.0, 25.0])
    names = tuple(f"zone {number}" for number in range(1, len(channels) + 1))
    return Trace(hours * 3600.0, np.array(channels).T, names, "measured")


def test_hours_by_hand() -> None:
    # 0 to 1200 °C in 12 h is 100 °C/h: 3 h from 900, 1 h from 1100; an hour's hold; back the same.
    found = exposure(trace([0.0, 1200.0, 1200.0, 0.0]))
    assert found.levels_c == (900.0, 1100.0, 1200.0)
    assert found.hours == pytest.approx((7.0, 3.0, 0.0))
    assert found.to_dict() == {
        "hours_above_900_c": 7.0,
        "hours_above_1100_c": 3.0,
        "hours_above_1200_c": 0.0,
    }


def test_a_channel_by_name_and_firings_together() -> None:
    both = trace([0.0, 1200.0, 1200.0, 0.0], [0.0, 600.0, 600.0, 0.0])
    assert exposure(both, "zone 2").hours == (0.0, 0.0, 0.0)
    total = exposure(both, 0) + exposure(both, "zone 1")
    assert total.hours == pytest.approx((14.0, 6.0, 0.0))


def test_a_gap_is_bridged() -> None:
    times = np.array([0.0, 1.0, 2.0]) * 3600.0
    gap = Trace(times, np.array([1000.0, np.nan, 1000.0]), ("kiln",), "measured")
    assert exposure(gap).hours == pytest.approx((2.0, 0.0, 0.0))


def test_nothing_to_count_is_refused() -> None:
    with pytest.raises(FiringError, match='channel "zone 1" has no reading'):
        exposure(trace([np.nan] * 4))
    with pytest.raises(FiringError, match="no channel"):
        exposure(trace([0.0] * 4), "zone 9")
    with pytest.raises(FiringError, match="count both above the same levels"):
        Exposure((900.0,), (1.0,)) + Exposure((1000.0,), (1.0,))


@pytest.mark.parametrize("type", TYPES)
def test_drift_is_words_with_sources_and_never_a_rate(type: str) -> None:
    remarks = drift_remarks(type)
    for remark in remarks:
        assert source(remark.source)
        assert remark.text.endswith(".")
        assert not re.search(r"°C (per|an?) |°C/", remark.text)
    assert "witness cones" in remarks[-1].text


def test_directions() -> None:
    # Source: thermocouple-ageing-practice, common practice.
    for type in ("K", "N"):
        text = drift_remarks(type)[0].text
        assert "reads high" in text
        assert "green rot" in text
    for type in ("S", "R", "B"):
        assert "reads low" in drift_remarks(type)[0].text
    assert any("250 and 600 °C" in remark.text for remark in drift_remarks("K"))
    assert not any("250 and 600 °C" in remark.text for remark in drift_remarks("N"))
    assert "not known" in drift_remarks("J")[0].text
