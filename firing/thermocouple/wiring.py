"""What a thermocouple reads when it is wired or set up wrongly.

Everything is computed from the reference functions (source ``thermocouple-wiring-computed``).  The
circuit is a chain of legs; each gives the emf between its two ends, taken away where its leads are
swapped, and copper gives none.  The instrument adds the emf of its own terminals and looks the sum
up in the type it is set to.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from firing.errors import FiringError
from firing.thermocouple.reference import TYPES, emf_mv, parse_type, span_c
from firing.thermocouple.reference import temperature_c as _inverse

SOURCE = "thermocouple-wiring-computed"

#: Terminals of the kiln's thermocouple and of the instrument [°C]; common practice, no source.
HEAD_C = 60.0
JUNCTION_C = 25.0


@dataclass(frozen=True)
class WireLeg:
    """One pair of wires.

    Attributes
    ----------
    material : str or None
        A thermocouple type, as its extension lead has the same emf near room temperature; None for
        two wires of one metal, such as copper.
    hot_c, cold_c : float
        Temperature of the end towards the kiln and of the end towards the instrument [°C].
    swapped : bool
        Whether its two wires are exchanged, at both of its ends.
    """

    material: str | None
    hot_c: float
    cold_c: float
    swapped: bool = False

    @property
    def emf_mv(self) -> float:
        """What it adds to the circuit [mV]; NaN where its type is not defined."""
        if self.material is None:
            return 0.0
        difference = emf_mv(self.hot_c, self.material) - emf_mv(self.cold_c, self.material)
        return -difference if self.swapped else difference


def reading_c(legs: Iterable[WireLeg], selected: str, junction_c: float = JUNCTION_C) -> float:
    """Return what an instrument shows for a circuit [°C].

    Parameters
    ----------
    legs : iterable of WireLeg
        The circuit, from the kiln to the instrument.
    selected : str
        The thermocouple type the instrument is set to.
    junction_c : float
        Temperature of its terminals, which it measures by itself [°C].

    Returns
    -------
    float
        The reading [°C]; NaN where the emf is none of the selected type's.

    Raises
    ------
    FiringError
        If there is no such type.
    """
    total_mv = sum(leg.emf_mv for leg in legs) + emf_mv(junction_c, selected)
    return _inverse(float(total_mv), selected)


def reversed_at_instrument_c(type: str, at_c: float, junction_c: float = JUNCTION_C) -> float:
    """Return the reading with the leads swapped at the instrument [°C]; NaN out of span.

    Parameters
    ----------
    type : str
        A thermocouple type.
    at_c, junction_c : float
        Temperature of the kiln and of the instrument's terminals [°C].
    """
    return reading_c([WireLeg(type, at_c, junction_c, swapped=True)], type, junction_c)


def reversed_extension_c(
    type: str, at_c: float, head_c: float = HEAD_C, junction_c: float = JUNCTION_C
) -> float:
    """Return the reading with the extension lead swapped at both ends [°C]; NaN out of span.

    Parameters
    ----------
    type : str
        A thermocouple type.
    at_c : float
        Temperature of the kiln [°C].
    head_c : float
        Temperature of the thermocouple's head, where the extension begins [°C].
    junction_c : float
        Temperature of the instrument's terminals [°C].
    """
    legs = [WireLeg(type, at_c, head_c), WireLeg(type, head_c, junction_c, swapped=True)]
    return reading_c(legs, type, junction_c)


def copper_extension_c(
    type: str, at_c: float, head_c: float = HEAD_C, junction_c: float = JUNCTION_C
) -> float:
    """Return the reading with copper for an extension lead [°C]; as `reversed_extension_c`."""
    legs = [WireLeg(type, at_c, head_c), WireLeg(None, head_c, junction_c)]
    return reading_c(legs, type, junction_c)


def wrong_type_c(type: str, selected: str, at_c: float, junction_c: float = JUNCTION_C) -> float:
    """Return the reading with the instrument set to another type [°C]; NaN out of span.

    Parameters
    ----------
    type, selected : str
        The thermocouple in the kiln and the type the instrument is set to.
    at_c, junction_c : float
        Temperature of the kiln and of the instrument's terminals [°C].
    """
    return reading_c([WireLeg(type, at_c, junction_c)], selected, junction_c)


@dataclass(frozen=True)
class Signature:
    """What one fault makes of a temperature.

    Attributes
    ----------
    id : str
        ``reversed_at_instrument``, ``reversed_extension``, ``copper_extension`` or
        ``set_to_K`` and so on.
    fault : str
        What is wrong, in a few words.
    reading_c : float or None
        What the instrument shows [°C]; None where it can show nothing.
    error_c : float or None
        Reading less true temperature [°C].
    sign : str
        How the fault shows while the kiln heats.
    source : str
        Entry of the bibliography.
    """

    id: str
    fault: str
    reading_c: float | None
    error_c: float | None
    sign: str
    source: str = SOURCE


def signatures(
    type: str, at_c: float, head_c: float = HEAD_C, junction_c: float = JUNCTION_C
) -> tuple[Signature, ...]:
    """Return what each wiring fault would make of a true temperature.

    Parameters
    ----------
    type : str
        The thermocouple in the kiln.
    at_c : float
        True temperature of the kiln [°C].
    head_c, junction_c : float
        Temperature of the thermocouple's head and of the instrument's terminals [°C].

    Returns
    -------
    tuple of Signature
        Swapped leads, copper extension and every other type the instrument may be set to.

    Raises
    ------
    FiringError
        If there is no such type, or a temperature is outside what it is defined for.
    """
    letter = parse_type(type)
    for what, value_c in (("kiln", at_c), ("head", head_c), ("reference junction", junction_c)):
        low_c, high_c = span_c(letter)
        if not low_c <= value_c <= high_c:
            raise FiringError(
                f"a {what} of {value_c:g} °C is outside the {low_c:g} to {high_c:g} °C that type "
                f"{letter} is defined for; write a temperature inside it"
            )
    return tuple(_signatures(letter, at_c, head_c, junction_c))


def _signatures(type: str, at_c: float, head_c: float, junction_c: float) -> Iterator[Signature]:
    yield _signature(
        "reversed_at_instrument",
        "the leads are swapped at the instrument",
        at_c,
        reversed_at_instrument_c(type, at_c, junction_c),
        "the reading falls as the kiln heats",
    )
    yield _signature(
        "reversed_extension",
        "the extension lead is swapped at both of its ends",
        at_c,
        reversed_extension_c(type, at_c, head_c, junction_c),
        "the reading rises with the kiln and is off by about twice what the head is warmer than "
        "the instrument",
    )
    yield _signature(
        "copper_extension",
        "the extension lead is copper, or another single metal",
        at_c,
        copper_extension_c(type, at_c, head_c, junction_c),
        "the reading rises with the kiln and is off by about what the head is warmer than the "
        "instrument",
    )
    for other in TYPES:
        if other != type:
            yield _signature(
                f"set_to_{other}",
                f"the instrument is set to type {other}, the thermocouple is type {type}",
                at_c,
                wrong_type_c(type, other, at_c, junction_c),
                "the reading is right when the kiln is cold and drifts away as it heats",
            )


def _signature(id: str, fault: str, at_c: float, reading: float, sign: str) -> Signature:
    if reading != reading:
        return Signature(id, fault, None, None, sign)
    return Signature(id, fault, reading, reading - at_c, sign)
