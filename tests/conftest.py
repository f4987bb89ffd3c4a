"""What holds for every test: no property is judged by the clock."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings

if TYPE_CHECKING:
    from capture.ptywatch import Instrument

# A slow machine, or one under load, is no fault of the property under test.  The parent is named
# because hypothesis starts from another one where CI is set, and that tries the same examples
# every time.
settings.register_profile(
    "without a clock",
    parent=settings.get_profile("default"),
    deadline=None,
    # Half as many examples as there are where CI is set: whoever waits runs them often.
    max_examples=100 if os.environ.get("CI") else 50,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("without a clock")


@pytest.fixture(scope="module", autouse=True)
def _own_logbook(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No test writes into the logbook of whoever runs it."""
    with pytest.MonkeyPatch.context() as patch:
        place = tmp_path_factory.mktemp("logbook") / "logbook.sqlite"
        patch.setenv("FIRING_LOGBOOK", str(place))
        yield


@pytest.fixture
def instrument(tmp_path: Path) -> Iterator[Instrument]:
    """Return an instrument that speaks over a pseudo-terminal."""
    from capture.ptywatch import Instrument

    made = Instrument(tmp_path / "port")
    yield made
    made.close()
