"""The package's version, and that of the code and tables which derive figures from a log."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from importlib.resources.abc import Traversable

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
    from importlib.resources import files

    found = hashlib.sha256()
    for room in ROOMS:
        for path in _files_in(files("firing").joinpath(room)):
            found.update(path.name.encode() + path.read_bytes())
    return f"{__version__} {found.hexdigest()[:12]}"


def _files_in(place: Traversable) -> Iterator[Traversable]:
    if place.is_file():
        yield place
        return
    for inner in sorted(place.iterdir(), key=lambda one: one.name):
        if inner.is_dir() or inner.name.endswith((".py", ".csv", ".toml")):
            yield from _files_in(inner)
