"""Findings about the readings themselves: wired wrongly, in another unit, or lost."""

from collections.abc import Iterator

import numpy as np

from firing.logs.flags import Flag
from firing.review.findings.evidence import Evidence
from firing.review.result import Finding
from firing.units import celsius_from_fahrenheit, fahrenheit_from_celsius

TYPE_K_TOP_C = 1372.0
"""End of the type K reference function (NIST Monograph 175; source nist-srd-60) [°C]."""
SAME_NUMBER = 0.05
LOST_SHARE = 0.02
CLEANED_SHARE = 0.002
COLD_START_C = 60.0
FALLEN_C = 15.0
RISEN_C = 20.0
NO_ROOM_C = -20.0
"""No room that a kiln stands in is so cold [°C]."""
FREEZING_C = 4.0
COLDER_C = 12.0
"""Studios are seldom near freezing, nor so much colder than their plan says [°C]."""

_KINDS = {
    Flag.SPIKE: "spikes",
    Flag.STUCK: "stuck",
    Flag.DROPOUT: "dropouts to room temperature",
    Flag.FULL_SCALE: "overload",
    Flag.JUMP: "jumps faster than any kiln",
    Flag.FAHRENHEIT: "probably °F among °C",
}


def of_readings(evidence: Evidence) -> Iterator[Finding]:
    """Yield what makes the readings doubtful."""
    yield from _reversed(evidence)
    yield from _cold(evidence)
    yield from _unit(evidence)
    yield from _lost(evidence)


def _reversed(evidence: Evidence) -> Iterator[Finding]:
    """Tell swapped leads: a cold kiln is told to heat, and the reading only falls."""
    trace = evidence.trace
    first_c, lowest_c = evidence.first_c, float(trace.temperature_c.min())
    if first_c > COLD_START_C or evidence.peak_c > first_c + RISEN_C:
        return
    if lowest_c > first_c - FALLEN_C or evidence.schedule.peak_c <= first_c:
        return
    from firing.thermocouple.wiring import SOURCE, reversed_at_instrument_c

    shown_c = reversed_at_instrument_c("K", 100.0)
    yield Finding(
        "leads_reversed",
        "act",
        f"The reading fell from {evidence.degrees(first_c)} to {evidence.degrees(lowest_c)} while "
        "the program was to heat: the thermocouple's two leads look swapped. A controller that "
        "sees this heats without end.",
        evidence=f"with its leads swapped a type K shows {evidence.degrees(shown_c)} in a kiln "
        f"that is at {evidence.degrees(100.0)}",
        next_step="Fire no more until a competent person has checked the leads at the instrument "
        "and at the head, with the kiln isolated.",
        source=SOURCE,
        at_s=float(trace.time_s[int(np.argmin(trace.temperature_c))]),
        confidence="sure" if lowest_c < NO_ROOM_C else "likely",
    )


def _cold(evidence: Evidence) -> Iterator[Finding]:
    """Tell a kiln that reads colder than a room before it is heated."""
    first_c, room_c = evidence.first_c, evidence.schedule.room_c
    if first_c > FREEZING_C or first_c > room_c - COLDER_C or evidence.heat.witness is not None:
        return
    if evidence.peak_c <= first_c + RISEN_C:
        return
    yield Finding(
        "thermocouple_low",
        "check",
        f"The log begins at {evidence.degrees(first_c)}. Unless the room was that cold, the "
        f"readings are about {evidence.difference(room_c - first_c)} too low, at least in the "
        "cold, and the ware was hotter than they say.",
        evidence=f"the plan begins at {evidence.degrees(room_c)}",
        next_step="Compare the cold kiln's reading with a room thermometer, and set witness cones.",
        confidence="possible",
    )


def _unit(evidence: Evidence) -> Iterator[Finding]:
    peak_c, planned_c = evidence.peak_c, evidence.schedule.peak_c
    expected = fahrenheit_from_celsius(planned_c)
    logged = fahrenheit_from_celsius(peak_c)
    if evidence.log.dialect.unit == "F":
        if abs(logged - planned_c) <= SAME_NUMBER * planned_c:
            yield Finding(
                "maybe_celsius",
                "act",
                f"The readings, up to {logged:.0f}, were taken as °F but look like °C; every "
                "figure of this review hangs on it.",
                evidence=f"the plan's highest target is {evidence.degrees(planned_c)}"
                + ("" if evidence.schedule.unit == "C" else f", which is {planned_c:.0f} °C"),
                next_step="Review it again with --unit C if the logger was set to °C.",
                confidence="likely",
            )
        return
    if evidence.log.dialect.unit != "C":
        return
    if abs(peak_c - expected) <= SAME_NUMBER * expected:
        reason = f"1.8 times the planned {planned_c:.0f} °C plus 32 is {expected:.0f}"
        if evidence.schedule.unit == "F":
            reason = f"the plan's highest target is {evidence.degrees(planned_c)}"
    elif peak_c > TYPE_K_TOP_C:
        reason = f"no type K thermocouple can be read above {evidence.degrees(TYPE_K_TOP_C)}"
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
        confidence="likely",
    )


def _lost(evidence: Evidence) -> Iterator[Finding]:
    share = float(np.mean(~np.isfinite(evidence.temperature_c)))
    counts = np.bincount(evidence.log.cleaning.marks[:, evidence.channel], minlength=max(Flag) + 1)
    kinds = [f"{int(counts[mark])} {words}" for mark, words in _KINDS.items() if counts[mark]]
    if counts[Flag.MISSING]:
        kinds.append(f"{int(counts[Flag.MISSING])} without a number")
    seen = ", ".join(kinds)
    if share > LOST_SHARE:
        yield Finding(
            "readings_lost",
            "check",
            f"{100 * share:.0f} % of the readings of this channel are missing or were marked as "
            "no kiln's; lines were drawn across the gaps.",
            evidence=seen,
            next_step="Look at the thermocouple's connections when the kiln is cold and isolated.",
        )
    elif share > CLEANED_SHARE:
        yield Finding(
            "readings_cleaned",
            "note",
            f"{100 * share:.1f} % of the readings of this channel are missing or were marked as "
            "no kiln's, too few to matter.",
            evidence=seen,
            next_step="Look at the thermocouple's connections if it gets more.",
        )
