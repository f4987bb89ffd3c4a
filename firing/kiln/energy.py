"""Electricity of a simulated firing: energy, current and the course that a tariff is laid over."""

from dataclasses import dataclass, field

import numpy as np

from firing.kiln.simulation import JOULES_PER_KWH, Simulation
from firing.serialise import OMITTED, Serialised, named
from firing.trace import FloatArray


@dataclass(frozen=True, slots=True)
class Energy(Serialised):
    """Electricity of one firing.

    Attributes
    ----------
    kwh : float
        Energy of the whole firing [kWh].
    lost_kwh, stored_kwh : float
        What has left through walls and air, and what is still in the kiln at the end [kWh].
    mean_amps : float
        Mean line current from the start until the elements are last on [A].
    peak_amps : float
        The line current with the elements switched on, at its largest [A].
    mean_duty : float
        Mean share of full power over the same time, 0 to 1.
    powered_s : float
        From the start until the elements are last on [s].
    """

    kwh: float = field(metadata=named("energy_kwh"))
    lost_kwh: float = field(metadata=OMITTED)
    stored_kwh: float = field(metadata=OMITTED)
    mean_amps: float
    peak_amps: float
    mean_duty: float
    powered_s: float


def energy_of(run: Simulation) -> Energy:
    """Return the electricity of a simulated firing.

    Elements are resistors, so current and voltage are in step and I = P/U, or P/(√3·U) in each line
    of a balanced three-phase supply.  Where banks are switched apart a line may carry other
    currents: what a circuit must bear is for the kiln's plate and a licensed electrician to say.
    """
    on = np.flatnonzero(run.power_w > 0.0)
    last = int(on[-1]) if on.size else 0
    powered_s = float(run.time_s[last])
    supplied_j = float(run.supplied_j[last])
    amps_per_w = run.kiln.full_amps / run.kiln.available_w
    mean_w = supplied_j / powered_s if powered_s else 0.0
    full_w = float(np.mean(run.full_w[on])) if on.size else 0.0
    return Energy(
        kwh=run.energy_kwh,
        lost_kwh=float(run.lost_j[-1]) / JOULES_PER_KWH,
        stored_kwh=float(run.stored_j[-1]) / JOULES_PER_KWH,
        mean_amps=mean_w * amps_per_w,
        peak_amps=float(run.full_w[on].max()) * amps_per_w if on.size else 0.0,
        mean_duty=mean_w / full_w if full_w else 0.0,
        powered_s=powered_s,
    )


@dataclass(frozen=True, eq=False)
class EnergyCourse:
    """Energy taken from the supply since the start: seconds and joules, both shape (n,)."""

    time_s: FloatArray
    supplied_j: FloatArray

    @property
    def kwh(self) -> float:
        """In all [kWh]."""
        return float(self.supplied_j[-1]) / JOULES_PER_KWH

    @property
    def powered_s(self) -> float:
        """Until nothing more is taken [s]."""
        taken = np.flatnonzero(self.supplied_j < self.supplied_j[-1] - 1.0)
        after = int(taken[-1]) + 1 if taken.size else 0
        return float(self.time_s[after])


def energy_course(run: Simulation) -> EnergyCourse:
    """Return a simulated firing's energy over time."""
    return EnergyCourse(run.time_s, run.supplied_j)
