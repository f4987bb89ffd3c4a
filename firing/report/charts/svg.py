"""A page's drawings as static SVG, from the same description that the interactive page uses.

A drawing is made twice, for a wide screen and for a phone, so that its letters keep their size; the
page's style shows one of the two.  Colours are the page's variables, with a value of their own
where no page is around them.
"""

from __future__ import annotations

import html
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from firing.report.charts import figure as fig
from firing.report.charts.figure import Drawing, Spec, decimate
from firing.report.document import Panel, Panels
from firing.report.sanitize import plain
from firing.trace import FloatArray

WIDE_PX, NARROW_PX = 860, 350
_HEATING_SHARE = 0.72
"""How much of the width heating takes, where a drawing says when the cooling begins."""
_FONT_PX = 13
_LETTER_PX = 6.6
_POINTS_PER_PX = 1.5
_DASHES = {
    "solid": "",
    "dash": "8 5",
    "dot": "2 4",
    "dashdot": "9 4 2 4",
    "longdash": "20 5",
    "longdashdot": "20 4 2 4",
    fig.DASH_DOT_DOT: fig.DASH_DOT_DOT.replace("px,", " ").removesuffix("px"),
}
_NAMES = {
    fig.BLUE: "blue",
    fig.VERMILLION: "vermillion",
    fig.GREEN: "green",
    fig.ORANGE: "orange",
    fig.PURPLE: "purple",
    fig.SKY: "sky",
    fig.GREY: "grey",
}
_HOUR_STEPS = (1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 24.0, 48.0, 96.0)
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def svg_pair(drawing: Drawing) -> str:
    """Return a drawing as two SVG elements, for a wide screen and for a narrow one."""
    return (
        f'<div class="on-wide">{svg(drawing, WIDE_PX)}</div>'
        f'<div class="on-narrow">{svg(drawing, NARROW_PX)}</div>'
    )


def svg(drawing: Drawing, width_px: int = WIDE_PX) -> str:
    """Return a drawing as one SVG element of that width."""
    return _Canvas(drawing, width_px).element()


@dataclass(frozen=True, slots=True)
class _Scale:
    """A straight scale, or one of two straight parts: the heating large and the cooling small."""

    low: float
    high: float
    from_px: float
    to_px: float
    bend: float | None = None

    def at(self, value: Any) -> Any:
        """Return the place of a value, or of many [px]."""
        span_px = self.to_px - self.from_px
        if self.bend is None:
            return self.from_px + (value - self.low) / (self.high - self.low) * span_px
        bend_px = self.from_px + _HEATING_SHARE * span_px
        return np.where(
            value <= self.bend,
            self.from_px + (value - self.low) / (self.bend - self.low) * (bend_px - self.from_px),
            bend_px + (value - self.bend) / (self.high - self.bend) * (self.to_px - bend_px),
        )


class _Canvas:
    """One drawing on its way to SVG: its scales, and the pieces so far."""

    def __init__(self, drawing: Drawing, width_px: int) -> None:
        self.drawing = drawing
        self.layout: Spec = drawing.figure["layout"]
        self.data: list[Spec] = drawing.figure["data"]
        self.width = float(width_px)
        self.narrow = width_px < 600
        self.bars = [trace for trace in self.data if trace["type"] == "bar"]
        self.lines = [trace for trace in self.data if trace["type"] == "scatter"]
        self.categories: list[str] = self.layout["yaxis"].get("categoryarray", [])
        self.pieces: list[str] = []
        named = [t for t in self.lines if t.get("showlegend", True) and t.get("name")]
        self.legend = [] if self.layout.get("showlegend") is False else named
        self.height = float(drawing.height_px) * (0.82 if self.narrow else 0.86)
        longest = max((len(w) for c in self.categories for w in c.split("<br>")), default=0)
        left = min(16 + longest * _LETTER_PX, 0.55 * self.width) if self.bars else 58.0
        if any("title" in a and a["title"]["text"] for a in self._y_axes()) and not self.bars:
            left += 14.0
        self.top = 30.0 + 20.0 * len(self._legend_rows(left))
        bottom = 46.0 if not self._dated() else 52.0
        self.box = (left, self.top, self.width - 12.0, self.height - bottom)
        self.x = self._x_scale()
        self.y = {name: self._y_scale(name) for name in ("yaxis", "yaxis2") if name in self.layout}

    def element(self) -> str:
        """Return the SVG element."""
        for name in self.y:
            self._y_axis(name)
        self._x_axis()
        below = [s for s in self.layout.get("shapes", ()) if s.get("layer") == "below"]
        for shape in [*below, *(s for s in self.layout.get("shapes", ()) if s not in below)]:
            self._shape(shape)
        for trace in self.bars:
            self._bar(trace)
        for trace in reversed(self.lines):
            self._line(trace)
        for note in self.layout.get("annotations", ()):
            self._note(note)
        self._legend()
        words = html.escape(plain(self.drawing.caption), quote=True)
        return (
            f'<svg class="drawing" viewBox="0 0 {self.width:g} {self.height:.0f}" role="img" '
            f'aria-label="{words}" font-size="{_FONT_PX}" '
            f'xmlns="http://www.w3.org/2000/svg">{"".join(self.pieces)}</svg>'
        )

    # -- scales ---------------------------------------------------------------------------------

    def _dated(self) -> bool:
        return bool(self.layout["xaxis"].get("type") == "date")

    def _y_axes(self) -> list[Spec]:
        return [self.layout[name] for name in ("yaxis", "yaxis2") if name in self.layout]

    def _xs(self, places: Sequence[Any]) -> FloatArray:
        """Return places along x as numbers: hours, or hours since 1970 on the clock."""
        if self._dated():
            return np.array(places, dtype="datetime64[s]").astype(np.float64) / 3600.0
        return np.array(places, dtype=np.float64)

    def _x_scale(self) -> _Scale:
        axis = self.layout["xaxis"]
        left, _, right, _ = self.box
        if "range" in axis:
            low, high = (float(v) for v in self._xs(axis["range"]))
        elif self.bars:
            ends = [self._bar_ends(trace) for trace in self.bars]
            low = min((float(e.min()) for e in ends if e.size), default=0.0)
            high = max((float(e.max()) for e in ends if e.size), default=1.0)
        else:
            every = [self._xs(trace["x"]) for trace in self.lines if len(trace["x"])]
            low = min((float(x.min()) for x in every), default=0.0)
            high = max((float(x.max()) for x in every), default=1.0)
        high = max(high, low + 1e-6)
        bend = self.layout.get("meta", {}).get("cooling_from")
        at = None if bend is None else float(self._xs([bend])[0])
        # Where the cooling is the smaller part anyway, the scale is straight.
        if at is not None and not (low < at < low + _HEATING_SHARE * (high - low)):
            at = None
        return _Scale(low, high, left, right, at)

    def _y_scale(self, name: str) -> _Scale:
        axis = self.layout[name]
        _, top, _, bottom = self.box
        foot, head = axis.get("domain", (0.0, 1.0))
        from_px, to_px = bottom - foot * (bottom - top), bottom - head * (bottom - top)
        if self.categories:
            return _Scale(len(self.categories) - 0.5, -0.5, bottom, top)
        if "range" in axis:
            low, high = axis["range"]
            return _Scale(low, high, from_px, to_px)
        wanted = "y" if name == "yaxis" else "y2"
        values = [
            np.array(t["y"], dtype=np.float64)
            for t in self.lines
            if t.get("yaxis", "y") == wanted and len(t["y"])
        ]
        finite = [v[np.isfinite(v)] for v in values]
        low = min((float(v.min()) for v in finite if v.size), default=0.0)
        high = max((float(v.max()) for v in finite if v.size), default=1.0)
        if axis.get("rangemode") == "tozero" or axis.get("zeroline"):
            low, high = min(low, 0.0), max(high, 0.0)
        pad = 0.05 * max(high - low, 1.0)
        low = low if axis.get("rangemode") == "tozero" and low >= 0.0 else low - pad
        return _Scale(low, high + pad, from_px, to_px)

    # -- axes -----------------------------------------------------------------------------------

    def _text(self, x: float, y: float, words: str, anchor: str = "middle", more: str = "") -> None:
        lines = words.split("<br>")
        if len(lines) == 1:
            inner = html.escape(_unmarked(words))
        else:
            inner = "".join(
                f'<tspan x="{x:.1f}" dy="{15 if n else 0}">{html.escape(_unmarked(part))}</tspan>'
                for n, part in enumerate(lines)
            )
        place = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"'
        self.pieces.append(f"<text {place}{more}>{inner}</text>")

    def _rule(self, x0: float, y0: float, x1: float, y1: float, kind: str) -> None:
        self.pieces.append(
            f'<path class="{kind}" d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" '
            f'stroke="var(--{kind}, #d0c8bc)" fill="none"/>'
        )

    def _y_axis(self, name: str) -> None:
        axis, scale = self.layout[name], self.y[name]
        left, _, right, _ = self.box
        if self.categories:
            for number, words in enumerate(self.categories):
                rows = words.split("<br>")
                self._text(left - 8, scale.at(number) + 4 - 7.5 * (len(rows) - 1), words, "end")
            return
        count = max(int(abs(scale.from_px - scale.to_px) / 30.0), 2)
        for value in _ticks(scale.low, scale.high, count, axis.get("dtick")):
            y = float(scale.at(value))
            self._rule(left, y, right, y, "grid")
            self._text(left - 7, y + 4, _number(value), "end")
        words = axis.get("title", {}).get("text", "")
        if words:
            # Turned about its own foot; further lines come to the right of the first.
            middle, x = 0.5 * (scale.from_px + scale.to_px), 12.0
            turned = f' transform="rotate(-90 {x:.1f} {middle:.1f})"'
            self._text(x, middle, words, "middle", turned)

    def _x_axis(self) -> None:
        left, _, right, bottom = self.box
        scale = self.x
        self._rule(left, bottom, right, bottom, "grid")
        room = (right - left) / (62.0 if self._dated() else 54.0)
        spans = [(scale.low, scale.high, max(int(room), 2))]
        if scale.bend is not None:
            heating, cooling = _HEATING_SHARE * room, (1.0 - _HEATING_SHARE) * room
            spans = [
                (scale.low, scale.bend, max(int(heating), 2)),
                (scale.bend, scale.high, max(int(cooling), 1)),
            ]
            bend_px = float(scale.at(scale.bend))
            self._rule(bend_px, self.top, bend_px, bottom, "bend")
            words = "" if self.narrow else "cooling, drawn smaller"
            self._text(bend_px + 5, self.top + 12, words, "start", ' class="aside"')
        last_px = -math.inf
        for low, high, count in spans:
            for value in self._x_ticks(low, high, count):
                x = float(scale.at(value))
                if x - last_px < 40.0 or x > right - 4.0:
                    continue
                last_px = x
                self._rule(x, bottom, x, bottom + 5, "grid")
                self._text(x, bottom + 19, self._x_words(value))
        words = self.layout["xaxis"].get("title", {}).get("text", "")
        if words:
            self._text(0.5 * (left + right), self.height - 8, words)

    def _x_ticks(self, low: float, high: float, count: int) -> list[float]:
        if not self._dated():
            return _ticks(low, high, count)
        step = next((s for s in _HOUR_STEPS if (high - low) / s <= count), 168.0)
        first = math.ceil(low / step) * step
        return [first + n * step for n in range(int((high - first) / step) + 1)]

    def _x_words(self, value: float) -> str:
        if not self._dated():
            return _number(value)
        moment = datetime(1970, 1, 1) + timedelta(hours=value)
        return f"{moment:%H:%M}<br>{_WEEKDAYS[moment.weekday()]}"

    # -- what is drawn --------------------------------------------------------------------------

    def _line(self, trace: Spec) -> None:
        scale = self.y["yaxis2" if trace.get("yaxis") == "y2" else "yaxis"]
        x, y = self._xs(trace["x"]), np.array(trace["y"], dtype=np.float64)
        if trace.get("mode") == "markers":
            self._markers(trace, self.x.at(x), scale.at(y))
            return
        x, y = decimate(x, y, int(_POINTS_PER_PX * self.width))
        inside = (x >= self.x.low) & (x <= self.x.high)
        x_px, y_px = np.asarray(self.x.at(x)), np.asarray(scale.at(y))
        parts, down = [], False
        for i in range(x.size):
            if not (inside[i] and math.isfinite(y_px[i])):
                down = False
                continue
            parts.append(f"{'L' if down else 'M'}{x_px[i]:.1f} {y_px[i]:.1f}")
            down = True
        style = trace["line"]
        self.pieces.append(
            f'<path class="line" d="{"".join(parts)}" fill="none" {_stroke(style)} '
            'stroke-linejoin="round"/>'
        )

    def _markers(self, trace: Spec, x_px: FloatArray, y_px: FloatArray) -> None:
        for x, y, words in zip(x_px, y_px, trace.get("text", [""] * len(x_px)), strict=True):
            title = f"<title>{html.escape(_unmarked(words))}</title>" if words else ""
            self.pieces.append(
                f'<path d="M{x:.1f} {y - 7:.1f}l7 7l-7 7l-7-7z" '
                f'fill="{_colour(trace["marker"]["color"])}">{title}</path>'
            )

    def _bar_ends(self, trace: Spec) -> FloatArray:
        return np.array([0.0, *trace["x"]], dtype=np.float64)

    def _bar(self, trace: Spec) -> None:
        colour = _colour(trace["marker"]["color"])
        pale = bool(trace["marker"].get("pattern", {}).get("shape"))
        opacity = "0.45" if pale else "1"
        for size, name in zip(trace["x"], trace["y"], strict=True):
            x0, x1 = sorted(float(self.x.at(v)) for v in (0.0, size))
            middle = float(self.y["yaxis"].at(self.categories.index(name)))
            half = 9.0
            self.pieces.append(
                f'<rect class="bar" x="{x0:.1f}" y="{middle - half:.1f}" '
                f'width="{max(x1 - x0, 1.0):.1f}" height="{2 * half:g}" fill="{colour}"'
                f' fill-opacity="{opacity}" stroke="{colour}"/>'
            )

    def _place(self, at: Any, ref: str, name: str) -> float:
        left, top, right, bottom = self.box
        if ref == "paper":
            return float(
                left + at * (right - left) if name == "x" else bottom - at * (bottom - top)
            )
        if name == "x":
            return float(self.x.at(self._xs([at]))[0]) if not self.bars else float(self.x.at(at))
        return float(self.y["yaxis"].at(at))

    def _shape(self, shape: Spec) -> None:
        refs = {name: shape.get(f"{name}ref", name) for name in "xy"}
        x0, x1 = (self._place(shape[k], refs["x"], "x") for k in ("x0", "x1"))
        y0, y1 = (self._place(shape[k], refs["y"], "y") for k in ("y0", "y1"))
        if shape["type"] == "line":
            self.pieces.append(
                f'<path class="mark" d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" fill="none" '
                f"{_stroke(shape['line'])}/>"
            )
        else:
            self.pieces.append(
                f'<rect class="band" x="{min(x0, x1):.1f}" y="{min(y0, y1):.1f}" '
                f'width="{abs(x1 - x0):.1f}" height="{abs(y1 - y0):.1f}" '
                f'fill="{_colour(shape["fillcolor"])}" fill-opacity="{shape.get("opacity", 1)}"/>'
            )

    def _note(self, note: Spec) -> None:
        x = self._place(note["x"], note.get("xref", "x"), "x")
        y = self._place(note["y"], note.get("yref", "y"), "y")
        words = str(note["text"])
        if note.get("showarrow"):
            self._pointed(x, y, note, words)
            return
        anchor = {"left": "start", "right": "end"}.get(note.get("xanchor", ""), "middle")
        x += note.get("xshift", 0.0)
        raised = 4.0 if note.get("yanchor") == "bottom" else -4.0
        self._text(x, y - raised - note.get("yshift", 0.0), words, anchor, ' class="halo"')

    def _pointed(self, x: float, y: float, note: Spec, words: str) -> None:
        """Draw words beside a curve with a line to their place on it."""
        _, _, right, bottom = self.box
        if self.narrow:
            words = words.split(" ", 1)[0]
        to_x, to_y = x + note["ax"], min(y + note["ay"], bottom - 8.0)
        length = _LETTER_PX * len(words)
        anchor = "start"
        if to_x + length > right:
            to_x, anchor = (x - note["ax"], "end") if x - note["ax"] > length else (right, "end")
        self.pieces.append(
            f'<path class="pointer" d="M{to_x:.1f} {to_y - 4:.1f}L{x:.1f} {y:.1f}" '
            f'fill="none" stroke="{_colour(fig.GREY)}"/>'
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="{_colour(fig.VERMILLION)}"/>'
        )
        beside = 3 if anchor == "start" else -3
        self._text(to_x + beside, to_y, words, anchor, ' class="halo cause"')

    # -- legend ---------------------------------------------------------------------------------

    def _legend_rows(self, left: float) -> list[list[Spec]]:
        rows: list[list[Spec]] = []
        used = math.inf
        for trace in self.legend:
            needed = 50.0 + _LETTER_PX * len(_unmarked(trace["name"]))
            if used + needed > self.width - left - 12.0:
                rows.append([])
                used = 0.0
            rows[-1].append(trace)
            used += needed
        return rows

    def _legend(self) -> None:
        left = self.box[0]
        for number, row in enumerate(self._legend_rows(left)):
            x, y = left, 14.0 + 20.0 * number
            for trace in row:
                if trace.get("mode") == "markers":
                    self.pieces.append(
                        f'<path d="M{x + 14:.1f} {y - 11:.1f}l6 6l-6 6l-6-6z" '
                        f'fill="{_colour(trace["marker"]["color"])}"/>'
                    )
                else:
                    self.pieces.append(
                        f'<path d="M{x:.1f} {y - 5:.1f}h28" fill="none" {_stroke(trace["line"])}/>'
                    )
                words = _unmarked(trace["name"])
                self._text(x + 34, y, words, "start", ' class="legend"')
                x += 50.0 + _LETTER_PX * len(words)


def _unmarked(words: str) -> str:
    """Return a label without the entities that the other renderer needs."""
    return plain(html.unescape(words))


def _colour(colour: str) -> str:
    name = _NAMES.get(colour)
    return html.escape(colour, quote=True) if name is None else f"var(--{name}, {colour})"


def _stroke(style: Spec) -> str:
    dashes = _DASHES.get(style.get("dash", "solid"), "")
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'stroke="{_colour(style["color"])}" stroke-width="{style.get("width", 2.0):g}"{dashed}'


def _ticks(low: float, high: float, count: int, step: float | None = None) -> list[float]:
    """Return about `count` round numbers from `low` to `high`."""
    if step is None:
        rough = (high - low) / max(count, 1)
        size = 10.0 ** math.floor(math.log10(rough))
        step = next(m * size for m in (1.0, 2.0, 5.0, 10.0) if m * size >= rough)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [n * step for n in range(first, last + 1)]


_TRAILING = re.compile(r"\.0$")


def _number(value: float) -> str:
    return _TRAILING.sub("", f"{round(value, 6):.10g}").replace("-", "−")


WIDTH, HEIGHT, EDGE = 200, 70, 5


def panels_figure(part: Panels) -> str:
    """Return the panels as a list of small SVG drawings with their words."""
    if not part.panels:
        return ""
    items = "\n".join(_item(panel, part) for panel in part.panels)
    low, high = part.scale
    words = f"{part.caption} Every panel: bottom {low}, top {high}."
    return (
        f'<figure>\n<ul class="panels">\n{items}\n</ul>\n'
        f"<figcaption>{_escaped(words)}</figcaption>\n</figure>"
    )


def _escaped(raw: str) -> str:
    return html.escape(plain(raw), quote=True)


def _item(panel: Panel, part: Panels) -> str:
    low, high = part.span

    def height(values: np.ndarray | float) -> np.ndarray:
        share = (np.clip(values, low, high) - low) / (high - low)
        return HEIGHT - EDGE - share * (HEIGHT - 2 * EDGE)

    known = np.flatnonzero(np.isfinite(panel.values))
    step = (WIDTH - 2 * EDGE) / max(panel.values.size - 1, 1)
    ys = height(panel.values[known])
    dots = "".join(
        f'<circle cx="{EDGE + step * place:.1f}" cy="{y:.1f}" r="2.6"/>'
        for place, y in zip(known.tolist(), ys.tolist(), strict=True)
    )
    level = float(height(part.level))
    colour = "vermillion" if panel.off else "blue"
    words = _escaped(f"{panel.label}: {panel.beside}")
    return (
        f"<li{' class=' + chr(34) + 'off' + chr(34) if panel.off else ''}>"
        f"<b>{_escaped(panel.label)}</b>"
        f'<svg class="drawing" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{words}" '
        f'xmlns="http://www.w3.org/2000/svg">'
        f'<path d="M0 {level:.1f}H{WIDTH}" stroke="var(--soft)" stroke-dasharray="4 3"/>'
        f'<g fill="var(--{colour})">{dots}</g></svg>'
        f"<span>{_escaped(panel.beside)}</span></li>"
    )
