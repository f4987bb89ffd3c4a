"""The reference functions: the emf of each letter-designated thermocouple at a temperature.

The coefficients are NIST's own (source ``nist-srd-60``): polynomials in pieces and, for type K
above 0 °C, one Gaussian more.  Every emf counts from a reference junction at 0 °C, in millivolts.
"""

import csv
import re
from dataclasses import dataclass
from functools import cache, cached_property
from importlib import resources
from itertools import groupby, pairwise
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
    """Read a thermocouple type as people write it: ``K``, ``k``, ``type K``.

    Raises
    ------
    FiringError
        If there is no such type.
    """
    match = _SPELLING.fullmatch(text.strip())
    for letter in TYPES:
        if match is not None and match[1].upper() == letter:
            return letter
    raise FiringError(f'"{text}" is no thermocouple type; write one of {", ".join(TYPES)}')


@dataclass(frozen=True)
class PolynomialRange:
    """One stretch of a reference function.

    Attributes
    ----------
    from_c, to_c : float
        Where it holds [°C], both ends included.
    coefficients : tuple of float
        Of the polynomial, from the constant upward [mV/°C^i].
    gaussian : tuple of float, optional
        a0 [mV], a1 [1/°C²] and a2 [°C] of a0·exp(a1·(t − a2)²).
    """

    from_c: float
    to_c: float
    coefficients: tuple[float, ...]
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
    """The reference function of one type.

    Attributes
    ----------
    type : str
        One of `TYPES`.
    pieces : tuple of PolynomialRange
        From the coldest to the hottest, joined without a gap.
    """

    type: ThermocoupleType
    pieces: tuple[PolynomialRange, ...]

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
    path = resources.files("firing") / "data" / "thermocouple_coefficients.csv"
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
    """Return the reference function of a type, in any spelling `parse_type` reads.

    Raises
    ------
    FiringError
        If there is no such type.
    """
    return _functions()[parse_type(type)]


def span_c(type: str) -> tuple[float, float]:
    """Return from where to where a type's reference function is defined [°C].

    Raises
    ------
    FiringError
        If there is no such type.
    """
    return reference_function(type).span_c


@overload
def emf_mv(temperature_c: float, type: str) -> float: ...
@overload
def emf_mv(temperature_c: FloatArray, type: str) -> FloatArray: ...
def emf_mv(temperature_c: float | FloatArray, type: str) -> float | FloatArray:
    """Return the emf against a reference junction at 0 °C [mV] (source ``nist-srd-60``).

    Parameters
    ----------
    temperature_c : float or ndarray of any shape
        Temperature of the measuring junction [°C].
    type : str
        A thermocouple type, in any spelling `parse_type` reads.

    Returns
    -------
    float or ndarray, same shape
        The emf [mV]; NaN for NaN and outside `span_c`.

    Raises
    ------
    FiringError
        If there is no such type.
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
