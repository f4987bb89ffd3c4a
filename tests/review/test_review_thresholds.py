"""Every number that decides something in a review stands in one module, with unit and source."""

import ast
import re
from pathlib import Path

from firing import sources

ROOM = Path(__file__).parents[2] / "firing" / "review"
TOLD = re.compile(r"\[[^;\]]+; ([^\]:]+)(?:: [^\]]+)?\](?: …)?\.?$")
PLAIN = {"made firings", "practice", "choice", "the file's own check"}


def constants(path: Path) -> dict[str, str]:
    """Return the names a module gives to numbers, and the docstring after each."""
    body = ast.parse(path.read_text(encoding="utf-8")).body
    found = {}
    for statement, after in zip(body, [*body[1:], None], strict=True):
        if not isinstance(statement, ast.Assign):
            continue
        values = ast.walk(statement.value)
        if not any(isinstance(v, ast.Constant) and type(v.value) in (int, float) for v in values):
            continue
        words = ""
        if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant):
            words = str(after.value.value)
        for target in statement.targets:
            found[ast.unparse(target)] = words
    return found


def test_a_threshold_says_its_unit_and_its_source() -> None:
    told = constants(ROOM / "thresholds.py")
    known = PLAIN | set(sources.load_sources()) | {f"`{name}`" for name in told}
    wrong = [
        name
        for name, words in told.items()
        if (match := TOLD.search(words.replace("\n", " "))) is None or match[1] not in known
    ]
    assert told
    assert not wrong


def test_no_other_module_of_the_room_keeps_a_threshold() -> None:
    elsewhere = {
        f"{path.stem}: {name}"
        for path in ROOM.rglob("*.py")
        if path.name != "thresholds.py"
        for name in constants(path)
    }
    # The positions of a cone's tip and their shares are a table, not thresholds.
    tables = {"_TIP_DEGREES", "_SHARE_DEGREES", "_SHARES", "(BENDING_BEGINS, DOWN)"}
    assert elsewhere == {f"witness: {name}" for name in tables}
