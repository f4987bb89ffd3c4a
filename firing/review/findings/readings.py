"""Findings about the readings themselves: wired wrongly, in another unit, or lost."""

from collections.abc import Iterator

import numpy as np

from firing.logs.cleaning import Flag
from firing.review import thresholds as limit
from firing.review.result import Finding, Review
from firing.units import Wording, celsius_from_fahrenheit, fahrenheit_from_celsius, format_duration

_KINDS = {
    Flag.SPIKE: "spikes",
    Flag.STUCK: "stuck",
    Flag.DROPOUT: "dropouts to room temperature",
    Flag.FULL_SCALE: "overload",
    Flag.JUMP: "jumps faster than any kiln",
    Flag.FAHRENHEIT: "probably °F among °C",
}


def of_readings(review: Review) -> Iterator[Finding]:
    """Yield what makes the readings doubtful."""
    yield from _gaps(review)
    yield from _reversed(review)
    yield from _cold(review)
    yield from _moved(review)
    yield from _unit(review)
    yield from _lost(review)


def _gaps(review: Review) -> Iterator[Finding]:
    if not review.gaps:
        return
    hides = review.peak_is_hidden or review.cone_is_least
    yield Finding(
        "gap",
        "check" if hides or max(g.seconds for g in review.gaps) >= limit.GAP_TELLING_S else "note",
        " ".join(review.lacks),
        evidence=f"readings otherwise come every {format_duration(review.log.interval_s)}; the "
        "charts leave the gap open, and the hours are those on either side",
        next_step="Look at the witness cones and the ware before the next firing; find out why the "
        "logger stopped."
        if hides
        else "Find out why the logger stopped.",
        at_s=review.gaps[0].start_s,
    )


def _reversed(review: Review) -> Iterator[Finding]:
    """Tell swapped leads: a cold kiln is told to heat, and the reading only falls."""
    say = Wording(review.schedule.unit)
    trace = review.analysed.trace
    first_c, lowest_c = review.first_c, float(trace.temperature_c.min())
    if first_c > limit.COLD_START_C or review.peak_c > first_c + limit.RISEN_C:
        return
    if lowest_c > first_c - limit.FALLEN_C or review.schedule.peak_c <= first_c:
        return
    from firing.thermocouple.junction import WIRING_SOURCE, reversed_at_instrument_c

    shown_c = reversed_at_instrument_c("K", 100.0)
    yield Finding(
        "leads_reversed",
        "act",
        f"The reading fell from {say.degrees(first_c)} to {say.degrees(lowest_c)} while "
        "the program was to heat: the thermocouple's two leads look swapped. A controller that "
        "sees this heats without end.",
        evidence=f"with its leads swapped a type K shows {say.degrees(shown_c)} in a kiln "
        f"that is at {say.degrees(100.0)}",
        next_step="Fire no more until a competent person has checked the leads at the instrument "
        "and at the head, with the kiln isolated.",
        source=WIRING_SOURCE,
        at_s=float(trace.time_s[int(np.argmin(trace.temperature_c))]),
        confidence="sure" if lowest_c < limit.NO_ROOM_C else "likely",
    )


def _cold(review: Review) -> Iterator[Finding]:
    """Tell a kiln that reads colder than a room before it is heated."""
    say = Wording(review.schedule.unit)
    first_c, room_c = review.first_c, review.schedule.room_c
    if first_c > limit.FREEZING_C or first_c > room_c - limit.COLDER_C or _has_witnesses(review):
        return
    if review.peak_c <= first_c + limit.RISEN_C:
        return
    yield Finding(
        "thermocouple_low",
        "check",
        f"The log begins at {say.degrees(first_c)}. Unless the room was that cold, the "
        f"readings are about {say.difference(room_c - first_c)} too low, at least in the "
        "cold, and the ware was hotter than they say.",
        evidence=f"the plan begins at {say.degrees(room_c)}",
        next_step="Compare the cold kiln's reading with a room thermometer, and set witness cones.",
        confidence="possible",
    )


def _moved(review: Review) -> Iterator[Finding]:
    """Tell a thermocouple that slid or was pushed, by another channel or by a sudden fall."""
    say, shift = Wording(review.schedule.unit), review.sensor_shift
    if shift is None:
        return
    hotter = (
        "if it is the kiln's own, the ware was hotter than its readings from then on, and the next "
        "firing will be too"
    )
    off_c = abs(shift.share) * shift.at_c
    if not shift.other:
        yield Finding(
            "sensor_moved",
            "act",
            f"The thermocouple slid out or lost contact, or a lid stood open: at "
            f"{say.degrees(shift.at_c)} the reading fell by {say.difference(off_c)} within "
            "minutes. A closed kiln cools more slowly, and the reading came back only with heat. "
            "If it slid, the ware was hotter than the readings.",
            evidence=f"{format_duration(shift.regained_s or 0.0)} from leaving to regaining the "
            f"temperature; {hotter}",
            next_step="When the kiln is cold and isolated, see how deep the thermocouple sits and "
            "whether its wires are tight. Look at the witness cones before the next firing.",
            at_s=shift.at_s,
            confidence="possible",
        )
        return
    own, start_s = review.log.trace.channels[review.channel], review.analysed.alignment.start_s
    side = "lower" if shift.share > 0 else "higher"
    harm = hotter if shift.share > 0 else "which of them moved a log cannot show"
    yield Finding(
        "sensor_moved",
        "act",
        f"The thermocouple {own} or {shift.other} moved: from {say.degrees(shift.at_c)} on, "
        f"{format_duration(shift.at_s - start_s)} after the start, {own} came to read about "
        f"{say.difference(off_c)} {side} beside the other{', at once' if shift.sudden else ''}.",
        evidence=f"their ratio had been steady and changed by {100.0 * abs(shift.share):.0f} %; "
        f"{harm}",
        next_step="When the kiln is cold and isolated, see how deep both sit. Set witness cones in "
        "the next firing before the readings are trusted.",
        at_s=shift.at_s,
        confidence="likely",
    )


def _has_witnesses(review: Review) -> bool:
    return review.heat is not None and review.heat.witness is not None


def _unit(review: Review) -> Iterator[Finding]:
    say = Wording(review.schedule.unit)
    peak_c, planned_c = review.peak_c, review.schedule.peak_c
    expected = fahrenheit_from_celsius(planned_c)
    logged = fahrenheit_from_celsius(peak_c)
    if review.log.dialect.unit == "F":
        if abs(logged - planned_c) <= limit.SAME_NUMBER * planned_c:
            yield Finding(
                "maybe_celsius",
                "act",
                f"The readings, up to {logged:.0f}, were taken as °F but look like °C; every "
                "figure of this review hangs on it.",
                evidence=f"the plan's highest target is {say.degrees(planned_c)}"
                + ("" if review.schedule.unit == "C" else f", which is {planned_c:.0f} °C"),
                next_step="Review it again with --unit C if the logger was set to °C.",
                confidence="likely",
            )
        return
    if review.log.dialect.unit != "C":
        return
    if abs(peak_c - expected) <= limit.SAME_NUMBER * expected:
        reason = f"1.8 times the planned {planned_c:.0f} °C plus 32 is {expected:.0f}"
        if review.schedule.unit == "F":
            reason = f"the plan's highest target is {say.degrees(planned_c)}"
    elif peak_c > limit.TYPE_K_TOP_C:
        reason = f"no type K thermocouple can be read above {say.degrees(limit.TYPE_K_TOP_C)}"
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


def _lost(review: Review) -> Iterator[Finding]:
    share = float(np.mean(~np.isfinite(review.temperature_c)))
    counts = np.bincount(review.log.cleaning.marks[:, review.channel], minlength=max(Flag) + 1)
    kinds = [f"{int(counts[mark])} {words}" for mark, words in _KINDS.items() if counts[mark]]
    if counts[Flag.MISSING]:
        kinds.append(f"{int(counts[Flag.MISSING])} without a number")
    seen = ", ".join(kinds)
    if share > limit.LOST_SHARE:
        yield Finding(
            "readings_lost",
            "check",
            f"{100 * share:.0f} % of the readings of this channel are missing or were marked as "
            "no kiln's; lines were drawn across the gaps.",
            evidence=seen,
            next_step="Look at the thermocouple's connections when the kiln is cold and isolated.",
        )
    elif share > limit.CLEANED_SHARE:
        yield Finding(
            "readings_cleaned",
            "note",
            f"{100 * share:.1f} % of the readings of this channel are missing or were marked as "
            "no kiln's, too few to matter.",
            evidence=seen,
            next_step="Look at the thermocouple's connections if it gets more.",
        )
