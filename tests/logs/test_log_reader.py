"""Reading logs: small files, every rule once."""

import os
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from dialects import machine_in

from firing.errors import FiringError
from firing.logs.options import ReadingOptions
from firing.logs.reader import describe_channel, pick_channel, read_bytes, read_log


@pytest.fixture
def new_york() -> Iterator[None]:
    with machine_in("America/New_York"):
        yield


def refusal(read: Any, content: bytes | str, **options: Any) -> str:
    with pytest.raises(FiringError) as caught:
        read(content, **options)
    text = str(caught.value)
    assert "log.csv" in text
    assert "\n" not in text
    assert not text.endswith(".")
    return text


# ---- what is read -------------------------------------------------------------------------------


def test_plain_comma_log(read: Any) -> None:
    log = read(
        "Time,Top (°C),Bottom (°C)\n2025-03-14 08:00:00,20.5,19\n2025-03-14 08:00:30,21,19.5\n"
    )
    assert log.trace.channels == ("Top", "Bottom")
    assert log.trace.kind == "measured"
    assert log.trace.time_s.tolist() == [0.0, 30.0]
    assert log.trace.temperature_c.tolist() == [[20.5, 19.0], [21.0, 19.5]]
    assert (log.rows, log.used, log.interval_s, log.unusable) == (2, 2, 30.0, (0, 0))
    assert log.notes == ()
    assert log.dialect.unit == "C"
    assert log.dialect.unit_from == "header"


def test_bytes_are_read_as_their_file_is() -> None:
    content = b"Time (min);mV\n0;0,0\n1;4,096\n"
    options = ReadingOptions(thermocouple_type="k", junction_c=0.0, unit="mV")
    log = read_bytes(content, "shed/log.csv", options)
    assert log.trace.time_s.tolist() == [0.0, 60.0]
    assert log.trace.temperature_c[1, 0] == pytest.approx(100.0, abs=0.02)  # IEC 60584-1, type K
    with pytest.raises(FiringError, match=r"^shed/log\.csv"):
        read_bytes(b"", "shed/log.csv")


def test_times(read: Any, subtests: pytest.Subtests) -> None:
    rows = [
        ("time_s", ("0", "90", "3600.5"), [0, 90, 3600.5]),
        ("Time (s)", ("0", "90", "3600.5"), [0, 90, 3600.5]),
        ("seconds", ("10", "20", "30"), [0, 10, 20]),
        ("Time (min)", ("0", "1.5", "60"), [0, 90, 3600]),
        ("time_min", ("0", "1.5", "60"), [0, 90, 3600]),
        ("elapsed [h]", ("0", "0.5", "30"), [0, 1800, 108000]),
        ("Time in hours", ("0", "0.5", "30"), [0, 1800, 108000]),
        ("Zeit / min", ("0", "1.5", "60"), [0, 90, 3600]),
        ("Minuten", ("0", "1.5", "60"), [0, 90, 3600]),
        ("Temps (s)", ("0", "90", "180"), [0, 90, 180]),
        ("Tiempo (h)", ("0", "0.5", "1"), [0, 1800, 3600]),
        ("Time (ms)", ("0", "500", "1000"), [0, 0.5, 1]),
        ("Elapsed", ("0:00:00", "9:59:59", "30:00:01"), [0, 35999, 108001]),
        ("Elapsed", ("00:00:00.25", "00:00:01.50", "00:01:00.00"), [0, 1.25, 59.75]),
        ("Elapsed", ("0 23:59:50", "1 00:00:00", "1 02:15:30"), [0, 10, 8140]),
        ("Elapsed (h:mm)", ("0:00", "0:05", "26:00"), [0, 300, 93600]),
        ("Elapsed (mm:ss)", ("0:00", "0:05", "61:00"), [0, 5, 3660]),
        ("Elapsed", ("59:30", "59:59", "1:00:30"), [0, 29, 60]),
        ("Time", ("2025-03-14T08:00", "2025-03-14T08:05", "2025-03-15T08:00"), [0, 300, 86400]),
        (
            "Time",
            ("2025-03-14 08:00:00.5", "2025-03-14 08:00:01", "2025-03-14 08:00:02"),
            [0, 0.5, 1.5],
        ),
        ("Time", ("2025/3/9 8:00:00", "2025/3/9 10:00:00", "2025/3/10 8:00:00"), [0, 7200, 86400]),
        ("Datum", ("14.03.2025 08:00", "14.03.2025 09:00", "15.03.2025 08:00"), [0, 3600, 86400]),
        (
            "Date",
            ("14/03/2025 8:00:00", "14/03/2025 9:00:00", "15/03/2025 8:00:00"),
            [0, 3600, 86400],
        ),
        ("Date", ("3/14/25 11:59 PM", "3/15/25 12:00 AM", "3/15/25 12:01 PM"), [0, 60, 43320]),
        ("Date", ("14-Mar-2025 08:00", "14-Mar-2025 09:00", "15-Mar-2025 08:00"), [0, 3600, 86400]),
        (
            "Time",
            ("2025-03-14T08:00:00Z", "2025-03-14T08:00:05Z", "2025-03-14T08:01:00Z"),
            [0, 5, 60],
        ),
    ]
    for header, cells, seconds in rows:
        with subtests.test(f"{header}: {cells[0]}"):
            lines = [f"{header};Temp (°C)", *(f"{cell};{20 + i}" for i, cell in enumerate(cells))]
            log = read("\n".join(lines))
            assert log.trace.time_s.tolist() == pytest.approx(seconds)
            assert log.trace.temperature_c[:, 0].tolist() == [20.0, 21.0, 22.0]


def test_clock_that_passes_midnight(read: Any) -> None:
    log = read("Time,Kiln (C)\n23:59:30,600\n23:59:50,601\n00:00:10,602\n00:00:30,603\n")
    assert log.trace.time_s.tolist() == [0, 20, 40, 60]
    assert any("midnight at line 4" in note for note in log.notes)


def test_h_mm_is_assumed_and_said_and_can_be_overridden(read: Any) -> None:
    content = "Time,Kiln (C)\n0:00,600\n0:30,601\n1:00,602\n"
    log = read(content)
    assert log.trace.time_s.tolist() == [0, 1800, 3600]
    assert any("hours and minutes" in note and "--time-unit min" in note for note in log.notes)
    assert read(content, time_unit="min").trace.time_s.tolist() == [0, 30, 60]


def test_date_and_time_in_two_columns(read: Any) -> None:
    log = read("Datum;Uhrzeit;Ofen °C\n14.03.2025;23:59:00;900,5\n15.03.2025;00:00:30;901\n")
    assert log.trace.time_s.tolist() == [0, 90]
    assert log.trace.temperature_c.tolist() == [[900.5], [901.0]]
    assert log.trace.channels == ("Ofen",)


@pytest.mark.usefixtures("new_york")
def test_naive_times_are_local_ones(read: Any) -> None:
    log = read("Time,T (°C)\n2025-07-01 08:00,20\n2025-07-01 08:01,21\n")
    assert log.trace.started == datetime(2025, 7, 1, 12, 0, tzinfo=UTC)
    assert log.trace.started.hour == 8
    assert log.trace.started.utcoffset() == timedelta(hours=-4)


def test_stated_offsets_are_kept_and_count(read: Any) -> None:
    log = read(
        "Time,T (°C)\n2025-03-30T01:59:00+01:00,20\n2025-03-30T03:00:00+02:00,21\n"
        "2025-03-30T03:01:00+0200,22\n"
    )
    assert log.trace.started == datetime(2025, 3, 30, 1, 59, tzinfo=timezone(timedelta(hours=1)))
    assert log.trace.time_s.tolist() == [0, 60, 120]


def test_elapsed_logs_have_no_wall_clock(read: Any) -> None:
    assert read("time_s,temp_c\n0,20\n1,21\n").trace.started is None


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|", " ", "   "])
def test_delimiters(read: Any, delimiter: str) -> None:
    log = read(f"time_s{delimiter}temp_c\n0{delimiter}20.5\n1{delimiter}21\n")
    assert log.dialect.delimiter == delimiter[0]
    assert log.trace.temperature_c[:, 0].tolist() == [20.5, 21.0]


def test_decimal_comma_that_first_comes_late(read: Any) -> None:
    rows = (
        [f"{second};20" for second in range(3000)]
        + ["3000;20,5"]
        + [f"{second};21" for second in range(3001, 6000)]
    )
    log = read("time_s;temp_c\n" + "\n".join(rows))
    assert log.trace.temperature_c[3000, 0] == 20.5
    assert log.unusable == (0,)


def test_channels_named_by_number(read: Any) -> None:
    log = read("Time,1,2\n2025-03-14 08:00,20,30\n2025-03-14 08:01,21,31\n")
    assert log.trace.channels == ("1", "2")
    assert pick_channel(log, "2") == 1


def test_damaged_rows_above_the_first_whole_one_are_no_header(read: Any) -> None:
    log = read("Time,Top (°F)\n2025-x3-14 07:59,212\n2025-03-14 08:00,212\n2025-03-14 08:01,212\n")
    assert log.trace.channels == ("Top",)
    assert log.trace.temperature_c[0, 0] == pytest.approx(100.0)
    assert any("damaged" in note and "line 2" in note for note in log.notes)


def test_a_preamble_of_any_length(read: Any) -> None:
    preamble = "".join(f"setting {n} = {n * 7}, on\n" for n in range(3000))
    log = read(preamble + "Time,Kiln (°F)\n2025-03-14 08:00,32\n2025-03-14 08:01,212\n")
    assert log.trace.temperature_c[:, 0].tolist() == pytest.approx([0.0, 100.0])
    assert log.dialect.preamble_lines == 3000
    assert log.dialect.first_line == 3002


def test_spaces_between_columns(read: Any) -> None:
    log = read(
        "Time                Kiln temp (°C)   Top (°C)\n"
        "2025-03-14 08:00:00   20.5   21\n\n2025-03-14 08:00:30   20.6   OL\nlid opened\n"
        "2025-03-14 08:01:00   20.7\n2025-03-14 08:01:30   20.8   open circuit\n"
        "2025-03-14 08:02:00   20.9   23\n"
    )
    assert log.trace.channels == ("Kiln temp", "Top")
    assert log.trace.time_s.tolist() == [0, 30, 60, 90, 120]
    # a row of another width may miss either reading
    assert np.isnan(log.trace.temperature_c[2:4]).all()
    assert log.trace.temperature_c[[0, 1, 4], 0].tolist() == [20.5, 20.6, 20.9]
    assert any("nothing shows" in note and "line 6" in note for note in log.notes)
    noon = read("Date Time Kiln\n03/14/2025 08:00:00 PM 20\n03/14/2025 08:00:30 PM 21\n")
    assert noon.trace.started.hour == 20


def test_units_above_the_table_that_contradict(read: Any) -> None:
    table = "time_s,Kiln\n0,32\n1,212\n"
    assert "--unit" in refusal(read, "limit 1300 °C 2372 °F\n" + table)
    assert read("limit 2372 °F\n" + table).dialect.unit == "F"
    assert read("Units: °C\nlimit 2372 °F\n" + table).dialect.unit == "C"


def test_quoted_cells(read: Any) -> None:
    log = read('"Time","Temp (°C)"\n"2025-03-14 08:00:00","20,5"\n"2025-03-14 08:01:00","21,25"\n')
    assert log.trace.temperature_c[:, 0].tolist() == [20.5, 21.25]
    assert log.trace.time_s.tolist() == [0, 60]


def test_encodings_and_line_ends(read: Any, subtests: pytest.Subtests) -> None:
    for encoding, newline in product(
        ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252", "latin-1"], ["\n", "\r\n", "\r"]
    ):
        with subtests.test(f"{encoding}, {newline!r}"):
            text = newline.join(["Zeit (s);Höhe oben (°F)", "0;32", "60;212", ""])
            log = read(text.encode(encoding))
            assert log.trace.channels == ("Höhe oben",)
            assert log.trace.temperature_c[:, 0].tolist() == pytest.approx([0.0, 100.0])


def test_one_damaged_byte_leaves_utf_8(read: Any) -> None:
    text = "time_s;Kiln °C;Größe °C;note\n0;20;20;é\n60;21;21;ok\n".encode()
    log = read(text.replace("é".encode(), b"\xc3"))
    assert log.trace.channels == ("Kiln", "Größe")


def test_preamble_units_row_comment_header_and_trailing_delimiter(read: Any) -> None:
    log = read(
        "# logger of an invented studio\nSerial,0000\nStarted,2025-03-14 08:00:00\n\n"
        "Time,Kiln,Output,\ns,°F,%,\n0,68,0,\n60,77,50,\n120,86,100,\n"
    )
    assert log.trace.channels == ("Kiln",)
    assert log.trace.temperature_c[:, 0].tolist() == pytest.approx([20, 25, 30])
    assert log.dialect.unit == "F"
    assert log.dialect.unit_from == "units row"
    assert log.trace.duty is not None
    assert log.trace.duty.tolist() == [0.0, 0.5, 1.0]
    commented = read("# invented\n# time_s;temp_c\n0;20\n1;21\n")
    assert commented.dialect.header
    assert commented.trace.channels == ("temp",)


def test_no_header(read: Any) -> None:
    log = read("1,2025-03-14 08:00,20,30\n2,2025-03-14 08:01,21,31\n3,2025-03-14 08:02,22,33\n")
    assert not log.dialect.header
    assert log.trace.channels == ("channel 1", "channel 2")
    assert log.trace.temperature_c[:, 1].tolist() == [30, 31, 33]
    bare = read("0;20,5\n60;21\n", time_unit="s")
    assert bare.trace.time_s.tolist() == [0, 60]
    assert bare.trace.channels == ("channel 1",)


def test_units_in_headers(read: Any, subtests: pytest.Subtests) -> None:
    rows = [
        ("Temp (°F)", 100),
        ("temp_f", 100),
        ("Temperature [F]", 100),
        ("Kiln degF", 100),
        ("Kiln deg F", 100),
        ("Fahrenheit", 100),
        ("T/°F", 100),
        ("Temp (øF)", 100),
        ("Temperature in F", 100),
        ("Temp (°C)", 212),
        ("temp_c", 212),
        ("Temperature [C]", 212),
        ("Temperatur / °C", 212),
        ("Température (°C)", 212),
        ("Kiln Celsius", 212),
        ("Temp", 212),
        ("Top", 212),
    ]
    for header, celsius in rows:
        with subtests.test(f"{header}"):
            log = read(f"time_s,{header}\n0,32\n1,212\n")
            assert log.trace.temperature_c[1, 0] == pytest.approx(celsius)
            assumed = any("assumed" in note for note in log.notes)
            assert assumed == (header in ("Temp", "Top"))


def test_units_elsewhere(read: Any) -> None:
    assert read("Units: °F\ntime_s,Kiln\n0,32\n1,212\n").dialect.unit_from == "preamble"
    assert read("time_s,Kiln\n0,32 °F\n1,212 °F\n").trace.temperature_c[1, 0] == pytest.approx(100)
    told = read("time_s,Kiln (°C)\n0,32\n1,212\n", unit="F")
    assert told.trace.temperature_c[1, 0] == pytest.approx(100)
    assert told.dialect.unit_from == "option"
    mixed = read("time_s,Top (°F),Bottom (°C)\n0,32,0\n1,212,100\n")
    assert mixed.trace.temperature_c[1].tolist() == pytest.approx([100, 100])
    assert "Top °F" in mixed.dialect.describe()


def test_a_letter_that_labels_a_zone_is_no_unit(read: Any) -> None:
    log = read("time_s,zone_e,zone_f\n0,32,32\n1,212,212\n")
    assert log.trace.temperature_c[1].tolist() == [212, 212]


def test_set_point_and_duty_stay_out_of_the_channels(read: Any) -> None:
    log = read("time_s,Kiln (°F),Set point (°F),Output (%)\n0,32,32,10\n60,212,392,100\n")
    assert log.trace.channels == ("Kiln",)
    assert log.setpoint_c is not None
    assert log.setpoint_c.tolist() == pytest.approx([0, 200])
    assert log.trace.duty is not None
    assert log.trace.duty.tolist() == [0.1, 1.0]


@pytest.mark.parametrize(
    ("set_point", "duty"),
    [("SP", "Duty"), ("Sollwert", "Stellgrad"), ("Consigne", "Sortie"), ("Consigna", "Salida"),
     ("setpoint", "power %"), ("Target temp", "Leistung %")],
)  # fmt: skip
def test_set_point_and_duty_names(read: Any, set_point: str, duty: str) -> None:
    log = read(f"time_s,Temp,{set_point},{duty}\n0,20,20,0\n60,21,25,0.5\n")
    assert log.trace.channels == ("Temp",)
    assert log.setpoint_c is not None
    assert log.setpoint_c.tolist() == [20, 25]
    assert log.trace.duty is not None


def test_power_in_watts_is_no_duty(read: Any) -> None:
    log = read("time_s,Kiln,Power (kW),Current (A)\n0,20,9.6,40\n60,21,4.8,20\n")
    assert log.trace.duty is None
    assert log.trace.channels == ("Kiln",)
    odd = read("time_s,Kiln,Output\n0,20,255\n60,21,128\n")
    assert odd.trace.duty is None
    assert any("Output runs from 128 to 255" in note for note in odd.notes)


def test_other_columns_are_told(read: Any) -> None:
    log = read("No.,time_s,Kiln (°C),Ambient (°C),Humidity\n1,0,20,18,50\n2,60,21,18,51\n")
    assert log.trace.channels == ("Kiln",)
    assert any("Ambient" in note and "Humidity" in note for note in log.notes)


def test_unreadable_readings_are_marked_and_counted(read: Any) -> None:
    log = read(
        "time_s,Top,Bottom\n0,20,open\n60,NaN,21\n120,---,22\n180,OL,23\n240,,24\n300,Err,25\n"
        "360,9.9E37,26\n420,25.5 °C,27\n480,-9999,28\n540,bad wire,29\n"
    )
    assert (log.rows, log.used, log.unusable) == (10, 10, (8, 1))
    assert np.isnan(log.trace.temperature_c[1:7, 0]).all()
    assert log.trace.temperature_c[7, 0] == 25.5
    assert 'Top: 8 of 10 readings are no temperature (the first is line 3: "NaN")' in log.notes
    assert 'Bottom: 1 of 10 readings are no temperature (the first is line 2: "open")' in log.notes


def test_lines_without_a_time_are_counted_not_used(read: Any) -> None:
    log = read("time_s,T\n0,20\n\nlid opened\n60,21,too,many\n120\nx,22\n180,23\n\n")
    assert (log.rows, log.used) == (6, 4)
    assert log.trace.time_s.tolist() == [0, 60, 120, 180]
    assert 'line 4: "lid opened"' in " ".join(log.notes)
    assert "2 of 6 lines" in " ".join(log.notes)


def test_a_repeated_header_is_no_reading(read: Any) -> None:
    log = read(
        "Time,T (°F)\n2025-03-14 08:00:00,32\n2025-03-14 08:00:01,212\nTime,T (°F)\n"
        "2025-03-14 09:00:00,32\n"
    )
    assert (log.rows, log.used) == (3, 3)
    assert log.trace.temperature_c[:, 0].tolist() == pytest.approx([0, 100, 0])
    assert any("header stands once more" in note and "line 4" in note for note in log.notes)


def test_repeated_times_keep_the_first_reading(read: Any) -> None:
    log = read("time_s,T\n0,20\n0,99\n60,21\n60,98\n120,22\n")
    assert log.trace.temperature_c[:, 0].tolist() == [20, 21, 22]
    assert (log.rows, log.used) == (5, 3)
    assert any("first at line 3" in note for note in log.notes)


def test_an_unclosed_quotation_mark_swallows_nothing(read: Any) -> None:
    log = read('time_s,T,note\n0,20,"ok"\n60,21,"lid\n120,22,\n180,23,"shut"\n')
    assert log.used == 4
    assert any("line 3" in note for note in log.notes)


def test_nul_bytes_and_a_truncated_tail(read: Any) -> None:
    rows = "".join(f"{60 * i},{20 + i}.5\n" for i in range(200))
    log = read(b"time_s,T\n" + rows.encode() + b"\0\0" + b"12000,2")
    assert log.trace.temperature_c[0, 0] == 20.5
    assert log.used == 200  # of 220.5 only the 2 was written
    assert any("2 NUL" in note for note in log.notes)
    assert any('"12000,2", is cut short' in note for note in log.notes)
    whole = read("time_s,T\n" + rows + "12000,220.5")
    assert whole.used == 201
    short = read("time_s,T,note\n" + rows.replace("\n", ",\n") + "12000,220.5")
    assert short.used == 200


def test_thousands(read: Any) -> None:
    log = read("time_s;T\n0;999,5\n60;1.000,5\n")
    assert log.trace.temperature_c[:, 0].tolist() == [999.5, 1000.5]
    quoted = read('time_s,T\n0,999.5\n60,"1,000.5"\n')
    assert quoted.trace.temperature_c[:, 0].tolist() == [999.5, 1000.5]
    passed = read('time_s,T\n0,998\n60,999\n120,"1,000"\n')
    assert passed.trace.temperature_c[:, 0].tolist() == [998.0, 999.0, 1000.0]
    text = refusal(read, 'time_s,T\n0,300\n60,301\n120,"1,500"\n')
    assert "--decimal" in text


def test_names_are_harmless(read: Any) -> None:
    log = read("time_s,Top\x1b[31m\u202e (°C),Top (°C),Top (°C)\n0,20,21,22\n1,20,21,22\n")
    assert log.trace.channels == ("Top", "Top (2)", "Top (3)")


def test_markup_and_escape_sequences_are_neutralised_everywhere(tmp_path: Path) -> None:
    path = tmp_path / "<b>\x1b[31mlog\u202e.csv"
    path.write_text(
        "time_s,<script>alert(1)</script> temp,\x1b]0;x\x07Top,<i>SP</i>\n0,20,<u>,25\n1,21,22,25\n"
    )
    log = read_log(path)
    shown = [log.name, *log.trace.channels, *log.notes, log.dialect.describe()]
    shown += [text for column in log.dialect.columns for text in (column.name, column.written)]
    assert not any(c in text for text in shown for c in "<>\x1b\x07\u202e")
    assert log.name == "‹b›[31mlog.csv"


def test_fahrenheit_taken_for_celsius_is_suspected(read: Any) -> None:
    log = read("time_s,T\n0,68\n60,2264\n")
    assert any("2264" in note and "--unit F" in note for note in log.notes)


@pytest.mark.parametrize(
    ("content", "options", "celsius"),
    [
        ("time_s,T\n0,20\n1,21\n", {"delimiter": "comma"}, [20, 21]),
        ("time_s\tT\n0\t20,5\n1\t21,5\n", {"delimiter": "tab", "decimal": ","}, [20.5, 21.5]),
        ("time_s,T\n0,20\n1,21\n", {"encoding": "ascii"}, [20, 21]),
        ("Date,T\n03/04/2025 08:00,20\n03/04/2025 09:00,21\n", {"date_order": "dmy"}, [20, 21]),
        ("Time,T\n0,20\n1,21\n", {"time_unit": "h"}, [20, 21]),
    ],
)
def test_overrides(read: Any, content: str, options: dict[str, Any], celsius: list[float]) -> None:
    assert read(content, **options).trace.temperature_c[:, 0].tolist() == celsius


@pytest.mark.usefixtures("new_york")
@pytest.mark.parametrize(("order", "month", "day"), [("dmy", 4, 3), ("mdy", 3, 4)])
def test_date_order_is_obeyed(read: Any, order: str, month: int, day: int) -> None:
    content = "Date,T\n03/04/2025 08:00,20\n03/04/2025 09:00,21\n"
    started = read(content, date_order=order).trace.started
    assert (started.year, started.month, started.day) == (2025, month, day)


def test_a_later_day_settles_the_order(read: Any) -> None:
    rows = [f"{day:02d}/03/2025 {hour:02d}:{minute:02d}:00,20" for day in range(5, 15)
            for hour in range(24) for minute in range(0, 60, 5)]  # fmt: skip
    started = read("Date,T\n" + "\n".join(rows)).trace.started
    assert (started.month, started.day) == (3, 5)


def test_a_date_that_is_the_same_either_way(read: Any) -> None:
    started = read("Date,T\n04/04/2025 08:00,20\n04/04/2025 09:00,21\n").trace.started
    assert (started.month, started.day) == (4, 4)


# ---- which channel ------------------------------------------------------------------------------


def test_pick_channel(read: Any) -> None:
    log = read("time_s,Top,Chamber,Bottom\n0,20,20,20\n60,,21,21\n")
    assert pick_channel(log) == 1
    assert pick_channel(log, "bottom") == 2
    assert pick_channel(log, "1") == 0
    assert pick_channel(log, 3) == 2
    assert "2 " in describe_channel(log, 1)
    assert "by its name" in describe_channel(log, 1)
    for wrong in ("4", "0", "middle", ""):
        with pytest.raises(FiringError, match=r"1 \(Top\), 2 \(Chamber\), 3 \(Bottom\)"):
            pick_channel(log, wrong)
    usable = read("time_s,Top,Bottom\n0,20,20\n60,open,21\n")
    assert pick_channel(usable) == 1
    assert "most usable" in describe_channel(usable, 1)


# ---- what is refused ----------------------------------------------------------------------------


def test_files_that_are_no_logs(read: Any, tmp_path: Path) -> None:
    with pytest.raises(FiringError, match="does not exist"):
        read_log(tmp_path / "none.csv")
    with pytest.raises(FiringError, match="is a directory"):
        read_log(tmp_path)
    assert "is empty" in refusal(read, b"")
    assert "is empty" in refusal(read, b"\xef\xbb\xbf\n\n")
    assert "archive" in refusal(read, b"PK\x03\x04" + bytes(range(256)))
    assert "not a text file" in refusal(read, bytes(range(256)) * 40)
    assert "is a picture" in refusal(read, b"\x89PNG\r\n\x1a\n" + os.urandom(4000))
    assert "holds no reading" in refusal(read, "Time,Temp\n")
    assert "holds no reading" in refusal(read, "dear diary\ntoday I fired\n")


def test_one_row(read: Any) -> None:
    text = refusal(read, "time_s,temp_c\n0,20\n")
    assert text == "log.csv holds one reading; a firing needs at least two"
    refusal(read, "Time,Temp (°C)\n2025-03-14 08:00,20\n")


def test_time_running_backwards(read: Any) -> None:
    text = refusal(read, "Time,T\n2025-03-14 08:00,20\n2025-03-14 09:00,21\n2025-03-14 08:30,22\n")
    assert "line 4" in text
    assert '"2025-03-14 09:00"' in text
    assert '"2025-03-14 08:30"' in text
    assert "line 4" in refusal(read, "time_s,T\n0,20\n60,21\n30,22\n")


@pytest.mark.parametrize(
    "content", ["Time,T\n0,20\n1,21\n", "0,20\n1,21\n", "elapsed,T\n0,20\n1,21\n"]
)
def test_bare_numbers_are_no_times(read: Any, content: str) -> None:
    assert "--time-unit" in refusal(read, content)


@pytest.mark.parametrize("content", [
    "Date,T\n03/04/2025 08:00,20\n03/04/2025 09:00,21\n",
    "Date,Time,T\n03/04/2025,08:00,20\n03/04/2025,09:00,21\n",
    "Date,T\n03-04-25 08:00,20\n03-04-25 09:00,21\n",
])  # fmt: skip
def test_ambiguous_dates(read: Any, content: str) -> None:
    text = refusal(read, content)
    assert "--date-order dmy" in text
    assert "--date-order mdy" in text


def test_missing_columns(read: Any) -> None:
    assert "no time column" in refusal(read, "Top,Bottom\n20,21\n22,20\n")
    assert "no temperature column" in refusal(read, "time_s,Humidity\n0,40\n60,41\n")
    assert "no usable temperature" in refusal(read, "time_s,Kiln\n0,open\n60,open\n")


def test_a_decimal_comma_between_commas_is_refused(read: Any) -> None:
    text = refusal(read, "time_s,temp_c\n0,20,5\n60,21,5\n")
    assert "decimal comma" in text
    assert "line 1" in text


def test_wrong_overrides(read: Any) -> None:
    with pytest.raises(FiringError, match="no known encoding"):
        read("time_s,T\n0,20\n1,21\n", encoding="klingon")
    with pytest.raises(FiringError, match="no delimiter"):
        read("time_s,T\n0,20\n1,21\n", delimiter="commas")
    assert "not text in" in refusal(read, "time_s,T °C\n0,20\n1,21\n", encoding="ascii")
    assert "holds no reading" in refusal(read, "time_s,T\n0,20\n1,21\n", delimiter=";")
