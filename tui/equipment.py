"""What a plan is fired with: kiln, load, controller and tariff, and the forecast that follows.

The equipment is remembered for the next time.  Here alone the screens ask for a forecast.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, Literal, TypeVar

from firing.errors import FiringError
from firing.files.kinds import file_kind
from firing.files.tomlfile import write_text
from firing.forecast.forecast import forecast
from firing.forecast.opening import UNLOAD_C
from firing.forecast.result import Forecast
from firing.report.words import Timekeeper, forecast_times
from firing.schedule.schedule import Schedule

if TYPE_CHECKING:
    from collections.abc import Mapping

    from firing.controller.controller import Controller
    from firing.kiln.description import KilnDescription
    from firing.kiln.tariff import Tariff
    from firing.ware.load import Load

Kind = Literal["kiln", "load", "controller", "tariff"]
KINDS: tuple[Kind, ...] = ("kiln", "load", "controller", "tariff")

Read = TypeVar("Read")

_SCHEMA = 1
_LONGEST_NAME = 4096

Stamp = tuple[int, int]
"""When a file was last written [ns], and how long it is [bytes]."""


@dataclass(frozen=True, slots=True, eq=False)
class ChosenFile(Generic[Read]):
    """One file chosen; two are the same only if they are one reading of it."""

    name: str
    """Its path, or the name of an example that ships with the package."""
    value: Read
    """What was read from it."""
    stamp: Stamp | None = None
    """Of the file as it was read; None for an example."""

    @property
    def short(self) -> str:
        """The name without its folder and ending, or what an example is of."""
        return short(self.name)


def short(name: str) -> str:
    """Return a name without its folder and ending; of an example load, what it is of."""
    return Path(name).name.removesuffix(".toml").removeprefix("example-load-")


@dataclass(frozen=True, slots=True)
class Equipment:
    """What a plan is fired with, each under the name it was chosen by; None for what is not."""

    kiln: ChosenFile[KilnDescription] | None = None
    load: ChosenFile[Load] | None = None
    controller: ChosenFile[Controller] | None = None
    tariff: ChosenFile[Tariff] | None = None

    def of(self, kind: Kind) -> ChosenFile[Any] | None:
        """Return what is chosen of a kind."""
        found: ChosenFile[Any] | None = getattr(self, kind)
        return found

    @property
    def names(self) -> dict[Kind, str]:
        """The names of what is chosen."""
        return {kind: found.name for kind in KINDS if (found := self.of(kind)) is not None}


def with_file(equipment: Equipment, kind: Kind, name: str | None) -> Equipment:
    """Return the equipment with one file read and taken; without a name, with none of its kind.

    Raises `FiringError` if it cannot be read, or with all its faults.
    """
    if name is None:
        return replace(equipment, **{kind: None})
    # Taken before the file is read: what is written meanwhile counts as a change.
    stamp = _stamp(name)
    return replace(equipment, **{kind: ChosenFile(name, file_kind(kind).open(name), stamp)})


def _stamp(name: str) -> Stamp | None:
    try:
        found = Path(name).stat()
    except (OSError, ValueError):
        return None
    return found.st_mtime_ns, found.st_size


@dataclass(frozen=True, slots=True)
class FileReading:
    """What came of reading files."""

    equipment: Equipment
    """With everything that could be read."""
    troubles: dict[Kind, str]
    """Why the others could not be."""


def read_all(names: Mapping[Kind, str]) -> FileReading:
    """Read files by their names; those that cannot be read are left out, and it is said why."""
    equipment = Equipment()
    troubles: dict[Kind, str] = {}
    for kind, name in names.items():
        try:
            equipment = with_file(equipment, kind, name)
        except FiringError as error:
            troubles[kind] = str(error)
    return FileReading(equipment, troubles)


def reread(equipment: Equipment) -> FileReading:
    """Read again whatever has changed on disk since it was read.

    A file that cannot be read any more leaves what was read from it before in place.
    """
    troubles: dict[Kind, str] = {}
    for kind in KINDS:
        found = equipment.of(kind)
        if found is None or found.stamp == _stamp(found.name):
            continue
        try:
            equipment = with_file(equipment, kind, found.name)
        except FiringError as error:
            troubles[kind] = str(error)
    return FileReading(equipment, troubles)


def memory_file(state: Path) -> Path:
    """Return the file, beside the folder for unsaved work."""
    return state.parent / "fired-with.json"


def recall(file: Path) -> tuple[dict[Kind, str], str]:
    """Return the names of the last choice, and why they are not known if they are not.

    Whatever is in the file, nothing is raised: it was written for convenience only.
    """
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
        chosen = data["chosen"] if data["schema"] == _SCHEMA else {}
        names: dict[Kind, str] = {
            kind: chosen[kind] for kind in KINDS if _is_name(chosen.get(kind))
        }
    except FileNotFoundError:
        return {}, ""
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return {}, f"What was chosen last is not known: {file} cannot be read; ^K chooses again."
    return names, ""


def remember(file: Path, names: Mapping[Kind, str]) -> str:
    """Keep the names of what is chosen; returns why that is not possible, or nothing."""
    kept = {kind: _lasting(name) for kind, name in names.items()}
    try:
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        text = json.dumps({"schema": _SCHEMA, "kind": "studio", "chosen": kept}, indent=1)
        write_text(file, f"{text}\n", overwrite=True)
    except (OSError, FiringError) as error:
        return f"The choice is not kept for the next time: {error}"
    return ""


def _is_name(value: object) -> bool:
    return isinstance(value, str) and value.isprintable() and 0 < len(value) <= _LONGEST_NAME


def _lasting(name: str) -> str:
    """Return a name that means the same from every folder."""
    path = Path(name)
    return str(path.resolve()) if path.exists() else name


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What a forecast depends on besides the schedule."""

    started: datetime | None = None
    """When the program starts, with its time zone."""
    target_cone: str | None = None
    """Target cone."""
    unload_c: float = UNLOAD_C
    """The temperature the kiln is opened at [°C]."""
    equipment: Equipment = field(default_factory=Equipment)
    """The kiln, load, controller and tariff chosen."""


def forecast_plan(schedule: Schedule, circumstances: Circumstances) -> Forecast:
    """Return the forecast of a schedule under the circumstances chosen.

    Raises `FiringError` if it cannot be forecast.
    """
    equipment = circumstances.equipment
    result = forecast(
        schedule,
        started=circumstances.started,
        target_cone=circumstances.target_cone,
        unload_c=circumstances.unload_c,
        kiln=None if equipment.kiln is None else equipment.kiln.value,
        load=None if equipment.load is None else equipment.load.value,
        waits=equipment.controller is None or equipment.controller.value.waits,
    )
    if equipment.tariff is None or result.kiln is None or result.started is None:
        return result
    from firing.forecast.in_kiln import with_tariff

    return with_tariff(result, equipment.tariff.value, None, None)


def forecast_fitting(schedule: Schedule, circumstances: Circumstances) -> tuple[Forecast, str]:
    """Return the forecast, without a load that does not fit the plan, and why it was left out.

    Raises `FiringError` if it cannot be forecast without the load either.
    """
    try:
        return forecast_plan(schedule, circumstances), ""
    except FiringError as error:
        equipment = circumstances.equipment
        if equipment.load is None:
            raise
        bare = replace(circumstances, equipment=replace(equipment, load=None))
        return forecast_plan(schedule, bare), str(error)


def ranges_known(result: Forecast) -> bool:
    """Whether the ranges can be shown without a dozen simulations."""
    return result.kiln is None or result.kiln.ranges_known


def stages_known(result: Forecast) -> bool:
    """Whether what happens along it can be shown without loading all that is known of ware."""
    return "stages" in vars(result)


def plan_times(result: Forecast) -> Timekeeper:
    """Return the clock of a forecast, up to the latest opening as far as that is known."""
    if ranges_known(result):
        return forecast_times(result)
    return Timekeeper(result.started, max(result.total_s, result.program_s))
