"""Scoring the physical reason of a delay against made firings of two kilns of different physics.

The kiln file is what an owner would write; the kiln is learnt from three healthy logs of other
days, then one fault at a time is made.  A reason is scored only where the fault shows: the program
ended ten minutes later than in the healthy twin, or its peak is 8 °C lower.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
from boxkiln import BOX_BISQUE, BOX_GLAZE, BoxController, BoxFaults, Day, fire_box
from logmaker import (
    BISQUE,
    GLAZE,
    Controller,
    Faults,
    Firing,
    PlanStep,
    Sampling,
    fire,
    sample,
    write_csv,
)

from firing.files.kinds import ready_text
from firing.kiln.description import KilnDescription
from firing.kiln.file import parse_kiln
from firing.kiln.fit import fit_kiln
from firing.logs.reader import Log, read_log
from firing.review.fit_input import fit_input_of
from firing.review.result import Review
from firing.review.review import review
from firing.schedule.schedule import Schedule, Segment
from firing.ware.load import Load, Piece

Physics = Literal["lumps", "box"]
LATE_S, SHORT_C = 600.0, 8.0

BOX_FILE = """
name = "Box kiln"
power_kw = 6.5
rated_volts = 230
volume_l = 120
shape = "box"
max_c = 1280
thermocouple = "K"
thermocouple_class = "2"
[[wall]]
material = "insulating brick 1260"
thickness_mm = 76
[[wall]]
material = "ceramic fibre blanket 128"
thickness_mm = 50
"""


@dataclass(frozen=True)
class Made:
    """One fault: what truly made the kiln late, and how each kiln is given it; None if it can't."""

    name: str
    reason: str
    lumps: Callable[[np.random.Generator], Faults] | None
    box: Callable[[np.random.Generator], BoxFaults] | None


H = 3600.0
MADE = (
    Made("healthy", "none", lambda r: Faults(), lambda r: BoxFaults()),
    Made(
        "worn elements",
        "power",
        lambda r: Faults(power_factor=r.uniform(0.68, 0.85)),
        lambda r: BoxFaults(power_factor=r.uniform(0.68, 0.85)),
    ),
    Made(
        "bank dead from the start",
        "power",
        lambda r: Faults(dead_banks=1),
        lambda r: BoxFaults(dead_banks=1),
    ),
    Made(
        "bank failing on the way",
        "power",
        lambda r: Faults(dead_banks=1, dead_from_c=r.uniform(500.0, 950.0)),
        lambda r: BoxFaults(dead_banks=1, dead_from_c=r.uniform(500.0, 950.0)),
    ),
    Made(
        "relay chattering",
        "power",
        None,
        lambda r: BoxFaults(chatter_from_c=r.uniform(300.0, 800.0), chatter_share=0.3),
    ),
    Made(
        "vent left on", "losses", lambda r: Faults(vent_on=True), lambda r: BoxFaults(vent_on=True)
    ),
    Made("vent plug left out", "losses", None, lambda r: BoxFaults(plug_out=True)),
    Made(
        "gap at the door",
        "losses",
        None,
        lambda r: BoxFaults(gap_w_per_k=r.uniform(0.5, 1.0)),
    ),
    Made(
        "load twice as heavy",
        "load",
        lambda r: Faults(load_factor=r.uniform(1.5, 2.2)),
        lambda r: BoxFaults(ware_factor=(f := r.uniform(1.5, 2.2)), furniture_factor=0.5 + 0.5 * f),
    ),
    Made("furniture doubled", "load", None, lambda r: BoxFaults(furniture_factor=2.2)),
    Made(
        "supply dip in the evening",
        "supply",
        lambda r: Faults(
            dip_volts=r.uniform(0.80, 0.90),
            dip_from_s=r.uniform(5.0, 7.0) * H,
            dip_length_s=r.uniform(2.0, 4.0) * H,
        ),
        lambda r: BoxFaults(
            dip_volts=r.uniform(0.80, 0.90),
            dip_from_s=r.uniform(5.0, 7.0) * H,
            dip_length_s=r.uniform(2.0, 4.0) * H,
        ),
    ),
)
REASONS = ("power", "losses", "load", "supply")


def as_schedule(plan: Sequence[PlanStep]) -> Schedule:
    """Return a plan of the instruments as a schedule."""
    purpose: Literal["bisque", "glaze"] = "bisque" if plan in (BISQUE, BOX_BISQUE) else "glaze"
    return Schedule("made", tuple(Segment(t, r, "rate", h) for r, t, h in plan), purpose)


@dataclass
class ReasonScore:
    """Counts over many cases."""

    shown: int = 0
    right: int = 0
    wrong: int = 0
    by_word: Counter[tuple[str, bool]] = field(default_factory=Counter)
    table: Counter[tuple[str, str]] = field(default_factory=Counter)
    healthy: int = 0
    quiet: int = 0
    misses: list[str] = field(default_factory=list)

    def add(self, other: "ReasonScore") -> None:
        """Count another score's cases with this one's."""
        for name in ("shown", "right", "wrong", "healthy", "quiet"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.by_word += other.by_word
        self.table += other.table
        self.misses += other.misses

    def word(self, word: str) -> tuple[int, int]:
        """Return how often a word was right, and how often it was said."""
        right = self.by_word[(word, True)]
        return right, right + self.by_word[(word, False)]

    def text(self) -> str:
        """Return the confusion table of reasons."""
        columns = (*REASONS, "unknown", "not asked")
        wide = max(len(made.name) for made in MADE)
        lines = [" " * wide + "  true    " + "  ".join(columns)]
        for made in MADE:
            cells = [f"{self.table[(made.name, c)]:>{len(c)}}" for c in columns]
            lines.append(f"{made.name:<{wide}}  {made.reason:<6}  " + "  ".join(cells))
        words = ", ".join(
            f"{w} {self.word(w)[0]}/{self.word(w)[1]}" for w in ("sure", "likely", "possible")
        )
        lines.append(
            f"right {self.right}/{self.shown}, wrong {self.wrong}/{self.shown}; by word: {words}; "
            f"healthy without a reason {self.quiet}/{self.healthy}"
        )
        return "\n".join([*lines, *self.misses])


def usual_load(physics: Physics, dryness: Literal["bone dry", "bisqued"]) -> Load:
    """Return what its owner would write of the usual load."""
    if physics == "lumps":
        return Load((Piece("pots", 50, 8.0, 0.7),), dryness, furniture_kg=28.0)
    return Load((Piece("bowls", 40, 10.0, 0.65),), dryness, furniture_kg=22.0)


def _run(
    physics: Physics, plan: tuple[PlanStep, ...], waits: bool, faults: Faults | BoxFaults, day: Day
) -> Firing:
    if physics == "lumps":
        assert isinstance(faults, Faults)
        # The load differs from day to day there too.
        own = replace(faults, load_factor=faults.load_factor * day.load_factor)
        return fire(
            plan,
            controller=Controller(waits=waits),
            faults=own,
            start_c=day.room_c,
            room_c=day.room_c,
        )
    assert isinstance(faults, BoxFaults)
    return fire_box(plan, controller=BoxController(waits=waits), faults=faults, day=day)


def _logged(firing: Firing, random: np.random.Generator, folder: Path, with_duty: bool) -> Log:
    how = Sampling(
        interval_s=float(random.choice([10.0, 30.0, 60.0])),
        noise_c=float(random.uniform(0.1, 0.5)),
        step_c=float(random.choice([0.1, 1.0])),
        seed=int(random.integers(1 << 30)),
        with_duty=with_duty,
    )
    return read_log(write_csv(sample(firing, how), folder / "log.csv"))


def _day(random: np.random.Generator) -> Day:
    return Day(
        load_factor=float(random.normal(1.0, 0.05)),
        room_c=float(random.uniform(12.0, 26.0)),
        supply_share=0.01,
        supply_phase=float(random.uniform(0.0, 6.28)),
    )


@lru_cache(maxsize=32)
def learnt_kiln(
    physics: Physics, waits: bool, with_duty: bool, with_load: bool, folder: Path
) -> KilnDescription:
    """Return the owner's kiln file, learnt from three healthy logs."""
    random = np.random.default_rng([7, physics == "box", waits, with_duty, with_load])
    kiln = parse_kiln(ready_text("example-kiln") if physics == "lumps" else BOX_FILE)
    plans = (BISQUE, GLAZE) if physics == "lumps" else (BOX_BISQUE, BOX_GLAZE)
    records = []
    for plan in (plans[0], plans[1], plans[1]):
        faults: Faults | BoxFaults = Faults() if physics == "lumps" else BoxFaults()
        log = _logged(_run(physics, plan, waits, faults, _day(random)), random, folder, with_duty)
        dryness: Literal["bone dry", "bisqued"] = "bone dry" if plan is plans[0] else "bisqued"
        records.append(
            fit_input_of(
                log,
                schedule=as_schedule(plan),
                load=usual_load(physics, dryness) if with_load else None,
            )
        )
    fit = fit_kiln(kiln, records)
    return replace(kiln, fitted=replace(fit.to_fitted(), learnt=date(2026, 1, 1)))


def score_reasons(
    physics: Physics, rounds: int, folder: Path, *, seed: int, plans: Sequence[int] = (0, 1)
) -> ReasonScore:
    """Make every fault `rounds` times on one kiln, review the logs, and count."""
    random = np.random.default_rng([seed, physics == "box"])
    both = (BISQUE, GLAZE) if physics == "lumps" else (BOX_BISQUE, BOX_GLAZE)
    result = ReasonScore()
    for number in range(rounds):
        for made in MADE:
            make = made.lumps if physics == "lumps" else made.box
            if make is None:
                continue
            which = plans[int(random.integers(len(plans)))]
            plan, waits = both[which], bool(random.random() < 0.5)
            with_duty, with_load = bool(random.random() < 0.5), bool(random.random() < 0.5)
            faults, day = make(random), _day(random)
            firing = _run(physics, plan, waits, faults, day)
            healthy = Faults() if physics == "lumps" else BoxFaults()
            twin = _run(physics, plan, waits, healthy, replace(day, load_factor=1.0, room_c=18.0))
            if made.reason != "none" and not _shows(firing, twin):
                continue
            log = _logged(firing, random, folder, with_duty)
            kiln = learnt_kiln(physics, waits, with_duty, with_load, folder)
            load = usual_load(physics, "bone dry" if which == 0 else "bisqued")
            answer = review(as_schedule(plan), log, kiln=kiln, load=load if with_load else None)
            where = (
                f"{physics} {number} {made.name}, {'bisque' if which == 0 else 'glaze'}, "
                f"{'waits' if waits else 'clock'}, {'duty' if with_duty else 'no duty'}, "
                f"{'load given' if with_load else 'no load'}"
            )
            _count(result, made, answer, where)
    return result


def _shows(firing: Firing, twin: Firing) -> bool:
    if twin.reading_c.max() - firing.reading_c.max() > SHORT_C:
        return True
    if firing.program_end_s is None or twin.program_end_s is None:
        return False
    return firing.program_end_s - twin.program_end_s > LATE_S


def _count(result: ReasonScore, made: Made, answer: Review, where: str) -> None:
    found = next((f for f in answer.findings if f.id == "power_cause"), None)
    said = "not asked" if found is None else str(found.reason)
    result.table[(made.name, said)] += 1
    if made.reason == "none":
        result.healthy += 1
        result.quiet += said in ("not asked", "unknown")
        return
    result.shown += 1
    result.right += said == made.reason
    wrong = said in REASONS and said != made.reason
    result.wrong += wrong
    if said in REASONS:
        assert found is not None
        result.by_word[(found.confidence, not wrong)] += 1
    if said != made.reason:
        seen = "" if found is None else f" ({found.confidence}; {found.evidence})"
        result.misses.append(f"{'wrong' if wrong else 'open'}: {where}: {said}{seen}")
