"""A firing that went as planned, watched once for all tests."""

from pathlib import Path

import pytest
from watch.replaying import AS_PLANNED, Told, replayed, write_course


@pytest.fixture(scope="session")
def as_planned(tmp_path_factory: pytest.TempPathFactory) -> Told:
    path: Path = tmp_path_factory.mktemp("watch") / "log.csv"
    return replayed(
        write_course(path, AS_PLANNED, step_s=45.0), cones=("012", "011"), every_s=900.0
    )
