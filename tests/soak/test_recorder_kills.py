"""Two hundred SIGKILLs at random moments, and ten thousand lines no instrument should send."""

from pathlib import Path

import pytest
from capture.fuzzing import check_fuzzed_lines
from capture.killing import check_kills
from capture.ptywatch import Instrument

pytestmark = pytest.mark.soak


def test_two_hundred_kills_lose_no_flushed_line(tmp_path: Path, instrument: Instrument) -> None:
    check_kills(tmp_path, instrument, kills=200, seed=200)


def test_ten_thousand_fuzzed_lines() -> None:
    check_fuzzed_lines(10_000, seed=88)
