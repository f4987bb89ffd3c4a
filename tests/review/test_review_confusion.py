"""Right causes, right minutes, and silence where nothing is wrong, over many made firings."""

from pathlib import Path

import pytest
from review.confusion import FAULTS, score

BARS = {"cause": 0.95, "minutes": 0.85, "healthy": 0.98}


@pytest.mark.parametrize(
    ("cases", "seed", "intervals_s"),
    [
        pytest.param(len(FAULTS), 1, (10.0, 60.0, 300.0), id="13 cases"),
        pytest.param(
            24 * len(FAULTS), 2026, (1.0, 10.0, 60.0, 300.0), id="312 cases", marks=pytest.mark.soak
        ),
    ],
)
def test_causes_and_minutes_are_right(
    tmp_path: Path, cases: int, seed: int, intervals_s: tuple[float, ...]
) -> None:
    result = score(cases, tmp_path, seed=seed, intervals_s=intervals_s)
    print("\n" + result.text())
    assert result.right >= BARS["cause"] * result.charged
    assert result.minutes_right >= BARS["minutes"] * result.charged
    assert result.clean >= BARS["healthy"] * result.healthy
    assert result.told == result.to_tell
