"""What the page of a running firing shows: parts of HTML, made from what its watch has laid down.

The page comes whole at first; afterwards only the parts that have changed are sent to it.
"""

from __future__ import annotations

import base64
import hashlib
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from importlib.resources import files
from typing import TYPE_CHECKING

from firing.forecast.opening import RANGES_HOLD
from firing.report.charts import figure as fig
from firing.report.charts.svg import svg_pair
from firing.report.charts.text_chart import ChartSeries
from firing.report.page import escaped, prose
from firing.report.words import sentence
from firing.units import TemperatureUnit, format_duration, format_rate, format_temperature
from firing.watch.events import NO_SAFETY_DEVICE
from firing.watch.snapshot import PlanStart, WatchState
from firing.watch.state import Estimate
from firing.watch.status_text import MomentText, energy_text, position_text

if TYPE_CHECKING:
    from firing.schedule.schedule import Schedule
    from firing.watch.calls import Call, CallBoard
    from firing.watch.fault_isolation import FaultIsolation

MOST_REMARKS = 30
_MARKS = {"alarm": "Alarm", "over": "Over", "call": "To do", "told": "", "note": ""}


@dataclass(frozen=True)
class ShownWatch:
    """One watch as others see it: its name, its plan, and what is known of it when asked."""

    name: str
    schedule: Schedule | None
    unit: TemperatureUnit
    seen: Callable[[], WatchState]
    calls: Callable[[], CallBoard | None]

    @property
    def title(self) -> str:
        """What it is called on the page."""
        if self.schedule is None:
            return self.name
        return f"{self.name}: {self.schedule.title}" if self.name else self.schedule.title


_PART_WORDS = {
    "stage": "the page's line on the source",
    "calls": "the page's list of calls",
    "now": "the page's temperature",
    "next": "the page's next step by hand",
    "ends": "the page's look ahead",
    "curve": "the page's curve",
    "told": "the page's list of notices",
    "kept": "the page's line on the recording",
}
_FAILED = '<p class="loud">This part cannot be shown now.  Look at the watch itself.</p>'


class WatchParts:
    """One watch as parts of a page, by the ids of their places."""

    def __init__(self, number: int, watch: ShownWatch) -> None:
        self._number, self._watch = number, watch
        self._start = PlanStart()
        self._drawn: tuple[object, ...] = ()
        self._curve = ""

    def html(self, seen: WatchState, isolation: FaultIsolation) -> dict[str, str]:
        """Return every part as it is now; one that fails says so, and the others are there."""
        makers: dict[str, Callable[[], str]] = {
            "stage": partial(_stage, seen),
            "calls": partial(_calls, self._number, seen),
            "kept": partial(_kept, seen),
        }
        if seen.began is not None:
            # Worked out some seconds ago; the clock and the temperature have gone on since.
            estimate = seen.estimate or Estimate(0.0, math.nan, None, None, "", None)
            now = replace(estimate, now_s=seen.now_s, temperature_c=seen.temperature_c)
            moments = MomentText(seen.began, seen.now_s)
            schedule, unit = self._watch.schedule, self._watch.unit
            at = moments.at(seen.read_s or 0.0)
            old = f"No reading now: this was at {at}." if seen.gone else ""
            makers |= {
                "now": partial(_now, now, schedule, unit, old),
                "next": partial(_next, now, moments),
                "ends": partial(_ends, now, moments, unit),
                "curve": partial(self._course, seen),
                "told": partial(_told, seen, moments),
            }
        return {
            f"{name}-{self._number}": isolation.run(_PART_WORDS[name], make, _FAILED)
            for name, make in makers.items()
        }

    def _course(self, seen: WatchState) -> str:
        drawn = (seen.time_s.size, seen.estimate, seen.began)
        if drawn == self._drawn:
            return self._curve
        lines = list(self._lines(seen)) if seen.time_s.size > 1 else []
        self._curve = svg_pair(_drawing(lines, seen, self._watch.unit)) if lines else ""
        self._drawn = drawn
        return self._curve

    def _lines(self, seen: WatchState) -> Iterator[ChartSeries]:
        from firing.review.position import Plan

        if self._watch.schedule is not None:
            plan = Plan(self._watch.schedule)
            run = plan.time_s <= plan.segments[-1].end_s
            time_s = plan.time_s[run] + self._start.at_s(seen)
            yield ChartSeries("plan", time_s, plan.temperature_c[run], "dashed")
        if seen.rest is not None and seen.estimate is not None:
            to_come = seen.rest.time_s + seen.estimate.now_s
            yield ChartSeries("to come", to_come, seen.rest.temperature_c, "dotted")
        if seen.time_s.size:
            name = seen.names[seen.channel] if seen.names else "kiln"
            yield ChartSeries(name, seen.time_s, seen.course_c, "solid")


_LOOKS = {
    "solid": (fig.VERMILLION, "solid", 2.6),
    "dashed": (fig.BLUE, "dash", 1.8),
    "dotted": (fig.VERMILLION, "dot", 1.8),
}


def _drawing(lines: Sequence[ChartSeries], seen: WatchState, unit: TemperatureUnit) -> fig.Drawing:
    axis = fig.TimeAxis.over(seen.began, max(float(line.time_s[-1]) for line in lines))
    drawn = []
    for line in lines:
        colour, dash, width = _LOOKS[line.style]
        drawn.append(fig.course(line, axis, unit, colour, dash=dash, width=width))
    (now,) = axis.x([seen.now_s])
    upright = {"type": "line", "xref": "x", "yref": "paper", "x0": now, "x1": now}
    return fig.drawing(
        "live",
        drawn,
        "The plan dashed, the kiln so far solid, and what is to come dotted.",
        360,
        xaxis=axis.part(),
        yaxis=fig.axis(f"temperature, °{unit}", rangemode="tozero"),
        shapes=[{**upright, "y0": 0, "y1": 1, "line": {"color": fig.GREY, "width": 1.2}}],
    )


def _stage(seen: WatchState) -> str:
    """Say what is wrong with the source, or that this is not now; nothing while all is well."""
    words, kind = "", "loud"
    if seen.stage == "silent":
        words = f"No line from the source for {format_duration(seen.now_s - (seen.read_s or 0.0))}."
    elif seen.stage == "lost":
        words = f"The source is lost and tried again: {seen.why}."
    elif seen.stage == "ended":
        words = "The source has ended.  Nothing more will come."
    elif seen.stage == "stopped":
        words = "Somebody ended this watch.  Nothing more will come."
    elif seen.stage == "broken":
        words = f"Not watching: {seen.why}."
    elif seen.stage in ("connecting", "waiting"):
        words, kind = "No line has come from the source yet.", "quiet"
    elif not seen.live:
        words, kind = "A log is replayed: times and temperatures are the log's, not now's.", "quiet"
    return f'<p class="{kind}">{prose(words)}</p>' if words else ""


def _calls(number: int, seen: WatchState) -> str:
    found = []
    kept = seen.recording
    if kept is not None and kept.trouble:
        words = f"Not on the disk: {kept.file} takes no more lines: {kept.trouble}; look at it now."
        found.append(f'<li class="loud"><p>{prose(words)}</p></li>')
    if seen.not_recorded:
        found.append(f'<li class="loud"><p>{prose(seen.not_recorded)}.</p></li>')
    if seen.began is not None:
        moments = MomentText(seen.began, seen.now_s)
        # What nobody has answered stands first, the latest above.
        calls = sorted(seen.open_calls, key=lambda call: (not call.unanswered, -call.number))
        found += [_call(number, call, moments) for call in calls]
    return f"<ul>{''.join(found)}</ul>" if found else ""


def _call(number: int, call: Call, moments: MomentText) -> str:
    head = f"Alarm since {moments.at(call.at_s)}" if call.stands else f"{moments.at(call.at_s)}"
    state = "acknowledged" if call.acknowledged else "snoozed" if call.snoozed else ""
    buttons = ""
    if not call.acknowledged:
        asked = [("acknowledge", "I have heard it")]
        asked += [] if call.snoozed else [("snooze", "Remind me in 15 min")]
        buttons = "".join(
            f'<button type="button" data-do="{do}" data-watch="{number}" '
            f'data-call="{call.number}">{words}</button>'
            for do, words in asked
        )
    kind = "quiet" if state else "loud" if call.stands else "todo"
    return (
        f'<li class="{kind}"><p><b>{escaped(head)}</b>'
        f"{f' <i>{state}</i>' if state else ''}<br>{prose(sentence(call.message))}.</p>"
        f"<p>{buttons}</p></li>"
    )


def _now(now: Estimate, schedule: Schedule | None, unit: TemperatureUnit, old: str) -> str:
    hot = "–" if math.isnan(now.temperature_c) else format_temperature(now.temperature_c, unit)
    degrees, space, unit_words = hot.partition(" ")
    unit_words = f"\N{NO-BREAK SPACE}{unit_words}" if space else ""
    rate = "" if now.rate_c_per_h is None else format_rate(now.rate_c_per_h, unit)
    place, *rest = position_text(now, schedule, unit) or [""]
    lines = [part for part in (*rest[:1], rate.replace("-", "−")) if part]
    more = [part for part in (place, *rest[1:]) if part]
    return (
        f'<p class="{"hot old" if old else "hot"}">{escaped(degrees)}'
        f"<small>{escaped(unit_words)}</small></p>"
        f'<p class="beside">{prose(old or " · ".join(lines))}</p>'
        f"<p>{prose(sentence(' · '.join(more)))}</p>"
    )


def _next(now: Estimate, moments: MomentText) -> str:
    if not now.action or now.action_s is None:
        return ""
    left_s = now.action_s - now.now_s
    left = f", in {format_duration(left_s)}" if left_s >= 60.0 else ""
    return (
        f'<h2>Next by hand</h2><p class="hand"><b>{escaped(moments.at(now.action_s))}</b>'
        f"{prose(left)}<br>{prose(sentence(now.action))}</p>"
    )


def _ends(now: Estimate, moments: MomentText, unit: TemperatureUnit) -> str:
    rows: list[tuple[str, str]] = []
    ranged = False
    if now.program_end_s is not None:
        low_s, high_s = now.program_end_low_s, now.program_end_high_s
        rows.append(("Program ends", moments.range(now.program_end_s, low_s, high_s)))
        ranged = True
    for entry in now.cones:
        if entry.down_s is not None:
            rows.append((f"Cone {entry.cone}", f"down since {moments.at(entry.down_s)}"))
        elif entry.expected_s is not None:
            span = moments.range(entry.expected_s, entry.low_s, entry.high_s)
            rows.append((f"Cone {entry.cone}", span))
            ranged = True
    if now.unload_s is not None and now.unload_s > now.now_s:
        low_s, high_s = now.unload_low_s, now.unload_high_s
        rows.append(("Cool enough to open", moments.range(now.unload_s, low_s, high_s)))
        ranged = True
    if now.stalls_c is not None:
        rows.append(("The kiln stalls at", format_temperature(now.stalls_c, unit)))
    if energy := energy_text(now):
        rows.append(("Energy", energy))
    if now.untold:
        rows.append(("Not known now", ", ".join(now.untold)))
    if not rows:
        return ""
    told = "".join(f"<dt>{escaped(label)}</dt><dd>{_ranged(words)}</dd>" for label, words in rows)
    level = "the kiln at its quickest, and at its slowest"
    level = level if now.kiln is None else f"the {RANGES_HOLD} range"
    under = f'<p class="quiet">In brackets: {level}.</p>' if ranged else ""
    return f"<h2>Ahead</h2><dl>{told}</dl>{under}"


def _ranged(words: str) -> str:
    """Return a moment, and its range in brackets kept on one line."""
    middle, bracket, rest = words.partition(" (")
    if not bracket:
        return prose(words)
    return f'{prose(middle)} <span class="range">({prose(rest)}</span>'


def _told(seen: WatchState, moments: MomentText) -> str:
    rows = []
    for remark in reversed(seen.remarks[-MOST_REMARKS:]):
        mark = f"<b>{_MARKS[remark.kind]}</b> " if _MARKS[remark.kind] else ""
        named = any(character in "./\\:" for character in remark.words.split(" ")[0])
        words = remark.words if named else sentence(remark.words)
        rows.append(f"<dt>{escaped(moments.at(remark.at_s))}</dt><dd>{mark}{prose(words)}.</dd>")
    return f'<h2>Notices so far</h2><dl class="log">{"".join(rows)}</dl>' if rows else ""


def _kept(seen: WatchState) -> str:
    kept = seen.recording
    words = "Nothing is recorded."
    if kept is not None:
        words = f"Recorded to {kept.file}: {kept.rows} lines by this watch."
        if kept.lost:
            words += f"  {kept.lost} lines are lost."
    return f'<p class="quiet">{prose(words)}</p>'


_LIVE = {"calls": "assertive"}
PLACES = tuple(_PART_WORDS)
"""The parts of a watch from top to bottom."""


def whole_page(
    watches: Sequence[ShownWatch], parts: Mapping[str, str], instance: str, token: str, title: str
) -> tuple[str, str]:
    """Return the page with its parts in place, and its content policy.

    `instance` changes whenever the program starts anew, upon which an open page loads itself again;
    `token` lets the page answer calls.
    """
    code = files("firing.remote").joinpath("page.js").read_text(encoding="utf-8")
    style = files("firing.remote").joinpath("page.css").read_text(encoding="utf-8")
    policy = (
        f"default-src 'none'; script-src {_digest(code)}; style-src {_digest(style)}; "
        "connect-src 'self'; img-src data:; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    )
    body = []
    for number, watch in enumerate(watches):
        places = "\n".join(
            f'<div class="{name}" id="{name}-{number}" aria-live="{_LIVE.get(name, "off")}">'
            f"{parts.get(f'{name}-{number}', '')}</div>"
            for name in PLACES
        )
        body.append(f"<section>\n<h1>{escaped(watch.title)}</h1>\n{places}\n</section>")
    text = f"""<!DOCTYPE html>
<html lang="en" data-instance="{escaped(instance)}" data-token="{escaped(token)}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>{escaped(title)}</title>
<link rel="icon" href="data:,">
<style>{style}</style>
</head>
<body>
<p id="link" role="status">Connecting …</p>
<noscript><p class="loud">Without JavaScript this page stands still: load it again to see
more.</p></noscript>
<main>
{"".join(body)}
</main>
<footer class="quiet"><p>{prose(sentence(NO_SAFETY_DEVICE))}.  This page only reads: nothing here
switches the kiln.  A message or a page can be late or fail.</p></footer>
<script>{code}</script>
</body>
</html>
"""
    return text, policy


def _digest(code: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(code.encode()).digest()).decode()}'"


def tab_title(watches: Sequence[ShownWatch], seen: Sequence[WatchState | None]) -> str:
    """Return what stands on the browser's tab: how hot it is, and whether somebody is called."""
    told = []
    for watch, state in zip(watches, seen, strict=True):
        if state is None or state.began is None:
            continue
        called = any(call.unanswered for call in state.open_calls)
        hot_c = state.temperature_c
        unknown = math.isnan(hot_c) or state.gone
        hot = "–" if unknown else format_temperature(hot_c, watch.unit)
        told.append(f"{'(!) ' if called else ''}{hot} {watch.name}".rstrip())
    return " · ".join(told) or "no reading yet"


def reading_age_s(seen: WatchState) -> float | None:
    """Return for how long there has been no reading [s]; None before the first or in a replay."""
    if not seen.live or seen.over or seen.read_s is None:
        return None
    return seen.now_s - seen.read_s
