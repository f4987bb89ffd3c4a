"""What a refit of the kiln model has changed, and whether that is worth a sentence."""

from __future__ import annotations

from dataclasses import dataclass

from firing.units import TemperatureUnit, format_duration, format_temperature
from firing.watch.events import Severity, WatchEvent
from firing.watch.refit import RefitResult
from firing.watch.simulate_remaining import SimulatedRemainder
from firing.watch.state import KilnFigures

PROGRAM_MATTERS_S = 600.0
COOLING_MATTERS_S = 1800.0
"""A change of the program's end, and of the time to unload, of less is not told of [s]."""


@dataclass(frozen=True, eq=False)
class KilnChange:
    """What a refit has changed: the rest of the firing by the figures of before, and by these."""

    figures: KilnFigures
    found: RefitResult
    before: SimulatedRemainder | None
    after: SimulatedRemainder | None

    def event(self, now_s: float, unit: TemperatureUnit) -> WatchEvent | None:
        """Return what is to be told of it; None if it hardly matters."""
        difference = self._difference(unit)
        if difference is None:
            return None
        message = f"the kiln model was refitted to this firing ({self._figures()}): {difference}"
        assert self.after is not None
        severity: Severity = "note" if self.after.stalls_c is None else "act"
        return WatchEvent("refit", severity, "told", now_s, message)

    def _figures(self) -> str:
        now = self.figures
        values = {"power": now.power, "loss": now.loss, "capacity": now.capacity}
        off = {"power": self.found.power_se, "loss": self.found.loss_se}
        parts = []
        for name in now.learnt:
            error = f" ± {100.0 * off[name]:.0f} %" if name in off else ""
            parts.append(f"{name} {100.0 * values[name]:.0f} %{error}")
        return ", ".join(parts) + " of what the kiln file describes"

    def _difference(self, unit: TemperatureUnit) -> str | None:
        before, after = self.before, self.after
        if before is None or after is None:
            return None
        if after.stalls_c is not None:
            if before.stalls_c is not None:
                return None
            return (
                f"it does not get beyond {format_temperature(after.stalls_c, unit)}, so the "
                "program does not end by itself"
            )
        if before.stalls_c is not None:
            return f"it does end the program, in {format_duration(after.program_s)}"
        if abs(after.program_s - before.program_s) >= PROGRAM_MATTERS_S:
            return (
                f"the rest of the program takes {format_duration(after.program_s)} instead of "
                f"{format_duration(before.program_s)}"
            )
        after_s, before_s = float(after.time_s[-1]), float(before.time_s[-1])
        if abs(after_s - before_s) >= COOLING_MATTERS_S:
            return (
                f"it can be unloaded in {format_duration(after_s)} instead of "
                f"{format_duration(before_s)}"
            )
        return None
