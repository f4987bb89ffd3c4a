"""Load files: every fault at once and in place."""

from pathlib import Path

import pytest

from firing.files.kinds import ready_text
from firing.files.tomlfile import FaultyFile
from firing.ware.file import LoadTable, open_load, parse_load

GOOD = """dryness = "bone dry"
body = "stoneware, grogged"
furniture_kg = 28
[[piece]]
name = "planter"
count = 4
thickest_mm = 18
mass_kg = 3.2
heated_from = "both"
"""


def faults_of(text: str) -> list[str]:
    with pytest.raises(FaultyFile) as refusal:
        parse_load(text, "load.toml")
    return str(refusal.value).splitlines()


@pytest.mark.parametrize(
    "name",
    ["example-load-planters-and-cups", "example-load-thin-cups", "example-load-glazed-cups"],
)
def test_the_example_loads_read(name: str) -> None:
    load = parse_load(ready_text(name))
    assert load.body == "stoneware, grogged"
    assert not load.assumed


def test_a_load_is_read_as_written() -> None:
    load = parse_load(GOOD)
    assert load.dryness == "bone dry"
    assert load.furniture_kg == 28.0
    piece = load.pieces[0]
    assert (piece.name, piece.count, piece.thickest_mm, piece.mass_kg) == ("planter", 4, 18.0, 3.2)
    assert piece.heated_from == "both"


def test_what_may_be_left_out() -> None:
    text = 'dryness = "bisqued"\nbody = "porcelain"\n[[piece]]\nname = "a"\nthickest_mm = 4\n'
    load = parse_load(text + "mass_kg = 0.2\n")
    assert load.furniture_kg is None
    assert load.pieces[0].count == 1


def test_every_fault_is_told_at_once_with_its_line() -> None:
    text = """dryness = "bonedry"
body = "stonware, grogged"
furniture_kg = -3
[[piece]]
name = ""
count = 0
thickest_mm = 0
mass_kg = -1
heated_from = "above"
[[piece]]
name = "slab"
thickest_mm = 501
"""
    faults = faults_of(text)
    assert [fault.split(":")[1] for fault in faults] == [
        "1", "2", "3", "5", "6", "7", "8", "9", "10", "12"
    ]  # fmt: skip
    assert 'did you mean "bone dry"' in faults[0]
    assert 'did you mean "stoneware, grogged"' in faults[1]
    assert "-3 kg must be at least 0 kg; write furniture_kg = 28" in faults[2]
    assert "0 mm must be above 0 mm; write thickest_mm = 18" in faults[5]
    assert "-1 kg must be above 0 kg" in faults[6]
    assert "mass_kg: is missing; write mass_kg = 3.2" in faults[8]
    assert "501 mm must be at most 500 mm" in faults[9]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("thickest_mm = 18", "thickest_mm = -18", "above 0 mm"),
        ("thickest_mm = 18", 'thickest_mm = "18"', "a number"),
        ("thickest_mm = 18", "thickest_mm = nan", "finite"),
        ("count = 4", "count = 1.5", "whole number"),
        ("mass_kg = 3.2", "mass = 3.2", "3.2 names no unit"),
        ('"stoneware, grogged"', '"wood"', 'write one of: "earthenware"'),
        ('"stoneware, grogged"', "4", "text in quotes"),
    ],
)
def test_a_slip_is_told(old: str, new: str, words: str) -> None:
    assert any(words in fault for fault in faults_of(GOOD.replace(old, new)))


def test_a_load_without_pieces_is_refused() -> None:
    faults = faults_of('dryness = "bone dry"\nbody = "stoneware"\n')
    assert any("piece" in fault for fault in faults)


def test_files_and_schema(tmp_path: Path) -> None:
    path = tmp_path / "load.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert open_load(path) == parse_load(GOOD)
    assert "piece" in LoadTable.model_json_schema()["properties"]


def test_a_load_in_inches_is_told_in_inches() -> None:
    text = (
        'dryness = "damp"\nbody = "stoneware"\nfurniture = "45 lb"\n[[piece]]\nname = "mug"\n'
        'count = 40\nthickest = "0.28 in"\nmass = "0.9 lb"\n'
        'shape = "open hollow"\nfoot = "0.3 in"\n'
    )
    (fault,) = faults_of(text)
    assert "foot" in fault
    assert " in is above thickest, " in fault
    assert "mm" not in fault
