"""The shorter results as reports: heat-work, kilns, fits and sources."""

from collections.abc import Mapping, Sequence
from functools import partial

import numpy as np

from firing.cones.cone_at import ConeAt
from firing.cones.equivalence import ConeProgress, ConeVerdict
from firing.cones.holds import what_the_range_spans
from firing.cones.ways import WaysToCone
from firing.heat.properties import MaterialRow
from firing.kiln.description import KilnRow
from firing.kiln.element_wear import Trend
from firing.kiln.fit_result import KilnFit
from firing.kiln.simulation import Highest
from firing.report.charts.heatwork import ways_drawing
from firing.report.charts.text_chart import ChartSeries
from firing.report.document import Block, Bullets, Chart, Paragraph, Report, Section, Table
from firing.report.words import closed, sentence
from firing.sources import Source
from firing.units import (
    TemperatureUnit,
    format_duration,
    format_rate,
    format_temperature,
    from_celsius,
    hours_minutes,
    in_unit,
    rate_from_celsius,
    rate_to_celsius,
)

_NEAR_HEATWORK = 0.02, 20.0
_LONG_DOWN = 5.0
"""A cone with more of its heat-work went down long before: how much more says nothing, and from
cone to cone the law's figures jump there."""
_MOST_RATES = 6


def how_read_section(read: Sequence[str]) -> Section | None:
    """Return how a log was read, as every report of one shows it."""
    return Section("How the log was read", [Bullets(list(read))]) if read else None


def heatwork_report(
    verdict: ConeVerdict,
    above_1000_s: float,
    basis: str,
    unit: TemperatureUnit = "C",
    lacks: Sequence[str] = (),
    *,
    least: bool = False,
    read: Sequence[str] = (),
) -> Report:
    """Return which cones a trace amounts to; `basis` says what the trace is, `lacks` what not.

    With `least` they are a lower bound.  `read` says how a log was read.
    """
    if verdict.reached_number is None:
        answer = "No cone of the chart is down."
    else:
        answer = f"{verdict.words}."
        answer = f"At least {answer}" if least else answer.capitalize()
    low, high = _NEAR_HEATWORK
    rows = [
        (
            p.cone,
            f"over {_LONG_DOWN:g}" if p.heatwork > _LONG_DOWN else f"{p.heatwork:.2f}",
            _down_words(p, verdict.reached_as_printed),
        )
        for p in verdict.by_cone.values()
        if low <= p.heatwork <= high
    ]
    heads = ("cone", "times what brings it down", "since the start")
    table = Table(heads, "rrl", rows, "At 1 a cone is down.") if rows else None
    rests = (*verdict.warnings_in(unit), *verdict.notes_in(unit), f"Rests on: {basis}.")
    return Report(
        "Heat-work",
        "",
        [
            *map(Paragraph, lacks),
            Paragraph(answer),
            Paragraph(
                f"Time above {format_temperature(1000.0, unit)}: {format_duration(above_1000_s)}."
            ),
            Section("", [table]),
            how_read_section(read),
            Section("", [Paragraph(words) for words in rests]),
        ],
        unit=unit,
    )


def _down_words(progress: ConeProgress, reached: str | None) -> str:
    if progress.reached_s is not None:
        return f"down at {format_duration(progress.reached_s)}"
    # The answer calls it reached; it lacks less than what a cone shows.
    return "as good as down" if progress.cone == reached else "not down"


def cone_at_report(answer: ConeAt) -> Report:
    """Return which cone a few legs come to, how far the next is, and what more is worth."""
    unit, cones = answer.unit, answer.cones
    degree = f"1 °{unit} more at the peak"
    share = rate_to_celsius(1.0, unit)
    parts: list[Block | None] = []
    if answer.next is not None:
        ways = []
        if answer.next.hold_s is not None:
            ways.append(f"hold {format_duration(answer.next.hold_s)} longer")
        if answer.next.hotter_c is not None:
            hotter = rate_from_celsius(answer.next.hotter_c, unit)
            ways.append(f"go {hotter:.0f} °{unit} hotter")
        reach = f": {' or '.join(ways)}" if ways else " is out of reach of a hold of a day"
        parts.append(Paragraph(f"For cone {answer.next.cone}{reach}."))
    worth = answer.worth
    # Beyond the hottest cone of the chart nothing is worth a part of a cone that could be told.
    if worth.degree_s is not None and worth.degree_cones:
        parts.append(
            Paragraph(
                f"{degree} is worth {format_duration(worth.degree_s * share)} of hold, or "
                f"{worth.degree_cones * share:.3f} of a cone. A minute more of hold is worth "
                f"{worth.minute_cones or 0.0:.3f} of a cone."
            )
        )
    cooled = (
        "The cooling you stated is counted; what the kiln cools by itself after it is left out."
        if answer.cooling_counted
        else "No cooling is counted: a kiln's own cooling adds a little, slow cooling more."
    )
    rests = (cooled, *answer.warnings, *cones.notes_in(unit))
    cited = Paragraph("Sources: cone-chart-1996, cone-model.")
    return Report(
        "",
        "",
        [
            Paragraph(f"{cones.words[:1].upper()}{cones.words[1:]}."),
            Section("", parts),
            Section("", [*(Paragraph(words) for words in rests), cited]),
        ],
    )


def ways_report(found: WaysToCone) -> Report:
    """Return the ways to a cone: a table of peaks and final rates, and the curve of the first."""
    unit = found.unit
    shown = [rate for rate in found.rates_c_per_h if found.at(rate)]
    cells = {(way.peak_c, way.rate_c_per_h): way for way in found.ways}
    rows = []
    for peak_c in dict.fromkeys(way.peak_c for way in found.ways):
        row = [format_temperature(peak_c, unit)]
        for rate in shown:
            way = cells.get((peak_c, rate))
            row.append(
                "–"
                if way is None
                else f"{hours_minutes(way.hold_s)} ({hours_minutes(way.low_s)} to "
                f"{hours_minutes(way.high_s)})"
            )
        rows.append(tuple(row))
    headers = ("peak", *(f"after {format_rate(rate, unit)}" for rate in shown))
    table = Table(headers, "r" * len(headers), rows) if rows else None
    first = found.at(found.rates_c_per_h[0])
    ways = [
        f"{format_temperature(way.peak_c, unit)} and {format_duration(way.hold_s)}"
        if way.hold_s >= 30.0
        else f"{format_temperature(way.peak_c, unit)} without a hold"
        for way in first[:3]
    ]
    limit = ""
    if found.at_most_c is not None:
        limit = f" at no more than {from_celsius(found.at_most_c, unit):.10g} °{unit}"
    name = "" if found.kind == "self-supporting" else f"{found.kind} "
    answer = f"{name}cone {found.cone}{limit}, after {format_rate(found.rates_c_per_h[0], unit)}: "
    answer += "; or ".join(ways) if ways else "no hold within a day does it"
    series = []
    if len(found.curve) > 1:
        peaks, holds = zip(*found.curve, strict=True)
        label = f"cone {found.cone} down, over hours of hold"
        series = [ChartSeries(label, np.array(holds), np.array(peaks))]
    cooled = (
        "The heat-work of the cooling you stated is counted."
        if found.cooling
        else "Cooling is left out: a kiln's own cooling adds a little, slow cooling more."
    )
    rests = (cooled, what_the_range_spans(unit), *(f"Note: {words}" for words in found.warnings))
    cited = Paragraph("Sources: cone-chart-1996, cone-model.")
    return Report(
        "Ways",
        f"cone {found.cone}",
        [
            Paragraph(closed(sentence(answer))),
            Section("Hold (h:mm) by peak and final rate", [table]),
            Chart(partial(ways_drawing, found), series, unit) if series else None,
            Section("", [*(Paragraph(words) for words in rests), cited]),
        ],
    )


def sources_report(chosen: Mapping[str, Source]) -> Report:
    """Return bibliography entries."""
    parts: list[Block] = []
    for key, entry in chosen.items():
        parts += [Paragraph(key), Paragraph(entry.sentence(), "under")]
    return Report("Sources", "", parts)


#: What a unit of the kiln's figures is in the customary unit beside °F: its factor and its name.
_CUSTOMARY = {
    "kg": (1.0 / 0.45359237, "lb"),
    "mm": (1.0 / 25.4, "in"),
    "m": (1.0 / 0.3048, "ft"),
    "l": (1.0 / 28.316846592, "cu ft"),
    "m²": (1.0 / 0.09290304, "sq ft"),
    "kg/m³": (0.45359237**-1 * 0.028316846592, "lb/cu ft"),
    "W/(m K)": (6.933472, "BTU in/(h sq ft °F)"),
    "J/(kg K)": (1.0 / 4186.8, "BTU/(lb °F)"),
    "W/K": (1.0 / 1.8, "W/°F"),
    "W/(m² K)": (0.17611, "BTU/(h sq ft °F)"),
}


def _row_in(row: KilnRow, unit: TemperatureUnit) -> tuple[str, str, str, str]:
    value, name = row.value, row.unit
    if unit == "F" and not isinstance(value, str):
        if row.unit == "°C":
            offset = "offset" in row.name
            value = rate_from_celsius(value, unit) if offset else from_celsius(value, unit)
        elif row.unit in _CUSTOMARY:
            value *= _CUSTOMARY[row.unit][0]
    if unit == "F":
        name = "°F" if row.unit == "°C" else _CUSTOMARY.get(row.unit, (0.0, row.unit))[1]
    figure = value if isinstance(value, str) else f"{value:.4g}"
    return in_unit(row.name, unit), figure, name, row.source


def kiln_report(
    name: str,
    rows: Sequence[KilnRow],
    highest: Highest,
    rates: Sequence[tuple[float, float]],
    unit: TemperatureUnit = "C",
) -> Report:
    """Return a kiln's figures with their sources, and what it can do."""
    cells = [_row_in(row, unit) for row in rows]
    most = f"It can hold {format_temperature(highest.temperature_c, unit)} at most"
    more = ", as far as its wall's tables go" if highest.by_tables else ""
    shown = rates[:: max(1, len(rates) // _MOST_RATES)]
    rises = ", ".join(
        f"{format_rate(rate, unit)} at {format_temperature(t, unit)}" for t, rate in shown
    )
    return Report(
        "",
        name,
        [
            Section("", [Table(("figure", "value", "unit", "source"), "lrll", cells)]),
            Section(
                "",
                [
                    Paragraph(f"{most}{more}; with a typical load it rises at most"),
                    Paragraph(f"{rises}.{_slowed_by_water(rates, unit)}"),
                ],
            ),
        ],
        unit=unit,
    )


_WATER_LEAVES_C = (450.0, 700.0)
"""Where a load's bound water takes heat, as far as a fast ramp moves it [°C]; source
``kaolinite-kinetics-1987``."""


def _slowed_by_water(rates: Sequence[tuple[float, float]], unit: TemperatureUnit) -> str:
    """Return why the rise dips where the load's bound water leaves; empty where it does not."""
    low_c, high_c = _WATER_LEAVES_C
    inside = [pair for pair in rates if low_c <= pair[0] <= high_c]
    if not inside:
        return ""
    slowest_c, slowest = min(inside, key=lambda pair: pair[1])
    if slowest >= max((rate for t, rate in inside if t > slowest_c), default=0.0):
        return ""
    return (
        f" Near {format_temperature(slowest_c, unit)} it falls to {format_rate(slowest, unit)}: "
        "there the raw load's bound water leaves and takes heat. A bisqued load has no such dip."
    )


def materials_report(rows: Sequence[MaterialRow], unit: TemperatureUnit) -> Report:
    """Return the wall materials with their values and sources."""
    parts: list[Block] = []
    for row in rows:
        also = f" ({', '.join(row.also_called)})" if row.also_called else ""
        _, density, density_unit, _ = _row_in(
            KilnRow("density", row.density_kg_per_m3, "kg/m³", ""), unit
        )
        lines = [
            f"density {density} {density_unit}",
            _curve_words("conductivity", row.conductivity, "W/(m K)", unit),
            _curve_words("specific heat", row.specific_heat, "J/(kg K)", unit),
            f"sources: {', '.join(row.sources)}",
        ]
        parts += [Paragraph(f"{row.name}{also}"), *(Paragraph(line, "under") for line in lines)]
    told = (
        'Write the name in [[wall]], like material = "insulating brick 1260". Describe any other '
        "in a table [[material]]. 'firing sources ID' prints a source."
    )
    return Report("", "Wall materials", [Section("", parts), Section("", [Paragraph(told)])])


def _curve_words(
    what: str, points: Sequence[tuple[float, float]], base: str, unit: TemperatureUnit
) -> str:
    shown = [points[0], points[-1]] if points[0][1] == points[-1][1] else points
    rows = [(t, _row_in(KilnRow(what, value, base, ""), unit)) for t, value in shown]
    told = ", ".join(f"{figure} at {format_temperature(t, unit)}" for t, (_, figure, _, _) in rows)
    return f"{what} {told} [{rows[0][1][2]}]"


def fit_report(
    name: str,
    fit: KilnFit,
    trend: Trend,
    unit: TemperatureUnit = "C",
    choices: Sequence[str] = (),
    read: Sequence[str] = (),
) -> Report:
    """Return what logs have taught about a kiln, and what they cannot tell.

    Before it stands what the logs left open (`choices`), after it how they were `read`.
    """
    rows = [
        (
            words,
            f"{estimate.value:.3f}",
            f"± {estimate.se:.3f}",
            "yes" if estimate.identifiable else "no",
        )
        for words, estimate in (
            ("power", fit.power),
            ("loss through the walls", fit.loss),
            ("leak", fit.leak),
            ("walls and leak together", fit.losses),
            ("capacity", fit.capacity),
            ("power over capacity", fit.power_over_capacity),
            ("power over all losses", fit.power_over_losses),
            ("loss over capacity", fit.loss_over_capacity),
            ("leak over capacity", fit.leak_over_capacity),
        )
    ]
    headers = ("multiplier on the kiln file", "value", "standard error", "measured")
    rms = 100.0 * fit.diagnostics.rms_share
    rests = (
        f"Rests on: {fit.basis}.",
        f"The model matches the log's half hours to {rms:.1f} % of full power.",
    )
    cited = ", ".join((*fit.sources, *trend.sources))
    return Report(
        "",
        f"What the logs show {name}",
        [
            *map(Paragraph, choices),
            Section("", [Table(headers, "lrrl", rows)]),
            how_read_section(read),
            Section("", [Paragraph(words) for words in rests]),
            Section("What they can't show", [Bullets(fit.cannot_tell)]),
            Section("Odd", [Bullets(fit.warnings)]),
            Section("Power over time", [Bullets(trend.sentences)]),
            Section("", [Paragraph(f"Sources: {cited}.")]),
        ],
        unit=unit,
    )
