"""Cautions that go with a plan, and the current a kiln's circuit has to carry.

The words and figures are in ``data/safety.toml``; this module picks what a plan calls for.  It
reports, it does not permit: a plan without a caution is not thereby safe.
"""

import math
import tomllib
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any, TypedDict

from firing.errors import FiringError
from firing.schedule.schedule import PURPOSES
from firing.serialise import OMITTED, Serialised, json_fields
from firing.sources import cite, source

DEFERENCE = (
    "These notes do not replace local codes, the kiln's manual or licensed practice, which decide "
    "wherever they say something else; this tool only reads, and never switches a kiln."
)
FIGURES_NOTE = (
    "Every figure holds only where it comes from: it shows what one place says or what one study "
    "measured, and your own authority's figure is the one that counts."
)

CONTINUOUS_LOAD_FACTOR = 1.25  # NEC 210.19(A)(1) and 210.20(A), US


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
    """One number of a caution, with where it was read and where it holds.

    Attributes
    ----------
    what : str
        What the number is: a limit, a recommendation, a measurement.
    figure : str
        The number with its unit, as the source gives it.
    source : str
        Id in the bibliography.
    jurisdiction : str
        The place whose rule, recommendation or measurement it is.
    """

    what: str
    figure: str
    source: str
    jurisdiction: str

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
    """One thing to look out for, when it applies and on what it rests.

    Attributes
    ----------
    id, topic, heading, text : str
        The name, the family (ventilation, electricity, control, fire, burns, eyes, dust), a title
        and plain words without a number.
    sources : tuple of str
        Ids of what the words rest on.
    purposes : tuple of str
        The purposes of plan it goes with.
    applies_c : tuple of float or None
        Temperature window [°C]; None where it applies to the whole firing.
    window_source : str or None
        Id of what the window rests on.
    figures : tuple of Figure
        Numbers, each with its source and jurisdiction.
    """

    id: str
    topic: str
    heading: str
    text: str
    sources: tuple[str, ...]
    purposes: tuple[str, ...] = PURPOSES
    applies_c: tuple[float, float] | None = None
    window_source: str | None = None
    figures: tuple[Figure, ...] = ()

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

    Parameters
    ----------
    schedule_peak_c : float
        Highest temperature of the plan [°C].
    purpose : str
        One of `firing.schedule.schedule.PURPOSES`.

    Returns
    -------
    tuple of Caution
        In the order they are shown; a window that begins at or above the peak is left out.

    Raises
    ------
    FiringError
        If the purpose is unknown or the peak is not a number.
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


@dataclass(frozen=True)
class ContinuousLoad:
    """The current of a kiln at full power and the circuit one code asks for.

    Attributes
    ----------
    power_kw : float
        Power of the kiln [kW].
    volts : float
        Voltage across the elements [V].
    current_a : float
        Running current [A].
    circuit_a : float
        125 % of it [A]: the least rating of conductors and overcurrent device (US).
    """

    power_kw: float
    volts: float
    current_a: float
    circuit_a: float
    sources: tuple[str, ...] = field(
        default=("nec-210-19-a-1", "nec-210-20-a", "nec-article-100"), metadata=OMITTED
    )

    def sentence(self) -> str:
        """Return the load in one sentence that names the rule and defers to the electrician."""
        return (
            f"{self.power_kw:g} kW at {self.volts:g} V is {self.current_a:.1f} A on a single phase;"
            f" as a continuous load it asks for a circuit of at least {self.circuit_a:.1f} A, 125 %"
            " (US: NEC 210.19(A)(1) and 210.20(A); Article 100 counts 3 h or more as continuous);"
            " elsewhere another code decides, and a licensed electrician sizes the supply."
        )

    def to_dict(self) -> dict[str, Any]:
        """Return the load with the rule it rests on, keyed for JSON."""
        return json_fields(self) | {
            "jurisdiction": source(self.sources[0]).jurisdiction or "",
            "sources": list(self.sources),
            "note": self.sentence(),
        }


def continuous_load_a(power_kw: float, volts: float) -> ContinuousLoad:
    """Return a single-phase kiln's current and 125 % of it.

    Parameters
    ----------
    power_kw : float
        Power of the kiln [kW], above 0.
    volts : float
        Voltage across the elements [V], above 0.

    Returns
    -------
    ContinuousLoad
        ``current_a = P / V`` and ``circuit_a = 1.25 * current_a``: NEC 210.19(A)(1) for the
        conductors, 210.20(A) for the overcurrent device, Article 100 for what is continuous.

    Raises
    ------
    FiringError
        If a value is not a positive number.
    """
    for what, value, unit, example in (
        ("power", power_kw, "kW", "9.5"),
        ("voltage", volts, "V", "240"),
    ):
        if not (math.isfinite(value) and value > 0):
            raise FiringError(
                f"a {what} of {value:g} {unit} carries no current; "
                f"give the nameplate's {what} in {unit}, above 0, like {example}"
            )
    current_a = 1000.0 * power_kw / volts
    return ContinuousLoad(power_kw, volts, current_a, CONTINUOUS_LOAD_FACTOR * current_a)
