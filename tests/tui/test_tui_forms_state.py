"""Kiln and load forms without a screen: edits, faults, undo, and what is written."""

import re
from pathlib import Path
from typing import Any

import pytest
from firing.tui.fields import file_reader, value_text
from firing.tui.form_document import FormState, open_form, rearranged, removed
from firing.tui.form_kinds import Form, Items, derived, flowing, kiln_form, load_form
from firing.tui.form_lines import (
    cells_of,
    choices,
    faulty_places,
    lines_of,
    next_fault,
    place_of,
    titles_of,
    turned,
)
from formdocuments import KILN, LOAD, do, form_document, take, type_in
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firing.cli import cli
from firing.errors import FiringError
from firing.files.kinds import ready_text
from firing.files.tomlfile import FaultyFile, KeyPath, describe_path, parse
from firing.heat.properties import material_names
from firing.kiln.file import KilnTable, parse_kiln
from firing.ware.file import LoadTable, parse_load


def test_every_edit_can_be_taken_back_and_made_again(tmp_path: Path) -> None:
    document = form_document(tmp_path, load_form(), LOAD)
    seen = [document.state.text()]
    assert seen == [LOAD]
    type_in(document, ("body",), "porcelain")
    seen.append(document.state.text())
    do(document, "remove", ("piece", 1, "name"))
    seen.append(document.state.text())
    type_in(document, ("piece", 0, "count"), "")
    seen.append(document.state.text())
    for before in reversed(seen[:-1]):
        assert document.undo() is not None
        assert document.state.text() == before
    assert document.undo() is None
    assert not document.changed
    for after in seen[1:]:
        assert document.redo() is not None
        assert document.state.text() == after
    assert document.redo() is None
    assert document.changed


FAULTY = """name = ""
power_kw = "9,6"
rated_volts = 20
volume_l = 180
shap = "round"
[[wall]]
material = "insulating brik 1260"
thickness_mm = 0
[[reading]]
date = 2025-03-01
"""


def test_faults_are_those_of_the_command_line_at_their_places(tmp_path: Path) -> None:
    document = form_document(tmp_path, kiln_form(), FAULTY)
    path = tmp_path / "kiln.toml"
    with pytest.raises(FiringError) as shown:
        cli.main(["kiln", "show", str(path)], standalone_mode=False)
    with pytest.raises(FaultyFile) as refused:
        document.save()
    assert str(refused.value) == str(shown.value)
    assert path.read_text(encoding="utf-8") == FAULTY
    lines = lines_of(document.state)
    told = {describe_path(slot.path): slot.fault for slot in faulty_places(lines)}
    sentences = str(shown.value).splitlines()
    assert len(sentences) == 8
    for sentence in sentences:
        rest = re.sub(r"^.*?kiln\.toml(:\d+)?: ", "", sentence)
        # what is wrong with a reading as a whole is told where it begins
        field = rest.split(": ")[0].replace("reading 1", "reading 1 date")
        assert rest == f"{rest.split(': ')[0]}: {told.pop(field)}"
    assert not told
    # what is broken is shown to be mended
    slots = {describe_path(slot.path): slot.text for line in lines for slot in line.slots}
    assert slots["power_kw"] == "9,6"
    assert slots["wall 1 material"] == "insulating brik 1260"
    type_in(document, ("name",), "Mended")
    type_in(document, ("power_kw",), "9.6")
    type_in(document, ("rated_volts",), "230")
    take(document, removed(document.state.data, ("shap",), "taken out"))
    type_in(document, ("shape",), "round")
    type_in(document, ("wall", 0, "material"), "insulating brick 1260")
    type_in(document, ("wall", 0, "thickness_mm"), "75")
    type_in(document, ("reading", 0, "ohms"), "12.2 Ω")
    assert not document.state.faults
    document.save()
    cli.main(["kiln", "show", str(path)], standalone_mode=False)


def test_the_next_fault_goes_round(tmp_path: Path) -> None:
    lines = lines_of(form_document(tmp_path, kiln_form(), FAULTY).state)
    at: KeyPath = ()
    seen = []
    for _ in range(len(faulty_places(lines)) + 1):
        slot = next_fault(lines, at)
        assert slot is not None
        at = slot.path
        seen.append(at)
    assert seen[0] == seen[-1] == ("name",)
    assert len(set(seen)) == 8


TYPED: list[tuple[Form, KeyPath, str, str]] = [
    (kiln_form(), ("power_kw",), "0", "power_kw = 0"),
    (kiln_form(), ("power_kw",), "nine", 'power_kw = "nine"'),
    (kiln_form(), ("rated_volts",), "12 V", "rated_volts = 12"),
    (kiln_form(), ("actual_volts",), "900", "actual_volts = 900"),
    (kiln_form(), ("max_c",), "5000", "max_c = 5000"),
    (kiln_form(), ("name",), "", ""),
    (kiln_form(), ("shape",), "hexagon", 'shape = "hexagon"'),
    (kiln_form(), ("thermocouple",), "Q", 'thermocouple = "Q"'),
    (kiln_form(), ("phases",), "2", "phases = 2"),
    (kiln_form(), ("vent",), "perhaps", 'vent = "perhaps"'),
    (load_form(), ("dryness",), "wet", 'dryness = "wet"'),
    (load_form(), ("body",), "stonware", 'body = "stonware"'),
    (load_form(), ("furniture_kg",), "-1", "furniture_kg = -1"),
]


@pytest.mark.parametrize(("form", "path", "typed", "written"), TYPED)
def test_a_refusal_is_what_the_command_line_says_of_the_same_value(
    tmp_path: Path, form: Form, path: KeyPath, typed: str, written: str
) -> None:
    text = KILN if form.kind == "kiln" else LOAD
    document = form_document(tmp_path, form, text)
    with pytest.raises(FiringError) as refused:
        document.state.retyped(path, typed)
    kept = [line for line in text.splitlines() if not line.startswith(f"{path[-1]} =")]
    faulty = tmp_path / "faulty.toml"
    faulty.write_text("\n".join([written, *kept]), encoding="utf-8")
    command = ["kiln", "show", str(faulty)]
    if form.kind == "load":
        plan = ["forecast", "thin-ware-bisque", "--kiln", "example-kiln"]
        command = [*plan, "--load", str(faulty)]
    with pytest.raises(FiringError) as shown:
        cli.main(command, standalone_mode=False)
    assert re.sub(r"^.*?faulty\.toml(:\d+)?: ", "", str(shown.value)) == str(refused.value)
    assert not document.changed


def test_what_one_value_does_to_another_is_shown_and_not_in_the_way(tmp_path: Path) -> None:
    document = form_document(tmp_path, kiln_form(), KILN)
    for key, size in (("width_mm", "500"), ("depth_mm", "400"), ("height_mm", "800")):
        type_in(document, (key,), size)
    told = {slot.path: slot.fault for slot in faulty_places(lines_of(document.state))}
    # 0.5 m × 0.4 m × 0.8 m are 160 l
    assert "make 160 l" in told[("volume_l",)]
    type_in(document, ("volume_l",), "160")
    assert not document.state.faults
    type_in(document, ("shape",), "round")
    told = {slot.path: slot.fault for slot in faulty_places(lines_of(document.state))}
    assert set(told) == {("width_mm",), ("depth_mm",)}


def test_lists_are_rearranged_within_their_bounds() -> None:
    form = load_form()
    data: dict[str, Any] = {"piece": [{"name": "a"}, {"name": "b"}]}
    for what, row, why in (("up", 0, "first"), ("down", 1, "last")):
        with pytest.raises(FiringError, match=why):
            rearranged(form, data, what, ("piece", row, "name"))
    with pytest.raises(FiringError, match="no line of a list"):
        rearranged(form, data, "remove", ("dryness",))
    # a new one from anywhere, and none once the last is gone
    edit = rearranged(form, data, "new", ("dryness",))
    assert (len(edit.data["piece"]), edit.at) == (3, ("piece", 2, "name"))
    edit = rearranged(form, data, "remove", ("piece", 0, "name"))
    assert edit.order == (1,)
    edit = rearranged(form, edit.data, "remove", ("piece", 0, "name"))
    assert (edit.data, edit.at) == ({}, ("piece", "+"))
    kiln = {"wall": [{}] * 8}
    with pytest.raises(FiringError, match="at most 8"):
        rearranged(kiln_form(), kiln, "new", ("wall", 0, "material"))
    assert data == {"piece": [{"name": "a"}, {"name": "b"}]}


@pytest.mark.parametrize(
    ("form", "model"), [(kiln_form(), KilnTable), (load_form(), LoadTable)], ids=["kiln", "load"]
)
def test_every_key_of_the_schema_is_in_the_form(form: Form, model: Any) -> None:
    schema = model.model_json_schema()
    tables = {
        part.table: {
            field.key for field in (part.every if isinstance(part, Items) else part.fields)
        }
        for part in form.parts
        if part.table
    }
    head = {field.key for part in form.parts if not part.table for field in part.fields}
    # Earlier fits and the dated history are written by `firing kiln fit` alone.
    assert head | set(tables) == set(schema["properties"]) - {"fit", "history"}
    inner = [
        set(definition["properties"])
        for name, definition in schema["$defs"].items()
        if name not in ("PastFitTable", "HistoryTable")
    ]
    assert sorted(map(sorted, inner)) == sorted(map(sorted, tables.values()))


def test_choices_are_the_schemas_and_the_owners(tmp_path: Path) -> None:
    own = '\n[[material]]\nname = "old brick"\n'
    state = form_document(tmp_path, kiln_form(), KILN + own).state
    fields = {f.key: f for part in kiln_form().parts for f in part.fields}
    words = [word for _, word in choices(state, fields["material"])]
    assert words == [*material_names(), "old brick"]
    path = ("wall", 0, "material")
    known = state.with_value(path, material_names()[-1])
    assert turned(known, fields["material"], path, 1) == "old brick"
    assert turned(state.with_value(path, "old brick"), fields["material"], path, 1) == words[0]
    # what holds without a word is where turning begins
    assert choices(state, fields["phases"]) == [(1, "1"), (3, "3"), (None, "Leave it out: 1")]
    assert turned(state, fields["phases"], ("phases",), 1) == 3
    assert turned(state, fields["vent"], ("vent",), -1) is True


def test_values_are_read_as_they_are_shown() -> None:
    fields = {f.key: f for part in kiln_form().parts for f in part.fields}
    for key, value in (
        ("power_kw", 9.6), ("power_kw", 1e-7), ("phases", 3), ("vent", False), ("name", "a b"),
        ("conductivity_w_per_mk", [[400, 0.14], [1000.5, 0.2]]), ("thermocouple_class", "1"),
    ):  # fmt: skip
        assert fields[key].read(value_text(fields[key], value)) == value
    # 1 is not true, and a broken value is shown whatever it is
    assert value_text(fields["vent"], 1) == "1"
    assert value_text(fields["name"], {"a": [1, True]}) == "{a = [1, true]}"
    assert value_text(fields["name"], "a\x1b[2J") == "a␛[2J"


def test_what_follows_is_the_librarys(tmp_path: Path) -> None:
    # by hand: 9.6 kW at 240 V are 40 A; 4 × 3.2 kg + 24 × 0.32 kg = 20.48 kg
    kiln = " · ".join(derived("kiln", parse_kiln(ready_text("example-kiln"))))
    assert "full power, cold: 9.6 kW, 40 A" in kiln
    assert "air 0.8 W/K" in kiln
    name = "example-load-planters-and-cups"
    load = " · ".join(derived("load", parse_load(ready_text(name))))
    assert "28 pieces, 20.48 kg of ware" in load
    assert 'slowest spot: the 18 mm wall of "planter"' in load
    soaked = ready_text(name).replace('"bone dry"', '"leather hard"').replace("= 18", "= 60")
    wet = parse_load(soaked)
    assert "Dry first" in derived("load", wet)[-1]
    thick = parse_load(ready_text(name).replace("= 18", "= 300"))
    assert "300 mm thick" in derived("load", thick)[0]
    for room in (20, 40, 78):
        assert all(len(line) <= room for line in flowing(derived("load", wet), room))


ODD = [
    'name = { first = "a" }\nwall = 3\nfitted = "x"\nreading = [1, 2]\nmaterial = []\n',
    "[wall]\nmaterial = 3\n[name]\nx = 1\n",
    "[[fitted]]\npower = 1\n[[wall]]\nthick = 3\n[wall.deep]\nx = 1\n",
    "wall = []\nname = 2025-01-01\nvolume_l = nan\npower_kw = inf\n",
    "".join(f'[[wall]]\nmaterial = "dense fireclay"\nthickness_mm = {n}\n' for n in range(1, 11)),
]


@pytest.mark.parametrize("text", ODD)
def test_whatever_is_wrong_has_a_place_and_can_be_taken_out(tmp_path: Path, text: str) -> None:
    document = form_document(tmp_path, kiln_form(), text)
    for _ in range(40):
        lines = lines_of(document.state)
        places = faulty_places(lines)
        assert {slot.fault for slot in places} == {f.message for f in document.state.faults}
        odd = [line.slots[0].path for line in lines if line.kind == "odd"]
        if not odd:
            break
        take(document, removed(document.state.data, odd[0], "taken out"))
    else:
        raise AssertionError("something cannot be taken out")
    for path, value in (
        ("name", "Mended"), ("power_kw", "9"), ("rated_volts", "230"), ("volume_l", "100"),
        ("shape", "round"),
    ):  # fmt: skip
        type_in(document, (path,), value)
    while document.state.data.get("wall"):
        take(document, removed(document.state.data, ("wall", 0), "taken out"))
    here = do(document, "new", ("wall", "+"))
    type_in(document, here, "dense fireclay")
    type_in(document, ("wall", 0, "thickness_mm"), "100")
    document.save()
    assert parse_kiln((tmp_path / "kiln.toml").read_text(encoding="utf-8")).name == "Mended"


def test_lines_fit_their_room_and_keep_the_cursor(tmp_path: Path) -> None:
    for form, text in ((kiln_form(), KILN), (load_form(), LOAD)):
        lines = lines_of(form_document(tmp_path, form, text).state)
        for line in lines:
            for room in (78, 118, 198):
                cells = cells_of(line, room)
                assert all(left + width <= room for left, width, _ in cells)
            for column, slot in enumerate(line.slots):
                row, at = place_of(lines, slot.path)
                assert (lines[row], at) == (line, column)
        # of what is gone, the nearest
        row, _ = place_of(lines, (form.main, 7, "nothing"))
        assert lines[row].slots[0].path[0] == form.main


_TEXTS = st.one_of(
    st.sampled_from(["", "0", "1", "75", "230", "9.6", "yes", "round", "box", "K", "2025-03-01"]),
    st.sampled_from(["dense fireclay", "[[20, 0.2], [800, 0.3]]", "porcelain", "damp", "one"]),
    st.text(max_size=6),
    st.floats(width=32).map(str),
)
_EDITS = st.lists(
    st.tuples(
        st.sampled_from(["type", "type", "type", "new", "copy", "remove", "up", "down", "undo"]),
        st.integers(0, 60),
        _TEXTS,
    ),
    max_size=10,
)


@given(st.sampled_from(["kiln", "load"]), _EDITS)
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_edits_leave_a_file_that_reads_as_the_form(
    tmp_path: Path, kind: str, steps: list[tuple[str, int, str]]
) -> None:
    form, text = (kiln_form(), KILN) if kind == "kiln" else (load_form(), LOAD)
    document = form_document(tmp_path, form, text)
    for what, number, typed in steps:
        slots = [slot for line in lines_of(document.state) for slot in line.slots]
        path = slots[number % len(slots)].path
        try:
            if what == "undo":
                document.undo()
            elif what == "type":
                document.apply(document.state.retyped(path, typed), "typed")
            else:
                edit = rearranged(form, document.state.data, what, path)
                document.apply(document.state.edited(edit), edit.label)
        except FiringError:
            continue
    state = document.state
    written = state.text()
    assert parse(written, "") == state.data
    if state.faults:
        with pytest.raises(FaultyFile) as refused:
            form.file.parse(written, state.name)
        assert {f.message for f in refused.value.faults} == {f.message for f in state.faults}
    else:
        assert form.file.parse(written, "") == state.value
        document.save(replace_changed=True)
        again = open_form(form, str(document.path))
        assert again.state.value == state.value
        assert _comments(written) <= _comments(text)


def _comments(text: str) -> set[str]:
    return set(re.findall(r"# .*", text))


def test_a_state_is_never_changed() -> None:
    state = FormState(kiln_form(), "kiln", {"wall": [{"thickness_mm": 75}]}, None)
    before = state.written
    state.with_value(("wall", 0, "thickness_mm"), 80)
    rearranged(state.form, state.data, "new", ("wall", 0, "material"))
    removed(state.data, ("wall", 0), "")
    assert state.written == before


def test_an_american_potter_fills_in_a_kiln_in_their_units() -> None:
    document = open_form(kiln_form(), None)
    for path, typed in (
        (("name",), "Garage kiln"),
        (("shape",), "round"),
        (("volume_l",), "7 cu ft"),
        (("max_c",), "2300F"),
        (("power_kw",), "11,5"),
        (("rated_volts",), "240"),
        (("wall", 0, "material"), "insulating brick 1260"),
        (("wall", 0, "thickness_mm"), "3 in"),
    ):
        type_in(document, path, typed)
    assert not document.state.faults
    text = document.state.text()
    assert 'volume = "7 cu ft"' in text
    assert 'max = "2300F"' in text
    assert 'thickness = "3 in"' in text
    assert "power_kw = 11.5" in text
    assert "volume_l" not in text
    shown = [slot.text for line in lines_of(document.state) for slot in line.slots]
    assert {"7 cu ft", "2300F", "3 in"} <= set(shown)
    headings = [titles_of(line.fields) for line in lines_of(document.state) if line.fields]
    assert "thickness" in headings[0]  # not "thickness mm" above "3 in"
    assert not any("does not belong" in line.words for line in lines_of(document.state))
    # Back to a plain number: one key, not two.
    type_in(document, ("volume_l",), "198")
    assert "volume_l = 198" in document.state.text()
    assert '"7 cu ft"' not in document.state.text()
    # A metric figure with its unit is the plain number it is.
    type_in(document, ("wall", 0, "thickness_mm"), "7.5 cm")
    assert "thickness_mm = 75" in document.state.text()


def test_a_size_out_of_bounds_is_refused_in_the_unit_typed() -> None:
    document = open_form(kiln_form(), None)
    with pytest.raises(FiringError, match=r'"50 in" must be at most 39\.4 in'):
        type_in(document, ("wall", 0, "thickness_mm"), "50 in")


def test_a_comma_before_three_digits_is_asked_back_or_settled_by_the_limits() -> None:
    """1,200 litres are never 1.2 in silence."""
    document = open_form(kiln_form(), None)
    with pytest.raises(FiringError, match=r'"1,200" may be 1200 or 1\.2'):
        type_in(document, ("volume_l",), "1,200")  # a test kiln, or a large one
    either = file_reader("number", "", (), within=(0.0, 5000.0))
    with pytest.raises(FiringError, match=r"1200 or 1\.2"):
        either("1,200")
    assert file_reader("number", "", (), within=(0.0, 10.0))("1,200") == 1.2
    assert file_reader("number", "", (), within=(100.0, 5000.0))("1,200") == 1200
    assert either("11,5") == 11.5
    assert either("0,250") == 0.25
