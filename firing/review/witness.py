"""Witness cones: what the ware's own cones say, set against the heat-work of the readings.

A cone that a firing has bent part-way stands for a share of its heat-work.  The degrees by which
the readings would have to be moved for the cone law to give that share are the kiln's offset: what
the thermocouple, where it sits, reads too low by.  It may be written into the kiln's file.
"""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np

from firing.cones.equivalence import moves_to_shares
from firing.cones.kinetics import cone_law
from firing.cones.table import CONES, cone_number, parse_cone
from firing.cones.uncertainty import budget
from firing.errors import FiringError
from firing.review import thresholds as limit
from firing.review.result import KilnOffset, Witness, WitnessResult, WitnessVerdict
from firing.trace import FloatArray, Trace

# Tip angle of the hours standing to six [degrees], and the share of the heat-work by tip angle
# (source cone-bending-practice; the shares are this project's inference).
_TIP_DEGREES = np.array([8.0, 21.0, 35.0, 49.0, 63.0, 77.0, 90.0])
_SHARE_DEGREES = np.array([8.0, 35.0, 49.0, 63.0, 90.0])
_SHARES = np.array([0.4, 0.5, 0.8, 0.95, 1.0])
BENDING_BEGINS, DOWN = 0.4, 1.0

_WITNESS = re.compile(r"\s*([^=]+?)\s*=\s*([^@]+?)\s*(?:@\s*(.+?)\s*)?")
_CLOCK = re.compile(r"(\d)(?::([0-5]\d))?")


def share_at(clock_h: float) -> float:
    """Return the share of its heat-work, 0.4 to 1, of a cone at an hour of the clock, 0 to 6."""
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


def parse_witness(text: str) -> Witness:
    """Read a witness cone: ``6=3:00@top``, ``6=down``, ``7=standing``.

    Cone, equals sign, position; then, if wanted, an at sign and the channel or place.
    """
    match = _WITNESS.fullmatch(text)
    if match is None:
        raise FiringError(
            f'witness "{text}" is not understood; write the cone, its position and where it '
            'stood, such as "6=3:00@top", "6=down" or "7=standing"'
        )
    cone, position, place = parse_cone(match[1]), match[2].casefold(), match[3] or ""
    if position in ("down", "standing"):
        return Witness(cone, None, position == "standing", place)
    clock = _CLOCK.fullmatch(position)
    hours = None if clock is None else int(clock[1]) + int(clock[2] or 0) / 60.0
    if hours is None or not 1.0 <= hours <= 6.0:
        raise FiringError(
            f'witness "{text}": "{match[2]}" is not a position of a cone\'s tip; write a clock '
            "position from 1:00 to 6:00, down, or standing"
        )
    return Witness(cone, hours, False, place)


def judge_witnesses(trace: Trace, channel: int, witnesses: Sequence[Witness]) -> WitnessVerdict:
    """Set witness cones against a log; `channel` is the one the kiln is run by, from 0.

    Cones further from the readings than any offset are refused.
    """
    own: dict[int, list[Witness]] = {}
    for witness in witnesses:
        number = _channel_at(trace, witness.place)
        if number is not None and number != channel:
            own.setdefault(number, []).append(witness)
    return WitnessVerdict(
        _offset(trace, channel, witnesses),
        tuple(_offset(trace, number, beside) for number, beside in own.items()),
    )


def _channel_at(trace: Trace, place: str) -> int | None:
    """Return the channel, from 0, that a place names, by its name or its number from 1."""
    wanted = place.casefold()
    for number, name in enumerate(trace.channels):
        if wanted in (name.casefold(), str(number + 1)):
            return number
    return None


def _offset(trace: Trace, number: int, witnesses: Sequence[Witness]) -> KilnOffset:
    channel, temperature_c = trace.channels[number], trace.temperature_c[:, number]
    results = tuple(_result(trace.time_s, temperature_c, channel, each) for each in witnesses)
    lows = [r.low_c for r in results if r.low_c is not None]
    highs = [r.high_c for r in results if r.high_c is not None]
    asked = (*_far_questions(trace, number, results), *_order_questions(witnesses))
    agree = not lows or not highs or max(lows) <= min(highs)
    exact = [r for r in results if r.offset_c is not None]
    if exact:
        values = [r.offset_c for r in exact if r.offset_c is not None]
        # What cones have in common, the law, does not average out: neither does the range.
        low_c = min(float(np.mean([r.low_c for r in exact if r.low_c is not None])), *values)
        high_c = max(float(np.mean([r.high_c for r in exact if r.high_c is not None])), *values)
        return KilnOffset(channel, results, float(np.mean(values)), low_c, high_c, agree, asked)
    if lows and highs:
        low_c, high_c = sorted((max(lows), min(highs)))
        middle_c = 0.5 * (low_c + high_c)
        # However close the bounds, nothing is known better than one cone and its law tell it.
        half_c = max(
            0.5 * (high_c - low_c),
            *(budget(cone_law(witness.cone)).total_c for witness in witnesses),
        )
        return KilnOffset(
            channel, results, middle_c, middle_c - half_c, middle_c + half_c, agree, asked
        )
    return KilnOffset(
        channel, results, None, max(lows, default=None), min(highs, default=None), agree, asked
    )


def _far_questions(trace: Trace, number: int, results: Sequence[WitnessResult]) -> Iterator[str]:
    """Yield a question for every cone that would put the readings further off than they drift."""
    for result in results:
        least_c = max(result.low_c or 0.0, -(result.high_c or 0.0), 0.0)
        off_c = least_c if result.offset_c is None else abs(result.offset_c)
        if off_c <= limit.QUESTIONED_OFFSET_C:
            continue
        witness = result.witness
        meant = _meant(trace, number, witness)
        asked = f"cone {meant} meant?" if meant else "is that the number on the cone?"
        low = (result.offset_c or result.low_c or -1.0) > 0.0
        yield (
            f"Cone {witness.cone} {witness.seen} would put the readings {off_c:.0f} °C "
            f"({1.8 * off_c:.0f} °F) too {'low' if low else 'high'}: {asked}"
        )


def _meant(trace: Trace, number: int, witness: Witness) -> str | None:
    """Return the cone that the readings leave as this one was seen; the one with its zero first."""
    swapped = _other_zero(witness.cone)
    bent = witness.clock_h is not None
    candidates = [swapped, *CONES] if bent else [swapped]
    best: tuple[float, str] | None = None
    for cone in candidates:
        if cone not in CONES:
            continue
        try:
            seen = _result(
                trace.time_s, trace.temperature_c[:, number], "", replace(witness, cone=cone)
            )
        except FiringError:
            continue
        off_c = abs(seen.offset_c or 0.0) if bent else max(seen.low_c or 0.0, -(seen.high_c or 0.0))
        if off_c <= limit.QUESTIONED_OFFSET_C:
            if cone == swapped:
                return cone
            best = min(best or (off_c, cone), (off_c, cone))
    return None if best is None else best[1]


def _other_zero(cone: str) -> str:
    """Return the number most easily mistaken for a cone's: with or without its zero."""
    return cone.removeprefix("0") if cone.startswith("0") else f"0{cone}"


def refuse_contradiction(witnesses: Sequence[Witness]) -> None:
    """Ask back where a cone is less bent than a hotter one beside it.

    `FiringError` with the question.
    """
    asked = next(_order_questions(witnesses), "")
    if asked:
        raise FiringError(f"{asked} Read the numbers on the cones; nothing was kept of them")


def _order_questions(witnesses: Sequence[Witness]) -> Iterator[str]:
    """Yield a question where a colder cone at the same place is less bent than a hotter one."""
    for one, other in combinations(witnesses, 2):
        colder, hotter = sorted((one, other), key=lambda witness: cone_number(witness.cone))
        # A cone without a place may have stood beside the other.
        places = {place.casefold() for place in (colder.place, hotter.place) if place}
        if len(places) > 1 or colder.cone == hotter.cone:
            continue
        if _bend(colder) < _bend(hotter):
            beside = colder.place.casefold() == hotter.place.casefold()
            elsewhere = "" if beside else " Or did they stand in two places?"
            yield (
                f"Cone {colder.cone} {colder.seen} and the hotter cone {hotter.cone} {hotter.seen} "
                f"contradict each other: cones {colder.cone} and {hotter.cone} exchanged?"
                f"{elsewhere}"
            )


def _bend(witness: Witness) -> float:
    if witness.clock_h is not None:
        return share_at(witness.clock_h)
    return 0.0 if witness.stands else DOWN


def _result(
    time_s: FloatArray, temperature_c: FloatArray, channel: str, witness: Witness
) -> WitnessResult:
    if witness.clock_h is None:
        shares = [BENDING_BEGINS if witness.stands else DOWN]
    else:
        hours = (witness.clock_h + early_h for early_h in (0.0, -limit.READING_H, limit.READING_H))
        shares = [share_at(min(max(hour, 0.0), 6.0)) for hour in hours]
    computed, moves = moves_to_shares(witness.cone, time_s, temperature_c, shares, limit.FURTHEST_C)

    def result(offset_c: float | None, low_c: float | None, high_c: float | None) -> WitnessResult:
        words = position_words(computed)
        return WitnessResult(witness, channel, computed, words, offset_c, low_c, high_c)

    own_c = budget(cone_law(witness.cone)).total_c
    if witness.clock_h is None:
        bound = moves[0]
        if bound is None:
            # A cone long down, or far from bending, as it ought to be, bounds nothing near.
            expected = (computed < BENDING_BEGINS) if witness.stands else (computed >= DOWN)
            if expected:
                return result(None, None, None)
            raise _too_far(witness, channel, computed)
        low, high = (None, bound + own_c) if witness.stands else (bound - own_c, None)
        return result(None, low, high)
    middle, before, after = moves
    if middle is None or before is None or after is None:
        raise _too_far(witness, channel, computed)
    low_c = middle - math.hypot(middle - before, own_c)
    high_c = middle + math.hypot(after - middle, own_c)
    return result(middle, low_c, high_c)


def _too_far(witness: Witness, channel: str, computed: float) -> FiringError:
    other = _other_zero(witness.cone)
    meant = f" (cone {other} meant?)" if other in CONES else ""
    return FiringError(
        f'witness "{witness.cone}={witness.seen.removeprefix("at ")}": the readings of {channel} '
        f"would have to be more than {limit.FURTHEST_C:.0f} °C "
        f"({1.8 * limit.FURTHEST_C:.0f} °F) off for cone {witness.cone} to be {witness.seen} "
        f"(they leave it {position_words(computed)}); check the cone's number{meant}, and "
        "that it stood in this firing"
    )


def text_with_offset(kiln_text: str, offset_c: float) -> tuple[str, float]:
    """Return a kiln file's text with another ``kiln_reads_low_c``, and what that was before."""
    from firing.files.tomledit import render
    from firing.files.tomlfile import parse
    from firing.kiln.file import KILN_FILE

    kiln_text = KILN_FILE.current(kiln_text)
    data = parse(kiln_text, "kiln")
    fitted = data.get("fitted", {})
    before = float(fitted.get("kiln_reads_low_c", 0.0))
    data["fitted"] = {**fitted, "kiln_reads_low_c": round(offset_c, 1)}
    return render(data, kiln_text), before


def write_offset(path: Path, offset: KilnOffset) -> tuple[float, float]:
    """Write the offset into a kiln file; returns the offset before and the one written [°C]."""
    from firing.files.tomlfile import read_text, write_text
    from firing.kiln.file import parse_kiln

    if offset.questions:
        raise FiringError(
            f"no offset was written. {offset.questions[0]} Read the numbers on the cones, and give "
            "--witness again"
        )
    if offset.offset_c is None:
        raise FiringError(
            "the witness cones leave the offset open on one side, so none was written; give a cone "
            "that is bent part-way, or one that is down and the next that is standing"
        )
    if not offset.agree:
        raise FiringError(
            "the witness cones contradict each other, so no offset was written; leave out the one "
            "that was set wrongly, or take the cones of one place"
        )
    text, before = text_with_offset(read_text(path), offset.offset_c)
    parse_kiln(text, str(path))
    write_text(path, text, overwrite=True)
    return before, round(offset.offset_c, 1)
