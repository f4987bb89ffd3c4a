"""Files of kilns and loads: save, save under another name, and lose nothing unasked."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING

from firing.errors import FiringError
from firing.files.tomlfile import describe_path

from ..document import ChangedOnDisk
from ..file_choices import typed_path
from ..formlines import faulty_places, lines_of

if TYPE_CHECKING:
    from .form import FormScreen


async def save(screen: FormScreen) -> bool:
    """Save the form, asking for what is not settled; returns whether it is on disk."""
    document = screen.document
    if _faulty(screen):
        return False
    if document.path is None:
        return await save_as(screen)
    try:
        path = await asyncio.to_thread(document.save)
    except ChangedOnDisk as error:
        answer = await screen.ask(
            str(error),
            ("name", f"Save this {document.state.form.kind} under another name"),
            ("replace", "Replace what is in the file now"),
        )
        if answer is None:
            return False
        if answer == "name":
            return await save_as(screen)
        path = await asyncio.to_thread(document.save, replace_changed=True)
    screen.was_saved(str(path))
    return True


async def save_as(screen: FormScreen) -> bool:
    """Save the form under a name asked for; returns whether it is on disk."""
    document = screen.document
    if _faulty(screen):
        return False
    folder = _folder(screen)
    name = str(document.path or folder / document.suggested_name)
    kind, fault = document.state.form.kind, ""
    while True:
        written = await screen.prompt(f"Save the {kind} in this file:", name, fault)
        if written is None:
            return False
        path = typed_path(written, folder)
        if not path.suffix:
            path = path.with_suffix(".toml")
        name, fault = str(path), ""
        overwrite = await screen.replacing(path)
        if overwrite is None:
            continue
        try:
            done = await asyncio.to_thread(document.save_as, path, overwrite=overwrite)
        except FiringError as error:
            fault = str(error)
            continue
        screen.was_saved(str(done))
        return True


async def may_leave(screen: FormScreen) -> bool:
    """Ask what becomes of unsaved work; returns whether the form may be left."""
    document = screen.document
    if not document.changed:
        return True
    answer = await screen.ask(
        f"This {document.state.form.kind} has changes that are in no file.",
        ("save", "Save them"),
        ("stay", "Go on editing"),
        ("drop", "Give them up"),
    )
    if answer == "save":
        return await save(screen)
    return answer == "drop"


def _folder(screen: FormScreen) -> Path:
    plan = screen.session.document.path
    return Path.cwd() if plan is None else plan.resolve().parent


def _faulty(screen: FormScreen) -> bool:
    """Go to the first fault, if there is one, and say it as the command line does."""
    state = screen.document.state
    if not state.faults:
        return False
    slot = faulty_places(lines_of(state))[0]
    screen.go_to(slot.path)
    screen.say(f"Not saved: {describe_path(slot.path)}: {slot.fault}", fault=True)
    return True
