"""What the plan and the review have in common: one job at a time, and pages handed out."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

from textual import events
from textual.screen import Screen

from firing.errors import FiringError

if TYPE_CHECKING:
    from firing.schedule.schedule import Schedule
    from firing.watch.options import WatchOptions

    from ..live_watch import LiveWatch
    from ..session import LogChoice, Session


_NOTHING_TO_DO = {
    "undo": "There is nothing to take back.",
    "redo": "There is nothing to make again.",
    "save": "All is saved already.",
    "fix": "There is no warning that a change of the plan fixes.",
    "to_fix": "There is nothing to fix in this plan.",
    "without_load": "No load is left out.",
}
"""What a key answers while its action does not apply."""


@runtime_checkable
class Program(Protocol):
    """What a screen may ask of the program that shows it, beyond what every program can."""

    def begin_watch(self, order: WatchOptions) -> LiveWatch:
        """Begin a watch, which goes on whatever screen is in front."""
        ...


class WorkScreen(Screen[None]):
    """A screen on which something is done with the open session."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self._busy = False

    @property
    def program(self) -> Program:
        """The program that shows the screen."""
        assert isinstance(self.app, Program)
        return self.app

    def say(self, words: str, *, fault: bool = False) -> None:
        """Show a message in words."""
        raise NotImplementedError

    def on_key(self, event: events.Key) -> None:
        """Say why a key does nothing whose work does not apply now."""
        for binding in self._bindings.key_to_bindings.get(event.key, ()):
            words = _NOTHING_TO_DO.get(binding.action, "")
            if words and not self.check_action(binding.action, ()):
                self.say(words)

    def settle(self) -> bool:
        """Take an edit under way; returns whether none is left."""
        return True

    def job(self, work: Callable[[], Coroutine[Any, Any, object]]) -> None:
        """Run a job that may ask questions; while one is under way no other begins."""
        if self._busy:
            return
        self._busy = True

        async def run() -> None:
            try:
                await work()
            except FiringError as error:
                self.say(str(error), fault=True)
            finally:
                self._busy = False

        self.run_worker(run(), group="job")

    async def ask(self, question: str, *answers: tuple[str, str]) -> str | None:
        """Ask a question; returns the key of the answer, or None."""
        from .dialogs import Ask

        return await self.app.push_screen_wait(Ask(question, answers))

    async def prompt(self, question: str, value: str, fault: str = "") -> str | None:
        """Ask for a line; returns it, or None."""
        from .dialogs import Prompt

        return await self.app.push_screen_wait(Prompt(question, value, fault))

    async def replacing(self, path: Path) -> bool | None:
        """Return whether a file may be replaced; None if another name is wanted after all."""
        if not path.exists() or path.is_dir():
            return False
        answer = await self.ask(
            f"{path} exists already.",
            ("name", "Choose another name"),
            ("replace", "Replace it"),
        )
        return True if answer == "replace" else None

    async def show_cautions(self) -> None:
        """Show the cautions that apply to the open plan."""
        from .dialogs import Sheet, caution_lines

        cautions = self.session.cautions()
        plan = self.session.document.schedule
        title = f"Cautions for: {plan.title}"
        await self.app.push_screen_wait(Sheet(title, caution_lines(cautions, plan.unit)))
        self.session.cautions_seen.update(caution.id for caution in cautions)

    def keep_firing(self, choice: LogChoice, schedule: Schedule) -> None:
        """Ask what there is to say of a firing, and keep it in the logbook."""

        async def job() -> None:
            from ..kept import keep, keep_fields, kept_words
            from .dialogs import in_progress
            from .filling import Filling

            fields = keep_fields()
            form = Filling(f"Keep {choice.path.name}", fields, {field.key: "" for field in fields})
            said = await self.app.push_screen_wait(form)
            if said is None:
                return
            equipment = self.session.fitting
            found = await in_progress(
                self, "Keeping the firing", lambda: keep(schedule, equipment, choice, said)
            )
            if found is not None:
                self.say(f"{kept_words(found)}  F11 lists all.")

        self.job(job)

    async def hand_out(
        self,
        name: str,
        page: Callable[[], str],
        what: str = "page",
        next_step: str = "open it in a browser",
    ) -> bool:
        """Write a page, or `what` it is, under a name asked for, after the cautions once.

        `page` makes it, in a thread.  Returns whether it was written.
        """
        if self.session.cautions_unseen():
            await self.show_cautions()
        fault = ""
        while True:
            written = await self.prompt(f"Write the {what} to this file:", name, fault)
            if written is None:
                return False
            path = Path(written).expanduser()
            name, fault = written, ""
            overwrite = await self.replacing(path)
            if overwrite is None:
                continue
            self.say(f"Writing the {what} …")
            try:
                await asyncio.to_thread(_write_page, page, path, overwrite)
            except FiringError as error:
                fault = str(error)
                continue
            self.say(f"{what.capitalize()} written to {path}; {next_step}.")
            return True


_NARROW = 100


def side_width(width: int) -> int:
    """Return how wide the list beside a curve is on a screen `width` cells wide."""
    return 38 if width < _NARROW else min(width // 2, 100)


def _write_page(page: Callable[[], str], path: Path, overwrite: bool) -> None:
    from firing.files.tomlfile import write_text

    write_text(path, page(), overwrite=overwrite)
