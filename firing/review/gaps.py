"""Stretches that a log lacks, and what they hide: the peak, the heat-work, causes.

A straight line across a gap is a guess.  What the kiln could have done in it is bounded by how fast
the same log shows it to climb and to fall.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from firing.cones.equivalence import ConeVerdict, cone_reached
from firing.review import thresholds as limit
from firing.serialise import Serialised
from firing.trace import FloatArray, Trace, median
from firing.units import SECONDS_PER_HOUR, TemperatureUnit, Wording, format_duration


@dataclass(frozen=True, slots=True)
class Gap(Serialised):
    """A stretch without readings; times count from the log's first reading [s].

    `highest_c` is what the kiln could have come to in it [°C]; `hides_peak` and `hides_heatwork`
    whether the highest reading, or a telling part of the heat-work, may lie inside.
    """

    start_s: float
    end_s: float
    before_c: float
    after_c: float
    highest_c: float
    hides_peak: bool = False
    hides_heatwork: bool = False

    json_keys = (
        "start_s", "end_s", "seconds", "before_c", "after_c", "highest_c", "hides_peak",
        "hides_heatwork",
    )  # fmt: skip

    @property
    def seconds(self) -> float:
        """How long it is [s]."""
        return self.end_s - self.start_s


def gaps_in(time_s: FloatArray, temperature_c: FloatArray) -> tuple[Gap, ...]:
    """Return where readings are missing for more than five usual intervals, in their order."""
    usable = np.isfinite(temperature_c)
    time_s, temperature_c = time_s[usable], temperature_c[usable]
    if time_s.size < limit.GAP_READINGS:
        return ()
    step_s = np.diff(time_s)
    least_s = max(limit.GAP_INTERVALS * median(step_s), limit.GAP_LEAST_S)
    places = np.flatnonzero(step_s > least_s)
    if places.size == 0:
        return ()
    climbs, falls = _fastest_c_per_s(time_s, temperature_c, places)
    top_c = float(temperature_c.max())
    found = []
    for i in places.tolist():
        before_c, after_c = float(temperature_c[i]), float(temperature_c[i + 1])
        # Up as fast as it ever climbed, then down as fast as it ever fell, in the time there was.
        up_s = (after_c - before_c + falls * float(step_s[i])) / (climbs + falls)
        highest_c = max(before_c + climbs * max(up_s, 0.0), before_c, after_c)
        found.append(
            Gap(
                float(time_s[i]),
                float(time_s[i + 1]),
                before_c,
                after_c,
                highest_c,
                hides_peak=highest_c > top_c + limit.GAP_PEAK_C,
            )
        )
    return tuple(found)


def _fastest_c_per_s(
    time_s: FloatArray, temperature_c: FloatArray, places: np.ndarray
) -> tuple[float, float]:
    """Return how fast a log shows the kiln to climb and to fall, over a quarter of an hour."""
    grid = np.arange(time_s[0], time_s[-1], limit.GAP_SLOPE_S)
    course = np.interp(grid, time_s, temperature_c)
    slopes = np.diff(course) / limit.GAP_SLOPE_S
    for i in places.tolist():
        slopes[(grid[1:] > time_s[i]) & (grid[:-1] < time_s[i + 1])] = 0.0
    least = limit.GAP_LEAST_C_PER_H / SECONDS_PER_HOUR
    return max(float(slopes.max(initial=0.0)), least), max(float(-slopes.min(initial=0.0)), least)


def left_out(trace: Trace, gaps: Sequence[Gap]) -> Trace:
    """Return a log as if its gaps had taken no time: what the kiln surely did."""
    time_s = trace.time_s.copy()
    for gap in gaps:
        # The readings on either side stay a moment apart.
        time_s[trace.time_s >= gap.end_s] -= gap.seconds - limit.GAP_MOMENT_S
    # What no channel or another one has in between has no place left.
    kept = np.concatenate(([True], np.diff(np.maximum.accumulate(time_s)) > 0.0))
    return replace(trace, time_s=time_s[kept], temperature_c=trace.temperature_c[kept], duty=None)


def at_most(
    time_s: FloatArray, temperature_c: FloatArray, gaps: Sequence[Gap]
) -> tuple[FloatArray, FloatArray]:
    """Return a course that stood in every gap at the highest the kiln could have come to."""
    usable = np.isfinite(temperature_c)
    time_s, temperature_c = time_s[usable], temperature_c[usable]
    extra_s = [
        at_s
        for gap in gaps
        for at_s in (gap.start_s + limit.GAP_MOMENT_S, gap.end_s - limit.GAP_MOMENT_S)
    ]
    extra_c = [gap.highest_c for gap in gaps for _ in range(2)]
    all_s = np.concatenate((time_s, extra_s))
    order = np.argsort(all_s, kind="stable")
    return all_s[order], np.concatenate((temperature_c, extra_c))[order]


def hiding_heatwork(
    gaps: Sequence[Gap], least: float | None, bridged: float | None, most: float | None
) -> tuple[Gap, ...]:
    """Mark the gaps that hide heat-work, by the cone with them left out, bridged, and at most."""
    low, middle, high = (-99.0 if n is None else n for n in (least, bridged, most))
    if middle - low <= limit.GAP_CONES and high - middle <= limit.GAP_MOST_CONES:
        return tuple(gaps)
    hottest_c = max(gap.highest_c for gap in gaps)
    return tuple(
        replace(gap, hides_heatwork=gap.highest_c > hottest_c - limit.HEATWORK_BELOW_C)
        for gap in gaps
    )


def surely_reached(trace: Trace, channel: int) -> tuple[ConeVerdict, tuple[Gap, ...]]:
    """Return the cone of a log's channel, a lower bound where its gaps hide heat-work, and them."""
    temperature_c = trace.channel_c(channel)
    bridged = cone_reached(trace.time_s, temperature_c)
    gaps = gaps_in(trace.time_s, temperature_c)
    if not gaps:
        return bridged, gaps
    shorter = left_out(trace, gaps)
    least = cone_reached(shorter.time_s, shorter.channel_c(channel))
    most = cone_reached(*at_most(trace.time_s, temperature_c, gaps))
    numbers = (verdict.reached_number for verdict in (least, bridged, most))
    marked = hiding_heatwork(gaps, *numbers)
    if not any(gap.hides_heatwork for gap in marked):
        return bridged, marked
    return replace(least, high=most.high), marked


LACKED = "the log lacks"
"""How the evidence of a cause begins that a gap leaves open."""


def lacked_words(gap: Gap) -> str:
    """Return why nobody knows what made a segment longer that a gap lies in, as a clause."""
    return f"{LACKED} {format_duration(gap.seconds)} of it"


def gap_words(gaps: Sequence[Gap], unit: TemperatureUnit) -> list[str]:
    """Return the stretches that a log lacks, the longest first, and what they hide."""
    if not gaps:
        return []
    say = Wording(unit)
    longest = sorted(gaps, key=lambda gap: -gap.seconds)
    told = limit.GAPS_TOLD
    said = [
        f"The log lacks {format_duration(gap.seconds)} from {format_duration(gap.start_s)} on, "
        f"between {say.degrees(gap.before_c)} and {say.degrees(gap.after_c)}"
        for gap in longest[:told]
    ]
    if len(longest) > told:
        rest_s = sum(gap.seconds for gap in longest[told:])
        said[-1] += f", and {len(longest) - told} shorter stretches, {format_duration(rest_s)}"
    hidden = ["what happened there"]
    if any(gap.hides_heatwork for gap in gaps):
        hidden.insert(0, "the cone, of which this log shows a lower bound")
    if any(gap.hides_peak for gap in gaps):
        hidden.insert(0, "the peak")
    *first, last = hidden
    listed = f"{', '.join(first)}, and {last}" if first else last
    return [*(f"{words}." for words in said), f"Not known: {listed}."]
