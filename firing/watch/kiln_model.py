"""The kiln model of a running firing: led along, refitted every quarter of an hour, asked ahead.

What a refit has changed is told only where it is worth a sentence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from firing.errors import FiringError
from firing.forecast.opening import UNLOAD_C
from firing.forecast.ranges import COOLING_KNOWN
from firing.kiln.controller_model import WAIT_BAND_C, Follower, Precision, SegmentRun, run_segment
from firing.kiln.description import Fitted, KilnDescription
from firing.kiln.simulation import JOULES_PER_KWH
from firing.kiln.thermal_network import CHAMBER, Network
from firing.review.position import Position
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.units import TemperatureUnit, format_duration, format_temperature
from firing.ware.load import Load
from firing.watch.cooling import as_it_cools, cooling_pace, room_of
from firing.watch.events import Severity, WatchEvent
from firing.watch.history import History, course_on_grid
from firing.watch.predictor import ClimbLimit, Predictor
from firing.watch.refit import (
    RefitAnswer,
    RefitJob,
    RefitResult,
    RefitWorker,
    result_before_any_refit,
    run_refit,
)
from firing.watch.state import AS_EXPECTED, AT_ITS_WORST, KilnFigures, RemainingCourse
from firing.watch.state_estimator import (
    SHARE_OF_BOTH,
    KilnStateEstimator,
    duty_after_program,
    estimator_on_side,
)

ARRIVED_C = 0.5


@dataclass(frozen=True, eq=False)
class SimulatedRemainder:
    """What is still to come, by the kiln model; times count from now [s].

    `program_s` is to the end of the program, or to where the kiln stalls, at `stalls_c`.  `ramps`
    are their begins and ends, and whether each comes after the present one.
    """

    time_s: FloatArray
    temperature_c: FloatArray
    supplied_j: float
    program_s: float
    ramps: tuple[tuple[float, float, bool], ...]
    segment_ends_s: dict[int, float]
    stalls_c: float | None

    def stretched(
        self, slower_now: float, slower_later: float, cooling: tuple[float, float]
    ) -> RemainingCourse:
        """Return it as a watch tells it.

        `slower_now` and `slower_later` are how many times longer heating takes than this, in the
        present ramp and those after it; `cooling` the shortest and longest natural cooling as
        multiples of this.
        """
        bends = [0.0]
        warped = [0.0]
        for begin_s, end_s, later in self.ramps:
            slower = slower_later if later else slower_now
            for moment_s, factor in ((begin_s, 1.0), (end_s, slower)):
                if moment_s > bends[-1]:
                    warped.append(warped[-1] + factor * (moment_s - bends[-1]))
                    bends.append(moment_s)
        last_s = max(float(self.time_s[-1]), bends[-1] + 1.0)
        warped.append(warped[-1] + last_s - bends[-1])
        bends.append(last_s)

        def stretched_s(moment_s: float) -> float:
            return float(np.interp(moment_s, bends, warped))

        program_s, unload_s = stretched_s(self.program_s), stretched_s(float(self.time_s[-1]))
        low, high = cooling
        cooling_s = unload_s - program_s
        return RemainingCourse(
            *course_on_grid(np.interp(self.time_s, bends, warped), self.temperature_c),
            program_s,
            unload_s,
            program_s + low * cooling_s,
            program_s + high * cooling_s,
            {index: stretched_s(end_s) for index, end_s in self.segment_ends_s.items()},
        )


def simulate_remaining(
    network: Network, schedule: Schedule, position: Position, now_s: float, *, unload_c: float
) -> SimulatedRemainder:
    """Simulate the rest of a firing, down to where it can be unloaded.

    The network, the kiln as it is now, is led on; the controller's clock waits when the kiln lags.
    """
    follower = Follower(network, waits=True, precision=Precision())
    now_c = follower.chamber_c
    ends_s: dict[int, float] = {}
    ramps: list[tuple[float, float, bool]] = []
    stalls_c: float | None = None
    first, set_point_c = 0, now_c
    if position.segment is not None:
        first = position.segment
        target_c = schedule.segments[first].target_c
        set_point_c = _set_point_c(position, target_c, now_c)
        if position.phase == "hold":
            left_s = position.hold_left_s(now_s, schedule.segments[first].hold_s)
            if left_s > 0.0:
                follower.hold(target_c, left_s)
            ends_s[first] = follower.now_s
        if position.phase in ("hold", "done"):
            first, set_point_c = first + 1, target_c
    if position.phase == "done":
        first = len(schedule.segments)
    for index in range(first, len(schedule.segments)):
        run = run_segment(follower, schedule, index, set_point_c, last_c=unload_c)
        target_c = schedule.segments[index].target_c
        if target_c > set_point_c:
            ramps.append((run.start_s, run.ramp_end_s, _is_later(run, position)))
        set_point_c = target_c
        if not run.finished:
            stalls_c = follower.chamber_c
            break
        ends_s[index] = run.end_s
    program_s = follower.now_s
    if stalls_c is None and follower.chamber_c > unload_c + ARRIVED_C:
        follower.until_crossing(unload_c, None)
    moments = follower.moments
    return SimulatedRemainder(
        np.array([moment.time_s for moment in moments]),
        np.array([moment.state.temperature_c[CHAMBER] for moment in moments]),
        moments[-1].state.supplied_j - moments[0].state.supplied_j,
        program_s,
        tuple(ramps),
        ends_s,
        stalls_c,
    )


def _set_point_c(position: Position, target_c: float, now_c: float) -> float:
    """Return where the controller's ramp is: a clock that waits is never far ahead of the kiln.

    Nor is a kiln far above the ramp that heats it: where it seems so, the ramp began sooner.
    """
    if position.set_point_c is None:
        return now_c
    if target_c >= now_c:
        return min(max(position.set_point_c, now_c), now_c + WAIT_BAND_C)
    return max(position.set_point_c, now_c - WAIT_BAND_C)


def _is_later(run: SegmentRun, position: Position) -> bool:
    return position.segment is None or run.index > position.segment


PROGRAM_MATTERS_S = 600.0
COOLING_MATTERS_S, COOLING_MATTERS_SHARE = 1800.0, 0.10
"""A change of the program's end, and of the time to unload, of less is not told of; once it cools
by itself neither is one of less than this share of the time left [s, s, -]."""


@dataclass(frozen=True, eq=False)
class KilnChange:
    """What a refit has changed: the rest of the firing by the figures of before, and by these.

    `unload_s` is how long it is until unloading, by both; the program is `over`, or not.
    """

    figures: KilnFigures
    found: RefitResult
    before: SimulatedRemainder | None
    after: SimulatedRemainder | None
    unload_s: tuple[float, float]
    over: bool = False

    def event(self, now_s: float, unit: TemperatureUnit) -> WatchEvent | None:
        """Return what is to be told of it; None if it hardly matters."""
        difference = self._difference(unit)
        if difference is None:
            return None
        message = f"{self._what()}: {difference}"
        assert self.after is not None
        severity: Severity = "note" if self.after.stalls_c is None else "act"
        return WatchEvent("refit", severity, "told", now_s, message)

    def _what(self) -> str:
        now = self.figures
        if not now.learnt:
            return "the kiln did more than it had shown, so its model is the kiln file's again"
        values = {"power": now.power, "loss": now.loss, "capacity": now.capacity}
        off = {"power": self.found.power_se, "loss": self.found.loss_se}
        parts = []
        for name in ("loss",) if self.over else now.learnt:
            error = f" ± {100.0 * off[name]:.0f} %" if name in off else ""
            parts.append(f"{name} {100.0 * values[name]:.0f} %{error}")
        shares = ", ".join(parts) + " of what the kiln file describes"
        course = "cooling" if self.over else "firing"
        words = f"the kiln model was refitted to this {course} ({shares})"
        if (now.loss if self.over else now.power) < FAR_BELOW:
            words += "; check which kiln file you gave this watch"
        return words

    def _difference(self, unit: TemperatureUnit) -> str | None:
        before, after = self.before, self.after
        if before is None or after is None:
            return None
        if after.stalls_c is not None:
            if before.stalls_c is not None:
                return None
            return (
                f"it does not get beyond {format_temperature(after.stalls_c, unit)}, so the "
                "program does not end by itself"
            )
        if before.stalls_c is not None:
            return f"it does end the program, in {format_duration(after.program_s)}"
        if abs(after.program_s - before.program_s) >= PROGRAM_MATTERS_S:
            return (
                f"the rest of the program takes {format_duration(after.program_s)} instead of "
                f"{format_duration(before.program_s)}"
            )
        before_s, after_s = self.unload_s
        if self.moves(before_s):
            return (
                f"it can be unloaded in {format_duration(after_s)} instead of "
                f"{format_duration(before_s)}"
            )
        return None

    def moves(self, before_s: float) -> bool:
        """Tell whether the time to unload is another than one of before, so that it matters."""
        after_s = self.unload_s[1]
        least_s = COOLING_MATTERS_SHARE * after_s if self.over else 0.0
        return abs(after_s - before_s) >= max(least_s, COOLING_MATTERS_S)


REFIT_EVERY_S = 900.0
FAR_BELOW = 0.6
"""A kiln with less of its file's power, or losses, may be another's; common practice, no source
[-]."""
WORN_SINCE, DID_ERROR = 0.17, 0.04
"""What a kiln may lack of its power since its last fit, as long as this firing has not shown it at
full power: the scatter of a half normal.  Elements that lost 20 %, on a supply short of 4 % of its
volts, are at the end of the range.  What this firing took already it has, give or take the second
share, reckoned from readings; common practice, no source [-, -]."""
COLD_C = 130.0
"""A kiln that has cooled below this teaches nothing more [°C]."""


def likely_lack(scatter: float, most: float, likely: float = 0.9) -> float:
    """Return what a kiln lacks no more than, so `likely`: half normal, and not more than `most`."""
    normal = NormalDist()
    below = 2.0 * normal.cdf(max(most, 0.0) / scatter) - 1.0
    return scatter * normal.inv_cdf(0.5 + 0.5 * likely * below)


@dataclass(frozen=True, slots=True)
class EnergyEstimate:
    """Energy from the supply so far, and for the whole program; None where the model has no answer.

    `stalls_c` is where the kiln gets no further [°C]; None if it ends the program.
    """

    spent_kwh: float | None
    total_kwh: float | None
    stalls_c: float | None


class KilnModel:
    """What the kiln model says of a running firing; a `Predictor`.

    The fallback is asked where the model has no answer; it is needed where there is a program.
    `cooling` is the forecast's range of the natural cooling; it holds until this firing has shown
    what the kiln loses.
    """

    def __init__(
        self,
        kiln: KilnDescription,
        load: Load | None = None,
        schedule: Schedule | None = None,
        fallback: Predictor | None = None,
        *,
        unload_c: float = UNLOAD_C,
        cooling: tuple[float, float] = COOLING_KNOWN,
    ) -> None:
        self._file = kiln
        self._cooling = cooling
        self._load, self._schedule, self._fallback = load, schedule, fallback
        self._unload_c = unload_c
        self._known = result_before_any_refit(kiln)
        self._refitted_s: float | None = None
        self._windows = 0
        self._did = 0.0
        self._due_s: float | None = None
        self._worker = RefitWorker()
        self._failure_told = False
        self._live = True
        self._spent_j = 0.0
        self._spent_is_final = False
        self._told_unload_s: float | None = None
        self._use_figures(kiln.fitted, {})

    def _use_figures(self, fitted: Fitted, estimators: dict[int, KilnStateEstimator]) -> None:
        """Take a kiln's figures, and that kiln as far as it was led along the course already."""
        self._kiln = replace(self._file, fitted=fitted)
        self._estimators = estimators
        self._course: tuple[FloatArray, FloatArray, FloatArray] | None = None
        self._rests: dict[int, SimulatedRemainder] = {}
        self._asked: tuple[float, float, Position] | None = None

    # What is known

    @property
    def figures(self) -> KilnFigures:
        """What the forecast goes by now."""
        now = self._kiln.fitted
        return KilnFigures(now.power, now.loss, now.capacity, self._known.learnt, self._refitted_s)

    @property
    def did(self) -> float:
        """What this firing took at the most, over half an hour, of the file's power when new."""
        return self._did

    def begin(self, live: bool) -> None:
        """Begin: readings come as the clock goes, or from a log that has time to wait."""
        self._live = live

    def close(self) -> None:
        """End a refit under way."""
        self._worker.close()

    # The state so far

    def update(self, history: History, position: Position | None, now_s: float) -> EnergyEstimate:
        """Take in what the kiln has done so far, and return the energy that goes with it."""
        self._update_course(history, position)
        now_c = history.now_c()
        try:
            assert self._course is not None
            estimator = self._estimator(AS_EXPECTED)
            spent_j = estimator.now(self._course[0], self._course[2], now_s, now_c)[1]
        except FiringError:
            return EnergyEstimate(None, None, None)
        spent_j = self._spent_so_far(spent_j, _over_s(position) is not None)
        spent_kwh = spent_j / JOULES_PER_KWH
        if self._schedule is None or position is None:
            return EnergyEstimate(spent_kwh, None, None)
        try:
            ahead = self.simulate_ahead(position, now_s, now_c)
        except FiringError:
            return EnergyEstimate(spent_kwh, None, None)
        if ahead.stalls_c is not None:
            return EnergyEstimate(spent_kwh, None, ahead.stalls_c)
        return EnergyEstimate(spent_kwh, (spent_j + ahead.supplied_j) / JOULES_PER_KWH, None)

    def _spent_so_far(self, spent_j: float, over: bool) -> float:
        """Return the energy so far: it falls by no reading, and stays once the program is over."""
        if not (over and self._spent_is_final):
            self._spent_j = max(self._spent_j, spent_j)
        self._spent_is_final = over
        return self._spent_j

    def _update_course(self, history: History, position: Position | None) -> None:
        time_s, temperature_c = history.trace()
        duty = duty_after_program(time_s, history.duty(), _over_s(position))
        self._course = time_s, temperature_c, duty
        self._rests, self._asked = {}, None

    def _estimator(self, side: int) -> KilnStateEstimator:
        assert self._course is not None
        if side not in self._estimators:
            self._estimators[side] = estimator_on_side(
                self._kiln, self._load, self._schedule, self._known.errors, side
            )
        estimator = self._estimators[side]
        estimator.follow(*self._course)
        return estimator

    def _left_at_worst(self) -> float:
        """Return what a kiln on its worst side has of that side's power: elements wear.

        It has what this firing took, and all once the firing has shown its power.
        """
        if "power" in self._known.learnt:
            return 1.0
        power_se, _ = self._known.errors
        did = self._did / self._kiln.fitted.power
        left = 1.0 - likely_lack(math.hypot(power_se, WORN_SINCE), 1.0 - (1.0 - DID_ERROR) * did)
        return min(left / (1.0 - SHARE_OF_BOTH * power_se), 1.0)

    # The rest

    def simulate_ahead(
        self, position: Position, now_s: float, now_c: float, side: int = AS_EXPECTED
    ) -> SimulatedRemainder:
        """Return the rest as the model has it, after `update`.

        `FiringError` where it has no answer.
        """
        assert self._schedule is not None
        assert self._course is not None
        if self._asked != (now_s, now_c, position):
            self._rests, self._asked = {}, (now_s, now_c, position)
        if side not in self._rests:
            network, _ = self._estimator(side).now(self._course[0], self._course[2], now_s, now_c)
            if side == AT_ITS_WORST:
                left = self._left_at_worst()
                network.available_w *= left
                network.now.full_w *= left
            self._rests[side] = simulate_remaining(
                network, self._schedule, position, now_s, unload_c=self._unload_c
            )
        return self._rests[side]

    def remaining(
        self,
        position: Position,
        now_s: float,
        temperature_c: float,
        *,
        slower_now: float = 1.0,
        slower_later: float = 1.0,
        climb: ClimbLimit | None = None,
        side: int = AS_EXPECTED,
    ) -> RemainingCourse:
        """Return the rest of the firing; `FiringError` if the kiln stalls on its way."""
        try:
            ahead = (
                None
                if self._course is None
                else self.simulate_ahead(position, now_s, temperature_c, side)
            )
        except FiringError:
            ahead = None
        if ahead is None:
            assert self._fallback is not None
            return self._fallback.remaining(
                position,
                now_s,
                temperature_c,
                slower_now=slower_now,
                slower_later=slower_later,
                climb=climb,
            )
        if ahead.stalls_c is not None:
            raise FiringError(f"the kiln does not get beyond {ahead.stalls_c:.0f} °C")
        cooling = COOLING_KNOWN if "loss" in self._known.learnt else self._cooling
        if side != AS_EXPECTED:
            cooling = (1.0, 1.0)  # another loss says already how else it may cool
        return ahead.stretched(slower_now, slower_later, cooling)

    # Refits

    def tick(self, now_s: float, history: History, position: Position | None) -> list[WatchEvent]:
        """Begin a refit when one is due, or take one in that is done; return what to tell."""
        if self._worker.busy:
            found = self._worker.take_answer()
            return (
                self._failure_events(now_s)
                if found is None
                else self._apply(found, now_s, history, position)
            )
        if self._due_s is None:
            begun_s = float(history.trace()[0][0]) if history.points else now_s
            self._due_s = max(now_s, begun_s + REFIT_EVERY_S)  # at once in a watch begun again
        if now_s < self._due_s:
            return []
        self._due_s = now_s + REFIT_EVERY_S
        over = position is not None and position.phase in ("done", "left")
        if history.points < 3 or (over and history.now_c() < COLD_C):
            return []
        time_s, temperature_c = history.trace()
        job = RefitJob(
            self._file,
            self._load,
            self._schedule,
            time_s,
            temperature_c,
            history.duty(),
            self._windows,
            _over_s(position),
            None if self._refitted_s is None else self._known,
        )
        if self._live:
            self._worker.start(job)
            return self._failure_events(now_s)
        return self._apply(run_refit(job), now_s, history, position)

    def _failure_events(self, now_s: float) -> list[WatchEvent]:
        """Tell, once, that a refit could not be made."""
        if not self._worker.failed or self._failure_told:
            return []
        self._failure_told = True
        message = (
            "the kiln model could not be refitted, as no process for it could be started or it "
            "ended too soon; the forecast goes by the figures it has"
        )
        return [WatchEvent("refit", "note", "told", now_s, message)]

    def _apply(
        self, answer: RefitAnswer, now_s: float, history: History, position: Position | None
    ) -> list[WatchEvent]:
        found = answer.found
        self._windows = max(self._windows, found.windows)
        self._did = max(self._did, found.did)
        if found.fitted is None:
            return []
        over = _over_s(position) is not None
        if over:
            self.update(history, position, now_s)  # what it took goes by the figures of its heating
        else:
            self._spent_j = 0.0
        before, before_s = self._remaining_after_update(history, position, now_s)
        self._known, self._refitted_s = found, now_s
        self._use_figures(found.fitted, answer.estimators)
        after, after_s = self._remaining_after_update(history, position, now_s)
        unit = "C" if self._schedule is None else self._schedule.unit
        change = KilnChange(self.figures, found, before, after, (before_s, after_s), over)
        event = change.event(now_s, unit)
        if event is None or not over:
            return [] if event is None else [event]
        if self._told_unload_s is not None and not change.moves(self._told_unload_s - now_s):
            return []  # back and forth between two hours is no news
        self._told_unload_s = now_s + after_s
        return [event]

    def _remaining_after_update(
        self, history: History, position: Position | None, now_s: float
    ) -> tuple[SimulatedRemainder | None, float]:
        """Return the rest, and how long it is until unloading as that is told; None and NaN."""
        if self._schedule is None or position is None:
            return None, math.nan
        self._update_course(history, position)
        try:
            ahead = self.simulate_ahead(position, now_s, history.now_c())
        except FiringError:
            return None, math.nan
        over_s, unload_s = _over_s(position), float(ahead.time_s[-1])
        if over_s is not None:
            trace, room_c = history.trace(), self._schedule.room_c
            pace = cooling_pace(*trace, over_s, *room_of(*trace, room_c), now_s)
            rest = ahead.stretched(1.0, 1.0, (1.0, 1.0))
            unload_s = rest.unload_s if pace is None else as_it_cools(rest, pace, room_c).unload_s
        return ahead, unload_s


def _over_s(position: Position | None) -> float | None:
    """Return when the program ended [s]; None if it has not."""
    return position.arrived_s if position is not None and position.phase == "done" else None
