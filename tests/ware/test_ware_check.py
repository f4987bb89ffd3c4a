"""Schedules against the ware's limits: what is found, and that the mend mends it."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.schedule.schedule import Drive, Schedule, Segment
from firing.sources import source
from firing.ware.check import check_program
from firing.ware.limits import Breach, WareLimits, slower_words
from firing.ware.load import Dryness, HeatedFrom, Load, Piece
from firing.ware.safe_rates import limits_for


def bisque(
    thickness_mm: float, dryness: Dryness = "bone dry", heated_from: HeatedFrom = "both"
) -> WareLimits:
    piece = Piece("planter", 4, thickness_mm, 3.2, heated_from)
    return limits_for(Load((piece,), dryness, "stoneware"), purpose="bisque")


def plan(*segments: tuple[float, float, float], start_c: float = 20.0) -> Schedule:
    """A schedule of (rate, target, hold in hours)."""
    return Schedule(
        "a plan",
        tuple(Segment(target, rate, hold_s=3600.0 * hours) for rate, target, hours in segments),
        start_c=start_c,
    )


def mended(schedule: Schedule, breach: Breach) -> Schedule:
    """The schedule with what a breach says to write."""
    segments = list(schedule.segments)
    at = breach.segment
    if breach.kind == "rate":
        segments[at] = replace(segments[at], rate_c_per_h=breach.write_c_per_h, drive="rate")
    elif segments[at].target_c == breach.at_c:
        hold_s = segments[at].hold_s + (breach.add_hold_s or 0.0)
        segments[at] = replace(segments[at], hold_s=hold_s)
    else:
        stop = replace(segments[at], target_c=breach.at_c, hold_s=breach.add_hold_s or 0.0)
        segments.insert(at, stop)
    return replace(schedule, segments=tuple(segments))


def mended_to_the_end(schedule: Schedule, limits: WareLimits) -> Schedule:
    for _ in range(60):
        found = check_program(schedule, limits)
        if not found:
            return schedule
        schedule = mended(schedule, found[0])
    raise AssertionError("the mends do not end")


def test_a_careful_schedule_breaks_nothing() -> None:
    schedule = plan((60, 90, 12), (45, 480, 0), (35, 620, 1), (60, 780, 1), (90, 980, 0.25))
    assert check_program(schedule, bisque(18.0)) == ()


def test_a_ramp_too_fast_is_told_with_place_reason_and_mend() -> None:
    schedule = plan((60, 90, 12), (200, 600, 3), (60, 980, 1))
    (breach,) = [b for b in check_program(schedule, bisque(6.0)) if b.kind == "rate"]
    assert (breach.segment, breach.reason) == (1, "common practice")
    assert breach.written_c_per_h == 200.0
    assert breach.limit_c_per_h == pytest.approx(100.0)
    assert breach.write_c_per_h == 100.0
    assert (breach.from_c, breach.to_c) == (90.0, 600.0)
    assert source(breach.source).id == "ware-rates-practice"
    for said in ("Segment 2", "200 °C/h", "100 °C/h", "planter"):
        assert said in breach.message
    assert breach.to_dict()["write_c_per_h"] == 100.0


def test_a_stay_too_short_is_told_with_the_hold_to_add() -> None:
    schedule = plan((60, 90, 1), (50, 480, 0), (30, 620, 2), (60, 800, 1), (90, 980, 0))
    (breach,) = check_program(schedule, bisque(18.0))
    assert (breach.kind, breach.reason, breach.segment) == ("dwell", "free water", 0)
    assert breach.has_s is not None
    assert breach.has_s == pytest.approx(3600.0 + 10 / 60 * 3600 + 5 / 50 * 3600)
    assert breach.add_hold_s is not None
    assert breach.at_least_s is not None
    assert 0.0 <= breach.has_s + breach.add_hold_s - breach.at_least_s < 60.0
    assert "add" in breach.message
    assert "segment 1" in breach.message


def test_where_no_segment_stops_in_the_window_a_stop_is_named() -> None:
    breach = check_program(plan((50, 980, 0)), bisque(18.0))[0]
    assert (breach.kind, breach.at_c) == ("dwell", 90.0)
    assert "at 90 °C on the way" in breach.message


def test_a_program_that_stays_below_a_window_needs_no_dwell_there() -> None:
    assert check_program(plan((20, 90, 30)), bisque(18.0)) == ()


def test_a_program_that_starts_above_the_drying_window_is_not_called_safe() -> None:
    found = check_program(plan((30, 600, 10), (30, 950, 0), start_c=200.0), bisque(18.0))
    assert found[0].reason == "free water"
    assert "start below 80 °C" in found[0].message


def test_no_schedule_for_ware_that_is_to_be_dried_first_is_called_safe() -> None:
    slow = plan((2, 90, 99), (2, 980, 0))
    breach, *_ = check_program(slow, bisque(60.0, "damp"))
    assert breach.kind == "dry first"
    assert "Dry first" in breach.message


@pytest.mark.parametrize("drive", ["unlimited", "off"])
def test_free_running_ramps_are_judged_by_the_kilns_own_rates(drive: Drive) -> None:
    steady = plan((20, 90, 99), (5, 700, 0), (20, 800, 9))
    last = (
        Segment(980.0, None, "unlimited") if drive == "unlimited" else Segment(100.0, None, "off")
    )
    schedule = replace(steady, segments=(*steady.segments, last))
    found = check_program(schedule, bisque(50.0))
    assert [breach.segment for breach in found] == [3] * len(found)
    assert found
    assert {breach.reason for breach in found} <= {"common practice", "thermal stress", "quartz"}
    # A kiln too weak, or too tight, to exceed any limit breaks none.
    gentle = check_program(
        schedule, bisque(50.0), heating_curve=lambda t: 0 * t + 5, cooling_curve=lambda t: 0 * t + 5
    )
    assert gentle == ()


def test_a_kiln_does_not_cool_faster_than_by_itself() -> None:
    # 500 °C/h is written, but the default kiln does about 105 at 600 °C: within 25 mm's 184.
    steady = plan((40, 90, 20), (20, 700, 3), (40, 800, 2), (500, 100, 0))
    assert check_program(steady, bisque(25.0)) == ()


def test_fahrenheit_is_answered_in_fahrenheit() -> None:
    schedule = replace(plan((60, 90, 12), (200, 600, 3), (60, 980, 1)), unit="F")
    (breach,) = [b for b in check_program(schedule, bisque(6.0)) if b.kind == "rate"]
    assert "360 °F/h" in breach.message
    assert "at most 180 °F/h" in breach.message


def test_a_schedule_beyond_all_limits_is_refused() -> None:
    with pytest.raises(FiringError, match="1450"):
        check_program(plan((100, 1500, 0)), bisque(6.0))


@settings(max_examples=50)
@given(
    thickness_mm=st.floats(4.0, 60.0),
    steps=st.lists(
        st.tuples(st.floats(5.0, 400.0), st.floats(30.0, 1250.0), st.floats(0.0, 3.0)),
        min_size=1,
        max_size=6,
    ),
)
def test_the_mends_leave_a_schedule_that_breaks_nothing(
    thickness_mm: float, steps: list[tuple[float, float, float]]
) -> None:
    targets = [20.0, *(round(target) for _, target, _ in steps)]
    if any(a == b for a, b in pairwise(targets)):
        return
    rounded = [(rate, round(target), hours) for rate, target, hours in steps]
    limits = bisque(thickness_mm)
    schedule = mended_to_the_end(plan(*rounded), limits)
    assert check_program(schedule, limits) == ()
    assert schedule.peak_c == max(targets)


@pytest.mark.parametrize(
    ("window_c", "where"),
    [((600.0, 600.3), "near 600 °C"), ((600.0, 605.0), "from 600 °C to 605 °C")],
)
def test_a_stretch_too_short_to_print_is_told_as_a_place(
    window_c: tuple[float, float], where: str
) -> None:
    words = slower_words(plan((110.0, 980.0, 0.0)), 0, 109.0, window_c)
    assert words == f"write at most 109 °C/h {where}"
