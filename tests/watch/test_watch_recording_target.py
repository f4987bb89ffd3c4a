"""The file named is continued as long as its firing may go on; another firing gets its own."""

import time
from pathlib import Path

import pytest
from capture.ptywatch import readings

from firing.capture.clock import TimeBase
from firing.capture.reading import Reading, Status
from firing.capture.recorder import Recorder
from firing.errors import FiringError
from firing.watch.setup import open_recorder

HOUR_S = 3600.0
FIRED = (20.0, 600.0, 1200.0, 600.0, 80.0)
BROKEN_OFF = (20.0, 600.0, 1200.0)


def recorded(path: Path, course_c: tuple[float, ...], ended_h_ago: float) -> Path:
    """Record a reading an hour, the last of which was so long ago."""
    began_s = time.time() - (ended_h_ago + len(course_c) - 1) * HOUR_S
    recorder = Recorder(path, ("kiln",), TimeBase(began_s))
    for hour, value_c in enumerate(course_c):
        recorder.write(hour * HOUR_S, Reading([value_c], [Status.OK]))
    recorder.close()
    return path


@pytest.mark.parametrize(
    ("course_c", "ended_h_ago", "goes_on"),
    [
        (FIRED, 0.1, True),  # a crash in the last of the cooling
        (FIRED, 1.5, False),  # cold, and nobody recorded: the next one
        (FIRED, 72.0, False),
        (FIRED, -0.1, True),  # a clock that was set back a little
        (FIRED, -72.0, False),  # a computer that woke without its clock
        (BROKEN_OFF, 0.1, True),
        (BROKEN_OFF, 10.0, True),  # the computer died at the top, and somebody saw it next morning
        (BROKEN_OFF, 72.0, False),
        ((20.0, 21.0, 20.5), 2.0, True),  # never fired
        ((20.0, 21.0, 20.5), 72.0, False),
    ],
)
def test_a_firing_that_is_over_is_not_gone_on_with(
    tmp_path: Path, course_c: tuple[float, ...], ended_h_ago: float, goes_on: bool
) -> None:
    path = recorded(tmp_path / "log.csv", course_c, ended_h_ago)
    before = path.read_bytes()
    recorder = open_recorder(path, ("kiln",))
    told = recorder.remarks()
    recorder.write(recorder.base.now_s(), Reading([25.0], [Status.OK]))
    recorder.close()
    beside = tmp_path / "log-2.csv"
    if goes_on:
        assert recorder.path == path
        assert recorder.earlier is not None
        assert not beside.exists()
        assert readings(path) == [*course_c, 25.0]
        return
    assert path.read_bytes() == before
    assert recorder.path == beside
    assert recorder.earlier is None
    assert readings(beside) == [25.0]
    assert len(told) == 1
    assert str(path) in told[0]
    assert str(beside) in told[0]
    assert ("ago" if ended_h_ago > 0.0 else "ahead of this computer's") in told[0]
    # the same command after a crash finds the file that it began
    again = open_recorder(path, ("kiln",))
    again.close()
    assert again.path == beside
    assert again.earlier is not None


def test_files_beside_it_that_are_nobodys_recordings_are_passed_over(tmp_path: Path) -> None:
    path = recorded(tmp_path / "log.csv", FIRED, 72.0)
    (tmp_path / "log-2.csv").write_text("a page of mine\n", encoding="utf-8")
    recorded(tmp_path / "log-3.csv", FIRED, 30.0)
    recorder = open_recorder(path, ("kiln",))
    recorder.close()
    assert recorder.path == tmp_path / "log-4.csv"
    assert (tmp_path / "log-2.csv").read_text(encoding="utf-8") == "a page of mine\n"


def test_a_file_named_that_is_no_recording_is_refused_as_ever(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("a page of mine\n", encoding="utf-8")
    with pytest.raises(FiringError, match="no recording of this tool"):
        open_recorder(path, ("kiln",))
