"""The form of a load file."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from tui.formdoc import FormDocument, open_form
from tui.formspec import load_form
from tui.screens.form import edit_form

if TYPE_CHECKING:
    from tui.screens.base import WorkScreen


async def edit_load(screen: WorkScreen, name: str | None) -> str | None:
    """Let a load file be edited, or a new one be written.

    Parameters
    ----------
    screen : WorkScreen
        On top of which it is done.
    name : str or None
        A path, an example's name (a copy of it is edited), or None for a new load.

    Returns
    -------
    str or None
        The path it was saved in; None if it was left without being saved.

    Raises
    ------
    FiringError
        If the file cannot be read or is no TOML; other faults are mended in the form.
    """

    def opened() -> FormDocument:
        return open_form(load_form(), name)

    return await edit_form(screen, await asyncio.to_thread(opened))
