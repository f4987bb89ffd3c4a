"""Damaged logs: only a sentence or a log comes out, soon, and never in the wrong unit unsaid.

The default run takes 50 of them, the soak run (``-m soak``) 5,000, in one process, and allows each
of them so many times the work of a whole log.  Work is processor time beside processor time: a
machine may be as slow and as busy as it likes.
"""

import contextlib
import json
import random
import time
import unicodedata
from collections.abc import Callable
from pathlib import Path

import pytest
from logmaker import BISQUE, CsvStyle, Sampling, fire, sample, write_csv

from firing.errors import FiringError
from firing.logs.reader import Log, describe_channel, pick_channel, read_log

MOST_TIMES_A_WHOLE_LOG = 50.0
"""Of the work of the costliest whole log; a search that goes over a line again from each of its
characters takes hundreds of times."""
MOST_TIMES_OF_A_QUARTER = 8.0
"""Four times as much text may take so many times the work: in proportion it is four times, and
sixteen times where each character is gone over from every other."""
NASTY = (
    b"\x1b[2J\x1b]0;owned\x07", b"<script>alert(1)</script>", b"<img src=x onerror=alert(1)>",
    b'"', b"'", b"\x00", b"\xff\xfe", b"\xe2\x80\xae", b"\xc3", b"\r", b",,,,", b";", b"\t",
    b"OL", b"NaN", b"-9999", b"9.9E37", b"1e999", b"--",
    b"99999999999999999999", b"1 02:15:30",
    b"24:00:00", b"2025-02-30", b"03/04/2025", b"9999-12-31 23:59:59", b"0000-00-00 00:00:00",
)  # fmt: skip
Mutator = Callable[[random.Random, bytes], bytes]


def flip_bytes(chance: random.Random, data: bytes) -> bytes:
    damaged = bytearray(data)
    for _ in range(chance.choice([1, 3, 10, 100, 1000])):
        damaged[chance.randrange(len(damaged))] ^= 1 << chance.randrange(8)
    return bytes(damaged)


def cut_rows(chance: random.Random, data: bytes) -> bytes:
    begin = chance.randrange(len(data))
    return data[:begin] + data[begin + chance.choice([1, 7, 100, 5000, len(data)]) :]


def shuffle_rows(chance: random.Random, data: bytes) -> bytes:
    rows = data.split(b"\n")
    for _ in range(chance.choice([1, 5, 50])):
        one, two = chance.randrange(len(rows)), chance.randrange(len(rows))
        rows[one], rows[two] = rows[two], rows[one]
    return b"\n".join(rows)


def repeat_rows(chance: random.Random, data: bytes) -> bytes:
    rows = data.split(b"\n")
    at = chance.randrange(len(rows))
    again = rows[chance.randrange(len(rows)) :][: chance.choice([1, 10, 300])]
    return b"\n".join([*rows[:at], *again, *rows[at:]])


def swap_columns(chance: random.Random, data: bytes) -> bytes:
    mark = chance.choice([b",", b";", b"\t"])
    rows = data.split(b"\n")
    first = 0 if chance.random() < 0.5 else chance.randrange(len(rows))
    for index in range(first, len(rows)):
        cells = rows[index].rstrip(b"\r").split(mark)
        rows[index] = mark.join([cells[-1], *cells[1:-1], cells[0]] if len(cells) > 1 else cells)
    return b"\n".join(rows)


def drop_cells(chance: random.Random, data: bytes) -> bytes:
    mark = chance.choice([b",", b";", b"\t"])
    rows = data.split(b"\n")
    for index in range(len(rows)):
        cells = rows[index].split(mark)
        if chance.random() < 0.1 and len(cells) > 1:
            del cells[chance.randrange(len(cells))]
            rows[index] = mark.join(cells)
    return b"\n".join(rows)


def mix_encodings(chance: random.Random, data: bytes) -> bytes:
    at = chance.randrange(len(data))
    codec = chance.choice(["utf-16", "utf-16-le", "utf-8-sig", "cp1252", "utf-32"])
    tail = data[at:].decode("utf-8", "replace").encode(codec, "replace")
    return tail + data[:at] if chance.random() < 0.2 else data[:at] + tail


def insert_nasty(chance: random.Random, data: bytes) -> bytes:
    for _ in range(chance.choice([1, 2, 20])):
        at = chance.choice([chance.randrange(len(data)), chance.randrange(min(len(data), 80))])
        data = data[:at] + chance.choice(NASTY) + data[at:]
    return data


def change_marks(chance: random.Random, data: bytes) -> bytes:
    one, two = chance.sample([b",", b";", b"\t", b" ", b".", b":", b"-", b"/", b"|"], 2)
    return data.replace(one, two, chance.choice([1, 50, -1]))


MUTATORS: tuple[Mutator, ...] = (
    flip_bytes, cut_rows, shuffle_rows, repeat_rows, swap_columns, drop_cells, mix_encodings,
    insert_nasty, change_marks,
)  # fmt: skip
STYLES = (
    CsvStyle(),
    CsvStyle(delimiter=";", decimal=",", newline="\r\n", unit="F"),
    CsvStyle(delimiter="\t", time="minutes", preamble=("# invented logger", "# serial 0000")),
    CsvStyle(time="clock", unit="F", missing="OL"),
    CsvStyle(time="seconds", unit="F"),
    CsvStyle(delimiter=" ", time="seconds"),
    CsvStyle(delimiter="\t", time="hours", decimal=",", unit="F"),
)


@pytest.fixture(scope="module")
def whole_logs(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[bytes, str]]:
    folder = tmp_path_factory.mktemp("whole")
    firing = fire(BISQUE)
    found = []
    for number, style in enumerate(STYLES):
        how = Sampling(
            interval_s=(300.0, 60.0, 120.0)[number % 3],
            with_duty=number % 2 == 0,
            with_set_point=number % 3 == 0,
            extra_channels={"bottom": -12.0} if number % 2 else {},
        )
        path = write_csv(sample(firing, how), folder / f"{number}.csv", style)
        data = path.read_bytes()
        if style.delimiter == " ":
            data = data.replace(b" (", b"(").replace(b"Set point", b"SP")
        found.append((data, style.unit))
    return found


def harmless(text: str) -> bool:
    return not any(c in "<>" or unicodedata.category(c) in ("Cc", "Cf", "Cs", "Co") for c in text)


def check(log: Log, data: bytes, whole: bytes, unit: str) -> None:
    shown = [log.name, *log.trace.channels, *log.notes, log.dialect.describe()]
    shown += [text for column in log.dialect.columns for text in (column.name, column.written)]
    assert all(harmless(text) for text in shown), shown
    json.dumps(log.dialect.to_dict())
    assert log.trace.temperature_c.shape == log.raw_c.shape == log.cleaning.marks.shape
    assert log.used == log.trace.time_s.size <= log.rows
    describe_channel(log, pick_channel(log))
    header = next(line for line in whole.split(b"\n") if b"\xc2\xb0" in line)
    if header in data and data.count(b"\xc2\xb0") == header.count(b"\xc2\xb0"):
        said = any("--unit" in note for note in log.notes)
        assert log.dialect.unit == unit or said, log.dialect.describe()


def work_s(path: Path) -> float:
    """Return the processor time that reading a file takes, the least of three [s]."""
    taken = []
    for _ in range(3):
        begin = time.process_time()
        with contextlib.suppress(FiringError):
            read_log(path)
        taken.append(time.process_time() - begin)
    return min(taken)


def costliest(whole_logs: list[tuple[bytes, str]], folder: Path) -> float:
    taken = []
    for number, (data, _) in enumerate(whole_logs):
        path = folder / f"whole-{number}.csv"
        path.write_bytes(data)
        taken.append(work_s(path))
    return max(taken)


def fuzz(
    whole_logs: list[tuple[bytes, str]], folder: Path, cases: range, most_s: float | None = None
) -> None:
    read, most = 0, 0.0
    for case in cases:
        chance = random.Random(case)
        whole, unit = chance.choice(whole_logs)
        data = whole
        for _ in range(chance.choice([1, 1, 2, 3])):
            data = chance.choice(MUTATORS)(chance, data) or b"\n"
        path = folder / ("<b>\x1b[31m.csv" if case % 50 == 0 else "log.csv")
        path.write_bytes(data)
        begin = time.process_time()
        log, refusal = None, ""
        try:
            log = read_log(path)
        except FiringError as fault:
            refusal = str(fault)
        except Exception as fault:
            raise AssertionError(f"case {case} broke the reader") from fault
        taken_s = time.process_time() - begin
        most = max(most, taken_s)
        assert harmless(refusal), f"case {case}: {refusal}"
        assert most_s is None or taken_s <= most_s, f"case {case}: {taken_s:.2f} of {most_s:.2f} s"
        if log is not None:
            read += 1
            try:
                check(log, data, whole, unit)
            except Exception as fault:
                raise AssertionError(f"case {case}") from fault
    print(f"{len(cases)} damaged logs: {read} read, the costliest took {most:.2f} s")
    assert read > 0.2 * len(cases)


def test_damaged_logs(whole_logs: list[tuple[bytes, str]], tmp_path: Path) -> None:
    fuzz(whole_logs, tmp_path, range(50))


@pytest.mark.soak
def test_many_damaged_logs(whole_logs: list[tuple[bytes, str]], tmp_path: Path) -> None:
    most_s = MOST_TIMES_A_WHOLE_LOG * costliest(whole_logs, tmp_path)
    fuzz(whole_logs, tmp_path, range(5000), most_s)


ABSURD: dict[str, Callable[[int], str]] = {
    "units": lambda n: "units :::" + " " * n + "\ntime_s,T\n0,20\n1,21\n",
    "a cell": lambda n: "time_s,T\n0,20\n1,21\n2,5" + " " * n + "x\n",
    "a header": lambda n: "Time" + " " * n + "Kiln" + " " * n + "(x\n0 20\n1 21\n",
    "brackets": lambda n: "time_s,T" + "(" * n + "\n0,20\n1,21\n",
    "blank lines": lambda n: "\n" * (8 * n) + "time_s,T\n0,20\n1,21\n",
    "many cells": lambda n: "time_s,T\n0,20\n1,21\n" + "7," * (8 * n),
}


@pytest.mark.soak
@pytest.mark.parametrize("what", ABSURD)
def test_absurd_lines_cost_in_proportion(what: str, tmp_path: Path) -> None:
    taken = []
    for size in (16_000, 64_000):
        path = tmp_path / f"{size}.csv"
        path.write_text(ABSURD[what](size))
        taken.append(work_s(path))
    assert taken[1] <= MOST_TIMES_OF_A_QUARTER * taken[0], taken
