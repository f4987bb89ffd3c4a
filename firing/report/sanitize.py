"""Text that is safe to print: no control characters, and its width in terminal columns known.

Titles, segment names, channel names and file names come from files anybody may have written.  A
terminal obeys escape sequences and bidirectional overrides wherever they appear, so all such text
passes through :func:`plain` on its way out.
"""

import re
import unicodedata
from functools import lru_cache
from typing import Any

# Needed inside words of several scripts and harmless to a terminal: the two joiners.
_HARMLESS_FORMATS = frozenset("\u200c\u200d")
_SUBSTITUTE = "\N{REPLACEMENT CHARACTER}"
_CONTROL_PICTURES = 0x2400  # U+2400 + n pictures the control character n (Unicode, block 2400)
_ASCII = str.maketrans(
    {
        "°": None,
        "−": "-",
        "–": "-",
        "—": "-",
        "±": "+/-",
        "×": "x",
        "…": "...",
        "·": "-",
        "•": "*",
        "─": "-",
        "│": "|",
        "┤": "|",
        "└": "+",
        "┬": "+",
        "█": "#",
        "▌": "#",
        "≤": "<=",
        "≥": ">=",
        "“": '"',
        "”": '"',
        "‘": "'",
        "’": "'",
        "→": "->",
    }
)


def plain(text: str) -> str:
    """Return `text` on one line with every control character shown instead of obeyed.

    C0 characters become their control pictures (``\\x1b`` as ``␛``), and C1 characters,
    bidirectional and other invisible formatting, line separators and lone surrogates ``�``.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_shown(character) for character in text)


_COLOUR = re.compile("\x1b\\[[0-9;]*m")
_STEERS = re.compile("[^\n\t\x20-\x7e\xa0-\xac\xae-\u02ff]")


def printed(text: str) -> str:
    """Return what is about to be printed: lines and colours kept, and all else as `plain` has it.

    The last door before a terminal: whatever a message was made of, nothing else steers it.
    """
    if _STEERS.search(text) is None:
        return text
    pieces = zip(_COLOUR.split(text), [*_COLOUR.findall(text), ""], strict=True)
    return "".join(
        "".join(c if c in "\n\t" else _shown(c) for c in piece) + colour for piece, colour in pieces
    )


def json_line(data: Any, *, indent: int | None = None) -> str:
    """Return JSON that a terminal can be shown: what could steer it stands there as an escape."""
    import json

    written = json.dumps(data, ensure_ascii=False, allow_nan=False, indent=indent)
    if written.isascii() and "\x7f" not in written:
        return written
    return "".join(
        c if c == "\n" or c.isprintable() or _shown(c) == c else f"\\u{ord(c):04x}" for c in written
    )


@lru_cache(maxsize=4096)
def _shown(character: str) -> str:
    code = ord(character)
    if code < 0x20:
        return chr(_CONTROL_PICTURES + code)
    if code == 0x7F:
        return "\N{SYMBOL FOR DELETE}"
    if unicodedata.category(character) in {"Cc", "Cf", "Cs", "Zl", "Zp"}:
        return character if character in _HARMLESS_FORMATS else _SUBSTITUTE
    return character


@lru_cache(maxsize=4096)
def _columns(character: str) -> int:
    if unicodedata.category(character) in {"Mn", "Me", "Cf"}:
        return 0
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1


def display_width(text: str) -> int:
    """Return how many terminal columns `text` fills (wide characters two, combining ones none)."""
    if text.isascii():
        return len(text)
    return sum(_columns(character) for character in text)


def pad(text: str, width: int, *, right: bool = False) -> str:
    """Return `text` filled with spaces to `width` columns, to the right edge if `right`."""
    space = " " * max(width - display_width(text), 0)
    return space + text if right else text + space


def wrap(text: str, width: int) -> list[str]:
    """Break `text` at spaces into lines of at most `width` columns; longer words are cut.

    A value and its unit stay together where they are joined by a no-break space.
    """
    lines: list[str] = []
    line = ""
    for whole in text.split(" "):
        word = whole
        if line and display_width(line) + 1 + display_width(word) <= width:
            line += " " + word
            continue
        if line:
            lines.append(line)
        while display_width(word) > width:
            head = _head(word, width)
            lines.append(head)
            word = word[len(head) :]
        line = word
    if line or not lines:
        lines.append(line)
    return lines


def _head(word: str, width: int) -> str:
    used = 0
    for position, character in enumerate(word):
        used += _columns(character)
        if used > width:
            return word[: max(position, 1)]
    return word


def shorten(text: str, width: int) -> str:
    """Return `text`, its end replaced by ``…`` where it is wider than `width` columns."""
    if display_width(text) <= width:
        return text
    return _head(text, width - 1).rstrip() + "…"


def whole_words(text: str, width: int) -> str:
    """Return as many whole words of `text` as fit into `width` columns; its first is cut at need.

    What only leads to the next word, a comma or a dot between, goes with that.
    """
    if display_width(text) <= width:
        return text
    kept = ""
    for word in text.split(" "):
        longer = f"{kept} {word}" if kept else word
        if display_width(longer) > width:
            break
        kept = longer
    return kept.rstrip(" ,;:·") or shorten(text, width)


def to_ascii(text: str) -> str:
    """Return `text` in ASCII, for outputs that carry no more; ``?`` for what has no counterpart."""
    return text.translate(_ASCII).replace("\u00a0", " ").encode("ascii", "replace").decode("ascii")
