"""Reading and writing files that are not what they seem: devices, pipes, links, long names."""

import os
import threading
from pathlib import Path

import pytest

from firing.errors import FiringError
from firing.files.disk import UnusableInput, read_whole, write_text


def test_a_file_is_read_whole_and_no_further_than_allowed(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_bytes(b"x" * 1000)
    assert read_whole(path, 1000) == b"x" * 1000
    with pytest.raises(UnusableInput, match="larger"):
        read_whole(path, 999)


def test_a_device_is_refused_at_once() -> None:
    with pytest.raises(UnusableInput, match="device"):
        read_whole(Path("/dev/zero"), 10)


def test_a_pipe_without_a_writer_is_refused_and_with_one_is_read(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    os.mkfifo(path)
    with pytest.raises(UnusableInput, match="nothing writes"):
        read_whole(path, 10)
    reading, writing = os.pipe()
    os.write(writing, b"time")
    threading.Timer(0.05, os.close, [writing]).start()
    assert read_whole(Path(f"/dev/fd/{reading}"), 10) == b"time"
    os.close(reading)


def test_a_link_is_followed_and_stays_a_link(tmp_path: Path) -> None:
    real, link = tmp_path / "real.toml", tmp_path / "link.toml"
    real.write_text("old")
    link.symlink_to(real)
    write_text(link, "new", overwrite=True)
    assert link.is_symlink()
    assert real.read_text() == "new"


def test_a_link_that_leads_nowhere_makes_the_file_it_names(tmp_path: Path) -> None:
    link = tmp_path / "link.toml"
    link.symlink_to(tmp_path / "real.toml")
    write_text(link, "new")
    assert link.is_symlink()
    assert (tmp_path / "real.toml").read_text() == "new"


def test_a_device_or_a_pipe_is_never_replaced(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path in (pipe, Path("/dev/null")):
        with pytest.raises(FiringError, match="device or a pipe"):
            write_text(path, "new", overwrite=True)
    assert pipe.is_fifo()


@pytest.mark.parametrize("name", ["x" * 300, "x\0y"])
def test_a_name_that_no_file_can_have_is_one_short_sentence(name: str, tmp_path: Path) -> None:
    with pytest.raises(FiringError) as caught:
        write_text(tmp_path / name, "new")
    assert len(str(caught.value)) < 200


def test_the_longest_name_that_a_file_can_have_is_written(tmp_path: Path) -> None:
    path = tmp_path / ("x" * 255)
    write_text(path, "new")
    assert path.read_text() == "new"
