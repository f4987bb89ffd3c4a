"""The ready schedules keep the limits of the ware they are titled for."""

import pytest

from firing.files.kinds import ready_names, ready_text
from firing.forecast.forecast import forecast
from firing.schedule.file import parse_schedule
from firing.ware.load import Dryness, Load, Piece

# The thickest ware each title or note speaks of [mm], its dryness and body.
WARE: dict[str, tuple[float, Dryness, str]] = {
    "decal": (8.0, "bisqued", "porcelain"),
    "earthenware-glaze": (8.0, "bisqued, freshly glazed", "earthenware"),
    "mid-range-glaze-cone-6-hold": (7.0, "bisqued, freshly glazed", "stoneware"),
    "once-fired-stoneware": (10.0, "bone dry", "stoneware"),
    "stoneware-glaze-1240": (10.0, "bisqued, freshly glazed", "stoneware"),
    "thick-handbuilt-bisque": (20.0, "bone dry", "stoneware, grogged"),
    "thin-ware-bisque": (8.0, "bone dry", "stoneware"),
}
NOT_FIRED = {"thick-ware-drying"}


def test_every_ready_schedule_is_listed_here() -> None:
    assert set(WARE) | NOT_FIRED == set(ready_names())


@pytest.mark.parametrize("name", sorted(WARE))
def test_it_is_safe_for_the_ware_it_is_titled_for(name: str) -> None:
    thickest_mm, dryness, body = WARE[name]
    load = Load(
        dryness=dryness,
        body=body,
        furniture_kg=28.0,
        pieces=(Piece("ware", 20, thickest_mm, 1.0),),
    )
    result = forecast(parse_schedule(ready_text(name), name), load=load)
    assert [breach.message for breach in result.breaches] == []
