"""The cases of a table that are tried in every run, and those left to the long tests."""

from collections.abc import Sequence
from typing import Any

import pytest


def beyond(first: int, cases: Sequence[Any]) -> list[Any]:
    """Return the cases for ``parametrize``, all after the first few marked as long.

    A case of several arguments is a list; a tuple is one argument.
    """
    return [
        pytest.param(
            *(case if isinstance(case, list) else [case]),
            marks=[] if place < first else [pytest.mark.soak],
        )
        for place, case in enumerate(cases)
    ]
