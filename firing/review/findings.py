"""What a person should know about a firing, ordered by what matters, each with a next step."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from firing.cones.equivalence import ConeVerdict
from firing.cones.naming import describe_number
from firing.forecast import Forecast
from firing.logs.reader import Log
from firing.review.alignment import Alignment
from firing.review.verdict import CAUSE_NAMES, CauseShare, CoolingReview, Finding
from firing.schedule import Schedule
from firing.trace import FloatArray
from firing.units import (
    celsius_from_fahrenheit,
    fahrenheit_from_celsius,
    format_duration,
    format_temperature,
)

WORTH_TELLING_S = 900.0
"""A firing this much off its plan is told as such [s] …"""
WORTH_TELLING_SHARE = 0.05
"""… if it is also this share of the plan."""
TYPE_K_TOP_C = 1372.0
"""End of the type K reference function (NIST Monograph 175; source nist-srd-60) [°C]."""
LOST_SHARE = 0.02
PEAK_OFF_C = 5.0
FAR_CONES = 0.5
"""Half a cone off the plan asks for action; less is worth a look."""

_ORDER = {"act": 0, "check": 1, "note": 2}


@dataclass(frozen=True, eq=False)
class Evidence:
    """Everything the findings are drawn from."""

    schedule: Schedule
    forecast: Forecast
    log: Log
    temperature_c: FloatArray
    alignment: Alignment
    causes: tuple[CauseShare, ...]
    excess_s: float | None
    cooling: CoolingReview | None
    planned: ConeVerdict
    reached: ConeVerdict

    @property
    def peak_c(self) -> float:
        """The highest reading [°C]."""
        return float(np.nanmax(self.temperature_c))

    @property
    def first_c(self) -> float:
        """The first usable reading [°C]."""
        return float(self.temperature_c[np.isfinite(self.temperature_c)][0])

    def degrees(self, temperature_c: float) -> str:
        """Return a temperature in the schedule's unit."""
        return format_temperature(temperature_c, self.schedule.unit)


def find(evidence: Evidence) -> tuple[Finding, ...]:
    """Return the findings of a firing, the most pressing first; never empty.

    Parameters
    ----------
    evidence : Evidence
        The review so far.
    """
    found = [
        *_fahrenheit(evidence),
        *_stopped(evidence),
        *_cone(evidence),
        *_peak(evidence),
        *_duration(evidence),
        *_readings(evidence),
        *_cooling(evidence),
    ]
    if not any(finding.severity != "note" for finding in found):
        found.insert(
            0,
            Finding(
                "nothing_wrong",
                "note",
                "Nothing wrong: time, peak and cone agree with the plan.",
                next_step="Keep this log; the next firing can be set beside it.",
            ),
        )
    return tuple(sorted(found, key=lambda finding: _ORDER[finding.severity]))


def _fahrenheit(evidence: Evidence) -> Iterator[Finding]:
    peak_c, planned_c = evidence.peak_c, evidence.schedule.peak_c
    expected = fahrenheit_from_celsius(planned_c)
    if evidence.log.dialect.unit != "C":
        return
    if abs(peak_c - expected) <= 0.05 * expected:
        reason = f"1.8 times the planned {planned_c:.0f} °C plus 32 is {expected:.0f}"
    elif peak_c > TYPE_K_TOP_C:
        reason = f"no type K thermocouple can be read above {TYPE_K_TOP_C:.0f} °C"
    else:
        return
    yield Finding(
        "maybe_fahrenheit",
        "act",
        f"The readings, up to {peak_c:.0f}, were taken as °C but look like °F "
        f"({celsius_from_fahrenheit(peak_c):.0f} °C); every figure of this review hangs on it.",
        evidence=reason,
        next_step="Review it again with --unit F if the logger was set to °F.",
        source="nist-srd-60",
    )


def _stopped(evidence: Evidence) -> Iterator[Finding]:
    alignment, schedule = evidence.alignment, evidence.schedule
    if alignment.starts_inside:
        yield Finding(
            "log_starts_late",
            "check",
            f"The log begins at {evidence.degrees(evidence.first_c)}, inside the "
            "firing; what came before is not in it.",
            next_step="Start the logger before the kiln.",
        )
    open_ones = [
        index
        for index, passage in enumerate(alignment.passages)
        if passage.end_s is None and not (alignment.starts_inside and passage.start_s is None)
    ]
    if not open_ones or alignment.complete:
        return
    index = open_ones[0]
    target = evidence.degrees(schedule.segments[index].target_c)
    what = "The log ends" if alignment.stops_inside else "The firing was stopped"
    yield Finding(
        "stopped_early",
        "act",
        f"{what} before segment {index + 1} was over: it never went above "
        f"{evidence.degrees(evidence.peak_c)}, and that segment goes to {target}.",
        evidence=f"what was seen of the plan ends {format_duration(alignment.end_s)} into the log",
        next_step="Find out why before firing the same load again."
        if not alignment.stops_inside
        else "Keep the logger running until the kiln has cooled.",
        at_s=alignment.end_s,
    )


def _cone(evidence: Evidence) -> Iterator[Finding]:
    planned, reached = evidence.planned, evidence.reached
    if planned.reached_number is None:
        return
    chart = "cone-chart-1996"
    if reached.reached_number is None or reached.low is None or reached.high is None:
        yield Finding(
            "cone_missed",
            "act",
            f"No cone of the chart was reached; the plan amounts to cone "
            f"{describe_number(planned.reached_number)}.",
            next_step="Fire the ware again, or find out what stopped this firing.",
            source=chart,
        )
        return
    number, low, high, wanted = (
        describe_number(value)
        for value in (reached.reached_number, reached.low, reached.high, planned.reached_number)
    )
    words = f"cone {number} ({low} to {high}), planned {wanted}"
    if reached.low <= planned.reached_number <= reached.high:
        yield Finding(
            "cone_met",
            "note",
            f"The heat-work agrees with the plan: {words}.",
            evidence=f"margin {reached.budget_c:.1f} °C, without the thermocouple's own error",
            next_step="Set witness cones beside the ware now and then; they see what it sees.",
            source=chart,
        )
        return
    short = reached.reached_number < planned.reached_number
    far = abs(reached.reached_number - planned.reached_number) >= FAR_CONES
    yield Finding(
        "cone_missed",
        "act" if far else "check",
        f"The ware saw {'less' if short else 'more'} heat-work than planned: {words}.",
        evidence=f"margin {reached.budget_c:.1f} °C, without the thermocouple's own error",
        next_step="Look at the ware and the witness cones before changing the plan; "
        + (
            "a longer hold at the peak adds heat-work."
            if short
            else "a shorter hold takes some away."
        ),
        source=chart,
    )


def _peak(evidence: Evidence) -> Iterator[Finding]:
    if evidence.alignment.aborted or evidence.alignment.stops_inside:
        return
    off_c = evidence.peak_c - evidence.schedule.peak_c
    if abs(off_c) <= PEAK_OFF_C:
        return
    where = int(np.nanargmax(evidence.temperature_c))
    yield Finding(
        "peak_missed" if off_c < 0 else "peak_passed",
        "check",
        f"The highest reading was {evidence.degrees(evidence.peak_c)}, "
        f"planned {evidence.degrees(evidence.schedule.peak_c)}.",
        evidence=f"{off_c:+.0f} °C",
        next_step="See whether the program was keyed in as planned and whether the kiln still "
        "had power in hand near the top.",
        at_s=float(evidence.log.trace.time_s[where]),
    )


def _duration(evidence: Evidence) -> Iterator[Finding]:
    excess_s = evidence.excess_s
    if excess_s is None:
        return
    planned_s = evidence.forecast.program_s
    if abs(excess_s) < max(WORTH_TELLING_S, WORTH_TELLING_SHARE * planned_s):
        return
    telling = [c for c in evidence.causes if abs(c.seconds) >= 300.0][:3]
    parts = [f"{CAUSE_NAMES[c.cause]} {format_duration(c.seconds, signed=True)}" for c in telling]
    words = "longer" if excess_s > 0 else "shorter"
    suggestions = next((c.suggestions for c in telling if c.suggestions), ())
    yield Finding(
        "ran_long" if excess_s > 0 else "ran_short",
        "check",
        f"It ran {format_duration(abs(excess_s))} {words} than its program of "
        f"{format_duration(planned_s)}: {', '.join(parts)}.",
        evidence="; ".join(c.evidence for c in telling if c.evidence),
        next_step=suggestions[0] if suggestions else "",
    )


def _readings(evidence: Evidence) -> Iterator[Finding]:
    lost = np.mean(~np.isfinite(evidence.temperature_c))
    if lost > LOST_SHARE:
        yield Finding(
            "readings_lost",
            "check",
            f"{100 * lost:.0f} % of the readings of this channel are missing; lines were drawn "
            "across the gaps.",
            next_step="Look at the thermocouple's connections when the kiln is cold and isolated.",
        )


def _cooling(evidence: Evidence) -> Iterator[Finding]:
    cooling = evidence.cooling
    if cooling is None:
        if evidence.alignment.complete and evidence.schedule.peak_c > 300.0:
            yield Finding(
                "cooling_not_logged",
                "note",
                "The log ends with the program; the cooling is not in it.",
                next_step="Leave the logger running: cooling tells how tight the kiln is.",
            )
        return
    for share in cooling.causes:
        yield Finding(
            share.cause,
            "note",
            f"Natural cooling from {evidence.degrees(cooling.from_c)} to "
            f"{evidence.degrees(cooling.to_c)} took {format_duration(cooling.actual_s)}; the "
            f"default curve gives {format_duration(cooling.forecast_s)}.",
            evidence=share.evidence,
            next_step="Compare with this kiln's own earlier firings rather than with the default.",
            source="cooling-default",
        )
