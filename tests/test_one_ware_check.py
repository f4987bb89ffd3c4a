"""One check of the ware: the same plan and load get the same verdict wherever they are asked about.

What the wall does is computed here once more, in explicit finite differences of its own.
"""

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from commandline import call
from design.making import EXAMPLES, PLANTERS_AND_CUPS, check_plan, example_kiln, ware
from firing.tui.equipment import ChosenFile, Circumstances, Equipment, forecast_plan
from longer import beyond

from firing.controller.controller import Controller
from firing.controller.program import key_in
from firing.design.designer import design
from firing.design.repair import repaired_design
from firing.design.request import DesignRequest
from firing.design.resume import resume
from firing.errors import FiringError
from firing.forecast.forecast import forecast
from firing.forecast.result import Forecast
from firing.report.card import Card, card_report
from firing.report.page import render_page
from firing.report.text import render_text
from firing.schedule.file import write_schedule
from firing.schedule.schedule import Schedule, Segment
from firing.trace import FloatArray
from firing.ware.body import body_named
from firing.ware.check import largest_difference
from firing.ware.load import Load
from firing.ware.reactions import reaction_capacity, release_per_k
from firing.ware.safe_rates import limits_for
from firing.ware.simulate import simulate_ware

HOUR = 3600.0
# Of the clay (body-diffusivity-practice), where its quartz changes, and 5 % more than 10 K.
KAPPA = 4e-7
QUARTZ_C = (550.0, 580.0)
ALLOWED_K = 10.5
# Hours at 90 °C and °C/h from there on: far below what 18, 40 and 50 mm are to have on the way up.
HEATING = {18.0: (10.0, 40.0), 40.0: (60.0, 9.0), 50.0: (90.0, 6.0)}


def plan(thickest_mm: float, *cooling: Segment) -> Schedule:
    """A bisque that heats slowly enough for its ware, and ends without a word of cooling."""
    hours, rate = HEATING[thickest_mm]
    heating = (Segment(90.0, 10.0, hold_s=hours * HOUR), Segment(980.0, rate, hold_s=600.0))
    return Schedule("slow bisque", (*heating, *cooling), "bisque")


def wall_k(time_s: FloatArray, face_c: FloatArray, path_m: float) -> float:
    """The largest difference through a cooling wall while its face is in the quartz window."""
    cells = 10
    width = path_m / cells
    step_s = 0.4 * width**2 / KAPPA
    late = time_s >= time_s[int(np.argmax(face_c))]
    times = np.arange(time_s[late][0], time_s[-1], step_s)
    faces = np.interp(times, time_s, face_c)
    wall = np.full(cells + 1, faces[0])
    largest = 0.0
    for before, now in zip(faces[:-1].tolist(), faces[1:].tolist(), strict=True):
        inner = wall[1:-1] + 0.4 * (wall[2:] - 2.0 * wall[1:-1] + wall[:-2])
        core = wall[-1] + 0.8 * (wall[-2] - wall[-1])
        wall[1:-1], wall[-1], wall[0] = inner, core, now
        if now < before and QUARTZ_C[0] <= now <= QUARTZ_C[1]:
            largest = max(largest, abs(core - now))
    return largest


def face_of(course: Forecast) -> tuple[FloatArray, FloatArray]:
    """The ware's face in a kiln, or the program and the default cooling."""
    if course.kiln is None:
        return course.trace.time_s, course.trace.channel_c()
    return course.kiln.run.time_s, course.kiln.run.ware_c


def load_file(folder: Path, load: Load) -> Path:
    piece = load.pieces[0]
    path = folder / "load.toml"
    path.write_text(
        f'dryness = "{load.dryness}"\nbody = "{load.body}"\nfurniture_kg = {load.furniture_kg}\n'
        f'[[piece]]\nname = "{piece.name}"\ncount = {piece.count}\n'
        f"thickest_mm = {piece.thickest_mm}\nmass_kg = {piece.mass_kg}\n"
        f'heated_from = "{piece.heated_from}"\n',
        encoding="utf-8",
    )
    return path


def firing(*arguments: str) -> tuple[int, dict[str, Any]]:
    done = call(Path.cwd(), *arguments, "--json")
    assert done.stdout, done.stderr
    return done.returncode, json.loads(done.stdout)


@pytest.mark.parametrize("in_kiln", [False, True])
@pytest.mark.parametrize("thickest_mm", beyond(1, [40.0, 50.0]))
def test_natural_cooling_too_fast_for_thick_ware_is_named_and_exits_1(
    thickest_mm: float, in_kiln: bool, tmp_path: Path
) -> None:
    load = ware(thickest_mm)
    schedule = plan(thickest_mm)
    write_schedule(schedule, tmp_path / "plan.toml")
    circumstances = ["--load", str(load_file(tmp_path, load))]
    if in_kiln:
        circumstances += ["--kiln", str(EXAMPLES / "example-kiln.toml")]
    controller = str(EXAMPLES / "example-controller.toml")
    file = str(tmp_path / "plan.toml")
    code, said = firing("forecast", file, *circumstances)
    assert code == 1
    warnings = [w for w in said["warnings"] if w["id"] == "ware_limit"]
    assert warnings
    assert all("Natural cooling" in warning["message"] for warning in warnings)
    code, card = firing("card", file, "--controller", controller, *circumstances)
    assert code == 1
    assert any("Natural cooling" in breach["message"] for breach in card["breaches"])
    code, mended = firing("design", "bisque", "--from", file, *circumstances)
    assert code == 0
    assert mended["safe"]
    assert mended["breaches"] == []
    # An independent wall agrees: the plan is not safe, and what it is mended to is.
    kiln = example_kiln() if in_kiln else None
    path_m = 0.0005 * thickest_mm
    assert wall_k(*face_of(forecast(schedule, kiln=kiln, load=load)), path_m) > 11.0
    made = repaired_design(schedule, load, kiln=kiln)
    assert wall_k(*face_of(made.forecast), path_m) <= ALLOWED_K


COOLINGS: list[tuple[Segment, ...]] = [
    (),
    (Segment(60.0, None, "off"),),
    (Segment(700.0, 100.0), Segment(540.0, 30.0)),
    (Segment(700.0, 100.0), Segment(540.0, 90.0), Segment(200.0, 50.0)),
]


@pytest.mark.parametrize(
    ("cooling", "thickest_mm", "in_kiln"),
    [
        # One of each cooling is tried each time, with every wall and kiln among them.
        pytest.param(
            cooling,
            thickest_mm,
            in_kiln,
            marks=[] if (j, k) == (i % 3, i % 2) else [pytest.mark.soak],
        )
        for i, cooling in enumerate(COOLINGS)
        for j, thickest_mm in enumerate((18.0, 40.0, 50.0))
        for k, in_kiln in enumerate((False, True))
    ],
)
def test_the_same_plan_and_load_get_the_same_verdict_everywhere(
    thickest_mm: float, in_kiln: bool, cooling: tuple[Segment, ...]
) -> None:
    load, schedule = ware(thickest_mm), plan(thickest_mm, *cooling)
    kiln = example_kiln() if in_kiln else None
    result = forecast(schedule, kiln=kiln, load=load)
    said = [breach.message for breach in result.breaches]
    whatever = Path("a file")
    equipment = Equipment(
        kiln=None if kiln is None else ChosenFile(whatever, kiln), load=ChosenFile(whatever, load)
    )
    screens = forecast_plan(schedule, Circumstances(equipment=equipment))
    assert [breach.message for breach in screens.breaches] == said
    assert [b.message for b in check_plan(schedule, load, kiln=kiln)] == said
    keyed = key_in(schedule, Controller(max_segments=99, hold_max_s=400 * HOUR))
    assert keyed.schedule.segments == schedule.segments
    card = Card(keyed, forecast(keyed.schedule, kiln=kiln, load=load))
    assert ("Not safe for this load" in render_text(card_report(card))) == bool(said)
    assert ("Not safe for this load" in render_page(card_report(card))) == bool(said)
    made = repaired_design(schedule, load, kiln=kiln)
    assert made.safe
    assert (made.schedule == schedule) == (not said)
    # Nothing fired yet: the rest is the whole plan, made as safe as a mended one.
    log = np.array([0.0, 60.0]), np.array([20.0, 20.1])
    rest = resume(schedule, *log, load=load, kiln=kiln)
    assert rest.problems == ()
    assert rest.schedule is not None
    assert [s.rate_c_per_h for s in rest.schedule.segments] == pytest.approx(
        [s.rate_c_per_h for s in made.schedule.segments], nan_ok=True
    ) or any(s.rate_c_per_h is None for s in schedule.segments)
    # And an independent wall bears each verdict out.
    path_m = 0.0005 * thickest_mm
    found_k = wall_k(*face_of(result), path_m)
    if not said:
        assert found_k <= ALLOWED_K
    if found_k > ALLOWED_K:
        assert said
    assert wall_k(*face_of(made.forecast), path_m) <= ALLOWED_K


@pytest.mark.parametrize("thickest_mm", [30.0, 45.0, 60.0])
@pytest.mark.parametrize("in_kiln", [False, True])
def test_a_design_keeps_an_independent_wall_within_its_limit(
    thickest_mm: float, in_kiln: bool
) -> None:
    kiln = example_kiln() if in_kiln else None
    made = design(ware(thickest_mm), DesignRequest("bisque", top_c=980.0), kiln=kiln)
    assert made.safe
    assert wall_k(*face_of(made.forecast), 0.0005 * thickest_mm) <= ALLOWED_K


def test_a_wall_that_is_too_uneven_only_at_the_edge_of_the_window_is_found() -> None:
    # Down to 581 °C at the rate whose steady lag R·L²/2κ is 13.3 K in 60 mm, then slowly: by the
    # algebra of the slab the wall differs by 13.3 K when its face comes to the window at 580 °C,
    # less what it lost in the last kelvin, and by less from there on.
    path_m = 0.03
    rate_c_per_s = 13.3 * 2.0 * KAPPA / path_m**2
    slow_c_per_s = 5.0 / HOUR
    steps = [980.0 / (6.0 / HOUR), HOUR, 399.0 / rate_c_per_s, 521.0 / slow_c_per_s]
    time_s = np.concatenate(([0.0], np.cumsum(steps)))
    face_c = np.array([0.0, 980.0, 980.0, 581.0, 60.0])
    load = ware(60.0)
    limits = limits_for(load, purpose="bisque")
    (quartz,) = [limit for limit in limits.of("cooling") if limit.reason == "quartz"]
    course = simulate_ware(load, time_s, face_c, through_c=limits.watched_edges_c)
    found = largest_difference(course, quartz).difference_k
    # One kelvin at 5 °C/h is 720 s, a Fourier number of 0.32: the first term of the series for
    # what is left, 32/π³·exp(−π²Fo/4), and the steady lag of the slow ramp.
    slow_k = slow_c_per_s * path_m**2 / (2.0 * KAPPA)
    left = 32.0 / math.pi**3 * math.exp(-(math.pi**2) / 4.0 * KAPPA * 720.0 / path_m**2)
    assert found == pytest.approx(slow_k + (13.3 - slow_k) * left, rel=0.02)


def test_clay_that_dries_slowly_is_named_and_is_no_breach() -> None:
    load = ware(40.0)
    usual = design(load, DesignRequest("bisque", top_c=980.0)).schedule
    course = forecast(usual, load=load)
    assert course.breaches == ()
    (caution,) = [w for w in course.warnings if w.id == "slow_drying"]
    assert caution.severity == "check"
    assert caution.message.startswith("If your clay dries slowly, ")
    # The program does not wait for the mirror: which segment is to be held, and how, is said.
    held = next(i for i, s in enumerate(usual.segments) if s.hold_s and s.target_c < 100.0)
    assert f"be there before segment {held + 1} ends" in caution.message
    assert f"hold it at {usual.segments[held].target_c:.0f} °C, by the controller's pause" in (
        caution.message
    )
    assert not course.needs_action
    # 1e-9 m²/s is a fifth of the usual: five times as long below boiling, and nothing is said.
    drying = next(i for i, s in enumerate(usual.segments) if 80.0 <= s.target_c <= 95.0)
    segments = list(usual.segments)
    segments[drying] = replace(segments[drying], hold_s=5.0 * segments[drying].hold_s)
    patient = forecast(replace(usual, segments=tuple(segments)), load=load)
    assert [w for w in patient.warnings if w.id == "slow_drying"] == []


def test_a_plan_quicker_than_practice_is_told_so_and_is_no_breach() -> None:
    # Practice candles damp ware for six hours; 8 mm of it is dry after 2 h 15 min at 80 to 95 °C:
    # 1.69·L²/D with 5e-9 m²/s, half as much again for the margin.
    load = ware(8.0, "damp")
    steps = (
        Segment(88.0, 20.0, hold_s=2.5 * HOUR), Segment(95.0, 20.0), Segment(980.0, 60.0)
    )  # fmt: skip
    course = forecast(Schedule("quick", steps, "bisque"), load=load)
    assert not course.needs_action
    (told,) = [w for w in course.warnings if w.id == "practice"]
    assert told.severity == "check"
    assert "6 h 00 min are needed" in told.message
    assert told.source == "soak-practice"
    patient = (replace(steps[0], hold_s=5.5 * HOUR), *steps[1:])
    slower = forecast(Schedule("patient", patient, "bisque"), load=load)
    assert "practice" not in {w.id for w in slower.warnings}


def test_ware_that_still_shrinks_is_told_that_bone_dry_is_safer() -> None:
    load = ware(8.0, "leather hard")
    course = design(load, DesignRequest("bisque", top_c=980.0)).forecast
    assert not course.needs_action
    (told,) = [w for w in course.warnings if w.id == "still_shrinks"]
    assert "still shrinks" in told.message
    dried = design(ware(8.0), DesignRequest("bisque", top_c=980.0)).forecast
    assert "still_shrinks" not in {w.id for w in dried.warnings}


def test_a_controller_too_quick_to_slow_the_cooling_is_refused_with_the_reason() -> None:
    quick = Controller(max_segments=20, rate_min=50.0)
    short = Schedule("once", (Segment(980.0, 100.0),), "glaze")
    with pytest.raises(FiringError, match="slowest rate of 50"):
        repaired_design(short, ware(50.0, "bisqued"), controller=quick)


def test_a_kiln_opened_hot_still_cools_through_what_is_watched_below() -> None:
    schedule = plan(18.0)
    cold = forecast(schedule, load=PLANTERS_AND_CUPS, unload_c=60.0)
    hot = forecast(schedule, load=PLANTERS_AND_CUPS, unload_c=250.0)
    assert [b.message for b in hot.breaches] == [b.message for b in cold.breaches]
    assert hot.ware is not None
    assert hot.ware.course.surface_c[-1] == pytest.approx(60.0, abs=3.0)


@pytest.mark.parametrize("reads_c", [560.0, 575.0, 600.0])
def test_a_hot_kiln_is_resumed_through_the_quartz_by_the_same_check(reads_c: float) -> None:
    bisque = Schedule(
        "bisque",
        (Segment(90.0, 60.0, hold_s=8 * HOUR), Segment(600.0, 60.0), Segment(1000.0, 100.0)),
        "bisque",
    )
    times = np.cumsum([0.0, 70.0 / 60.0, 8.0, 510.0 / 60.0, 1.5]) * HOUR
    log = times, np.array([20.0, 90.0, 90.0, 600.0, 750.0])
    load = ware(18.0)
    found = resume(bisque, *log, load=load, kiln=example_kiln(), reads_c=reads_c, ago_s=2 * HOUR)
    assert found.problems == ()
    assert found.schedule is not None
    assert found.schedule.start_c == reads_c
    assert check_plan(found.schedule, load, kiln=example_kiln(), state=found.state) == ()


def test_the_wall_on_the_way_up_agrees_with_an_independent_one() -> None:
    # 25 mm of raw stoneware at 60 °C/h, in explicit finite differences: the clay's diffusivity, and
    # a heat capacity that its bound water adds to at the pace of the ramp (reaction-heat-inferred).
    load, path_m, rate = ware(25.0, body="stoneware"), 0.0125, 60.0
    body = body_named("stoneware")
    diffusivity = body.of("diffusivity", "raw")
    reaction_c, more = reaction_capacity(body, release_per_k(rate))
    grid_c = np.arange(0.0, 1000.0)
    kappa = np.interp(grid_c, diffusivity.temperatures_c, diffusivity.values)
    capacity = 1.0 + np.interp(grid_c, reaction_c, more, left=0.0, right=0.0)
    cells = 10
    width = path_m / cells
    step_s = 0.4 * width**2 / float(kappa.max())
    wall = np.full(cells + 2, 20.0)
    face_c, largest_k = 20.0, 0.0
    while face_c < 700.0:
        flows = np.interp(0.5 * (wall[1:] + wall[:-1]), grid_c, kappa) * np.diff(wall)
        wall[1:-1] += step_s / width**2 * np.diff(flows) / np.interp(wall[1:-1], grid_c, capacity)
        face_c += rate / HOUR * step_s
        # The middle is the last node but one: what lies behind it mirrors the node before.
        wall[0], wall[-1] = face_c, wall[-3]
        if 450.0 <= face_c <= 650.0:
            largest_k = max(largest_k, face_c - float(wall[-2]))
    end_s = 680.0 / rate * HOUR
    course = simulate_ware(load, np.array([0.0, end_s]), np.array([20.0, 700.0]))
    assert course.largest_difference_k(450.0, 650.0) == pytest.approx(largest_k, rel=0.01)
