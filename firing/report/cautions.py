"""The cautions in a report: by name, or whole with their figures and sources."""

from collections.abc import Sequence
from functools import cached_property
from typing import Any

from firing.report.document import Block, Figures, Paragraph, Report, Section
from firing.safety import DEFERENCE, FIGURES_NOTE, Caution
from firing.units import TemperatureUnit

_TOPICS = {
    "ventilation": "fumes and air",
    "electricity": "electricity",
    "control": "the controller",
    "fire": "fire",
    "burns": "burns",
    "eyes": "eyes",
    "dust": "dust",
}


def cautions_in_short(cautions: Sequence[Caution], where: str) -> Paragraph:
    """Return what the cautions are about, `where` they stand in full, and what decides."""
    topics = list(dict.fromkeys(_TOPICS.get(c.topic, c.topic) for c in cautions))
    return Paragraph(f"Cautions apply ({', '.join(topics)}): {where}. {DEFERENCE}")


def cautions_named(cautions: Sequence[Caution]) -> Paragraph:
    """Return the headings of cautions in one sentence."""
    return Paragraph("; ".join(caution.heading for caution in cautions) + ".")


class _Whole(Sequence[Block]):
    """Cautions written out when first looked at.

    Their sources are in the bibliography, which takes longer to read than a short report to print.
    """

    def __init__(self, cautions: Sequence[Caution]) -> None:
        self._cautions = cautions

    @cached_property
    def _parts(self) -> list[Block]:
        parts: list[Block] = [Paragraph(DEFERENCE, "deference"), Paragraph(FIGURES_NOTE, "quiet")]
        for caution in self._cautions:
            heading, *lines = caution.lines()
            words = len(lines) - len(caution.figures)
            paragraphs = [Paragraph(line) for line in lines[:words]]
            parts.append(Section(heading, [*paragraphs, Figures(lines[words:])]))
        return parts

    def __getitem__(self, index: Any) -> Any:
        return self._parts[index]

    def __len__(self) -> int:
        return len(self._parts)


def cautions_whole(cautions: Sequence[Caution]) -> Sequence[Block]:
    """Return cautions under their headings, and before them what they do not replace."""
    return _Whole(cautions)


def cautions_report(title: str, cautions: Sequence[Caution], unit: TemperatureUnit = "C") -> Report:
    """Return cautions alone as a report."""
    return Report("", title, [Section("", cautions_whole(cautions))], unit=unit)
