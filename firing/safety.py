"""Cautions that go with a plan.

The words and figures are in ``data/safety.toml``; this module picks what a plan calls for.  It
reports, it does not permit: a plan without a caution is not thereby safe.
"""

import math
import tomllib
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TypedDict

from firing.errors import FiringError
from firing.schedule.schedule import PURPOSES
from firing.serialise import Serialised
from firing.sources import cite, source

DEFERENCE = (
    "These notes do not replace local codes, the kiln's manual or licensed practice, which decide "
    "wherever they say something else; this tool only reads, and never switches a kiln."
)
FIGURES_NOTE = (
    "Every figure holds only where it comes from: it shows what one place says or what one study "
    "measured, and your own authority's figure is the one that counts."
)


def _basis(source_id: str) -> str:
    # A practice would only repeat the words it stands under; its id leads to it.
    entry = source(source_id)
    if entry.kind in ("standard", "published"):
        return entry.sentence()
    unsourced = ", no source" if entry.kind == "common practice" else ""
    unchecked = entry.kind == "from memory"
    kind = "Not checked against a source" if unchecked else entry.kind.capitalize()
    return f"{kind}{unsourced} ({source_id})."


@dataclass(frozen=True)
class Figure(Serialised):
    """One number of a caution, with where it was read and where it holds."""

    what: str  # what the number is: a limit, a recommendation, a measurement
    figure: str  # the number with its unit, as the source gives it
    source: str  # id in the bibliography
    jurisdiction: str  # the place whose rule, recommendation or measurement it is

    json_keys = ("what", "figure", "source", "citation", "jurisdiction")

    @property
    def citation(self) -> str:
        """Its source written out."""
        return cite(self.source)

    def line(self) -> str:
        """Return the figure as one line, place and source included."""
        return f"{self.jurisdiction}: {self.what}: {self.figure}. {cite(self.source)}"


@dataclass(frozen=True)
class Caution(Serialised):
    """One thing to look out for, when it applies and on what it rests."""

    # The name, the family (ventilation, electricity, control, fire, burns, eyes, dust), a title and
    # plain words without a number.
    id: str
    topic: str
    heading: str
    text: str
    sources: tuple[str, ...]  # ids of what the words rest on
    purposes: tuple[str, ...] = PURPOSES  # the purposes of plan it goes with
    # Temperature window [°C]; None where it applies to the whole firing.
    applies_c: tuple[float, float] | None = None
    window_source: str | None = None  # id of what the window rests on
    figures: tuple[Figure, ...] = ()  # numbers, each with its source and jurisdiction

    json_keys = (
        "id", "topic", "heading", "text", "purposes", "applies_c", "window_source", "sources",
        "citations", "figures",
    )  # fmt: skip

    @property
    def citations(self) -> tuple[str, ...]:
        """Its sources written out."""
        return tuple(cite(name) for name in self.sources)

    def window(self) -> str:
        """Return the temperature window in words with its source, or an empty text."""
        if self.applies_c is None or self.window_source is None:
            return ""
        lo_c, hi_c = self.applies_c
        return f"About {lo_c:.0f} to {hi_c:.0f} °C. {_basis(self.window_source)}"

    def lines(self) -> tuple[str, ...]:
        """Return the caution for reading: heading, window, words, what they rest on, figures."""
        window = self.window()
        basis = " ".join(_basis(name) for name in self.sources)
        return (
            self.heading,
            *((window,) if window else ()),
            self.text,
            f"Basis: {basis}",
            *(figure.line() for figure in self.figures),
        )


class _CautionEntry(TypedDict, total=False):
    id: str
    topic: str
    heading: str
    text: str
    sources: list[str]
    purposes: list[str]
    applies_c: list[float]
    window_source: str
    figure: list[dict[str, str]]


def _caution(entry: _CautionEntry) -> Caution:
    window = entry.get("applies_c")
    return Caution(
        id=entry["id"],
        topic=entry["topic"],
        heading=entry["heading"],
        text=entry["text"],
        sources=tuple(entry["sources"]),
        purposes=tuple(entry.get("purposes", PURPOSES)),
        applies_c=None if window is None else (float(window[0]), float(window[1])),
        window_source=entry.get("window_source"),
        figures=tuple(Figure(**figure) for figure in entry.get("figure", [])),
    )


@cache
def all_cautions() -> tuple[Caution, ...]:
    """Return every caution with its full window, in the order they are shown."""
    text = (Path(__file__).parent / "data" / "safety.toml").read_text(encoding="utf-8")
    return tuple(_caution(entry) for entry in tomllib.loads(text)["caution"])


def cautions_for(schedule_peak_c: float, purpose: str) -> tuple[Caution, ...]:
    """Return the cautions a plan calls for, their windows cut off at its peak.

    In the order they are shown; a window that begins at or above the peak is left out.
    """
    if purpose not in PURPOSES:
        raise FiringError(
            f'purpose "{purpose}" is not one a plan can have; write {", ".join(PURPOSES)}'
        )
    if not math.isfinite(schedule_peak_c):
        raise FiringError(
            f"a peak of {schedule_peak_c} °C is not a temperature; give the plan's highest "
            "temperature in °C, like 1222"
        )
    chosen = []
    for caution in all_cautions():
        if purpose not in caution.purposes:
            continue
        if caution.applies_c is None:
            chosen.append(caution)
            continue
        lo_c, hi_c = caution.applies_c
        if lo_c < schedule_peak_c:
            chosen.append(replace(caution, applies_c=(lo_c, min(hi_c, schedule_peak_c))))
    return tuple(chosen)
