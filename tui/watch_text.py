"""What the Watch screen says: what is going on, the panel of figures, and what was told."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from firing.capture.reading import Status
from firing.cones.table import describe_number
from firing.report.words import sentence
from firing.units import TemperatureUnit, format_duration, format_rate, format_temperature
from firing.watch.calls import REPEATED_FOR_S, Call
from firing.watch.snapshot import RecordingState, WatchRemark, WatchState
from firing.watch.state import POSITION_PART, Estimate
from firing.watch.status_text import (
    MomentText,
    cone_text,
    end_texts,
    energy_text,
    position_text,
    temperature_text,
)

from .widgets.headline import HeadlineFigures

if TYPE_CHECKING:
    from firing.schedule.schedule import Schedule

UNSYNCED_LATE_S = 15.0
"""Lines are put on the disk every 10 s; from here on a person should know that they are not [s]."""
_MARKS = {"alarm": "ALARM: ", "over": "Over: ", "call": "TO DO: ", "told": "", "note": ""}


@dataclass(frozen=True, slots=True)
class WatchFigure:
    """One entry of the panel: what it is, and its lines, each of which may be wrapped."""

    label: str
    lines: tuple[str, ...]


def stage_words(seen: WatchState, source: str) -> tuple[str, bool]:
    """Return what is going on with a source, and whether that is a fault."""
    if seen.stage == "connecting":
        return f"Connecting to {source} …  (^X leaves it)", False
    if seen.stage == "waiting":
        return f"Connected to {source}; no line yet.", False
    if seen.stage == "reading" and not seen.live:
        return f"Replaying {source}: times and temperatures are the log's, not of now.", False
    if seen.stage == "reading":
        return f"Reading {source}.", False
    if seen.stage == "silent":
        since_s = seen.now_s - (seen.read_s or 0.0)
        return f"SILENT: no line from {source} for {format_duration(since_s)}.", True
    if seen.stage == "lost":
        return f"LOST, reconnecting: {seen.why}.", True
    if seen.stage == "ended":
        return f"The source ended ({source}): nothing more will come.", False
    if seen.stage == "stopped":
        return "The watch was ended; ^O begins another.", False
    return f"NOT WATCHING: {seen.why}.", True


def alarm_words(seen: WatchState) -> list[str]:
    """Return what somebody has to look after now, a sentence each."""
    found = []
    if seen.began is not None:
        moments = MomentText(seen.began, seen.now_s)
        answers = {call.message: _answer_words(call) for call in seen.open_calls}
        found = [
            f"ALARM since {moments.at(r.at_s)}{answers.get(r.words, '')}: {r.words}."
            for r in seen.standing
        ]
        found += [
            f"TO DO since {moments.at(call.at_s)}{_answer_words(call)}: {call.message}."
            for call in seen.open_calls
            if not call.stands and _is_of_now(call, seen)
        ]
    kept = seen.recording
    if kept is not None and kept.trouble:
        found.append(
            f"NOT ON THE DISK: {kept.file} takes no more lines: {kept.trouble}; look at it now."
        )
    if seen.not_recorded:
        found.append(f"{seen.not_recorded}.")
    return found


def _answer_words(call: Call) -> str:
    return " (acknowledged)" if call.acknowledged else " (snoozed)" if call.snoozed else ""


def _is_of_now(call: Call, seen: WatchState) -> bool:
    """Tell whether there still is something to do: in a replay nobody has done it."""
    return seen.live or call.stands or seen.now_s - call.at_s <= REPEATED_FOR_S


def waits(seen: WatchState) -> bool:
    """Tell whether something calls somebody, and nobody has answered."""
    return any(call.unanswered and _is_of_now(call, seen) for call in seen.open_calls)


def may_acknowledge(seen: WatchState) -> bool:
    """Tell whether something calls somebody, though it may be snoozed."""
    return any(not call.acknowledged and _is_of_now(call, seen) for call in seen.open_calls)


_SHOWN_LARGE = ("Now", "By hand", "Program")
_NO_READING = "--"


def beside_headline(found: list[WatchFigure]) -> list[WatchFigure]:
    """Return what of the panel the headline does not show already."""
    kept = []
    for figure in found:
        places = tuple(line for line in figure.lines if line.startswith("segment "))
        if figure.label == "Plan" and places:
            kept.append(replace(figure, lines=places))
        elif figure.label not in _SHOWN_LARGE:
            kept.append(figure)
    return kept


def headline(seen: WatchState, schedule: Schedule | None, unit: TemperatureUnit) -> HeadlineFigures:
    """Return what is to be read from across the room."""
    if seen.began is None:
        return HeadlineFigures(_NO_READING)
    moments = MomentText(seen.began, seen.now_s)
    current = seen.stage == "reading" or (seen.over and not seen.live)
    hot = format_temperature(seen.temperature_c, unit)
    known = not math.isnan(seen.temperature_c)
    estimate = seen.estimate or Estimate(0.0, math.nan, None, None, "", None)
    now = replace(estimate, now_s=seen.now_s, temperature_c=seen.temperature_c)
    lines: list[str] = []
    if known and not current:
        lines.append(f"no reading now; {hot} at {moments.at(seen.read_s or 0.0)}")
    # Where it stands is told in the panel: here only how far from the plan it is, and how late.
    away = position_text(now, schedule, unit)
    aside = [words for words in away if not words.startswith("segment ")]
    rate = ""
    if now.rate_c_per_h is not None:
        rate = format_rate(now.rate_c_per_h, unit).replace("-", "−")
    if current:
        lines.append(", ".join([*aside, rate] if rate else aside) or rate)
    at = what = ""
    if now.action and now.action_s is not None:
        at, what = moments.at(now.action_s), now.action
    if now.program_end_s is not None:
        span = moments.range(now.program_end_s, now.program_end_low_s, now.program_end_high_s)
        if not at:
            at, what = moments.at(now.program_end_s), "program ends"
        lines.append(f"ends {span}")
    elif now.unload_s is not None and now.unload_s > now.now_s and not at:
        at, what = moments.at(now.unload_s), "cool enough to unload"
    if current:
        lines += _other_channels(seen, unit)[:2]
    # Large digits are no text: whoever has them read aloud, or copies them, finds them here, too.
    now_words = f"now {moments.now}, {hot}" if known and current else f"now {moments.now}"
    lines.append(now_words + ("" if seen.live else ", replayed"))
    return HeadlineFigures(
        hot if known and current else _NO_READING,
        tuple(line for line in lines if line),
        at,
        what,
        waits(seen),
    )


def figures(
    seen: WatchState, schedule: Schedule | None, unit: TemperatureUnit
) -> list[WatchFigure]:
    """Return the panel from top to bottom."""
    if seen.began is None:
        return []
    # Worked out some seconds ago; the clock and the temperature have gone on since.
    estimate = seen.estimate or Estimate(0.0, math.nan, None, None, "", None)
    now = replace(estimate, now_s=seen.now_s, temperature_c=seen.temperature_c)
    moments = MomentText(seen.began, seen.now_s)
    found = [WatchFigure("Now", (f"{moments.now}  {temperature_text(now, unit)}",))]
    place = position_text(now, schedule, unit)
    if schedule is not None:
        missing = "not known now" if POSITION_PART in now.untold else "not known yet"
        found.append(WatchFigure("Plan", tuple(place) or (missing,)))
    if now.action and now.action_s is not None:
        found.append(WatchFigure("By hand", (f"{moments.at(now.action_s)} {now.action}",)))
    if now.stalls_c is not None:
        stands = format_temperature(now.stalls_c, unit)
        found.append(WatchFigure("Kiln", (f"by its model it does not get beyond {stands}",)))
    found += _heat(now, moments)
    found += _ends(now, moments)
    if now.untold:
        found.append(WatchFigure("Not known now", (", ".join(now.untold),)))
    found.append(WatchFigure("Recording", tuple(_recording(seen.recording, seen.over))))
    return found + _others(seen, unit)


def _heat(now: Estimate, moments: MomentText) -> list[WatchFigure]:
    lines = []
    if now.reached_number is not None:
        so_far = f"cone {describe_number(now.reached_number)} so far"
        if now.low is not None and now.high is not None:
            low, high = describe_number(now.low), describe_number(now.high)
            so_far += f" ({low} to {high})" if low != high else ""
        lines.append(so_far)
    lines += [words for cone in now.cones if (words := cone_text(cone, moments))]
    return [WatchFigure("Heat-work", tuple(lines))] if lines else []


def _ends(now: Estimate, moments: MomentText) -> list[WatchFigure]:
    found = []
    ends, unload = end_texts(now, moments)
    if ends:
        found.append(WatchFigure("Program", (f"ends {ends}",)))
    if unload:
        found.append(WatchFigure("Unload", (unload,)))
    if energy := energy_text(now):
        found.append(WatchFigure("Energy", (energy,)))
    return found


def _others(seen: WatchState, unit: TemperatureUnit) -> list[WatchFigure]:
    """Return the other channels as they were read last, and what is held against the kiln's."""
    lines = _other_channels(seen, unit)
    return [WatchFigure("Channels", tuple(lines))] if lines else []


def _other_channels(seen: WatchState, unit: TemperatureUnit) -> list[str]:
    reading = seen.reading
    if reading is None:
        return []
    lines: list[str] = []
    for number, (name, value_c, status) in enumerate(
        zip(seen.names, reading.values_c, reading.statuses, strict=True)
    ):
        if number == seen.channel and status is Status.OK:
            continue
        value = "" if math.isnan(value_c) else format_temperature(value_c, unit)
        lines.append(" ".join(part for part in (name, value, status.value) if part))
    return lines


def lines_words(number: int) -> str:
    """Return a number of lines in words."""
    return f"{number} line" if number == 1 else f"{number} lines"


def _recording(kept: RecordingState | None, over: bool) -> list[str]:
    if kept is None:
        return ["none"]
    lines = [kept.file, lines_words(kept.rows)]
    if kept.waiting:
        lines[1] += f", {kept.waiting} of them NOT in the file"
    elif over:
        lines[1] += ", all on the disk"
    elif kept.unsynced_s is None:
        lines[1] += ", on the disk"
    elif kept.unsynced_s > UNSYNCED_LATE_S:
        lines[1] += f", NOT on the disk for {format_duration(kept.unsynced_s)}"
    else:
        lines[1] += f", on the disk {kept.unsynced_s:.0f} s ago"
    if kept.lost:
        lines.append(f"{lines_words(kept.lost)} LOST")
    if kept.gap:
        lines.append(f"gap: {kept.gap}")
    return lines


def remark_words(remark: WatchRemark, moments: MomentText) -> tuple[str, str]:
    """Return when something was told, and what."""
    words = f"{_MARKS[remark.kind]}{remark.words}."
    # The name of a file or a port stays as it is written.
    named = any(character in "./\\:" for character in remark.words.split(" ")[0])
    return moments.at(remark.at_s), words if named else sentence(words)
