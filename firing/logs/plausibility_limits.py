"""What the thermocouple of a kiln can read: the one table of limits, for logs and live readings.

Three judges go by it.  `LOG_` limits are those of a log, which is judged whole: what comes after a
reading helps to judge it, so they are strict.  `LIVE_` limits mark a reading the moment it arrives,
before anything else is done with it, and are wide.  `CIRCUIT_` limits raise the alarm that the
thermocouple's circuit is broken, from readings that agree with each other over a while.  Where
several hold for one thing they stand beside each other; a name without a prefix is for all three.
Every limit says its reason and its source.
"""

import math

# The scale

LOG_COLDEST_C, LOG_HOTTEST_C = -273.15, 3000.0
"""Absolute zero, and what no studio kiln gets near [°C]: in a log only the codes for "overload" and
"no reading" (9.9e37, −9999) lie outside, and they are no numbers.  Source: common practice, no
source."""
LIVE_COLDEST_C, LIVE_HOTTEST_C = -40.0, 1600.0
"""What the inside of a kiln may read, an unheated shed in winter included [°C].  Narrower than a
log's, as a live reading outside is marked and keeps its number.  Source: common practice, no
source."""
MOST_MV = 100.0
"""More is the code of an overload [mV]: type E ends highest of all, at 76.4 mV.  Source: NIST SRD
60."""
TYPE_K_ENDS_C = 1372.0
"""A higher reading of a type K thermocouple is probably °F [°C].  Source: end of the reference
table, NIST SRD 60 / IEC 60584-1."""

STUDIO_KILN_MOST_C = 1400.0
"""Studio kilns end at 1300 to 1350 °C [°C]; a log that goes higher is not in °C.  Source: common
practice, no source."""
FIRING_LEAST_C = 300.0
"""What never gets as hot is no firing [°C]: on-glaze colours, the coolest, want 600 and more.
Source: common practice, no source."""
ROOM_COLDEST_C, ROOM_HOTTEST_C = -1.0, 43.0
"""A room with a kiln in it [°C]: an unheated shed in winter, a closed studio in summer.  Source:
common practice, no source."""

# From one reading to the next

LOG_STEP_C = 10.0
"""What noise and coarse steps of a logger may do from one reading to the next [°C]; a noisy log is
given more.  Source: common practice, no source."""
LIVE_STEP_C = 30.0
"""The same where nothing is known yet of how noisy the line is [°C].  Source: common practice, no
source."""
CIRCUIT_STEP_C = 25.0
"""What noise and a disturbed reading may add to a rise or a fall of minutes [°C].  Source: common
practice, no source."""

LOG_RISE_C_PER_S = 1.0
"""No kiln heats faster than 60 °C a minute [°C/s]: a studio kiln does 5 to 10, a small test kiln 30
to 50.  Source: common practice, no source."""
LIVE_RISE_C_PER_S = 5.0
"""No thermocouple in its sheath follows faster [°C/s]: what exceeds it is no reading, whatever the
kiln does.  Source: common practice, no source."""
CIRCUIT_RISE_C_PER_S = 0.5
"""1800 °C/h [°C/s]: small test kilns at full power heat at 1500 °C/h at most, for minutes on end.
Source: common practice, no source."""

LOG_FALL_TIME_CONSTANT_S = 34.0
"""No reading falls faster than its sheath cools [s]: 3 mm of it in still, open air, as when it is
pulled out.  Source: a thermocouple's response in slow air; common practice, no source."""
CIRCUIT_FALL_TIME_CONSTANT_S = 900.0
"""A kiln with its lid open still takes longer to lose two thirds of its heat [s]: a thermocouple
that was pulled out is to be told, so the sheath is no limit here.  Source: common practice, no
source."""

LOG_USUAL_C_PER_S = 0.1
"""6 °C a minute, what a studio kiln usually does [°C/s].  Source: common practice, no source."""

# How long a disturbance lasts

LOG_SPIKE_READINGS, LOG_SPIKE_S = 3, 120.0
"""What is away for no more readings than this, or for no longer [s], is a spike; a jump there and
back else.  Source: common practice, no source."""
CIRCUIT_FAULT_READINGS, CIRCUIT_FAULT_S = 3, 20.0
"""So many readings in a row, over so long [s], are a fault of the circuit: a disturbance of the
line lasts less.  Somebody waits for the alarm, so this is shorter than a log's.  Source: common
practice, no source."""

# Cold

TERMINALS_MOST_C = 60.0
"""A short and a dropout read what terminals and shorted leads have: no more than this [°C].
Source: common practice, no source."""
LOG_DROPOUT_FALL_C, LOG_DROPOUT_FALL_S = 200.0, 600.0
"""No kiln falls so far [°C] to the temperature of its terminals in so short a time [s].  Source:
common practice, no source."""
CIRCUIT_REVERSED_BELOW_C = -5.0
"""Colder than any room with a kiln in it: reversed leads read below room temperature what the kiln
is above it [°C].  Source: common practice, no source."""
CIRCUIT_OPENED_BELOW_C, CIRCUIT_OPENED_FALL_C = 200.0, 100.0
"""People open a cooling kiln below the first; the air at its thermocouple then falls by the second
at once [°C].  Source: common practice, no source."""
CIRCUIT_COLD_KILN_C, CIRCUIT_COLD_FALL_C, CIRCUIT_COLD_FALL_S = 40.0, 3.0, 720.0
"""A kiln that was never hotter than the first, and falls by the second [°C] within the third [s],
cools by no draught: its leads are reversed.  Source: common practice, no source."""

# Standing still

LOG_STILL_READINGS, LOG_STILL_S = 4, 600.0
"""A reading that stands still in every digit for so many readings and so long [s] may be stuck; it
is if it then leaps, or another channel went on.  Source: common practice, no source."""
LIVE_STILL_READINGS, LIVE_STILL_S = 30, 120.0
"""The same where nothing that comes after is known, and only noise that ends tells it [s].  Source:
common practice, no source."""
CIRCUIT_STILL_S = 240.0
"""The same for the alarm [s]: by the chance that its own noise stands still so long, or by a plan
that has it rise.  Source: common practice, no source."""

TURNING_SHARE = 0.3
"""Noise above the digits turns a reading back on the one before in two of three; one without it
stands still in every hold and is not stuck.  From this share on it is noise.  Source: common
practice, no source; two of three by arithmetic."""
FLICKER_DIGITS = 1.5
"""A reading whose changes are of one digit in the mean flickers between two, and stands still where
it is far from both.  Source: common practice, no source."""
FAHRENHEIT_DIGITS = 1.8
"""A reading taken to a digit of °C and written to the same digit of °F moves by one or by two of
those at a time: so many in the mean [-].  Source: the definition of the degree Fahrenheit."""


def digit_taken_c(digit_c: float) -> float:
    """Return the digit a reading was perhaps taken to, from the one it is written to [°C].

    So a log in °F is judged as its twin in °C.
    """
    digit_f = digit_c * FAHRENHEIT_DIGITS
    if not 0.0 < digit_f < math.inf:
        return digit_c
    power_of_ten = math.log10(digit_f)
    # A hundredth, as what a file holds came through a conversion.
    return digit_f if abs(power_of_ten - round(power_of_ten)) < 0.01 else digit_c


LOG_TURNING_READINGS = 100
"""Of so many readings at the least, as a log that ends standing still may end in a hold.  Source:
common practice, no source."""
LIVE_TURNING_READINGS = 30
"""The same for a live line, where the mark goes with the next reading that moves.  Source: common
practice, no source."""
