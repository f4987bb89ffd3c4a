"""The logbook's page: sums by month and person, trends, and hostile words made harmless."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from commandline import call
from logbook.made import DAY_S, FIRST_S, entry_of, make_book, shown_of

from firing.logbook.record import Firing
from firing.logbook.store import Logbook
from firing.report.document import Report
from firing.report.logbook import month_sums, page_report, sparkline
from firing.report.text import render_text


def one(
    day: float, member: str, kwh: float | None, cost: float | None, unit: str = "EUR"
) -> Firing:
    return Firing(FIRST_S + day * DAY_S, id=1, member=member, kwh=kwh, cost=cost, currency=unit)


def test_a_months_sums_are_the_sums_of_its_firings() -> None:
    firings = [
        one(3, "Ann", 40.0, 10.0), one(9, "Ann", 41.5, 11.5), one(12, "Bo", None, 9.0, "GBP"),
        one(40, "", 50.0, None),
    ]  # fmt: skip
    found = [(s.month, s.member, s.firings, s.kwh, s.kwh_of, s.costs) for s in month_sums(firings)]
    assert found == [
        ("2025-02", "", 1, 50.0, 1, {}),
        ("2025-01", "Ann", 2, 81.5, 2, {"EUR": 21.5}),
        ("2025-01", "Bo", 1, None, 0, {"GBP": 9.0}),
    ]


def test_a_firing_logged_twice_counts_once_with_all_that_is_known_of_it() -> None:
    course_c = tuple(range(20, 1200, 25))
    first = replace(one(3, "", None, 10.0), kiln="Blue kiln", course_c=course_c)
    later = replace(first, started_at=first.started_at + 60.0, id=2, kwh=40.0, member="Ann")
    other_kiln = replace(later, id=3, kiln="Old box")
    unknown = replace(later, id=4, kiln="", course_c=tuple(c + 2 for c in course_c))
    another = replace(unknown, id=5, course_c=tuple(2 * c for c in course_c))
    firings = [first, later, other_kiln, unknown, another]
    found = [(s.month, s.member, s.firings, s.kwh, s.costs) for s in month_sums(firings)]
    assert found == [("2025-01", "Ann", 3, 120.0, {"EUR": 30.0})]
    shown = render_text(page_report(firings, [], Report("Trends", "", [])), width=80)
    words = " ".join(shown.split())
    assert "Firings 1 and 2 are of one firing, logged twice, which counts once" in words
    assert "'firing logbook remove 2' takes the second out" in words


def test_a_sparkline_rises_and_falls_with_the_course() -> None:
    assert sparkline([0, 650, 1300, 650, 0], 5) == "▁▅█▅▁"  # half of seven steps rounds up
    assert sparkline([]) == ""
    assert sparkline([-300, 3000], 2) == "▁█"


def test_the_page_has_it_all_and_runs_nothing(tmp_path: Path) -> None:
    path = make_book(tmp_path / "studio.sqlite", 8, rows=20)
    hostile = "<script>alert(1)</script>"
    with Logbook.open(path) as book:
        entry = replace(entry_of(50, 20), kiln=hostile, plan=hostile, member=hostile, kiln_text="")
        book.keep(entry, replace(shown_of(50), measure=None))
        for firing in book.firings():  # whose measures are none that a trend can read
            if firing.measure is not None:
                book.derive_again(firing.id, replace(shown_of(firing.id - 1), measure=None))
    done = call(tmp_path, "logbook", "page", "--out", "page.html", "--logbook", str(path), "--json")
    assert done.returncode in (0, 1), done.stderr
    document = json.loads(done.stdout)
    assert document["total"] == 9
    assert sum(month["firings"] for month in document["months"]) == 9
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert hostile not in page
    assert "&lt;script&gt;" in page
    for words in ("Energy and cost", "Trends", "Firings", "Blue kiln", "new elements"):
        assert words in page
    assert "http://" not in page.replace("http://www.w3.org", "")
    again = call(tmp_path, "logbook", "page", "--out", "page.html", "--logbook", str(path))
    assert again.returncode == 2


@pytest.mark.parametrize("width", ["all", "narrow"])
def test_a_list_never_grows_wider_than_the_terminal(tmp_path: Path, width: str) -> None:
    path = make_book(tmp_path / "studio.sqlite", 5, rows=20)
    more = ("--kiln", "Old box") if width == "narrow" else ()
    done = call(tmp_path, "logbook", "list", *more, "--logbook", str(path))
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert done.stdout.count("Glaze, cone 6") + done.stdout.count("Bisque, bone") >= 1
