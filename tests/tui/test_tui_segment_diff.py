"""A designed plan beside the present one, in words: segments, what both come to, reasons."""

from dataclasses import replace
from typing import Any

import pytest
from firing.tui.comparison import (
    ADDED,
    CHANGED,
    GONE,
    SAME,
    Pair,
    PlanComparison,
    both_plans,
    changes,
    compare,
    mark,
    paired,
    rows,
    verdict,
)
from firing.tui.design_form import MEND, begin, design_fields
from firing.tui.equipment import KINDS, Circumstances, Equipment, forecast_plan, read_all
from hypothesis import given, settings
from hypothesis import strategies as st

from firing.files.kinds import ready_text
from firing.schedule.file import parse_schedule
from firing.schedule.schedule import Schedule, Segment

CUPS = "example-load-glazed-cups"
PLANTERS = "example-load-planters-and-cups"
GLAZE = parse_schedule(ready_text("mid-range-glaze-cone-6-hold"), "glaze")


# Which segments go together


def plan(*targets: tuple[float, float | None, float], start_c: float = 20.0) -> Schedule:
    """Return a plan of (rate, target, hold)s; without a rate the elements are off."""
    drives = [Segment(t, r, "rate" if r else "off", hold_s=h) for t, r, h in targets]
    return Schedule("sample, invented", tuple(drives), start_c=start_c)


BEFORE = plan((100.0, 60.0, 3600.0), (600.0, 120.0, 0.0), (1200.0, 150.0, 1800.0))


def signs(before: Schedule, after: Schedule) -> list[tuple[str, int | None, int | None]]:
    return [(mark(before, after, p), p.before, p.after) for p in paired(before, after)]


def test_the_same_plan_has_no_differences() -> None:
    assert signs(BEFORE, BEFORE) == [(SAME, i, i) for i in range(3)]


def test_what_is_put_in_taken_out_and_changed_is_told_apart() -> None:
    one, two, three = BEFORE.segments
    half = replace(two, target_c=300.0)
    more = replace(BEFORE, segments=(one, half, two, three))
    assert signs(BEFORE, more) == [(SAME, 0, 0), (ADDED, None, 1), (SAME, 1, 2), (SAME, 2, 3)]
    assert signs(more, BEFORE) == [(SAME, 0, 0), (GONE, 1, None), (SAME, 2, 1), (SAME, 3, 2)]
    slower = replace(BEFORE, segments=(replace(one, rate_c_per_h=45.0, hold_s=5400.0), two, three))
    assert signs(BEFORE, slower) == [(CHANGED, 0, 0), (SAME, 1, 1), (SAME, 2, 2)]
    words = changes(BEFORE, slower, Pair(0, 0))
    assert words == "Rate 60 → 45 °C/h, hold 1h → 1h30m."
    assert changes(BEFORE, BEFORE, Pair(0, 0)) == "The same in both."


def test_peaks_go_together_and_heating_never_with_cooling() -> None:
    other = plan((90.0, 150.0, 0.0), (1000.0, 200.0, 0.0), (700.0, 60.0, 0.0))
    pairs = paired(BEFORE, other)
    assert Pair(2, 1) in pairs
    assert Pair(None, 2) in pairs


def test_differences_are_told_in_the_plans_unit() -> None:
    before = replace(BEFORE, unit="F")
    hotter = replace(BEFORE.segments[2], target_c=1250.0, rate_c_per_h=None, drive="unlimited")
    after = replace(before, segments=(*BEFORE.segments[:2], hotter))
    # 150 °C/h × 1.8; 1200 °C × 1.8 + 32 and 1250 °C × 1.8 + 32
    assert changes(before, after, Pair(2, 2)) == "Rate 270 → unlimited, target 2192 → 2282 °F."


Ramps = st.lists(
    st.tuples(
        st.sampled_from([100.0, 300.0, 600.0, 1000.0, 1200.0]),
        st.sampled_from([50.0, 150.0, None]),
        st.sampled_from([0.0, 600.0]),
    ),
    min_size=1,
    max_size=6,
)


@settings(max_examples=50)
@given(Ramps, Ramps)
def test_every_segment_has_one_place(one: Any, other: Any) -> None:
    before, after = plan(*one), plan(*other)
    pairs = paired(before, after)
    assert [p.before for p in pairs if p.before is not None] == list(range(len(one)))
    assert [p.after for p in pairs if p.after is not None] == list(range(len(other)))
    assert all(p.before is not None or p.after is not None for p in pairs)
    for pair in pairs:
        if pair.before is not None and pair.after is not None:
            cools = before.segments[pair.before].target_c < before.from_c(pair.before)
            assert cools == (after.segments[pair.after].target_c < after.from_c(pair.after))


# What both come to


def equipment(**names: str) -> Equipment:
    return read_all({kind: names[kind] for kind in KINDS if kind in names}).equipment


def wanted(schedule: Schedule, now: Circumstances, **texts: str) -> dict[str, Any]:
    """Return the fields as the form returns them, some with other texts."""
    written = begin(schedule, now) | texts
    fields = [f for f in design_fields(schedule.unit) if f.when in (None, ("how", written["how"]))]
    return {f.key: f.read(written[f.key]) for f in fields}


@pytest.fixture(scope="module")
def mended() -> PlanComparison:
    now = Circumstances(target_cone="6", equipment=equipment(load=CUPS))
    return compare(GLAZE, now, wanted(GLAZE, now, how=MEND))


def test_both_plans_are_forecast_under_the_same_circumstances(mended: PlanComparison) -> None:
    now = Circumstances(target_cone="6", equipment=equipment(load=CUPS))
    assert mended.then is not None
    assert mended.now is not None
    for result, schedule in ((mended.now, GLAZE), (mended.then, mended.after)):
        assert result.to_dict() == forecast_plan(schedule, now).to_dict()
    assert mended.now.breaches
    assert not mended.then.breaches
    words, fault = verdict(mended)
    assert "keeps every known limit" in words
    assert not fault
    course = both_plans(mended)
    assert [(line.name, line.style) for line in course.lines] == [
        ("now", "dotted"),
        ("designed", "solid"),
    ]


@pytest.mark.parametrize("room", [47, 61, 88])
def test_every_line_fits_its_room_and_every_reason_is_told(
    mended: PlanComparison, room: int
) -> None:
    found = rows(mended, room)
    figures = [row for row in found if row.at_s is not None]
    assert all(len(row.words) <= room for row in figures)
    assert len(figures) == len(paired(mended.before, mended.after))
    told = "\n".join(words for row in found for words in row.details)
    for reason in mended.design.reasons:
        assert all(sentence in told for sentence in reason.sentences)
    # The one mend, and its sign: the hold that dries the glaze is longer.
    assert [CHANGED in row.words for row in figures] == [True, False, False, False, False]
    assert "Source:" in told


def test_a_plan_that_cannot_be_fired_with_the_load_is_compared_all_the_same() -> None:
    now = Circumstances(target_cone="04", equipment=equipment(load=PLANTERS))
    found = compare(GLAZE, now, wanted(GLAZE, now, purpose="bisque"))
    assert found.now is None
    assert "glaze firing needs ware that has been fired" in found.troubles[0]
    assert len(both_plans(found).lines) == 1
    assert any(found.troubles[0] in row.details for row in rows(found, 47))
