"""A program on a pseudo-terminal of 80 by 24, and what a person would see of it."""

import fcntl
import os
import pty
import re
import select
import signal
import struct
import sys
import termios
import time
from pathlib import Path

from waiting import PATIENCE_S

FIRING = "from firing.cli import main; main()"
WIDTH, HEIGHT = 80, 24
CTRL = {letter: chr(ord(letter) - ord("a") + 1) for letter in "abcdefghijklmnopqrstuvwxyz"}
DOWN, RIGHT, ESCAPE = "\x1b[B", "\x1b[C", "\x1b"

_SEQUENCE = re.compile(
    r"\x1b\[([0-9;?<=>]*)[ ]?([A-Za-z@`])|\x1b[\]P][^\x07\x1b]*(?:\x07|\x1b\\)|\x1b[^\[\]P]"
)


LONGEST_SEQUENCE = 64


class Terminal:
    """A program on a pseudo-terminal, and the little of a terminal that shows what it drew."""

    def __init__(
        self, arguments: list[str], folder: Path, *, code: str = FIRING, **environment: str
    ) -> None:
        self.pid, self.file = pty.fork()
        if self.pid == 0:
            os.chdir(folder)
            # A run in the background ignores these, and so would what it starts.
            for number in (signal.SIGHUP, signal.SIGINT, signal.SIGQUIT):
                signal.signal(number, signal.SIG_DFL)
            os.environ.update({"TERM": "xterm-256color", "LANG": "C.UTF-8", **environment})
            os.execv(sys.executable, [sys.executable, "-c", code, *arguments])
        fcntl.ioctl(self.file, termios.TIOCSWINSZ, struct.pack("HHHH", HEIGHT, WIDTH, 0, 0))
        self.raw = ""
        self._rest = b""
        self._begun = ""
        self._cells = [[" "] * WIDTH for _ in range(HEIGHT)]
        self._row = self._column = 0
        self.ended = False

    def text(self) -> str:
        return "\n".join("".join(row).rstrip() for row in self._cells)

    def press(self, keys: str) -> None:
        os.write(self.file, keys.encode())

    def wait_for(self, words: str, *, gone: bool = False) -> None:
        """Read until words are on the screen, or no longer are."""
        deadline = time.monotonic() + PATIENCE_S
        while (words in self.text()) == gone:
            assert time.monotonic() < deadline, f"never saw {words!r}:\n{self.text()}"
            self._read(0.05)

    def wait_for_end(self) -> int:
        """Read until the program ends; returns its exit code."""
        while not self.ended:
            self._read(0.2)
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])

    def kill(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.file)
        self.ended = True

    def _read(self, wait_s: float) -> None:
        if not select.select([self.file], [], [], wait_s)[0]:
            return
        try:
            data = os.read(self.file, 65536)
        except OSError:
            data = b""
        if not data:
            self.ended = True
            return
        data = self._rest + data
        whole = data.decode("utf-8", "ignore")
        self._rest = data[len(whole.encode()) :]
        self.raw += whole
        self._draw(whole)

    def _draw(self, data: str) -> None:
        data, self._begun = self._begun + data, ""
        position = 0
        while position < len(data):
            match = _SEQUENCE.match(data, position)
            if match is not None:
                position = match.end()
                if match[2] == "H":
                    row, _, column = (match[1] or "1;1").partition(";")
                    self._row, self._column = int(row or 1) - 1, int(column or 1) - 1
                continue
            character = data[position]
            if character == "\x1b" and len(data) - position < LONGEST_SEQUENCE:
                self._begun = data[position:]  # cut in two by the read: the rest is to come
                return
            position += 1
            if character == "\r":
                self._column = 0
            elif character == "\n":
                self._row, self._column = self._row + 1, 0
            elif character.isprintable() and self._row < HEIGHT and self._column < WIDTH:
                self._cells[self._row][self._column] = character
                self._column += 1
