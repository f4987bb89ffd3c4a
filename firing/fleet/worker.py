"""A process of its own that reviews one log at a time, so that no log can take a run down.

What eats memory, never ends or brings the interpreter down ends that process only; the next log
gets another one, and the log a row that says so.
"""

from __future__ import annotations

import contextlib
import math
import os
import pickle
import subprocess
import sys
import threading
import time
from dataclasses import replace

from firing.files.disk import UnusableInput
from firing.fleet.inputs import read_data
from firing.fleet.jobs import Job
from firing.fleet.review_log import Studio, review_bytes
from firing.fleet.row import Row

LONGEST_S = 300.0
"""A review that takes longer is ended [s]; one of 200 MB takes about a minute."""
MOST_MEMORY_BYTES = 4 << 30
"""A worker may have so much address space."""


Answer = Row | bytes
"""A log's row, or the hash by which it is known already."""


def answer(job: Job, studio: Studio) -> Answer:
    """Return a log's row, or the hash by which it is known already."""
    try:
        data = read_data(job.log) if job.data is None else job.data
    except UnusableInput as fault:
        return job.without_review(studio, "unreadable", f"{job.log} {fault}")
    except Exception as error:  # a storage has errors of its own
        return job.without_review(studio, "failed", f"{job.log} cannot be read now: {error}")
    if job.known:
        import hashlib

        digest = hashlib.sha256(data).digest()
        if digest in job.known:
            return digest
    said, meant = job.said, studio
    if said is not None:
        meant = replace(studio, options=said.options, channel=said.channel)
    row = review_bytes(data, job.log, meant, job.plan, job.kiln)
    row = row if said is None else said.put_into(row)
    return replace(row, log_mark=job.mark, log_bytes=job.size, basis=job.basis(studio))


class Worker:
    """One such process, replaced when it dies."""

    def __init__(self, longest_s: float = LONGEST_S) -> None:
        self._longest_s = longest_s
        self._process: subprocess.Popen[bytes] | None = None
        self._studio: Studio | None = None
        self._closed = False
        self._lock = threading.Lock()  # that the time of one job ends no other
        self._until_s = math.inf  # when the job under way is ended
        self._late = False
        self._watched = False

    def review(self, job: Job, studio: Studio) -> Answer:
        """Return the log's answer; a row that says why, if there is none after two attempts."""
        for _ in range(2):
            try:
                return self._ask(job, studio)
            except (OSError, EOFError, pickle.UnpicklingError):
                self._end()
                if self._late:
                    words = f"its review took longer than {self._longest_s:g} s and was ended"
                    return job.without_review(studio, "failed", words)
                if self._closed:
                    break
        return job.without_review(
            studio, "failed", "its review ended the process that did it, twice"
        )

    def _ask(self, job: Job, studio: Studio) -> Answer:
        self._late, process = False, self._process
        if process is None:
            process, self._studio = self._begin(), None
        assert process.stdin is not None
        assert process.stdout is not None
        if not self._watched:  # a thread for each job would take longer than handing it out
            threading.Thread(target=self._watch, daemon=True).start()
            self._watched = True
        with self._lock:
            self._until_s = time.monotonic() + self._longest_s
        try:
            # A studio may be large: it is sent when it is another one only.
            pickle.dump((None if studio is self._studio else studio, job), process.stdin)
            process.stdin.flush()
            self._studio = studio
            found: Answer = pickle.load(process.stdout)
        finally:
            with self._lock:
                self._until_s = math.inf
        return found

    def _watch(self) -> None:
        """End the process of a job that takes too long."""
        while not self._closed:
            time.sleep(min(1.0, 0.1 * self._longest_s))
            with self._lock:
                if time.monotonic() > self._until_s and self._process is not None:
                    self._late, self._until_s = True, math.inf
                    self._process.kill()

    def _begin(self) -> subprocess.Popen[bytes]:
        self._process = subprocess.Popen(
            # -P: a file of the folder that this was begun in is no module of this package.
            [sys.executable, "-P", "-m", "firing.fleet.worker"],
            env={
                **os.environ,
                "PYTHONPATH": os.pathsep.join(part for part in sys.path if part),
                "OPENBLAS_NUM_THREADS": "1",
            },
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            start_new_session=True,  # a Ctrl-C is for who writes down what is done
        )
        assert self._process.stdout is not None
        pickle.load(self._process.stdout)  # it is ready: what it takes from here on is the log's
        return self._process

    def _end(self) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()

    def close(self) -> None:
        """End the process, whatever it does."""
        self._closed = True
        if self._process is not None:
            self._process.kill()

    def leave(self) -> None:
        """End the process and wait for it."""
        self.close()
        self._end()


def main() -> None:
    """Answer jobs from standard input on standard output until that ends."""
    own = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever else prints is not for the reader of answers
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, hard))
    studio = Studio()
    with contextlib.suppress(EOFError, BrokenPipeError):
        pickle.dump(None, own)
        own.flush()
        while True:
            sent, job = pickle.load(sys.stdin.buffer)
            studio = studio if sent is None else sent
            pickle.dump(answer(job, studio), own)
            own.flush()


if __name__ == "__main__":
    # Under its own name, so that what it answers is known by that name where it is read.
    from firing.fleet import worker

    worker.main()
