"""A report as one self-contained HTML page.

The page holds its own styles and drawings, and needs no script.  An interactive one holds the
drawing script too: its content policy admits that by its digest and nothing from anywhere else.  So
opening a page sends no request to any server, whatever a title or a channel name says.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
from collections.abc import Iterable, Iterator, Sequence
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from firing.report.document import (
    Block,
    Bullets,
    Chart,
    Figures,
    FillIn,
    Flagged,
    FlaggedList,
    Numbered,
    Only,
    Panels,
    Paragraph,
    Report,
    Section,
    Sources,
    Table,
    Tile,
    Tiles,
    in_its_unit,
    shown,
)
from firing.report.sanitize import plain
from firing.report.words import SEVERITY_WORDS, citations
from firing.units import TemperatureUnit, in_unit, join_units

if TYPE_CHECKING:
    from firing.report.charts.figure import Drawing

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
CONFIG: dict[str, Any] = {
    "displaylogo": False,
    "showSendToCloud": False,
    "plotlyServerURL": "",
    "typesetMath": False,
    "responsive": True,
    "scrollZoom": False,
    "modeBarButtonsToRemove": ["lasso2d", "select2d", "autoScale2d"],
}
"""How plotly behaves: nothing is offered that would send the data anywhere."""

_BOX = '<span class="box" role="img" aria-label="box to tick"></span>'
_BLANK = '<span class="blank">&nbsp;</span>'
_HIDE_PLOTS = "<noscript><style>.plot { display: none; }</style></noscript>\n"
_WITHOUT_SCRIPT = """<noscript><p class="quiet">The drawings need JavaScript; everything they show \
is also said in words
and tables here.</p></noscript>
"""
_FOOTER = """<footer class="quiet"><p>This page stands alone: it holds its own data and asks no \
server for
anything.</p></footer>
"""


def render_page(report: Report, *, interactive: bool = False) -> str:
    """Return a report as one HTML document.

    `interactive` lets plotly draw, to zoom and to point at; the page is then about 5 MB, and else
    of some tens of kB.
    """
    report = in_its_unit(report)
    drawings: list[Drawing] | None = [] if interactive else None
    body = [
        _opening(report),
        _paragraph(report.when, "quiet"),
        *_shown(report.parts, drawings),
    ]
    content = "\n\n".join(part for part in body if part)
    return _document(report, content, drawings or [])


def render_parts(parts: Sequence[Block | None]) -> str:
    """Return parts as HTML without a page around them; they hold no chart."""
    return "\n".join(filter(None, _shown(parts, None, level=3)))


def _shown(
    parts: Sequence[Block | None], drawings: list[Drawing] | None, level: int = 2
) -> Iterator[str]:
    """Yield the parts as HTML, with their drawings.

    Where `drawings` is a list they are put into it, for the script that draws them.
    """
    for part in shown(parts, "page"):
        match part:
            case Section():
                yield _section(part, drawings, level)
            case Paragraph(words, kind):
                yield _paragraph(words, "quiet" if kind == "under" else kind)
            case Bullets(items):
                yield _bullets(items)
            case Numbered(steps):
                told = "\n".join(f"<li>{prose(step)}</li>" for step in steps)
                yield f"<ol>\n{told}\n</ol>" if told else ""
            case Tiles(tiles):
                yield _tiles(tiles)
            case Figures(lines):
                yield f'<div class="figures">{_bullets(lines)}</div>' if lines else ""
            case FlaggedList(items):
                yield _flagged(items)
            case Sources(ids, unit):
                yield _sources(ids, unit)
            case FillIn(labels):
                yield f"<p>{' '.join(f'{escaped(words)}: {_BLANK}' for words in labels)}</p>"
            case Table():
                yield _table(part)
            case Chart():
                drawing = part.draw()
                if drawing is not None and drawings is None:
                    yield _static_figure(drawing)
                elif drawing is not None and drawings is not None:
                    drawings.append(drawing)
                    yield _figure(drawing)
            case Panels():
                from firing.report.charts.svg import panels_figure

                yield panels_figure(part)
            case Only():
                pass


def _opening(report: Report) -> str:
    title = f"<h1>{escaped(report.title)}</h1>"
    if not report.answer:
        return title
    sentences = "\n".join(_paragraph(words) for words in report.answer)
    return (
        f"<header>\n{_paragraph(report.subject, 'kind')}\n{title}\n"
        f'<div class="answer">\n{sentences}\n</div>\n</header>'
    )


def _tiles(tiles: Sequence[Tile]) -> str:
    shown = []
    for tile in tiles:
        kind = {True: " good", False: " off", None: ""}[tile.good]
        beside = f'<span class="beside">{prose(tile.beside)}</span>' if tile.beside else ""
        shown.append(
            f'<div class="tile{kind}"><dt>{prose(tile.label)}</dt>'
            f"<dd>{prose(tile.figure)}{beside}</dd></div>"
        )
    return f'<dl class="tiles">\n{"".join(shown)}\n</dl>' if shown else ""


def _section(section: Section, drawings: list[Drawing] | None, level: int) -> str:
    inner = "\n".join(filter(None, _shown(section.parts, drawings, level + 1)))
    if not inner or not section.titled("page"):
        return inner
    if level > 2:
        return f"<h{level}>{escaped(section.heading)}</h{level}>\n{inner}"
    anchor = section.anchor or re.sub(r"[^a-z0-9]+", "-", section.heading.lower())
    if section.folded:
        return (
            f'<details>\n<summary><h2 id="{anchor}">{escaped(section.heading)}</h2></summary>\n'
            f"{inner}\n</details>"
        )
    return (
        f'<section aria-labelledby="{anchor}">\n<h2 id="{anchor}">{escaped(section.heading)}</h2>\n'
        f"{inner}\n</section>"
    )


def _paragraph(words: str, kind: str = "") -> str:
    attribute = f' class="{kind}"' if kind else ""
    return f"<p{attribute}>{prose(words)}</p>" if words else ""


def _bullets(items: Sequence[str]) -> str:
    return _list([f"<li>{prose(item)}</li>" for item in items])


def _list(items: Sequence[str], kind: str = "") -> str:
    attribute = f' class="{kind}"' if kind else ""
    return f"<ul{attribute}>\n" + "\n".join(items) + "\n</ul>" if items else ""


def _flagged(items: Sequence[Flagged]) -> str:
    if not items:
        return _paragraph("None.")
    told = []
    for item in items:
        cited = "".join(f" [{name}]" for name in item.sources)
        told.append(
            f'<li><span class="severity {escaped(item.severity)}">'
            f"{escaped(SEVERITY_WORDS[item.severity])}</span>{prose(item.words)}"
            f'<span class="quiet">{escaped(cited)}</span></li>'
        )
    return _list(told, "findings")


def _sources(ids: Iterable[str], unit: TemperatureUnit) -> str:
    told = [
        f"<li><b>{escaped(name)}</b>: {escaped(in_unit(words, unit))}</li>"
        for name, words in citations(ids)
    ]
    return _list(told, "sources")


def _static_figure(drawing: Drawing) -> str:
    from firing.report.charts.svg import svg_pair

    caption = prose(drawing.caption)
    return (
        f'<figure id="{drawing.name}">\n{svg_pair(drawing)}\n'
        f"<figcaption>{caption}</figcaption>\n</figure>"
    )


def _figure(drawing: Drawing) -> str:
    return (
        f'<figure>\n<div class="plot" id="{drawing.name}" '
        f'style="min-height:{drawing.height_px}px"></div>\n'
        f"<figcaption>{prose(drawing.caption)}</figcaption>\n</figure>"
    )


def _table(table: Table) -> str:
    """Return a table, in a box that scrolls sideways by itself where the screen is narrow."""
    kinds = ["tick" if letter == "t" else letter for letter in table.align]
    head = "".join(
        f'<th scope="col" class="{kind}">{escaped(cell)}</th>'
        for kind, cell in zip(kinds, table.headers, strict=True)
    )
    sized = [f"{kind} big" if n in table.large else kind for n, kind in enumerate(kinds)]
    body = []
    for first, *others in table.rows:
        cells = "".join(
            f'<td class="{kind}">{_BOX if kind == "tick" else escaped(cell)}</td>'
            for kind, cell in zip(sized[1:], others, strict=True)
        )
        body.append(f'<tr><th scope="row" class="{sized[0]}">{escaped(first)}</th>{cells}</tr>')
    caption = escaped(table.caption)
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{caption}">\n'
        f"<table>\n<caption><span>{caption}</span></caption>\n"
        f"<thead><tr>{head}</tr></thead>\n<tbody>\n" + "\n".join(body) + "\n</tbody>\n"
        "</table>\n</div>"
    )


def escaped(raw: str) -> str:
    """Return user text for HTML content or a quoted attribute, control characters shown."""
    return html.escape(plain(raw), quote=True)


def prose(raw: str) -> str:
    """Return running text as `escaped` does, with numbers kept on one line with their units."""
    return escaped(join_units(raw))


def _document(report: Report, content: str, drawings: Sequence[Drawing]) -> str:
    scripts = [script(library()), script(_draw(drawings))] if drawings else []
    admitted = "".join(f" {digest}" for _, digest in scripts)
    policy = (
        f"default-src 'none'; {f'script-src{admitted}; ' if scripts else ''}"
        # The drawing library writes styles of its own and makes pictures in memory for saving.
        f"style-src 'unsafe-inline'; img-src data:{' blob:' if scripts else ''}; "
        "base-uri 'none'; form-action 'none'"
    )
    css = "sheet.css" if report.sheet else "page.css"
    style = files("firing.report").joinpath(css).read_text(encoding="utf-8")
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>{escaped(report.heading)}</title>
<link rel="icon" href="data:,">
<style>
{style}</style>
{_HIDE_PLOTS if scripts else ""}</head>
<body>
<main>
{_WITHOUT_SCRIPT if scripts else ""}
{content}
</main>
{"" if report.sheet else _FOOTER}{"".join(f"{element}{chr(10)}" for element, _ in scripts)}</body>
</html>
"""


def _draw(drawings: Sequence[Drawing]) -> str:
    """Return the script that draws them, each checked by plotly."""
    import plotly.graph_objects as go

    data = []
    for drawing in drawings:
        figure = go.Figure(drawing.figure).to_plotly_json()
        data.append({"name": drawing.name, "data": figure["data"], "layout": figure["layout"]})
    # The data last: a channel may be called CONFIG.
    return _DRAW.replace("CONFIG", script_json(CONFIG)).replace("DRAWINGS", script_json(data))


def library() -> str:
    """Return the script that draws, as installed with plotly, ready to stand in a page."""
    from plotly.offline import get_plotlyjs

    code: str = get_plotlyjs()
    return code.replace("\r\n", "\n").replace("</script", "<\\/script")


def script_json(value: Any) -> str:
    """Return `value` as JSON that may stand inside a script element.

    ``<``, ``>`` and ``&`` are written as escapes, so that no text in it can end the script or open
    a comment, and so are the two line separators that older scripts take for line ends.
    """
    encoded = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for character in "<>&\u2028\u2029":
        encoded = encoded.replace(character, f"\\u{ord(character):04x}")
    return encoded


def script(code: str) -> tuple[str, str]:
    """Return a script element, and the token that lets a content policy admit exactly it.

    Code that would end its own element is refused.
    """
    if "</script" in code.lower() or "<!--" in code:
        raise ValueError("this script would end its own element; escape it first")
    digest = base64.b64encode(hashlib.sha256(code.encode()).digest()).decode()
    return f"<script>{code}</script>", f"'sha256-{digest}'"
