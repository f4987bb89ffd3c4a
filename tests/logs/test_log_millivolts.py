"""Logs in millivolts.  Expected values: NIST ITS-90 tables (SRD 60), reference junction at 0 °C."""

from typing import Any

import numpy as np
import pytest

# type K: 41.276 mV at 1000 °C, 1.000 mV at 25 °C; type S: 9.587 mV at 1000 °C, 0.143 mV at 25 °C
HEADER = "time_s,TC (mV),Cold junction (°C)\n"


def test_a_column_of_the_reference_junction(read: Any) -> None:
    log = read(HEADER + "0,40.276,25\n60,40.276,25\n120,open,25\n", thermocouple_type="k")
    assert log.trace.temperature_c[:2, 0] == pytest.approx([1000.0, 1000.0], abs=0.05)
    assert np.isnan(log.trace.temperature_c[2, 0])
    assert log.dialect.unit == "mV"
    assert "mV" in log.dialect.describe()
    assert any("read as type K millivolts" in note for note in log.notes)


def test_a_stated_junction_wins(read: Any) -> None:
    log = read(HEADER + "0,41.276,25\n60,41.276,25\n", thermocouple_type="K", junction_c=0.0)
    assert log.trace.temperature_c[:, 0] == pytest.approx([1000.0, 1000.0], abs=0.05)
    other = read("time_s,TC\ns,mV\n0,9.444\n60,9.444\n", thermocouple_type="S", junction_c=25.0)
    assert other.trace.temperature_c[0, 0] == pytest.approx(1000.0, abs=0.1)
    told = read("time_s,T1\n0,9.444\n60,9.444\n", unit="mV", thermocouple_type="S", junction_c=25.0)
    assert told.trace.temperature_c[0, 0] == pytest.approx(1000.0, abs=0.1)


def test_a_junction_in_fahrenheit(read: Any) -> None:
    log = read("time_s,TC (mV),CJC (°F)\n0,40.276,77\n60,40.276,77\n", thermocouple_type="K")
    assert log.trace.temperature_c[0, 0] == pytest.approx(1000.0, abs=0.05)


def test_what_is_not_known_is_asked(refused: Any) -> None:
    assert "--thermocouple-type" in refused(HEADER + "0,40,25\n60,40,25\n")
    bare = "time_s,TC (mV)\n0,40\n60,40\n"
    assert "--junction" in refused(bare, thermocouple_type="K")
    assert "no thermocouple type" in refused(bare, thermocouple_type="Q", junction_c=20.0)
    assert "150" in refused(bare, thermocouple_type="K", junction_c=400.0)


def test_millivolts_beside_temperatures_are_left_alone(read: Any) -> None:
    log = read("time_s,Kiln (°C),TC (mV)\n0,20,0.8\n60,21,0.84\n")
    assert log.trace.channels == ("Kiln",)
    assert any("TC" in note for note in log.notes)


def test_the_junction_is_no_channel(read: Any) -> None:
    log = read("time_s,Kiln (°C),Cold junction (°C)\n0,20,22\n60,21,22\n")
    assert log.trace.channels == ("Kiln",)


def test_columns_told(read: Any, refused: Any) -> None:
    content = "when,a,b,c\n0,1,20,50\n60,2,21,60\n"
    log = read(content, time_unit="s", columns={"when": "time", "b": "temperature", "4": "duty"})
    assert log.trace.channels == ("b",)
    assert log.trace.duty is not None
    assert log.trace.duty.tolist() == [0.5, 0.6]
    assert "no column" in refused(content, columns={"d": "time"})
    assert "no role" in refused(content, columns={"a": "wizard"})
    kept = read("time_s,Top,Bottom\n0,20,30\n60,21,31\n", columns={"Top": "ignore"})
    assert kept.trace.channels == ("Bottom",)


def test_lines_told(read: Any, refused: Any) -> None:
    content = "time_s,program\n0,600\n60,700\n\ntime_s,Kiln (°C)\n0,20\n60,21\n"
    assert read(content, skip_lines=4).trace.temperature_c[:, 0].tolist() == [20, 21]
    assert "--skip-lines" in refused(content, skip_lines=99)
