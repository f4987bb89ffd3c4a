"""The user's own command, run for every notice: an argument list, never a shell."""

import subprocess
import time
from collections import deque
from collections.abc import Sequence

LONGEST_RUN_S = 60.0
AT_ONCE = 4
MOST_WAITING = 100
CLOSING_S = 2.0
"""How long the end of a watch waits for commands still running [s]."""


class AlarmCommand:
    """Runs a program with a notice's sentence as its last argument."""

    def __init__(self, arguments: Sequence[str]) -> None:
        self._arguments = tuple(arguments)
        self._running: list[tuple[subprocess.Popen[bytes], float]] = []
        self._waiting: deque[str] = deque(maxlen=MOST_WAITING)
        self._failure_told = False

    def tell(self, message: str) -> None:
        """Run the command for a message, as soon as not too many run already."""
        self._waiting.append(message)

    def tick(self) -> str | None:
        """Start what waits and end what hangs; returns, once, why the command cannot be run."""
        now_s = time.monotonic()
        still: list[tuple[subprocess.Popen[bytes], float]] = []
        for process, started_s in self._running:
            if process.poll() is not None:
                continue
            if now_s - started_s > LONGEST_RUN_S:
                process.kill()
            still.append((process, started_s))
        self._running = still
        while self._waiting and len(self._running) < AT_ONCE:
            message = self._waiting.popleft()
            try:
                process = subprocess.Popen(
                    [*self._arguments, message],
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                    start_new_session=True,
                )
            except (OSError, ValueError) as fault:
                if not self._failure_told:
                    self._failure_told = True
                    reason = getattr(fault, "strerror", None) or str(fault)
                    return f"{self._arguments[0]} cannot be run for alarms: {reason}"
                return None
            self._running.append((process, now_s))
        return None

    def close(self) -> None:
        """Start what still waits and give it a moment; what then still runs goes on by itself."""
        until_s = time.monotonic() + CLOSING_S
        while time.monotonic() < until_s:
            self.tick()
            if not self._waiting and not self._running:
                return
            time.sleep(0.02)
        for process, _ in self._running:
            # It was asked to outlive this program, so nothing waits for it here.
            process.returncode = 0
