"""What the logbook holds of a firing: what a person said of it, and what its log shows.

These are plain values, so that a list of thousands costs no more than reading them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta, timezone
from typing import Any, Literal, get_args
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from firing.serialise import Serialised
from firing.units import SECONDS_PER_HOUR, SECONDS_PER_MINUTE, format_duration

EventKind = Literal["new elements", "new sensor", "relay", "repair", "note"]
EVENT_KINDS: tuple[EventKind, ...] = get_args(EventKind)
SAME_FIRING_S = 300.0
"""Two logs of one kiln that begin within so many seconds are of one firing."""
SAME_COURSE_C = 3
"""Courses of two logs of one firing differ by so little, in whole degrees."""
_AT_ONCE = 50
"""More kilns are not begun within minutes."""
StartedFrom = Literal["log", "given", "file"]
"""Where the moment a firing began comes from; of the file it is when it was last written."""


def local_moment(at_s: float, zone: str, utc_offset_s: int) -> datetime:
    """Return a moment on the clock of the place: by its zone, else by the offset then."""
    if zone:
        try:
            return datetime.fromtimestamp(at_s, ZoneInfo(zone))
        except (ZoneInfoNotFoundError, ValueError):
            pass
    return datetime.fromtimestamp(at_s, UTC).astimezone(timezone(timedelta(seconds=utc_offset_s)))


@dataclass(frozen=True, slots=True)
class KeptWitness(Serialised):
    """A witness cone: as it was read, and by how much the thermocouple read too low by it [°C].

    `offset_c` is None for a cone that only bounds it, `error_c` half of its range.
    """

    cone: str
    seen: str
    place: str = ""
    offset_c: float | None = None
    error_c: float | None = None


@dataclass(frozen=True, slots=True)
class Photo(Serialised):
    """Where a photograph lies, and the SHA-256 of it as it was when it was added."""

    path: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Shown(Serialised):
    """What a firing's log shows, all of it derived: from its bytes, its plan and its kiln.

    Attributes
    ----------
    started_at : float
        When its log begins: seconds since 1970, UTC.
    utc_offset_s : int
        What the place's clock was ahead of UTC then [s].
    zone : str
        The time zone it was read with, if one was named.
    started_from : {"log", "given", "file"}
        Where that moment comes from.
    purpose, cone : str
        The plan's; `cone` is its target, else the nearest to what it amounts to.
    target_c, peak_c : float or None
        The plan's highest target and the highest reading [°C].
    reached : str
        The cone its heat-work amounts to, in words; `reached_number` is its running number.
    duration_s, planned_s, excess_s : float or None
        What the program took, was to take, and the difference [s].
    heating_s : float or None
        From the start of the firing to its highest reading [s].
    ended : str
        ``program``, ``stopped`` before its end, or where the ``log`` ends.
    findings : int
        How many findings ask for something to be done.
    cause : str
        The largest cause of the excess, in words.
    witnesses : tuple of KeptWitness
    kwh_by_log : float or None
        The energy by the output that the log shows, in the kiln as it is described [kWh].
    course_c : tuple of int
        Its temperatures at even times over the firing, for a sparkline [°C].
    measure : mapping or None
        What wear and drift are followed by, as `firing.logbook.measure` makes it.
    code : str
        The version of the code that derived this.
    trouble : str
        Why the log could not be read again; empty if it could.
    """

    started_at: float
    utc_offset_s: int = 0
    zone: str = ""
    started_from: StartedFrom = "log"
    purpose: str = ""
    cone: str = ""
    target_c: float | None = None
    peak_c: float | None = None
    reached: str = ""
    reached_number: float | None = None
    duration_s: float | None = None
    planned_s: float | None = None
    excess_s: float | None = None
    heating_s: float | None = None
    ended: str = ""
    findings: int = 0
    cause: str = ""
    witnesses: tuple[KeptWitness, ...] = ()
    kwh_by_log: float | None = None
    course_c: tuple[int, ...] = field(default=(), repr=False)
    measure: Mapping[str, Any] | None = field(default=None, repr=False, hash=False)
    code: str = ""
    trouble: str = ""


@dataclass(frozen=True, slots=True, repr=False)
class Firing(Shown):
    """One kept firing: what its log shows, and what a person said of it.

    Attributes
    ----------
    id : int
        Its number in this logbook.
    kiln : str
        The kiln's name; empty where nobody said and nothing shows it.
    plan : str
        The plan's title; empty for a firing without a plan.
    matched : str
        Why this plan and this kiln, where nobody said which.
    notes : str
        What a person wrote, a line a note.
    load : str
        The load file's name, if one was given.
    photos : tuple of Photo
    cost, currency, kwh : float or None, str
        What it cost, and the energy [kWh] by a meter, else by the log's output.
    member : str
        Who fired, or for whom.
    log : str
        The log's file name.
    part : int
        Which firing of that file, from 1.
    """

    id: int = 0
    kiln: str = ""
    plan: str = ""
    matched: str = ""
    notes: str = ""
    load: str = ""
    photos: tuple[Photo, ...] = ()
    cost: float | None = None
    currency: str = ""
    kwh: float | None = None
    member: str = ""
    log: str = ""
    part: int = 1

    @property
    def started(self) -> datetime:
        """When it began, on the clock of its place."""
        return local_moment(self.started_at, self.zone, self.utc_offset_s)

    @property
    def end(self) -> str:
        """What it was fired to: the target cone, else the highest temperature."""
        if self.cone:
            return f"cone {self.cone}"
        top_c = self.target_c if self.target_c is not None else self.peak_c
        return "" if top_c is None else f"{top_c:.0f} °C"

    @property
    def printed_excess_s(self) -> float | None:
        """The excess that planned and actual hours show when each is printed to the minute."""
        if self.excess_s is None or self.duration_s is None or self.planned_s is None:
            return self.excess_s
        return SECONDS_PER_MINUTE * (
            round(self.duration_s / SECONDS_PER_MINUTE) - round(self.planned_s / SECONDS_PER_MINUTE)
        )

    @property
    def cone_reached(self) -> str:
        """The cone it came to as a review says it; in the zero series the two it lies between."""
        if self.reached_number is None:
            return self.reached
        from firing.cones.table import describe_number

        return describe_number(self.reached_number).partition(", nearer")[0]

    @property
    def late(self) -> bool:
        """Whether it ran half an hour over its plan, or a tenth if that is more."""
        if self.excess_s is None or self.planned_s is None:
            return False
        return self.excess_s > max(0.5 * SECONDS_PER_HOUR, 0.1 * self.planned_s)

    def to_dict(self) -> dict[str, Any]:
        """Return the firing as the JSON shows it."""
        # Named, as `super()` is lost to a class that slots make anew.
        return {
            "id": self.id,
            "started": self.started.isoformat(timespec="seconds"),
            "end": self.end,
            "late": self.late,
            "cone_reached": self.cone_reached,
            "printed_excess_s": self.printed_excess_s,
        } | Serialised.to_dict(self)

    def __repr__(self) -> str:
        """Return number, day, plan, end and hours, on one line."""
        ran = "" if self.duration_s is None else f", {format_duration(self.duration_s)}"
        what = self.plan or "no plan"
        return f"<Firing {self.id}: {self.started:%Y-%m-%d %H:%M} {what!r} to {self.end}{ran}>"


def each_once(firings: Iterable[Firing]) -> list[Firing]:
    """Return firings in the order of time; of several logs of one firing only the first.

    It has what the others know of its energy and cost.
    """
    return [_together(group) for group in by_firing(firings)]


def by_firing(firings: Iterable[Firing]) -> list[list[Firing]]:
    """Return the logs of each firing, in the order of time.

    No kiln begins two firings within minutes, so such a pair is one that was logged twice; where
    a kiln is not known, the courses have to be the same as well.
    """
    found: list[list[Firing]] = []
    for one in sorted(firings, key=lambda one: (one.started_at, one.id)):
        group = next(
            (
                group
                for group in reversed(found[-_AT_ONCE:])
                if one.started_at - group[0].started_at <= SAME_FIRING_S and _same(group[0], one)
            ),
            None,
        )
        if group is None:
            found.append([one])
        else:
            group.append(one)
    return found


def _same(first: Firing, other: Firing) -> bool:
    if first.kiln and other.kiln:
        return first.kiln == other.kiln
    courses = list(zip(first.course_c, other.course_c, strict=False))
    return bool(courses) and all(abs(a - b) <= SAME_COURSE_C for a, b in courses)


def _together(group: list[Firing]) -> Firing:
    first, *others = group
    for other in others:
        if first.kwh is None:
            first = replace(first, kwh=other.kwh)
        if first.cost is None:
            first = replace(first, cost=other.cost, currency=other.currency)
        first = replace(first, member=first.member or other.member)
    return first


@dataclass(frozen=True, slots=True)
class Event(Serialised):
    """What was done to a kiln, and when: seconds since 1970, UTC, and the clock's offset [s]."""

    id: int
    kiln: str
    at_s: float
    kind: EventKind
    words: str = ""
    utc_offset_s: int = 0

    @property
    def when(self) -> datetime:
        """The moment on the clock it was written by."""
        return local_moment(self.at_s, "", self.utc_offset_s)

    def to_dict(self) -> dict[str, Any]:
        """Return the event as the JSON shows it."""
        return Serialised.to_dict(self) | {"when": self.when.isoformat(timespec="seconds")}


@dataclass(frozen=True, slots=True)
class Filter:
    """Which firings are meant; what is left out narrows nothing.

    `month` is a month or a year as ``2026-03`` or ``2026``, or a month of any year, ``03``;
    `words` are in the notes, the plan's title or any other name, in any order; with `any_word` one
    of them is enough.
    """

    kiln: str = ""
    plan: str = ""
    purpose: str = ""
    cone: str = ""
    month: str = ""
    member: str = ""
    words: str = ""
    any_word: bool = False
    late: bool = False
    since_s: float | None = None
    until_s: float | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """A firing as it is put in: its log's bytes, and what a person said of it.

    Attributes
    ----------
    log_name : str
        The log's file name.
    body : bytes
        The log, byte for byte.
    part : int
        Which firing of that file, from 1.
    reading : mapping
        How the log is read, by the names of `firing.logs.options.ReadingOptions`.
    channel : str
        The kiln's channel; empty to have it found.
    written_at : float
        When the file was last written: seconds since 1970.
    began_at : float or None
        When a log without clock times began: seconds since 1970.
    kiln, kiln_text : str
        The kiln's name, and its file.
    plan, plan_text : str
        The plan's title, and its file.
    load, load_text : str
        The load file's name, and the file.
    witnesses : tuple of str
        Cones as they were read, such as ``"6=3:00@top"``.
    notes : tuple of str
    photos : tuple of Photo
    kwh, cost, currency, member, matched
        As of `Firing`.
    """

    log_name: str
    body: bytes
    part: int = 1
    reading: Mapping[str, Any] = field(default_factory=dict, hash=False)
    channel: str = ""
    written_at: float = 0.0
    began_at: float | None = None
    kiln: str = ""
    kiln_text: str = ""
    plan: str = ""
    plan_text: str = ""
    load: str = ""
    load_text: str = ""
    witnesses: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    photos: tuple[Photo, ...] = ()
    kwh: float | None = None
    cost: float | None = None
    currency: str = ""
    member: str = ""
    matched: str = ""
