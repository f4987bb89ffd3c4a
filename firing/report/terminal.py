"""What a forecast and a review say on a terminal: the answer, a chart, tables, and what to know."""

from collections.abc import Iterator, Sequence

import numpy as np

from firing.forecast.result import Forecast
from firing.report import rows
from firing.report.chart import ChartSeries, render_chart
from firing.report.formatting import SEVERITY_WORDS, Timekeeper, join_units, sentence
from firing.report.rows import Rows
from firing.report.sanitize import plain, to_ascii, wrap
from firing.report.summary import (
    cause_words,
    cooling_words,
    finding_words,
    findings_told,
    forecast_answer,
    lead_in_words,
    log_words,
    review_answer,
)
from firing.report.summary_sentences import heat_words, margin_words
from firing.report.table import render_table
from firing.review.result import Finding, Review
from firing.safety import DEFERENCE, cautions_for

_NO_BREAK = "\N{NO-BREAK SPACE}"
_CHART_HEIGHT = 17
_CAUSES_TOLD = 3
_BOLD, _RESET = "\x1b[1m", "\x1b[0m"


def forecast_text(
    forecast: Forecast, *, width: int = 80, colour: bool = False, ascii_only: bool = False
) -> str:
    """Return a forecast for the terminal.

    Parameters
    ----------
    forecast : Forecast
        What to show.
    width : int
        Widest line [columns].
    colour : bool
        Use ANSI colours and bold; nothing is said by them alone.
    ascii_only : bool
        Keep to ASCII, for outputs that cannot carry braille.
    """
    schedule = forecast.schedule
    keeper = Timekeeper(forecast.started, forecast.total_s)
    out = _Lines(width, colour)
    out.heading(f"Forecast: {schedule.title}")
    out.text(sentence(keeper.start_words()) + ".")
    for words in forecast_answer(forecast):
        out.text(words)
    out.gap()
    trace = forecast.trace
    time_s, temperature_c = trace.time_s, trace.channel_c()
    run, after = time_s <= forecast.program_s, time_s >= forecast.program_s
    lines = [ChartSeries("program", time_s[run], temperature_c[run], "solid", 0)]
    if np.count_nonzero(after) > 1:
        lines.append(
            ChartSeries("cooling by itself", time_s[after], temperature_c[after], "dotted")
        )
    out.raw(
        render_chart(
            lines,
            width=width,
            height=_CHART_HEIGHT,
            unit=schedule.unit,
            started=forecast.started,
            ascii_only=ascii_only,
            colour=colour,
        )
    )
    out.gap()
    out.table(rows.forecast_segments(forecast))
    out.text(rows.slower_than_programmed(forecast))
    out.section("In this kiln", _kiln_words(forecast))
    out.section("By hand", rows.hand_actions(forecast))
    out.section(
        "Warnings",
        [f"{SEVERITY_WORDS[w.severity]}: {w.message}" for w in forecast.warnings],
        otherwise="None.",
    )
    out.section("What this rests on", _basis(forecast))
    cautions = cautions_for(forecast.peak_c, schedule.purpose)
    out.heading("Cautions that apply")
    out.text("; ".join(caution.heading for caution in cautions) + ".")
    out.text('Print them whole, with their sources: "firing safety" and the schedule\'s file.')
    out.text(DEFERENCE)
    return out.finish(ascii_only)


def _kiln_words(forecast: Forecast) -> list[str]:
    if forecast.kiln is None:
        return []
    from firing.report.summary_sentences import kiln_words

    return kiln_words(forecast)


def _basis(forecast: Forecast) -> list[str]:
    words = [f"{sentence(forecast.basis)}."]
    words.append(f"Durations by {forecast.planned_basis}.")
    unit = forecast.schedule.unit
    return [*words, *forecast.cones.notes_in(unit), *forecast.cones.warnings_in(unit)]


def review_text(
    review: Review, *, width: int = 80, colour: bool = False, ascii_only: bool = False
) -> str:
    """Return a review for the terminal.

    Parameters
    ----------
    review : Review
        What to show.
    width : int
        Widest line [columns].
    colour : bool
        Use ANSI colours and bold; nothing is said by them alone.
    ascii_only : bool
        Keep to ASCII, for outputs that cannot carry braille.
    """
    out = _Lines(width, colour)
    out.heading(f"Review: {review.schedule.title}")
    for words in review_answer(review):
        out.text(words)
    out.gap()
    out.raw(_review_chart(review, width, colour=colour, ascii_only=ascii_only))
    out.gap()
    if review.segments:
        out.table(rows.review_segments(review))
        out.text(f"({rows.PAIRS_NOTE})")
    if review.causes:
        out.heading("Where the time went")
        out.table(rows.account(review.causes, bar_width=max(min(width - 46, 24), 6)))
        out.items(cause_words(review.causes, most=_CAUSES_TOLD))
    out.heading("Cones")
    out.table(rows.cones_by_channel(review))
    for words in margin_words(review):
        out.text(words)
    _optional(out, "Witness cones", rows.witnesses(review))
    out.section("Heat-work", heat_words(review))
    _optional(out, "Evenness", rows.unevenness(review))
    out.section("Cooling", cooling_words(review))
    through = rows.cooling_through(review)
    if through is not None:
        out.table(through)
    if review.comparison is not None:
        _comparison(out, review)
    out.section("Findings", _findings(findings_told(review)), otherwise="None.")
    out.section("The log", log_words(review))
    out.text(lead_in_words(review))
    return out.finish(ascii_only)


def _optional(out: "_Lines", heading: str, table: Rows | None) -> None:
    if table is not None:
        out.heading(heading)
        out.table(table)


def _comparison(out: "_Lines", review: Review) -> None:
    comparison = review.comparison
    assert comparison is not None
    out.heading(f"Beside {comparison.other.log.name} (other)")
    out.items(comparison.remarks)
    for table in (rows.compared_segments(review), rows.compared_figures(review)):
        if table is not None:
            out.table(table)
            out.gap()


def _review_chart(review: Review, width: int, *, colour: bool, ascii_only: bool) -> str:
    trace = review.log.trace
    actual = ChartSeries(
        f"actual, {trace.channels[review.channel]}",
        trace.time_s,
        review.temperature_c,
        "solid",
        0,
    )
    plan = ChartSeries("plan", review.plan_time_s, review.plan_c, "dotted")
    return render_chart(
        [actual] if review.refused else [plan, actual],
        width=width,
        height=_CHART_HEIGHT,
        unit=review.schedule.unit,
        started=trace.started,
        ascii_only=ascii_only,
        colour=colour,
    )


def _findings(findings: Sequence[Finding]) -> list[str]:
    return [f"{SEVERITY_WORDS[f.severity]}: {' '.join(finding_words(f))}" for f in findings]


class _Lines:
    """Collects lines no wider than asked, and makes all text safe on the way in."""

    def __init__(self, width: int, colour: bool) -> None:
        self._width = width
        self._colour = colour
        self._lines: list[str] = []

    def gap(self) -> None:
        if self._lines and self._lines[-1]:
            self._lines.append("")

    def raw(self, block: str) -> None:
        self._lines.extend(block.split("\n"))

    def heading(self, words: str) -> None:
        self.gap()
        for line in self._wrapped(words, self._width):
            self._lines.append(f"{_BOLD}{line}{_RESET}" if self._colour else line)

    def text(self, words: str) -> None:
        if words:
            self._lines.extend(self._wrapped(words, self._width))

    def table(self, table: Rows) -> None:
        self.raw(render_table(table.headers, table.rows, table.align, width=self._width))

    def section(self, heading: str, items: Sequence[str], *, otherwise: str = "") -> None:
        """Add a list under its heading; `otherwise`, or nothing at all, where it is empty."""
        if not items and not otherwise:
            return
        self.heading(heading)
        self.items(items)
        if not items:
            self.text(otherwise)

    def items(self, items: Sequence[str]) -> None:
        for item in items:
            first, *rest = self._wrapped(item, self._width - 2)
            self._lines.append(f"• {first}")
            self._lines.extend(f"  {line}" for line in rest)

    def _wrapped(self, words: str, width: int) -> Iterator[str]:
        for line in wrap(join_units(plain(words)), width):
            yield line.replace(_NO_BREAK, " ")

    def finish(self, ascii_only: bool) -> str:
        # Character by character, so that colour sequences and line ends pass unharmed.
        text = "\n".join(self._lines)
        return to_ascii(text) if ascii_only else text
