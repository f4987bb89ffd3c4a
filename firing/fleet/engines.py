"""Who does the reviews: processes of this computer, or a Dask cluster.

Both hand out jobs as they are wanted and give back answers as they come, so that neither the jobs
nor the answers of a million logs are ever together in memory.
"""

from __future__ import annotations

import contextlib
import logging
import os
import queue
import threading
from collections.abc import Generator, Iterable
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import replace
from itertools import islice
from typing import Any, Literal

from firing.errors import FiringError
from firing.fleet.inputs import INSTALL
from firing.fleet.jobs import Job
from firing.fleet.review_log import Studio
from firing.fleet.worker import LONGEST_S, Answer, Worker
from firing.version import code_version

Engine = Literal["pool", "dask"]
Answers = Generator[tuple[Job, Answer]]

BATCH = 16
"""So many logs are one task of Dask: about a second of work, and a thousandth of that to hand out.
"""
AHEAD = 2
"""So many tasks a worker are given out before they are wanted."""


def usable_cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def on_pool(
    jobs: Iterable[Job], studio: Studio, workers: int, longest_s: float = LONGEST_S
) -> Answers:
    """Review on processes of this computer; each answer comes as it is found."""
    idle: queue.SimpleQueue[Worker] = queue.SimpleQueue()
    all_of_them = [Worker(longest_s) for _ in range(workers)]
    for one in all_of_them:
        idle.put(one)

    def work(job: Job) -> tuple[Job, Answer]:
        worker = idle.get()
        try:
            return job, worker.review(job, studio)
        finally:
            idle.put(worker)

    under_way: set[Future[tuple[Job, Answer]]] = set()
    try:
        with ThreadPoolExecutor(workers) as threads:
            try:
                for job in jobs:
                    under_way.add(threads.submit(work, job))
                    if len(under_way) >= AHEAD * workers:
                        done, under_way = wait(under_way, return_when=FIRST_COMPLETED)
                        yield from (one.result() for one in done)
                while under_way:
                    done, under_way = wait(under_way, return_when=FIRST_COMPLETED)
                    yield from (one.result() for one in done)
            finally:
                for waiting in under_way:
                    waiting.cancel()
                for one in all_of_them:
                    one.close()
    finally:
        for one in all_of_them:
            one.leave()


_here = threading.local()


def review_batch(
    jobs: list[Job], studio: Studio, longest_s: float, code: str
) -> list[tuple[Job, Answer]]:
    """Review a few logs on a worker of Dask, in a process beside it.

    `FiringError` if the code there is another.
    """
    if code_version() != code:
        raise FiringError(
            f"a worker runs firing {code_version()}, and this is {code}; install one version on all"
        )
    worker: Worker | None = getattr(_here, "worker", None)
    if worker is None:
        worker = _here.worker = Worker(longest_s)
    return [(replace(job, data=None), worker.review(job, studio)) for job in jobs]


def on_dask(
    jobs: Iterable[Job],
    studio: Studio,
    workers: int | None,
    scheduler: str | None,
    longest_s: float = LONGEST_S,
) -> Answers:
    """Review on a Dask cluster: one of this computer's, or the one of a scheduler.

    `FiringError` if the extra is not installed, the scheduler does not answer or is lost, or a
    worker has another version.
    """
    try:
        import distributed
    except ImportError:
        raise FiringError(INSTALL) from None
    make: Any = distributed  # its classes have no types
    # What it says of a lost connection, with tracebacks, is said in a sentence.
    logging.getLogger("distributed").setLevel(logging.CRITICAL + 1)
    with contextlib.ExitStack() as opened:
        try:
            if scheduler is None:
                cluster = opened.enter_context(
                    make.LocalCluster(
                        n_workers=workers, threads_per_worker=1, dashboard_address=None,
                        silence_logs=50,
                    )
                )  # fmt: skip
                client = opened.enter_context(make.Client(cluster))
            else:
                client = opened.enter_context(make.Client(scheduler, timeout="20s"))
        except (OSError, ValueError, TimeoutError) as error:
            raise FiringError(
                f"{scheduler or 'a cluster of this computer'}: cannot be reached: {error}; start "
                "it with 'dask scheduler', and workers with 'dask worker'"
            ) from None
        yield from _handed_out(client, make.as_completed, jobs, studio, longest_s)


def _handed_out(
    client: Any, as_completed: Any, jobs: Iterable[Job], studio: Studio, longest_s: float
) -> Answers:
    from distributed import KilledWorker

    each = iter(jobs)
    batches = iter(lambda: list(islice(each, BATCH)), [])
    sent: dict[Any, list[Job]] = {}
    ready = as_completed()

    def send(batch: list[Job]) -> None:
        small = studio.only(batch)
        future = client.submit(review_batch, batch, small, longest_s, code_version(), pure=False)
        sent[future] = batch
        ready.add(future)

    try:
        for batch in batches:
            send(batch)
            if len(sent) >= AHEAD * max(1, sum(client.nthreads().values())):
                break
        while sent:
            future = next(ready)
            batch = sent.pop(future)
            if future.status == "cancelled":
                raise FiringError(_LOST)
            try:
                yield from future.result()
            except KilledWorker:
                if len(batch) > 1:  # one of them may be to blame, and is found alone
                    for job in batch:
                        send([job])
                    continue
                words = "its review ended the workers that did it"
                yield batch[0], batch[0].without_review(studio, "failed", words)
            following = next(batches, None)
            if following is not None:
                send(following)
    except (OSError, TimeoutError, StopIteration) as error:
        raise FiringError(f"{_LOST} ({error})") from None


_LOST = "the scheduler was lost; what is done is kept, so run again"
