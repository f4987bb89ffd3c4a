"""Open files: saved, saved under another name, chosen, and nothing lost unasked."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

from firing.errors import FiringError

from ..document import ChangedOnDisk, Document, PlanDocument, open_file, open_new, open_ready
from ..file_choices import typed_path
from ..journal import Leftover, leftovers
from .base import WorkScreen


class SavingScreen(WorkScreen):
    """A screen with a document that is kept in a file."""

    @property
    def document(self) -> Document[Any]:
        """What is edited here."""
        raise NotImplementedError

    @property
    def folder(self) -> Path:
        """The folder that a name typed without one stands in."""
        return Path()

    @property
    def file_words(self) -> str:
        """Its file, and whether anything of it is not there yet."""
        path, changed = self.document.path, self.document.changed
        file = "no file yet" if path is None else path.name
        state = "* changed" if changed else "unchanged" if path is None else "as saved"
        return f"{file} · {state}"

    @property
    def unsaved_words(self) -> str:
        """The sentence that says there is something to lose."""
        return f"This {self.document.kind} has changes that are in no file."

    def is_refused(self) -> bool:
        """Say what keeps the document out of a file; returns whether anything does."""
        return False

    def was_saved(self, path: Path) -> None:
        """Show that the document is in its file."""
        raise NotImplementedError

    def action_save(self) -> None:
        """Save it in its file."""
        if self.settle():
            self.job(self.save)

    def action_save_as(self) -> None:
        """Save it in another file."""
        if self.settle():
            self.job(self.save_as)

    async def save(self) -> bool:
        """Save the document, asking for what is not settled; returns whether it is on disk."""
        document = self.document
        if self.is_refused():
            return False
        if document.path is None:
            return await self.save_as()
        try:
            path = await asyncio.to_thread(document.save)
        except ChangedOnDisk as error:
            answer = await self.ask(
                str(error),
                ("name", f"Save this {document.kind} under another name"),
                ("replace", "Replace what is in the file now"),
            )
            if answer is None:
                return False
            if answer == "name":
                return await self.save_as()
            path = await asyncio.to_thread(document.save, replace_changed=True)
        self.was_saved(path)
        return True

    async def save_as(self) -> bool:
        """Save the document under a name asked for; returns whether it is on disk."""
        document = self.document
        if self.is_refused():
            return False
        name = str(document.path or self.folder.absolute() / document.suggested_name)
        fault = ""
        while True:
            written = await self.prompt(f"Save the {document.kind} in this file:", name, fault)
            if written is None:
                return False
            path = typed_path(written, self.folder)
            if not path.suffix:
                path = path.with_suffix(".toml")
            name, fault = str(path), ""
            overwrite = await self.replacing(path)
            if overwrite is None:
                continue
            try:
                self.was_saved(await asyncio.to_thread(document.save_as, path, overwrite=overwrite))
            except FiringError as error:
                fault = str(error)
                continue
            return True

    async def may_leave(self) -> bool:
        """Ask what becomes of unsaved work; returns whether the document may be left."""
        if not self.document.changed:
            return True
        answer = await self.ask(
            self.unsaved_words,
            ("save", "Save them"),
            ("stay", "Go on editing"),
            ("drop", "Discard changes"),
        )
        if answer == "save":
            return await self.save()
        return answer == "drop"


async def choose_plan(screen: WorkScreen) -> PlanDocument | Leftover | None:
    """Return the document chosen, unsaved work on it that is to be taken up, or None.

    A file with faults leads back to the choice, with the faults in words.
    """
    from .file_chooser import FileChooser

    folder, fault = screen.session.folder, ""
    while True:
        choice = await screen.app.push_screen_wait(FileChooser("schedule", folder, fault))
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


async def offer(screen: WorkScreen, left: Leftover) -> bool:
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
