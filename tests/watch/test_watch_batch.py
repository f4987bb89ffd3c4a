"""The watch judged on firings that set none of its thresholds: a sub-sample of hundreds."""

import math

import numpy as np
import pytest
from watch.batchfirings import DANGERS, HOUR_S, judged
from watch.judging import followed

FIRST = 700
SHOWS_WHATEVER = ("cut in a ramp", "outage", "shorted", "reversed", "pulled out", "stuck")


@pytest.mark.soak
def test_healthy_firings_are_left_alone_and_their_hours_told_right() -> None:
    for one in judged({"healthy": 5}, FIRST):
        made = one.made
        cold_s = float(made.time_s[np.flatnonzero(made.true_c > 60.0)[-1]])
        half_s = 0.5 * (made.end_s + cold_s)
        told, (heating, cooling) = followed(one, cold_s, (0.75 * made.heating_end_s, half_s))
        raised = [(n.id, n.at_s / HOUR_S) for n in told if n.severity == "act"]
        assert raised == [], one.case
        assert heating.program_end_low_s is not None
        assert heating.program_end_low_s <= made.end_s
        assert heating.program_end_high_s is None or heating.program_end_high_s >= made.end_s
        assert cooling.unload_s is not None
        assert cooling.unload_s - half_s == pytest.approx(cold_s - half_s, rel=0.15)


@pytest.mark.soak
@pytest.mark.parametrize("kind", SHOWS_WHATEVER)
def test_a_danger_is_told_in_five_minutes_or_three_readings(kind: str) -> None:
    """But for ±3 °C on a relay's swing, where a cut takes a quarter of an hour to show."""
    for one in judged({kind: 2}, FIRST):
        if one.case.noise_c >= 3.0 and one.case.wanted.controller.dead_band_c is not None:
            continue
        told, _ = followed(one, one.danger_s + 1800.0)
        right = [n for n in told if n.id in DANGERS[kind] and n.state == "raised"]
        before = [n.id for n in told if n.severity == "act" and n.at_s < one.danger_s]
        assert before == [], one.case
        assert right, one.case
        shows_s = one.danger_s if math.isinf(one.shows_s) else max(one.danger_s, one.shows_s)
        assert right[0].at_s - shows_s <= max(300.0, 3.0 * one.case.interval_s) + 1.0, one.case
