"""Kilns of other physics, learnt from one log: what the next firing takes, and how surely.

The long tests hold the whole fourteen to the bars; two kilns stand for them in every run.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from kiln.foretelling import (
    AnyRound,
    Evidence,
    Firings,
    described_by_owner,
    foretold,
    learnt,
    record_of,
    rounds_and_firings,
    shell_firings,
)
from kiln.held_out import KILNS, Fired, Round, fire_all, owner_file, usual_charge
from kiln.shell_kilns import ShellRound, fire_shells

from firing.heat.properties import wall_material
from firing.kiln.element_wear import Trend, power_trend
from firing.kiln.fit import fit_kiln

Held = tuple[bool, bool, bool]
"""Whether heating, opening and kWh of a firing were within their ranges."""
LESS = ("bisque", "temperature")
OTHER_GLAZE = ((110.0, 250.0, 0.0), (170.0, 1000.0, 0.0), (80.0, 1215.0, 900.0))
LOST: dict[str, dict[str, float]] = {
    "10 %": {"power_factor": 0.9},
    "20 %": {"power_factor": 0.8},
    "30 %": {"power_factor": 0.7},
    "a dead bank": {"power_factor": 2.0 / 3.0},
    "5 % less volts": {"volts": 0.95},
    "10 % less volts": {"volts": 0.90},
}


def errors(evidence: Evidence, folder: Path) -> np.ndarray:
    """Shares by which heating, opening and kWh of the next firing are missed, kiln by kiln."""
    found = []
    for firings in rounds_and_firings():
        kiln = learnt(firings, evidence, folder)
        one, fired = firings[2]
        course = foretold(kiln, one)
        assert course.kiln is not None
        found.append(
            (
                course.heating_s / fired.heating_s - 1.0,
                course.total_s / fired.opens_s - 1.0,
                course.kiln.energy_kwh / fired.kwh - 1.0,
            )
        )
    shares = np.abs(np.array(found))
    print(f"{evidence}: largest errors of heating, opening, kWh {shares.max(axis=0).round(3)}")
    return shares


@pytest.mark.soak
def test_one_metered_glaze_foretells_the_next(tmp_path: Path) -> None:
    heating, opening, energy = errors("glaze", tmp_path).T
    assert np.count_nonzero(heating <= 0.03) == len(KILNS)
    assert np.count_nonzero(opening <= 0.03) >= 12
    assert np.count_nonzero(energy <= 0.05) == len(KILNS)


@pytest.mark.soak
@pytest.mark.parametrize("evidence", ["bisque", "temperature"])
def test_less_foretells_the_heating_of_a_glaze(evidence: Evidence, tmp_path: Path) -> None:
    assert np.all(errors(evidence, tmp_path)[:, 0] <= 0.06)


def coverage(sets: dict[str, Sequence[Firings]], evidence: Evidence, folder: Path) -> list[Held]:
    """Whether each held firing's heating, opening and kWh were in their ranges; printed by set."""
    found: list[Held] = []
    for name, kilns in sets.items():
        sides = Counter[tuple[str, str]]()
        rows: list[Held] = []
        for firings in kilns:
            kiln = learnt(firings, evidence, folder)
            for one, fired in firings[2:]:
                course = foretold(kiln, one)
                assert course.kiln is not None
                ranges = course.kiln.ranges
                places = [
                    (what, "below" if truth < low else "above" if truth > high else "inside")
                    for what, (low, high), truth in (
                        ("heating", ranges.heating_s, fired.heating_s),
                        ("opening", ranges.total_s, fired.opens_s),
                        ("kWh", ranges.energy_kwh, fired.kwh),
                    )
                ]
                sides.update(places)
                heating, opening, energy = (place == "inside" for _, place in places)
                rows.append((heating, opening, energy))
        for what in ("heating", "opening", "kWh"):
            counts = ", ".join(f"{p} {sides[what, p]}" for p in ("below", "inside", "above"))
            print(f"{evidence}, {name}: {what} {counts} of {len(rows)}")
        found += rows
    return found


@pytest.mark.soak
@pytest.mark.parametrize(
    "known",
    [("nothing",), ("glaze", "bisque", "temperature")],
    ids=["only described", "fitted"],
)
def test_ranges_hold_four_firings_of_five(known: tuple[Evidence, ...], tmp_path: Path) -> None:
    # Kilns of two other physics: one set as its owners describe it, one with owners' errors.
    sets: dict[str, Sequence[Firings]] = {
        "as described": rounds_and_firings(),
        "drawn at random": shell_firings(),
    }
    rows: list[Held] = []
    for evidence in known:
        # A third of the kilns stands for all where less is logged than a glaze with everything.
        some = {name: v[:: 3 if evidence in LESS else 1] for name, v in sets.items()}
        rows += coverage(some, evidence, tmp_path)
    held = np.mean(rows, axis=0)
    print(len(rows), "firings, heating, opening, kWh inside:", held.round(2))
    assert len(rows) >= 60
    assert np.all(held >= 0.70)
    assert np.all(held <= 0.92)  # wider than they need be is not honest either


TRUE_POWER = {"nothing": 1.0, "5 % less volts": 0.95**2, "10 % less volts": 0.90**2}  # P = V²/R
TRUE_POWER |= {name: lost["power_factor"] for name, lost in LOST.items() if "power_factor" in lost}


def judged(
    first: tuple[AnyRound, Fired],
    then: tuple[AnyRound, Fired],
    folder: Path,
    *,
    output: bool,
    loaded: bool,
) -> Trend:
    """What is said of a later firing's power, its kiln learnt from the first, metered if logged."""
    kiln = described_by_owner(first[0])
    before = fit_kiln(
        kiln, [record_of(*first, folder, output=output, loaded=loaded, metered=output)]
    )
    known = replace(kiln, fitted=before.to_fitted(), fits=(before.to_past(),))
    now = record_of(*then, folder, output=output, loaded=loaded, metered=False, seed=7, name="now")
    return power_trend(known, [fit_kiln(known, [now])])


def score(name: str, trend: Trend) -> str:
    """Whether the power lost is said right, said wrong, or left open."""
    change = trend.change
    if change is None or not change.flagged:
        return "silent"
    off = change.ratio - TRUE_POWER[name]
    near = off > -0.05 if change.at_least else abs(off) < 0.05
    return "right" if near and name != "nothing" else "wrong"


def sound_and_lost(one: AnyRound) -> tuple[list[str], list[AnyRound]]:
    """A firing sound, and with every loss of power."""
    cases: dict[str, dict[str, float]] = {"nothing": {}, **LOST}
    return list(cases), [replace(one, **lost) for lost in cases.values()]


@pytest.mark.soak
@pytest.mark.parametrize("loaded", [True, False])
@pytest.mark.parametrize("output", [True, False])
def test_lost_power_is_said(output: bool, loaded: bool, tmp_path: Path) -> None:
    scores = Counter[str]()
    for kiln in (KILNS[0], KILNS[1], KILNS[8]):
        names, rounds = sound_and_lost(Round(kiln, usual_charge(kiln, share=0.92), OTHER_GLAZE))
        first = rounds_and_firings((kiln,))[0][0]
        firings = fire_all(tuple(one for one in rounds if isinstance(one, Round)))
        for name, *then in zip(names, rounds, firings, strict=True):
            trend = judged(first, (then[0], then[1]), tmp_path, output=output, loaded=loaded)
            scores[score(name, trend)] += 1
            print(kiln.name, name, trend.change)
    assert scores["wrong"] == 0
    assert scores["right"] >= 15


@pytest.mark.soak
@pytest.mark.parametrize("output", [True, False])
def test_lost_power_of_kilns_drawn_at_random_is_said_or_left_open(
    output: bool, tmp_path: Path
) -> None:
    # The second keeps to its program with up to 20 % less: without output nobody can know.
    scores = Counter[str]()
    for firings in shell_firings()[:2]:
        plain = replace(firings[2][0], plan=OTHER_GLAZE, room_c=20.0, volts=1.0)
        names, rounds = sound_and_lost(plain)
        fired = fire_shells(tuple(one for one in rounds if isinstance(one, ShellRound)))
        for name, one, made in zip(names, rounds, fired, strict=True):
            trend = judged(firings[0], (one, made), tmp_path, output=output, loaded=False)
            scores[score(name, trend)] += 1
            kept_up = made.heating_s < 1.01 * fired[0].heating_s
            if score(name, trend) == "silent" and name != "nothing":
                assert kept_up
                assert trend.sentences[0].startswith("This log can't show"), name
    print(scores)
    assert scores["wrong"] == 0
    assert scores["right"] >= (12 if output else 8)


@pytest.mark.soak
@pytest.mark.parametrize("output", [True, False])
def test_a_wrong_brick_is_named_and_a_right_one_is_not(output: bool, tmp_path: Path) -> None:
    for firings in rounds_and_firings()[:6]:
        one, fired = firings[0]
        record = record_of(one, fired, tmp_path, output=output, metered=output)
        kiln = owner_file(one.kiln)
        assert not any("wall does not fit" in w for w in said_of(kiln, record))
        layer = replace(kiln.wall[0], material=wall_material("insulating brick 1400"))
        wrong = replace(kiln, wall=(layer, *kiln.wall[1:]))
        assert any("of insulating brick 1260 the model" in w for w in said_of(wrong, record))


def said_of(kiln, record) -> tuple[str, ...]:  # type: ignore[no-untyped-def]
    return fit_kiln(kiln, [record], try_walls=True).warnings


QUICK = (KILNS[1], KILNS[5])


def test_two_kilns_for_all(tmp_path: Path) -> None:
    for firings in rounds_and_firings(QUICK):
        kiln = learnt(firings, "glaze", tmp_path)
        one, fired = firings[2]
        course = foretold(kiln, one)
        assert course.kiln is not None
        assert course.heating_s == pytest.approx(fired.heating_s, rel=0.03)
        assert course.total_s == pytest.approx(fired.opens_s, rel=0.05)
        assert course.kiln.energy_kwh == pytest.approx(fired.kwh, rel=0.05)
        low, high = course.kiln.ranges.energy_kwh
        assert low < fired.kwh < high
        # An owner who has learnt nothing is told much less.
        unfitted = foretold(owner_file(one.kiln), one).kiln
        assert unfitted is not None
        assert unfitted.ranges.energy_kwh.high - unfitted.ranges.energy_kwh.low > 2.0 * (high - low)


def test_a_dead_bank_is_no_silence(tmp_path: Path) -> None:
    kiln = owner_file(QUICK[0])
    charge = usual_charge(QUICK[0])
    sound, dead = (Round(QUICK[0], charge, OTHER_GLAZE, power_factor=f) for f in (1.0, 2.0 / 3.0))
    before, now = (
        fit_kiln(kiln, [record_of(r, f, tmp_path, loaded=False, metered=False, name=name)])
        for (r, f), name in zip(
            zip((sound, dead), fire_all((sound, dead)), strict=True), ("then", "now"), strict=True
        )
    )
    trend = power_trend(replace(kiln, fits=(before.to_past(),)), [now])
    assert trend.needs_action
    assert trend.change is not None
    assert trend.change.ratio == pytest.approx(2.0 / 3.0, abs=0.04)
    said = " ".join(trend.sentences)
    assert "One dead bank of three would take a third of it." in said
    assert "measured by a competent person" in said
    # The same log again is no other fit, and no alarm.
    again = power_trend(replace(kiln, fits=(now.to_past(),)), [now])
    assert not again.needs_action
