"""A kiln's trends as a report: how its elements wear, and what its thermocouple reads wrong."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from firing.kiln.element_wear import ANOTHER_LOOK, REPLACEMENT
from firing.logbook.learning import Learnt
from firing.logbook.sensor import Correction, OffsetPoint, Sensor, reads_wrong, wrong_range
from firing.logbook.wear import HORIZON, NEARLY, Break, ElementWear, Trends
from firing.report.document import (
    Block,
    Bullets,
    Figures,
    Paragraph,
    Report,
    Section,
    Sources,
    Table,
)
from firing.thermocouple.tolerance import LEVELS_C
from firing.units import TemperatureUnit, Wording

_LISTED = 12
_SOON = 60
"""So few firings ahead elements are ordered in time."""
_SURE = 2.0
_SLOWER = 0.6
"""A ramp planned at this share of what is left still has some power to steer with."""


def trends_report(trends: Sequence[Trends], unit: TemperatureUnit = "C") -> Report:
    """Return the trends of one kiln, or of several one after another."""
    if not trends:
        parts: list[Block | None] = [
            Paragraph("Not yet: no kept firing says which kiln it was fired in."),
            Paragraph("Keep firings with their kiln: firing keep LOG --kiln KILN."),
        ]
        return Report("Trends", "", parts, unit=unit)
    if len(trends) == 1:
        parts = _of_kiln(trends[0], unit)
        whole = [*parts, _how_we_know(unit)]
        return Report("Trends", trends[0].kiln, whole, brief=parts, unit=unit)
    sections: list[Block | None] = [Section(one.kiln, _of_kiln(one, unit)) for one in trends]
    return Report("Trends", "", [*sections, _how_we_know(unit)], brief=sections, unit=unit)


def _of_kiln(trends: Trends, unit: TemperatureUnit) -> list[Block | None]:
    say = Wording(unit)
    wear, sensor = trends.wear, trends.sensor
    return [
        Section("Elements", [Paragraph(words) for words in wear_words(wear, say)]),
        Section("", [_table(wear, say), _whole(wear)]),
        Section("Thermocouple", [Paragraph(words) for words in sensor_words(sensor, say)]),
        Section("", [_offsets(sensor, say)]),
    ]


def _how_we_know(unit: TemperatureUnit) -> Section:
    """Return what the forecast of wear rests on."""
    return Section("How we know", [Sources((REPLACEMENT, "wear-forecast-choices"), unit)])


def wear_words(wear: ElementWear, say: Wording) -> list[str]:
    """Return the answer, its causes, and the next step."""
    return [
        _answer(wear, say),
        *([] if wear.power_down is None else [_of_power(wear)]),
        *(_of_break(one) for one in wear.breaks),
        *([_left_out(wear.apart)] if wear.apart else []),
        _next_step(wear, say),
    ]


def _climb(wear: ElementWear, say: Wording) -> str:
    if wear.planned_rate_c_per_h is None:
        return "with all its power"
    return f"at the planned {say.rate(wear.planned_rate_c_per_h)}"


def _answer(wear: ElementWear, say: Wording) -> str:
    if not wear.foretold or wear.peak_c is None:
        new = "" if wear.since is None else f" New elements first fired {_day(wear.since)}."
        return f"Not yet: {wear.not_yet}.{new}"
    peak, how = say.degrees(wear.peak_c), _climb(wear, say)
    if wear.out_of_reach:
        left = wear.climb_left_c_per_h
        still = "" if left is None else f": the kiln climbs {say.rate(max(left, 0.0))} there"
        return f"{peak} is out of reach {how}{still}."
    low, middle, high = wear.firings_left_low, wear.firings_left, wear.firings_left_high
    least = HORIZON if low is None else low
    if middle is None or (not wear.shows and least > _SOON):
        return f"{peak} stays in reach {how} for at least {least} firings (nine chances in ten)."
    when = wear.on(middle)
    about = "" if when is None else f", about {when:%B %Y}"
    most = f"over {HORIZON}" if high is None else f"{high}"
    if middle == 0:
        return f"{peak} may be out of reach {how} at the next firing (80 %: 0 to {most} more)."
    firings = "1 firing" if middle == 1 else f"{middle} firings"
    return f"{peak} goes out of reach {how} in {firings} (80 %: {low} to {most}){about}."


def _since(wear: ElementWear) -> str:
    shows = [point.when for point in wear.points if point.power is not None]
    if shows and shows[0] != wear.points[0].when:
        return f"since {_day(shows[0])}, the first firing that shows it"
    if wear.since is not None:
        return f"since the new elements of {_day(wear.since)}"
    return f"since {_day(wear.points[0].when)}" if wear.points else ""


def _day(when: datetime) -> str:
    return f"{when:%Y-%m-%d}"


def _of_power(wear: ElementWear) -> str:
    down, se = wear.power_down or 0.0, wear.power_down_se or 0.0
    if abs(down) < _SURE * se:
        return f"The elements' power has not changed measurably {_since(wear)} (± {_percent(se)})."
    way = "lost" if down > 0 else "gained"
    return (
        f"The elements {way} {_percent(abs(down))} (± {_percent(se)}) of their power "
        f"{_since(wear)}."
    )


def _of_break(one: Break) -> str:
    size = _percent(abs(one.share))
    if one.kind == "losses":
        way = "more" if one.share > 0 else "less"
        return (
            f"From {_day(one.at)} on the kiln loses {size} {way} heat, by its cooling: vent, plug, "
            "lid or wall, not wear."
        )
    if one.share > 0:
        return f"On {_day(one.at)} power rose by {size} at once: new elements, or another supply?"
    return (
        f"On {_day(one.at)} power fell by {size} at once: a bank, a relay or the supply, not wear."
    )


def _left_out(firings: int) -> str:
    those, them = ("One firing", "it") if firings == 1 else (f"{firings} firings", "them")
    return (
        f"{those} lost more or less heat than those around {them}, as with a vent open; "
        "that is not counted as wear."
    )


def _next_step(wear: ElementWear, say: Wording) -> str:
    if not wear.foretold:
        return "Keep every firing: 'firing keep LOG' needs neither load file nor meter."
    if wear.out_of_reach:
        left = wear.climb_left_c_per_h
        slower = ""
        if left is not None and left > 15.0:
            slower = f" Until then plan the last ramp at {say.rate(_SLOWER * left)} or less."
        if any(one.kind == "losses" and one.share > 0 for one in wear.breaks):
            return f"Look at vent, plugs and lid first, with the kiln cold.{slower}"
        return f"Have the elements looked at before you fire again. {ANOTHER_LOOK}{slower}"
    if any(one.kind == "losses" and one.share > 0 for one in wear.breaks):
        return "Look at vent, plugs and lid first, with the kiln cold: they cost no elements."
    left_low = wear.firings_left_low
    if wear.firings_left is not None and wear.firings_left <= NEARLY:
        return f"Order elements now. {ANOTHER_LOOK}"
    if left_low is not None and left_low <= _SOON:
        return (
            "Have the elements' resistance measured by a competent person, with the kiln "
            "isolated; order elements in time."
        )
    return "Nothing to do: keep your logs, and look again after ten more firings."


def _table(wear: ElementWear, say: Wording) -> Table | None:
    points = wear.points[-_LISTED:]
    if not points:
        return None
    rows = [
        (
            _day(point.when),
            say.degrees(point.peak_c),
            "unknown" if point.power is None else f"{100.0 * point.power:.1f} %",
            "–" if point.losses is None else f"{100.0 * point.losses:.0f} %",
            "–" if point.climb_left_c_per_h is None else say.rate(point.climb_left_c_per_h),
        )
        for point in points
    ]
    more = "" if len(points) == len(wear.points) else f"; the last {len(points)}"
    return Table(
        ("fired", "peak", "power", "losses", "climb left"),
        "lrrrr",
        rows,
        caption=f"{wear.firings} firings, {wear.informative} show the power{more}",
    )


def _whole(wear: ElementWear) -> Paragraph | None:
    """Return what the table's shares are shares of."""
    if all(point.power is None and point.losses is None for point in wear.points):
        return None
    return Paragraph(
        "Power, over losses: 100 % is the first firing that shows it. Losses, over what the walls "
        "hold: 100 % is the kiln file's, before any fit; they are by the cooling."
    )


def _percent(share: float) -> str:
    percent = 100.0 * share
    return f"{percent:.1f} %" if percent < 1.95 else f"{percent:.0f} %"


def sensor_report(kiln: str, sensor: Sensor, unit: TemperatureUnit = "C") -> Report:
    """Return what a kiln's thermocouple reads wrong."""
    say = Wording(unit)
    words: list[Block | None] = [Paragraph(words) for words in sensor_words(sensor, say)]
    return Report("Thermocouple", kiln, [*words, Section("", [_offsets(sensor, say)])], unit=unit)


def sensor_words(sensor: Sensor, say: Wording) -> list[str]:
    """Return the answer, what it rests on, and the next step."""
    said = []
    if sensor.offset_c is None or sensor.low_c is None or sensor.high_c is None:
        left = "the cones kept can't be counted; set three by the thermocouple, and keep them"
        said.append(f"Not yet: {left if sensor.left_out else sensor.not_yet}.")
    else:
        cones = "1 firing's" if sensor.offsets == 1 else f"{sensor.offsets} firings'"
        if sensor.is_off:
            said.append(
                f"The thermocouple reads {reads_wrong(sensor.offset_c, say)} by {cones} cones "
                f"(80 %: {wrong_range(sensor.low_c, sensor.high_c, say)})."
            )
        else:
            said.append(
                f"By {cones} cones the thermocouple reads right, within what cones can show "
                f"(80 %: {wrong_range(sensor.low_c, sensor.high_c, say)})."
            )
    if sensor.left_out:
        which = ", ".join(map(str, sensor.left_out))
        said.append(
            f"The cones of firing {which} don't count: they contradict each other or the readings. "
            f"'firing logbook show {sensor.left_out[-1]}' says how."
        )
    said += [
        f"On {_day(jump.at)} it jumped by {say.difference(abs(jump.after_c - jump.before_c))}: "
        "was it moved, changed or knocked?"
        for jump in sensor.jumps
    ]
    if sensor.drift_c_per_100_h is not None and sensor.drift_se is not None:
        way = "lower" if sensor.drift_c_per_100_h > 0 else "higher"
        hot = say.degrees(LEVELS_C[1])
        said.append(
            f"It drifts: in 100 hours above {hot} it reads "
            f"{say.difference(abs(sensor.drift_c_per_100_h))} {way} "
            f"(± {say.difference(sensor.drift_se)})."
        )
    hours = ", ".join(
        f"{hours:.0f} h above {say.degrees(level)}"
        for hours, level in zip(sensor.hours_above, LEVELS_C, strict=True)
    )
    since = "in the firings kept" if sensor.since is None else f"since {_day(sensor.since)}"
    said.append(f"It was hot for {hours} {since}.")
    if sensor.is_off:
        said.append("Correct the next plan: firing logbook sensor KILN --plan PLAN --out NEW.")
    else:
        said.append("Set witness cones by the thermocouple every few firings, and keep them.")
    return said


def _offsets(sensor: Sensor, say: Wording) -> Table | None:
    points = sensor.points[-_LISTED:]
    if not points:
        return None

    def told(point: OffsetPoint) -> str:
        if point.offset_c is not None:
            return reads_wrong(point.offset_c, say)
        # A cone that is down, or stands, bounds it on one side.
        bound_c, low = (point.low_c, 1.0) if point.low_c is not None else (point.high_c, -1.0)
        if bound_c is None:
            return "open"
        return f"{'at least' if low * bound_c > 0.0 else 'at most'} {reads_wrong(bound_c, say)}"

    rows = [
        (
            _day(point.when),
            told(point),
            f"{point.hours_above[1]:.0f}",
        )
        for point in points
    ]
    hot = say.degrees(LEVELS_C[1])
    return Table(("cones of", "reads", f"hours above {hot}"), "lrr", rows)


def learnt_report(
    kiln: str, learnt: Learnt, *, written: bool = False, unit: TemperatureUnit = "C"
) -> Report:
    """Return what a logbook's firings taught of their kiln."""
    last, fitted, count = learnt.firings[-1], learnt.fitted, len(learnt.firings)
    several = "1 firing" if count == 1 else f"{count} firings"
    change, se = learnt.change, learnt.change_se
    if change is None or se is None:
        answer = f"{several}: they can't show how the power changed."
    elif abs(change) < _SURE * se:
        answer = f"{several}: power has not changed measurably (± {_percent(se)})."
    else:
        way = "fell" if change < 0 else "rose"
        answer = (
            f"{several}: power {way} by {_percent(abs(change))} (± {_percent(se)}) from the first "
            "to the last."
        )
    level = (
        f"Its level, {last.power:.2f} times the kiln file's, is known to "
        f"± {_percent(learnt.level_se)}. Usually {fitted.usual_load:.2f} times a typical load "
        "stands in the kiln."
    )
    rows = [
        (
            "–" if one.on is None else one.on.isoformat(),
            f"{one.power:.3f}",
            "by itself" if one.power_se is not None else "by the others",
            f"{one.load:.2f}",
        )
        for one in learnt.firings
    ]
    ranges = [
        (
            one.name,
            f"{one.value:.2f}",
            f"{one.low:.2f} to {one.high:.2f}",
            "" if one.told else "open",
        )
        for one in learnt.profiles
    ]
    step = "The kiln file has it now: forecasts go by it."
    if not written:
        step = "Write it into the kiln file: the same command with --write."
    parts: list[Block | None] = [
        Paragraph(answer),
        Paragraph(level),
        Section("Firing by firing", [Table(("fired", "power", "shown", "load"), "lrlr", rows)]),
        Section(
            "What the logs alone say (90 %)",
            [Table(("times the file's", "best", "range", ""), "lrll", ranges)],
        ),
        Section("What these logs can't show", [Bullets(list(learnt.cannot_tell))]),
        Section("", [Paragraph(step)]),
    ]
    how = Section("How we know", [Sources(("kiln-fit-choices", "learning-choices"), unit)])
    return Report("Kiln learnt", kiln, [*parts, how], brief=parts, unit=unit)


def correction_report(correction: Correction, unit: TemperatureUnit) -> Report:
    """Return the sum that moves a plan's peak."""
    return Report(
        "Correction",
        "",
        [Figures(correction.sum_lines), Sources(("cone-model", "cone-maker-tolerance"), unit)],
        unit=unit,
    )
