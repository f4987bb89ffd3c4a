"""A user's register map: which registers of an instrument hold a temperature, and how."""

import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

RegisterType = Literal["int16", "uint16", "int32", "uint32", "float32"]
WordOrder = Literal["high first", "low first"]
_FORMAT: dict[RegisterType, str] = {
    "int16": ">h",
    "uint16": ">H",
    "int32": ">i",
    "uint32": ">I",
    "float32": ">f",
}


@dataclass(frozen=True, slots=True)
class RegisterChannel:
    """Where one channel stands.

    Attributes
    ----------
    name : str
        What the channel is called.
    address : int
        Number of its first register, from 0 as it goes over the wire.
    function : {3, 4}
        Modbus function that reads it: holding or input registers.  No other is ever sent.
    type : str
        What its registers hold.
    word_order : {"high first", "low first"}
        Which of two registers holds the upper half.
    scale : float
        What the number is multiplied by.
    missing : tuple of int
        Raw numbers that mean "no reading".
    """

    name: str
    address: int
    function: Literal[3, 4] = 3
    type: RegisterType = "int16"
    word_order: WordOrder = "high first"
    scale: float = 1.0
    missing: tuple[int, ...] = ()

    @property
    def width(self) -> int:
        """How many registers it takes."""
        return struct.calcsize(_FORMAT[self.type]) // 2

    def value(self, registers: Sequence[int]) -> float:
        """Return the number its registers hold; NaN where they mean none."""
        words = registers if self.word_order == "high first" else list(reversed(registers))
        raw = struct.unpack(_FORMAT[self.type], b"".join(w.to_bytes(2, "big") for w in words))[0]
        if raw in self.missing or not math.isfinite(raw):
            return math.nan
        return float(raw) * self.scale
