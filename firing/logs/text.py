"""From a file's bytes to clean UTF-8 lines: encoding, line ends, and what is no text at all."""

import codecs
import re
import unicodedata
from dataclasses import dataclass

from firing.errors import FiringError

_BYTE_ORDER_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_ENCODING_LABELS = {
    "utf-8": "UTF-8",
    "utf-8-sig": "UTF-8 with a byte-order mark",
    "utf-16": "UTF-16",
    "utf-16-le": "UTF-16 without a byte-order mark",
    "utf-16-be": "UTF-16 without a byte-order mark",
    "cp1252": "Windows-1252",
}
_HEAD_BYTES = 4096
_ANGLES = str.maketrans("<>", "‹›")
_INTACT = re.compile("[^\x00-\x7f\ufffd]")
_LONG_NULS = re.compile(rb"(?<![^\n\0])(?P<before>[^\n\0]*+)\0{4,}")  # a line is tried once
_FEW_LINES = 3
_OTHER_ENDS = (b"\x0b", "\u2028".encode(), "\u0085".encode(), b"\x1e", b"\x0c")
_UNIT_SEPARATOR = b"\x1f"
"""The control character that is named for this, and that few use.  Source: ECMA-48."""
_NUL_SHARE = 0.2  # half the bytes of UTF-16 Latin text are NUL
_CONTROL_SHARE = 0.02
_CONTROLS = bytes(set(range(32)) - set(b"\t\n\r\f\x0b\x1b\x1a"))


@dataclass(frozen=True, eq=False)
class Text:
    """A file's content as UTF-8, lines ended by ``\\n``, no byte-order mark, no NUL.

    The encoding is that of the file; the notes say what had to be mended.  `names` are those of
    the cells where they stand apart from the table, and `zone` is the one its times name.
    """

    body: bytes
    encoding: str
    notes: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    zone: str | None = None


def encoding_label(encoding: str) -> str:
    """Return an encoding's name for reading."""
    return _ENCODING_LABELS.get(encoding, encoding)


def printable(text: str, *, longest: int = 60) -> str:
    """Return foreign text made harmless for one line of a screen.

    Control, format and private characters (escape sequences, direction marks, NUL) are dropped,
    angle brackets become ‹ and ›, which no browser takes for a tag, white space is folded and
    what is longer than `longest` characters is cut.
    """
    kept = "".join(" " if c.isspace() else c for c in text if c.isspace() or _harmless(c))
    folded = " ".join(kept.translate(_ANGLES).split())
    return folded if len(folded) <= longest else folded[: longest - 1] + "…"


def _harmless(character: str) -> bool:
    return unicodedata.category(character) not in ("Cc", "Cf", "Co", "Cs", "Cn")


def clean_text(data: bytes, *, name: str, encoding: str | None = None) -> Text:
    """Decode a log file's bytes, by a stated encoding or the one found; refuse what is no text."""
    nothing = b"\xef\xbb\xbf\xff\xfe \t\r\n\0"
    if not data[:_HEAD_BYTES].strip(nothing) and not data.strip(nothing):
        raise FiringError(
            f"{name} is empty; export the log again: it has a time and a temperature on every line"
        )
    notes: list[str] = []
    if encoding is not None:
        codec, body = _in_stated_encoding(data, name, encoding)
    else:
        codec = _find_encoding(data)
        body = data[3:] if codec == "utf-8-sig" else data
        if codec not in ("utf-8", "utf-8-sig"):
            body = data.decode(codec, "replace").encode()
    body = _without_nuls(body, notes)
    if body.count(_UNIT_SEPARATOR) >= body.count(b"\n") > _FEW_LINES:
        body = body.replace(_UNIT_SEPARATOR, b"\t")
    head = body[:_HEAD_BYTES]
    odd = len(head) - len(head.translate(None, _CONTROLS))
    if odd > _CONTROL_SHARE * len(head) or not body.strip():
        raise FiringError(
            f"{name} is not a text file; export the log as CSV (comma, semicolon or tab) "
            "and give that file"
        )
    if b"\r" in body:
        # some loggers write two carriage returns, or put them behind the line feed
        for end in (b"\r\r\n", b"\n\r", b"\r\n", b"\r"):
            body = body.replace(end, b"\n")
    if body.count(b"\n") < _FEW_LINES:
        for end in _OTHER_ENDS:
            if body.count(end) >= _FEW_LINES:
                body = body.replace(end, b"\n")
    return Text(body, codec, tuple(notes))


def _without_nuls(body: bytes, notes: list[str]) -> bytes:
    """Take out the NULs that a logger leaves where it lost its power.

    A line that many of them break off is left out: of 1215 it may have kept 12.
    """
    nuls = body.count(b"\0")
    if not nuls:
        return body
    cut = [match for match in _LONG_NULS.finditer(body) if match["before"]]
    body = _LONG_NULS.sub(b"", body).replace(b"\0", b"")
    broken = "" if not cut else ", with a line that they broke off"
    notes.append(
        f"{nuls} NUL bytes were left out{broken}; a logger leaves them when it loses power"
    )
    return body


def _in_stated_encoding(data: bytes, name: str, encoding: str) -> tuple[str, bytes]:
    try:
        codec = codecs.lookup(encoding).name
        text = data.decode(codec)
    except UnicodeError as fault:
        raise FiringError(
            f"{name} is not text in {printable(encoding)}; leave --encoding out, or write utf-8, "
            "utf-16 or cp1252"
        ) from fault
    except (LookupError, ValueError) as fault:
        raise FiringError(
            f'"{printable(encoding)}" is no known encoding; write utf-8, utf-16 or cp1252'
        ) from fault
    return codec, text.lstrip("\ufeff").encode("utf-8", "replace")


def _find_encoding(data: bytes) -> str:
    for mark, codec in _BYTE_ORDER_MARKS:
        if data.startswith(mark):
            return codec
    head = data[:_HEAD_BYTES]
    for codec, offset in (("utf-16-le", 1), ("utf-16-be", 0)):
        # Latin text in UTF-16 has its NULs on one side only
        if head[offset::2].count(0) > 2 * _NUL_SHARE * len(head) and not head[
            1 - offset :: 2
        ].count(0):
            return codec
    if data.isascii():
        return "utf-8"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        # one damaged byte does not make a UTF-8 file a Windows-1252 one
        lenient = data.decode("utf-8", "replace")
        damaged = lenient.count("\ufffd")
        intact = len(_INTACT.findall(lenient))
        return "utf-8" if intact > damaged else "cp1252"
    return "utf-8"
