"""How far a firing has brought the ware: its free water, its bound water, its carbon."""

from dataclasses import dataclass

from firing.serialise import Serialised

_BOUND_WATER_IS_GONE = 0.99


@dataclass(frozen=True, slots=True)
class WareState(Serialised):
    """What a firing has done to the middle of the thickest ware so far.

    Attributes
    ----------
    drying_fourier : float
        Drying done, as the Fourier number of moisture D·t/L² [1].
    bound_water_gone : float
        Share of the bound water that has left, 0 to 1.
    burn_out_s : float
        Time the middle has been where carbon burns, 650 to 800 °C [s].
    """

    drying_fourier: float = 0.0
    bound_water_gone: float = 0.0
    burn_out_s: float = 0.0

    @property
    def bound_water_is_gone(self) -> bool:
        """Whether what is left of the bound water no longer counts."""
        return self.bound_water_gone >= _BOUND_WATER_IS_GONE
