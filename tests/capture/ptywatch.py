"""A stand-in for an instrument on a real pseudo-terminal, and `firing watch` in its own process."""

import contextlib
import json
import os
import select
import signal
import subprocess
import sys
import tty
from pathlib import Path
from typing import Any

from waiting import PATIENCE_S, wait_until

MAIN = (sys.executable, "-c", "from firing.cli import main; main()")


class Instrument:
    """One end of a pseudo-terminal; `port` is the name the other end is opened by.

    The name is a link, so that an instrument that comes back has the name it had.
    """

    def __init__(self, port: Path) -> None:
        self.port = port
        self.master = -1
        self.plug_in()

    def plug_in(self) -> None:
        self.master, slave = os.openpty()
        tty.setraw(self.master)
        tty.setraw(slave)
        name = os.ttyname(slave)
        # The slave stays open here, or the master would read EIO until somebody opens it.
        self._slave = slave
        link = self.port.with_suffix(".new")
        link.symlink_to(name)
        link.rename(self.port)

    def send(self, data: bytes) -> None:
        with contextlib.suppress(OSError):
            os.write(self.master, data)

    def heard(self) -> bool:
        """Tell whether a line more would go out at once, as somebody reads what is sent."""
        return bool(select.select([], [self.master], [], 0.0)[1])

    def unplug(self) -> None:
        os.close(self.master)
        os.close(self._slave)
        self.port.unlink()
        self.master = -1

    def close(self) -> None:
        if self.master >= 0:
            self.unplug()


class Watch:
    """``firing watch`` in its own process, its output in files."""

    def __init__(
        self,
        folder: Path,
        *arguments: str,
        main: tuple[str, ...] = MAIN,
        **environment: str,
    ) -> None:
        self.stdout, self.stderr = folder / "stdout.txt", folder / "stderr.txt"
        with self.stdout.open("wb") as out, self.stderr.open("wb") as err:
            self.process = subprocess.Popen(
                [*main, "watch", *arguments],
                cwd=folder,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=err,
                env={**os.environ, "PYTHONIOENCODING": "utf-8", **environment},
            )

    def told(self) -> str:
        return self.stderr.read_text(encoding="utf-8")

    def lines(self) -> list[str]:
        return self.stdout.read_text(encoding="utf-8").splitlines()

    def documents(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.lines()]

    def wait_ready(self) -> None:
        """Wait until it has opened everything."""
        wait_until(lambda: "safety device" in self.told(), "the first note")

    def stop(self, number: int = signal.SIGTERM) -> int:
        self.process.send_signal(number)
        return self.process.wait(PATIENCE_S)

    def __enter__(self) -> "Watch":
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()


def rows(path: Path) -> list[list[str]]:
    """Return the cells of the whole lines below the header."""
    if not path.exists():
        return []
    text = path.read_bytes().decode("utf-8")
    return [line.split(",") for line in text[: text.rfind("\n") + 1].splitlines()[1:]]


def readings(path: Path) -> list[float]:
    """Return the first channel's temperatures, in the order of the file, gaps left out."""
    return [float(cells[1]) for cells in rows(path) if cells[1]]
