"""The controller's output, where an instrument tells it: read, recorded, reviewed, remembered."""

import math
from pathlib import Path

import pytest
from capture.modbusline import Line, serving
from hypothesis import given
from hypothesis import strategies as st

from firing.capture.clock import TimeBase
from firing.capture.fields import FieldLayout, LineParser
from firing.capture.log_sources import ReplayedLog
from firing.capture.modbus import ModbusSource, RegisterChannel
from firing.capture.reading import Reading, Status, duty_from_percent, plain_converter
from firing.capture.recorder import Recorder
from firing.capture.serial_port import PortSettings
from firing.errors import FiringError
from firing.logs.reader import read_log

BEGAN_S = 1_772_000_000.0


@pytest.mark.parametrize(
    ("line", "layout", "duty"),
    [
        (b"900.5,62.5", FieldLayout(("kiln", "output")), 0.625),
        (b"100,900.5", FieldLayout(("output", "kiln")), 1.0),
        (b"900.5;62,5", FieldLayout(("kiln", "output"), ";", ","), 0.625),
        (b"T=900.5 C,out=40 %", FieldLayout(("kiln", "output")), 0.4),
        (b"1652,40", FieldLayout(("kiln", "output"), unit="F"), 0.4),
        (b"900.5,---", FieldLayout(("kiln", "output")), math.nan),
        (b"900.5,140", FieldLayout(("kiln", "output")), math.nan),
        (b"900.5", FieldLayout(("kiln",)), math.nan),
    ],
)
def test_an_output_in_percent(line: bytes, layout: FieldLayout, duty: float) -> None:
    assert layout.channels == ("kiln",)
    found = LineParser(layout).parse(line)
    assert found is not None
    assert len(found.values_c) == 1
    assert found.statuses == [Status.OK]
    assert found.duty == pytest.approx(duty, nan_ok=True)


@given(st.floats(allow_nan=True, allow_infinity=True))
def test_an_output_is_a_share_or_nothing(percent: float) -> None:
    duty = duty_from_percent(percent)
    assert math.isnan(duty) or 0.0 <= duty <= 1.0


def test_an_output_alone_is_no_reading() -> None:
    with pytest.raises(FiringError, match="names no temperature"):
        FieldLayout(("output",))
    with pytest.raises(FiringError, match="twice"):
        FieldLayout(("kiln", "output", "output"))
    register = RegisterChannel("output", 0)
    with pytest.raises(FiringError, match="no register holds a temperature"):
        ModbusSource(PortSettings("/dev/null"), 1, (register,), plain_converter("C"), 1.0)


def test_a_register_of_the_output(tmp_path: Path) -> None:
    line = Line(tmp_path)
    registers = (
        RegisterChannel("kiln", 0, scale=0.1),
        RegisterChannel("output", 1, scale=0.1),
        RegisterChannel("top", 2, scale=0.1),
    )
    with serving(line, 7, [9005, 625, 8990]):
        instrument = ModbusSource(
            PortSettings(str(line.port), 19200), 7, registers, plain_converter("C"), 0.05, 0.5
        )
        assert instrument.channels == ("kiln", "top")
        assert instrument.gives_output
        instrument.open()
        while (found := instrument.read(0.5)) is None:
            pass
        instrument.close()
    line.close()
    assert found.values_c == pytest.approx([900.5, 899.0])
    assert found.duty == pytest.approx(0.625)


def reading(celsius: float, duty: float) -> Reading:
    return Reading([celsius], [Status.OK], None, duty)


def test_it_is_recorded_reviewed_and_replayed(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    recorder = Recorder(path, ("kiln",), TimeBase(BEGAN_S), output=True)
    recorder.write(0.0, reading(20.0, 1.0))
    recorder.write(60.0, reading(25.0, math.nan))
    recorder.gap(61.0, "cable")
    recorder.write(120.0, reading(30.0, 0.25))
    recorder.close()
    assert path.read_text(encoding="utf-8").splitlines()[:3] == [
        "time,kiln (°C),output (%),status",
        "2026-02-25T06:13:20.000Z,20.00,100.0,",
        "2026-02-25T06:14:20.000Z,25.00,,",
    ]
    log = read_log(path, cleaning=False)
    assert log.trace.channels == ("kiln",)
    assert log.trace.duty is not None
    assert log.trace.duty[[0, 3]].tolist() == [1.0, 0.25]
    replay = ReplayedLog(path, math.inf)
    assert replay.gives_output
    replay.open()
    assert [replay.read(0.0).duty for _ in range(4)] == pytest.approx(  # type: ignore[union-attr]  # read
        [1.0, math.nan, math.nan, 0.25], nan_ok=True
    )
    again = Recorder(path, ("kiln",), output=True)
    assert again.earlier is not None
    assert again.earlier.values_c[0] == [20.0]
    assert again.earlier.duty == pytest.approx([1.0, math.nan, math.nan, 0.25], nan_ok=True)
    again.close()


def test_a_recording_without_a_place_for_it_is_continued_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    Recorder(path, ("kiln",), TimeBase(BEGAN_S)).close()
    again = Recorder(path, ("kiln",), output=True)
    for _ in range(2):
        again.write(again.base.now_s(), reading(30.0, 0.25))
    assert any("no column for the controller's output" in told for told in again.remarks())
    again.close()
    assert path.read_text(encoding="utf-8").splitlines()[-1].endswith(",30.00,")
    assert read_log(path, cleaning=False).trace.duty is None


def test_a_header_torn_before_its_end_is_ours_with_and_without_it(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    whole = "time,kiln (°C),output (%),status\n".encode()
    for length in range(len(whole)):
        path.write_bytes(whole[:length])
        recorder = Recorder(path, ("kiln",), TimeBase(BEGAN_S), output=True)
        recorder.close()
        assert path.read_bytes() == whole
