"""Moments on a wall clock: read as people write them, and counted on the time line.

Summer time moves only what is shown.
"""

import re
from datetime import datetime, time, timedelta, timezone

from firing.errors import FiringError


def require_zone(moment: datetime) -> None:
    """Refuse a moment without a time zone.

    Raises
    ------
    FiringError
        If it has none.
    """
    if moment.tzinfo is None:
        raise FiringError("a start time needs a time zone")


def after(started: datetime, after_s: float) -> datetime:
    """Return the wall-clock moment `after_s` seconds after `started`.

    Parameters
    ----------
    started : datetime
        With its time zone.
    after_s : float
        Seconds, on the time line.

    Raises
    ------
    FiringError
        If `started` has no time zone.
    """
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


_CLOCK = re.compile(r"(?:(today|tomorrow)\s+)?(\d{1,2}):(\d{2})")
_DATE = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[T\s]+(\d{1,2}):(\d{2}))?")
_AWAKE = re.compile(r"\s*(\d{1,2}):(\d{2})\s*(?:-|–|to)\s*(\d{1,2}):(\d{2})\s*")

YEARS = (1971, 2199)
"""The years a firing may begin in; beyond them calendars, zones and computers part ways."""
WINDOW_DAYS = 2
"""How long a window is that nobody gave [days]."""


def parse_when(text: str, *, near: datetime | None = None) -> datetime:
    """Read a moment of local time: ``now``, ``07:30``, ``tomorrow 07:30`` or ``2026-03-01 07:30``.

    Parameters
    ----------
    text : str
        What a person wrote.
    near : datetime, optional
        With a time of day alone, the day nearest to this moment is meant; without it, the next
        such time from now on.

    Returns
    -------
    datetime
        With the time zone of this machine.

    Raises
    ------
    FiringError
        If it is not a moment, or the clock skips it when summer time begins.
    """
    words = " ".join(text.strip().lower().split())
    now = datetime.now()
    if words == "now":
        return now.astimezone().replace(second=0, microsecond=0)
    clock, date = _CLOCK.fullmatch(words), _DATE.fullmatch(words.replace("t", " "))
    try:
        if date is not None:
            parts = [int(part or 0) for part in date.groups()]
            if not YEARS[0] <= parts[0] <= YEARS[1]:
                raise FiringError(
                    f'"{text}" is too far off; write a year from {YEARS[0]} to {YEARS[1]}'
                )
            return _local(datetime(*parts))  # type: ignore[arg-type]  # five whole numbers
        if clock is not None:
            base = now if near is None else near.astimezone().replace(tzinfo=None)
            moment = base.replace(hour=int(clock[2]), minute=int(clock[3]), second=0, microsecond=0)
            if clock[1] == "tomorrow":
                return _local(moment + timedelta(days=1))
            if clock[1] is None and near is None and moment < now:
                moment += timedelta(days=1)
            if near is not None:
                moment = min(
                    (moment + timedelta(days=days) for days in (-1, 0, 1)),
                    key=lambda choice: abs(choice - base),
                )
            return _local(moment)
    except ValueError:
        raise FiringError(f'"{text}" is not on the calendar or the clock') from None
    raise FiringError(
        f'"{text}" is not a moment; write "07:30", "tomorrow 07:30", "2026-03-01 07:30" or "now"'
    )


def _local(naive: datetime) -> datetime:
    local = naive.astimezone()
    back = datetime.fromtimestamp(local.timestamp())
    if back != naive:
        raise FiringError(
            f"{naive:%Y-%m-%d %H:%M} is skipped by the change to summer time; "
            f"write {back:%H:%M} or an earlier time"
        )
    return local


def parse_awake(text: str) -> tuple[time, time]:
    """Read waking hours such as ``07:00-22:00``.

    Raises
    ------
    FiringError
        If it is not two times of the day.
    """
    match = _AWAKE.fullmatch(text)
    try:
        if match is not None:
            return time(int(match[1]), int(match[2])), time(int(match[3]), int(match[4]))
    except ValueError:
        pass
    raise FiringError(f'"{text}" is not a span of the day; write "07:00-22:00"')


def parse_window(text: str | None, started: datetime | None) -> tuple[datetime, datetime]:
    """Read a window for the start, ``MOMENT to MOMENT``; else two days from the start or now.

    Raises
    ------
    FiringError
        If it is not two moments.
    """
    if text is None:
        begin = parse_when("now") if started is None else started
        return begin, begin + timedelta(days=WINDOW_DAYS)
    parts = re.split(r"\s+to\s+", text.strip())
    if len(parts) != 2:
        raise FiringError(f'"{text}" is not a window; write "2026-03-01 18:00 to 2026-03-02 12:00"')
    return parse_when(parts[0]), parse_when(parts[1])
