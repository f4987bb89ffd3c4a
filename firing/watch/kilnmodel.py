"""The kiln model of a running firing: led along, refitted every quarter of an hour, asked ahead."""

from __future__ import annotations

from dataclasses import dataclass, replace

from firing.errors import FiringError
from firing.forecast.in_kiln import COOLING_RANGE_DESCRIBED, COOLING_RANGE_FITTED
from firing.kiln.description import Fitted, KilnDescription
from firing.kiln.simulation import JOULES_PER_KWH
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray
from firing.ware.load import Load
from firing.watch.events import WatchEvent
from firing.watch.history import History
from firing.watch.position import Position
from firing.watch.predictor import Predictor
from firing.watch.refit import RefitJob, as_described
from firing.watch.refit_report import KilnChange
from firing.watch.refit_worker import RefitAnswer, RefitWorker, work_out
from firing.watch.simulate_remaining import RemainingInKiln, simulate_remaining
from firing.watch.state import AS_EXPECTED, KilnFigures, Rest
from firing.watch.state_estimator import KilnStateEstimator, kiln_on_side, switched_off

REFIT_EVERY_S = 900.0
COLD_C = 130.0
"""A kiln that has cooled below this teaches nothing more [°C]."""


@dataclass(frozen=True, slots=True)
class Spent:
    """Energy from the supply.

    Attributes
    ----------
    spent_kwh, total_kwh : float or None
        So far, and for the whole program as it is expected to go on [kWh]; None where the model
        has no answer.
    stalls_c : float or None
        Where the kiln gets no further [°C]; None if it ends the program.
    """

    spent_kwh: float | None
    total_kwh: float | None
    stalls_c: float | None


class KilnModel:
    """What the kiln model says of a running firing; an `Predictor`.

    Parameters
    ----------
    kiln : KilnDescription
        As its file has it.
    load : Load, optional
        What is in it; a typical load unless given.
    schedule : Schedule, optional
        The program.
    fallback : Predictor, optional
        Asked where the model has no answer; needed where there is a program.
    unload_c : float
        Where the kiln may be unloaded [°C].
    """

    def __init__(
        self,
        kiln: KilnDescription,
        load: Load | None = None,
        schedule: Schedule | None = None,
        fallback: Predictor | None = None,
        *,
        unload_c: float = 60.0,
    ) -> None:
        self._file = kiln
        self._load, self._schedule, self._fallback = load, schedule, fallback
        self._unload_c = unload_c
        self._known = as_described(kiln)
        self._refitted_s: float | None = None
        self._windows = 0
        self._due_s: float | None = None
        self._apart = RefitWorker()
        self._told_failure = False
        self._live = True
        self._set(kiln.fitted, {})

    def _set(self, fitted: Fitted, driven: dict[int, KilnStateEstimator]) -> None:
        """Take a kiln's figures, and that kiln as far as it was led along the course already."""
        self._kiln = replace(self._file, fitted=fitted)
        self._driven = driven
        self._course: tuple[FloatArray, FloatArray, FloatArray] | None = None
        self._rests: dict[int, RemainingInKiln] = {}
        self._asked: tuple[float, float] | None = None

    # What is known

    @property
    def figures(self) -> KilnFigures:
        """What the forecast goes by now."""
        now = self._kiln.fitted
        return KilnFigures(now.power, now.loss, now.capacity, self._known.learnt, self._refitted_s)

    def begin(self, live: bool) -> None:
        """Begin: readings come as the clock goes, or from a log that has time to wait."""
        self._live = live

    def close(self) -> None:
        """End a refit under way."""
        self._apart.close()

    # The state so far

    def see(self, history: History, position: Position | None, now_s: float) -> Spent:
        """Take in what the kiln has done so far, and return the energy that goes with it."""
        self._take_in(history, position)
        now_c = history.now_c()
        try:
            assert self._course is not None
            driven = self._along(AS_EXPECTED)
            spent_j = driven.now(self._course[0], self._course[2], now_s, now_c)[1]
        except FiringError:
            return Spent(None, None, None)
        spent_kwh = spent_j / JOULES_PER_KWH
        if self._schedule is None or position is None:
            return Spent(spent_kwh, None, None)
        try:
            ahead = self.ahead(position, now_s, now_c)
        except FiringError:
            return Spent(spent_kwh, None, None)
        if ahead.stalls_c is not None:
            return Spent(spent_kwh, None, ahead.stalls_c)
        return Spent(spent_kwh, (spent_j + ahead.supplied_j) / JOULES_PER_KWH, None)

    def _take_in(self, history: History, position: Position | None) -> None:
        time_s, temperature_c = history.trace()
        duty = switched_off(time_s, history.duty(), _over_s(position))
        self._course = time_s, temperature_c, duty
        self._rests, self._asked = {}, None

    def _along(self, side: int) -> KilnStateEstimator:
        assert self._course is not None
        if side not in self._driven:
            self._driven[side] = kiln_on_side(
                self._kiln, self._load, self._schedule, self._known.errors, side
            )
        driven = self._driven[side]
        driven.follow(*self._course)
        return driven

    # The rest

    def ahead(
        self, position: Position, now_s: float, now_c: float, side: int = AS_EXPECTED
    ) -> RemainingInKiln:
        """Return the rest as the model has it, after `see`.

        Parameters
        ----------
        position, now_s, now_c
            As for `rest`.
        side : int
            `AS_EXPECTED`, `AT_ITS_BEST` or `AT_ITS_WORST`: how far its figures may be off.

        Raises
        ------
        FiringError
            Where the model has no answer.
        """
        assert self._schedule is not None
        assert self._course is not None
        if self._asked != (now_s, now_c):
            self._rests, self._asked = {}, (now_s, now_c)
        if side not in self._rests:
            network, _ = self._along(side).now(self._course[0], self._course[2], now_s, now_c)
            self._rests[side] = simulate_remaining(
                network, self._schedule, position, now_s, unload_c=self._unload_c
            )
        return self._rests[side]

    def rest(
        self,
        position: Position,
        now_s: float,
        temperature_c: float,
        *,
        slower_now: float = 1.0,
        slower_later: float = 1.0,
        side: int = AS_EXPECTED,
    ) -> Rest:
        """Return the rest of the firing; see `Predictor`, and `ahead` for `side`.

        Raises
        ------
        FiringError
            If the kiln stalls on its way.
        """
        try:
            ahead = (
                None if self._course is None else self.ahead(position, now_s, temperature_c, side)
            )
        except FiringError:
            ahead = None
        if ahead is None:
            assert self._fallback is not None
            return self._fallback.rest(
                position,
                now_s,
                temperature_c,
                slower_now=slower_now,
                slower_later=slower_later,
            )
        if ahead.stalls_c is not None:
            raise FiringError(f"the kiln does not get beyond {ahead.stalls_c:.0f} °C")
        learnt = "loss" in self._known.learnt or self._file.fitted.learnt is not None
        cooling = COOLING_RANGE_FITTED if learnt else COOLING_RANGE_DESCRIBED
        if side != AS_EXPECTED:
            cooling = (1.0, 1.0)  # another loss says already how else it may cool
        return ahead.stretched(slower_now, slower_later, cooling)

    # Refits

    def tick(self, now_s: float, history: History, position: Position | None) -> list[WatchEvent]:
        """Begin a refit when one is due, and take one in that is done; return what is to be told.

        Parameters
        ----------
        now_s : float
            [s].
        history : History
            The firing so far.
        position : Position or None
            Where it stands in its program.
        """
        if self._apart.busy:
            found = self._apart.take()
            return (
                self._failed(now_s)
                if found is None
                else self._take(found, now_s, history, position)
            )
        if self._due_s is None:
            self._due_s = now_s + REFIT_EVERY_S
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
        )
        if self._live:
            self._apart.begin(job)
            return self._failed(now_s)
        return self._take(work_out(job), now_s, history, position)

    def _failed(self, now_s: float) -> list[WatchEvent]:
        """Tell, once, that a refit could not be made."""
        if not self._apart.failed or self._told_failure:
            return []
        self._told_failure = True
        message = (
            "the kiln model could not be refitted, as no process for it could be started or it "
            "ended too soon; the forecast goes by the figures it has"
        )
        return [WatchEvent("refit", "note", "told", now_s, message)]

    def _take(
        self, answer: RefitAnswer, now_s: float, history: History, position: Position | None
    ) -> list[WatchEvent]:
        found = answer.found
        self._windows = max(self._windows, found.windows)
        if found.fitted is None:
            return []
        before = self._look(history, position, now_s)
        self._known, self._refitted_s = found, now_s
        self._set(found.fitted, answer.driven)
        after = self._look(history, position, now_s)
        unit = "C" if self._schedule is None else self._schedule.unit
        told = KilnChange(self.figures, found, before, after).notice(now_s, unit)
        return [] if told is None else [told]

    def _look(
        self, history: History, position: Position | None, now_s: float
    ) -> RemainingInKiln | None:
        if self._schedule is None or position is None:
            return None
        self._take_in(history, position)
        try:
            return self.ahead(position, now_s, history.now_c())
        except FiringError:
            return None


def _over_s(position: Position | None) -> float | None:
    """Return when the program ended [s]; None if it has not."""
    return position.arrived_s if position is not None and position.phase == "done" else None
