"""What a forecast says: when it peaks and opens, its course and segments, and what to know."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from firing.cones.table import describe_number
from firing.forecast.result import FIRST_CRACK_C, Forecast, Severity
from firing.report.cautions import cautions_in_short, cautions_named, cautions_whole
from firing.report.charts.course import forecast_course, forecast_series
from firing.report.charts.heatwork import heatwork_drawing
from firing.report.document import (
    Block,
    Bullets,
    Chart,
    Flagged,
    FlaggedList,
    Numbered,
    Paragraph,
    Report,
    Section,
    Sources,
    Table,
    Tile,
    Tiles,
    on_page,
    on_text,
)
from firing.report.words import (
    CONE_SOURCES,
    CONES_MEANT,
    cost_range,
    energy_range,
    forecast_times,
    heating_end_range,
    heating_range,
    minutes_between,
    opening_range,
    sentence,
    source_ids,
)
from firing.safety import DEFERENCE, cautions_for
from firing.schedule.schedule import Segment
from firing.schedule.timeline import ForecastSegment
from firing.units import (
    SECONDS_PER_MINUTE,
    TemperatureUnit,
    format_duration,
    format_rate,
    format_temperature,
    hours_minutes,
    rate_from_celsius,
    temperature_figure,
)

if TYPE_CHECKING:
    from firing.forecast.result import KilnForecast

_RATES_SHOWN_C = (200.0, 600.0, 1000.0, 1200.0)


def forecast_report(forecast: Forecast) -> Report:
    """Return a forecast as a report."""
    schedule = forecast.schedule
    cautions = cautions_for(forecast.peak_c, schedule.purpose)
    basis = _basis(forecast)
    used = source_ids(warning.source for warning in forecast.warnings)
    return Report(
        "Forecast",
        schedule.title,
        unit=schedule.unit,
        subject="Forecast of a firing",
        when=f"{sentence(forecast_times(forecast).start_words())}.",
        answer=forecast_answer(forecast),
        brief=_brief(forecast),
        parts=(
            on_page(
                Tiles(_tiles(forecast)),
                Section("Fix first", [Bullets(_told(forecast, "act"))]),
                Section("Check", [Bullets(_told(forecast, "check"))]),
                Section("Course", [_course(forecast)], "course-heading"),
                Section("Segments", forecast_segments(forecast)),
                Section("At the kiln", [Bullets(_hand_actions(forecast))]),
                Section(
                    "Cautions",
                    [cautions_named(cautions), Paragraph(DEFERENCE, "deference")],
                    "caution-names",
                ),
                Section("In this kiln", [Bullets(_kiln_words(forecast))], folded=True),
                Section("All warnings", [_warnings(forecast)], folded=True),
                Section("Notes of the schedule", _note_lines(schedule.notes), folded=True),
            ),
            on_text(
                Section("", [_course(forecast)]),
                Section("", forecast_segments(forecast)),
                Section("In this kiln", [Bullets(_kiln_words(forecast))]),
                Section("At the kiln", [Bullets(_hand_actions(forecast))]),
                Section("Warnings", [_warnings(forecast)]),
            ),
            on_page(Section("Heat-work", [_heatwork(forecast)], "heatwork-heading", folded=True)),
            on_text(
                basis,
                Section(
                    "Cautions that apply",
                    [
                        cautions_named(cautions),
                        Paragraph(
                            'Print them in full, with their sources: "firing safety" and the '
                            "schedule's file."
                        ),
                        Paragraph(DEFERENCE),
                    ],
                ),
            ),
            on_page(
                Section("The cautions in full", cautions_whole(cautions), "cautions", folded=True),
                replace(basis, folded=True),
                Section(
                    "Sources",
                    [Sources(["cooling-default", *CONE_SOURCES, *used])],
                    folded=True,
                ),
            ),
        ),
    )


def _note_lines(notes: str) -> list[Block]:
    """Return a schedule's notes, a paragraph for each of their own."""
    return [Paragraph(" ".join(part.split())) for part in notes.split("\n\n") if part.strip()]


_TO_KNOW_SHOWN = 2


def _brief(forecast: Forecast) -> list[Block | None]:
    """Return the forecast in short: when, which cone, what to fix, and the program."""
    cautions = cautions_for(forecast.peak_c, forecast.schedule.purpose)
    fix, check = (_few(_told(forecast, kind)) for kind in ("act", "check"))
    wanted = f", for cone {forecast.target_cone}" if forecast.target_cone else ""
    kiln = forecast.kiln
    costs = [] if kiln is None else _kiln_words(forecast)[: 1 if kiln.cost is None else 2]
    to_know = [w.message for w in forecast.warnings if w.severity == "note"]
    left = len(to_know) - (0 if fix else _TO_KNOW_SHOWN)
    more = f"{left} more to know, and " if left > 0 else ""
    return [
        Paragraph(milestones(forecast)),
        Paragraph(f"Comes to {forecast.cones.words}{wanted}.{cone_falls(forecast)}"),
        Paragraph("Fix first:") if fix else None,
        Numbered(fix) if fix else None,
        *([Paragraph(way)] if (way := _next_step(forecast)) else []),
        Paragraph("Check:") if check else None,
        Bullets(check) if check else None,
        None if fix or check else Paragraph(_nothing_to_fix(forecast)),
        *(Paragraph(words) for words in costs),
        Section("", forecast_segments(forecast)),
        Section("At the kiln", [Bullets(_hand_actions(forecast))]),
        None if fix else Section("To know", [Bullets(to_know[:_TO_KNOW_SHOWN])]),
        Section("", [_course(forecast)]),
        Section(
            "",
            [
                cautions_in_short(cautions, "firing safety PLAN prints them"),
                Paragraph(f"For {more}how we know: --full. To send or print: --html FILE."),
            ],
        ),
    ]


_FEW = 3


def _few(told: list[str]) -> list[str]:
    """Return the first few, and how many more there are."""
    more = len(told) - _FEW
    return told if more <= 0 else [*told[:_FEW], f"{more} more with --full."]


def _nothing_to_fix(forecast: Forecast) -> str:
    if forecast.kiln is None:
        return "Nothing to fix in the program. Add --kiln to see whether your kiln keeps up."
    if _slower_than_programmed(forecast):
        return "Nothing to fix: this kiln does it, with some segments slower than programmed (*)."
    return "Nothing to fix: this kiln can do it."


def _next_step(forecast: Forecast) -> str:
    """Return the command that mends what is not safe for the ware; empty if all is."""
    from firing.design.repair import repairable

    breaches = () if forecast.ware is None else forecast.ware.breaches
    # what no slower program helps says itself what does
    if not breaches or not all(repairable(breach, forecast.schedule) for breach in breaches):
        return ""
    own = forecast.schedule.purpose
    purpose = "PURPOSE" if own == "other" else own
    return f"firing design {purpose} --from PLAN --load LOAD makes it safe for the ware."


def _told(forecast: Forecast, severity: Severity) -> list[str]:
    """Return what is to be fixed ("act") or looked at ("check") first, the most pressing first."""
    return list(dict.fromkeys(w.message for w in forecast.warnings if w.severity == severity))


def milestones(forecast: Forecast) -> str:
    """Return start, peak, end and opening in one line, with the opening's range."""
    unit, keeper = forecast.schedule.unit, forecast_times(forecast)
    kiln = forecast.kiln
    peak = format_temperature(forecast.peak_c, unit)
    start = keeper.date_words(0.0).removesuffix(" at " + keeper.at(0.0).rpartition(" ")[2])
    start = f"{start} {keeper.at(0.0).rpartition(' ')[2]}" if forecast.started else "0:00"
    steps = [f"Start {start}"]
    if kiln is not None and not kiln.reaches_peak:
        steps.append(f"comes to {peak} {keeper.when(kiln.peak_s)} and no further")
    elif any(s.end_c == forecast.peak_c for s in forecast.segments):
        steps.append(f"peak {peak} {keeper.when(forecast.peak_s)}")
    else:
        steps[0] += f" at {peak}, and goes no hotter"
    if kiln is None or not kiln.stalled:
        ends = forecast.program_s - forecast.heating_s < SECONDS_PER_MINUTE
        if not ends and heating_end_range(forecast):
            heated = keeper.when(forecast.heating_s)
            steps.append(f"heating ends {heated}{heating_end_range(forecast)}")
        range_words = heating_end_range(forecast) if ends else ""
        steps.append(f"end {keeper.when(forecast.program_s)}{range_words}")
        if forecast.total_s > forecast.program_s:
            opening = format_temperature(forecast.unload_c, unit)
            when = keeper.when(forecast.total_s, about=True)
            steps.append(f"cool enough to open ({opening}) {when}{opening_range(forecast)}")
    return f"{' → '.join(steps)}."


def _tiles(forecast: Forecast) -> list[Tile]:
    """Return heating, peak, cone, opening and cost, each beside what it is set against."""
    unit, keeper = forecast.schedule.unit, forecast_times(forecast)
    kiln = forecast.kiln
    reaches = kiln is None or kiln.reaches_peak
    wanted = forecast.target_cone
    tiles = [
        Tile(
            "Heats for",
            format_duration(forecast.heating_s),
            heating_range(forecast).strip(" ()"),
            None if kiln is None else reaches,
        ),
        Tile(
            "Peak",
            format_temperature(forecast.peak_c, unit),
            sentence(keeper.when(forecast.peak_s)) if reaches else "and no further",
            None if kiln is None else reaches,
        ),
        Tile("Cone", forecast.cones.words, f"for cone {wanted}" if wanted else ""),
    ]
    if forecast.total_s > forecast.program_s and not (kiln is not None and kiln.stalled):
        opening = format_temperature(forecast.unload_c, unit)
        tiles.append(
            Tile(
                f"Cool enough to open ({opening})",
                sentence(keeper.when(forecast.total_s, about=True)),
                opening_range(forecast, again=True).strip(" ()"),
            )
        )
    if kiln is not None:
        cost = kiln.cost
        price = "" if cost is None else f"{cost.currency} {cost.amount:.2f}{cost_range(kiln)}"
        tiles.append(Tile("Energy", f"{kiln.energy.kwh:.0f} kWh{energy_range(kiln)}", price))
    return tiles


def cone_falls(forecast: Forecast) -> str:
    """Return when the target cone falls if that is only as the kiln cools, led by a space."""
    late_s = forecast.cone_falls_late_s
    if late_s is None:
        return ""
    when = forecast_times(forecast).when(late_s, about=True)
    return f" Cone {forecast.target_cone} falls as the kiln cools, {when}."


def still_stands(forecast: Forecast, at_s: float, words: str) -> str:
    """Return that a cone which is to be looked at still stands then, in brackets after a space."""
    late_s = forecast.cone_falls_late_s
    if late_s is None or at_s >= late_s or "cone" not in words.lower():
        return ""
    when = forecast_times(forecast).when(late_s, about=True)
    return f" (cone {forecast.target_cone} still stands then; it falls {when})"


def forecast_answer(forecast: Forecast) -> list[str]:
    """Return how long the heating takes, when the peak and the opening come, and the cone."""
    unit = forecast.schedule.unit
    keeper = forecast_times(forecast)
    peak = format_temperature(forecast.peak_c, unit)
    kiln = forecast.kiln
    if kiln is not None and not kiln.reaches_peak:
        words = f"This kiln comes to {peak} {keeper.when(kiln.peak_s)} and no further."
    elif all(s.end_c != forecast.peak_c for s in forecast.segments):
        words = f"Begins at {peak}, and goes no hotter."
    else:
        words = (
            f"Heats for {format_duration(forecast.heating_s)}{heating_range(forecast)} and reaches "
            f"{peak} {keeper.when(forecast.peak_s)}."
        )
    unload = format_temperature(forecast.unload_c, unit)
    if kiln is not None and kiln.stalled:
        opening = "The rest of the program is not forecast."
    elif forecast.total_s > forecast.program_s:
        opening = (
            f"Opens at {unload} {keeper.when(forecast.total_s, about=True)}"
            f"{opening_range(forecast)}."
        )
    else:
        opening = (
            f"Ends {keeper.when(forecast.program_s)}{opening_range(forecast)}, already below "
            f"{unload}."
        )
    wanted = f"; target cone {forecast.target_cone}" if forecast.target_cone else ""
    return [
        f"{words} {opening}",
        f"Amounts to {forecast.cones.words}{wanted}: {CONES_MEANT}.{cone_falls(forecast)}",
    ]


def _course(forecast: Forecast) -> Chart:
    draw, series = partial(forecast_course, forecast), forecast_series(forecast)
    return Chart(draw, series, forecast.schedule.unit, forecast.started)


def _heatwork(forecast: Forecast) -> Chart:
    course = forecast.started, forecast.trace.time_s, forecast.trace.channel_c()
    return Chart(partial(heatwork_drawing, *course, (forecast.cones,), "the forecast"))


def forecast_segments(forecast: Forecast) -> list[Block]:
    """Return the table of the segments, with what its mark means."""
    return [_segments(forecast), Paragraph(_slower_than_programmed(forecast), "quiet")]


def _segments(forecast: Forecast) -> Table:
    """Return every segment: its rate, target and hold, how long it takes and when it ends."""
    unit = forecast.schedule.unit
    keeper = forecast_times(forecast)
    ends = "ends after" if forecast.started is None else "ends at"
    rows = []
    takes_s = minutes_between(
        timed.forecast_s if timed.ends else None for timed in forecast.segments
    )
    for segment, timed, taken_s in zip(
        forecast.schedule.segments, forecast.segments, takes_s, strict=True
    ):
        end = hours_minutes(timed.end_s) if forecast.started is None else keeper.at(timed.end_s)
        if not timed.ends:
            end = "never"
        rows.append(
            (
                str(timed.index + 1),
                timed.name,
                rate_words(segment, timed.from_c, unit) + _mark(segment, timed),
                temperature_figure(timed.end_c, unit),
                hours_minutes(segment.hold_s) if segment.hold_s else "–",
                hours_minutes(taken_s),
                end,
            )
        )
    return Table(
        ("#", "segment", f"°{unit}/h", f"to °{unit}", "hold", "takes", ends),
        "rlrrrrr",
        rows,
        "The segments, with how long each takes (h:mm) and when it ends",
    )


def rate_words(segment: Segment, from_c: float, unit: TemperatureUnit) -> str:
    """Return a ramp's rate as the tables of segments have it."""
    if segment.rate_c_per_h is None:
        return "full power" if segment.drive == "unlimited" else "off"
    sign = "−" if segment.target_c < from_c else ""
    return f"{sign}{rate_from_celsius(segment.rate_c_per_h, unit):.0f}"


_SEEN_S = 60.0
"""What is slower by less does not show in hours and minutes."""


def _mark(segment: Segment, timed: ForecastSegment) -> str:
    seen = not timed.ends or timed.forecast_s - timed.planned_s >= _SEEN_S
    slower = segment.drive == "rate" and timed.limited_by != "program" and seen
    return "*" if slower else ""


def _slower_than_programmed(forecast: Forecast) -> str:
    """Return what the mark ``*`` in the segment table means; empty if it does not occur."""
    marked = [
        timed
        for segment, timed in zip(forecast.schedule.segments, forecast.segments, strict=True)
        if _mark(segment, timed)
    ]
    if not marked:
        return ""
    return "* slower than programmed: the kiln cannot follow there"


def _hand_actions(forecast: Forecast) -> list[str]:
    """Return what a person does, and when, one sentence each."""
    keeper = forecast_times(forecast)
    return [
        f"{sentence(keeper.when(timed.end_s))}, as segment {timed.index + 1} ends: {timed.action}"
        f"{still_stands(forecast, timed.end_s, timed.action)}"
        for timed in forecast.segments
        if timed.action and timed.ends
    ]


def _kiln_words(forecast: Forecast) -> list[str]:
    """Return what the kiln model says of a plan, one sentence each; empty without a kiln."""
    kiln = forecast.kiln
    return [] if kiln is None else list(_kiln_sentences(forecast, kiln))


def _kiln_sentences(forecast: Forecast, kiln: KilnForecast) -> Iterator[str]:
    unit = forecast.schedule.unit
    energy = kiln.energy
    yield (
        f"Uses {energy.kwh:.0f} kWh{energy_range(kiln)}; {energy.mean_amps:.0f} A on average and "
        f"{energy.peak_amps:.0f} A while the elements are on."
    )
    if kiln.cost is not None:
        parts = ", ".join(f"{kwh:.0f} kWh at {price:g}" for price, kwh in kiln.cost.kwh_by_price)
        yield f"Costs {kiln.cost.currency} {kiln.cost.amount:.2f}{cost_range(kiln)}: {parts} a kWh."
    if kiln.ranges.may_stall:
        yield "With power at the low end of its range it may not reach the peak."
    cheapest = kiln.starts.cheapest
    if cheapest is not None:
        yield (
            f"Cheapest start in the window: {cheapest.started:%a %Y-%m-%d %H:%M}, "
            f"{cheapest.cost.currency} {cheapest.cost.amount:.2f}."
        )
    awake = kiln.starts.awake
    if awake is not None:
        yield _awake_words(awake)
    for action in kiln.starts.asleep:
        yield f"None of them is in waking hours for this: {action}."
    if forecast.first_crack_s is not None:
        first = format_temperature(FIRST_CRACK_C, unit)
        yield f"Down to {first} after {format_duration(forecast.first_crack_s)}."
    yield (
        f"The model's ceiling is {format_temperature(kiln.highest_c, unit)}; never exceed the kiln "
        f"file's {format_temperature(kiln.max_c, unit)}. "
        f"Fastest with this load: {_rates(kiln, unit)}."
    )
    yield (
        f"The thickest piece comes to cone {describe_number(kiln.ware_cones.reached_number)}, the "
        f"thermocouple to cone {describe_number(forecast.cones.reached_number)}."
    )


def _awake_words(awake: tuple[tuple[str, str], ...]) -> str:
    if not awake:
        return "No start in the window puts the peak into waking hours."
    spans = [
        first.replace("T", " ")[:16] if first == last else f"{_short(first)} to {_short(last)}"
        for first, last in awake[:4]
    ]
    more = f", and {len(awake) - 4} more" if len(awake) > 4 else ""
    return (
        "Starts that put the peak, and what is done by hand, into waking hours: "
        f"{'; '.join(spans)}{more}."
    )


def _short(moment: str) -> str:
    return moment.replace("T", " ")[:16]


def _rates(kiln: KilnForecast, unit: TemperatureUnit) -> str:
    if not kiln.max_rate:
        return "not known"
    known = dict(kiln.max_rate)
    shown = [t for t in _RATES_SHOWN_C if t in known] or [next(iter(known))]
    return ", ".join(
        f"{format_rate(known[t], unit)} at {format_temperature(t, unit)}" for t in shown
    )


def _warnings(forecast: Forecast) -> FlaggedList:
    return FlaggedList(
        [Flagged(w.severity, w.message, source_ids([w.source])) for w in forecast.warnings]
    )


def _basis(forecast: Forecast) -> Section:
    unit = forecast.schedule.unit
    words = [
        f"{sentence(forecast.basis)}.",
        *([] if forecast.kiln is not None else [f"Durations by {forecast.planned_basis}."]),
        *forecast.cones.notes_in(unit),
        *forecast.cones.warnings_in(unit),
    ]
    return Section("How we know", [Bullets(words)], "basis")
