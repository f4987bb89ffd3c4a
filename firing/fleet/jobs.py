"""What there is to review: the logs of a folder or an address, or the firings of a logbook."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Protocol

from firing.errors import FiringError
from firing.files.kinds import file_kind
from firing.fleet.inputs import Names, filesystem, find_logs, read_data
from firing.fleet.review_log import Studio
from firing.fleet.row import Row, Status
from firing.logbook.store import Logbook
from firing.logs.options import ReadingOptions


@dataclass(frozen=True, slots=True)
class Said:
    """What a logbook has of one firing besides its log: how it is read, its kiln, what it cost."""

    options: ReadingOptions
    channel: str | None
    kiln: str
    kwh: float | None = None
    cost: float | None = None
    currency: str = ""

    def put_into(self, row: Row) -> Row:
        """Return a row with what a meter and a bill say in the place of what is reckoned."""
        if not row.kiln and self.kiln:
            row = replace(row, kiln=self.kiln, kiln_by="the logbook")
        if self.kwh is not None:
            row = replace(row, energy_kwh=self.kwh, energy_from="meter")
        if self.cost is not None:
            row = replace(row, cost=self.cost, currency=self.currency or None)
        return row


@dataclass(frozen=True, slots=True)
class Job:
    """One log to review.

    Attributes
    ----------
    log, size, mark
        As it was listed: path or address, size, and when it was last written.
    plan, kiln : str
        The names that stand in its path; empty where none does.
    known : tuple of bytes
        Hashes of logs of its size that were reviewed by the same means: not to be done again.
    said : Said or None
        What a logbook says of it.
    data : bytes or None
        Its bytes, where the worker could not read them.
    """

    log: str
    size: int
    mark: str
    plan: str = ""
    kiln: str = ""
    known: tuple[bytes, ...] = ()
    said: Said | None = None
    data: bytes | None = field(default=None, repr=False)

    def basis(self, studio: Studio) -> str:
        """Return the hash of all that its row rests on besides its bytes."""
        basis = studio.basis(self.plan, self.kiln)
        if self.said is None:
            return basis
        return hashlib.sha256(f"{basis} {self.said!r}".encode()).hexdigest()[:16]

    def without_review(self, studio: Studio, status: Status, sentence: str) -> Row:
        """Return the row of a log whose review came to no end."""
        return Row(
            log=self.log,
            status=status,
            sentence=sentence,
            log_bytes=self.size,
            log_mark=self.mark,
            basis=self.basis(studio),
            kiln=self.kiln or None,
            kiln_file=studio.kiln_files.get(self.kiln),
            plan=self.plan or None,
            plan_file=studio.plan_files.get(self.plan),
        )


class JobSource(Protocol):
    """Where logs come from."""

    def jobs(self, studio: Studio, without: str) -> list[Job]:
        """Return every log there is, those in the folder `without` left out."""

    def with_data(self, jobs: list[Job]) -> Iterator[Job]:
        """Yield jobs, with the bytes of what no other process can read."""


@dataclass(frozen=True, slots=True)
class FolderLogs:
    """The logs of a folder, a file, or an address that fsspec opens."""

    place: str

    def jobs(self, studio: Studio, without: str) -> list[Job]:
        """Return its logs, each with the plan and the kiln whose names stand in its path."""
        fs, root = filesystem(self.place)
        begin = len(fs.unstrip_protocol(root) if "://" in self.place else os.path.abspath(root))
        plans = Names({name: (plan.title,) for name, plan in studio.plans.items()})
        kilns = Names({name: (kiln.name,) for name, kiln in studio.kilns.items()})
        found = []
        for one in find_logs(self.place, without=without):
            below = one.log[begin:]
            plan, kiln = plans.in_path(below), kilns.in_path(below)
            found.append(Job(one.log, one.size, one.mark, plan, kiln))
        if not found:
            raise FiringError(f"{self.place} has no logs; name the folder they lie in")
        return found

    def with_data(self, jobs: list[Job]) -> Iterator[Job]:
        """Yield jobs, with the bytes of what lies in this process's own memory."""
        for job in jobs:
            yield replace(job, data=read_data(job.log)) if job.log.startswith("memory:") else job


class LogbookLogs:
    """The firings of a logbook, which is read and never written to.

    `FiringError` if it holds no firing, or one of its logs or plans is damaged.
    """

    def __init__(self, path: Path | None = None) -> None:
        self._jobs: list[Job] = []
        self._numbers: dict[str, int] = {}
        plans: dict[str, str] = {}
        with Logbook.open(path, create=False) as book:
            self.place = book.path
            kilns = {name: text for name, text in book.kilns().items() if text}
            for one in book.firings(newest_first=False):
                entry = book.entry(one.id)
                plan = entry.plan
                while (
                    entry.plan_text and plans.setdefault(plan, entry.plan_text) != entry.plan_text
                ):
                    plan += " (another)"  # plans may share a title
                said = Said(
                    options=ReadingOptions.from_dict(entry.reading),
                    channel=entry.channel or None,
                    kiln=entry.kiln,
                    kwh=entry.kwh,
                    cost=entry.cost,
                    currency=entry.currency,
                )
                job = Job(
                    log=f"{self.place}#{one.id}",
                    size=len(entry.body),
                    mark=hashlib.sha256(entry.body).hexdigest(),
                    plan=plan if entry.plan_text else "",
                    kiln=entry.kiln if entry.kiln in kilns else "",
                    said=said,
                )
                self._jobs.append(job)
                self._numbers[job.log] = one.id
        if not self._jobs:
            raise FiringError(f"{self.place} holds no firing; name another --logbook")
        self._plans = {
            name: file_kind("schedule").parse(text, name) for name, text in plans.items()
        }
        self._kilns = {name: file_kind("kiln").parse(text, name) for name, text in kilns.items()}

    def studio(self, given: Studio) -> Studio:
        """Return a studio with the logbook's plans and kilns before those that were given."""
        return replace(
            given,
            plans={**given.plans, **self._plans},
            kilns={**given.kilns, **self._kilns},
            plan_files=_without(given.plan_files, self._plans),
            kiln_files=_without(given.kiln_files, self._kilns),
            bases={},
        )

    def jobs(self, studio: Studio, without: str) -> list[Job]:
        """Return its firings."""
        return self._jobs

    def with_data(self, jobs: list[Job]) -> Iterator[Job]:
        """Yield jobs with their bytes, as they are wanted."""
        with Logbook.open(self.place, create=False) as book:
            for job in jobs:
                yield replace(job, data=book.entry(self._numbers[job.log]).body)


def _without(files: Mapping[str, str], names: Mapping[str, Any]) -> dict[str, str]:
    return {name: file for name, file in files.items() if name not in names}
