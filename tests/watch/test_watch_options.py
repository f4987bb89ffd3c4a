"""What a person may write: differences in the plan's unit, and what cannot begin."""

from dataclasses import replace
from pathlib import Path

import pytest
from commandline import call
from watch.replaying import AS_PLANNED, PLAN, Told, write_course
from watch.wornkiln import kiln

from firing.errors import FiringError
from firing.watch.options import WatchOptions, parse_difference_c
from firing.watch.setup import check_options, open_watch


# A difference of 18 °F is one of 10 °C: NIST SP 811 (2008), B.8.
@pytest.mark.parametrize(
    ("text", "unit", "difference_c"),
    [
        ("15", "C", 15.0),
        ("18", "F", 10.0),
        ("18F", "C", 10.0),
        ("10C", "F", 10.0),
        ("10 °C", "F", 10.0),
        (" 36 f ", "C", 20.0),
        ("1,8F", "C", 1.0),
        ("12.5", "C", 12.5),
    ],
)
def test_differences(text: str, unit: str, difference_c: float) -> None:
    assert parse_difference_c(text, unit) == pytest.approx(difference_c)  # type: ignore[arg-type]


@pytest.mark.parametrize("text", ["0", "0.5C", "201", "361F", "-5", "K", "", "10C/h", "1e2"])
def test_what_is_no_difference_is_told_with_its_limits(text: str) -> None:
    with pytest.raises(FiringError, match=r"1 to 200 °C, which is 1\.8 to 360 °F"):
        parse_difference_c(text, "C")


def watched(options: WatchOptions) -> Told:
    opened, told = open_watch(options), Told()
    try:
        opened.session(told, 3600.0).run(lambda: False)
    finally:
        opened.close()
    return told


def test_the_difference_is_the_one_the_alarm_goes_by(tmp_path: Path) -> None:
    # 12 °C above the plan for an hour: beyond 18 °F, which is 10 °C, and short of 18 °C
    points = ((0.0, 20.0), (2.0, 220.0), (2.2, 252.0), (3.2, 352.0), (3.4, 360.0), (5.8, 600.0))
    log = write_course(tmp_path / "log.csv", points)
    plan = replace(PLAN, unit="F")
    for text, alarms in (("18", 1), ("18C", 0)):
        above_c = parse_difference_c(text, plan.unit)
        told = watched(WatchOptions(str(log), schedule=plan, above_c=above_c))
        assert [state for state, _ in told.of("above-plan")].count("raised") == alarms
        if alarms:
            message = next(n.message for n in told.notices if n.id == "above-plan")
            assert "°F above the plan" in message


def test_what_is_recorded_is_what_was_replayed(tmp_path: Path) -> None:
    log, out = write_course(tmp_path / "log.csv", AS_PLANNED[:2]), tmp_path / "out.csv"
    watched(WatchOptions(str(log), out=out))
    assert len(out.read_text(encoding="utf-8").splitlines()) == len(log.read_text().splitlines())
    with pytest.raises(FiringError, match="its beginning; name a new file"):
        open_watch(WatchOptions(str(log), out=out))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"channel": "9"}, "log.csv has no channel"),
        ({"command": " "}, "--alarm-command is empty"),
        ({"command": '"x'}, "quotation mark is not closed"),
        ({"out": Path("/nowhere/at/all.csv")}, "make it with mkdir -p /nowhere/at$"),
        ({"line": {"speed": "fast"}}, "write a number"),
    ],
)
def test_what_could_not_begin_is_refused_before_it_does(
    tmp_path: Path, changes: dict[str, object], said: str
) -> None:
    log = write_course(tmp_path / "log.csv", AS_PLANNED[:2], step_s=600.0)
    with pytest.raises(FiringError, match=said):
        check_options(replace(WatchOptions(str(log)), **changes))  # type: ignore[arg-type]


def test_a_load_needs_a_kiln(tmp_path: Path) -> None:
    from firing.ware.load import typical_load

    log = write_course(tmp_path / "log.csv", AS_PLANNED[:2], step_s=600.0)
    load = typical_load(100.0, "bisqued")
    with pytest.raises(FiringError, match="give --kiln too"):
        check_options(WatchOptions(str(log), load=load))
    check_options(WatchOptions(str(log), load=load, kiln=kiln()))


def test_the_top_is_the_lower_of_the_plans_and_the_kilns(tmp_path: Path) -> None:
    points = (*AS_PLANNED[:-1], (8.4, 935.0), (8.6, 935.0))
    log = write_course(tmp_path / "log.csv", points)
    low = replace(kiln(), max_c=930.0)
    by_plan, by_kiln = (
        next(n.message for n in told.notices if n.id == "over-top")
        for told in (
            watched(WatchOptions(str(log), schedule=PLAN, above_c=200.0)),
            watched(WatchOptions(str(log), kiln=low)),
        )
    )
    assert "the top temperature of 920 °C" in by_plan
    assert "the top temperature of 930 °C" in by_kiln


def test_a_watch_tells_of_the_cone_that_the_schedule_is_for() -> None:
    from firing.schedule.schedule import Schedule, Segment
    from firing.watch.setup import make_watcher

    plan = Schedule("mugs", (Segment(1100.0, 150.0), Segment(1200.0, 80.0, hold_s=600.0)), cone="6")
    options = WatchOptions("log.csv", {}, schedule=plan)
    assert make_watcher(options)._cones == ("6",)
    assert make_watcher(replace(options, cones=("04",)))._cones == ("04",)


def fahrenheit(path: Path) -> Path:
    """Write a log in °F that says so: from 68 °F, 60 °F a row, as no plan would know."""
    lines = ["Time (s),Kiln (F)", *(f"{60 * n},{68 + 6 * n}" for n in range(200))]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_a_log_in_fahrenheit_without_a_plan_is_told_in_fahrenheit(tmp_path: Path) -> None:
    log = fahrenheit(tmp_path / "log.csv")
    done = call(tmp_path, "watch", str(log), "--every", "1h", "--top", "1000F")
    assert done.returncode == 1  # over the top at its end, and nobody answered
    last = done.stdout.splitlines()[-1]
    assert "1262 °F" in last  # 68 + 6 × 199
    assert "360 °F/h" in last
    assert "°C" not in done.stdout
    assert "over the top temperature of 1000 °F" in done.stderr


def test_a_plain_number_that_may_mean_either_unit_is_refused(tmp_path: Path) -> None:
    log = fahrenheit(tmp_path / "log.csv")
    refused = call(tmp_path, "watch", str(log), "--top", "1000")
    assert refused.returncode == 2
    assert "write 1000F or 1000C" in refused.stderr
    # once the unit is told, there is nothing to ask
    done = call(tmp_path, "watch", str(log), "--unit", "F", "--top", "1000")
    assert done.returncode == 1  # over the top at its end, and nobody answered
    assert "over the top temperature of 1000 °F" in done.stderr


def test_a_watch_knows_every_option_of_reading_that_a_review_knows() -> None:
    from firing.cli.review import review_command
    from firing.cli.watch import watch_command
    from firing.logs.options import READING_OPTIONS

    ways = [
        {
            option
            for p in command.params
            if p.name in (*READING_OPTIONS, "channel")
            for option in p.opts
        }
        for command in (review_command, watch_command)
    ]
    assert ways[0] == ways[1]
    assert {"--restart-pause", "--date-order"} <= ways[0]


def test_a_folder_that_takes_no_new_file_is_told_at_the_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = write_course(tmp_path / "log.csv", AS_PLANNED[:2], step_s=600.0)
    assert not [
        n for n in watched(WatchOptions(str(log), out=tmp_path / "a.csv")).notes if "takes no" in n
    ]

    def full(*_: object, **__: object) -> object:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("tempfile.NamedTemporaryFile", full)
    told = watched(WatchOptions(str(log), out=tmp_path / "b.csv"))
    assert sum("takes no new file (No space left on device)" in note for note in told.notes) == 1
