"""A file deleted, moved, replaced or cut while it is recorded to: no line is lost unsaid."""

import errno
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from capture.ptywatch import readings, rows

from firing.capture import recorder as recorder_module
from firing.capture.clock import TimeBase
from firing.capture.reading import Reading, Status
from firing.capture.recorder import Recorder

NAMES = ("kiln",)
HEADER = "time,kiln (°C),status"


class Recording:
    """A recorder whose clock goes on by ten seconds a line, so that each is put on the disk."""

    def __init__(self, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self._clock_s = 1000.0
        monkeypatch.setattr(recorder_module, "monotonic_s", lambda: self._clock_s)
        self.recorder = Recorder(path, NAMES, TimeBase(0.0))
        self.sent: list[float] = []

    def lines(self, count: int) -> None:
        for _ in range(count):
            self._clock_s += 10.0
            self.sent.append(100.0 + len(self.sent))
            self.recorder.write(self._clock_s, Reading([self.sent[-1]], [Status.OK]))
            self.recorder.tick()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.csv"


@pytest.fixture
def recording(path: Path, monkeypatch: pytest.MonkeyPatch) -> Recording:
    return Recording(path, monkeypatch)


def only(recorder: Recorder) -> str:
    told = recorder.remarks()
    assert len(told) == 1
    return told[0]


def test_a_deleted_file_is_written_again_with_all_its_lines(
    recording: Recording, path: Path
) -> None:
    recording.lines(5)
    path.unlink()
    recording.lines(3)
    assert "was deleted; it was written again, with all its lines" in only(recording.recorder)
    recording.lines(2)
    recording.recorder.close()
    assert readings(path) == recording.sent
    assert path.read_text(encoding="utf-8").startswith(HEADER + "\n")
    assert not recording.recorder.failed


def test_a_file_deleted_just_before_the_end_is_there_after_it(
    recording: Recording, path: Path
) -> None:
    recording.lines(5)
    path.unlink()
    recording.recorder.close()
    assert readings(path) == recording.sent


def test_a_rotated_file_keeps_its_lines_and_a_new_one_goes_on(
    recording: Recording, path: Path
) -> None:
    recording.lines(5)
    old = path.with_name("log.csv.1")
    path.rename(old)
    recording.lines(3)
    assert "moved away" in only(recording.recorder)
    recording.lines(2)
    recording.recorder.close()
    assert path.read_text(encoding="utf-8").startswith(HEADER + "\n")
    assert readings(old) + readings(path) == recording.sent
    assert readings(path)


def test_a_file_saved_over_by_a_copy_goes_on_in_the_copy(recording: Recording, path: Path) -> None:
    recording.lines(5)
    copy = path.with_name("copy")
    shutil.copy(path, copy)
    recording.lines(0)
    copy.replace(path)
    recording.lines(4)
    assert "was replaced by a copy" in only(recording.recorder)
    recording.recorder.close()
    assert readings(path) == recording.sent


def test_a_file_replaced_by_another_is_left_alone(recording: Recording, path: Path) -> None:
    recording.lines(5)
    other = path.with_name("other")
    other.write_text("a spreadsheet saved this;1;2\n", encoding="utf-8")
    other.replace(path)
    path.with_name("log-2.csv").write_text("somebody's", encoding="utf-8")
    recording.lines(4)
    kept = path.with_name("log-3.csv")
    told = only(recording.recorder)
    assert "was replaced" in told
    assert str(kept) in told
    assert recording.recorder.path == kept
    recording.recorder.close()
    assert path.read_text(encoding="utf-8") == "a spreadsheet saved this;1;2\n"
    assert path.with_name("log-2.csv").read_text(encoding="utf-8") == "somebody's"
    assert readings(kept) == recording.sent


def test_a_file_written_over_is_left_alone_and_what_is_gone_counts(
    recording: Recording, path: Path
) -> None:
    recording.lines(5)
    path.write_text("my own notes;1;2\n" * 50, encoding="utf-8")
    recording.lines(3)  # the first of these goes behind the notes, before it is looked
    kept = path.with_name("log-2.csv")
    told = only(recording.recorder)
    assert "written over by another program: 6 lines are gone" in told
    assert str(kept) in told
    recording.recorder.close()
    assert readings(kept) == recording.sent[6:]
    assert recording.recorder.lost == 6
    assert recording.recorder.failed


def test_a_folder_in_the_files_place_costs_no_line(recording: Recording, path: Path) -> None:
    recording.lines(5)
    path.unlink()
    path.mkdir()
    recording.lines(3)
    kept = path.with_name("log-2.csv")
    assert str(kept) in only(recording.recorder)
    recording.recorder.close()
    assert readings(kept) == recording.sent


def test_a_file_cut_to_nothing_has_its_header_again_and_no_zero_bytes(
    recording: Recording, path: Path
) -> None:
    recording.lines(5)
    with path.open("wb"):
        pass
    recording.lines(4)
    told = only(recording.recorder)
    assert "cut short by another program: 5 lines are gone" in told
    recording.recorder.close()
    assert recording.recorder.failed
    data = path.read_bytes()
    assert b"\0" not in data
    assert data.decode().splitlines()[0] == HEADER
    assert readings(path) == recording.sent[5:]


@pytest.mark.parametrize("length", [24, 40, 58, 60])
def test_a_file_cut_anywhere_costs_no_line_that_comes_after(
    recording: Recording, path: Path, length: int
) -> None:
    recording.lines(5)
    os.truncate(path, length)
    recording.lines(3)
    assert "cut short by another program" in only(recording.recorder)
    recording.recorder.close()
    whole = [cells for cells in rows(path) if len(cells) == 3 and cells[1]]
    assert [float(cells[1]) for cells in whole][-3:] == recording.sent[5:]


def test_what_another_program_appended_is_not_written_over(
    recording: Recording, path: Path
) -> None:
    recording.lines(3)
    with path.open("ab") as file:
        file.write(b"# a note by hand\n")
    recording.lines(3)
    recording.recorder.close()
    assert "# a note by hand" in path.read_text(encoding="utf-8").splitlines()
    assert [float(cells[1]) for cells in rows(path) if len(cells) > 1] == recording.sent


def test_a_folder_that_is_gone_is_told_once_and_its_lines_come_when_it_is_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "stick"
    folder.mkdir()
    recording = Recording(folder / "log.csv", monkeypatch)
    recording.lines(5)
    shutil.rmtree(folder)
    recording.lines(4)
    assert "is gone and cannot be made again" in only(recording.recorder)
    assert recording.recorder.failed
    assert recording.recorder.trouble == "its file is gone"
    folder.mkdir()
    recording.lines(2)
    assert "written again, with all its lines" in only(recording.recorder)
    assert not recording.recorder.failed
    assert recording.recorder.trouble is None
    recording.recorder.close()
    assert readings(folder / "log.csv") == recording.sent


def test_a_disk_that_was_taken_out_and_put_in_again_goes_on(
    recording: Recording, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its open file gives and takes nothing any more; the same file is there again."""
    recording.lines(5)
    dead = recording.recorder._file
    copy = path.with_name("copy")
    shutil.copy(path, copy)
    copy.replace(path)
    real_write, real_read = os.write, os.read

    def write(descriptor: int, data: bytes) -> int:
        if descriptor == dead:
            raise OSError(errno.EIO, "Input/output error")
        return real_write(descriptor, data)

    def read(descriptor: int, count: int) -> bytes:
        if descriptor == dead:
            raise OSError(errno.EIO, "Input/output error")
        return real_read(descriptor, count)

    with monkeypatch.context() as patch:
        patch.setattr(os, "write", write)
        patch.setattr(os, "read", read)
        patch.setattr(os, "close", lambda _: None)  # its number must not be another file's
        recording.lines(4)
        told = recording.recorder.remarks()
    assert any("takes no more lines" in sentence for sentence in told)
    assert any("no line is lost" in sentence for sentence in told)
    recording.recorder.close()
    assert readings(path) == recording.sent


def test_the_new_file_is_locked_as_the_old_one_was(recording: Recording, path: Path) -> None:
    recording.lines(2)
    path.unlink()
    recording.lines(2)
    code = (
        "import sys; from pathlib import Path; from firing.capture.recorder import Recorder\n"
        "Recorder(Path(sys.argv[1]), ('kiln',))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, check=False, encoding="utf-8"
    )
    assert "another 'firing watch'" in done.stderr
    recording.recorder.close()
