"""Every dialect we could think of is read right, or refused with the option that settles it."""

from pathlib import Path

import dialects
import pytest

from firing.errors import FiringError
from firing.logs.reader import read_log

RIGHT = {"exact", "settled", "refused"}


def told(outcomes: dict[str, dialects.Outcome], verdicts: set[str]) -> list[str]:
    """Return the cases with other verdicts, and the words they came with."""
    return [
        f"{outcome.verdict}: {name}: {outcome.words[:200]}"
        for name, outcome in outcomes.items()
        if outcome.verdict not in verdicts
    ]


def test_one_dialect_in_fifty(tmp_path: Path) -> None:
    chosen = list(dialects.specs().items())[::50]
    cases = [dialects.build(name, family, spec) for name, (family, spec) in chosen]
    cases += [*dialects.jumped()[::8], *dialects.hostile()[::11]]
    _, outcomes = dialects.tally(cases, tmp_path)
    assert not told(outcomes, RIGHT | {"noted"})


def test_a_few_mixtures(tmp_path: Path) -> None:
    _, outcomes = dialects.tally(dialects.mixtures(6, seed=5), tmp_path)
    wrong = {"exact", "settled", "refused", "noted", "dead end", "lost"}
    assert not told(outcomes, wrong)


@pytest.mark.soak
def test_all_dialects(tmp_path: Path) -> None:
    cases = dialects.cases()
    counts, outcomes = dialects.tally(cases, tmp_path)
    assert len(cases) >= 1000
    assert not told(outcomes, RIGHT | {"noted"})
    assert counts["exact"] + counts["settled"] >= 0.92 * len(cases)


@pytest.mark.soak
def test_no_mixture_is_read_wrong_in_silence(tmp_path: Path) -> None:
    _, outcomes = dialects.tally(dialects.mixtures(100), tmp_path)
    assert not told(outcomes, {"exact", "settled", "refused", "noted", "dead end", "lost"})


def test_a_score_sees_what_is_wrong(tmp_path: Path) -> None:
    """The instrument itself: a case whose truth is another firing's is silently wrong."""
    spec = dialects.Spec()
    case = dialects.build("right", "check", spec)
    hotter = tuple(value + 5.0 for value in case.kiln_c)
    assert dialects.score(case, tmp_path).verdict == "exact"
    assert dialects.score(dialects.replace(case, kiln_c=hotter), tmp_path).verdict == "silent"
    longer = tuple(value * 1.1 for value in case.time_s)
    assert dialects.score(dialects.replace(case, time_s=longer), tmp_path).verdict == "silent"
    more = (*case.time_s, *(case.time_s[-1] + 120.0 * n for n in range(1, 99)))
    kiln = (*case.kiln_c, *([20.0] * 98))
    missing = dialects.replace(case, time_s=more, kiln_c=kiln)
    assert dialects.score(missing, tmp_path).verdict == "lost"


def rows(time: str = "", cell: str = "") -> str:
    """Return 300 rows, every tenth with another time or another cell."""
    lines = ["Time,Kiln (°C)"]
    for n in range(300):
        odd = n % 10 == 5
        at = f"2026-03-14 {8 + n // 60:02d}:{n % 60:02d}:00"
        lines.append(f"{(odd and time) or at},{(odd and cell) or 20 + 2 * n}")
    return "\n".join(lines) + "\n"


def test_one_row_in_twenty_without_a_time_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(rows(time="yesterday"), encoding="utf-8")
    with pytest.raises(FiringError, match=r"30 of 300 rows have no time.*--with-gaps"):
        read_log(path)


def test_one_row_in_twenty_without_a_number_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(rows(cell="twenty"), encoding="utf-8")
    with pytest.raises(FiringError, match="--with-gaps"):
        read_log(path)


def test_many_open_readings_are_no_reason_to_refuse(tmp_path: Path) -> None:
    """A word for an open thermocouple says itself that there is no reading."""
    path = tmp_path / "log.csv"
    text = rows().splitlines()
    text[40:80] = [line.rpartition(",")[0] + ",OL" for line in text[40:80]]
    path.write_text("\n".join(text), encoding="utf-8")
    log = read_log(path)
    assert log.unusable == (40,)
    assert any("40 of 300 readings are no temperature" in note for note in log.notes)
