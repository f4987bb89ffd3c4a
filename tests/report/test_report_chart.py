"""The chart's axes and legend."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from firing.report.charts.text_chart import ChartSeries, render_chart, temperatures_in
from firing.report.sanitize import display_width

HOUR_S = 3600.0


def ramp(
    hours: float = 12.0, top_c: float = 1200.0, name: str = "plan", **more: object
) -> ChartSeries:
    time_s = np.linspace(0.0, hours * HOUR_S, 200)
    return ChartSeries(name, time_s, np.linspace(20.0, top_c, 200), **more)  # type: ignore[arg-type]  # one builder for every option


@pytest.mark.parametrize("width", [40, 80, 132])
@pytest.mark.parametrize("height", [8, 16, 30])
def test_it_has_the_size_asked_for(width: int, height: int) -> None:
    lines = render_chart([ramp()], width=width, height=height).split("\n")
    assert len(lines) == height
    assert max(display_width(line) for line in lines) == width


def test_temperature_labels_are_round_and_evenly_spaced() -> None:
    lines = render_chart([ramp()], width=80, height=18).split("\n")
    labels = [int(line.split("┤")[0]) for line in lines if "┤" in line]
    assert labels[-1] == 0
    assert set(np.diff(labels)) == {-200}


def test_fahrenheit_labels_follow_the_unit() -> None:
    # 20 to 1200 °C is 68 to 2192 °F, so the labels run from 0 to 2000.
    text = render_chart([ramp()], width=80, height=18, unit="F")
    labels = [int(line.split("┤")[0]) for line in text.split("\n") if "┤" in line]
    assert (labels[0], labels[-1]) == (2000, 0)
    assert "°F" in text


def test_temperatures_convert_as_defined() -> None:
    assert temperatures_in(np.array([0.0, 100.0]), "F") == pytest.approx([32.0, 212.0])


def test_hours_without_a_start() -> None:
    axis = render_chart([ramp()], width=80, height=12).split("\n")[-1].split()
    assert axis[-1] == "hours"
    assert [int(label) for label in axis[:3]] == [0, 2, 4][:3] or axis[1] == "1"


def test_the_clock_with_a_start() -> None:
    started = datetime(2026, 3, 2, 17, 40, tzinfo=UTC)
    axis = render_chart([ramp(24.0)], width=80, height=12, started=started).split("\n")[-1]
    assert axis.split()[0] == "18:00"
    assert "Tue" in axis  # midnight is named by the day that begins
    assert "hours" not in axis


def test_the_clock_after_a_change_of_summer_time() -> None:
    # On 29 March 2026 Berlin's clock jumps from 02:00 to 03:00 (IANA tz database).
    started = datetime(2026, 3, 28, 22, 0, tzinfo=ZoneInfo("Europe/Berlin"))
    axis = render_chart([ramp(8.0)], width=80, height=12, started=started).split("\n")[-1].split()
    assert "01:00" in axis
    assert "02:00" not in axis
    assert "03:00" in axis


def test_a_value_stands_beside_its_label() -> None:
    time_s = np.array([0.0, HOUR_S])
    lines = render_chart(
        [
            ChartSeries("level", time_s, np.array([1000.0, 1000.0])),
            ChartSeries("low", time_s, np.array([0.0, 0.0])),
        ],
        width=60,
        height=17,
    ).split("\n")
    row = next(line for line in lines if line.startswith("1000┤"))
    assert len(row.split("┤")[1].strip()) == 55


def test_legend_names_every_line_and_disarms_names() -> None:
    text = render_chart([ramp(style="dotted"), ramp(name="top \x1b[2J")], width=80)
    assert "plan" in text
    assert "top ␛[2J" in text
    assert "\x1b" not in text


def test_ascii_only() -> None:
    text = render_chart([ramp(style="dotted"), ramp(name="älter")], width=60, ascii_only=True)
    assert text.isascii()
    assert "*" in text


def test_colour_only_where_asked() -> None:
    line = ramp(colour=0)
    assert "\x1b[38;5;25m" in render_chart([line], colour=True)
    assert "\x1b" not in render_chart([line], colour=False)


@pytest.mark.parametrize(
    "series",
    [
        [],
        [ChartSeries("empty", np.array([]), np.array([]))],
        [ChartSeries("no readings", np.array([0.0, 1.0]), np.array([np.nan, np.nan]))],
    ],
)
def test_nothing_to_draw_is_said(series: list[ChartSeries]) -> None:
    assert "no temperatures to draw" in render_chart(series)


def test_one_reading_and_a_tiny_terminal_are_survived() -> None:
    one = ChartSeries("one", np.array([5.0]), np.array([20.0]))
    assert "┤" in render_chart([one], width=5, height=1)
