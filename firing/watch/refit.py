"""The kiln model refitted to the firing so far; what the firing cannot tell stays as it was.

A watch has it done in a process of its own, so that no reading ever waits for it. A thread would
not do: the search is pure arithmetic and would keep the interpreter to itself for milliseconds at a
time, on and on, each time a line comes in.
"""

from __future__ import annotations

import math
import os
import pickle
import subprocess
import sys
import threading
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from firing.errors import FiringError
from firing.kiln.description import Fitted, KilnDescription
from firing.schedule.schedule import Schedule
from firing.trace import FloatArray, Trace
from firing.ware.load import Load
from firing.watch.state import AS_EXPECTED, AT_ITS_BEST, AT_ITS_WORST
from firing.watch.state_estimator import KilnStateEstimator, duty_after_program, estimator_on_side

if TYPE_CHECKING:
    from firing.kiln.fit_result import KilnFit
    from firing.kiln.residuals import FiringRecord, RecordResiduals
    from firing.logs.reader import Log

LOG_NAME = "this firing"
FIGURES = ("power", "loss", "capacity")
MORE_DATA_FACTOR = 1.1
LEAST_POWERED = 2
"""Half-hours with the elements known to be on that tell of the power at the least."""
LEAST_HOT_C = 400.0
"""Below, what the load still dries out weighs more than the kiln [°C]; common practice."""

ERROR_OF_DESCRIBED = {"power": 0.05, "loss": 0.10}
"""How far the figures of a kiln file may be off, as shares, one standard error; common practice."""
ERROR_OF_FITTED = {"power": 0.035, "loss": 0.045}
"""The same for figures that were fitted to earlier logs; source: kiln-fit-choices."""


CHANGED_SHARE, CHANGED_ERRORS = 0.06, 3.0
"""The supply changed where the power shown before and after differs by this share, and by so many
standard errors; common practice, no source [-, -]."""
OUTDONE, SEEN_S = 1.04, 1800.0
"""A lack of power is over once the course took so many times as much, for so long [-, s]."""


@dataclass(frozen=True, eq=False)
class RefitJob:
    """What a refit needs; it may go to another process.

    `duty` is NaN where it is not known, `windows` of how many half-hours the last refit knew:
    another is made only of a tenth more.  The program was over at `off_from_s`.  `known` is what
    this firing has taught so far; None where nothing.
    """

    kiln: KilnDescription
    load: Load | None
    schedule: Schedule | None
    time_s: FloatArray
    temperature_c: FloatArray
    duty: FloatArray
    windows: int = 0
    off_from_s: float | None = None
    known: RefitResult | None = None


@dataclass(frozen=True, slots=True)
class RefitResult:
    """What a firing so far has taught, from so many half-hours (`windows`).

    `fitted` is None where the kiln's figures stay as they were; the errors of power and loss, over
    the capacity, are shares.  `did` is the power that the firing took at the most, over
    half an hour.
    """

    fitted: Fitted | None
    power_se: float
    loss_se: float
    learnt: tuple[str, ...] = ()
    windows: int = 0
    did: float = 0.0

    @property
    def errors(self) -> tuple[float, float]:
        """How far power and loss may be off, as shares."""
        return self.power_se, self.loss_se


def result_before_any_refit(kiln: KilnDescription, windows: int = 0) -> RefitResult:
    """Return what is known of a kiln before a firing has taught anything."""
    known = ERROR_OF_DESCRIBED if kiln.fitted.learnt is None else ERROR_OF_FITTED
    return RefitResult(None, known["power"], known["loss"], (), windows)


def refit(job: RefitJob) -> RefitResult:
    """Fit power, loss and capacity to a firing so far.

    Times hang on power and loss over capacity alone, and those a log tells without an anchor: so
    the capacity stays the file's unless the load's mass fixes it.  The loss shows late; until it
    does, the power is sought that goes with the loss of the kiln file, and the error of that loss
    is one of the power's.  After the program only the losses are sought: of power a cooling tells
    nothing, and the one that goes with other losses would be another.
    """
    from firing.kiln.residuals import RecordResiduals, described
    from firing.review.fit_input import fit_input_of

    nothing = result_before_any_refit(job.kiln, job.windows)
    try:
        record = fit_input_of(_log(job), schedule=job.schedule, load=job.load)
        residuals = RecordResiduals(described(job.kiln), record)
        did = _did(residuals, job)
    except FiringError:
        return nothing
    return replace(_refitted(job, record, residuals, nothing), did=did)


def _refitted(
    job: RefitJob, record: FiringRecord, residuals: RecordResiduals, nothing: RefitResult
) -> RefitResult:
    from firing.kiln.fit import fit_kiln

    windows = len(residuals.windows)
    before = job.kiln.fitted
    known = nothing if job.known is None else job.known
    now = before if known.fitted is None else known.fitted
    shown = "power" in known.learnt
    # A lack of power that is over leaves no half-hour at full power that would say so.
    by_file = replace(nothing, fitted=before if shown else None, windows=windows)
    if windows <= job.windows * MORE_DATA_FACTOR:
        # Asked with the losses it was found with: with others any power is outdone.
        at = now.power, now.loss, now.capacity, now.leak_factor
        more = shown and job.off_from_s is None and _is_outdone(residuals, *at)
        return by_file if more else nothing
    try:
        found = fit_kiln(job.kiln, [record])
    except FiringError:
        found = None  # too little yet, or nothing that this kiln could have done
    if job.off_from_s is not None:
        return _cooled(known, now, found, windows)
    learnt: list[str] = []
    capacity, loss, power, leak = before.capacity, before.loss, before.power, before.leak_factor
    loss_se, power_se = nothing.loss_se, nothing.power_se
    if found is not None and found.capacity.identifiable:
        capacity = found.capacity.value
        learnt.append("capacity")
    if (
        found is not None
        and found.losses_over_capacity.identifiable
        and found.diagnostics.off_s > 0.0  # losses show in natural cooling, and hardly before
    ):
        loss = found.loss_over_capacity.value * capacity
        leak = found.leak_over_capacity.value * capacity
        loss_se = found.losses_over_capacity.se / found.losses_over_capacity.value
        learnt.append("loss")
        if found.power_over_capacity.identifiable:
            power = found.power_over_capacity.value * capacity
            power_se = found.power_over_capacity.se / found.power_over_capacity.value
            learnt.append("power")
    else:
        found_power = _power_for(residuals, loss, capacity, leak, loss_se)
        if found_power is not None:
            power, power_se = found_power
            learnt.append("power")
    if not learnt:
        return by_file
    fitted = replace(before, power=power, loss=loss, capacity=capacity, leak=leak)
    return RefitResult(fitted, power_se, loss_se, tuple(sorted(learnt, key=FIGURES.index)), windows)


def _cooled(known: RefitResult, now: Fitted, found: KilnFit | None, windows: int) -> RefitResult:
    """Return what a cooling adds to what is known: the losses, at the capacity there is."""
    told = None if found is None else found.losses_over_capacity
    if found is None or told is None or not told.identifiable or found.diagnostics.off_s <= 0.0:
        return replace(known, fitted=None, windows=windows)
    loss, leak = found.loss_over_capacity.value, found.leak_over_capacity.value
    return RefitResult(
        replace(now, loss=loss * now.capacity, leak=leak * now.capacity),
        known.power_se,
        told.se / told.value,
        tuple(name for name in FIGURES if name == "loss" or name in known.learnt),
        windows,
    )


def _power_for(
    residuals: RecordResiduals, loss: float, capacity: float, leak: float, loss_se: float
) -> tuple[float, float] | None:
    """Return the power that goes best with a loss and a capacity, and its error as a share.

    None where the firing does not tell it.
    """
    from firing.kiln.fit import ABSURD, MODEL_SCATTER, RATIO_TOLD
    from firing.kiln.residuals import Multipliers

    hot = float(residuals.record.chamber_c.max()) >= LEAST_HOT_C
    if not hot or np.count_nonzero(residuals.powered) < LEAST_POWERED:
        return None

    at = Multipliers(1.0, loss, capacity, leak)
    try:
        need_j, given_j = residuals.window_j(at)
        now = present_windows(need_j, given_j, residuals.scatter_j, residuals.powered)

        def best(more: float) -> float:
            """Return the best power where walls and air carry off so many times as much."""
            other = Multipliers(1.0, more * loss, capacity, more * leak)
            need_j, given_j = residuals.window_j(other)
            weight = np.where(now, given_j / residuals.scatter_j**2, 0.0)
            return float(weight @ need_j) / float(weight @ given_j)

        power, with_more = best(1.0), best(1.0 + loss_se)
        if _is_outdone(residuals, power, loss, capacity, leak):
            return None
    except FiringError:
        return None
    given = given_j[now] / residuals.scatter_j[now]
    # In units of a window's scatter, so that low power tells less than full.
    by_windows = 1.0 / (power * float(np.sqrt(given @ given)))
    by_loss = abs(with_more - power) / power
    power_se = math.sqrt(by_windows**2 + by_loss**2 + MODEL_SCATTER**2)
    if not ABSURD[0] <= power <= ABSURD[1] or power_se > RATIO_TOLD:
        return None
    return power, power_se


def present_windows(
    need_j: FloatArray, given_j: FloatArray, scatter_j: FloatArray, powered: npt.NDArray[np.bool_]
) -> npt.NDArray[np.bool_]:
    """Return the half-hours at full power that tell of it as it is now: after its last change.

    A dip of the supply that is over says nothing of the rest, nor does what was before a bank died.
    """
    at = np.flatnonzero(powered)
    power, off = need_j[at] / given_j[at], scatter_j[at] / given_j[at]
    weight = off**-2.0
    surest, since = 0.0, 0
    for cut in range(LEAST_POWERED, at.size - LEAST_POWERED + 1):
        before = float(np.average(power[:cut], weights=weight[:cut]))
        after = float(np.average(power[cut:], weights=weight[cut:]))
        error = math.sqrt(1.0 / float(weight[:cut].sum()) + 1.0 / float(weight[cut:].sum()))
        if abs(after / before - 1.0) > CHANGED_SHARE and abs(after - before) > surest * error:
            surest, since = abs(after - before) / error, cut
    now = powered.copy()
    if surest > CHANGED_ERRORS:
        now[at[:since]] = False
    return now


def _is_outdone(
    residuals: RecordResiduals, power: float, loss: float, capacity: float, leak: float
) -> bool:
    """Tell whether the kiln has done more, since it was last known to be at full power."""
    powered = np.flatnonzero(residuals.powered)
    if not powered.size:
        return False
    last = int(residuals.windows[int(powered[-1])][1])
    return _most_power(residuals, loss, capacity, leak, last) > OUTDONE * power


def _did(residuals: RecordResiduals, job: RefitJob) -> float:
    now = job.kiln.fitted
    if job.known is not None and job.known.fitted is not None:
        now = job.known.fitted
    return _most_power(residuals, now.loss, now.capacity, now.leak_factor)


def _most_power(
    residuals: RecordResiduals, loss: float, capacity: float, leak: float, first: int = 0
) -> float:
    """Return the power that the course took at the most, for so long, from a step on."""
    from firing.kiln.residuals import Multipliers

    need_j, full_j = residuals.sides(Multipliers(1.0, loss, capacity, leak))
    count = max(1, round(SEEN_S / float(np.median(residuals.record.step_s))))
    if need_j.size - first <= count:
        return 0.0
    ones = np.ones(count)
    needed, full = (np.convolve(side[first:], ones, "valid") for side in (need_j, full_j))
    return float(np.max(needed / full))


def _log(job: RefitJob) -> Log:
    """Return the firing so far as a log, as if it had been read from a file."""
    from firing.logs.reader import log_of

    duty = job.duty if np.isfinite(job.duty).any() else None
    trace = Trace(job.time_s, job.temperature_c, ("kiln",), "measured", duty=duty)
    return log_of(trace, LOG_NAME)


NICENESS = 10
"""On a computer of one core too, readings go first."""


@dataclass(frozen=True, eq=False)
class RefitAnswer:
    """What a refit has found, and its kilns led along the firing so far, by side."""

    found: RefitResult
    estimators: dict[int, KilnStateEstimator]


def run_refit(job: RefitJob) -> RefitAnswer:
    """Refit a kiln, and lead it along the firing so far if that changed its figures."""
    found = refit(job)
    estimators: dict[int, KilnStateEstimator] = {}
    if found.fitted is not None:
        kiln = replace(job.kiln, fitted=found.fitted)
        duty = duty_after_program(job.time_s, job.duty, job.off_from_s)
        for side in (AS_EXPECTED, AT_ITS_BEST, AT_ITS_WORST):
            one = estimator_on_side(kiln, job.load, job.schedule, found.errors, side)
            try:
                one.follow(job.time_s, job.temperature_c, duty)
            except FiringError:
                continue  # whoever asks it meets the same refusal
            estimators[side] = one
    return RefitAnswer(found, estimators)


class RefitWorker:
    """Does one refit at a time, elsewhere; `failed`: the last was not begun or not answered."""

    def __init__(self) -> None:
        self.failed = False
        self._process: subprocess.Popen[bytes] | None = None
        self._thread: threading.Thread | None = None
        self._answer: RefitAnswer | None = None

    @property
    def busy(self) -> bool:
        """Whether a refit is under way, or waits to be taken."""
        return self._thread is not None

    def start(self, job: RefitJob) -> None:
        """Begin a refit."""
        self._answer = None
        try:
            self._process = subprocess.Popen(
                # -P: a file of the folder the watch was begun in is no module of this package.
                [sys.executable, "-P", "-m", "firing.watch.refit"],
                env={
                    **os.environ,
                    "PYTHONPATH": os.pathsep.join(part for part in sys.path if part),
                },
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                # A Ctrl-C meant for the watch is none of its business.
                start_new_session=True,
            )
        except OSError:
            self.failed = True
            return
        # The thread only waits: for the pipe to take the job, and for the answer.
        self._thread = threading.Thread(
            target=self._exchange, args=(self._process, pickle.dumps(job)), daemon=True
        )
        self._thread.start()

    def _exchange(self, process: subprocess.Popen[bytes], job: bytes) -> None:
        try:
            answer, _ = process.communicate(job)
            self._answer = pickle.loads(answer) if process.returncode == 0 else None
        except (OSError, ValueError, EOFError, pickle.UnpicklingError):
            self._answer = None

    def take_answer(self) -> RefitAnswer | None:
        """Return what a refit that is over has found; None while it is not, or if it failed."""
        if self._thread is None or self._thread.is_alive():
            return None
        self._thread = self._process = None
        self.failed = self._answer is None
        return self._answer

    def close(self) -> None:
        """End what is under way."""
        if self._process is not None and self._process.poll() is None:
            self._process.kill()
        if self._thread is not None:
            self._thread.join(1.0)


def main() -> None:
    """Read a job from standard input and write what it finds to standard output."""
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    job = pickle.load(sys.stdin.buffer)
    pickle.dump(run_refit(job), sys.stdout.buffer)


if __name__ == "__main__":
    # Under its own name, so that what it answers is known by that name where it is read.
    from firing.watch import refit as this

    this.main()
