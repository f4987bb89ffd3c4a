"""What is known of a running watch at one moment: its thread lays it down, others show it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Literal

import numpy as np

from firing.trace import FloatArray

if TYPE_CHECKING:
    from firing.capture.reading import Reading
    from firing.units import TemperatureUnit
    from firing.watch.calls import Call
    from firing.watch.state import Estimate, RemainingCourse

Stage = Literal["connecting", "waiting", "reading", "silent", "lost", "ended", "stopped", "broken"]
"""Opening; opened without a line so far; lines come; none for long; trying again; the source came
to its end; somebody ended the watch; it could not begin or go on."""

OVER: tuple[Stage, ...] = ("ended", "stopped", "broken")

RemarkKind = Literal["note", "told", "call", "alarm", "over"]


@dataclass(frozen=True, slots=True)
class WatchRemark:
    """One thing told."""

    at_s: float
    """When, on the recording's clock [s]."""
    kind: RemarkKind
    """On the side; an event; one that wants somebody to act; an alarm raised; an alarm over."""
    words: str
    """One sentence."""


@dataclass(frozen=True, slots=True)
class RecordingState:
    """How the recording stands."""

    file: str
    """Its path."""
    rows: int
    """Lines of readings of this watch."""
    unsynced_s: float | None
    """For how long lines wait to be put on the disk [s]; None if none does."""
    trouble: str | None
    """Why lines are not being written; None if they are."""
    waiting: int
    lost: int
    """Lines in memory that the file does not take, and lines given up."""
    gap: str
    """The last gap marked in this watch, in words; empty if there is none."""


@dataclass(frozen=True, eq=False)
class WatchState:
    """What is known of a watch at one moment; times on the recording's clock [s]."""

    stage: Stage = "connecting"
    why: str = ""
    """What is going on, and why it is lost or broken."""
    began: datetime | None = None
    """The moment of second 0."""
    now_s: float = 0.0
    temperature_c: float = math.nan
    read_s: float | None = None
    """Now, how hot (smoothed; NaN if unknown), and when the last line came."""
    live: bool = True
    """Whether readings come now; else a log is replayed."""
    names: tuple[str, ...] = ()
    channel: int = 0
    """The channels, and which one is the kiln's."""
    reading: Reading | None = None
    """The last, of all channels."""
    estimate: Estimate | None = None
    """The last that was worked out."""
    rest: RemainingCourse | None = None
    """How it goes on from that estimate, as expected."""
    time_s: FloatArray = field(default_factory=lambda: np.array([]))
    course_c: FloatArray = field(default_factory=lambda: np.array([]))
    """The kiln so far, as means over half a minute [s, °C]."""
    others: tuple[tuple[str, FloatArray, FloatArray], ...] = ()
    """The other channels so far: name, times and temperatures, likewise."""
    unit: TemperatureUnit = "C"
    """The unit without a plan: the source's own."""
    remarks: tuple[WatchRemark, ...] = ()
    """What was told, the oldest first."""
    standing: tuple[WatchRemark, ...] = ()
    """Alarms raised now, the oldest first."""
    open_calls: tuple[Call, ...] = ()
    """What calls somebody to the kiln, acknowledged and snoozed or not, the oldest first."""
    calls: int = 0
    """How often it was told so far that somebody has to do something."""
    recording: RecordingState | None = None
    """The recording; None without one."""
    not_recorded: str = ""
    """Why nothing is recorded although a file was named."""
    unreadable: bool = False
    """Whether, now that it is over, no line was a reading, or none at last."""

    @property
    def complete(self) -> bool:
        """Whether lines were readings, and every one that was to be recorded is in its file."""
        kept = self.recording
        return not (self.unreadable or self.not_recorded) and (
            kept is None or not (kept.waiting or kept.lost or kept.trouble)
        )

    @property
    def gone(self) -> bool:
        """Whether readings came, and none does now: what is known of the kiln is old."""
        return self.stage in ("lost", "silent") and self.read_s is not None

    @property
    def over(self) -> bool:
        """Whether nothing more will come."""
        return self.stage in OVER


class PlanStart:
    """Says where the plan of a running firing begins, as the firing really began."""

    def __init__(self) -> None:
        self._began_s: float | None = None

    def at_s(self, seen: WatchState) -> float:
        """Return the beginning of the plan on the recording's clock [s]."""
        estimate = seen.estimate
        position = None if estimate is None else estimate.position
        if estimate is None or position is None or position.segment is None:
            return seen.now_s  # not heating yet: at the earliest, now
        at_s = estimate.now_s
        if position.phase == "done" and position.arrived_s is not None:
            at_s = position.arrived_s
        if position.late_s is not None:
            self._began_s = at_s - position.late_s - position.program_s
        elif self._began_s is None:
            # Its beginning was not seen: as if it had kept to the plan up to here.
            self._began_s = at_s - position.program_s
        return self._began_s
