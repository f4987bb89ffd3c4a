"""The logbook as reports: a list of firings, one firing, what was kept, and what a check found."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from firing.logbook.record import Event, Filter, Firing, by_firing, each_once
from firing.report.document import (
    Block,
    Bullets,
    Figures,
    Paragraph,
    Report,
    Section,
    Table,
    Tile,
    Tiles,
    on_page,
    on_text,
)
from firing.report.sanitize import shorten
from firing.report.words import sentence
from firing.serialise import Serialised
from firing.units import TemperatureUnit, format_temperature, hours_minutes

if TYPE_CHECKING:
    from firing.kiln.description import KilnDescription
    from firing.logbook.keeping import KeptLog
    from firing.logbook.rescue import Rescue
    from firing.logbook.store import CheckReport

_STEPS = "▁▂▃▄▅▆▇█"
_SPARK_TOP_C = 1300.0
_ROOM, _LEAST_ROOM = 78, 18
"""What a line of a list has in all, and what of it names of kiln and plan have at least."""
_KILN, _PLAN = 2, 3
_TOLD, _SENTENCE = 2, 220
"""So many are told of what is unsure, refused or was open, and a reason in so many letters."""
_LISTED = 10
"""So many firings are shown one by one; of more, the sums are."""


def counted(count: int, thing: str) -> str:
    """Return a number of things in words."""
    return f"{count:,} {thing}" if count == 1 else f"{count:,} {thing}s"


def sparkline(course_c: Sequence[int], points: int = 12) -> str:
    """Return a course as a line of bars, the tallest at 1300 °C."""
    if not course_c:
        return ""
    shown = [course_c[min(n * len(course_c) // points, len(course_c) - 1)] for n in range(points)]
    top = len(_STEPS) - 1
    return "".join(_STEPS[min(max(round(top * c / _SPARK_TOP_C), 0), top)] for c in shown)


def list_report(
    firings: Sequence[Firing],
    total: int,
    which: Filter | None = None,
    *,
    nearest: bool = False,
    older: int = 0,
    unit: TemperatureUnit = "C",
) -> Report:
    """Return a list of firings; `total` is how many there are, `nearest` of any of the words."""
    if not total:
        asked = which is not None and which != Filter()
        words = "No kept firing fits that." if asked else "The logbook is empty."
        step = "Ask for less, or list all with 'firing logbook list'." if asked else (
            "Keep a firing with 'firing keep LOG', or a folder of them with 'firing keep FOLDER'."
        )  # fmt: skip
        return Report("Logbook", "", [Paragraph(words), Paragraph(step)], unit=unit)
    count = counted(total, "firing")
    if len(firings) < total:
        count += f", the newest {len(firings)} of them here; --all shows the rest"
    found = f"No firing has all of these words; {count} with some of them." if nearest else (
        f"{count}."
    )  # fmt: skip
    if which is not None and which.cone:
        found = found[:-1] + f" planned for cone {which.cone}, or that came nearest to it."
    several = len({one.kiln for one in firings}) > 1
    cones = [cone_words(one, "{} ({})") for one in firings]
    cone = "cone (plan)" if any("(" in words for words in cones) else "cone"
    headers = ("#", "day", "kiln", "plan", cone, "peak", "h:mm", "late", "remarks", "course")
    rows = [
        (
            str(one.id),
            f"{one.started:%Y-%m-%d}",
            one.kiln or "–",
            one.plan or "no plan",
            reached,
            "–" if one.peak_c is None else format_temperature(one.peak_c, unit),
            hours_minutes(one.duration_s or one.heating_s),
            "–" if one.excess_s is None else hours_minutes(one.printed_excess_s, signed=True),
            _marks(one),
            sparkline(one.course_c),
        )
        for one, reached in zip(firings, cones, strict=True)
    ]
    widths = [max(map(len, column)) for column in zip(headers, *rows, strict=True)]
    # On a terminal the cone stands for the peak where kilns need its room, and names are cut.
    shown = [0, 1, 2, 3, 4, 6, 7, 8] if several else [0, 1, 3, 4, 5, 6, 7, 8]
    room = max(_ROOM - sum(2 + widths[i] for i in shown if i not in (_KILN, _PLAN)), _LEAST_ROOM)
    kiln = min(widths[_KILN], 2 * room // 5) + 2 if several else 0
    cut = [
        (*row[:_KILN], shorten(row[_KILN], kiln - 2), shorten(row[_PLAN], room - kiln), *row[4:])
        for row in rows
    ]

    def table(rows: Sequence[Sequence[str]], columns: Sequence[int]) -> Table:
        picked = [[row[i] for i in columns] for row in (headers, *rows)]
        align = "".join("rrllrrrrll"[i] for i in columns)  # a day is never broken
        return Table(picked[0], align, picked[1:])

    on_a_page = [i for i in range(len(headers)) if several or i != _KILN]
    tables = on_text(table(cut, shown)), on_page(table(rows, on_a_page))
    stale = Paragraph(_older_words(older)) if older else None
    return Report("Logbook", "", [Paragraph(found), *tables, stale], unit=unit)


def cone_words(one: Firing, beside: str) -> str:
    """Return the cone that a firing came to, and the planned one beside it where it differs."""
    reached = one.cone_reached or "–"
    return beside.format(reached, one.cone) if one.cone not in ("", reached) else reached


def _older_words(count: int) -> str:
    return (
        f"The figures of {counted(count, 'firing')} are an older version's; "
        "'firing logbook refresh' derives them again."
    )


def _marks(one: Firing) -> str:
    """Return what stands out of a firing: not finished, to be acted on, with notes."""
    marks = []
    if one.trouble:
        marks.append("unreadable")
    if one.ended in ("stopped", "log"):
        marks.append("stopped" if one.ended == "stopped" else "log ends early")
    if one.findings:
        marks.append(f"{one.findings} to do")
    if one.notes:
        marks.append("note")
    return ", ".join(marks)


def firing_report(
    one: Firing,
    events: Iterable[Event] = (),
    unit: TemperatureUnit = "C",
    kiln: KilnDescription | None = None,
) -> Report:
    """Return one firing: what a person said of it, and its chief figures; `kiln` as on that day."""
    said = [
        f"Kiln: {one.kiln}" if one.kiln else "Kiln: not known; add it with --kiln",
        f"Plan: {one.plan}" if one.plan else "Plan: none",
        f"Why this plan: {one.matched}" if one.matched else "",
        f"Load: {one.load}" if one.load else "",
        f"For: {one.member}" if one.member else "",
        energy_words(one, kiln),
        f"Log: {one.log}" + (f", part {one.part}" if one.part > 1 else ""),
    ]
    cones = [
        f"Cone {cone.cone} {cone.seen}" + (f" at {cone.place}" if cone.place else "")
        + ("" if cone.offset_c is None else
           f": the thermocouple reads {abs(cone.offset_c):.0f} °C too "
           f"{'low' if cone.offset_c >= 0 else 'high'}")
        for cone in one.witnesses
    ]  # fmt: skip
    since = [f"{event.when:%Y-%m-%d} {event.kind}" + (f": {event.words}" if event.words else "")
             for event in events]  # fmt: skip
    parts: list[Block | None] = [
        Figures([f"{line}." for line in said if line]),
        Section("Notes", [Bullets(one.notes.splitlines())]) if one.notes else None,
        Section("Witness cones", [Bullets(cones)]) if cones else None,
        Section("Photographs", [Bullets([photo.path for photo in one.photos])])
        if one.photos
        else None,
        Section("Last done to this kiln before", [Bullets(since)]) if since else None,
        Paragraph(f"This version can't read its log: {one.trouble}.") if one.trouble else None,
    ]
    began = f"{one.started:%Y-%m-%d %H:%M}"
    by = {"file": ", by the file's own date", "given": ", as given"}.get(one.started_from, "")
    return Report(f"Firing {one.id}", one.plan or "no plan", parts, when=f"Began {began}{by}.",
                  unit=unit)  # fmt: skip


def energy_words(one: Firing, kiln: KilnDescription | None = None) -> str:
    """Return energy and cost of a firing, where they are known, and at which power of `kiln`."""
    parts = []
    if one.kwh is not None:
        source = "" if one.kwh != one.kwh_by_log else " by the logged output"
        if source and kiln is not None:
            learnt = kiln.fitted.power != 1.0 or kiln.fitted.learnt is not None
            whose = "its learnt power" if learnt else "the kiln file's power, elements new"
            source += f" at {kiln.available_w / 1000.0:.1f} kW ({whose})"
        parts.append(f"{one.kwh:.1f} kWh{source}")
    if one.cost is not None:
        parts.append(f"{one.cost:.2f} {one.currency}".rstrip())
    return f"Used: {', '.join(parts)}" if parts else ""


def keep_report(
    found: Sequence[KeptLog], *, dry_run: bool = False, full: bool = False, kind: str = "Keep"
) -> Report:
    """Return what became of logs that were to be kept, and why by their plans and kilns."""
    states = [one.state for one in found]
    beside = [one for one in found if one.state == "known" and one.id is None]
    counts = [
        (states.count("kept"), "kept"),
        (states.count("would be kept"), "would be kept"),
        (states.count("grown"), "longer than before, kept in the shorter one's place"),
        (states.count("known") - len(beside), "in the logbook already"),
        (len(beside), "of the same firing as another of these logs"),
        (states.count("refused"), "refused"),
    ]
    sums_told = [f"{count} {words}" for count, words in counts if count]
    answer = f"{', '.join(sums_told) if sums_told else 'No log was found'}."
    if dry_run:
        answer += " Nothing was written."
    good = [one for one in found if one.state not in ("refused", "known")]
    unsure = [one for one in good if not one.sure or not one.plan]
    parts: list[Block | None] = [Paragraph(sentence(answer))]
    if good and (full or len(good) <= _LISTED):
        parts.append(_matched_table(good))
    elif good:
        sums: dict[tuple[str, str], int] = {}
        for one in good:
            key = (one.plan or "no plan", one.kiln or "–")
            sums[key] = sums.get(key, 0) + 1
        most = sorted(sums.items(), key=lambda pair: -pair[1])
        rows = [(plan, kiln, str(count)) for (plan, kiln), count in most[:_LISTED]]
        parts.append(Section("", [Table(("plan", "kiln", "firings"), "llr", rows)]))
    kilns = {(one.kiln, one.why_kiln) for one in good}
    if len(good) == 1 and not unsure and not full:
        parts.append(Paragraph(_why_words(good[0])))
    elif len(kilns) == 1 and (kiln := kilns.pop())[0]:
        parts.append(Paragraph(f"All in {kiln[0]}: {kiln[1] or 'as given'}."))
    if full:
        parts.append(Section("Why these plans", [Bullets([_why_words(one) for one in good])]))
    if unsure:
        step = "Check these; say which with --plan or --kiln, or later with 'firing logbook add'."
        # In full every log's reason stands above already.
        words = [_file_name(one.log) for one in unsure] if full else (
            _some([shorten(_why_words(one), _SENTENCE) for one in unsure], full)
        )  # fmt: skip
        parts.append(Section("Not sure", [Paragraph(step), Bullets(words)]))
    there = [one for one in found if one.state in ("known", "grown")]
    told = [one for one in there if one.twin or one.added or one.differs or len(there) == 1]
    if told:
        lines = _some([_there_words(one) for one in told], full)
        title = "The same firing" if len(beside) == len(told) else "In the logbook already"
        parts.append(Section(title, [Bullets(lines)]))
    refused = [one.why for one in found if one.state == "refused"]
    if refused:
        parts.append(Section("Refused", [Bullets(_some(refused, full))]))
    choices: dict[str, list[str]] = {}
    for one in good:
        for note in one.notes:
            if full or " --" in note:
                choices.setdefault(note, []).append(_file_name(one.log))
    read = [
        f"{logs[0]}: {note}" if len(logs) == 1 else f"{logs[0]} and {len(logs) - 1} more: {note}"
        for note, logs in choices.items()
    ]
    if read:
        parts.append(Section("How the logs were read", [Bullets(_some(read, full))]))
    return Report(kind, "", parts)


def _some(lines: Sequence[str], full: bool) -> list[str]:
    """Return the first lines, and how many more there are."""
    if full or len(lines) <= _TOLD:
        return list(lines)
    return [*lines[:_TOLD], f"And {len(lines) - _TOLD} more; --full shows them."]


def _why_words(one: KeptLog) -> str:
    """Return why a log was taken for a firing of its plan, in its kiln where that was open."""
    taken = f"taken for {one.plan}" if one.plan else "no plan"
    why = "; ".join(filter(None, (one.why, one.why_kiln and f"kiln: {one.why_kiln}")))
    return f"{_file_name(one.log)}: {taken}: {why}."


def _there_words(one: KeptLog) -> str:
    """Return which firing a log is that is there already, and what was added to it."""
    twin = f"the same firing as {one.twin}" if one.twin else ""
    number = "" if one.id is None else f"firing {one.id}"
    lines = [f"{_file_name(one.log)} is {', '.join(filter(None, (number, twin)))}."]
    lines += [f"Added to it: {', '.join(one.added)}."] if one.added else []
    return " ".join((*lines, *(f"{sentence(words)}." for words in one.differs)))


def _file_name(path: str) -> str:
    return re.split(r"[/\\]", path)[-1]


def _matched_table(found: Sequence[KeptLog]) -> Section:
    kiln = len({one.kiln for one in found}) > 1
    rows = [
        (
            "" if one.id is None else str(one.id),
            shorten(_file_name(one.log), 24),
            shorten(one.plan or "no plan", 24 if kiln else 40),
            *([one.kiln or "–"] if kiln else []),
            "" if one.sure and one.plan else "not sure",
        )
        for one in found
    ]
    open_ones = any(row[-1] for row in rows)
    headers = ("#", "log", "plan", *(["kiln"] if kiln else []), *(["match"] if open_ones else []))
    shown = rows if open_ones else [row[:-1] for row in rows]
    return Section("", [Table(headers, f"rll{'l' * kiln}{'l' * open_ones}", shown)])


def events_report(events: Sequence[Event]) -> Report:
    """Return what was done to the kilns."""
    if not events:
        step = 'Note it with: firing logbook event KILN "new elements" --on 2026-03-01'
        return Report("Events", "", [Paragraph("Nothing is noted yet."), Paragraph(step)])
    rows = [(str(one.id), f"{one.when:%Y-%m-%d}", one.kiln, one.kind, one.words) for one in events]
    return Report("Events", "", [Table(("#", "day", "kiln", "what", "note"), "rllll", rows)])


def check_report(found: CheckReport) -> Report:
    """Return what a check of the logbook found, and what to do."""
    if found.wrong:
        answer = "The logbook is damaged. Run 'firing logbook restore': it saves what can be read."
    else:
        answer = "The logbook is sound: every log is there, byte for byte."
    held = f"{counted(found.firings, 'firing')} and {counted(found.events, 'event')} in"
    lines = [f"{held if found.firings or not found.wrong else 'File:'} {found.path}."]
    if found.older:
        lines.append(_older_words(found.older))
    newest = "none; make one with 'firing logbook backup'"
    if found.backup is not None:
        newest = f"{found.backup.name}"
    lines.append(f"Newest backup: {newest}.")
    if found.wrong:
        more = f", and {len(found.wrong) - 1:,} more" if len(found.wrong) > 1 else ""
        lines.append(f"Found: {shorten(found.wrong[0], 140)}{more}.")
    return Report("Check of the logbook", "", [Paragraph(answer), Figures(lines)])


def rescue_report(found: Rescue) -> Report:
    """Return what was saved of a damaged logbook, and what was not."""
    are = "is" if found.firings == 1 else "are"
    lines = [f"{counted(found.firings, 'firing')} {are} in the logbook again."]
    if found.backup is not None:
        made = f"{found.backup_at:%Y-%m-%d %H:%M:%S}"
        lines.append(
            f"The backup {found.backup.name}, made {made}, held {found.from_backup:,}. "
            "What was changed after that may be lost, but for what the damaged file still shows."
        )
    if found.damaged is not None and found.read:
        lines.append(
            f"{found.read:,} could be read of the damaged file, and what it says of them counts."
        )
        if found.firings > found.read:
            lines.append(
                f"{found.firings - found.read:,} are only in the backup: the damaged file lost "
                "them, or you removed them later."
            )
    elif found.damaged is not None:
        lines.append(
            "Nothing more could be read of the damaged file; keep newer logs again from your "
            "logger's files."
        )
    if found.bare:
        lines.append(
            f"{found.bare:,} logs were saved without plan, kiln and notes; add them with "
            "'firing logbook add'."
        )
    if found.unreadable:
        lines.append(
            f"{found.unreadable:,} logs in the damaged file can't be read. Those that the backup "
            "lacks have to be kept again from the logger's files."
        )
    if found.lost:
        words = " and ".join(filter(None, (", ".join(found.lost[:-1]), found.lost[-1])))
        lines.append(
            f"Not all {words} could be read of it; look through them, and note them again."
        )
    if found.damaged is not None:
        lines.append(f"The damaged file is {found.damaged.name}.")
    return Report("Restored", "", [Figures(lines)])


@dataclass(frozen=True, slots=True)
class MonthSum(Serialised):
    """What the firings of a month, of one person if named, came to; energy and cost if noted."""

    month: str
    member: str
    firings: int
    kwh: float | None
    kwh_of: int
    """Of so many firings the energy is known."""
    costs: dict[str, float]
    """The cost by its currency."""


def month_sums(firings: Iterable[Firing]) -> list[MonthSum]:
    """Return what every month came to, the newest first, each person's part of it apart.

    A firing that was logged twice counts once.
    """
    groups: dict[tuple[str, str], list[Firing]] = {}
    for one in each_once(firings):
        groups.setdefault((f"{one.started:%Y-%m}", one.member), []).append(one)
    found = []
    for (month, member), group in sorted(groups.items(), key=lambda pair: pair[0][1]):
        kwh = [one.kwh for one in group if one.kwh is not None]
        costs: dict[str, float] = {}
        for one in group:
            if one.cost is not None:
                costs[one.currency] = costs.get(one.currency, 0.0) + one.cost
        total = sum(kwh) if kwh else None
        found.append(MonthSum(month, member, len(group), total, len(kwh), costs))
    return sorted(found, key=lambda one: one.month, reverse=True)


def _months_table(sums: Sequence[MonthSum]) -> Section | None:
    if not sums:
        return None
    members = any(one.member for one in sums)
    rows = [
        (
            one.month,
            *([one.member or "–"] if members else []),
            str(one.firings),
            "–" if one.kwh is None else f"{one.kwh:.0f}",
            str(one.kwh_of),
            ", ".join(f"{cost:.2f} {unit}".rstrip() for unit, cost in one.costs.items()) or "–",
        )
        for one in sums
    ]
    headers = ("month", *(["for"] if members else []), "firings", "kWh", "kWh known of", "cost")
    table = Table(headers, f"l{'l' * members}rrrr", rows, "Energy and cost by month")
    return Section("Energy and cost", [table])


def _twice(firings: Sequence[Firing]) -> Bullets | None:
    """Return which logs are of one firing, and how to let go of the second."""
    pairs = [(group[0].id, one.id) for group in by_firing(firings) for one in group[1:]]
    lines = [
        f"Firings {first} and {second} are of one firing, logged twice, which counts once; "
        f"'firing logbook remove {second}' takes the second out."
        for first, second in pairs
    ]
    return Bullets(_some(lines, full=False)) if lines else None


def page_report(
    firings: Sequence[Firing],
    events: Sequence[Event],
    trends: Report,
    *,
    listed: int | None = None,
    unit: TemperatureUnit = "C",
) -> Report:
    """Return the logbook as one report: its sums, trends, months, events and firings."""
    shown = list_report(firings[:listed], len(firings), unit=unit)
    sums, once = month_sums(firings), each_once(firings)
    late = sum(one.late for one in once)
    tiles = [Tile("firings", f"{len(once):,}", f"{late} ran late" if late else "none ran late")]
    if firings:
        tiles.append(Tile("newest", f"{firings[0].started:%Y-%m-%d}", firings[0].plan))
    if known := sum(one.kwh_of for one in sums):
        kwh = sum(one.kwh or 0.0 for one in sums)
        tiles.append(Tile("energy", f"{kwh:,.0f} kWh", f"of {known} firings"))
    return Report(
        "Logbook",
        "the kept firings",
        [
            on_page(Tiles(tiles)),
            Section("Trends", trends.parts),
            _months_table(sums),
            _twice(firings),
            Section("Done to the kilns", events_report(events).parts) if events else None,
            Section("Firings", shown.parts),
        ],
        subject="The kept firings",
        answer=trends.answer,
        unit=unit,
    )
