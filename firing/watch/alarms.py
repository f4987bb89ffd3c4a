"""What is worth waking somebody for, each with its own patience to raise and to clear.

This is no safety device: it sees what a thermocouple says, on a computer that may stop.  An
independent over-temperature cut-out and a person at the end point are.

Patience and distances are common practice, no source.
"""

import math
from collections.abc import Callable
from functools import partial

from firing.capture.reading import Status
from firing.capture.source import SLOW_LINES
from firing.review.position import Position
from firing.schedule.schedule import Schedule
from firing.units import (
    SECONDS_PER_HOUR,
    TemperatureUnit,
    format_duration,
    format_rate,
    format_temperature,
)
from firing.watch.events import AlarmInputs, AlarmLatch, AlarmLimits, Severity, WatchEvent
from firing.watch.fault_isolation import FaultIsolation
from firing.watch.power_supply import WARM_C, PowerMonitor
from firing.watch.recent_course import SIGNIFICANT_ERRORS
from firing.watch.thermocouple_circuit import CircuitFault, CircuitMonitor, StuckReadingDetector

TOP_CLEAR_C = 5.0
TOP_READINGS = 2
"""A single reading over the top may be a disturbance; two in a row are believed."""
ABOVE_RAISE_S = 120.0
STALL_SHARE = 0.1
STALL_MOST_C_PER_H = 10.0
STALL_LEAST_C_PER_H = 2.0
STALL_RAISE_S = 900.0
FALLING_C_PER_H = -15.0
FALLEN_C = 3.0
FALLING_RAISE_S = 300.0
CALM_S = 300.0
UNLOAD_RAISE_S = 300.0
UNLOAD_CLEAR_C = 20.0
UNLOAD_FROM_C = 150.0
"""A kiln that was never this hot is not waited for to cool [°C]."""
RISING_FROM_C = 10.0
RISING_SINCE_S = 900.0
"""A ramp that began so long ago and is so far from its target moves the digits."""
SURELY_COLD_C = 80.0
LATE_SHARE = 4.0
"""A kiln that a clock left behind runs above the plan for a while to catch up, by less than this
share of the margin, and is no higher than the clock has it."""
KEPT_S = 3600.0
"""One that was for so long no further behind than that is measured by the clock: however far above
its plan it is taken to be, its ramp was taken for begun too late [s]."""
OVER_SHARE, OVER_MORE, OVER_S = 0.4, 1.35, 7200.0
"""An overshoot is over at this share of it; the next may be so many times the highest of the last
hours [-, -, s]."""
FIRST_OVER_S, FIRST_OVER_C, OVER_FIRST_SHARE = 5400.0, 350.0, 1.2
"""Before a cold kiln has swung it may do so by this share of the margin [s, °C, -]."""
STANDING_FADES_C_PER_H = 20.0
"""How fast a swing above the plan is forgotten while the clock is not known to wait [°C/h]."""
STANDING_OVER_S = 1800.0
"""How far above it stands is the mean over so long, which a swing's lows do not change [s]."""
COOLED_C = 150.0
"""A kiln that fell so far after its heating was cut short has been given up [°C]."""


class AlarmBoard:
    """All alarms of one firing; `unit` is that of their sentences."""

    def __init__(
        self, limits: AlarmLimits, schedule: Schedule | None = None, unit: TemperatureUnit = "C"
    ) -> None:
        self._limits = limits
        self._schedule = schedule
        self._unit = unit
        self.isolation = FaultIsolation("the other alarms and the recording go on")
        self._over_top = 0
        self._over_by_clock_told = False
        self.circuit = CircuitMonitor()
        self.supply = PowerMonitor(schedule, limits.waits)
        self._stillness = StuckReadingDetector()
        self._overshoot = Overshoot(limits.above_c)
        self._standing_c = self._standing_s = self._mean_above_c = 0.0
        self._behind_s: float | None = None
        self._position: Position | None = None
        self._falls_slowly = AlarmLatch(FALLING_RAISE_S, CALM_S)
        self._latches = {
            "reading-impossible": AlarmLatch(0.0, 0.0),
            "hold-long": AlarmLatch(0.0, CALM_S),
            "power-weaker": AlarmLatch(0.0, CALM_S),
            "climbs-fast": AlarmLatch(0.0, CALM_S),
            "over-top": AlarmLatch(0.0, 60.0),
            "above-plan": AlarmLatch(ABOVE_RAISE_S, ABOVE_RAISE_S),
            "stalled": AlarmLatch(STALL_RAISE_S, CALM_S),
            "cooling": AlarmLatch(0.0, CALM_S),
            "reading-lost": AlarmLatch(0.0, 0.0),
            "reading-stuck": AlarmLatch(0.0, 0.0),
            "unload": AlarmLatch(UNLOAD_RAISE_S, CALM_S),
        }

    @property
    def standing(self) -> tuple[str, ...]:
        """The alarms raised now; that the kiln may be unloaded is none."""
        return tuple(
            name for name, latch in self._latches.items() if latch.raised and name != "unload"
        )

    def add_reading(self, time_s: float, value_c: float, status: Status) -> bool:
        """Take a reading in, and return whether it may be a kiln's temperature.

        `value_c` is the number whatever is held against it; NaN where there is none.
        """
        isolation = self.isolation
        plausible = isolation.run(
            "the eye on the circuit",
            lambda: self.circuit.add_reading(time_s, value_c, status),
            True,
        )
        if not math.isnan(value_c):
            isolation.run("the eye on a stuck reading", lambda: self._still(time_s, value_c), None)
        if plausible and status is Status.OK:
            isolation.run(
                "the eye on the power", lambda: self.supply.add_reading(time_s, value_c), None
            )
        return plausible

    def _still(self, time_s: float, value_c: float) -> None:
        self._stillness.add_reading(time_s, value_c, self._rising_c_per_h(time_s, value_c))

    def _rising_c_per_h(self, now_s: float, now_c: float) -> float | None:
        """Return how fast the reading has to rise by the plan [°C/h]; None where it may stand."""
        position = self._position
        if self._schedule is None or position is None or position.segment is None:
            return None
        if self._latches["stalled"].raised:
            return None  # told already: what gains nothing on its losses keeps its digits for hours
        segment = self._schedule.segments[position.segment]
        begun = position.begun_s is not None and now_s - position.begun_s > RISING_SINCE_S
        far = segment.target_c - now_c > RISING_FROM_C
        if position.phase != "ramp" or not begun or not far:
            return None
        return segment.rate_c_per_h if _heats(self._schedule, position.segment) else None

    def update(self, now: AlarmInputs) -> list[WatchEvent]:
        """Take the state of things in and return what has to be told of it."""
        self._position = now.position
        may_be_stuck = self._stillness.suspicious
        self.isolation.run(
            "the eye on the power",
            lambda: self.supply.update(now.position, may_be_stuck=may_be_stuck),
            None,
        )
        alarms = (
            self._impossible,
            self._hold_long,
            self._weaker,
            self._faster,
            self._top,
            self._above,
            self._stalled,
            self._cooling,
            self._lost,
            self._stuck,
            self._over_by_clock,
            self._unload,
        )
        # One that fails silences none of the others.
        found = [
            self.isolation.run(f"the alarm {n + 1} of {len(alarms)}", partial(alarm, now), None)
            for n, alarm in enumerate(alarms)
        ]
        return [event for event in found if event is not None]

    def _latched(
        self,
        name: str,
        now: AlarmInputs,
        cause: bool,
        calm: bool,
        raised: str,
        over: str,
        *,
        at_once: bool = False,
    ) -> WatchEvent | None:
        state = self._latches[name].update(now.now_s, cause, calm, at_once=at_once)
        if state is None:
            return None
        severity: Severity = "act" if state == "raised" else "note"
        return WatchEvent(name, severity, state, now.now_s, raised if state == "raised" else over)

    def _write(self, temperature_c: float) -> str:
        return format_temperature(temperature_c, self._unit)

    def _top(self, now: AlarmInputs) -> WatchEvent | None:
        top_c = self._limits.top_c
        if top_c is None:
            return None
        if not math.isnan(now.reading_c):
            self._over_top = self._over_top + 1 if now.reading_c >= top_c else 0
        shown, top = self._write(now.reading_c), self._write(top_c)
        stands = "has reached" if shown == top else "is over"
        return self._latched(
            "over-top",
            now,
            self._over_top >= TOP_READINGS,
            now.reading_c < top_c - TOP_CLEAR_C,
            f"{shown} {stands} the top temperature of {top}: go to the kiln and switch it off by "
            "its own switch if it goes on",
            f"back below the top temperature, at {shown}",
        )

    def _impossible(self, now: AlarmInputs) -> WatchEvent | None:
        broken = self.circuit.broken
        words = "" if broken is None else _circuit_words(broken, self._write)
        return self._latched(
            "reading-impossible",
            now,
            broken is not None,
            broken is None,
            words,
            "the readings are a kiln's again",
        )

    def _hold_long(self, now: AlarmInputs) -> WatchEvent | None:
        stays = self.supply.stays_on
        return self._latched(
            "hold-long",
            now,
            stays,
            not stays,
            f"the kiln is still at {self._write(now.now_c)}, "
            f"{format_duration(self.supply.past_s)} past the end of the hold: a relay may have "
            "stuck; go to the kiln and switch it off by its own switch",
            "the kiln falls from its hold",
        )

    def _weaker(self, now: AlarmInputs) -> WatchEvent | None:
        weaker = self.supply.weaker
        return self._latched(
            "power-weaker",
            now,
            weaker and not self._stillness.suspicious,
            not weaker,
            f"the kiln suddenly climbs more slowly, at {self._write(now.now_c)}: look for a dead "
            "element, a relay, a fuse or a lost phase",
            "the kiln keeps its pace again",
        )

    def _faster(self, now: AlarmInputs) -> WatchEvent | None:
        faster = self.supply.faster
        return self._latched(
            "climbs-fast",
            now,
            faster,
            not faster,
            f"the kiln climbs faster than its program, at {self._write(now.now_c)}: a relay may "
            "have stuck; go to the kiln and switch it off by its own switch if it goes on",
            "the kiln keeps to its program again",
        )

    def _above(self, now: AlarmInputs) -> WatchEvent | None:
        above = now.deviation_c if self._is_powered(now) else None
        margin_c = self._limits.above_c
        waits = self.supply.waits
        standing_c = self._standing_above_c(now.now_s, above, waits is True)
        above_clock_c = self.supply.above_clock_c(now.now_s, now.now_c)
        # Further behind than this, one that is as far above its plan is still below its clock.
        if self._behind_s is None or above_clock_c < (1.0 - LATE_SHARE) * margin_c:
            self._behind_s = now.now_s
        kept = waits is False or now.now_s - self._behind_s > KEPT_S
        if above is not None and not waits and (kept or above < LATE_SHARE * margin_c):
            above = min(above, above_clock_c)
        # It swings about where it stands: from there it runs over, and comes back to there.
        over_c = None if above is None else above - standing_c
        allowed_c = standing_c + self._overshoot.update(now.now_s, over_c, now.highest_c)
        shown = "" if above is None else _difference(above, self._unit)
        # A hold has a level of its own: to leave that upwards takes no margin, and no patience.
        runs_up = above is not None and above > 0.0 and self.supply.runs_up
        return self._latched(
            "above-plan",
            now,
            runs_up or (above is not None and above > margin_c + allowed_c),
            not runs_up and (above is None or above < 0.5 * margin_c),
            f"{self._write(now.now_c)} is {shown} above the plan"
            + (" and rises out of its hold: a relay may have stuck; " if runs_up else ": ")
            + "check the program keyed; if it climbs on, go to the kiln and switch it off by its "
            "own switch",
            "no longer above the plan",
            at_once=runs_up,
        )

    def _standing_above_c(self, now_s: float, above_c: float | None, waits: bool) -> float:
        """Return how far above the plan it stood when its clock was seen to wait [°C].

        Until then the plan's own clock was the measure, and a ramp taken for begun too late was no
        alarm; it is none the minute after either.
        """
        passed_h = (now_s - self._standing_s) / SECONDS_PER_HOUR
        self._standing_s = now_s
        if above_c is None:
            self._standing_c = self._mean_above_c = 0.0
            return 0.0
        share = min(passed_h * SECONDS_PER_HOUR / STANDING_OVER_S, 1.0)
        self._mean_above_c += share * (max(above_c, 0.0) - self._mean_above_c)
        if waits:
            self._standing_c = min(self._standing_c, self._mean_above_c)
        else:
            faded_c = max(self._standing_c - STANDING_FADES_C_PER_H * passed_h, 0.0)
            self._standing_c = max(above_c, faded_c)
        return min(self._standing_c, self._limits.above_c) if waits else 0.0

    def _is_powered(self, now: AlarmInputs) -> bool:
        """Tell whether the plan is on a ramp that heats, or keeps a temperature."""
        position = now.position
        if self._schedule is None or position is None or position.segment is None:
            return False
        if position.phase == "ramp":
            return _heats(self._schedule, position.segment)
        if position.phase == "hold":
            hold_s = self._schedule.segments[position.segment].hold_s
            return position.hold_left_s(now.now_s, hold_s) > 0.0
        return False

    def _stalled(self, now: AlarmInputs) -> WatchEvent | None:
        position = now.position
        # One that crept down has left its ramp; that one falls is told of itself, and one that fell
        # far was given up.
        left = (
            position is not None
            and position.phase == "left"
            and not (self.supply.gone or self._falls_slowly.raised)
            and now.now_c > now.highest_c - COOLED_C
        )
        rising = (
            self._schedule is not None
            and not (self.supply.over_by_clock and now.now_c < now.highest_c - FALLEN_C)
            and now.highest_c > self._schedule.room_c + self.supply.surely_begun_c
            and position is not None
            and position.segment is not None
            and (position.phase == "ramp" or left)
            and _heats(self._schedule, position.segment)
        )
        if not rising or now.rate_c_per_h is None:
            return self._latched("stalled", now, False, not rising, "", "no longer stalled")
        assert self._schedule is not None
        assert position is not None
        assert position.segment is not None
        segment = self._schedule.segments[position.segment]
        planned = STALL_MOST_C_PER_H / STALL_SHARE
        planned = planned if segment.rate_c_per_h is None else segment.rate_c_per_h
        least = min(max(STALL_SHARE * planned, STALL_LEAST_C_PER_H), STALL_MOST_C_PER_H)
        return self._latched(
            "stalled",
            now,
            now.rate_c_per_h < least and planned - now.rate_c_per_h > self._significant(0.0),
            # Noise alone climbs, too; by half the planned rate it does not.
            now.rate_c_per_h > max(2.0 * least, min(self._significant(0.0), 0.5 * planned)),
            f"the kiln stands at {self._write(now.now_c)} and does not rise towards "
            f"{self._write(segment.target_c)} in segment {self._schedule.label(position.segment)}: "
            "look for power, a fuse, a relay or dead elements",
            f"the kiln rises again, {format_rate(now.rate_c_per_h, self._unit)}",
        )

    def _cooling(self, now: AlarmInputs) -> WatchEvent | None:
        due = self._heating_due(now)
        rate = now.rate_c_per_h
        falling = (
            rate is not None
            and rate < -self._significant(-FALLING_C_PER_H)
            and self.supply.falls
            and now.highest_c > WARM_C
            and not self.supply.fell_at_the_clocks_end
        )
        rises = rate is not None and rate > 0.0
        gone = self.supply.gone
        self._falls_slowly.update(
            now.now_s, due and falling and not self.circuit.doubtful, not due or rises
        )
        shown = "" if rate is None or not falling else f" at {format_rate(abs(rate), self._unit)}"
        led = self.supply.led
        outrun = led is not None and led.outrun
        highest_c = led.due_c if led is not None and outrun else now.highest_c
        given_up = now.now_c < highest_c - COOLED_C and not due
        why = "though heating is due"
        if led is not None and outrun and not gone:
            led_at = format_rate(led.rate_c_per_h, self._unit)
            why = f"faster than its program leads it down ({led_at})"
            if not led.rate_c_per_h > 0.0:
                why = f"though its program holds it at {self._write(led.due_c)}"
        return self._latched(
            "cooling",
            now,
            (gone or outrun or self._falls_slowly.raised) and not given_up,
            given_up or (not gone and not outrun and (not due or rises)),
            f"the kiln cools{shown} {why}, at {self._write(now.now_c)}: power, "
            "a fuse, a relay or an open lid",
            "the kiln no longer cools" if rises else "heating is no longer due",
        )

    def _significant(self, least_c_per_h: float) -> float:
        """Return the rate that is one [°C/h], not noise: readings minutes apart show less."""
        return max(least_c_per_h, SIGNIFICANT_ERRORS * self.supply.rate_error_c_per_h())

    def _heating_due(self, now: AlarmInputs) -> bool:
        position = now.position
        if self._schedule is None or position is None or position.segment is None:
            return False
        if position.phase == "left":
            return any(
                _heats(self._schedule, index)
                for index in range(position.segment, len(self._schedule.segments))
            )
        if position.phase == "hold":
            target_c = self._schedule.segments[position.segment].target_c
            return self._is_powered(now) and now.now_c < target_c - FALLEN_C
        return self._is_powered(now)

    def _over_by_clock(self, now: AlarmInputs) -> WatchEvent | None:
        if not self.supply.over_by_clock or self._over_by_clock_told or self._limits.waits is False:
            return None
        self._over_by_clock_told = True
        message = (
            f"the kiln falls from {self._write(now.highest_c)} where its program should be over by "
            "the clock; if the controller still heats or holds, look at power, a fuse or a relay"
        )
        return WatchEvent("over-by-clock", "note", "told", now.now_s, message)

    def _lost(self, now: AlarmInputs) -> WatchEvent | None:
        silent_s = now.now_s - now.usable_s
        patience_s = max(self._limits.lost_after_s, SLOW_LINES * now.line_every_s)
        return self._latched(
            "reading-lost",
            now,
            silent_s > patience_s,
            silent_s <= patience_s,
            f"no usable reading for {format_duration(silent_s)}: look at the kiln's own display, "
            "the thermocouple and the cable",
            "readings are back",
        )

    def _stuck(self, now: AlarmInputs) -> WatchEvent | None:
        return self._latched(
            "reading-stuck",
            now,
            now.stuck or self._stillness.stuck,
            not (now.stuck or self._stillness.stuck),
            "the reading stands still in every digit, as no kiln does: look at the kiln's own "
            "display",
            "the reading moves again",
        )

    def _unload(self, now: AlarmInputs) -> WatchEvent | None:
        unload_c = self._limits.unload_c
        cooled = now.highest_c > max(UNLOAD_FROM_C, unload_c + UNLOAD_CLEAR_C)
        ending = now.position is None or now.position.phase in ("done", "left")
        state = self._latches["unload"].update(
            now.now_s,
            cooled
            and ending
            and now.now_c <= unload_c
            and now.now_s >= now.cold_from_s
            and not self.circuit.doubtful,
            now.now_c > unload_c + UNLOAD_CLEAR_C,
        )
        if state == "over" and not now.fires_again:
            message = (
                f"the kiln reads {self._write(now.now_c)} again: it is not cool enough to unload; "
                "keep it shut, and look whether the thermocouple has moved"
            )
            return WatchEvent("unload", "act", "told", now.now_s, message)
        if state != "raised":
            return None
        message = (
            f"{self._write(now.now_c)}: cool enough to unload by the {self._write(unload_c)} you "
            "set; thick ware and shelves may be hotter than the thermocouple"
        )
        return WatchEvent("unload", "note", "told", now.now_s, message)


class Overshoot:
    """How far a kiln runs past its set point each time its relay lets go.

    Elements and sheath give their heat up for minutes: a cold kiln on a relay swings up by 20 °C,
    and comes back each time.
    """

    def __init__(self, margin_c: float) -> None:
        self._margin_c = margin_c
        self._heated_s: float | None = None
        self._top_c = 0.0
        self._past: list[tuple[float, float]] = []

    def update(self, now_s: float, above_c: float | None, highest_c: float) -> float:
        """Take in how far above the plan it is; return what of that is its habit [°C]."""
        if above_c is None:
            self._top_c = 0.0
            return 0.0
        if self._heated_s is None:
            self._heated_s = now_s
        self._top_c = max(self._top_c, above_c)
        if above_c < OVER_SHARE * self._top_c:
            self._past = [(at_s, c) for at_s, c in self._past if now_s - at_s < OVER_S]
            self._past.append((now_s, self._top_c))
            self._top_c = 0.0
        habit_c = max((c for _, c in self._past), default=0.0)
        if now_s - self._heated_s < FIRST_OVER_S and highest_c < FIRST_OVER_C:
            habit_c = max(habit_c, OVER_FIRST_SHARE * self._margin_c)
        return min(max(OVER_MORE * habit_c - self._margin_c, 0.0), self._margin_c)


_LOOK_AT = {
    "shorted": "look for leads that touch: at the terminals, along the cable, at the hot wall",
    "reversed": "its leads are probably swapped: swap plus and minus at one end",
    "pulled-out": "look whether the thermocouple was pulled out, or the lid is open",
    "open": "look for a broken thermocouple or a loose terminal",
}


def _circuit_words(broken: CircuitFault, write: Callable[[float], str]) -> str:
    """Return what the thermocouple's circuit did, and where to look."""
    if math.isnan(broken.to_c) or math.isnan(broken.from_c):
        course = "the instrument reports a fault of the thermocouple"
    elif broken.fault == "reversed" and broken.from_c < SURELY_COLD_C:
        course = (
            f"the reading sinks from {write(broken.from_c)} to {write(broken.to_c)} in a cold kiln"
        )
    else:
        verb = "jumped" if broken.to_c > broken.from_c else "fell"
        course = (
            f"the reading {verb} from {write(broken.from_c)} to {write(broken.to_c)}, faster than "
            "any kiln"
        )
    return (
        f"{course}: {_LOOK_AT[broken.fault]}; until it is right, go by the kiln's own display and "
        "witness cones"
    )


def _heats(schedule: Schedule, index: int) -> bool:
    return schedule.segments[index].target_c > schedule.from_c(index)


def _difference(difference_c: float, unit: TemperatureUnit) -> str:
    return f"{difference_c * (1.8 if unit == 'F' else 1.0):.0f} °{unit}"
