"""Heating elements of FeCrAl wire: how much there is of it, and how its resistance changes."""

from itertools import pairwise

SURFACE_LOAD_W_PER_M2 = 2.0e4  # source: element-wire-memory (2 W/cm²)
WIRE_M = 0.003  # source: element-wire-memory
WIRE_KG_PER_M3 = 7100.0  # source: element-wire-memory
WIRE_J_PER_KGK = 600.0  # source: element-wire-memory
EMISSIVITY_WIRE = 0.7  # source: element-wire-memory

CT_SOURCE = "fecral-datasheet"
_CT = ((20.0, 1.00), (250.0, 1.00), (500.0, 1.01), (800.0, 1.03), (1000.0, 1.04), (1200.0, 1.04))


def resistance_factor(element_c: float) -> float:
    """Return Ct of FeCrAl wire: its resistance at a temperature over that at 20 °C.

    Straight between the printed points; below them 1, and above 1200 °C, where the last two agree,
    their value (source ``fecral-datasheet``).

    Parameters
    ----------
    element_c : float
        Temperature of the wire [°C].
    """
    if element_c <= _CT[1][0]:
        return _CT[0][1]
    for (t0, ct0), (t1, ct1) in pairwise(_CT):
        if element_c <= t1:
            return ct0 + (ct1 - ct0) * (element_c - t0) / (t1 - t0)
    return _CT[-1][1]
