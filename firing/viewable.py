"""What a notebook can ask of a result: a small table, a data frame, a figure.

The results stand below the report whose tables and figures they are shown with.  So they ask
:mod:`firing.notebook`, which stands above it, by name and only when a notebook asks them: the one
way up in the house, and no module below knows what is at its end.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd


def _notebook() -> Any:
    return importlib.import_module("firing.notebook")


class Tabular:
    """A result that a notebook shows as a table and hands on as a data frame."""

    __slots__ = ()

    def _repr_html_(self) -> str:
        """Return the result as a small table, every text in it escaped."""
        html: str = _notebook().html(self)
        return html

    def to_pandas(self) -> pd.DataFrame:
        """Return the result as a data frame; its column names carry the units."""
        frame: pd.DataFrame = _notebook().frame(self)
        return frame


class Plottable(Tabular):
    """A result that has a course over time, too."""

    __slots__ = ()

    def plot(self) -> Any:
        """Return the course as a plotly figure, drawn as on the pages."""
        return _notebook().figure(self)
