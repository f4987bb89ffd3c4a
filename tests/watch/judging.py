"""Judges the watch on some hundreds of firings: `PYTHONPATH=tests python -m watch.judging 5000`.

Seeds from 700 on are looked at while the watch is worked on; those from 5000 on are for a judgement
alone.  What an ideal observer could know, who has both courses, is told beside what the watch told.
"""

import argparse
import math
import multiprocessing
import sys
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np
from watch.batchfirings import (
    CIRCUIT,
    DANGERS,
    HOUR_S,
    KILNS,
    PROGRAMS,
    BatchKiln,
    Judged,
    Program,
    Wanted,
    disturbed,
    fire_all,
    judged,
    read,
)

from firing.capture.reading import PlausibilityCheck, Reading, Status
from firing.forecast.forecast import forecast
from firing.heat.properties import wall_material
from firing.kiln.description import KilnDescription, WallLayer
from firing.kiln.fit import fit_kiln
from firing.logs.dialect import Dialect
from firing.logs.reader import Log
from firing.review.fit_input import fit_input_of
from firing.review.position import Plan
from firing.schedule.schedule import Schedule, Segment
from firing.trace import Trace
from firing.watch.events import AlarmLimits, WatchEvent
from firing.watch.kiln_model import KilnModel
from firing.watch.predictor import ForecastPredictor
from firing.watch.state import Estimate
from firing.watch.watcher import Watcher

MIX = {
    "healthy": 60, "heavy": 20, "weak": 24, "late": 24, "dip": 24, "outage": 16,
    "bank": 16, "slow bank": 12, "half": 12, "cut in candling": 14, "cut at the top": 14,
    "cut in a ramp": 10, "hold goes on": 10, "welded": 10, "welded in a ramp": 10,
    "shorted": 4, "reversed": 4, "pulled out": 4, "stuck": 4, "reversed from the start": 8,
}  # fmt: skip
WATCHED_BEFORE_S, SOON_S, SELDOM_S = 2.0 * HOUR_S, HOUR_S, 590.0
"""The watch begins so long before a danger, and from so long after the program on it sees readings
no closer than this: both only save the judge's time [s]."""
HEATED, COOLED = (0.25, 0.5, 0.75, 0.9), (0.5, 0.7, 0.85, 0.95)
UNLOAD_C = 60.0
LATE_S = 1800.0
KNOWN_ERRORS = 5.0
"""An observer who may raise no false alarm in a million readings needs so many standard errors."""


def schedule_of(program: Program) -> Schedule:
    return Schedule("judged", tuple(Segment(t, r, "rate", 60.0 * h) for r, t, h in program))


def keyed(one: Judged) -> Schedule:
    """Return the schedule that the watch is given."""
    program, peak = one.case.wanted.program, one.made.peak_index
    if one.case.kind == "hold goes on":
        rate, target_c, hold_min = program[peak]
        program = (*program[:peak], (rate, target_c, hold_min - 180.0), *program[peak + 1 :])
    return schedule_of(program)


@cache
def fitted_kiln(kiln: BatchKiln) -> KilnDescription:
    """Return a kiln file that two firings of the kiln as it was new were fitted to."""
    described = KilnDescription(
        "judged", kiln.power_w, 240.0, 1000.0 * kiln.edge_m**3, "box",
        (WallLayer(wall_material("insulating brick 1260"), kiln.brick_m),),
        leak_w_per_k=kiln.leak_w_per_k,
    )  # fmt: skip
    records, names = [], ("stoneware", "quick bisque")
    load = replace(kiln, ware_kg=0.95 * kiln.ware_kg)
    for name, made in zip(
        names, fire_all([Wanted(PROGRAMS[name], load) for name in names]), strict=True
    ):
        time_s = np.arange(0.0, made.time_s[-1], 60.0)
        reading_c = np.interp(time_s, made.time_s, made.true_c)
        reading_c += np.random.default_rng(len(name)).normal(0.0, 0.3, time_s.size)
        duty = np.convolve(made.duty, np.ones(12) / 12, "same")[::12][: time_s.size]
        log = Log(
            path=Path(name),
            trace=Trace(time_s, reading_c, ("kiln",), "measured", duty=np.clip(duty, 0.0, 1.0)),
            dialect=Dialect("utf-8", ",", ".", 0, 2, True, (), "elapsed clock"),
            rows=time_s.size, used=time_s.size, notes=(), interval_s=60.0, setpoint_c=None,
            unusable=(0,), name=name,
        )  # fmt: skip
        records.append(fit_input_of(log, schedule=schedule_of(PROGRAMS[name])))
    found = fit_kiln(described, records, on=date(2026, 1, 1))
    return replace(described, fitted=found.to_fitted(described.fitted))


def watcher_for(one: Judged, *, kiln: bool = False) -> Watcher:
    schedule, lost_s = keyed(one), max(60.0, 2.5 * one.case.interval_s)
    limits = AlarmLimits(schedule.peak_c + 20.0, lost_after_s=lost_s)
    if not kiln:
        return Watcher(limits, schedule, ForecastPredictor(forecast(schedule)))
    edge_m = one.case.wanted.kiln.edge_m
    fitted = fitted_kiln(next(known for known in KILNS if known.edge_m == edge_m))
    course = forecast(schedule, kiln=fitted)
    model = KilnModel(
        fitted, None, schedule, ForecastPredictor(course), cooling=course.cooling_range
    )
    return Watcher(limits, schedule, model, model=model)


def followed(
    one: Judged, until_s: float, ask_s: tuple[float, ...] = (), *, kiln: bool = False
) -> tuple[list[WatchEvent], list[Estimate]]:
    """Watch a firing; return what is told, and how it stands at some moments."""
    time_s, reading_c = read(one.case, one.made, until_s)
    if one.case.kind in CIRCUIT:
        reading_c = disturbed(one.case.kind, time_s, reading_c, one.danger_s)
    watcher = watcher_for(one, kiln=kiln)
    begin_s = one.danger_s - WATCHED_BEFORE_S if one.case.kind in DANGERS else 0.0
    calm_s, next_s = one.made.end_s + SOON_S, 0.0
    watcher.begin(0.0, live=False)
    judge, told, stands, left = PlausibilityCheck(1), [], [], list(ask_s)
    for moment_s, value_c in zip(time_s.tolist(), reading_c.tolist(), strict=True):
        if moment_s < begin_s:
            watcher.add_earlier(moment_s, value_c)
            continue
        if moment_s > calm_s:
            if moment_s < next_s:
                continue
            next_s = moment_s + SELDOM_S
        reading = Reading([value_c], [Status.OK], moment_s)
        judge.mark(moment_s, reading)
        told += watcher.add(moment_s, reading, 0)
        while left and moment_s >= left[0]:
            stands.append(watcher.estimate(moment_s))
            left.pop(0)
    watcher.close()
    return told, stands


@dataclass
class Verdict:
    """How the watch did on one firing; times count from the danger, or the truth [s].

    `knowable_s` is when an ideal observer knows of the danger, `bar_s` when it has to be told.
    `ends` and `unloads` are by the share of heating or cooling: how far off, and the range's ends;
    of unloading as shares of what is left.  `late` is an end half an hour later than planned.
    """

    words: str
    kind: str
    number: int
    false: list[tuple[str, float]] = field(default_factory=list)
    told_s: float = math.inf
    knowable_s: float = math.inf
    bar_s: float = 300.0
    died: str = ""
    polarity: bool = True
    late: bool = False
    ends: dict[float, tuple[float, float, float]] = field(default_factory=dict)
    unloads: dict[float, tuple[float, float, float]] = field(default_factory=dict)


def knowable_s(one: Judged, usual_c: np.ndarray) -> float:
    """Return when one who knows the healthy course and the faulty knows which it is [s]."""
    time_s, _ = read(one.case, one.made, math.inf)
    time_s = time_s[time_s >= one.danger_s]
    healthy_c = np.interp(time_s, np.arange(usual_c.size) * 5.0, usual_c)
    faulty_c = np.interp(time_s, one.made.time_s, one.made.true_c)
    if one.case.kind in CIRCUIT:
        faulty_c = disturbed(one.case.kind, time_s, faulty_c, one.danger_s)
    variance = one.case.noise_c**2 + one.case.digits_c**2 / 12.0
    sure = np.sqrt(np.cumsum((healthy_c - faulty_c) ** 2) / variance) > KNOWN_ERRORS
    return float(time_s[int(np.argmax(sure))]) - one.danger_s if sure.any() else math.inf


def verdict(one: Judged, *, kiln: bool = False) -> Verdict:
    case, made = one.case, one.made
    kind, control = case.kind, case.wanted.controller
    words = (
        f"{kind} {case.number}: {schedule_of(case.wanted.program).peak_c:.0f} °C, "
        f"{case.wanted.kiln.edge_m} m, relay {control.dead_band_c}, band {control.band_c}, "
        f"every {case.interval_s:.0f} s ±{case.noise_c} °C {case.digits_c}"
    )
    found = Verdict(words, kind, case.number)
    danger = kind in DANGERS
    until_s = float(made.time_s[-1])
    if danger and kind != "outage":
        until_s = min(until_s, one.danger_s + 1.5 * HOUR_S if one.danger_s > 0.0 else 2.5 * HOUR_S)
    asked: tuple[float, ...] = ()
    ended = made.heating_end_s < math.inf and made.end_s < math.inf
    found.late = ended and made.end_s - Plan(keyed(one)).segments[-1].end_s > LATE_S
    if not danger and ended:
        cold_s = float(made.time_s[np.flatnonzero(made.true_c > UNLOAD_C)[-1]])
        asked = tuple(
            [share * made.heating_end_s for share in HEATED]
            + [made.end_s + share * (cold_s - made.end_s) for share in COOLED]
        )
    try:
        told, stands = followed(one, until_s, asked, kiln=kiln)
    except Exception as died:  # a watch that dies is what is judged here
        found.died = repr(died)
        return found
    acts = [n for n in told if n.severity == "act" and n.state == "raised"]
    found.false = [(n.id, round(n.at_s / 60.0, 1)) for n in acts if n.at_s < one.danger_s]
    if danger:
        right = [n for n in acts if n.id in DANGERS[kind] and n.at_s >= one.danger_s]
        if right:
            found.told_s = right[0].at_s - one.danger_s
            found.polarity = "reversed" not in kind or "swap" in right[0].message
        found.bar_s = max(300.0, 3.0 * case.interval_s)
        found.knowable_s = knowable_s(one, one.usual_c)
    for share, stand in zip(HEATED, stands, strict=False):
        if stand.program_end_s is not None:
            low_s, high_s = stand.program_end_low_s, stand.program_end_high_s
            found.ends[share] = (
                stand.program_end_s - made.end_s,
                -math.inf if low_s is None else low_s - made.end_s,
                math.inf if high_s is None else high_s - made.end_s,
            )
    for share, stand in zip(COOLED, stands[len(HEATED) :], strict=False):
        left_s = cold_s - stand.now_s
        if stand.unload_s is not None:
            low_s, high_s = stand.unload_low_s, stand.unload_high_s
            found.unloads[share] = (
                (stand.unload_s - stand.now_s) / left_s - 1.0,
                -math.inf if low_s is None else (low_s - stand.now_s) / left_s - 1.0,
                math.inf if high_s is None else (high_s - stand.now_s) / left_s - 1.0,
            )
    return found


def table(verdicts: Iterable[Verdict]) -> str:
    by_kind: dict[str, list[Verdict]] = defaultdict(list)
    for one in verdicts:
        by_kind[one.kind].append(one)
    every = [one for some in by_kind.values() for one in some]
    lines = [f"{len(every)} firings, {sum(bool(one.died) for one in every)} deaths"]
    for kind, some in by_kind.items():
        false = [(one.number, one.false) for one in some if one.false]
        line = f"{kind:24s} {len(some):3d}  false alarms {len(false)}"
        if kind in DANGERS:
            in_time = [one.told_s <= one.bar_s + 1.0 for one in some]
            can = [one.knowable_s <= one.bar_s + 1.0 for one in some]
            late = [
                f"{one.number}: {one.told_s / 60.0:.1f} ({one.knowable_s / 60.0:.1f})"
                for one, good in zip(some, in_time, strict=True)
                if not good
            ]
            soon = sum(one.told_s <= one.knowable_s + one.bar_s + 1.0 for one in some)
            line += (
                f"  in time {sum(in_time)}, of {sum(can)} knowable "
                f"{sum(a and b for a, b in zip(in_time, can, strict=True))}, in time from there "
                f"{soon}; late by minutes (knowable): {', '.join(late)}"
            )
            if not all(one.polarity for one in some):
                line += "  POLARITY NOT NAMED"
        lines.append(line + (f"  {false}" if false else ""))
    lines += _accuracy("end, minutes off", every, lambda one: one.ends, HEATED, 1.0 / 60.0)
    late = [one for one in every if one.late]
    lines += _accuracy("late end, minutes off", late, lambda one: one.ends, HEATED, 1.0 / 60.0)
    lines += _accuracy("unload, share off", every, lambda one: one.unloads, COOLED, 1.0)
    return "\n".join(lines)


def _accuracy(
    what: str,
    every: list[Verdict],
    of: Callable[[Verdict], dict[float, tuple[float, float, float]]],
    shares: tuple[float, ...],
    scale: float,
) -> list[str]:
    lines = []
    for kind in (*dict.fromkeys(one.kind for one in every if of(one)), "all"):
        for share in shares:
            all_of = [
                of(one)[share] for one in every if kind in (one.kind, "all") and share in of(one)
            ]
            if not all_of:
                continue
            off, low, high = scale * np.array(all_of).T
            size = np.abs(off)
            widths = high - low
            bars = (2.0, 10.0) if scale < 1.0 else (0.15,)
            within = "  ".join(f"within {bar:g}: {np.mean(size <= bar):.2f}" for bar in bars)
            lines.append(
                f"{what} {kind:8s} at {share:.2f} n={off.size:3d}  median {np.median(size):.2f}  "
                f"90 % {np.quantile(size, 0.9):.2f}  {within}  covered "
                f"{np.mean((low <= 0.0) & (high >= 0.0)):.2f}  width {np.median(widths):.2f}  "
                f"open {np.mean(np.isinf(widths)):.2f}"
            )
    return lines


def judge(firings: list[Judged], *, kiln: bool = False, processes: int = 2) -> Iterator[Verdict]:
    """Yield how the watch did on firings, several at once, as they come."""
    if kiln:
        for known in KILNS:
            fitted_kiln(known)
    global _FIRINGS, _KILN
    _FIRINGS, _KILN = firings, kiln
    with multiprocessing.get_context("fork").Pool(processes) as pool:
        yield from pool.imap_unordered(_verdict_of, range(len(firings)))


_FIRINGS: list[Judged] = []
_KILN = False


def _verdict_of(number: int) -> Verdict:
    return verdict(_FIRINGS[number], kiln=_KILN)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("first", type=int, help="the first seed of each kind")
    parser.add_argument("--kiln", action="store_true", help="with a kiln file; no dangers")
    parser.add_argument("--share", type=float, default=1.0, help="of the usual number of firings")
    given = parser.parse_args()
    kinds = {
        kind: max(1, round(given.share * count))
        for kind, count in MIX.items()
        if not (given.kiln and kind in DANGERS)
    }
    verdicts = []
    for one in judge(judged(kinds, given.first), kiln=given.kiln):
        verdicts.append(one)
        print(one.words, one.died, one.false, file=sys.stderr, flush=True)
    print(table(verdicts))


if __name__ == "__main__":
    main()
