"""Restarts, several firings in a file, several files of a firing."""

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from logmaker import BISQUE, CsvStyle, Firing, Sampling, fire, sample, write_csv

from firing.errors import FiringError
from firing.logs.options import ReadingOptions
from firing.logs.reader import read_log, read_logs

START = datetime(2025, 3, 14, 8, 0)


@pytest.fixture(scope="module")
def firing() -> Firing:
    return fire(BISQUE)


def rows(count: int, first_c: float = 20.0, header: str = "") -> str:
    return header + "".join(f"{10 * i},{first_c + i}\n" for i in range(count))


HEADER = "time_s,Kiln (°C)\n"


@pytest.mark.parametrize("again", ["", HEADER])
def test_an_elapsed_clock_that_begins_again(read: Any, refused: Any, again: str) -> None:
    content = HEADER + rows(30) + again + rows(20, 60.0)
    text = refused(content)
    line = 33 if again else 32
    assert f"line {line}" in text
    assert "--restart-pause" in text
    assert "--part" in text
    joined = read(content, restart_pause_s=300.0)
    assert joined.trace.time_s[28:32].tolist() == [280, 290, 590, 600]
    assert any("300" in n or "5 min" in n for n in joined.notes)
    assert read(content, restart_pause_s=0.0).trace.time_s[29:31].tolist() == [290, 300]
    second = read(content, part=2)
    assert second.trace.time_s[0] == 0
    assert second.trace.temperature_c[:, 0].tolist() == [60.0 + i for i in range(20)]
    assert f"from line {line}" in " ".join(second.notes)
    assert "no --part 3" in refused(content, part=3)
    assert "--restart-pause" in refused(content, part="all")


def test_a_clock_restarted_after_noon_did_not_pass_midnight(refused: Any) -> None:
    before = "".join(f"{h}:00:00,{100 * h}\n" for h in range(14))
    after = "".join(f"{h}:00:00,{1300 - 10 * h}\n" for h in range(3))
    assert "restarted" in refused("Elapsed,Kiln (°C)\n" + before + after)


def test_a_second_header_with_another_unit_is_never_read_by_the_first(
    read: Any, refused: Any
) -> None:
    content = HEADER + rows(30) + "time_s,Kiln (°F)\n" + rows(30, 68.0)
    text = refused(content)
    assert "line 32" in text
    assert "--part" in text
    assert read(content, part=1).trace.temperature_c[0, 0] == 20.0
    second = read(content, part=2)
    assert second.trace.temperature_c[0, 0] == pytest.approx(20.0)
    assert second.dialect.unit == "F"
    assert second.dialect.first_line == 33
    assert "1 to 2" in refused(content, part=3)


def test_two_firings_in_one_file(firing: Firing, tmp_path: Path) -> None:
    one = write_csv(sample(firing, Sampling(60.0)), tmp_path / "one.csv").read_text()
    later = CsvStyle(started=START + timedelta(days=3))
    two = write_csv(sample(firing, Sampling(60.0)), tmp_path / "two.csv", later).read_text()
    path = tmp_path / "both.csv"
    path.write_text(one + two.split("\n", 1)[1])
    with pytest.raises(FiringError, match=r"holds 2 firings .*--part all"):
        read_log(path)
    alone = read_log(tmp_path / "two.csv")
    part = read_log(path, part=2)
    assert part.trace.started == alone.trace.started
    assert np.array_equal(part.trace.temperature_c, alone.trace.temperature_c)
    assert read_log(path, part="all").used == 2 * alone.used
    with pytest.raises(FiringError, match="one firing"):
        read_log(tmp_path / "one.csv", part=2)


def test_two_firings_without_a_pause(firing: Firing, tmp_path: Path) -> None:
    table = sample(firing, Sampling(60.0))
    count = table.time_s.size
    twice = sample(firing, Sampling(60.0, seed=2))
    both = np.concatenate([table.temperature_c, twice.temperature_c])
    lines = [f"{60 * i},{value[0]:.2f}" for i, value in enumerate(both)]
    path = tmp_path / "both.csv"
    path.write_text("time_s,Kiln (°C)\n" + "\n".join(lines) + "\n")
    parts = [read_log(path, part=number) for number in (1, 2)]
    assert sum(part.used for part in parts) == 2 * count
    for part in parts:
        assert float(part.trace.temperature_c.max()) > 890.0
    # heating takes up within an hour of where the second firing was logged
    assert abs(parts[0].used - count) <= 60


def test_files_of_one_firing(firing: Firing, tmp_path: Path) -> None:
    whole = read_log(write_csv(sample(firing, Sampling(30.0)), tmp_path / "whole.csv"))
    paths = []
    for number, (from_s, until_s) in enumerate([(0, 20_000), (20_030, 50_000), (50_400, 1e9)]):
        until_s = min(until_s, float(firing.time_s[-1]))
        part = sample(firing, Sampling(30.0, from_s=from_s, until_s=until_s))
        style = CsvStyle(started=datetime(2025, 3, 14, 8, 15) + timedelta(seconds=from_s))
        paths.append(write_csv(part, tmp_path / f"part{number}.csv", style))
    log = read_logs([paths[2], paths[0], paths[1]])
    assert log.name == "part2.csv and 2 more"
    assert log.trace.started == whole.trace.started
    assert log.trace.duration_s == pytest.approx(whole.trace.duration_s, abs=60.0)
    gaps = [note for note in log.notes if "nothing was logged" in note]
    assert len(gaps) == 1
    assert "part1.csv and part2.csv" in gaps[0]
    overlap = read_logs([paths[0], tmp_path / "whole.csv"])
    assert overlap.used == whole.used
    assert any("lie within the file before" in note for note in overlap.notes)


def write(tmp_path: Path, **files: str) -> list[Path]:
    paths = []
    for name, content in files.items():
        paths.append(tmp_path / f"{name}.csv")
        paths[-1].write_text(content)
    return paths


def test_files_without_wall_clock_times(tmp_path: Path) -> None:
    paths = write(tmp_path, a=HEADER + rows(30), b=HEADER + rows(30, 60.0))
    with pytest.raises(FiringError, match="--restart-pause"):
        read_logs(paths)
    log = read_logs(paths, ReadingOptions(restart_pause_s=0.0))
    assert log.trace.time_s.tolist() == [10.0 * i for i in range(60)]
    assert log.notes[-1].startswith("the files are joined in the order given")
    mixed = write(
        tmp_path,
        a=HEADER + rows(30),
        c="Time,Kiln (°C)\n2025-03-14 08:00,20\n2025-03-14 08:01,21\n",
    )
    with pytest.raises(FiringError, match="one kind"):
        read_logs(mixed)


def test_a_later_file_without_a_header_follows_the_first(tmp_path: Path) -> None:
    first = "".join(f"2025-03-14 08:{m:02d}:00,{68 + m}\n" for m in range(20))
    second = "".join(f"2025-03-14 08:{m:02d}:00,{68 + m}\n" for m in range(20, 40))
    log = read_logs(write(tmp_path, a="Time,Kiln (°F)\n" + first, b=second))
    assert log.trace.channels == ("Kiln",)
    assert log.trace.temperature_c[:, 0].tolist() == pytest.approx(
        [(36 + m) / 1.8 for m in range(40)]
    )
    assert any("a.csv was followed" in note for note in log.notes)


def test_files_with_other_channels(tmp_path: Path) -> None:
    times = [
        "2025-03-14 08:00,20,30\n2025-03-14 08:01,21,31\n",
        "2025-03-14 08:02,22,32\n2025-03-14 08:03,23,33\n",
    ]
    paths = write(
        tmp_path,
        a="Time,Top (°C),Bottom (°C)\n" + times[0],
        b="Time,Middle (°C),Bottom (°C)\n" + times[1],
        c="Time,X temp (°C),Y temp (°C)\n" + times[1],
    )
    log = read_logs(paths[:2])
    assert log.trace.channels == ("Bottom",)
    assert log.trace.temperature_c[:, 0].tolist() == [30, 31, 32, 33]
    assert [column.name for column in log.dialect.channel_columns] == ["Bottom"]
    with pytest.raises(FiringError, match="share no channel"):
        read_logs([paths[0], paths[2]])
    with pytest.raises(FiringError, match="no log"):
        read_logs([])


def test_newest_first(read: Any) -> None:
    lines = [f"2025-03-14 08:{m:02d}:00,{20 + m}\n" for m in range(30)]
    log = read("Time,Kiln (°C)\n" + "".join(reversed(lines)))
    assert log.trace.time_s.tolist() == [60.0 * m for m in range(30)]
    assert log.trace.temperature_c[:, 0].tolist() == [20.0 + m for m in range(30)]
    assert log.trace.started is not None
    assert log.trace.started.minute == 0
    assert any("newest reading comes first" in note for note in log.notes)


def test_one_line_out_of_order_is_left_out(read: Any, refused: Any) -> None:
    lines = [f"{10 * i},{20 + i % 5}\n" for i in range(300)]
    lines[100] = "9999,20\n"
    log = read(HEADER + "".join(lines))
    assert log.used == 299
    assert any("out of order" in note and "line 102" in note for note in log.notes)
    lines[50:100] = reversed(lines[50:100])
    assert "backwards" in refused(HEADER + "".join(lines))
