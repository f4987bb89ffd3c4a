"""Text and scripts for a page: raw text goes in and comes out escaped, here only."""

import base64
import hashlib
import html
import json
from typing import Any

from firing.report.formatting import join_units
from firing.report.sanitize import plain


def text(raw: str) -> str:
    """Return user text for HTML content or a quoted attribute, control characters shown."""
    return html.escape(plain(raw), quote=True)


def prose(raw: str) -> str:
    """Return running text as `text` does, with numbers kept on one line with their units."""
    return text(join_units(raw))


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
