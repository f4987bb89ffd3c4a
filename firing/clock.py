"""Moments on a wall clock: read as people write them, and counted on the time line.

Summer time moves only what is shown.
"""

import re
from datetime import datetime, time, timedelta, timezone

from firing.errors import FiringError


def require_zone(moment: datetime) -> None:
    """Refuse a moment without a time zone."""
    if moment.tzinfo is None:
        raise FiringError("a start time needs a time zone")


def after(started: datetime, after_s: float) -> datetime:
    """Return the wall-clock moment `after_s` seconds after `started`."""
    require_zone(started)
    zone = started.tzinfo
    moment_s = started.timestamp()
    # A fixed offset (what astimezone() leaves behind) knows nothing of summer time: such a moment
    # came from the machine's own zone, so the machine's own rules are asked again.
    if isinstance(zone, timezone):
        local_offset = datetime.fromtimestamp(moment_s).astimezone().utcoffset()
        if local_offset == started.utcoffset():
            return datetime.fromtimestamp(moment_s + after_s).astimezone()
        return started + timedelta(seconds=after_s)
    return datetime.fromtimestamp(moment_s + after_s, tz=zone)


def after_iso(started: datetime | None, after_s: float) -> str | None:
    """Return that moment as ISO 8601 to the second, or None if no start is known."""
    if started is None:
        return None
    return after(started, after_s).isoformat(timespec="seconds")


_TIME = re.compile(
    r"(?P<noon>noon|midday)|(?P<h>\d{1,2})(?:[:.](?P<m>\d{2})(?::(?P<s>\d{2})(?:[.,]\d{1,9})?)?)?"
    r"\s*(?P<half>[ap]\.?\s?m\.?)?"
)
_DATE = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[\st]+(.*))?")
_ZONE = re.compile(r"\s*(z|utc|[+-]\d{2}:?\d{2})$")
_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_DAY = re.compile(
    rf"({'|'.join(_DAYS)}|(?:mon|tues?|wed|thu(?:rs?)?|fri|sat|sun)\.?),?\s+(?:at\s+)?(.+)"
)
_SPAN = re.compile(r"\s*(?:-|–|to)\s*")

YEARS = (1971, 2199)
"""The years a firing may begin in; beyond them calendars, zones and computers part ways."""
WINDOW_DAYS = 2
"""How long a window is that nobody gave [days]."""


def parse_when(text: str, *, near: datetime | None = None) -> datetime:
    """Read a moment: ``now``, ``07:30``, ``4:00pm``, ``Fri 20:00`` or ``2026-03-01 07:30``.

    It is in local time unless it carries an offset, as ISO 8601 may.  A time of day alone is the
    one nearest to `near`; without that, the next one from now on.
    """
    words = " ".join(text.strip().lower().split())
    now = datetime.now()
    if words == "now":
        return now.astimezone().replace(second=0, microsecond=0)
    try:
        found = _dated(words, text) or _on_a_day(words, now, near)
    except ValueError:
        raise FiringError(
            f'"{text}" is not on the calendar or the clock; write it like "07:30" or '
            '"2026-03-01 07:30"'
        ) from None
    if found is None:
        raise FiringError(
            f'"{text}" is not a moment; write "07:30", "4:00pm", "tomorrow 07:30", "Fri 20:00", '
            '"2026-03-01 07:30" or "now"'
        )
    return found


def _dated(words: str, text: str) -> datetime | None:
    """Read a date with its time of day, if it is one, and its offset from UTC."""
    zone = _ZONE.search(words) if ":" in words else None
    date = _DATE.fullmatch(words[: zone.start()] if zone else words)
    if date is None:
        return None
    day = [int(part) for part in date.groups()[:3]]
    if not YEARS[0] <= day[0] <= YEARS[1]:
        raise FiringError(f'"{text}" is too far off; write a year from {YEARS[0]} to {YEARS[1]}')
    at = time() if not date[4] else _time_of_day(date[4])
    if at is None:
        return None
    naive = datetime(day[0], day[1], day[2], at.hour, at.minute, at.second)
    if zone is None:
        return _local(naive)
    offset = "+0000" if zone[1] in ("z", "utc") else zone[1].replace(":", "")
    return datetime.strptime(f"{naive.isoformat()}{offset}", "%Y-%m-%dT%H:%M:%S%z").astimezone()


def _on_a_day(words: str, now: datetime, near: datetime | None) -> datetime | None:
    """Read a time of day, alone or on a day that is named from today."""
    day = re.fullmatch(r"(today|tomorrow),?\s+(?:at\s+)?(.+)", words)
    weekday = _DAY.fullmatch(words)
    at = _time_of_day(day[2] if day else weekday[2] if weekday else words)
    if at is None:
        return None
    base = now if near is None else near.astimezone().replace(tzinfo=None)
    moment = base.replace(hour=at.hour, minute=at.minute, second=at.second, microsecond=0)
    if day is not None:
        return _local(moment + timedelta(days=day[1] == "tomorrow"))
    step, days = timedelta(days=1), range(-1, 2)
    if weekday is not None:
        number = next(n for n, name in enumerate(_DAYS) if name.startswith(weekday[1][:3]))
        moment += timedelta(days=(number - moment.weekday()) % 7)
        step = timedelta(days=7)
    if near is not None:
        return _local(min((moment + n * step for n in days), key=lambda one: abs(one - base)))
    return _local(moment + step if moment < now else moment)


def _time_of_day(words: str) -> time | None:
    """Read ``07:30``, ``7:30:15``, ``4:00pm``, ``8 pm`` or ``noon``; None if it is none."""
    found = _TIME.fullmatch(words.strip())
    if found is None:
        return None
    if found["noon"]:
        return time(12)
    if found["m"] is None and found["half"] is None:
        return None  # a number alone may be anything
    hour = int(found["h"])
    if found["half"]:
        if not 1 <= hour <= 12:
            raise ValueError(words)
        hour = hour % 12 + (12 if found["half"].startswith("p") else 0)
    return time(hour, int(found["m"] or 0), int(found["s"] or 0))


def _local(naive: datetime) -> datetime:
    local = naive.astimezone()
    back = datetime.fromtimestamp(local.timestamp())
    if back != naive:
        raise FiringError(
            f"{naive:%Y-%m-%d %H:%M} is skipped by the change to summer time; "
            f"write {back:%H:%M} or an earlier time"
        )
    return local


def which_of_two(moment: datetime) -> str:
    """Return the local zone's name at a moment, if its time of day comes twice that night."""
    naive = moment.astimezone().replace(tzinfo=None)
    first, second = (naive.replace(fold=fold).astimezone() for fold in (0, 1))
    return "" if first == second else f" {moment.astimezone().tzname()}"


def parse_awake(text: str) -> tuple[time, time]:
    """Read waking hours such as ``07:00-22:00``."""
    try:
        parts = [_time_of_day(part) for part in _SPAN.split(text.strip().lower())]
    except ValueError:
        parts = []
    if len(parts) == 2 and parts[0] is not None and parts[1] is not None:
        return parts[0], parts[1]
    raise FiringError(f'"{text}" is not a span of the day; write "07:00-22:00"')


def parse_window(text: str | None, started: datetime | None) -> tuple[datetime, datetime]:
    """Read a window for the start, ``MOMENT to MOMENT``; else two days from the start or now.

    An end that is a time of day alone is the next such time after the beginning.
    """
    if text is None:
        begin = parse_when("now") if started is None else started
        return begin, begin + timedelta(days=WINDOW_DAYS)
    parts = re.split(r"\s+to\s+", text.strip())
    if len(parts) != 2:
        raise FiringError(f'"{text}" is not a window; write "2026-03-01 18:00 to 2026-03-02 12:00"')
    begin, end = parse_when(parts[0]), parse_when(parts[1])
    if _time_of_day(parts[1].lower()) is not None:
        days = (begin.date() - end.date()).days
        naive = end.replace(tzinfo=None) + timedelta(days=days)
        if naive <= begin.replace(tzinfo=None):
            naive += timedelta(days=1)
        end = _local(naive)
    return begin, end
