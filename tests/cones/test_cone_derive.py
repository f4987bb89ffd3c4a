"""The fit behind the shipped constants."""

import csv
from importlib import resources

import pytest

from firing.cones import derive
from firing.cones.kinetics import laws
from firing.cones.table import CONES
from firing.units import KELVIN_AT_0_C

FITTED = CONES[CONES.index("019") :]


def test_a_new_fit_gives_the_shipped_constants() -> None:
    found = derive.fit()
    assert list(found) == list(CONES)
    for cone, law in laws().items():
        assert law.energy_j_per_mol == pytest.approx(found[cone].energy_j_per_mol, rel=1e-4)
        assert law.law_60_c + KELVIN_AT_0_C == pytest.approx(found[cone].law_60_k, abs=0.01)


def test_the_shipped_file_is_what_the_command_writes() -> None:
    path = resources.files("firing") / "data" / "cone_kinetics.csv"
    shipped = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    written = list(derive.rows())
    assert [list(row) for row in written] == [list(row) for row in shipped]
    for new, old in zip(written, shipped, strict=True):
        for column in ("cone", "family", "quality", "source"):
            assert new[column] == old[column]
        for column in ("residual_15_c", "residual_60_c", "residual_150_c"):
            assert bool(new[column]) == bool(old[column])
            if old[column]:
                assert float(new[column]) == pytest.approx(float(old[column]), abs=0.02)


@pytest.mark.parametrize(("rate", "bar_c"), [(15.0, 14.0), (60.0, 6.0), (150.0, 10.0)])
def test_a_rate_left_out_is_predicted(rate: float, bar_c: float) -> None:
    constants = derive.fit(without_rate_c_per_h=rate)
    misses = derive.residuals_c(constants)
    assert max(abs(misses[cone][rate]) for cone in FITTED) <= bar_c


def test_every_cone_belongs_to_one_family() -> None:
    families = derive.families()
    assert sum(families.values(), ()) == CONES
    ends = {name: (cones[0], cones[-1]) for name, cones in families.items()}
    assert ends == {
        "soft": ("022", "011"),
        "low": ("010", "01"),
        "intermediate": ("1", "12"),
        "high": ("13", "14"),
    }
