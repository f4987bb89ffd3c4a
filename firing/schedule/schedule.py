"""A schedule: the ramps and holds a controller is given, and their own arithmetic."""

from dataclasses import dataclass
from typing import Literal, get_args

from firing.arguments import check_fields
from firing.errors import FiringError
from firing.serialise import Serialised
from firing.units import (
    ROOM_C,
    SECONDS_PER_HOUR,
    TemperatureUnit,
    format_duration,
    format_temperature,
)
from firing.viewable import Plottable

Purpose = Literal["bisque", "glaze", "once-fired", "decal", "other"]
PURPOSES: tuple[Purpose, ...] = get_args(Purpose)

Drive = Literal["rate", "unlimited", "off"]
"""How a ramp is driven: at a set rate, with all the power there is, or with the elements off."""

HOT_START_C = 60.0
"""A program that starts above this starts in a kiln still hot, not at room temperature."""


_HOTTEST_C = 3000.0
_SLOWEST_C_PER_H, _FASTEST_C_PER_H = 1e-3, 1e6
_LONGEST_HOLD_S = 366 * 86_400.0


def _require_kiln_c(temperature_c: float, what: str) -> None:
    """Refuse what no kiln has; files are held to less by their schema."""
    if not abs(temperature_c) <= _HOTTEST_C:
        raise FiringError(f"a {what} of {temperature_c:g} °C is no temperature of a kiln")


@dataclass(frozen=True, slots=True)
class Segment(Serialised):
    """One ramp to a target and the hold there.

    Attributes
    ----------
    target_c : float
        Where the ramp ends [°C].
    rate_c_per_h : float or None
        Size of the programmed rate [°C/h], above 0; None when `drive` is not ``"rate"``.  Whether
        the ramp heats or cools follows from the target.
    drive : {"rate", "unlimited", "off"}
        What drives the ramp.
    hold_s : float
        Time kept at the target [s].
    name, action : str
        What it is for, and what a person does when it ends.

    Examples
    --------
    >>> import firing as fi
    >>> fi.Segment(target_c=620.0, rate_c_per_h=100.0).ramp_s(from_c=20.0) / 3600
    6.0
    """

    target_c: float
    rate_c_per_h: float | None
    drive: Drive = "rate"
    hold_s: float = 0.0
    name: str = ""
    action: str = ""

    json_keys = ("name", "rate_c_per_h", "drive", "target_c", "hold_s", "action")

    def __post_init__(self) -> None:
        check_fields(self)
        if (self.drive == "rate") != (self.rate_c_per_h is not None):
            raise FiringError("a segment has a rate in °C/h exactly when its drive is by rate")
        _require_kiln_c(self.target_c, "target")
        if self.rate_c_per_h is not None and not self.rate_c_per_h >= _SLOWEST_C_PER_H:
            raise FiringError(
                f"a rate of {self.rate_c_per_h:g} °C/h never arrives; give one above 0"
            )
        if self.rate_c_per_h is not None and self.rate_c_per_h > _FASTEST_C_PER_H:
            raise FiringError(f"no kiln climbs {self.rate_c_per_h:g} °C/h; give full power")
        if not self.hold_s >= 0:
            raise FiringError(f"a hold of {self.hold_s:g} s is negative; give 0 or more")
        if self.hold_s > _LONGEST_HOLD_S:
            raise FiringError(f"a hold of {self.hold_s:g} s is longer than a year; give seconds")

    def ramp_s(self, from_c: float) -> float | None:
        """Return the programmed seconds from `from_c` [°C] to the target; None without a rate."""
        if self.rate_c_per_h is None:
            return None
        return abs(self.target_c - from_c) / self.rate_c_per_h * SECONDS_PER_HOUR


@dataclass(frozen=True, slots=True)
class WareDone(Serialised):
    """What an earlier firing has done to the ware that a program starts with.

    Attributes
    ----------
    paths_mm : tuple of float
        How far water, steam and air had to go in that ware [mm]; it says nothing of thicker ware.
    drying_fourier, bound_water_gone, burn_out_s : float
        As of `firing.ware.load.WareState`.
    """

    paths_mm: tuple[float, float, float]
    drying_fourier: float
    bound_water_gone: float
    burn_out_s: float


@dataclass(frozen=True, slots=True)
class Schedule(Plottable, Serialised):
    """A whole program.  Never changed in place: an edit makes a new one, so undo is a stack.

    Attributes
    ----------
    title : str
        Ware and purpose in a few words.
    segments : tuple of Segment
        At least one, in order.
    purpose : {"bisque", "glaze", "once-fired", "decal", "other"}
        Which cautions and limits apply.
    start_c : float
        Temperature the program starts from [°C].
    unit : {"C", "F"}
        The unit its owner reads and writes.
    notes : str
        Free text.
    cone : str or None
        The cone the firing is for, in its printed spelling.
    ware_done : WareDone or None
        What the ware has lost before it starts, where a log has shown it.

    Examples
    --------
    A ramp from 20 °C at 100 °C/h to 620 °C takes 6 hours:

    >>> import firing as fi
    >>> fi.Schedule("test tiles", (fi.Segment(620.0, 100.0, hold_s=900.0),), purpose="bisque")
    <Schedule 'test tiles': bisque, 1 segment to 620 °C, 6 h 15 min as written>
    """

    title: str
    segments: tuple[Segment, ...]
    purpose: Purpose = "other"
    start_c: float = ROOM_C
    unit: TemperatureUnit = "C"
    notes: str = ""
    cone: str | None = None
    ware_done: WareDone | None = None

    json_keys = (
        "title",
        "purpose",
        "unit",
        "start_c",
        "cone",
        "ware_done",
        "notes",
        "segments",
    )

    def __post_init__(self) -> None:
        check_fields(self)
        if not self.segments:
            raise FiringError("a schedule needs at least one segment")
        _require_kiln_c(self.start_c, "start")

    def __repr__(self) -> str:
        """Return title, purpose, segments, peak and hours as written, on one line."""
        count = len(self.segments)
        peak = format_temperature(self.peak_c, self.unit)
        words = f"{self.purpose}, {count} segment{'s' if count > 1 else ''} to {peak}"
        ramps = [segment.ramp_s(self.from_c(i)) for i, segment in enumerate(self.segments)]
        known = [ramp_s for ramp_s in ramps if ramp_s is not None]
        if len(known) == count:
            program_s = sum(known) + sum(segment.hold_s for segment in self.segments)
            words += f", {format_duration(program_s)} as written"
        return f"<Schedule {self.title!r}: {words}>"

    def from_c(self, index: int) -> float:
        """Return the temperature [°C] that segment `index` (from 0) starts at."""
        return self.start_c if index == 0 else self.segments[index - 1].target_c

    @property
    def peak_c(self) -> float:
        """The highest temperature the program asks for [°C]."""
        return max(self.start_c, *(segment.target_c for segment in self.segments))

    @property
    def room_c(self) -> float:
        """Room temperature [°C]: where the program starts, unless it starts from a hot kiln."""
        return self.start_c if self.start_c < HOT_START_C else ROOM_C

    @property
    def peak_index(self) -> int:
        """The number, from 0, of the last segment whose target is the peak."""
        targets = [segment.target_c for segment in self.segments]
        return len(targets) - 1 - targets[::-1].index(max(targets))

    def label(self, index: int) -> str:
        """Return what segment `index` (from 0) is called: its number from 1 and its name."""
        name = self.segments[index].name
        return f"{index + 1} {name}".rstrip()
