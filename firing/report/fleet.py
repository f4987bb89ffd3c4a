"""What a summary of many logs says: what to look at first, then kilns, plans and months."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from firing.fleet.row import Status
from firing.fleet.summary import (
    DRAWN,
    LISTED,
    FleetSummary,
    KilnSummary,
    LookFirst,
    PlanSummary,
)
from firing.report.document import (
    Block,
    Bullets,
    Panel,
    Panels,
    Paragraph,
    Report,
    Section,
    Table,
    Tile,
    Tiles,
    on_page,
)
from firing.review.result import CAUSE_NAMES
from firing.units import format_duration

_BRIEF_FIRST, _BRIEF_ROWS = 5, 5
_MOST_ROWS = 200
"""Longer tables are for the JSON, not for a page."""
_STATUS_WORDS: dict[Status, str] = {
    "reviewed": "reviewed",
    "other program": "not a firing of their plan",
    "no plan": "fit no plan",
    "unreadable": "unreadable",
    "failed": "not finished",
}


def fleet_report(summary: FleetSummary) -> Report:
    """Return a summary as a report."""
    answer = [_counted(summary), _verdict(summary)]
    first = Section("Look at these first", _first(summary.first, LISTED))
    kilns, plans = _kilns(summary.kilns, _cost_head(summary)), _plans(summary.plans)
    notes = Section("", [Bullets(_notes(summary))])
    return Report(
        "Fleet",
        "Many firings",
        [
            on_page(Tiles(_tiles(summary))),
            first,
            on_page(Section("Kilns at a glance", _panels(summary))),
            Section("Kilns", [_cut(kilns, _MOST_ROWS)]),
            Section("Plans", [_cut(plans, _MOST_ROWS)]),
            Section("Not reviewed", [_not_reviewed(summary)], folded=True),
            Section("Energy and cost by month", _months(summary)),
            notes,
        ],
        answer=answer,
        brief=[
            *map(Paragraph, answer),
            Section("Look at these first", _first(summary.first, _BRIEF_FIRST)),
            Section("Kilns", [_cut(kilns, _BRIEF_ROWS), *map(Paragraph, _of_figures(summary))]),
            Section("Plans", [_cut(plans, _BRIEF_ROWS)]),
            Section("", [Paragraph("Everything, and cost by month: --full, or a page by --html.")]),
        ],
    )


def _counted(summary: FleetSummary) -> str:
    parts = [
        f"{summary.counts[name]:,} {words}"
        for name, words in _STATUS_WORDS.items()
        if summary.counts.get(name)
    ]
    logs = "1 log" if summary.logs == 1 else f"{summary.logs:,} logs"
    if summary.copies:
        parts.append("1 copy left out" if summary.copies == 1 else
                     f"{summary.copies:,} copies left out")  # fmt: skip
    kilns = "1 kiln" if len(summary.kilns) == 1 else f"{len(summary.kilns):,} kilns"
    return f"{logs} of {kilns}: {', '.join(parts) or 'none yet'}."


def _verdict(summary: FleetSummary) -> str:
    if not summary.first:
        return "Nothing asks for a look: no kiln is late, wearing or uneven, and no plan fails."
    count = len(summary.first)
    return "1 thing asks for a look." if count == 1 else f"{count} things ask for a look."


def _first(first: Sequence[LookFirst], most: int) -> list[Block | None]:
    """Return them in order, each command on a line of its own to be copied."""
    shown: list[Block | None] = []
    for number, one in enumerate(first[:most], start=1):
        shown.append(Paragraph(f"{number}. {one.reason}"))
        if one.command:
            shown.append(Paragraph(one.command, "under"))
    if len(first) > most:
        shown.append(Paragraph(f"… and {len(first) - most:,} more; --json lists all.", "quiet"))
    return shown


def _cut(table: Table | None, most: int) -> Block | None:
    if table is None or len(table.rows) <= most:
        return table
    return Section("", [
        Table(table.headers, table.align, table.rows[:most], table.caption),
        Paragraph(f"… and {len(table.rows) - most:,} more", "quiet"),
    ])  # fmt: skip


def _percent(share: float | None, sign: str = "") -> str:
    if share is None:
        return "–"
    rounded = round(share, 2)
    return format(rounded, f"{sign}.0%").replace("-", "−") if rounded else "0%"


def _minutes(seconds: float | None) -> str:
    return "–" if seconds is None else format_duration(seconds, signed=True)


def _figure(value: float | None, form: str) -> str:
    return "–" if value is None else format(value, form)


def _cost_head(summary: FleetSummary) -> str:
    return f"cost, {summary.currencies[0]}" if len(summary.currencies) == 1 else "cost"


def _kilns(kilns: Sequence[KilnSummary], cost: str) -> Table | None:
    if not kilns:
        return None
    rows = [
        (
            one.kiln,
            str(one.firings),
            _percent(one.late),
            _minutes(one.excess_s),
            _percent(None if one.wear is None else one.wear.change, "+"),
            _figure(one.uneven_cones, ".1f"),
            f"{one.energy_kwh:,.0f}",
            _figure(one.cost, ",.2f"),
        )
        for one in kilns
    ]
    headers = ("kiln", "firings", "late", "excess", "power", "uneven", "kWh", cost)
    caption = (
        "Late and excess: its last firings, without plans that are late everywhere. Power: over "
        "losses, since its elements were new. Uneven: in cones."
    )
    return Table(headers, "lrrrrrrr", rows, caption)


def _plans(plans: Sequence[PlanSummary]) -> Table | None:
    if not plans:
        return None
    rows = [
        (
            one.plan,
            str(one.firings),
            str(one.kilns),
            _percent(one.late),
            _minutes(one.excess_s),
            "–" if one.cause is None else CAUSE_NAMES[one.cause],
            _percent(one.unfinished),
            _percent(one.peak_missed),
        )
        for one in plans
    ]
    headers = ("plan", "firings", "kilns", "late", "excess", "most by", "unfinished", "peak missed")
    return Table(headers, "lrrrrlrr", rows, "Shares of a plan's firings, over all kilns.")


def _not_reviewed(summary: FleetSummary) -> Block:
    return Bullets([f"{one.log}: {one.sentence or one.status}" for one in summary.not_reviewed])


def _months(summary: FleetSummary) -> list[Block | None]:
    if len(summary.months) > _MOST_ROWS:
        return [Paragraph(f"{len(summary.months):,} rows of kilns and months: see --json.")]
    rows = [
        (
            one.month or "no date",
            one.kiln or "no kiln",
            str(one.firings),
            f"{one.energy_kwh:,.0f}",
            _figure(one.cost, ",.2f"),
        )
        for one in summary.months
    ]
    headers = ("month", "kiln", "firings", "kWh", _cost_head(summary))
    return [Table(headers, "llrrr", rows)] if rows else []


def _of_figures(summary: FleetSummary) -> list[str]:
    """Return what the kilns' figures leave out, or rest on."""
    said = []
    late = [one.plan for one in summary.plans if one.is_late]
    if late and summary.kilns:
        said.append(f"Late and excess of a kiln leave out what is late everywhere: {_some(late)}.")
    forecast = sum(one.energy_forecast_kwh for one in summary.kilns)
    if forecast:
        whole = sum(one.energy_kwh for one in summary.kilns)
        said.append(
            f"{forecast:,.0f} of the {whole:,.0f} kWh are forecast: those logs show no output."
        )
    worn = [one.kiln for one in summary.kilns if one.wear is not None and one.wear.sure]
    if worn:
        said.append(
            f"Worn elements take less: the kWh of {_some(worn)} are too many unless its kiln file "
            "knows the wear; 'firing kiln fit KILN --logbook --write' learns it."
        )
    unknown = sum(one.energy_unknown for one in summary.kilns)
    if unknown:
        firings = "1 firing has" if unknown == 1 else f"{unknown:,} firings have"
        said.append(
            f"{firings} no kWh: the log shows no output and did not run its plan from end to end."
        )
    return said


def _some(names: Sequence[str]) -> str:
    more = f" and {len(names) - 5} more" if len(names) > 5 else ""
    return f"{', '.join(names[:5])}{more}"


def _notes(summary: FleetSummary) -> list[str]:
    notes = _of_figures(summary)
    if summary.copies:
        copies = "1 log is a copy" if summary.copies == 1 else f"{summary.copies:,} logs are copies"
        notes.append(f"{copies} of another and counted once.")
    if len(summary.currencies) > 1:
        notes.append(f"Costs are in {' and '.join(summary.currencies)}, so they are not added up.")
    if summary.kilns and not summary.currencies:
        notes.append("No cost: give the prices with --tariff.")
    if summary.undated:
        logs = "1 log has" if summary.undated == 1 else f"{summary.undated:,} logs have"
        notes.append(f"{logs} no date: put it into the file's name, as 2026-03-14.")
    return notes


def _tiles(summary: FleetSummary) -> list[Tile]:
    bad = summary.logs - summary.counts.get("reviewed", 0)
    energy = sum(one.energy_kwh for one in summary.kilns)
    costs = [one.cost for one in summary.kilns if one.cost is not None]
    tiles = [
        Tile("Logs", f"{summary.logs:,}", f"{bad:,} not reviewed" if bad else "all reviewed",
             bad == 0),
        Tile("To look at", f"{len(summary.first):,}", "", not summary.first),
        Tile("Kilns", f"{len(summary.kilns):,}"),
        Tile("Energy", f"{energy:,.0f} kWh"),
    ]  # fmt: skip
    if costs and len(summary.currencies) == 1:
        tiles.append(Tile("Cost", f"{sum(costs):,.2f}", summary.currencies[0]))
    return tiles


def _panels(summary: FleetSummary) -> list[Block | None]:
    """Return excess and power of the first kilns, firing by firing."""
    looked = {one.kiln for one in summary.first}
    drawn = summary.kilns[:DRAWN]
    excess = [
        Panel(one.kiln, one.excess_h, f"{_percent(one.late)} of its last firings late",
              one.kiln in looked)
        for one in drawn
    ]  # fmt: skip
    power = [
        Panel(one.kiln, one.power,
              "not known" if one.wear is None else f"{_percent(one.wear.change, '+')} over "
              f"{one.wear.firings} firings", one.wear is not None and one.wear.sure)
        for one in drawn if np.isfinite(one.power).any()
    ]  # fmt: skip
    more = len(summary.kilns) - len(drawn)
    return [
        Panels(excess, 0.0, "Hours over the plan, firing by firing.", ("−1 h", "+3 h"),
               (-1.0, 3.0)),
        Panels(power, 1.0, "Power over losses against the kiln file, firing by firing.",
               ("0.6", "1.2"), (0.6, 1.2)),
        Paragraph(f"{more:,} more kilns are in the table below.", "quiet") if more > 0 else None,
    ]  # fmt: skip
