"""Small drawings side by side, all on one scale: what differs is seen before it is read."""

from __future__ import annotations

import html

import numpy as np

from firing.report.document import Panel, Panels
from firing.report.sanitize import plain

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
