"""The result of a review: plain frozen data that the pages, tables and JSON are views of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import takewhile
from typing import TYPE_CHECKING, Any, Literal

from firing.cones.table import cone_number
from firing.review import thresholds as limit
from firing.review.gaps import Gap, gap_words
from firing.serialise import OMITTED, Serialised, as_json, json_fields, keyed, named
from firing.units import SECONDS_PER_MINUTE, format_duration, minutes_adding_up
from firing.viewable import Plottable

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from firing.cones.equivalence import ConeVerdict
    from firing.cones.uncertainty import Budget
    from firing.forecast.result import Forecast
    from firing.kiln.description import KilnDescription
    from firing.logs.reader import Log
    from firing.review.alignment import AnalysedLog
    from firing.schedule.schedule import Schedule
    from firing.thermocouple.tolerance import DriftRemark, Exposure
    from firing.trace import FloatArray
    from firing.ware.load import Load

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
    "power_limited": "couldn't keep up",
    "interruption": "interrupted",
    "other_program": "fired differently from plan",
    "waiting": "waiting for the kiln",
    "longer_hold": "hold ran long",
    "shorter_hold": "hold ran short",
    "slow_cooling": "cooled slower",
    "fast_cooling": "cooled faster",
    "unexplained": "not explained",
}
"""Every cause in words; the keys are what the JSON says."""

Ending = Literal["program", "stopped", "log"]
"""How a firing ended: with its program, stopped before, or the log ends before it."""

WITNESS_SOURCES = "cone-bending-practice, cone-model, cone-maker-tolerance"

Severity = Literal["act", "check", "note"]
"""``act``: do something; ``check``: worth a look; ``note``: good to know."""

Confidence = Literal["sure", "likely", "possible"]
"""``sure``: the log shows it; ``likely``: it fits this best; ``possible``: it fits this as well as
something else that is named."""


PowerReason = Literal["power", "losses", "load", "supply", "unknown"]
"""Why a kiln was short of power: elements, heat that escapes, more to heat, sagging volts."""


@dataclass(frozen=True, slots=True, eq=False)
class CauseShare(Serialised):
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


ChangeKind = Literal["skipped", "repeated", "edited"]
"""What became of a segment: left out, run again, or run otherwise from a moment on."""


@dataclass(frozen=True, slots=True, eq=False)
class ProgramChange(Serialised):
    """A segment, from 0, that did not run as planned, as only a program can have made it.

    `seconds` is what it made the firing longer by, `at_s` where it begins; `words` says what
    happened, and `evidence` what it rests on and what looks the same in a log.
    """

    kind: ChangeKind
    segment: int
    seconds: float
    at_s: float
    words: str
    evidence: str = ""
    confidence: Confidence = "likely"

    json_keys = ("kind", "segment", "seconds", "at_s", "words", "evidence", "confidence")


@dataclass(frozen=True, slots=True, eq=False)
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

    json_keys = (
        "index", "name", "planned_s", "forecast_s", "actual_s", "excess_s", "start_s", "ramp_end_s",
        "end_s", "target_c", "peak_c", "rate_c_per_h", "planned_rate_c_per_h", "hold_s",
        "planned_hold_s", "causes",
    )  # fmt: skip

    @property
    def excess_s(self) -> float | None:
        """Actual less planned seconds; None for what the log never finished."""
        return None if self.actual_s is None else self.actual_s - self.planned_s

    def to_dict(self) -> dict[str, Any]:
        """Return the segment as the JSON shows it."""
        causes = [{"cause": share.cause, "seconds": share.seconds} for share in self.causes]
        return json_fields(self) | {"causes": causes}


@dataclass(frozen=True, slots=True, eq=False)
class CoolingReview(Serialised):
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

    json_keys = ("from_c", "to_c", "forecast_s", "actual_s", "basis", "closed_share", "causes")

    @property
    def actual_s(self) -> float:
        """Seconds the kiln took from `from_c` to `to_c`."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True, eq=False)
class Finding(Serialised):
    """Something a person should know, with what it rests on and one thing to do next.

    `confidence` says how far the log alone bears the message out.  A want of power also has its
    `reason`, with the probability of each.
    """

    id: str
    severity: Severity
    message: str
    evidence: str = ""
    next_step: str = ""
    source: str = ""
    at_s: float | None = None
    confidence: Confidence = "sure"
    reason: PowerReason | None = None
    probabilities: Mapping[PowerReason, float] | None = field(default=None, hash=False)

    json_keys = (
        "id", "severity", "confidence", "message", "evidence", "next_step", "source", "at_s",
    )  # fmt: skip

    def to_dict(self) -> dict[str, Any]:
        """Return the finding as the JSON shows it; a reason only where it has one."""
        shown = json_fields(self)
        if self.reason is not None:
            shown |= {"reason": self.reason, "probabilities": dict(self.probabilities or {})}
        return shown


@dataclass(frozen=True, slots=True, eq=False)
class CoolingThrough(Serialised):
    """How fast the channels cooled through one temperature; None where a log does not show it."""

    at_c: float
    rate_c_per_h: dict[str, float | None]


@dataclass(frozen=True, slots=True, eq=False)
class Quickening(Serialised):
    """Where natural cooling suddenly became faster: when, at what temperature, from and to."""

    at_s: float
    at_c: float
    before_c_per_h: float
    after_c_per_h: float


@dataclass(frozen=True, slots=True, eq=False)
class SensorShift(Serialised):
    """Where a thermocouple moved: when, at what temperature, and by what share of it.

    `share` is by how much the kiln's own reads lower than before, against the channel `other`;
    where that is empty its own sudden fall shows it, regained after `regained_s`.
    """

    at_s: float
    at_c: float
    share: float
    other: str
    sudden: bool
    regained_s: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class ExtraSegment(Serialised):
    """What was run after the plan's last segment: until when, to what, and how fast on average."""

    end_s: float
    from_c: float
    to_c: float
    rate_c_per_h: float


@dataclass(frozen=True, slots=True, eq=False)
class ChannelHeat(Serialised):
    """One channel near the end of the firing.

    Attributes
    ----------
    name : str
    at_peak_c : float or None
        Its mean about the moment of the kiln's highest reading [°C].
    last_hour_c : float or None
        Its mean over the hour before the heating ended [°C].
    cone_number : float or None
        The running number its own readings amount to.
    """

    name: str = field(metadata=OMITTED)
    at_peak_c: float | None
    last_hour_c: float | None
    cone_number: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Unevenness:
    """The spread between the channels of the chamber, hottest less coldest.

    Attributes
    ----------
    channels : tuple of ChannelHeat
        Those compared.
    elsewhere : tuple of str
        Channels left out: nothing read there, or too cold for the chamber.
    at_peak_c, last_hour_c : float or None
        [°C].
    cones : float or None
        In running cone numbers.
    hottest, coldest : str
        Names, by the last hour.
    """

    channels: tuple[ChannelHeat, ...]
    elsewhere: tuple[str, ...] = field(metadata=named("left_out"))
    at_peak_c: float | None
    last_hour_c: float | None
    cones: float | None
    hottest: str
    coldest: str

    json_keys = ("at_peak_c", "last_hour_c", "cones", "hottest", "coldest", "channels", "elsewhere")

    def to_dict(self) -> dict[str, Any]:
        """Return the unevenness as the JSON shows it."""
        by_name = {channel.name: channel.to_dict() for channel in self.channels}
        return json_fields(self) | {"channels": by_name}


@dataclass(frozen=True, slots=True, eq=False)
class ThermocoupleError(Serialised):
    """What the thermocouple may be off by near the peak; `tolerance_c` None where none is known."""

    tolerance_c: float | None
    reason: str
    source: str = ""


@dataclass(frozen=True, slots=True)
class Witness:
    """One cone that stood in the kiln, as a person read it afterwards.

    Attributes
    ----------
    cone : str
        In its printed spelling.
    clock_h : float or None
        Where its tip points, 1 to 6; None for one that is standing or down.
    stands : bool
        Whether one without a clock position is standing; else it is down.
    place : str
        Where it stood: a channel of the log, or any words; empty if not said.
    """

    cone: str
    clock_h: float | None
    stands: bool = False
    place: str = ""

    @property
    def seen(self) -> str:
        """The position in words."""
        if self.clock_h is None:
            return "standing" if self.stands else "down"
        minutes = round(60.0 * self.clock_h)
        return f"at {minutes // 60}:{minutes % 60:02d}"


@dataclass(frozen=True, slots=True, eq=False)
class WitnessResult:
    """A witness cone set against the readings of one channel.

    Attributes
    ----------
    witness : Witness
    channel : str
        Whose readings it is set against.
    heatwork : float
        What the readings give the cone [1].
    computed : str
        How a cone of that heat-work stands.
    offset_c : float or None
        What the readings are too low by [°C]; None for a cone that only bounds it.
    low_c, high_c : float or None
        Its range [°C]; None where it is open.
    """

    witness: Witness
    channel: str
    heatwork: float
    computed: str
    offset_c: float | None
    low_c: float | None
    high_c: float | None

    def to_dict(self) -> dict[str, Any]:
        """Return the result as the JSON shows it."""
        return {
            "cone": self.witness.cone,
            "place": self.witness.place or None,
            "channel": self.channel,
            "seen": self.witness.seen,
            "computed": self.computed,
            "heatwork": self.heatwork,
            "offset_c": self.offset_c,
            "low_c": self.low_c,
            "high_c": self.high_c,
        }


@dataclass(frozen=True, slots=True, eq=False)
class KilnOffset:
    """What all witness cones together say of one channel.

    Attributes
    ----------
    channel : str
    results : tuple of WitnessResult
    offset_c : float or None
        What the readings are too low by [°C]; None where the cones leave one side open.
    low_c, high_c : float or None
        Its range [°C].
    agree : bool
        Whether the cones' ranges have a temperature in common.
    questions : tuple of str
        What to ask back before anybody counts with the offset: a number that was meant otherwise.
    """

    channel: str
    results: tuple[WitnessResult, ...] = field(metadata=named("cones"))
    offset_c: float | None
    low_c: float | None
    high_c: float | None
    agree: bool
    questions: tuple[str, ...] = ()

    json_keys = ("channel", "offset_c", "low_c", "high_c", "agree", "questions", "results")

    def to_dict(self) -> dict[str, Any]:
        """Return the offset as the JSON shows it."""
        return json_fields(self) | {"source": WITNESS_SOURCES}


@dataclass(frozen=True, slots=True, eq=False)
class WitnessVerdict:
    """What the witness cones of a firing say.

    Attributes
    ----------
    kiln : KilnOffset
        Of the channel the kiln is run by, from every cone: the ware's heat-work is what counts, so
        a cone beside another thermocouple speaks of the kiln's too.
    others : tuple of KilnOffset
        Of other channels, from the cones that stood at them.
    """

    kiln: KilnOffset
    others: tuple[KilnOffset, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the verdict as the JSON shows it."""
        return self.kiln.to_dict() | {"by_channel": as_json(self.others)}


@dataclass(frozen=True, eq=False)
class HeatVerdict(Serialised):
    """What there is to say of a firing's heat-work beyond the cones themselves.

    Attributes
    ----------
    budget : Budget
        Cone, law and thermocouple, ± [°C].
    thermocouple : ThermocoupleError
    offset_c : float
        The kiln file's offset, added to the kiln's readings before its cones were told [°C].
    offset_known : bool
        Whether a kiln file gives one other than 0.
    time_above_1000_s : float
        Of the kiln's channel [s].
    exposures : dict of str to Exposure
        Hours in the heat, by channel.
    drift : tuple of DriftRemark
        Which way such a thermocouple drifts; empty where its type is unknown.
    through : tuple of CoolingThrough
        Cooling through the inversions.
    unevenness : Unevenness or None
    witness : WitnessVerdict or None
    """

    budget: Budget = field(metadata=named("budget_c"))
    thermocouple: ThermocoupleError
    offset_c: float
    offset_known: bool
    time_above_1000_s: float
    exposures: dict[str, Exposure] = field(metadata=named("exposure"))
    drift: tuple[DriftRemark, ...]
    through: tuple[CoolingThrough, ...] = field(metadata=named("cooling_through"))
    unevenness: Unevenness | None
    witness: WitnessVerdict | None = None


@dataclass(frozen=True, eq=False)
class HalfHours:
    """Half-hours of a firing; heat as a share of what full power gives in them, shape (n,).

    `known` says whether the duty is known; `powered` whether the elements were on.  `excess` is the
    heat needed by the kiln as learnt, less the heat given; where the duty is unknown full power
    stands for it, and `excess` is then a lower bound.  `given`, `contents`, `leak` and `stored` are
    the heat given, that of the load, what a leak as large as the kiln's own loss would carry off
    (by a fan, by its own draught, or as radiation, alike at the peak), and what load and walls took
    up.  `doubt` is what water nobody weighed may make of it, and
    `full_j` what full power gives [J].
    """

    start_s: FloatArray
    end_s: FloatArray
    middle_c: FloatArray
    known: npt.NDArray[np.bool_]
    powered: npt.NDArray[np.bool_]
    excess: FloatArray
    given: FloatArray
    contents: FloatArray
    leak: FloatArray
    draught: FloatArray
    hole: FloatArray
    stored: FloatArray
    doubt: FloatArray
    full_j: FloatArray

    def where(self, chosen: npt.NDArray[np.bool_]) -> HalfHours:
        """Return some of them."""
        return HalfHours(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))


@dataclass(frozen=True, slots=True, eq=False)
class Shortfall:
    """How probable each reason is, and what it would amount to.

    Attributes
    ----------
    reason : str
        The likeliest, or ``unknown`` where none stands out.
    probabilities : mapping
        Of every reason; they add up to 1.
    confidence : str
        By the probability of the reason.
    as_learnt : float
        Of what ``unknown`` has, the part that the kiln did all it was learnt to do.
    power_down, leak_more, load_times : float
        What the reason of that name would amount to by itself: share of power lost; loss more, as
        a share of the kiln's own; the load as a multiple of what is expected.
    from_s, until_s : float or None
        When power went down and when it came back, where that has edges [s].
    water_kg : float or None
        Where the load took more as it dried only: the water that this heat drives out [kg].
    """

    reason: PowerReason
    probabilities: Mapping[PowerReason, float]
    confidence: Confidence
    as_learnt: float
    power_down: float
    leak_more: float
    load_times: float
    from_s: float | None = None
    until_s: float | None = None
    water_kg: float | None = None

    @property
    def mendable(self) -> bool:
        """Whether the kiln as found is known well enough to plan with."""
        odd = self.probabilities["unknown"] - self.as_learnt
        mends = self.reason != "supply" and self.water_kg is None
        return mends and odd < limit.REASON_ODD


@dataclass(frozen=True, eq=False)
class Mended:
    """A plan that the kiln as found can keep.

    Attributes
    ----------
    schedule : Schedule
    changes : tuple of str
        What to key otherwise, a clause each; empty where the plan can stay.
    program_s : float
        What it will take [s].
    cone_number : float or None
        The running number it amounts to.
    with_new_elements_s : float or None
        What the plan as it was would take with the power of the kiln file [s]; None where power is
        not the matter.
    unchanged_s : float or None
        What the plan as it is takes in this kiln under a controller whose clock waits [s].
    peak_words : str
        Why its peak is lower than the plan's, in sentences; empty where it is the plan's.
    doubt_words : str
        Which of its rates may be a program keyed in otherwise rather than the kiln's; else empty.
    """

    schedule: Schedule
    changes: tuple[str, ...]
    program_s: float
    cone_number: float | None
    with_new_elements_s: float | None = None
    unchanged_s: float | None = None
    peak_words: str = ""
    doubt_words: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return it as the JSON shows it."""
        return keyed(
            peak_words=self.peak_words,
            doubt_words=self.doubt_words,
            changes=self.changes,
            program_s=self.program_s,
            cone_number=self.cone_number,
            with_new_elements_s=self.with_new_elements_s,
            unchanged_s=self.unchanged_s,
            schedule=self.schedule,
        )


@dataclass(frozen=True, eq=False)
class Review(Plottable):
    """A firing set against its plan.

    Times inside count from the log's first reading [s].

    Attributes
    ----------
    log : Log
        What was read, as it was read.
    schedule : Schedule
        The plan.
    forecast : Forecast
        Of the plan, in the kiln if one was given.
    channel : int
        The column of the kiln's own temperature.
    temperature_c : ndarray, shape (n,)
        That column, with what is no temperature left out [°C].
    lead_in_s : float
        What passes before heating begins [s].
    planned_s, forecast_s : float
        By the program's arithmetic, and as the kiln was to do it [s].
    planned_basis : str
        What the planned times rest on, as a clause.
    actual_s : float or None
        What it took [s]; None where the log does not hold it whole.
    segments : tuple of ReviewedSegment
        Planned and actual, one by one; empty if `refused`.
    causes, causes_so_far : tuple of CauseShare
        Those of the whole firing, largest first, which add up to `excess_s`; and those of an
        unfinished firing's finished segments.
    cooling : CoolingReview or None
        How it cooled by itself.
    cones_planned, cones : ConeVerdict
        What the plan comes to, and what the firing came to.
    cones_by_channel : dict of str to ConeVerdict
        What it came to at every thermocouple.
    findings : tuple of Finding
        What somebody should know, the gravest first.
    analysed : AnalysedLog
        The log along its plan, which the findings are drawn from.
    plan_time_s, plan_c : ndarray, shape (m,)
        The plan, beginning where the firing does [s, °C].
    aligned_plan_c : ndarray, shape (n,)
        The plan at every reading, each segment at its own place [°C].
    refused, plan_doubt : str
        Why log and plan were not compared, and why they may not belong together, as clauses.
    begins_inside : bool
        Whether the log begins inside the firing.
    ended : {"program", "stopped", "log"}
        How it ended: with its program, stopped before, or the log ends before it.
    end_s : float or None
        When it ended [s].
    heat : HeatVerdict or None
        The heat-work's verdict beyond the cones.
    quickening : Quickening or None
        Where cooling became quicker.
    extra_segment : ExtraSegment or None
        What ran after the plan's last segment.
    program_changes : tuple of ProgramChange
        The segments that were skipped, repeated or edited.
    sensor_shift : SensorShift or None
        Where a thermocouple moved.
    kiln, load : KilnDescription or None, Load or None
        What it was fired in, and what was in it.
    gaps : tuple of Gap
        The stretches without readings, and what they hide.
    half_hours : HalfHours or None
        The heat it took against the heat given.
    shortfall : Shortfall or None
        Why it was short of power, weighed.
    mended : Mended or None
        The plan that the kiln as found can keep.
    kiln_unused : str
        Why the kiln's model was not used.
    comparison : Comparison or None
        The other firing of the plan that this one is set beside.
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
    analysed: AnalysedLog = field(repr=False)
    plan_time_s: FloatArray = field(repr=False)
    plan_c: FloatArray = field(repr=False)
    aligned_plan_c: FloatArray = field(repr=False)
    refused: str = ""
    plan_doubt: str = ""
    begins_inside: bool = False
    ended: Ending = "program"
    end_s: float | None = None
    heat: HeatVerdict | None = None
    quickening: Quickening | None = None
    extra_segment: ExtraSegment | None = None
    program_changes: tuple[ProgramChange, ...] = ()
    sensor_shift: SensorShift | None = None
    kiln: KilnDescription | None = None
    load: Load | None = None
    gaps: tuple[Gap, ...] = ()
    half_hours: HalfHours | None = field(default=None, repr=False)
    shortfall: Shortfall | None = None
    mended: Mended | None = None
    kiln_unused: str = ""
    comparison: Comparison | None = None
    causes_so_far: tuple[CauseShare, ...] = ()

    @property
    def finished(self) -> tuple[ReviewedSegment, ...]:
        """The segments that the log holds whole, from the first on without a break."""
        return tuple(takewhile(lambda segment: segment.actual_s is not None, self.segments))

    @property
    def late_so_far_s(self) -> float:
        """How much longer these took than planned [s]."""
        return sum(segment.excess_s or 0.0 for segment in self.finished)

    @property
    def lacks(self) -> list[str]:
        """What the log lacks and what that hides, in sentences."""
        return gap_words(self.gaps, self.schedule.unit)

    @property
    def plan_comes_to_its_cone(self) -> bool:
        """Whether the plan amounts to the cone it is for."""
        wanted, planned = self.schedule.cone, self.cones_planned.reached_number
        if not wanted or planned is None:
            return False
        return abs(cone_number(wanted) - planned) < limit.SAME_CONE

    @property
    def cone_is_least(self) -> bool:
        """Whether the cones are a lower bound, as the log lacks some of the heat-work."""
        return any(gap.hides_heatwork for gap in self.gaps)

    @property
    def peak_is_hidden(self) -> bool:
        """Whether the highest reading may lie where the log lacks readings."""
        return any(gap.hides_peak for gap in self.gaps)

    @cached_property
    def peak_c(self) -> float:
        """The highest reading [°C]."""
        return float(self.temperature_c[self.temperature_c == self.temperature_c].max())

    @cached_property
    def first_c(self) -> float:
        """The first usable reading [°C]."""
        return float(self.temperature_c[self.temperature_c == self.temperature_c][0])

    @property
    def made_up_s(self) -> float:
        """What a clock that did not wait made up of the time lost [s]."""
        shares = (share for segment in self.segments for share in segment.causes)
        return -sum(s.seconds for s in shares if s.cause == "waiting" and s.seconds < 0)

    def __repr__(self) -> str:
        """Return title, hours, largest cause, cone and findings, on one line."""
        if self.refused:
            ran = "not compared with the plan"
        elif self.actual_s is None:
            ran = f"the end of its {format_duration(self.planned_s)} is not in the log"
        else:
            ran = f"ran {format_duration(self.actual_s)}, planned {format_duration(self.planned_s)}"
        parts = [ran]
        if self.causes:
            most = self.causes[0]
            parts.append(f"most by {most.name} {format_duration(most.seconds, signed=True)}")
        count = len(self.findings)
        parts += [self.cones.words, f"{count} finding{'' if count == 1 else 's'}"]
        return f"<Review {self.schedule.title!r}: {', '.join(parts)}>"

    @property
    def excess_s(self) -> float | None:
        """Actual less planned seconds of the program; None if the log stops before its end."""
        return None if self.actual_s is None else self.actual_s - self.planned_s

    @property
    def printed_excess_s(self) -> float | None:
        """The excess that planned and actual hours show when each is printed to the minute."""
        if self.actual_s is None:
            return None
        return SECONDS_PER_MINUTE * (
            round(self.actual_s / SECONDS_PER_MINUTE) - round(self.planned_s / SECONDS_PER_MINUTE)
        )

    @property
    def printed_cause_s(self) -> dict[str, float]:
        """Every cause to the minute, so that together they make the printed excess."""
        seconds = [cause.seconds for cause in self.causes]
        excess_s = self.printed_excess_s
        total_s = sum(seconds) if excess_s is None else excess_s
        minutes = minutes_adding_up(seconds, round(total_s / SECONDS_PER_MINUTE))
        return {
            cause.cause: SECONDS_PER_MINUTE * shown
            for cause, shown in zip(self.causes, minutes, strict=True)
        }

    @property
    def needs_action(self) -> bool:
        """Whether a finding asks for something to be done."""
        return any(finding.severity == "act" for finding in self.findings)

    def to_dict(self) -> dict[str, Any]:
        """Return the review as one JSON document, schema 1."""
        from firing.logs.reader import log_document

        return keyed(
            schema=1,
            kind="review",
            schedule=self.schedule,
            log=log_document(self.log, self.channel),
            gaps=self.gaps,
            lead_in_s=self.lead_in_s,
            planned_s=self.planned_s,
            planned_basis=self.planned_basis,
            forecast_s=self.forecast_s,
            actual_s=self.actual_s,
            excess_s=self.excess_s,
            segments=None if self.refused else self.segments,
            causes=self.causes,
            program_changes=self.program_changes,
            sensor_shift=self.sensor_shift,
            cooling=self.cooling,
            cooled_quicker=self.quickening,
            begins_inside=self.begins_inside,
            ended=None if self.refused else self.ended,
            compared=not self.refused,
            refused=self.refused or None,
            plan_doubt=self.plan_doubt or None,
            cones={
                **self.cones.to_dict(),
                "planned": self.cones_planned.reached_as_printed,
                "target": self.schedule.cone,
                "planned_number": self.cones_planned.reached_number,
                "lower_bound": self.cone_is_least,
                "by_channel": self.cones_by_channel,
            },
            heatwork=self.heat,
            kiln=None if self.kiln is None else _kiln(self.kiln),
            mended=self.mended,
            compare=self.comparison,
            findings=self.findings,
        )


@dataclass(frozen=True, slots=True, eq=False)
class SegmentPair(Serialised):
    """One segment in both firings [s]; None where a log does not hold it whole."""

    index: int
    name: str
    planned_s: float
    this_s: float | None
    other_s: float | None

    json_keys = ("index", "name", "planned_s", "this_s", "other_s", "difference_s")

    @property
    def difference_s(self) -> float | None:
        """This less the other [s]."""
        if self.this_s is None or self.other_s is None:
            return None
        return self.this_s - self.other_s


@dataclass(frozen=True, slots=True, eq=False)
class CausePair:
    """One cause in both firings [s]."""

    cause: Cause
    this_s: float
    other_s: float

    def to_dict(self) -> dict[str, Any]:
        """Return the pair as the JSON shows it."""
        return json_fields(self) | {"difference_s": self.this_s - self.other_s}


@dataclass(frozen=True, slots=True, eq=False)
class CoolingPair(Serialised):
    """Natural cooling of both over the temperatures that both logs cover."""

    from_c: float
    to_c: float
    this_s: float
    other_s: float


@dataclass(frozen=True, slots=True, eq=False)
class SegmentRange(Serialised):
    """What one segment took in several firings [s]: this one, and the others' range and middle."""

    index: int
    this_s: float | None
    least_s: float
    median_s: float
    most_s: float


@dataclass(frozen=True, eq=False)
class Comparison:
    """Another firing of the plan, set beside this one; of several, the middle one by duration.

    Attributes
    ----------
    other : Review
        The other firing's own review.
    segments : tuple of SegmentPair
    causes : tuple of CausePair
        Every cause of either, the largest difference first.
    cooling : CoolingPair or None
    remarks : tuple of str
        What differs, one sentence each; one that says so where nothing does.
    this_peak_c, other_peak_c : float
        Highest readings [°C].
    this_s, other_s : float or None
        Duration of both [s].
    series : tuple of SegmentRange
        The segments beside those of all the others, where there are several.
    logs : tuple of str
        The others' names.
    """

    other: Review
    segments: tuple[SegmentPair, ...]
    causes: tuple[CausePair, ...]
    cooling: CoolingPair | None
    remarks: tuple[str, ...]
    this_peak_c: float
    other_peak_c: float
    this_s: float | None
    other_s: float | None
    series: tuple[SegmentRange, ...] = ()
    logs: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the comparison as the JSON shows it."""
        difference_s = None
        if self.this_s is not None and self.other_s is not None:
            difference_s = self.this_s - self.other_s
        return keyed(
            log=self.other.log.name,
            logs=self.logs or (self.other.log.name,),
            series=self.series,
            compared=not self.other.refused,
            refused=self.other.refused or None,
            this_s=self.this_s,
            other_s=self.other_s,
            difference_s=difference_s,
            segments=self.segments,
            causes=self.causes,
            cooling=self.cooling,
            peak_c={"this": self.this_peak_c, "other": self.other_peak_c},
            reached=self.other.cones.reached_as_printed,
            reached_number=self.other.cones.reached_number,
            remarks=self.remarks,
        )


def _kiln(kiln: KilnDescription) -> dict[str, Any]:
    fitted = kiln.fitted
    return keyed(
        name=kiln.name,
        power=fitted.power,
        loss=fitted.loss,
        capacity=fitted.capacity,
        cone_offset_c=fitted.cone_offset_c,
        learnt=fitted.learnt,
        basis=fitted.basis,
        thermocouple=kiln.thermocouple,
        thermocouple_class=kiln.thermocouple_class,
    )
