"""One self-contained HTML page for a forecast or a review.

The page holds its own styles, data and drawing script.  Its content policy admits those scripts by
their digests and nothing from anywhere else, so opening it sends no request to any server, whatever
a title or a channel name says.
"""

from collections.abc import Iterable, Sequence
from importlib.resources import files

from firing.forecast.result import Forecast
from firing.report import html, rows
from firing.report.drawings import forecast_drawings
from firing.report.figures import CONFIG, Drawing, library
from firing.report.formatting import SEVERITY_WORDS, citations, sentence
from firing.report.html import bullets, paragraph, section
from firing.report.review_drawings import review_drawings
from firing.report.rows import Rows
from firing.report.summary import (
    CONE_SOURCES,
    cause_words,
    cooling_words,
    finding_words,
    findings_told,
    forecast_answer,
    forecast_times,
    lead_in_words,
    log_words,
    review_answer,
)
from firing.report.summary_sentences import heat_words, kiln_words, margin_words
from firing.review.result import Review
from firing.review.witness import SOURCES as WITNESS_SOURCES
from firing.safety import DEFERENCE, FIGURES_NOTE, Caution, cautions_for

# Draws every figure, and gives each drawing a view box so that paper can scale it.
_DRAW = """
(function () {
  var drawings = DRAWINGS, config = CONFIG;
  drawings.forEach(function (drawing) {
    var place = document.getElementById(drawing.name);
    Plotly.newPlot(place, drawing.data, drawing.layout, config).then(function () {
      function scale() {
        place.querySelectorAll("svg.main-svg").forEach(function (svg) {
          var width = svg.getAttribute("width"), height = svg.getAttribute("height");
          svg.setAttribute("viewBox", "0 0 " + width + " " + height);
        });
      }
      scale();
      place.on("plotly_afterplot", scale);
    });
  });
})();
"""


def forecast_page(forecast: Forecast) -> str:
    """Return a forecast as one HTML document.

    Parameters
    ----------
    forecast : Forecast
        What to show.
    """
    schedule = forecast.schedule
    keeper = forecast_times(forecast)
    cautions = cautions_for(forecast.peak_c, schedule.purpose)
    drawings = forecast_drawings(forecast)
    warnings = [(w.severity, [w.message], w.source) for w in forecast.warnings]
    used = ["cooling-default", *CONE_SOURCES, *_split(w.source for w in forecast.warnings)]
    body = [
        _opening("Forecast of a firing", schedule.title, forecast_answer(forecast)),
        paragraph(f"{sentence(keeper.start_words())}.", kind="quiet"),
        paragraph(schedule.notes, kind="quiet") if schedule.notes else "",
        section("Course", *map(_figure, drawings[:1]), anchor="course-heading"),
        section(
            "Segments",
            _table(
                "The segments, with how long each takes (h:mm) and when it ends",
                rows.forecast_segments(forecast),
            ),
            paragraph(rows.slower_than_programmed(forecast), kind="quiet")
            if rows.slower_than_programmed(forecast)
            else "",
            anchor="segments",
        ),
        _listed("In this kiln", kiln_words(forecast), anchor="in-this-kiln"),
        _listed("By hand", rows.hand_actions(forecast), anchor="by-hand"),
        section("Warnings", _findings(warnings) or paragraph("None."), anchor="warnings"),
        section("Heat-work", *map(_figure, drawings[1:]), anchor="heatwork-heading"),
        section("Cautions", *_cautions(cautions), anchor="cautions"),
        _listed(
            "What this rests on",
            [
                f"{sentence(forecast.basis)}.",
                f"Durations by {forecast.planned_basis}.",
                *forecast.cones.notes_in(forecast.schedule.unit),
                *forecast.cones.warnings_in(forecast.schedule.unit),
            ],
            anchor="basis",
        ),
        _sources(used),
    ]
    return _document(f"Forecast: {schedule.title}", body, drawings)


def review_page(review: Review) -> str:
    """Return a review as one HTML document.

    Parameters
    ----------
    review : Review
        What to show.
    """
    schedule = review.schedule
    cautions = cautions_for(schedule.peak_c, schedule.purpose)
    drawings = review_drawings(review)
    of_name = {drawing.name: _figure(drawing) for drawing in drawings}
    findings = [(f.severity, finding_words(f), f.source) for f in findings_told(review)]
    lead_in = lead_in_words(review)
    used = [*CONE_SOURCES, *(["cooling-default"] if review.cooling else [])]
    heat = review.heat
    if heat is not None:
        used += [heat.thermocouple.source, *(remark.source for remark in heat.drift)]
        used += _split([WITNESS_SOURCES]) if heat.witness is not None else []
        used += ["quartz-inversion-entry"] if rows.cooling_through(review) is not None else []
    used += _split(f.source for f in review.findings)
    body = [
        _opening("Review of a firing", schedule.title, review_answer(review)),
        section("Findings", _findings(findings) or paragraph("None."), anchor="findings"),
        section("Plan and actual", of_name["course"], anchor="course-heading"),
        section(
            "Where the time went",
            of_name.get("account", ""),
            _table(
                "The account: minutes longer (+) or shorter (−) than planned, by cause",
                rows.account(review.causes),
            )
            if review.causes
            else "",
            bullets(cause_words(review.causes)) if cause_words(review.causes) else "",
            anchor="account-heading",
        ),
        section(
            "Segments",
            _table(
                f"The segments, planned and actual: {rows.PAIRS_NOTE}", rows.review_segments(review)
            )
            if review.segments
            else "",
            anchor="segments",
        ),
        section(
            "Cones and heat-work",
            _table(
                "The cone each channel came to, and its highest reading",
                rows.cones_by_channel(review),
            ),
            of_name.get("heatwork", ""),
            _optional(
                "The witness cones, what the readings make of each, and the offset that follows",
                rows.witnesses(review),
            ),
            bullets(heat_words(review)) if heat_words(review) else "",
            _optional(
                "How far the channels were apart at the peak and over the last hour",
                rows.unevenness(review),
            ),
            anchor="cones",
        ),
        section(
            "Cooling",
            bullets(cooling_words(review)) if cooling_words(review) else "",
            _optional(
                "How fast every channel cooled through the inversions of quartz and cristobalite",
                rows.cooling_through(review),
            ),
            anchor="cooling",
        ),
        _comparison(review, of_name),
        _listed("The log", [*log_words(review), *([lead_in] if lead_in else [])], anchor="log"),
        section("Cautions for the next firing", *_cautions(cautions), anchor="cautions"),
        _listed(
            "What this rests on",
            [
                f"Planned durations by {review.planned_basis}.",
                *margin_words(review),
            ],
            anchor="basis",
        ),
        _sources(used),
    ]
    return _document(f"Review: {schedule.title}", body, drawings)


def _comparison(review: Review, of_name: dict[str, str]) -> str:
    comparison = review.comparison
    if comparison is None:
        return ""
    return section(
        f"Beside {comparison.other.log.name}",
        bullets(comparison.remarks),
        of_name.get("comparison", ""),
        _optional("The segments of both firings (h:mm)", rows.compared_segments(review)),
        _optional("Causes, peak, cone and cooling of both", rows.compared_figures(review)),
        anchor="comparison-heading",
    )


def _optional(caption: str, table: Rows | None) -> str:
    return "" if table is None else _table(caption, table)


def _opening(kind: str, title: str, answer: Sequence[str]) -> str:
    sentences = "\n".join(paragraph(words) for words in answer)
    return (
        f"<header>\n{paragraph(kind, kind='kind')}\n<h1>{html.text(title)}</h1>\n"
        f'<div class="answer">\n{sentences}\n</div>\n</header>'
    )


def _figure(drawing: Drawing) -> str:
    return (
        f'<figure>\n<div class="plot" id="{drawing.name}" '
        f'style="min-height:{drawing.height_px}px"></div>\n'
        f"<figcaption>{html.prose(drawing.caption)}</figcaption>\n</figure>"
    )


def _table(caption: str, table: Rows) -> str:
    return html.table(caption, table.headers, table.rows, table.align)


def _listed(heading: str, items: Sequence[str], *, anchor: str) -> str:
    return section(heading, bullets(items) if items else "", anchor=anchor)


def _findings(findings: Sequence[tuple[str, Sequence[str], str]]) -> str:
    if not findings:
        return ""
    items: list[str] = []
    for severity, words, source in findings:
        cited = [f" [{name}]" for name in _split([source])]
        items.append(
            f'<li><span class="severity {html.text(severity)}">'
            f"{html.text(SEVERITY_WORDS[severity])}</span>"
            f"{html.prose(' '.join(words))}"
            f'<span class="quiet">{html.text("".join(cited))}</span></li>'
        )
    return '<ul class="findings">\n' + "\n".join(items) + "\n</ul>"


def _cautions(cautions: Sequence[Caution]) -> list[str]:
    parts = [paragraph(DEFERENCE, kind="deference"), paragraph(FIGURES_NOTE, kind="quiet")]
    for caution in cautions:
        heading, *lines = caution.lines()
        figures = len(caution.figures)
        words, numbers = lines[: len(lines) - figures], lines[len(lines) - figures :]
        parts.append(f"<h3>{html.text(heading)}</h3>")
        parts += [paragraph(line) for line in words]
        if numbers:
            parts.append(f'<div class="figures">{bullets(numbers)}</div>')
    return parts


def _sources(source_ids: Iterable[str]) -> str:
    items = [
        f"<li><b>{html.text(name)}</b>: {html.text(words)}</li>"
        for name, words in citations(list(source_ids))
    ]
    return section(
        "Sources", '<ul class="sources">\n' + "\n".join(items) + "\n</ul>", anchor="sources"
    )


def _split(sources: Iterable[str]) -> list[str]:
    """Return the ids in fields that may name several, apart by commas."""
    return [name.strip() for field in sources for name in field.split(",") if name.strip()]


def _document(title: str, body: Sequence[str], drawings: Sequence[Drawing]) -> str:
    data = [
        {"name": d.name, "data": d.figure["data"], "layout": d.figure["layout"]} for d in drawings
    ]
    draw = _DRAW.replace("DRAWINGS", html.script_json(data)).replace(
        "CONFIG", html.script_json(CONFIG)
    )
    (library_element, library_digest), (draw_element, draw_digest) = (
        html.script(library()),
        html.script(draw),
    )
    policy = (
        "default-src 'none'; "
        f"script-src {library_digest} {draw_digest}; "
        # The drawing library writes styles of its own and makes pictures in memory for saving.
        "style-src 'unsafe-inline'; img-src data: blob:; "
        "base-uri 'none'; form-action 'none'"
    )
    css = files("firing.report").joinpath("page.css").read_text(encoding="utf-8")
    content = "\n\n".join(part for part in body if part)
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>{html.text(title)}</title>
<link rel="icon" href="data:,">
<style>
{css}</style>
<noscript><style>.plot {{ display: none; }}</style></noscript>
</head>
<body>
<main>
<noscript><p class="quiet">The drawings need JavaScript; everything they show is also said in words
and tables here.</p></noscript>

{content}
</main>
<footer class="quiet"><p>This page stands alone: it holds its own data and asks no server for
anything.</p></footer>
{library_element}
{draw_element}
</body>
</html>
"""
