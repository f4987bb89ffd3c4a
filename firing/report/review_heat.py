"""The heat of a firing: its cones and their margin, witness cones, evenness, and the cooling."""

from collections.abc import Iterator, Sequence
from functools import partial

import numpy as np

from firing.cones.table import describe_range
from firing.report.charts.heatwork import heatwork_drawing
from firing.report.document import Block, Bullets, Chart, Paragraph, Section, Table, on_text
from firing.report.words import CONES_MEANT, cone_or_none
from firing.review.result import HeatVerdict, KilnOffset, Review
from firing.units import (
    TemperatureUnit,
    format_duration,
    format_temperature,
    rate_from_celsius,
    temperature_figure,
)

_HOUR_SHOWN = 0.05


def witness_words(review: Review) -> str:
    """Return how the witness cones stood, ``6 at 3:00, 7 standing``; empty without any."""
    verdict = None if review.heat is None else review.heat.witness
    if verdict is None:
        return ""
    seen = {
        (f"{r.witness.cone} {r.witness.seen}", r.witness.place): None for r in verdict.kiln.results
    }
    return ", ".join(f"{words} ({place})" if place else words for words, place in seen)


def result_sentence(review: Review, *, brief: bool = False) -> str:
    """Return which cone the firing reached, and its highest reading.

    Witness cones come first where there are any: they saw what the ware saw.
    """
    seen = witness_words(review)
    words = _by_readings(review, brief=brief)
    if not seen:
        return words
    return f"Witness cones: {seen}. By the thermocouple: {words[0].lower()}{words[1:]}"


def _by_readings(review: Review, *, brief: bool) -> str:
    meant = "" if brief else f" ({CONES_MEANT})"
    unit = review.schedule.unit
    peaks = [s.peak_c for s in review.segments if s.peak_c is not None]
    if review.refused:
        highest = format_temperature(float(np.nanmax(review.temperature_c)), unit)
        return f"Reached {review.cones.words}{meant}; highest reading {highest}."
    partly = review.begins_inside or review.ended == "log"
    came = "What is in it amounts to" if partly else "Reached"
    if review.cone_is_least:
        came = f"{came} at least"
    planned = f"planned {cone_or_none(review.cones_planned.reached_number)}"
    wanted = f"for cone {review.schedule.cone}" if review.schedule.cone else ""
    beside = wanted or planned if brief else ", ".join(filter(None, (wanted, planned)))
    words = f"{came} {review.cones.words}, {beside}"
    if not peaks:
        return f"{words}{meant}."
    return (
        f"{words}{meant}; highest {'' if brief else 'reading '}"
        f"{format_temperature(max(peaks), unit)}, "
        f"planned {format_temperature(review.schedule.peak_c, unit)}."
    )


def cones_section(review: Review, margins: Sequence[str]) -> Section:
    """Return cones with their margins, heat-work, witness cones and evenness."""
    told = on_text(*map(Paragraph, margins))
    parts: list[Block] = [
        Section("Cones", [cones_by_channel(review), told], heading_on="text"),
        _heatwork(review),
        Section("Witness cones", [witnesses(review)], heading_on="text"),
        Section("Heat-work", [Bullets(heat_words(review))], heading_on="text"),
        Section("Evenness", [unevenness(review)], heading_on="text"),
    ]
    return Section("Cones and heat-work", parts, "cones", heading_on="page")


def cones_by_channel(review: Review) -> Table:
    """Return the cone of every channel, with its range, and its highest reading."""
    unit = review.schedule.unit
    rows = []
    for name, verdict in review.cones_by_channel.items():
        reading = review.log.trace.channel_c(name)
        rows.append(
            (
                name,
                cone_or_none(verdict.reached_number),
                "–" if verdict.high is None else describe_range(verdict.low, verdict.high),
                temperature_figure(float(reading[reading == reading].max()), unit),
            )
        )
    return Table(
        ("channel", "cone", "range", f"highest °{unit}"),
        "lllr",
        rows,
        "The cone each channel came to, and its highest reading",
    )


def margin_words(review: Review) -> list[str]:
    """Return what the cones rest on and what their range spans, one sentence each."""
    heat, unit = review.heat, review.schedule.unit
    warnings = review.cones.warnings_in(unit)
    if heat is None:
        return [*review.cones.notes_in(unit), *warnings]
    first, *_ = review.cones.notes or ("",)
    return [first, _margin(heat, unit), *warnings]


def _margin(heat: HeatVerdict, unit: TemperatureUnit) -> str:
    def size(value_c: float) -> str:
        return f"±{rate_from_celsius(value_c, unit):.1f} °{unit}"

    budget = heat.budget
    if budget.thermocouple_c is None:
        sensor = f"the thermocouple's error is not in it ({heat.thermocouple.reason})"
    else:
        sensor = f"the thermocouple {size(budget.thermocouple_c)} ({heat.thermocouple.reason})"
    if heat.offset_known:
        offset = (
            f"{rate_from_celsius(heat.offset_c, unit):+.1f} °{unit} from the kiln file's witness "
            "cones are added to the kiln's readings"
        )
    else:
        offset = "the kiln's own offset is unknown until witness cones have shown it"
    return (
        f"The range spans {size(budget.total_c)}: the cone {size(budget.cone_c)}, the law "
        f"{size(budget.law_c)}, {sensor}; {offset}."
    )


def _heatwork(review: Review) -> Chart:
    trace = review.log.trace
    course = trace.started, trace.time_s, review.temperature_c
    cones = review.cones, review.cones_planned
    subject = f"the log, channel {trace.channels[review.channel]}"
    return Chart(partial(heatwork_drawing, *course, cones, subject))


def witnesses(review: Review) -> Table | None:
    """Return every witness cone, what the readings make of it, and the offset; None without."""
    verdict = None if review.heat is None else review.heat.witness
    if verdict is None:
        return None
    unit = review.schedule.unit
    rows = [
        (
            result.witness.cone,
            result.witness.place or "–",
            result.witness.seen,
            result.channel,
            result.computed,
            offset_words(result.offset_c, result.low_c, result.high_c, unit),
        )
        for offset in (verdict.kiln, *verdict.others)
        for result in offset.results
    ]
    return Table(
        ("cone", "place", "was", "by readings of", "it is", f"offset °{unit}"),
        "llllll",
        rows,
        "The witness cones, what the readings make of each, and the offset that follows",
    )


def _reads_words(offset: KilnOffset, unit: TemperatureUnit) -> str:
    """Return how far a thermocouple reads off, ``12 °C high (5 to 19)``, where cones show both."""
    values = (offset.offset_c, offset.low_c, offset.high_c)
    if any(value is None for value in values):
        return f"low by {offset_words(*values, unit)} °{unit}"
    middle, *ends = (round(rate_from_celsius(value or 0.0, unit)) for value in values)
    sign = -1 if middle < 0 else 1
    low, high = sorted(sign * end for end in ends)
    span = f"{low} to {high}".replace("-", "−")
    return f"{abs(middle)} °{unit} {'high' if sign < 0 else 'low'} ({span})"


def offset_words(
    offset_c: float | None, low_c: float | None, high_c: float | None, unit: TemperatureUnit
) -> str:
    """Return an offset with its range: ``+12 (+4 to +19)``, ``+5 or more``, ``open``."""

    def signed(value_c: float) -> str:
        value = round(rate_from_celsius(value_c, unit))
        return "0" if value == 0 else f"{'−' if value < 0 else '+'}{abs(value)}"

    if offset_c is not None and low_c is not None and high_c is not None:
        return f"{signed(offset_c)} ({signed(low_c)} to {signed(high_c)})"
    if low_c is not None:
        return f"{signed(low_c)} or more"
    return "open" if high_c is None else f"{signed(high_c)} or less"


def heat_words(review: Review) -> list[str]:
    """Return the rest of the heat-work's verdict, one sentence each; empty without one."""
    heat = review.heat
    return [] if heat is None else list(_heatwork_sentences(review, heat))


def _heatwork_sentences(review: Review, heat: HeatVerdict) -> Iterator[str]:
    unit = review.schedule.unit
    if heat.time_above_1000_s > 0:
        hot_s = heat.time_above_1000_s
        yield f"Above {format_temperature(1000.0, unit)} for {format_duration(hot_s)}."
    verdict = heat.witness
    if verdict is not None:
        kiln = verdict.kiln
        yield (
            f"By the witness cones {kiln.channel} reads {_reads_words(kiln, unit)}; the range "
            "spans the reading of the cone's position, the cone and our fit to the chart."
        )
    for name, hours in heat.exposures.items():
        told = [
            f"{spent:.1f} h above {format_temperature(level_c, unit)}"
            for level_c, spent in zip(hours.levels_c, hours.hours, strict=True)
            if spent >= _HOUR_SHOWN
        ]
        if told:
            yield f"The sensor of {name} spent {', '.join(told)}."
    found = " ".join(f.message + f.next_step for f in review.findings if f.id == "sensor_hours")
    for remark in heat.drift:
        if remark.text not in found:
            yield remark.text
    if not heat.drift and any(hours.hours[0] >= _HOUR_SHOWN for hours in heat.exposures.values()):
        yield "Which way it drifts depends on its type; a kiln file (--kiln) says which."


def unevenness(review: Review) -> Table | None:
    """Return the channels of the chamber at the peak and over the last hour; None with one."""
    found = None if review.heat is None else review.heat.unevenness
    if found is None:
        return None
    unit = review.schedule.unit
    rows = [
        (
            channel.name,
            *(
                "–" if value_c is None else temperature_figure(value_c, unit)
                for value_c in (channel.at_peak_c, channel.last_hour_c)
            ),
            cone_or_none(channel.cone_number),
        )
        for channel in found.channels
    ]
    spreads = [
        "–" if spread_c is None else f"{rate_from_celsius(spread_c, unit):.0f}"
        for spread_c in (found.at_peak_c, found.last_hour_c)
    ]
    rows.append(("apart by", *spreads, "–" if found.cones is None else f"{found.cones:.1f}"))
    return Table(
        ("channel", f"at peak °{unit}", f"last hour °{unit}", "cone"),
        "lrrl",
        rows,
        "How far the channels were apart at the peak and over the last hour",
    )


def cooling_section(review: Review) -> Section:
    """Return how long the cooling took, and how fast it went through the inversions."""
    return Section("Cooling", [Bullets(cooling_words(review)), cooling_through(review)])


def cooling_words(review: Review) -> list[str]:
    """Return what the natural cooling took against the default, one sentence; empty without."""
    cooling = review.cooling
    if cooling is None:
        return []
    unit = review.schedule.unit
    span = (
        f"From {format_temperature(cooling.from_c, unit)} to "
        f"{format_temperature(cooling.to_c, unit)} in {format_duration(cooling.actual_s)}; "
        f"{format_duration(cooling.forecast_s)} expected by "
        + ("the kiln's model" if cooling.basis == "kiln" else "the default cooling curve")
    )
    parts = [
        f"{format_duration(cause.seconds, signed=True)} {cause.name}" for cause in cooling.causes
    ]
    return [f"{span}: {', '.join(parts)}." if parts else f"{span}."]


def cooling_through(review: Review) -> Table | None:
    """Return how fast every channel cooled through the inversions; None where none did."""
    heat = review.heat
    if heat is None:
        return None
    unit = review.schedule.unit
    shown = [part for part in heat.through if set(part.rate_c_per_h.values()) != {None}]
    if not shown:
        return None
    rows = []
    for name in review.log.trace.channels:
        rates = [part.rate_c_per_h[name] for part in shown]
        rows.append(
            (name, *("–" if r is None else f"{rate_from_celsius(r, unit):.0f}" for r in rates))
        )
    return Table(
        ("channel", *(f"°{unit}/h at {format_temperature(part.at_c, unit)}" for part in shown)),
        "l" + "r" * len(shown),
        rows,
        "How fast every channel cooled through the inversions of quartz and cristobalite",
    )
