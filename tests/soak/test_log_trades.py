"""The logs of many trades: none read wrong or cut short in silence, nearly all read."""

from pathlib import Path

import dialects
import pytest
import trades

RIGHT = {"exact", "settled", "refused", "noted"}


@pytest.mark.parametrize(("made", "least"), [(trades.cases, 700), (trades.mixtures, 100)])
@pytest.mark.soak
def test_logs_of_many_trades(made: trades.Made, least: int, tmp_path: Path) -> None:
    cases = made()
    counts, outcomes = dialects.tally(cases, tmp_path)
    odd = {name: found for name, found in outcomes.items() if found.verdict not in RIGHT}
    assert len(cases) >= least
    assert not {found.verdict for found in odd.values()} - {"dead end"}, odd
    assert len(odd) <= 0.01 * len(cases), odd
    assert counts["exact"] + counts["settled"] >= 0.92 * len(cases)


def test_one_log_in_forty_of_the_trades(tmp_path: Path) -> None:
    _, outcomes = dialects.tally(trades.cases()[::40], tmp_path)
    assert {found.verdict for found in outcomes.values()} <= RIGHT, outcomes
