"""The bibliography: every entry is whole, and an unknown id is answered with the nearest."""

import re

import pytest

from firing.errors import FiringError
from firing.sources import SOURCE_KINDS, cite, load_sources, source

EXPECTED = (
    "cone-chart-1996",
    "cone-model",
    "cone-bending-practice",
    "cooling-default",
    "full-power-default",
    "nist-srd-60",
    "iec-60584-1",
    "astm-e230",
    "rado-1988",
    "kaolinite-kinetics-1987",
    "macgee-1926",
    "illitic-clay-2020",
    "quartz-inversion-entry",
    "saturation-pressure",
    "hirtle-1998",
    "emc-595",
)


def test_the_sources_other_parts_lean_on_are_there() -> None:
    assert [source_id for source_id in EXPECTED if source_id not in load_sources()] == []
    assert [source(source_id).id for source_id in EXPECTED] == list(EXPECTED)


def test_every_entry_is_whole(subtests: pytest.Subtests) -> None:
    for name, entry in load_sources().items():
        with subtests.test(name):
            assert entry.id == name
            assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", entry.id)
            assert entry.kind in SOURCE_KINDS
            assert entry.citation.strip() == entry.citation
            assert len(entry.citation) >= 10
            # A citation becomes one sentence; its own full stop would make it two.
            assert not entry.citation.endswith(".")
            assert "\n" not in entry.sentence()
            assert entry.doi is None or re.fullmatch(r"10\.\d{4,}/\S+", entry.doi)
            assert entry.url is None or entry.url.startswith("https://")


def test_no_two_entries_cite_the_same() -> None:
    citations = [entry.citation for entry in load_sources().values()]
    assert len(set(citations)) == len(citations)


def test_a_rule_of_law_or_code_says_where_it_holds() -> None:
    for entry in load_sources().values():
        if re.search(r"\bCFR\b|\bNEC\b|Electrical Code|Regulation|Administrative", entry.citation):
            assert entry.jurisdiction, entry.id


def test_the_cone_chart_warns_of_the_older_edition() -> None:
    # The 1996 chart: cone 6, self-supporting, 150 °C/h is 1243 °C; the older edition prints 1222.
    note = source("cone-chart-1996").note or ""
    assert "1243" in note
    assert "1222" in note


@pytest.mark.parametrize(
    ("source_id", "start"),
    [
        ("cone-chart-1996", "Orton pyrometric cones"),
        ("ware-rates-practice", "Common practice, no source: "),
        ("cone-model", "Computed by this project: "),
        ("drying-diffusivity", "Not checked against a source: "),
        ("owner-meter", "Anecdotal: "),
    ],
)
def test_cite_says_how_sure_the_entry_is(source_id: str, start: str) -> None:
    text = cite(source_id)
    assert text.startswith(start)
    assert text.endswith(".")


def test_cite_gives_the_doi() -> None:
    assert "doi:10.3390/ma13214968" in cite("illitic-clay-2020")


@pytest.mark.parametrize("wrong", ["cone-chart-1966", "Cone-chart-1996", "cone-chart"])
def test_an_unknown_id_suggests_the_nearest(wrong: str) -> None:
    with pytest.raises(FiringError, match="cone-chart-1996") as caught:
        source(wrong)
    assert wrong in str(caught.value)


def test_an_unknown_id_like_no_other_says_where_the_list_is() -> None:
    with pytest.raises(FiringError, match="firing sources"):
        cite("zzzzqqqq")


def test_the_caller_may_change_the_returned_dict() -> None:
    load_sources().clear()
    assert load_sources()
