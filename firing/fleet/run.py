"""A run over all logs of a folder or an address: what is new is reviewed, and the table grows."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import dataclass, replace
from typing import Any

from firing.errors import FiringError
from firing.fleet.engines import Answers, Engine, on_dask, on_pool, usable_cores
from firing.fleet.jobs import Job, JobSource
from firing.fleet.review_log import Studio
from firing.fleet.row import COLUMNS, Row
from firing.fleet.table import PART_ROWS, FleetTable, arrow
from firing.fleet.worker import LONGEST_S
from firing.logbook.keeping import KeepProgress, progressed
from firing.serialise import Serialised

FLUSH_ROWS, FLUSH_S = 1000, 30.0
"""A part is written after so many rows, or so long: that much work is lost at the most."""
_KNOWN = ("log", "status", "log_sha256", "log_bytes", "log_mark", "basis")


@dataclass(frozen=True, slots=True)
class Run(Serialised):
    """What a run did: how many logs there are, were reviewed, and are at another place now."""

    found: int
    reviewed: int
    moved: int


def review_all(
    source: JobSource,
    table: FleetTable,
    studio: Studio,
    *,
    engine: Engine = "pool",
    workers: int | None = None,
    scheduler: str | None = None,
    longest_s: float = LONGEST_S,
    progress: Callable[[KeepProgress], None] = lambda _: None,
) -> Run:
    """Review what is new of a source, and add it to the table.

    A log is new unless one of its bytes was reviewed with the same plan, kiln, prices, options and
    code.  A log whose size and time of writing are those of its row is not read again.

    `FiringError` if there is no log, the table cannot be written, or a cluster is lost; what was
    done until then is kept.
    """
    if workers is not None and workers < 1:
        raise FiringError(f"workers = {workers} reviews nothing; write 1 or more")
    table.open_for_writing()
    try:
        found = source.jobs(studio, table.place)
        new = _new(found, table, studio)
        new.sort(key=lambda job: (job.kiln, job.plan, job.log))
        jobs = source.with_data(new)
        if new and (engine == "dask" or scheduler is not None):
            answers = on_dask(jobs, studio, workers, scheduler, longest_s)
        else:
            answers = on_pool(jobs, studio, workers or usable_cores(), longest_s)
        with closing(answers):
            known = _reviewed(table, answers, len(new), progress)
        moved = _take_along(table, known, {job.log for job in found}) if known else 0
        table.settle()
    finally:
        table.close()
    return Run(len(found), len(new) - len(known), moved)


def _new(jobs: list[Job], table: FleetTable, studio: Studio) -> list[Job]:
    """Return what has to be done, and for each the hashes by which it may be known all the same."""
    import pyarrow.compute as pc

    pa = arrow()
    known = table.read(_KNOWN)
    if not known.num_rows:
        return jobs
    bases = [job.basis(studio) for job in jobs]
    there = known.take(pc.index_in(_words(job.log for job in jobs), known["log"]))
    same = pc.not_equal(there["status"].cast(pa.string()), "failed")
    for name, values in (
        ("basis", _words(bases)),
        ("log_mark", _words(job.mark for job in jobs)),
        ("log_bytes", pa.array([job.size for job in jobs], pa.int64())),
    ):
        same = pc.and_(same, pc.equal(there[name], values))
    new = [
        (job, basis)
        for job, basis, kept in zip(jobs, bases, same.to_pylist(), strict=True)
        if not kept
    ]
    sizes = pa.array({job.size for job, _ in new}, pa.int64())
    done = known.filter(
        pc.and_(
            pc.is_in(known["log_bytes"], value_set=sizes),
            pc.is_in(known["basis"], value_set=_words({basis for _, basis in new})),
        )
    )
    hashes: dict[tuple[int, str], tuple[bytes, ...]] = {}
    for row in done.to_pylist():
        if row["status"] != "failed" and row["log_sha256"] is not None:
            key = row["log_bytes"], row["basis"]
            hashes[key] = (*hashes.get(key, ()), row["log_sha256"])
    return [replace(job, known=hashes.get((job.size, basis), ())) for job, basis in new]


def _words(values: Iterable[str]) -> Any:
    return arrow().array(list(values), arrow().string())


def _reviewed(
    table: FleetTable, answers: Answers, total: int, progress: Callable[[KeepProgress], None]
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
            progress(progressed(count, total, began_s))
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

    table.settle()
    hashes = arrow().binary(32)
    wanted = arrow().array({digest for _, digest in known}, hashes)
    whole = arrow().concat_tables(
        part.filter(pc.is_in(part["log_sha256"], value_set=wanted)) for part in table.parts(COLUMNS)
    )
    place = pc.index_in(arrow().array([d for _, d in known], hashes), whole["log_sha256"])
    rows = whole.take(place)
    for name, values in (
        ("log", _words(job.log for job, _ in known)),
        ("log_mark", _words(job.mark for job, _ in known)),
    ):
        rows = rows.set_column(COLUMNS.index(name), name, values)
    table.add_table(rows)
    gone = [log for log in whole["log"].to_pylist() if log not in found]
    table.settle(gone)
    return len(gone)
