"""From a log to what the logbook keeps of it: matched to its plan and kiln, reviewed, measured."""

from __future__ import annotations

import hashlib
import math
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from firing.cones.table import nearest_cone
from firing.errors import FiringError
from firing.files.disk import UnusableInput, read_whole
from firing.files.kinds import file_kind, kind_of, ready_names, ready_text
from firing.kiln.description import Fitted
from firing.kiln.tariff import EnergyCourse, Tariff, cost
from firing.logbook.learning import MOST_FIRINGS
from firing.logbook.measure import measure
from firing.logbook.record import (
    Entry,
    Filter,
    KeptWitness,
    Photo,
    Shown,
    each_once,
    local_moment,
)
from firing.logbook.store import Kept, Logbook
from firing.logbook.wear import MENDED, NEW_ELEMENTS, trends_of
from firing.logs.options import ReadingOptions
from firing.logs.parts import SeveralFirings
from firing.logs.reader import MOST_BYTES, Log, pick_channel, read_bytes
from firing.review import thresholds as limit
from firing.review.power_reason import record_of
from firing.review.review import review
from firing.review.which_plan import PlanFit, PlanMatch, which_kiln, which_plan
from firing.review.witness import parse_witness, refuse_contradiction
from firing.schedule.schedule import Schedule, Segment
from firing.units import SECONDS_PER_HOUR, TemperatureUnit
from firing.version import code_version

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription
    from firing.kiln.residuals import FiringRecord
    from firing.review.result import Review
    from firing.trace import FloatArray, Trace

COURSE_POINTS = 48
_KILN = "; kiln: "
"""Between why this plan and why this kiln."""
_ROUNDED_C = 0.8
"""Two logs of one firing differ by their digits: half a degree Celsius, and half of Fahrenheit."""
_NEARLY_ALL, _FEWEST_READINGS, _LEAST_RISE_C = 0.95, 10, 50.0
_LONGEST_S = 4 * 86_400.0
"""No log that begins so long before another one overlaps it."""
LOG_SUFFIXES = {
    *(".csv", ".txt", ".log", ".tsv", ".dat", ".json"),
    *(".gz", ".bz2", ".xz", ".zip", ".xlsx", ".xls", ".ods"),
}
"""The names that a folder is searched for."""


@dataclass(frozen=True, slots=True)
class Paper:
    """A file that a firing goes by: its name, its text, and the folder it lies in with logs."""

    name: str
    text: str
    folder: Path | None = None


@dataclass(frozen=True, eq=False)
class Shelf:
    """The plans and kilns that logs may be of, by the names they go by."""

    plans: Mapping[str, Paper] = field(default_factory=dict)
    kilns: Mapping[str, Paper] = field(default_factory=dict)
    named: frozenset[str] = frozenset()
    """Which of ``plan`` and ``kiln`` a person named."""
    fired: frozenset[tuple[str, str]] = frozenset()
    """Plans of the logbook, each with a kiln it was fired in."""
    faults: tuple[str, ...] = ()
    """What is wrong with plans and kilns that lie beside the logs, a sentence each."""

    def liked(self, kiln: str) -> Mapping[str, int]:
        """Return which plans come first where a log fits several: the least figure does."""
        fired = {plan for plan, _ in self.fired}
        here = {plan for plan, of in self.fired if of == kiln}
        return {
            name: 0 if one.folder else 1 if name in here else 2 if name in fired else 3
            for name, one in self.plans.items()
        }

    def schedules(self) -> dict[str, Schedule]:
        """Return the plans as read."""
        return {name: _schedule(paper.text) for name, paper in self.plans.items()}

    def described(self) -> dict[str, KilnDescription]:
        """Return the kilns as read, without those that have a name only."""
        return {name: _kiln(paper.text) for name, paper in self.kilns.items() if paper.text}


@lru_cache(maxsize=512)
def _schedule(text: str) -> Schedule:
    read: Schedule = file_kind("schedule").parse(text)
    return read


def title_of(plan_text: str) -> str:
    """Return the title of a plan's file."""
    return _schedule(plan_text).title


@lru_cache(maxsize=128)
def _kiln(text: str) -> KilnDescription:
    read: KilnDescription = file_kind("kiln").parse(text)
    return read


@lru_cache(maxsize=128)
def _load(text: str) -> Any:
    return file_kind("load").parse(text)


def paper(kind: str, source: str | Path) -> Paper:
    """Return a file of a kind with its text, once it is seen to be without fault."""
    found = file_kind(kind)
    found.open(source)
    return Paper(Path(source).name, found.text(source))


def shelf_of(
    book: Logbook,
    *,
    plans: Sequence[str | Path] = (),
    kilns: Sequence[str | Path] = (),
    beside: Sequence[Path] = (),
) -> Shelf:
    """Return what logs may be of: what is named, else what lies beside them and in the logbook.

    Ready schedules join the plans where none is named.  A kiln may be a name alone.  Files lie
    `beside` in a folder and all below it, or in the folder of a log.
    """
    found: dict[str, list[Paper]] = {"schedule": [], "kiln": []}
    faults: dict[str, list[str]] = {"schedule": [], "kiln": []}
    for pattern, folder in dict.fromkeys(
        ("**/*.toml", one) if one.is_dir() else ("*.toml", one.parent) for one in beside
    ):
        for kind, papers in _papers_in(folder, pattern, faults):
            found[kind] += papers
    by_title: dict[str, Paper] = {}
    if plans:
        for source in plans:
            one = paper("schedule", source)
            by_title[_schedule(one.text).title] = one
    else:
        for name in ready_names():
            one = Paper(name, ready_text(name))
            by_title[_schedule(one.text).title] = one
        by_title |= {title: Paper(title, text) for title, text in book.plans().items()}
        for one in found["schedule"]:
            by_title[_schedule(one.text).title] = one
    by_name: dict[str, Paper] = {}
    known = book.kilns()
    for name in map(str, kilns):
        if name.endswith(".toml") or Path(name).exists() or file_kind("kiln").is_ready(name):
            one = paper("kiln", name)
            by_name[_kiln(one.text).name] = one
        else:
            kept = book.kiln_called(name)
            by_name[kept] = Paper(kept, known.get(kept, ""))
    if not kilns:
        by_name = {name: Paper(name, text) for name, text in known.items()}
        for one in found["kiln"]:
            by_name[_kiln(one.text).name] = one
    named = {name for name, given in (("plan", plans), ("kiln", kilns)) if given}
    left_out = [*(() if plans else faults["schedule"]), *(() if kilns else faults["kiln"])]
    return Shelf(by_title, by_name, frozenset(named), book.fired(), tuple(left_out))


def _papers_in(
    folder: Path, pattern: str, faults: Mapping[str, list[str]]
) -> Iterator[tuple[str, list[Paper]]]:
    """Yield the faultless schedules and kilns of a folder, by their kind; add others' faults."""
    read: dict[str, list[Paper]] = {"schedule": [], "kiln": []}
    for path in sorted(folder.glob(pattern)):
        kind = kind_of(path)
        if kind in read:
            try:
                read[kind].append(replace(paper(kind, path), folder=path.resolve().parent))
            except FiringError as error:
                faults[kind].append(str(error))
    yield from read.items()


# -- from bytes to figures --------------------------------------------------------------------


def derive(entry: Entry) -> Shown:
    """Return what a kept log shows, by its plan and kiln as they were kept.

    What can't be read by this version keeps its place, with the reason.
    """
    try:
        log = _read(entry)
        channel = pick_channel(log, entry.channel or None)
        return shown_of(entry, log, channel, _reviewed(entry, log, channel))
    except FiringError as error:
        began_at = entry.written_at if entry.began_at is None else entry.began_at
        offset_s = _offset_s(datetime.fromtimestamp(began_at).astimezone())
        return Shown(
            began_at, offset_s, started_from="file" if entry.began_at is None else "given",
            code=code_version(), trouble=str(error),
        )  # fmt: skip


def _read(entry: Entry) -> Log:
    return read_bytes(entry.body, entry.log_name, ReadingOptions.from_dict(entry.reading))


def review_of(entry: Entry, unit: TemperatureUnit | None = None) -> Review:
    """Return the review of a kept firing, made anew from its log, in its plan's `unit` if none.

    `FiringError` if its log can't be read.
    """
    log = _read(entry)
    return _reviewed(entry, log, pick_channel(log, entry.channel or None), unit)


def _reviewed(entry: Entry, log: Log, channel: int, unit: TemperatureUnit | None = None) -> Review:
    plan = _schedule(entry.plan_text) if entry.plan_text else own_course(log, channel)
    kiln = _kiln(entry.kiln_text).as_of(_day(entry, log)) if entry.kiln_text else None
    return review(
        plan if unit is None else replace(plan, unit=unit),
        log,
        channel=channel,
        kiln=kiln,
        load=_load(entry.load_text) if entry.load_text and kiln is not None else None,
        witnesses=tuple(map(parse_witness, entry.witnesses)),
    )


def records_of(book: Logbook, kiln: str) -> tuple[list[FiringRecord], list[int]]:
    """Return the latest firings of a kiln as a fit takes them, and which follow work on it.

    In the order of time, and only those since its losses last changed.
    """
    mine = each_once(book.firings(Filter(kiln=kiln)))
    events = book.events(kiln)
    changed = [one.at for one in trends_of(kiln, mine, events).wear.breaks if one.kind == "losses"]
    since = changed[-1].timestamp() if changed else -math.inf
    worked = [event.at_s for event in events if event.kind in (NEW_ELEMENTS, *MENDED)]
    records: list[FiringRecord] = []
    after_work: list[int] = []
    before = -math.inf
    for one in [one for one in mine if one.started_at >= since][-MOST_FIRINGS:]:
        entry = book.entry(one.id)
        try:
            found = review_of(entry)
            record = record_of(found, planned=bool(entry.plan_text))
        except FiringError:
            continue
        if any(before < at <= one.started_at for at in worked):
            after_work.append(len(records))
        before = one.started_at
        records.append(replace(record, kwh=entry.kwh, started=record.started or one.started))
    return records, after_work


def reviews_of(
    book: Logbook, numbers: Sequence[int], unit: TemperatureUnit | None = None
) -> list[Review]:
    """Return the reviews of several firings by the plan of the first, for laying over each other.

    `FiringError` if the first has no plan, or a log can't be read.
    """
    entries = [book.entry(number) for number in numbers]
    first = entries[0]
    if not first.plan_text:
        raise FiringError(
            f"firing {numbers[0]} has no plan to compare by; say which with "
            f"'firing logbook add {numbers[0]} --plan S'"
        )
    by_its_plan = [replace(one, plan=first.plan, plan_text=first.plan_text) for one in entries]
    return [review_of(one, unit) for one in by_its_plan]


def own_course(log: Log, channel: int) -> Schedule:
    """Return a log's own way to its peak as a plan, for a firing that has none."""
    temperature_c = log.trace.channel_c(channel)
    if not np.isfinite(temperature_c).any():
        raise FiringError(f"{log.name} holds no usable reading of the kiln")
    peak = int(np.nanargmax(temperature_c))
    peak_c = max(float(temperature_c[peak]), 50.0)
    hours = max(float(log.trace.time_s[peak]) / SECONDS_PER_HOUR, 0.1)
    return Schedule("no plan", (Segment(peak_c, (peak_c - 20.0) / hours),))


def shown_of(entry: Entry, log: Log, channel: int, found: Review) -> Shown:
    """Return the figures of a reviewed firing."""
    trace = log.trace
    started_at, utc_offset_s, source = _began(entry, trace)
    peak_s = float(trace.time_s[int(np.nanargmax(found.temperature_c))])
    reached = found.cones.reached_as_printed
    energy = energy_by_output(trace, found.kiln)
    shown = Shown(
        started_at,
        utc_offset_s,
        zone=str(entry.reading.get("zone") or ""),
        started_from=source,
        peak_c=found.peak_c,
        reached=reached or "",
        reached_number=found.cones.reached_number,
        heating_s=max(0.0, peak_s - found.lead_in_s),
        witnesses=_witnesses(found),
        kwh_by_log=None if energy is None else energy.kwh,
        course_c=_course(trace, found),
        code=code_version(),
    )
    told = measure(found, found.kiln, planned=bool(entry.plan_text)).to_dict()
    if not entry.plan_text:
        return replace(shown, measure=told)
    plan, planned = found.schedule, found.cones_planned.reached_number
    most = next((c for c in found.causes if c.cause != "unexplained"), None)
    return replace(
        shown,
        purpose=plan.purpose,
        cone=plan.cone or ("" if planned is None else nearest_cone(planned)),
        target_c=plan.peak_c,
        duration_s=found.actual_s,
        planned_s=found.planned_s,
        excess_s=found.excess_s,
        ended="" if found.refused else found.ended,
        findings=sum(finding.severity == "act" for finding in found.findings),
        cause="" if most is None or not found.excess_s else most.name,
        measure=told,
    )


def _began(entry: Entry, trace: Trace) -> tuple[float, int, Any]:
    """Return when a firing began, the clock's offset then, and where that is from."""
    if trace.started is not None:
        return trace.started.timestamp(), _offset_s(trace.started), "log"
    if entry.began_at is not None:
        at_s, source = entry.began_at, "given"
    else:  # a logger writes its last line when the firing is over
        at_s, source = max(0.0, entry.written_at - trace.duration_s), "file"
    return at_s, _offset_s(datetime.fromtimestamp(at_s).astimezone()), source


def _day(entry: Entry, log: Log) -> date:
    """Return the day a firing began, on the clock of its place."""
    at_s, utc_offset_s, _ = _began(entry, log.trace)
    return local_moment(at_s, "", utc_offset_s).date()


def _offset_s(moment: datetime) -> int:
    offset = moment.utcoffset()
    return 0 if offset is None else round(offset.total_seconds())


def _witnesses(found: Review) -> tuple[KeptWitness, ...]:
    verdict = None if found.heat is None else found.heat.witness
    if verdict is None:
        return ()
    return tuple(
        KeptWitness(
            cone=one.witness.cone,
            seen=one.witness.seen,
            place=one.witness.place,
            offset_c=one.offset_c,
            error_c=None
            if one.low_c is None or one.high_c is None
            else 0.5 * (one.high_c - one.low_c),
        )
        for one in verdict.kiln.results
    )


def energy_by_output(trace: Trace, kiln: KilnDescription | None) -> EnergyCourse | None:
    """Return the energy by the logged output, in a kiln of known power; None if either lacks."""
    if kiln is None or trace.duty is None or np.isfinite(trace.duty).sum() < 2:
        return None
    known = np.isfinite(trace.duty)
    duty = np.interp(trace.time_s, trace.time_s[known], trace.duty[known])
    on_s = np.concatenate(([0.0], np.cumsum(0.5 * (duty[1:] + duty[:-1]) * np.diff(trace.time_s))))
    return EnergyCourse(trace.time_s, on_s * kiln.available_w)


def _unlearnt(kiln: KilnDescription) -> KilnDescription:
    return replace(kiln, fitted=Fitted(), history=(), fits=())


def adopt_kiln(book: Logbook, name: str, text: str) -> bool:
    """Let a kiln's file take the place of the one kept, and return whether it is another.

    What was learnt of the power counts for every kept firing's day: the energy by the logged output
    goes with it.
    """
    before = book.kilns().get(name, "")
    if not text or not before or text == before:
        return False
    was, now = _kiln(before), _kiln(text)
    kwh: dict[int, float] = {}
    for one in book.firings(Filter(kiln=name)):
        if one.kiln == name and one.kwh_by_log is not None:
            day = local_moment(one.started_at, "", one.utc_offset_s).date()
            power = now.as_of(day).available_w / was.as_of(day).available_w
            if not math.isclose(power, 1.0):
                kwh[one.id] = one.kwh_by_log * power
    # Of another wall the measures of before and after would not compare.
    book.put_kiln(name, text, kwh, stale=_unlearnt(was) != _unlearnt(now))
    return True


def _priced(entry: Entry, shown: Shown, found: Review, tariff: Tariff) -> Entry:
    """Return an entry with what it cost, by the hours that the log's output shows."""
    course = energy_by_output(found.log.trace, found.kiln)
    if course is None or entry.cost is not None or course.kwh <= 0.0:
        return entry
    started = local_moment(shown.started_at, shown.zone, shown.utc_offset_s)
    price = cost(course, started, tariff)
    by_meter = 1.0 if entry.kwh is None else entry.kwh / course.kwh
    return replace(entry, cost=price.amount * by_meter, currency=price.currency)


def _course(trace: Trace, found: Review) -> tuple[int, ...]:
    known = np.isfinite(found.temperature_c)
    at_s = np.linspace(found.lead_in_s, float(trace.time_s[-1]), COURSE_POINTS)
    course_c = np.interp(at_s, trace.time_s[known], found.temperature_c[known])
    return tuple(int(value) for value in np.clip(np.rint(course_c), -300, 3000))


# -- keeping logs -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class KeptLog:
    """What became of one log: kept, known already, or refused, and why by that plan and kiln."""

    log: str
    id: int | None = None
    state: str = "kept"
    """``kept``, ``known``, ``grown`` (longer than before), ``would be kept`` or ``refused``."""
    plan: str = ""
    kiln: str = ""
    sure: bool = True
    why: str = ""
    why_kiln: str = ""
    notes: tuple[str, ...] = ()
    twin: str = ""
    """Another log of the same firing, which is kept or would be."""
    added: tuple[str, ...] = ()
    """What was added to a firing that is in the logbook already."""
    differs: tuple[str, ...] = ()
    """What was named and not taken, with the step that changes it: a sentence each."""

    @property
    def words(self) -> str:
        """What became of it, as a sentence for who watched or reviewed it."""
        if self.state == "known":
            added = f"; added to it: {', '.join(self.added)}" if self.added else ""
            return f"the firing is in the logbook already, as number {self.id}{added}"
        by = f" as {self.plan}" if self.plan else " without a plan"
        return f"the firing is kept in the logbook as number {self.id},{by}"

    def to_dict(self) -> dict[str, Any]:
        """Return it as the JSON shows it."""
        return {
            "log": self.log,
            "id": self.id,
            "state": self.state,
            "plan": self.plan or None,
            "kiln": self.kiln or None,
            "sure": self.sure,
            "why": self.why,
            "why_kiln": self.why_kiln,
            "notes": list(self.notes),
            "twin_of": self.twin or None,
            "added": list(self.added),
            "differs": list(self.differs),
        }


@dataclass(frozen=True, slots=True)
class KeepProgress:
    """How far an import is: logs done of all, the rate, and the time left [s]."""

    done: int
    total: int
    per_s: float
    left_s: float


def progressed(done: int, total: int, began_s: float) -> KeepProgress:
    """Return how far something is that began at a moment of the monotonic clock."""
    rate = done / max(time.monotonic() - began_s, 1e-6)
    return KeepProgress(done, total, rate, (total - done) / rate)


def logs_in(folder: Path) -> list[Path]:
    """Return the files of a folder, and of those in it, that may be logs."""
    return sorted(
        path
        for path in folder.rglob("*")
        if path.suffix.lower() in LOG_SUFFIXES
        and path.is_file()
        and not any(part.startswith(".") for part in path.relative_to(folder).parts)
    )


def photo_of(path: Path) -> Photo:
    """Return a photograph by where it lies and its hash; the picture itself is not kept."""
    try:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise FiringError(f"{path}: can't be read ({error.strerror})") from None
    return Photo(str(path.resolve()), digest)


def keep_logs(
    book: Logbook,
    logs: Sequence[Path],
    shelf: Shelf,
    said: Entry | None = None,
    *,
    tariff: Tariff | None = None,
    dry_run: bool = False,
    progress: Callable[[KeepProgress], None] = lambda _: None,
) -> list[KeptLog]:
    """Keep logs, each by the plan and kiln that it fits; what is kept already is passed over.

    Parameters
    ----------
    book : Logbook
    logs : sequence of Path
        The files.
    shelf : Shelf
        The plans and kilns they may be of; the only one of a kind is taken for all.
    said : Entry, optional
        What a person said of all of them.
    tariff : Tariff, optional
        The prices, for the cost of a log that shows the output.
    dry_run : bool
        Whether nothing is written.
    progress : callable
        Called after each log.

    Returns
    -------
    list of KeptLog
        One for each firing, and for each log that was refused.
    """
    keeper = _Keeper(book, shelf, said or Entry("", b""), tariff, dry_run)
    found: list[KeptLog] = []
    began_s = time.monotonic()
    for number, path in enumerate(logs, 1):
        found += keeper.file(path)
        progress(progressed(number, len(logs), began_s))
    return found


def keep_one(
    path: Path,
    *,
    place: Path | None = None,
    plan: str | None = None,
    kiln: str | None = None,
    load: str | None = None,
    said: Entry | None = None,
) -> KeptLog:
    """Keep one log by the files that it was watched or reviewed with; `place` is the logbook's.

    `FiringError` if it can't be kept.
    """
    said = said or Entry("", b"")
    if load is not None:
        within = paper("load", load)
        said = replace(said, load=within.name, load_text=within.text)
    with Logbook.open(place) as book:
        shelf = shelf_of(
            book,
            plans=() if plan is None else [plan],
            kilns=() if kiln is None else [kiln],
            beside=[path],
        )
        (found, *_) = keep_logs(book, [path], shelf, said)
        if found.state == "refused":
            raise FiringError(found.why)
    return found


@dataclass(frozen=True, eq=False)
class _Keeper:
    """Puts logs into a logbook, each by the plan and kiln it fits."""

    book: Logbook
    shelf: Shelf
    said: Entry
    tariff: Tariff | None
    dry_run: bool
    _paths: dict[int, str] = field(default_factory=dict)
    """The logs of this run by the firing they were kept as; by less than 0 where none was."""
    _bodies: dict[tuple[bytes, int], int] = field(default_factory=dict)
    """The firings of a dry run by the hash of their log and their part."""
    _readings: dict[int, _Readings | None] = field(default_factory=dict)

    def file(self, path: Path) -> list[KeptLog]:
        """Keep every firing of a file; a refusal is an answer of its own, never an exception."""
        name = path.name
        try:
            body = read_whole(path, MOST_BYTES)
            written_at = round(path.stat().st_mtime, 3)
        except UnusableInput as fault:
            return [KeptLog(str(path), state="refused", why=f"{name} {fault}")]
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            return [KeptLog(str(path), state="refused", why=f"{name}: can't be read ({reason})")]
        return self.entry(replace(self.said, log_name=name, body=body, written_at=written_at), path)

    def entry(self, entry: Entry, path: Path) -> list[KeptLog]:
        """Keep every firing of a log; its place may name the kiln."""
        try:
            return [self.part(entry, path)]
        except SeveralFirings as several:
            parts = range(1, several.count + 1)
        found = []
        for part in parts:
            reading = {**entry.reading, "part": part}
            found.append(self.part(replace(entry, part=part, reading=reading), path))
        return found

    def part(self, entry: Entry, path: Path) -> KeptLog:
        """Keep one firing of a file.

        `SeveralFirings` if the file holds several, and none is named.
        """
        known = self.book.find_file(entry.body, entry.part)
        # Of a file of several the first may be there, and the others not yet.
        if known is not None and (
            "part" in entry.reading or "part" not in self.book.entry(known).reading
        ):
            return self._known(known, path)
        body = (hashlib.sha256(entry.body).digest(), entry.part)
        if self.dry_run and body in self._bodies:
            return self._known(self._bodies[body], path)
        try:
            refuse_contradiction(tuple(map(parse_witness, entry.witnesses)))
            matched = _matched(entry, self.shelf, path)
            entry, papers = matched.entry, matched.entry
            shown = shown_of(entry, matched.log, matched.channel, matched.review)
            if self.tariff is not None:
                entry = _priced(entry, shown, matched.review, self.tariff)
        except SeveralFirings:
            raise
        except FiringError as error:
            return KeptLog(str(path), state="refused", why=str(error))
        mine = None if shown.started_from == "file" else _Readings.of(shown, matched)
        twin = None if mine is None else self._twin(mine)
        if twin is not None and mine is not None and not mine.outlasts(self._readings[twin]):
            return self._known(twin, path)
        state, number, told = "would be kept", None, KeptLog(str(path))
        shorter = None if twin is not None else self.book.shorter_form(entry)
        before = shorter[1] if shorter is not None else twin
        changed: list[str] = []
        if before is not None and before > 0:
            # Its figures are by the papers that it is kept with, whichever these are now.
            entry, papers, changed = self._grown(entry, self.book.entry(before))
            try:
                shown = shown_of(
                    entry, matched.log, matched.channel,
                    _reviewed(entry, matched.log, matched.channel),
                )  # fmt: skip
            except FiringError as error:
                return KeptLog(str(path), before, "refused", why=f"firing {before}: {error}")
        if self.dry_run:
            state, key = "grown" if before is not None else state, -1 - len(self._paths)
            self._bodies[body] = key
        else:
            adopt_kiln(self.book, entry.kiln, entry.kiln_text)
            kept = self.book.keep(entry, shown, twin)
            state, key = _state(kept), kept.id
            number = key
            if kept.grown:
                self.book.add_to(key, papers, shown)
                told = self._known(key, path)
        why, _, why_kiln = entry.matched.partition(_KILN)
        found = KeptLog(
            str(path), number, state, entry.plan, entry.kiln,
            (matched.sure or why == _NAMED) and not told.differs,
            why, why_kiln, matched.log.notes,
            "" if twin is None else self._paths.get(twin, ""), (*changed, *told.added),
            told.differs,
        )  # fmt: skip
        self._paths[key], self._readings[key] = str(path), mine
        return found

    def _grown(self, entry: Entry, old: Entry) -> tuple[Entry, Entry, list[str]]:
        """Return a longer log with the papers of its firing, what of them is new, and in words.

        What a person named goes before what was found by the course, and now before then: the rest
        of a firing is watched by the rest's plan, and its whole log is of the whole's.
        """
        was, now = old.matched.partition(_KILN), entry.matched.partition(_KILN)
        papers, changed = Entry("", b""), []
        why = {"plan": was[0], "kiln": was[2]}
        for kind, here in (("plan", now[0]), ("kiln", now[2])):
            name, text = getattr(entry, kind), getattr(entry, f"{kind}_text")
            kept, kept_text = getattr(old, kind), getattr(old, f"{kind}_text")
            settled = bool(kept) and why[kind] == _NAMED and kind not in self.shelf.named
            if not name or settled or (name, text) == (kept, kept_text):
                continue
            why[kind] = here
            said: dict[str, Any] = {kind: name, f"{kind}_text": text}
            papers = replace(papers, **said)
            changed.append(f"the {kind} {name}" + _instead(kept or None))
        matched = why["plan"] + (_KILN + why["kiln"] if why["kiln"] else "")
        papers = replace(papers, matched=matched)
        whole = replace(
            old, log_name=entry.log_name, body=entry.body, written_at=entry.written_at,
            part=entry.part, reading=entry.reading, channel=entry.channel,
            began_at=entry.began_at, matched=matched, **_papers(papers),
        )  # fmt: skip
        return whole, papers, changed

    def _known(self, number: int, path: Path) -> KeptLog:
        """Add what is said to a firing that is there already, or would be by this run."""
        twin = self._paths.get(number, "")
        if number < 0:
            return KeptLog(str(path), None, "known", twin=twin, why="is the firing of another log")
        old = self.book.entry(number)
        added, new = _not_yet_said(old, self.said)
        differs = []
        for kind, kept, papers in (
            ("plan", old.plan, self.shelf.plans),
            ("kiln", old.kiln, self.shelf.kilns),
        ):
            if kind not in self.shelf.named:
                continue
            if kept in papers and (
                kind == "kiln" or _schedule(papers[kept].text) == _schedule(old.plan_text)
            ):
                continue
            if not kept and len(papers) == 1:
                ((name, one),) = papers.items()
                named: dict[str, Any] = {kind: name, f"{kind}_text": one.text}
                new = replace(new, **named)
                added.append(f"the {kind} {name}")
            else:
                another = "another" if kept in papers else "the"
                by = f"with {another} {kind} {kept}" if kept else f"without a {kind}"
                differs.append(
                    f"firing {number} is kept {by}; "
                    f"'firing logbook add {number} --{kind} ...' changes that"
                )
        kiln = self.shelf.kilns.get(old.kiln)
        if "kiln" in self.shelf.named and kiln is not None and kiln.text not in ("", old.kiln_text):
            added.append(f"the kiln file {old.kiln} as it is now")
            if not self.dry_run:
                adopt_kiln(self.book, old.kiln, kiln.text)
                old = self.book.entry(number)
        try:
            new = self._timed_and_priced(number, old, new, added, differs)
            if added and not self.dry_run:
                amend(self.book, number, new)
        except FiringError as error:
            return KeptLog(str(path), number, "refused", why=f"firing {number}: {error}")
        return KeptLog(
            str(path), number, "known", new.plan or old.plan, new.kiln or old.kiln, not differs,
            "is in the logbook already", twin=twin or (old.log_name if path.name != old.log_name
            else ""), added=tuple(added), differs=tuple(differs),
        )  # fmt: skip

    def _timed_and_priced(
        self, number: int, old: Entry, new: Entry, added: list[str], differs: list[str]
    ) -> Entry:
        """Add when a kept firing began and what it cost by the tariff, where that is known."""
        began_at = self.said.began_at
        if began_at not in (None, old.began_at):
            if self.book.show(number).started_from == "log":
                differs.append(
                    f"firing {number}'s log has its own clock, which counts; leave out --began"
                )
            else:
                new = replace(new, began_at=began_at)
                added.append(f"that it began {datetime.fromtimestamp(began_at):%Y-%m-%d %H:%M}")
        if self.tariff is None or new.cost is not None:
            return new
        meant = replace(
            old, **_papers(new), cost=None, kwh=old.kwh if new.kwh is None else new.kwh,
            began_at=new.began_at or old.began_at,
        )  # fmt: skip
        log = _read(meant)
        found = _reviewed(meant, log, pick_channel(log, meant.channel or None))
        at_s, utc_offset_s, _ = _began(meant, log.trace)
        shown = Shown(at_s, utc_offset_s, str(meant.reading.get("zone") or ""))
        priced = _priced(meant, shown, found, self.tariff)
        if priced.cost is None:
            lacks = "its log shows no output" if found.kiln else "no kiln file is kept with it"
            step = "write its --cost" if found.kiln else "add its --kiln"
            differs.append(f"firing {number} has no cost by the tariff, as {lacks}; {step}")
        elif old.cost is None or f"{priced.cost:.2f}" != f"{old.cost:.2f}":
            new = replace(new, cost=priced.cost, currency=priced.currency)
            added.append(_cost_words(priced) + _instead(old.cost))
        return new

    def _twin(self, mine: _Readings) -> int | None:
        """Return the firing of which these are the readings, kept or of this dry run."""
        began_s, ended_s = float(mine.at_s[0]), float(mine.at_s[-1])
        near = Filter(since_s=began_s - _LONGEST_S, until_s=ended_s)
        numbers = [one.id for one in self.book.firings(near) if one.started_from != "file"]
        for number in (*numbers, *(key for key in self._readings if key < 0)):
            if number not in self._readings:
                self._readings[number] = _Readings.of_entry(self.book.entry(number))
            other = self._readings[number]
            if other is not None and mine.same_as(other):
                return number
        return None


def _not_yet_said(old: Entry, said: Entry) -> tuple[list[str], Entry]:
    """Return what of a firing's sayings is new, in words, and an entry of it alone."""
    new = Entry("", b"")
    added: list[str] = []
    for name, thing in (
        ("notes", "note"), ("witnesses", "witness cone"), ("photos", "photograph")
    ):  # fmt: skip
        more = tuple(one for one in getattr(said, name) if one not in getattr(old, name))
        if more:
            lists: dict[str, Any] = {name: more}
            new = replace(new, **lists)
            added.append(f"a {thing}" if len(more) == 1 else f"{len(more)} {thing}s")
    if said.kwh not in (None, old.kwh):
        new = replace(new, kwh=said.kwh)
        added.append(f"{said.kwh:g} kWh" + _instead(old.kwh))
    if said.cost is not None and (said.cost, said.currency) != (old.cost, old.currency):
        new = replace(new, cost=said.cost, currency=said.currency)
        added.append(_cost_words(said) + _instead(old.cost))
    if said.member not in ("", old.member):
        new = replace(new, member=said.member)
        added.append(f"for {said.member}" + _instead(old.member or None))
    if said.load_text not in ("", old.load_text):
        new = replace(new, load=said.load, load_text=said.load_text)
        added.append(f"the load {said.load}" + _instead(old.load or None))
    return added, new


def _cost_words(one: Entry) -> str:
    return f"a cost of {one.cost:.2f} {one.currency}".rstrip()


def _instead(old: float | str | None) -> str:
    if old is None:
        return ""
    return f" instead of {old}" if isinstance(old, str) else f" instead of {round(old, 2):g}"


@dataclass(frozen=True, slots=True, eq=False)
class _Readings:
    """What a log reads, and when [s since 1970]."""

    at_s: FloatArray
    read_c: FloatArray

    @classmethod
    def of(cls, shown: Shown, matched: _Matched) -> _Readings:
        """Return the readings of a log as it is about to be kept."""
        return cls._of(matched.log.trace, matched.channel, shown.started_at)

    @classmethod
    def of_entry(cls, entry: Entry) -> _Readings | None:
        """Return the readings of a kept log; None if it can't be read."""
        try:
            log = _read(entry)
            channel = pick_channel(log, entry.channel or None)
        except FiringError:
            return None
        return cls._of(log.trace, channel, _began(entry, log.trace)[0])

    @classmethod
    def _of(cls, trace: Trace, channel: int, began_s: float) -> _Readings:
        read_c = trace.channel_c(channel)
        known = np.isfinite(read_c)
        return cls(began_s + trace.time_s[known], read_c[known])

    @property
    def lasts_s(self) -> float:
        """From the first reading to the last."""
        return float(self.at_s[-1] - self.at_s[0])

    def outlasts(self, other: _Readings | None) -> bool:
        """Whether these go on for longer, by more than a reading."""
        step_s = float(np.median(np.diff(self.at_s)))
        return other is None or self.lasts_s > other.lasts_s + step_s + 60.0

    def same_as(self, other: _Readings) -> bool:
        """Whether both read the same at the same times, over nearly all of the shorter one.

        Two kilns that run one program side by side differ by more than the digits that a log drops.
        """
        short, long = sorted((self, other), key=lambda one: one.lasts_s)
        if short.at_s.size < _FEWEST_READINGS:
            return False
        if float(np.ptp(short.read_c)) < _LEAST_RISE_C:
            return short._is_within(long)
        within = (short.at_s >= long.at_s[0] - 1.0) & (short.at_s <= long.at_s[-1] + 1.0)
        if np.mean(within) < _NEARLY_ALL:
            return False
        off_c = np.abs(short.read_c - np.interp(short.at_s, long.at_s, long.read_c))
        minutes = [bool(np.all(one.at_s % 60.0 == 0.0)) for one in (short, long)]
        clock_s = 60.0 if minutes[0] != minutes[1] else 1.0
        slope_c_per_s = np.abs(np.gradient(short.read_c, short.at_s))
        same = within & (off_c <= _ROUNDED_C + slope_c_per_s * clock_s)
        return bool(np.mean(same) >= _NEARLY_ALL)

    def _is_within(self, other: _Readings) -> bool:
        """Whether the other has these very readings: of minutes nothing less tells kilns apart.

        Two kilns that stand cold, or warm alike, read the same whole degrees; not the same tenths.
        """
        if np.unique(self.read_c).size < _FEWEST_READINGS:
            return False
        place = np.clip(np.searchsorted(other.at_s, self.at_s - 0.5), 0, other.at_s.size - 1)
        same = (np.abs(other.at_s[place] - self.at_s) < 0.5) & (
            np.abs(other.read_c[place] - self.read_c) < 0.05
        )
        return bool(np.mean(same) >= _NEARLY_ALL)


def _state(kept: Kept) -> str:
    return "kept" if kept.new else "grown" if kept.grown else "known"


@dataclass(frozen=True, slots=True, eq=False)
class _Matched:
    """A log with the plan and kiln it fits."""

    entry: Entry
    log: Log
    channel: int
    review: Review
    sure: bool
    why: str
    why_kiln: str


def _matched(entry: Entry, shelf: Shelf, path: Path) -> _Matched:
    log = replace(_read(entry), path=path)  # its folder may name the kiln
    channel = pick_channel(log, entry.channel or None)
    day, plans = _day(entry, log), shelf.schedules()
    kilns = {name: kiln.as_of(day) for name, kiln in shelf.described().items()}
    if len(plans) != 1 and log.unit_is_open(channel):
        raise FiringError(
            f"{log.name}: no unit is stated, and it may be in °C or °F; say --unit C or --unit F, "
            "or name its --plan"
        )
    kiln, why_kiln = "", ""
    if len(shelf.kilns) == 1:
        kiln = next(iter(shelf.kilns))
        why_kiln = _NAMED if "kiln" in shelf.named else "the only one there is"
    found: Review | None = None
    if len(plans) == 1:
        plan, sure, why = next(iter(plans)), True, _NAMED
    else:
        match = which_plan(
            log, plans, channel=channel, kiln=kilns.get(kiln), liked=shelf.liked(kiln)
        )
        plan = "" if match.best is None else match.best.name
        sure, why, found = match.sure, match.why, match.review
        own = _own_plan(match, shelf, path)
        if own is not None and not (sure and own is match.best):
            found = found if own is match.best else None
            plan, sure, why = own.name, True, f"it lies in the log's folder and {own.words}"
    if shelf.kilns and not kiln:
        decided = which_kiln(log, kilns, found)
        kiln, why_kiln = decided.name, decided.why
        sure = sure and bool(kiln)
        found = None if kiln else found  # it was reviewed without a kiln
    entry = replace(
        entry,
        kiln=kiln,
        kiln_text=shelf.kilns[kiln].text if kiln else "",
        plan=plan,
        plan_text=shelf.plans[plan].text if plan else "",
        matched=why + (_KILN + why_kiln if why_kiln else ""),
    )
    if found is None or entry.witnesses or entry.load_text:
        found = _reviewed(entry, log, channel)
    return _Matched(entry, found.log, channel, found, sure, why, why_kiln)


def _own_plan(match: PlanMatch, shelf: Shelf, path: Path) -> PlanFit | None:
    """Return the plan that lies beside a log, if it is one and fits about as well as any."""
    if match.best is None:
        return None
    near_s = limit.PLAN_CLEAR * match.best.to_explain_s + limit.PLAN_ROUGH_S
    own = [
        fit
        for fit in match.fits
        if not fit.refused
        and fit.to_explain_s < near_s
        and shelf.plans[fit.name].folder == path.resolve().parent
    ]
    return own[0] if len(own) == 1 else None


def amend(book: Logbook, number: int, said: Entry) -> None:
    """Add to a firing what a person says of it, and derive anew what follows from that.

    `FiringError` if it contradicts the log, such as a cone that can't have bent so far; nothing is
    added.
    """
    papers = _papers(said)
    if not papers and not said.witnesses and said.began_at is None:
        book.add_to(number, said)
        return
    entry = book.entry(number)
    if said.began_at is not None:
        if book.show(number).started_from == "log":
            raise FiringError(
                f"firing {number}'s log has its own clock, which counts; leave out --began"
            )
        papers["began_at"] = said.began_at
    entry = replace(entry, **papers, witnesses=(*entry.witnesses, *said.witnesses))
    if said.witnesses:
        refuse_contradiction(tuple(map(parse_witness, entry.witnesses)))
    matched = _matched_by(entry.matched, plan=bool(said.plan), kiln=bool(said.kiln))
    said = replace(said, matched=matched)
    shown = derive(entry)
    if shown.trouble:
        raise FiringError(shown.trouble)
    adopt_kiln(book, said.kiln, said.kiln_text)
    book.add_to(number, said, shown)


def _papers(said: Entry) -> dict[str, Any]:
    """Return the papers that a person named, by the names of `Entry`."""
    names = ("kiln", "kiln_text", "plan", "plan_text", "load", "load_text")
    return {name: getattr(said, name) for name in names if getattr(said, name)}


_NAMED = "you named it"


def _matched_by(before: str, *, plan: bool, kiln: bool) -> str:
    """Return why a plan and a kiln, once a person named one of them."""
    why, _, why_kiln = before.partition(_KILN)
    why, why_kiln = _NAMED if plan else why, _NAMED if kiln else why_kiln
    return why + (_KILN + why_kiln if why_kiln else "")


def derive_again(
    book: Logbook, firings: Sequence[int], progress: Callable[[KeepProgress], None] = lambda _: None
) -> int:
    """Derive the figures of firings anew, and return how many can't be read any more.

    What was known of a log that can't be read any more stays, with the reason; but for its measure,
    as measures compare only by one version.
    """
    began_s, troubled = time.monotonic(), 0
    for done, number in enumerate(firings, 1):
        shown = derive(book.entry(number))
        if shown.trouble:
            old = book.show(number)
            kept = {name: getattr(old, name) for name in Shown.__dataclass_fields__}
            shown = Shown(
                **kept | {"code": code_version(), "trouble": shown.trouble, "measure": None}
            )
            troubled += 1
        book.derive_again(number, shown)
        progress(progressed(done, len(firings), began_s))
    return troubled
