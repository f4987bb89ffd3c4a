"""From a fault of fired ware to the program: what can cause it, where in a plan, what to change.

The faults and their causes are a table (``data/faults.toml``).  No line is more certain than its
source: published, common practice, or not known.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from firing.cones.equivalence import cone_reached
from firing.cones.table import cone_number, describe_number, parse_cone
from firing.errors import FiringError
from firing.forecast.forecast import forecast
from firing.forecast.result import Forecast
from firing.schedule.schedule import Schedule, Segment
from firing.schedule.timeline import set_point_over_time
from firing.serialise import Serialised, keyed
from firing.sources import load_sources
from firing.units import (
    SECONDS_PER_HOUR,
    SECONDS_PER_MINUTE,
    format_duration,
    format_rate,
    format_temperature,
)
from firing.ware.drying import DRYING_C
from firing.ware.face import AFTER_PROGRAM, COOL_C, with_natural_cooling
from firing.ware.load import Load
from firing.ware.practice import BURN_OUT_C, BURN_OUT_C_PER_H, CANDLE_S, candle_s

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription

Certainty = Literal["published", "practice", "unknown"]
Look = Literal[
    "candling",
    "early rate",
    "rise to 600",
    "bound water rate",
    "burn-out",
    "peak hold",
    "peak",
    "quartz cooling",
    "cristobalite cooling",
]

# Where what is changed comes from, which may be less sure than the cause.
_CHANGE_SOURCES: dict[Look, str] = {
    "candling": "soak-practice",
    "early rate": "ware-rates-practice",
    "rise to 600": "ware-rates-practice",
    "bound water rate": "ware-rates-practice",
    "burn-out": "burnout-slow-practice",
    "peak hold": "pinhole-bisque-practice",
    "peak": "cone-model",
    "quartz cooling": "dunting-practice",
    "cristobalite cooling": "dunting-practice",
}

# What practice asks of each window [°C, °C/h]; sources as in the table of faults.
_EARLY_C, _EARLY_C_PER_H = (20.0, 120.0), 50.0  # ware-rates-practice, thick ware
_RISE_C, _RISE_C_PER_H = (120.0, 600.0), 50.0  # ware-rates-practice, thick ware
_STEAM_C, _STEAM_C_PER_H = (500.0, 600.0), 50.0
_QUARTZ_C, _QUARTZ_C_PER_H = (500.0, 650.0), 50.0  # dunting-practice
_CRISTOBALITE_C, _CRISTOBALITE_C_PER_H = (200.0, 290.0), 50.0  # dunting-practice
_PEAK_HOLD_S = 15 * SECONDS_PER_MINUTE  # pinhole-bisque-practice: 10 to 30 minutes
_CANDLE_AT_C = 90.0
_HALF_A_CONE = 0.5
_MOST_MOVED_C = 80.0
_SLACK = 1e-6
_REACHES_900_C = 700.0


@dataclass(frozen=True, slots=True)
class FaultCause(Serialised):
    """One thing that can cause a fault.

    Attributes
    ----------
    words : str
        It, in a sentence.
    in_schedule : bool
        Whether a schedule can do it.
    certainty : {"published", "practice", "unknown"}
        How sure that is: as sure as its source.
    source : str
        Id of the bibliography; empty if none is known.
    segments : tuple of int
        Which segments of the plan it concerns, from 1; one more than there are is the natural
        cooling.  Empty without a plan, or where the plan has no part in it.
    plan : str
        What this plan does there; empty likewise.
    suspect : bool
        Whether the plan is quicker, shorter or hotter there than practice has it.
    """

    words: str
    in_schedule: bool
    certainty: Certainty
    source: str
    segments: tuple[int, ...] = ()
    plan: str = ""
    suspect: bool = False


@dataclass(frozen=True, eq=False)
class Guide:
    """From a fault to the program.

    Attributes
    ----------
    fault, what : str
        The fault and what it looks like.
    else_first : bool
        Whether causes outside the schedule are the likelier ones, and stand first.
    causes : tuple of FaultCause
        The likelier first.
    schedule, changed : Schedule or None
        The plan, and as it should be changed; None without a plan, or if nothing is to change.
    changes : tuple of str
        What was changed, one sentence each.
    forecast : Forecast or None
        Of the changed plan, with the ware's check if a load was given.
    longer_s : float
        How much longer it takes from closing to opening [s].
    concerns_plan : bool
        Whether a firing for the plan's purpose can cause the fault at all.
    """

    fault: str
    what: str
    else_first: bool
    causes: tuple[FaultCause, ...]
    schedule: Schedule | None = None
    changed: Schedule | None = None
    changes: tuple[str, ...] = ()
    forecast: Forecast | None = None
    longer_s: float = 0.0
    concerns_plan: bool = False

    def __repr__(self) -> str:
        """Return the fault, its causes and the changes, on one line."""
        plan = "" if self.schedule is None else f", {len(self.changes)} changes to the plan"
        return f"<Guide to {self.fault}: {len(self.causes)} causes{plan}>"

    @property
    def needs_action(self) -> bool:
        """Whether there is a plan to change."""
        return self.changed is not None

    def to_dict(self) -> dict[str, Any]:
        """Return the guide as one JSON document, schema 1."""
        course = self.forecast
        return keyed(
            schema=1,
            kind="guide",
            fault=self.fault,
            what=self.what,
            else_first=self.else_first,
            causes=self.causes,
            schedule=self.schedule,
            changed=self.changed,
            changes=self.changes,
            concerns_plan=self.concerns_plan,
            longer_s=self.longer_s,
            safe=None if course is None or course.ware is None else course.ware.safe,
            breaches=[] if course is None else course.breaches,
            cones=None if course is None else course.cones,
        )


@cache
def _table() -> dict[str, Any]:
    text = (Path(__file__).parent.parent / "data" / "faults.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def fault_names() -> dict[str, str]:
    """Return the faults that are known, with what each looks like."""
    return {entry["name"]: entry["what"] for entry in _table().values()}


def fault_named(text: str) -> Mapping[str, Any]:
    """Return a fault's table by one of the trade's words for it."""
    wanted = " ".join(text.lower().replace("-", " ").split())
    known = {
        " ".join(name.replace("-", " ").split()): entry
        for entry in _table().values()
        for name in (entry["name"], *entry["also"])
    }
    if wanted in known:
        found: Mapping[str, Any] = known[wanted]
        return found
    close = get_close_matches(wanted, known, n=1, cutoff=0.6)
    hint = f'did you mean "{known[close[0]]["name"]}"? ' if close else ""
    raise FiringError(
        f'"{text[:60]}" is no fault the guide knows; {hint}write one of: {", ".join(fault_names())}'
    )


def certainty_of(source: str) -> Certainty:
    """Return how sure a line may be: as sure as its source."""
    known = load_sources().get(source)
    if known is not None and known.kind in ("standard", "published"):
        return "published"
    if known is not None and known.kind == "common practice":
        return "practice"
    return "unknown"


def guide(
    fault: str,
    schedule: Schedule | None = None,
    *,
    kiln: KilnDescription | None = None,
    load: Load | None = None,
    cone: str | None = None,
) -> Guide:
    """Return what can cause a fault, which segment of a plan it concerns, and the changed plan.

    `cone` is the one wanted, for glaze that is under- or over-fired.  Refused if the fault is not
    known, or the plan cannot be forecast.
    """
    table = fault_named(fault)
    causes = [
        FaultCause(
            entry["words"],
            "look" in entry,
            certainty_of(entry.get("source", "")),
            entry.get("source", ""),
        )
        for entry in table["cause"]
    ]
    told = Guide(table["name"], table["what"], table["else_first"], tuple(causes), schedule)
    if schedule is None:
        return told
    before = forecast(schedule, kiln=kiln, load=load)
    plan = _Plan(schedule, before, load, None if cone is None else parse_cone(cone), table["name"])
    changed, looked = schedule, False
    changes: list[str] = []
    applied: set[str] = set()
    for number, entry in enumerate(table["cause"]):
        if "look" not in entry or schedule.purpose not in (*entry["purposes"], "other"):
            continue
        seen = _LOOKS[entry["look"]](plan)
        if seen is None:
            continue
        looked = True
        causes[number] = replace(
            causes[number], segments=seen.segments, plan=seen.words, suspect=seen.suspect
        )
        if seen.suspect and seen.change is not None and entry["look"] not in applied:
            applied.add(entry["look"])
            after = seen.change(changed)
            if after != changed:
                changed = after
                source = _CHANGE_SOURCES[entry["look"]]
                changes.append(
                    f"{seen.changed} ({_CERTAINTY_WORDS[certainty_of(source)]}) [{source}]."
                )
    told = replace(told, causes=tuple(causes), concerns_plan=looked)
    if changed == schedule:
        return told
    changed = replace(changed, notes=_with_changes(schedule.notes, told.fault, changes))
    course = forecast(changed, kiln=kiln, load=load)
    return replace(
        told,
        changed=changed,
        changes=tuple(changes),
        forecast=course,
        longer_s=course.total_s - before.total_s,
    )


def _with_changes(notes: str, fault: str, changes: list[str]) -> str:
    """Return a plan's notes with what was changed: its file's comments speak of the plan before."""
    told = " ".join(
        (f"Changed against {fault}:", *changes, "Comments at the segments are of the plan before.")
    )
    return f"{notes}\n\n{told}" if notes else told


_CERTAINTY_WORDS: dict[Certainty, str] = {
    "published": "published",
    "practice": "common practice",
    "unknown": "not known for sure",
}


def certainty_words(cause: FaultCause) -> str:
    """Return how sure a cause is, in words."""
    return _CERTAINTY_WORDS[cause.certainty]


@dataclass(frozen=True, eq=False)
class _Plan:
    schedule: Schedule
    course: Forecast
    load: Load | None
    cone: str | None
    fault: str


@dataclass(frozen=True, eq=False)
class _Seen:
    """What a plan does in one place, and how it would be changed there."""

    segments: tuple[int, ...]
    words: str
    suspect: bool
    changed: str = ""
    change: Callable[[Schedule], Schedule] | None = None


def _passing(schedule: Schedule, low_c: float, high_c: float, *, up: bool) -> list[int]:
    """Return the segments, from 1, that pass through a window."""
    whole = schedule if up else with_natural_cooling(schedule)
    found = []
    for index, segment in enumerate(whole.segments):
        from_c, to_c = whole.from_c(index), segment.target_c
        first, last = min(from_c, to_c), max(from_c, to_c)
        if (to_c > from_c) == up and last > low_c + _SLACK and first < high_c - _SLACK:
            found.append(index + 1)
    return found


def _fastest_c_per_h(plan: _Plan, low_c: float, high_c: float, *, up: bool) -> float:
    """Return the fastest that a plan goes through a window, over 20 °C or more [°C/h]."""
    time_s, temperature_c = plan.course.trace.time_s, plan.course.trace.channel_c()
    peak = int(np.argmax(temperature_c))
    part = slice(0, peak + 1) if up else slice(peak, None)
    sign = 1.0 if up else -1.0
    at_c = np.maximum.accumulate(sign * temperature_c[part])
    # A window begins no colder than the plan does.
    low, high = max(low_c, float(temperature_c.min())), min(high_c, float(temperature_c.max()))
    edges = np.linspace(low, high, max(2, int((high - low) / 20.0) + 1))
    times = np.interp(np.sort(sign * edges), at_c, time_s[part])
    taken_s = np.maximum(np.diff(times), _SLACK)
    return float(np.max(np.diff(edges) / taken_s)) * SECONDS_PER_HOUR


def _too_fast(
    plan: _Plan, window_c: tuple[float, float], most_c_per_h: float, name: str, *, up: bool
) -> _Seen | None:
    low_c, high_c = window_c
    unit = plan.schedule.unit
    segments = _passing(plan.schedule, low_c, high_c, up=up)
    if not segments:
        return None
    fastest = _fastest_c_per_h(plan, low_c, high_c, up=up)
    suspect = fastest > most_c_per_h * 1.02
    first, last = (low_c, high_c) if up else (high_c, low_c)
    window = f"from {format_temperature(first, unit)} to {format_temperature(last, unit)}"
    asks = f"practice asks for {format_rate(most_c_per_h, unit)} of thick or doubtful ware"
    verb = "rise" if up else "cool"
    words = (
        f"{_doing(plan.schedule, segments, verb)} at up to {format_rate(fastest, unit)} {window}; "
        + (asks if suspect else "that is no quicker than practice has it")
    )
    return _Seen(
        tuple(segments),
        words,
        suspect,
        f"At most {format_rate(most_c_per_h, unit)} {window}",
        lambda schedule: slowed(schedule, window_c, most_c_per_h, name, up=up),
    )


def _doing(schedule: Schedule, segments: list[int], verb: str) -> str:
    """Return which segments do something: ``Segment 2 rises``, ``Segments 2 to 3 rise``."""
    count = len(schedule.segments)
    own = [number for number in segments if number <= count]
    words = ""
    if own:
        words = f"Segment {own[0]}" if len(own) == 1 else f"Segments {own[0]} to {own[-1]}"
    if len(own) < len(segments):
        words = f"{words} and the natural cooling" if words else "The natural cooling"
    return f"{words} {verb}{'' if len(segments) > 1 else 's'}"


def _candling(plan: _Plan) -> _Seen | None:
    schedule = plan.schedule
    low_c, high_c = DRYING_C
    if schedule.start_c > low_c or schedule.peak_c <= high_c:
        return None
    needed_s, rule = CANDLE_S, "6 h, or 1 h per 6 mm"
    if plan.load is not None and plan.load.has_bound_water:
        needed_s = max(CANDLE_S, candle_s(plan.load)[0])
    trace, _, _ = set_point_over_time(schedule)
    temperature_c = trace.channel_c()
    inside = (temperature_c[1:] >= low_c) & (temperature_c[:-1] <= high_c)
    rising = np.diff(temperature_c) >= 0.0
    spent_s = float(np.sum(np.diff(trace.time_s)[inside & rising]))
    # Whole ramps that only begin or end in the window count by their part in it.
    spent_s -= _outside_s(trace.time_s, temperature_c, low_c, high_c)
    suspect = spent_s < needed_s - 60.0
    segments = _passing(schedule, low_c, high_c, up=True)
    return _Seen(
        tuple(segments),
        f"{_doing(schedule, segments, 'give')} {format_duration(spent_s)} between "
        f"{format_temperature(low_c, schedule.unit)} and "
        f"{format_temperature(high_c, schedule.unit)}; practice gives {rule} to thick, damp or "
        "doubtful ware",
        suspect,
        f"Candle at {format_temperature(_CANDLE_AT_C, schedule.unit)} for "
        f"{format_duration(needed_s)}",
        lambda changed: held(changed, _CANDLE_AT_C, needed_s, "Candle"),
    )


def _outside_s(time_s: Any, temperature_c: Any, low_c: float, high_c: float) -> float:
    """Return the part of straight rises through a window's edges that lies outside it [s]."""
    outside = 0.0
    for begin, end, first, last in zip(
        time_s[:-1], time_s[1:], temperature_c[:-1], temperature_c[1:], strict=True
    ):
        if last > first and last >= low_c and first <= high_c:
            below = max(low_c - first, 0.0) + max(last - high_c, 0.0)
            outside += (end - begin) * below / (last - first)
    return float(outside)


def _burn_out(plan: _Plan) -> _Seen | None:
    if plan.schedule.peak_c < _REACHES_900_C:
        return None
    window = (BURN_OUT_C[0], min(BURN_OUT_C[1], plan.schedule.peak_c))
    return _too_fast(plan, window, BURN_OUT_C_PER_H, "Burn out the carbon", up=True)


def _peak_hold(plan: _Plan) -> _Seen | None:
    schedule = plan.schedule
    index = schedule.peak_index
    held_s, unit = schedule.segments[index].hold_s, schedule.unit
    suspect = held_s < _PEAK_HOLD_S - 1.0
    return _Seen(
        (index + 1,),
        f"Segment {index + 1} holds {format_duration(held_s)} at "
        f"{format_temperature(schedule.peak_c, unit)}; practice holds 10 to 30 min",
        suspect,
        f"Hold the peak for {format_duration(_PEAK_HOLD_S)}, lower by what that adds",
        lambda changed: _held_at_same_cone(changed, _PEAK_HOLD_S),
    )


def _peak(plan: _Plan) -> _Seen | None:
    schedule, unit = plan.schedule, plan.schedule.unit
    number = plan.course.cones.reached_number
    index = schedule.peak_index
    hotter = plan.fault == "under-fired glaze"
    wanted = None if plan.cone is None else cone_number(plan.cone)
    words = (
        f"Segment {index + 1} ends at {format_temperature(schedule.peak_c, unit)}, and the plan "
        f"comes to cone {describe_number(number)}"
    )
    if number is None:
        return _Seen((index + 1,), words, False)
    if wanted is None:
        wanted = number + (_HALF_A_CONE if hotter else -_HALF_A_CONE)
        reason = f"Half a cone {'more' if hotter else 'less'}, to be judged by witness cones"
        suspect = True
    else:
        reason = f"To cone {plan.cone}"
        suspect = number < wanted - 0.05 if hotter else number > wanted + 0.05
        words += f"; target cone {plan.cone}"
    moved = _moved_to(schedule, wanted) if suspect else schedule
    by_c = moved.peak_c - schedule.peak_c
    degrees = abs(by_c) * (1.8 if unit == "F" else 1.0)
    return _Seen(
        (index + 1,),
        words,
        suspect and abs(by_c) >= 0.5,
        f"{reason}: a peak {degrees:.0f} °{unit} {'higher' if by_c > 0 else 'lower'}",
        lambda changed: _with_peak(changed, changed.peak_c + by_c),
    )


_LOOKS: dict[Look, Callable[[_Plan], _Seen | None]] = {
    "candling": _candling,
    "early rate": lambda plan: _too_fast(plan, _EARLY_C, _EARLY_C_PER_H, "Candle", up=True),
    "rise to 600": lambda plan: _too_fast(plan, _RISE_C, _RISE_C_PER_H, "Rise", up=True),
    "bound water rate": lambda plan: _too_fast(
        plan, _STEAM_C, _STEAM_C_PER_H, "Let the bound water out", up=True
    ),
    "burn-out": _burn_out,
    "peak hold": _peak_hold,
    "peak": _peak,
    "quartz cooling": lambda plan: _too_fast(
        plan, _QUARTZ_C, _QUARTZ_C_PER_H, "Through quartz inversion", up=False
    ),
    "cristobalite cooling": lambda plan: _too_fast(
        plan, _CRISTOBALITE_C, _CRISTOBALITE_C_PER_H, "Past the cristobalite", up=False
    ),
}


def slowed(
    schedule: Schedule, window_c: tuple[float, float], most_c_per_h: float, name: str, *, up: bool
) -> Schedule:
    """Return a schedule that goes through a window no faster than a rate, the rest as it was."""
    whole = schedule if up else with_natural_cooling(schedule)
    low_c, high_c = window_c
    found: list[Segment] = []
    for index, segment in enumerate(whole.segments):
        from_c, to_c = whole.from_c(index), segment.target_c
        first, last = (low_c, high_c) if up else (high_c, low_c)
        sign = 1.0 if to_c > from_c else -1.0
        begins = max(sign * from_c, sign * first)
        ends = min(sign * to_c, sign * last)
        rate = segment.rate_c_per_h
        if (to_c > from_c) != up or ends <= begins + _SLACK:
            found.append(segment)
            continue
        if rate is not None and rate <= most_c_per_h * (1.0 + _SLACK):
            found.append(segment)
            continue
        if begins > sign * from_c + _SLACK:
            name_ = "Cool by itself" if segment.name == AFTER_PROGRAM else segment.name
            before = replace(segment, target_c=sign * begins, hold_s=0.0, action="", name=name_)
            found.append(before)
        inside = Segment(sign * ends, most_c_per_h, name=name)
        if ends >= sign * to_c - _SLACK:
            found.append(replace(inside, hold_s=segment.hold_s, action=segment.action))
        else:
            found += [inside, segment]
    # What cools by itself after the program is no segment of it.
    if len(whole.segments) > len(schedule.segments) and found[-1].target_c == COOL_C:
        last_one = found[-1]
        if last_one.drive == "off":
            found.pop()
    return replace(schedule, segments=tuple(found))


def held(schedule: Schedule, at_c: float, hold_s: float, name: str) -> Schedule:
    """Return a schedule that holds on its way up for at least so long at a temperature."""
    low_c, high_c = DRYING_C
    for index, segment in enumerate(schedule.segments):
        if low_c <= segment.target_c <= high_c and segment.hold_s > 0.0:
            longer = replace(segment, hold_s=max(segment.hold_s, hold_s))
            segments = list(schedule.segments)
            segments[index] = longer
            return replace(schedule, segments=tuple(segments))
    for index, segment in enumerate(schedule.segments):
        if schedule.from_c(index) < at_c < segment.target_c:
            stop = replace(segment, target_c=at_c, hold_s=hold_s, name=name, action="")
            segments = list(schedule.segments)
            segments.insert(index, stop)
            return replace(schedule, segments=tuple(segments))
    return schedule


def _number(schedule: Schedule) -> float | None:
    trace, _, _ = set_point_over_time(with_natural_cooling(schedule))
    return cone_reached(trace.time_s, trace.channel_c()).reached_number


def _with_peak(schedule: Schedule, peak_c: float) -> Schedule:
    """Return a schedule with another peak; nothing else is changed."""
    index = schedule.peak_index
    segments = list(schedule.segments)
    if peak_c <= schedule.from_c(index):
        return schedule
    segments[index] = replace(segments[index], target_c=peak_c)
    return replace(schedule, segments=tuple(segments))


def _moved_to(schedule: Schedule, number: float) -> Schedule:
    """Return a schedule with the peak, to a whole degree, that comes nearest to a cone number."""
    at_c = schedule.peak_c
    low_c, high_c = at_c - _MOST_MOVED_C, at_c + _MOST_MOVED_C
    low_c = max(low_c, schedule.from_c(schedule.peak_index) + 1.0)
    for _ in range(12):
        middle_c = 0.5 * (low_c + high_c)
        reached = _number(_with_peak(schedule, middle_c))
        if reached is None or reached < number:
            low_c = middle_c
        else:
            high_c = middle_c
    return _with_peak(schedule, float(round(0.5 * (low_c + high_c))))


def _held_at_same_cone(schedule: Schedule, hold_s: float) -> Schedule:
    """Return a schedule that holds its peak, so much lower that it comes to the same cone."""
    number = _number(schedule)
    index = schedule.peak_index
    segments = list(schedule.segments)
    segments[index] = replace(segments[index], hold_s=max(segments[index].hold_s, hold_s))
    longer = replace(schedule, segments=tuple(segments))
    return longer if number is None else _moved_to(longer, number)
