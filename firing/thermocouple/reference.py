"""The reference functions: the emf of each letter-designated thermocouple, and back from emf to °C.

The coefficients are NIST's own (source ``nist-srd-60``): polynomials in pieces and, for type K
above 0 °C, one Gaussian more.  Every emf counts from a reference junction at 0 °C, in millivolts.

For the way back the function is tabulated at every whole degree.  Read the other way at even steps
of emf, so that looking up needs no search, the table gives a guess, and Newton's method on the
function itself does the rest: one step nearly everywhere, more where the emf hardly changes, as
near −270 °C.
"""

import csv
import re
from dataclasses import dataclass
from enum import IntEnum
from functools import cache, cached_property
from itertools import groupby, pairwise
from pathlib import Path
from typing import Literal, get_args, overload

import numpy as np
import numpy.typing as npt

from firing.errors import FiringError

FloatArray = npt.NDArray[np.float64]
ThermocoupleType = Literal["K", "N", "S", "R", "B", "J", "E", "T"]

#: Every type with a reference function; those met in kilns come first.
TYPES: tuple[ThermocoupleType, ...] = get_args(ThermocoupleType)

#: Where IEC 60584-1 ends a type below the top of NIST's function [°C] (source ``iec-60584-1``).
IEC_TOP_C: dict[ThermocoupleType, float] = {"K": 1300.0}

_SPELLING = re.compile(r"(?:type)?[\s_-]*([A-Z])", re.IGNORECASE)


def parse_type(text: str) -> ThermocoupleType:
    """Read a thermocouple type as people write it: ``K``, ``k``, ``type K``."""
    match = _SPELLING.fullmatch(text.strip())
    for letter in TYPES:
        if match is not None and match[1].upper() == letter:
            return letter
    raise FiringError(f'"{text}" is no thermocouple type; write one of {", ".join(TYPES)}')


@dataclass(frozen=True)
class PolynomialRange:
    """One stretch of a reference function."""

    # Where it holds [°C], both ends included.
    from_c: float
    to_c: float
    coefficients: tuple[float, ...]  # of the polynomial, from the constant upward [mV/°C^i]
    # a0 [mV], a1 [1/°C²] and a2 [°C] of a0·exp(a1·(t − a2)²).
    gaussian: tuple[float, float, float] | None = None

    def evaluate(self, temperature_c: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return emf [mV] and slope [mV/°C] at temperatures of any shape."""
        *lower, highest = self.coefficients
        emf_mv = np.full_like(temperature_c, highest)
        slope = np.zeros_like(temperature_c)
        # Horner's rule for value and derivative together, in place: this is the inner loop.
        for coefficient in reversed(lower):
            slope *= temperature_c
            slope += emf_mv
            emf_mv *= temperature_c
            emf_mv += coefficient
        if self.gaussian is not None:
            a0, a1, a2 = self.gaussian
            distance = temperature_c - a2
            bump = a0 * np.exp(a1 * distance * distance)
            emf_mv += bump
            slope += (2.0 * a1) * distance * bump
        return emf_mv, slope


@dataclass(frozen=True)
class ReferenceFunction:
    """The reference function of one type."""

    type: ThermocoupleType  # one of `TYPES`
    pieces: tuple[PolynomialRange, ...]  # from the coldest to the hottest, joined without a gap

    @property
    def span_c(self) -> tuple[float, float]:
        """Lowest and highest temperature it is defined for [°C]."""
        return self.pieces[0].from_c, self.pieces[-1].to_c

    @cached_property
    def joins_mv(self) -> FloatArray:
        """The emf where each piece but the last ends [mV], shape (pieces − 1,)."""
        return np.array(
            [
                0.5 * sum(float(part.evaluate(np.array(one.to_c))[0]) for part in (one, other))
                for one, other in pairwise(self.pieces)
            ]
        )

    def evaluate(self, temperature_c: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Return emf [mV] and slope [mV/°C], NaN outside the span, at temperatures of any shape."""
        at_c = np.asarray(temperature_c, dtype=np.float64)
        emf_mv = np.full(at_c.shape, np.nan)
        slope = np.full(at_c.shape, np.nan)
        free = np.ones(at_c.shape, dtype=bool)
        for piece in self.pieces:
            here = free & (at_c >= piece.from_c) & (at_c <= piece.to_c)
            if at_c.ndim and here.all():
                return piece.evaluate(at_c)
            free &= ~here
            if here.any():
                emf_mv[here], slope[here] = piece.evaluate(at_c[here])
        return emf_mv, slope


@cache
def _functions() -> dict[str, ReferenceFunction]:
    path = Path(__file__).parent.parent / "data" / "thermocouple_coefficients.csv"
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    pieces: dict[str, list[PolynomialRange]] = {}
    for (letter, from_c, to_c), group in groupby(
        rows, key=lambda row: (row["type"], row["from_c"], row["to_c"])
    ):
        terms = {row["term"]: float(row["value"]) for row in group}
        polynomial = tuple(value for term, value in terms.items() if term.startswith("c"))
        gaussian = (terms["a0"], terms["a1"], terms["a2"]) if "a0" in terms else None
        pieces.setdefault(letter, []).append(
            PolynomialRange(float(from_c), float(to_c), polynomial, gaussian)
        )
    return {letter: ReferenceFunction(letter, tuple(pieces[letter])) for letter in TYPES}


def reference_function(type: str) -> ReferenceFunction:
    """Return the reference function of a type, in any spelling `parse_type` reads."""
    return _functions()[parse_type(type)]


def span_c(type: str) -> tuple[float, float]:
    """Return from where to where a type's reference function is defined [°C]."""
    return reference_function(type).span_c


@overload
def emf_mv(temperature_c: float, type: str) -> float: ...
@overload
def emf_mv(temperature_c: FloatArray, type: str) -> FloatArray: ...
def emf_mv(temperature_c: float | FloatArray, type: str) -> float | FloatArray:
    """Return the emf against a reference junction at 0 °C [mV] (source ``nist-srd-60``).

    NaN for NaN and outside `span_c`.
    """
    found, _ = reference_function(type).evaluate(temperature_c)
    return found if isinstance(temperature_c, np.ndarray) else float(found)


@overload
def sensitivity_mv_per_c(temperature_c: float, type: str) -> float: ...
@overload
def sensitivity_mv_per_c(temperature_c: FloatArray, type: str) -> FloatArray: ...
def sensitivity_mv_per_c(temperature_c: float | FloatArray, type: str) -> float | FloatArray:
    """Return the Seebeck coefficient dE/dt [mV/°C]; arguments as for `emf_mv`."""
    _, found = reference_function(type).evaluate(temperature_c)
    return found if isinstance(temperature_c, np.ndarray) else float(found)


ReasonArray = npt.NDArray[np.uint8]

#: Below this type B cannot be read [°C]: its emf is two-valued up to 42 °C and nearly flat above,
#: and NIST prints no inverse function (source ``nist-srd-60``).
TYPE_B_FROM_C = 250.0

_STEPS = 4096  # of the table of guesses: 0.1 to 0.5 °C where kilns are
_BLOCK = 8192  # samples at a time, so that the inner loop stays in the processor's cache
_ROUNDING_MV = 0.5e-3 * (1.0 + 1e-6)  # tables are printed to a microvolt: the ends of a span too
_ERROR_C = 1e-8  # what a Newton step may leave, or another is taken
_MOST_STEPS = 8


class Reason(IntEnum):
    """Why a sample has a temperature, or none."""

    OK = 0
    MISSING = 1  #: no emf: a gap in the log, or an open thermocouple
    ABOVE = 2  #: more emf than the type's highest temperature gives
    BELOW = 3  #: less emf than its lowest temperature gives, whichever way round the leads are
    MAYBE_REVERSED = 4  #: less than its lowest gives, though a possible emf with the leads swapped
    AMBIGUOUS = 5  #: type B below 250 °C
    NO_JUNCTION = 6  #: no usable temperature of the reference junction


@dataclass(frozen=True, eq=False)
class _Table:
    """Guesses at even steps of emf, and when to stop refining them."""

    function: ReferenceFunction
    low_mv: float
    high_mv: float
    guess_c: FloatArray
    close_c: tuple[float, ...]  # of each piece, the step after which no other is needed


@cache
def _table(type: str) -> _Table:
    function = reference_function(type)
    low_c, high_c = readable_c(type)
    whole_c = np.arange(np.ceil(low_c), np.floor(high_c) + 1.0)
    nodes_c = np.unique(np.concatenate(([low_c], whole_c, [high_c])))
    nodes_mv, _ = function.evaluate(nodes_c)
    guess_c = np.interp(np.linspace(nodes_mv[0], nodes_mv[-1], _STEPS + 1), nodes_mv, nodes_c)
    close_c = tuple(_last_step_c(piece, nodes_c) for piece in function.pieces)
    return _Table(function, float(nodes_mv[0]), float(nodes_mv[-1]), guess_c, close_c)


def _last_step_c(piece: PolynomialRange, nodes_c: FloatArray) -> float:
    """Return the Newton step after which a piece's error is at most `_ERROR_C`.

    A step d leaves E″/(2·E′)·d²: hardly anything where kilns are, but much near −270 °C.
    """
    own_c = nodes_c[(nodes_c >= piece.from_c) & (nodes_c <= piece.to_c)]
    _, slope = piece.evaluate(own_c)
    bend = np.abs(np.diff(slope)) / np.diff(own_c) / (2.0 * np.minimum(slope[1:], slope[:-1]))
    return float(np.sqrt(_ERROR_C / np.max(bend)))


def readable_c(type: str) -> tuple[float, float]:
    """Return from where to where a temperature can be had from an emf [°C]."""
    low_c, high_c = span_c(type)
    return (TYPE_B_FROM_C if parse_type(type) == "B" else low_c), high_c


def readable_mv(type: str) -> tuple[float, float]:
    """Return the emf at both ends of `readable_c` [mV]."""
    table = _table(parse_type(type))
    return table.low_mv, table.high_mv


def reasons(emf_mv: FloatArray, type: str) -> ReasonArray:
    """Return for every emf, counted from 0 °C, whether it is a temperature of the type.

    Which way round the leads are is not looked at.
    """
    letter = parse_type(type)
    low_mv, high_mv = readable_mv(letter)
    found = np.full(np.shape(emf_mv), Reason.OK, dtype=np.uint8)
    found[np.isnan(emf_mv)] = Reason.MISSING
    found[emf_mv > high_mv + _ROUNDING_MV] = Reason.ABOVE
    found[emf_mv < low_mv - _ROUNDING_MV] = Reason.BELOW
    if letter == "B":
        unclear = (emf_mv < low_mv - _ROUNDING_MV) & (emf_mv >= _least_of_b_mv() - _ROUNDING_MV)
        found[unclear] = Reason.AMBIGUOUS
    return found


@cache
def _least_of_b_mv() -> float:
    """Return the lowest emf of type B [mV], near 21 °C, to well below a microvolt."""
    return float(np.min(reference_function("B").evaluate(np.linspace(0.0, 50.0, 5001))[0]))


@overload
def temperature_c(emf_mv: float, type: str) -> float: ...
@overload
def temperature_c(emf_mv: FloatArray, type: str) -> FloatArray: ...
def temperature_c(emf_mv: float | FloatArray, type: str) -> float | FloatArray:
    """Return the temperature that gives an emf against a reference junction at 0 °C [°C].

    Within 1e-6 °C of where `emf_mv` has that value; NaN where `reasons` has anything but ``OK``.
    """
    table = _table(parse_type(type))
    wanted = np.asarray(emf_mv, dtype=np.float64)
    flat = np.ascontiguousarray(wanted).reshape(-1)
    found = np.empty_like(flat)
    for first in range(0, flat.size, _BLOCK):
        here = slice(first, first + _BLOCK)
        found[here] = _invert(table, flat[here])
    return found.reshape(wanted.shape) if isinstance(emf_mv, np.ndarray) else float(found[0])


def _invert(table: _Table, emf_mv: FloatArray) -> FloatArray:
    inside = (emf_mv >= table.low_mv - _ROUNDING_MV) & (emf_mv <= table.high_mv + _ROUNDING_MV)
    whole = bool(inside.all())
    wanted_mv = emf_mv if whole else np.where(inside, emf_mv, table.high_mv)
    position = (wanted_mv - table.low_mv) * (_STEPS / (table.high_mv - table.low_mv))
    step = np.clip(position.astype(np.intp), 0, _STEPS - 1)
    position -= step
    found_c = table.guess_c[step]
    found_c += position * (table.guess_c[step + 1] - found_c)
    _refine(table, found_c, wanted_mv)
    if not whole:
        found_c[~inside] = np.nan
    return found_c


def _refine(table: _Table, found_c: FloatArray, emf_mv: FloatArray) -> None:
    """Bring guesses to the reference function, in place."""
    # The pieces do not join to the last digit, so the emf and not the guess says which one it is.
    ends_mv = np.concatenate(([-np.inf], table.function.joins_mv, [np.inf]))
    lowest, highest = emf_mv.min(), emf_mv.max()
    for index, piece in enumerate(table.function.pieces):
        above, upto = ends_mv[index], ends_mv[index + 1]
        if highest <= above or lowest > upto:
            continue
        if lowest > above and highest <= upto:
            found_c[:] = _newton(piece, found_c, emf_mv, table.close_c[index])
        else:
            part = np.flatnonzero((emf_mv > above) & (emf_mv <= upto))
            found_c[part] = _newton(piece, found_c[part], emf_mv[part], table.close_c[index])
    np.clip(found_c, table.guess_c[0], table.guess_c[-1], out=found_c)


def _newton(
    piece: PolynomialRange, guess_c: FloatArray, emf_mv: FloatArray, close_c: float
) -> FloatArray:
    value, slope = piece.evaluate(guess_c)
    step = (emf_mv - value) / slope
    found_c: FloatArray = guess_c + step
    far = np.flatnonzero(np.abs(step) > close_c)
    for _ in range(_MOST_STEPS):
        if not far.size:
            break
        value, slope = piece.evaluate(found_c[far])
        step = (emf_mv[far] - value) / slope
        found_c[far] += step
        far = far[np.abs(step) > close_c]
    return found_c
