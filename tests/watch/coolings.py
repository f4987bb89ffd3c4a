"""Judges when the watch says to unload: `PYTHONPATH=tests python -m watch.coolings 22000`.

Coolings as studios have them, on the batch's physics: left alone, led down, vented, opened, not
read for a while.  Work on the watch with seeds below 30000.  Every reading is taken in; only the
watch's looks are thinned.
"""

import argparse
import math
import multiprocessing
import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from watch.batchfirings import (
    HOUR_S,
    KILNS,
    PROGRAMS,
    Air,
    Case,
    FloatArray,
    Judged,
    Made,
    Program,
    Trouble,
    fire_all,
    read,
    usual_case,
)
from watch.judging import UNLOAD_C, fitted_kiln, watcher_for

from firing.capture.reading import PlausibilityCheck, Reading, Status
from firing.watch.events import WatchEvent
from firing.watch.state import Estimate

SHARES = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
LOOK_S = 900.0
"""The watch looks this often, and closely about each question [s]."""
SEEN_S = 1800.0
"""So long after a lid was moved nobody asks: no reading shows the new pace sooner [s]."""
SLOW_ENDS: tuple[Program, ...] = (
    ((130.0, 600.0, 0.0), (150.0, 1210.0, 15.0), (60.0, 760.0, 0.0)),
    ((140.0, 560.0, 0.0), (170.0, 1060.0, 20.0), (110.0, 650.0, 30.0)),
)
HELD_ENDS: tuple[Program, ...] = (
    ((150.0, 600.0, 0.0), (140.0, 1235.0, 10.0), (250.0, 1080.0, 180.0)),
    ((120.0, 580.0, 0.0), (150.0, 1180.0, 20.0), (120.0, 980.0, 60.0), (90.0, 800.0, 90.0)),
)
PLAIN = ("first firing", "quick bisque", "earthenware", "stoneware")
KINDS = {
    "left alone": 16, "led down": 10, "held on its way": 10, "vented at 600": 10,
    "lid cracked at 200": 10, "opened and shut": 8, "cold room": 8, "warm room": 8,
    "heavy": 8, "not read for a while": 8, "outage while led down": 8, "sensor fell out": 8,
}  # fmt: skip


@dataclass
class Cooling:
    """One cooling: when it begins, is cold, and from when on its course can be foreseen [s]."""

    one: Judged
    begins_s: float
    cold_s: float
    known_s: float
    falls_out_s: float = math.inf

    def asked_s(self) -> dict[float, float]:
        moments = {s: self.begins_s + s * (self.cold_s - self.begins_s) for s in SHARES}
        return {share: at_s for share, at_s in moments.items() if at_s >= self.known_s}


def _case(kind: str, number: int) -> Case:
    case, chance = usual_case(kind, number)
    wanted = case.wanted
    names = PLAIN if kind != "left alone" else tuple(PROGRAMS)
    program = PROGRAMS[names[int(chance.integers(len(names)))]]
    if kind in ("led down", "outage while led down"):
        program = SLOW_ENDS[int(chance.integers(len(SLOW_ENDS)))]
    elif kind == "held on its way":
        program = HELD_ENDS[int(chance.integers(len(HELD_ENDS)))]
    wanted = replace(wanted, program=program)
    loss_w_per_k = wanted.kiln.edge_m**2 * 10.0  # about what its walls lose
    air = {
        "vented at 600": Air(600.0, loss_w_per_k * chance.uniform(0.3, 1.0)),
        "lid cracked at 200": Air(200.0, loss_w_per_k * chance.uniform(0.5, 2.5)),
        "opened and shut": Air(
            chance.uniform(250.0, 450.0), 8.0 * loss_w_per_k, chance.uniform(60.0, 300.0)
        ),
    }.get(kind)
    if air is not None:
        wanted = replace(wanted, air=air)
    if kind in ("cold room", "warm room"):
        low_c, high_c = (4.0, 12.0) if kind == "cold room" else (26.0, 34.0)
        wanted = replace(wanted, room_c=chance.uniform(low_c, high_c))
    return replace(case, wanted=wanted)


def coolings(kinds: dict[str, int], first: int) -> list[Cooling]:
    """Make so many coolings of each kind."""
    cases = [_case(kind, n) for kind, count in kinds.items() for n in range(first, first + count)]
    fired = fire_all([case.wanted for case in cases], most_h=110.0)
    out = [j for j, case in enumerate(cases) if case.kind == "outage while led down"]
    for j in out:
        chance = np.random.default_rng(cases[j].number)
        begins_s = fired[j].heating_end_s
        at_s = begins_s + chance.uniform(0.2, 0.7) * (fired[j].end_s - begins_s)
        trouble = Trouble(at_s, 0.0, 0.0, chance.uniform(0.5, 1.5) * HOUR_S)
        cases[j] = replace(cases[j], wanted=replace(cases[j].wanted, trouble=trouble))
    for j, made in zip(out, fire_all([cases[j].wanted for j in out], most_h=110.0), strict=True):
        fired[j] = made
    return [_cooling(case, made) for case, made in zip(cases, fired, strict=True)]


def _cooling(case: Case, made: Made) -> Cooling:
    begins_s = made.heating_end_s
    cold_s = float(made.time_s[np.flatnonzero(made.true_c > UNLOAD_C)[-1]])
    known_s, falls_s = begins_s, math.inf
    if made.aired_s < math.inf:
        lasts_s = case.wanted.air.lasts_s
        known_s = made.aired_s + SEEN_S + (0.0 if math.isinf(lasts_s) else lasts_s)
    if case.kind == "outage while led down":
        known_s = case.wanted.trouble.at_s + case.wanted.trouble.lasts_s
    if case.kind == "sensor fell out":
        falls_s = begins_s + 0.55 * (cold_s - begins_s)
    return Cooling(Judged(case, made), begins_s, cold_s, known_s, falls_s)


def readings(cooling: Cooling) -> tuple[FloatArray, FloatArray]:
    """Return what an instrument reads of a cooling."""
    case = cooling.one.case
    time_s, reading_c = read(case, cooling.one.made, math.inf)
    if case.kind == "not read for a while":
        chance = np.random.default_rng(case.number)
        from_s = cooling.begins_s + chance.uniform(0.3, 0.8) * (cooling.cold_s - cooling.begins_s)
        kept = (time_s < from_s) | (time_s > from_s + chance.uniform(1.0, 4.0) * HOUR_S)
        return time_s[kept], reading_c[kept]
    if case.kind == "sensor fell out":
        # It comes to rest beside the kiln, warmer than the room, within minutes.
        since_s = np.maximum(time_s - cooling.falls_out_s, 0.0)
        rest_c = case.wanted.room_c + 20.0
        shown_c = rest_c + (reading_c - rest_c) * np.exp(-since_s / 60.0)
        reading_c = np.where(since_s > 0.0, np.round(shown_c, 1), reading_c)
    return time_s, reading_c


def watched(
    cooling: Cooling, *, kiln: bool = False
) -> tuple[list[WatchEvent], dict[float, Estimate]]:
    """Watch a cooling; return what is told, and how it stands at each question."""
    time_s, reading_c = readings(cooling)
    watcher = watcher_for(cooling.one, kiln=kiln)
    watcher.begin(0.0, live=False)
    judge, told, stands = PlausibilityCheck(1), [], {}
    left = sorted((at_s, share) for share, at_s in cooling.asked_s().items())
    next_s = 0.0
    close = [at_s for at_s, _ in left] + [cooling.falls_out_s, cooling.cold_s]
    for moment_s, value_c in zip(time_s.tolist(), reading_c.tolist(), strict=True):
        reading = Reading([value_c], [Status.OK], moment_s)
        judge.mark(moment_s, reading)
        closely = any(-120.0 < moment_s - at_s < 2400.0 for at_s in close[-2:]) or (
            left and 0.0 < left[0][0] - moment_s < 120.0
        )
        if moment_s < next_s and not closely and not (left and moment_s >= left[0][0]):
            usable = reading.statuses[0] is Status.OK
            watcher.add_earlier(moment_s, value_c if usable else math.nan)
            continue
        next_s = moment_s + LOOK_S
        told += watcher.add(moment_s, reading, 0)
        while left and moment_s >= left[0][0]:
            stands[left.pop(0)[1]] = watcher.estimate(moment_s)
    watcher.close()
    return told, stands


@dataclass
class Verdict:
    """Errors as shares of what is left, with the range's ends; and when it was called cold [s]."""

    words: str
    kind: str
    unloads: dict[float, tuple[float, float, float]] = field(default_factory=dict)
    untold: int = 0
    cold_told_s: float = math.nan
    too_soon_s: float = 0.0


def verdict(cooling: Cooling, *, kiln: bool = False) -> Verdict:
    case, made = cooling.one.case, cooling.one.made
    found = Verdict(
        f"{case.kind} {case.number}: {case.wanted.kiln.edge_m} m, every {case.interval_s:.0f} s "
        f"±{case.noise_c} {case.digits_c}, room {case.wanted.room_c:.0f}",
        case.kind,
    )
    told, stands = watched(cooling, kiln=kiln)
    for share, stand in stands.items():
        left_s = cooling.cold_s - stand.now_s
        if stand.unload_s is None or left_s < 60.0:
            found.untold += stand.unload_s is None
            continue
        ends = [
            math.copysign(math.inf, sign) if end_s is None else (end_s - stand.now_s) / left_s - 1.0
            for end_s, sign in ((stand.unload_low_s, -1.0), (stand.unload_high_s, 1.0))
        ]
        found.unloads[share] = ((stand.unload_s - stand.now_s) / left_s - 1.0, *ends)
    for event in told:
        if event.id == "unload" and event.severity == "note":
            at_c = float(np.interp(event.at_s, made.time_s, made.true_c))
            found.cold_told_s = event.at_s - cooling.cold_s
            if at_c > UNLOAD_C + max(5.0, 2.0 * case.noise_c):
                found.too_soon_s = event.at_s - cooling.cold_s
    return found


def table(verdicts: list[Verdict]) -> str:
    by_kind: dict[str, list[Verdict]] = defaultdict(list)
    for one in verdicts:
        by_kind[one.kind].append(one)
        by_kind["all"].append(one)
    lines = []
    for kind in sorted(by_kind, key=lambda kind: kind == "all"):
        some = by_kind[kind]
        cells = []
        for share in SHARES:
            found = np.array([one.unloads[share] for one in some if share in one.unloads])
            if not found.size:
                cells.append(f"{share:.2f}: -")
                continue
            off, low, high = found.T
            cells.append(
                f"{share:.2f}: {np.mean(np.abs(off) <= 0.15):4.2f} of {off.size:3d} "
                f"med {np.median(off):+.2f} 90% {np.quantile(np.abs(off), 0.9):.2f} "
                f"cov {np.mean((low <= 0.0) & (high >= 0.0)):.2f} w {np.median(high - low):.2f}"
            )
        soon = [round(one.too_soon_s / 60.0) for one in some if one.too_soon_s]
        untold = sum(one.untold for one in some)
        lines.append(f"{kind:22s} {len(some):3d} untold {untold} called cold too soon {soon}")
        lines += [f"    {cell}" for cell in cells]
    return "\n".join(lines)


_COOLINGS: list[Cooling] = []
_KILN = False


def _verdict_of(number: int) -> Verdict:
    return verdict(_COOLINGS[number], kiln=_KILN)


def judge(some: list[Cooling], *, kiln: bool = False, processes: int = 2) -> Iterator[Verdict]:
    """Yield how the watch did, several at once, as they come."""
    global _COOLINGS, _KILN
    if kiln:
        for known in KILNS:
            fitted_kiln(known)
    _COOLINGS, _KILN = some, kiln
    with multiprocessing.get_context("fork").Pool(processes) as pool:
        yield from pool.imap_unordered(_verdict_of, range(len(some)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("first", type=int, help="the first seed of each kind")
    parser.add_argument("--kiln", action="store_true", help="with a kiln file")
    parser.add_argument("--share", type=float, default=1.0, help="of the usual number")
    given = parser.parse_args()
    kinds = {kind: max(1, round(given.share * count)) for kind, count in KINDS.items()}
    verdicts = []
    for one in judge(coolings(kinds, given.first), kiln=given.kiln):
        verdicts.append(one)
        cells = " ".join(f"{share:.2f}:{off[0]:+.2f}" for share, off in one.unloads.items())
        print(f"{one.words} {cells}", file=sys.stderr, flush=True)
    print(table(verdicts))


if __name__ == "__main__":
    main()
