"""What an instrument measured, and the temperature it means: the reference (cold) junction.

A thermocouple gives the difference between the emf of its hot end and that of its cold end.  What
the cold end takes away is added again as emf, T = E⁻¹(E + E(T_cj)); adding temperatures instead is
wrong by tens of degrees, as the emf of a degree is not the same hot and cold.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firing.errors import FiringError
from firing.thermocouple.reference import (
    IEC_TOP_C,
    TYPE_B_FROM_C,
    FloatArray,
    Reason,
    ReasonArray,
    ThermocoupleType,
    emf_mv,
    parse_type,
    readable_c,
    readable_mv,
    reasons,
    span_c,
    temperature_c,
)

#: What a reference junction may be [°C]; common practice, no source: no instrument that measures it
#: works colder or hotter.
JUNCTION_LIMITS_C = (-50.0, 150.0)

#: Terminals of an instrument where nobody measured them [°C]; common practice, no source.
JUNCTION_C = 25.0
WIRING_SOURCE = "thermocouple-wiring-computed"

#: A kiln that seems colder than this is not [°C]; common practice, no source.
COLDEST_KILN_C = -40.0


@dataclass(frozen=True, eq=False)
class Conversion:
    """Temperatures had from millivolts."""

    type: ThermocoupleType  # the thermocouple type
    temperature_c: FloatArray  # temperatures [°C]; NaN where `reasons` is not ``OK``
    reasons: ReasonArray  # a `Reason` for every sample

    def count(self, reason: Reason) -> int:
        """Return how many samples have a reason."""
        return int(np.count_nonzero(self.reasons == reason))

    def summary(self) -> tuple[str, ...]:
        """Return what a person should know, a clause each, without a full stop, as notes are."""
        total = self.reasons.size
        found = []
        for reason, words in _words(self.type).items():
            count = self.count(reason)
            if count:
                found.append(f"{count} of {total} readings {words}")
        if self.count(Reason.ABOVE) > total / 2:
            found.append("most readings are too high for millivolts; check the unit of the column")
        top_c = IEC_TOP_C.get(self.type)
        if top_c is not None:
            count = int(np.count_nonzero(self.temperature_c > top_c))
            if count:
                found.append(
                    f"{count} of {total} readings are above {top_c:g} °C, where IEC 60584-1 ends "
                    f"type {self.type}; the function of NIST goes on to "
                    f"{span_c(self.type)[1]:g} °C, but no tolerance does"
                )
        count = int(np.count_nonzero(self.temperature_c < COLDEST_KILN_C))
        if count:
            found.append(
                f"{count} of {total} readings come out below {COLDEST_KILN_C:g} °C, which no kiln "
                "is; the leads may be reversed at the instrument"
            )
        return tuple(found)


def junction_limits_c(type: str) -> tuple[float, float]:
    """Return from where to where a reference junction of a type can be made use of [°C]."""
    return max(JUNCTION_LIMITS_C[0], span_c(type)[0]), JUNCTION_LIMITS_C[1]


def _words(type: ThermocoupleType) -> dict[Reason, str]:
    """Return what follows "3 of 12 readings", for every reason but ``OK``."""
    (low_c, high_c), (low_mv, high_mv) = readable_c(type), readable_mv(type)
    coldest_c, hottest_c = junction_limits_c(type)
    return {
        Reason.MISSING: "have no emf: a gap in the log, or the thermocouple or its lead is open",
        Reason.ABOVE: (
            f"are above the {high_mv:.3f} mV ({high_c:g} °C) where type {type} ends: an overload, "
            "or another type"
        ),
        Reason.BELOW: (
            f"are below the {low_mv:.3f} mV ({low_c:g} °C) where type {type} begins, and no "
            f"type {type} the other way round either"
        ),
        Reason.MAYBE_REVERSED: (
            f"are below anything type {type} gives; the leads may be reversed at the instrument"
        ),
        Reason.AMBIGUOUS: (
            f"are below {TYPE_B_FROM_C:g} °C, where type {type} gives next to no emf, the same "
            "one at two temperatures"
        ),
        Reason.NO_JUNCTION: (
            "have no usable temperature of the reference junction, which for type "
            f"{type} is one from {coldest_c:g} to {hottest_c:g} °C"
        ),
    }


def convert(emf: FloatArray, type: str, junction_c: float | FloatArray) -> Conversion:
    """Return the temperatures an instrument's millivolts mean, with a reason for each.

    `emf` is not compensated, NaN where there is none.  `junction_c` is the temperature of the
    instrument's terminals; in an array, NaN and what is outside `junction_limits_c` leave the
    sample without a temperature.
    """
    letter = parse_type(type)
    junction_mv = _junction_mv(junction_c, letter, emf.shape)
    total_mv = emf + junction_mv
    why = reasons(total_mv, letter)
    why[np.isnan(junction_mv) & ~np.isnan(emf)] = Reason.NO_JUNCTION
    suspects = np.flatnonzero(why == Reason.BELOW)
    if suspects.size:
        swapped_mv = (junction_mv - emf).reshape(-1)[suspects]
        possible = np.isin(reasons(swapped_mv, letter), (Reason.OK, Reason.AMBIGUOUS))
        why.reshape(-1)[suspects[possible]] = Reason.MAYBE_REVERSED
    return Conversion(letter, temperature_c(total_mv, letter), why)


def _junction_mv(
    junction_c: float | FloatArray, type: ThermocoupleType, shape: tuple[int, ...]
) -> FloatArray:
    """Return the emf of the reference junction [mV], NaN where its temperature is not usable."""
    low_c, high_c = junction_limits_c(type)
    if not isinstance(junction_c, np.ndarray):
        if not low_c <= junction_c <= high_c:
            raise FiringError(
                f"a reference junction of {junction_c:g} °C is outside the {low_c:g} to "
                f"{high_c:g} °C usable for type {type}; write the temperature at the "
                "instrument's terminals, such as 25"
            )
        return np.asarray(emf_mv(junction_c, type))
    try:
        at_c = np.broadcast_to(junction_c, shape)
    except ValueError:
        raise FiringError(
            f"{junction_c.size} temperatures of the reference junction do not fit readings of "
            f"shape {shape}; give one, or one for each reading"
        ) from None
    usable: npt.NDArray[np.bool_] = (at_c >= low_c) & (at_c <= high_c)
    return emf_mv(np.where(usable, at_c, np.nan), type)


def reversed_at_instrument_c(type: str, at_c: float, junction_c: float = JUNCTION_C) -> float:
    """Return the reading with the leads swapped at the instrument [°C]; NaN out of span."""
    cold_mv = emf_mv(junction_c, type)
    return temperature_c(-(emf_mv(at_c, type) - cold_mv) + cold_mv, type)
