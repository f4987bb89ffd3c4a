"""Text that is safe to print: no control characters, and its width in terminal columns known.

Titles, segment names, channel names and file names come from files anybody may have written.  A
terminal obeys escape sequences and bidirectional overrides wherever they appear, so all such text
passes through :func:`plain` on its way out.
"""

import unicodedata
from functools import lru_cache

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


def to_ascii(text: str) -> str:
    """Return `text` in ASCII, for outputs that carry no more; ``?`` for what has no counterpart."""
    return text.translate(_ASCII).replace("\u00a0", " ").encode("ascii", "replace").decode("ascii")
