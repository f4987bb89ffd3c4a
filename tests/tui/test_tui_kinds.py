"""Kinds of files, what is chosen and read again, and what is remembered, without Textual."""

import json
import os
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from firing.tui.equipment import (
    KINDS,
    Circumstances,
    Equipment,
    Kind,
    forecast_plan,
    memory_file,
    read_all,
    recall,
    remember,
    reread,
    with_file,
)
from firing.tui.file_choices import choices, ready_choices
from firing.tui.key_figures import missing_choices, summary_lines

from firing.files.kinds import (
    example_names,
    file_kind,
    kind_of,
    kind_of_text,
    ready_names,
    ready_text,
)
from firing.forecast.forecast import forecast
from firing.schedule.file import parse_schedule

EXAMPLES: dict[Kind, str] = {
    "kiln": "example-kiln",
    "load": "example-load-glazed-cups",
    "controller": "example-controller",
    "tariff": "example-tariff",
}
GLAZE = parse_schedule(ready_text("mid-range-glaze-cone-6-hold"))


def workshop(folder: Path) -> dict[Kind, str]:
    """Write one file of each kind; returns their paths."""
    paths: dict[Kind, str] = {}
    for kind, name in EXAMPLES.items():
        path = folder / f"my-{kind}.toml"
        path.write_text(ready_text(name), encoding="utf-8")
        paths[kind] = str(path)
    return paths


def test_every_file_that_comes_ready_is_told_by_its_keys() -> None:
    for name in ready_names():
        assert kind_of_text(ready_text(name)) == "schedule", name
    for name in example_names():
        assert name.startswith(f"example-{kind_of_text(ready_text(name))}"), name


@pytest.mark.parametrize("fault", ["name = ", "power_kw = nine", '[[wall]]\nmaterial = "'])
def test_faults_do_not_hide_what_a_file_is(tmp_path: Path, fault: str) -> None:
    path = tmp_path / "kiln.toml"
    path.write_text(f"{ready_text('example-kiln')}\n{fault}", encoding="utf-8")
    assert kind_of(path) == "kiln"


def test_what_is_no_such_file_has_no_kind(tmp_path: Path) -> None:
    (tmp_path / "bytes.toml").write_bytes(bytes(range(256)))
    (tmp_path / "folder.toml").mkdir()
    for name in ("bytes.toml", "folder.toml", "none.toml"):
        assert kind_of(tmp_path / name) is None
    os.mkfifo(tmp_path / "pipe.toml")
    assert kind_of(tmp_path / "pipe.toml") is None


def test_a_list_offers_only_what_is_wanted(tmp_path: Path) -> None:
    workshop(tmp_path)
    (tmp_path / "plan.toml").write_text(ready_text(ready_names()[0]), encoding="utf-8")
    (tmp_path / "begun.toml").write_text("", encoding="utf-8")
    (tmp_path / "log.csv").write_text("time,temperature\n", encoding="utf-8")
    for kind in KINDS:
        files = [choice.words for choice in choices(tmp_path, kind) if not choice.folder]
        assert files == [f"my-{kind}.toml"]
        assert EXAMPLES[kind] in [choice.ready for choice in ready_choices(kind)]
    assert {c.words for c in choices(tmp_path, "schedule") if not c.folder} == {
        "plan.toml",
        "begun.toml",
    }
    assert {c.words for c in choices(tmp_path, "log") if not c.folder} == {"log.csv"}
    assert ready_choices("log") == []


def test_what_is_chosen_is_described_by_its_own_figures() -> None:
    equipment = read_all(EXAMPLES).equipment
    told = {kind: file_kind(kind).described(getattr(equipment, kind).value) for kind in KINDS}
    for words in ("9.6 kW", "180 l", "1300 °C"):
        assert words in told["kiln"]
    assert "bisqued, freshly glazed" in told["load"]
    assert "10 segments" in told["controller"]
    assert "EUR 0.21 to 0.34 per kWh" in told["tariff"]
    # 1300 °C is 2372 °F
    assert "2372 °F" in file_kind("kiln").described(equipment.kiln and equipment.kiln.value, "F")


def test_the_forecast_is_that_of_the_library_with_the_same_files() -> None:
    equipment = read_all(EXAMPLES).equipment
    assert equipment.kiln is not None
    assert equipment.load is not None
    result = forecast_plan(GLAZE, Circumstances(equipment=equipment))
    expected = forecast(GLAZE, kiln=equipment.kiln.value, load=equipment.load.value)
    assert result.to_dict() == expected.to_dict()


def test_a_controller_that_does_not_wait_is_forecast_by_the_clock(tmp_path: Path) -> None:
    paths = workshop(tmp_path)
    for kind, old, new in (
        ("controller", "waits = true", "waits = false"),
        ("kiln", "power_kw = 9.6", "power_kw = 6.0"),
    ):
        path = Path(paths[kind])  # type: ignore[index]  # both are kinds
        path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    equipment = read_all(paths).equipment
    assert equipment.kiln is not None
    assert equipment.load is not None
    by_clock = forecast_plan(GLAZE, Circumstances(equipment=equipment))
    expected = forecast(GLAZE, kiln=equipment.kiln.value, load=equipment.load.value, waits=False)
    assert by_clock.program_s == expected.program_s
    lines = summary_lines(by_clock, 78, equipment)
    assert len(lines) <= 4
    assert "power limits" in lines[-1]
    assert " only" in lines[-1]


def test_a_changed_file_is_read_again_and_a_faulty_one_left_as_it_was(tmp_path: Path) -> None:
    paths = workshop(tmp_path)
    equipment = read_all(paths).equipment
    assert reread(equipment).equipment is equipment
    kiln = Path(paths["kiln"])
    text = kiln.read_text(encoding="utf-8")
    kiln.write_text(text.replace("power_kw = 9.6", "power_kw = 12.25"), encoding="utf-8")
    reading = reread(equipment)
    assert reading.troubles == {}
    assert reading.equipment.kiln is not None
    assert reading.equipment.kiln.value.power_w == 12250.0
    assert reading.equipment.load is equipment.load
    kiln.write_text(text.replace("power_kw = 9.6", "power_kw = -1"), encoding="utf-8")
    faulty = reread(reading.equipment)
    assert faulty.equipment.kiln is reading.equipment.kiln
    assert "power_kw" in faulty.troubles["kiln"]
    kiln.unlink()
    assert "no such file" in reread(reading.equipment).troubles["kiln"]


def test_files_that_cannot_be_read_are_left_out_and_named(tmp_path: Path) -> None:
    names: dict[Kind, str] = {"kiln": str(tmp_path / "gone.toml"), "load": "x" * 4000}
    reading = read_all({**names, "tariff": "example-tariff"})
    assert reading.equipment.names == {"tariff": "example-tariff"}
    assert "gone.toml" in reading.troubles["kiln"]
    assert set(reading.troubles) == {"kiln", "load"}


def test_names_are_remembered_from_any_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    workshop(tmp_path)
    monkeypatch.chdir(tmp_path)
    file = memory_file(tmp_path / "state" / "unsaved")
    assert recall(file) == ({}, "")
    assert remember(file, {"kiln": "my-kiln.toml", "load": "example-load-thin-cups"}) == ""
    monkeypatch.chdir("/")
    assert recall(file) == (
        {"kiln": str(tmp_path / "my-kiln.toml"), "load": "example-load-thin-cups"},
        "",
    )
    assert remember(file, {}) == ""
    assert recall(file) == ({}, "")


@pytest.mark.parametrize(
    "damage",
    [
        b"",
        b"\xff\xfe\x00",
        b"{",
        b"[]",
        b"null",
        b'{"schema": 1}',
        b'{"schema": 1, "chosen": null}',
        b'{"schema": 1, "chosen": ["kiln"]}',
        b"[" * 100_000,
    ],
)
def test_a_damaged_memory_is_told_and_nothing_worse(tmp_path: Path, damage: bytes) -> None:
    file = tmp_path / "fired-with.json"
    file.write_bytes(damage)
    names, trouble = recall(file)
    assert names == {}
    assert str(file) in trouble


@pytest.mark.parametrize("name", [3, "", None, "a\0b", "\ud800", ["x"], "x" * 5000])
def test_names_that_are_none_are_dropped(tmp_path: Path, name: object) -> None:
    file = tmp_path / "fired-with.json"
    file.write_text(json.dumps({"schema": 1, "chosen": {"kiln": name, "load": "b"}}))
    assert recall(file) == ({"load": "b"}, "")


def test_a_memory_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("a file where a folder should be")
    assert "not kept" in remember(tmp_path / "state" / "fired-with.json", EXAMPLES)


def test_what_is_missing_for_a_cost_is_told() -> None:
    def told(*kinds: Kind) -> str:
        equipment = Equipment()
        for kind in kinds:
            equipment = with_file(equipment, kind, EXAMPLES[kind])
        return " ".join(
            missing_choices(forecast_plan(GLAZE, Circumstances(equipment=equipment)), equipment)
        )

    assert told() == ""
    assert "no tariff" in told("kiln")
    assert "no start" in told("kiln", "tariff")
    assert "without a kiln" in told("tariff")


@pytest.mark.parametrize("weak", [False, True])
@pytest.mark.parametrize("long", [False, True])
def test_four_lines_hold_what_a_plan_comes_to_in_a_kiln(
    tmp_path: Path, weak: bool, long: bool
) -> None:
    paths = workshop(tmp_path)
    kiln = Path(paths["kiln"])
    text = kiln.read_text(encoding="utf-8")
    text = text.replace("power_kw = 9.6", "power_kw = 5.5") if weak else text
    if long:
        text = text.replace("Workshop kiln", "The big round kiln at the far end of the yard")
        load = tmp_path / "all-the-large-dishes-of-the-spring-market.toml"
        paths["load"] = str(Path(paths["load"]).rename(load))
    kiln.write_text(text, encoding="utf-8")
    equipment = read_all(paths).equipment
    started = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
    result = forecast_plan(replace(GLAZE, unit="F"), Circumstances(started, "6", 150.0, equipment))
    lines = summary_lines(result, 78, equipment)
    assert len(lines) <= 4
    assert all(len(line) <= 78 for line in lines)
    words = " · ".join(lines)
    assert result.kiln is not None
    assert result.kiln.cost is not None
    assert f"{result.kiln.energy_kwh:.0f} kWh" in words
    assert f"EUR {result.kiln.cost.amount:.2f}" in words
    low, high = result.kiln.ranges.energy_kwh
    assert (f"kWh ({low:.0f} to {high:.0f})" in words) is not weak
    if weak:
        assert "stalls " in words
        assert "power limits 3–5" in words
        assert "opens" not in words.casefold()
    else:
        # 1200 °C is 2192 °F
        assert "reaches 2192 °F" in words
        assert "opens at 302 °f" in words.casefold()
