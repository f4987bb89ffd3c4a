"""The pages in a real browser: they stand alone, draw, print on a sheet, and need no script."""

import re

import pytest
from page.browsing import Opened, Opener
from report.report_samples import Names, sample_forecast, sample_review

from firing.report.forecast import forecast_report
from firing.report.page import render_page
from firing.report.review import review_report
from firing.safety import DEFERENCE, cautions_for

HOSTILE_TEXTS = [
    "<script>alert(1)</script>",
    '"><img src=x onerror="alert(1)">',
    "</script><script>alert(1)</script>",
    "<a href='javascript:alert(1)'>x</a>",
    "<!--<script>",
    "%{x} ${alert(1)} \u202e\x1b[2J",
]


@pytest.fixture(scope="module", params=[pytest.param("forecast", marks=pytest.mark.soak), "review"])
def document(request: pytest.FixtureRequest) -> str:
    if request.param == "forecast":
        return render_page(forecast_report(sample_forecast()))
    return render_page(review_report(sample_review()))


@pytest.fixture(scope="module")
def interactive(show: Opener) -> Opened:
    """The review as an interactive page."""
    return show(render_page(review_report(sample_review()), interactive=True), keep=True)


@pytest.fixture(scope="module")
def opened(document: str, show: Opener) -> Opened:
    """The document on a desk screen, for the tests that only look."""
    return show(document, keep=True)


def test_it_asks_no_server_for_anything_and_complains_of_nothing(opened: Opened) -> None:
    opened.page.mouse.move(500, 700)
    opened.page.wait_for_timeout(300)
    assert opened.further_requests == []
    assert opened.complaints == []


def test_the_policy_itself_forbids_every_server(document: str, show: Opener) -> None:
    opened = show(document)
    refused = opened.page.evaluate(
        "fetch('http://127.0.0.1:9/x').then(() => 'sent', () => 'refused')"
    )
    assert refused == "refused"
    assert len(opened.requests) == 1
    assert "Content Security Policy" in " ".join(opened.complaints)


def test_saving_a_picture_works_and_sharing_is_not_offered(interactive: Opened) -> None:
    opened = interactive
    assert opened.further_requests == []
    assert opened.complaints == []
    titles = opened.page.eval_on_selector_all(
        ".modebar-btn", "buttons => buttons.map(b => b.dataset.title || '')"
    )
    assert titles
    assert not [t for t in titles if re.search("share|cloud|edit|plotly", t, re.IGNORECASE)]
    picture = opened.page.evaluate(
        "Plotly.toImage(document.querySelector('.plot'), {format: 'png', width: 300, height: 200})"
    )
    assert picture.startswith("data:image/png")


def test_figures_are_drawn_and_captioned(opened: Opened) -> None:
    page = opened.page
    figures = page.locator("figure")
    assert figures.count() >= 2
    for number in range(figures.count()):
        figure = figures.nth(number)
        # One for a wide screen and one for a phone, each with its words for a screen reader.
        assert figure.locator("svg[role=img][aria-label]").count() == 2
        assert figure.locator("svg").first.locator(".line, .bar").count() >= 1
        assert len(figure.locator("figcaption").text_content() or "") > 40
    shown = figures.first.locator("svg")
    assert shown.first.is_visible()
    assert not shown.last.is_visible()


def test_an_interactive_page_draws_with_script(interactive: Opened) -> None:
    figures = interactive.page.locator("figure")
    assert figures.count() >= 2
    assert figures.first.locator("svg.main-svg").count() >= 1
    assert figures.first.locator(".trace").count() >= 1


def test_it_is_a_whole_document(opened: Opened) -> None:
    page = opened.page
    assert page.evaluate("document.documentElement.lang") == "en"
    assert page.evaluate("document.characterSet") == "UTF-8"
    assert page.evaluate("document.compatMode") == "CSS1Compat"
    assert page.title().endswith(": Plates, invented")
    assert page.locator("h1").all_inner_texts() == ["Plates, invented"]
    assert page.locator("meta[name=viewport]").count() == 1
    for table in page.locator("table").all():
        assert table.locator("caption").text_content()
        assert table.locator("thead th[scope=col]").count() >= 2
        assert table.locator("tbody th[scope=row]").count() >= 1
    ids = page.eval_on_selector_all("[id]", "all => all.map(e => e.id).filter(id => id)")
    own = [name for name in ids if not re.search(r"\d{3}|clip|legend|topdefs", name)]
    assert len(own) == len(set(own))
    assert page.locator("h2").count() >= 6


def test_lines_differ_without_colour_and_bear_their_names(show: Opener) -> None:
    names = Names(channel="<b>top</b> & middle")
    page = show(render_page(review_report(sample_review(names)))).page
    dashes = page.eval_on_selector_all(
        "#course .on-wide .line", "lines => lines.map(l => l.getAttribute('stroke-dasharray'))"
    )
    # Plan, actual and the other channel lie in one panel.
    assert len(set(dashes)) == 3
    legend = page.locator("#course .on-wide .legend").all_text_contents()
    assert "actual, <b>top</b> & middle" in legend


def test_the_answer_stands_there_without_javascript(show: Opener) -> None:
    page = show(render_page(review_report(sample_review())), javascript=False).page
    answer = page.locator(".answer").inner_text().replace("\u00a0", " ")
    assert "Ran 11 h 30 min, 1 h 00 min over its 10 h 30 min" in answer
    assert page.locator("table").count() >= 3
    assert page.locator("#course svg").first.is_visible()
    page = show(
        render_page(review_report(sample_review()), interactive=True), javascript=False
    ).page
    assert "The drawings need JavaScript" in page.locator("main").inner_text()
    assert not page.locator(".plot").first.is_visible()

    page = show(render_page(forecast_report(sample_forecast())), javascript=False).page
    answer = page.locator(".answer").inner_text().replace("\u00a0", " ")
    assert "Heats for 10 h 30 min" in answer


def test_cautions_sources_and_deference(opened: Opened) -> None:
    words = opened.page.locator("main").inner_text()
    whole = opened.page.locator("main").text_content() or ""
    for caution in cautions_for(1200.0, "glaze"):
        assert caution.heading in words
    assert DEFERENCE in words
    assert "cone-chart-1996" in whole
    # The headings stand in view; the cautions in full open on demand.
    assert not opened.page.locator("details[open]").count()
    opened.page.locator("summary", has_text="The cautions in full").click()
    assert "Basis:" in opened.page.locator("main").inner_text()
    opened.page.locator("summary", has_text="The cautions in full").click()


def test_nothing_sticks_out_sideways_on_a_desk_screen(opened: Opened) -> None:
    assert opened.page.evaluate("document.documentElement.scrollWidth") <= 1100


def test_small_dark_screens_stay_legible_and_paper_stays_white(document: str, show: Opener) -> None:
    page = show(document, width=400, dark=True).page
    assert page.evaluate("document.documentElement.scrollWidth") <= 400
    colours = """() => {
      const rgb = (e, p) => getComputedStyle(e)[p].match(/\\d+/g).slice(0, 3).map(Number);
      const lum = c => c.map(v => v / 255)
        .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
        .reduce((s, v, i) => s + v * [0.2126, 0.7152, 0.0722][i], 0);
      const paper = lum(rgb(document.body, 'backgroundColor'));
      const inks = [lum(rgb(document.body, 'color')),
        lum(rgb(document.querySelector('figcaption'), 'color')),
        ...[...document.querySelectorAll('svg.drawing text')].map(e => lum(rgb(e, 'fill')))];
      const lines = [...document.querySelectorAll('svg.drawing .line, svg.drawing .bar')]
        .map(e => lum(rgb(e, e.tagName === 'rect' ? 'fill' : 'stroke')));
      const against = i => (Math.max(i, paper) + 0.05) / (Math.min(i, paper) + 0.05);
      return {paper, contrast: Math.min(...inks.map(against)),
        lines: Math.min(...lines.map(against))};
    }"""
    on_screen = page.evaluate(colours)
    # 4.5 : 1 is what WCAG 2.1, 1.4.3 asks of text, and 3 : 1 what 1.4.11 asks of lines that carry
    # a meaning; the luminance is its definition too.
    assert on_screen["paper"] < 0.05
    assert on_screen["contrast"] >= 4.5
    assert on_screen["lines"] >= 3.0
    page.emulate_media(media="print", color_scheme="dark")
    on_paper = page.evaluate(colours)
    assert on_paper["paper"] == 1.0
    assert on_paper["contrast"] >= 4.5
    assert on_paper["lines"] >= 3.0


@pytest.mark.soak
def test_it_prints(document: str, show: Opener) -> None:
    opened = show(document)
    page = opened.page
    page.emulate_media(media="print")
    # A4 is 210 mm wide and Letter 8.5 in; less two margins of 13 mm, at 96 px to the inch.
    for paper, width_px in (("A4", 695), ("Letter", 717)):
        printed = page.pdf(format=paper)
        assert printed.startswith(b"%PDF-")
        # One sheet: what is folded stays so.
        assert len(re.findall(rb"/Type\s*/Page[^s]", printed)) == 1
        page.evaluate(f"document.body.style.width = '{width_px}px'")
        page.evaluate("document.body.style.margin = '0'")
        for selector in ("figure", "figure svg", "table"):
            for box in page.locator(selector).all():
                size = box.bounding_box()
                assert size is None or size["x"] + size["width"] <= width_px + 1, selector
    breaks = page.eval_on_selector_all(
        "figure, tr", "all => all.map(e => getComputedStyle(e).breakInside)"
    )
    assert set(breaks) == {"avoid"}
    assert opened.complaints == []


@pytest.mark.parametrize("turn", [1, pytest.param(-1, marks=pytest.mark.soak)])
def test_hostile_texts_stay_text(show: Opener, turn: int) -> None:
    # Every place gets all of them; forwards and backwards, so that none hides behind another.
    text = " ".join(HOSTILE_TEXTS[::turn])
    names = Names(*[text] * 6)
    for document in (
        render_page(review_report(sample_review(names))),
        render_page(forecast_report(sample_forecast(names))),
    ):
        opened = show(document)
        assert opened.dialogs == []
        assert opened.complaints == []
        assert opened.further_requests == []
        assert opened.page.locator("script").count() == 0
        assert opened.page.locator("img[src=x]").count() == 0
        assert opened.page.locator("main a, svg a").count() == 0
        visible = text.replace("\u202e", "�").replace("\x1b", "␛")
        assert opened.page.locator("h1").inner_text() == visible
        assert "\u202e" not in document


def test_a_long_log_does_not_make_a_long_page() -> None:
    long, short = (
        render_page(review_report(sample_review(step_s=step_s))) for step_s in (1.0, 60.0)
    )
    assert len(long) - len(short) < 150_000
    assert max(len(long.encode()), len(short.encode())) <= 300_000
