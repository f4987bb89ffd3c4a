"""The summary of rows whose habits are known, as they were written down."""

import hashlib
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet

from firing.errors import FiringError
from firing.fleet.row import Row
from firing.fleet.summary import FleetSummary, summarise
from firing.fleet.table import FleetTable
from firing.report.fleet import fleet_report
from firing.report.page import render_page
from firing.report.text import render_text

HOUR = 3600.0
FIRST = datetime(2026, 1, 1, 8, tzinfo=UTC)


def firing(number: int, kiln: str, plan: str = "glaze", **figures: Any) -> Row:
    """Return the row of a firing that ran as planned in ten hours, unless its figures say else."""
    log = f"{kiln}/{number:03d} {plan}.csv"
    at = FIRST + timedelta(days=number)
    usual: dict[str, Any] = {
        "status": "reviewed", "started_at": at, "month": f"{at:%Y-%m}", "planned_s": 10 * HOUR,
        "excess_s": 60.0, "ended": "program", "peak_c": 1200.0, "planned_peak_c": 1200.0,
        "act": False, "log_sha256": hashlib.sha256(log.encode()).digest(), "kiln": kiln,
        "plan": plan,
    }  # fmt: skip
    return Row(log=log, **{**usual, **figures})


def summed(folder: Path, *rows: Row) -> FleetSummary:
    table = FleetTable(str(folder / "table"))
    table.open_for_writing()
    table.add(rows)
    table.settle()
    table.close()
    return summarise(table)


def test_a_kiln_is_late_by_its_last_firings_and_not_for_a_plan_that_is_late_everywhere(
    tmp_path: Path,
) -> None:
    late = 1.5 * HOUR  # over both half an hour and a tenth of ten hours
    rows = [firing(n, kiln, "rush", excess_s=late) for n in range(6) for kiln in ("a", "b")]
    rows += [firing(n, "a", excess_s=0.9 * HOUR) for n in range(10, 16)]  # under a tenth
    rows += [firing(n, "b", excess_s=late if n >= 15 else 0.0) for n in range(10, 25)]
    found = summed(tmp_path, *rows)
    kilns = {one.kiln: one for one in found.kilns}
    assert kilns["a"].late == 0.0
    assert kilns["b"].late == 1.0  # its last ten; of all fifteen two thirds
    assert kilns["b"].firings == 21
    plans = {one.plan: one for one in found.plans}
    assert plans["rush"].is_late
    assert plans["rush"].excess_s == late
    assert not plans["glaze"].is_late
    assert [(one.kind, one.kiln or one.plan) for one in found.first] == [
        ("plan", "rush"), ("late", "b"),
    ]  # fmt: skip


def test_wear_counts_from_the_last_new_elements_and_each_plan_against_itself(
    tmp_path: Path,
) -> None:
    rows = []
    for number in range(40):
        # 2 % of the power goes with every firing, until new elements after the twentieth
        power = 0.98 ** (number % 20)
        plan = ("glaze", "bisque")[number % 2]
        offset = 1.06 if plan == "bisque" else 1.0  # the two plans' figures stand 6 % apart
        rows.append(firing(number, "worn", plan, power_over_loss=power * offset,
                           power_over_loss_se=0.01))  # fmt: skip
        rows.append(firing(number, "sound", plan, power_over_loss=offset,
                           power_over_loss_se=0.01))  # fmt: skip
    kilns = {one.kiln: one for one in summed(tmp_path, *rows).kilns}
    worn, sound = kilns["worn"].wear, kilns["sound"].wear
    assert worn is not None
    assert sound is not None
    assert worn.sure
    assert worn.firings == 20
    assert worn.change == pytest.approx(0.98**19 - 1.0, abs=1e-3)
    assert not sound.sure
    assert sound.change == pytest.approx(0.0, abs=1e-9)


def test_noise_alone_is_no_wear(tmp_path: Path) -> None:
    chance = np.random.default_rng(5)
    rows = [
        firing(n, f"kiln {k}", power_over_loss=float(np.exp(chance.normal(0.0, 0.03))),
               power_over_loss_se=0.03)
        for k in range(40) for n in range(12)
    ]  # fmt: skip
    found = summed(tmp_path, *rows)
    assert sum(one.wear is not None and one.wear.sure for one in found.kilns) <= 1


def test_sums_by_month_are_those_of_the_rows(tmp_path: Path) -> None:
    chance = np.random.default_rng(3)
    rows = [
        firing(n, "ab"[n % 2], energy_kwh=float(chance.uniform(20, 80)), currency="EUR",
               cost=float(chance.uniform(5, 20)), month=None if n == 7 else "2026-02")
        for n in range(20)
    ]  # fmt: skip
    found = summed(tmp_path, *rows)
    assert [(one.month, one.kiln, one.firings) for one in found.months] == [
        ("2026-02", "a", 10), ("2026-02", "b", 9), (None, "b", 1),
    ]  # fmt: skip
    assert found.undated == 1
    for one in found.months:
        own = [row for row in rows if (row.month, row.kiln) == (one.month, one.kiln)]
        assert one.energy_kwh == pytest.approx(sum(row.energy_kwh or 0.0 for row in own))
        assert one.cost == pytest.approx(sum(row.cost or 0.0 for row in own))


def test_amounts_of_two_currencies_are_not_added_up(tmp_path: Path) -> None:
    rows = [
        firing(n, "a", energy_kwh=50.0, cost=9.0, currency=c) for n, c in enumerate(["EUR", "USD"])
    ]
    found = summed(tmp_path, *rows)
    assert found.kilns[0].cost is None
    assert [one.cost for one in found.months] == [None]
    assert found.kilns[0].energy_kwh == 100.0


def test_copies_count_once_and_unreadable_logs_each(tmp_path: Path) -> None:
    empty = hashlib.sha256(b"").digest()
    first = firing(1, "a", log_sha256=b"1" * 32)
    copy = firing(2, "a", log_sha256=b"1" * 32)
    bad = [Row(log=f"bad {n}.csv", status="unreadable", sentence="is empty", log_sha256=empty)
           for n in range(3)]  # fmt: skip
    found = summed(tmp_path, copy, first, *bad)
    assert found.counts == {"reviewed": 1, "unreadable": 3}
    assert found.copies == 1
    assert found.kilns[0].firings == 1
    assert {one.log for one in found.not_reviewed} == {one.log for one in bad}


def test_a_firing_logged_twice_counts_once_by_its_longer_log(tmp_path: Path) -> None:
    cut = firing(1, "a", begins_like=-7, readings=60, energy_kwh=None, ended="log")
    whole = firing(2, "a", begins_like=-7, readings=900, energy_kwh=50.0)
    others = [firing(n, "a", readings=900, energy_kwh=60.0) for n in (3, 4)]
    found = summed(tmp_path, cut, whole, *others)
    assert (found.copies, found.kilns[0].firings, found.kilns[0].energy_kwh) == (1, 3, 170.0)
    assert found.kilns[0].energy_unknown == 0


def test_forecast_and_unknown_energy_are_said_beside_the_sum(tmp_path: Path) -> None:
    known = ("output", "meter", "forecast", "forecast")
    rows = [firing(n, "a", energy_kwh=50.0, energy_from=one) for n, one in enumerate(known)]
    found = summed(tmp_path, *rows, firing(9, "a", ended="log"))
    kiln = found.kilns[0]
    assert (kiln.energy_kwh, kiln.energy_forecast_kwh, kiln.energy_unknown) == (200.0, 100.0, 1)
    for brief in (True, False):
        text = " ".join(render_text(fleet_report(found), brief=brief).split())
        assert "100 of the 200 kWh are forecast: those logs show no output." in text
        assert "1 firing has no kWh" in text
    assert "100 of the 200 kWh are forecast" in render_page(fleet_report(found))


def test_a_plan_fired_once_excuses_no_kiln_and_what_does_is_named(tmp_path: Path) -> None:
    late = 2.0 * HOUR
    once = summed(tmp_path / "once", firing(0, "a", "cups", excess_s=late),
                  *(firing(n, "a") for n in range(1, 4)))  # fmt: skip
    assert not {one.plan: one for one in once.plans}["cups"].is_late
    assert once.kilns[0].late == 0.25
    rush = [firing(n, "a", "rush", excess_s=late) for n in range(4)]
    always = summed(tmp_path / "always", *rush, *(firing(n, "a") for n in range(4, 8)))
    assert always.kilns[0].late == 0.0
    text = " ".join(render_text(fleet_report(always), brief=True).split())
    assert "Late and excess of a kiln leave out what is late everywhere: rush." in text


def test_a_table_of_an_earlier_version_is_read_and_goes_on(tmp_path: Path) -> None:
    rows = [firing(n, "a", energy_kwh=50.0) for n in range(3)]
    summed(tmp_path, *rows)
    (part,) = (tmp_path / "table").glob("*.parquet")
    parquet.write_table(parquet.read_table(part).drop_columns(["begins_like"]), part)
    again = summed(tmp_path, firing(9, "a", energy_kwh=10.0))
    assert (again.logs, again.kilns[0].energy_kwh) == (4, 160.0)


def test_nothing_wrong_is_said_as_such(tmp_path: Path) -> None:
    found = summed(tmp_path, *[firing(n, "a") for n in range(12)])
    assert not found.needs_action
    assert "Nothing asks for a look" in render_text(fleet_report(found), brief=True)


@pytest.mark.parametrize(
    "rows", [[], [Row(log="x.csv", status="failed", sentence="took too long")]]
)
def test_a_table_without_a_review_has_a_summary(tmp_path: Path, rows: list[Row]) -> None:
    found = summed(tmp_path, *rows)
    assert found.logs == len(rows)
    assert found.to_dict()["kilns"] == []
    assert render_page(fleet_report(found))


def test_hostile_names_are_shown_and_harm_nothing(tmp_path: Path) -> None:
    name = "<script>alert(1)</script>\x1b[31m"
    found = summed(tmp_path, *[firing(n, name, excess_s=9 * HOUR) for n in range(6)])
    page, text = render_page(fleet_report(found)), render_text(fleet_report(found))
    assert "<script>alert" not in page
    assert "\x1b" not in page + text


def test_a_part_that_is_none_is_a_sentence(tmp_path: Path) -> None:
    summed(tmp_path, firing(1, "a"))
    (tmp_path / "table" / "rows-00000001.parquet").write_bytes(b"no parquet")
    with pytest.raises(FiringError, match="no part of a table"):
        summarise(FleetTable(str(tmp_path / "table")))


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (lambda t: t.drop_columns("peak_c"), "column peak_c stands there 0 times"),
        (lambda t: t.append_column("log", t["plan"]), "column log stands there 2 times"),
        (lambda t: t.set_column(1, "status", t["act"]), "column status holds bool, not string"),
        (lambda t: t.set_column(1, "status", pa.nulls(1, pa.string())), "column status has empty "),
    ],
)
def test_a_part_with_other_columns_is_a_sentence(
    damage: Callable[[pa.Table], pa.Table], said: str, tmp_path: Path
) -> None:
    summed(tmp_path, firing(1, "a"))
    part = tmp_path / "table" / "rows-00000001.parquet"
    held = parquet.read_table(part)
    others = [one for one in held.column_names if one not in ("log", "status")]
    parquet.write_table(damage(held.select(["log", "status", *others])), part)
    with pytest.raises(FiringError, match=rf"no part of a table \({said}"):
        summarise(FleetTable(str(tmp_path / "table")))


def test_what_is_unsure_left_out_or_empty_is_told_in_the_first_lines(tmp_path: Path) -> None:
    """Seven firings that fit two plans, two of them of no known kiln; a copy; an empty file."""
    by = "uncertain: leaves 2 h to explain, at its peak; jars fits nearly as well, and leaves 2 h"
    rows = [firing(n, "front", excess_s=3 * HOUR, plan_by=by, cost=10.0, currency="USD")
            for n in range(5)]  # fmt: skip
    rows += [replace(firing(n, "x", excess_s=3 * HOUR, plan_by=by), kiln=None) for n in (5, 6)]
    rows.append(replace(rows[0], log="copy.csv"))
    rows.append(Row(log="empty.csv", status="unreadable", log_bytes=0, sentence="it is empty"))
    found = summed(tmp_path, *rows)
    unsure, late = found.first[:2]
    assert unsure.kind == "unsure"
    assert unsure.reason.startswith("7 logs fit glaze and jars alike")
    assert "7 firings, 5 of them in 1 kiln, 7 of them perhaps jars" in late.reason
    assert [one.command for one in found.first if one.kind == "logs"] == [None]
    printed = render_text(fleet_report(found), brief=True)
    assert "1 copy left out" in printed
    assert "cost, USD" in printed


def test_a_log_that_leaves_an_option_open_is_not_reviewed_without_it(tmp_path: Path) -> None:
    said = ("the date leaves it open; say --date-order dmy or --date-order mdy", "no column")
    found = [
        summed(tmp_path / str(n), Row(log="a", log_bytes=9, status="unreadable", sentence=words))
        for n, words in enumerate(said)
    ]
    assert [one.first[0].command for one in found] == [None, "firing review PLAN a"]
