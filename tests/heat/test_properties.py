"""Material tables: straight between points, continued a little and said so, refused beyond."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.heat.properties import Material, PropertyTable, grid_of, material_names, wall_material
from firing.sources import source

BRICK = PropertyTable("conductivity of brick", "W/(m K)", ((400.0, 0.14), (1200.0, 0.22)), 200.0)


def test_between_its_points_a_table_is_straight() -> None:
    assert BRICK.at(800.0) == pytest.approx(0.18)


def test_beyond_its_points_the_last_slope_goes_on_and_is_told() -> None:
    assert BRICK.at(1300.0) == pytest.approx(0.23)
    said = BRICK.beyond(500.0, 1300.0)
    assert said is not None
    assert "400 to 1200 °C" in said
    assert "1300 °C" in said
    assert BRICK.beyond(400.0, 1200.0) is None


def test_a_cold_room_is_no_use_outside_a_table() -> None:
    brick = wall_material("insulating brick 1260")
    for table in (brick.conductivity, brick.specific_heat):
        assert table.beyond(18.0, 1200.0) is None
        assert table.beyond(-5.0, 1200.0) is None
    assert BRICK.beyond(380.0, 1200.0) is not None


@pytest.mark.parametrize("temperature_c", [199.0, 1401.0])
def test_beyond_its_margin_a_table_refuses(temperature_c: float) -> None:
    with pytest.raises(FiringError, match="200 to 1400 °C") as refusal:
        BRICK.at(temperature_c)
    assert "conductivity of brick" in str(refusal.value)
    assert "give values that reach it" in str(refusal.value)


def test_a_line_that_falls_to_zero_is_not_followed() -> None:
    steep = PropertyTable("conductivity of felt", "W/(m K)", ((600.0, 0.1), (800.0, 0.2)), 300.0)
    with pytest.raises(FiringError, match="not above 0"):
        steep.at(390.0)
    felt = Material("felt", 100.0, steep, PropertyTable("heat", "J/(kg K)", ((20.0, 1000.0),)))
    assert grid_of(felt).low_c == 410.0


@pytest.mark.parametrize(
    "points", [(), ((400.0, 0.1), (400.0, 0.2)), ((400.0, 0.2), (300.0, 0.1)), ((400.0, 0.0),)]
)
def test_tables_that_make_no_sense_are_refused(points: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(FiringError):
        PropertyTable("conductivity", "W/(m K)", points)


@given(st.sampled_from(material_names()), st.floats(20.0, 1190.0))
def test_the_even_grid_says_what_the_table_says(name: str, temperature_c: float) -> None:
    material = wall_material(name)
    if temperature_c > material.conductivity.range_c[1]:
        return
    grid = grid_of(material)
    k0, k1, *_ = grid.rows[int((temperature_c - grid.low_c) * grid.per_c)]
    assert k0 + k1 * temperature_c == pytest.approx(
        material.conductivity.at(temperature_c), rel=1e-9
    )
    capacity, heat = grid.heat(temperature_c)
    assert capacity / material.density_kg_per_m3 == pytest.approx(
        material.specific_heat.at(temperature_c), rel=1e-9
    )
    # Heat content rises by the capacity, by its definition.
    more = grid.heat(temperature_c + 0.01)[1]
    assert (more - heat) / 0.01 == pytest.approx(capacity, rel=1e-4)


@pytest.mark.parametrize("name", material_names())
def test_every_figure_of_the_library_has_a_source(name: str) -> None:
    material = wall_material(name)
    assert material.sources
    for source_id in material.sources:
        source(source_id)


def test_the_library_holds_the_printed_figures() -> None:
    # VDI Heat Atlas, 2nd ed., refractory table (``vdi-heat-atlas-2010``).
    brick = wall_material("insulating brick 1260")
    assert brick.density_kg_per_m3 == 490.0
    assert [brick.conductivity.at(t) for t in (400, 800, 1200)] == [0.14, 0.18, 0.22]
    assert [brick.specific_heat.at(t) for t in (400, 800, 1200)] == [942.0, 1002.0, 1033.0]
    denser = wall_material("insulating brick 1400")
    assert [denser.conductivity.at(t) for t in (400, 1200)] == [0.27, 0.36]


def test_an_unknown_material_is_answered_with_the_nearest() -> None:
    with pytest.raises(FiringError, match='did you mean "insulating brick 1260"'):
        wall_material("insulating brik 1260")
    with pytest.raises(FiringError, match="write one of: insulating brick 1260"):
        wall_material("cheese")
