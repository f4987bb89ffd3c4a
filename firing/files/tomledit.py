"""Change values in a TOML text and leave the rest of it, comments above all, as it was.

A comment above ``[[segment]]`` speaks of that segment.  TOML's grammar, and every library that
follows it, files it under the table before; so the text is first cut into blocks, each a header
with the comment lines right above it, and values are changed block by block.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import TYPE_CHECKING, Any

from firing.files.tomlfile import header_lines

if TYPE_CHECKING:
    from tomlkit.items import Item

_SIMPLE_HEADER = re.compile(r"\s*\[(\[?)\s*([A-Za-z0-9_-]+)\s*\]\]?")


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """`name` is empty for the head of the file; `repeated` tells ``[[name]]`` from ``[name]``."""

    name: str
    repeated: bool
    opening: str
    body: str

    def data(self) -> dict[str, Any]:
        return tomllib.loads(_retitled(self.body, self.name, ""))

    def updated(self, data: Mapping[str, Any]) -> str:
        """Return the block's text with `data` in it."""
        inner = _updated(_retitled(self.body, self.name, ""), data)
        return self.opening + _retitled(inner, "", self.name)


Order = tuple[int | None, ...]
"""Which table of a list as it was each table of the list is now; None for a new one."""


def render(
    data: Mapping[str, Any],
    base_text: str | None = None,
    orders: Mapping[str, Order] | None = None,
) -> str:
    """Return `data` as TOML text, keeping the comments and layout of `base_text`.

    Only values that differ are touched.  Repeated tables are matched by content first, so a comment
    stays with its own table when others are added, moved or removed; where it is known which is
    which, `orders` says so.
    """
    head, *blocks = _split(base_text or "")
    in_blocks = {block.name for block in blocks}
    tables = {key for key, value in data.items() if _is_table(value)}
    inline = {key for key in head.data() if key in tables}
    scalars = {key: value for key, value in data.items() if key not in tables or key in inline}
    parts = [_updated(head.body, scalars)]
    done: set[str] = set()
    for block in blocks:
        if block.name in done or block.name not in data:
            continue
        done.add(block.name)
        same = [other for other in blocks if other.name == block.name]
        value = data[block.name]
        if isinstance(value, Mapping):
            parts.append(block.updated(value))
        else:
            order = (orders or {}).get(block.name) or _likeness_order(same, value)
            parts.extend(_rearranged(block.name, same, value, order))
    for key, value in data.items():
        if key in tables and key not in in_blocks and key not in inline:
            many = value if isinstance(value, list) else [value]
            bracket = ("[[", "]]") if isinstance(value, list) else ("[", "]")
            parts.extend(f"{bracket[0]}{key}{bracket[1]}\n{_updated('', v)}" for v in many)
    return _joined(parts)


def _is_table(value: Any) -> bool:
    if isinstance(value, list):
        return bool(value) and all(isinstance(entry, Mapping) for entry in value)
    return isinstance(value, Mapping)


def _joined(parts: Sequence[str]) -> str:
    text = ""
    for part in parts:
        if text and not text.endswith("\n"):
            text += "\n"
        if text and part and not text.endswith("\n\n") and not part.startswith("\n"):
            text += "\n"
        text += part
    return text if text.endswith("\n") or not text else text + "\n"


def _split(text: str) -> list[_Block]:
    lines = text.splitlines(keepends=True)
    starts: list[tuple[int, int, str, bool]] = []
    for number in header_lines(text):
        match = _SIMPLE_HEADER.match(lines[number - 1])
        if match is None:
            continue  # a dotted header: a table within the block it stands in
        first = number - 1
        while first > 0 and lines[first - 1].lstrip().startswith("#"):
            first -= 1
        starts.append((first, number, match[2], bool(match[1])))
    ends = [*(start[0] for start in starts[1:]), len(lines)][: len(starts)]
    head_end = starts[0][0] if starts else len(lines)
    blocks = [_Block("", False, "", "".join(lines[:head_end]))]
    for (first, number, name, repeated), end in zip(starts, ends, strict=True):
        opening, body = "".join(lines[first:number]), "".join(lines[number:end])
        blocks.append(_Block(name, repeated, opening, body))
    return blocks


def _retitled(body: str, old: str, new: str) -> str:
    """Move the headers of tables within a block, ``[name.more]``, out of or into its name."""
    lines = body.splitlines(keepends=True)
    dotted = rf"{re.escape(old)}\s*[.]\s*" if old else ""
    prefix = re.compile(rf"(\s*\[\[?\s*){dotted}")
    for number in header_lines(body):
        stem = f"{new}." if new else ""
        lines[number - 1] = prefix.sub(rf"\g<1>{stem}", lines[number - 1], count=1)
    return "".join(lines)


def _rearranged(
    name: str, blocks: Sequence[_Block], wanted: Sequence[Mapping[str, Any]], order: Order
) -> list[str]:
    """Return the text of each wanted table, written into the old block that it comes from."""
    return [
        f"[[{name}]]\n{_updated('', value)}" if n is None else blocks[n].updated(value)
        for n, value in zip(order, wanted, strict=True)
    ]


def _likeness_order(blocks: Sequence[_Block], wanted: Sequence[Mapping[str, Any]]) -> Order:
    """Take each wanted table for the old block that is most like it."""
    before = [block.data() for block in blocks]
    likeness = sorted(
        (
            (-_shared(old, new), abs(i - j), i, j)
            for i, old in enumerate(before)
            for j, new in enumerate(wanted)
        ),
    )
    block_of: dict[int, int] = {}
    taken: set[int] = set()
    for _, _, i, j in likeness:
        if i not in taken and j not in block_of:
            taken.add(i)
            block_of[j] = i
    return tuple(block_of.get(j) for j in range(len(wanted)))


def _shared(old: Mapping[str, Any], new: Mapping[str, Any]) -> float:
    """Return the share of entries that two tables have in common, 1 for equal ones."""
    keys = {*old, *new}
    same = [key for key in keys if key in old and key in new and old[key] == new[key]]
    return len(same) / len(keys) if keys else 1.0


def _updated(body: str, data: Mapping[str, Any]) -> str:
    import tomlkit

    # The blank lines that end a block stay at its end when a key is added.
    kept = body.rstrip("\n")
    tail = body[len(kept) :]
    document: Any = tomlkit.parse(kept + "\n" if kept else "")
    _update(document, data)
    text: str = tomlkit.dumps(document)
    return text.rstrip("\n") + (tail or "\n") if text.strip() or tail else ""


def _update(table: Any, data: Mapping[str, Any]) -> None:
    for key in [key for key in table if key not in data]:
        del table[key]
    for key, value in data.items():
        old = table.get(key)
        plain = old.unwrap() if hasattr(old, "unwrap") else old
        if key in table and plain == value and isinstance(plain, bool) == isinstance(value, bool):
            continue
        if isinstance(value, Mapping) and isinstance(old, dict):
            _update(old, value)
        else:
            _set(table, key, value)


def _set(table: Any, key: str, value: Any) -> None:
    """Set one value, keeping the comment that stands behind the old one on its line."""
    import tomlkit

    old = table.get(key)
    item: Item = tomlkit.item(value)
    if hasattr(old, "trivia") and hasattr(item, "trivia"):
        item.trivia.indent = old.trivia.indent
        item.trivia.comment_ws = old.trivia.comment_ws
        item.trivia.comment = old.trivia.comment
        item.trivia.trail = old.trivia.trail
    table[key] = item


def inline_text(data: Mapping[str, Any]) -> str:
    """Return data as TOML, one key a line and everything within it inline.

    It reads back as the same data however wrong they are, and is quick enough for every key typed:
    for a reader to judge, not to keep.
    """
    return "".join(f"{_string(key)} = {_inline(value)}\n" for key, value in data.items())


def _inline(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_string(k)} = {_inline(v)}" for k, v in value.items()) + "}"
    return "[" + ", ".join(map(_inline, value)) + "]"


def _string(text: str) -> str:
    # JSON escapes what TOML wants escaped, except for this one.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
