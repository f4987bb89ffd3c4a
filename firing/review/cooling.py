"""After the program: what still ran under power, how fast it cooled, and where that quickened."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from firing.forecast.result import Forecast
from firing.heat import default_kiln
from firing.review import thresholds as limit
from firing.review.alignment import Alignment
from firing.review.ramp import line_and_bend
from firing.review.resample import ResampledTrace, moving_mean
from firing.review.result import (
    CauseShare,
    CoolingReview,
    CoolingThrough,
    ExtraSegment,
    Quickening,
)
from firing.trace import FloatArray, Trace
from firing.units import SECONDS_PER_HOUR, format_duration, format_rate, format_temperature


def rates_through(
    trace: Trace, temperatures_c: Sequence[float] = limit.INVERSIONS_C
) -> tuple[CoolingThrough, ...]:
    """Return how fast every channel last cooled through each temperature."""
    return tuple(
        CoolingThrough(
            through_c,
            {
                name: _rate_through(trace.time_s, trace.channel_c(number), through_c)
                for number, name in enumerate(trace.channels)
            },
        )
        for through_c in temperatures_c
    )


def _rate_through(time_s: FloatArray, temperature_c: FloatArray, through_c: float) -> float | None:
    above = np.flatnonzero(temperature_c > through_c + limit.AROUND_C)
    if above.size == 0:
        return None
    after = slice(int(above[-1]), None)
    usable = np.isfinite(temperature_c[after])
    at_s, falling_c = time_s[after][usable], temperature_c[after][usable]
    below = np.flatnonzero(falling_c <= through_c - limit.AROUND_C)
    if below.size == 0 or below[0] == 0:
        return None
    last = int(below[0]) + 1
    # From the last reading above to the first below, wherever noise put them.
    fallen_c, taken_s = float(falling_c[0] - falling_c[last - 1]), float(at_s[last - 1] - at_s[0])
    return fallen_c / taken_s * SECONDS_PER_HOUR


def quickening(trace: ResampledTrace, from_s: float, room_c: float) -> Quickening | None:
    """Return where natural cooling first became faster than it had been; None if it never did."""
    first = trace.index(from_s)
    half = max(1, round(limit.COOLING_SMOOTH_S / trace.step_s))
    falls = -moving_mean(trace.rate_c_per_h[first:], half)
    temperature_c = trace.temperature_c[first:]
    settle = max(1, round(limit.COOLING_SETTLE_S / trace.step_s))
    if falls.size < settle + 4 * half:
        return None
    begin = int(np.argmax(falls[:settle]))
    slowest = np.minimum.accumulate(falls[begin:])
    helped = limit.QUICKER_FACTOR * np.maximum(slowest, 0.0) + limit.QUICKER_C_PER_H
    lowest_c = max(limit.COLD_C, room_c + 25.0)
    hits = np.flatnonzero((falls[begin:] > helped) & (temperature_c[begin:] > lowest_c))
    # At the end of the log the smoothing has nothing to lean on.
    hits = hits[hits < falls.size - begin - half]
    if hits.size == 0:
        return None
    at = begin + int(hits[0])
    before = float(slowest[at - begin])
    sharp = -trace.rate_c_per_h[first:]
    earlier = np.flatnonzero(
        sharp[begin : at + half] <= limit.QUICKER_BEGIN_SHARE * max(before, 0.0) + 2.0
    )
    # The slope looks five minutes either way, so it bends up five minutes before the readings do.
    ahead = max(1, round(limit.SLOPE_HALF_WINDOW_S / trace.step_s))
    start = min(begin + int(earlier[-1]) + ahead if earlier.size else at, falls.size - 1)
    after = float(np.max(falls[at : at + 4 * half]))
    return Quickening(
        float(trace.time_s[first + start]), float(temperature_c[start]), before, after
    )


def extra_segment(trace: ResampledTrace, from_s: float, room_c: float) -> ExtraSegment | None:
    """Return what was run under power after the plan's end; None if the kiln was left to itself.

    Told only where the fall quickened at the end of a stay or of a straight stretch: a closed kiln
    left to itself falls ever more slowly.
    """
    begin_s = from_s
    for _ in range(limit.MOST_EXTRA):
        quicker = quickening(trace, begin_s, room_c)
        if quicker is None or not _under_power(trace, begin_s, quicker.at_s):
            break
        begin_s = quicker.at_s
    if begin_s == from_s:
        return None
    from_c, to_c = trace.at(from_s), trace.at(begin_s)
    return ExtraSegment(
        begin_s, from_c, to_c, (to_c - from_c) / (begin_s - from_s) * SECONDS_PER_HOUR
    )


def _under_power(trace: ResampledTrace, start_s: float, end_s: float) -> bool:
    """Return whether the readings stood still or fell in a straight line between two moments."""
    first, last = trace.index(start_s), trace.index(end_s)
    corner = max(1, round(0.1 * (last - first)))
    inside = slice(first + corner, last + 1 - corner)
    time_s, temperature_c = trace.time_s[inside], trace.temperature_c[inside]
    if time_s.size < 8 or end_s - start_s < limit.POWERED_S:
        return False
    fallen_c = float(temperature_c[0] - temperature_c[-1])
    if float(np.ptp(temperature_c)) <= limit.POWERED_STAY_C + 3.0 * trace.noise_c:
        return True
    if fallen_c < 0.8 * limit.POWERED_C:
        return False
    _, bend, error = line_and_bend(time_s, -temperature_c)
    return abs(bend) - 2.0 * error <= limit.BEND_MOST


@dataclass(frozen=True, eq=False)
class _Yardstick:
    """Expected seconds between two temperatures, and the share of them that is still usual."""

    time_s: FloatArray
    temperature_c: FloatArray  # falling
    shortest: float
    longest: float
    words: str
    basis: Literal["kiln", "default"]

    def seconds(self, from_c: float, to_c: float) -> float:
        at_s = np.interp(-np.array([from_c, to_c]), -self.temperature_c, self.time_s)
        return float(at_s[1] - at_s[0])


def cooling_review(
    forecast: Forecast,
    alignment: Alignment,
    trace: ResampledTrace,
    quicker: Quickening | None = None,
    from_s: float | None = None,
) -> CoolingReview | None:
    """Compare the cooling after the program with the kiln's forecast, else the default curve.

    Where it suddenly became quicker, what it went on to take is compared with the pace it had kept
    until then.

    None where the log does not follow the cooling down from `from_s`, the end of the program.
    """
    if alignment.stops_inside:
        return None
    room_c = forecast.schedule.room_c
    first = trace.index(alignment.end_s if from_s is None else from_s)
    after_c = trace.temperature_c[first:]
    if after_c.size < 2:
        return None
    cold = np.flatnonzero(after_c <= room_c + 10.0)
    last = first + (int(cold[0]) if cold.size else after_c.size - 1)
    from_c, to_c = float(trace.temperature_c[first]), float(trace.temperature_c[last])
    if from_c - to_c < limit.COOLED_LEAST_C or to_c < room_c + 2.0:
        return None
    yardstick = _in_kiln(forecast) if alignment.complete else None
    unit = forecast.schedule.unit
    if yardstick is not None:
        top_c, bottom_c = float(yardstick.temperature_c[0]), float(yardstick.temperature_c[-1])
        # Only where both have been: the model is not stretched beyond its own cooling.
        if from_c > top_c:
            first += int(np.argmax(trace.temperature_c[first:] <= top_c))
        if to_c < bottom_c:
            last = first + int(np.argmax(trace.temperature_c[first:] <= bottom_c))
        from_c, to_c = float(trace.temperature_c[first]), float(trace.temperature_c[last])
        if from_c - to_c < limit.COOLED_LEAST_C:
            return None
    else:
        yardstick = _default(from_c, to_c, room_c)
    actual_s = float(trace.time_s[last] - trace.time_s[first])
    expected_s = yardstick.seconds(from_c, to_c)
    shortest_s, longest_s = yardstick.shortest * expected_s, yardstick.longest * expected_s
    words = (
        f"from {format_temperature(from_c, unit)} to {format_temperature(to_c, unit)} "
        f"{yardstick.words} {format_duration(shortest_s)} to {format_duration(longest_s)}"
    )
    causes: tuple[CauseShare, ...] = ()
    closed_share: float | None = None
    if quicker is None or not first + 1 < trace.index(quicker.at_s) < last:
        closed_share = actual_s / expected_s
    else:
        opened = trace.index(quicker.at_s)
        opened_c = float(trace.temperature_c[opened])
        before_s = float(trace.time_s[opened] - trace.time_s[first])
        expected_before_s = yardstick.seconds(from_c, opened_c)
        if expected_before_s > 0.1 * expected_s:
            closed_share = before_s / expected_before_s
        pace = 1.0 if closed_share is None else closed_share
        saved_s = (actual_s - before_s) - pace * yardstick.seconds(opened_c, to_c)
        words = (
            f"from {format_temperature(opened_c, unit)} on it cooled at up to "
            f"{format_rate(quicker.after_c_per_h, unit)}, after "
            f"{format_rate(quicker.before_c_per_h, unit)} before; compared with the pace until then"
        )
        causes = (CauseShare("fast_cooling", min(saved_s, 0.0), words),)
    if not causes and actual_s > longest_s:
        causes = (CauseShare("slow_cooling", actual_s - expected_s, words),)
    elif not causes and actual_s < shortest_s:
        causes = (CauseShare("fast_cooling", actual_s - expected_s, words),)
    return CoolingReview(
        from_c=from_c,
        to_c=to_c,
        start_s=float(trace.time_s[first]),
        end_s=float(trace.time_s[last]),
        forecast_s=expected_s,
        causes=causes,
        basis=yardstick.basis,
        closed_share=closed_share,
        usual_share=(yardstick.shortest, yardstick.longest),
    )


def _default(from_c: float, to_c: float, room_c: float) -> _Yardstick:
    run = default_kiln.cool(from_c, to_c, room_c=room_c)
    slow, fast = default_kiln.COOLING_FACTOR_RANGE
    return _Yardstick(
        run.time_s,
        run.temperature_c,
        default_kiln.COOLING_FACTOR / fast,
        default_kiln.COOLING_FACTOR / slow,
        "kilns like the default take",
        "default",
    )


def _in_kiln(forecast: Forecast) -> _Yardstick | None:
    """Return the cooling of the kiln that was simulated; None without one."""
    kiln = forecast.kiln
    if kiln is None or kiln.stalled:
        return None
    time_s, temperature_c = forecast.trace.time_s, forecast.trace.channel_c()
    first = int(np.searchsorted(time_s, forecast.program_s - 1e-6))
    time_s, temperature_c = time_s[first:], temperature_c[first:]
    falling = np.concatenate(
        ([True], temperature_c[1:] < np.minimum.accumulate(temperature_c)[:-1])
    )
    if np.count_nonzero(falling) < 3:
        return None
    low, high = forecast.cooling_range
    return _Yardstick(
        time_s[falling],
        temperature_c[falling],
        low,
        high,
        f'the model of "{kiln.name}" takes',
        "kiln",
    )
