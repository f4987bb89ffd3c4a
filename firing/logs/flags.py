"""What may be wrong with a reading."""

from enum import IntEnum

import numpy as np
import numpy.typing as npt

FlagArray = npt.NDArray[np.uint8]


class Flag(IntEnum):
    """What is held against a reading; 0 means nothing."""

    USED = 0
    MISSING = 1
    SPIKE = 2
    STUCK = 3
    DROPOUT = 4
    FULL_SCALE = 5
    JUMP = 6
    FAHRENHEIT = 7


FLAG_TEXT: dict[Flag, str] = {
    Flag.MISSING: "no temperature",
    Flag.SPIKE: "marked as spikes, away from the readings around them and back",
    Flag.STUCK: "marked as stuck, the same to the last digit while the kiln went on",
    Flag.DROPOUT: "marked as dropouts, at room temperature or below in the middle of the heat",
    Flag.FULL_SCALE: "marked as overload, stuck above everything else the sensor read",
    Flag.JUMP: (
        "marked as a jump faster than any kiln (60 °C a minute); what follows one that stays "
        "is used"
    ),
    Flag.FAHRENHEIT: (
        "marked as probably °F among °C, 1.8 times the readings beside them plus 32; if so, take "
        "that part of the log by itself with --unit F"
    ),
}
