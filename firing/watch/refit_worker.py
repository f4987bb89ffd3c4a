"""A refit in a process of its own, so that no reading ever waits for it.

A thread would not do: the search is pure arithmetic and would keep the interpreter to itself for
milliseconds at a time, on and on, each time a line comes in.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from dataclasses import dataclass, replace

from firing.errors import FiringError
from firing.watch.refit import RefitJob, RefitResult, refit
from firing.watch.state import AS_EXPECTED, AT_ITS_BEST, AT_ITS_WORST
from firing.watch.state_estimator import KilnStateEstimator, duty_after_program, estimator_on_side

NICENESS = 10
"""On a computer of one core too, readings go first."""


@dataclass(frozen=True, eq=False)
class RefitAnswer:
    """What a refit has found, and its kilns led along the firing so far, by side."""

    found: RefitResult
    estimators: dict[int, KilnStateEstimator]


def run_refit(job: RefitJob) -> RefitAnswer:
    """Refit a kiln, and lead it along the firing so far if that changed its figures."""
    found = refit(job)
    estimators: dict[int, KilnStateEstimator] = {}
    if found.fitted is not None:
        kiln = replace(job.kiln, fitted=found.fitted)
        duty = duty_after_program(job.time_s, job.duty, job.off_from_s)
        for side in (AS_EXPECTED, AT_ITS_BEST, AT_ITS_WORST):
            one = estimator_on_side(kiln, job.load, job.schedule, found.errors, side)
            try:
                one.follow(job.time_s, job.temperature_c, duty)
            except FiringError:
                continue  # whoever asks it meets the same refusal
            estimators[side] = one
    return RefitAnswer(found, estimators)


class RefitWorker:
    """Does one refit at a time, elsewhere; `failed`: the last was not begun or not answered."""

    def __init__(self) -> None:
        self.failed = False
        self._process: subprocess.Popen[bytes] | None = None
        self._thread: threading.Thread | None = None
        self._answer: RefitAnswer | None = None

    @property
    def busy(self) -> bool:
        """Whether a refit is under way, or waits to be taken."""
        return self._thread is not None

    def start(self, job: RefitJob) -> None:
        """Begin a refit."""
        self._answer = None
        try:
            self._process = subprocess.Popen(
                # -P: a file of the folder the watch was begun in is no module of this package.
                [sys.executable, "-P", "-m", "firing.watch.refit_worker"],
                env={
                    **os.environ,
                    "PYTHONPATH": os.pathsep.join(part for part in sys.path if part),
                },
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                # A Ctrl-C meant for the watch is none of its business.
                start_new_session=True,
            )
        except OSError:
            self.failed = True
            return
        # The thread only waits: for the pipe to take the job, and for the answer.
        self._thread = threading.Thread(
            target=self._exchange, args=(self._process, pickle.dumps(job)), daemon=True
        )
        self._thread.start()

    def _exchange(self, process: subprocess.Popen[bytes], job: bytes) -> None:
        try:
            answer, _ = process.communicate(job)
            self._answer = pickle.loads(answer) if process.returncode == 0 else None
        except (OSError, ValueError, EOFError, pickle.UnpicklingError):
            self._answer = None

    def take_answer(self) -> RefitAnswer | None:
        """Return what a refit that is over has found; None while it is not, or if it failed."""
        if self._thread is None or self._thread.is_alive():
            return None
        self._thread = self._process = None
        self.failed = self._answer is None
        return self._answer

    def close(self) -> None:
        """End what is under way."""
        if self._process is not None and self._process.poll() is None:
            self._process.kill()
        if self._thread is not None:
            self._thread.join(1.0)


def main() -> None:
    """Read a job from standard input and write what it finds to standard output."""
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    job = pickle.load(sys.stdin.buffer)
    pickle.dump(run_refit(job), sys.stdout.buffer)


if __name__ == "__main__":
    # Under its own name, so that what it answers is known by that name where it is read.
    from firing.watch import refit_worker

    refit_worker.main()
