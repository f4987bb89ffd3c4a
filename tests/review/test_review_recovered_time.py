"""A clock that does not wait makes up for lost time: no program of its own, and never a gain."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from logmaker import GLAZE, Faults, Sampling
from review.made_firings import as_schedule, finding, made_log

from firing.review.attribution import recovered_time
from firing.review.result import CAUSE_NAMES, Cause, CauseShare
from firing.review.review import review

MINUTE = 60.0
SHARES = st.lists(
    st.builds(
        CauseShare,
        st.sampled_from(sorted(CAUSE_NAMES)),
        st.integers(-200, 200).map(lambda minutes: minutes * MINUTE),
    ),
    max_size=4,
).map(tuple)


def told(*segments: tuple[Cause, float]) -> list[list[tuple[Cause, float]]]:
    accounts = [(CauseShare(cause, minutes * MINUTE),) for cause, minutes in segments]
    return [[(s.cause, s.seconds / MINUTE) for s in shares] for shares in recovered_time(accounts)]


def test_a_ramp_quicker_by_what_was_lost_before_caught_up() -> None:
    assert told(("power_limited", 70.0), ("other_program", -65.0)) == [
        [("power_limited", 70.0)],
        [("waiting", -65.0)],
    ]


def test_a_hold_that_was_over_before_the_kiln_came_was_not_keyed_shorter() -> None:
    assert told(("interruption", 40.0), ("shorter_hold", -30.0))[1] == [("waiting", -30.0)]


@pytest.mark.parametrize(
    "before", [("longer_hold", 70.0), ("other_program", 70.0), ("power_limited", 2.0)]
)
def test_nothing_is_made_up_where_the_clock_lost_nothing(before: tuple[Cause, float]) -> None:
    assert told(before, ("other_program", -65.0))[1] == [("other_program", -65.0)]


def test_a_program_quicker_by_far_more_than_was_lost_was_keyed_in() -> None:
    assert told(("power_limited", 20.0), ("other_program", -65.0))[1] == [("other_program", -65.0)]


def test_time_is_made_up_once() -> None:
    after = told(("power_limited", 40.0), ("other_program", -40.0), ("other_program", -40.0))
    assert after[2] == [("other_program", -40.0)]


@given(st.lists(SHARES, max_size=6))
def test_every_segment_keeps_its_sum_and_every_cause_that_made_it_longer(
    accounts: list[tuple[CauseShare, ...]],
) -> None:
    for before, after in zip(accounts, recovered_time(accounts), strict=True):
        assert sum(s.seconds for s in after) == pytest.approx(sum(s.seconds for s in before))
        assert [s for s in after if s.seconds > 0] == [s for s in before if s.seconds > 0]


@pytest.mark.parametrize("with_duty", [True, False])
def test_a_low_supply_that_the_clock_makes_up_for_is_no_other_program(
    tmp_path: Path, with_duty: bool
) -> None:
    dip = Faults(dip_volts=0.85, dip_from_s=4 * 3600.0, dip_length_s=4 * 3600.0)
    sampling = Sampling(interval_s=60.0, with_duty=with_duty)
    log = made_log(tmp_path, GLAZE, waits=False, faults=dip, sampling=sampling)
    answer = review(as_schedule(GLAZE), log)
    assert all(abs(c.seconds) < 600.0 for c in answer.causes)
    assert "other_program" not in {c.cause for c in answer.causes}
    assert finding(answer, "evened_out") is None
    lost_s = sum(c.seconds for s in answer.segments for c in s.causes if c.cause == "power_limited")
    assert lost_s > 1800.0
    # What cost no time, but heat-work, is told all the same.
    behind = finding(answer, "fell_behind")
    assert behind is not None
    assert "short of power" in behind.message
    assert "did not wait" in behind.message
    assert finding(answer, "nothing_wrong") is None
