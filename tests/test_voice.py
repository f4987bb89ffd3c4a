"""What people read: none of the words that make the tool sound translated."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
BANNED = re.compile(
    r"(?<!--)\b(?:tells?|told|mend(?:s|ed|ing)?|wished|wanted|whole)\b(?! numbers?| degrees| day)",
    re.IGNORECASE,
)
"""A whole number is the field's word; ``--mend`` is an option's name."""
_PATTERN = re.compile(r"\\|\(\?")


def read_by_people(path: Path) -> Iterator[tuple[int, str]]:
    """Yield the sentences of a module with their lines: its texts, and the help of its commands."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    notes = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and node.name.endswith("_command"):
            yield node.lineno, ast.get_docstring(node) or ""
            continue
        if not isinstance(node, ast.Constant) or not isinstance(node.value, str):
            continue
        if id(node) not in notes and " " in node.value and not _PATTERN.search(node.value):
            yield node.lineno, node.value


def readme() -> Iterator[tuple[int, str]]:
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    yield from enumerate(lines, 1)


@pytest.mark.parametrize("room", ["firing", "tui"])
def test_no_sentence_has_a_banned_word(room: str) -> None:
    found = [
        f"{path.relative_to(ROOT)}:{line}: {words.strip()[:80]}"
        for path in sorted((ROOT / room).rglob("*.py"))
        for line, words in read_by_people(path)
        if BANNED.search(words)
    ]
    assert found == []


def test_nor_has_the_readme() -> None:
    assert [f"{n}: {line}" for n, line in readme() if BANNED.search(line)] == []


def test_the_test_finds_what_it_looks_for() -> None:
    assert BANNED.search("The log tells which.")
    assert not BANNED.search("--mend FILE")
    assert not BANNED.search("a whole number")
