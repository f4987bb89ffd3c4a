"""The shorter results as text: heat-work, kilns, cautions and sources."""

from collections.abc import Mapping, Sequence

from firing.cones.equivalence import ConeVerdict
from firing.cones.table import describe_number
from firing.kiln.capability import Highest
from firing.kiln.element_wear import Trend
from firing.kiln.fit_result import KilnFit
from firing.kiln.parameter_table import KilnRow
from firing.report.sanitize import plain, wrap
from firing.report.table import render_table
from firing.safety import DEFERENCE, FIGURES_NOTE, Caution
from firing.sources import Source
from firing.units import format_duration, format_rate, format_temperature


def heatwork_text(verdict: ConeVerdict, above_1000_s: float, basis: str, *, width: int = 80) -> str:
    """Return which cones a trace amounts to, for a person.

    Parameters
    ----------
    verdict : ConeVerdict
        The cones.
    above_1000_s : float
        Time above 1000 °C [s].
    basis : str
        What the trace is.
    width : int
        Columns to write in.
    """
    lines: list[str] = []
    if verdict.reached_number is None:
        lines.append("No cone of the chart is down.")
    else:
        span = ""
        if verdict.low is not None and verdict.high is not None:
            span = f" ({describe_number(verdict.low)} to {describe_number(verdict.high)})"
        lines.append(f"Cone {describe_number(verdict.reached_number)}{span}.")
    lines.append(f"Time above 1000 °C: {format_duration(above_1000_s)}.")
    near = [p for p in verdict.by_cone.values() if 0.02 <= p.heatwork <= 20.0]
    if near:
        rows = [
            [
                p.cone,
                f"{p.heatwork:.2f}",
                "not down" if p.reached_s is None else f"down at {format_duration(p.reached_s)}",
            ]
            for p in near
        ]
        lines += ["", render_table(["cone", "heat-work", "since the start"], rows, "rrl")]
    lines.append("")
    for sentence in (*verdict.warnings, *verdict.notes, f"Rests on: {plain(basis)}."):
        lines += wrap(sentence, width)
    return "\n".join(lines)


def cautions_text(title: str, cautions: Sequence[Caution], *, width: int = 80) -> str:
    """Return cautions with their figures and sources, for a person."""
    lines = [*wrap(plain(title), width), "", *wrap(DEFERENCE, width), *wrap(FIGURES_NOTE, width)]
    for caution in cautions:
        lines.append("")
        for line in caution.lines():
            lines += wrap(line, width)
    return "\n".join(lines)


def sources_text(chosen: Mapping[str, Source], *, width: int = 80) -> str:
    """Return bibliography entries, for a person."""
    lines: list[str] = []
    for key, entry in chosen.items():
        lines.append(key)
        lines += [f"    {line}" for line in wrap(entry.sentence(), width - 4)]
    return "\n".join(lines)


def kiln_text(
    name: str,
    rows: Sequence[KilnRow],
    highest: Highest,
    rates: Sequence[tuple[float, float]],
    *,
    width: int = 80,
) -> str:
    """Return a kiln's figures with their sources, and what it can do, for a person."""
    cells = [[plain(row.name), _figure(row.value), row.unit, plain(row.source)] for row in rows]
    lines = [plain(name), ""]
    lines.append(render_table(["figure", "value", "unit", "source"], cells, "lrll", width=width))
    most = f"It can hold {format_temperature(highest.temperature_c)} at most"
    more = ", as far as its wall's tables go" if highest.by_tables else ""
    lines += ["", *wrap(f"{most}{more}; with a typical load it rises at most", width)]
    shown = rates[:: max(1, len(rates) // 6)]
    lines += wrap(
        ", ".join(f"{format_rate(rate)} at {format_temperature(t)}" for t, rate in shown) + ".",
        width,
    )
    return "\n".join(lines)


def _figure(value: float | str) -> str:
    return plain(value) if isinstance(value, str) else f"{value:.4g}"


def fit_text(name: str, fit: KilnFit, trend: Trend, *, width: int = 80) -> str:
    """Return what logs have taught about a kiln, and what they cannot tell, for a person."""
    rows = [
        [
            words,
            f"{estimate.value:.3f}",
            f"± {estimate.se:.3f}",
            "yes" if estimate.identifiable else "no",
        ]
        for words, estimate in (
            ("power", fit.power),
            ("loss", fit.loss),
            ("capacity", fit.capacity),
            ("power over capacity", fit.power_over_capacity),
            ("loss over capacity", fit.loss_over_capacity),
        )
    ]
    lines = [f"What the logs tell of {plain(name)}", ""]
    headers = ["multiplier on the kiln file", "value", "standard error", "told"]
    lines.append(render_table(headers, rows, "lrrl", width=width))
    lines += ["", *wrap(f"Rests on: {plain(fit.basis)}.", width)]
    rms = 100.0 * fit.diagnostics.rms_share
    words = f"Half an hour's mean power is described to {rms:.1f} % of full power."
    lines += wrap(words, width)
    for heading, sentences in (
        ("What they cannot tell", fit.cannot_tell),
        ("Odd", fit.warnings),
        ("Power over time", trend.sentences),
    ):
        if sentences:
            lines += ["", heading]
            for sentence in sentences:
                first, *rest = wrap(plain(sentence), width - 2)
                lines += [f"• {first}", *(f"  {line}" for line in rest)]
    lines += ["", *wrap(f"Sources: {', '.join((*fit.sources, *trend.sources))}.", width)]
    return "\n".join(lines)
