"""The cone maker's temperature-equivalents chart, cell by cell.

Source: the maker's chart of temperature equivalents for pyrometric cones, revised 1996, printed
2016 (``cone-chart-1996`` in the bibliography).  The chart prints °C and °F in separate tables, so
each checks the transcription of the other.
"""

from collections import Counter
from itertools import groupby

import numpy as np
import pytest

from firing.cones.equivalence import cone_reached
from firing.cones.table import CONE_TYPES, CONES, EndPoint, cone_number, end_points

CELLS = end_points()
SELF_SUPPORTING = end_points(type="self_supporting")


def label(cell: EndPoint) -> str:
    return f"{cell.cone}-{cell.type}-{cell.heating_rate_c_per_h:g}"


def test_every_cell_is_there_once() -> None:
    assert len(CELLS) == 281
    assert max(Counter(map(label, CELLS)).values()) == 1
    assert tuple(dict.fromkeys(cell.cone for cell in CELLS)) == CONES
    assert {cell.source for cell in CELLS} == {"cone-chart-1996"}
    assert all(cell.note for cell in CELLS if cell.quality != "good")


def test_the_columns_are_those_of_the_chart() -> None:
    rates = {
        type: sorted({cell.heating_rate_c_per_h for cell in end_points(type=type)})
        for type in CONE_TYPES
    }
    assert rates == {
        "self_supporting": [15, 60, 150],
        "iron_free_self_supporting": [15, 60, 150],
        "large": [60, 150],
        "iron_free_large": [60, 150],
        "small": [300],
    }


def test_celsius_and_fahrenheit_agree() -> None:
    # Each is rounded to a whole degree by itself: 0.5 °F, or 0.5 °C = 0.9 °F, apart at most.  One
    # cell of the chart, cone 13 at 15 °C/h (1310 °C, 2389 °F), is 1 °F off.
    apart_f = {label(cell): abs(cell.end_point_c * 1.8 + 32.0 - cell.end_point_f) for cell in CELLS}
    assert apart_f.pop("13-self_supporting-15") <= 1.0 + 1e-9
    assert {cell: apart for cell, apart in apart_f.items() if apart > 0.9 + 1e-9} == {}


@pytest.mark.parametrize("type", CONE_TYPES)
def test_hotter_cones_end_hotter(type: str) -> None:
    kept = [cell for cell in end_points(type=type) if cell.quality != "exclude"]
    for rate in {cell.heating_rate_c_per_h for cell in kept}:
        column = [cell.end_point_c for cell in kept if cell.heating_rate_c_per_h == rate]
        assert np.all(np.diff(column) > 0.0)


def test_faster_rates_end_hotter() -> None:
    kept = [cell for cell in CELLS if cell.quality != "exclude"]
    for _, row in groupby(kept, key=lambda cell: (cell.cone, cell.type)):
        cells = sorted(row, key=lambda cell: cell.heating_rate_c_per_h)
        assert np.all(np.diff([cell.end_point_c for cell in cells]) > 0.0)


def test_a_ramp_of_the_chart_ends_at_the_printed_figure(subtests: pytest.Subtests) -> None:
    assert len(SELF_SUPPORTING) == 111
    for cell in SELF_SUPPORTING:
        with subtests.test(label(cell)):
            rate, end_c = cell.heating_rate_c_per_h, cell.end_point_c
            time_s = np.array([0.0, (end_c - 20.0) / rate * 3600.0])
            verdict = cone_reached(time_s, np.array([20.0, end_c]))
            assert verdict.reached == cell.cone
            assert verdict.reached_number == pytest.approx(cone_number(cell.cone), abs=1e-4)
            assert verdict.by_cone[cell.cone].heatwork == pytest.approx(1.0, abs=1e-6)
            assert verdict.by_cone[cell.cone].reached_s == pytest.approx(time_s[-1], abs=1.0)
            assert verdict.by_cone[cell.cone].approach_rate_c_per_h == pytest.approx(rate)


def test_this_is_not_the_older_edition() -> None:
    # An older edition prints 1222 °C for cone 6 at 150 °C/h; here that is the 60 °C/h figure.
    figures = {
        cell.heating_rate_c_per_h: cell.end_point_c for cell in end_points("6", "self_supporting")
    }
    assert figures == {15: 1185, 60: 1222, 150: 1243}
