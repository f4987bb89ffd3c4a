"""A temperature chart as an SVG that needs no script: lines between labelled axes.

Nothing in it has a style of its own, so that a page's content policy may forbid them; the page's
sheet colours the classes.  It is drawn for the width of a phone, and grows with its place.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from datetime import datetime

import numpy as np

from firing.report.charts.figure import decimate
from firing.report.charts.text_chart import (
    ChartSeries,
    round_values,
    temperatures_in,
    time_marks,
)
from firing.report.sanitize import plain
from firing.trace import FloatArray
from firing.units import TemperatureUnit, from_celsius

WIDTH, HEIGHT = 360.0, 230.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 34.0, 6.0, 16.0, 20.0
_MOST_POINTS = 240
"""Points of a line; more cannot be told apart on a phone."""
_MOST_MARKS, _MOST_VALUES = 5, 6


def render_svg(
    series: Sequence[ChartSeries],
    label: str,
    *,
    unit: TemperatureUnit = "C",
    started: datetime | None = None,
    now_s: float | None = None,
) -> str:
    """Draw temperatures over time, later lines on top; empty where there is nothing to draw.

    `label` is what the drawing shows, in words.  A line's class is its style; `now_s` is marked.
    """
    drawn = [line for line in series if np.any(np.isfinite(line.temperature_c))]
    if not drawn:
        return ""
    from_s = min(float(line.time_s[0]) for line in drawn)
    to_s = max(from_s + 60.0, *(float(line.time_s[-1]) for line in drawn))
    found = [temperatures_in(line.temperature_c, unit) for line in drawn]
    low = min(from_celsius(0.0, unit), *(float(np.nanmin(values)) for values in found))
    high = max(float(np.nanmax(values)) for values in found)
    ticks = round_values(low, high, _MOST_VALUES)
    bottom, top = min(ticks[0], low), max(ticks[-1], high, low + 1.0)

    def x(at_s: float | FloatArray) -> FloatArray:
        inner = WIDTH - _LEFT - _RIGHT
        return np.asarray(_LEFT + (np.asarray(at_s) - from_s) / (to_s - from_s) * inner)

    def y(value: float | FloatArray) -> FloatArray:
        inner = HEIGHT - _TOP - _BOTTOM
        return np.asarray(_TOP + (top - np.asarray(value)) / (top - bottom) * inner)

    parts = [
        f'<svg viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" aria-label="{_escaped(label)}">',
        f'<text class="unit" x="{_LEFT - 4:g}" y="9">°{unit}</text>',
    ]
    for value in ticks:
        at = float(y(value))
        parts.append(f'<path class="grid" d="M{_LEFT:g} {at:.1f}H{WIDTH - _RIGHT:g}"/>')
        parts.append(f'<text class="value" x="{_LEFT - 4:g}" y="{at + 3.5:.1f}">{value:.0f}</text>')
    for at_s, words in time_marks(from_s, to_s, _MOST_MARKS, started):
        at = float(x(at_s))
        parts.append(f'<path class="grid" d="M{at:.1f} {_TOP:g}V{HEIGHT - _BOTTOM:g}"/>')
        anchor = "end" if at > WIDTH - 24.0 else "middle"
        parts.append(
            f'<text class="time" text-anchor="{anchor}" x="{at:.1f}" y="{HEIGHT - 6:g}">'
            f"{_escaped(words)}</text>"
        )
    for line, values in zip(drawn, found, strict=True):
        time_s, shown = decimate(line.time_s, values, _MOST_POINTS)
        name = _escaped(line.style)
        parts.append(f'<path class="line {name}" d="{_path(x(time_s), y(shown))}"/>')
    if now_s is not None and from_s <= now_s <= to_s:
        at = float(x(now_s))
        parts.append(f'<path class="now" d="M{at:.1f} {_TOP:g}V{HEIGHT - _BOTTOM:g}"/>')
    parts.append("</svg>")
    return "".join(parts)


def _path(x: FloatArray, y: FloatArray) -> str:
    """Return a line through points, lifted over those that are NaN."""
    steps, down = [], False
    for across, along in zip(x.tolist(), y.tolist(), strict=True):
        if along != along:
            down = False
            continue
        steps.append(f"{'L' if down else 'M'}{across:.1f} {along:.1f}")
        down = True
    return "".join(steps)


def _escaped(words: str) -> str:
    return html.escape(plain(words), quote=True)
