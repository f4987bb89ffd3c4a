"""Fuzzed lines, the short version; ten thousand are in the soak tests."""

from capture.fuzzing import check_fuzzed_lines


def test_five_hundred_fuzzed_lines() -> None:
    check_fuzzed_lines(500, seed=8)
