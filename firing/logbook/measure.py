"""What one firing says of the kiln itself: its power over its losses, and what that leaves at the
peak.

Half-hour by half-hour the heat that the measured course took is a sum of marks: what load, wall and
moving air would take in the kiln as described.  Power, load, losses and the leak's share of them
are the weights that make given and needed heat agree, the wall's own heat being the yardstick.  All
marks but one scale alike with what nobody weighed, so the ratio of power to losses needs neither
load nor meter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal, get_args

import numpy as np

from firing.errors import FiringError
from firing.heat.properties import wall_material
from firing.kiln.description import Fitted, KilnDescription, WallLayer, resistance_factor
from firing.kiln.inverse_model import ChamberCourse, CourseHeat, heat_needed
from firing.kiln.residuals import (
    NORMAL_OVER_MEDIAN,
    ROBUST_SIGMA,
    WINDOW_S,
    WINDOW_SCATTER,
    FiringRecord,
    load_of,
)
from firing.kiln.thermal_network import Network
from firing.review.power_reason import half_hours, record_of
from firing.review.result import HalfHours, Review
from firing.serialise import Serialised
from firing.thermocouple.tolerance import LEVELS_C, exposure
from firing.trace import FloatArray, median
from firing.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from firing.review.result import WitnessVerdict

Output = Literal["logged", "inferred", "none"]
"""Whether the log has the controller's output, shows full power by falling behind, or neither."""

USUAL = KilnDescription(
    name="a usual kiln",
    power_w=9600.0,
    rated_volts=240.0,
    volume_l=180.0,
    shape="round",
    wall=(WallLayer(wall_material("insulating brick 1260"), 0.075),),
)
"""Stands in where a logbook knows no kiln file: a trend needs a yardstick, not the truth."""

# How far the weights are expected from those of the kiln as described, as shares; kiln-fit-choices.
PRIORS = np.array([3.0, 0.35, 0.25, 0.35])
POWER, LOAD, WALL, LEAK = 0, 1, 2, 3
OF_LOSSES = np.array([0.0, 0.0, 1.0, 1.0])
"""How the weights add up to all losses: the wall's mark is taken with air and wall alike."""
COOLING_TOLD = 0.2
"""Losses are known from the cooling up to such a standard error, as a share."""
LOSS_STEP = 0.15
"""So far either way the wall is taken for the mark of its conductivity, in its logarithm."""
LOWEST_C = 100.0
"""Below that it is water and draughts that decide [°C]."""
MOST_ALIKE = 0.35
"""The most that neighbouring half-hours are taken to err alike."""
LEAST_LOGGED, LEAST_INFERRED = 0.004, 0.012
"""Two firings of one kiln differ by as much whatever a log says; made firings."""
INFORMATIVE = 0.05
"""Power over losses is known from so small a standard error on, as a share."""
HOT_C = 150.0
"""Half-hours so near the peak show what the marks leave unexplained there [°C]."""
APPROACH_C = 60.0
"""What is left at the peak is that over the last stretch of so many degrees [°C]."""


_NO_FIGURES = ("output", "hours_above", "offsets", "why_not")
_LARGEST = 1e9
"""No figure of a measure is as large, in any of its units."""


@dataclass(frozen=True, slots=True)
class WitnessOffset(Serialised):
    """What a firing's witness cones say a channel reads too low by [°C], with its range."""

    channel: str
    offset_c: float | None
    low_c: float | None
    high_c: float | None


@dataclass(frozen=True, slots=True)
class Measure(Serialised):
    """One firing in the figures that a kiln's trends are made of.

    Attributes
    ----------
    power_over_loss, power_over_loss_se : float or None
        As a multiple of the kiln's as described, and its standard error as a share, for comparing
        firings of this kiln; None where the log does not tell it.
    least_power_over_loss : float or None
        What the firing needed of it at the least, where it tells no more.
    output : str
        What told it.
    losses, losses_se : float or None
        What walls and air carry off over what the walls take up, as a multiple of the kiln's as
        described, and its error as a share: the cooling's figure, which wear leaves alone.
    leak, leak_se : float or None
        What moving air carries off more than described, as a share of all losses; likewise.
    contents, contents_se : float or None
        What stood in the kiln, as a multiple of the load reckoned with.
    climb_left_c_per_h, climb_per_power_c_per_h : float or None
        How fast the kiln could still climb as it came to its peak, and by how much that rate falls
        with all of the power [°C/h].
    planned_rate_c_per_h, planned_peak_c : float or None
        The program's last rate, None where that asks for full power, and its peak.
    peak_c : float
        The highest reading [°C].
    reached : bool
        Whether it came to the planned peak.
    heating_s : float or None
        From its start until its peak's hold ended [s].
    hours_above : tuple of float
        Hours above 900, 1100 and 1200 °C.
    offsets : tuple of WitnessOffset
        Of the kiln's own channel first.
    why_not : str
        Why power over losses is not known, as a clause; empty where it is.
    """

    power_over_loss: float | None
    power_over_loss_se: float | None
    least_power_over_loss: float | None
    output: Output
    losses: float | None
    losses_se: float | None
    leak: float | None
    leak_se: float | None
    contents: float | None
    contents_se: float | None
    climb_left_c_per_h: float | None
    climb_per_power_c_per_h: float | None
    planned_rate_c_per_h: float | None
    planned_peak_c: float | None
    peak_c: float
    reached: bool
    heating_s: float | None
    hours_above: tuple[float, ...]
    offsets: tuple[WitnessOffset, ...] = ()
    why_not: str = ""

    @property
    def informative(self) -> bool:
        """Whether it tells power over losses."""
        return self.power_over_loss is not None

    @classmethod
    def from_dict(cls, document: dict[str, Any]) -> Measure:
        """Return the measure that `to_dict` made the document of.

        `FiringError` if it is of no measure: the file that it was kept in is damaged.
        """
        try:
            offsets = tuple(WitnessOffset(**each) for each in document["offsets"])
            hours = tuple(document["hours_above"])
            made = cls(**{**document, "offsets": offsets, "hours_above": hours})
            figures = [value for key, value in document.items() if key not in _NO_FIGURES]
            figures += [v for one in offsets for v in (one.offset_c, one.low_c, one.high_c)]
            told = [value for value in figures if value is not None]
            words = (made.why_not, *(one.channel for one in offsets))
            sound = (
                all(abs(value) < _LARGEST for value in (*told, *hours, made.peak_c))
                and all(isinstance(each, str) for each in words)
                and isinstance(made.reached, bool)
                and made.output in get_args(Output)
            )
        except (TypeError, KeyError):
            sound = False
        if not sound:
            raise FiringError(
                "a firing's measured figures in the logbook are damaged; run 'firing logbook "
                "refresh --everything' to derive them anew from its log"
            )
        return made


def measure(
    review: Review, kiln: KilnDescription | None = None, *, planned: bool = True
) -> Measure:
    """Return what a reviewed firing says of its kiln.

    Parameters
    ----------
    review : Review
        The firing.
    kiln : KilnDescription, optional
        The kiln; the review's own, or else a usual one, unless given.  What was learnt of it does
        not count, so that firings before and after a fit compare.
    planned : bool
        Whether the review's plan is the firing's, and not one made up for want of it.

    Returns
    -------
    Measure
        Takes about half as long as the review; compare only those of one kiln file.
    """
    described = kiln or review.kiln or USUAL
    if described.fitted != Fitted():
        described = replace(described, fitted=Fitted())
    matched = planned and not review.refused
    plan = review.schedule
    first_peak = [s.target_c for s in plan.segments].index(plan.peak_c) if matched else 0
    rate = plan.segments[first_peak].rate_c_per_h if matched else None
    found = _Found()
    try:
        record = record_of(review, planned=planned)
        found = _weigh(described, record, rate, plan.peak_c if matched else None)
    except FiringError as error:
        found = _Found(why_not=str(error))
    heating_s = None
    if matched and not review.begins_inside:
        end_s = review.segments[plan.peak_index].end_s
        heating_s = None if end_s is None else end_s - review.lead_in_s
    seen, name = review.heat, review.log.trace.channels[review.channel]
    verdict = None if seen is None else seen.witness
    above = None if seen is None else seen.exposures.get(name)
    above = above or exposure(review.log.trace, review.channel, LEVELS_C)
    return Measure(
        power_over_loss=found.ratio,
        power_over_loss_se=found.ratio_se,
        least_power_over_loss=found.least,
        output=found.output,
        losses=found.losses,
        losses_se=found.losses_se,
        leak=found.leak,
        leak_se=found.leak_se,
        contents=found.contents,
        contents_se=found.contents_se,
        climb_left_c_per_h=found.climb_c_per_h,
        climb_per_power_c_per_h=found.climb_per_power_c_per_h,
        planned_rate_c_per_h=rate,
        planned_peak_c=plan.peak_c if matched else None,
        peak_c=review.peak_c,
        reached=matched and review.peak_c >= plan.peak_c - PEAK_NEAR_C,
        heating_s=heating_s,
        hours_above=above.hours,
        offsets=() if verdict is None else _offsets(verdict),
        why_not=found.why_not,
    )


PEAK_NEAR_C = 8.0
"""A peak counts as reached so near [°C]; as a review's missed peak."""


def _offsets(verdict: WitnessVerdict) -> tuple[WitnessOffset, ...]:
    """Return what can be counted with: no cone that contradicts another, or was asked about."""
    return tuple(
        WitnessOffset(one.channel, one.offset_c, one.low_c, one.high_c)
        for one in (verdict.kiln, *verdict.others)
        if one.agree and not one.questions
    )


@dataclass(slots=True)
class _Found:
    ratio: float | None = None
    ratio_se: float | None = None
    least: float | None = None
    output: Output = "none"
    losses: float | None = None
    losses_se: float | None = None
    leak: float | None = None
    leak_se: float | None = None
    contents: float | None = None
    contents_se: float | None = None
    climb_c_per_h: float | None = None
    climb_per_power_c_per_h: float | None = None
    why_not: str = ""


def _weigh(
    kiln: KilnDescription, record: FiringRecord, rate_c_per_h: float | None, peak_c: float | None
) -> _Found:
    """Find the weights of one firing's marks, and what follows of them."""
    network = Network(kiln, load_of(kiln, record), room_c=record.room_c)
    heat = CourseHeat(network, record.course)
    here = half_hours(kiln, record, heat)
    known = here.known & (here.middle_c > LOWEST_C)
    if np.count_nonzero(known) < PRIORS.size:
        return _Found(why_not="too little of the log shows what the elements did")
    begun_j, ended_j = (
        np.interp(at_s, record.time_s, heat.loss_slope_j) for at_s in (here.start_s, here.end_s)
    )
    wall = (ended_j - begun_j) / here.full_j
    marks = np.stack((here.given, -here.contents, -wall, -here.leak), axis=1)
    weights, covariance = _solved(here, marks, known)
    losses = 1.0 + weights[WALL] + weights[LEAK]
    if not 0.2 < losses < 5.0:
        whose = "the kiln file" if kiln.name != USUAL.name else "a usual kiln, and there is no file"
        return _Found(why_not=f"the log does not fit {whose}; check walls and unit, or write one")
    need = here.excess + here.given - marks[:, LOAD:] @ weights[LOAD:]
    powered = known & here.powered
    found = _Found(output="logged" if record.logged else "inferred" if powered.any() else "none")
    off = known & ~here.powered
    if np.count_nonzero(off) >= PRIORS.size:
        _cool(found, *_solved(here, marks, off))
    of_losses = OF_LOSSES / losses
    heating = need[(here.middle_c > LOWEST_C) & (here.powered | ~here.known)]
    if heating.size:
        found.least = float(heating.max()) / losses
    power = float(weights[POWER])
    if not powered.any() or power <= 0.0:
        found.why_not = "it was never short of power, and its output is not logged"
        return found
    along = np.array([1.0 / power, 0.0, 0.0, 0.0]) - of_losses
    least_se = LEAST_LOGGED if record.logged else LEAST_INFERRED
    ratio_se = math.hypot(math.sqrt(along @ covariance @ along), least_se)
    if ratio_se > INFORMATIVE:
        found.why_not = "too little of it ran at a power that is known"
        return found
    found.ratio, found.ratio_se = power / losses, ratio_se
    climb = _climb(heat, record, here, marks, weights, rate_c_per_h, peak_c)
    if climb is not None:
        found.climb_c_per_h, found.climb_per_power_c_per_h = climb
    return found


def _cool(found: _Found, weights: FloatArray, covariance: FloatArray) -> None:
    """Add what the cooling says by itself: heat that nobody gave needs no word on power."""
    losses = 1.0 + float(weights[WALL] + weights[LEAK])
    losses_se = math.sqrt(OF_LOSSES @ covariance @ OF_LOSSES) / losses
    if losses <= 0.0 or losses_se > COOLING_TOLD:
        return
    found.losses, found.losses_se = losses, math.hypot(losses_se, LEAST_INFERRED)
    found.leak, found.leak_se = float(weights[LEAK]), math.sqrt(covariance[LEAK, LEAK])
    found.contents = 1.0 + float(weights[LOAD])
    found.contents_se = math.sqrt(covariance[LOAD, LOAD])


def _solved(here: HalfHours, marks: FloatArray, known: Any) -> tuple[FloatArray, FloatArray]:
    """Return the marks' weights and their covariance, by robust least squares with priors."""
    from scipy.linalg import lapack  # slow to import

    span = ((here.end_s - here.start_s)[known]) / WINDOW_S
    scatter = np.sqrt(WINDOW_SCATTER**2 / span + here.doubt[known] ** 2)
    x, y = marks[known] / scatter[:, None], (here.excess + here.given)[known] / scatter
    prior = np.diag(PRIORS**-2.0)
    from_prior = prior @ np.array([1.0, 0.0, 0.0, 0.0])
    square, widened = np.ones_like(scatter), np.ones_like(scatter)
    # A relay's output, seen once a minute, is rough; the cooling is not.
    groups = [np.flatnonzero(here.powered[known] == on) for on in (True, False)]
    groups = [group for group in groups if group.size]
    for _ in range(ROUNDS):
        weighed = x.T * square
        information = weighed @ x
        _, found, _ = lapack.dposv(information + prior, weighed @ y + from_prior)
        off = y - x @ found
        size = np.abs(off)
        for group in groups:
            widened[group] = max(1.0, NORMAL_OVER_MEDIAN * median(size[group]))
        square = 1.0 / (widened**2 * np.sqrt(1.0 + (off / (ROBUST_SIGMA * widened)) ** 2))
    # What a model leaves out lasts for hours, and then counts once.
    off = off / widened
    alike = float(off[1:] @ off[:-1]) / max(float(off @ off), 1e-12)
    alike = min(max(alike, 0.0), MOST_ALIKE)
    information *= (1.0 - alike) / (1.0 + alike)
    return found, np.linalg.inv(information + prior)


ROUNDS = 6


def _climb(
    heat: CourseHeat,
    record: FiringRecord,
    here: HalfHours,
    marks: FloatArray,
    weights: FloatArray,
    rate_c_per_h: float | None,
    peak_c: float | None,
) -> tuple[float, float] | None:
    """Return how fast it could still climb to its peak, and that rate's slope in the power.

    The last stretch is asked at two rates: what heat each would take is nearly straight between.
    """
    top_c = float(record.chamber_c.max())
    peak_c = top_c if peak_c is None or abs(peak_c - top_c) < PEAK_NEAR_C else peak_c
    begin = int(np.argmax(record.chamber_c >= top_c - APPROACH_C))
    heated = np.flatnonzero(here.start_s <= record.time_s[int(np.argmax(record.chamber_c))])
    if begin < 2 or not heated.size:
        return None
    place = int(heated[-1])
    while place > 0 and here.middle_c[place] < here.middle_c[heated].max() - APPROACH_C:
        place -= 1
    available_w = heat.network.available_w
    rates = [0.6 * (rate_c_per_h or USUAL_RATE), 1.4 * (rate_c_per_h or USUAL_RATE)]
    courses = []
    for rate in rates:
        rise_s = (peak_c - record.chamber_c[begin]) / rate * SECONDS_PER_HOUR
        steps = max(4, math.ceil(rise_s / STEP_S))
        courses.append(
            ChamberCourse(
                np.linspace(record.time_s[begin], record.time_s[begin] + rise_s, steps + 1),
                np.linspace(record.chamber_c[begin], peak_c, steps + 1),
            )
        )
    needs = []
    for course, (contents_j, wall_j) in zip(courses, heat.onwards(begin, courses), strict=True):
        needed = heat_needed(heat.network, course, contents_j=contents_j, wall_j=wall_j)
        last = max(1, (course.time_s.size - 1) // 4)
        span_s = float(course.time_s[-1] - course.time_s[-1 - last])
        full_w = available_w / resistance_factor(float(needed.wire_c[-1]))
        share = (needed.heat_j[-1] - needed.heat_j[-1 - last]) / span_s / full_w
        inside = (contents_j[-1] - contents_j[-1 - last]) / span_s / full_w
        needs.append(
            share
            + weights[LOAD] * inside
            - marks[place, WALL] * weights[WALL]
            - marks[place, LEAK] * weights[LEAK]
        )
    slope = (needs[1] - needs[0]) / (rates[1] - rates[0])
    if slope <= 0.0:
        return None
    power = float(weights[POWER])
    # What the marks leave unexplained so hot is there at any rate.
    arrives_s = record.time_s[int(np.argmax(record.chamber_c >= top_c - PEAK_NEAR_C))]
    hot = here.known & here.powered & (here.middle_c > top_c - HOT_C) & (here.end_s <= arrives_s)
    off = power * here.given - (here.excess + here.given - marks[:, LOAD:] @ weights[LOAD:])
    beside = median(off[hot]) if np.count_nonzero(hot) >= 2 else 0.0
    left = float(rates[0] + (power - beside - needs[0]) / slope)
    climbed = _climbed_at_the_top(record, peak_c)
    if rate_c_per_h is not None and climbed > AS_PLANNED * rate_c_per_h:
        climbed = max(climbed, rate_c_per_h)
    return max(left, climbed), float(power / slope)


AS_PLANNED = 0.97
"""A climb within 3 % of the planned rate, by readings in whole degrees, is the planned one."""


def _climbed_at_the_top(record: FiringRecord, peak_c: float) -> float:
    """Return the rate that the kiln did keep up to its peak [°C/h]: it could climb no slower."""
    from_c, to_c = peak_c - APPROACH_C / 2.0, peak_c - PEAK_NEAR_C
    if record.chamber_c.max() < to_c:
        return 0.0
    first, last = (int(np.argmax(record.chamber_c >= at_c)) for at_c in (from_c, to_c))
    if last - first < 2:
        return 0.0
    hours = record.time_s[first : last + 1] / SECONDS_PER_HOUR
    return float(np.polyfit(hours, record.chamber_c[first : last + 1], 1)[0])


USUAL_RATE = 100.0
STEP_S = 300.0
