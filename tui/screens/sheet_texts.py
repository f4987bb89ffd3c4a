"""The texts of the sheets: help, warnings and cautions."""

from collections.abc import Iterator

from textual.app import App
from textual.binding import Binding
from textual.dom import DOMNode
from textual.screen import Screen

from firing.forecast.result import Forecast
from firing.report.words import SEVERITY_WORDS, citations
from firing.review.result import Review
from firing.safety import DEFERENCE, FIGURES_NOTE, Caution
from firing.units import TemperatureUnit, in_unit

from ..widgets.lines import key_words

_KEY_WIDTH = 12


Paragraph = str | tuple[str, str]
"""A paragraph; of two parts the first stands out on the left."""


def help_lines(screen: Screen[object]) -> list[Paragraph]:
    """Return the help of a screen: what its widgets, itself and the program say of their keys."""
    lines: list[Paragraph] = []
    for node in _helpers(screen):
        title = getattr(node, "HELP_TITLE", "")
        lines += [title, *(("  ", words) for words in getattr(node, "HELP_WORDS", ()))]
        lines += [
            (f"  {key_words(binding):<{_KEY_WIDTH}}", binding.tooltip or binding.description)
            for binding in own_bindings(node)
            if binding.show or binding.tooltip
        ]
        lines.append("")
    return lines[:-1]


def _helpers(screen: Screen[object]) -> Iterator[DOMNode]:
    seen: set[str] = set()
    app: App[object] = screen.app
    for node in [*screen.walk_children(), screen, app]:
        title = getattr(node, "HELP_TITLE", "")
        if title and title not in seen:
            seen.add(title)
            yield node


def own_bindings(node: DOMNode) -> list[Binding]:
    """Return the bindings that a node's classes list, the screens' own, in order."""
    own = [kind for kind in type(node).__mro__ if kind.__module__.startswith("firing.tui.")]
    listed = (binding for kind in own for binding in kind.__dict__.get("BINDINGS", ()))
    return [binding for binding in listed if isinstance(binding, Binding)]


def warning_lines(forecast: Forecast) -> list[Paragraph]:
    """Return every warning of a forecast with its source."""
    unit = forecast.schedule.unit
    lines: list[Paragraph] = []
    for warning in forecast.warnings:
        message = in_unit(warning.message, unit)
        lines.append(f"{SEVERITY_WORDS[warning.severity]}: {message}")
        names = [name.strip() for name in warning.source.split(",")]
        lines += [("  Source: ", in_unit(words, unit)) for _, words in citations(names)]
        lines.append("")
    rests = [f"Rests on: {in_unit(forecast.basis, unit)}."]
    if forecast.kiln is None:
        rests.append(f"Durations by {forecast.planned_basis}.")
    notes = forecast.cones.notes_in(unit)
    return [*(lines or ["No warnings.", ""]), *rests, *notes]


def finding_lines(review: Review) -> list[Paragraph]:
    """Return every finding of a review with what was seen, what next, and its sources."""
    from firing.report.review import finding_words

    unit = review.schedule.unit
    lines: list[Paragraph] = []
    for finding in review.findings:
        message, *more = finding_words(finding)
        lines.append(f"{SEVERITY_WORDS[finding.severity]}: {message}")
        lines += [("  ", in_unit(words, unit)) for words in more]
        names = [name.strip() for name in finding.source.split(",") if name.strip()]
        lines += [("  Source: ", in_unit(words, unit)) for _, words in citations(names)]
        lines.append("")
    return lines or ["Nothing to know."]


def caution_lines(cautions: tuple[Caution, ...], unit: TemperatureUnit = "C") -> list[Paragraph]:
    """Return cautions with their figures and sources, in the plan's unit."""
    lines: list[Paragraph] = [DEFERENCE, FIGURES_NOTE]
    for caution in cautions:
        heading, *rest = caution.lines()
        lines += ["", heading, *(("  ", in_unit(words, unit)) for words in rest)]
    return lines
