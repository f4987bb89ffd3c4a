"""Kiln and load forms and their files: what is written, kept, refused and never replaced."""

from pathlib import Path

import pytest
from firing.tui.document import ChangedOnDisk
from firing.tui.form_document import forgotten, open_form
from firing.tui.form_kinds import kiln_form, load_form
from firing.tui.form_lines import lines_of
from formdocuments import KILN, LOAD, do, form_document, take, type_in

from firing.cli import cli
from firing.errors import FiringError
from firing.files.kinds import ready_text
from firing.ware.file import open_load


def test_a_kiln_is_edited_and_everything_else_is_kept(tmp_path: Path) -> None:
    document = form_document(tmp_path, kiln_form(), KILN)
    type_in(document, ("power_kw",), "6.5 kW")
    type_in(document, ("max_c",), "2300F")
    type_in(document, ("vent",), "yes")
    do(document, "up", ("wall", 1, "material"))
    here = do(document, "new", ("wall", 1, "material"))
    assert here == ("wall", 2, "material")
    type_in(document, here, "dense fireclay")
    type_in(document, ("wall", 2, "thickness_mm"), "12.5")
    take(document, forgotten(document.state.data, "fitted", "forgotten"))
    assert document.changed
    document.save()
    # 2300 °F are 1260 °C; the comments stay with what they speak of
    assert (
        (tmp_path / "kiln.toml").read_text(encoding="utf-8")
        == """# the shed
name = "Shed kiln"            # painted on the lid
power_kw = 6.5
rated_volts = 230

volume_l = 100                # counted in shelves
shape = "box"
max = "2300F"
vent = true

# added last winter
[[wall]]
material = "ceramic fibre blanket 128"
thickness_mm = 25             # one sheet

# what is behind the steel
[[wall]]
material = "insulating brick 1260"
thickness_mm = 114

[[wall]]
material = "dense fireclay"
thickness_mm = 12.5
"""
    )
    assert not document.changed


def test_a_load_is_edited_and_everything_else_is_kept(tmp_path: Path) -> None:
    document = form_document(tmp_path, load_form(), LOAD)
    do(document, "copy", ("piece", 1, "count"))
    type_in(document, ("piece", 2, "name"), "lid, spare")
    type_in(document, ("piece", 2, "heated_from"), "one")
    do(document, "remove", ("piece", 0, "name"))
    type_in(document, ("piece", 0, "count"), "3")
    type_in(document, ("furniture_kg",), "14")
    document.save()
    assert (
        (tmp_path / "load.toml").read_text(encoding="utf-8")
        == """dryness = "bone dry"
body = "stoneware"
furniture_kg = 14

# below
[[piece]]
name = "jar"
thickest_mm = 9
mass_kg = 1.75                # with its lid
count = 3

[[piece]]
name = "lid, spare"
thickest_mm = 9
mass_kg = 1.75
heated_from = "one"
"""
    )


def test_a_shape_opens_a_second_line_for_what_belongs_to_it(tmp_path: Path) -> None:
    document = form_document(tmp_path, load_form(), LOAD)

    def places() -> set[object]:
        return {slot.path[2] for line in lines_of(document.state) for slot in line.slots[:1]
                if len(slot.path) == 3 and slot.path[1] == 1}  # fmt: skip

    assert places() == {"name"}
    type_in(document, ("piece", 1, "shape"), "closed hollow")
    assert places() == {"name", "wall_mm"}
    type_in(document, ("piece", 1, "wall_mm"), "7")
    type_in(document, ("piece", 1, "vents"), "drilled")
    assert not document.state.faults
    type_in(document, ("piece", 1, "wall_mm"), "70")
    assert any(
        "larger one" in slot.fault for line in lines_of(document.state) for slot in line.slots
    )
    type_in(document, ("piece", 1, "wall_mm"), "7")
    document.save()
    (piece,) = [p for p in open_load(tmp_path / "load.toml").pieces if p.shape is not None]
    assert (piece.shape, piece.wall_mm, piece.vents) == ("closed hollow", 7.0, "drilled")


def test_a_new_form_holds_no_figure_and_marks_what_is_missing() -> None:
    document = open_form(kiln_form(), None)
    shown = [slot for line in lines_of(document.state) for slot in line.slots]
    assert not any(slot.text for slot in shown)
    assert {slot.path for slot in shown if slot.fault} == {
        ("name",), ("shape",), ("volume_l",), ("power_kw",), ("rated_volts",),
        ("wall", 0, "material"), ("wall", 0, "thickness_mm"),
    }  # fmt: skip
    assert not document.changed
    load = open_form(load_form(), None)
    assert load.suggested_name == "load.toml"
    typed = {
        ("piece", 0, "mass_kg"): "2",
        ("body",): "bone china",
        ("piece", 0, "name"): "tile",
        ("dryness",): "damp",
        ("piece", 0, "thickest_mm"): "8 mm",
    }
    for path, text in typed.items():
        type_in(load, path, text)
    # in the order of the form, whatever was typed first
    assert (
        load.state.text()
        == """dryness = "damp"
body = "bone china"

[[piece]]
name = "tile"
thickest_mm = 8
mass_kg = 2
"""
    )


def test_an_example_is_a_copy(tmp_path: Path) -> None:
    document = open_form(kiln_form(), "example-kiln")
    assert document.path is None
    assert document.example
    assert document.suggested_name == "kiln.toml"
    with pytest.raises(FiringError, match="no file yet"):
        document.save()
    path = document.save_as(tmp_path / "own.toml")
    # that the figures are invented stays in it
    assert path.read_text(encoding="utf-8") == ready_text("example-kiln")
    assert document.path == path


def test_what_is_no_toml_is_answered_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "kiln.toml"
    path.write_text('name = "x\n', encoding="utf-8")
    with pytest.raises(FiringError) as shown:
        cli.main(["kiln", "show", str(path)], standalone_mode=False)
    with pytest.raises(FiringError) as refused:
        open_form(kiln_form(), str(path))
    assert str(refused.value) == str(shown.value)
    assert path.read_text(encoding="utf-8") == 'name = "x\n'
    with pytest.raises(FiringError, match="there is no such file"):
        open_form(load_form(), str(tmp_path / "none.toml"))


def test_nothing_on_disk_is_replaced_unasked(tmp_path: Path) -> None:
    document = form_document(tmp_path, load_form(), LOAD)
    path = tmp_path / "load.toml"
    type_in(document, ("body",), "porcelain")
    other = LOAD.replace("12", "13")
    path.write_text(other, encoding="utf-8")
    with pytest.raises(ChangedOnDisk):
        document.save()
    assert path.read_text(encoding="utf-8") == other
    taken = tmp_path / "taken.toml"
    taken.write_text("mine", encoding="utf-8")
    with pytest.raises(FiringError, match="exists already"):
        document.save_as(taken)
    assert taken.read_text(encoding="utf-8") == "mine"
    document.save(replace_changed=True)
    assert path.read_text(encoding="utf-8") == LOAD.replace("stoneware", "porcelain")
    path.unlink()
    document.save()
    assert path.exists()


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    real = tmp_path / "real.toml"
    real.write_text(LOAD, encoding="utf-8")
    link = tmp_path / "link.toml"
    link.symlink_to(real)
    document = open_form(load_form(), str(link))
    type_in(document, ("body",), "porcelain")
    document.save()
    assert link.is_symlink()
    assert "porcelain" in real.read_text(encoding="utf-8")
