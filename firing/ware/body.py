"""The clay bodies a load may name, and what is known of each by temperature and state.

Every figure is a row of ``data/ware_bodies.csv`` with its range and its source.
"""

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import Literal, cast, get_args

import numpy as np

from firing.errors import FiringError
from firing.trace import FloatArray
from firing.ware.load import BODIES

State = Literal["raw", "bisqued", "glazed"]
"""Never fired; fired once and porous; fired to maturity."""

PropertyName = Literal[
    "diffusivity",
    "strength",
    "strength excess of laboratory bars",
    "modulus",
    "expansion",
    "Poisson ratio",
    "quartz",
    "cristobalite",
    "carbon",
    "clay",
    "bound water",
    "late bound water",
    "gas diffusivity",
    "moisture diffusivity",
]
PROPERTY_NAMES: tuple[PropertyName, ...] = get_args(PropertyName)

EVERY_BODY = "every body"


@dataclass(frozen=True, slots=True)
class Property:
    """One property of a body in one state.

    Between `temperatures_c`, rising, it is linear; a single one is a constant, and the first and
    last value are taken to hold at every temperature that the limits answer for.  `low` and `high`
    are its range, `sources` ids of the bibliography, one a temperature.
    """

    unit: str
    temperatures_c: tuple[float, ...]
    values: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    sources: tuple[str, ...]

    @property
    def value(self) -> float:
        """The first, or only, value."""
        return self.values[0]

    def at(self, temperature_c: FloatArray) -> FloatArray:
        """Return the values at temperatures [°C], same shape."""
        return np.interp(temperature_c, self.temperatures_c, self.values)

    def spread_at(self, temperature_c: float) -> tuple[float, float]:
        """Return the lowest and highest figure over the one used, near a temperature [°C]."""
        nearest = int(np.argmin([abs(known - temperature_c) for known in self.temperatures_c]))
        value = self.values[nearest]
        return self.low[nearest] / value, self.high[nearest] / value


@dataclass(frozen=True, eq=False)
class Body:
    """One clay body: its trade name and its properties by name and state."""

    name: str
    properties: Mapping[tuple[PropertyName, State], Property]

    def of(self, name: PropertyName, state: State) -> Property:
        """Return one property."""
        found = self.properties.get((name, state))
        if found is None:
            raise FiringError(f'nothing is known of the {name} of {state} "{self.name}"')
        return found

    def share(self, name: PropertyName, state: State) -> float:
        """Return a share of the dry mass; 0 where the state has none of it."""
        found = self.properties.get((name, state))
        return 0.0 if found is None else found.value


@cache
def _bodies() -> dict[str, Body]:
    text = (Path(__file__).parent.parent / "data" / "ware_bodies.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    found: dict[str, Body] = {}
    for name in BODIES:
        groups: dict[tuple[PropertyName, State], list[dict[str, str]]] = {}
        for row in rows:
            if row["body"] in (name, EVERY_BODY):
                key = (cast(PropertyName, row["property"]), cast(State, row["state"]))
                groups.setdefault(key, []).append(row)
        found[name] = Body(name, {key: _property(group) for key, group in groups.items()})
    return found


def _property(rows: list[dict[str, str]]) -> Property:
    rows = sorted(rows, key=lambda row: float(row["temperature_c"]))

    def column(key: str) -> tuple[float, ...]:
        return tuple(float(row[key]) for row in rows)

    return Property(
        unit=rows[0]["unit"],
        temperatures_c=column("temperature_c"),
        values=column("value"),
        low=column("low"),
        high=column("high"),
        sources=tuple(row["source"] for row in rows),
    )


def body_named(name: str) -> Body:
    """Return a clay body by its trade name, one of `firing.ware.load.BODIES`."""
    body = _bodies().get(name)
    if body is None:
        close = get_close_matches(name, BODIES, n=1, cutoff=0.5)
        hint = f'did you mean "{close[0]}"?' if close else f"write one of: {'; '.join(BODIES)}"
        raise FiringError(f'there is no body "{name}"; {hint}')
    return body
