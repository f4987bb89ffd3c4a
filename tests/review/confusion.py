"""Scoring reviews against made firings with one known fault each.

The table of faults below says what a right answer is.  Truth is the faulty run minus its healthy
twin: the program's end, later.  A cause is scored only where that difference exceeds ten minutes;
otherwise the finding is.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import numpy as np
from logmaker import BISQUE, GLAZE, Controller, Faults, PlanStep, Sampling, fire, sample, write_csv

from firing.logs.reader import read_log
from firing.review.result import Review
from firing.review.review import review
from firing.schedule.schedule import Schedule, Segment

TEN_MIN_S = 600.0
SHORT_C = 8.0


@dataclass(frozen=True)
class Fault:
    """One fault: how it is made, the cause it should be charged to, the findings that tell it."""

    name: str
    make: Callable[[Sequence[PlanStep]], Faults]
    cause: str | None
    findings: frozenset[str] = frozenset()
    with_start: bool = False


def _slower(plan: Sequence[PlanStep]) -> Faults:
    fastest = max(rate for rate, target, _ in plan if rate is not None and target > 500.0)
    return Faults(
        keyed_in=tuple((0.6 * r if r == fastest else r, t, h) for r, t, h in plan)  # type: ignore[operator]  # every rate here is a number
    )


def _longer(plan: Sequence[PlanStep]) -> Faults:
    return Faults(keyed_in=tuple((r, t, 3600.0 if h == 900.0 else h) for r, t, h in plan))


SHORT = frozenset({"peak_missed", "cone_missed"})
FAULTS = (
    Fault("healthy", lambda plan: Faults(), None),
    Fault("elements at 78 %", lambda plan: Faults(power_factor=0.78), "power_limited", SHORT),
    Fault(
        "supply 15 % low for 4 h",
        lambda plan: Faults(dip_volts=0.85, dip_from_s=4 * 3600.0, dip_length_s=4 * 3600.0),
        "power_limited",
        SHORT,
    ),
    Fault("one bank of three dead", lambda plan: Faults(dead_banks=1), "power_limited", SHORT),
    Fault(
        "40 min outage at 700 °C",
        lambda plan: Faults(outage_at_c=700.0, outage_s=2400.0),
        "interruption",
    ),
    Fault("another rate keyed in", _slower, "other_program"),
    Fault("60 min hold for 15", _longer, "longer_hold"),
    Fault("load × 1.6", lambda plan: Faults(load_factor=1.6), "power_limited", SHORT),
    Fault("vent left on", lambda plan: Faults(vent_on=True), "power_limited", SHORT),
    Fault("lid propped at 500 °C", lambda plan: Faults(lid_propped_at_c=500.0), None),
    Fault("reads 20 °C low", lambda plan: Faults(thermocouple_offset_c=-20.0), None),
    Fault(
        "4 h late",
        lambda plan: Faults(late_start_s=4 * 3600.0),
        "late_start",
        with_start=True,
    ),
    Fault(
        "stopped early",
        lambda plan: Faults(stop_at_c=640.0),
        None,
        frozenset({"stopped_early"}),
    ),
)


@dataclass
class Score:
    """Counts over many cases."""

    charged: int = 0
    right: int = 0
    minutes_right: int = 0
    healthy: int = 0
    clean: int = 0
    told: int = 0
    to_tell: int = 0
    table: Counter[tuple[str, str]] = field(default_factory=Counter)
    misses: list[str] = field(default_factory=list)

    def text(self) -> str:
        """Return the confusion table: what was made, and what the review charged it to."""
        columns = sorted({answer for _, answer in self.table})
        wide = max(len(fault.name) for fault in FAULTS)
        lines = [" " * wide + "  " + "  ".join(columns)]
        for fault in FAULTS:
            cells = [f"{self.table[(fault.name, answer)]:>{len(answer)}}" for answer in columns]
            lines.append(f"{fault.name:<{wide}}  " + "  ".join(cells))
        lines.append(
            f"largest cause right {self.right}/{self.charged}, its minutes right "
            f"{self.minutes_right}/{self.charged}; no cause above 10 min in a healthy firing "
            f"{self.clean}/{self.healthy}; told by a finding {self.told}/{self.to_tell}"
        )
        return "\n".join([*lines, *self.misses])


def as_schedule(plan: Sequence[PlanStep]) -> Schedule:
    """Return a plan of the log maker as a schedule."""
    segments = tuple(Segment(t, rate, "rate", hold_s) for rate, t, hold_s in plan)
    return Schedule("made", segments, "bisque" if plan is BISQUE else "glaze")


def score(cases: int, folder: Path, *, seed: int, intervals_s: Sequence[float]) -> Score:
    """Make `cases` firings, one fault after another, review them, and count."""
    random = np.random.default_rng(seed)
    result = Score()
    twins: dict[tuple[int, bool], float | None] = {}
    for number in range(cases):
        fault = FAULTS[number % len(FAULTS)]
        plan = (BISQUE, GLAZE)[(number // len(FAULTS)) % 2]
        waits = bool((number // (2 * len(FAULTS))) % 2)
        controller = Controller(waits=waits)
        key = (id(plan), waits)
        if key not in twins:
            twins[key] = fire(plan, controller=controller).program_end_s
        firing = fire(plan, controller=controller, faults=fault.make(plan))
        sampling = Sampling(
            interval_s=float(random.choice(intervals_s)),
            noise_c=float(random.uniform(0.1, 0.5)),
            step_c=float(random.choice([0.25, 1.0])),
            seed=number,
            with_duty=bool(random.random() < 0.5),
            with_set_point=bool(random.random() < 0.5),
        )
        log = read_log(write_csv(sample(firing, sampling), folder / "log.csv"))
        due: datetime | None = log.trace.started if fault.with_start else None
        answer = review(as_schedule(plan), log, due=due)
        late_s = None
        if firing.program_end_s is not None and twins[key] is not None:
            late_s = firing.program_end_s - float(twins[key] or 0.0)
        where = f"{number} {fault.name}, {'bisque' if plan is BISQUE else 'glaze'}, "
        where += f"{'waits' if waits else 'clock'}, {sampling.interval_s:.0f} s"
        short_c = max(t for _, t, _ in plan) - float(np.max(firing.reading_c))
        _count(result, fault, answer, late_s, short_c, where)
    return result


def _count(
    result: Score, fault: Fault, answer: Review, late_s: float | None, short_c: float, where: str
) -> None:
    telling = [c for c in answer.causes if abs(c.seconds) > TEN_MIN_S]
    largest = telling[0].cause if telling else "none"
    found = {finding.id for finding in answer.findings}
    result.table[(fault.name, largest if answer.actual_s is not None else "unfinished")] += 1
    if fault.name == "healthy":
        result.healthy += 1
        clean = not telling
        result.clean += clean
        if not clean:
            result.misses.append(f"not clean: {where}: {telling}")
    elif fault.cause is not None and late_s is not None and late_s > TEN_MIN_S:
        result.charged += 1
        right = largest == fault.cause
        seconds = telling[0].seconds if telling else 0.0
        close = right and abs(seconds - late_s) <= max(0.15 * late_s, 300.0)
        result.right += right
        result.minutes_right += close
        if not close:
            result.misses.append(
                f"{'minutes' if right else 'cause'}: {where}: true {late_s / 60:.0f} min, "
                + ", ".join(f"{c.cause} {c.seconds / 60:.0f}" for c in answer.causes)
            )
    elif fault.findings and (late_s is None or short_c > SHORT_C):
        # A kiln that came to its peak on time all the same has nothing to tell.
        result.to_tell += 1
        told = bool(found & fault.findings)
        result.told += told
        if not told:
            result.misses.append(f"not told: {where}: {sorted(found)}")
