"""Witness cones and the kiln's offset."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from logmaker import GLAZE, Faults
from longer import examples
from review.made_firings import as_schedule, finding, made_log, ramp, ramp_c

from firing.errors import FiringError
from firing.files.kinds import ready_text
from firing.kiln.file import parse_kiln
from firing.review.result import Witness
from firing.review.review import review
from firing.review.witness import (
    judge_witnesses,
    parse_witness,
    position_words,
    share_at,
    text_with_offset,
    write_offset,
)
from firing.trace import Trace


@pytest.mark.parametrize(("clock_h", "share"), [(2.0, 0.5), (3.0, 0.8), (4.0, 0.95), (6.0, 1.0)])
def test_the_shares_of_the_clock(clock_h: float, share: float) -> None:
    # Source cone-bending-practice; the shares are the project's own inference, stated there.
    assert share_at(clock_h) == pytest.approx(share)
    assert position_words(share - 1e-4 if share == 1.0 else share) == (
        "at 6:00" if share == 1.0 else f"at {clock_h:.0f}:00"
    )


def test_a_cone_bends_onward_and_ends_down() -> None:
    shares = [share_at(hour) for hour in np.linspace(0.0, 6.0, 25)]
    assert all(b > a for a, b in pairwise(shares))
    assert (shares[0], shares[-1]) == (0.4, 1.0)
    assert (position_words(0.2), position_words(1.0)) == ("standing", "down")


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("6=3:00@top", Witness("6", 3.0, False, "top")),
        ("cone 06 = 4:30 @ back shelf", Witness("06", 4.5, False, "back shelf")),
        ("5.5=6", Witness("5.5", 6.0)),
        ("6=down", Witness("6", None, False)),
        ("7=Standing@2", Witness("7", None, True, "2")),
    ],
)
def test_what_people_write(text: str, wanted: Witness) -> None:
    assert parse_witness(text) == wanted


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("6", "6=3:00@top"),
        ("6.25=3:00", "not made"),
        ("6=7:00", "1:00 to 6:00"),
        ("6=0:30", "1:00 to 6:00"),
        ("6=bent", "standing"),
        ("=3:00", "not understood"),
        ("6=3:75", "1:00 to 6:00"),
    ],
)
def test_slips_are_one_sentence(text: str, words: str) -> None:
    with pytest.raises(FiringError, match=r"^[^\n]+$") as caught:
        parse_witness(text)
    assert words in str(caught.value)


@pytest.mark.parametrize("low_c", [0.0, 12.0, 25.0, -8.0])
def test_the_offset_is_what_the_readings_lack_to_the_charts_end_point(low_c: float) -> None:
    # Cone 6, self-supporting, 60 °C/h: 1222 °C (cone-chart-1996).  A cone found exactly at its end
    # after a ramp that read so much less shows just that.
    verdict = judge_witnesses(ramp(1222.0 - low_c), 0, [parse_witness("6=6:00")])
    assert verdict.kiln.offset_c == pytest.approx(low_c, abs=0.5)
    assert verdict.kiln.low_c is not None
    assert verdict.kiln.high_c is not None
    # the maker's ±2 °C at least, and never closer than the law
    assert verdict.kiln.low_c <= low_c - 2.0
    assert verdict.kiln.high_c >= low_c + 2.0


@settings(max_examples=examples(7))
@given(
    error_c=st.floats(-40.0, 40.0),
    top_c=st.floats(1185.0, 1230.0),
    clock_h=st.floats(1.0, 6.0),
    rate=st.sampled_from([40.0, 60.0, 110.0]),
)
def test_an_error_of_the_thermocouple_is_found_whatever_the_firing(
    error_c: float, top_c: float, clock_h: float, rate: float
) -> None:
    time_s, temperature_c = ramp_c(top_c, rate)
    cone = [Witness("6", clock_h)]
    right, wrong = (
        judge_witnesses(Trace(time_s, temperature_c - e, ("kiln",), "measured"), 0, cone).kiln
        for e in (0.0, error_c)
    )
    assert right.offset_c is not None
    assert wrong.offset_c is not None
    assert wrong.offset_c - right.offset_c == pytest.approx(error_c, abs=0.2)


def test_a_further_bent_cone_asks_for_more() -> None:
    offsets = [
        judge_witnesses(ramp(1215.0), 0, [Witness("6", hour)]).kiln.offset_c
        for hour in (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)
    ]
    assert offsets == sorted(offsets)  # type: ignore[type-var]  # none is None: all are bent


def test_down_and_standing_bound_the_offset_from_both_sides() -> None:
    # 1222 °C is the end of cone 6 and 1239 that of cone 7 at 60 °C/h (cone-chart-1996).
    both = judge_witnesses(ramp(1222.0), 0, [parse_witness("6=down"), parse_witness("7=standing")])
    assert both.kiln.offset_c is not None
    assert both.kiln.low_c is not None
    assert both.kiln.high_c is not None
    assert both.kiln.low_c <= 0.0 <= both.kiln.high_c
    one = judge_witnesses(ramp(1222.0), 0, [parse_witness("6=down")]).kiln
    assert one.offset_c is None
    assert one.high_c is None


def test_cones_that_contradict_each_other_are_told() -> None:
    cones = [parse_witness("6=standing"), parse_witness("7=down")]
    assert not judge_witnesses(ramp(1222.0), 0, cones).kiln.agree


def test_a_cone_beyond_any_offset_is_refused() -> None:
    with pytest.raises(FiringError, match="check the cone's number"):
        judge_witnesses(ramp(1000.0), 0, [parse_witness("10=3:00")])


def test_a_cone_at_a_channel_speaks_of_it_and_of_the_kiln() -> None:
    time_s, temperature_c = ramp_c(1222.0)
    both = np.column_stack((temperature_c, temperature_c - 10.0))
    trace = Trace(time_s, both, ("kiln", "Top"), "measured")
    verdict = judge_witnesses(trace, 0, [parse_witness("6=6:00@top")])
    assert verdict.kiln.offset_c == pytest.approx(0.0, abs=0.5)
    (own,) = verdict.others
    assert own.channel == "Top"
    assert own.offset_c == pytest.approx(10.0, abs=0.5)


def test_a_thermocouple_that_reads_low_is_a_finding_by_its_witness(tmp_path: Path) -> None:
    # The made kiln is 20 °C hotter than it reads; the cone is what the true course bends.
    made = made_log(tmp_path, GLAZE, faults=Faults(thermocouple_offset_c=-20.0))
    true = made_log(tmp_path, GLAZE)
    cone = Witness("7", 3.0)
    sound = judge_witnesses(true.trace, 0, [cone]).kiln.offset_c
    result = review(as_schedule(GLAZE), made, witnesses=[cone])
    assert sound is not None
    assert result.heat is not None
    assert result.heat.witness is not None
    offset = result.heat.witness.kiln
    assert offset.offset_c is not None
    low = finding(result, "thermocouple_low")
    assert (low is not None) == (offset.low_c is not None and offset.low_c > 0.0)
    assert result.to_dict()["heatwork"]["witness"]["offset_c"] == offset.offset_c


def test_the_offset_of_the_kiln_file_is_used_and_said(tmp_path: Path) -> None:
    log = made_log(tmp_path, GLAZE)
    kiln = parse_kiln(ready_text("example-kiln"))
    moved = replace(kiln, fitted=replace(kiln.fitted, cone_offset_c=15.0))
    plain, warmer = (review(as_schedule(GLAZE), log, kiln=k) for k in (kiln, moved))
    assert plain.cones.reached_number is not None
    assert warmer.cones.reached_number is not None
    # 15 °C are most of a cone up there: cones 6, 7 and 8 lie 17 and 10 °C apart (cone-chart-1996).
    assert 0.6 <= warmer.cones.reached_number - plain.cones.reached_number <= 1.6
    # Class 2 of IEC 60584-1: 0.75 % at 1200 °C is 9 °C, where the class ends.
    assert plain.cones.budget.thermocouple_c == pytest.approx(9.0)
    met = finding(warmer, "cone_met")
    assert met is not None
    assert "+15.0 °C" in met.evidence


KILN = """# my kiln, with a remark
name = "Shed"
power_kw = 9.6
rated_volts = 240
volume_l = 180
shape = "round"
[[wall]]  # inside first
material = "insulating brick 1260"
thickness_mm = 75
"""
FITTED = """
[fitted]
power = 0.91234567   # more digits than a fit writes
cone_offset_c = 3.5  # last spring
basis = "two logs"
"""


@pytest.mark.parametrize(("text", "before"), [(KILN, 0.0), (KILN + FITTED, 3.5)])
def test_writing_the_offset_changes_that_key_alone(text: str, before: float) -> None:
    written, was = text_with_offset(text, 12.34)
    assert was == before
    old, new = text.splitlines(), written.splitlines()
    gone = [line for line in old if line not in new]
    added = [line for line in new if line not in old]
    assert len(gone) == (1 if before else 0)
    assert [line for line in added if line and line != "[fitted]"] == [
        "kiln_reads_low_c = 12.3  # last spring" if before else "kiln_reads_low_c = 12.3"
    ]
    assert parse_kiln(written).fitted.cone_offset_c == 12.3


def test_an_open_or_contradicted_offset_is_not_written(tmp_path: Path) -> None:
    path = tmp_path / "kiln.toml"
    path.write_text(KILN, encoding="utf-8")
    for cones in (["6=down"], ["6=standing", "7=down"]):
        offset = judge_witnesses(ramp(1222.0), 0, [parse_witness(c) for c in cones]).kiln
        with pytest.raises(FiringError):
            write_offset(path, offset)
    assert path.read_text(encoding="utf-8") == KILN
    offset = judge_witnesses(ramp(1210.0), 0, [parse_witness("6=6:00")]).kiln
    before_c, written_c = write_offset(path, offset)
    assert before_c == 0.0
    assert written_c == pytest.approx(12.0, abs=0.5)
    assert "# inside first" in path.read_text(encoding="utf-8")


def test_a_cone_with_its_zero_forgotten_is_asked_back_and_not_written(tmp_path: Path) -> None:
    # Cone 04 ends near 1063 °C and cone 4 near 1162 °C at 60 °C/h (cone-chart-1996), 99 °C apart.
    trace = ramp(1063.0)
    verdict = judge_witnesses(trace, 0, [parse_witness("4=5:00")])
    (asked,) = verdict.kiln.questions
    assert "cone 04 meant?" in asked
    file = tmp_path / "kiln.toml"
    file.write_text(ready_text("example-kiln"), encoding="utf-8")
    with pytest.raises(FiringError, match="cone 04 meant"):
        write_offset(file, verdict.kiln)
    assert file.read_text(encoding="utf-8") == ready_text("example-kiln")


def test_cones_out_of_their_order_are_asked_back() -> None:
    # Cone 03 is the hotter one: 1086 °C against 1063 °C for cone 04.
    cones = [parse_witness("04=standing"), parse_witness("03=down")]
    asked = judge_witnesses(ramp(1075.0), 0, cones).kiln.questions
    assert any("contradict" in words and "03" in words and "04" in words for words in asked)
    elsewhere = [replace(cones[0], place="top"), replace(cones[1], place="bottom")]
    assert not judge_witnesses(ramp(1075.0), 0, elsewhere).kiln.questions


def test_an_offset_that_thermocouples_have_is_not_asked_back() -> None:
    for error_c in (-20.0, -8.0, 0.0, 8.0, 20.0):
        assert not judge_witnesses(ramp(1222.0 - error_c), 0, [Witness("6", 6.0)]).kiln.questions
