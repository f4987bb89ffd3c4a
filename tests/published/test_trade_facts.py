"""Trade facts that every forecast has to agree with; common practice, no source."""

import pytest

from firing.cones.kinetics import end_point_c
from firing.files.kinds import ready_text
from firing.forecast.forecast import forecast
from firing.kiln.file import parse_kiln
from firing.schedule.file import parse_schedule
from firing.schedule.schedule import Schedule
from firing.ware.file import parse_load

HOUR = 3600.0


def ready(name: str) -> Schedule:
    return parse_schedule(ready_text(name), name)


# Common practice, no source: a bisque to 900 °C takes about 24 h from closing to opening.
@pytest.mark.parametrize("in_kiln", [False, True])
def test_a_bisque_to_900_takes_about_a_day_from_closing_to_opening(in_kiln: bool) -> None:
    kiln = parse_kiln(ready_text("example-kiln")) if in_kiln else None
    load = parse_load(ready_text("example-load-thin-cups")) if in_kiln else None
    result = forecast(ready("thin-ware-bisque"), unload_c=100.0, kiln=kiln, load=load)
    assert result.peak_c == 900.0
    assert 20 * HOUR <= result.total_s <= 28 * HOUR


# Common practice, no source: stoneware is reached near 1240 °C, and stoneware is cone 6 to 11.
def test_stoneware_is_reached_near_1240() -> None:
    assert 1222 <= end_point_c("6", 60.0) <= 1240 <= end_point_c("8", 60.0) <= 1250
    number = forecast(ready("stoneware-glaze-1240")).cones.reached_number
    assert number is not None
    assert 6.0 <= number <= 11.0
