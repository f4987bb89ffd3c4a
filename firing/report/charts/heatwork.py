"""The drawing of heat-work: how far each cone near the result had come, and when it went down."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from firing.cones.heatwork import heatwork_progress
from firing.cones.kinetics import cone_law
from firing.cones.table import CONES, cone_number
from firing.report.charts import figure as fig
from firing.report.charts.figure import Drawing, TimeAxis
from firing.report.words import Timekeeper
from firing.trace import FloatArray
from firing.units import SECONDS_PER_MINUTE, format_rate, from_celsius

if TYPE_CHECKING:
    from firing.cones.equivalence import ConeVerdict
    from firing.cones.ways import WaysToCone

# Cold to hot, so that neighbours always differ in dashes and colour.
_LINES = (
    (fig.ORANGE, "dot"),
    (fig.GREEN, "dash"),
    (fig.BLUE, "solid"),
    (fig.PURPLE, "dashdot"),
    (fig.VERMILLION, "longdash"),
)
_TOP = 1.2
_FROM = 0.002
_POINTS = 600
_HEIGHT_PX = 420


def heatwork_drawing(
    started: datetime | None,
    time_s: FloatArray,
    temperature_c: FloatArray,
    verdicts: Sequence[ConeVerdict],
    subject: str,
) -> Drawing | None:
    """Return heat-work over time for the few cones around the verdicts; None where all are far.

    The first verdict is the trace's own, and what was planned may follow; `subject` says in the
    caption what the trace is.
    """
    time_axis = TimeAxis.over(started, float(time_s[-1]))
    cones = near_cones([verdict.reached_number for verdict in verdicts])
    usable = np.isfinite(temperature_c)
    if not cones or np.count_nonzero(usable) < 2:
        return None
    dense_s, dense_c = _dense(time_s[usable], temperature_c[usable])
    approached = {cone: verdicts[0].by_cone[cone].approach_rate_c_per_h for cone in cones}
    progress = {
        cone: heatwork_progress(dense_s, dense_c, cone, cone_law(cone).shift_c(rate))
        for cone, rate in approached.items()
    }
    moving = np.any([(x >= _FROM) & (x < min(_TOP, 0.999 * x[-1])) for x in progress.values()], 0)
    if not moving.any():
        return None
    first, last = np.flatnonzero(moving)[[0, -1]]
    margin_s = 0.12 * (dense_s[last] - dense_s[first]) + 60.0
    from_s = max(float(dense_s[first]) - margin_s, float(dense_s[0]))
    to_s = min(float(dense_s[last]) + margin_s, float(dense_s[-1]))
    grid_s = np.linspace(from_s, to_s, _POINTS)
    lines: list[fig.Spec] = []
    shares: dict[str, FloatArray] = {}
    for number, cone in enumerate(cones):
        colour, dash = _LINES[number % len(_LINES)]
        share = np.interp(grid_s, dense_s, progress[cone])
        shown = np.where(share <= _TOP, share, np.nan)
        lines.append(
            fig.line(
                f"cone {cone}",
                time_axis,
                grid_s,
                shown,
                "of its heat-work",
                colour=colour,
                dash=dash,
                width=2.2,
                digits=3,
            )
        )
        shares[cone] = share
    whole = {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": 1, "y1": 1}
    keeper = Timekeeper(time_axis.started, float(dense_s[-1]))
    return fig.drawing(
        "heatwork",
        lines,
        _caption(cones, progress, dense_s, keeper, subject),
        _HEIGHT_PX,
        showlegend=False,  # every line bears its name
        xaxis=time_axis.part(range=time_axis.x([from_s, to_s])),
        yaxis=fig.axis("share of the cone's heat-work", range=[0, _TOP], dtick=0.2),
        shapes=[{**whole, "line": {"color": fig.GREY, "width": 1.5}}],
        annotations=_names(shares, time_axis, grid_s),
    )


def ways_drawing(ways: WaysToCone) -> Drawing | None:
    """Return the holds that bring a cone down over the peaks they are held at; None without any."""
    if len(ways.curve) < 2:
        return None
    peaks = [round(from_celsius(peak_c, ways.unit), 1) for peak_c, _ in ways.curve]
    minutes = [round(hold_s / SECONDS_PER_MINUTE, 1) for _, hold_s in ways.curve]
    rate = format_rate(ways.rates_c_per_h[0], ways.unit)
    line: fig.Spec = {
        "type": "scatter",
        "mode": "lines",
        "x": peaks,
        "y": minutes,
        "line": {"color": fig.BLUE, "width": 2.2},
        "hovertemplate": f"%{{x:.0f}} °{ways.unit}<br>hold %{{y:.0f}} min",
    }
    return fig.drawing(
        "ways",
        [line],
        f"The hold that brings cone {ways.cone} down, by peak, after {rate}: none at "
        f"{peaks[0]:.0f} °{ways.unit}, {minutes[-1]:.0f} min at {peaks[-1]:.0f} °{ways.unit}."
        if minutes[0] < 1.0
        else f"The hold that brings cone {ways.cone} down, by peak, after {rate}.",
        _HEIGHT_PX,
        showlegend=False,
        xaxis=fig.axis(f"peak, °{ways.unit}"),
        yaxis=fig.axis("hold, minutes", rangemode="tozero"),
    )


def near_cones(numbers: Sequence[float | None]) -> list[str]:
    """Return up to five cones around running numbers, cold to hot; none for no number."""
    known = [number for number in numbers if number is not None]
    if not known:
        return []
    middle = known[0]
    near = sorted(
        (cone for cone in CONES if min(known) - 1.6 <= cone_number(cone) <= max(known) + 1.6),
        key=lambda cone: abs(cone_number(cone) - middle),
    )
    return sorted(near[: len(_LINES)], key=cone_number)


def _dense(time_s: FloatArray, temperature_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Add points on the straight lines between far samples, where progress is still curved."""
    if time_s.size > 4 * _POINTS:
        return time_s, temperature_c
    grid = np.linspace(time_s[0], time_s[-1], 4 * _POINTS)
    dense_s = np.union1d(time_s, grid)
    return dense_s, np.interp(dense_s, time_s, temperature_c)


def _names(
    shares: dict[str, FloatArray], time_axis: TimeAxis, grid_s: FloatArray
) -> list[fig.Spec]:
    """Return every cone's name where its line leaves the drawing: at the top, or at the right."""
    names: list[fig.Spec] = []
    last_at, step = -1.0, 0
    for cone, share in shares.items():
        place: fig.Spec = {"text": f"cone {cone}", "showarrow": False, "yanchor": "bottom"}
        if share[-1] > _TOP:
            at = int(np.argmax(share > _TOP))
            # Neighbours that leave close together take turns in height.
            step = 1 - step if 0 <= at - last_at < 0.1 * grid_s.size else 0
            place |= {"y": 1.0, "yref": "paper", "yshift": 16 * step, "xanchor": "center"}
            last_at = at
        else:
            at = grid_s.size - 1
            place |= {"y": round(float(share[-1]), 4), "xanchor": "right"}
        names.append({**place, "x": time_axis.x([float(grid_s[at])])[0]})
    return names


def _caption(
    cones: list[str],
    progress: dict[str, FloatArray],
    time_s: FloatArray,
    keeper: Timekeeper,
    subject: str,
) -> str:
    words = [
        f"Heat-work of {subject}, over time, as a share of what each cone needs; a cone is down "
        "where its line meets 1."
    ]
    for cone in cones:
        x = progress[cone]
        if x[-1] >= 1.0:
            down_s = float(np.interp(1.0, x, time_s))
            words.append(f"Cone {cone}: down {keeper.when(down_s)}.")
        else:
            words.append(f"Cone {cone}: {100.0 * float(x[-1]):.0f} %.")
    return " ".join(words)
