"""Where files lie: a folder's schedules, logs, kilns and so on, and what comes ready."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from firing.errors import FiringError
from firing.files.kinds import example_names, kind_of, kind_of_text, ready_names, ready_text
from firing.schedule.file import parse_schedule

from .equipment import KINDS, Kind

WantedFile = Literal["schedule", "log", "source"] | Kind

_ENDINGS: dict[WantedFile, frozenset[str]] = {
    "schedule": frozenset({".toml"}),
    "log": frozenset({".csv", ".txt", ".tsv", ".log", ".dat", ".asc"}),
    "source": frozenset({".toml"}),
    **dict.fromkeys(KINDS, frozenset({".toml"})),
}


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing to open."""

    words: str
    note: str = ""
    """What it is called, and what it is."""
    path: Path | None = None
    """The file or folder."""
    ready: str = ""
    """The name of a ready schedule or an example instead."""
    folder: bool = False
    new: bool = False
    """Whether it is a folder to go into; whether it is a new plan."""


def choices(folder: Path, wanted: WantedFile) -> list[Choice]:
    """Return what a folder holds of what is wanted, its folders first; hidden ones left out.

    Raises `FiringError` if the folder cannot be listed.
    """
    try:
        inside = sorted(folder.iterdir(), key=lambda path: path.name.casefold())
    except OSError as error:
        raise FiringError(f"{folder}: cannot be listed: {error.strerror}") from None
    found: list[Choice] = []
    if folder.parent != folder:
        found.append(Choice("..", "the folder above", folder.parent, folder=True))
    shown = [path for path in inside if not path.name.startswith(".")]
    found += [Choice(f"{p.name}/", "folder", p, folder=True) for p in shown if p.is_dir()]
    found += [
        Choice(path.name, "", path)
        for path in shown
        if path.suffix.casefold() in _ENDINGS[wanted] and not path.is_dir() and _fits(path, wanted)
    ]
    return found


def _fits(path: Path, wanted: WantedFile) -> bool:
    """Whether a file is of the kind wanted; one of no known kind may be a schedule being begun."""
    if wanted == "log":
        return True
    return kind_of(path) in ((wanted, None) if wanted == "schedule" else (wanted,))


def ready_choices(wanted: WantedFile = "schedule") -> list[Choice]:
    """Return what comes ready: a new plan and schedules with their titles, or examples."""
    if wanted == "log":
        return []
    if wanted != "schedule":
        names = [name for name in example_names() if kind_of_text(ready_text(name)) == wanted]
        return [Choice(name, "", ready=name) for name in names]
    found = [Choice("New plan", "one slow rise, to be changed", new=True)]
    for name in ready_names():
        title = parse_schedule(ready_text(name), name).title
        found.append(Choice(title, name, ready=name))
    return found


def matching(found: list[Choice], typed: str) -> list[Choice]:
    """Return the choices whose name or note holds every word typed."""
    words = typed.casefold().split()
    return [
        choice
        for choice in found
        if all(word in f"{choice.words} {choice.note}".casefold() for word in words)
    ]


def typed_path(typed: str, folder: Path) -> Path:
    """Return the path meant by what was typed, seen from `folder`; ``~`` is the home folder."""
    path = Path(typed.strip())
    try:
        path = path.expanduser()
    except RuntimeError:
        return folder / path
    return folder / path
