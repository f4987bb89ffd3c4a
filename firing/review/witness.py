"""Witness cones: what the ware's own cones say, set against the heat-work of the readings.

A cone that a firing has bent part-way stands for a share of its heat-work.  The degrees by which
the readings would have to be moved for the cone law to give that share are the kiln's offset: what
the thermocouple, where it sits, reads too low by.
"""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from firing.cones.equivalence import law_shift_c
from firing.cones.heatwork import readings
from firing.cones.kinetics import ConeLaw, cone_law
from firing.cones.occupation import Occupation, occupy
from firing.cones.table import parse_cone
from firing.cones.uncertainty import budget
from firing.errors import FiringError
from firing.trace import FloatArray, Trace

SOURCES = "cone-bending-practice, cone-model, cone-maker-tolerance"

# Tip angle of the hours standing to six [degrees], and the share of the heat-work by tip angle
# (source cone-bending-practice; the shares are this project's inference).
_TIP_DEGREES = np.array([8.0, 21.0, 35.0, 49.0, 63.0, 77.0, 90.0])
_SHARE_DEGREES = np.array([8.0, 35.0, 49.0, 63.0, 90.0])
_SHARES = np.array([0.4, 0.5, 0.8, 0.95, 1.0])
BENDING_BEGINS, DOWN = 0.4, 1.0

READING_H = 0.5
"""A position is read off a cone to about half an hour of the clock (common practice, no source)."""
FURTHEST_C = 150.0
"""Beyond this it is another cone, another firing or a broken thermocouple [°C]."""

_WITNESS = re.compile(r"\s*([^=]+?)\s*=\s*([^@]+?)\s*(?:@\s*(.+?)\s*)?")
_CLOCK = re.compile(r"(\d)(?::([0-5]\d))?")


def share_at(clock_h: float) -> float:
    """Return the share of its heat-work at which a cone's tip stands at an hour of the clock.

    Parameters
    ----------
    clock_h : float
        0 (standing) to 6 (down).

    Returns
    -------
    float
        x [1], 0.4 to 1 (source ``cone-bending-practice``, inferred).
    """
    degrees = np.interp(clock_h, np.arange(7.0), _TIP_DEGREES)
    return float(np.interp(degrees, _SHARE_DEGREES, _SHARES))


def position_words(heatwork: float) -> str:
    """Return how a cone of that heat-work stands: ``standing``, ``at 3:10`` or ``down``."""
    if heatwork < BENDING_BEGINS:
        return "standing"
    if heatwork >= DOWN - 1e-6:
        return "down"
    degrees = np.interp(heatwork, _SHARES, _SHARE_DEGREES)
    minutes = 10 * round(6.0 * float(np.interp(degrees, _TIP_DEGREES, np.arange(7.0))))
    return f"at {minutes // 60}:{minutes % 60:02d}"


@dataclass(frozen=True, slots=True)
class Witness:
    """One cone that stood in the kiln, as a person read it afterwards.

    Attributes
    ----------
    cone : str
        In its printed spelling.
    clock_h : float or None
        Where its tip points, 1 to 6; None for one that is standing or down.
    stands : bool
        Whether one without a clock position is standing; else it is down.
    place : str
        Where it stood: a channel of the log, or any words; empty if not said.
    """

    cone: str
    clock_h: float | None
    stands: bool = False
    place: str = ""

    @property
    def seen(self) -> str:
        """The position in words."""
        if self.clock_h is None:
            return "standing" if self.stands else "down"
        minutes = round(60.0 * self.clock_h)
        return f"at {minutes // 60}:{minutes % 60:02d}"


def parse_witness(text: str) -> Witness:
    """Read a witness cone: ``6=3:00@top``, ``6=down``, ``7=standing``.

    Parameters
    ----------
    text : str
        Cone, equals sign, position; then, if wanted, an at sign and the channel or place.

    Raises
    ------
    FiringError
        If it is none, the cone is not made, or the position is not on a cone's clock.
    """
    match = _WITNESS.fullmatch(text)
    if match is None:
        raise FiringError(
            f'--witness "{text}" is not understood; write the cone, its position and where it '
            'stood, such as "6=3:00@top", "6=down" or "7=standing"'
        )
    cone, position, place = parse_cone(match[1]), match[2].casefold(), match[3] or ""
    if position in ("down", "standing"):
        return Witness(cone, None, position == "standing", place)
    clock = _CLOCK.fullmatch(position)
    hours = None if clock is None else int(clock[1]) + int(clock[2] or 0) / 60.0
    if hours is None or not 1.0 <= hours <= 6.0:
        raise FiringError(
            f'--witness "{text}": "{match[2]}" is not a position of a cone\'s tip; write a clock '
            "position from 1:00 to 6:00, down, or standing"
        )
    return Witness(cone, hours, False, place)


@dataclass(frozen=True, slots=True)
class WitnessResult:
    """A witness cone set against the readings of one channel.

    Attributes
    ----------
    witness : Witness
    channel : str
        Whose readings it is set against.
    heatwork : float
        What the readings give the cone [1].
    offset_c : float or None
        What the readings are too low by [°C]; None for a cone that only bounds it.
    low_c, high_c : float or None
        Its range [°C]; None where it is open.
    """

    witness: Witness
    channel: str
    heatwork: float
    offset_c: float | None
    low_c: float | None
    high_c: float | None

    def to_dict(self) -> dict[str, Any]:
        """Return the result as the JSON shows it."""
        return {
            "cone": self.witness.cone,
            "place": self.witness.place or None,
            "channel": self.channel,
            "seen": self.witness.seen,
            "computed": position_words(self.heatwork),
            "heatwork": self.heatwork,
            "offset_c": self.offset_c,
            "low_c": self.low_c,
            "high_c": self.high_c,
        }


@dataclass(frozen=True, slots=True)
class KilnOffset:
    """What all witness cones together say of one channel.

    Attributes
    ----------
    channel : str
    results : tuple of WitnessResult
    offset_c : float or None
        What the readings are too low by [°C]; None where the cones leave one side open.
    low_c, high_c : float or None
        Its range [°C].
    agree : bool
        Whether the cones' ranges have a temperature in common.
    """

    channel: str
    results: tuple[WitnessResult, ...]
    offset_c: float | None
    low_c: float | None
    high_c: float | None
    agree: bool

    def to_dict(self) -> dict[str, Any]:
        """Return the offset as the JSON shows it."""
        return {
            "channel": self.channel,
            "offset_c": self.offset_c,
            "low_c": self.low_c,
            "high_c": self.high_c,
            "agree": self.agree,
            "cones": [result.to_dict() for result in self.results],
            "source": SOURCES,
        }


@dataclass(frozen=True, slots=True)
class WitnessVerdict:
    """What the witness cones of a firing say.

    Attributes
    ----------
    kiln : KilnOffset
        Of the channel the kiln is run by, from every cone: the ware's heat-work is what counts, so
        a cone beside another thermocouple speaks of the kiln's too.
    others : tuple of KilnOffset
        Of other channels, from the cones that stood at them.
    """

    kiln: KilnOffset
    others: tuple[KilnOffset, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the verdict as the JSON shows it."""
        return {**self.kiln.to_dict(), "by_channel": [other.to_dict() for other in self.others]}


def judge_witnesses(trace: Trace, channel: int, witnesses: Sequence[Witness]) -> WitnessVerdict:
    """Set witness cones against a log.

    Parameters
    ----------
    trace : Trace
        The log.
    channel : int
        The channel the kiln is run by, from 0.
    witnesses : sequence of Witness
        One or more.

    Returns
    -------
    WitnessVerdict

    Raises
    ------
    FiringError
        If a cone and the readings are further apart than any offset.
    """
    kiln = trace.channels[channel]
    own: dict[str, list[Witness]] = {}
    for witness in witnesses:
        name = _channel_at(trace, witness.place)
        if name is not None and name != kiln:
            own.setdefault(name, []).append(witness)
    return WitnessVerdict(
        _offset(trace, kiln, witnesses),
        tuple(_offset(trace, name, beside) for name, beside in own.items()),
    )


def _channel_at(trace: Trace, place: str) -> str | None:
    """Return the channel that a place names, by its name or its number from 1."""
    wanted = place.casefold()
    for number, name in enumerate(trace.channels, start=1):
        if wanted in (name.casefold(), str(number)):
            return name
    return None


def _offset(trace: Trace, channel: str, witnesses: Sequence[Witness]) -> KilnOffset:
    time_s, temperature_c = readings(trace.time_s, trace.channel_c(channel))
    results = tuple(_result(time_s, temperature_c, channel, witness) for witness in witnesses)
    lows = [r.low_c for r in results if r.low_c is not None]
    highs = [r.high_c for r in results if r.high_c is not None]
    agree = not lows or not highs or max(lows) <= min(highs)
    exact = [r for r in results if r.offset_c is not None]
    if exact:
        values = [r.offset_c for r in exact if r.offset_c is not None]
        # What cones have in common, the law, does not average out: neither does the range.
        low_c = min(float(np.mean([r.low_c for r in exact if r.low_c is not None])), *values)
        high_c = max(float(np.mean([r.high_c for r in exact if r.high_c is not None])), *values)
        return KilnOffset(channel, results, float(np.mean(values)), low_c, high_c, agree)
    if lows and highs:
        low_c, high_c = sorted((max(lows), min(highs)))
        middle_c = 0.5 * (low_c + high_c)
        # However close the bounds, nothing is known better than one cone and its law tell it.
        half_c = max(
            0.5 * (high_c - low_c),
            *(budget(cone_law(witness.cone)).total_c for witness in witnesses),
        )
        return KilnOffset(channel, results, middle_c, middle_c - half_c, middle_c + half_c, agree)
    return KilnOffset(
        channel, results, None, max(lows, default=None), min(highs, default=None), agree
    )


def _result(
    time_s: FloatArray, temperature_c: FloatArray, channel: str, witness: Witness
) -> WitnessResult:
    law = cone_law(witness.cone)
    occupation = occupy(time_s, temperature_c, [law], FURTHEST_C + 50.0)

    def law_shift(moved_c: float) -> float:
        return law_shift_c(law.cone, time_s, temperature_c + moved_c)

    def shift_for(share: float) -> float | None:
        return _shift_c(law, occupation, share, law_shift)

    computed = occupation.heatwork(law, law_shift(0.0))
    own_c = budget(law).total_c
    if witness.clock_h is None:
        bound = shift_for(BENDING_BEGINS if witness.stands else DOWN)
        if bound is None:
            # A cone long down, or far from bending, as it ought to be, bounds nothing near.
            expected = (computed < BENDING_BEGINS) if witness.stands else (computed >= DOWN)
            if expected:
                return WitnessResult(witness, channel, computed, None, None, None)
            raise _too_far(witness, channel, computed)
        low, high = (None, bound + own_c) if witness.stands else (bound - own_c, None)
        return WitnessResult(witness, channel, computed, None, low, high)
    middle = shift_for(share_at(witness.clock_h))
    before = shift_for(share_at(max(witness.clock_h - READING_H, 0.0)))
    after = shift_for(share_at(min(witness.clock_h + READING_H, 6.0)))
    if middle is None or before is None or after is None:
        raise _too_far(witness, channel, computed)
    low_c = middle - math.hypot(middle - before, own_c)
    high_c = middle + math.hypot(after - middle, own_c)
    return WitnessResult(witness, channel, computed, middle, low_c, high_c)


def _too_far(witness: Witness, channel: str, computed: float) -> FiringError:
    return FiringError(
        f'--witness "{witness.cone}={witness.seen.removeprefix("at ")}": the readings of {channel} '
        f"would have to be more than {FURTHEST_C:.0f} °C ({1.8 * FURTHEST_C:.0f} °F) off for cone "
        f"{witness.cone} to be {witness.seen} (they leave it {position_words(computed)}); check "
        "the cone's number, and that it stood in this firing"
    )


def _shift_c(
    law: ConeLaw, occupation: Occupation, share: float, law_shift: Callable[[float], float]
) -> float | None:
    """Return the degrees to add to the readings for a share of the heat-work; None if too many."""
    moved_c = 0.0
    for _ in range(2):
        # The rate of approach, by which the law is moved, changes little with the readings.
        own_c = law_shift(moved_c)
        low_c, high_c = -FURTHEST_C, FURTHEST_C
        if not (
            occupation.heatwork(law, own_c + low_c)
            < share
            <= occupation.heatwork(law, own_c + high_c)
        ):
            return None
        for _ in range(40):
            middle_c = 0.5 * (low_c + high_c)
            if occupation.heatwork(law, own_c + middle_c) < share:
                low_c = middle_c
            else:
                high_c = middle_c
        moved_c = high_c
    return moved_c
