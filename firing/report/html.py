"""The little HTML the pages are made of.  Text goes in raw and comes out escaped, here only."""

import base64
import hashlib
import html
import json
from collections.abc import Sequence
from typing import Any

from firing.report.formatting import join_units
from firing.report.sanitize import plain


def text(raw: str) -> str:
    """Return user text for HTML content or a quoted attribute, control characters shown."""
    return html.escape(plain(raw), quote=True)


def prose(raw: str) -> str:
    """Return running text as `text` does, with numbers kept on one line with their units."""
    return text(join_units(raw))


def paragraph(raw: str, *, kind: str = "") -> str:
    """Return one paragraph of text, with a class if `kind` is given."""
    attribute = f' class="{kind}"' if kind else ""
    return f"<p{attribute}>{prose(raw)}</p>"


def bullets(items: Sequence[str]) -> str:
    """Return a list of texts."""
    return "<ul>\n" + "\n".join(f"<li>{prose(item)}</li>" for item in items) + "\n</ul>"


def section(heading: str, *parts: str, anchor: str) -> str:
    """Return a section under its heading; empty if there is nothing to put into it."""
    inner = "\n".join(part for part in parts if part)
    if not inner:
        return ""
    return (
        f'<section aria-labelledby="{anchor}">\n<h2 id="{anchor}">{text(heading)}</h2>\n'
        f"{inner}\n</section>"
    )


def table(caption: str, headers: Sequence[str], rows: Sequence[Sequence[str]], align: str) -> str:
    """Return a table whose first column heads its rows.

    Parameters
    ----------
    caption : str
        What the table says.
    headers, rows : sequences of str
        Cells as raw text.
    align : str
        One letter a column, ``l`` for text or ``r`` for numbers.

    Returns
    -------
    str
        The table in a box that scrolls sideways by itself where the screen is narrow.
    """
    head = "".join(
        f'<th scope="col" class="{letter}">{text(cell)}</th>'
        for cell, letter in zip(headers, align, strict=True)
    )
    body: list[str] = []
    for row in rows:
        cells = [
            f'<th scope="row" class="{letter}">{text(cell)}</th>'
            if number == 0
            else f'<td class="{letter}">{text(cell)}</td>'
            for number, (cell, letter) in enumerate(zip(row, align, strict=True))
        ]
        body.append(f"<tr>{''.join(cells)}</tr>")
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{text(caption)}">\n'
        f"<table>\n<caption><span>{text(caption)}</span></caption>\n<thead><tr>{head}</tr></thead>\n<tbody>\n"
        + "\n".join(body)
        + "\n</tbody>\n</table>\n</div>"
    )


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

    Raises
    ------
    ValueError
        If the code would end its own element.
    """
    if "</script" in code.lower() or "<!--" in code:
        raise ValueError("this script would end its own element; escape it first")
    digest = base64.b64encode(hashlib.sha256(code.encode()).digest()).decode()
    return f"<script>{code}</script>", f"'sha256-{digest}'"
