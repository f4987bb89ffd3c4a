"""A kiln learnt over firings whose loads nobody knows: kilns of other physics, of known truth."""

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from commandline import call
from kiln.fitlogs import schedule_of
from kiln.held_out import (
    BISQUE,
    GLAZE,
    KILNS,
    NEXT,
    Fired,
    Round,
    fire_all,
    owner_file,
    usual_charge,
)
from logbook.studio import make_folder
from logmaker import write_csv

from firing.errors import FiringError
from firing.forecast.forecast import forecast
from firing.kiln.description import Fitted, PastPower
from firing.kiln.file import parse_kiln, write_fitted
from firing.kiln.residuals import FiringRecord
from firing.logbook.learning import learn
from firing.logs.reader import read_log
from firing.review.fit_input import fit_input_of

TEN = KILNS[:10]
AFTER_THREE = (1.0, 0.95, 0.90)
"""Power of three firings between which elements wear fast."""


@cache
def fired(kilns: int, powers: tuple[float, ...], seed: int) -> tuple[tuple[Round, Fired], ...]:
    """A glaze, a bisque and two glazes of each kiln, loads from 0.8 to 1.2 of the usual."""
    random = np.random.default_rng(seed)
    rounds = [
        Round(
            kiln,
            usual_charge(kiln, raw=plan is BISQUE, share=float(random.uniform(0.8, 1.2))),
            plan,
            power_factor=power,
            volts=1.0 + float(random.normal(0.0, 0.003)),
            room_c=float(random.uniform(16.0, 24.0)),
            patience_h=30.0,
        )
        for kiln in TEN[:kilns]
        for plan, power in zip((GLAZE, BISQUE, *NEXT[:2]), (*powers, powers[-1]), strict=True)
    ]
    return tuple(zip(rounds, fire_all(tuple(rounds)), strict=True))


def record(one: Round, made: Fired, path: Path, *, duty: bool, seed: int) -> FiringRecord:
    """A firing's log, its load unknown, as a fit takes it."""
    log = read_log(write_csv(made.table(seed=seed, duty=duty), path))
    plan = schedule_of(one.plan, "bisque" if one.charge.raw else "glaze")
    return fit_input_of(log, schedule=plan)


def next_is_missed_by(four: tuple[tuple[Round, Fired], ...], folder: Path, *, duty: bool) -> float:
    """Return by what share the fourth firing's heating is missed after three."""
    kiln = owner_file(four[0][0].kiln)
    records = [
        record(one, made, folder / f"{n}.csv", duty=duty, seed=n)
        for n, (one, made) in enumerate(four[:3])
    ]
    taught = replace(kiln, fitted=learn(kiln, records).fitted)
    one, made = four[3]
    course = forecast(schedule_of(one.plan), kiln=taught, waits=one.kiln.waits)
    return abs(course.heating_s / made.heating_s - 1.0)


@pytest.mark.soak
@pytest.mark.parametrize("duty", [True, False])
@pytest.mark.parametrize(("power", "seed"), [(1.0, 11), (0.9, 13)], ids=["new", "at its limit"])
def test_the_next_firing_is_foretold_after_three_with_unknown_loads(
    tmp_path: Path, power: float, seed: int, duty: bool
) -> None:
    every = fired(10, (power,) * 3, seed)
    missed = [
        next_is_missed_by(every[i : i + 4], tmp_path, duty=duty) for i in range(0, len(every), 4)
    ]
    assert float(np.median(missed)) <= 0.03
    assert max(missed) <= 0.06


@pytest.mark.soak
def test_change_and_level_are_reported_apart(tmp_path: Path) -> None:
    """Ten per cent lost between three firings of other loads is found; the level stays open."""
    four = fired(1, AFTER_THREE, 12)
    kiln = owner_file(four[0][0].kiln)
    records = [
        record(one, made, tmp_path / f"{n}.csv", duty=True, seed=n)
        for n, (one, made) in enumerate(four[:3])
    ]
    learnt = learn(kiln, records)
    assert learnt.change is not None
    assert learnt.change_se is not None
    assert learnt.change == pytest.approx(-0.10, abs=0.02)
    assert learnt.change_se < 0.02 < learnt.level_se
    assert not learnt.anchored
    assert any("kWh are not" in words for words in learnt.cannot_tell)
    for one in learnt.profiles:
        assert one.low <= one.value <= one.high
    metered = [replace(r, kwh=made.kwh) for r, (_, made) in zip(records, four[:3], strict=True)]
    known = learn(kiln, metered)
    assert known.anchored
    assert known.level_se < learnt.level_se
    # Worked on between the second and the third: the path may jump there.
    jumps = learn(kiln, records, [2])
    assert jumps.firings[2].power == pytest.approx(learnt.firings[2].power, rel=0.03)
    with pytest.raises(FiringError, match="nothing is learnt"):
        learn(kiln, [])


def test_kiln_files_keep_the_usual_load_and_a_dated_history() -> None:
    text = (
        'name = "k"\npower_kw = 9.6\nrated_volts = 240\nvolume_l = 180\nshape = "round"\n'
        '# the wall\n[[wall]]\nmaterial = "insulating brick 1260"\nthickness_mm = 75\n'
    )
    plain = parse_kiln(text, "k")
    days = [PastPower(np.datetime64(f"2026-03-0{d}").item(), 0.9, 0.01, 1.1) for d in (1, 2)]
    written = write_fitted(text, Fitted(power=0.9, usual_load=1.2), history=days)
    again = write_fitted(
        written, Fitted(power=0.9, usual_load=1.2), history=[replace(days[1], power=0.8)]
    )
    kiln = parse_kiln(again, "k")
    assert "# the wall" in again
    assert [day.power for day in kiln.history] == [0.9, 0.8]
    assert kiln.fitted.usual_load == 1.2
    # A given load is what it is; a typical one is 1.2 times as heavy.
    usual, typical = kiln.inside(None, "glaze"), plain.inside(None, "glaze")
    assert usual.ware_kg == pytest.approx(1.2 * typical.ware_kg)
    assert kiln.inside(typical, "glaze") is typical


def test_a_potter_learns_the_kiln_from_the_logbook(tmp_path: Path) -> None:
    make_folder(tmp_path / "studio", 3)
    book = ("--logbook", str(tmp_path / "book.sqlite"))
    assert call(tmp_path, "keep", "studio", *book).returncode == 0
    done = call(tmp_path, "kiln", "fit", "studio/kiln.toml", "--write", "--json", *book)
    assert done.returncode == 0
    shown = json.loads(done.stdout)
    # All three were fired with the same power.
    assert shown["change"] == pytest.approx(0.0, abs=0.015)
    assert shown["change_se"] < 0.02 < shown["level_se"]
    assert any("kWh are not" in words for words in shown["cannot_tell"])
    for one in shown["profiles"]:
        assert one["low"] <= one["value"] <= one["high"]
    kiln = parse_kiln((tmp_path / "studio/kiln.toml").read_text(encoding="utf-8"), "kiln")
    assert len(kiln.history) == 3
    both = call(tmp_path, "kiln", "fit", "studio/kiln.toml", "studio/log-00.csv", *book)
    assert both.returncode == 2
    none = call(tmp_path, "kiln", "fit", "studio/kiln.toml")
    assert none.returncode == 2
    assert "--logbook" in none.stderr
