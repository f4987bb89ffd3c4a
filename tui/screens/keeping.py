"""Files of plans: save, save under another name, choose another, and lose nothing unasked."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from firing.errors import FiringError

from ..document import ChangedOnDisk, PlanDocument, open_file, open_new, open_ready
from ..journal import Leftover, leftovers

if TYPE_CHECKING:
    from .plan_host import PlanHost


async def save(screen: PlanHost) -> bool:
    """Save the plan, asking for what is not settled; returns whether it is on disk."""
    document = screen.session.document
    if document.path is None:
        return await save_as(screen)
    try:
        path = document.save()
    except ChangedOnDisk as error:
        answer = await screen.ask(
            str(error),
            ("name", "Save this plan under another name"),
            ("replace", "Replace what is in the file now"),
        )
        if answer is None:
            return False
        if answer == "name":
            return await save_as(screen)
        path = document.save(replace_changed=True)
    screen.saved(path)
    return True


async def save_as(screen: PlanHost) -> bool:
    """Save the plan under a name asked for; returns whether it is on disk."""
    document = screen.session.document
    name = str(document.path or Path.cwd() / document.suggested_name)
    fault = ""
    while True:
        written = await screen.prompt("Save the plan in this file:", name, fault)
        if written is None:
            return False
        path = Path(written).expanduser()
        if not path.suffix:
            path = path.with_suffix(".toml")
        name, fault = str(path), ""
        overwrite = await screen.replacing(path)
        if overwrite is None:
            continue
        try:
            screen.saved(document.save_as(path, overwrite=overwrite))
        except FiringError as error:
            fault = str(error)
            continue
        return True


async def may_leave(screen: PlanHost) -> bool:
    """Ask what becomes of unsaved work; returns whether the plan may be left."""
    document = screen.session.document
    if not document.changed:
        return True
    answer = await screen.ask(
        f"“{document.schedule.title}” has changes that are in no file.",
        ("save", "Save them"),
        ("stay", "Go on editing"),
        ("drop", "Give them up"),
    )
    if answer == "save":
        return await save(screen)
    return answer == "drop"


async def choose(screen: PlanHost) -> PlanDocument | Leftover | None:
    """Return the document chosen, unsaved work on it that is to be taken up, or None.

    A file with faults leads back to the choice, with the faults in words.
    """
    from .file_choice import FileChoice

    document = screen.session.document
    folder = Path.cwd() if document.path is None else document.path.resolve().parent
    fault = ""
    while True:
        choice = await screen.app.push_screen_wait(FileChoice("schedule", folder, fault))
        if choice is None:
            return None
        try:
            if choice.new:
                return open_new()
            if choice.ready:
                return open_ready(choice.ready)
            if choice.path is None:
                return None
            found = open_file(choice.path)
            left = leftovers(screen.session.journal.folder, choice.path)
            return left[0] if left and await offer(screen, left[0]) else found
        except FiringError as error:
            fault = str(error)
            folder = folder if choice.path is None else choice.path.resolve().parent


async def offer(screen: PlanHost, left: Leftover) -> bool:
    """Offer unsaved work; returns whether to take it up."""
    when = left.written_at.replace("T", " ")[:16]
    file = "a plan without a file" if left.path is None else str(left.path)
    answer = await screen.ask(
        f"There is unsaved work on “{left.title}” ({file}) from {when}; the program ended before "
        "it was saved.",
        ("take", "Go on with the unsaved work"),
        ("later", "Leave it for later"),
        ("drop", "Give it up for good"),
    )
    if answer == "drop":
        left.remove()
    return answer == "take"
