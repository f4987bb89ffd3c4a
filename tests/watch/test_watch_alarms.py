"""Every alarm from a replayed log: raised once when it should be, cleared once, else silent."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from watch.replaying import AS_PLANNED, PLAN, replayed, write_course

from firing.capture.reading import Status
from firing.watch.events import NO_SAFETY_DEVICE, AlarmLatch, AlarmLimits
from firing.watch.thermocouple_circuit import CircuitMonitor

COOLING = ((9.5, 700.0), (10.5, 420.0), (11.5, 120.0), (12.5, 50.0), (13.0, 45.0))
"""Faster than any kiln cools, to be done sooner."""
ALARMS = (
    "over-top", "above-plan", "climbs-fast", "stalled", "cooling", "reading-lost", "reading-stuck",
)  # fmt: skip


def test_a_firing_that_goes_as_planned_tells_its_events_and_no_alarm(tmp_path: Path) -> None:
    told = replayed(write_course(tmp_path / "log.csv", AS_PLANNED + COOLING), cones=("018",))
    assert [n.id for n in told.notices if n.id in ALARMS] == []
    assert [n.id for n in told.notices] == [
        "hold-over", "action", "cone", "hold-over", "unload",
    ]  # fmt: skip
    # the first hold ends after 5.8 h + 30 min, the second after 8.3 h + 15 min
    assert [round(hour, 1) for _, hour in told.of("hold-over")] == [6.3, 8.6]
    action = next(n for n in told.notices if n.id == "action")
    assert "close the lid" in action.message
    assert action.severity == "act"
    cone = next(n for n in told.notices if n.id == "cone")
    status = told.estimates[-1].cones[0]
    assert cone.at_s == pytest.approx(status.down_s, abs=60.0)  # one moment on one screen
    assert cone.severity == "act"  # it falls on the way up, before anybody expects it


def test_a_cone_that_falls_in_the_hold_at_the_top_is_a_note(tmp_path: Path) -> None:
    told = replayed(write_course(tmp_path / "log.csv", AS_PLANNED + COOLING), cones=("010",))
    assert [n.severity for n in told.notices if n.id == "cone"] == ["note"]
    alone = replayed(write_course(tmp_path / "two.csv", AS_PLANNED), None, cones=("010",))
    assert [n.severity for n in alone.notices if n.id == "cone"] == ["act"]  # switched by hand


def test_over_the_top_temperature_at_the_second_reading(tmp_path: Path) -> None:
    points = (*AS_PLANNED[:-1], (8.5, 930.0), (8.9, 930.0), (9.2, 890.0))
    log = write_course(tmp_path / "log.csv", points, step_s=36.0, spikes=[(4.0, 1200.0)])
    told = replayed(log, limits=AlarmLimits(top_c=920.0, above_c=200.0))
    states = told.of("over-top")
    assert [state for state, _ in states] == ["raised", "over"]
    # 8.3 h + 0.2 h · 20/30
    assert states[0][1] == pytest.approx(8.433, abs=0.02)
    assert states[1][1] > 8.9


def test_a_value_that_hovers_about_the_top_is_told_once(tmp_path: Path) -> None:
    points = [(0.0, 900.0)] + [(1.0 + 0.1 * i, 919.0 + 2.0 * (i % 2)) for i in range(30)]
    told = replayed(
        write_course(tmp_path / "log.csv", points), None, limits=AlarmLimits(top_c=920.0)
    )
    assert [state for state, _ in told.of("over-top")] == ["raised"]


@pytest.mark.parametrize(("high_c", "words"), [(920.0, "has reached"), (923.0, "is over")])
def test_the_top_temperature_is_not_over_itself(tmp_path: Path, high_c: float, words: str) -> None:
    points = ((0.0, high_c), (1.0, high_c))
    log = write_course(tmp_path / "log.csv", points, step_s=36.0)
    told = replayed(log, None, limits=AlarmLimits(top_c=920.0))
    (message,) = [n.message for n in told.notices if n.id == "over-top"]
    assert message.startswith(f"{high_c:.0f} °C {words} the top temperature of 920 °C")


def test_above_plan(tmp_path: Path) -> None:
    # 160 °C/h where 100 are planned, then waiting for the plan to catch up
    points = ((0.0, 20.0), (2.0, 220.0), (3.0, 380.0), (4.0, 420.0), (5.8, 600.0), (6.2, 600.0))
    told = replayed(write_course(tmp_path / "log.csv", points))
    states = told.of("above-plan")
    assert [state for state, _ in states] == ["raised", "over"]
    assert 2.25 < states[0][1] < 2.4  # 15 °C are gained in a quarter of an hour
    message = next(n.message for n in told.notices if n.id == "above-plan")
    assert "switch it off" in message  # whoever is called is told what to do
    assert 3.5 < states[1][1] < 4.2


def test_a_kiln_that_runs_away_from_its_ramp_is_told_long_before_it_is_far_above_it(
    tmp_path: Path,
) -> None:
    # 160 °C/h where 100 are planned: 4 °C more after four minutes, 15 after a quarter of an hour
    points = ((0.0, 20.0), (3.0, 320.0), (4.0, 480.0), (4.2, 440.0), (5.8, 600.0), (6.2, 600.0))
    told = replayed(write_course(tmp_path / "log.csv", points))
    states = told.of("climbs-fast")
    assert [state for state, _ in states] == ["raised", "over"]
    assert 3.0 < states[0][1] < 3.0 + 8.0 / 60.0
    assert states[0][1] < told.of("above-plan")[0][1]
    message = next(n.message for n in told.notices if n.id == "climbs-fast")
    assert "a relay may have stuck" in message


def test_a_kiln_that_creeps_down_to_a_stand_has_stalled(tmp_path: Path) -> None:
    """By 14 °C/h, which is no fall, and so far that it is on no ramp any more."""
    points = (*AS_PLANNED[:3], (7.3, 750.0), (9.3, 722.0), (12.0, 720.0))
    told = replayed(write_course(tmp_path / "log.csv", points))
    assert [state for state, _ in told.of("stalled")] == ["raised"]


def test_stalled(tmp_path: Path) -> None:
    points = (*AS_PLANNED[:3], (7.3, 750.0), (9.0, 752.0), (10.0, 900.0))
    told = replayed(write_course(tmp_path / "log.csv", points))
    states = told.of("stalled")
    assert [state for state, _ in states] == ["raised", "over"]
    assert 7.5 < states[0][1] < 7.8
    assert 9.0 < states[1][1] < 9.4
    message = next(n.message for n in told.notices if n.id == "stalled")
    assert "does not rise towards 900 °C in segment 2 Top" in message


def test_cooling_while_heating_is_due(tmp_path: Path) -> None:
    points = (*AS_PLANNED[:3], (7.3, 750.0), (8.3, 660.0), (9.9, 900.0), (10.2, 900.0))
    told = replayed(write_course(tmp_path / "log.csv", points))
    states = told.of("cooling")
    assert [state for state, _ in states] == ["raised", "over"]
    assert 7.3 < states[0][1] < 7.6
    assert 8.3 < states[1][1] < 8.7


def test_cooling_in_a_hold_is_told_and_cooling_after_the_program_is_not(tmp_path: Path) -> None:
    points = (*AS_PLANNED[:2], (5.9, 600.0), (6.2, 570.0), (6.3, 560.0))
    told = replayed(write_course(tmp_path / "log.csv", points))
    assert [state for state, _ in told.of("cooling")] == ["raised"]


def test_a_reading_that_is_lost(tmp_path: Path) -> None:
    risen = ((0.0, 20.0), (3.2, 340.0))
    log = write_course(tmp_path / "log.csv", risen, step_s=20.0, gaps=[(2.0, 2.1), (3.0, 3.01)])
    told = replayed(log, limits=AlarmLimits(lost_after_s=60.0))
    states = told.of("reading-lost")
    assert [state for state, _ in states] == ["raised", "over"]
    assert states[0][1] == pytest.approx(2.0 + 70.0 / 3600.0, abs=0.01)
    assert states[1][1] == pytest.approx(2.1, abs=0.01)


def test_a_reading_that_is_stuck(tmp_path: Path) -> None:
    risen = ((0.0, 20.0), (3.6, 380.0))
    log = write_course(tmp_path / "log.csv", risen, step_s=10.0, noise_c=0.3)
    lines = log.read_text(encoding="utf-8").splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("10800.0,"))
    frozen = lines[first].split(",")[1]
    for index in range(first, first + 120):
        lines[index] = f"{lines[index].split(',')[0]},{frozen}"
    log.write_text("\n".join(lines) + "\n", encoding="utf-8")
    states = replayed(log).of("reading-stuck")
    assert [state for state, _ in states] == ["raised", "over"]
    assert states[0][1] == pytest.approx(3.0 + 300.0 / 3600.0, abs=0.03)
    assert states[1][1] == pytest.approx(3.0 + 1200.0 / 3600.0, abs=0.01)


def test_cool_enough_to_unload_is_told_once_and_says_what_it_does_not_know(tmp_path: Path) -> None:
    points = AS_PLANNED + COOLING[:-1] + ((12.8, 58.0), (13.1, 61.0), (13.4, 57.0))
    told = replayed(write_course(tmp_path / "log.csv", points), limits=AlarmLimits(unload_c=60.0))
    assert len(told.of("unload")) == 1
    message = next(n.message for n in told.notices if n.id == "unload")
    assert "may be hotter" in message


def test_a_cold_kiln_is_not_said_to_be_ready_for_unloading(tmp_path: Path) -> None:
    told = replayed(write_course(tmp_path / "log.csv", ((0.0, 20.0), (2.0, 21.0))), None)
    assert told.notices == []


def test_fahrenheit_plans_are_told_of_in_fahrenheit(tmp_path: Path) -> None:
    from dataclasses import replace

    points = (*AS_PLANNED[:3], (7.3, 750.0), (9.0, 752.0))
    told = replayed(write_course(tmp_path / "log.csv", points), replace(PLAN, unit="F"))
    message = next(n.message for n in told.notices if n.id == "stalled")
    assert "1652 °F" in message
    assert "°C" not in message


def test_it_says_plainly_that_it_is_no_safety_device() -> None:
    from pathlib import Path

    from firing.cli.watch import watch_command

    assert "no safety device" in NO_SAFETY_DEVICE
    assert watch_command.help is not None
    assert "no safety device" in watch_command.help
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    assert "no safety device" in readme


@given(
    st.lists(st.tuples(st.floats(0.1, 100.0), st.sampled_from(["cause", "calm", "between"]))),
    st.floats(0.0, 300.0),
    st.floats(0.0, 300.0),
)
def test_a_latch_alternates_and_is_patient(
    steps: list[tuple[float, str]], raise_after_s: float, clear_after_s: float
) -> None:
    latch = AlarmLatch(raise_after_s, clear_after_s)
    now_s, told = 0.0, []
    lasted = {"cause": 0.0, "calm": 0.0}
    since: dict[str, float | None] = {"cause": None, "calm": None}
    for step_s, what in steps:
        now_s += step_s
        for key in since:
            since[key] = (since[key] if since[key] is not None else now_s) if what == key else None
            start = since[key]
            lasted[key] = 0.0 if start is None else now_s - start
        state = latch.update(now_s, what == "cause", what == "calm")
        if state == "raised":
            assert lasted["cause"] >= raise_after_s
        if state == "over":
            assert lasted["calm"] >= clear_after_s
        if state is not None:
            told.append(state)
    assert told == [("raised", "over")[i % 2] for i in range(len(told))]


def reversed_at(circuit: CircuitMonitor, celsius: list[float]) -> int | None:
    """Return the first of readings a minute apart at which the leads count as reversed."""
    for number, value_c in enumerate(celsius):
        circuit.add_reading(60.0 * number, value_c, Status.OK)
        if circuit.broken is not None:
            assert circuit.broken.fault == "reversed"
            return number
    return None


def test_reversed_leads_of_a_cold_kiln_are_told_in_few_noisy_readings() -> None:
    """At 150 °C/h and ±3 °C: a line through n readings a minute apart falls by 2.5 (n − 1) °C.

    Its error is 3 (n − 1) / √(n (n² − 1) / 12) °C: a fifth of the fall at n = 8, a third at 6.
    """
    chance = np.random.default_rng(1)
    told = []
    for _ in range(60):
        readings = 20.0 - 2.5 * np.arange(20.0) + chance.normal(0.0, 3.0, 20)
        number = reversed_at(CircuitMonitor(), readings.tolist())
        assert number is not None
        told.append(number + 1)
    assert np.median(told) <= 8


def test_a_cold_kiln_that_waits_has_no_reversed_leads_however_noisy() -> None:
    chance = np.random.default_rng(2)
    for _ in range(40):
        assert reversed_at(CircuitMonitor(), (20.0 + chance.normal(0.0, 3.0, 60)).tolist()) is None


def test_a_cold_kiln_that_climbs_in_steps_has_no_reversed_leads() -> None:
    """Elements on for a minute and off for four: up 11 °C, down 6 °C, and on the whole up."""
    circuit = CircuitMonitor()
    for step in range(180):
        cycle, at_s = divmod(10.0 * step, 280.0)
        rise_c = 11.0 * at_s / 60.0 if at_s < 60.0 else 11.0 - 6.0 * (at_s - 60.0) / 220.0
        assert circuit.add_reading(10.0 * step, 24.0 + 5.0 * cycle + rise_c, Status.OK)
    assert circuit.broken is None
