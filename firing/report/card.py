"""The key-in card: what to key, tick by tick, when each segment should end, and what to do by hand.

As text for a terminal, and as one page that prints on one sheet and needs no script.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from firing.clock import after_iso
from firing.cones.table import describe_number
from firing.controller.program import HandAction, KeyedProgram
from firing.forecast.result import Forecast
from firing.report.cautions import cautions_named
from firing.report.document import (
    Bullets,
    FillIn,
    Paragraph,
    Report,
    Section,
    Table,
    on_page,
    on_text,
)
from firing.report.forecast import cone_falls, still_stands
from firing.report.words import Timekeeper, forecast_times, opening_range, sentence
from firing.safety import DEFERENCE, Caution, cautions_for
from firing.units import format_duration, format_temperature, from_celsius, hours_minutes

_TICK = "[ ]"


@dataclass(frozen=True, eq=False)
class Card:
    """A program ready to be keyed, and the forecast of it as keyed."""

    program: KeyedProgram
    forecast: Forecast

    @property
    def keeper(self) -> Timekeeper:
        """Says the moments of the firing."""
        return forecast_times(self.forecast)

    @property
    def to_do(self) -> tuple[str, ...]:
        """What the forecast says is to be done first, but for what the ware forbids."""
        return tuple(
            w.message
            for w in self.forecast.warnings
            if w.severity == "act" and w.id != "ware_limit"
        )

    @property
    def to_check(self) -> tuple[str, ...]:
        """What is taken for granted, what a slow clay would not bear, and a cone not quite met."""
        told = ("hot_start", "slow_drying", "cone_off_target")
        return tuple(
            w.message for w in self.forecast.warnings if w.severity == "check" and w.id in told
        )

    @property
    def needs_action(self) -> bool:
        """Whether something is to be done before the program is keyed in."""
        return self.forecast.needs_action or bool(self.program.merged)

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """The cautions that apply."""
        schedule = self.program.schedule
        return cautions_for(schedule.peak_c, schedule.purpose)

    def to_dict(self) -> dict[str, Any]:
        """Return the card as one JSON document, schema 1."""
        started = self.forecast.started
        program = self.program.to_dict()
        for row, segment in zip(program["rows"], self.forecast.segments, strict=True):
            row["ends_s"] = segment.end_s
            row["ends_at"] = after_iso(started, segment.end_s)
        for shown, action in zip(program["actions"], self.program.actions, strict=True):
            shown["at_s"] = moment_of(self, action)
            shown["at"] = after_iso(started, shown["at_s"])
        return {
            "schema": 1,
            "kind": "card",
            "title": self.program.original.title,
            "starts_at": after_iso(started, 0.0),
            "program_ends_at": after_iso(started, self.forecast.program_s),
            "opens_at": after_iso(started, self.forecast.total_s),
            "program_s": self.forecast.program_s,
            "total_s": self.forecast.total_s,
            "total_low_s": self.forecast.total_low_s,
            "total_high_s": self.forecast.total_high_s,
            "opens_at_low": after_iso(started, self.forecast.total_low_s),
            "opens_at_high": after_iso(started, self.forecast.total_high_s),
            "unload_c": self.forecast.unload_c,
            "basis": self.forecast.basis,
            "cones": {**self.forecast.cones.to_dict(), "target": self.forecast.target_cone},
            "cautions": [caution.heading for caution in self.cautions],
            "deference": DEFERENCE,
            "breaches": [breach.to_dict() for breach in self.forecast.breaches],
            "ware_cautions": _ware_cautions(self),
            "to_do": list(self.to_do),
            "to_check": list(self.to_check),
            "assumed_at_start": self.forecast.assumed or None,
            **program,
        }


def card_report(card: Card) -> Report:
    """Return the card as a report; its page is one sheet of A4 to print, and needs no script."""
    program = card.program
    # A kiln changes how fast it heats to the last, and so the cone: a design with one has another.
    times = f"Times and cone: {card.forecast.basis}."
    if card.forecast.kiln is None:
        times += " A design made with --kiln agrees with a card made with the same --kiln."
    to_write = [
        "Load", "Witness cones set", "Keyed by", "Started at", "Finished at", "Peak reached",
        "Witness cones after", "Opened at", "Signed",
    ]  # fmt: skip
    broken = [breach.message for breach in card.forecast.breaches]
    free = [Paragraph(words, "quiet") for words in _free_words(card)]
    names = cautions_named(card.cautions)
    return Report(
        "Key-in card",
        program.original.title,
        [
            Paragraph(f"For: {program.controller.name}. {_times(card)}"),
            Paragraph(f"{_cone_words(card)} {_peak_words(card)}"),
            Section("Not safe for this load: do not key it", [Bullets(broken)]),
            Section("To do before you key it", [Bullets(card.to_do)]),
            Section("Too many segments for this controller", [Bullets(_merged(card))]),
            Section("Check before you start", [Bullets(card.to_check)]),
            Section("", [_table(card), *free, Paragraph(_check_words(card))]),
            FillIn(to_write),
            Section("At the kiln", [Bullets(_by_hand(card))]),
            Section("Rounding", [Bullets(_effect(card))]),
            Section(
                "Cautions that apply",
                [on_text(Bullets([names.words.removesuffix(".")])), on_page(names)],
            ),
            Section("", [Paragraph(DEFERENCE, "quiet"), Paragraph(times, "quiet")]),
        ],
        sheet=True,
        unit=program.controller.unit,
    )


def _cone_words(card: Card) -> str:
    """Say what the program as keyed comes to, beside the cone it is for."""
    wanted, comes = card.forecast.target_cone, card.forecast.cones.words
    if wanted is None:
        return f"As keyed it comes to {comes}."
    return f"For cone {wanted}; as keyed it comes to {comes}.{cone_falls(card.forecast)}"


def _peak_words(card: Card) -> str:
    """Say the peak, and the unit of every figure."""
    unit = card.program.controller.unit
    peak = format_temperature(card.program.schedule.peak_c, unit)
    return f"Peak {peak}; every figure is in °{unit}, every hold in h:mm."


def _table(card: Card) -> Table:
    program = card.program
    unit = program.controller.unit
    by_time = program.controller.notation == "time"
    rows = []
    for index, segment in enumerate(program.schedule.segments):
        chosen = f"{program.keyed_minutes(index)}" if by_time else f"{program.keyed_rate(index):g}"
        timed = card.forecast.segments[index]
        rows.append(
            (
                str(index + 1),
                segment.name,
                chosen if segment.drive == "rate" else f"{chosen}*",
                f"{from_celsius(segment.target_c, unit):.10g}",
                hours_minutes(segment.hold_s) if segment.hold_s else "–",
                card.keeper.at(timed.end_s) if timed.ends else "never",
                _TICK,
                _TICK,
            )
        )
    how = "minutes" if by_time else f"°{unit}/h"
    return Table(
        ("#", "segment", how, f"to °{unit}", "hold h:mm", "ends", "keyed", "read back"),
        "rlrrrltt",
        rows,
        "Key in from the top; tick each segment when keyed, and again when read back",
        large=range(2, 5),
    )


def _free_words(card: Card) -> list[str]:
    """Say what stands for ramps without a rate."""
    drives = {segment.drive for segment in card.program.schedule.segments}
    words = []
    if "off" in drives:
        words.append(
            "* elements off: the fastest figure the controller takes; the kiln falls by itself."
        )
    if "unlimited" in drives:
        words.append("* all the power there is: the fastest figure the controller takes.")
    return words


def _effect(card: Card) -> list[str]:
    """Say what rounding and fitting changed."""
    program = card.program
    if not program.changes:
        return ["Nothing had to be rounded, split or merged."]
    before, after = program.cone_before, program.cone_after
    cones = f"cone {describe_number(before)} before, cone {describe_number(after)} as keyed"
    if before is None and after is None:
        cones = "no cone is down either way"
    elif before is not None and after is not None:
        cones += f" ({after - before:+.2f})".replace("-", "−")
    minutes = format_duration(program.added_s, signed=True)
    told = [words for words in program.changes if words not in program.merged]
    return [*told, f"Together that changes the program by {minutes}; {cones}."]


def moment_of(card: Card, action: HandAction) -> float:
    """Return when a hand action comes due [s]: as its segment ends, or as the kiln passes by."""
    leg = card.forecast.segments[action.segment]
    if not action.on_the_way:
        return leg.end_s
    trace = card.forecast.trace
    inside = (trace.time_s >= leg.start_s) & (trace.time_s <= leg.ramp_end_s)
    time_s, passed_c = trace.time_s[inside], trace.channel_c()[inside]
    if time_s.size < 2:
        return leg.ramp_end_s
    towards = 1.0 if leg.end_c > leg.from_c else -1.0
    there = np.maximum.accumulate(towards * passed_c)
    return float(np.interp(towards * action.at_c, there, time_s))


def _by_hand(card: Card) -> list[str]:
    keeper, unit = card.keeper, card.program.controller.unit
    found = []
    for action in card.program.actions:
        moment = keeper.when(moment_of(card, action), about=True)
        at = format_temperature(action.at_c, unit)
        where = "in the middle of" if action.on_the_way else "end of"
        found.append(
            f"{sentence(moment)}, at {at}, {where} segment {action.segment + 1}: {action.words}"
            f"{still_stands(card.forecast, moment_of(card, action), action.words)}"
        )
    return found


def _merged(card: Card) -> list[str]:
    """Say what was lost where ramps were merged to fit."""
    program = card.program
    if not program.merged:
        return []
    most = program.controller.max_segments
    return [
        f"The plan has more segments than the {most} your controller takes, so ramps were merged.",
        *program.merged,
        "To win that time back, key it in two parts, or design the plan for this controller.",
    ]


def _times(card: Card) -> str:
    keeper, course = card.keeper, card.forecast
    return (
        f"{sentence(keeper.start_words())}. The program ends "
        f"{keeper.when(course.program_s, about=True)}; the kiln is at "
        f"{format_temperature(course.unload_c, card.program.controller.unit)} "
        f"{keeper.when(course.total_s, about=True)}{opening_range(course)}."
    )


def _ware_cautions(card: Card) -> list[str]:
    """Say what would not be safe if the ware is less good-natured than usual."""
    ware = card.forecast.ware
    return [] if ware is None else [caution.message for caution in ware.cautions]


def _check_words(card: Card) -> str:
    count = len(card.program.schedule.segments)
    what = "segment" if count == 1 else "segments"
    return (
        f"Read back all {count} {what} from the controller before starting, figure by figure, and "
        "tick the second box; a slip of a zero is found here or in the ware."
    )
