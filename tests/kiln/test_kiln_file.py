"""Kiln files: every fault at once and in place; what is learnt is written and all else kept."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from firing.files.kinds import ready_text
from firing.files.tomlfile import FaultyFile
from firing.kiln.description import Fitted, PastFit, describe_kiln
from firing.kiln.element_wear import power_trend
from firing.kiln.file import KilnTable, open_kiln, parse_kiln, write_fitted

EXAMPLE = ready_text("example-kiln")

FULL = """# an invented kiln
name = "Front-loader"
power_kw = 12
rated_volts = 400
actual_volts = 388
phases = 3
volume_l = 250
shape = "box"
width_mm = 500
depth_mm = 500
height_mm = 1000
max_c = 1320
vent = true
outside_w_per_m2k = 12
element_kg = 4
thermocouple = "S"
thermocouple_class = "2"

[[material]]
name = "old brick"
density_kg_per_m3 = 600
conductivity_w_per_mk = [[400, 0.16], [1000, 0.24]]
specific_heat_j_per_kgk = 1000
source = "its maker's sheet"

[[wall]]
material = "old brick"
thickness_mm = 65

[[wall]]
material = "ceramic fibre blanket 128"
thickness_mm = 25

[[reading]]
date = 2024-02-03
bank = "top"
ohms = 12.2

[[reading]]
date = 2025-02-03
bank = "top"
amps = 18.5
volts = 238
"""

LEAST = """name = "k"
power_kw = 9.6
rated_volts = 240
volume_l = 180
shape = "round"
[[wall]]
material = "insulating brick 1260"
thickness_mm = 75
"""


def faults_of(text: str) -> list[str]:
    with pytest.raises(FaultyFile) as refusal:
        parse_kiln(text, "kiln.toml")
    return str(refusal.value).splitlines()


def with_line(line: str) -> str:
    key = line.split(" ")[0]
    rows = [row for row in LEAST.splitlines() if not row.startswith(f"{key} =")]
    place = rows.index("[[wall]]") if key not in ("material", "thickness_mm") else len(rows)
    return "\n".join([*rows[:place], line, *rows[place:]]) + "\n"


def test_the_example_kiln_reads_as_it_is_written() -> None:
    kiln = parse_kiln(EXAMPLE)
    assert kiln.name == "Workshop kiln"
    assert kiln.power_w == 9600.0
    assert kiln.available_w == 9600.0
    assert kiln.full_amps == pytest.approx(40.0)  # 9600 W / 240 V
    assert kiln.leak_w_per_k == 0.8
    assert kiln.wall[0].material.name == "insulating brick 1260"
    assert kiln.wall[0].thickness_m == 0.075
    assert kiln.fitted == Fitted()


def test_every_optional_key_is_read() -> None:
    kiln = parse_kiln(FULL)
    assert kiln.phases == 3
    assert kiln.dimensions_m == (0.5, 0.5, 1.0)
    # P = V²/R (``power-voltage``), and P = √3·U·I in each line of a balanced three-phase supply.
    assert kiln.available_w == pytest.approx(12000.0 * (388.0 / 400.0) ** 2)
    assert kiln.full_amps == pytest.approx(kiln.available_w / (3**0.5 * 388.0))
    assert kiln.chamber.inside_m2 == pytest.approx(2 * 0.25 + 4 * 0.5)
    assert kiln.wall[0].material.conductivity.at(700.0) == pytest.approx(0.20)
    assert kiln.wall[0].material.sources == ("its maker's sheet",)
    assert kiln.vent_in_w_per_k > 0.0
    ohms = [reading.resistance_ohm for reading in kiln.readings]
    assert ohms == pytest.approx([12.2, 238.0 / 18.5])
    assert kiln.readings[0].on == date(2024, 2, 3)


def test_a_default_stands_where_a_key_is_left_out() -> None:
    kiln = parse_kiln(LEAST)
    assert (kiln.max_c, kiln.vent, kiln.thermocouple) == (1300.0, False, "K")
    # ``leak-default``: 0.2 to 0.4 of what the walls conduct.
    assert 0.2 <= kiln.leak_in_w_per_k / kiln.wall_w_per_k <= 0.4


def test_every_fault_is_told_at_once_with_its_line() -> None:
    text = """name = ""
power_kw = 0
rated_volts = 24
volume_l = 180
shape = "oval"
vnet = true
[[wall]]
material = "insulating brik 1260"
thickness_mm = 0
[[wall]]
thickness_mm = -3
"""
    faults = faults_of(text)
    assert [fault.split(":")[1] for fault in faults] == [
        "1", "2", "3", "5", "6", "8", "9", "10", "11"
    ]  # fmt: skip
    by_line = {fault.split(":")[1]: fault for fault in faults}
    assert "power_kw: 0 kW must be above 0 kW; write power_kw = 9.6" in by_line["2"]
    assert "24 V must be at least 90 V; write rated_volts = 240" in by_line["3"]
    assert "write one of: round, box" in by_line["5"]
    assert 'did you mean "vent"' in by_line["6"]
    assert 'did you mean "insulating brick 1260"' in by_line["8"]
    assert "0 mm must be above 0 mm; write thickness_mm = 75" in by_line["9"]
    assert "material: is missing" in by_line["10"]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("power_kw = inf", "a finite number"),
        ('power_kw = "9.6"', "a number"),
        ("power_kw = 900", "at most 200 kW"),
        ("actual_volts = 600", "at most 500 V"),
        ("volume_l = 0", "at least 0.5 l"),
        ("leak_w_per_k = -1", "at least 0 W/K"),
        ("max_c = 2300", "at most 1450 °C"),
        ("phases = 2", "phases"),
        ('thermocouple = "Q"', "write one of"),
        ("diameter_mm = 600", "needs height_mm beside it"),
        ("width_mm = 600", "does not fit a round kiln"),
        ('material = "cheese"', "write one of: insulating brick 1260"),
        ("thickness_mm = 5000", "at most 1000 mm"),
    ],
)
def test_one_slip_is_one_sentence(line: str, words: str) -> None:
    faults = faults_of(with_line(line))
    assert len(faults) == 1
    assert words in faults[0]


def test_dimensions_that_contradict_the_volume_are_told() -> None:
    faults = faults_of(FULL.replace("volume_l = 250", "volume_l = 180"))
    assert len(faults) == 1
    assert "make 250 l; write volume_l = 250" in faults[0]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("conductivity_w_per_mk = [[400, 0.16], [300, 0.24]]", "must rise"),
        ("conductivity_w_per_mk = [[400, 0.0], [900, 0.24]]", "above 0"),
        ("conductivity_w_per_mk = []", "has no values"),
        ("conductivity_w_per_mk = [400, 0.16]", "pairs of °C and value"),
    ],
)
def test_own_materials_are_checked(line: str, words: str) -> None:
    faults = faults_of(FULL.replace("conductivity_w_per_mk = [[400, 0.16], [1000, 0.24]]", line))
    assert len(faults) == 1
    assert words in faults[0]


def test_an_own_material_may_not_take_a_known_name() -> None:
    text = FULL.replace('"old brick"', '"insulating brick 1260"')
    assert any("is taken" in fault for fault in faults_of(text))


def test_a_reading_needs_ohms_or_amps_and_volts() -> None:
    faults = faults_of(FULL.replace("amps = 18.5\n", ""))
    assert len(faults) == 1
    assert "needs ohms, or both amps and volts" in faults[0]


def test_what_is_learnt_is_written_and_all_else_kept() -> None:
    learnt = Fitted(0.91234567, 1.1, 0.97, 3.25, date(2025, 3, 4), "two logs, rated power")
    text = write_fitted(EXAMPLE, learnt)
    kiln = parse_kiln(text)
    assert kiln.fitted == Fitted(0.9123, 1.1, 0.97, 3.2, date(2025, 3, 4), "two logs, rated power")
    # Only the values change: every comment of the file is still there.
    comments = [line.split("#")[1] for line in EXAMPLE.splitlines() if "#" in line]
    assert all(comment in text for comment in comments)
    assert write_fitted(text, kiln.fitted) == text
    before = [line for line in EXAMPLE.splitlines() if "1.0" not in line and "0.0 " not in line]
    assert all(line in text.splitlines() for line in before)


def test_a_file_without_fitted_gets_one() -> None:
    kiln = parse_kiln(write_fitted(LEAST, Fitted(power=0.9)))
    assert kiln.fitted.power == 0.9
    assert kiln.fitted.learnt is None


def test_files_that_are_no_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(FaultyFile, match="no such file"):
        open_kiln(tmp_path / "none.toml")
    assert "type" in KilnTable.model_json_schema()["properties"]["name"]


def test_the_listing_names_a_source_for_every_figure() -> None:
    for text in (EXAMPLE, FULL, LEAST):
        rows = describe_kiln(parse_kiln(text))
        assert all(row.source for row in rows)
        assert len({row.name for row in rows}) == len(rows)
    rows_by_name = {row.name: row for row in describe_kiln(parse_kiln(LEAST))}
    assert rows_by_name["leaking air"].source == "leak-default"
    assert rows_by_name["power now, cold"].value == pytest.approx(9.6)
    assert rows_by_name["inside area"].unit == "m²"
    assert rows_by_name["volume"].to_dict()["value"] == 180.0


def test_the_leak_and_every_fit_come_back_as_they_were_written() -> None:
    learnt = Fitted(
        power=0.95,
        loss=1.1,
        capacity=1.02,
        leak=1.7,
        errors=tuple(0.01 * i for i in range(10)),
        hottest_c=1222.0,
        fastest_c_per_h=180.0,
        learnt=date(2025, 3, 14),
        basis="2025-03-14: a.csv",
    )
    fits = [
        PastFit(date(2025, 3, 14), 0.95, 1.1, 1.02, 1.7, 0.02, 0.015, 0.016, True, "a.csv"),
        PastFit(None, 0.80, 1.1, 1.02, 1.7, basis="b.csv", least_power=0.7),
    ]
    text = EXAMPLE
    for fit in fits:
        text = write_fitted(text, learnt, fit)
    kiln = parse_kiln(write_fitted(text, learnt, fits[1]))
    assert kiln.fitted == learnt
    assert kiln.fits == tuple(fits)
    # Rows of a lower triangle, read as columns.
    assert kiln.fitted.error_columns()[0] == pytest.approx((0.0, 0.01, 0.03, 0.06))
    assert kiln.fitted.error_columns()[3] == pytest.approx((0.0, 0.0, 0.0, 0.09))


def test_an_old_files_losses_count_for_its_leak() -> None:
    old = parse_kiln(EXAMPLE.split("[fitted]")[0] + "[fitted]\npower = 0.9\nloss = 1.3\n")
    assert old.fitted.leak is None
    assert old.fitted.leak_factor == 1.3
    with pytest.raises(FaultyFile, match="must be 10 numbers"):
        parse_kiln(EXAMPLE.split("[fitted]")[0] + '[fitted]\nerrors = "0.1 0.2"\n')


def test_the_one_fit_of_an_old_file_becomes_the_first_of_the_list() -> None:
    old = '[fitted]\npower = 0.94\nloss = 1.2\ndate = 2024-05-01\nbasis = "2024-05-01: may.csv"\n'
    text = EXAMPLE.split("[fitted]")[0] + old
    fits = [
        PastFit(date(2025, 3, 14), 0.90, 1.1, 1.02, 1.7, 0.02, 0.015, 0.016, True, "march.csv"),
        PastFit(date(2025, 9, 1), 0.88, 1.1, 1.02, 1.7, 0.02, 0.015, 0.016, True, "autumn.csv"),
    ]
    for fit in fits:
        latest = Fitted(power=fit.power, loss=1.1, capacity=1.02, leak=1.7, learnt=fit.on)
        text = write_fitted(text, replace(latest, basis=fit.basis), fit)
    kiln = parse_kiln(text)
    # Before the list, losses were learnt together: its one figure counts for the leak too.
    first = PastFit(date(2024, 5, 1), 0.94, 1.2, 1.0, 1.2, basis="2024-05-01: may.csv")
    assert kiln.fits == (first, *fits)
    assert kiln.fitted.power == 0.88
    shown = {point.on: (point.power, point.se) for point in power_trend(kiln).points}
    assert shown[date(2024, 5, 1)] == (0.94, None)
    # The same logs once more add nothing, and a file that only knows its cone offset has no fit.
    again = Fitted(power=0.94, loss=1.2, learnt=first.on, basis=first.basis)
    assert parse_kiln(write_fitted(EXAMPLE.split("[fitted]")[0] + old, again, first)).fits == (
        first,
    )
    none = EXAMPLE.split("[fitted]")[0] + "[fitted]\ncone_offset_c = -4.0\n"
    assert parse_kiln(write_fitted(none, again, fits[0])).fits == (fits[0],)
