"""What happens at the face of a conducting body: heat exchanged, set, or the temperature held.

Each kind is linearised about an expected temperature of the face, so that one implicit solver
serves them all.
"""

from collections.abc import Callable
from dataclasses import dataclass

from firing.units import KELVIN_AT_0_C

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m² K⁴), exact since the SI of 2019 (source: si-brochure)

OverTime = float | Callable[[float], float]
"""A value, or a function from the time [s] to it."""


def at_time(value: OverTime, time_s: float) -> float:
    """Return a value that may change with time, at `time_s`."""
    return value(time_s) if callable(value) else value


def radiation_w_per_m2k(face_c: float, surroundings_c: float, emissivity: float) -> float:
    """Return the radiation coefficient h_r = εσ(T₁² + T₂²)(T₁ + T₂) [W/(m² K)].

    h_r·(T₁ − T₂) is the exchange of a grey face with surroundings that enclose it, exactly (Kreith,
    Principles of Heat Transfer, 7th ed., eq. 1.19; source: kreith).
    """
    first, second = face_c + KELVIN_AT_0_C, surroundings_c + KELVIN_AT_0_C
    return emissivity * STEFAN_BOLTZMANN * (first * first + second * second) * (first + second)


@dataclass(frozen=True, slots=True)
class FixedTemperature:
    """A face held at a temperature [°C]."""

    temperature_c: OverTime


@dataclass(frozen=True, slots=True)
class HeatFlux:
    """A set heat flux into the body [W/m²]; 0, the default, is an insulated face."""

    w_per_m2: OverTime = 0.0


@dataclass(frozen=True, slots=True)
class Exchange:
    """Convection to a fluid and radiation to surroundings, both at one temperature."""

    ambient_c: OverTime  # temperature of the fluid and the surroundings [°C]
    h_w_per_m2k: float = 0.0  # convection coefficient [W/(m² K)]
    emissivity: float = 0.0  # 0 leaves radiation out


Boundary = FixedTemperature | HeatFlux | Exchange


def linearised(boundary: HeatFlux | Exchange, face_c: float, time_s: float) -> tuple[float, float]:
    """Return (g, s), so that the flux into the body is s − g·T for a face near `face_c`."""
    if isinstance(boundary, HeatFlux):
        return 0.0, at_time(boundary.w_per_m2, time_s)
    ambient_c = at_time(boundary.ambient_c, time_s)
    g = boundary.h_w_per_m2k + radiation_w_per_m2k(face_c, ambient_c, boundary.emissivity)
    return g, g * ambient_c
