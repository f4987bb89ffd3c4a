"""A design: the schedule, why each of its segments is as it is, and what it costs."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from firing.controller.controller import Controller
from firing.forecast.result import Forecast
from firing.schedule.schedule import Schedule
from firing.serialise import Serialised, keyed
from firing.units import format_duration, format_temperature
from firing.viewable import Plottable
from firing.ware.drying import about_days
from firing.ware.limits import Dwell, RateCap, WareLimits

ROWS_C = 20.0
"""Spacing of the table of limits [°C]."""


@dataclass(frozen=True, slots=True)
class SegmentReason(Serialised):
    """Why a segment's rate and hold are what they are: sentences, and ids of the bibliography."""

    sentences: tuple[str, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LimitRow:
    """The fastest rate at one temperature, heating or cooling: [°C], [°C/h], reason, source."""

    temperature_c: float
    rate_c_per_h: float
    reason: str
    source: str

    def to_list(self) -> list[Any]:
        """Return the row as the JSON shows it."""
        rate = round(self.rate_c_per_h, 1)
        return [round(self.temperature_c, 1), rate, self.reason, self.source]


@dataclass(frozen=True, slots=True)
class BesidePractice(Serialised):
    """One stretch of a firing by practice and as designed.

    Attributes
    ----------
    what : str
        Which: ``"candling"``, ``"to 600 °C"``, ``"burn-out"``, ``"heating"``.
    practice_s : float or None
        By practice [s]; None where it says nothing.
    design_s : float
        As designed [s].
    low_s, high_s : float or None
        What the range of the diffusivity makes of the computed time [s].
    message : str
        Both, and why they differ, as a sentence.
    sources : tuple of str
        Ids of the bibliography.
    """

    what: str
    practice_s: float | None
    design_s: float
    low_s: float | None
    high_s: float | None
    message: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DesignCosts(Serialised):
    """What a design costs that another would not, with as many segments.

    Attributes
    ----------
    reserve, reserve_s : float, float
        The share by which elements may weaken, and how much longer the program is for it [s].
    dryness : str
        Of the load.
    damp_s, damp_without_margin_s : float
        How much longer the program is than for the same ware dry, with the margin and without [s].
    air_s : float
        How long the ware would dry in air instead [s]; 0 where that is no question.
    """

    reserve: float
    reserve_s: float
    dryness: str
    damp_s: float
    damp_without_margin_s: float
    air_s: float

    def sentences(self) -> tuple[str, ...]:
        """Return what is worth saying of it."""
        found = []
        if self.damp_s >= WORTH_SAYING_S:
            fresh = self.dryness == "bisqued, freshly glazed"
            why = "the fresh glaze coat is still damp" if fresh else f"the ware is {self.dryness}"
            longer, plain = map(format_duration, (self.damp_s, self.damp_without_margin_s))
            words = f"Because {why} the firing takes {longer} longer"
            if plain != longer:
                words += f", or {plain} longer without the safety margin"
            found.append(f"{words}.")
            if self.air_s:
                found.append(f"Drying at room conditions instead takes {about_days(self.air_s)}.")
        if self.reserve:
            cost = (
                f"costs {format_duration(self.reserve_s)}"
                if self.reserve_s >= WORTH_SAYING_S
                else "costs nothing here"
            )
            found.append(
                f"The program is still kept with elements {100.0 * self.reserve:.0f} % weaker; "
                f"that reserve {cost}."
            )
        return tuple(found)


WORTH_SAYING_S = 60.0


@dataclass(frozen=True, eq=False)
class Design(Plottable):
    """A schedule and everything it rests on.

    Attributes
    ----------
    schedule : Schedule
        The program.
    reasons : tuple of SegmentReason
        One a segment.
    ware : WareLimits
        The limits of the ware.
    limits, cooling_limits : tuple of LimitRow
        The lowest of all limits by temperature, the kiln's among them.
    dwells : tuple of Dwell
        Least times that count for this program.
    controller : Controller
        What the program was made for.
    total_s : float
        Closing to opening [s]: the forecast's.
    planned_s : float
        The same by the designer's own arithmetic, which the optimum is of [s].
    program_s : float
        To the end of the last segment, by the program's arithmetic [s].
    cost_of_segments_s : float or None
        What the bound on segments costs against any number of them [s]; None for a repaired one.
    by_segments : tuple of (int, float)
        Number of segments and the least time from closing to opening with that many [s]; that of
        the schedule's own number is `total_s`.
    cone : str or None
        The cone wanted.
    forecast : Forecast
        Of the schedule.
    problems : tuple of str
        What is still wrong with it for this ware, one sentence each.
    advice : str
        That the ware must be dried first; empty if not.
    practice : tuple of BesidePractice
        Stretches of the firing beside what practice says of them.
    costs : DesignCosts or None
        What reserve and dampness cost; None for a repaired one.
    notes : tuple of str
        What else to know.
    """

    schedule: Schedule
    reasons: tuple[SegmentReason, ...]
    ware: WareLimits
    limits: tuple[LimitRow, ...]
    cooling_limits: tuple[LimitRow, ...]
    dwells: tuple[Dwell, ...]
    controller: Controller
    total_s: float
    planned_s: float
    program_s: float
    cost_of_segments_s: float | None
    by_segments: tuple[tuple[int, float], ...]
    forecast: Forecast
    cone: str | None = None
    problems: tuple[str, ...] = ()
    advice: str = ""
    practice: tuple[BesidePractice, ...] = ()
    costs: DesignCosts | None = None
    notes: tuple[str, ...] = field(default=())

    def __repr__(self) -> str:
        """Return title, safety, segments, peak, hours and cone, on one line."""
        course, unit = self.forecast, self.schedule.unit
        safe = "safe" if self.safe else "not safe"
        return (
            f"<Design {self.schedule.title!r}: {safe}, {len(self.schedule.segments)} segments to "
            f"{format_temperature(self.schedule.peak_c, unit)}, opens at "
            f"{format_temperature(course.unload_c, unit)} after {format_duration(self.total_s)}, "
            f"{course.cones.words}>"
        )

    @property
    def safe(self) -> bool:
        """Whether every known limit is kept for the ware as it is."""
        return not self.problems and not self.advice

    def to_dict(self) -> dict[str, Any]:
        """Return the design as one JSON document, schema 1."""
        return keyed(
            schema=1,
            kind="design",
            schedule=self.schedule,
            safe=self.safe,
            advice=self.advice,
            problems=self.problems,
            breaches=self.forecast.breaches,
            total_s=self.total_s,
            planned_s=self.planned_s,
            program_s=self.program_s,
            unload_c=self.forecast.unload_c,
            governing_piece={
                "name": self.ware.piece.name,
                "thickest_mm": self.ware.piece.thickest_mm,
                "heated_from": self.ware.piece.heated_from,
                "shape": self.ware.piece.shape,
                "slowest_spot": self.ware.places["heat"].words,
                "heat_path_mm": self.ware.places["heat"].spot.heat_mm,
                "wettest_spot": self.ware.places["water"].words,
                "water_path_mm": self.ware.places["water"].spot.water_mm,
            },
            margin=self.ware.margin,
            reasons=self.reasons,
            limits=[row.to_list() for row in self.limits],
            cooling_limits=[row.to_list() for row in self.cooling_limits],
            dwells=self.dwells,
            cost_of_segments_s=self.cost_of_segments_s,
            by_segments=self.by_segments,
            costs=self.costs,
            controller=self.controller,
            cone=self.cone,
            cones=self.forecast.cones,
            energy_kwh=None if self.forecast.kiln is None else self.forecast.kiln.energy_kwh,
            basis=self.forecast.basis,
            practice=self.practice,
            notes=self.notes,
        )


def dry_first_document(advice: str) -> dict[str, Any]:
    """Return the document of a design that is refused because the ware is to dry first."""
    return keyed(
        schema=1, kind="design", schedule=None, safe=False, advice=advice, problems=(advice,)
    )


def limit_rows(caps: tuple[RateCap, ...], low_c: float, high_c: float) -> tuple[LimitRow, ...]:
    """Return the lowest of all caps by temperature, at every 20 °C."""
    rows = []
    for at_c in np.append(np.arange(low_c, high_c, ROWS_C), high_c):
        rate, cap = _binding_at(caps, float(at_c))
        if np.isfinite(rate):
            rows.append(LimitRow(float(at_c), rate, cap.reason, cap.source))
    return tuple(rows)


def _binding_at(caps: tuple[RateCap, ...], at_c: float) -> tuple[float, RateCap]:
    """Return the lowest rate at a temperature [°C/h] and the cap that sets it."""
    rates = [float(cap.at(np.array(at_c))) for cap in caps]
    place = int(np.argmin(rates))
    return rates[place], caps[place]
