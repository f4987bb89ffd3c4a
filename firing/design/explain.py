"""A solution in the words of a schedule: names, hand actions, and the reason of every segment."""

import textwrap
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from firing.cones.kinetics import cone_law
from firing.cones.table import parse_cone
from firing.cones.uncertainty import budget, held_below_c
from firing.controller.controller import Controller
from firing.design.cooling_search import CoolingLeg
from firing.design.heating_search import APPROACH_C, HeatingLeg
from firing.design.rate_limits import binding
from firing.design.result import BesidePractice, SegmentReason
from firing.design.solve import Problem, ProgramSolution
from firing.files.tomlfile import clean
from firing.forecast.result import Forecast
from firing.schedule.file import schedule_text
from firing.schedule.schedule import Purpose, Schedule, Segment
from firing.units import (
    SECONDS_PER_HOUR,
    SECONDS_PER_MINUTE,
    TemperatureUnit,
    format_duration,
    format_hold,
    format_temperature,
    in_unit,
    rate_from_celsius,
    rate_to_celsius,
)
from firing.ware.drying import DRYING_C
from firing.ware.limits import Dwell, RateCap, WareLimits
from firing.ware.load import Load
from firing.ware.practice import (
    BURN_OUT_C,
    BURN_OUT_SOURCE,
    CANDLE_SOURCE,
    PRACTICE_CHANGES_C,
    By,
    Practice,
    practice_of,
)

_HOLD_NAMES = {
    "shrinkage": "Dry gently",
    "free water": "Dry out",
    "bound water": "Let the bound water out",
    "carbon": "Burn out the carbon",
    "asked for": "Let gases out",
}
_ACTIONS = {
    "free water": "a cold mirror at the opening stays clear: close lid or door, bungs stay out",
    "carbon": "no more smell: close the bungs",
}
_AT_THE_PEAK, _AT_THE_END = "look at the cone", "leave the kiln shut until it is cool"
_SLACK = 1e-6
_NO_KILNS_C_PER_H = 3000.0
"""Faster than any closed kiln climbs or cools [°C/h; common practice, no source]."""
_DIGITS = 6


def rate_words(rate_c_per_h: float, unit: TemperatureUnit) -> str:
    """Return a rate to the digits it needs, ``64 °C/h``."""
    rate = rate_from_celsius(rate_c_per_h, unit)
    return f"{rate:.0f} °{unit}/h" if abs(rate - round(rate)) < 0.05 else f"{rate:.1f} °{unit}/h"


def written_rate(rate_c_per_h: float, unit: TemperatureUnit) -> float:
    """Return a rate without the noise of arithmetic, so that its file says exactly the same."""
    return rate_to_celsius(round(rate_from_celsius(rate_c_per_h, unit), _DIGITS), unit)


def explained(
    solution: ProgramSolution, problem: Problem, *, title: str, purpose: Purpose, cone: str | None
) -> tuple[Schedule, tuple[SegmentReason, ...]]:
    """Return a solution as a schedule, with one reason a segment."""
    segments: list[Segment] = []
    reasons: list[SegmentReason] = []
    from_c = problem.start_c
    for number, leg in enumerate(solution.up):
        last = number == len(solution.up) - 1
        segment, reason = _upward(solution, problem, leg, from_c, cone if last else None, last)
        segments.append(segment)
        reasons.append(reason)
        from_c = leg.target_c
    for fall in solution.down:
        segment, reason = _downward(problem, fall, from_c)
        segments.append(segment)
        reasons.append(reason)
        from_c = fall.target_c
    for place, done in ((len(solution.up) - 1, _AT_THE_PEAK), (len(segments) - 1, _AT_THE_END)):
        action = "; ".join(filter(None, (segments[place].action, done)))
        segments[place] = replace(segments[place], action=action)
    schedule = Schedule(
        title,
        tuple(segments),
        purpose=purpose,
        start_c=problem.start_c,
        unit=problem.controller.unit,
        cone=None if cone is None else parse_cone(cone),
    )
    return schedule, tuple(reasons)


def _upward(
    solution: ProgramSolution,
    problem: Problem,
    leg: HeatingLeg,
    from_c: float,
    cone: str | None,
    last: bool,
) -> tuple[Segment, SegmentReason]:
    controller = problem.controller
    rate = written_rate((leg.target_c - from_c) / leg.ramp_s * SECONDS_PER_HOUR, controller.unit)
    most, cap = binding(problem.rising, from_c, leg.target_c)
    words, source = _rate_reason(rate, most, cap, controller)
    crossed = [
        dwell
        for dwell in problem.dwells
        if from_c < dwell.window_c[0]
        and leg.target_c > dwell.window_c[1]
        and (dwell.window_c[1] - dwell.window_c[0]) / dwell.at_least_s * SECONDS_PER_HOUR < most
    ]
    sentences, sources = [words], [source]
    for dwell in crossed:
        sentences.append(f"Slower than that for this: {dwell.sentence()}")
        sources.append(dwell.source)
    name, action = ("To the peak" if last else "Rise"), ""
    if leg.hold_s and not last:
        here = _window_at(problem, leg.target_c)
        if here is not None:
            sentences.append(f"{here.sentence()} The ramps through the window count.")
            sources.append(here.source)
            name, action = _HOLD_NAMES.get(here.reason, name), _ACTIONS.get(here.reason, "")
    if last and cone is not None:
        sentences.append(_cone_words(cone, solution, controller.unit))
        sources.append("cone-model")
        name = f"To cone {parse_cone(cone)}"
    segment = Segment(leg.target_c, rate, hold_s=leg.hold_s, name=name, action=action)
    return segment, SegmentReason(tuple(sentences), tuple(dict.fromkeys(filter(None, sources))))


def _rate_reason(rate: float, most: float, cap: RateCap, controller: Controller) -> tuple[str, str]:
    unit = controller.unit
    if rate >= controller.fastest_c_per_h * (1.0 - _SLACK) and most > rate:
        return f"{rate_words(rate, unit)}: the controller goes no faster.", ""
    return _limit_words(most, cap, unit), cap.source


def _limit_words(most: float, cap: RateCap, unit: TemperatureUnit) -> str:
    """Return a limit with its reason; practice's text says that it is practice."""
    reason = "" if cap.text.startswith(cap.reason) else f" ({cap.reason})"
    if most > _NO_KILNS_C_PER_H:
        # A limit of tens of thousands of degrees an hour is a calculation's, and limits nothing.
        only = "only at thousands of degrees an hour"
        return f"No kiln is too fast here{reason}: {only}, {cap.text}."
    return f"At most {rate_words(most, unit)}{reason}: {cap.text}."


def _window_at(problem: Problem, at_c: float) -> Dwell | None:
    for dwell in problem.dwells:
        if dwell.window_c[0] <= at_c <= dwell.window_c[1]:
            return dwell
    return None


def _cone_words(cone: str, solution: ProgramSolution, unit: TemperatureUnit) -> str:
    peak = solution.peak
    name, rate = parse_cone(cone), peak.rate_c_per_h or 0.0
    law = cone_law(name)
    own_c = peak.peak_c - (law.residual_c(rate) if rate else 0.0)
    held_c = held_below_c(law, own_c, rate, peak.hold_s) if rate else 0.0
    part = budget(law, energy_c=held_c)
    hold = f"with a hold of {format_hold(peak.hold_s)}" if peak.hold_s else "without a hold"
    off = rate_from_celsius(part.total_c, unit)
    return (
        f"Cone {name} at {rate_words(rate, unit)} over the last {APPROACH_C:.0f} °C: "
        f"{format_temperature(peak.peak_c, unit)} {hold}, what the cooling adds counted in; the "
        f"peak is known to ±{off:.1f} °{unit}, the thermocouple's error not in it: let a witness "
        "cone decide."
    )


def _downward(problem: Problem, fall: CoolingLeg, from_c: float) -> tuple[Segment, SegmentReason]:
    unit = problem.controller.unit
    if fall.rate_c_per_h is None:
        words = f"Elements off: {problem.own.basis} breaks no limit down to here."
        sources = [problem.own.source]
        segment = Segment(fall.target_c, None, "off", hold_s=fall.hold_s, name="Fall")
    else:
        most, cap = binding(problem.falling, fall.target_c, from_c)
        words, source = _rate_reason(fall.rate_c_per_h, most, cap, problem.controller)
        if most > problem.controller.fastest_c_per_h:
            words = f"{rate_words(fall.rate_c_per_h, unit)}: the ware would bear more than any kiln"
            words, source = f"{words} falls by itself.", ""
        sources = [source]
        rate = written_rate(fall.rate_c_per_h, unit)
        segment = Segment(fall.target_c, rate, hold_s=fall.hold_s, name="Controlled cooling")
    sentences = [words]
    if fall.hold_s:
        sentences.append("You asked for the hold after the drop: it lets a glaze heal over.")
        sources.append("peak-soak-practice")
        segment = replace(segment, name="Drop and hold")
    return segment, SegmentReason(tuple(sentences), tuple(filter(None, sources)))


def beside_practice(
    load: Load, ware: WareLimits, kiln: RateCap | None, course: Forecast, by: By
) -> tuple[BesidePractice, ...]:
    """Return the stretches of a firing beside what practice says of them; empty where it does not.

    `ware` are the limits as computed, practice's rates among them.
    """
    start_c, peak_c = course.schedule.start_c, course.schedule.peak_c
    practice = practice_of(load, ware, peak_c, start_c)
    found: list[BesidePractice] = []
    low_c, high_c = DRYING_C
    wet = next((d for d in ware.dwells if d.reason == "free water"), None)
    if practice.candle_s and start_c < low_c and wet is not None:
        designed_s = _between_s(course, low_c, high_c)
        place = load.slowest("water")
        found.append(
            BesidePractice(
                "candling",
                practice.candle_s,
                designed_s,
                wet.low_s,
                wet.high_s,
                f"Candling {place.words}: practice {practice.candle_words}, here "
                f"{format_duration(practice.candle_s)}; this design {format_duration(designed_s)} "
                f"at {low_c:.0f} to {high_c:.0f} °C, because "
                + (
                    f"{by} was asked for"
                    if by != "slower"
                    else "practice is the slower here"
                    if wet.at_least_s <= practice.candle_s
                    else "drying takes four times as long for twice the thickness"
                )
                + ". The range of moisture diffusivity makes the computed time "
                f"{format_duration(wet.low_s)} to {format_duration(wet.high_s)}.",
                (CANDLE_SOURCE, wet.source),
            )
        )
    warm_c = high_c if start_c < high_c else start_c
    to_c = min(PRACTICE_CHANGES_C, peak_c)
    if np.isfinite(practice.to_600_c_per_h) and to_c > warm_c + 100.0:
        found.append(_rise(ware, kiln, course, practice, warm_c, to_c, by))
    first_c, last_c = BURN_OUT_C
    if practice.burn_out_c_per_h is not None and start_c < first_c < last_c <= peak_c:
        by_s = (last_c - first_c) / practice.burn_out_c_per_h * SECONDS_PER_HOUR
        designed_s = _between_s(course, first_c, last_c)
        found.append(
            BesidePractice(
                "burn-out",
                by_s,
                designed_s,
                None,
                None,
                f"Burning the carbon out of a {'dark' if load.dark else 'thick'} body: practice "
                f"{practice.burn_out_c_per_h:.0f} °C/h from {first_c:.0f} to {last_c:.0f} °C with "
                f"air, {format_duration(by_s)}; this design {format_duration(designed_s)}.",
                (BURN_OUT_SOURCE, "burnout-practice"),
            )
        )
    # Practice that gives no rate above 600 °C has no hours for the whole way up.
    if found and (peak_c <= PRACTICE_CHANGES_C or np.isfinite(practice.above_c_per_h)):
        found.append(
            BesidePractice(
                "heating",
                practice.heating_s,
                course.heating_s,
                None,
                None,
                f"Common practice heats for {format_duration(practice.heating_s)}, this design for "
                f"{format_duration(course.heating_s)}.",
                (),
            )
        )
    return tuple(found)


def _rise(
    ware: WareLimits, kiln: RateCap | None, course: Forecast, practice: Practice, from_c: float,
    to_c: float, by: By,
) -> BesidePractice:  # fmt: skip
    """Return the rise to 600 °C beside practice's, and what the diffusivity of heat makes of it."""
    grid = np.arange(from_c, to_c + 1.0, 5.0)
    middle = 0.5 * (grid[1:] + grid[:-1])

    def limits_s(end: int | None) -> float:
        lowest = np.full(middle.shape, np.inf)
        for limit in ware.of("heating"):
            through = 1.0 if end is None or limit.allowed_k is None else limit.spread[end]
            lowest = np.minimum(lowest, through * limit.at(middle))
        return float(np.sum(np.diff(grid) / lowest)) * SECONDS_PER_HOUR

    by_s = (to_c - from_c) / practice.to_600_c_per_h * SECONDS_PER_HOUR
    designed_s = _between_s(course, from_c, to_c)
    low_s, high_s = sorted((limits_s(0), limits_s(1)))
    slowest = ware.limit(float(middle[int(np.argmin(ware.heating(middle)))]))
    why = (
        f"{by} was asked for"
        if by != "slower"
        else "the kiln rises no faster"
        if kiln is not None and np.any(kiln.at(middle) < ware.heating(middle))
        else "practice is the slower here"
        if slowest.reason == "common practice"
        else f"{slowest.text} ({slowest.reason})"
    )
    words = (
        f"Rising from {from_c:.0f} to {to_c:.0f} °C: practice {format_duration(by_s)} at "
        f"{practice.to_600_c_per_h:.0f} °C/h; this design {format_duration(designed_s)}, because "
        f"{why}."
    )
    if high_s - low_s >= SECONDS_PER_MINUTE:
        words += (
            f" The range of heat diffusivity makes the limits' {format_duration(limits_s(None))} "
            f"into {format_duration(low_s)} to {format_duration(high_s)}."
        )
    return BesidePractice(
        "to 600 °C", by_s, designed_s, low_s, high_s, words,
        ("ware-rates-practice" if ware.purpose == "bisque" else "glaze-rates-practice",
         slowest.source),
    )  # fmt: skip


def _between_s(course: Forecast, low_c: float, high_c: float) -> float:
    """Return how long a course takes from first reaching one temperature to leaving another."""
    time_s, temperature_c = course.trace.time_s, course.trace.channel_c()
    peak = int(np.argmax(temperature_c))
    risen = np.maximum.accumulate(temperature_c[: peak + 1])
    begins = float(np.interp(low_c, risen, time_s[: peak + 1]))
    # A hold exactly at the upper end counts.
    last = int(np.flatnonzero(temperature_c[: peak + 1] <= high_c + 1e-6)[-1])
    ends = float(time_s[last])
    if last < peak:
        share = (high_c - temperature_c[last]) / (temperature_c[last + 1] - temperature_c[last])
        ends += share * float(time_s[last + 1] - time_s[last])
    return max(ends - begins, 0.0)


_WIDTH = 100
_HEADER = "[[segment]]"


def designed_text(
    schedule: Schedule,
    reasons: Sequence[SegmentReason],
    notes: Sequence[str] = (),
    base_text: str | None = None,
) -> str:
    """Return a schedule file with the reason and source of each segment as comments.

    An empty reason leaves what stands above its segment alone; the comments of `base_text`, the
    file as it was, stay; `notes` go to its head.
    """
    text = schedule_text(schedule, base_text)
    unit = schedule.unit
    head = [line for note in notes for line in _comment(in_unit(note, unit))]
    lines: list[str] = [*head]
    number = 0
    for line in text.splitlines():
        if line.split("#")[0].strip().replace(" ", "") == _HEADER:
            reason = reasons[number]
            number += 1
            for sentence in reason.sentences:
                lines.extend(_comment(in_unit(sentence, unit)))
            lines.extend(f"# source: {name}" for name in reason.sources)
        lines.append(line)
    return "\n".join(lines) + "\n"


def _comment(words: str) -> list[str]:
    return [f"# {line}" for line in textwrap.wrap(clean(words), _WIDTH - 2)]
