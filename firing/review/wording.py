"""Temperatures, differences and rates in words, in the plan's unit."""

from dataclasses import dataclass

from firing.units import TemperatureUnit, format_rate, format_temperature, rate_from_celsius


@dataclass(frozen=True, slots=True)
class Wording:
    """How a review writes its figures."""

    unit: TemperatureUnit

    def degrees(self, temperature_c: float) -> str:
        """Return a temperature."""
        return format_temperature(temperature_c, self.unit)

    def rate(self, rate_c_per_h: float) -> str:
        """Return a rate."""
        return format_rate(rate_c_per_h, self.unit)

    def difference(self, difference_k: float, *, signed: bool = False) -> str:
        """Return a difference of temperatures in whole degrees."""
        value = rate_from_celsius(difference_k, self.unit)
        sign = "−" if round(value) < 0 else "+" if signed else ""
        return f"{sign}{abs(value):.0f} °{self.unit}"

    def finely(self, difference_k: float, *, signed: bool = False) -> str:
        """Return a difference of temperatures to a tenth."""
        value = round(rate_from_celsius(difference_k, self.unit), 1)
        sign = "−" if value < 0 else "+" if signed else ""
        return f"{sign}{abs(value):.1f} °{self.unit}"
