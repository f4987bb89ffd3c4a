"""How a kiln's power has gone, by fits and by element readings, and what to make of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Literal

from firing.kiln.description import ElementReading, KilnDescription, PastFit
from firing.kiln.fit import RATIOS_ONLY
from firing.kiln.fit_result import FittedValue, KilnFit
from firing.serialise import Serialised, named
from firing.sources import cite

REPLACEMENT = "element-replacement-practice"
WORTH_ACTING = 1.0 - 1.0 / 1.10
"""Power lost at 10 % more resistance, the common rule for replacement; figures from 5 to 18 % more
are in use (source ``element-replacement-practice``)."""
# More resistance than new at which elements are replaced: the common rule, and the figures in use.
RULE_RISE, LEAST_RISE, MOST_RISE = 0.10, 0.05, 0.18  # source: element-replacement-practice
VOLTS = "power-voltage"

ANOTHER_LOOK = (
    "A log can't separate worn elements from a low supply, whose power goes with the square of the "
    "volts, or from a dead bank: have amps and volts under load measured by a competent person "
    "before anything is replaced."
)

PointKind = Literal["log", "ohms", "amps and volts"]


def power_down(resistance_rise: float) -> float:
    """Return the share of power lost at a rise of resistance, both as shares: 0.10 gives 0.091.

    At the same volts power goes with 1/R (``power-voltage``).
    """
    return 1.0 - 1.0 / (1.0 + resistance_rise)


@dataclass(frozen=True, slots=True)
class TrendPoint(Serialised):
    """Power on a day, as a share of what the kiln file says, or of the first reading.

    `se` is its standard error, None where nobody knows it.
    """

    on: date = field(metadata=named("date"))
    power: float
    se: float | None
    kind: PointKind


SURE = 2.5
"""Standard errors that a power must be down by to be flagged; 3 among more than three fits."""
SURE_OF_MANY = 3.0
LEAST_ERROR = 0.03
"""Of the power that a firing needed at the least, as a share; source: kiln-fit-choices."""
LEAST_DOWN = 0.05
"""Less power lost is not flagged, however sharply it is known; common practice."""
DOUBTED_DOWN = 0.15
"""Power over capacity this much lower is spoken of though nobody weighed the load, as a share;
common practice."""
# Before any log: how far a kiln's new power, and its capacity with a weighed load, are from what
# its file says, as shares; sources: rated-input-memory, kiln-fit-choices.
RATED_ERROR, LOADED_ERROR = 0.05, 0.08
BANKS = {"a half": 1.0 / 2.0, "a third": 1.0 / 3.0}

Measure = Literal["power", "power over capacity", "power over losses"]


@dataclass(frozen=True, slots=True)
class PowerChange(Serialised):
    """A power against an earlier one, by the sharpest measure that both are known by."""

    # Power now over power then, and its standard error.
    ratio: float
    se: float
    since: date | None  # when then was; None for what the kiln file says, or a fit without a date
    against: str  # what it is compared with, in words
    # Where the load is weighed its heat is the yardstick, else what the kiln loses.
    measure: Measure
    flagged: bool  # whether power is down, beyond what the errors allow
    # Whether more may be lost: the earlier firing kept up, and shows only the power it needed.
    at_least: bool = False


@dataclass(frozen=True, slots=True)
class Trend(Serialised):
    """A kiln's power over time."""

    points: tuple[TrendPoint, ...]  # by date
    power_down: float | None  # share of power lost by the latest point; None without points
    sentences: tuple[str, ...]  # what it means
    sources: tuple[str, ...]  # ids of the bibliography
    # The power of the newest fit against earlier fits, or else against the kiln file.
    change: PowerChange | None = None

    @property
    def needs_action(self) -> bool:
        """Whether power is down by as much as elements are replaced for, or surely down at all."""
        if self.change is not None and self.change.flagged:
            return True
        return self.power_down is not None and self.power_down >= WORTH_ACTING


def power_trend(kiln: KilnDescription, fits: Sequence[KilnFit] = ()) -> Trend:
    """Return how a kiln's power has gone.

    The newest fit is held against every earlier one by what both know.  The kiln's
    earlier fit and element readings count, if they are dated; new fits whose power the logs do not
    tell are left out.  One without a date is judged by itself.
    """
    change = power_change(kiln, fits[-1]) if fits else None
    trend = _known_power(kiln, fits)
    if change is None:
        doubt = (_kept_up(fits[-1]) or _doubt(fits[-1])) if fits else ""
        if not doubt:
            return trend
        return replace(trend, sentences=(doubt, *(trend.sentences if trend.points else ())))
    sentences = trend.sentences
    if trend.power_down is None:
        sentences = (*_change_words(change), *(() if not change.flagged else (ANOTHER_LOOK,)))
    elif change.flagged:
        # What a log without a date says of itself comes first.
        first = 1 if fits[-1].on is None else 0
        sentences = (*sentences[:first], *_change_words(change), *sentences[first:])
    return replace(trend, sentences=sentences, change=change)


def _kept_up(fit: KilnFit) -> str:
    """Say that a log can't show lost power where its kiln had enough; else nothing."""
    if fit.power_over_capacity.identifiable or fit.power.identifiable or fit.least_power is None:
        return ""
    return (
        "This log can't show whether power was lost: it shows too little of full power. The "
        f"firing needed about {100.0 * fit.least_power:.0f} % of the kiln file's power at most. "
        "Log the controller's output, or have amps and volts under load measured by a competent "
        "person."
    )


def _doubt(fit: KilnFit) -> str:
    """Say what a low power over capacity may be where nobody weighed the load; else nothing."""
    ratio = fit.power_over_capacity
    if fit.loaded or not ratio.identifiable or ratio.value > 1.0 - DOUBTED_DOWN:
        return ""
    return (
        f"Power over capacity is {_percent(1.0 - ratio.value)} below what the kiln file says: less "
        "power, or more in the kiln than usual. Give what was in it with --load, and this log "
        "shows which."
    )


def power_change(kiln: KilnDescription, fit: KilnFit) -> PowerChange | None:
    """Return the fit's power against the earlier one it is furthest below; None without any.

    The same logs fitted again are no other fit.
    """
    now = fit.to_past()
    earlier = [past for past in kiln.fits if past.basis != now.basis]
    sure = SURE if len(earlier) <= 3 else SURE_OF_MANY
    found = [_against(kiln, now, past, sure) for past in earlier]
    if not any(found):
        found = [_against_file(kiln, now)]
    known = [change for change in found if change is not None]
    if not known:
        return None
    return max(known, key=lambda change: (1.0 - change.ratio) / change.se)


def _against(kiln: KilnDescription, now: PastFit, then: PastFit, sure: float) -> PowerChange | None:
    options: list[tuple[float, Measure, float]] = []
    if now.power_se is not None and then.power_se is not None:
        options.append((math.hypot(now.power_se, then.power_se), "power", now.power / then.power))
    a, b = now.power_over_capacity_se, then.power_over_capacity_se
    if now.loaded and then.loaded and a is not None and b is not None:
        ratio = (now.power / now.capacity) / (then.power / then.capacity)
        options.append((math.hypot(a, b), "power over capacity", ratio))
    a, b = now.power_over_losses_se, then.power_over_losses_se
    if a is not None and b is not None:
        ratio = (now.power / _losses(kiln, now)) / (then.power / _losses(kiln, then))
        options.append((math.hypot(a, b), "power over losses", ratio))
    if not options and a is not None and then.least_power is not None:
        # That firing kept up: its power was at least what it needed.
        ratio = (now.power / _losses(kiln, now)) / (then.least_power / _losses(kiln, then))
        change = _judged(
            ratio, math.hypot(a, LEAST_ERROR), then.on, _fit_of(then), "power over losses", sure
        )
        return replace(change, at_least=True) if change.flagged else None
    if not options:
        return None
    share, measure, ratio = min(options)
    return _judged(ratio, share, then.on, _fit_of(then), measure, sure)


def _fit_of(past: PastFit) -> str:
    return "an earlier fit" if past.on is None else f"the fit of {past.on.isoformat()}"


def _against_file(kiln: KilnDescription, now: PastFit) -> PowerChange | None:
    against = "what the kiln file says"
    if now.power_se is not None:
        share = math.hypot(RATED_ERROR, now.power_se)
        return _judged(now.power, share, None, against, "power", SURE)
    if now.loaded and now.power_over_capacity_se is not None:
        share = math.hypot(RATED_ERROR, LOADED_ERROR, now.power_over_capacity_se)
        ratio = now.power / now.capacity
        return _judged(ratio, share, None, against, "power over capacity", SURE)
    return None


def _judged(
    ratio: float, share: float, since: date | None, against: str, measure: Measure, sure: float
) -> PowerChange:
    flagged = 1.0 - ratio > max(sure * ratio * share, LEAST_DOWN)
    return PowerChange(ratio, ratio * share, since, against, measure, flagged)


def _losses(kiln: KilnDescription, past: PastFit) -> float:
    wall, air = kiln.wall_w_per_k, kiln.air_w_per_k
    return (past.loss * wall + past.leak * air) / (wall + air)


def _change_words(change: PowerChange) -> list[str]:
    """Return the comparison in sentences, the finding first."""
    down = 1.0 - change.ratio
    size = f"{_percent(down)} (± {_percent(change.se)})"
    if change.at_least:
        return [
            f"Power is down at least {size} against {change.against}.",
            "That firing kept up, so it shows only the power it needed: more may be lost.",
        ]
    if not change.flagged:
        if abs(down) <= SURE * change.se:
            state = "less" if down > 0 else "more"
            return [
                f"Power does not differ from {change.against} as far as these readings show: "
                f"{_percent(abs(down))} {state}, give or take {_percent(change.se)}."
            ]
        state = "down" if down > 0 else "up"
        return [f"Power is {state} {size} against {change.against}; that is no alarm."]
    said = [f"Power is down {size} against {change.against}."]
    for words, share in BANKS.items():
        if abs(down - share) < max(change.se, 0.02):
            banks = {"a half": "two", "a third": "three"}[words]
            said.append(f"One dead bank of {banks} would take {words} of it.")
    return said


def _known_power(kiln: KilnDescription, fits: Sequence[KilnFit]) -> Trend:
    """Return what fits and readings tell of the power itself."""
    points = [*_of_fits(kiln, fits), *_of_readings(kiln.readings)]
    points.sort(key=lambda point: point.on)
    undated = [fit.power for fit in fits if fit.on is None and fit.power.identifiable]
    if undated:
        return _of_undated(points, undated[-1])
    if not points:
        return Trend((), None, ("No dated fit or element reading shows the power yet.",), ())
    said: list[str] = []
    if fits and not any(fit.power.identifiable for fit in fits):
        said.append("These logs alone do not show the power in kW; what follows is of other days.")
    for kind in ("log", "ohms", "amps and volts"):
        series = [point for point in points if point.kind == kind]
        if series:
            said.append(_sentence(series))
    latest = points[-1]
    down = 1.0 - latest.power
    said.append(_judgement(down))
    if latest.kind == "log":
        said.append(ANOTHER_LOOK)
    return Trend(tuple(points), down, tuple(said), (REPLACEMENT, VOLTS))


def _of_undated(points: list[TrendPoint], power: FittedValue) -> Trend:
    """Judge a log without a date by itself: what is known of other days is not its own."""
    down = 1.0 - power.value
    state = "does not differ from"
    if abs(down) >= max(0.01, 2.0 * power.se):
        state = (
            f"is {'down' if down > 0 else 'up'} {_percent(down)} (± {_percent(power.se)}) against"
        )
    said = [
        f"By this log, which has no date, power {state} what the kiln file says; --date gives the "
        "day it was fired.",
        _judgement(down),
        ANOTHER_LOOK,
    ]
    return Trend(tuple(points), down, tuple(said), (REPLACEMENT, VOLTS))


def _of_fits(kiln: KilnDescription, fits: Sequence[KilnFit]) -> list[TrendPoint]:
    found = {
        fit.on: TrendPoint(fit.on, fit.power.value, fit.power.se, "log")
        for fit in fits
        if fit.on is not None and fit.power.identifiable
    }
    for past in kiln.fits:
        if past.on is not None and (past.power_se is not None or _of_an_old_file(past)):
            se = None if past.power_se is None else past.power * past.power_se
            found.setdefault(past.on, TrendPoint(past.on, past.power, se, "log"))
    learnt = kiln.fitted
    # A fit kept with its errors has spoken above, or does not tell the power.  An older file keeps
    # none, but says where only ratios were known.
    silent = RATIOS_ONLY in learnt.basis or any(past.on == learnt.learnt for past in kiln.fits)
    if learnt.learnt is not None and not silent and learnt.power != 1.0:
        found.setdefault(learnt.learnt, TrendPoint(learnt.learnt, learnt.power, None, "log"))
    return list(found.values())


def _of_an_old_file(past: PastFit) -> bool:
    """Whether a fit was taken over from a file that kept no errors, and knew the power."""
    kept = (past.power_over_capacity_se, past.power_over_losses_se, past.least_power)
    return all(k is None for k in kept) and past.power != 1.0 and RATIOS_ONLY not in past.basis


def _of_readings(readings: Sequence[ElementReading]) -> list[TrendPoint]:
    """Return all banks' conductance over that of their first readings, like kept with like.

    Ohms are those of cold wire, amps and volts those of hot wire, up to 4 % more: not to be mixed.
    """
    points: list[TrendPoint] = []
    kinds: tuple[PointKind, ...] = ("ohms", "amps and volts")
    for kind in kinds:
        mine = [r for r in readings if (r.ohms is not None) == (kind == "ohms")]
        mine.sort(key=lambda reading: reading.on)
        first: dict[str, float] = {}
        for reading in mine:
            first.setdefault(reading.bank, reading.resistance_ohm)
        now = dict(first)
        for day in dict.fromkeys(reading.on for reading in mine):
            now.update({r.bank: r.resistance_ohm for r in mine if r.on == day})
            new = sum(1.0 / ohm for ohm in first.values())
            points.append(TrendPoint(day, sum(1.0 / ohm for ohm in now.values()) / new, None, kind))
    return points


def _percent(share: float) -> str:
    return f"{100.0 * abs(share):.0f} %"


def _sentence(series: Sequence[TrendPoint]) -> str:
    first, last = series[0], series[-1]
    down = 1.0 - last.power
    if last.kind == "log":
        error = "" if last.se is None else f" (± {100.0 * last.se:.0f} %)"
        against = "what the kiln file says"
        who = f"By the log of {last.on.isoformat()}"
    else:
        error, against = "", f"the first reading, of {first.on.isoformat()}"
        who = f"By {last.kind} of {last.on.isoformat()}"
        if len(series) == 1:
            return f"{who}: the first reading, which later ones are held against."
    if abs(down) < max(0.01, 2.0 * (last.se or 0.0)):
        state = "power does not differ from"
    elif down > 0:
        state = f"power is down {_percent(down)}{error} against"
    else:
        state = f"power is up {_percent(down)}{error} against"
    text = f"{who} {state} {against}"
    if last.kind == "log" and len(series) > 1 and last.on > first.on:
        change = first.power - last.power
        verb = "lost" if change >= 0 else "gained"
        text += f", {_percent(change)} of it {verb} since {first.on.isoformat()}"
    return text + "."


def _judgement(down: float) -> str:
    rule, least, most = (power_down(rise) for rise in (RULE_RISE, LEAST_RISE, MOST_RISE))
    if down < least:
        where = "less than at any of these figures"
    elif down < rule:
        where = "within the spread, short of the common rule"
    elif down <= most:
        where = "beyond the common rule, within the spread"
    else:
        where = "beyond all of these figures"
    return (
        f"Replacement of elements is usually judged at {_percent(RULE_RISE)} more resistance than "
        f"new, {100.0 * rule:.1f} % of the power; figures from {_percent(LEAST_RISE)} to "
        f"{_percent(MOST_RISE)} are in use, {100.0 * least:.1f} to {100.0 * most:.1f} % of the "
        f"power; {_percent(max(down, 0.0))} is {where} ({cite(REPLACEMENT).rstrip('.')})."
    )
