"""Heat-work of traces against adaptive quadrature, and what must hold for any trace."""

import math
from itertools import pairwise, product

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from firing.cones.heatwork import heatwork, heatwork_progress, time_down_s
from firing.cones.kinetics import GAS_CONSTANT_J_PER_MOL_K, cone_law, laws
from firing.cones.occupation import occupy
from firing.cones.table import CONES
from firing.errors import FiringError

FloatArray = npt.NDArray[np.float64]
HOUR_S = 3600.0
BAR = 1e-6


def by_quadrature(
    cone: str, time_s: FloatArray, temperature_c: FloatArray, shift_c: float = 0.0
) -> float:
    """∫ A·exp(−E/(R·T)) dt, segment by segment, by scipy's adaptive rule from the hot end."""
    law = cone_law(cone)

    def per_second(temperature_k: float) -> float:
        # A shift may pass absolute zero, where nothing happens any more.
        energy = law.energy_j_per_mol / (GAS_CONSTANT_J_PER_MOL_K * max(temperature_k, 1.0))
        return math.exp(law.ln_a_per_s - energy)

    total = 0.0
    for index, duration_s in enumerate(np.diff(time_s)):
        ends_k = temperature_c[index : index + 2] + shift_c + 273.15
        hot_k, span_k = float(ends_k.max()), float(np.ptp(ends_k))
        if span_k == 0.0:
            total += per_second(hot_k) * duration_s
            continue
        cuts = [0.0, *(cut for cut in (10.0, 50.0, 200.0) if cut < span_k), span_k]
        mean = sum(
            quad(lambda below, hot=hot_k: per_second(hot - below), *ends, epsabs=0, epsrel=1e-10)[0]
            for ends in pairwise(cuts)
        )
        total += mean / span_k * duration_s
    return total


def by_gauss(cone: str, time_s: FloatArray, temperature_c: FloatArray) -> float:
    """The same integral by Gauss-Legendre on ten nodes a segment, for traces of small steps."""
    law = cone_law(cone)
    nodes, weights = np.polynomial.legendre.leggauss(10)
    mid_k = (temperature_c[1:] + temperature_c[:-1]) / 2 + 273.15
    half_k = np.diff(temperature_c) / 2
    mean = np.zeros(mid_k.size)
    for node, weight in zip(nodes, weights, strict=True):
        energy = law.energy_j_per_mol / (GAS_CONSTANT_J_PER_MOL_K * (mid_k + node * half_k))
        mean += weight / 2 * np.exp(law.ln_a_per_s - energy)
    return float(mean @ np.diff(time_s))


SPARSE = (
    np.array([0.0, 7.0, 12.0, 14.0, 14.4, 20.0, 30.0]) * HOUR_S,
    np.array([20.0, 600.0, 1100.0, 1222.0, 1222.0, 900.0, 100.0]),
)


def dense(noise_c: float, step_s: float = 60.0) -> tuple[FloatArray, FloatArray]:
    """A firing of 25 h with a hold and a controlled cooling, one sample a step."""
    time_s = step_s * np.arange(int(25 * HOUR_S / step_s), dtype=np.float64)
    hours, marks = [0, 4, 14, 15, 25], [20, 400, 1240, 1240, 300]
    noise: FloatArray = np.random.default_rng(5).standard_normal(time_s.size)
    temperature_c: FloatArray = np.interp(time_s / HOUR_S, hours, marks) + noise_c * noise
    return time_s, temperature_c


def test_sparse_trace_is_exact() -> None:
    # Of cones that end more than 150 °C above the trace only a thousandth is promised.
    within_reach = [cone for cone in CONES if cone_law(cone).law_60_c < 1222 + 150]
    exact = {cone: by_quadrature(cone, *SPARSE) for cone in within_reach}
    assert heatwork(*SPARSE, within_reach) == pytest.approx(exact, rel=BAR)


def test_dense_trace_is_exact(subtests: pytest.Subtests) -> None:
    for noise_c, cone in product([0.0, 0.3, 1.0, 5.0], ["014", "010", "6", "14"]):
        with subtests.test(f"cone {cone}, {noise_c} K"):
            trace = dense(noise_c)
            expected = by_quadrature(cone, *trace)
            assert heatwork(*trace)[cone] == pytest.approx(expected, rel=BAR)
            assert heatwork_progress(*trace, cone)[-1] == pytest.approx(expected, rel=BAR)


def uneven(time_s: FloatArray) -> FloatArray:
    """Move every sample by up to 0.4 of a step."""
    moved: FloatArray = np.random.default_rng(6).uniform(-0.4, 0.4, time_s.size)
    return time_s + moved * float(time_s[1] - time_s[0])


def test_gauss_agrees_with_adaptive_quadrature() -> None:
    for noise_c in (0.3, 3.0):
        trace = dense(noise_c)
        for cone in ("010", "6"):
            assert by_gauss(cone, *trace) == pytest.approx(by_quadrature(cone, *trace), rel=1e-9)


# Each row of samples is summed in the way that its spread asks for; these noises lead through all
# of them, and through traces that need several.
def test_a_trace_of_many_samples_is_exact(subtests: pytest.Subtests) -> None:
    for whole_degrees, noise_c in product([False, True], [0.0, 0.3, 0.45, 1.0, 1.7, 3.0, 10.0]):
        with subtests.test(f"{noise_c} K, whole degrees {whole_degrees}"):
            time_s, temperature_c = dense(noise_c, 1.3)
            time_s = uneven(time_s)
            if whole_degrees:
                np.round(temperature_c, out=temperature_c)
            x = heatwork(time_s, temperature_c)
            for cone in CONES[::3]:
                expected = by_gauss(cone, time_s, temperature_c)
                assert x[cone] == pytest.approx(expected, rel=BAR), cone


def test_moments_are_those_of_a_straight_line_between_the_samples() -> None:
    # A skewed trace, so that the odd moments count.
    noise: FloatArray = np.random.default_rng(10).uniform(0.0, 1.0, 32 * 100 + 1)
    temperature_c = 1100.0 + 3.0 * noise**3
    time_s = uneven(np.arange(temperature_c.size, dtype=np.float64))
    occupation = occupy(time_s, temperature_c, list(laws().values()))
    away_k = occupation.centre_c - 1100.0
    nodes, weights = np.polynomial.legendre.leggauss(4)  # exact up to the seventh power
    mid_k = (temperature_c[1:] + temperature_c[:-1]) / 2 - 1100.0
    half_k = np.diff(temperature_c) / 2
    assert len(occupation.moments) == 6
    for power in range(6):
        ours = sum(
            math.comb(power, order) * away_k ** (power - order) @ occupation.moments[order]
            for order in range(power + 1)
        )
        mean = [
            weight / 2 * (mid_k + node * half_k) ** power
            for node, weight in zip(nodes, weights, strict=True)
        ]
        assert ours == pytest.approx(np.sum(mean, axis=0) @ np.diff(time_s), rel=1e-9)


@pytest.mark.parametrize("noise_c", [0.1, 0.8])
def test_bursts_of_noise_are_exact(noise_c: float) -> None:
    time_s, temperature_c = dense(noise_c, 1.3)
    burst = np.arange(time_s.size) % 1000 < 60
    noise: FloatArray = np.random.default_rng(7).standard_normal(time_s.size)
    temperature_c += 6.0 * noise * burst
    x = heatwork(time_s, temperature_c)
    for cone in CONES[::3]:
        assert x[cone] == pytest.approx(by_gauss(cone, time_s, temperature_c), rel=BAR), cone


@pytest.mark.parametrize("step_c", [1e-3, 1e-5, 3e-6, 1e-7])
def test_a_noisy_trace_that_also_creeps_is_exact(step_c: float) -> None:
    # Every other segment is all but level, so that its time per kelvin is huge.
    high_c = 1150.0 + 3.0 * np.random.default_rng(8).standard_normal(2000)
    temperature_c: FloatArray = np.stack([high_c, high_c + step_c], axis=1).ravel()
    time_s = np.linspace(0.0, 8000.0, temperature_c.size)
    for cone in ("06", "04", "1", "6"):
        expected = by_gauss(cone, time_s, temperature_c)
        assert heatwork(time_s, temperature_c)[cone] == pytest.approx(expected, rel=BAR)


def test_cones_far_out_of_reach_are_told_to_a_thousandth(subtests: pytest.Subtests) -> None:
    for noise_c, peak_c in product([0.0, 0.3, 1.0, 3.0], [200.0, 700.0]):
        with subtests.test(f"{peak_c} °C, {noise_c} K"):
            noise: FloatArray = np.random.default_rng(9).standard_normal(20_000)
            time_s = np.linspace(0.0, 20_000.0, noise.size)
            marks_s, marks_c = [0.0, 15_000.0, 20_000.0], [20.0, peak_c, peak_c]
            temperature_c: FloatArray = np.interp(time_s, marks_s, marks_c) + noise_c * noise
            x = heatwork(time_s, temperature_c)
            for cone in CONES[::4]:
                assert x[cone] == pytest.approx(by_gauss(cone, time_s, temperature_c), rel=1e-3), (
                    cone
                )


@pytest.mark.parametrize("height_c", [0.1, 0.7, 0.9, 1.1, 1.6, 4.0])
def test_a_controller_that_swings_between_two_levels_is_exact(height_c: float) -> None:
    time_s = np.arange(700.0) * 20.0
    temperature_c = 888.0 + height_c * (np.arange(700) // 5 % 2).astype(np.float64)
    for cone in ("014", "010", "05.5"):
        expected = by_quadrature(cone, time_s, temperature_c)
        assert heatwork(time_s, temperature_c)[cone] == pytest.approx(expected, rel=BAR)


def test_shift_moves_the_temperature() -> None:
    for shift_c in (-12.0, 3.5):
        expected = by_quadrature("6", *SPARSE, shift_c)
        assert heatwork(*SPARSE, ["6"], shift_c)["6"] == pytest.approx(expected, rel=BAR)
        assert heatwork(*SPARSE, ["6"], {"6": shift_c})["6"] == pytest.approx(expected, rel=BAR)
        assert heatwork_progress(*SPARSE, "6", shift_c)[-1] == pytest.approx(expected, rel=BAR)


@pytest.mark.parametrize("shift_c", [-450.0, -200.0, 200.0, 450.0])
def test_a_search_may_shift_far(shift_c: float) -> None:
    expected = by_quadrature("6", *SPARSE, shift_c)
    assert heatwork(*SPARSE, ["6"], shift_c)["6"] == pytest.approx(expected, rel=1e-3, abs=1e-30)
    progress = heatwork_progress(*SPARSE, "6", shift_c)
    assert progress[-1] == pytest.approx(expected, rel=1e-3, abs=1e-30)


def test_missing_readings_are_bridged_by_a_straight_line() -> None:
    time_s, temperature_c = dense(0.0)
    holed_c = temperature_c.copy()
    holed_c[[300, 301, 302, 700]] = np.nan  # inside straight stretches
    for cone in ("06", "6"):
        whole = heatwork(time_s, temperature_c, [cone])[cone]
        assert heatwork(time_s, holed_c, [cone])[cone] == pytest.approx(whole, rel=BAR)


def test_missing_ends_add_nothing() -> None:
    time_s, temperature_c = dense(0.0)
    cut_c = temperature_c.copy()
    cut_c[:10], cut_c[900:] = np.nan, np.nan
    progress = heatwork_progress(time_s, cut_c, "6")
    assert progress.shape == time_s.shape
    assert np.all(progress[:10] == 0.0)
    assert np.all(progress[899:] == progress[899])
    assert progress[-1] == pytest.approx(heatwork(time_s[:900], cut_c[:900], ["6"])["6"], rel=BAR)


def test_progress_rises_and_ends_at_the_heatwork() -> None:
    trace = dense(0.3)
    total = heatwork(*trace)
    for cone in ("022", "04", "9"):
        progress = heatwork_progress(*trace, cone)
        assert progress[0] == 0.0
        assert np.all(np.diff(progress) >= 0.0)
        assert progress[-1] == pytest.approx(total[cone], rel=BAR)


@pytest.mark.parametrize("trace", [SPARSE, dense(0.0), dense(0.5)], ids=["sparse", "even", "noisy"])
@pytest.mark.parametrize("cone", ["014", "04", "5"])
def test_the_moment_a_cone_goes_down(cone: str, trace: tuple[FloatArray, FloatArray]) -> None:
    time_s, temperature_c = trace
    moment_s = time_down_s(laws()[cone], time_s, temperature_c, 0.0)
    assert moment_s is not None
    before = time_s < moment_s
    until_s = np.append(time_s[before], moment_s)
    until_c = np.append(temperature_c[before], np.interp(moment_s, time_s, temperature_c))
    assert by_quadrature(cone, until_s, until_c) == pytest.approx(1.0, abs=2e-6)


def test_a_cone_that_stays_up_has_no_moment() -> None:
    assert time_down_s(laws()["10"], *SPARSE, 0.0) is None


@pytest.mark.parametrize(
    ("time_s", "temperature_c", "said"),
    [
        ([], [], "are none"),
        ([0.0], [20.0], "is 1"),
        ([0.0, 1.0], [math.nan, math.nan], "are none"),
        ([0.0, 1.0, 2.0], [math.nan, 20.0, math.nan], "is 1"),
        ([0.0, 2.0, 1.0], [1000.0, 1000.0, 1000.0], "times of a trace must increase"),
        ([0.0, 0.0], [1000.0, 1000.0], "times of a trace must increase"),
        ([0.0, 1.0], [20.0, math.inf], "no temperature of a kiln"),
        ([0.0, 1.0], [20.0, 1e200], "no temperature of a kiln"),
        ([0.0, 1.0], [-200.0, 20.0], "no temperature of a kiln"),
        ([0.0, 1.0], [20.0], "one temperature for each time"),
    ],
)
def test_unusable_traces_are_refused(
    time_s: list[float], temperature_c: list[float], said: str
) -> None:
    with pytest.raises(FiringError, match=said):
        heatwork(np.array(time_s), np.array(temperature_c))


def test_absurd_shifts_are_refused() -> None:
    for shift_c in (600.0, math.nan):
        with pytest.raises(FiringError, match="−500 to 500 °C"):
            heatwork(*SPARSE, ["6"], shift_c)
        with pytest.raises(FiringError, match="−500 to 500 °C"):
            heatwork_progress(*SPARSE, "6", shift_c)


knots = st.lists(
    st.tuples(st.floats(1.0, 2e4), st.floats(900.0, 1300.0)), min_size=3, max_size=12
).map(
    lambda pairs: (
        np.cumsum([pair[0] for pair in pairs]),
        np.array([pair[1] for pair in pairs]),
    )
)
several = settings(max_examples=30)
SOME = ("05", "3", "10")


@several
@given(trace=knots, data=st.data())
def test_heatwork_adds_up_over_the_parts_of_a_trace(
    trace: tuple[FloatArray, FloatArray], data: st.DataObject
) -> None:
    time_s, temperature_c = trace
    split = data.draw(st.integers(1, time_s.size - 2))
    whole = heatwork(time_s, temperature_c, SOME)
    first = heatwork(time_s[: split + 1], temperature_c[: split + 1], SOME)
    second = heatwork(time_s[split:], temperature_c[split:], SOME)
    for cone in SOME:
        assert first[cone] + second[cone] == pytest.approx(whole[cone], rel=2 * BAR)


@several
@given(trace=knots, pieces=st.integers(2, 400))
def test_heatwork_does_not_depend_on_how_a_line_is_sampled(
    trace: tuple[FloatArray, FloatArray], pieces: int
) -> None:
    time_s, temperature_c = trace
    finer_s = np.unique(np.concatenate([time_s, np.linspace(time_s[0], time_s[-1], pieces)]))
    keep = np.append(np.diff(finer_s) > 1e-6, True)
    finer_s = finer_s[keep]
    finer_c = np.interp(finer_s, time_s, temperature_c)
    whole, finer = heatwork(time_s, temperature_c, SOME), heatwork(finer_s, finer_c, SOME)
    for cone in SOME:
        assert finer[cone] == pytest.approx(whole[cone], rel=3 * BAR)


@several
@given(trace=knots, shift_c=st.floats(0.01, 40.0))
def test_hotter_is_more(trace: tuple[FloatArray, FloatArray], shift_c: float) -> None:
    plain, hotter = heatwork(*trace, SOME), heatwork(*trace, SOME, shift_c)
    for cone in SOME:
        assert hotter[cone] > plain[cone]


@pytest.mark.parametrize("blip_c", [0.5, 1.0, 2.4, 2.7, 8.0])
def test_lone_blips_at_even_times_cost_less_than_a_ten_thousandth(blip_c: float) -> None:
    # The most one-sided that readings can lie: one of 33 apart, all the others on a line.
    time_s = np.arange(4000.0) * 5.0
    temperature_c = 860.0 + 0.01 * np.arange(4000.0)
    temperature_c[::33] += blip_c
    for cone in ("014", "010"):
        expected = by_quadrature(cone, time_s, temperature_c)
        assert heatwork(time_s, temperature_c)[cone] == pytest.approx(expected, rel=1e-4)
