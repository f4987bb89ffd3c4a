"""A range of cones in words: tenths above cone 1, the whole cones around it in the zero series.

The order of cones 022 to 10 is the maker's chart's (source ``cone-chart-1996``); 01 counts 0 here,
02 counts −1, and so on.
"""

import pytest

from firing.cones.table import describe_range


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (6.6, 7.1, "6.6 to 7.1"),
        (7.0, 7.0, "7"),
        (-8.8, -8.6, "between 010 and 09"),
        (-9.2, -8.6, "between 011 and 09"),
        (-9.0, -9.0, "010"),
        (-0.3, 1.4, "between 02 and 1.4"),
        (None, -20.7, "021 at most"),
        (None, None, "below the coldest cone"),
    ],
)
def test_a_range_is_said_as_people_say_cones(
    low: float | None, high: float | None, words: str
) -> None:
    assert describe_range(low, high) == words
