"""A watch reads a log as a review reads it: the same options, the same readings."""

import csv
import json
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from commandline import PLAN

Run = Callable[..., subprocess.CompletedProcess[str]]

KILN_C = [20.0 + 5.0 * step for step in range(177)] + [900.0 - 4.0 * step for step in range(1, 150)]
"""A reading every three minutes: up at 100 °C/h to 900 °C, and down at 80 °C/h."""
STEP_S = 180
BEGAN = datetime(2026, 4, 3, 7, 0)


@dataclass
class Awkward:
    """A log that leaves something open, what settles it, and what it then says."""

    text: str
    options: Sequence[str]
    time_s: Sequence[float]
    kiln_c: Sequence[float]
    began: datetime | None
    refused_for: str
    """The option that the refusal names when none is told."""


def _number(value: float, decimal: str = ",") -> str:
    return f"{value:.2f}".replace(".", decimal)


def _fahrenheit(celsius: float) -> str:
    return _number(1.8 * celsius + 32.0)


def _day_or_month_first() -> Awkward:
    """3 April or 4 March, in °F, between semicolons, with decimal commas, the kiln second."""
    lines = ["moment;shelf;chamber"]
    for step, celsius in enumerate(KILN_C):
        at = BEGAN + timedelta(seconds=STEP_S * step)
        lines.append(f"{at:%d/%m/%Y %H:%M:%S};{_fahrenheit(celsius - 15.0)};{_fahrenheit(celsius)}")
    options = "--date-order dmy --zone UTC --unit F --channel chamber --delimiter ; --decimal ,"
    time_s = [STEP_S * step for step in range(len(KILN_C))]
    return Awkward("\n".join(lines) + "\n", options.split(), time_s, KILN_C, BEGAN, "--date-order")


def _begun_again() -> Awkward:
    """Seconds that begin again at zero after a quarter of an hour without the logger."""
    lines, time_s, kiln_c = ["elapsed (s);shelf (°F);chamber (°F)"], [], []
    for step, celsius in enumerate(KILN_C):
        at_s = STEP_S * step
        if 16200 < at_s < 16200 + 900:
            continue
        told_s = at_s if at_s <= 16200 else at_s - 16200 - 900
        lines.append(f"{told_s};{_fahrenheit(celsius - 15.0)};{_fahrenheit(celsius)}")
        time_s.append(float(at_s))
        kiln_c.append(celsius)
    options = "--restart-pause 15m --channel 2"
    text = "\n".join(lines) + "\n"
    return Awkward(text, options.split(), time_s, kiln_c, None, "--restart-pause")


def _two_firings() -> Awkward:
    """The log of two firings a day apart, of which the second is meant; minutes, no units."""
    lines = ["minutes\tchamber"]
    for begin_min, less in ((0, 30.0), (2880, 0.0)):
        for step, celsius in enumerate(KILN_C):
            lines.append(f"{begin_min + 3 * step}\t{_number(celsius - less, '.')}")
    options = "--part 2 --time-unit min --unit C --column chamber=temperature"
    time_s = [STEP_S * step for step in range(len(KILN_C))]
    return Awkward("\n".join(lines) + "\n", options.split(), time_s, KILN_C, None, "--part")


TYPE_K_MV = [4.096, 8.138, 12.209, 16.397, 20.644, 24.905, 29.129, 33.275, 37.326]
"""Type K at 100, 200, … 900 °C against 0 °C (NIST SRD 60); 25 °C gives 1.000 mV."""


def _millivolts() -> Awkward:
    """Hourly millivolts of a type K thermocouple whose reference junction is at 25 °C."""
    lines = ["hours,shelf,chamber"]
    lines += [f"{hour},{0.1 * hour:.3f},{emf - 1.0:.3f}" for hour, emf in enumerate(TYPE_K_MV)]
    options = "--thermocouple-type K --junction 25 --unit mV --time-unit h --channel chamber"
    time_s = [3600.0 * hour for hour in range(len(TYPE_K_MV))]
    kiln_c = [100.0 * step for step in range(1, 10)]
    text = "\n".join(lines) + "\n"
    return Awkward(text, options.split(), time_s, kiln_c, None, "--thermocouple-type")


AWKWARD = [_day_or_month_first, _begun_again, _two_firings, _millivolts]


@pytest.mark.parametrize("make", AWKWARD)
def test_a_watch_and_a_review_read_the_same(
    ask: Run, tmp_path: Path, make: Callable[[], Awkward]
) -> None:
    log = make()
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    (tmp_path / "log.csv").write_text(log.text, encoding="utf-8")

    review = ask("review", "plan.toml", "log.csv", *log.options, "--json")
    assert review.returncode in (0, 1), review.stderr
    watch = ask("watch", "log.csv", *log.options, "--out", "out.csv", "--every", "1h")
    assert watch.returncode == 0, watch.stderr

    with (tmp_path / "out.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    moments = [datetime.fromisoformat(row["time"]) for row in rows]
    if log.began is not None:
        assert moments[0] == log.began.replace(tzinfo=UTC)
    # stamps are in ms, temperatures in 0.01 °C; the log's 0.01 °F are 0.006 °C, and the table's
    # 0.001 mV 0.025 °C
    elapsed_s = [(moment - moments[0]).total_seconds() for moment in moments]
    assert elapsed_s == pytest.approx(list(log.time_s), abs=0.0011)
    recorded_c = [float(row["chamber (°C)"]) for row in rows]
    assert recorded_c == pytest.approx(list(log.kiln_c), abs=0.03)

    read = json.loads(review.stdout)["log"]
    assert read["used"] == len(rows)
    assert [f"{name} (°C)" for name in read["dialect"]["channels"]] == [
        name for name in rows[0] if name.endswith("(°C)")
    ]
    assert read["channel"] in ("chamber", 2 if len(rows[0]) == 4 else 1)


@pytest.mark.parametrize("make", AWKWARD)
def test_a_watch_refuses_what_a_review_refuses_and_knows_the_option_it_names(
    ask: Run, tmp_path: Path, make: Callable[[], Awkward]
) -> None:
    log = make()
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    (tmp_path / "log.csv").write_text(log.text, encoding="utf-8")
    at = list(log.options).index(log.refused_for)
    without = [*log.options[:at], *log.options[at + 2 :]]
    told = [
        ask(*command, *without).stderr
        for command in (("review", "plan.toml", "log.csv"), ("watch", "log.csv"))
    ]
    assert log.refused_for in told[0]
    assert told[0] == told[1]


def test_readings_that_no_kiln_can_have_given_are_left_out_unless_told_otherwise(
    ask: Run, tmp_path: Path
) -> None:
    cells = [f"{celsius:.2f}" for celsius in KILN_C]
    cells[100] = "1800.00"
    lines = [f"{STEP_S * step},{cell}" for step, cell in enumerate(cells)]
    text = "\n".join(["seconds,kiln (°C)", *lines]) + "\n"
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    for options, said in (([], "out of span"), (["--as-logged"], "")):
        out = tmp_path / f"out{len(options)}.csv"
        watch = ask("watch", "log.csv", *options, "--out", out.name, "--every", "1h")
        assert watch.returncode == 0, watch.stderr
        with out.open(encoding="utf-8", newline="") as file:
            row = list(csv.DictReader(file))[100]
        # a recording keeps every number as it came
        assert row["kiln (°C)"] == "1800.00"
        assert said in row["status"]
        assert bool(said) == bool(row["status"])


def test_a_watch_says_how_it_read_the_log(run: Run, tmp_path: Path) -> None:
    log = _begun_again()
    (tmp_path / "log.csv").write_text(log.text, encoding="utf-8")
    told = run("watch", "log.csv", *log.options, "--every", "1h").stderr
    assert "15 min" in told
    assert '"chamber", as asked' in told


@pytest.mark.parametrize(
    "options",
    [("--date-order", "dmy"), ("--restart-pause", "5m"), ("--part", "all"), ("--as-logged",)],
)
def test_what_only_a_log_has_is_refused_for_lines_that_come_in(
    ask: Run, options: tuple[str, ...]
) -> None:
    told = ask("watch", "-", *options)
    assert told.returncode == 2
    assert f"{options[0]} has no meaning here" in told.stderr


def test_lines_that_come_in_may_have_a_decimal_comma(tmp_path: Path) -> None:
    options = ["--decimal", ",", "--delimiter", ";", "--fields", "kiln,-", "--unit", "F"]
    told = subprocess.run(
        [sys.executable, "-c", "from firing.cli import main; main()", "watch", "-", *options,
         "--out", "out.csv"],
        cwd=tmp_path, input="212,9;x\n213,8;x\n", capture_output=True, text=True,
        encoding="utf-8", timeout=120, check=False,
    )  # fmt: skip
    assert told.returncode == 0, told.stderr
    with (tmp_path / "out.csv").open(encoding="utf-8", newline="") as file:
        recorded = [float(row["kiln (°C)"]) for row in csv.DictReader(file)]
    # 212 °F is 100 °C, and a step of 0.9 °F is one of 0.5 °C
    assert recorded == pytest.approx([100.5, 101.0], abs=0.005)
