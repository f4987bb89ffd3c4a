"""What follows from a kiln or a load, in short words; every figure is the library's own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from firing.errors import FiringError
from firing.files.kinds import file_kind
from firing.report.sanitize import display_width, plain, wrap
from firing.schedule.schedule import Purpose
from firing.units import (
    ROOM_C,
    TemperatureUnit,
    format_duration,
    format_rate,
    format_temperature,
    in_unit,
    rate_to_celsius,
)

from .form_kinds import FormKind

_BETWEEN = " · "

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription
    from firing.ware.load import Load


def derived(kind: FormKind, value: Any) -> tuple[str, ...]:
    """Return what follows from what a form holds, part by part."""
    try:
        if kind == "kiln":
            parts = kiln_words(value)
        elif kind == "load":
            parts = load_words(value)
        else:
            parts = (file_kind(kind).described(value),)
    except FiringError as error:
        parts = (str(error),)
    unit: TemperatureUnit = getattr(value, "unit", "C")
    return tuple(plain(in_unit(part, unit)) for part in parts)


def kiln_words(kiln: KilnDescription) -> tuple[str, ...]:
    """Return how hot a kiln can stay, what it draws and what it loses.

    Refused if there is no temperature at which it comes to rest.
    """
    from firing.kiln.capability import highest_hold

    highest = highest_hold(kiln)
    by_tables = ", as far as its wall's tables go" if highest.by_tables else ""
    lines = " a line" if kiln.phases == 3 else ""
    return (
        f"Can hold {format_temperature(highest.temperature_c)} at most{by_tables}",
        f"full power, cold: {kiln.available_w / 1000.0:.3g} kW, {kiln.full_amps:.3g} A{lines}",
        _lost_words(kiln),
        f"wall {1000.0 * kiln.wall_m:g} mm",
    )


def _lost_words(kiln: KilnDescription) -> str:
    """Return what a degree costs, in watts by the degree of the kiln's owner."""
    a_degree = rate_to_celsius(1.0, kiln.unit)
    wall, air = kiln.wall_w_per_k * a_degree, kiln.air_w_per_k * a_degree
    unit = "K" if kiln.unit == "C" else "°F"
    return f"lost near 600 °C: wall {wall:.3g}, air {air:.3g} W/{unit}"


def load_words(load: Load) -> tuple[str, ...]:
    """Return what a load weighs, which piece governs it, and what limits its firing.

    Refused if its limits are not known.
    """
    from firing.ware.safe_rates import limits_for

    piece = load.thickest
    pieces = sum(each.count for each in load.pieces)
    furniture = "in proportion to the kiln"
    if load.furniture_kg is not None:
        furniture = f"{load.furniture_kg:g} kg"
    purpose: Purpose = "bisque" if load.has_bound_water else "glaze"
    limits = limits_for(load, purpose=purpose)
    words = [
        f"{pieces} {'piece' if pieces == 1 else 'pieces'}, {load.ware_kg:.4g} kg of ware",
        f"furniture {furniture}",
        f"slowest spot: {piece.words_of(piece.slowest_spot)}",
    ]
    if limits.advice is not None:
        return (*words, limits.advice.message)
    # A limit is straight between its knots, so the lowest of all stands at one of them.
    at_c = np.unique(np.concatenate([limit.knots_c for limit in limits.of("heating")]))
    at_c = at_c[at_c >= ROOM_C]
    slowest = limits.limit(float(at_c[int(np.argmin(limits.heating(at_c)))]))
    words.append(
        f"as a {purpose} slowest near {format_temperature(slowest.temperature_c)}: "
        f"{format_rate(slowest.rate_c_per_h)}, {slowest.reason}"
    )
    if limits.dwells:
        longest = max(limits.dwells, key=lambda dwell: dwell.at_least_s)
        low, high = longest.window_c
        words.append(
            f"at least {format_duration(longest.at_least_s)} from {low:.0f} to {high:.0f} °C, "
            f"{longest.reason}"
        )
    return tuple(words)


def flowing(parts: Sequence[str], room: int) -> list[str]:
    """Put parts on as few lines as hold them, each part whole if a line can hold it."""
    lines: list[str] = []
    for part in parts:
        if lines and display_width(lines[-1]) + len(_BETWEEN) + display_width(part) <= room:
            lines[-1] += _BETWEEN + part
        else:
            lines += wrap(part, room)
    return lines
