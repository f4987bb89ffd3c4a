"""What a log left open comes before the result, whichever command reads it."""

import json
from importlib.resources import files
from pathlib import Path

import pytest
from commandline import call

PLAN = "thin-ware-bisque"


def fahrenheit(path: Path, peak: float) -> Path:
    """Write a firing in °F that says so nowhere: from 68 to a peak and a third of the way back."""
    lines = ["Time,Kiln"]
    for n in range(600):
        share = min(n / 400.0, 1.0) - max(0.0, (n - 420) / 540.0)
        at = f"2026-03-14 {8 + n // 60:02d}:{n % 60:02d}:00"
        lines.append(f"{at},{68.0 + (peak - 68.0) * share:.1f}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "command",
    [["heatwork", "LOG"], ["resume", PLAN, "LOG"], ["review", PLAN, "LOG"]],
    ids=lambda words: words[0],
)
def test_a_log_in_fahrenheit_is_settled_before_it_is_judged(
    command: list[str], tmp_path: Path
) -> None:
    log = str(fahrenheit(tmp_path / "log.csv", 1830.0))
    words = [log if word == "LOG" else word for word in command]
    shown = call(tmp_path, *words)
    assert "No unit is stated" in " ".join(shown.stdout.split())[:600]
    assert "--unit C" in shown.stdout
    document = json.loads(call(tmp_path, *words, "--json").stdout)
    assert any("no unit is stated" in note for note in document["log"]["notes"])


@pytest.mark.parametrize("command", [["heatwork"], ["resume", PLAN], ["review", PLAN]])
def test_a_decal_that_may_be_either_is_asked(command: list[str], tmp_path: Path) -> None:
    """68 to 1380 is a decal firing in °F, or one in °C that begins warm."""
    log = str(fahrenheit(tmp_path / "log.csv", 1380.0))
    refused = call(tmp_path, *command, log)
    assert refused.returncode == 2
    assert "--unit F" in refused.stderr
    assert "--unit C" in refused.stderr
    assert call(tmp_path, *command, log, "--unit", "F").returncode in (0, 1)


def test_a_fit_says_how_its_logs_were_read(tmp_path: Path) -> None:
    demo = files("firing") / "data" / "demo"
    text = (demo / "log.csv").read_text(encoding="utf-8").replace(" (°C)", "")
    log = tmp_path / "log.csv"
    log.write_text(text, encoding="utf-8")
    words = ["kiln", "fit", "example-kiln", str(log), "--schedule", str(demo / "plan.toml")]
    shown = call(tmp_path, *words)
    assert "No unit is stated" in shown.stdout
    document = json.loads(call(tmp_path, *words, "--json").stdout)
    assert any("no unit is stated" in note for note in document["log"]["notes"])
