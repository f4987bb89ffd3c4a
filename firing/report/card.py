"""The key-in card: what to key, tick by tick, when each segment should end, and what to do by hand.

As text for a terminal, and as one page that prints on one sheet and needs no script.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from firing.clock import after_iso
from firing.cones.table import describe_number
from firing.controller.program import KeyedProgram
from firing.forecast.result import Forecast
from firing.report.formatting import Timekeeper, hours_minutes, join_units, sentence
from firing.report.html import bullets, paragraph, prose, text
from firing.report.sanitize import plain, to_ascii, wrap
from firing.report.table import render_table
from firing.safety import DEFERENCE, Caution, cautions_for
from firing.units import format_duration, format_temperature, from_celsius

TICK = "[ ]"
_NO_BREAK = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True, eq=False)
class Card:
    """A program ready to be keyed, and the forecast of it as keyed."""

    program: KeyedProgram
    forecast: Forecast

    @property
    def keeper(self) -> Timekeeper:
        """Says the moments of the firing."""
        return Timekeeper(self.forecast.started, self.forecast.total_s)

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
        return {
            "schema": 1,
            "kind": "card",
            "title": self.program.original.title,
            "starts_at": after_iso(started, 0.0),
            "program_ends_at": after_iso(started, self.forecast.program_s),
            "opens_at": after_iso(started, self.forecast.total_s),
            "program_s": self.forecast.program_s,
            "total_s": self.forecast.total_s,
            "unload_c": self.forecast.unload_c,
            "basis": self.forecast.basis,
            "cautions": [caution.heading for caution in self.cautions],
            "deference": DEFERENCE,
            "breaches": [breach.to_dict() for breach in self.forecast.breaches],
            "ware_cautions": _ware_cautions(self),
            **program,
        }


def _headers(card: Card) -> tuple[str, ...]:
    unit = card.program.controller.unit
    how = "minutes" if card.program.controller.notation == "time" else f"°{unit}/h"
    return ("#", "segment", how, f"to °{unit}", "hold", "ends")


def _cells(card: Card) -> Iterator[tuple[str, ...]]:
    program = card.program
    unit = program.controller.unit
    by_time = program.controller.notation == "time"
    for index, segment in enumerate(program.schedule.segments):
        chosen = f"{program.keyed_minutes(index)}" if by_time else f"{program.keyed_rate(index):g}"
        yield (
            str(index + 1),
            segment.name,
            chosen if segment.drive == "rate" else f"{chosen}*",
            f"{from_celsius(segment.target_c, unit):.10g}",
            hours_minutes(segment.hold_s) if segment.hold_s else "–",
            _ends(card, index),
        )


def _ends(card: Card, index: int) -> str:
    timed = card.forecast.segments[index]
    return card.keeper.at(timed.end_s) if timed.ends else "never"


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
    return [*program.changes, f"Together that changes the program by {minutes}; {cones}."]


def _by_hand(card: Card) -> list[str]:
    keeper, unit = card.keeper, card.program.controller.unit
    found = []
    for index, segment in enumerate(card.program.schedule.segments):
        if segment.action:
            moment = keeper.when(card.forecast.segments[index].end_s, about=True)
            at = format_temperature(segment.target_c, unit)
            found.append(
                f"{sentence(moment)}, at {at}, end of segment {index + 1}: {segment.action}"
            )
    return found


def _times(card: Card) -> str:
    keeper, course = card.keeper, card.forecast
    return (
        f"{sentence(keeper.start_words())}. The program ends "
        f"{keeper.when(course.program_s, about=True)}; the kiln is at "
        f"{format_temperature(course.unload_c, card.program.controller.unit)} "
        f"{keeper.when(course.total_s, about=True)}."
    )


def _ware_cautions(card: Card) -> list[str]:
    """Say what would not be safe if the ware is less good-natured than usual."""
    ware = card.forecast.ware
    return [] if ware is None else [caution.message for caution in ware.cautions]


def _ware_words(card: Card) -> list[tuple[str, list[str]]]:
    """Say what the load makes of the program as keyed: what comes before any keying."""
    found = [
        ("Not safe for this load: do not key it", [b.message for b in card.forecast.breaches]),
        ("Check before you start", _ware_cautions(card)),
    ]
    return [(heading, items) for heading, items in found if items]


def _check_words(card: Card) -> str:
    count = len(card.program.schedule.segments)
    what = "segment" if count == 1 else "segments"
    return (
        f"Read back all {count} {what} from the controller before starting, figure by figure, and "
        "tick the second box; a slip of a zero is found here or in the ware."
    )


def card_text(card: Card, *, width: int = 80, ascii_only: bool = False) -> str:
    """Return the card for a terminal.

    Parameters
    ----------
    card : Card
        What to show.
    width : int
        Widest line [columns].
    ascii_only : bool
        Keep to ASCII.
    """
    program = card.program
    lines = [*_wrapped(f"Key-in card: {program.original.title}", width)]
    lines += _wrapped(f"For: {program.controller.name}. {_times(card)}", width)
    for heading, items in _ware_words(card):
        lines += ["", heading, *_listed(items, width)]
    lines.append("")
    rows = [(*row, TICK, TICK) for row in _cells(card)]
    table = render_table((*_headers(card), "keyed", "read back"), rows, "rlrrrlll", width=width)
    lines += table.split("\n")
    for words in (*_free_words(card), _check_words(card)):
        lines += _wrapped(words, width)
    for heading, items in (
        ("By hand", _by_hand(card)),
        ("Rounding", _effect(card)),
        ("Cautions that apply", ["; ".join(caution.heading for caution in card.cautions)]),
    ):
        if items:
            lines += ["", heading, *_listed(items, width)]
    lines += ["", *_wrapped(DEFERENCE, width)]
    lines += _wrapped(f"Times: {card.forecast.basis}.", width)
    result = "\n".join(lines)
    return to_ascii(result) if ascii_only else result


def _listed(items: list[str], width: int) -> list[str]:
    lines = []
    for item in items:
        first, *rest = _wrapped(item, width - 2)
        lines += [f"• {first}", *(f"  {line}" for line in rest)]
    return lines


def _wrapped(words: str, width: int) -> list[str]:
    return [line.replace(_NO_BREAK, " ") for line in wrap(join_units(plain(words)), width)]


_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'"
)
_CSS = """
@page { size: A4; margin: 12mm; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 46rem; padding: 1rem; background: #ffffff; color: #1f1b16;
  font: 0.95rem/1.35 ui-sans-serif, system-ui, "Liberation Sans", sans-serif; }
h1 { font-size: 1.35rem; margin: 0 0 0.3rem; overflow-wrap: anywhere; }
h2 { font-size: 1rem; margin: 0.8rem 0 0.2rem; }
p, ul { margin: 0.2rem 0; }
ul { padding-left: 1.2rem; }
li { overflow-wrap: anywhere; }
table { width: 100%; border-collapse: collapse; margin: 0.6rem 0;
  font-variant-numeric: tabular-nums; }
caption { text-align: left; font-weight: 600; }
th, td { border-bottom: 1px solid #8a8178; padding: 0.3rem 0.4rem; vertical-align: middle; }
.r { text-align: right; } .l { text-align: left; } .big { font-size: 1.15rem; font-weight: 600; }
.tick { text-align: center; }
.box { display: inline-block; width: 1.1rem; height: 1.1rem; border: 1.5px solid #1f1b16; }
.quiet { color: #5d554b; font-size: 0.85rem; }
.blank { display: inline-block; min-width: 7rem; border-bottom: 1px solid #1f1b16; }
@media print { body { max-width: none; padding: 0; font-size: 9.5pt; } tr { break-inside: avoid; } }
"""


def card_page(card: Card) -> str:
    """Return the card as one HTML page for one sheet of A4; it needs no script and no network.

    Parameters
    ----------
    card : Card
        What to show.
    """
    program = card.program
    title = program.original.title
    align = "rlrrrl"
    head = "".join(
        f'<th scope="col" class="{letter}">{text(cell)}</th>'
        for cell, letter in zip(_headers(card), align, strict=True)
    )
    head += '<th scope="col" class="tick">keyed</th><th scope="col" class="tick">read back</th>'
    box = '<td class="tick"><span class="box" role="img" aria-label="box to tick"></span></td>'
    rows = []
    for cells in _cells(card):
        inner = f'<th scope="row" class="r">{text(cells[0])}</th>'
        for place, (cell, letter) in enumerate(zip(cells[1:], align[1:], strict=True)):
            big = " big" if 1 <= place <= 3 else ""
            inner += f'<td class="{letter}{big}">{text(cell)}</td>'
        rows.append(f"<tr>{inner}{box}{box}</tr>")
    body = "\n".join(rows)
    started = card.forecast.started is not None
    blank = "" if started else 'Started at: <span class="blank">&nbsp;</span> '
    hands = f"<h2>By hand</h2>\n{bullets(_by_hand(card))}" if _by_hand(card) else ""
    ware = "".join(f"<h2>{text(h)}</h2>\n{bullets(items)}\n" for h, items in _ware_words(card))
    cautions = "; ".join(caution.heading for caution in card.cautions)
    free = "\n".join(paragraph(words, kind="quiet") for words in _free_words(card))
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{_POLICY}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>{text(f"Key-in card: {title}")}</title>
<link rel="icon" href="data:,">
<style>{_CSS}</style>
</head>
<body>
<main>
<h1>{text(title)}</h1>
{paragraph(f"For: {program.controller.name}. {_times(card)}")}
{ware}<table>
<caption>Key in from the top; tick each segment when keyed, and again when read back</caption>
<thead><tr>{head}</tr></thead>
<tbody>
{body}
</tbody>
</table>
{free}
{paragraph(_check_words(card))}
<p>{blank}Witness cones set: <span class="blank">&nbsp;</span> Keyed by:
<span class="blank">&nbsp;</span></p>
{hands}
<h2>Rounding</h2>
{bullets(_effect(card))}
<h2>Cautions that apply</h2>
<p>{prose(cautions)}.</p>
{paragraph(DEFERENCE, kind="quiet")}
{paragraph(f"Times: {card.forecast.basis}.", kind="quiet")}
</main>
</body>
</html>
"""
