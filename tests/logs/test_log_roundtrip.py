"""A trace written in any dialect reads back to the same numbers."""

import tempfile
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from logmaker import BISQUE, STYLES, Firing, Sampling, fire, sample, write_csv
from longer import examples

from firing.logs.reader import pick_channel, read_log

START = datetime(2025, 3, 14, 21, 58, 3)  # runs past midnight within the hours drawn below
TIME_HEADERS = {
    "iso": ["Time", "Zeitstempel", "Horodatage", "Timestamp"],
    "iso-t": ["time", "DateTime", "Date/Time"],
    "zulu": ["Time (UTC)", "utc time"],
    "offset": ["Time"],
    "dotted": ["Datum", "Zeit"],
    "two columns": ["Date|Time", "Datum|Uhrzeit", "Fecha|Hora", "Date|Heure"],
    "seconds": ["time_s", "Time (s)", "Sekunden", "Temps (s)", "t [s]"],
    "minutes": ["time_min", "Time (min)", "Minuten", "Zeit / min", "Tiempo (min)"],
    "hours": ["elapsed [h]", "Time (h)", "Stunden", "time_h", "Durée (h)"],
    "clock": ["Elapsed", "Laufzeit", "time"],
}
CHANNEL_HEADERS = ["{} (°{})", "{} [{}]", "{}_{}", "{} °{}", "{} deg{}", "{}, °{}"]
CHANNELS = ["Top", "Kiln temp", "Ofen", "Température", "Zone 2", "TC1"]


def time_cells(kind: str, seconds: int, decimal: str) -> list[str]:
    moment = START + timedelta(seconds=seconds)
    if kind == "two columns":
        return [moment.strftime("%Y-%m-%d"), moment.strftime("%H:%M:%S")]
    if kind == "clock":
        return [f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"]
    if kind in ("seconds", "minutes", "hours"):
        value = seconds / {"seconds": 1, "minutes": 60, "hours": 3600}[kind]
        return [f"{value:.9f}".replace(".", decimal)]
    written = {
        "iso": "%Y-%m-%d %H:%M:%S",
        "iso-t": "%Y-%m-%dT%H:%M:%S",
        "zulu": "%Y-%m-%dT%H:%M:%SZ",
        "offset": "%Y-%m-%dT%H:%M:%S+05:30",
        "dotted": "%d.%m.%Y %H:%M:%S",
    }[kind]
    return [moment.strftime(written)]


@st.composite
def written_logs(draw: st.DrawFn) -> tuple[bytes, list[int], np.ndarray, list[str]]:
    count = draw(st.integers(2, 12))
    steps = draw(st.lists(st.integers(1, 20_000), min_size=count - 1, max_size=count - 1))
    seconds = [0, *np.cumsum(steps).tolist()]
    names = draw(st.lists(st.sampled_from(CHANNELS), min_size=1, max_size=3, unique=True))
    digits = draw(st.integers(1, 3))
    values = np.array(
        draw(
            st.lists(
                st.lists(st.integers(0, 1_300_000), min_size=len(names), max_size=len(names)),
                min_size=count,
                max_size=count,
            )
        )
    )
    celsius = np.round(values / 1000.0, digits)
    unit = draw(st.sampled_from("CF"))
    delimiter, decimal = draw(
        st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ",")])
    )
    kind = draw(st.sampled_from(sorted(TIME_HEADERS)))
    pattern = draw(st.sampled_from([p for p in CHANNEL_HEADERS if delimiter not in p]))
    header = draw(st.sampled_from(TIME_HEADERS[kind])).split("|")
    header += [pattern.format(name, unit) for name in names]
    trailing = delimiter if draw(st.booleans()) else ""
    lines = list(draw(st.sampled_from([(), ("# invented",), ("Logger, of a demo", "", "0000")])))
    lines.append(delimiter.join(header) + trailing)
    for second, row in zip(seconds, celsius, strict=True):
        shown = row if unit == "C" else row * 1.8 + 32.0
        cells = [f"{value:.{digits + 1}f}".replace(".", decimal) for value in shown]
        lines.append(delimiter.join(time_cells(kind, second, decimal) + cells) + trailing)
    newline = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]))
    text = newline.join(lines) + (newline if draw(st.booleans()) else "")
    return text.encode(encoding), seconds, celsius, names


@settings(max_examples=examples(40))
@given(written_logs())
def test_every_dialect_reads_back(written: tuple[bytes, list[int], np.ndarray, list[str]]) -> None:
    data, seconds, celsius, names = written
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_bytes(data)
        log = read_log(path)
    assert log.trace.channels == tuple(names)
    assert np.allclose(log.trace.time_s, seconds, rtol=0, atol=1e-4)
    assert np.allclose(log.trace.temperature_c, celsius, rtol=0, atol=0.006)
    assert log.rows == log.used == len(seconds)
    assert log.unusable == (0,) * len(names)


@pytest.fixture(scope="module")
def firing() -> Firing:
    return fire(BISQUE)


@pytest.mark.parametrize("name", STYLES)
def test_logs_of_the_log_maker_read_back(name: str, firing: Firing, tmp_path: Path) -> None:
    table = sample(
        firing,
        Sampling(
            interval_s=60.0,
            with_duty=True,
            with_set_point=True,
            extra_channels={"bottom": -12.0},
        ),
    )
    log = read_log(write_csv(table, tmp_path / "log.csv", STYLES[name]))
    assert log.trace.channels == ("Kiln", "Bottom")
    assert pick_channel(log) == 0
    assert np.allclose(log.trace.time_s, table.time_s, rtol=0, atol=0.01)
    assert np.allclose(log.trace.temperature_c, table.temperature_c, rtol=0, atol=0.006)
    assert log.trace.duty is not None
    assert table.duty is not None
    assert np.allclose(log.trace.duty, table.duty, rtol=0, atol=0.0006)
    assert log.setpoint_c is not None
    assert table.set_point_c is not None
    assert np.allclose(log.setpoint_c, table.set_point_c, rtol=0, atol=0.06, equal_nan=True)
