"""Questions without a file: holds, peaks, rates, ways and legs, against a quadrature of our own.

The quadrature steps through the firing with Simpson's rule on ∫ A·exp(−E/RT) dt.  It takes E and
the law's place from the table of constants, and nothing from the code that answers.
"""

import csv
import json
import math
from importlib import resources

import numpy as np
import pytest
from click.testing import CliRunner, Result

import firing as fi
from firing.cli import cli
from firing.cones.cone_at import parse_cooling, parse_legs
from firing.cones.table import end_points
from firing.errors import FiringError

R = 8.314462618  # J/(mol K), CODATA
CONES = ("04", "1", "3", "5", "6", "7", "8", "10")


def constants() -> dict[str, dict[str, float]]:
    path = resources.files("firing") / "data" / "cone_kinetics.csv"
    rows = csv.DictReader(path.read_text(encoding="utf-8").splitlines())
    numeric = ("energy_j_per_mol", "law_60_c", "residual_60_c", "residual_150_c", "residual_15_c")
    return {row["cone"]: {key: float(row[key] or "nan") for key in numeric} for row in rows}


def simpson(values: np.ndarray, step: float) -> float:
    weights = np.ones(values.size)
    weights[1:-1:2], weights[2:-1:2] = 4.0, 2.0
    return float(weights @ values * step / 3.0)


def ramp_integral(energy: float, from_c: float, to_c: float, rate_c_per_h: float) -> float:
    """∫ exp(−E/RT) dt over a ramp, scaled by exp(E/R/1500 K) to stay near 1 [s]."""
    grid_c = np.linspace(from_c, to_c, 4001)
    values = np.exp(-energy / R * (1.0 / (grid_c + 273.15) - 1.0 / 1500.0))
    return abs(simpson(values, (to_c - from_c) / 4000.0)) / rate_c_per_h * 3600.0


def hold_by_quadrature_s(cone: str, at_c: float, rate: float, cool: tuple[float, float] | None):
    """The hold from the law pinned to the printed figure at this rate (one the chart prints)."""
    law = constants()[cone]
    energy = law["energy_j_per_mol"]
    shift_c = -law[f"residual_{rate:.0f}_c"]
    needed = ramp_integral(energy, 300.0, law["law_60_c"], 60.0)
    done = ramp_integral(energy, 300.0, at_c + shift_c, rate)
    if cool is not None:
        done += ramp_integral(energy, at_c + shift_c, cool[1] + shift_c, cool[0])
    a_second = math.exp(-energy / R * (1.0 / (at_c + shift_c + 273.15) - 1.0 / 1500.0))
    return (needed - done) / a_second


def printed_c(cone: str, rate: float) -> float:
    cells = end_points(cone, "self_supporting")
    return next(cell.end_point_c for cell in cells if cell.heating_rate_c_per_h == rate)


def firing(*arguments: str) -> Result:
    return CliRunner().invoke(cli, list(arguments))


HOLDS = [
    (cone, rate, below_c) for cone in CONES for rate in (60.0, 150.0) for below_c in (8, 20, 35)
][:40]


@pytest.mark.parametrize("unit", ["C", "F"])
def test_forty_holds_agree_with_the_quadrature(unit: str, subtests: pytest.Subtests) -> None:
    assert len(HOLDS) == 40
    for cone, rate, below_c in HOLDS:
        with subtests.test(cone=cone, rate=rate, below_c=below_c):
            at_c = printed_c(cone, rate) - below_c
            if unit == "C":
                at, pace = f"{at_c:g}C", f"{rate:g}C/h"
            else:
                at_f = round(at_c * 1.8 + 32.0)
                at_c, at, pace = (at_f - 32.0) / 1.8, f"{at_f}F", f"{rate * 1.8:g}F/h"
            done = firing("hold", cone, "--at", at, "--rate", pace, "--json")
            answer = json.loads(done.stdout)
            expected_s = hold_by_quadrature_s(cone, at_c, rate, None)
            assert answer["unit"] == unit
            assert abs(answer["hold_s"] - expected_s) <= 0.15 * expected_s + 120.0
            assert answer["low_s"] <= expected_s <= answer["high_s"]


PEAKS = [(cone, minutes) for cone in CONES for minutes in (5, 20, 45)] + [("9", 10)]


@pytest.mark.parametrize("unit", ["C", "F"])
def test_peaks_agree_with_the_quadrature(unit: str, subtests: pytest.Subtests) -> None:
    assert len(PEAKS) == 25
    for cone, minutes in PEAKS:
        with subtests.test(cone=cone, minutes=minutes):
            pace = "60C/h" if unit == "C" else "108F/h"
            done = firing("peak", cone, "--hold", f"{minutes}m", "--rate", pace, "--json")
            peak_c = json.loads(done.stdout)["peak_c"]
            # Back through the quadrature: at that peak it asks for that hold.
            held_s = hold_by_quadrature_s(cone, peak_c, 60.0, None)
            assert abs(held_s - 60.0 * minutes) <= 0.15 * 60.0 * minutes + 120.0


def test_a_stated_cooling_counts_as_the_quadrature_says() -> None:
    done = firing("hold", "6", "--at", "1205C", "--cooling", "100C/h to 1040C", "--json")
    expected_s = hold_by_quadrature_s("6", 1205.0, 60.0, (100.0, 1040.0))
    assert json.loads(done.stdout)["hold_s"] == pytest.approx(expected_s, rel=1e-3)
    said = firing("hold", "6", "--at", "1205C", "--cooling", "100C/h to 1040C").stdout
    assert "is counted" in said
    assert "left out" in firing("hold", "6", "--at", "1205C").stdout


# -- ranges -----------------------------------------------------------------------------------


def test_a_range_is_wider_than_an_independent_bootstrap_far_below() -> None:
    # Given from outside for cone 6, 60 °C below its end point: −33 and +41 %.
    answer = fi.hold_needed("6", 1222.0 - 60.0)
    assert answer.low_s <= (1.0 - 0.33) * answer.hold_s
    assert answer.high_s >= (1.0 + 0.41) * answer.hold_s


@pytest.mark.parametrize("cone", ["019", "06", "04", "1", "6", "10", "13"])
def test_a_range_widens_with_depth(cone: str) -> None:
    end_c = fi.end_point_c(cone, 60.0)
    shares = []
    for below_c in (10.0, 25.0, 40.0, 55.0):
        try:
            answer = fi.hold_needed(cone, end_c - below_c)
        except FiringError:
            break  # more than a day
        shares.append(math.log(answer.high_s / max(answer.low_s, 60.0)))
    assert len(shares) >= 2
    assert shares[1:] == sorted(shares[1:])


def test_outside_the_charts_rates_the_range_grows_and_says_so() -> None:
    inside = fi.peak_needed("6", 0.0, 150.0)
    for rate in (5.0, 300.0):
        outside = fi.peak_needed("6", 0.0, rate)
        assert outside.high_c - outside.low_c > 2.0 * (inside.high_c - inside.low_c)
        assert any("its range grows" in words for words in outside.warnings)
    assert not any("grows" in words for words in inside.warnings)


def test_a_days_hold_far_below_is_warned_of_and_wide() -> None:
    # `hold` refuses it: 92 °C below the end point of cone 6.
    up_s = 1110.0 * 60.0
    verdict = fi.cone_reached(np.array([0.0, up_s, up_s + 86400.0]), np.array([20.0, 1130, 1130]))
    assert any("supports nothing more than 80 °C below" in words for words in verdict.warnings)
    assert any("144 °F below" in words for words in verdict.warnings_in("F"))
    ramp = fi.cone_reached(np.array([0.0, 1202.0 * 60.0]), np.array([20.0, 1222.0]))
    assert verdict.high is not None
    assert verdict.low is not None
    assert ramp.high is not None
    assert ramp.low is not None
    assert verdict.high - verdict.low > 3.0 * (ramp.high - ramp.low)
    assert ramp.warnings == ()


def test_a_thermocouple_past_its_class_counts_at_least_its_last_figure() -> None:
    from firing.thermocouple.tolerance import least_tolerance_c, tolerance_c

    # IEC 60584-1, type K class 2: 0.0075·T up to 1200 °C, so ±9 °C where it ends.
    before, after = (least_tolerance_c("K", "2", t) for t in (1199.0, 1201.0))
    assert before.value_c == pytest.approx(0.0075 * 1199.0)
    assert (after.value_c, after.at_least, after.ends_c) == (9.0, True, 1200.0)
    assert tolerance_c("K", "2", 1201.0).value_c is None
    course = np.array([0.0, 1202.0 * 60.0]), np.array([20.0, 1222.0])
    said = fi.cone_reached(*course, 9.0, at_least=True).notes
    assert any("the thermocouple at least ±9 °C" in words for words in said)


def test_a_witnessed_offset_leads() -> None:
    course = np.array([0.0, 1202.0 * 60.0]), np.array([20.0, 1222.0])
    notes = fi.cone_reached(*course, offset_c=8.0).notes
    assert notes[0] == (
        "Witness cones have shown the thermocouple to read 8 °C too low; that is counted."
    )
    assert not any("unknown" in words for words in notes)
    assert "14.4 °F too high" in fi.cone_reached(*course, offset_c=-8.0).notes_in("F")[0]


# -- the unit asked, and what may have been meant ---------------------------------------------


def test_the_answer_speaks_the_unit_asked() -> None:
    said = firing("hold", "6", "--at", "2190F").stdout
    assert said.startswith("Cone 6 at 2190 °F after 108 °F/h: hold ")
    assert "°C" not in said
    assert "°C" not in firing("peak", "6", "--hold", "15m", "--rate", "108F/h").stdout
    assert "°C" not in firing("ways", "6", "--at-most", "2190F").stdout
    assert "°C" not in firing("cone-at", "108F/h to 2190F hold 20m").stdout
    assert "°F" not in firing("hold", "6", "--at", "1200").stdout


@pytest.mark.parametrize(
    ("arguments", "meant"),
    [
        (("hold", "6", "--at", "2190"), "did you mean 2190F (1199 °C)?"),
        (("hold", "6", "--at", "1200F"), "did you mean 1200C (2192 °F)?"),
        (("hold", "4", "--at", "1060"), "did you mean cone 04, which ends at 1063 °C?"),
        (("hold", "04", "--at", "1165"), "did you mean cone 4, which ends at 1162 °C?"),
        (("hold", "4", "--at", "1940F"), "did you mean cone 04, which ends at 1945 °F?"),
        (("hold", "6", "--at", "300"), "500 to 1400 °C that cones are fired at"),
        (("ways", "6", "--at-most", "2190"), "did you mean 2190F (1199 °C)?"),
        (("cone-at", "60 to 2190 hold 20m"), "did you mean 2190F (1199 °C)?"),
    ],
)
def test_a_slip_is_refused_with_what_was_meant(arguments: tuple[str, ...], meant: str) -> None:
    done = firing(*arguments)
    assert isinstance(done.exception, FiringError)
    assert meant in str(done.exception)


# -- legs -------------------------------------------------------------------------------------


def test_a_ramp_of_the_chart_is_its_cone() -> None:
    for cone, rate in (("6", 60.0), ("04", 150.0), ("10", 15.0)):
        answer = fi.cone_at(f"{rate:g}C/h to {printed_c(cone, rate):g}C")
        assert answer.cones.reached == cone
        assert not answer.cooling_counted
    assert fi.cone_at("108F/h to 2232F").cones.reached == "6"


def test_what_is_missing_for_the_next_cone_brings_it_down() -> None:
    asked = fi.cone_at("108F/h to 2190F hold 20m")
    assert asked.next is not None
    assert asked.next.hold_s is not None
    assert asked.next.hotter_c is not None
    longer = fi.cone_at(f"108F/h to 2190F hold {20 * 60 + asked.next.hold_s + 1:.0f}s")
    hotter = fi.cone_at(f"108F/h to {2190 + 1.8 * (asked.next.hotter_c + 0.02):.2f}F hold 20m")
    assert (asked.cones.reached, asked.next.cone) == ("5.5", "6")
    assert longer.cones.reached == hotter.cones.reached == "6"
    # The quadrature's hold for cone 6 there, less the 20 minutes.
    expected_s = hold_by_quadrature_s("6", (2190.0 - 32.0) / 1.8, 60.0, None) - 1200.0
    assert asked.next.hold_s == pytest.approx(expected_s, rel=0.01)


def test_one_degree_is_worth_what_the_quadrature_says() -> None:
    at_c = 1200.0
    answer = fi.cone_at("60C/h to 1200C hold 35m")
    less_s = hold_by_quadrature_s("6", at_c, 60.0, None) - hold_by_quadrature_s(
        "6", at_c + 1.0, 60.0, None
    )
    assert answer.worth.degree_s == pytest.approx(less_s, rel=0.1)


def test_cooling_legs_count() -> None:
    plain = fi.cone_at("60C/h to 1200C hold 20m")
    cooled = fi.cone_at("60C/h to 1200C hold 20m, 50C/h to 1000C")
    assert cooled.cooling_counted
    assert cooled.cones.by_cone["6"].heatwork > plain.cones.by_cone["6"].heatwork
    # 50 down after 60 up adds 60/50 of what the ramp alone had, by algebra.
    ramp = fi.cone_at("60C/h to 1200C").cones.by_cone["6"].heatwork
    added = cooled.cones.by_cone["6"].heatwork - plain.cones.by_cone["6"].heatwork
    assert added == pytest.approx(ramp * 60.0 / 50.0, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "targets_c", "unit"),
    [
        ("60 to 1200 hold 20m", [1200.0], "C"),
        ("108F/h to 2192 hold 20m", [1200.0], "F"),
        ("100C/h to 1100C then 60C/h to 1200C and hold for 20 min", [1100.0, 1200.0], "C"),
        ("100,5C/h to 1100C, 60C/h to 1200C, soak 1h", [1100.0, 1200.0], "C"),
    ],
)
def test_legs_as_people_write_them(text: str, targets_c: list[float], unit: str) -> None:
    legs, found = parse_legs(text)
    assert found == unit
    assert [leg.target_c for leg in legs] == pytest.approx(targets_c)
    assert legs[-1].hold_s in (0.0, 1200.0, 3600.0)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1200", "has no rate"),
        ("100C/h 600C", "no leg"),
        ("hold 20m", "no leg"),
        ("60 to 1200 hold 20", 'write "20m" or "20h"'),
        ("fast to 1200", "is not a rate"),
        ("60 to 1200, 50 to 1200", "goes nowhere"),
        (",", "1 to 30 legs"),
        ("", "1 to 30 legs"),
        ("0 to 1200", "goes nowhere"),
        ("60 to 300", "500 to 1400"),
    ],
)
def test_what_is_no_leg_is_refused(text: str, said: str) -> None:
    with pytest.raises(FiringError, match=said):
        fi.cone_at(text)


def test_a_cooling_only_cools() -> None:
    assert [leg.to_c for leg in parse_cooling("100 to 1040, 50 to 900")] == [1040.0, 900.0]
    assert [leg.to_c for leg in parse_cooling("60C/h to 300C")] == [300.0]
    for text in ("50 to 900, 50 to 1000", "50 to 900 hold 1h"):
        with pytest.raises(FiringError, match="is no cooling"):
            parse_cooling(text)


# -- ways -------------------------------------------------------------------------------------


def test_the_ways_to_a_cone_are_holds_of_the_quadrature() -> None:
    found = fi.ways_to_cone("6", at_most_c=1205.0, rates_c_per_h=(60.0, 150.0))
    assert found.ways[0].peak_c == 1205.0
    assert max(way.peak_c for way in found.ways) <= 1205.0
    for way in found.ways:
        expected_s = hold_by_quadrature_s("6", way.peak_c, way.rate_c_per_h, None)
        assert way.hold_s == pytest.approx(expected_s, rel=0.01, abs=30.0)
        assert way.low_s <= way.hold_s <= way.high_s
    holds = [hold_s for _, hold_s in found.curve]
    assert holds == sorted(holds)
    assert found.curve[0][0] == 1205.0


def test_the_rate_that_fits_a_peak_and_a_hold() -> None:
    found = fi.rate_needed("6", at_c=1205.0, hold_s=1200.0)
    assert found.low_c_per_h < found.rate_c_per_h < found.high_c_per_h
    assert fi.hold_needed("6", 1205.0, found.rate_c_per_h).hold_s == pytest.approx(1200.0, abs=1.0)
    with pytest.raises(FiringError, match="needs more heat: go hotter"):
        fi.rate_needed("6", at_c=1100.0)
    with pytest.raises(FiringError, match="is down already"):
        fi.rate_needed("6", at_c=1300.0)


def test_ways_on_the_page_and_as_json(tmp_path: "pytest.TempPathFactory") -> None:
    page = f"{tmp_path}/ways.html"
    done = firing("ways", "6", "--at-most", "2190F", "--html", page, "--json")
    document = json.loads(done.stdout)
    assert {"cone", "unit", "at_most_c", "ways", "curve", "cooling", "warnings"} <= set(document)
    assert document["ways"][0]["peak_c"] == pytest.approx((2190.0 - 32.0) / 1.8, abs=0.01)
    with open(page, encoding="utf-8") as written:
        text = written.read()
    assert "2190" in text
    assert "°C" not in text


# -- other types, and Seger cones -------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "chart", "rate"),
    [
        ("large", "large", 60.0),
        ("large", "large", 150.0),
        ("small", "small", 300.0),
        ("iron-free", "iron_free_self_supporting", 15.0),
        ("iron-free large", "iron_free_large", 150.0),
    ],
)
def test_other_types_meet_their_printed_figures(kind: str, chart: str, rate: float) -> None:
    cells = [c for c in end_points(type=chart) if c.quality == "good"]
    checked = [c for c in cells if c.heating_rate_c_per_h == rate]
    assert checked
    for cell in checked:
        peak = fi.peak_needed(cell.cone, 0.0, rate, kind=kind)
        assert peak.peak_c == pytest.approx(cell.end_point_c, abs=1e-6)
        course = np.array([0.0, (cell.end_point_c + 0.01 - 20.0) / rate * 3600.0])
        reached = fi.cone_reached(course, np.array([20.0, cell.end_point_c + 0.01]), kind=kind)
        assert reached.by_cone[cell.cone].heatwork >= 1.0 - 1e-3


def test_a_small_cone_off_its_only_rate_is_known_worse() -> None:
    small = fi.peak_needed("6", 0.0, 60.0, kind="small")
    own = fi.peak_needed("6", 0.0, 60.0)
    assert small.high_c - small.low_c > 2.0 * (own.high_c - own.low_c)
    assert any("prints this type at 300 °C/h only" in words for words in small.warnings)
    bar = fi.peak_needed("6", 0.0, 60.0, kind="bar")
    assert bar.peak_c == pytest.approx(small.peak_c)
    assert bar.high_c > small.high_c
    assert any("common practice, no source" in words for words in bar.warnings)


def test_a_type_the_chart_does_not_print_is_refused() -> None:
    with pytest.raises(FiringError, match="no figures for cone 022 as a large cone"):
        fi.peak_needed("022", 0.0, kind="large")
    with pytest.raises(FiringError, match="no type of cone"):
        fi.peak_needed("6", 0.0, kind="huge")


def test_seger_cones_are_looked_up_and_equated_with_nothing() -> None:
    # JIS R 8101 nominal 1200 °C; the later German series 1240 °C.
    answer = json.loads(firing("cone", "SK 6a", "--json").stdout)
    assert [row["end_point_c"] for row in answer["rows"]] == [1200.0, 1240.0]
    assert json.loads(firing("cone", "seger 7", "--json").stdout)["cone"] == "7"
    assert "no other maker's number" in firing("cone", "SK 6").stdout
    assert "no published series" in str(firing("cone", "SK 99").exception)
    assert isinstance(firing("hold", "SK 6a", "--at", "1200").exception, FiringError)


def test_answers_show_themselves_on_a_line() -> None:
    assert repr(fi.cone_at("108F/h to 2232F hold 5m")).startswith(
        "<ConeAt 108 °F/h to 2232 °F, hold 5 min: cone 6"
    )
    assert repr(fi.ways_to_cone("6")).startswith("<WaysToCone 6: 1222 °C and 0 min; ")


def test_the_other_series_is_asked_of_where_a_plan_is_far_off() -> None:
    plan = fi.Schedule("bisque", (fi.Segment(1060.0, 60.0),), purpose="bisque", cone="4")
    told = [warning.message for warning in fi.forecast(plan).warnings]
    assert any("did you mean cone 04?" in words for words in told)
    right = fi.Schedule("bisque", (fi.Segment(1060.0, 60.0),), purpose="bisque", cone="04")
    assert not any("did you mean" in w.message for w in fi.forecast(right).warnings)


@pytest.mark.parametrize("change", ["hold", "peak", "rate"])
def test_a_plan_is_brought_to_its_cone(change: str) -> None:
    plan = fi.Schedule(
        "mugs", (fi.Segment(1100.0, 150.0), fi.Segment(1195.0, 80.0, hold_s=600.0)), cone="6"
    )
    found = fi.plan_for_cone(plan, change)  # type: ignore[arg-type]  # one of the three
    verdict = fi.forecast(found.schedule).cones
    assert verdict.reached == "6"
    assert 1.0 - 1e-6 <= verdict.by_cone["6"].heatwork <= 1.15  # rounded towards more heat-work
    assert found.low < found.value < found.high
    with pytest.raises(FiringError, match="no cone is named"):
        fi.plan_for_cone(fi.Schedule("mugs", (fi.Segment(1195.0, 80.0),)), "hold")
