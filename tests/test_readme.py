"""What the README shows is what the commands print."""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

README = Path(__file__).parents[1] / "README.md"

FAULTY = """# a plan with slips
title = "slips"
purpose = "bisqe"

[[segment]]
rate = 0
target = 90
hold = "400h"
"""


def test_the_tour_is_real(tmp_path: Path) -> None:
    """Each console block's commands print its lines, in order; … stands for what is left out."""
    (tmp_path / "faulty.toml").write_text(FAULTY, encoding="utf-8")
    firing = [sys.executable, "-c", "from firing.cli import main; main()"]
    subprocess.run([*firing, "demo"], cwd=tmp_path, capture_output=True, check=True)
    blocks = re.findall(r"^```console\n(.*?)^```", README.read_text(encoding="utf-8"), re.M | re.S)
    assert blocks
    for block in blocks:
        for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
            command, *shown = part.rstrip("\n").split("\n")
            words = shlex.split(command)
            assert words[0] == "firing"
            result = subprocess.run(
                [*firing, *words[1:]],
                cwd=tmp_path,
                capture_output=True,
                encoding="utf-8",
                env={**os.environ, "PYTHONIOENCODING": "utf-8", "NO_COLOR": "1"},
                check=False,
            )
            printed = (result.stdout + result.stderr).splitlines()
            position = 0
            for line in shown:
                if line == "…":
                    continue
                assert line in printed[position:], f"{command}: {line!r} not in {printed}"
                position = printed.index(line, position) + 1
