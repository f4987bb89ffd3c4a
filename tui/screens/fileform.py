"""The form of a kiln or load file: opened, edited, and where it was saved."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from ..formspec import FormKind, kiln_form, load_form
from ..formstate import FormDocument, open_form
from .form import edit_form

if TYPE_CHECKING:
    from .base import WorkScreen


async def edit_file(screen: WorkScreen, kind: FormKind, name: str | None) -> str | None:
    """Let a kiln or load file be edited, or a new one be written.

    Parameters
    ----------
    screen : WorkScreen
        On top of which it is done.
    kind : {"kiln", "load"}
        What it describes.
    name : str or None
        A path, an example's name (a copy of it is edited), or None for a new one.

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
        return open_form(kiln_form() if kind == "kiln" else load_form(), name)

    return await edit_form(screen, await asyncio.to_thread(opened))
