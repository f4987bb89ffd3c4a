"""The command line called without a process of its own."""

import contextlib
import gc
import io
import os
import subprocess
from pathlib import Path

import pytest

from firing.cli import main, outcome

PLAN = """title = "Bisque"
purpose = "bisque"
[[segment]]
rate = 100
target = 600
[[segment]]
rate = 100
target = 900
hold = "15m"
"""


def call(
    folder: Path, *arguments: str, lines: bytes | None = None
) -> subprocess.CompletedProcess[str]:
    """Run ``firing …`` in this process, with a folder as the working one.

    It answers as a process does, and many times sooner.  What depends on a process - encodings,
    the machine's zone, what is loaded - needs one.  A mistake of the program fails the test.  Of a
    few `lines` a pipe is made for its standard input.
    """
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    code: object = None
    with (
        pytest.MonkeyPatch.context() as patch,
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        contextlib.ExitStack() as opened,
    ):
        if lines is not None:
            reader, writer = os.pipe()
            os.write(writer, lines)
            os.close(writer)
            patch.setattr("sys.stdin", opened.enter_context(os.fdopen(reader)))
        patch.chdir(folder)
        patch.setattr("sys.argv", ["firing", *arguments])
        try:
            main()
        except SystemExit as left:
            code = left.code
        finally:
            gc.enable()  # a command, soon over, turns it off
    assert isinstance(code, int)
    told = []
    for stream in (out, err):
        stream.seek(0)
        told.append(stream.read())
    assert code != outcome.UNFORESEEN, told[1]
    return subprocess.CompletedProcess(arguments, code, *told)
