"""The page: text stays text, and scripts are admitted by their digests."""

import json
import re
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st
from report.report_samples import Names, sample_review

from firing.report.document import Block, Paragraph, Report, Table
from firing.report.page import escaped, render_page, script, script_json
from firing.report.review import review_report


class Reader(HTMLParser):
    """Collects what a browser would take for elements and for text."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.words = ""

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.words += data


def page_of(*parts: Block) -> str:
    return render_page(Report("", "A page", parts))


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    return reader


@given(st.text())
def test_no_text_becomes_an_element(raw: str) -> None:
    reader = read(f"<p>{escaped(raw)}</p>")
    assert reader.tags == ["p"]


@pytest.mark.parametrize("raw", ["<script>alert(1)</script>", '"><img src=x onerror=y>', "a & b"])
def test_text_comes_back_as_it_was(raw: str) -> None:
    assert raw in read(page_of(Paragraph(raw))).words


def test_tables_say_what_heads_what() -> None:
    page = page_of(Table(["name", "kg"], "lr", [["cup", "0.3"]], "Ware"))
    assert "<caption><span>Ware</span></caption>" in page
    assert '<th scope="col" class="l">name</th>' in page
    assert '<th scope="row" class="l">cup</th><td class="r">0.3</td>' in page


@given(st.recursive(st.text() | st.integers(), lambda inner: st.lists(inner, max_size=3)))
def test_json_in_a_script_is_the_same_and_cannot_end_it(value: object) -> None:
    encoded = script_json(value)
    assert json.loads(encoded) == value
    assert not set("<>&\u2028\u2029") & set(encoded)


def test_numbers_that_json_does_not_have_are_refused() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        script_json([float("nan")])


def test_a_script_that_would_end_itself_is_refused() -> None:
    with pytest.raises(ValueError, match="end its own element"):
        script("x = '</ScRiPt>'")


def test_the_digest_is_that_of_content_security_policy() -> None:
    # Worked example of W3C Content Security Policy Level 2, section on script hashes (from memory).
    _, token = script("alert('Hello, world.');")
    assert token == "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='"


def test_a_page_without_drawings_has_no_script_and_admits_none() -> None:
    page = page_of(Paragraph("words"))
    assert "script" not in read(page).tags
    assert "script-src" not in page


def test_names_that_the_script_uses_itself_stay_names() -> None:
    report = review_report(sample_review(Names(channel="CONFIG, DRAWINGS")))
    page = render_page(report, interactive=True)
    found = re.search(r"var drawings = (\[.*\]), config = (\{.*\});\n", page)
    assert found is not None
    drawings, config = map(json.loads, found.groups())
    names = {line["name"] for drawing in drawings for line in drawing["data"]}
    assert "actual, CONFIG, DRAWINGS" in names
    assert config["showSendToCloud"] is False
