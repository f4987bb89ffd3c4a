"""Follows one firing: takes readings in, tells of events, and says how it stands."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from firing.capture.reading import Reading, Status
from firing.review.alignment import passed_before
from firing.review.position import Plan, Position, locate
from firing.schedule.schedule import Schedule
from firing.units import ROOM_C, TemperatureUnit, format_duration, format_temperature
from firing.watch.alarms import AlarmBoard
from firing.watch.cone_forecast import (
    COUNTS_C,
    cones_reached,
    down_since_s,
    forecast_cones,
    lowest_effective_c,
)
from firing.watch.cooling import DROP_S, CoolingPace, cooling_pace, room_of
from firing.watch.events import AlarmInputs, AlarmLimits, Severity, WatchEvent
from firing.watch.fault_isolation import FaultIsolation
from firing.watch.history import History
from firing.watch.plan_doubt import PlanChoice, PlanDoubt, no_choice
from firing.watch.predictor import (
    FiringProgress,
    ForecastPredictor,
    Lateness,
    PaceKeeper,
    Predictor,
    predict,
)
from firing.watch.state import (
    CONES_PART,
    ENERGY_PART,
    ESTIMATE_PARTS,
    FORECAST_PART,
    POSITION_PART,
    RATE_PART,
    Estimate,
    Prediction,
    RemainingCourse,
)

if TYPE_CHECKING:
    from firing.watch.kiln_model import KilnModel

LOCATE_EVERY_S = 60.0
OUTLOOK_EVERY_S = 600.0
LOOKS_BACK = 150
"""So many looks at most are made at what was before a watch began: each takes milliseconds."""
BEGUN_AT_C = 25.0
"""Readings that begin so near to a hold may have begun in it [°C]."""
EARLY_S = 75.0
"""A hold that was left so long before its time may have been cut short [s]."""
GIVEN_UP_C = 150.0
"""A kiln that fell so far away from its plan is not heated again [°C]."""
COLD_C, COLD_LOOKS = 80.0, 3
"""A firing that is over and was seen so cold so often is not looked for in its plan any more."""
AGAIN_C, AGAIN_C_PER_H, AGAIN_S = 25.0, 10.0, 600.0
"""So far above its coldest, and still rising for so long, it is another: a thermocouple that was
put back falls [°C, °C/h, s]."""
NOT_BESIDE = {
    *("reading-impossible", "reading-lost", "reading-stuck"),
    *("over-top", "climbs-fast", "hold-long"),
}
"""While one of these stands, what looks like another program may be a fault, which comes first."""
OUTDOES_FILE = 1.4
"""No kiln has so many times its file's power: elements wear, a supply has 10 % of its volts to
spare at the most, which is 21 % of the power, and readings of half an hour are off by less than the
rest; common practice, no source [-]."""
GOES_ON = {"hold-long", "above-plan", "over-top"}
"""While one of these stands, a program that is not over lacks no time."""
CONE_BEHIND_C = 10.0
"""A kiln this far behind its plan may leave a cone standing [°C]."""

# What else may fail by itself.
CIRCUIT_PART = "the look at the circuit"
HISTORY_PART, TEMPERATURE_PART, ALARMS_PART = (
    "the course so far",
    "the temperature now",
    "the judging of alarms",
)
RAISED_ALARMS_PART, CONE_CALLS_PART, REFIT_PART, PREDICTION_PART = (
    "the list of alarms",
    "the calls of cones",
    "the refit",
    "the look ahead",
)
COOLING_PART = "the pace of the cooling"
PLAN_PART = "the look for another program"
_BLIND = {
    POSITION_PART: "where the firing stands in its plan cannot be worked out: alarms that go by "
    "the plan are blind meanwhile; look at the kiln yourself",
    RATE_PART: "how fast it heats or cools cannot be worked out: alarms that go by it are blind "
    "meanwhile; look at the kiln yourself",
    ALARMS_PART: "an alarm cannot be judged and is not raised meanwhile; look at the kiln yourself",
}
"""Failures that mean going and looking, as what they hide may be a danger."""


class Watcher:
    """Follows one firing.

    Parameters
    ----------
    predictor : Predictor, optional
        Says how it goes on; needed where there is a plan.
    cones : tuple of str
        Cones to tell of, in their printed spelling.
    cone_offset_c : float
        What the thermocouple reads too low by for cones, from witness cones [°C].
    thermocouple_c : float, optional
        Its tolerance near the peak, ± [°C].
    model : KilnModel, optional
        The kiln's, which says what it takes; where there is a plan the predictor is its, too.
    unit : {"C", "F"}
        What is told without a plan is told in this one.
    other_plans : callable, optional
        Finds plans that may have been meant, where the readings are not of this one.
    """

    def __init__(
        self,
        limits: AlarmLimits,
        schedule: Schedule | None = None,
        predictor: Predictor | None = None,
        *,
        cones: tuple[str, ...] = (),
        cone_offset_c: float = 0.0,
        thermocouple_c: float | None = None,
        model: KilnModel | None = None,
        unit: TemperatureUnit = "C",
        other_plans: PlanChoice = no_choice,
    ) -> None:
        self.schedule = schedule
        self.history = History()
        self.board = AlarmBoard(limits, schedule, unit if schedule is None else schedule.unit)
        self.predictor = predictor
        self.rest: RemainingCourse | None = None
        self._model = model
        self._plan = None if schedule is None else Plan(schedule)
        self._doubt = None if schedule is None else PlanDoubt(schedule, other_plans)
        self._cones = cones
        self._offset_c = cone_offset_c
        self._thermocouple_c = thermocouple_c
        self._position: Position | None = None
        self._deviation_c: float | None = None
        self._rate_c_per_h: float | None = None
        self._located_s = -math.inf
        self._usable_s: float | None = None
        self.line_every_s = 0.0  # how far apart a live source's lines usually come
        self._reading_c = math.nan
        self._stuck = False
        self._ended: set[int] | None = None
        self._down: set[str] = set()
        self._lateness = Lateness("C" if schedule is None else schedule.unit)
        self._looked_ahead_s = -math.inf
        self._cone_told = False
        self._cones_in_the_cold: dict[str, Any] | None = None
        self._paces = None if schedule is None else PaceKeeper(schedule)
        self._isolation = FaultIsolation()
        self._unload_c = limits.unload_c
        self._cooling: CoolingPace | None = None
        self._drop_told_s = -math.inf
        self._coldest_c = math.inf  # since the firing was over and cold
        self._cold_looks = 0
        self._warmer: list[tuple[float, float]] = []
        self._fires_again = False
        self._blind: set[str] = set()

    def add_earlier(self, time_s: float, temperature_c: float, duty: float = math.nan) -> None:
        """Take in a reading of before, about which nothing is to be told any more."""
        if self._is_plausible(time_s, temperature_c, Status.OK):
            self._isolation.run(
                HISTORY_PART, lambda: self.history.add(time_s, temperature_c, duty), None
            )
        self._usable_s = time_s

    def begin(self, now_s: float, *, live: bool = True) -> None:
        """Begin watching: what readings of before amount to is known, and not told.

        Readings are `live` if they come as the clock goes, not from a log that has time to wait.
        """
        if self._model is not None:
            self._model.begin(live)
        if self.history.points >= 2:
            self._isolation.run(PREDICTION_PART, self._look_back, None)
            self._locate(now_s)
        self._usable_s = now_s

    def _look_back(self) -> None:
        """Let the paces know what the readings of before show, as if somebody had watched."""
        if self._plan is None or self._paces is None:
            return
        time_s, temperature_c = self.history.trace()
        step_s = max(LOCATE_EVERY_S, float(time_s[-1] - time_s[0]) / LOOKS_BACK)
        for moment_s in np.arange(float(time_s[0]) + step_s, float(time_s[-1]), step_s).tolist():
            seen = int(np.searchsorted(time_s, moment_s, side="right"))
            if seen < 2:
                continue
            course = time_s[:seen], temperature_c[:seen]
            now_c = float(temperature_c[seen - 1])
            position = locate(self._plan, *course, now_c)
            set_point_c = position.set_point_c
            behind_c = 0.0 if set_point_c is None else set_point_c - now_c
            self._paces.update(*course, position, behind_c)

    def add(self, time_s: float, reading: Reading, channel: int) -> list[WatchEvent]:
        """Take a reading in, of which one channel is the kiln's, and return what has to be told."""
        value_c = reading.usable_c(channel)
        self._stuck = reading.statuses[channel] is Status.STUCK
        self._reading_c = value_c
        if self._usable_s is None:
            self._usable_s = time_s
        plausible = self._is_plausible(time_s, reading.values_c[channel], reading.statuses[channel])
        if not math.isnan(value_c):
            self._usable_s = time_s
            if plausible:  # what no kiln can read moves neither an estimate nor the plan
                self._isolation.run(
                    HISTORY_PART, lambda: self.history.add(time_s, value_c, reading.duty), None
                )
        return self.tick(time_s)

    def _is_plausible(self, time_s: float, value_c: float, status: Status) -> bool:
        return self._isolation.run(
            CIRCUIT_PART, lambda: self.board.add_reading(time_s, value_c, status), True
        )

    def tick(self, now_s: float) -> list[WatchEvent]:
        """Look at the clock, whether there is a reading or not, and return what has to be told."""
        events: list[WatchEvent] = []
        if now_s - self._located_s >= LOCATE_EVERY_S and self.history.points >= 2:
            events += self._locate(now_s)
            events += self._isolation.run(
                PREDICTION_PART, lambda: self._prediction_events(now_s), []
            )
        events += self._isolation.run(ALARMS_PART, lambda: self._alarm_events(now_s), [])
        events += self._blindness_events(ALARMS_PART, now_s)
        if self._model is not None:
            model = self._model
            events += self._isolation.run(
                REFIT_PART, lambda: model.tick(now_s, self.history, self._position), []
            )
            events += self._isolation.run(REFIT_PART, lambda: self._give_up_kiln(model, now_s), [])
        return events

    def _give_up_kiln(self, model: KilnModel, now_s: float) -> list[WatchEvent]:
        """Go on without a kiln file that the firing cannot be of, and tell of it."""
        if model.did <= OUTDOES_FILE:
            return []
        from firing.forecast.forecast import forecast

        self._model, self._offset_c = None, 0.0
        if self.schedule is not None:
            course = forecast(self.schedule, unload_c=self._unload_c)
            self.predictor = ForecastPredictor(course)
        model.close()
        message = (
            f"the kiln took {model.did:.1f} times the power that the kiln file gives it: check "
            "which kiln file you gave this watch, and the volts in it; the forecast goes on "
            "without that file"
        )
        return [WatchEvent("other-kiln", "note", "told", now_s, message)]

    def _alarm_events(self, now_s: float) -> list[WatchEvent]:
        # Where the place or the rate fails, alarms go by the last that is known: raised ones stay.
        return self.board.update(
            AlarmInputs(
                now_s=now_s,
                reading_c=self._reading_c,
                usable_s=now_s if self._usable_s is None else self._usable_s,
                line_every_s=self.line_every_s,
                stuck=self._stuck,
                now_c=self.history.now_c(),
                highest_c=self.history.highest_c,
                rate_c_per_h=self._rate_c_per_h,
                position=self._position,
                deviation_c=self._deviation_c,
                cold_from_s=self._cold_from_s(now_s),
                fires_again=self._fires_again,
            )
        )

    def _cold_from_s(self, now_s: float) -> float:
        """Return from when on a cold reading may be the ware's: at once, but after a drop [s]."""
        pace = self._cooling
        if pace is None or pace.drop is None:
            return -math.inf
        return self._located_s + pace.left_s(self._unload_c)[0]

    def _blindness_events(self, part: str, now_s: float) -> list[WatchEvent]:
        """Tell, once, of a failure that may hide a danger."""
        one = part == ALARMS_PART and self.board.isolation.any_failing
        if not (one or self._isolation.is_failing(part)):
            self._blind.discard(part)
            return []
        if part in self._blind:
            return []
        self._blind.add(part)
        return [WatchEvent("blind", "act", "told", now_s, _BLIND[part])]

    def remarks(self) -> list[str]:
        """Return what failed, or works again, and has not been told yet, a sentence each."""
        return [*self._isolation.remarks(), *self.board.isolation.remarks()]

    def close(self) -> None:
        """End what is under way beside the watch."""
        if self._model is not None:
            self._model.close()

    def _locate(self, now_s: float) -> list[WatchEvent]:
        self._located_s = now_s
        self._rate_c_per_h = self._isolation.run(
            RATE_PART, self.history.rate_c_per_h, self._rate_c_per_h
        )
        events = self._blindness_events(RATE_PART, now_s)
        if self._plan is not None:
            events += self._isolation.run(POSITION_PART, lambda: self._place(now_s), [])
            events += self._blindness_events(POSITION_PART, now_s)
            events += self._isolation.run(PLAN_PART, lambda: self._look_at_plan(now_s), [])
        events += self._isolation.run(COOLING_PART, lambda: self._cool(now_s), [])
        events += self._isolation.run(CONE_CALLS_PART, lambda: self._cone_events(now_s), [])
        return events

    def _place(self, now_s: float) -> list[WatchEvent]:
        assert self._plan is not None
        now_c = self.history.now_c()
        if self._coldest_c < math.inf:
            return []
        self._position = locate(self._plan, *self.history.trace(), now_c)
        set_point_c = self._position.set_point_c
        self._deviation_c = None if set_point_c is None else now_c - set_point_c
        if self._paces is not None:
            behind_c = -(self._deviation_c or 0.0)
            self._paces.update(*self.history.trace(), self._position, behind_c)
        return self._segment_end_events(now_s)

    def _look_at_plan(self, now_s: float) -> list[WatchEvent]:
        """Tell, once, that the readings are of another program.

        Not where they may be wrong, or where a relay may have stuck.
        """
        unsure = self.board.circuit.doubtful or NOT_BESIDE.intersection(self.board.standing)
        over = self._coldest_c < math.inf
        if self._doubt is None or unsure or over or self.board.supply.gone:
            return []
        return self._doubt.look(now_s, *self.history.trace())

    @property
    def _plan_doubted(self) -> bool:
        return self._doubt is not None and bool(self._doubt.why)

    def _another_firing(self, now_s: float, now_c: float) -> list[WatchEvent]:
        """Tell, once, that a kiln whose firing is over heats again: nothing of that is known."""
        if math.isinf(self._coldest_c):
            return []
        self._coldest_c = min(self._coldest_c, now_c)
        if self._fires_again:
            return []
        rises = (self._rate_c_per_h or 0.0) > AGAIN_C_PER_H and not self.board.circuit.doubtful
        warmer = rises and now_c > self._coldest_c + AGAIN_C
        self._warmer = [*self._warmer, (now_s, now_c)] if warmer else []
        before_c = [c for s, c in self._warmer if s <= now_s - 0.5 * AGAIN_S]
        long = bool(self._warmer) and now_s - self._warmer[0][0] >= AGAIN_S
        self._fires_again = long and now_c > before_c[-1] + AGAIN_C_PER_H * AGAIN_S / 7200.0
        if not self._fires_again:
            return []
        unit = "C" if self.schedule is None else self.schedule.unit
        message = (
            f"the kiln heats again, at {format_temperature(now_c, unit)}, after its firing was "
            "over: this watch does not follow another; end it and begin a new one"
        )
        return [WatchEvent("another-firing", "act", "told", now_s, message)]

    def _cool(self, now_s: float) -> list[WatchEvent]:
        """Take in how it cools; tell of a reading that drops faster than ware can."""
        self._cooling = None
        position = self._position
        if position is not None and position.phase not in ("done", "left"):
            return []
        again = self._another_firing(now_s, self.history.now_c())
        if self._fires_again:
            return again
        time_s, temperature_c = self.history.trace()
        room = room_of(
            time_s, temperature_c, ROOM_C if self.schedule is None else self.schedule.room_c
        )
        since_s = None if position is None else position.arrived_s
        if since_s is None:
            since_s = float(time_s[int(np.argmax(temperature_c))])
        self._cooling = pace = cooling_pace(time_s, temperature_c, since_s, *room, now_s)
        over = self.history.highest_c > COLD_C + GIVEN_UP_C and self.history.now_c() <= COLD_C
        dropped = pace is not None and pace.drop is not None
        self._cold_looks = self._cold_looks + 1 if over and not dropped else 0
        if self._cold_looks >= COLD_LOOKS and not self.board.circuit.doubtful:
            self._coldest_c = min(self._coldest_c, self.history.now_c())
        if pace is None or pace.drop is None or self.board.circuit.broken is not None:
            return []
        at_s, from_c, to_c = pace.drop
        if at_s <= self._drop_told_s + DROP_S:
            return []
        self._drop_told_s = at_s
        unit = "C" if self.schedule is None else self.schedule.unit
        message = (
            f"the reading dropped from {format_temperature(from_c, unit)} to "
            f"{format_temperature(to_c, unit)}, faster than ware cools: the kiln was opened, or "
            "its thermocouple has moved; the hour to unload goes by the cooling before"
        )
        return [WatchEvent("cooling-drop", "note", "told", now_s, message)]

    def _segment_end_events(self, now_s: float) -> list[WatchEvent]:
        """Tell of segments that have ended since last looked at: holds over, hands needed."""
        position, schedule = self._position, self.schedule
        if schedule is None or position is None:
            return []
        if self.board.supply.gone:
            return []  # a hold that the power left is cut short, not over
        ended: set[int] = set()
        if position.phase == "done":
            ended = set(range(len(schedule.segments)))
        elif position.segment is not None:
            ended = set(range(position.segment))
            hold_s = schedule.segments[position.segment].hold_s
            if position.phase == "hold" and position.hold_left_s(now_s, hold_s) <= 0.0:
                ended.add(position.segment)
        held = self.board.supply.still_held(now_s)
        if held is not None and self._ended is not None:
            ended = {index for index in ended if index < held}  # a fall alone does not end a hold
        before, self._ended = self._ended, ended | (self._ended or set())
        if before is None:
            return []  # ended before anybody watched
        begun_c = float(self.history.trace()[1][0])
        before = before | set(range(passed_before(schedule, begun_c)))
        events = []
        for index in sorted(ended - before):
            segment, label = schedule.segments[index], schedule.label(index)
            if segment.hold_s > 0.0 and index not in self.board.supply.cut:
                message = f"the hold of segment {label} is over"
                early_s = self.board.supply.early_s(index, now_s)
                if early_s > EARLY_S and not self._begun_inside(index):
                    message += (
                        f", {format_duration(early_s)} before its time by the readings: if the "
                        "controller still holds, look at the power"
                    )
                events.append(WatchEvent("hold-over", "note", "told", now_s, message))
            if segment.action:
                message = f"at the end of segment {label}: {segment.action}"
                events.append(WatchEvent("action", "act", "told", now_s, message))
        return events

    def _begun_inside(self, index: int) -> bool:
        """Tell whether the readings may have begun in a hold: when it began nobody saw."""
        assert self.schedule is not None
        begun_c = float(self.history.trace()[1][0])
        return abs(begun_c - self.schedule.segments[index].target_c) <= BEGUN_AT_C

    def _cone_events(self, now_s: float) -> list[WatchEvent]:
        events = []
        time_s, temperature_c = self.history.trace()
        for cone in self._cones:
            hot_enough = self.history.highest_c + self._offset_c > lowest_effective_c(cone)
            if cone in self._down or not hot_enough:
                continue
            moment_s = down_since_s(cone, time_s, temperature_c + self._offset_c)
            if moment_s is None:
                continue
            self._down.add(cone)
            if now_s - moment_s < 30.0 * LOCATE_EVERY_S:
                message = f"by heat-work cone {cone} is down; witness cones decide"
                severity: Severity = "note" if self._at_top else "act"
                events.append(WatchEvent("cone", severity, "told", moment_s, message))
        return events

    @property
    def _at_top(self) -> bool:
        """Whether no ramp of the plan heats any more: a cone is due now, and nobody need come."""
        position, schedule = self._position, self.schedule
        if position is None or schedule is None or position.segment is None:
            return False
        ends = position.phase in ("hold", "done")
        return ends and schedule.segments[position.segment].target_c >= schedule.peak_c

    def estimate(self, now_s: float) -> Estimate:
        """Return the state of the firing now, with all that follows from it.

        What cannot be worked out is left out and named as `untold`; nothing here raises.
        """
        isolation = self._isolation
        self.rest = None
        position = None if isolation.is_failing(POSITION_PART) else self._position
        now_c = isolation.run(TEMPERATURE_PART, self.history.now_c, math.nan)
        found = Estimate(
            now_s,
            now_c,
            None if isolation.is_failing(RATE_PART) else self._rate_c_per_h,
            position,
            self._segment_name(position),
            None if position is None else self._deviation_c,
            plan_doubted=self._plan_doubted,
            alarms=isolation.run(RAISED_ALARMS_PART, lambda: self.board.standing, ()),
        )
        if self.history.points >= 2:
            known: dict[str, Any] = {}
            known |= isolation.run(
                ENERGY_PART, lambda: self._energy_figures(position, now_s), known
            )
            bare = found
            ahead = isolation.run(FORECAST_PART, lambda: self._predicted(bare), None)
            known |= isolation.run(CONES_PART, lambda: self._cone_figures(ahead), known)
            found = replace(found, **known)
            if ahead is not None:
                found = self._with_times(found, ahead)
                self.rest = ahead.expected
        return replace(
            found, untold=tuple(part for part in ESTIMATE_PARTS if isolation.is_failing(part))
        )

    def _energy_figures(self, position: Position | None, now_s: float) -> dict[str, Any]:
        if self._model is None:
            return {}
        energy = self._model.update(self.history, position, now_s)
        return {
            "energy_kwh": energy.spent_kwh,
            "energy_total_kwh": energy.total_kwh,
            "stalls_c": energy.stalls_c,
            "kiln": self._model.figures,
        }

    def _segment_name(self, position: Position | None) -> str:
        if self.schedule is None or position is None or position.segment is None:
            return ""
        return self.schedule.segments[position.segment].name

    def _cone_figures(self, ahead: Prediction | None) -> dict[str, Any]:
        hottest_c = [self.history.now_c()]
        if ahead is not None:
            hottest_c.append(float(np.max(ahead.expected.temperature_c)))
        if max(hottest_c) + self._offset_c >= COUNTS_C:
            self._cones_in_the_cold = None
            return self._cone_figures_anew(ahead)
        if self._cones_in_the_cold is None:  # nothing changes them any more
            self._cones_in_the_cold = self._cone_figures_anew(ahead)
        return self._cones_in_the_cold

    def _cone_figures_anew(self, ahead: Prediction | None) -> dict[str, Any]:
        time_s, temperature_c = self.history.trace()
        for_cones_c = temperature_c + self._offset_c
        reached, number, low, high = cones_reached(time_s, for_cones_c, self._thermocouple_c)
        forecasts = forecast_cones(
            self._cones,
            time_s,
            for_cones_c,
            None if ahead is None else ahead.shifted(self._offset_c),
            self._thermocouple_c,
        )
        return {
            "reached": reached,
            "reached_number": number,
            "low": low,
            "high": high,
            "cones": forecasts,
        }

    def _with_times(self, found: Estimate, ahead: Prediction) -> Estimate:
        action, action_s = self._next_action(ahead, found.now_s)
        return ahead.timed(replace(found, action=action, action_s=action_s))

    def _predicted(self, now: Estimate) -> Prediction | None:
        position, schedule = now.position, self.schedule
        unknown = math.isnan(now.temperature_c)
        if schedule is None or position is None or self.predictor is None or unknown:
            return None
        cooling = self._cooling
        if self._fires_again:
            return None
        if cooling is not None and cooling.drop is not None:
            rest = cooling.course(self._unload_c)
            return Prediction(rest, rest, rest)
        time_s, temperature_c = self.history.trace()
        if position.phase == "left" and now.temperature_c < self.history.highest_c - GIVEN_UP_C:
            # Given up, or left behind by its clock: it cools, and nothing heats it again.
            top_s = float(time_s[int(np.argmax(temperature_c))])
            position = replace(position, phase="done", arrived_s=top_s)
            now = replace(now, position=position)
        if self._paces is not None:
            now_c = self._paces.on_its_ramp_c(now.now_s, now.temperature_c)
            now = replace(now, temperature_c=now_c)
        return predict(self.predictor, self._model, self._progress(now, cooling))

    def _progress(self, now: Estimate, cooling: CoolingPace | None = None) -> FiringProgress:
        assert self.schedule is not None
        assert now.position is not None
        return FiringProgress(
            self.schedule,
            now.position,
            now.now_s,
            now.temperature_c,
            now.deviation_c,
            self._paces,
            self.board.supply.waits,
            cooling,
            self._plan,
            self.board.supply.gone,
        )

    def _prediction_events(self, now_s: float) -> list[WatchEvent]:
        """Tell of an end that comes later than planned, and of a cone that a clock leaves up."""
        position, plan = self._position, self._plan
        if plan is None or position is None or now_s - self._looked_ahead_s < OUTLOOK_EVERY_S:
            return []
        if self._plan_doubted or GOES_ON.intersection(self.board.standing):
            return []  # no end of another program is late, nor one that was missed
        if position.phase not in ("ramp", "hold") or position.late_s is None:
            return []
        self._looked_ahead_s = now_s
        if self._model is not None:
            self._model.update(self.history, position, now_s)
        now_c = self.history.now_c()
        bare = Estimate(now_s, now_c, None, position, "", self._deviation_c)
        ahead = self._predicted(bare)
        if ahead is None:
            return []
        clock_s = position.program_s + position.late_s
        late_s = ahead.expected.program_s - (plan.segments[-1].end_s - clock_s)
        progress = self._progress(bare)
        events = self._lateness.events(now_s, late_s, plan.segments[-1].end_s, progress)
        return events + self._cone_left_up(now_s, ahead)

    def _cone_left_up(self, now_s: float, ahead: Prediction) -> list[WatchEvent]:
        """Tell, once, of a cone wanted that will not fall before the clock ends the program.

        Only while a longer hold can still be keyed: once the kiln falls, that helps no more.
        """
        if self.board.supply.waits is not False or not self._deviation_c or self._cone_told:
            return []
        if not self._still_heats():
            return []
        trace = self.history.trace()
        found = forecast_cones(
            self._cones,
            trace[0],
            trace[1] + self._offset_c,
            ahead.shifted(self._offset_c),
            self._thermocouple_c,
        )
        left_up = [
            entry
            for entry in found
            if entry.cone in self._cones and entry.down_s is None and entry.expected_s is None
        ]
        up = ", ".join(entry.cone for entry in left_up)
        if not up or self._deviation_c > -CONE_BEHIND_C:
            return []
        self._cone_told = True
        unit = "C" if self.schedule is None else self.schedule.unit
        top = format_temperature(float(np.max(ahead.expected.temperature_c)), unit)
        left = format_duration(ahead.expected.program_s)
        surely = all(entry.low_s is None for entry in left_up)
        message = (
            f"cone {up} {'will' if surely else 'may'} not fall: the clock ends the program in "
            f"{left}, at about {top}; lengthen the top hold now, and look at the witness cones "
            "before you switch off"
        )
        return [WatchEvent("cone-left-up", "act", "told", now_s, message)]

    def _still_heats(self) -> bool:
        """Tell whether the last peak of the plan is still ahead, or held."""
        plan, position = self._plan, self._position
        if plan is None or position is None or position.segment is None or self.board.supply.falls:
            return False
        return position.phase in ("ramp", "hold") and position.segment <= plan.last_heated

    def _next_action(self, ahead: Prediction, now_s: float) -> tuple[str, float | None]:
        if self.schedule is None:
            return "", None
        for index, left_s in ahead.expected.segment_ends_s.items():
            action = self.schedule.segments[index].action
            if action and index not in (self._ended or ()):
                return action, now_s + left_s
        return "", None
