"""What is open: the plan, what it is forecast under, and the log it is compared with."""

from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from firing.errors import FiringError
from firing.forecast.result import Forecast
from firing.logs.options import ReadingOptions
from firing.schedule.schedule import Schedule

from .document import PlanDocument
from .equipment import Circumstances, Equipment, Kind, forecast_fitting
from .journal import Journal, Leftover

if TYPE_CHECKING:
    from firing.remote.outlets import Outlets
    from firing.review.result import Review
    from firing.safety import Caution

    from .design_form import WantedDesign
    from .live_watch import LiveWatch


@dataclass(frozen=True, slots=True)
class LogChoice:
    """A log and how to read it; None leaves a thing to be found."""

    path: Path
    """The file."""
    channel: str | None = None
    """The kiln's column, by name or number from 1."""
    due: datetime | None = None
    """When the firing was meant to start."""
    reading: ReadingOptions = field(default_factory=ReadingOptions)
    """How it is to be read."""


def review_log(
    schedule: Schedule, choice: LogChoice, equipment: Equipment | None = None
) -> "Review":
    """Read a log and set it against a plan, and against the kiln and load chosen if there are any.

    Raises `FiringError` if the log leaves something open or cannot be read; the sentence names what
    settles it.
    """
    from firing.logs.reader import open_log
    from firing.review.review import review

    log, channel = open_log(choice.path, choice.channel, choice.reading)
    equipment = equipment or Equipment()
    return review(
        schedule,
        log,
        channel=channel,
        due=choice.due,
        kiln=None if equipment.kiln is None else equipment.kiln.value,
        load=None if equipment.load is None else equipment.load.value,
    )


@dataclass(slots=True)
class Session:
    """Everything the screens share."""

    document: PlanDocument
    """The open plan."""
    journal: Journal
    """Where its unsaved edits are kept."""
    circumstances: Circumstances = field(default_factory=Circumstances)
    """What it is forecast under."""
    coming: dict[Kind, str] = field(default_factory=dict)
    """Names of what was chosen the last time and has not been read yet."""
    forecast: "Forecast | None" = None
    """The latest; None before the first, or where there can be none."""
    load_left_out: str = ""
    """Why the latest is made without the load chosen; empty if it is not."""
    log: LogChoice | None = None
    """The log last chosen."""
    review: "Review | None" = None
    """The latest, of `reviewed`."""
    reviewed: tuple[Schedule, Equipment] | None = None
    """The plan that `review` is of, and what it was fired with."""
    compared: list[LogChoice] = field(default_factory=list)
    """The logs last laid over each other."""
    cautions_seen: set[str] = field(default_factory=set)
    """Ids of the cautions shown so far."""
    tour: bool = False
    """Whether somebody is here for the first time."""
    wanted: "WantedDesign | None" = None
    """What was last wanted of a design."""
    watch: "LiveWatch | None" = None
    """The watch that runs, or ran last."""

    outlets: "Outlets | None" = None
    """Where a watch is shown and told beside the screens."""

    @property
    def folder(self) -> Path:
        """The folder that the plan's file lies in, or the one the program was begun in."""
        path = self.document.path
        return Path.cwd() if path is None else path.resolve().parent

    @property
    def watching(self) -> bool:
        """Whether a watch runs."""
        return self.watch is not None and self.watch.running

    def forecast_first(self) -> None:
        """Forecast the plan at once, so that the first screen is a whole one."""
        try:
            self.forecast, self.load_left_out = forecast_fitting(
                self.document.schedule, self.circumstances
            )
        except FiringError:
            self.forecast, self.load_left_out = None, ""

    @property
    def fitting(self) -> Equipment:
        """What the latest forecast is made with: all that is chosen, but for a load left out."""
        equipment = self.circumstances.equipment
        return replace(equipment, load=None) if self.load_left_out else equipment

    def cautions(self) -> "tuple[Caution, ...]":
        """Return the cautions that apply to the open plan."""
        from firing.safety import cautions_for

        schedule = self.document.schedule
        return cautions_for(schedule.peak_c, schedule.purpose)

    def cautions_unseen(self) -> bool:
        """Whether a caution that applies has not been shown yet."""
        return any(caution.id not in self.cautions_seen for caution in self.cautions())

    def keep(self) -> None:
        """Keep the plan's edits safe, or forget what was kept if there are none."""
        if self.document.changed:
            self.journal.keep(self.document)
        else:
            self.journal.clear()

    def open(self, document: PlanDocument) -> None:
        """Take up another plan; what was kept of the last one is given up."""
        self.journal.clear()
        self.document, self.forecast = document, None
        self.keep()

    def take_up(self, left: Leftover) -> None:
        """Go on with unsaved work that was left behind; refused if it is no schedule any more."""
        self.open(left.restore())
        # Given up where it was only once it is kept here, or known to be in its file.
        self.journal.settle()
        if not self.journal.trouble:
            left.remove()
