"""Temperatures over time, whoever made them: a plan, a forecast or a logger."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np
import numpy.typing as npt

from firing.arguments import check_fields
from firing.errors import FiringError
from firing.units import format_duration
from firing.viewable import Plottable

FloatArray = npt.NDArray[np.float64]
TraceKind = Literal["planned", "forecast", "measured"]


def median(values: npt.NDArray[np.floating | np.integer]) -> float:
    """Return the median; NaN of no values, or where one of them is NaN."""
    return quantile(values, 0.5)


def quantile(values: npt.NDArray[np.floating | np.integer], share: float) -> float:
    """Return below which value a share of them lies, straight between two of them.

    numpy's own loads its masked arrays first, which takes longer than a small log is read in.
    """
    last = values.size - 1
    if last < 0:
        return float("nan")
    place = share * last
    below = int(place)
    above = min(below + 1, last) if place > below else below
    parts = np.partition(values, (below, above, last))
    low, high, end = float(parts[below]), float(parts[above]), float(parts[last])
    if end != end:
        return end
    return 0.5 * (low + high) if place - below == 0.5 else low + (high - low) * (place - below)


@dataclass(frozen=True, eq=False)
class Trace(Plottable):
    """One firing's temperatures over time, in arrays of its own that cannot be written to.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Seconds since the trace began, finite and strictly increasing.
    temperature_c : ndarray, shape (n, channels)
        Temperatures [°C]; NaN where a channel has no usable reading.
    channels : tuple of str
        One name a column.
    duty : ndarray, shape (n,), optional
        Share of full power switched on, 0 to 1.
    started : datetime, optional
        The wall-clock moment of ``time_s == 0``, with its time zone.
    kind : {"planned", "forecast", "measured"}
        Who made it.

    Raises
    ------
    FiringError
        If shapes disagree, time does not increase or `started` has no time zone.

    Examples
    --------
    Straight from 20 to 1020 °C in ten hours, so 2.2 hours of it above 800 °C:

    >>> import firing as fi
    >>> ramp = fi.Trace([0.0, 36000.0], [20.0, 1020.0], ("kiln",), "planned")
    >>> ramp
    <Trace planned: 2 times over 10 h 00 min; kiln 20 to 1020 °C>
    >>> round(ramp.seconds_above(800.0) / 3600, 6)
    2.2
    """

    time_s: FloatArray
    temperature_c: FloatArray
    channels: tuple[str, ...]
    kind: TraceKind
    duty: FloatArray | None = None
    started: datetime | None = None

    def __post_init__(self) -> None:
        check_fields(self)
        # Copies: what the caller does with its own arrays, then or later, changes no trace.
        time_s = np.array(self.time_s, dtype=np.float64)
        temperature_c = np.array(self.temperature_c, dtype=np.float64)
        if temperature_c.ndim == 1:
            temperature_c = temperature_c[:, np.newaxis]
        if time_s.ndim != 1 or temperature_c.shape != (time_s.size, len(self.channels)):
            raise FiringError(
                f"a trace of {time_s.size} times and {len(self.channels)} channels needs "
                f"temperatures of that shape, not {temperature_c.shape}"
            )
        if not np.all(np.isfinite(time_s)) or np.any(np.diff(time_s) <= 0):
            raise FiringError("the times of a trace must be finite and increase")
        duty = None if self.duty is None else np.array(self.duty, dtype=np.float64)
        if duty is not None and duty.shape != time_s.shape:
            raise FiringError("the duty of a trace needs one value a time")
        if self.started is not None and self.started.tzinfo is None:
            raise FiringError("the start of a trace needs a time zone")
        own = {"time_s": time_s, "temperature_c": temperature_c, "duty": duty}
        for name, array in own.items():
            if array is not None:
                array.flags.writeable = False
            object.__setattr__(self, name, array)

    def __repr__(self) -> str:
        """Return kind, length and every channel's range, on one line."""
        spans = []
        for place, name in enumerate(self.channels):
            kept = self.temperature_c[:, place]
            kept = kept[np.isfinite(kept)]
            span = f"{kept.min():.0f} to {kept.max():.0f} °C" if kept.size else "no reading"
            spans.append(f"{name} {span}")
        over = f"{self.time_s.size} times over {format_duration(self.duration_s)}"
        return f"<Trace {self.kind}: {over}; {', '.join(spans)}>"

    @property
    def duration_s(self) -> float:
        """Seconds from the first to the last sample."""
        return float(self.time_s[-1] - self.time_s[0]) if self.time_s.size else 0.0

    def channel_c(self, channel: int | str = 0) -> FloatArray:
        """Return one channel's temperatures [°C], shape (n,), by its number from 0 or its name."""
        if isinstance(channel, str):
            if channel not in self.channels:
                raise FiringError(f'no channel "{channel}"; there are: {", ".join(self.channels)}')
            channel = self.channels.index(channel)
        column: FloatArray = self.temperature_c[:, channel]
        return column

    def seconds_above(self, level_c: float, channel: int | str = 0) -> float:
        """Return how long one channel, straight between its readings, is above a level [s].

        Parameters
        ----------
        level_c : float
            The level [°C].
        channel : int or str
            Number from 0 or name.
        """
        temperature_c = self.channel_c(channel)
        usable = np.isfinite(temperature_c)
        over = temperature_c[usable] - level_c
        step_s = np.diff(self.time_s[usable])
        first, second = over[:-1], over[1:]
        higher = np.maximum(first, second)
        span = np.abs(second - first)
        # Of a step that crosses the level, the part above is to the whole as its height is.
        share = np.divide(
            np.clip(higher, 0.0, span), span, out=(first > 0).astype(float), where=span > 0
        )
        return float(np.sum(step_s * share))
