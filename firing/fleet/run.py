"""A run over all logs of a folder or an address: what is new is reviewed, and the table grows."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

from firing.errors import FiringError
from firing.fleet.engines import Answers, Engine, on_dask, on_pool, usable_cores
from firing.fleet.inputs import ListedLog, Names, filesystem, find_logs, read_data
from firing.fleet.review_log import Studio
from firing.fleet.row import Row
from firing.fleet.table import PART_ROWS, FleetTable, arrow
from firing.fleet.worker import LONGEST_S, Job
from firing.serialise import Serialised

FLUSH_ROWS, FLUSH_S = 1000, 30.0
"""A part is written after so many rows, or so long: that much work is lost at the most."""
_KNOWN = ("log", "status", "log_sha256", "log_bytes", "log_mark", "basis")


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a run is."""

    done: int
    total: int
    rate_per_s: float

    @property
    def left_s(self) -> float:
        """What is left at this rate [s]."""
        return (self.total - self.done) / self.rate_per_s if self.rate_per_s > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Run(Serialised):
    """What a run did: how many logs there are, were reviewed, and are at another place now."""

    found: int
    reviewed: int
    moved: int


def review_all(
    source: str,
    table: FleetTable,
    studio: Studio,
    *,
    engine: Engine = "pool",
    workers: int | None = None,
    scheduler: str | None = None,
    longest_s: float = LONGEST_S,
    progress: Callable[[Progress], None] = lambda _: None,
) -> Run:
    """Review what is new in a folder or at an address, and add it to the table.

    A log is new unless one of its bytes was reviewed with the same plan, kiln, prices, options and
    code.  A log whose size and time of writing are those of its row is not read again.

    Raises
    ------
    FiringError
        If there is no log, the table cannot be written, or a cluster is lost; what was done until
        then is kept.
    """
    table.open_for_writing()
    try:
        entries = list(find_logs(source, without=table.place))
        if not entries:
            raise FiringError(f"{source} has no logs; name the folder they lie in")
        jobs = _new_jobs(source, entries, table, studio)
        jobs.sort(key=lambda job: (job.kiln, job.plan, job.log))
        made = _reviewed(
            table,
            _answers(jobs, studio, engine, workers, scheduler, longest_s),
            len(jobs),
            progress,
        )
        moved = _take_along(table, made, {entry.log for entry in entries}) if made else 0
        table.settle()
    finally:
        table.close()
    return Run(len(entries), len(jobs) - len(made), moved)


def _answers(
    jobs: list[Job],
    studio: Studio,
    engine: Engine,
    workers: int | None,
    scheduler: str | None,
    longest_s: float,
) -> Answers:
    if not jobs:
        return iter(())
    handed = _with_data(jobs)
    if engine == "dask" or scheduler is not None:
        return on_dask(handed, studio, workers, scheduler, longest_s)
    return on_pool(handed, studio, workers or usable_cores(), longest_s)


def _with_data(jobs: Iterable[Job]) -> Iterator[Job]:
    """Yield jobs with the bytes of what lies in this process's own memory."""
    for job in jobs:
        yield replace(job, data=read_data(job.log)) if job.log.startswith("memory:") else job


def _new_jobs(
    source: str, entries: list[ListedLog], table: FleetTable, studio: Studio
) -> list[Job]:
    """Return what has to be done, and for each the hashes by which it may be known all the same."""
    import pyarrow.compute as pc

    pa = arrow()
    known = table.read(_KNOWN)
    begin = len(_root(source))
    plans = Names({name: (plan.title,) for name, plan in studio.plans.items()})
    kilns = Names({name: (kiln.name,) for name, kiln in studio.kilns.items()})
    jobs = []
    for entry in entries:
        below = entry.log[begin:]
        plan, kiln = plans.in_path(below), kilns.in_path(below)
        jobs.append(Job(entry.log, entry.size, entry.mark, plan, kiln))
    if not known.num_rows:
        return jobs
    bases = [studio.basis(job.plan, job.kiln) for job in jobs]
    place = pc.index_in(pa.array([job.log for job in jobs], pa.string()), known["log"])
    there = known.take(place)
    same = pc.and_(
        pc.equal(there["basis"], pa.array(bases, pa.string())),
        pc.equal(there["log_mark"], pa.array([job.mark for job in jobs], pa.string())),
    )
    same = pc.and_(same, pc.equal(there["log_bytes"], pa.array([job.size for job in jobs])))
    same = pc.and_(same, pc.not_equal(there["status"].cast(pa.string()), "failed"))
    new = [
        (job, basis)
        for job, basis, kept in zip(jobs, bases, same.to_pylist(), strict=True)
        if not kept
    ]
    done = known.filter(
        pc.and_(
            pc.is_in(known["log_bytes"], value_set=pa.array({job.size for job, _ in new})),
            pc.is_in(known["basis"], value_set=pa.array({basis for _, basis in new}, pa.string())),
        )
    )
    hashes: dict[tuple[int, str], tuple[bytes, ...]] = {}
    for row in done.to_pylist():
        if row["status"] != "failed" and row["log_sha256"] is not None:
            key = row["log_bytes"], row["basis"]
            hashes[key] = (*hashes.get(key, ()), row["log_sha256"])
    return [replace(job, known=hashes.get((job.size, basis), ())) for job, basis in new]


def _root(source: str) -> str:
    """Return how the paths of all logs of a source begin."""
    import os

    fs, root = filesystem(source)
    if "://" in source:
        return str(fs.unstrip_protocol(root))
    return os.path.abspath(root)


def _reviewed(
    table: FleetTable, answers: Answers, total: int, progress: Callable[[Progress], None]
) -> list[tuple[Job, bytes]]:
    """Write the rows as they come, and return what is known by its bytes already."""
    known: list[tuple[Job, bytes]] = []
    rows: list[Row] = []
    began_s = written_s = time.monotonic()
    unsettled = 0
    try:
        for count, (job, answer) in enumerate(answers, start=1):
            if isinstance(answer, bytes):
                known.append((job, answer))
            else:
                rows.append(answer)
            now_s = time.monotonic()
            progress(Progress(count, total, count / max(now_s - began_s, 1e-6)))
            if len(rows) >= FLUSH_ROWS or (rows and now_s - written_s >= FLUSH_S):
                written, rows = rows, []
                table.add(written)
                unsettled, written_s = unsettled + len(written), now_s
                if unsettled >= PART_ROWS:
                    table.settle()
                    unsettled = 0
    finally:
        if rows:
            table.add(rows)
    return known


def _take_along(table: FleetTable, known: list[tuple[Job, bytes]], found: set[str]) -> int:
    """Give logs that are known by their bytes a row of their own; one whose log is gone ends."""
    import pyarrow.compute as pc

    from firing.fleet.row import COLUMNS

    pa = arrow()
    whole = table.read(COLUMNS)
    wanted = pa.array({digest for _, digest in known}, pa.binary(32))
    whole = whole.filter(pc.is_in(whole["log_sha256"], value_set=wanted))
    jobs = {(job.log, digest): job for job, digest in known}
    first = pc.index_in(pa.array([digest for _, digest in jobs], pa.binary(32)),
                        whole["log_sha256"])  # fmt: skip
    rows = whole.take(first)
    for name, values in (("log", [job.log for job in jobs.values()]),
                         ("log_mark", [job.mark for job in jobs.values()])):  # fmt: skip
        rows = rows.set_column(COLUMNS.index(name), name, pa.array(values, pa.string()))
    table.add_table(rows)
    gone = [log for log in whole["log"].to_pylist() if log not in found]
    table.settle(gone)
    return len(gone)
