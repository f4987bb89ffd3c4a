"""The last choice of kiln, load, controller and tariff, by name, for the next time."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from firing.errors import FiringError
from firing.files.tomlfile import write_text

from .equipment import KINDS, Kind

_SCHEMA = 1
_LONGEST_NAME = 4096


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
