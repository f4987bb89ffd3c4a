"""A firing's moments for a calendar (RFC 5545): when a person is needed, and when it is done.

Each moment is a short event of its own with its own reminder, as some calendars drop reminders of
events they import, and nobody needs a day-long bar.  Times are in UTC, so no calendar has to know a
time zone's rules.  The same firing has the same identifiers, so that importing it again moves its
events instead of doubling them.
"""

from __future__ import annotations

import re
import uuid
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from firing.arguments import checked
from firing.clock import after
from firing.errors import FiringError
from firing.forecast.opening import RANGES_HOLD
from firing.forecast.result import Forecast
from firing.report.card import Card, moment_of
from firing.report.forecast import cone_falls, still_stands
from firing.report.sanitize import plain
from firing.report.words import Timekeeper, forecast_times, sentence
from firing.serialise import keyed
from firing.units import format_temperature, in_unit

LASTS = timedelta(minutes=15)
_NAMESPACE = uuid.UUID("6b1f7c58-4f0b-5d0e-9f6e-2c1d6a7b9e30")
_COUNTED_FROM = datetime(2025, 1, 1, tzinfo=UTC)
_ONE_MOMENT_S = 60.0
"""Two moments closer than this are one to a person [s]."""
CANDLED_C = 120.0
"""A hold up to here, before anything hotter, is candling [°C]; common practice, no source."""
_WIDEST = 75
"""A line's octets without its end (RFC 5545, 3.1)."""
_DEFERENCE = (
    "A reminder, no alarm: a forecast can be off, and a calendar can be silent.  Be at the kiln at "
    "the end point; witness cones decide."
)


@dataclass(frozen=True)
class FiringEvent:
    """One moment of a firing.

    Attributes
    ----------
    id : str
        What it is: ``"start"``, ``"candling-ends"``, ``"by-hand-2"``, ``"peak"``,
        ``"heating-ends"``, ``"cone-falls"`` (only where it falls as the kiln cools),
        ``"cool-enough"``.  What is done by hand as candling or heating ends is part of that.
    after_s : float
        Seconds after the start.
    at : datetime
        The moment itself, with its zone.
    summary, description : str
        The event's line, and what more there is to it.
    needs_you : bool
        Whether a person is needed; it then has a reminder.
    """

    id: str
    after_s: float
    at: datetime
    summary: str
    description: str
    needs_you: bool

    def to_dict(self) -> dict[str, Any]:
        """Return the event keyed for JSON."""
        return {
            "id": self.id,
            "after_s": round(self.after_s, 1),
            "at": self.at.isoformat(timespec="seconds"),
            "summary": self.summary,
            "description": self.description,
            "needs_you": self.needs_you,
        }


@dataclass(frozen=True)
class FiringCalendar:
    """The moments of one firing, in their order.

    Attributes
    ----------
    title : str
        The plan's.
    started : datetime
        When it starts.
    events : tuple of FiringEvent
        Its moments.
    notes : tuple of str
        What cannot be in a calendar, a sentence each.
    """

    title: str
    started: datetime
    events: tuple[FiringEvent, ...]
    notes: tuple[str, ...] = ()

    def __repr__(self) -> str:
        """Return title, moments and start, on one line."""
        many = f"{len(self.events)} moments from {self.started:%Y-%m-%d %H:%M}"
        return f"<FiringCalendar {self.title!r}: {many}>"

    def to_dict(self) -> dict[str, Any]:
        """Return the calendar as one JSON document, schema 1."""
        return keyed(
            schema=1,
            kind="calendar",
            title=self.title,
            starts_at=self.started.isoformat(timespec="seconds"),
            events=[event.to_dict() for event in self.events],
            notes=list(self.notes),
        )

    @checked
    def to_ics(self, now: datetime | None = None) -> str:
        """Return it as an iCalendar file (RFC 5545), lines ended by CR and LF.

        `now` is when it is made; a later one replaces an earlier one in a calendar.
        """
        made = datetime.now(UTC) if now is None else now.astimezone(UTC)
        lines = [
            "BEGIN:VCALENDAR",
            "VERSION:2.0",
            "PRODID:-//firing//firing//EN",
            "CALSCALE:GREGORIAN",
            "METHOD:PUBLISH",
        ]
        for event in self.events:
            lines += self._event_lines(event, made)
        lines.append("END:VCALENDAR")
        return "".join(f"{_folded(line)}\r\n" for line in lines)

    def _event_lines(self, event: FiringEvent, made: datetime) -> list[str]:
        # Another start on the same day moves the events; a firing of another day has its own.
        day = f"{self.started:%Y-%m-%d}"
        uid = uuid.uuid5(_NAMESPACE, f"{self.title}\n{day}\n{event.id}")
        minutes = max(int((made - _COUNTED_FROM).total_seconds() // 60.0), 0)
        lines = [
            "BEGIN:VEVENT",
            f"UID:{uid}",
            f"DTSTAMP:{_utc(made)}",
            f"SEQUENCE:{minutes}",
            f"DTSTART:{_utc(event.at)}",
            f"DTEND:{_utc(event.at.astimezone(UTC) + LASTS)}",
            f"SUMMARY:{_text(event.summary)}",
            f"DESCRIPTION:{_text(event.description)}",
            "TRANSP:TRANSPARENT",
        ]
        if event.needs_you:
            lines += [
                "BEGIN:VALARM",
                f"UID:{uuid.uuid5(uid, 'reminder')}",
                "ACTION:DISPLAY",
                "TRIGGER:P0D",
                f"DESCRIPTION:{_text(event.summary)}",
                "END:VALARM",
            ]
        return [*lines, "END:VEVENT"]


def _utc(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def _text(words: str) -> str:
    """Return a TEXT value (RFC 5545, 3.3.11)."""
    shown = "\n".join(plain(line) for line in words.splitlines())
    return re.sub(r"([\\;,])", r"\\\1", shown).replace("\n", "\\n")


def _folded(line: str) -> str:
    """Return a line folded so that no part has more than 75 octets, and no letter is split."""
    parts: list[str] = []
    part, size = "", 0
    for letter in line:
        octets = len(letter.encode())
        if size + octets > _WIDEST:
            parts.append(part)
            part, size = "", 1  # the blank that a folded part begins with
        part += letter
        size += octets
    return "\r\n ".join([*parts, part])


def calendar(course: Forecast | Card) -> FiringCalendar:
    """Return the moments of a firing whose start is known, for a calendar.

    Parameters
    ----------
    course : Forecast or Card
        What was forecast, with its start; of a card, the program as keyed.

    Returns
    -------
    FiringCalendar

    Raises
    ------
    FiringError
        If the start is not known.

    Examples
    --------
    From 100 °C at 100 °C/h to 1000 °C is 9 hours:

    >>> import datetime
    >>> import firing as fi
    >>> plan = fi.Schedule("test tiles", (fi.Segment(1000.0, 100.0),), start_c=100.0)
    >>> start = datetime.datetime(2026, 3, 1, 8, 0, tzinfo=datetime.UTC)
    >>> found = fi.calendar(fi.forecast(plan, started=start))
    >>> [(event.id, event.at.hour) for event in found.events][:2]
    [('start', 8), ('heating-ends', 17)]
    >>> found.to_ics().splitlines()[0]
    'BEGIN:VCALENDAR'
    """
    card = course if isinstance(course, Card) else None
    found = card.forecast if card is not None else course
    if not isinstance(found, Forecast):
        raise FiringError(
            f"{course!r:.60} is no forecast and no card; give what forecast() returns"
        )
    if found.started is None:
        raise FiringError('a calendar needs a start; give it, like --start "2026-03-01 07:30"')
    title = card.program.original.title if card is not None else found.schedule.title
    kiln = found.kiln
    notes = [f"Not safe for this load: {sentence(b.message)}" for b in found.breaches]
    if kiln is not None and kiln.stalled:
        notes.append(
            f"{kiln.name} does not reach the end of this program, so its later moments are left out"
        )
    events = [_event(found, title, *moment) for moment in _moments(found, card, notes)]
    ordered = sorted(events, key=lambda event: event.after_s)
    return FiringCalendar(title, after(found.started, 0.0), tuple(ordered), tuple(notes))


def _event(
    course: Forecast, title: str, name: str, after_s: float, words: str, more: str, needs_you: bool
) -> FiringEvent:
    assert course.started is not None
    description = "\n".join(part for part in (more, f"Firing: {title}", _DEFERENCE) if part)
    # The minute that it is nearest to, as all else says it.
    at = after(course.started, after_s + 30.0).replace(second=0, microsecond=0)
    return FiringEvent(name, after_s, at, f"Kiln: {words}", description, needs_you)


_Moment = tuple[str, float, str, str, bool]
"""A moment's id, when [s], its line, what more there is to it, and whether a person is needed."""


def _moments(course: Forecast, card: Card | None, notes: list[str]) -> list[_Moment]:
    unit, keeper = course.schedule.unit, forecast_times(course)
    ends = all(segment.ends for segment in course.segments)
    first = "\n".join([*notes, *_plan_words(course, ends)])
    found: list[_Moment] = [("start", 0.0, "start the program", first, True)]
    candled = _candling_ends_s(course)
    by_hand = _by_hand(course, card)
    if candled is not None:
        found.append(_with_hand(by_hand, ("candling-ends", candled, "candling ends", "", False)))
    if not ends:
        return [*found, *by_hand]
    peak_s = course.peak_s
    peak = format_temperature(course.peak_c, unit)
    if course.heating_s - peak_s >= _ONE_MOMENT_S:
        found.append(("peak", peak_s, f"the peak is reached, {peak}", "", False))
    cone = f"It comes to {course.cones.words}.{cone_falls(course)}"
    end = _with_hand(by_hand, ("heating-ends", course.heating_s, "heating ends", cone, True))
    late_s = course.cone_falls_late_s
    if course.cones.reached_number is not None and late_s is None and "cone" not in end[2]:
        end = (*end[:2], f"{end[2]}; look at the cones", *end[3:])
    found += [end, *by_hand]
    if late_s is not None:
        words = f"cone {course.target_cone} should be down; look at the cones"
        found.append(("cone-falls", late_s, words, f"It comes to {course.cones.words}.", True))
    opens = format_temperature(course.unload_c, unit)
    early = _range_words(course, keeper)
    found.append(("cool-enough", course.total_s, f"cool enough to open, {opens}", early, True))
    return found


def _with_hand(by_hand: list[_Moment], moment: _Moment) -> _Moment:
    """Return a moment with what is done by hand in its minute, which is then taken off the list."""
    name, at_s, words, more, needs_you = moment
    for other in [other for other in by_hand if abs(other[1] - at_s) < _ONE_MOMENT_S]:
        by_hand.remove(other)
        words = f"{words}; {other[2]}"
        more = "\n".join(filter(None, (other[3], more)))
        needs_you = True
    return name, at_s, words, more, needs_you


def _plan_words(course: Forecast, ends: bool) -> list[str]:
    keeper = forecast_times(course)
    return [
        f"The program ends {keeper.when(course.program_s, about=True)}, and the kiln opens "
        f"{keeper.when(course.total_s, about=True)}."
    ] * ends


def _range_words(course: Forecast, keeper: Timekeeper) -> str:
    low, high = keeper.at(course.total_low_s), keeper.at(course.total_high_s)
    if course.total_high_s - course.total_low_s < _ONE_MOMENT_S:
        return "Read the pyrometer first."
    level = "from quick to slow kilns" if course.kiln is None else f"the {RANGES_HOLD} range"
    assumed = ""
    if course.kiln is None:
        usual = in_unit(course.usual.words, course.schedule.unit)
        assumed = f"No kiln was given: this is the cooling of {usual}.  "
    return f"Between {low} and {high}, {level}.  {assumed}Read the pyrometer first."


def _candling_ends_s(course: Forecast) -> float | None:
    """Return when the last hold about boiling ends, if it comes first [s]; None without one."""
    found = None
    for timed, segment in zip(course.segments, course.schedule.segments, strict=False):
        if segment.target_c > CANDLED_C or segment.target_c < timed.from_c or not timed.ends:
            break
        if segment.hold_s > 0.0:
            found = timed.end_s
    return found


def _by_hand(course: Forecast, card: Card | None) -> list[_Moment]:
    found: list[_Moment] = []
    if card is not None:
        for number, action in enumerate(card.program.actions):
            if course.segments[action.segment].ends:
                at = format_temperature(action.at_c, course.schedule.unit)
                more = f"At about {at}, segment {action.segment + 1}."
                moment_s = moment_of(card, action)
                words = f"{action.words}{still_stands(course, moment_s, action.words)}"
                found.append((f"by-hand-{number + 1}", moment_s, words, more, True))
        return found
    for timed, segment in zip(course.segments, course.schedule.segments, strict=False):
        if segment.action and timed.ends:
            at = format_temperature(timed.end_c, course.schedule.unit)
            more = sentence(f"at about {at}, as segment {course.schedule.label(timed.index)} ends.")
            number = len(found) + 1
            words = f"{segment.action}{still_stands(course, timed.end_s, segment.action)}"
            found.append((f"by-hand-{number}", timed.end_s, words, more, True))
    return found
