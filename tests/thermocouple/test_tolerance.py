"""What a class promises, where it stops, and how a wrong question is answered.

The standards' own figures stand in tests/published/test_thermocouple_tables.py.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.sources import source
from firing.thermocouple.reference import TYPES
from firing.thermocouple.tolerance import CLASSES, tolerance_c, tolerance_rows

EVERY = [(standard, name) for standard, names in CLASSES.items() for name in names]


def test_every_row_has_its_source_and_a_standard() -> None:
    for row in tolerance_rows():
        assert row.class_name in CLASSES[row.standard]
        assert row.standard in source(row.source).citation
        assert row.from_c < row.to_c


@pytest.mark.parametrize(
    ("type", "class_name", "at_c", "end"),
    [
        ("K", "1", 1000.1, "ends at 1000 °C"),
        ("K", "2", 1250.0, "ends at 1200 °C"),
        ("N", "2", -41.0, "begins at -40 °C"),
        ("S", "1", 1601.0, "ends at 1600 °C"),
        ("B", "2", 599.0, "begins at 600 °C"),
        ("K", "standard", 1261.0, "ends at 1260 °C"),
    ],
)
def test_out_of_its_range_a_class_promises_nothing(
    type: str, class_name: str, at_c: float, end: str
) -> None:
    found = tolerance_c(type, class_name, at_c)
    assert found.value_c is None
    assert end in found.reason
    assert f"promises nothing at {at_c:g} °C" in found.reason


@given(type=st.sampled_from(TYPES), which=st.sampled_from(EVERY), at_c=st.floats(-300.0, 2000.0))
def test_a_figure_or_a_reason_with_a_source(type: str, which: tuple[str, str], at_c: float) -> None:
    standard, class_name = which
    found = tolerance_c(type, class_name, at_c, standard)
    assert found == tolerance_c(type, class_name, at_c)
    assert standard in found.reason
    assert standard in source(found.source).citation
    assert found.value_c is None or 0.0 < found.value_c <= 10.0


def test_a_type_without_the_class_says_which_it_has() -> None:
    found = tolerance_c("B", "1", 1200.0)
    assert found.value_c is None
    assert "only 2 and 3" in found.reason
    assert "nor any other" in tolerance_c("J", "2", 500.0).reason


@pytest.mark.parametrize("written", ["2", "class 2", " Class 2 "])
def test_classes_as_people_write_them(written: str) -> None:
    assert tolerance_c("type k", written, 1200.0).value_c == pytest.approx(9.0)


@pytest.mark.parametrize(
    ("class_name", "standard", "words"),
    [
        ("4", None, '"4" is no thermocouple class; write 1 or 2 or 3'),
        ("", None, "is no thermocouple class"),
        ("2", "DIN 43710", "is no standard of thermocouple tolerances here"),
        ("2", "ASTM E230", "ASTM E230 has no class 2; write standard or special"),
        ("special", "IEC 60584-1", "IEC 60584-1 has no class special; write 1 or 2 or 3"),
    ],
)
def test_a_class_that_is_none_is_refused(class_name: str, standard: str | None, words: str) -> None:
    with pytest.raises(FiringError, match=words):
        tolerance_c("K", class_name, 1000.0, standard)


def test_no_number_is_refused() -> None:
    with pytest.raises(FiringError, match="needs a temperature"):
        tolerance_c("K", "2", float("nan"))
