"""Thousands of damaged files through every command: exit codes 0, 1, 2, and nothing worse.

``FIRING_MUTATIONS`` sets how many; 20,000 take an hour.  Most run one after another in a worker
process, and every hundredth in a process of its own, as a person runs it.
"""

import json
import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.soak

COUNT = int(os.environ.get("FIRING_MUTATIONS", "500"))
FIRST = int(os.environ.get("FIRING_MUTATIONS_FROM", "0"))
CHUNK = 250
HERE = Path(__file__).parent
MOST_MB = 300.0


@pytest.mark.parametrize("first", range(FIRST, FIRST + COUNT, CHUNK))
def test_damaged_files_are_answered(first: int) -> None:
    last = min(first + CHUNK, FIRST + COUNT)
    done = subprocess.run(
        [sys.executable, str(HERE / "mutations.py"), str(first), str(last)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    found = json.loads(done.stdout.splitlines()[-1])
    assert found["wrong"] == []
    assert found["peak_mb"] <= MOST_MB


@pytest.mark.parametrize("seed", range(FIRST, FIRST + COUNT, 100))
def test_damaged_files_are_answered_by_a_process(seed: int, tmp_path: Path) -> None:
    sys.path.insert(0, str(HERE))
    import mutations

    kind, data, words = mutations.case(seed)
    done = subprocess.run(
        [
            sys.executable, "-c", "from firing.cli import main; main()",
            *mutations.arguments(words, tmp_path, kind, data),
        ],
        capture_output=True, cwd=tmp_path, check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_CPU, (20, 20)),
    )  # fmt: skip
    assert done.returncode in (0, 1, 2), done.stderr[-2000:]
    for stream in (done.stdout, done.stderr):
        assert not mutations.steers(stream.decode("utf-8"))
