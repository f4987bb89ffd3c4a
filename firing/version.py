"""The package's version, and that of the code and tables which derive figures from a log."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

__version__ = "0.2.0"
ROOMS = (
    "cones", "data", "fleet", "forecast", "heat", "kiln", "logbook", "logs", "review", "schedule",
    "thermocouple", "trace.py", "units.py", "ware",
)  # fmt: skip
"""What the figures of a reviewed log rest on."""


@lru_cache(maxsize=1)
def code_version() -> str:
    """Return the version with a hash of the modules and tables that a log's figures rest on."""
    import hashlib
    import os

    found = hashlib.sha256()
    for room in ROOMS:
        for name, path in _files_in(room, os.path.join(os.path.dirname(__file__), room)):
            with open(path, "rb") as file:
                found.update(name.encode() + file.read())
    return f"{__version__} {found.hexdigest()[:12]}"


def _files_in(name: str, path: str) -> Iterator[tuple[str, str]]:
    # By `os`, as a list of firings asks for this, and `importlib.resources` takes longer to load.
    import os

    if os.path.isfile(path):
        yield name, path
        return
    with os.scandir(path) as entries:
        inner = sorted((entry.name, entry.path, entry.is_dir()) for entry in entries)
    for name, path, folder in inner:
        if folder:
            yield from _files_in(name, path)
        elif name.endswith((".py", ".csv", ".toml")):
            yield name, path
