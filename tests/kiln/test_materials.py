"""The wall materials: their list, and what a grade in °F or a trade name leads to."""

import json

import pytest
from click.testing import CliRunner

from firing.cli import cli
from firing.heat.properties import material_names, suggest_material


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        # 1260, 1400 and 1540 °C are 2300, 2552 and 2804 °F; groups are hundredths of °F grades
        # (ASTM C155, ``astm-c155``).
        ("insulating brick 2300", "insulating brick 1260"),
        ("insulating brick 2600", "insulating brick 1400"),
        ("IFB 2800", "insulating brick 1540"),
        ("IFB 23", "insulating brick 1260"),
        ("insulating brick group 26", "insulating brick 1400"),
        ("dense brick", "dense fireclay"),
        ("backing board", "calcium silicate board"),
        ("insulating brick 1250", "insulating brick 1260"),
    ],
)
def test_a_material_is_suggested_by_what_it_is_called(said: str, meant: str) -> None:
    assert f'"{meant}"' in suggest_material(said)


@pytest.mark.parametrize("said", ["soft brick", "IFB", "insulating firebrick", "soft firebrick"])
def test_a_brick_without_its_class_is_asked_for_it(said: str) -> None:
    # 1260 to 1540 conduct 0.22 to 0.43 W/(m K) at 1200 °C (VDI Heat Atlas): no guess is harmless.
    words = suggest_material(said)
    assert all(f'"insulating brick {brick}"' in words for brick in (1260, 1400, 1540))


def test_the_list_has_every_material_with_values_and_sources() -> None:
    done = CliRunner().invoke(cli, ["kiln", "materials", "--json"])
    listed = json.loads(done.stdout)["materials"]
    assert [row["name"] for row in listed] == list(material_names())
    assert all(row["sources"] and row["conductivity"] for row in listed)
    text = CliRunner().invoke(cli, ["kiln", "materials", "--unit", "F"]).stdout
    assert "backing board" in text
    assert "dense brick" in text
    assert "°C" not in text
    # VDI Heat Atlas: 0.22 W/(m K) at 1200 °C, times 6.933472 (1 BTU in/(h sq ft °F) = 0.1442279).
    assert "1.525 at 2192 °F" in text
