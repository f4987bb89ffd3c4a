"""All commands that apply on a screen, to be found by a part of their words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.dom import DOMNode
from textual.screen import ModalScreen, Screen
from textual.widgets import Input, Static

from ..widgets.grid import GridColumn, GridRow, ListGrid
from ..widgets.lines import KeyLine, key_words

_NAME, _KEY = 20, 10


@dataclass(frozen=True)
class Command:
    """One thing that can be done now: its name, what it does, its key, and whose it is."""

    name: str
    words: str
    keys: str
    action: str
    node: DOMNode


def applying(screen: Screen[Any]) -> list[Command]:
    """Return what can be done on a screen as it is now, and nothing else."""
    found: dict[str, Command] = {}
    for each in screen.active_bindings.values():
        binding = each.binding
        own = type(each.node).__module__.startswith("firing.tui.") and binding.tooltip
        if own and each.enabled and binding.action not in found and binding.action != "commands":
            found[binding.action] = Command(
                binding.description, binding.tooltip, key_words(binding), binding.action, each.node
            )
    return list(found.values())


def _rank(command: Command, typed: Sequence[str]) -> int:
    """Return how far down a command comes: what is named so is before what only speaks of it."""
    name = command.name.casefold()
    if name == " ".join(typed):
        return 0
    if typed and name.startswith(typed[0]) and all(part in name for part in typed):
        return 1
    return 2 if all(part in name for part in typed) else 3


class Commands(ModalScreen[Command | None]):
    """The commands, narrowed by what is typed."""

    HELP_TITLE = "All commands"
    DEFAULT_CSS = """
    Commands { align: center top; }
    Commands > Vertical { width: 100%; max-width: 100; height: auto; max-height: 100%;
                          background: $surface; border: round $primary; padding: 0 1; }
    Commands Static { height: auto; }
    Commands Input { background: $marked; margin: 0 0 1 0; }
    Commands ListGrid { background: $surface; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "take", "Do it", priority=True),
        Binding("up", "step(-1)", "Up", show=False, priority=True),
        Binding("down", "step(1)", "Down", show=False, priority=True),
        Binding("pageup", "page(-1)", "A page up", show=False, priority=True),
        Binding("pagedown", "page(1)", "A page down", show=False, priority=True),
        Binding("escape,ctrl+p", "none", "Leave it", priority=True),
    ]

    def __init__(self, commands: Sequence[Command]) -> None:
        super().__init__()
        self._commands = sorted(commands, key=lambda command: command.name.casefold())
        self._shown: list[Command] = []

    def compose(self) -> ComposeResult:
        """Put the list under the line that narrows it."""
        with Vertical():
            yield Static("What can be done here: choose, or type a part of it")
            yield Input(compact=True)
            grid = ListGrid()
            grid.can_focus = False
            yield grid
            yield KeyLine()

    def on_mount(self) -> None:
        """List everything."""
        if not self.query("*"):
            return  # closed again by the very next key, before anything stood in it
        self._list()

    def on_resize(self) -> None:
        """Fit the list to the room."""
        self.call_after_refresh(self._list)

    def _list(self) -> None:
        typed = self.query_one(Input).value.casefold().split()
        found = [
            command
            for command in self._commands
            if all(part in f"{command.name} {command.words}".casefold() for part in typed)
        ]
        self._shown = sorted(found, key=lambda command: _rank(command, typed))
        grid = self.query_one(ListGrid)
        # Borders and gaps, the cursor's mark and a scrollbar take the rest.
        words = max(min(self.size.width, 100) - _NAME - _KEY - 9, 10)
        grid.styles.height = max(min(len(self._commands), self.size.height - 6), 1)
        grid.fill(
            [
                GridColumn("name", "", _NAME),
                GridColumn("key", "", _KEY),
                GridColumn("words", "", words),
            ],
            [GridRow((command.name, command.keys, command.words)) for command in self._shown]
            or [GridRow(("Nothing of that name.  Another part of it, or esc.",), heading=True)],
        )

    def on_input_changed(self, _message: Input.Changed) -> None:
        """Narrow the list."""
        self._list()
        self.query_one(ListGrid).go(0)

    def on_list_grid_chosen(self, _message: ListGrid.Chosen) -> None:
        """Do what was clicked."""
        self.action_take()

    def action_step(self, by: int) -> None:
        """Move in the list."""
        self.query_one(ListGrid).action_step(by)

    def action_page(self, by: int) -> None:
        """Move in the list by a page."""
        self.query_one(ListGrid).action_page(by)

    def action_take(self) -> None:
        """Do what is chosen, if anything is."""
        row = self.query_one(ListGrid).row
        if row < len(self._shown):
            self.dismiss(self._shown[row])

    def action_none(self) -> None:
        """Do nothing."""
        self.dismiss(None)
