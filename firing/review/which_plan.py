"""Which of many plans a log is a firing of, in which of many kilns, and why.

A program cannot be outrun, and its corners are at its own temperatures.  So the time a log takes
from one temperature to the next is laid beside that of every plan, which costs next to nothing.
Only the few plans that come near are then reviewed; the one that leaves the fewest seconds to
explain, with the least missing from its peak, is the plan.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from firing.errors import FiringError
from firing.review import thresholds as limit
from firing.review.other_program import other_program
from firing.review.resample import ResampledTrace
from firing.review.review import expected, review
from firing.schedule.schedule import Schedule
from firing.schedule.timeline import set_point_over_time
from firing.trace import FloatArray
from firing.units import format_duration, format_temperature

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription
    from firing.logs.reader import Log
    from firing.review.result import Cause, Review


RIVAL = re.compile(r"; (\S.*?) fits nearly as well")
"""Where a match's reason names the plan that it could not tell from the best."""


@dataclass(frozen=True, slots=True)
class PlanFit:
    """How well a log fits a plan.

    Attributes
    ----------
    name : str
        The plan, as it was named.
    schedule : Schedule
    booked_s : float
        What a review had to explain of its time [s]; what the kiln alone explains counts less.
    peak_off_c : float
        The log's highest reading less the plan's highest target [°C].
    refused : str
        Why it is no firing of this plan, as a clause; empty if it may be.
    explain_s : float
        All that a review had to explain, as it says it itself [s].
    """

    name: str
    schedule: Schedule
    booked_s: float
    peak_off_c: float
    refused: str = ""
    explain_s: float = 0.0

    @property
    def to_explain_s(self) -> float:
        """Seconds to explain, with those that the peak counts for."""
        return self.booked_s + _peak_s(self.peak_off_c)

    @property
    def words(self) -> str:
        """How far off it is, in words."""
        peak = "at its peak"
        if abs(self.peak_off_c) >= limit.OFF_TARGET_C:
            way = "above" if self.peak_off_c > 0 else "below"
            off = format_temperature(abs(self.peak_off_c), "C")
            peak = f"{off} {way} its peak"
        return f"leaves {format_duration(self.explain_s)} to explain, {peak}"


@dataclass(frozen=True, slots=True, eq=False)
class PlanMatch:
    """The plan that a log fits best.

    Attributes
    ----------
    fits : tuple of PlanFit
        The plans that came near enough to be reviewed, the best first.
    sure : bool
        Whether no other comes near it.
    review : Review or None
        The log's review by the best plan; None where it fits none.
    why : str
        In one clause.
    """

    fits: tuple[PlanFit, ...]
    sure: bool
    review: Review | None
    why: str

    @property
    def best(self) -> PlanFit | None:
        """The plan, if the log fits one."""
        return self.fits[0] if self.review is not None else None


def _peak_s(off_c: float) -> float:
    """Return the seconds that a peak off its target counts for; one may have been stopped early."""
    below_c = max(0.0, -off_c - limit.PLAN_STOPPED_C)
    at_peak_c = abs(off_c) - below_c
    return limit.PLAN_PEAK_S_PER_C * at_peak_c + limit.PLAN_STOPPED_S_PER_C * below_c


@lru_cache(maxsize=256)
def _plan_course(schedule: Schedule) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return a plan's course, and of each of its stretches whether its program sets the time."""
    trace, segments, _ = set_point_over_time(schedule)
    ends = np.array([segment.end_s for segment in segments])
    by_rate = np.array([segment.drive == "rate" for segment in schedule.segments])
    place = np.minimum(np.searchsorted(ends, trace.time_s, side="left"), ends.size - 1)
    return trace.time_s, trace.channel_c(), by_rate[place]


def _first_above_s(time_s: FloatArray, course_c: FloatArray, levels_c: FloatArray) -> FloatArray:
    """Return when a course first comes to each level."""
    highest_c = np.maximum.accumulate(course_c)
    return np.asarray(time_s[np.minimum(np.searchsorted(highest_c, levels_c), time_s.size - 1)])


def _near_top_s(time_s: FloatArray, course_c: FloatArray) -> float:
    near = np.flatnonzero(course_c >= float(course_c.max()) - limit.OWN_HOLD_C)
    return float(time_s[near[-1]] - time_s[near[0]])


def _held(time_s: FloatArray, course_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a course with its corners at even steps, so that levels are found between them."""
    even_s = np.arange(time_s[0], time_s[-1] + limit.GRID_S, limit.GRID_S)
    return even_s, np.interp(even_s, time_s, course_c)


def _roughly_to_explain_s(time_s: FloatArray, course_c: FloatArray, schedule: Schedule) -> float:
    """Return how far a log's times from level to level are from a plan's, and its peak [s]."""
    plan_s, plan_c, _ = _plan_course(schedule)
    peak_c, plan_peak_c = float(course_c.max()), float(plan_c.max())
    off_s = _peak_s(peak_c - plan_peak_c)
    if abs(peak_c - plan_peak_c) <= limit.UNRELATED_PEAK_C:
        off_s += abs(_near_top_s(time_s, course_c) - _near_top_s(plan_s, plan_c))
    return off_s + _off_on_the_way_s(time_s, course_c, schedule)


def _off_on_the_way_s(time_s: FloatArray, course_c: FloatArray, schedule: Schedule) -> float:
    """Return how far a log's times from level to level on the way up are from a plan's [s]."""
    plan_s, plan_c, by_rate = _plan_course(schedule)
    from_c = max(limit.PLAN_FROM_C, float(course_c[0]) + limit.PLAN_STEP_C)
    highest_c = min(float(course_c.max()), float(plan_c.max()))
    levels_c = np.arange(from_c, highest_c, limit.PLAN_STEP_C)
    if levels_c.size < 2:
        return 0.0
    log_at_s = _first_above_s(*_held(time_s, course_c), levels_c)
    even_s, even_c = _held(plan_s, plan_c)
    plan_at_s = _first_above_s(even_s, even_c, levels_c)
    planned_s = np.diff(plan_at_s)
    more_s = np.minimum(np.diff(log_at_s) - planned_s, planned_s)
    # A kiln may lag, but none outruns its program; and full power takes what it takes.
    weight = np.where(more_s < 0.0, limit.PLAN_OUTRUN, 1.0)
    programmed = np.interp(plan_at_s[1:], plan_s, by_rate.astype(np.float64)) > 0.5
    weight = np.where(programmed, weight, limit.PLAN_FREE_SHARE)
    return float(np.sum(weight * np.abs(more_s)))


def which_plan_so_far(trace: ResampledTrace, plans: Mapping[str, Schedule]) -> str:
    """Return which of many plans a running firing may be of, by its name; empty where none is sure.

    Parameters
    ----------
    trace : ResampledTrace
        The kiln's channel, from before the heating to now.
    plans : mapping of str to Schedule
        The plans by any name.
    """
    time_s, course_c = trace.time_s, trace.temperature_c
    off_s = {
        name: _off_on_the_way_s(time_s, course_c, plan)
        for name, plan in plans.items()
        if not other_program(plan, trace)
    }
    ordered = sorted(off_s, key=lambda name: off_s[name])
    heated_s = float(time_s[int(np.argmax(course_c))] - time_s[0])
    if not ordered or off_s[ordered[0]] > limit.PLAN_SURE_SHARE * heated_s:
        return ""
    near_s = limit.PLAN_CLEAR * off_s[ordered[0]] + limit.PLAN_ROUGH_S
    others = (name for name in ordered[1:] if plans[name].segments != plans[ordered[0]].segments)
    return "" if any(off_s[name] < near_s for name in others) else ordered[0]


def which_plan(
    log: Log,
    plans: Mapping[str, Schedule],
    *,
    channel: int = 0,
    kiln: KilnDescription | None = None,
    liked: Mapping[str, int] | None = None,
    place: str = "",
) -> PlanMatch:
    """Return which of many plans a log is a firing of.

    Parameters
    ----------
    log : Log
        The log.
    plans : mapping of str to Schedule
        The plans by any name.
    channel : int
        The kiln's channel, from 0.
    kiln : KilnDescription, optional
        The kiln, where it is known; the reviews are made with it.
    liked : mapping of str to int, optional
        Of plans that fit nearly alike the one with the least figure is taken.
    place : str
        The log's path, if the log itself has only its name: of two plans that fit as well, the one
        whose name, title or cone stands there is taken.
    """
    whole_c = log.trace.channel_c(channel)
    known = np.isfinite(whole_c)
    time_s, course_c = log.trace.time_s[known], whole_c[known]
    if not plans or time_s.size < 2:
        return PlanMatch((), False, None, "there is no plan to compare with")
    rough = {name: _roughly_to_explain_s(time_s, course_c, plan) for name, plan in plans.items()}
    ordered = sorted(rough, key=lambda name: rough[name])
    least_s = rough[ordered[0]]
    near = [
        name
        for name in ordered[: limit.PLANS_REVIEWED]
        if rough[name] <= limit.PLAN_ROUGH_SHARE * least_s + limit.PLAN_ROUGH_S
    ]
    reviewed: list[tuple[PlanFit, Review]] = []
    refused = ""
    for name in near:
        try:
            found = review(plans[name], log, channel=channel, kiln=kiln)
        except FiringError as error:
            refused = refused or str(error)
            continue
        reviewed.append((_fit(name, found), found))
    reviewed.sort(key=lambda one: (bool(one[0].refused), one[0].to_explain_s))
    if not reviewed:
        return PlanMatch((), False, None, refused)
    if liked:
        reviewed = _liked_first(reviewed, liked)
    fits = tuple(fit for fit, _ in reviewed)
    best = fits[0]
    heated_s = max(float(time_s[int(np.argmax(course_c))] - time_s[0]), 3600.0)
    if best.refused:
        return PlanMatch(fits, False, None, f"no plan fits: {best.refused}")
    if best.to_explain_s > limit.PLAN_NONE_SHARE * heated_s:
        return PlanMatch(fits, False, None, f"no plan fits: {best.name} {best.words}")
    others = [fit for fit in fits[1:] if not fit.refused]
    near_s = limit.PLAN_CLEAR * best.to_explain_s + limit.PLAN_ROUGH_S
    ahead = [fit for fit in others if fit.to_explain_s < near_s]
    said = [fit for fit in (best, *ahead) if _is_named(log, _names(fit), place)]
    if ahead and len(said) == 1:
        fits = (said[0], *(fit for fit in fits if fit is not said[0]))
        found = next(one for fit, one in reviewed if fit is said[0])
        why = f"its name or cone stands with the log; {said[0].words}"
        return PlanMatch(fits, True, found, why)
    why, much = best.words, False
    if ahead:
        why += f"; {ahead[0].name} fits nearly as well, and {ahead[0].words}"
    elif len(plans) == 1:
        why += "; the only plan there is"
    elif much := best.to_explain_s > limit.PLAN_SURE_SHARE * heated_s:
        why += "; it may be of a plan that is not among these"
    return PlanMatch(fits, not (ahead or much), reviewed[0][1], why)


def _liked_first(
    reviewed: list[tuple[PlanFit, Review]], liked: Mapping[str, int]
) -> list[tuple[PlanFit, Review]]:
    """Return the plans, best first, with the most liked of those that tie at the head."""
    best = reviewed[0][0]
    near_s = limit.PLAN_CLEAR * best.to_explain_s + limit.PLAN_ROUGH_S
    tied = [one for one in reviewed if one[0].refused == "" and one[0].to_explain_s < near_s]
    if len(tied) < 2:
        return reviewed
    first = min(tied, key=lambda one: (liked.get(one[0].name, len(liked)), one[0].to_explain_s))
    return [first, *(one for one in reviewed if one is not first)]


def _names(fit: PlanFit) -> tuple[str, ...]:
    """Return by what a log's place may name a plan."""
    cone = fit.schedule.cone
    return fit.name, fit.schedule.title, f"cone {cone}" if cone else ""


def name_the_plan(found: Review, plans: Mapping[str, Schedule]) -> Review:
    """Return a review that is doubted by its plan with the name of one of these that fits."""
    if not (found.plan_doubt or found.refused):
        return found
    match = which_plan(found.log, plans, channel=found.channel, kiln=found.kiln)
    best = match.best
    if best is None or best.schedule == found.schedule or abs(best.peak_off_c) > limit.ONE_CONE_C:
        return found
    words = f'Try "{best.name}": it {best.words}.'
    findings = tuple(
        replace(one, next_step=f"{words} {one.next_step}")
        if one.id in ("plan_doubted", "plan_unrelated")
        else one
        for one in found.findings
    )
    return replace(found, findings=findings)


def _fit(name: str, found: Review) -> PlanFit:
    """Return what a review by one plan leaves to explain."""
    shares = [
        (share.cause, abs(share.seconds))
        for segment in found.segments
        if segment.actual_s is not None  # for what the log never reached its peak counts
        for share in segment.causes
    ]
    booked_s = sum(_weight(cause) * seconds for cause, seconds in shares)
    explain_s = sum(seconds for _, seconds in shares)
    if (
        found.actual_s is not None
        and abs(explain_s - abs(found.excess_s or 0.0)) < limit.EXPLAINED_ONE_WAY_S
    ):
        minutes = round(found.actual_s / 60.0) - round(found.planned_s / 60.0)
        explain_s = abs(60.0 * minutes)
    off_c = found.peak_c - found.schedule.peak_c
    return PlanFit(name, found.schedule, booked_s, off_c, found.refused, explain_s)


def _weight(cause: Cause) -> float:
    by_kiln = ("power_limited", "interruption", "waiting", "late_start")
    return limit.PLAN_KILN_SHARE if cause in by_kiln else 1.0


@dataclass(frozen=True, slots=True)
class KilnMatch:
    """The kiln that a log is of; `name` is empty where nothing decides, and `why` says so."""

    name: str
    why: str


def which_kiln(
    log: Log, kilns: Mapping[str, KilnDescription], found: Review | None = None
) -> KilnMatch:
    """Return which of many kilns a log is of: by a name in it, else by how it cools and climbs.

    Parameters
    ----------
    log : Log
        The log.
    kilns : mapping of str to KilnDescription
        By any name; a name that stands in the log's path or channels decides.
    found : Review, optional
        Its review by its plan: how fast it cooled and climbed is compared with each kiln.
    """
    if not kilns:
        return KilnMatch("", "there is no kiln to compare with")
    named = [name for name, kiln in kilns.items() if _is_named(log, (name, kiln.name))]
    if len(named) == 1:
        return KilnMatch(named[0], "its name stands with the log")
    if len(kilns) == 1:
        return KilnMatch(next(iter(kilns)), "the only kiln there is")
    if found is None:
        return KilnMatch("", f"which of {len(kilns)} kilns it was fired in is open")
    off = {name: _kiln_deviation(found, kiln) for name, kiln in kilns.items()}
    ordered = sorted(off, key=lambda name: off[name][0])
    best, second = ordered[0], ordered[1]
    if off[second][0] - off[best][0] < limit.KILN_CLEAR or not math.isfinite(off[best][0]):
        return KilnMatch("", f"{best} and {second} both fit; name one with --kiln")
    return KilnMatch(best, off[best][1])


def _is_named(log: Log, names: Sequence[str], place: str = "") -> bool:
    """Return whether one of these names stands in the path or the channels of a log."""
    places = [*log.path.parts[-3:], *place.split("/")[-3:], *log.trace.channels]
    said = " ".join(re.findall(r"[^\W_]+", " ".join(places).casefold()))
    return any(
        words and f" {words} " in f" {said} "
        for words in (" ".join(re.findall(r"[^\W_]+", name.casefold())) for name in names)
    )


def _kiln_deviation(found: Review, kiln: KilnDescription) -> tuple[float, str]:
    """Return how far a firing is from what a kiln does, as a ratio's logarithm, and the ground."""
    try:
        course = expected(found.schedule, kiln, None)
    except FiringError:
        return math.inf, ""
    off, ground = 0.0, "nothing in it speaks against that kiln"
    log, model = found.log.trace, course.trace
    cooled = _cooling_s(log.time_s, found.temperature_c, model.time_s, model.channel_c())
    if cooled is not None:
        own_s, kiln_s, from_c, to_c = cooled
        off += abs(math.log(own_s / kiln_s))
        ground = (
            f"it cooled from {from_c:.0f} to {to_c:.0f} °C in {format_duration(own_s)}, "
            f"as that kiln does ({format_duration(kiln_s)})"
        )
    plan_peak, segments = found.schedule.peak_index, found.segments
    if segments and segments[0].start_s is not None:
        peak_s = segments[plan_peak].end_s
        if peak_s is not None:  # none outruns what full power does
            took_s = max(peak_s - segments[0].start_s, 1.0)
            off += max(0.0, math.log(course.heating_s / took_s))
    return off, ground


def _cooling_s(
    time_s: FloatArray, log_c: FloatArray, kiln_s: FloatArray, kiln_c: FloatArray
) -> tuple[float, float, float, float] | None:
    """Return what both take from one temperature down to another, over what both show."""
    known = np.isfinite(log_c)
    time_s, log_c = time_s[known], log_c[known]
    own, model = int(np.argmax(log_c)), int(np.argmax(kiln_c))
    high_c = min(float(log_c[own]), float(kiln_c[model]), limit.KILN_COOLS_FROM_C)
    low_c = max(float(log_c[own:].min()), float(kiln_c[model:].min()), limit.KILN_COOLS_TO_C) + 1.0
    if high_c - low_c < limit.KILN_COOLS_OVER_C:
        return None

    def last_above(times: FloatArray, course_c: FloatArray, level_c: float) -> float:
        return float(times[np.flatnonzero(course_c >= level_c)[-1]])

    own_s = last_above(time_s, log_c, low_c) - last_above(time_s, log_c, high_c)
    expected_s = last_above(kiln_s, kiln_c, low_c) - last_above(kiln_s, kiln_c, high_c)
    return (own_s, expected_s, high_c, low_c) if own_s > 0 and expected_s > 0 else None
