"""What is wanted of a firing."""

from dataclasses import dataclass, field, fields

from firing.cones.kinetics import end_point_c
from firing.cones.table import parse_cone
from firing.errors import FiringError
from firing.forecast.opening import UNLOAD_C
from firing.heat.default_kiln import TRIAL, UsualKiln
from firing.schedule.schedule import HOT_START_C, Purpose
from firing.units import ROOM_C
from firing.ware.limits import USUAL_MARGIN, Dwell, Reason
from firing.ware.load import Load
from firing.ware.practice import BYS, By

RESERVE = 0.10
"""By how much weaker the elements may get before a program is not kept any more, unless said
otherwise (a choice: `reserve-choice`)."""
MOST_RESERVE = 0.5
FEW_WITHIN = 0.03
"""The fewest segments are taken that come within this share of the fastest program (a choice)."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """What the person asking allows at the top."""

    peak_at_most_c: float | None = None
    hold_at_least_s: float = 0.0
    hold_at_most_s: float | None = None
    final_at_most_c_per_h: float | None = None  # the rate of the last 100 °C [°C/h]


@dataclass(frozen=True, slots=True)
class CoolingRequest:
    """What is asked of the cooling, as for many glazes."""

    # Fall from the peak to here with elements off, and hold [°C, s].
    drop_to_c: float | None = None
    drop_hold_s: float = 0.0
    # Then cool no faster than this [°C/h], until here [°C].
    rate_c_per_h: float | None = None
    until_c: float | None = None


_LARGEST = 1e8
"""No temperature, rate or time [s] that is asked for is as large."""
DEGAS_BELOW_K = (125.0, 110.0)
"""Where a glaze is not sealed yet and its gases still leave, below the peak [K] (common practice,
no source); the last 100 °C before a cone keep their own rate."""


@dataclass(frozen=True, slots=True)
class DesignRequest:
    """What is wanted of a firing."""

    purpose: Purpose  # what it is for
    # The cone, or the top temperature [°C]; one of them.
    cone: str | None = None
    top_c: float | None = None
    bounds: Bounds = field(default_factory=Bounds)  # what is allowed at the top
    margin: float = USUAL_MARGIN  # caution
    cooling: CoolingRequest = field(default_factory=CoolingRequest)  # what is asked of the cooling
    open_c: float = UNLOAD_C  # closing to opening at this temperature is what is made shortest [°C]
    start_c: float = ROOM_C  # where the program starts [°C]
    usual: UsualKiln = TRIAL  # the kiln whose cooling stands in where none is given
    # Which limits of the ware count: those of practice, the computed ones, or both.
    by: By = "slower"
    # Reasons to leave out, to see what they cost; never for real ware.
    without: tuple[Reason, ...] = ()
    # The program is still kept with elements weaker by this share; 0 uses full power.
    reserve: float = RESERVE
    degas_s: float = 0.0  # a hold asked for on the way up, before the glaze seals [s]
    # The fewest segments within this share of the fastest program are used; 0 for the fastest.
    few_within: float = FEW_WITHIN

    @property
    def room_c(self) -> float:
        """Room temperature [°C]: the start, unless that is a hot kiln's."""
        return self.start_c if self.start_c < HOT_START_C else ROOM_C

    @property
    def about_c(self) -> float:
        """Roughly where the program ends [°C]."""
        return end_point_c(self.cone or "", 60.0) if self.top_c is None else self.top_c

    @property
    def degassing(self) -> Dwell | None:
        """The stay that is asked for before the glaze seals, if any."""
        if not self.degas_s:
            return None
        window_c = (self.about_c - DEGAS_BELOW_K[0], self.about_c - DEGAS_BELOW_K[1])
        return Dwell(
            window_c,
            self.degas_s,
            "asked for",
            "you asked for it, so that gases leave before the glaze seals",
            "degassing-practice",
            self.degas_s,
            self.degas_s,
        )

    def title(self, load: Load) -> str:
        """Return a title: the governing ware, its dryness, and where the firing goes."""
        piece = load.thickest
        end = f"cone {parse_cone(self.cone)}" if self.cone else f"{self.top_c:.0f} °C"
        title = f"{piece.thickest_mm:g} mm {piece.name}, {load.dryness}, {self.purpose} to {end}"
        return title[:120]

    def check(self) -> None:
        """Refuse a request that contradicts itself."""
        for part in (self, self.bounds, self.cooling):
            for one in fields(part):
                told = getattr(part, one.name)
                if isinstance(told, int | float) and not abs(told) < _LARGEST:
                    raise FiringError(
                        f"{one.name} = {told:g} is no figure of a firing; give one, or leave it out"
                    )
        if self.bounds.hold_at_least_s < 0.0:
            raise FiringError("a hold lasts 0 min or longer; write --hold-at-least 10m")
        if self.by not in BYS:
            raise FiringError(f'"{self.by}" is no rule; write one of: {", ".join(BYS)}')
        if (self.cone is None) == (self.top_c is None):
            raise FiringError(
                "a design needs one end: a target cone, or the top temperature; write --cone 06 "
                "or --top 980, not both"
            )
        if not 0.0 <= self.reserve <= MOST_RESERVE:
            raise FiringError(
                f"a power reserve of {100.0 * self.reserve:g} % is outside 0 to "
                f"{100.0 * MOST_RESERVE:.0f} %; 10 % is usual, 0 uses full power"
            )
        bounds = self.bounds
        if bounds.hold_at_most_s is not None and bounds.hold_at_most_s < bounds.hold_at_least_s:
            raise FiringError(
                "a hold of at least "
                f"{bounds.hold_at_least_s / 60:.0f} min and one of at most "
                f"{bounds.hold_at_most_s / 60:.0f} min collide; the first may not be the longer one"
            )
        if not self.degas_s >= 0.0:
            raise FiringError("a degassing hold lasts 0 min or longer; write --degas 20m")
        cooling = self.cooling
        if (cooling.rate_c_per_h is None) != (cooling.until_c is None):
            raise FiringError(
                "controlled cooling needs a rate and where it ends; write --slow-cool 50 and "
                "--slow-to 700"
            )
        if cooling.drop_hold_s and cooling.drop_to_c is None:
            raise FiringError("a hold after a drop needs where to drop to; write --drop-to 1100")
        if cooling.rate_c_per_h is not None and not cooling.rate_c_per_h > 0.0:
            raise FiringError(
                f"cooling at {cooling.rate_c_per_h:g} °C/h never arrives; give a rate above 0"
            )
