"""The physical reason of a delay, told by two kilns whose physics the review does not know."""

from pathlib import Path

import pytest
from review.reasons import ReasonScore, score_reasons

BARS = {"right": 0.80, "wrong": 0.05, "likely": 0.85, "sure": 0.97}


@pytest.mark.soak
def test_reasons_are_right_or_honestly_open(tmp_path: Path) -> None:
    result = ReasonScore()
    result.add(score_reasons("lumps", 6, tmp_path, seed=11))
    result.add(score_reasons("box", 6, tmp_path, seed=11))
    print("\n" + result.text())
    assert result.right >= BARS["right"] * result.shown
    assert result.wrong <= BARS["wrong"] * result.shown
    for word in ("likely", "sure"):
        right, said = result.word(word)
        assert right >= BARS[word] * said, word
    assert result.quiet == result.healthy
