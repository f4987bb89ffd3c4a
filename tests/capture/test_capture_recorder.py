"""The recording: readable by a review, whole after a crash, one writer, no disk."""

import errno
import itertools
import math
import os
import random
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from capture.ptywatch import readings, rows

from firing.capture import recorder as recorder_module
from firing.capture.clock import TimeBase, utc_stamp
from firing.capture.reading import Reading, Status
from firing.capture.recorder import MOST_PENDING, Recorder
from firing.capture.recording_file import header, intact_length, parse_rows
from firing.errors import FiringError
from firing.logs.reader import read_log

NAMES = ("kiln", "top")


def reading(kiln_c: float, top_c: float = math.nan, status: Status = Status.OK) -> Reading:
    return Reading([kiln_c, top_c], [status, Status.OK if top_c == top_c else Status.OPEN])


def recorded(path: Path, count: int = 20, names: tuple[str, ...] = NAMES) -> None:
    with_base = Recorder(path, names, TimeBase(1_772_000_000.0))
    for number in range(count):
        with_base.write(float(number), Reading([100.0 + number] * len(names), [Status.OK] * 2))
    with_base.close()


def test_a_review_reads_what_was_recorded(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    recorder = Recorder(path, NAMES, TimeBase(1_772_000_000.25))
    recorder.write(0.0, reading(20.25, 19.5))
    recorder.write(1.0, reading(21.0))
    recorder.gap(1.5, 'port is gone: "Input/output error", it says')
    recorder.write(61.0, reading(900.0, 899.0, Status.STEP))
    recorder.close()
    assert path.read_text(encoding="utf-8").splitlines() == [
        "time,kiln (°C),top (°C),status",
        "2026-02-25T06:13:20.250Z,20.25,19.50,",
        "2026-02-25T06:13:21.250Z,21.00,,top open circuit",
        "2026-02-25T06:13:21.750Z,,,gap: port is gone: 'Input/output error'; it says",
        "2026-02-25T06:14:21.250Z,900.00,899.00,kiln step",
    ]
    log = read_log(path, cleaning=False)
    assert log.trace.channels == ("kiln", "top")
    assert log.trace.time_s.tolist() == [0.0, 1.0, 1.5, 61.0]
    assert log.trace.channel_c("kiln")[[0, 1, 3]].tolist() == [20.25, 21.0, 900.0]
    assert np_isnan(log.trace.channel_c("top")[1])
    assert log.trace.started is not None
    assert log.trace.started.timestamp() == 1_772_000_000.25


def np_isnan(value: float) -> bool:
    return value != value


def test_stamps_are_utc_and_never_stand_still(tmp_path: Path) -> None:
    assert utc_stamp(0.0) == "1970-01-01T00:00:00.000Z"
    path = tmp_path / "log.csv"
    recorder = Recorder(path, NAMES, TimeBase(0.0))
    for _ in range(5):
        recorder.write(3.0, reading(20.0, 20.0))
    recorder.close()
    stamps = [cells[0] for cells in rows(path)]
    assert stamps == sorted(set(stamps))


def test_a_recording_is_continued_and_the_gap_marked(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    recorded(path)
    again = Recorder(path, NAMES)
    assert again.earlier is not None
    assert [values[0] for values in again.earlier.values_c] == [100.0 + n for n in range(20)]
    again.write(again.base.now_s(), reading(150.0, 150.0))
    again.close()
    gaps = [cells for cells in rows(path) if cells[-1].startswith("gap:")]
    assert len(gaps) == 1
    assert "without recording; recording was started again" in gaps[0][-1]
    assert readings(path) == [100.0 + n for n in range(20)] + [150.0]
    assert read_log(path, cleaning=False).used == 22


def test_a_clock_behind_the_file_does_not_turn_time_back(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    ahead = Recorder(path, NAMES, TimeBase(4_000_000_000.0))
    ahead.write(0.0, reading(100.0, 100.0))
    ahead.close()
    again = Recorder(path, NAMES)
    again.write(again.base.now_s(), reading(101.0, 101.0))
    assert any("behind" in remark for remark in again.remarks())
    again.close()
    stamps = [cells[0] for cells in rows(path)]
    assert stamps == sorted(set(stamps))
    assert len(stamps) == 3


def test_a_power_cut_at_any_byte_leaves_a_file_that_is_continued(tmp_path: Path) -> None:
    """Cut the file at every byte of its last lines: no whole line is lost, no part is taken."""
    whole = tmp_path / "whole.csv"
    recorded(whole, 4)
    data = whole.read_bytes()
    path = tmp_path / "log.csv"
    for length in range(len(data) + 1):
        for tail in (b"", b"\0" * 7):
            path.write_bytes(data[:length] + tail)
            kept = max(data[:length].count(b"\n") - 1, 0)
            again = Recorder(path, NAMES)
            again.write(again.base.now_s(), reading(555.0, 555.0))
            again.close()
            assert readings(path) == [100.0 + n for n in range(kept)] + [555.0]
            text = path.read_bytes()
            assert b"\0" not in text
            assert text.endswith(b"\n")
            assert text.count(header(NAMES).encode()) == 1


def test_what_is_torn_is_told(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    recorded(path)
    with path.open("ab") as file:
        file.write(b"2026-02-25T06:13:40.000Z,12")
    again = Recorder(path, NAMES)
    assert any("torn (27 bytes)" in remark for remark in again.remarks())
    again.close()
    assert 12.0 not in readings(path)


def test_a_file_of_anybody_else_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    for content in (b"dear diary\n", b"dear diary", b"time,kiln\n1,2\n", bytes(range(1, 256))):
        path.write_bytes(content)
        with pytest.raises(FiringError, match="no recording of this tool"):
            Recorder(path, NAMES)
        assert path.read_bytes() == content
    recorded(path.with_name("other.csv"), names=("kiln", "shelf"))
    with pytest.raises(FiringError, match="of kiln, shelf, not of kiln, top"):
        Recorder(path.with_name("other.csv"), NAMES)


HOLD = """
import sys
from pathlib import Path
from firing.capture.recorder import Recorder
recorder = Recorder(Path(sys.argv[1]), ("kiln", "top"))
print("held", flush=True)
sys.stdin.read()
"""


def test_one_writer_a_file_until_it_dies_however_it_dies(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert holder.stdout is not None
    assert holder.stdin is not None
    assert holder.stdout.readline() == b"held\n"
    with pytest.raises(FiringError, match="another 'firing watch'"):
        Recorder(path, NAMES)
    holder.kill()
    holder.wait()
    holder.stdin.close()
    holder.stdout.close()
    Recorder(path, NAMES).close()


class Disk:
    """Stands before `os.write`: takes so many bytes and no more."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, descriptor: int, room: int) -> None:
        self.room = room
        self._write, self._descriptor = os.write, descriptor
        monkeypatch.setattr(recorder_module.os, "write", self)

    def __call__(self, descriptor: int, data: bytes) -> int:
        if descriptor != self._descriptor:
            return self._write(descriptor, data)
        if self.room == 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        done = self._write(descriptor, data[: self.room])
        self.room -= done
        return done


@pytest.mark.parametrize("room", [0, 1, 20, 37, 38, 39, 75, 76, 200])
def test_a_full_disk_tears_no_line_and_loses_none_once_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, room: int
) -> None:
    path = tmp_path / "log.csv"
    recorder = Recorder(path, NAMES, TimeBase(1_772_000_000.0))
    disk = Disk(monkeypatch, recorder._file, room)
    for number in range(10):
        recorder.write(float(number), reading(100.0 + number, 50.0))
    assert (recorder.trouble is not None) == (room < 10 * 38)
    assert path.read_bytes().endswith(b"\n")
    told = recorder.remarks()
    assert len(told) == 1
    assert "No space left on device" in told[0]
    disk.room = 10**9
    recorder.retry()
    recorder.write(10.0, reading(110.0, 50.0))
    assert recorder.trouble is None
    assert not recorder.failed
    assert "takes lines again, no line is lost" in recorder.remarks()[0]
    recorder.close()
    assert readings(path) == [100.0 + n for n in range(11)]


def test_lines_kept_in_memory_are_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    recorder = Recorder(tmp_path / "log.csv", NAMES, TimeBase(0.0))
    disk = Disk(monkeypatch, recorder._file, 0)
    for number in range(MOST_PENDING + 5):
        recorder.write(float(number), reading(100.0, 50.0))
    assert recorder.failed
    disk.room = 10**9
    recorder.retry()
    assert "5 lines are lost" in " ".join(recorder.remarks())
    assert recorder.failed
    recorder.close()


def test_the_disk_is_synced_every_ten_seconds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = [1000.0]
    synced: list[float] = []
    monkeypatch.setattr(recorder_module, "monotonic_s", lambda: clock[0])
    monkeypatch.setattr(recorder_module.os, "fsync", lambda _: synced.append(clock[0]))
    recorder = Recorder(tmp_path / "log.csv", NAMES, TimeBase(0.0))
    for second in range(60):
        clock[0] += 1.0
        recorder.write(float(second), reading(100.0, 50.0))
        recorder.tick()
    recorder.close()
    pauses = [b - a for a, b in itertools.pairwise(synced)]
    assert len(synced) >= 6
    assert max(pauses) <= 10.0


def test_marked_readings_are_not_taken_for_temperatures_again() -> None:
    text = (
        "2026-02-25T06:13:20.000Z,20.00,30.00,\n"
        "2026-02-25T06:13:21.000Z,900.00,30.00,kiln step\n"
        "rubbish\n"
        "2026-02-25T06:13:22.000Z,,,gap: why not\n"
        "2026-02-25T06:13:23.000Z,21.00,99.00,top stuck\n"
    )
    found = parse_rows(text, NAMES)
    assert [f"{v[0]:.0f} {v[1]:.0f}" for v in found.values_c] == [
        "20 30",
        "nan 30",
        "nan nan",
        "21 nan",
    ]


def test_whole_lines_are_counted_from_any_bytes() -> None:
    source = random.Random(1)
    for _ in range(500):
        data = bytes(source.choice(b"ab\n\0,1") for _ in range(source.randrange(30)))
        length = intact_length(data)
        assert length == 0 or data[length - 1 : length] == b"\n"
        assert b"\0" not in data[:length]


def test_the_clock_that_is_set_is_noticed_and_moves_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import time

    base = TimeBase()
    before_s = base.now_s()
    assert base.clock_step_s() is None
    real: Any = time.time
    monkeypatch.setattr(time, "time", lambda: real() + 3600.0)
    assert base.clock_step_s() == pytest.approx(3600.0, abs=0.5)
    assert base.clock_step_s() is None
    assert 0.0 <= base.now_s() - before_s < 60.0
