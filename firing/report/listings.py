"""The shorter results as reports: heat-work, kilns, fits and sources."""

from collections.abc import Mapping, Sequence

from firing.cones.equivalence import ConeVerdict
from firing.cones.table import describe_number
from firing.kiln.capability import Highest
from firing.kiln.element_wear import Trend
from firing.kiln.fit_result import KilnFit
from firing.kiln.parameter_table import KilnRow
from firing.report.document import Block, Bullets, Paragraph, Report, Section, Table
from firing.sources import Source
from firing.units import format_duration, format_rate, format_temperature

_NEAR_HEATWORK = 0.02, 20.0
_MOST_RATES = 6


def heatwork_report(
    verdict: ConeVerdict,
    above_1000_s: float,
    basis: str,
    lacks: Sequence[str] = (),
    *,
    least: bool = False,
) -> Report:
    """Return which cones a trace amounts to; `basis` says what the trace is, `lacks` what not.

    With `least` they are a lower bound.
    """
    if verdict.reached_number is None:
        answer = "No cone of the chart is down."
    else:
        span = ""
        if verdict.low is not None and verdict.high is not None:
            span = f" ({describe_number(verdict.low)} to {describe_number(verdict.high)})"
        first = "At least cone" if least else "Cone"
        answer = f"{first} {describe_number(verdict.reached_number)}{span}."
    low, high = _NEAR_HEATWORK
    rows = [
        (
            p.cone,
            f"{p.heatwork:.2f}",
            "not down" if p.reached_s is None else f"down at {format_duration(p.reached_s)}",
        )
        for p in verdict.by_cone.values()
        if low <= p.heatwork <= high
    ]
    table = Table(("cone", "heat-work", "since the start"), "rrl", rows) if rows else None
    rests = (*verdict.warnings, *verdict.notes, f"Rests on: {basis}.")
    return Report(
        "Heat-work",
        "",
        [
            *map(Paragraph, lacks),
            Paragraph(answer),
            Paragraph(f"Time above 1000 °C: {format_duration(above_1000_s)}."),
            Section("", [table]),
            Section("", [Paragraph(words) for words in rests]),
        ],
    )


def sources_report(chosen: Mapping[str, Source]) -> Report:
    """Return bibliography entries."""
    parts: list[Block] = []
    for key, entry in chosen.items():
        parts += [Paragraph(key), Paragraph(entry.sentence(), "under")]
    return Report("Sources", "", parts)


def kiln_report(
    name: str, rows: Sequence[KilnRow], highest: Highest, rates: Sequence[tuple[float, float]]
) -> Report:
    """Return a kiln's figures with their sources, and what it can do."""
    cells = [(row.name, _figure(row.value), row.unit, row.source) for row in rows]
    most = f"It can hold {format_temperature(highest.temperature_c)} at most"
    more = ", as far as its wall's tables go" if highest.by_tables else ""
    shown = rates[:: max(1, len(rates) // _MOST_RATES)]
    rises = ", ".join(f"{format_rate(rate)} at {format_temperature(t)}" for t, rate in shown)
    return Report(
        "",
        name,
        [
            Section("", [Table(("figure", "value", "unit", "source"), "lrll", cells)]),
            Section(
                "",
                [
                    Paragraph(f"{most}{more}; with a typical load it rises at most"),
                    Paragraph(f"{rises}."),
                ],
            ),
        ],
    )


def _figure(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:.4g}"


def fit_report(name: str, fit: KilnFit, trend: Trend) -> Report:
    """Return what logs have taught about a kiln, and what they cannot tell."""
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
            ("loss over capacity", fit.loss_over_capacity),
            ("leak over capacity", fit.leak_over_capacity),
        )
    ]
    headers = ("multiplier on the kiln file", "value", "standard error", "told")
    rms = 100.0 * fit.diagnostics.rms_share
    rests = (
        f"Rests on: {fit.basis}.",
        f"Half an hour's mean power is described to {rms:.1f} % of full power.",
    )
    cited = ", ".join((*fit.sources, *trend.sources))
    return Report(
        "",
        f"What the logs tell of {name}",
        [
            Section("", [Table(headers, "lrrl", rows)]),
            Section("", [Paragraph(words) for words in rests]),
            Section("What they cannot tell", [Bullets(fit.cannot_tell)]),
            Section("Odd", [Bullets(fit.warnings)]),
            Section("Power over time", [Bullets(trend.sentences)]),
            Section("", [Paragraph(f"Sources: {cited}.")]),
        ],
    )
