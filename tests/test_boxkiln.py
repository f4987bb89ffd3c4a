"""Sanity of the second instrument: a plausible kiln, whose faults do what they are said to do."""

import numpy as np
import pytest
from boxkiln import BOX_BISQUE, BOX_GLAZE, BoxController, BoxFaults, fire_box
from logmaker import Firing


def gained_j(firing: Firing) -> float:
    return float(np.sum((firing.power_w[1:] - firing.loss_w[1:]) * np.diff(firing.time_s)))


@pytest.mark.parametrize("faults", [BoxFaults(plug_out=True, ware_factor=2.0)])
def test_heat_is_neither_lost_nor_made(faults: BoxFaults) -> None:
    firing = fire_box(BOX_GLAZE, faults=faults)
    assert gained_j(firing) == pytest.approx(firing.stored_j, abs=1e4)


def test_steam_takes_its_latent_heat() -> None:
    # algebra: 4 kg at 2.4 MJ/kg
    firing = fire_box(BOX_BISQUE, faults=BoxFaults(water_kg=4.0))
    assert gained_j(firing) - firing.stored_j == pytest.approx(4.0 * 2.4e6, rel=0.02)


@pytest.mark.soak
@pytest.mark.parametrize(("plan", "program_h"), [(BOX_BISQUE, 11.80), (BOX_GLAZE, 12.72)])
@pytest.mark.parametrize("waits", [True, False])
def test_a_healthy_kiln_keeps_its_time(
    plan: tuple[tuple[float, float, float], ...], program_h: float, waits: bool
) -> None:
    firing = fire_box(plan, controller=BoxController(waits=waits))
    assert firing.program_end_s is not None
    assert 0.0 <= firing.program_end_s / 3600.0 - program_h < 0.35
    assert firing.reading_c.max() == pytest.approx(max(t for _, t, _ in plan), abs=5.0)


@pytest.mark.soak
@pytest.mark.parametrize(
    "faults",
    [
        BoxFaults(power_factor=0.72),
        BoxFaults(dead_banks=1, dead_from_c=800.0),
        BoxFaults(vent_on=True),
        BoxFaults(plug_out=True),
        BoxFaults(ware_factor=2.0, furniture_factor=1.5),
        BoxFaults(dip_volts=0.85, dip_length_s=4 * 3600.0, dip_from_s=6 * 3600.0),
    ],
)
def test_what_weakens_or_burdens_a_kiln_makes_it_late(faults: BoxFaults) -> None:
    ends = [fire_box(BOX_GLAZE, faults=f).program_end_s for f in (BoxFaults(), faults)]
    assert ends[0] is not None
    assert ends[1] is not None
    assert ends[1] - ends[0] > 900.0
