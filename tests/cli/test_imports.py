"""What each command loads: nothing it does not need."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = {"pandas", "plotly", "scipy", "textual", "pydantic", "tomlkit", "numpy", "serial"}

PROBE = """
import json, sys
try:
    from firing.cli import cli
    cli.main(sys.argv[1:], standalone_mode=False)
finally:
    screens = {'firing.tui'} & set(sys.modules)
    names = sorted({name.split('.')[0] for name in sys.modules} | screens)
    print(json.dumps(names), file=sys.stderr)
"""


def loaded(code: str, *arguments: str, cwd: Path) -> set[str]:
    result = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        capture_output=True, text=True, cwd=cwd, check=True, encoding="utf-8",
    )  # fmt: skip
    return set(json.loads(result.stderr.splitlines()[-1])) & (HEAVY | {"firing.tui"})


def test_importing_the_package_loads_nothing(tmp_path: Path) -> None:
    code = "import firing, json, sys; print(json.dumps(sorted(sys.modules)), file=sys.stderr)"
    assert loaded(code, cwd=tmp_path) == set()


@pytest.mark.parametrize(
    ("arguments", "allowed"),
    [
        (("--help",), set()),
        (("sources", "cone-chart-1996"), {"numpy"}),
        (("hold", "6", "--at", "1200"), {"numpy"}),
        (("peak", "6", "--hold", "15m"), {"numpy"}),
        (("cone", "6"), set()),
        (("cone", "6", "--rate", "80"), {"numpy"}),
        (("forecast", "thin-ware-bisque"), {"numpy"}),
        (("heatwork", "thin-ware-bisque"), {"numpy"}),
        (("safety", "thin-ware-bisque"), {"numpy"}),
        (("schedules",), {"numpy"}),
        (("schema", "schedule"), {"numpy", "pydantic"}),
        (("demo",), {"numpy", "pydantic", "pandas", "plotly"}),
    ],
)
def test_each_command_loads_only_what_it_needs(
    arguments: tuple[str, ...], allowed: set[str], tmp_path: Path
) -> None:
    assert loaded(PROBE, *arguments, cwd=tmp_path) <= allowed


def test_a_review_loads_pandas_and_no_plotting_or_scipy(tmp_path: Path) -> None:
    from importlib import resources

    demo = resources.files("firing") / "data" / "demo"
    arguments = ("review", str(demo / "plan.toml"), str(demo / "log.csv"))
    assert loaded(PROBE, *arguments, cwd=tmp_path) <= {"numpy", "pydantic", "pandas"}


def test_a_forecast_reads_no_logs(tmp_path: Path) -> None:
    code = PROBE.replace(
        "sorted({name.split('.')[0] for name in sys.modules} | screens)",
        "sorted(name for name in sys.modules if name.startswith('firing.'))",
    )
    result = subprocess.run(
        [sys.executable, "-c", code, "forecast", "thin-ware-bisque"],
        capture_output=True, text=True, cwd=tmp_path, check=True, encoding="utf-8",
    )  # fmt: skip
    loaded = set(json.loads(result.stderr.splitlines()[-1]))
    # The names of causes are all of a review that a forecast's words need.
    assert {name for name in loaded if name.startswith("firing.review.")} <= {
        "firing.review.result"
    }
    assert not {name for name in loaded if name.startswith("firing.logs")}
