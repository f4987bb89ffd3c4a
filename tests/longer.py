"""What of a table or a property is tried in every run, and what is left to the long tests or CI."""

import os
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


def examples(few: int) -> int:
    """Return how many examples a dear property tries: few, and four times as many in CI."""
    return 4 * few if os.environ.get("CI") else few
