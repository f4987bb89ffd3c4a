"""What holds for every test: no property is judged by the clock."""

import os
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings

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
