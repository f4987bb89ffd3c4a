"""The result of a review: plain frozen data that the pages, tables and JSON are views of."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from firing.cones.equivalence import ConeVerdict
    from firing.forecast.result import Forecast
    from firing.kiln.description import KilnDescription
    from firing.logs.reader import Log
    from firing.review.comparison import Comparison
    from firing.review.cooling import Quickening
    from firing.review.heat import HeatVerdict
    from firing.schedule.schedule import Schedule
    from firing.trace import FloatArray

Cause = Literal[
    "late_start",
    "power_limited",
    "interruption",
    "other_program",
    "waiting",
    "longer_hold",
    "shorter_hold",
    "slow_cooling",
    "fast_cooling",
    "unexplained",
]
CAUSE_NAMES: dict[Cause, str] = {
    "late_start": "started late",
    "power_limited": "short of power",
    "interruption": "interrupted",
    "other_program": "another program ran",
    "waiting": "waiting for the kiln",
    "longer_hold": "held longer",
    "shorter_hold": "held shorter",
    "slow_cooling": "cooled slower",
    "fast_cooling": "cooled faster",
    "unexplained": "not explained",
}
"""Every cause in words; the keys are what the JSON says."""

Ending = Literal["program", "stopped", "log"]
"""How a firing ended: with its program, stopped before, or the log ends before it."""

Severity = Literal["act", "check", "note"]
"""``act``: do something; ``check``: worth a look; ``note``: good to know."""

Confidence = Literal["sure", "likely", "possible"]
"""``sure``: the log shows it; ``likely``: it fits this best; ``possible``: it fits this as well as
something else that is named."""


@dataclass(frozen=True, slots=True)
class CauseShare:
    """Seconds of excess that one cause explains, in a segment or over the firing.

    `seconds` is negative where the cause made the firing shorter.
    """

    cause: Cause
    seconds: float
    evidence: str = ""
    suggestions: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The cause in words; waiting below zero is time made up."""
        if self.cause == "waiting" and self.seconds < 0:
            return "made up for lost time"
        return CAUSE_NAMES[self.cause]

    def to_dict(self) -> dict[str, Any]:
        """Return the share as the JSON shows it."""
        return {
            "cause": self.cause,
            "seconds": self.seconds,
            "evidence": self.evidence,
            "suggestions": list(self.suggestions),
        }


@dataclass(frozen=True, slots=True)
class ReviewedSegment:
    """One segment, planned and actual; times count from the log's first reading [s].

    `actual_s`, `excess_s`, `start_s`, `end_s`, `peak_c` and `rate_c_per_h` are None for what the
    log never reached.  `ramp_end_s` is where the ramp ends and the hold begins.
    """

    index: int
    name: str
    planned_s: float
    forecast_s: float
    actual_s: float | None
    start_s: float | None
    ramp_end_s: float | None
    end_s: float | None
    target_c: float
    peak_c: float | None
    rate_c_per_h: float | None
    planned_rate_c_per_h: float | None
    hold_s: float | None
    planned_hold_s: float
    causes: tuple[CauseShare, ...] = ()

    @property
    def excess_s(self) -> float | None:
        """Actual less planned seconds; None for what the log never finished."""
        return None if self.actual_s is None else self.actual_s - self.planned_s

    def to_dict(self) -> dict[str, Any]:
        """Return the segment as the JSON shows it."""
        return {
            "index": self.index,
            "name": self.name,
            "planned_s": self.planned_s,
            "forecast_s": self.forecast_s,
            "actual_s": self.actual_s,
            "excess_s": self.excess_s,
            "start_s": self.start_s,
            "ramp_end_s": self.ramp_end_s,
            "end_s": self.end_s,
            "target_c": self.target_c,
            "peak_c": self.peak_c,
            "rate_c_per_h": self.rate_c_per_h,
            "planned_rate_c_per_h": self.planned_rate_c_per_h,
            "hold_s": self.hold_s,
            "planned_hold_s": self.planned_hold_s,
            "causes": [{"cause": c.cause, "seconds": c.seconds} for c in self.causes],
        }


@dataclass(frozen=True, slots=True)
class CoolingReview:
    """Natural cooling after the program, over the span of temperatures that the log covers.

    `basis` is what it is compared with.  `closed_share` is what it took, before any quickening, as
    a multiple of what was expected; from the first to the second `usual_share` it is usual.
    """

    from_c: float
    to_c: float
    start_s: float
    end_s: float
    forecast_s: float
    causes: tuple[CauseShare, ...] = ()
    basis: Literal["kiln", "default"] = "default"
    closed_share: float | None = None
    usual_share: tuple[float, float] | None = None

    @property
    def actual_s(self) -> float:
        """Seconds the kiln took from `from_c` to `to_c`."""
        return self.end_s - self.start_s

    def to_dict(self) -> dict[str, Any]:
        """Return the cooling as the JSON shows it."""
        return {
            "from_c": self.from_c,
            "to_c": self.to_c,
            "forecast_s": self.forecast_s,
            "actual_s": self.actual_s,
            "basis": self.basis,
            "closed_share": self.closed_share,
            "causes": [c.to_dict() for c in self.causes],
        }


@dataclass(frozen=True, slots=True)
class Finding:
    """Something a person should know, with what it rests on and one thing to do next.

    `confidence` says how far the log alone bears the message out.
    """

    id: str
    severity: Severity
    message: str
    evidence: str = ""
    next_step: str = ""
    source: str = ""
    at_s: float | None = None
    confidence: Confidence = "sure"

    def to_dict(self) -> dict[str, Any]:
        """Return the finding as the JSON shows it."""
        return {
            "id": self.id,
            "severity": self.severity,
            "confidence": self.confidence,
            "message": self.message,
            "evidence": self.evidence,
            "next_step": self.next_step,
            "source": self.source,
            "at_s": self.at_s,
        }


@dataclass(frozen=True, eq=False)
class Review:
    """A firing set against its plan.

    Times inside count from the log's first reading [s]; `lead_in_s` of them pass before heating
    begins.  `causes` are those of the whole firing, largest first, and add up to `excess_s`.
    `refused` says in a clause why log and plan were not compared; there are no segments then.
    `begins_inside` says that the log begins inside the firing, `ended` how it ended, and `end_s`
    when.
    `heat` is the heat-work's verdict beyond the cones, `quickening` where cooling became quicker,
    and `comparison` the other firing of the plan that this one is set beside.
    """

    log: Log
    schedule: Schedule
    forecast: Forecast
    channel: int
    temperature_c: FloatArray
    lead_in_s: float
    planned_s: float
    planned_basis: str
    forecast_s: float
    actual_s: float | None
    segments: tuple[ReviewedSegment, ...]
    causes: tuple[CauseShare, ...]
    cooling: CoolingReview | None
    cones_planned: ConeVerdict
    cones: ConeVerdict
    cones_by_channel: dict[str, ConeVerdict]
    findings: tuple[Finding, ...]
    plan_time_s: FloatArray = field(repr=False)
    plan_c: FloatArray = field(repr=False)
    aligned_plan_c: FloatArray = field(repr=False)
    refused: str = ""
    begins_inside: bool = False
    ended: Ending = "program"
    end_s: float | None = None
    heat: HeatVerdict | None = None
    quickening: Quickening | None = None
    kiln: KilnDescription | None = None
    comparison: Comparison | None = None

    @property
    def excess_s(self) -> float | None:
        """Actual less planned seconds of the program; None if the log stops before its end."""
        return None if self.actual_s is None else self.actual_s - self.planned_s

    @property
    def needs_action(self) -> bool:
        """Whether a finding asks for something to be done."""
        return any(finding.severity == "act" for finding in self.findings)

    def to_dict(self) -> dict[str, Any]:
        """Return the review as one JSON document, schema 1."""
        reached = self.cones.to_dict()
        return {
            "schema": 1,
            "kind": "review",
            "schedule": self.schedule.to_dict(),
            "log": {
                "name": self.log.name,
                "rows": self.log.rows,
                "used": self.log.used,
                "dialect": self.log.dialect.to_dict(),
                "notes": list(self.log.notes),
                "channels": list(self.log.trace.channels),
                "channel": self.log.trace.channels[self.channel],
                "unit": self.log.dialect.unit,
                "interval_s": self.log.interval_s,
            },
            "lead_in_s": self.lead_in_s,
            "planned_s": self.planned_s,
            "planned_basis": self.planned_basis,
            "forecast_s": self.forecast_s,
            "actual_s": self.actual_s,
            "excess_s": self.excess_s,
            "segments": None if self.refused else [segment.to_dict() for segment in self.segments],
            "causes": [cause.to_dict() for cause in self.causes],
            "cooling": None if self.cooling is None else self.cooling.to_dict(),
            "cooled_quicker": None if self.quickening is None else self.quickening.to_dict(),
            "begins_inside": self.begins_inside,
            "ended": None if self.refused else self.ended,
            "compared": not self.refused,
            "refused": self.refused or None,
            "cones": {
                **reached,
                "planned": self.cones_planned.reached,
                "planned_number": self.cones_planned.reached_number,
                "by_channel": {
                    name: verdict.to_dict() for name, verdict in self.cones_by_channel.items()
                },
            },
            "heatwork": None if self.heat is None else self.heat.to_dict(),
            "kiln": None if self.kiln is None else _kiln(self.kiln),
            "compare": None if self.comparison is None else self.comparison.to_dict(),
            "findings": [finding.to_dict() for finding in self.findings],
        }


def _kiln(kiln: KilnDescription) -> dict[str, Any]:
    fitted = kiln.fitted
    return {
        "name": kiln.name,
        "power": fitted.power,
        "loss": fitted.loss,
        "capacity": fitted.capacity,
        "cone_offset_c": fitted.cone_offset_c,
        "learnt": None if fitted.learnt is None else fitted.learnt.isoformat(),
        "basis": fitted.basis,
        "thermocouple": kiln.thermocouple,
        "thermocouple_class": kiln.thermocouple_class,
    }
