"""The kiln as a network of heat: one implicit step at a time.

Elements, wall face, furniture and ware exchange heat with one chamber temperature, by radiation and
convection each in proportion to its own surface: the star form of an enclosure.  That chamber
temperature is what a thermocouple in the open chamber reads; its own heat capacity is the air's.
Every exchange is written with a coefficient taken at the expected temperatures, which makes a step
one linear solution: each body is eliminated in favour of the chamber, then the chamber's balance is
solved together with the controller's.  Steps that move far from what was expected are repeated.
"""

from dataclasses import dataclass
from operator import sub

from firing.errors import FiringError
from firing.heat.balance import (
    STEADY_GROWTH,
    STEFAN_BOLTZMANN,
    Exchange,
    at_rest,
    extrapolation,
    sharpened,
    weights,
)
from firing.kiln.description import EMISSIVITY_WIRE, KilnDescription, resistance_factor
from firing.kiln.nodes import (
    CHAMBER,
    ELEMENTS,
    EMISSIVITY_INSIDE,
    FIRST_LUMP,
    H_INSIDE,
    KilnNodes,
    water_left_j,
    water_sinks,
)
from firing.units import KELVIN_AT_0_C
from firing.ware.load import Load, WareState

CONTROL_BAND_C = 0.5
"""The controller goes from full to no power over this, centred on the set-point [°C]; it holds
within half of it while power lasts.  Source: kiln-model-choices."""

REPEAT_C = 4.0
"""A step whose answer is further than this from what was expected is repeated [°C]."""
MAX_REPEATS = 6
AT_REST_C = 0.01
MAX_REPEATS_AT_REST = 200


@dataclass(slots=True)
class NetworkState:
    """One moment.

    Temperatures and heat contents are those of the nodes of `KilnNodes`; `pending_j` is the heat
    that water still takes up, one a demand; `supplied_j` and `lost_j` count from the start.
    `full_w` is what the elements would give now, switched on, and `surprise_c` the largest distance
    of a temperature, the elements' apart, from what was expected.
    """

    temperature_c: list[float]
    heat_j: list[float]
    pending_j: list[float]
    supplied_j: float = 0.0
    lost_j: float = 0.0
    power_w: float = 0.0
    loss_w: float = 0.0
    full_w: float = 0.0
    surprise_c: float = 0.0


class Network(KilnNodes):
    """A kiln with its load, and its state over time; see `KilnNodes` for what it is made of."""

    def __init__(
        self, kiln: KilnDescription, load: Load, *, room_c: float, fineness: int = 1
    ) -> None:
        super().__init__(kiln, load, room_c=room_c, fineness=fineness)
        self._past: list[NetworkState] = []
        self._steps: tuple[float | None, float | None] = (None, None)
        self._since_bend = 0

    @property
    def now(self) -> NetworkState:
        """The latest accepted state."""
        return self._past[0]

    def start(self, chamber_c: float, ware: WareState | None = None) -> None:
        """Begin with everything inside at one temperature.

        A kiln that begins hot begins with its walls at rest at that temperature, and with ware that
        has lost what water leaves on the way there.
        """
        temperature = [chamber_c] * self.size
        if chamber_c > self.room_c + 40.0:
            rest = at_rest(
                self.wall,
                chamber_c,
                inside=Exchange(chamber_c, 1e6),
                outside=Exchange(self.room_c, self.outside_coefficient(80.0)),
            )
            temperature[self.first_wall :] = [float(value) for value in rest.temperature_c]
        pending = self.pending_j(chamber_c, ware)
        state = NetworkState(temperature, self.heat_j(temperature), pending)
        state.full_w = self.kiln.available_w / resistance_factor(chamber_c)
        self._past, self._steps, self._since_bend = [state], (None, None), 0

    def advance(self, step_s: float, set_point_c: float | None) -> NetworkState:
        """Return the state one step on, without accepting it.

        The set-point is that at the end of the step; None with the elements off.
        """
        past = self._past
        newest, older, oldest = past[0], past[min(1, len(past) - 1)], past[-1]
        before, earlier = self._steps
        p, q, r = extrapolation(step_s, before, earlier)
        a, b, c = weights(step_s, before if self._since_bend else None)
        d = 0.0
        if (
            self._since_bend >= 3
            and before is not None
            and earlier is not None
            and step_s <= STEADY_GROWTH * before
        ):
            a, b, c, d = sharpened((a, b, c), (p, q, r), step_s + before + earlier)
        expected = newest.temperature_c
        if q != 0.0:
            expected = [
                p * x + q * y + r * z
                for x, y, z in zip(
                    newest.temperature_c, older.temperature_c, oldest.temperature_c, strict=True
                )
            ]
            # A guess from long steps may leave the tables where the answer does not.
            if max(expected) > self.known_c[1] or min(expected) < self.known_c[0]:
                expected = newest.temperature_c
        past_w = [
            b * x + c * y + d * z
            for x, y, z in zip(newest.heat_j, older.heat_j, oldest.heat_j, strict=True)
        ]
        brought_w = [
            -(b * x + c * y + d * z)
            for x, y, z in zip(newest.pending_j, older.pending_j, oldest.pending_j, strict=True)
        ]
        guess = expected
        for _ in range(MAX_REPEATS):
            state = self._balance(guess, a, past_w, brought_w, set_point_c)
            found = state.temperature_c
            moves = list(map(abs, map(sub, found, guess)))
            # The wire's temperature follows from the power it gives off, hardly the other way.
            moves[ELEMENTS] *= 0.1
            if max(moves) < REPEAT_C:
                break
            guess = found
        if guess is not expected:
            moves = list(map(abs, map(sub, found, expected)))
        moves[ELEMENTS] = 0.0
        state.surprise_c = max(moves)
        state.supplied_j = (
            state.power_w - b * newest.supplied_j - c * older.supplied_j - d * oldest.supplied_j
        ) / a
        state.lost_j = (state.loss_w - b * newest.lost_j - c * older.lost_j - d * oldest.lost_j) / a
        return state

    def at_rest(self, set_point_c: float, guess_c: float = 900.0) -> NetworkState:
        """Return the state in which nothing changes any more, of a load without water."""
        if self.demands:
            raise FiringError("a kiln with water in its load does not come to rest")
        guess, past = [guess_c] * self.size, [0.0] * self.size
        for _ in range(MAX_REPEATS_AT_REST):
            state = self._balance(guess, 0.0, past, [], set_point_c)
            found = state.temperature_c
            if max(abs(x - y) for x, y in zip(found, guess, strict=True)) < AT_REST_C:
                return state
            # Half-way steps: full ones may swing about the answer.
            guess = [0.5 * (x + y) for x, y in zip(found, guess, strict=True)]
        raise FiringError("the kiln's state at rest is not found; check its walls and power")

    def accept(self, state: NetworkState, step_s: float) -> None:
        """Make a state that `advance` returned the latest one."""
        self._past = [state, *self._past[:2]]
        self._steps = step_s, self._steps[0]
        self._since_bend += 1

    def bend(self) -> None:
        """Tell that the set-point bends now: the next step must not look back beyond it."""
        self._since_bend = 0

    def _balance(
        self,
        guess: list[float],
        a: float,
        past_w: list[float],
        brought_w: list[float],
        set_point_c: float | None,
    ) -> NetworkState:
        """Solve the heat balance linearised about a guess."""
        chamber_k = guess[CHAMBER] + KELVIN_AT_0_C
        chamber_k2 = chamber_k * chamber_k
        inside = EMISSIVITY_INSIDE * STEFAN_BOLTZMANN
        # What is left of the chamber's balance, d0·T = r0, as each body is eliminated.
        d0 = a * self.air_j_per_k + self.leak_w_per_k
        r0 = self.leak_w_per_k * self.room_c - past_w[CHAMBER]
        sinks, taken = water_sinks(self.demands, brought_w, guess, a)

        t = guess[ELEMENTS]
        kelvin = t + KELVIN_AT_0_C
        g = self.element_m2 * (
            EMISSIVITY_WIRE
            * STEFAN_BOLTZMANN
            * (kelvin * kelvin + chamber_k2)
            * (kelvin + chamber_k)
            + H_INSIDE
        )
        d = a * self.element_j_per_k + g
        element = d, g, -past_w[ELEMENTS]
        d0 += g - g * g / d
        r0 -= g * past_w[ELEMENTS] / d
        full_w = self.available_w / resistance_factor(t)

        lumps = []
        node = FIRST_LUMP
        for lump in self.contents.lumps:
            t = guess[node]
            kelvin = t + KELVIN_AT_0_C
            capacity, content = lump.grid.heat(t)
            capacity, content = lump.volume_m3 * capacity, lump.volume_m3 * content
            g = lump.area_m2 * (
                inside * (kelvin * kelvin + chamber_k2) * (kelvin + chamber_k) + H_INSIDE
            )
            d = a * capacity + g
            r = a * (capacity * t - content) - past_w[node]
            if node in taken:
                sink, slope = taken[node]
                d += slope
                r += slope * t - sink
            share = g / d
            d0 += g - g * share
            r0 += r * share
            lumps.append((share, r / d, capacity, content - capacity * t))
            node += 1

        g_out = self.outside_m2 * self.outside_coefficient(guess[-1])
        outside = g_out, g_out * self.room_c
        slabs = []
        for slab, first, area in self.slabs:
            t = guess[first]
            kelvin = t + KELVIN_AT_0_C
            g = area * (inside * (kelvin * kelvin + chamber_k2) * (kelvin + chamber_k) + H_INSIDE)
            end = first + slab.size
            if slab is self.wall:
                d, r = slab.eliminate(guess[first:end], a, past_w[first:end], outside=outside)
            else:
                here = {n - first: at for n, at in taken.items() if n >= first} if taken else None
                d, r = slab.eliminate(guess[first:end], a, past_w[first:end], taken=here)
            d += g
            share = g / d
            d0 += g - g * share
            r0 += r * share
            slabs.append((slab, share, r / d))

        d, g, r = element
        power_w, chamber_c = _controlled(d0, r0, g / d, full_w, set_point_c)
        wire_c = (r + g * chamber_c + power_w) / d
        found = [chamber_c, wire_c]
        heat_now = [self.air_j_per_k * chamber_c, self.element_j_per_k * wire_c]
        for share, rest, capacity, content in lumps:
            answer = rest + share * chamber_c
            found.append(answer)
            heat_now.append(content + capacity * answer)
        for slab, share, rest in slabs:
            answers, contents = slab.solve(rest + share * chamber_c)
            found += answers
            heat_now += contents
        if taken:
            pending = water_left_j(self.demands, sinks, found, guess, a)
        else:
            pending = [brought / a for brought in brought_w]
        loss_w = g_out * (found[-1] - self.room_c) + self.leak_w_per_k * (chamber_c - self.room_c)
        return NetworkState(found, heat_now, pending, power_w=power_w, loss_w=loss_w, full_w=full_w)


def _controlled(
    d: float, r: float, share: float, full_w: float, set_point_c: float | None
) -> tuple[float, float]:
    """Return power [W] and chamber temperature [°C] from d·T = r + share·P and the controller."""
    if set_point_c is None:
        return 0.0, r / d
    slope = full_w / CONTROL_BAND_C
    at_zero = 0.5 * full_w + slope * set_point_c
    chamber_c = (r + share * at_zero) / (d + share * slope)
    power_w = at_zero - slope * chamber_c
    if power_w > full_w:
        return full_w, (r + share * full_w) / d
    if power_w < 0.0:
        return 0.0, r / d
    return power_w, chamber_c
