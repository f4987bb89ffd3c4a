"""What a kiln makes of a plan, in words: power, energy, cost, starts, cones in the ware."""

from collections.abc import Iterator

from firing.cones.table import describe_number
from firing.forecast.forecast import Forecast
from firing.forecast.in_kiln import KilnOutlook
from firing.units import TemperatureUnit, format_duration, format_rate, format_temperature

RATES_SHOWN_C = (200.0, 600.0, 1000.0, 1200.0)


def kiln_words(forecast: Forecast) -> list[str]:
    """Return what the kiln model says of a plan, one sentence each; empty without a kiln."""
    kiln = forecast.kiln
    return [] if kiln is None else list(_sentences(forecast, kiln))


def _sentences(forecast: Forecast, kiln: KilnOutlook) -> Iterator[str]:
    unit = forecast.schedule.unit
    energy = kiln.energy
    yield (
        f"Takes {energy.kwh:.0f} kWh; {energy.mean_amps:.0f} A on average and "
        f"{energy.peak_amps:.0f} A while the elements are on."
    )
    if kiln.cost is not None:
        parts = ", ".join(f"{kwh:.0f} kWh at {price:g}" for price, kwh in kiln.cost.kwh_by_price)
        yield f"Costs {kiln.cost.currency} {kiln.cost.amount:.2f} ({parts} a kWh)."
    cheapest = kiln.starts.cheapest
    if cheapest is not None:
        yield (
            f"Cheapest start in the window: {cheapest.started:%a %Y-%m-%d %H:%M}, "
            f"{cheapest.cost.currency} {cheapest.cost.amount:.2f}."
        )
    awake = kiln.starts.awake
    if awake is not None:
        yield _awake_words(awake)
    if forecast.first_crack_s is not None:
        yield f"Down to 150 °C after {format_duration(forecast.first_crack_s)}."
    yield (
        f"It could hold {format_temperature(kiln.highest_c, unit)} at most, and its file allows "
        f"{format_temperature(kiln.max_c, unit)}. Fastest with this load: {_rates(kiln, unit)}."
    )
    yield (
        f"The thickest piece comes to cone {describe_number(kiln.ware_cones.reached_number)}, the "
        f"thermocouple to cone {describe_number(forecast.cones.reached_number)}."
    )


def _awake_words(awake: tuple[tuple[str, str], ...]) -> str:
    if not awake:
        return "No start in the window puts the peak into waking hours."
    spans = [
        first.replace("T", " ")[:16] if first == last else f"{_short(first)} to {_short(last)}"
        for first, last in awake[:4]
    ]
    more = f", and {len(awake) - 4} more" if len(awake) > 4 else ""
    return f"Starts that put the peak into waking hours: {'; '.join(spans)}{more}."


def _short(moment: str) -> str:
    return moment.replace("T", " ")[:16]


def _rates(kiln: KilnOutlook, unit: TemperatureUnit) -> str:
    if not kiln.max_rate:
        return "none that can be told"
    known = dict(kiln.max_rate)
    shown = [t for t in RATES_SHOWN_C if t in known] or [next(iter(known))]
    return ", ".join(
        f"{format_rate(known[t], unit)} at {format_temperature(t, unit)}" for t in shown
    )
