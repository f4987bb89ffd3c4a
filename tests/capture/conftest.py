"""An instrument on a pseudo-terminal."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from capture.ptywatch import Instrument


@pytest.fixture
def instrument(tmp_path: Path) -> Iterator[Instrument]:
    made = Instrument(tmp_path / "port")
    yield made
    made.close()
