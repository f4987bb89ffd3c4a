"""The book of one segment: its causes as they are found, in words, and what may help."""

from collections.abc import Sequence
from dataclasses import dataclass

from firing.review.ramp import Interruption
from firing.review.resample import ResampledTrace
from firing.review.result import Cause, CauseShare
from firing.units import TemperatureUnit, format_duration, format_rate, format_temperature

SMALL_S = 120.0
"""Edges are found to about a minute or two: less than this is not given a cause [s]."""
SUGGESTIONS: dict[Cause, tuple[str, ...]] = {
    "late_start": ("Set the start on the controller, or note when it was really started.",),
    "power_limited": (
        "Plan this stretch at the rate the kiln really kept; the clock then tells the truth.",
        "Have volts and amps measured under load by a competent person: worn elements and a low "
        "supply look the same in a log.",
    ),
    "interruption": (
        "Find out what switched off: supply, breaker, door switch or controller.",
        "Have the wiring looked at by a licensed electrician if no reason is found.",
    ),
    "other_program": ("Read the keyed-in program back against the plan before starting.",),
    "waiting": (
        "Plan this stretch at the rate the kiln really kept; the clock then tells the truth.",
        "Log the output as well: it tells whether the elements were fully on.",
    ),
    "longer_hold": ("Check the hold keyed in, and whether the controller waits for the kiln.",),
    "shorter_hold": ("Check the hold keyed in; the cone says whether it mattered.",),
    "slow_cooling": ("Plan this ramp at the rate the closed kiln keeps by itself.",),
    "fast_cooling": (
        "See whether this segment was keyed in, and keep lid and vents closed until it is over.",
    ),
    "unexplained": (),
}
FREE_RAMP = ("Give a kiln file (--kiln), best one learnt from this kiln's logs.",)


@dataclass(slots=True)
class Book:
    """The causes of one segment as they are found."""

    unit: TemperatureUnit
    shares: list[CauseShare]
    late_s: float = 0.0

    def add(
        self,
        cause: Cause,
        seconds: float,
        evidence: str,
        suggestions: tuple[str, ...] | None = None,
    ) -> None:
        """Book seconds to a cause, with its own suggestions or the cause's."""
        if seconds != 0.0:
            steps = SUGGESTIONS[cause] if suggestions is None else suggestions
            self.shares.append(CauseShare(cause, seconds, evidence, steps))

    def behind(self, *, heats: bool, seconds: float) -> Cause:
        """Return the cause of a ramp's remaining excess."""
        if not heats:
            return "slow_cooling" if seconds > 0 else "fast_cooling"
        return "waiting" if seconds > 0 or self.makes_up(seconds) else "other_program"

    def makes_up(self, seconds: float) -> bool:
        """Return whether a ramp that was faster by so much had time to make up."""
        return self.late_s >= 0.5 * abs(seconds)

    def degrees(self, temperature_c: float) -> str:
        """Return a temperature in the plan's unit."""
        return format_temperature(temperature_c, self.unit)

    def rate(self, rate_c_per_h: float) -> str:
        """Return a rate in the plan's unit."""
        return format_rate(rate_c_per_h, self.unit)


def book_interruptions(
    book: Book, gaps: Sequence[Interruption], left_s: float, where: str
) -> float:
    """Book interruptions, no more than is left: a clock-run controller catches up afterwards."""
    total_s = sum(gap.seconds for gap in gaps)
    seconds = min(total_s, max(left_s, 0.0))
    if seconds > SMALL_S:
        worst = max(gaps, key=lambda gap: gap.seconds)
        book.add(
            "interruption",
            seconds,
            f"in {where} the reading fell from {book.degrees(worst.before_c)} to "
            f"{book.degrees(worst.lowest_c)} and was back after {format_duration(worst.seconds)}",
        )
        return seconds
    return 0.0


def small_s(trace: ResampledTrace) -> float:
    """Return the seconds below which a difference is not given a cause: the edges' own error."""
    return max(SMALL_S, 0.8 * trace.step_s)
