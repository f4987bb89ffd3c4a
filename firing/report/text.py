"""A report as text for a terminal: no line wider than asked, and safe whatever its words say."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from firing.report.document import (
    Block,
    Bullets,
    Chart,
    Figures,
    FillIn,
    FlaggedList,
    Numbered,
    Only,
    Panels,
    Paragraph,
    Report,
    Section,
    Sources,
    Table,
    Tiles,
    in_its_unit,
    shown,
)
from firing.report.sanitize import display_width, pad, plain, to_ascii, wrap
from firing.report.words import SEVERITY_WORDS, citations
from firing.units import in_unit, join_units

_NO_BREAK = "\N{NO-BREAK SPACE}"
_BOLD, _RESET = "\x1b[1m", "\x1b[0m"
_CHART_HEIGHT = 17
BRIEF_LINES = 37
"""The lines of a report's short form at most, with its chart as high as they leave room for."""
_LEAST_CHART, _MOST_BRIEF_CHART = 6, 11
_INDENT = "    "
_GAP = "  "
_NARROWEST = 6
# A bar fills what the longest names and figures leave, within reason [columns].
_BESIDE_BARS, _LEAST_BAR, _MOST_BAR = 46, 6, 24


@dataclass(frozen=True, slots=True, eq=False)
class _Style:
    width: int
    colour: bool
    ascii_only: bool
    chart_height: int = _CHART_HEIGHT
    sentences: bool = False
    """Whether a table is a sentence a row."""


def render_text(
    report: Report,
    *,
    width: int = 80,
    colour: bool = False,
    ascii_only: bool = False,
    brief: bool = False,
    charts: bool = True,
) -> str:
    """Return a report for the terminal.

    `width` is the widest line [columns].  Nothing is said by `colour` alone; `ascii_only` is for
    outputs that cannot carry braille.  A `brief` report takes at most `BRIEF_LINES` lines where its
    words allow.  Without `charts` a table is a sentence a row, for a screen reader.
    """
    report = in_its_unit(report)
    style = _Style(width, colour, ascii_only, _CHART_HEIGHT if charts else 0, not charts)
    lines = _heading(report.heading, style) if report.title else []
    if brief and report.brief:
        short = _joined(lines, report.brief, replace(style, chart_height=0))
        if charts:
            drawn = _joined(lines, report.brief, replace(style, chart_height=_LEAST_CHART))
            room = min(BRIEF_LINES - len(drawn) + _LEAST_CHART, _MOST_BRIEF_CHART)
            if room >= _LEAST_CHART:
                short = _joined(lines, report.brief, replace(style, chart_height=room))
        lines = short
    else:
        for words in (report.when, *report.answer):
            lines += _wrapped(words, width)
        lines = _joined(lines, report.parts, style)
    # Character by character, so that colour sequences and line ends pass unharmed.
    text = "\n".join(lines)
    return to_ascii(text) if ascii_only else text


def _joined(lines: list[str], parts: Sequence[Block | None], style: _Style) -> list[str]:
    """Return `lines` with those of the parts below; sections and following tables set off."""
    previous: Block | None = None
    for part in shown(parts, "text"):
        added = _lines(part, style)
        if not added:
            continue
        both_tables = isinstance(part, Table) and isinstance(previous, Table)
        if lines and (both_tables or isinstance(part, Section)):
            lines = [*lines, ""]
        lines = [*lines, *added]
        previous = part
    return lines


def _lines(part: Block, style: _Style) -> list[str]:
    match part:
        case Section():
            head = _heading(part.heading, style) if part.titled("text") else []
            whole = _joined(head, part.parts, style)
            return whole if len(whole) > len(head) else []
        case Paragraph(words, "under"):
            return [_INDENT + line for line in _wrapped(words, style.width - len(_INDENT))]
        case Paragraph(words):
            return _wrapped(words, style.width)
        case Figures(lines):
            return [line for words in lines for line in _wrapped(words, style.width)]
        case Bullets(items):
            return _bullets(items, style)
        case Numbered(steps):
            return _bullets(steps, style, [f"{n}. " for n in range(1, len(steps) + 1)])
        case FlaggedList(items):
            told = [f"{SEVERITY_WORDS[item.severity]}: {item.words}" for item in items]
            return _bullets(told, style) or ["None."]
        case Sources(ids, unit):
            cited = [f"{name}: {in_unit(words, unit)}" for name, words in citations(ids)]
            return _bullets(cited, style)
        case Table():
            return _table(part, style)
        case Chart():
            return _chart(part, style)
        case FillIn() | Tiles() | Panels() | Only():
            return []


def _heading(words: str, style: _Style) -> list[str]:
    lines = _wrapped(words, style.width)
    return [f"{_BOLD}{line}{_RESET}" for line in lines] if style.colour else lines


def _bullets(items: Sequence[str], style: _Style, marks: Sequence[str] | None = None) -> list[str]:
    lines = []
    for item, mark in zip(items, marks or ["• "] * len(items), strict=True):
        first, *rest = _wrapped(item, style.width - len(mark)) or [""]
        lines += [f"{mark}{first}", *(f"{' ' * len(mark)}{line}" for line in rest)]
    return lines


def _wrapped(words: str, width: int) -> list[str]:
    if not words:
        return []
    return [line.replace(_NO_BREAK, " ") for line in wrap(join_units(plain(words)), width)]


def _chart(chart: Chart, style: _Style) -> list[str]:
    if not (chart.series and style.chart_height):
        return []
    from firing.report.charts.text_chart import render_chart

    drawn = render_chart(
        chart.series,
        width=style.width,
        height=style.chart_height,
        unit=chart.unit,
        started=chart.started,
        ascii_only=style.ascii_only,
        colour=style.colour,
    )
    return drawn.split("\n")


def _table(table: Table, style: _Style) -> list[str]:
    headers, align, rows = table.headers, table.align.replace("t", "l"), table.rows
    if style.sentences:
        return _spoken_rows(table, style)
    if table.bars:
        room = max(min(style.width - _BESIDE_BARS, _MOST_BAR), _LEAST_BAR)
        headers, align = (*headers, ""), align + "l"
        rows = [(*row, bar(share, room)) for row, share in zip(rows, table.bars, strict=True)]
    return render_table(headers, rows, align, width=style.width).split("\n")


def _spoken_rows(table: Table, style: _Style) -> list[str]:
    """Return a sentence a row: every cell with what its column is called."""
    lines = []
    for row in table.rows:
        cells = [
            f"{head} {cell}" if head not in ("", "#") else cell
            for head, cell in zip(table.headers, row, strict=True)
            if cell not in ("", "–")
        ]
        lines += _wrapped(f"{', '.join(cells)}.", style.width)
    return lines


def bar(share: float, room: int) -> str:
    """Return a share from -1 to 1 as a bar: solid above zero, hatched below."""
    return ("█" if share > 0 else "▒") * round(room * abs(share))


def render_table(
    headers: Sequence[str],
    rows: Sequence[Sequence[str]],
    align: str,
    *,
    width: int = 80,
) -> str:
    """Return headers, a rule and rows as lines no wider than `width`, without spaces at their ends.

    Columns of text (``l``) are broken over lines where the table would be too wide; those of
    numbers (``r``) are set to the right and never broken, whatever the width.
    """
    if len(align) != len(headers) or any(len(row) != len(headers) for row in rows):
        raise ValueError(f"a table of {len(headers)} columns needs as many cells and letters")
    cells = [[plain(cell) for cell in row] for row in (headers, *rows)]
    natural = [max(display_width(row[i]) for row in cells) for i in range(len(headers))]
    widths = _fitted(natural, align, width - len(_GAP) * (len(headers) - 1))
    lines: list[str] = []
    for number, row in enumerate(cells):
        lines.extend(_row_lines(row, widths, align))
        if number == 0:
            lines.append(_GAP.join("─" * size for size in widths))
    return "\n".join(lines)


def _fitted(natural: list[int], align: str, room: int) -> list[int]:
    widths = list(natural)
    while sum(widths) > room:
        texts = [i for i, letter in enumerate(align) if letter == "l" and widths[i] > _NARROWEST]
        if not texts:
            break
        widest = max(texts, key=lambda i: widths[i])
        widths[widest] -= 1
    return widths


def _row_lines(row: list[str], widths: list[int], align: str) -> list[str]:
    broken = [
        wrap(cell, size) if letter == "l" else [cell]
        for cell, size, letter in zip(row, widths, align, strict=True)
    ]
    height = max(len(cell) for cell in broken)
    lines: list[str] = []
    for level in range(height):
        parts = [
            pad(cell[level] if level < len(cell) else "", size, right=letter == "r")
            for cell, size, letter in zip(broken, widths, align, strict=True)
        ]
        lines.append(_GAP.join(parts).rstrip())
    return lines
