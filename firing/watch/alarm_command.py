"""The user's own command, run for every notice: an argument list, never a shell."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

from firing.errors import FiringError
from firing.watch.events import WatchEvent

LONGEST_RUN_S = 60.0
AT_ONCE = 4
MOST_WAITING = 100
CLOSING_S = 2.0
"""How long the end of a watch waits for commands still running [s]."""
TRIAL = "trial"
"""The id of the notice that tries the command when a watch begins."""
PLACES = ("id", "severity", "state")
"""What of a notice may stand in the command's arguments, in braces."""


@dataclass(slots=True)
class _Run:
    """One message on its way."""

    event: WatchEvent
    process: subprocess.Popen[bytes]
    started_s: float
    hung: bool = False


def end_group(process: subprocess.Popen[bytes]) -> None:
    """End a program that was started as a session of its own, and whatever it started itself."""
    if os.name != "posix":
        process.kill()
        return
    with contextlib.suppress(OSError):  # it has just ended by itself
        os.killpg(process.pid, signal.SIGKILL)


class AlarmCommand:
    """Runs a program with a notice's sentence as its last argument.

    Its arguments may hold ``{id}``, ``{severity}`` and ``{state}``, and its environment has them as
    ``FIRING_ID`` and so on; ``FIRING_REPEAT`` says how often the same was told before.

    Raises
    ------
    FiringError
        If there is no such program.
    """

    def __init__(self, arguments: Sequence[str]) -> None:
        self._arguments = tuple(arguments)
        if shutil.which(self._arguments[0]) is None:
            raise FiringError(
                f"--alarm-command: there is no program {self._arguments[0]} that can be run; write "
                "its full path, or install it"
            )
        self._running: list[_Run] = []
        self._waiting: deque[WatchEvent] = deque(maxlen=MOST_WAITING)
        self._told: set[str] = set()
        self._troubles: list[str] = []

    def begin(self, now_s: float) -> None:
        """Try the command, so that a message that reaches nobody is known before it matters."""
        sentence = "this is a trial: the watch begins, and its alarms come this way"
        self.tell(WatchEvent(TRIAL, "note", "told", now_s, sentence))

    def tell(self, event: WatchEvent) -> None:
        """Run the command for a notice, as soon as not too many run already."""
        self._waiting.append(event)

    def tick(self) -> list[str]:
        """Start what waits and end what hangs; return why messages do not go out, once each."""
        now_s = time.monotonic()
        still: list[_Run] = []
        for run in self._running:
            code = run.process.poll()
            if code is not None:
                self._note_end(run, code)
                continue
            if now_s - run.started_s > LONGEST_RUN_S and not run.hung:
                run.hung = True
                end_group(run.process)
            still.append(run)
        self._running = still
        while self._waiting and len(self._running) < AT_ONCE:
            event = self._waiting.popleft()
            try:
                self._running.append(_Run(event, self._started(event), now_s))
            except (OSError, ValueError) as fault:
                reason = getattr(fault, "strerror", None) or str(fault)
                self._note_once(f"{self._name} cannot be run for alarms: {reason}")
        troubles, self._troubles = self._troubles, []
        return troubles

    @property
    def _name(self) -> str:
        return self._arguments[0]

    def _started(self, event: WatchEvent) -> subprocess.Popen[bytes]:
        told = {place: str(getattr(event, place)) for place in PLACES}
        arguments = list(self._arguments)
        for place, value in told.items():
            arguments = [part.replace(f"{{{place}}}", value) for part in arguments]
        environment = {f"FIRING_{place.upper()}": value for place, value in told.items()}
        return subprocess.Popen(
            [*arguments, event.message],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
            env={**os.environ, **environment, "FIRING_REPEAT": str(event.repeat)},
        )

    def _note_end(self, run: _Run, code: int) -> None:
        """Keep, once, that a command says that its message did not go out."""
        if code == 0:
            return
        how = f"ended with exit code {code}" if code > 0 else f"was ended by signal {-code}"
        if run.hung:
            how = f"ran longer than {LONGEST_RUN_S:g} s and was ended"
        when = "at its trial" if run.event.id == TRIAL else f"for {run.event.id}"
        self._note_once(
            f"{self._name} {how} {when}: alarms may not reach you; try the command by hand"
        )

    def _note_once(self, sentence: str) -> None:
        if sentence not in self._told:
            self._told.add(sentence)
            self._troubles.append(sentence)

    def close(self) -> None:
        """Start what still waits and give it a moment; what then still runs goes on by itself."""
        until_s = time.monotonic() + CLOSING_S
        while time.monotonic() < until_s:
            self.tick()
            if not self._waiting and not self._running:
                return
            time.sleep(0.02)
        for run in self._running:
            # It was asked to outlive this program, so nothing waits for it here.
            run.process.returncode = 0
