"""The dialect found in bytes, and how it is told."""

import json
import subprocess
import sys

import pytest

from firing.errors import FiringError
from firing.logs import detection
from firing.logs.dialect import Dialect
from firing.logs.options import ReadingOptions
from firing.logs.text import clean_text, printable
from firing.logs.vocabulary import display_name, role, temperature_unit, time_unit, time_zone

GERMAN = (
    "Ofenlogger einer erfundenen Werkstatt\r\n"
    "Datum;Uhrzeit;Ofen (°C);Sollwert (°C);Leistung (%)\r\n"
    "14.03.2025;08:00:00;20,5;20,0;0\r\n14.03.2025;08:01:00;21,0;22,0;35\r\n"
).encode("cp1252")


def detect(data: bytes, options: ReadingOptions | None = None, name: str = "the log") -> Dialect:
    return detection.detect(clean_text(data, name=name), options or ReadingOptions(), name)


def test_a_dialect_is_told_in_one_line() -> None:
    dialect = detect(GERMAN)
    assert dialect.describe() == (
        "semicolon between columns, decimal comma, Windows-1252, 1 line before the header, "
        "time as date and time (day first) in Datum and Uhrzeit, "
        "temperatures °C (from the header) in Ofen, set-point in Sollwert, duty in Leistung"
    )
    assert dialect.time_columns == (0, 1)
    assert dialect.first_line == 3


def test_a_dialect_is_plain_data() -> None:
    data = json.loads(json.dumps(detect(GERMAN).to_dict()))
    assert data["delimiter"] == ";"
    assert data["decimal"] == ","
    assert data["encoding"] == "cp1252"
    assert data["time_kind"] == "datetime"
    assert data["channels"] == ["Ofen"]
    assert data["set_point"] == "Sollwert"
    assert data["duty"] == "Leistung"
    assert data["unit"] == "C"


def test_overrides_win() -> None:
    dialect = detect(b"a,b\n0,20\n1,21\n", ReadingOptions(unit="F", time_unit="min"))
    assert (dialect.unit, dialect.unit_from, dialect.time_kind) == ("F", "option", "minutes")
    assert "(as asked)" in dialect.describe()


def test_messages_name_the_file() -> None:
    with pytest.raises(FiringError, match=r"^kiln\.csv is empty"):
        detect(b"", name="kiln.csv")


def test_column_names() -> None:
    meanings = {
        "Time": "time", "Zeitstempel": "time", "Durée": "time", "Fecha": "time",
        "elapsed [h]": "time", "time_s": "time",
        "Temp": "temperature", "Ofen": "temperature", "Température haut": "temperature",
        "Horno": "temperature", "TC1": "temperature", "Kiln °C": "temperature",
        "Output temp (°C)": "temperature",
        "SP": "set-point", "SetPoint": "set-point", "Soll-Temperatur": "set-point",
        "Set point (°F)": "set-point", "Consigne": "set-point",
        "Output": "duty", "power %": "duty", "Leistung (%)": "duty", "Puissance": "duty",
        "Power (kW)": "other", "Voltage": "other",
        "TC (mV)": "emf", "kiln_mv": "emf", "Battery (mV)": "other",
        "Rate (°C/h)": "other",
        "Zone A": "temperature", "Segment": "other", "Cold junction (°C)": "junction",
        "Room temp": "ambient", "Fan": "unknown",
    }  # fmt: skip
    assert {header: role(header) for header in meanings} == meanings


@pytest.mark.parametrize(
    ("header", "unit", "shown"),
    [
        ("Temp (°F)", "F", "Temp"),
        ("temp_f", "F", "temp"),
        ("Temperature [C]", "C", "Temperature"),
        ("Kiln degC", "C", "Kiln"),
        ("Ofen / °C", "C", "Ofen"),
        ("Rate (°F/h)", None, "Rate (°F/h)"),
        ("Zone F", None, "Zone F"),
        ("Cfactor", None, "Cfactor"),
        ("Celsiusity", None, "Celsiusity"),
    ],
)
def test_units_of_names(header: str, unit: str | None, shown: str) -> None:
    assert temperature_unit(header) == unit
    assert display_name(header) == shown


@pytest.mark.parametrize(
    ("header", "unit"),
    [("time_s", "s"), ("Time (min)", "min"), ("elapsed [h]", "h"), ("Zeit in s", "s"),
     ("Stunden", "h"), ("Time", None), ("Date", None), ("Elapsed time", None)],
)  # fmt: skip
def test_time_units_of_names(header: str, unit: str | None) -> None:
    assert time_unit(header) == unit


@pytest.mark.parametrize(
    ("header", "zone"),
    [("Time (UTC)", "UTC"), ("UTC+5:30", "+05:30"), ("GMT −3", "-03:00"), ("UTC 12", "UTC")],
)
def test_a_zone_of_a_name_has_a_sign_before_its_hours(header: str, zone: str) -> None:
    assert time_zone(header) == zone


def test_neutral_text() -> None:
    assert printable("a\x1b[2Jb\x00\u202e\n c") == "a[2Jb c"
    assert printable("<script>alert(1)</script>") == "‹script›alert(1)‹/script›"
    assert len(printable("x" * 500)) == 60


def test_detecting_needs_no_pandas() -> None:
    code = "import firing.logs.reader, sys; assert 'pandas' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True)
