"""The kiln model against figures others have given: plausibility, not proof.

Every material and model default was set from its cited row before anything here was compared, and
none was moved afterwards.  Two choices about the other model were made after a first comparison: it
names a leak but prints no figure, so the example kiln's 0.8 W/K (0.22 of what the walls conduct,
``leak-default``) stands for it instead of none; and its load is taken to have no water.  Where the
model misses, the test says by how much.  The figures of ``kiln-model-trial`` come from that other
model of the same kind (180 l, 75 mm of insulating brick 1260, 9.5 kW, 35 kg of ware and 28 kg of
furniture, with a leak).
"""

from dataclasses import replace

import numpy as np
import pytest
from kilns import BISQUE, BISQUED, GLAZE, HOUR, RAW, full_power, trial_kiln
from published.ledger import compare

from firing.forecast.result import last_fall_s
from firing.heat.balance import Exchange, at_rest
from firing.heat.properties import wall_material
from firing.kiln.controller_model import Precision
from firing.kiln.description import KilnDescription, WallLayer
from firing.kiln.simulation import Simulation, fastest_rates, highest_hold, simulate
from firing.schedule.schedule import Schedule, Segment
from firing.ware.load import Load

BRICK = wall_material("insulating brick 1260")
AROUND_C = 10.0
# Rates over 20 °C want steps shorter than that.
FINE = Precision(tolerance_c=0.05, longest_step_s=200.0)


def rate_c_per_h(run: Simulation, at_c: float, *, cooling: bool = False) -> float:
    """Size of the thermocouple's rate over the 20 °C around a temperature."""
    top = int(np.argmax(run.chamber_c))
    part = slice(top, None) if cooling else slice(0, top + 1)
    sign = -1.0 if cooling else 1.0
    time_s, course = run.time_s[part], sign * run.chamber_c[part]
    ends = [float(np.interp(sign * at_c + d, course, time_s)) for d in (-AROUND_C, AROUND_C)]
    return 2.0 * AROUND_C / (ends[1] - ends[0]) * HOUR


def cooling_h(run: Simulation, to_c: float) -> float:
    crossed = last_fall_s(run.time_s, run.chamber_c, to_c)
    assert crossed is not None
    return (crossed - run.program_s) / HOUR


class TestTheTrialModel:
    """Source ``kiln-model-trial``, with ``cooling-default`` and ``full-power-default``."""

    @pytest.mark.parametrize(("inside_c", "printed_kw"), [(900.0, 3.75), (1240.0, 5.85)])
    def test_steady_loss(self, inside_c: float, printed_kw: float) -> None:
        # 3.89 and 5.89 kW here.
        kiln = trial_kiln()
        rest = at_rest(
            kiln.slab(), 500.0, inside=Exchange(inside_c, 1e4), outside=Exchange(20.0, 10.0)
        )
        loss_kw = 0.001 * (rest.outward_w + kiln.air_w_per_k * (inside_c - 20.0))
        compare(
            f"steady loss at {inside_c:.0f} °C [kW]",
            "kiln-model-trial",
            printed=printed_kw,
            ours=loss_kw,
            within=0.05,
        )

    def test_full_power_to_1240(self) -> None:
        run = simulate(trial_kiln(), BISQUED, full_power(1240.0))
        compare(
            "full power to 1240 °C [h]",
            "kiln-model-trial",
            printed=5.3,
            ours=run.program_s / HOUR,
            within=0.05,
        )

    @pytest.mark.parametrize(
        ("at_c", "printed"), [(200.0, 295.0), (600.0, 261.0), (1000.0, 168.0), (1200.0, 123.0)]
    )
    def test_fastest_rates(self, at_c: float, printed: float) -> None:
        # 284, 250, 162 and 118 °C/h here.
        rates = dict(fastest_rates(trial_kiln(), BISQUED))
        compare(
            f"fastest rate at {at_c:.0f} °C [°C/h]",
            "full-power-default",
            printed=printed,
            ours=rates[at_c],
            within=0.07,
        )

    @pytest.mark.parametrize(
        ("at_c", "printed"),
        [(1200.0, 247.0), (900.0, 137.0), (600.0, 82.0), (300.0, 36.0), (100.0, 9.0)],
    )
    def test_natural_cooling(self, at_c: float, printed: float) -> None:
        # 248, 138, 85, 38 and 10 °C/h here.
        run = simulate(trial_kiln(), BISQUED, full_power(1240.0), precision=FINE)
        compare(
            f"natural cooling at {at_c:.0f} °C [°C/h]",
            "cooling-default",
            printed=printed,
            ours=rate_c_per_h(run, at_c, cooling=True),
            within=0.16,
        )

    def test_denser_brick_stalls(self) -> None:
        # Printed: stalls at 1180 °C.  Here at 1211 °C, and 1218 °C could be held: 3 % more.
        dense = trial_kiln(wall=(WallLayer(wall_material("insulating brick 1400"), 0.075),))
        run = simulate(dense, BISQUED, full_power(1240.0))
        assert run.stall is not None
        compare(
            "denser brick stalls at [°C]",
            "kiln-model-trial",
            printed=1180.0,
            ours=run.stall.at_c,
            within=40.0 / 1180.0,
        )
        assert highest_hold(dense).temperature_c < 1240.0

    def test_energy(self) -> None:
        # Printed: bisque to 900 °C 37 to 41 kWh, glaze to 1240 °C 56 kWh; programs not printed.
        # Here 37.9 kWh with bone-dry ware (35.0 without its water), and 55.3 kWh.
        bisque = simulate(trial_kiln(), RAW, BISQUE).energy_kwh
        assert 0.95 * 37.0 <= bisque <= 1.05 * 41.0
        compare(
            "glaze to 1240 °C [kWh]",
            "kiln-model-trial",
            printed=56.0,
            ours=simulate(trial_kiln(), BISQUED, GLAZE).energy_kwh,
            within=0.05,
        )

    def test_hours_of_cooling(self) -> None:
        # Printed: to 100 °C 18.4 h (bisque) and 20.5 h (glaze); to 60 °C six hours more; a vent
        # cuts the 18.4 to 15.3 h.  Here 17.1 and 19.3 h, 5.4 h more, and 14.4 h.
        bisque = simulate(trial_kiln(), BISQUED, BISQUE)
        glaze = simulate(trial_kiln(), BISQUED, GLAZE)
        for what, run, printed in (("bisque", bisque, 18.4), ("glaze", glaze, 20.5)):
            compare(
                f"cooling to 100 °C, {what} [h]",
                "kiln-model-trial",
                printed=printed,
                ours=cooling_h(run, 100.0),
                within=0.1,
            )
        more_h = (bisque.total_s - bisque.program_s) / HOUR - cooling_h(bisque, 100.0)
        assert more_h == pytest.approx(6.0, rel=0.15)
        vented = simulate(trial_kiln(vent=True), BISQUED, BISQUE)
        assert cooling_h(vented, 100.0) == pytest.approx(15.3, rel=0.1)


HEAVIER = replace(
    BISQUED,
    pieces=(replace(BISQUED.pieces[0], count=75),),
    furniture_kg=42.0,
)
MORE_CONDUCTING = replace(
    BRICK,
    conductivity=replace(
        BRICK.conductivity, points=tuple((t, 1.2 * k) for t, k in BRICK.conductivity.points)
    ),
)


class TestWhyAFiringRanLong:
    """The six causes of ``kiln-model-trial``: change of the rate at full power, and of cooling.

    Right in sign, and within half its size where it is not 0; within 2 % where it is.  The vent's
    row is no independent check: its default was sized on that model (``vent-default``).
    """

    @pytest.mark.parametrize(
        ("kiln", "load", "rising", "cooling"),
        [
            pytest.param(
                trial_kiln(power_w=9500.0 / 1.1), BISQUED, (-9, -13, -21), 0, id="elements worn"
            ),
            pytest.param(
                trial_kiln(actual_volts=228.0), BISQUED, (-10, -14, -23), 0, id="low voltage"
            ),
            pytest.param(
                trial_kiln(power_w=9500.0 * 2 / 3), BISQUED, (-35, -47, -79), 0, id="a bank dead"
            ),
            pytest.param(
                trial_kiln(wall=(WallLayer(MORE_CONDUCTING, 0.075),)),
                BISQUED,
                (-3, -8, -24),
                16,
                id="wall conducts more",
            ),
            pytest.param(trial_kiln(vent=True), BISQUED, (-3, -8, -21), 18, id="vent left on"),
            pytest.param(trial_kiln(), HEAVIER, (-25, -26, -25), -26, id="load half as much again"),
        ],
    )
    def test_signature(
        self, kiln: KilnDescription, load: Load, rising: tuple[int, int, int], cooling: int
    ) -> None:
        # A dead bank does not reach 1240 °C; cooling is compared from 1165 °C in all cases.
        usual = simulate(trial_kiln(), BISQUED, full_power(1165.0), precision=FINE)
        changed = simulate(kiln, load, full_power(1165.0), precision=FINE)
        for at_c, printed in zip((300.0, 700.0, 1150.0), rising, strict=True):
            change = 100.0 * (rate_c_per_h(changed, at_c) / rate_c_per_h(usual, at_c) - 1.0)
            assert change == pytest.approx(printed, abs=0.5 * abs(printed)), at_c
        pair = [rate_c_per_h(run, 600.0, cooling=True) for run in (changed, usual)]
        change = 100.0 * (pair[0] / pair[1] - 1.0)
        assert change == pytest.approx(cooling, abs=0.5 * abs(cooling) if cooling else 2.0)


class TestOneOwnersMeter:
    """A metered 74 l kiln in 76 mm of brick (``owner-meter``): anecdotal, load and power unknown.

    Within 25 %.  The typical load and the default leak are taken; power is no matter as long as the
    program is followed.
    """

    kiln = KilnDescription(
        name="74 l",
        power_w=6000.0,
        rated_volts=240.0,
        volume_l=74.0,
        shape="round",
        wall=(WallLayer(BRICK, 0.076),),
    )

    def test_cone_06_in_10_hours(self) -> None:
        # 26 to 29 kWh; 23.9 here.  998 °C is cone 06 at 60 °C/h (``cone-chart-1996``).
        plan = Schedule("bisque", (Segment(600.0, 90.0), Segment(998.0, 110.0)), purpose="bisque")
        run = simulate(self.kiln, None, plan)
        assert run.program_s / HOUR == pytest.approx(10.0, abs=0.3)
        compare(
            "74 l kiln, metered, to cone 06 [kWh]",
            "owner-meter",
            printed=27.5,
            ours=run.energy_kwh,
            within=0.25,
        )

    def test_cone_9(self) -> None:
        # 34 to 36 kWh; 31.6 here.  1260 °C is cone 9 at 60 °C/h (``cone-chart-1996``).
        plan = Schedule(
            "glaze",
            (Segment(600.0, 150.0), Segment(1160.0, 150.0), Segment(1260.0, 60.0)),
            purpose="glaze",
        )
        run = simulate(self.kiln, None, plan)
        assert run.reaches_peak
        compare(
            "74 l kiln, metered, to cone 9 [kWh]",
            "owner-meter",
            printed=35.0,
            ours=run.energy_kwh,
            within=0.25,
        )


@pytest.mark.parametrize("share", [0.2, 0.3, 0.4])
def test_a_bisque_day(share: float) -> None:
    # About 24 h from closing to opening at 100 °C (``bisque-day-practice``), with a leak of 0.2 to
    # 0.4 of what the walls conduct (``leak-default``).  Here 27, 25 and 24 h.
    walls = trial_kiln().wall_w_per_k
    run = simulate(trial_kiln(leak_w_per_k=share * walls), RAW, BISQUE)
    opened = last_fall_s(run.time_s, run.chamber_c, 100.0)
    assert opened is not None
    compare(
        f"closing to opening at 100 °C, leak {share:g} of the walls [h]",
        "bisque-day-practice",
        printed=24.0,
        ours=opened / HOUR,
        within=0.15,
    )


def test_240_volt_elements_on_208() -> None:
    # P = V²/R (``power-voltage``): 75 % of the power, not the 87 % of a constant current.
    low = trial_kiln(actual_volts=208.0)
    compare(
        "power of 240 V elements on 208 V",
        "power-voltage",
        printed=0.751,
        ours=low.available_w / trial_kiln().available_w,
        within=0.0015,
    )


def test_a_home_built_kiln_of_1_kilowatt() -> None:
    # Yemi, Kelvin and Etaribo (``yemi-2022``): 1 kW, 76 l, 987 °C in 10 h.  Its walls are not
    # printed.  Our steady loss at 987 °C through 76 mm of this brick is already above 1 kW, so it
    # must have been better insulated: a miss the model explains, not one it hides.
    kiln = replace(TestOneOwnersMeter.kiln, power_w=1000.0, volume_l=76.0)
    assert highest_hold(kiln).temperature_c < 987.0
