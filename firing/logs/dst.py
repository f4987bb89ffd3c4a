"""Wall-clock times without an offset: real time across the nights when clocks are changed.

What a zone's rules say and what the log shows are both heard.  A logger whose clock runs straight
through the night is left alone; one that skips the hour in spring, or repeats it in autumn, is put
back on real time.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo

import numpy as np

from firing.errors import FiringError
from firing.logs.text import printable
from firing.logs.times import SECONDS_PER_DAY
from firing.trace import FloatArray

_EPOCH = datetime(1970, 1, 1)
_LONGEST_DAYS = (
    400  # a log longer than this is told apart by its own notes, not searched day by day
)


@dataclass(frozen=True)
class ClockChange:
    """A night when clocks are changed, in naive seconds since 1970 [s].

    Between `begin_s` and `end_s` no clock shows a time in spring (`shift_s` > 0), and every clock
    shows it twice in autumn (`shift_s` < 0).
    """

    begin_s: float
    end_s: float
    shift_s: float

    @property
    def words(self) -> str:
        """The night for reading: ``2025-03-30 at 02:00``."""
        at_s = self.begin_s if self.shift_s > 0 else self.end_s
        return f"{_EPOCH + timedelta(seconds=at_s):%Y-%m-%d at %H:%M}"


class Zone:
    """The rules of a time zone: a named one, a fixed offset, or this computer's."""

    def __init__(self, name: str | None = None) -> None:
        self._rules: tzinfo | None = None if name is None else _rules_of(name)

    def offset_s(self, naive_s: float, fold: int = 0) -> float:
        """Return the offset from UTC [s] at a wall-clock moment [naive s since 1970]."""
        naive = (_EPOCH + timedelta(seconds=naive_s)).replace(fold=fold)
        aware = naive.astimezone() if self._rules is None else naive.replace(tzinfo=self._rules)
        offset = aware.utcoffset()
        return 0.0 if offset is None else offset.total_seconds()

    def moment(self, naive_s: float, fold: int = 0) -> datetime | None:
        """Return a wall-clock moment with its offset in this zone, None outside 1970 to 2220."""
        if not _in_calendar(naive_s):
            return None
        offset = timedelta(seconds=self.offset_s(naive_s, fold))
        return (_EPOCH + timedelta(seconds=naive_s)).replace(tzinfo=timezone(offset))

    def local(self, utc_s: float) -> datetime:
        """Return a moment given in seconds since 1970, UTC, at this zone's offset."""
        aware = (_EPOCH + timedelta(seconds=utc_s)).replace(tzinfo=UTC).astimezone(self._rules)
        return aware.replace(tzinfo=timezone(aware.utcoffset() or timedelta(0)))

    def changes(self, first_s: float, last_s: float) -> tuple[ClockChange, ...]:
        """Return the clock changes between two naive moments, and up to a day around them."""
        days = (last_s - first_s) / SECONDS_PER_DAY
        if days > _LONGEST_DAYS or not _in_calendar(first_s) or not _in_calendar(last_s):
            return ()
        at = [first_s + day * SECONDS_PER_DAY for day in range(-1, int(days) + 3)]
        offsets = [self.offset_s(moment_s) for moment_s in at]
        found = []
        for index in range(1, len(at)):
            shift_s = offsets[index] - offsets[index - 1]
            if shift_s:
                found.append(self._change(at[index - 1], at[index], offsets[index - 1], shift_s))
        return tuple(found)

    def _change(self, low_s: float, high_s: float, before_s: float, shift_s: float) -> ClockChange:
        # of two readings of a clock the first counts (fold 0), so the rules change where the hour
        # that is skipped, or shown twice, ends
        while high_s - low_s > 0.5:
            middle_s = 0.5 * (low_s + high_s)
            if self.offset_s(middle_s) == before_s:
                low_s = middle_s
            else:
                high_s = middle_s
        end_s = float(round(high_s / 60.0) * 60)
        return ClockChange(end_s - abs(shift_s), end_s, shift_s)


def _in_calendar(naive_s: float) -> bool:
    return 0.0 <= naive_s <= 250 * 365 * SECONDS_PER_DAY


def _rules_of(name: str) -> tzinfo:
    text = name.strip()
    if text.upper() in ("UTC", "Z"):
        return UTC
    sign = {"+": 1, "-": -1, "−": -1}.get(text[:1])
    hours, _, minutes = text[1:].partition(":")
    if sign and re.fullmatch(r"\d{1,2}(:[0-5]\d)?", text[1:]) and int(hours) < 24:
        return timezone(sign * timedelta(hours=int(hours), minutes=int(minutes or 0)))
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(text)
    except (OSError, ValueError, LookupError) as fault:
        raise FiringError(
            f'"{printable(name)}" is no known time zone; write one like Europe/Berlin, UTC or '
            "+01:00"
        ) from fault


@dataclass(frozen=True, eq=False)
class RealTime:
    """Wall-clock times with every change of the clocks taken out: as far apart as they really were.

    `first_fold` is 1 where the first reading stands in the second of two like hours.
    """

    naive_s: FloatArray
    first_fold: int
    notes: tuple[str, ...]


def real_time(naive_s: FloatArray, zone: Zone, line: Callable[[int], int]) -> RealTime:
    """Put wall-clock times, readable and in the order of the file, on real time.

    `line` gives the line of a place in `naive_s`, for notes.
    """
    notes: list[str] = []
    fold = 0
    real_s = naive_s
    for change in zone.changes(float(naive_s.min()), float(naive_s.max())):
        step = (
            _skipped_hour_at(naive_s, change)
            if change.shift_s > 0
            else _repeated_hour_at(naive_s, change)
        )
        if step is None:
            continue
        if step < 0:
            word = "forward" if change.shift_s > 0 else "back"
            notes.append(
                f"clocks went {word} on {change.words}, but the logger's ran straight on; "
                "its times are taken as written"
            )
            inside = change.begin_s <= naive_s[0] < change.end_s
            fold = 1 if change.shift_s < 0 and inside else fold
            continue
        if real_s is naive_s:
            real_s = naive_s.copy()
        real_s[step:] -= change.shift_s
        words = "forward" if change.shift_s > 0 else "back"
        passed_s = float(real_s[step] - real_s[step - 1])
        notes.append(
            f"the clocks went {words} on {change.words}, between lines {line(step - 1)} and "
            f"{line(step)}; {passed_s:.0f} s really passed there"
        )
    return RealTime(real_s, fold, tuple(notes))


def _skipped_hour_at(naive_s: FloatArray, change: ClockChange) -> int | None:
    """Return where the skipped hour lies, −1 if the clock ran through it, None if it is not met."""
    if np.any((naive_s >= change.begin_s) & (naive_s < change.end_s)):
        return -1
    after = np.flatnonzero(naive_s >= change.end_s)
    if not after.size or after[0] == 0:
        return None
    return int(after[0])


def _repeated_hour_at(naive_s: FloatArray, change: ClockChange) -> int | None:
    """Return where the repeated hour begins anew, −1 if the clock ran on, None if it is not met."""
    near = (naive_s[1:] >= change.begin_s - 60.0) & (naive_s[1:] < change.end_s)
    back = np.flatnonzero(near & (np.diff(naive_s) < 0))
    if back.size:
        return int(back[0]) + 1
    after = np.flatnonzero(naive_s >= change.end_s)
    if not after.size or after[0] == 0:
        return None
    first = int(after[0])
    pause_s = float(naive_s[first] - naive_s[first - 1])
    if naive_s[first - 1] >= change.begin_s and pause_s < 0.5 * abs(change.shift_s):
        return -1
    # the hour, or its end, was not logged: the clock was put back before the next reading
    return first
