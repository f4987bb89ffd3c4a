"""Numbers and what stands for none."""

import contextlib
from pathlib import Path

import numpy as np
import pytest

from firing.errors import FiringError
from firing.logs.reader import read_log
from firing.logs.values import as_celsius, clean_numbers, is_missing, match_number


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("20", ".", 20.0), ("-0.5", ".", -0.5), ("+1.5e3", ".", 1500.0), (".5", ".", 0.5),
        ("20,5", ",", 20.5), ("1.234,5", ",", 1234.5), ("1,234.5", ".", 1234.5),
        ("1 234,5", ",", 1234.5), ("−5.5", ".", -5.5), ("20.5 °C", ".", 20.5), ("68F", ".", 68.0),
        ("45 %", ".", 45.0),
    ],
)  # fmt: skip
def test_numbers(text: str, decimal: str, value: float) -> None:
    found = match_number(text, decimal)  # type: ignore[arg-type]  # a parametrised mark
    assert found is not None
    assert found[0] == value


@pytest.mark.parametrize(
    ("text", "decimal"),
    [("1.234", ","), ("1,234", "."), ("20,512", "."), ("12:30", "."), ("", "."), ("1e", "."),
     ("20 M", "."), ("２０", "."), ("1_000", ".")],
)  # fmt: skip
def test_no_numbers(text: str, decimal: str) -> None:
    assert match_number(text, decimal) is None  # type: ignore[arg-type]  # a parametrised mark


@pytest.mark.parametrize("word", ["", " ", "NaN", "open", "OL", "---", "Err", "N/A", "Overload"])
def test_words_for_no_reading(word: str) -> None:
    assert is_missing(word)
    assert np.isnan(clean_numbers(np.array([word, "1"], dtype=object), "."))[0]


def test_a_cell_of_the_other_unit_is_converted() -> None:
    cells = np.array(["20 °C", "68 °F", 20.0, None, True], dtype=object)
    read = clean_numbers(cells, ".", "C")
    assert read[:3].tolist() == pytest.approx([20.0, 20.0, 20.0])
    assert np.isnan(read[3:]).all()


def test_impossible_temperatures_are_marked() -> None:
    read = as_celsius(np.array([20.0, 9.9e37, -9999.0, np.inf, -300.0, 1300.0]), "C")
    assert np.isnan(read).tolist() == [False, True, True, True, True, False]
    assert as_celsius(np.array([32.0, 212.0]), "F").tolist() == pytest.approx([0.0, 100.0])


def test_a_raised_digit_is_no_number(tmp_path: Path) -> None:
    """A raised two is a digit and no number: 134² once ended in a traceback."""
    rows = [f"{60 * n},{20 + n if n < 40 else f'1.{n:03d}'},50" for n in range(60)]
    rows[30] = "1800,134²,50"
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["seconds,Kiln C,output (%)", *rows]) + "\n", encoding="utf-8")
    with contextlib.suppress(FiringError):
        assert read_log(path).rows == 60


def test_rows_that_share_one_time_break_no_judgement_of_their_unit(tmp_path: Path) -> None:
    # A display switched from °C to °F in the middle, and nearly every row with the same time.
    celsius = [20.0 + 5.0 * n for n in range(60)]
    values = [*celsius[:30], *(1.8 * value + 32.0 for value in celsius[30:])]
    rows = [f"2026-03-14 08:{min(n // 58, 1):02d}:00,{value:.1f}" for n, value in enumerate(values)]
    path = tmp_path / "log.csv"
    path.write_text("time,kiln\n" + "\n".join(rows) + "\n", encoding="utf-8")
    with contextlib.suppress(FiringError):  # refused with its reason, or read: never broken
        read_log(path)
