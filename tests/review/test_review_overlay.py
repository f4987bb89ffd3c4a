"""Several firings of one plan over each other."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
from commandline import call
from logmaker import BISQUE, GLAZE, Faults, Sampling, fire
from review.made_firings import as_schedule, made_log

import firing as fi
from firing.report.charts.course import overlaid_courses
from firing.report.charts.svg import svg
from firing.review.overlay import MOST_FIRINGS, Overlay, overlay
from firing.review.result import Review
from firing.review.review import review

FAULTS = (None, Faults(power_factor=0.8), Faults(outage_at_c=700.0, outage_s=7200.0))


@pytest.fixture(scope="module")
def reviews(tmp_path_factory: pytest.TempPathFactory) -> list[Review]:
    """Return a healthy firing, one of a weak kiln, and one with two hours without power."""
    folder = tmp_path_factory.mktemp("firings")
    sampling = Sampling(interval_s=300.0)
    return [
        review(
            as_schedule(GLAZE),
            made_log(folder, GLAZE, faults=each, sampling=sampling, name=f"{number}.csv"),
        )
        for number, each in enumerate(FAULTS)
    ]


def course_at(found: Overlay, number: int, at_s: float) -> float:
    firing = found.firings[number]
    return float(np.interp(at_s, firing.time_s, firing.temperature_c))


def test_by_segment_all_begin_together_and_run_at_their_own_pace(reviews: list[Review]) -> None:
    found = overlay(reviews)
    starts = {firing.at_s for firing in found.firings}
    assert len(starts) == 1
    for number, each in enumerate(reviews):
        trace = each.log.trace
        for segment, slot_s in zip(each.segments, found.firings[number].at_s, strict=True):
            assert segment.start_s is not None
            assert segment.end_s is not None
            assert slot_s is not None
            # A quarter of an hour into a segment a firing has what its log has then.
            logged_c = float(np.interp(segment.start_s + 900.0, trace.time_s, each.temperature_c))
            assert course_at(found, number, slot_s + 900.0) == pytest.approx(logged_c, abs=1e-6)
    # Every segment has the room of the longest, planned or real.
    for index in range(len(GLAZE) - 1):
        room_s = found.firings[0].at_s[index + 1] - found.firings[0].at_s[index]  # type: ignore[operator]
        real = [s.end_s - s.start_s for r in reviews for s in (r.segments[index],)]  # type: ignore[operator]
        planned = reviews[0].forecast.segments[index]
        assert room_s == pytest.approx(max(*real, planned.end_s - planned.start_s))


def test_by_the_clock_nothing_is_moved_but_to_where_heating_began(reviews: list[Review]) -> None:
    found = overlay(reviews, "clock")
    for firing, each in zip(found.firings, reviews, strict=True):
        assert firing.time_s[0] >= 0.0
        inside = each.log.trace.time_s >= each.lead_in_s
        assert np.array_equal(firing.temperature_c, each.temperature_c[inside], equal_nan=True)
        assert np.allclose(np.diff(firing.time_s), np.diff(each.log.trace.time_s[inside]))


def test_what_differs_is_the_truth_of_the_simulator(reviews: list[Review]) -> None:
    """The hours of the outage lie in the segment it was in; nothing else took so long."""
    found = overlay(reviews)
    ends = [fire(GLAZE, faults=each).program_end_s for each in FAULTS]
    truth_s = ends[2] - ends[0]  # type: ignore[operator]
    rise = next(s for s in found.segments if s.most_s - s.least_s > 3600.0)  # type: ignore[operator]
    assert rise.took_s[2] - rise.took_s[0] == pytest.approx(truth_s, abs=600.0)  # type: ignore[operator]
    assert rise.median_s == sorted(rise.took_s)[1]  # type: ignore[type-var]
    assert any("(A) to " in words and words.endswith("(C).") for words in found.remarks)


def test_a_log_of_another_plan_is_drawn_and_said(reviews: list[Review], tmp_path: Path) -> None:
    stranger = review(as_schedule(GLAZE), made_log(tmp_path, BISQUE, name="bisque.csv"))
    found = overlay([reviews[0], stranger])
    assert "another plan" in found.remarks[0]
    assert found.segments[0].took_s[1] is None
    assert np.isfinite(found.firings[1].temperature_c).any()
    shown = found.to_dict()["firings"][1]
    assert shown["compared"] is False
    assert shown["segments"] == []


@pytest.mark.parametrize("count", [0, 1, MOST_FIRINGS + 1])
def test_too_few_or_too_many_are_refused(reviews: list[Review], count: int) -> None:
    with pytest.raises(fi.FiringError, match="choose 2 to 6"):
        overlay([*reviews, *reviews, *reviews][:count])


def test_six_firings_are_told_apart_in_print_without_colour(reviews: list[Review]) -> None:
    drawing = overlaid_courses(overlay([*reviews, *reviews]))
    lines = re.findall(r'<path class="line"[^>]*>', svg(drawing))
    dashes = [re.findall(r'stroke-dasharray="([^"]+)"', line) for line in lines]
    assert len(dashes) == 7
    assert len({tuple(found) for found in dashes}) == 7
    letters = drawing.figure["layout"]["annotations"]
    assert [note["text"] for note in letters] == list("ABCDEF")
    places = [note["x"] for note in letters]
    assert len(set(places)) == 6


def test_the_command_and_the_library_say_the_same(tmp_path: Path) -> None:
    logs = [tmp_path / f"{number}.csv" for number in (0, 1)]
    for log, each in zip(logs, FAULTS, strict=False):
        made_log(tmp_path, GLAZE, faults=each, sampling=Sampling(interval_s=300.0), name=log.name)
    fi.write_schedule(as_schedule(GLAZE), tmp_path / "plan.toml")
    names = ("compare", *map(str, logs), "--schedule", str(tmp_path / "plan.toml"))
    for align in ("segment", "clock"):
        done = call(tmp_path, *names, "--align", align, "--json")
        assert done.returncode == 0
        found = fi.compare(tmp_path / "plan.toml", logs, align=align)  # type: ignore[arg-type]
        shown = json.loads(done.stdout)
        assert shown["remarks"] == list(found.remarks)
        for segment, each in zip(shown["segments"], found.segments, strict=True):
            assert segment["took_s"] == pytest.approx(each.took_s)
        assert [f["segments"][1]["at_s"] for f in shown["firings"]] == pytest.approx(
            [firing.at_s[1] for firing in found.firings]
        )
    page = tmp_path / "both.html"
    done = call(tmp_path, *names, "--html", str(page))
    assert "What every segment took" in page.read_text(encoding="utf-8")
    assert all(remark in " ".join(done.stdout.split()) for remark in found.remarks)
    refused = call(tmp_path, "compare", str(logs[0]), "--schedule", str(tmp_path / "plan.toml"))
    assert refused.returncode == 2
    assert "choose 2 to 6" in refused.stderr
