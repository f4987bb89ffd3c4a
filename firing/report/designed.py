"""What a design and a resumption say on a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from firing.cones.table import describe_number
from firing.design.result import Design
from firing.design.resume import Resumption
from firing.forecast.result import Forecast
from firing.report.formatting import citations, join_units, sentence
from firing.report.rows import forecast_segments, slower_than_programmed
from firing.report.sanitize import plain, to_ascii, wrap
from firing.report.summary import forecast_answer, forecast_times
from firing.report.table import render_table
from firing.safety import DEFERENCE, cautions_for
from firing.units import format_duration, format_temperature

_NO_BREAK = "\N{NO-BREAK SPACE}"
_NUMBERS_TOLD = 5
_WORTH_TELLING_S = 60.0


def design_text(design: Design, *, width: int = 80, ascii_only: bool = False) -> str:
    """Return a design for the terminal: the program, why, what it costs, and what is wrong.

    Parameters
    ----------
    design : Design
        What to show.
    width : int
        Widest line [columns].
    ascii_only : bool
        Keep to ASCII.
    """
    course, unit = design.forecast, design.schedule.unit
    out = _Lines(width)
    out.heading(f"Design: {design.schedule.title}")
    if design.advice:
        out.text(f"To do first: {design.advice}")
    if design.problems:
        out.text("Not safe for this ware as it stands:")
        out.items(design.problems)
    out.text(
        f"Closing to opening at {format_temperature(course.unload_c, unit)}: "
        f"{format_duration(design.total_s)}."
    )
    for words in forecast_answer(course):
        out.text(words)
    _table(out, course)
    out.heading("Why")
    for index, reason in enumerate(design.reasons):
        sources = "".join(f" [{name}]" for name in reason.sources)
        if reason.sentences:
            out.items([f"Segment {index + 1}: {' '.join(reason.sentences)}{sources}"])
    out.section("Segments", _segments_words(design))
    out.section("To know", design.notes)
    _cautions(out, course)
    cited = [name for reason in design.reasons for name in reason.sources]
    out.section("Sources", [f"{name}: {words}" for name, words in citations(cited)])
    return out.finish(ascii_only)


def _segments_words(design: Design) -> list[str]:
    words = []
    if design.cost_of_segments_s is not None:
        count = len(design.schedule.segments)
        cost = format_duration(design.cost_of_segments_s)
        few = design.cost_of_segments_s < _WORTH_TELLING_S
        gain = "more would gain nothing" if few else f"any number of them would save {cost}"
        words.append(f"{count} of at most {design.controller.max_segments} are used; {gain}.")
    shown = [pair for pair in design.by_segments if pair[0] <= design.controller.max_segments]
    if len(shown) > 1:
        told = ", ".join(f"{n}: {format_duration(s)}" for n, s in shown[-_NUMBERS_TOLD:])
        words.append(f"Closing to opening by number of segments: {told}.")
    return words


def resume_text(found: Resumption, *, width: int = 80, ascii_only: bool = False) -> str:
    """Return a resumption for the terminal: where the firing stands, and what to key in now.

    Parameters
    ----------
    found : Resumption
        What to show.
    width : int
        Widest line [columns].
    ascii_only : bool
        Keep to ASCII.
    """
    out = _Lines(width)
    out.heading("After the interruption")
    for words in found.notes:
        out.text(words)
    if found.problems:
        out.text("Not safe for this ware as it stands:")
        out.items(found.problems)
    course = found.forecast
    if course is None:
        out.text("Nothing is left to key in: leave the kiln shut until it is cool.")
    else:
        out.heading("To key in now")
        if course.started is not None:
            out.text(f"{sentence(forecast_times(course).start_words())}.")
        _table(out, course)
        for words in forecast_answer(course)[:1]:
            out.text(words)
    low, high = describe_number(found.cones.low), describe_number(found.cones.high)
    out.text(
        f"Log and rest together amount to cone {describe_number(found.cones.reached_number)} "
        f"({low} to {high})."
    )
    out.section(
        "Why",
        [
            f"Segment {index + 1}: {' '.join(reason.sentences)}"
            for index, reason in enumerate(found.reasons)
            if reason.sentences
        ],
    )
    if course is not None:
        _cautions(out, course)
    return out.finish(ascii_only)


def _table(out: _Lines, course: Forecast) -> None:
    table = forecast_segments(course)
    out.gap()
    out.raw(render_table(table.headers, table.rows, table.align, width=out.width))
    out.text(slower_than_programmed(course))


def _cautions(out: _Lines, course: Forecast) -> None:
    cautions = cautions_for(course.schedule.peak_c, course.schedule.purpose)
    out.heading("Cautions that apply")
    out.text("; ".join(caution.heading for caution in cautions) + ".")
    out.text(DEFERENCE)


class _Lines:
    """Collects lines no wider than asked, and makes all text safe on the way in."""

    def __init__(self, width: int) -> None:
        self.width = width
        self._lines: list[str] = []

    def gap(self) -> None:
        if self._lines and self._lines[-1]:
            self._lines.append("")

    def raw(self, block: str) -> None:
        self._lines.extend(block.split("\n"))

    def heading(self, words: str) -> None:
        self.gap()
        self.text(words)

    def text(self, words: str) -> None:
        if words:
            self._lines.extend(self._wrapped(words, self.width))

    def section(self, heading: str, items: Sequence[str]) -> None:
        if items:
            self.heading(heading)
            self.items(items)

    def items(self, items: Sequence[str]) -> None:
        for item in items:
            first, *rest = self._wrapped(item, self.width - 2)
            self._lines += [f"• {first}", *(f"  {line}" for line in rest)]

    def _wrapped(self, words: str, width: int) -> list[str]:
        return [line.replace(_NO_BREAK, " ") for line in wrap(join_units(plain(words)), width)]

    def finish(self, ascii_only: bool) -> str:
        text = "\n".join(self._lines)
        return to_ascii(text) if ascii_only else text
