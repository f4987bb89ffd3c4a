"""Reading a log from its text."""

from pathlib import Path
from typing import Any

import pytest

from firing.errors import FiringError
from firing.logs.reader import Log, read_log


@pytest.fixture
def read(tmp_path: Path) -> Any:
    """Write a log and read it."""

    def reader(content: bytes | str, **options: Any) -> Log:
        path = tmp_path / "log.csv"
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return read_log(path, **options)

    return reader


@pytest.fixture
def refused(read: Any) -> Any:
    """Write a log, and return the one sentence with which it is refused."""

    def refusal(content: bytes | str, **options: Any) -> str:
        with pytest.raises(FiringError) as caught:
            read(content, **options)
        text = str(caught.value)
        assert "\n" not in text
        return text

    return refusal
