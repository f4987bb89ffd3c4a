"""What the physics of a kiln says of a log: its unit, its set point, and whether a clock was set.

A file can often be read in more than one way, and a kiln seldom: a room is no hotter than 43 °C,
no studio kiln passes 1400 °C, a kiln lags behind its set point, and it does not stand still in the
heat while hours pass.  Where that leaves one reading, it is taken and said; where it leaves two,
the log is refused with the options that settle it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from firing.errors import FiringError
from firing.logs.plausibility_limits import (
    FIRING_LEAST_C,
    ROOM_COLDEST_C,
    ROOM_HOTTEST_C,
    STUDIO_KILN_MOST_C,
)
from firing.trace import FloatArray, median, quantile

DegreeUnit = Literal["C", "F", "K", "C/10", "F/10", "C/100", "C/1000", "K/10", "C/2", "C/4", "C/16"]
"""What the number of a temperature may be: degrees, kelvins, or parts of one that a chip counts."""
UNIT_WORDS: dict[str, str] = {
    "C": "°C",
    "F": "°F",
    "K": "kelvins",
    "C/10": "tenths of °C",
    "F/10": "tenths of °F",
    "C/100": "hundredths of °C",
    "C/1000": "thousandths of °C",
    "K/10": "tenths of a kelvin",
    "C/2": "halves of °C",
    "C/4": "quarters of °C",
    "C/16": "sixteenths of °C",
    "mV": "millivolts",
}

_LEAST_READINGS = 20
_SAMPLED = 5000  # readings show how a channel goes, however many there are
_GAP_SHARE = 0.15  # a code for "no reading" stands as far above the readings
_MOST_CODES = 0.2
_STILL_COLD = 5.0  # degrees: nothing has happened yet
_BEGINS_COLD = 0.15  # of the way from the lowest reading to the highest
_ROOM_MV, _LEAST_MV, _MOST_MV = 2.0, 3.0, 80.0
"""A thermocouple at room temperature; type S in a decal firing; type E in a glaze firing [mV].
Source: NIST SRD 60."""
_LEAST_SHARE, _WARMS = 0.005, 5.0  # of type S at 1000 °C in volts; of a room to a kiln's heat


def celsius_of(values: FloatArray, unit: str) -> FloatArray:
    """Return numbers in a unit of temperature as °C."""
    scale, _, parts = unit.partition("/")
    if parts:
        values = values / float(parts)
    match scale:
        case "F":
            found: FloatArray = (values - 32.0) / 1.8
        case "K":
            found = values - 273.15
        case _:
            found = values
    return found


@dataclass(frozen=True, eq=False)
class Course:
    """How a channel's numbers go: lowest and highest of them, the first, and whether it is cold."""

    low: float
    high: float
    first: float

    @property
    def begins_cold(self) -> bool:
        """Whether the log begins where it is coldest, far below its heat."""
        span = self.high - self.low
        return span < _STILL_COLD or self.first - self.low <= _BEGINS_COLD * span


def course_of(values: FloatArray, least: int = _LEAST_READINGS) -> Course | None:
    """Return a channel's course without its codes for "no reading"; None for a few readings."""
    finite = values[np.isfinite(values)]
    if finite.size < least:
        return None
    ordered = np.sort(finite[:: max(1, finite.size // _SAMPLED)])
    most = int(_MOST_CODES * ordered.size)
    begin, end = 0, ordered.size
    # codes stand apart from what they are among: −9999 below, 32767 above
    while ordered.size - end < most:
        top = ordered[end - 1]
        same = int(np.searchsorted(ordered, top))
        if same <= begin or top - ordered[same - 1] <= _GAP_SHARE * abs(top):
            break
        if ordered.size - same > most:
            break
        end = same
    while begin < most and ordered[begin] < -50.0 and ordered[begin] < ordered[most] - 100.0:
        begin += 1
    low, high = float(ordered[begin]), float(ordered[end - 1])
    begun = finite[:_SAMPLED]
    known = begun[(begun >= low) & (begun <= high)]
    # a dense log's first one may be off; of a notebook's each half hour the fifth one glows
    begin_readings = known[: min(5, max(1, known.size // _LEAST_READINGS))]
    return Course(low, high, median(begin_readings) if known.size else low)


def _possible(course: Course, unit: str) -> tuple[bool, bool]:
    """Tell whether a course can begin at room temperature in a unit, and whether it can at all."""
    first_c, low_c, high_c = (
        float(celsius_of(np.array([value]), unit)[0])
        for value in (course.first, course.low, course.high)
    )
    # a log of the first hour is no firing yet; but tenths are believed of a whole one only
    least_c = FIRING_LEAST_C if "/" in unit else ROOM_COLDEST_C
    heats = least_c <= high_c <= STUDIO_KILN_MOST_C
    cold = ROOM_COLDEST_C <= first_c <= ROOM_HOTTEST_C
    return heats and cold and course.begins_cold, heats and low_c >= ROOM_COLDEST_C - 10.0


_UNITS: tuple[DegreeUnit, ...] = ("C", "F", "K", "C/10", "F/10", "C/100", "C/1000", "K/10")
_COUNTS: tuple[DegreeUnit, ...] = ("C/2", "C/4", "C/16")
"""What thermocouple chips count in: offered, and never taken unasked."""
_USUAL_ROOM_C, _USUAL_ROOM_MOST_C, _USUAL_PEAK_C = 10.0, 31.0, 600.0


def _usual(course: Course, unit: str) -> bool:
    """Tell whether a firing in a unit would begin and end as most do."""
    first_c, high_c = celsius_of(np.array([course.first, course.high]), unit).tolist()
    return bool(first_c >= _USUAL_ROOM_C and high_c >= _USUAL_PEAK_C)


def _begins_in_a_room(course: Course, unit: str) -> bool:
    """Tell whether a firing in a unit would begin at the temperature of most rooms."""
    first_c = float(celsius_of(np.array([course.first]), unit)[0])
    return _USUAL_ROOM_C <= first_c <= _USUAL_ROOM_MOST_C


def fits_fahrenheit(course: Course) -> bool:
    """Tell whether a course that can begin in a room in °C could as well in °F."""
    return _possible(course, "F")[0]


@dataclass(frozen=True, eq=False)
class Settled:
    """The unit that a log's numbers are in, and the words for it; no words where nothing is new."""

    unit: DegreeUnit
    note: str = ""


def settle_unit(
    name: str, channel: str, course: Course, stated: Literal["C", "F", "K"] | None
) -> Settled:
    """Return the unit of a channel by what a kiln can do; refuse what leaves a choice.

    `stated` is the file's own word for it.  A stated unit is doubted only where no kiln can have
    given its readings.
    """
    span = f"{channel} begins near {course.first:.0f} and reaches {course.high:.5g}"
    if stated is not None:
        return _settle_stated(name, span, course, stated)
    if abs(course.first) <= _ROOM_MV and _LEAST_MV <= course.high <= _MOST_MV:
        raise FiringError(
            f"{name}: no unit is stated, and {span}, which is no firing in °C; if these are "
            "millivolts, say --unit mV with --thermocouple-type and its letter, like K or S, and "
            "--junction with the temperature of the reference junction; if the kiln was no hotter, "
            "say --unit C"
        )
    if _LEAST_SHARE < course.high < _LEAST_MV and course.high > _WARMS * abs(course.first):
        raise FiringError(
            f"{name}: no unit is stated, and {span}, which is no firing in °C; if these are volts, "
            "thousands of degrees or shares of a range, change them into degrees in a spreadsheet; "
            "if the kiln was no hotter, say --unit C"
        )
    cold = [unit for unit in _UNITS if _possible(course, unit)[0]]
    warm = [unit for unit in _UNITS if _possible(course, unit)[1] and unit not in cold]
    if "C" in cold and "F" not in cold:
        return Settled(
            "C",
            f"no unit is stated; {span}, as a kiln does in °C and not in °F, so °C are taken; say "
            "--unit F if the log is in °F",
        )
    if "C" in cold or (not cold and "C" in warm):
        return Settled("C")
    offered = [*cold, *(unit for unit in ("C", "F", "K") if unit in warm)]
    counts = [unit for unit in _COUNTS if _possible(course, unit)[0] and _usual(course, unit)]
    if len(offered) == 1 or (cold == ["F"] and "C" not in warm):
        unit = offered[0]
        usual = _usual(course, unit)
        if usual or "/" not in unit:
            likely = [c for c in counts if not usual or _begins_in_a_room(course, c)]
            other = "".join(f", --unit {c} if in {UNIT_WORDS[c]}" for c in likely)
            return Settled(
                unit,
                f"no unit is stated; {span}, as a kiln does in {UNIT_WORDS[unit]} only, so these "
                f"are taken; say --unit C if the log is in °C{other}",
            )
    if not any(_usual(course, unit) for unit in offered):
        offered = [*counts, *offered]
    if not offered:
        raise FiringError(
            f"{name}: no unit is stated, and {span}, which no kiln does in °C; say --unit F, "
            "--unit K, --unit C/10 or --unit F/10 for tenths of a degree, or --unit C/4 or "
            "--unit C/16 for the counts of a chip"
        )
    options = " or ".join(f"--unit {unit} ({UNIT_WORDS[unit]})" for unit in offered)
    raise FiringError(
        f"{name}: no unit is stated, and {span}, which fits more than one unit; say {options}"
    )


def _settle_stated(name: str, span: str, course: Course, stated: Literal["C", "F", "K"]) -> Settled:
    scaled: dict[str, tuple[DegreeUnit, ...]] = {
        "C": ("C/10", "C/100", "C/1000"),
        "F": ("F/10",),
        "K": ("K/10",),
    }
    high_c = float(celsius_of(np.array([course.high]), stated)[0])
    low_c = float(celsius_of(np.array([course.low]), stated)[0])
    if high_c > STUDIO_KILN_MOST_C:
        for unit in scaled[stated]:
            if _possible(course, unit)[1] and (_usual(course, unit) or not course.begins_cold):
                return Settled(
                    unit,
                    f"{span}, which no kiln does in {UNIT_WORDS[stated]}, so these are taken for "
                    f"{UNIT_WORDS[unit]}; say --unit {stated} if they are not",
                )
        parts: list[str] = [
            unit for unit in (*_COUNTS, *scaled[stated]) if _possible(course, unit)[0]
        ]
        others = [unit for unit in ("F", "K", "C") if unit != stated and _possible(course, unit)[1]]
        others = others or parts
        if others and course.high > 1.03 * STUDIO_KILN_MOST_C:
            options = " or ".join(f"--unit {unit} ({UNIT_WORDS[unit]})" for unit in others)
            raise FiringError(
                f"{name}: the file states {UNIT_WORDS[stated]}, but {span}, hotter than any studio "
                f"kiln; say {options} if that is what it holds, or --unit {stated} if it is right"
            )
    if stated == "K" and low_c < -100.0:
        return Settled("C", f"{span}, which no kiln does in kelvins, so °C are taken")
    cold_c = float(celsius_of(np.array([course.first]), stated)[0])
    others = [unit for unit in ("C", "F", "K") if unit != stated and _possible(course, unit)[0]]
    odd = cold_c > ROOM_HOTTEST_C + 5.0 or (stated == "F" and cold_c < 0.0)
    if course.begins_cold and odd and others:
        named = " or ".join(f"{UNIT_WORDS[unit]}: say --unit {unit}" for unit in others)
        return Settled(stated, f"{span}; if it began at room temperature, the log is in {named}")
    if stated == "C" and abs(course.first) <= _ROOM_MV and _LEAST_MV <= course.high <= _MOST_MV:
        return Settled(
            stated,
            f"{span}, which is no firing in °C; if these are millivolts, say --unit mV with "
            "--thermocouple-type and --junction",
        )
    return Settled(stated)


def is_plain_kiln(course: Course) -> bool:
    """Tell whether a course is that of a kiln in plain °C, from a room's temperature to a glow."""
    return course.high >= FIRING_LEAST_C and _possible(course, "C")[0]


def is_hot_in_degrees(course: Course) -> bool:
    """Tell whether a course can be a kiln's in °C, °F or kelvins."""
    return any(_possible(course, unit)[1] for unit in ("C", "F", "K"))


# A display that was switched

_SIDE_READINGS, _LEAST_SIDE = 6, 3
_LEAST_LEAP = 20.0  # from x to 1.8 x + 32 it is 32 at freezing, and more above
_MOST_SWITCHES = 8


def unit_switches(time_s: FloatArray, values: FloatArray) -> list[tuple[int, bool]]:
    """Return the places from which a channel's numbers are in °F or in °C again, and if in °F.

    The kiln goes on as it did, and its number leaps from x to 1.8 x + 32 or back: no kiln does.
    """
    if values.size < _LEAST_READINGS:
        return []
    one, two = values[:-1], values[1:]
    low, high = np.minimum(one, two), np.maximum(one, two)
    expected = 1.8 * low + 32.0
    leaps = (high - low > _LEAST_LEAP) & (np.abs(high - expected) < 0.2 * (high - low))
    places = np.flatnonzero(leaps) + 1
    if places.size > 5 * _MOST_SWITCHES:
        return []
    usual_s = median(np.diff(time_s))
    if not usual_s > 0.0:  # many rows with one time: nothing shows how fast it went
        return []
    found = [
        (place, bool(values[place] > values[place - 1]))
        for place in places.tolist()
        if _is_switched(time_s, values, place, usual_s)
    ]
    turns = [to_f for _, to_f in found]
    if len(found) > _MOST_SWITCHES or any(a == b for a, b in pairwise(turns)):
        return []
    return found


def _is_switched(time_s: FloatArray, values: FloatArray, at: int, usual_s: float) -> bool:
    """Tell whether the readings before and after a leap are one course, written in two units."""
    before = values[max(0, at - _SIDE_READINGS) : at]
    after = values[at : at + _SIDE_READINGS]
    if before.size < _LEAST_SIDE or after.size < _LEAST_SIDE:
        return False
    to_f = after[0] > before[-1]
    one = before if to_f else (before - 32.0) / 1.8
    two = (after - 32.0) / 1.8 if to_f else after
    rate_one, rate_two = median(np.diff(one)), median(np.diff(two))
    spread = max(float(np.ptp(np.diff(one))), float(np.ptp(np.diff(two))), 1.0)
    fastest = max(abs(rate_one), abs(rate_two))
    intervals = max(1.0, float(time_s[at] - time_s[at - 1]) / usual_s)
    moved = 0.5 * (rate_one + rate_two) * intervals
    apart = abs(float(two[0] - one[-1]) - moved)
    leap = abs(float(after[0] - before[-1]))
    return (
        apart <= max(2.0 * spread, 0.5 * fastest * intervals)
        # a leap this long is no kiln's, even where a ramp ends
        and (abs(rate_one - rate_two) <= max(spread, 0.6 * fastest) or leap > 10.0 * fastest)
        and leap > 3.0 * fastest * intervals + 4.0 * spread
    )


# The set point

_LEAST_FOLLOWED = 60
_STRAIGHT_SHARE = 0.9
_STEEP_DIGITS = 8.0
_ALIKE_C = 60.0


def set_point_of(time_s: FloatArray, channels: Sequence[FloatArray]) -> int | None:
    """Return which of some channels [°C] is the set point of another: straight, and ahead of it.

    None where no channel is one, or the lag does not show it.
    """
    if time_s.size < _LEAST_FOLLOWED:
        return None
    hot = [n for n, values in enumerate(channels) if _peak_c(values) >= FIRING_LEAST_C]
    for n in hot:
        if not _is_straight(channels[n]):
            continue
        for m in hot:
            if m != n and not _is_straight(channels[m]) and _leads(channels[n], channels[m]):
                return n
    return None


def _peak_c(values: FloatArray) -> float:
    finite = values[np.isfinite(values)]
    return quantile(finite, 0.99) if finite.size >= _LEAST_FOLLOWED else -np.inf


def _is_straight(values: FloatArray) -> bool:
    """Tell whether a course is made of straight lines, as a program is and a reading is not."""
    finite = values[np.isfinite(values)]
    if finite.size < 0.9 * values.size:
        return False
    bend = np.abs(np.diff(finite, 2))
    step = _resolution(finite)
    moves = np.abs(np.diff(finite))
    flat = np.count_nonzero(moves == 0.0) > 0.02 * finite.size
    # a first climb has no hold yet: it shows where readings are many digits apart
    steep = median(moves) >= _STEEP_DIGITS * step
    straight = np.count_nonzero(bend <= 2.05 * step) >= _STRAIGHT_SHARE * bend.size
    return bool(straight and (flat or steep))


def _resolution(values: FloatArray) -> float:
    """Return the last digit that a channel is written in [its unit]."""
    taken = values[:: max(1, values.size // _SAMPLED)]
    for step in (1.0, 0.5, 0.25, 0.1, 0.05):
        near = np.abs(taken / step - np.round(taken / step))
        if np.count_nonzero(near < 1e-6) >= 0.98 * taken.size:
            return step
    return 0.06  # °F written in tenths, as °C


def _leads(program_c: FloatArray, reading_c: FloatArray) -> bool:
    """Tell whether a reading follows a program: close behind it while it climbs."""
    known = np.isfinite(program_c) & np.isfinite(reading_c)
    program, reading = program_c[known], reading_c[known]
    climbs = np.concatenate([np.diff(program) > 0.0, [False]])
    warm = climbs & (program > 100.0)
    if np.count_nonzero(warm) < _LEAST_FOLLOWED // 2:
        return False
    lag_c = program[warm] - reading[warm]
    behind = median(lag_c)
    noisy = np.abs(np.diff(reading, 2))
    return 0.0 < behind <= _ALIKE_C and median(noisy) > 0.0


# The clock

_GAP_STEPS, _SHORT_GAP_STEPS = 10.0, 1.5
_LEAST_GAP_S, _LEAST_SHORT_GAP_S = 600.0, 240.0
_WOULD_MOVE_C = 10.0
_WOULD_SHOW = 4.0  # times what the readings may be off for noise
_ALIKE_RATES = 0.4
_SIDE = 12


def goes_on(time_s: FloatArray, level_c: FloatArray, at: int, usual_s: float) -> bool | None:
    """Tell whether a kiln went on without a break between readings `at` − 1 and `at`.

    True: the clock was set, as the kiln goes on as if one interval had passed.  False: it did
    not.  None: the kiln stood so still that nothing shows.
    """
    before = slice(max(0, at - _SIDE), at)
    after = slice(at, at + _SIDE)
    one, two = level_c[before], level_c[after]
    if not (np.isfinite(one).sum() >= 4 and np.isfinite(two).sum() >= 4):
        return None
    rate_one, end_one, noise_one = _line(time_s[before], one, usual_s, last=True)
    rate_two, begin_two, noise_two = _line(time_s[after], two, usual_s, last=False)
    noise_c = max(noise_one, noise_two, 0.3)
    step_c = begin_two - end_one
    expected_c = 0.5 * (rate_one + rate_two)
    off_c = max(4.0 * noise_c, 0.5 * abs(expected_c), 1.5)
    if abs(step_c - expected_c) > off_c:
        return False
    gap_s = abs(float(time_s[at] - time_s[at - 1]))
    moves_c = min(abs(rate_one), abs(rate_two)) * gap_s / usual_s
    # a kiln that climbed before and falls after it has been over its peak meanwhile
    alike = abs(rate_one - rate_two) <= _ALIKE_RATES * max(abs(rate_one), abs(rate_two))
    return True if alike and moves_c >= max(_WOULD_MOVE_C, _WOULD_SHOW * off_c) else None


def _line(
    time_s: FloatArray, values: FloatArray, usual_s: float, *, last: bool
) -> tuple[float, float, float]:
    """Return a straight line through readings: its step an interval, its end, its noise [°C]."""
    known = np.isfinite(values)
    x = np.arange(values.size, dtype=np.float64)[known]
    y = values[known]
    slope, level = np.polyfit(x, y, 1)
    noise = float(np.std(y - (slope * x + level)))
    end = level + slope * (values.size - 1 if last else 0.0)
    return float(slope), float(end), noise


def roughness(values: FloatArray) -> float:
    """Return how far a course goes in all, up and down, without its codes [its unit]."""
    finite = values[np.isfinite(values)]
    return float(np.abs(np.diff(finite)).sum()) if finite.size > 1 else 0.0


_LEAST_SPAN = 100.0


def hottest(channels: Sequence[FloatArray]) -> FloatArray | None:
    """Return the channel that gets hottest, without its codes, scaled to a thousand."""
    best: tuple[float, FloatArray] | None = None
    for values in channels:
        course = course_of(values)
        if course is None or course.high - course.low < _LEAST_SPAN:
            continue
        inside: npt.NDArray[np.bool_] = (values >= course.low) & (values <= course.high)
        scaled = np.where(inside, (values - course.low) / (course.high - course.low), np.nan)
        if best is None or course.high - course.low > best[0]:
            best = course.high - course.low, scaled * 1000.0
    return None if best is None else best[1]


def is_gap(step_s: FloatArray, usual_s: float) -> npt.NDArray[np.bool_]:
    """Tell which steps of time are long enough to ask whether a clock was set."""
    found: npt.NDArray[np.bool_] = step_s > max(_GAP_STEPS * usual_s, _LEAST_GAP_S)
    short = step_s > max(_SHORT_GAP_STEPS * usual_s, _LEAST_SHORT_GAP_S)
    # where a few steps only are longer than the others, each is asked about
    return short if np.count_nonzero(short) <= _FEW_GAPS else found


_FEW_GAPS = 3


LONGEST_FIRING_S = 400 * 86_400.0
"""No firing lasts longer [s]: a step beyond it is a clock that was set."""
