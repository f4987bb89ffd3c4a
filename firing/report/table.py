"""Plain text tables: aligned, no wider than asked, and safe whatever the cells say."""

from collections.abc import Sequence

from firing.report.sanitize import display_width, pad, plain, wrap

_GAP = "  "
_NARROWEST = 6


def render_table(
    headers: Sequence[str],
    rows: Sequence[Sequence[str]],
    align: str,
    *,
    width: int = 80,
) -> str:
    """Set cells in columns.

    Parameters
    ----------
    headers : sequence of str
        One a column.
    rows : sequence of sequence of str
        As many cells each as there are headers.
    align : str
        One letter a column: ``l`` text, broken over lines where the table would be too wide, or
        ``r`` numbers, set to the right and never broken.
    width : int
        Widest line allowed [columns]; exceeded only where the numbers alone are wider.

    Returns
    -------
    str
        Header, rule and rows joined by newlines, without spaces at line ends.

    Raises
    ------
    ValueError
        If a row or `align` does not fit the headers.
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
