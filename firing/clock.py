"""Moments on a wall clock, counted on the time line: summer time moves only what is shown."""

from datetime import datetime, timedelta, timezone

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
