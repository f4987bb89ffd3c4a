"""Cones as people write them, and the loading of the table."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.cones.kinetics import end_point_c
from firing.cones.table import CONE_TYPES, CONES, cone_number, end_points, parse_cone
from firing.errors import FiringError


@pytest.mark.parametrize(
    ("written", "cone"),
    [
        ("6", "6"),
        (" 06 ", "06"),
        ("cone 6", "6"),
        ("Cone 06", "06"),
        ("cone6", "6"),
        ("^6", "6"),
        ("Δ6", "6"),
        ("\u22066", "6"),  # the increment sign
        ("\u25b306", "06"),  # the triangle
        ("cone ^022", "022"),
        ("5 1/2", "5.5"),
        ("5½", "5.5"),
        ("05½", "05.5"),
        ("5,5", "5.5"),
        ("05.50", "05.5"),
    ],
)
def test_the_usual_spellings_are_read(written: str, cone: str) -> None:
    assert parse_cone(written) == cone


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("6.25", "cone 6.25 is not made; the nearest are 6 and 7"),
        ("06.25", "cone 06.25 is not made; the nearest are 07 and 06"),
        ("6 1/2", "the nearest are 6 and 7"),
        ("42", "cone 42 is not made; the hottest is 14"),
        ("023", "cone 023 is not made; the coldest is 022"),
        ("0", "the nearest are 01 and 1"),
        ("006", "write 06 or 6"),
        ("6.0", "write 6, or 06 for the colder"),
        ("06.0", "write 6, or 06 for the colder"),
        ("", "no cone is named"),
        ("   ", "no cone is named"),
        ("junk", '"junk" is not a cone'),
        ("-6", '"-6" is not a cone'),
        ("6 7", '"6 7" is not a cone'),
        ("six", '"six" is not a cone'),
        ("o6", 'did you mean "06"'),
        ("O18", 'did you mean "018"'),
        ("nan", '"nan" is not a cone'),
    ],
)
def test_what_is_no_cone_is_refused_with_what_to_write(written: str, said: str) -> None:
    with pytest.raises(FiringError) as caught:
        parse_cone(written)
    assert said in str(caught.value)


@given(st.text(max_size=12))
def test_any_text_is_a_cone_or_refused(text: str) -> None:
    try:
        cone = parse_cone(text)
    except FiringError:
        return
    assert cone in CONES


def test_running_numbers() -> None:
    numbers = {"022": -21, "02": -1, "01": 0, "1": 1, "14": 14, "05.5": -4.5, "5.5": 5.5}
    assert {cone: cone_number(cone) for cone in numbers} == numbers
    every = [cone_number(cone) for cone in CONES]
    assert every == sorted(set(every))


def test_cells_are_found_by_cone_and_type() -> None:
    (cell,) = [
        cell for cell in end_points("cone 6", "self_supporting") if cell.heating_rate_c_per_h == 60
    ]
    assert (cell.end_point_c, cell.end_point_f, cell.source) == (1222, 2232, "cone-chart-1996")
    assert {cell.type for cell in end_points()} == set(CONE_TYPES)
    assert end_points("022", "large") == ()


def test_an_unknown_type_is_refused() -> None:
    with pytest.raises(FiringError, match="self_supporting, large"):
        end_points("6", "medium")


def test_a_seger_cone_is_not_taken_for_another_makers() -> None:
    with pytest.raises(FiringError, match="is a Seger cone: its series print no heating rate"):
        parse_cone("SK 6a")


@pytest.mark.parametrize(
    ("written", "cell"),
    [
        ("self-supporting", "self_supporting"),
        ("self_supporting", "self_supporting"),
        ("Large", "large"),
        ("iron-free", "iron_free_self_supporting"),
        ("iron free large", "iron_free_large"),
    ],
)
def test_a_type_of_cone_is_spelt_as_everywhere_else(written: str, cell: str) -> None:
    # The chart's own cells (source ``cone-chart-1996``), by the older spelling and the newer.
    [printed] = [
        one for one in end_points("06", cell) if one.heating_rate_c_per_h == 60.0
    ]  # fmt: skip
    assert end_point_c("06", 60.0, kind=written) == pytest.approx(printed.end_point_c, abs=1e-6)
    assert end_point_c("06", 60.0, written) == end_point_c("06", 60.0, cell)
    with pytest.raises(FiringError, match='"wide" is not a type of cone'):
        end_point_c("06", 60.0, kind="wide")
