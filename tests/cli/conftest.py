"""Running the command line in its own process, as a person does, or for a quick answer in this."""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from commandline import call

Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Run ``firing …`` in an empty folder."""

    def ran(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-c", "from firing.cli import main; main()", *arguments],
            cwd=tmp_path,
            env={**os.environ, "PYTHONIOENCODING": "utf-8", **environment},
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=120,
            check=False,
        )

    return ran


@pytest.fixture
def ask(tmp_path: Path) -> Run:
    """Run ``firing …`` in the same empty folder without a process: for slips and listings."""

    def asked(*arguments: str) -> subprocess.CompletedProcess[str]:
        return call(tmp_path, *arguments)

    return asked
