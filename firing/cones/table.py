"""The published table of pyrometric cones: which cones are made, and where they end.

Every figure is a cell of the cone maker's temperature-equivalents chart (source
``cone-chart-1996``): the temperature at which a cone has bent to its end point when it is heated at
a steady rate over the last 100 °C.  An older edition still circulates with other figures; the two
are never mixed here.
"""

import csv
import re
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from typing import Literal, get_args

from firing.errors import FiringError

ConeType = Literal[
    "self_supporting",
    "large",
    "iron_free_self_supporting",
    "iron_free_large",
    "small",
]
Quality = Literal["good", "doubtful", "exclude"]

CONE_TYPES: tuple[ConeType, ...] = get_args(ConeType)

#: Every cone of the chart from the coldest to the hottest, in its printed spelling.
CONES: tuple[str, ...] = (
    *(f"0{number:d}" for number in range(22, 5, -1)),
    *("05.5", "05", "04", "03", "02", "01"),
    *("1", "2", "3", "4", "5", "5.5"),
    *(f"{number:d}" for number in range(6, 15)),
)

_SPELLING = (
    r"(?:cones?\b|cone(?=[0-9^Δ∆△]))?\s*[\^Δ∆△]?\s*([0-9]+)(?:[.,]([0-9]+)|\s*(½|1/2)|\s+(1/2))?"
)


@dataclass(frozen=True)
class EndPoint:
    """One cell of the chart."""

    cone: str  # the cone in its printed spelling
    type: ConeType  # one of `CONE_TYPES`
    heating_rate_c_per_h: float  # steady heating rate of the last 100 °C [°C/h]
    # The printed end point [°C] and [°F].
    end_point_c: float
    end_point_f: float
    # ``doubtful`` cells are not extrapolated, ``exclude`` cells enter no calculation.
    quality: Quality
    note: str  # why the cell is not ``good``; empty otherwise
    source: str  # entry of the bibliography


def _running_number(name: str) -> float:
    return 1.0 - float(name) if name.startswith("0") else float(name)


_LONGEST_NAME = 60


@lru_cache(maxsize=512)
def cone_number(name: str) -> float:
    """Return a cone's running number: 022 is −21, 02 is −1, 01 is 0, 1 is 1, 5.5 is 5.5.

    For comparison and interpolation only.
    """
    return _running_number(parse_cone(name))


def parse_cone(text: str) -> str:
    """Read a cone as people write it: ``6``, ``06``, ``cone 6``, ``^6``, ``Δ6``, ``5 1/2``, ``5½``.

    The leading zero is part of the number: 06 is some 220 °C colder than 6.
    """
    if not isinstance(text, str):
        raise FiringError(f'{text!r:.40} is no cone; cones are names, so write it as text: "6"')
    if len(text) > _LONGEST_NAME:
        raise FiringError(f'"{text[:_LONGEST_NAME]}…" is not a cone; write one from 022 to 14')
    stripped = text.strip()
    if stripped in CONES:
        return stripped
    if not stripped:
        raise FiringError("no cone is named; write one from 022 to 14, such as 6 or 06")
    match = re.fullmatch(_SPELLING, stripped, re.IGNORECASE)
    if match is None and re.match(r"(?i)(sk|seger)[\s\d]", stripped):
        raise FiringError(
            f'"{text}" is a Seger cone: its series print no heating rate, so only its end points '
            "are known, see 'firing cone \"SK 6a\"'; write a cone from 022 to 14, such as 6 or 06"
        )
    if match is None:
        zeros = re.sub(r"o(?=[0-9o])", "0", stripped.lower())
        meant = f'did you mean "{zeros}"? ' if zeros in CONES else ""
        raise FiringError(
            f'"{text}" is not a cone; {meant}write one from 022 to 14, such as 6, 06 or 5.5'
        )
    whole, decimals = match[1], match[2]
    fraction = ".5" if match[3] or match[4] else f".{decimals}" if decimals else ""
    if decimals and not decimals.strip("0"):
        bare = whole.lstrip("0")
        raise FiringError(
            f'"{text}" leaves open which cone is meant, as cones are names and not decimals; '
            f"write {bare or '1'}, or 0{bare or '1'} for the colder cone of the zero series"
        )
    name = whole + fraction.rstrip("0")
    if name in CONES:
        return name
    raise FiringError(f"cone {whole}{fraction} is not made; {_nearest(name)}")


def _nearest(name: str) -> str:
    """Say which cones stand beside a number that is not made."""
    if re.fullmatch(r"00+[1-9].*", name):
        bare = name.lstrip("0")
        candidates = [spelling for spelling in (f"0{bare}", bare) if spelling in CONES]
        if candidates:
            return f"write {' or '.join(candidates)}"
    number = _running_number(name) if name.strip("0") else 0.5
    below = [cone for cone in CONES if _running_number(cone) <= number]
    above = [cone for cone in CONES if _running_number(cone) >= number]
    if not below:
        return f"the coldest is {CONES[0]}"
    if not above:
        return f"the hottest is {CONES[-1]}"
    return f"the nearest are {below[-1]} and {above[0]}"


@cache
def _rows() -> tuple[EndPoint, ...]:
    path = Path(__file__).parent.parent / "data" / "cone_end_points.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    return tuple(_end_point(row) for row in csv.DictReader(lines))


def _end_point(row: dict[str, str]) -> EndPoint:
    types: dict[str, ConeType] = {name: name for name in CONE_TYPES}
    qualities: dict[str, Quality] = {name: name for name in get_args(Quality)}
    return EndPoint(
        cone=row["cone"],
        type=types[row["type"]],
        heating_rate_c_per_h=float(row["heating_rate_c_per_h"]),
        end_point_c=float(row["end_point_c"]),
        end_point_f=float(row["end_point_f"]),
        quality=qualities[row["quality"]],
        note=row["note"],
        source=row["source"],
    )


def parse_chart_type(text: str) -> str:
    """Return a type as the chart's table has it; hyphens, blanks and underscores are alike."""
    name = "_".join(text.casefold().replace("-", " ").replace("_", " ").split())
    name = {"iron_free": "iron_free_self_supporting", "regular": "self_supporting"}.get(name, name)
    if name in CONE_TYPES:
        return name
    words = ", ".join(one.replace("_", " ") for one in CONE_TYPES)
    raise FiringError(f'"{text}" is not a type of cone; write one of {words}')


def end_points(cone: str | None = None, type: str | None = None) -> tuple[EndPoint, ...]:
    """Return cells of the chart (source ``cone-chart-1996``), from the coldest cone to the hottest.

    There are none where a cone is not made in a type.
    """
    if type is not None and type not in CONE_TYPES:
        raise FiringError(f'"{type}" is not a type of cone; write one of {", ".join(CONE_TYPES)}')
    name = None if cone is None else parse_cone(cone)
    return tuple(
        row
        for row in _rows()
        if (name is None or row.cone == name) and (type is None or row.type == type)
    )


def describe_number(number: float | None) -> str:
    """Return a running cone number as people say cones.

    Tenths exist above cone 1 only, where names run like numbers; in the zero series, whose names
    run backwards, the two neighbours are named instead.  None stands for less than the coldest
    cone.
    """
    if number is None:
        return "below the coldest cone"
    if number >= 1.0:
        return f"{number:.1f}".removesuffix(".0")
    numbers = [cone_number(cone) for cone in CONES]
    nearest = nearest_cone(number)
    if abs(cone_number(nearest) - number) < 0.05:
        return nearest
    above = next(i for i, value in enumerate(numbers) if value > number)
    if above == 0:
        return f"below {CONES[0]}"
    return f"{CONES[above - 1]}–{CONES[above]}, nearer {nearest}"


def nearest_cone(number: float) -> str:
    """Return the cone whose running number comes nearest."""
    return min(CONES, key=lambda cone: abs(cone_number(cone) - number))


def describe_range(low: float | None, high: float | None) -> str:
    """Return a range of running cone numbers as people say cones: ``7 to 7.7``.

    In the zero series the whole cones around it are named: ``between 010 and 09``.  None stands for
    less than the coldest cone.
    """
    if high is None:
        return describe_number(None)
    if low is not None and low >= 1.0:
        first, last = describe_number(low), describe_number(high)
        return first if first == last else f"{first} to {last}"
    numbers = [cone_number(cone) for cone in CONES]
    above = next((i for i, value in enumerate(numbers) if value > high - 0.05), len(CONES) - 1)
    upper = describe_number(high) if high >= 1.0 else CONES[above]
    if low is None or low < numbers[0] - 0.05:
        return f"{upper} at most"
    lower = CONES[max(i for i, value in enumerate(numbers) if value < low + 0.05)]
    return lower if lower == upper else f"between {lower} and {upper}"
