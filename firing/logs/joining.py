"""Several files of one firing, put together in the order of their times."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from firing.errors import FiringError
from firing.logs.readings import LogReadings
from firing.trace import FloatArray, median
from firing.units import format_duration

BoolArray = npt.NDArray[np.bool_]

_GAP_INTERVALS = 3.0  # a longer pause between files is told


def join(readings: Sequence[LogReadings], pause_s: float | None) -> LogReadings:
    """Join the readings of several files.

    Files with wall-clock times are put in the order of their times; where they overlap, the file
    that began first counts.  Files that count from their own beginning are taken in the order
    given, a stated pause between them.
    """
    if len(readings) == 1:
        return readings[0]
    broken = next((one for one in readings if len(one.sections) > 1), None)
    if broken is not None:
        raise FiringError(
            f"{broken.name}: the elapsed time begins again at "
            f"{broken.where(broken.sections[1])}; say --restart-pause with how long the logger "
            "stood still"
        )
    notes: list[str] = []
    ordered, offsets_s = _ordered_by_start(readings, pause_s, notes)
    channels = _common_channels(ordered, notes)
    times: list[FloatArray] = []
    kept: list[LogReadings] = []
    keeps: list[BoolArray] = []
    end_s = -np.inf
    for one, offset_s in zip(ordered, offsets_s, strict=True):
        time_s = one.time_s + offset_s
        fresh = time_s > end_s
        if not fresh.all():
            notes.append(
                f"{one.name}: {np.count_nonzero(~fresh)} of {time_s.size} readings lie within the "
                "file before and are left out"
            )
        if not fresh.any():
            continue
        if kept:
            _note_gap(kept[-1], one, float(time_s[fresh][0] - end_s), notes)
        end_s = float(time_s[-1])
        times.append(time_s[fresh])
        kept.append(one)
        keeps.append(fresh)
    begins = np.concatenate([[0], np.cumsum([time.size for time in times])])[:-1]
    parts = list(zip(kept, keeps, strict=True))
    whole_s = np.concatenate(times)
    dialect = kept[0].dialect
    columns = tuple(
        replace(c, role="other") if c.role == "temperature" and c.name not in channels else c
        for c in dialect.columns
    )
    return replace(
        kept[0],
        dialect=replace(dialect, columns=columns),
        name=f"{readings[0].name} and {len(readings) - 1} more",
        rows=sum(one.rows for one in readings),
        time_s=whole_s - whole_s[0],
        temperature_c=np.concatenate(
            [one.temperature_c[keep][:, _channel_indices(one, channels)] for one, keep in parts]
        ),
        channels=channels,
        setpoint_c=_joined_column([(one.setpoint_c, keep) for one, keep in parts]),
        duty=_joined_column([(one.duty, keep) for one, keep in parts]),
        lines=np.concatenate([one.lines[keep] for one, keep in parts]),
        sections=(0,),
        notes=(*(f"{one.name}: {note}" for one in ordered for note in one.notes), *notes),
        files=tuple((int(begin), one.name) for begin, one in zip(begins, kept, strict=True)),
    )


def _ordered_by_start(
    readings: Sequence[LogReadings], pause_s: float | None, notes: list[str]
) -> tuple[list[LogReadings], list[float]]:
    """Return the files in order, and when each began, in seconds after the first."""
    moments_s = [one.started.timestamp() for one in readings if one.started is not None]
    if len(moments_s) == len(readings):
        order = np.argsort(moments_s, kind="stable").tolist()
        return [readings[n] for n in order], [moments_s[n] - min(moments_s) for n in order]
    nameless = next(one for one in readings if one.started is None)
    if moments_s:
        raise FiringError(
            f"{nameless.name} holds no clock times and another file does, so nothing shows which "
            "was first; give files of one kind"
        )
    if pause_s is None:
        raise FiringError(
            f"{nameless.name} holds no clock times, so nothing shows how far the files are apart; "
            "give them in order and say --restart-pause with the pause between them (0m for none)"
        )
    offsets_s = [0.0]
    for one in readings[:-1]:
        step_s = max(pause_s, interval_s(one))
        offsets_s.append(offsets_s[-1] + float(one.time_s[-1]) + step_s)
    notes.append(
        f"the files are joined in the order given, {format_duration(pause_s)} apart as asked"
    )
    return list(readings), offsets_s


def interval_s(readings: LogReadings) -> float:
    """Return the median time between readings [s]."""
    return median(np.diff(readings.time_s))


def _common_channels(readings: Sequence[LogReadings], notes: list[str]) -> tuple[str, ...]:
    first = readings[0]
    common = [name for name in first.channels if all(name in one.channels for one in readings)]
    if not common:
        listed = "; ".join(f"{one.name} has {', '.join(one.channels)}" for one in readings)
        raise FiringError(f"the files share no channel, so they cannot be joined: {listed}")
    left = sorted({name for one in readings for name in one.channels} - set(common))
    if left:
        notes.append(f"not in every file and left out: {', '.join(left)}")
    return tuple(common)


def _channel_indices(readings: LogReadings, channels: Sequence[str]) -> list[int]:
    return [readings.channels.index(name) for name in channels]


def _joined_column(columns: Sequence[tuple[FloatArray | None, BoolArray]]) -> FloatArray | None:
    """Join a column that not every file may have; NaN where it is missing."""
    if all(values is None for values, _ in columns):
        return None
    return np.concatenate(
        [
            np.full(int(np.count_nonzero(keep)), np.nan) if values is None else values[keep]
            for values, keep in columns
        ]
    )


def _note_gap(before: LogReadings, after: LogReadings, pause_s: float, notes: list[str]) -> None:
    usual_s = max(interval_s(before), interval_s(after))
    if pause_s > _GAP_INTERVALS * usual_s:
        notes.append(
            f"nothing was logged for {format_duration(pause_s)} between {before.name} and "
            f"{after.name}"
        )
