"""One log reviewed to its row: bytes, plan and kiln in, figures out, whatever the bytes are.

A log that cannot be read, or that the review fails at, is a row with a sentence.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass, field, fields, is_dataclass, replace
from datetime import UTC, date
from itertools import product
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

import numpy as np

from firing.errors import FiringError
from firing.fleet.row import Row
from firing.kiln.tariff import cost
from firing.logbook.keeping import energy_by_output
from firing.logbook.measure import measure
from firing.logs.options import ReadingOptions
from firing.logs.reader import Log, pick_channel, read_bytes
from firing.review import thresholds as limit
from firing.review.result import CAUSE_NAMES
from firing.review.review import review
from firing.review.which_plan import which_kiln, which_plan
from firing.version import code_version

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription
    from firing.kiln.tariff import Tariff
    from firing.review.result import Review
    from firing.schedule.schedule import Schedule

Item = TypeVar("Item")


@dataclass(frozen=True, eq=False)
class Studio:
    """What logs are set against, the same for all of them.

    Attributes
    ----------
    plans, kilns : mapping
        By the names of their files.
    plan_files, kiln_files : mapping of str to str
        Where each lies.
    tariff : Tariff or None
        Prices, for the cost.
    options : ReadingOptions
        How logs are read.
    channel : str or None
        The kiln's channel, if it is not to be found.
    bases : dict
        The hashes that `basis` has made so far.
    several : frozenset of str
        Of a part: which of ``plan`` and ``kiln`` the whole has more than one of.
    """

    plans: Mapping[str, Schedule] = field(default_factory=dict)
    kilns: Mapping[str, KilnDescription] = field(default_factory=dict)
    plan_files: Mapping[str, str] = field(default_factory=dict)
    kiln_files: Mapping[str, str] = field(default_factory=dict)
    tariff: Tariff | None = None
    options: ReadingOptions = field(default_factory=ReadingOptions)
    channel: str | None = None
    bases: dict[tuple[str, str], str] = field(default_factory=dict, repr=False)
    several: frozenset[str] = frozenset()

    def basis(self, plan: str = "", kiln: str = "") -> str:
        """Return the hash of all that a row rests on besides its log; unnamed, any may be meant."""
        if (plan, kiln) not in self.bases:
            plans = {plan: self.plans[plan]} if plan else self.plans
            kilns = {kiln: self.kilns[kiln]} if kiln else self.kilns
            told = (code_version(), plans, kilns, self.tariff, self.options, self.channel)
            words = repr(_whole(told))
            self.bases[plan, kiln] = hashlib.sha256(words.encode()).hexdigest()[:16]
        return self.bases[plan, kiln]

    def only(self, named: Iterable[Named]) -> Studio:
        """Return the part that a few logs need; all of it if one of them names no plan or kiln."""
        plans, kilns = {one.plan for one in named}, {one.kiln for one in named}
        return replace(
            self,
            plans=_part(self.plans, plans),
            kilns=_part(self.kilns, kilns),
            plan_files=_part(self.plan_files, plans),
            kiln_files=_part(self.kiln_files, kilns),
            bases={pair: self.bases[pair] for pair in product(plans, kilns) if pair in self.bases},
            several=self.several
            | {what for what in ("plan", "kiln") if len(getattr(self, f"{what}s")) > 1},
        )

    def by(self, what: str) -> str:
        """Return how a plan or kiln that was named with a log was found."""
        several = what in self.several or len(getattr(self, f"{what}s")) > 1
        return "its path" if several else "the only one given"


def _whole(value: Any) -> Any:
    """Return a value with all that it holds as plain values: its repr may be a summary."""
    if is_dataclass(value):
        return type(value).__name__, *(_whole(getattr(value, one.name)) for one in fields(value))
    if isinstance(value, Mapping):
        return sorted((repr(key), _whole(inner)) for key, inner in value.items())
    if isinstance(value, Set):
        return sorted(map(repr, value))
    if isinstance(value, tuple | list):
        return [_whole(inner) for inner in value]
    return value.tolist() if isinstance(value, np.ndarray) else value


class Named(Protocol):
    """Whatever has the names of a plan and a kiln."""

    @property
    def plan(self) -> str:
        """The plan's."""

    @property
    def kiln(self) -> str:
        """The kiln's."""


def _part(whole: Mapping[str, Item], names: Set[str]) -> Mapping[str, Item]:
    return whole if "" in names else {n: whole[n] for n in names if n in whole}


def review_bytes(data: bytes, log: str, studio: Studio, plan: str = "", kiln: str = "") -> Row:
    """Return one log's row, whatever the bytes are.

    Parameters
    ----------
    data : bytes
        The log's file.
    log : str
        Its path or address.
    studio : Studio
        The plans and kilns there are.
    plan, kiln : str
        The plan and kiln it is of, where its path names them; else they are found by its course.
    """
    known: dict[str, Any] = {
        "log": log,
        "log_sha256": hashlib.sha256(data).digest(),
        "log_bytes": len(data),
        "basis": studio.basis(plan, kiln),
        **_named("kiln", kiln, studio.by("kiln"), studio.kiln_files),
        **_named("plan", plan, studio.by("plan"), studio.plan_files),
    }
    try:
        read = read_bytes(data, log.rpartition("/")[2], studio.options)
        known |= _of_log(read, log)
        return _reviewed(read, studio, plan, kiln, known)
    except FiringError as error:
        return Row(**known, status="unreadable", sentence=_one_line(str(error)))
    except MemoryError:
        return Row(**known, status="failed", sentence="its review needs more memory than it may")
    except Exception as error:
        words = f"a mistake of the program, not of the log ({type(error).__name__}: {error})"
        return Row(**known, status="failed", sentence=_one_line(words))


def _named(what: str, name: str, by: str, where: Mapping[str, str]) -> dict[str, Any]:
    if not name:
        return {}
    return {what: name, f"{what}_by": by, f"{what}_file": where.get(name)}


def _one_line(words: str) -> str:
    return " ".join(words.split())[:1000]


_DATE = re.compile(r"(?<!\d)(20\d\d)[-_.]?([01]\d)[-_.]?([0-3]\d)(?!\d)")


def _of_log(read: Log, log: str) -> dict[str, Any]:
    """Return what the log itself says."""
    started, month, dated_by = read.trace.started, None, None
    if started is not None:
        month, dated_by = f"{started:%Y-%m}", "log"
    else:
        for found in _DATE.finditer(log.rpartition("/")[2]):
            try:
                month, dated_by = f"{date(*map(int, found.groups())):%Y-%m}", "name"
            except ValueError:
                continue
    return {
        "started_at": None if started is None else started.astimezone(UTC).replace(microsecond=0),
        "month": month,
        "dated_by": dated_by,
        "readings": read.used,
        "interval_s": read.interval_s,
    }


_BEGIN_RISE_C, _BEGIN_READINGS = 50.0, 60
"""So far and so long a log has to go on for its beginning to be no other firing's [°C, number]."""


def _begins_like(read: Log, channel: int) -> int | None:
    """Return a number for the start of a log and its first readings, None where they tell nothing.

    A log packed, cut short, or with other marks between its columns begins as the firing's other
    log does.
    """
    read_c = read.trace.channel_c(channel)
    read_c = read_c[np.isfinite(read_c)]
    if read.trace.started is None or not read_c.size:
        return None
    risen = np.flatnonzero(read_c > read_c[0] + _BEGIN_RISE_C)
    size = max(int(risen[0]) + 1, _BEGIN_READINGS) if risen.size else read_c.size + 1
    if size > read_c.size:
        return None
    tenths = np.rint(read_c[:size] * 10.0).astype("<i4")
    told = f"{read.trace.started.astimezone(UTC):%Y-%m-%dT%H:%M:%S}".encode() + tenths.tobytes()
    return int.from_bytes(hashlib.sha256(told).digest()[:8], "big", signed=True)


def _reviewed(read: Log, studio: Studio, plan: str, kiln: str, known: dict[str, Any]) -> Row:
    channel, result = pick_channel(read, studio.channel), None
    known |= {"begins_like": _begins_like(read, channel)}
    if not plan:
        match = which_plan(read, studio.plans, channel=channel, place=known["log"])
        if match.best is None:
            return Row(**known, status="no plan", sentence=_one_line(match.why))
        plan, result = match.best.name, match.review
        by = match.why if match.sure else f"uncertain: {match.why}"
        known |= _named("plan", plan, _one_line(by), studio.plan_files)
    if not kiln:
        result = result or review(studio.plans[plan], read, channel=channel)
        found = which_kiln(read, studio.kilns, result)
        kiln = found.name
        known |= _named("kiln", kiln, _one_line(found.why), studio.kiln_files)
    if kiln or result is None:
        result = review(studio.plans[plan], read, channel=channel, kiln=studio.kilns[kiln])
    return Row(**known, **_figures(result, studio.tariff))


def _figures(result: Review, tariff: Tariff | None) -> dict[str, Any]:
    """Return what a review has found, by column."""
    heat = result.heat
    uneven = None if heat is None else heat.unevenness
    cooling = result.cooling
    pressing = [f for f in result.findings if f.severity in ("act", "check")]
    seconds = {share.cause: share.seconds for share in result.causes}
    complete = result.actual_s is not None
    causes = {f"{name}_s": seconds.get(name, 0.0) if complete else None for name in CAUSE_NAMES}
    return {
        "status": "other program" if result.refused else "reviewed",
        "sentence": _one_line(result.refused) or None,
        "gaps": len(result.gaps),
        "planned_s": result.planned_s,
        "forecast_s": result.forecast_s,
        "actual_s": result.actual_s,
        "excess_s": result.excess_s,
        "ended": None if result.refused else result.ended,
        "cause": result.causes[0].cause if result.causes else None,
        **causes,
        "peak_c": result.peak_c,
        "planned_peak_c": result.schedule.peak_c,
        "cone": result.cones.reached_as_printed,
        "cone_number": result.cones.reached_number,
        "planned_cone_number": result.cones_planned.reached_number,
        "uneven_c": None if uneven is None else uneven.last_hour_c,
        "uneven_cones": None if uneven is None else uneven.cones,
        "cooling_s": None if cooling is None else cooling.actual_s,
        "cooling_forecast_s": None if cooling is None else cooling.forecast_s,
        "power_reason": None if result.shortfall is None else result.shortfall.reason,
        "act": result.needs_action,
        "finding": _one_line(pressing[0].message) if pressing else None,
        "findings": tuple(f.id for f in pressing),
        **(_wear(result) if result.kiln is not None else {}),
        **_energy(result, tariff),
    }


def _wear(result: Review) -> dict[str, Any]:
    """Return what the firing says of its kiln itself."""
    found = measure(result)
    return {
        "power_over_loss": found.power_over_loss,
        "power_over_loss_se": found.power_over_loss_se,
        "losses": found.losses,
        "losses_se": found.losses_se,
        "climb_left_c_per_h": found.climb_left_c_per_h,
        "climb_per_power_c_per_h": found.climb_per_power_c_per_h,
        "last_rate_c_per_h": found.planned_rate_c_per_h,
    }


def _ran_through(result: Review) -> bool:
    """Return whether a firing took its plan from end to end, without a longer interruption."""
    out_s = sum(share.seconds for share in result.causes if share.cause == "interruption")
    return result.actual_s is not None and result.ended == "program" and out_s < limit.LATE_S


def _energy(result: Review, tariff: Tariff | None) -> dict[str, Any]:
    """Return energy and cost: by the output if it is logged, else as the forecast has them.

    A forecast is of the whole plan, so it speaks for no firing that was broken off or interrupted.
    """
    kiln, duty, trace = result.kiln, result.log.trace.duty, result.log.trace
    if kiln is None or result.forecast.kiln is None or result.refused:
        return {}
    course, energy_from = result.forecast.kiln.course, "forecast"
    given = None
    if duty is not None and np.isfinite(duty).mean() > 0.5:
        given = energy_by_output(trace, kiln)
    if given is not None:
        course, energy_from = given, "output"
    elif not _ran_through(result):
        return {}
    if course.kwh <= 0.0:
        return {}
    priced = None
    if tariff is not None and trace.started is not None:
        priced = cost(course, trace.started, tariff)
    return {
        "energy_kwh": course.kwh,
        "energy_from": energy_from,
        "cost": None if priced is None else priced.amount,
        "currency": None if priced is None else priced.currency,
    }
