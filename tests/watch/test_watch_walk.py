"""A watch reaches the end of its log, whenever and however often it says how the firing stands."""

from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from logmaker import BISQUE, GLAZE, Faults, PlanStep, Sampling, fire, sample, write_csv
from watch.replaying import AS_PLANNED, HOUR_S, PLAN, replayed, write_course

from firing.capture.reading import Reading, Status
from firing.cli import cli
from firing.forecast.forecast import forecast
from firing.logs.reader import read_log
from firing.review.position import Position
from firing.schedule.file import open_schedule
from firing.schedule.schedule import Schedule, Segment
from firing.watch.events import AlarmLimits
from firing.watch.history import GRID_S, History, course_on_grid
from firing.watch.predictor import ForecastPredictor
from firing.watch.watcher import Watcher


def _demo(folder: Path, readings: int | None = None) -> tuple[Path, Path]:
    """Write the demo's plan and its log, or the beginning of that; return both."""
    for name in ("plan.toml", "log.csv"):
        data = resources.files("firing") / "data" / "demo" / name
        (folder / name).write_text(data.read_text(encoding="utf-8"), encoding="utf-8")
    if readings is not None:
        lines = (folder / "log.csv").read_text(encoding="utf-8").splitlines(keepends=True)
        heads = sum(not line[:1].isdigit() for line in lines)
        (folder / "log.csv").write_text("".join(lines[: heads + readings]), encoding="utf-8")
    return folder / "plan.toml", folder / "log.csv"


def _walk(plan: Path, log: Path, every: str = "") -> None:
    """Watch it as the README does; by default as often as a watch says how it stands by itself."""
    command = ["watch", str(log), "--schedule", str(plan), *(["--every", every] if every else [])]
    result = CliRunner().invoke(cli, command, catch_exceptions=False)
    assert result.exit_code == 0
    assert result.stderr.rstrip().endswith("log.csv ended")
    assert "cannot be told" not in result.stderr


@pytest.mark.parametrize("every", [pytest.param("2m", marks=pytest.mark.soak), "7m"])
def test_the_readmes_own_example_goes_on_past_its_first_hold(tmp_path: Path, every: str) -> None:
    _walk(*_demo(tmp_path, 150), every)


@pytest.mark.soak
@pytest.mark.parametrize("every", ["", "2m", "10m"])
def test_the_readmes_own_example_reaches_the_end_of_its_log(tmp_path: Path, every: str) -> None:
    _walk(*_demo(tmp_path), every)


def _schedule(steps: tuple[PlanStep, ...]) -> Schedule:
    return Schedule("held", tuple(Segment(top, rate, hold_s=hold) for rate, top, hold in steps))


@pytest.mark.soak
@pytest.mark.parametrize("steps", [BISQUE, GLAZE])
@pytest.mark.parametrize(("interval_s", "noise_c"), [(10.0, 0.0), (33.3, 3.0), (300.0, 3.0)])
@pytest.mark.parametrize("late_start_s", [0.0, 1234.5])
def test_a_healthy_firing_is_told_at_every_reading(
    tmp_path: Path,
    steps: tuple[PlanStep, ...],
    interval_s: float,
    noise_c: float,
    late_start_s: float,
) -> None:
    fired = fire(steps, faults=Faults(late_start_s=late_start_s), cool_to_c=600.0)
    how = Sampling(interval_s=interval_s, noise_c=noise_c)
    log = write_csv(sample(fired, how), tmp_path / "log.csv")
    # as primes, the moments of telling fall anywhere in a ramp and in a hold
    told = replayed(log, _schedule(steps), every_s=max(interval_s, 107.0))
    assert [estimate.untold for estimate in told.estimates if estimate.untold] == []
    assert told.estimates[-1].now_s == pytest.approx(float(fired.time_s[-1]), abs=interval_s + 1.0)


OUTLOOK = ForecastPredictor(forecast(PLAN))
CELSIUS = st.floats(15.0, 920.0)


@given(
    phase=st.sampled_from(["waiting", "ramp", "hold", "left", "done"]),
    segment=st.sampled_from([0, 1]),
    now_s=st.floats(0.0, 1e6),
    held_s=st.one_of(st.floats(0.0, 1800.0), st.floats(0.0, 1e-9), st.just(1800.0 - 4e-13)),
    now_c=CELSIUS,
    slower=st.floats(1.0, 10.0),
)
def test_what_is_to_come_goes_on_from_now_and_never_stands_still(
    phase: str, segment: int, now_s: float, held_s: float, now_c: float, slower: float
) -> None:
    arrived_s = now_s - held_s if phase in ("hold", "done") else None
    number = None if phase == "waiting" else 1 if phase == "done" else segment
    where = Position(phase, number, None, arrived_s, 0.0, None)  # type: ignore[arg-type]
    rest = OUTLOOK.remaining(where, now_s, now_c, slower_now=slower, slower_later=slower)
    assert np.all(np.diff(now_s + rest.time_s) > 0.0)
    assert np.all(np.diff(rest.time_s) > 0.0009)
    assert rest.temperature_c[0] == now_c
    assert rest.time_s[-1] == rest.unload_s


@given(st.lists(st.floats(0.0, 1e6), min_size=1, max_size=40))
def test_a_course_on_ticks_keeps_its_ends_and_is_off_by_less_than_a_tick(
    moments: list[float],
) -> None:
    time_s = np.sort(np.array(moments)) - min(moments)
    found_s, found_c = course_on_grid(time_s, np.arange(time_s.size, dtype=float))
    assert np.all(np.diff(found_s) > 0.0009)
    assert found_c[0] == 0.0
    assert abs(found_s[-1] - time_s[-1]) <= 0.001
    assert np.all(np.abs(time_s[found_c.astype(int)] - found_s) <= 0.001)


@given(st.lists(st.tuples(st.floats(0.0, 400.0), st.floats(0.0, 1300.0)), min_size=1, max_size=40))
def test_the_course_so_far_never_turns_back(readings: list[tuple[float, float]]) -> None:
    """Even if a recording that is continued was put together by hand and does."""
    history = History()
    for moment_s, value_c in readings:
        history.add(moment_s, value_c)
    time_s, course_c = history.trace()
    assert np.all(np.diff(time_s) > 0.0009)
    assert time_s.size == course_c.size <= 400.0 / GRID_S + 1
    latest_s = max(moment_s for moment_s, _ in readings)
    assert latest_s - GRID_S <= time_s[-1] <= latest_s


BEGUN_LATE = (
    # (the first reading, where the plan is then) on PLAN: 100 °C/h to 600, half an hour, 150 °C/h
    ((6.5, 630.0), ("ramp", 1)),
    ((7.5, 780.0), ("ramp", 1)),
    ((3.0, 320.0), ("ramp", 0)),
    ((8.3, 900.0), ("hold", 1)),
)


@pytest.mark.parametrize(("first", "place"), BEGUN_LATE)
def test_a_watch_begun_in_mid_firing_knows_at_once_what_cannot_run_any_more(
    tmp_path: Path, first: tuple[float, float], place: tuple[str, int]
) -> None:
    """What is 30 °C above a target cannot be on its way there, and raises no alarm for that."""
    hour, celsius = first
    rest = [(h - hour, c) for h, c in ((hour, celsius), *AS_PLANNED) if h >= hour]
    told = replayed(write_course(tmp_path / "log.csv", sorted(rest)), every_s=120.0)
    assert [n.message for n in told.notices if n.severity == "act" and n.at_s < HOUR_S / 2] == []
    places = [estimate.position for estimate in told.estimates if estimate.now_s < HOUR_S / 4]
    found = {(p.phase, p.segment) for p in places if p is not None}
    assert found == {place}
    assert [n for n in told.notices if "close the lid" in n.message and place[1] == 1] == []


def test_a_kiln_that_goes_on_above_its_plans_end_is_not_called_late(tmp_path: Path) -> None:
    """It is told as a relay that may have stuck; nothing was lost on the way."""
    course = (*AS_PLANNED[:-1], (8.6, 905.0), (14.0, 1300.0))
    told = replayed(write_course(tmp_path / "log.csv", course))
    assert told.of("hold-long") or told.of("over-top") or told.of("above-plan")
    assert told.of("late") == []


def _end_s(plan: Path, log: Path, begun_h: float, now_h: float) -> float:
    """Return the end said at an hour by a watch that was begun at another."""
    schedule, trace = open_schedule(plan), read_log(log).trace
    watcher = Watcher(AlarmLimits(), schedule, ForecastPredictor(forecast(schedule)))
    hours = trace.time_s / HOUR_S
    watched = hours >= begun_h
    readings = zip(trace.time_s.tolist(), trace.channel_c(0).tolist(), watched, strict=True)
    for moment_s, value_c, live in list(readings)[: int(np.count_nonzero(hours <= now_h))]:
        if not live:
            watcher.add_earlier(moment_s, value_c)
    watcher.begin(begun_h * HOUR_S, live=False)
    for moment_s, value_c in zip(
        trace.time_s[watched & (hours <= now_h)].tolist(),
        trace.channel_c(0)[watched & (hours <= now_h)].tolist(),
        strict=True,
    ):
        watcher.add(moment_s, Reading([value_c], [Status.OK], moment_s), 0)
    end_s = watcher.estimate(now_h * HOUR_S).program_end_s
    assert end_s is not None
    return end_s


@pytest.mark.parametrize("now_h", [5.0, 6.6, 10.0])
def test_a_watch_begun_again_says_the_end_that_it_said_before(tmp_path: Path, now_h: float) -> None:
    """Killed and begun again on its own recording it knows what the ramps before have shown."""
    plan, log = _demo(tmp_path)
    again_s = _end_s(plan, log, now_h - 0.1, now_h)
    assert again_s == pytest.approx(_end_s(plan, log, 0.0, now_h), abs=600.0)
