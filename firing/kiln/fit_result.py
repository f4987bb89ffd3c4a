"""What a fit answers: multipliers with their errors, what they rest on, and what is left open."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from firing.arguments import checked
from firing.kiln.description import Fitted, PastFit
from firing.serialise import Serialised, named
from firing.viewable import Tabular

SOURCES = ("kiln-fit-choices", "meter-class-memory", "rated-input-memory")


@dataclass(frozen=True, slots=True)
class FittedValue(Serialised):
    """One multiplier or ratio: its value, standard error, whether the logs tell it, and a note."""

    value: float
    se: float
    identifiable: bool
    note: str


@dataclass(frozen=True, slots=True)
class Diagnostics(Serialised):
    """How well the logs were described.

    Attributes
    ----------
    rms_share : float
        Of half an hour's mean power less the model's, as a share of full power.
    rms_w : float
        The same [W].
    windows : int
        Stretches of about half an hour that were used.
    full_s, powered_s, off_s : float
        How long the elements are known to have been fully on, on at all, and off [s].
    """

    rms_share: float
    rms_w: float
    windows: int
    full_s: float
    powered_s: float
    off_s: float


@dataclass(frozen=True, slots=True)
class KilnFit(Tabular, Serialised):
    """What logs have taught about a kiln.

    Attributes
    ----------
    power, loss, capacity, leak : FittedValue
        Multipliers on the kiln as described, whatever was learnt before; `loss` is what the walls
        carry off, `leak` what moving air does.
    losses : FittedValue
        What walls and air carry off together, at 600 °C.
    power_over_capacity, loss_over_capacity, leak_over_capacity : FittedValue
        Their ratios, which logs tell without an anchor.
    losses_over_capacity, power_over_losses : FittedValue
        The same of what walls and air carry off together; the latter knows nothing of the load.
    anchored : bool
        Whether something fixes the absolute size.
    on : date or None
        The day of the latest log, or the day given.
    basis : str
        From what: date, logs, anchor; one line.
    diagnostics : Diagnostics
        How well the logs were described.
    cannot_tell : tuple of str
        What these logs leave open, and what would tell it, as sentences.
    warnings : tuple of str
        What is odd, as sentences.
    sources : tuple of str
        Ids of what the method rests on.
    errors, hottest_c, fastest_c_per_h
        As in `firing.kiln.description.Fitted`.
    loaded : bool
        Whether the load of every log was given.
    least_power : float or None
        The largest share of the described full power that half an hour needed.
    """

    power: FittedValue
    loss: FittedValue
    capacity: FittedValue
    leak: FittedValue
    losses: FittedValue
    power_over_capacity: FittedValue
    loss_over_capacity: FittedValue
    leak_over_capacity: FittedValue
    losses_over_capacity: FittedValue
    power_over_losses: FittedValue
    anchored: bool
    on: date | None = field(metadata=named("date"))
    basis: str
    diagnostics: Diagnostics
    cannot_tell: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    sources: tuple[str, ...] = SOURCES
    errors: tuple[float, ...] = ()
    hottest_c: float | None = None
    fastest_c_per_h: float | None = None
    loaded: bool = False
    least_power: float | None = None

    def __repr__(self) -> str:
        """Return the multipliers with their standard errors, on one line."""
        shown = []
        for name in ("power", "loss", "capacity", "leak"):
            one: FittedValue = getattr(self, name)
            left_open = "" if one.identifiable else " (these logs leave it open)"
            shown.append(f"{name} {one.value:.3f} ± {one.se:.3f}{left_open}")
        return f"<KilnFit {', '.join(shown)}>"

    def to_past(self) -> PastFit:
        """Return what the kiln file keeps of this fit, to compare later ones with."""

        def share(figure: FittedValue) -> float | None:
            return figure.se / figure.value if figure.identifiable else None

        return PastFit(
            on=self.on,
            power=self.power.value,
            loss=self.loss.value,
            capacity=self.capacity.value,
            leak=self.leak.value,
            power_se=share(self.power),
            power_over_capacity_se=share(self.power_over_capacity),
            power_over_losses_se=share(self.power_over_losses),
            loaded=self.loaded,
            least_power=None if self.power_over_losses.identifiable else self.least_power,
            basis=self.basis,
        )

    @checked
    def to_fitted(self, before: Fitted | None = None) -> Fitted:
        """Return the values for the kiln file's ``[fitted]``.

        Of what stands there the cone offset is kept, and the power where these logs say nothing of
        it.
        """
        before = Fitted() if before is None else before
        told = self.power_over_capacity.identifiable or self.power.identifiable
        return Fitted(
            power=self.power.value if told else before.power,
            loss=self.loss.value,
            capacity=self.capacity.value,
            cone_offset_c=before.cone_offset_c,
            learnt=self.on,
            basis=self.basis,
            leak=self.leak.value,
            errors=self.errors,
            hottest_c=self.hottest_c,
            fastest_c_per_h=self.fastest_c_per_h,
        )
