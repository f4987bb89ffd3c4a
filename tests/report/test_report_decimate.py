"""Thinning keeps what shows."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.report.charts.figure import decimate


@given(st.integers(1, 5000), st.integers(4, 400), st.integers(0, 2**32 - 1))
def test_few_points_all_of_them_readings_extremes_kept(count: int, most: int, seed: int) -> None:
    time_s = np.arange(count, dtype=float)
    values = np.random.default_rng(seed).normal(600.0, 50.0, count)
    kept_s, kept = decimate(time_s, values, most)
    assert kept.size <= max(most, 4)
    assert np.all(np.diff(kept_s) > 0)
    assert np.array_equal(values[kept_s.astype(int)], kept)
    assert kept.min() == values.min()
    assert kept.max() == values.max()
    assert (kept_s[0], kept_s[-1]) == (0.0, count - 1.0)


def test_short_lines_pass_unchanged() -> None:
    time_s, values = np.arange(10.0), np.arange(10.0)
    assert decimate(time_s, values, 10)[1] is values


@pytest.mark.parametrize("gap", [slice(400, 700), slice(0, 1000)])
def test_gaps_stay_gaps(gap: slice) -> None:
    values = np.ones(1000)
    values[gap] = np.nan
    kept_s, kept = decimate(np.arange(1000.0), values, 40)
    inside = (kept_s >= gap.start + 30) & (kept_s < gap.stop - 30)
    assert inside.any()
    assert np.isnan(kept[inside]).all()


@given(st.integers(100, 3000), st.integers(8, 300), st.integers(1, 98), st.integers(1, 300))
def test_a_gap_of_one_missing_value_stays_open(
    count: int, most: int, percent: int, steps: int
) -> None:
    time_s, values = np.arange(count, dtype=float), np.linspace(20.0, 1200.0, count)
    at = max(count * percent // 100, 1)
    time_s[at:] += 2.0 + steps
    values = np.insert(values, at, np.nan)
    time_s = np.insert(time_s, at, time_s[at - 1] + 1.0)
    kept_s, kept = decimate(time_s, values, most)
    assert kept.size <= most or count < most
    (hole,) = np.flatnonzero(np.isnan(kept))
    assert kept_s[hole - 1 : hole + 2].tolist() == time_s[at - 1 : at + 2].tolist()


def test_a_channel_read_on_every_other_row_has_no_gaps() -> None:
    values = np.where(np.arange(1000) % 2, np.nan, np.arange(1000.0))
    kept = decimate(np.arange(1000.0), values, 40)[1]
    assert np.isfinite(kept).sum() >= 20
    assert kept.size <= 40
