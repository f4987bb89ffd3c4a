"""What each command loads: nothing it does not need."""

import json
import subprocess
import sys
from importlib import resources
from pathlib import Path

HEAVY = {
    *("pandas", "plotly", "scipy", "textual", "pydantic", "tomlkit", "numpy", "numpy.ma", "serial")
}

PROBE = """
import json, sys
from firing.cli import cli
for words in json.loads(sys.argv[1]):
    cli.main(words, standalone_mode=False)
    screens = {'firing.tui'} & set(sys.modules)
    names = sorted({name.split('.')[0] for name in sys.modules} | screens)
    print('loaded', json.dumps(names), file=sys.stderr)
"""


def loaded(code: str, *arguments: str, cwd: Path) -> list[set[str]]:
    """Return which heavy modules were there, each time that a process told of them."""
    result = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True, text=True, cwd=cwd, check=True, encoding="utf-8",
    )  # fmt: skip
    told = [row.removeprefix("loaded ") for row in result.stderr.splitlines() if "loaded" in row]
    return [set(json.loads(row)) & (HEAVY | {"firing.tui"}) for row in told]


def test_importing_the_package_loads_nothing(tmp_path: Path) -> None:
    tell = "print('loaded', json.dumps(sorted(sys.modules)), file=sys.stderr)"
    code = f"import firing, json, sys; {tell}"
    assert loaded(code, cwd=tmp_path) == [set()]


def test_each_command_loads_only_what_it_needs(tmp_path: Path) -> None:
    """One process runs them all, those first that may load least."""
    demo = resources.files("firing") / "data" / "demo"
    review = ("review", str(demo / "plan.toml"), str(demo / "log.csv"))
    commands: list[tuple[tuple[str, ...], set[str]]] = [
        (("--help",), set()),
        (("cone", "6"), set()),
        (("sources", "cone-chart-1996"), {"numpy"}),
        (("hold", "6", "--at", "1200"), {"numpy"}),
        (("peak", "6", "--hold", "15m"), {"numpy"}),
        (("cone", "6", "--rate", "80"), {"numpy"}),
        (("forecast", "thin-ware-bisque"), {"numpy"}),
        (("heatwork", "thin-ware-bisque"), {"numpy"}),
        (("safety", "thin-ware-bisque"), {"numpy"}),
        (("schedules",), {"numpy"}),
        (("schema", "schedule"), {"numpy", "pydantic"}),
        (review, {"numpy", "pydantic", "pandas"}),
        (("demo",), {"numpy", "pydantic", "pandas", "plotly"}),
    ]
    found = loaded(PROBE, json.dumps([words for words, _ in commands]), cwd=tmp_path)
    for (words, allowed), there in zip(commands, found, strict=True):
        assert there <= allowed, words


def test_a_forecast_reads_no_logs(tmp_path: Path) -> None:
    code = PROBE.replace(
        "sorted({name.split('.')[0] for name in sys.modules} | screens)",
        "sorted(name for name in sys.modules if name.startswith('firing.'))",
    )
    result = subprocess.run(
        [sys.executable, "-c", code, json.dumps([["forecast", "thin-ware-bisque"]])],
        capture_output=True, text=True, cwd=tmp_path, check=True, encoding="utf-8",
    )  # fmt: skip
    loaded = set(json.loads(result.stderr.splitlines()[-1].removeprefix("loaded ")))
    # The names of causes are all of a review that a forecast's words need.
    assert {name for name in loaded if name.startswith("firing.review.")} <= {
        "firing.review.result"
    }
    assert not {name for name in loaded if name.startswith("firing.logs")}


def test_a_review_of_a_small_log_reads_no_more_than_it_needs(tmp_path: Path) -> None:
    # pandas reads large logs; numpy's masked arrays come with its own medians.
    code = PROBE.replace(
        "sorted({name.split('.')[0] for name in sys.modules} | screens)",
        "sorted(sys.modules)",
    )
    demo = resources.files("firing") / "data" / "demo"
    words = ["review", str(demo / "plan.toml"), str(demo / "log.csv")]
    (found,) = loaded(code, json.dumps([words]), cwd=tmp_path)
    assert found == {"numpy"}
