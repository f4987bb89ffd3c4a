"""The table summed up: by kiln, by plan, by month, and what to look at first, with the reason."""

from __future__ import annotations

import os
import shlex
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal, cast

import numpy as np
import numpy.typing as npt

from firing.fleet.row import Status
from firing.fleet.table import FleetTable
from firing.review import thresholds as limit
from firing.review.result import CAUSE_NAMES, Cause
from firing.review.which_plan import RIVAL
from firing.serialise import OMITTED, Serialised, keyed, rounded
from firing.trace import FloatArray
from firing.units import format_duration

if TYPE_CHECKING:
    import pyarrow as pa

# What decides, with its reason; where a review decides the same, its own threshold counts.

RECENT = 10
"""A kiln is judged by so many of its last firings [number; choice]."""
ENOUGH = 4
"""Fewer firings tell no habit from chance [number; choice]."""
MOSTLY = 0.5
"""At this share of firings a thing is a habit [1; choice] …"""
ALWAYS = 0.8
"""… and at this one it is the plan's or the kiln's own [1; choice]."""
WORN = 0.08
"""Power over losses that fell by less is not worth a look: below it, a stretch of ramp at the peak
slows by less than a tenth [share; made firings]."""
RENEWED = 0.10
"""A rise of this much from one firing to the next, that stays, is new elements, not chance: two
logs of one kiln differ by 1 to 3 % [share; made firings]."""
SURE_SE = 3.0
"""A trend counts from so many of its standard errors on [number; choice]."""
RANGE_SE = 1.28
"""Standard errors either way of an 80 % range."""
LISTED = 12
"""So many things to look at are listed, and the rest is counted [number; choice]."""
NAMED = 200
"""So many logs without a review are named [number; choice]."""
DRAWN = 24
"""So many kilns are drawn [number; choice]."""

Ints = npt.NDArray[np.integer[Any]]
Bools = npt.NDArray[np.bool_]
Kind = Literal["worn", "unsure", "plan", "finding", "late", "wearing", "uneven", "logs"]


@dataclass(frozen=True, slots=True)
class Wear(Serialised):
    """How a kiln's power over its losses went, within its plans, since its elements were new.

    `change` is the share by which it went over `firings` of them, with its standard error;
    `out_of_reach` whether the kiln's last firings could not climb at their plan's last rate.
    """

    firings: int
    change: float = field(metadata=rounded(4))
    change_se: float = field(metadata=rounded(4))
    out_of_reach: bool

    @property
    def sure(self) -> bool:
        """Whether it fell, by more than chance and more than a little."""
        return self.change <= -max(WORN, SURE_SE * self.change_se)


@dataclass(frozen=True, slots=True)
class KilnSummary(Serialised):
    """One kiln; figures of lateness and evenness are of its last firings.

    `late` is the share of them that ran late, those of plans that are late in every kiln left out.
    `energy_forecast_kwh` of the energy nobody measured; of `energy_unknown` firings there is none.
    """

    kiln: str
    firings: int
    late: float | None = field(metadata=rounded(3))
    excess_s: float | None = field(metadata=rounded(0))
    cause: Cause | None
    wear: Wear | None
    uneven_cones: float | None = field(metadata=rounded(2))
    uneven_c: float | None = field(metadata=rounded(1))
    cone_off: float | None = field(metadata=rounded(2))
    act: float = field(metadata=rounded(3))
    energy_kwh: float = field(metadata=rounded(1))
    energy_forecast_kwh: float = field(metadata=rounded(1))
    energy_unknown: int
    cost: float | None = field(metadata=rounded(2))
    last_month: str | None
    excess_h: FloatArray = field(metadata=OMITTED, repr=False, hash=False)
    power: FloatArray = field(metadata=OMITTED, repr=False, hash=False)


@dataclass(frozen=True, slots=True)
class PlanSummary(Serialised):
    """One plan: shares of its firings, over all kilns.

    `placed` firings are of a known kiln; of `unsure` ones the log fits `rival` nearly as well.
    """

    plan: str
    firings: int
    kilns: int
    late: float | None = field(metadata=rounded(3))
    late_kilns: int
    excess_s: float | None = field(metadata=rounded(0))
    cause: Cause | None
    unfinished: float = field(metadata=rounded(3))
    peak_missed: float = field(metadata=rounded(3))
    other_program: float = field(metadata=rounded(3))
    placed: int = 0
    unsure: int = 0
    rival: str | None = None

    @property
    def is_late(self) -> bool:
        """Whether lateness is the plan's: a habit of it in most of the kilns that fire it."""
        alone = self.kilns == 0  # nobody knows the kilns
        return (
            self.late is not None
            and self.firings >= ENOUGH
            and self.late >= ALWAYS
            and (alone or self.late_kilns > MOSTLY * self.kilns)
        )


@dataclass(frozen=True, slots=True)
class MonthSummary(Serialised):
    """One kiln in one month; a log without a date has none."""

    month: str | None
    kiln: str | None
    firings: int
    energy_kwh: float = field(metadata=rounded(1))
    cost: float | None = field(metadata=rounded(2))


@dataclass(frozen=True, slots=True, eq=False)
class _Monthly:
    """Sums by month and kiln, one month's kilns after another's."""

    months: tuple[str | None, ...]
    kilns: tuple[str | None, ...]
    firings: Ints
    energy_kwh: FloatArray
    cost: FloatArray
    priced: Ints

    def listed(self, with_cost: bool) -> tuple[MonthSummary, ...]:
        """Return those in which anything was fired."""
        return tuple(
            MonthSummary(
                month=self.months[place // len(self.kilns)],
                kiln=self.kilns[place % len(self.kilns)],
                firings=int(self.firings[place]),
                energy_kwh=float(self.energy_kwh[place]),
                cost=float(self.cost[place]) if with_cost and self.priced[place] else None,
            )
            for place in np.flatnonzero(self.firings).tolist()
        )


@dataclass(frozen=True, slots=True)
class LookFirst(Serialised):
    """One thing to look at: why, and the way to the single review that shows it."""

    kind: Kind
    reason: str
    kiln: str | None = None
    plan: str | None = None
    log: str | None = None
    command: str | None = None


@dataclass(frozen=True, slots=True)
class NotReviewed(Serialised):
    """One log without a review, and why."""

    log: str
    status: Status
    sentence: str | None


@dataclass(frozen=True, eq=False)
class FleetSummary:
    """What a table comes to.

    Attributes
    ----------
    place : str
        Where the table lies.
    counts : dict
        How many logs there are of each status; copies of one log count once.
    copies : int
        Logs left out as their bytes, or their readings, are those of another.
    first : tuple of LookFirst
        What to look at, the most pressing first.
    not_reviewed : tuple of NotReviewed
        The logs without a review; of more than two hundred the first.
    kilns, plans : tuple
        The kilns in the order of what to look at, then by lateness.
    monthly
        Sums by month and kiln; see `months`.
    currencies : tuple of str
        More than one, and costs are not added up.
    """

    place: str
    counts: dict[Status, int]
    copies: int
    first: tuple[LookFirst, ...]
    not_reviewed: tuple[NotReviewed, ...]
    kilns: tuple[KilnSummary, ...]
    plans: tuple[PlanSummary, ...]
    monthly: _Monthly
    currencies: tuple[str, ...]

    @cached_property
    def months(self) -> tuple[MonthSummary, ...]:
        """Energy and cost of every kiln in every month."""
        return self.monthly.listed(len(self.currencies) < 2)

    @property
    def undated(self) -> int:
        """How many reviewed logs have no date."""
        return int(self.monthly.firings[-len(self.monthly.kilns) :].sum())

    @property
    def logs(self) -> int:
        """How many logs there are."""
        return sum(self.counts.values())

    @property
    def needs_action(self) -> bool:
        """Whether there is something to look at."""
        return bool(self.first)

    def __repr__(self) -> str:
        """Return logs, kilns and what to look at, on one line."""
        found = f"{len(self.kilns)} kilns: {len(self.first)} to look at"
        return f"<FleetSummary of {self.logs} logs, {found}>"

    def to_dict(self) -> dict[str, Any]:
        """Return the summary as one JSON document, schema 1."""
        return keyed(
            schema=1,
            kind="fleet",
            table=self.place,
            logs=self.logs,
            by_status={name.replace(" ", "_"): count for name, count in self.counts.items()},
            copies=self.copies,
            look_first=self.first,
            not_reviewed=self.not_reviewed,
            kilns=self.kilns,
            plans=self.plans,
            months=self.months,
            currencies=self.currencies,
        )


class _Columns:
    """The table's columns as arrays; words as whole numbers, −1 for none, with their list."""

    NUMBERS = (
        "planned_s", "excess_s", "peak_c", "planned_peak_c", "cone_number", "planned_cone_number",
        "uneven_cones", "uneven_c", "power_over_loss", "power_over_loss_se", "climb_left_c_per_h",
        "last_rate_c_per_h", "energy_kwh", "cost",
    )  # fmt: skip
    WORDS = (
        "status", "kiln", "plan", "plan_by", "month", "cause", "ended", "currency", "energy_from",
    )  # fmt: skip

    def __init__(self, table: FleetTable) -> None:
        size, filled = table.count(), 0
        self._place: dict[str, dict[str, int]] = {name: {} for name in self.WORDS}
        self.codes: dict[str, Ints] = {name: np.empty(size, np.int32) for name in self.WORDS}
        self.numbers: dict[str, FloatArray] = {name: np.empty(size) for name in self.NUMBERS}
        self.started_s: Ints = np.empty(size, np.int64)
        self.act: Bools = np.empty(size, np.bool_)
        begins, course = np.zeros(size, np.uint64), np.zeros(size, np.uint64)
        readings = np.zeros(size, np.int64)
        # Part by part: what is no longer wanted makes room before more is read.
        names = [
            *self.NUMBERS,
            *self.WORDS,
            "log_sha256",
            "started_at",
            "readings",
            "begins_like",
            "act",
        ]
        for part in table.parts(names):
            here = slice(filled, filled + part.num_rows)
            for name in self.WORDS:
                self.codes[name][here] = self._coded(name, part[name])
            for name in self.NUMBERS:
                self.numbers[name][here] = part[name].to_numpy()
            self.started_s[here] = part["started_at"].cast("int64").fill_null(0).to_numpy()
            self.act[here] = part["act"].fill_null(False).to_numpy()
            begins[here] = _hash_begins(part["log_sha256"])
            course[here] = part["begins_like"].fill_null(0).to_numpy().view(np.uint64)
            readings[here] = part["readings"].fill_null(0).to_numpy()
            filled = here.stop
        self.words = {name: list(place) for name, place in self._place.items()}
        # Of what cannot be read two of a kind are two.
        begins[self.codes["status"] == self.code("status", "unreadable")] = 0
        kept = _without_copies((begins, course), readings, table)
        self.copies = 0 if kept is None else size - int(np.count_nonzero(kept))
        if kept is not None:
            self.codes = {name: values[kept] for name, values in self.codes.items()}
            self.numbers = {name: values[kept] for name, values in self.numbers.items()}
            self.started_s, self.act = self.started_s[kept], self.act[kept]
        self.places = np.arange(size) if kept is None else np.flatnonzero(kept)

    def _coded(self, name: str, column: pa.ChunkedArray) -> Ints:
        """Return a part's words as numbers, after adding those that are new to the list."""
        place, coded = self._place[name], []
        for chunk in column.chunks:
            said = chunk.dictionary.to_pylist()
            numbers = np.array([place.setdefault(w, len(place)) for w in said] + [-1], np.int32)
            coded.append(numbers[chunk.indices.fill_null(-1).to_numpy(False)])
        return np.concatenate(coded) if coded else np.empty(0, np.int32)

    def code(self, name: str, word: str) -> int:
        """Return the number of a word; one that no row has, if none has the word."""
        return self._place[name].get(word, -2)


def _hash_begins(column: pa.ChunkedArray) -> Any:
    """Return the first eight bytes of each hash as a number, 0 for none: enough to find copies."""
    begins = []
    for chunk in column.chunks:
        data = np.frombuffer(chunk.buffers()[1], np.uint64)[::4]
        data = data[chunk.offset : chunk.offset + len(chunk)]
        begins.append(np.where(chunk.is_valid().to_numpy(False), data, 0))
    return np.concatenate(begins) if begins else np.empty(0, np.uint64)


def _without_copies(
    marks: Sequence[npt.NDArray[np.uint64]], readings: Ints, table: FleetTable
) -> Bools | None:
    """Return which rows stand for the logs of one mark; None if all do.

    Of them the longest counts, and the first by path: a shorter one may have been cut off.
    """
    kept, logs = np.ones(marks[0].size, dtype=np.bool_), None
    for begins in marks:
        ordered = np.sort(begins[begins > 0])
        twice = np.unique(ordered[1:][ordered[1:] == ordered[:-1]])
        if not twice.size:
            continue
        paths = table.read(["log"])["log"] if logs is None else logs
        logs, seen = paths, set[int]()
        places = np.flatnonzero(np.isin(begins, twice) & kept).tolist()
        for place in sorted(places, key=lambda at: (-readings[at], str(paths[at]))):
            kept[place] = int(begins[place]) not in seen
            seen.add(int(begins[place]))
    return None if logs is None else kept


def summarise(table: FleetTable) -> FleetSummary:
    """Return what a table comes to."""
    rows = _Columns(table)
    reviewed = rows.codes["status"] == rows.code("status", "reviewed")
    counts = {
        name: int(np.count_nonzero(rows.codes["status"] == place))
        for place, name in enumerate(rows.words["status"])
    }
    excess_s, planned_s = rows.numbers["excess_s"], rows.numbers["planned_s"]
    late = excess_s > np.maximum(limit.LATE_S, limit.LATE_SHARE_OF_PLAN * planned_s)
    plans = _plans(rows, reviewed, late)
    late_plans = [p.plan for p in plans if p.is_late]
    by_plan = np.isin(rows.codes["plan"], [rows.code("plan", name) for name in late_plans])
    kilns, last = _kilns(rows, reviewed, late, by_plan)
    currencies = sorted({c for c in rows.words["currency"] if c is not None})
    first = sorted(_first(rows, kilns, plans, last, by_plan), key=lambda one: one[0])
    listed = _with_ways([one for _, one in first], rows, last, table)
    place = {one.kiln: number for number, one in reversed([*enumerate(listed)]) if one.kiln}
    kilns.sort(key=lambda k: (place.get(k.kiln, len(listed)), -(k.late or 0.0), k.kiln))
    summary = FleetSummary(
        place=table.place,
        counts=counts,  # type: ignore[arg-type]  # the words are the statuses
        copies=rows.copies,
        first=listed,
        not_reviewed=_not_reviewed(rows, reviewed, table),
        kilns=tuple(kilns),
        plans=tuple(sorted(plans, key=lambda p: (-(p.late or 0.0), p.plan))),
        monthly=_months(rows, reviewed),
        currencies=tuple(currencies),
    )
    if len(currencies) < 2:
        return summary
    # Amounts of two currencies make no sum.
    return replace(summary, kilns=tuple(replace(one, cost=None) for one in summary.kilns))


def _groups(codes: Ints, chosen: Bools, *then: npt.NDArray[Any]) -> Iterator[tuple[int, Ints]]:
    """Yield each code with its chosen rows, these in the order of `then`."""
    places = np.flatnonzero(chosen & (codes >= 0))
    if not places.size:
        return
    order = places[np.lexsort((*(one[places] for one in then[::-1]), codes[places]))]
    sorted_codes = codes[order]
    begins = np.flatnonzero(np.diff(sorted_codes, prepend=sorted_codes[0] - 1))
    for begin, end in zip(begins, [*begins[1:], order.size], strict=True):
        yield int(sorted_codes[begin]), order[begin:end]


def _median(values: FloatArray) -> float | None:
    if values.size > 64:
        known = values[np.isfinite(values)]
        return float(np.median(known)) if known.size else None
    few = sorted(value for value in values.tolist() if value == value)  # sooner than numpy
    return 0.5 * (few[len(few) // 2] + few[(len(few) - 1) // 2]) if few else None


def _share(flags: Bools) -> float:
    return float(np.count_nonzero(flags)) / flags.size if flags.size else 0.0


def _usual_cause(rows: _Columns, places: Ints) -> Cause | None:
    codes = rows.codes["cause"][places]
    codes = codes[codes >= 0]
    if not codes.size:
        return None
    # The column holds nothing else; see `row.py`.
    return cast("Cause", rows.words["cause"][int(np.bincount(codes).argmax())])


def _plans(rows: _Columns, reviewed: Bools, late: Bools) -> list[PlanSummary]:
    found: list[PlanSummary] = []
    other = rows.codes["status"] == rows.code("status", "other program")
    program = rows.code("ended", "program")
    numbers, kiln = rows.numbers, rows.codes["kiln"]
    rival = [None if (tied := RIVAL.search(by or "")) is None else tied[1]
             for by in (*rows.words["plan_by"], None)]  # fmt: skip
    for code, places in _groups(rows.codes["plan"], reviewed | other):
        done = places[np.isfinite(numbers["excess_s"][places])]
        own = places[~other[places]]
        kilns = np.unique(kiln[own][kiln[own] >= 0])
        placed = done[kiln[done] >= 0]
        lates = np.bincount(kiln[placed], weights=late[placed])
        of = np.bincount(kiln[placed])
        rivals = [name for by in rows.codes["plan_by"][places] if (name := rival[by]) is not None]
        short_c = numbers["planned_peak_c"][own] - numbers["peak_c"][own]
        found.append(
            PlanSummary(
                plan=rows.words["plan"][code],
                firings=int(places.size),
                kilns=int(kilns.size),
                late=_share(late[done]) if done.size else None,
                late_kilns=int(np.count_nonzero((of > 0) & (lates >= ALWAYS * of))),
                excess_s=_median(numbers["excess_s"][done]),
                cause=_usual_cause(rows, done[late[done]]),
                unfinished=_share(rows.codes["ended"][own] != program),
                peak_missed=_share(short_c > limit.ONE_CONE_C),
                other_program=_share(other[places]),
                placed=int(np.count_nonzero(kiln[own] >= 0)),
                unsure=len(rivals),
                rival=max(sorted(set(rivals)), key=rivals.count) if rivals else None,
            )
        )
    return found


def _kilns(
    rows: _Columns, reviewed: Bools, late: Bools, by_plan: Bools
) -> tuple[list[KilnSummary], dict[str, int]]:
    """Return the kilns, and the row of the last firing of each."""
    found, last = [], {}
    numbers = rows.numbers
    from_, forecast = rows.codes["energy_from"], rows.code("energy_from", "forecast")
    for code, places in _groups(rows.codes["kiln"], reviewed, rows.started_s):
        done = places[np.isfinite(numbers["excess_s"][places]) & ~by_plan[places]][-RECENT:]
        recent = places[-RECENT:]
        cone_off = numbers["cone_number"][recent] - numbers["planned_cone_number"][recent]
        name, cost = rows.words["kiln"][code], numbers["cost"][places]
        kwh = numbers["energy_kwh"][places]
        month = int(rows.codes["month"][places[-1]])
        last[name] = int(places[-1])
        found.append(
            KilnSummary(
                kiln=name,
                firings=int(places.size),
                late=_share(late[done]) if done.size >= ENOUGH else None,
                excess_s=_median(numbers["excess_s"][done]),
                cause=_usual_cause(rows, done[late[done]]),
                wear=_wear(rows, places),
                uneven_cones=_median(numbers["uneven_cones"][recent]),
                uneven_c=_median(numbers["uneven_c"][recent]),
                cone_off=_median(cone_off),
                act=_share(rows.act[recent]),
                energy_kwh=float(np.nansum(kwh)),
                energy_forecast_kwh=float(np.nansum(kwh[from_[places] == forecast])),
                energy_unknown=int(np.count_nonzero(np.isnan(kwh))),
                cost=float(np.nansum(cost)) if np.isfinite(cost).any() else None,
                last_month=rows.words["month"][month] if month >= 0 else None,
                excess_h=numbers["excess_s"][places][-60:] / 3600.0,
                power=numbers["power_over_loss"][places][-60:],
            )
        )
    return found, last


def _wear(rows: _Columns, places: Ints) -> Wear | None:
    """Return the trend of one kiln's power over losses, each plan against itself.

    One plan's figure may stand a few per cent off another's: only the slope is shared.
    """
    value, se = (rows.numbers[name][places] for name in ("power_over_loss", "power_over_loss_se"))
    known = np.isfinite(value) & np.isfinite(se) & (value > 0.0)
    if np.count_nonzero(known) < ENOUGH:
        return None
    at, plan = np.flatnonzero(known), rows.codes["plan"][places][known]
    y = np.log(value[known])
    begin = _since_renewed(y, plan)
    at, y, plan, se = at[begin:], y[begin:], plan[begin:], se[known][begin:]
    if y.size < ENOUGH:
        return None
    weight = 1.0 / np.maximum(se, 1e-3) ** 2
    x, off = at.astype(np.float64), y.copy()
    total = np.bincount(plan, weight)
    x -= np.bincount(plan, weight * x)[plan] / total[plan]
    off -= np.bincount(plan, weight * y)[plan] / total[plan]
    spread = float(np.sum(weight * x * x))
    free = y.size - np.count_nonzero(total) - 1
    if spread <= 0.0 or free < 2:
        return None
    slope = float(np.sum(weight * x * off)) / spread
    left = off - slope * x
    widened = max(1.0, float(np.sum(weight * left * left)) / free)
    length = int(at[-1] - at[0])
    change = float(np.expm1(slope * length))
    change_se = (1.0 + change) * length * (widened / spread) ** 0.5
    climb = rows.numbers["climb_left_c_per_h"][places] < rows.numbers["last_rate_c_per_h"][places]
    reach = bool(np.count_nonzero(climb[-3:]) >= 2)
    return Wear(length + 1, change, change_se, reach)


def _since_renewed(y: FloatArray, plan: Ints) -> int:
    """Return where the last rise begins that only new elements explain: it has to stay."""
    if y.size < 4:
        return 0
    own = y - np.bincount(plan, y)[plan] / np.bincount(plan)[plan]
    before = np.maximum(own[:-3], own[1:-2])
    after = np.minimum(own[2:-1], own[3:])
    risen = np.flatnonzero(after - before > np.log1p(RENEWED))
    return int(risen[-1]) + 2 if risen.size else 0


def _months(rows: _Columns, reviewed: Bools) -> _Monthly:
    """Add up each kiln's months, those without a date last."""
    names = sorted((word, code) for code, word in enumerate(rows.words["month"]) if word)
    rank = np.full(len(rows.words["month"]) + 1, len(names), dtype=np.int64)
    rank[np.array([code for _, code in names], dtype=np.int64)] = np.arange(len(names))
    kilns = len(rows.words["kiln"]) + 1
    key = (rank[rows.codes["month"]] * kilns + rows.codes["kiln"] + 1)[reviewed]
    kwh, cost = (rows.numbers[name][reviewed] for name in ("energy_kwh", "cost"))
    priced = np.isfinite(cost)
    size = (len(names) + 1) * kilns
    return _Monthly(
        months=(*(word for word, _ in names), None),
        kilns=(None, *rows.words["kiln"]),
        firings=np.bincount(key, minlength=size),
        energy_kwh=np.bincount(key, np.nan_to_num(kwh), size).astype(np.float64),
        cost=np.bincount(key[priced], cost[priced], size).astype(np.float64),
        priced=np.bincount(key[priced], minlength=size),
    )


def _first(
    rows: _Columns,
    kilns: Sequence[KilnSummary],
    plans: Sequence[PlanSummary],
    last: dict[str, int],
    by_plan: Bools,
) -> Iterator[tuple[tuple[float, ...], LookFirst]]:
    """Yield what to look at, each with its rank: what hurts ware or people comes before time."""
    for one in kilns:
        worn = one.wear is not None and one.wear.sure
        late = one.late is not None and one.late >= MOSTLY
        if one.wear is not None and worn:
            yield _worn(one, one.wear)
        if one.late is not None and late:
            words = f"{one.kiln} is late in {one.late:.0%} of its last firings{_by(one.cause)}."
            yield (
                (3.0, -(one.excess_s or 0.0)),
                LookFirst("late", f"{words} Its last review says why.", kiln=one.kiln),
            )
        uneven = one.uneven_cones
        if uneven is not None and uneven >= limit.UNEVEN_CONES:
            words = (
                f"{one.kiln} fires unevenly: {uneven:.1f} cones between its hottest and coldest "
                "place. Set witness cones on every shelf."
            )
            yield (4.0, -uneven), LookFirst("uneven", words, kiln=one.kiln)
        # What a worn kiln or a late plan does to one firing more is no news.
        if rows.act[last[one.kiln]] and not (worn or late or by_plan[last[one.kiln]]):
            yield (2.0, -one.act), LookFirst("finding", "", kiln=one.kiln)
    for plan in plans:
        yield from _failing(plan)
    for status, words in (("unreadable", "can't be read"), ("no plan", "fit no plan"),
                          ("failed", "could not be reviewed this time")):  # fmt: skip
        places = np.flatnonzero(rows.codes["status"] == rows.code("status", status))
        if places.size:
            logs = "1 log" if places.size == 1 else f"{places.size} logs"
            yield (5.0, -float(places.size)), LookFirst("logs", f"{logs} {words}", plan=status)


def _by(cause: Cause | None) -> str:
    if cause is None:
        return ""
    return f", most by: {CAUSE_NAMES[cause]}"


def _worn(one: KilnSummary, wear: Wear) -> tuple[tuple[float, ...], LookFirst]:
    low, high = (-wear.change - far * wear.change_se for far in (RANGE_SE, -RANGE_SE))
    words = (
        f"{one.kiln} is wearing: power over losses is down {-wear.change:.0%} "
        f"({low:.0%} to {high:.0%}) over {wear.firings} firings."
    )
    if wear.out_of_reach:
        words += " It no longer climbs at its plan's last rate."
    words += " Have a competent person measure its elements."
    rank = 0.0 if wear.out_of_reach else 2.5
    kind: Kind = "worn" if wear.out_of_reach else "wearing"
    return (rank, wear.change), LookFirst(kind, words, kiln=one.kiln)


def _failing(plan: PlanSummary) -> Iterator[tuple[tuple[float, ...], LookFirst]]:
    """Yield why a plan fails, after what makes that unsure."""
    if plan.rival is not None:
        logs = "1 log fits" if plan.unsure == 1 else f"{plan.unsure} logs fit"
        reason = (
            f"{logs} {plan.plan} and {plan.rival} alike; {plan.plan} is taken, but not sure. "
            "Put the plan's name into the log's name or folder."
        )
        yield (0.5, -float(plan.unsure)), LookFirst("unsure", reason, plan=plan.plan)
    if plan.firings < ENOUGH:
        return
    where = f"{plan.firings} firings"
    if plan.kilns:
        kilns = "1 kiln" if plan.kilns == 1 else f"{plan.kilns} kilns"
        known = "" if plan.placed == plan.firings else f", {plan.placed} of them"
        where += f"{known} in {kilns}"
    if plan.rival is not None:
        where += f", {plan.unsure} of them perhaps {plan.rival}"
    for share, words in (
        (plan.unfinished, "does not run to its end"),
        (plan.peak_missed, "stays a cone or more short of its peak"),
        (plan.other_program, "is not what was fired"),
    ):
        if share >= MOSTLY:
            reason = f"{plan.plan} {words} in {share:.0%} of {where}."
            yield (1.0, -share), LookFirst("plan", reason, plan=plan.plan)
    if plan.is_late:
        assert plan.late is not None
        often = "is always late" if plan.late == 1.0 else f"is late in {plan.late:.0%} of firings"
        middle = "" if plan.excess_s is None else f" by {format_duration(plan.excess_s)}"
        reason = (
            f"{plan.plan} {often}{middle}: {where}{_by(plan.cause)}. "
            "Slow it to what the kilns can do, or allow the time."
        )
        yield (1.5, -(plan.excess_s or 0.0)), LookFirst("plan", reason, plan=plan.plan)


def _with_ways(
    found: Sequence[LookFirst], rows: _Columns, last: dict[str, int], table: FleetTable
) -> tuple[LookFirst, ...]:
    """Return them with the newest log that shows each, and how to review it."""

    def newest(column: str, word: str | None) -> int:
        places = np.flatnonzero(rows.codes[column] == rows.code(column, word or ""))
        return int(places[np.lexsort((places, rows.started_s[places]))][-1])

    by = {"logs": "status", "plan": "plan", "unsure": "plan"}
    chosen = [
        newest(by[one.kind], one.plan) if one.kind in by else last[one.kiln or ""] for one in found
    ]
    columns = ("log", "log_bytes", "sentence", "finding", "plan", "plan_file", "kiln_file")
    details = table.rows_at(rows.places[chosen].tolist(), columns) if chosen else []
    shown = []
    for one, row in zip(found, details, strict=True):
        log, reason, plan = row["log"], one.reason, one.plan
        if one.kind == "finding":
            reason = f"{one.kiln}, its last firing: {row['finding']}"
        elif one.kind == "logs":
            reason, plan = f"{one.reason}. The last: {row['sentence']}.", None
        way = replace(one, reason=reason, plan=plan or row["plan"], log=log)
        # Nothing to review, or a review would ask for the same option again.
        useless = row["log_bytes"] == 0 or (one.kind == "logs" and "; say --" in row["sentence"])
        shown.append(replace(way, command=None if useless else _command(log, row)))
    return tuple(shown)


def _not_reviewed(rows: _Columns, reviewed: Bools, table: FleetTable) -> tuple[NotReviewed, ...]:
    places = rows.places[np.flatnonzero(~reviewed)[:NAMED]].tolist()
    found = table.rows_at(places, ("log", "status", "sentence")) if places else []
    return tuple(NotReviewed(**row) for row in found)


def _command(log: str, row: dict[str, Any]) -> str:
    """Return the command that reviews one log."""
    book, _, number = log.rpartition("#")
    if book and number.isdecimal():
        return shlex.join(["firing", "logbook", "show", number, "--logbook", _near(book)])
    if "://" in log:  # a review reads files
        log = log.rpartition("/")[2]
    plan = row.get("plan_file")
    words = ["firing", "review", _near(plan) if plan else "PLAN", _near(log)]
    if row.get("kiln_file"):
        words += ["--kiln", _near(row["kiln_file"])]
    return shlex.join(words)


def _near(path: str) -> str:
    """Return a path from here, if that is no longer."""
    try:
        here = os.path.relpath(path)
    except ValueError:
        return path
    return path if here.startswith("..") or not os.path.isabs(path) else here
