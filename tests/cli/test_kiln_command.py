"""`firing kiln` and the plan options: files read, learnt from, and never spoilt."""

import json
import re
import subprocess
import tomllib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from logmaker import BISQUE, GLAZE, Faults, Sampling, fire, sample, write_csv

from firing.files.kinds import ready_text

Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def kiln(tmp_path: Path) -> Path:
    path = tmp_path / "kiln.toml"
    path.write_text("# my kiln\n" + ready_text("example-kiln"), encoding="utf-8")
    return path


def weak_log(folder: Path) -> tuple[Path, float]:
    """A glaze firing with a fifth of the power gone, output logged, and what its meter counted."""
    made = fire(GLAZE, faults=Faults(power_factor=0.8))
    path = write_csv(sample(made, Sampling(interval_s=60.0, with_duty=True)), folder / "weak.csv")
    return path, float(np.trapezoid(made.power_w, made.time_s)) / 3.6e6


def test_show_names_a_source_for_every_figure(ask: Run) -> None:
    result = ask("kiln", "show", "example-kiln", "--json")
    document = json.loads(result.stdout)
    assert document["kind"] == "kiln"
    assert all(row["source"] for row in document["rows"])
    shown = ask("kiln", "show", "example-kiln")
    assert shown.returncode == 0
    # clay's bound water is half gone at 555 °C on a ramp of 100 °C/h (kaolinite-kinetics-1987)
    found = re.search(r"Near (\d+) °C it falls to .*bound water", shown.stdout, re.DOTALL)
    assert found is not None
    assert 500 <= int(found[1]) <= 650


def test_fit_learns_and_writes_only_what_it_is_asked_to(
    ask: Run, kiln: Path, tmp_path: Path
) -> None:
    before = kiln.read_text(encoding="utf-8")
    log, kwh = weak_log(tmp_path)
    looked = ask("kiln", "fit", "kiln.toml", log.name, "--kwh", f"{kwh:.1f}", "--json")
    # a fifth of the power gone is more than elements are replaced at
    assert looked.returncode == 1, looked.stderr
    document = json.loads(looked.stdout)
    assert document["kind"] == "fit"
    for name in ("power", "loss", "capacity"):
        assert {"value", "se", "identifiable", "note"} <= set(document[name])
    assert document["power"]["identifiable"]
    assert document["power"]["value"] == pytest.approx(0.8, rel=0.1)  # other physics: plausibility
    assert kiln.read_text(encoding="utf-8") == before
    wrote = ask("kiln", "fit", "kiln.toml", log.name, "--kwh", f"{kwh:.1f}", "--write")
    assert wrote.returncode == 1
    after = kiln.read_text(encoding="utf-8")
    assert after.startswith("# my kiln\n")
    assert "basis = " in after
    kept = [line for line in before.splitlines() if line.startswith("#")]
    assert all(line in after for line in kept)
    assert ask("forecast", "thin-ware-bisque", "--kiln", "kiln.toml").returncode in (0, 1)


def test_every_fit_is_kept_and_lost_power_is_an_alarm(ask: Run, kiln: Path, tmp_path: Path) -> None:
    # Without a meter: the load alone is no yardstick here, what the kiln loses is.
    for name, factor in (("sound.csv", 1.0), ("weak.csv", 0.8)):
        made = fire(GLAZE, faults=Faults(power_factor=factor))
        write_csv(sample(made, Sampling(interval_s=60.0, with_duty=True)), tmp_path / name)
    first = ask("kiln", "fit", "kiln.toml", "sound.csv", "--write", "--json")
    assert first.returncode == 0, first.stdout
    second = ask("kiln", "fit", "kiln.toml", "weak.csv", "--write", "--json")
    assert second.returncode == 1, second.stderr
    change = json.loads(second.stdout)["trend"]["change"]
    assert change["flagged"]
    assert change["measure"] == "power over losses"
    assert change["ratio"] == pytest.approx(0.8, abs=0.03)
    again = ask("kiln", "fit", "kiln.toml", "weak.csv", "--write")
    assert "Power is down 20 %" in again.stdout
    kept = tomllib.loads(kiln.read_text(encoding="utf-8"))
    assert [entry["basis"].split(": ")[1][:9] for entry in kept["fit"]] == [
        "sound.csv",
        "weak.csv;",
    ]
    assert kept["fitted"]["leak"] == kept["fit"][-1]["leak"]


def test_each_log_may_have_its_own_schedule_and_load(ask: Run, tmp_path: Path) -> None:
    for name, plan in (("bisque.csv", BISQUE), ("glaze.csv", GLAZE)):
        write_csv(sample(fire(plan), Sampling(interval_s=60.0)), tmp_path / name)
    for name, plan in (("bisque", BISQUE), ("glaze", GLAZE)):
        rows = [f'title = "{name}"', f'purpose = "{name}"']
        for rate, target, hold_s in plan:
            rows += ["[[segment]]", f"rate = {rate}", f"target = {target}"]
            rows += [f'hold = "{hold_s / 60:.0f}m"'] if hold_s else []
        (tmp_path / f"{name}.toml").write_text("\n".join(rows), encoding="utf-8")
    logs = ("bisque.csv", "glaze.csv")
    loads = ("--load", "example-load-thin-cups", "--load", "example-load-glazed-cups")
    plans = ("--schedule", "bisque.toml", "--schedule", "glaze.toml")
    both = ask("kiln", "fit", "example-kiln", *logs, *plans, *loads, "--json")
    assert both.returncode == 0, both.stderr
    document = json.loads(both.stdout)
    assert document["basis"].split(": ")[-1].startswith("bisque.csv, glaze.csv; fixed by")
    wrong = ask("kiln", "fit", "example-kiln", *logs, *logs[:1], *plans)
    assert wrong.returncode == 2
    assert "--schedule stands 2 times and LOG 3 times" in wrong.stderr


def test_a_bisque_that_never_saturates_cannot_tell_the_power(ask: Run, tmp_path: Path) -> None:
    write_csv(sample(fire(BISQUE), Sampling(interval_s=60.0)), tmp_path / "log.csv")
    result = ask("kiln", "fit", "example-kiln", "log.csv", "--json")
    assert result.returncode == 0
    document = json.loads(result.stdout)
    assert document["power"]["identifiable"] is False
    assert document["cannot_tell"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("power_kw = 9.6", "power_kw = 0"), "power_kw"),
        (("thickness_mm = 75", "thickness_mm = 0"), "thickness_mm"),
        (("actual_volts = 240", "actual_volts = 24"), "actual_volts"),
        (('"insulating brick 1260"', '"insulating brik 1260"'), "did you mean"),
    ],
)
def test_faults_in_a_kiln_file_are_told_with_their_line(
    ask: Run, kiln: Path, change: tuple[str, str], words: str
) -> None:
    text = kiln.read_text(encoding="utf-8")
    assert change[0] in text
    kiln.write_text(text.replace(*change), encoding="utf-8")
    result = ask("forecast", "thin-ware-bisque", "--kiln", "kiln.toml")
    assert result.returncode == 2
    assert result.stderr.startswith("firing: kiln.toml:")
    assert words in result.stderr


def test_negative_furniture_is_refused(ask: Run, tmp_path: Path) -> None:
    text = ready_text("example-load-thin-cups")
    line = next(row for row in text.splitlines() if row.startswith("furniture_kg"))
    (tmp_path / "load.toml").write_text(text.replace(line, "furniture_kg = -3"), encoding="utf-8")
    result = ask("forecast", "thin-ware-bisque", "--load", "load.toml")
    assert result.returncode == 2
    assert "furniture_kg" in result.stderr


def test_a_kiln_that_stalls_exits_1_and_says_where(ask: Run, kiln: Path) -> None:
    text = kiln.read_text(encoding="utf-8").replace("power_kw = 9.6", "power_kw = 5.5")
    kiln.write_text(text, encoding="utf-8")
    result = ask("forecast", "stoneware-glaze-1240", "--kiln", "kiln.toml")
    assert result.returncode == 1
    assert "stalls at" in " ".join(result.stdout.split())


def test_cost_and_starts(ask: Run) -> None:
    result = ask(
        "forecast", "stoneware-glaze-1240", "--kiln", "example-kiln", "--tariff", "example-tariff",
        "--start", "2026-11-27 20:00", "--awake", "07:00-22:00", "--json",
    )  # fmt: skip
    document = json.loads(result.stdout)
    assert document["currency"] == "EUR"
    # between all at the low price and all at the high one
    assert 0.21 * document["energy_kwh"] <= document["cost"] <= 0.34 * document["energy_kwh"]
    assert document["starts"]["cheapest"]["amount"] <= document["cost"] + 1e-9
    assert document["starts"]["awake"]


def test_a_log_too_short_to_fit_and_mismatched_meters_are_refused(ask: Run, tmp_path: Path) -> None:
    (tmp_path / "short.csv").write_text("time_s,kiln\n0,20\n60,21\n120,22\n", encoding="utf-8")
    for arguments in (("short.csv",), ("short.csv", "--kwh", "5", "--kwh", "6")):
        result = ask("kiln", "fit", "example-kiln", *arguments)
        assert result.returncode == 2
        assert result.stderr.count("\n") == 1
