"""An invented school: three kilns, three plans, and forty logs of a winter in one folder."""

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from logmaker import BISQUE, GLAZE, CsvStyle, Faults, PlanStep, Sampling, fire, sample, write_csv

from firing.fleet.jobs import FolderLogs
from firing.fleet.review_log import Studio
from firing.fleet.row import COLUMNS
from firing.fleet.run import Run, review_all
from firing.fleet.table import FleetTable

FAST: tuple[PlanStep, ...] = ((150.0, 600.0, 0.0), (400.0, 1060.0, 600.0))
"""A program that none of the school's kilns can follow past a thousand degrees."""
PLANS = {"bisque": BISQUE, "glaze": GLAZE, "fast-bisque": FAST}
WEARING = [1.0 - 0.022 * place for place in range(14)]
"""The share of its power that the barrel kiln has left, firing by firing."""
KILN = """name = "{name}"
power_kw = 9.6
rated_volts = 240
volume_l = 180
shape = "round"
max_c = 1300
leak_w_per_k = 0.45
thermocouple = "K"
[[wall]]
material = "insulating brick 1260"
thickness_mm = 75
"""
SAMPLING = Sampling(interval_s=180.0, with_duty=True, with_set_point=True)


def write_plan(path: Path, steps: tuple[PlanStep, ...]) -> None:
    lines = [f'title = "{path.stem}"', f'purpose = "{path.stem.rpartition("-")[2]}"']
    for rate, target_c, hold_s in steps:
        hold = f'hold = "{hold_s / 60:g}m"\n' if hold_s else ""
        lines.append(f"[[segment]]\nrate = {rate:g}\ntarget = {target_c:g}\n{hold}")
    path.write_text("\n".join(lines), encoding="utf-8")


def write_log(path: Path, plan: str, day: datetime, *, power: float = 1.0, seed: int = 1) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    made = fire(PLANS[plan], faults=Faults(power_factor=power), step_s=30.0, cool_to_c=500.0)
    write_csv(sample(made, replace(SAMPLING, seed=seed)), path, CsvStyle(started=day))


def write_studio(folder: Path) -> None:
    """Write the plans and the kilns."""
    for name in ("plans", "kilns"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    for name, steps in PLANS.items():
        write_plan(folder / "plans" / f"{name}.toml", steps)
    for name in ("barrel", "corner", "little"):
        path = folder / "kilns" / f"{name}.toml"
        path.write_text(KILN.format(name=f"{name} kiln"), encoding="utf-8")


def write_school(folder: Path) -> Path:
    """Write it all, and return its folder: ``plans``, ``kilns`` and ``logs``."""
    write_studio(folder)
    day = datetime(2026, 1, 5, 8)
    logs = folder / "logs"
    for place, power in enumerate(WEARING):
        at = day + timedelta(days=5 * place)
        write_log(logs / "barrel" / f"{at:%Y-%m-%d} glaze.csv", "glaze", at, power=power)
    for number, kiln in enumerate(("corner", "little")):
        for place in range(12):
            at = day + timedelta(days=6 * place + number)
            plan = "fast-bisque" if place % 3 == 2 else "bisque"
            path = logs / kiln / f"{at:%Y-%m-%d} {plan}.csv"
            write_log(path, plan, at, seed=100 * number + place)
    (logs / "barrel" / "notes glaze.csv").write_text("cracked two bowls\n", encoding="utf-8")
    (logs / "little" / "2026-02-30 bisque.csv").write_bytes(b"")
    return folder


PLAIN = "time_s,Kiln (°C)\n" + "".join(f"{60 * n},{20 + n}\n" for n in range(5))
"""A log of five minutes, cheap to review."""


def run_over(logs: Path, out: Path, studio: Studio, **options: Any) -> Run:
    table = FleetTable(str(out))
    return review_all(FolderLogs(str(logs)), table, studio, **{"workers": 1, **options})


def rows_in(out: Path) -> list[dict[str, Any]]:
    """Return a folder's rows; see `rows_of`."""
    return rows_of(FleetTable(str(out)))


def rows_of(table: FleetTable) -> list[dict[str, Any]]:
    """Return the rows by their logs, after seeing that no log has two."""
    found = table.read(COLUMNS).to_pylist()
    assert len({row["log"] for row in found}) == len(found)
    return sorted(found, key=lambda row: str(row["log"]))
