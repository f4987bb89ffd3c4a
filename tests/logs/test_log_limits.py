"""The one table of plausibility limits: every limit says its reason and its source."""

import ast
from pathlib import Path

from firing.logs import plausibility_limits


def documented(text: str) -> dict[str, str]:
    """Return what stands below every constant of a module, by its name; empty where nothing."""
    body = ast.parse(text).body
    found = {}
    for node, below in zip(body, [*body[1:], None], strict=True):
        if not isinstance(node, ast.Assign):
            continue
        said = ""
        if isinstance(below, ast.Expr) and isinstance(below.value, ast.Constant):
            said = str(below.value.value)
        for target in node.targets:
            names = target.elts if isinstance(target, ast.Tuple) else [target]
            found.update({name.id: said for name in names if isinstance(name, ast.Name)})
    return found


def test_every_limit_says_its_reason_and_its_source() -> None:
    found = documented(Path(plausibility_limits.__file__).read_text(encoding="utf-8"))
    assert len(found) > 30
    bare = [
        name for name, said in found.items() if "Source:" not in said or said.startswith("Source")
    ]
    assert not bare


def test_a_limit_without_words_would_be_found() -> None:
    assert documented('A_C, B_S = 1.0, 2.0\n"""Why."""\nC_C = 3.0\n') == {
        "A_C": "Why.",
        "B_S": "Why.",
        "C_C": "",
    }


def test_a_live_mark_is_wider_than_what_a_whole_log_is_judged_by() -> None:
    # A log can be looked at again, a kiln that is alarmed about cannot.
    limits = plausibility_limits
    assert limits.LIVE_STEP_C > limits.LOG_STEP_C
    assert limits.LIVE_RISE_C_PER_S > limits.LOG_RISE_C_PER_S
    assert limits.CIRCUIT_FALL_TIME_CONSTANT_S > limits.LOG_FALL_TIME_CONSTANT_S
