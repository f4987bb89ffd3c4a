"""Choose a file: a path, a file of the folder, or what comes ready."""

from pathlib import Path
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from firing.errors import FiringError
from firing.report.sanitize import plain

from ..file_choices import Choice, WantedFile, choices, matching, ready_choices, typed_path
from ..widgets.grid import GridColumn, GridRow, ListGrid
from ..widgets.lines import KeyLine

_TITLES: dict[WantedFile, str] = {
    "schedule": "Open a schedule: choose, or type a part of its name or a path",
    "log": "Choose a log: choose, or type a part of its name or a path",
    "source": "Choose a source file: choose, or type a part of its name or a path",
    "kiln": "Choose a kiln file: choose, or type a part of its name or a path",
    "load": "Choose a load file: choose, or type a part of its name or a path",
    "controller": "Choose a controller file: choose, or type a part of its name or a path",
    "tariff": "Choose a tariff file: choose, or type a part of its name or a path",
}


class FileChooser(ModalScreen[Choice | None]):
    """A list to choose from, narrowed by what is typed."""

    HELP_TITLE = "Choose a file"
    DEFAULT_CSS = """
    FileChooser { align: center middle; background: $background; }
    FileChooser > Vertical { width: 100%; max-width: 100; height: 100%; max-height: 50;
                          background: $surface; border: round $primary; padding: 0 1; }
    FileChooser Static { height: auto; }
    FileChooser Input { background: $marked; margin: 0 0 1 0; }
    FileChooser ListGrid { height: 1fr; background: $surface; }
    FileChooser #fault { color: $error; text-style: bold; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "take", "Open", priority=True),
        Binding("up", "step(-1)", "Up", show=False, priority=True),
        Binding("down", "step(1)", "Down", show=False, priority=True),
        Binding("pageup", "page(-1)", "A page up", show=False, priority=True),
        Binding("pagedown", "page(1)", "A page down", show=False, priority=True),
        Binding("tab,shift+tab", "fill", "Take the name", tooltip="Put the name into the line"),
        Binding("escape", "none", "Leave it"),
    ]

    def __init__(self, wanted: WantedFile, folder: Path, fault: str = "") -> None:
        super().__init__()
        self._wanted, self._folder, self._first_fault = wanted, folder, fault
        self._ready = ready_choices(wanted)
        self._inside: list[Choice] = []
        self._shown: list[Choice | None] = []

    def compose(self) -> ComposeResult:
        """Put the list under the line that narrows it."""
        with Vertical():
            yield Static(Content(_TITLES[self._wanted]))
            yield Input(compact=True)
            grid = ListGrid()
            grid.can_focus = False
            yield grid
            yield Static(id="fault")
            yield KeyLine()

    def on_mount(self) -> None:
        """List the folder."""
        if not self.query("*"):
            return  # closed again by the very next key, before anything stood in it
        self._enter(self._folder)
        self._say(self._first_fault)

    def on_resize(self) -> None:
        """Fit the list to the room."""
        self.call_after_refresh(self._list)

    @property
    def _ready_words(self) -> str:
        return "Ready schedules" if self._wanted == "schedule" else "From an invented workshop"

    def _say(self, fault: str) -> None:
        self.query_one("#fault", Static).update(Content(plain(fault)))

    def _enter(self, folder: Path) -> None:
        try:
            self._inside = choices(folder, self._wanted)
        except FiringError as error:
            self._say(str(error))
            return
        self._folder = folder
        line = self.query_one(Input)
        with line.prevent(Input.Changed):
            line.value = ""
        self._say("")
        self._list()
        files = [n for n, c in enumerate(self._shown) if c is not None and not c.folder]
        self.query_one(ListGrid).go(files[0] if files else 0)

    def _list(self) -> None:
        typed = self.query_one(Input).value
        grid = self.query_one(ListGrid)
        rows: list[GridRow] = []
        self._shown = []
        for heading, found in (
            (str(self._folder), matching(self._inside, typed)),
            (self._ready_words, matching(self._ready, typed)),
        ):
            if found:
                rows.append(GridRow((heading,), heading=True))
                self._shown.append(None)
            rows += [GridRow((choice.words, choice.note)) for choice in found]
            self._shown += found
        room = max(grid.size.width - 4, 20)
        name = min(max((len(c.words) for c in self._shown if c is not None), default=10), room - 14)
        name = max(name, room // 2)
        grid.fill([GridColumn("name", "", name), GridColumn("note", "", max(room - name, 1))], rows)

    def on_input_changed(self, _message: Input.Changed) -> None:
        """Narrow the list."""
        self._say("")
        self._list()
        self.query_one(ListGrid).go(0)

    def on_list_grid_chosen(self, _message: ListGrid.Chosen) -> None:
        """Take what was clicked."""
        self._take(self._current())

    def _current(self) -> Choice | None:
        row = self.query_one(ListGrid).row
        return self._shown[row] if row < len(self._shown) else None

    def action_step(self, by: int) -> None:
        """Move in the list."""
        self.query_one(ListGrid).action_step(by)

    def action_page(self, by: int) -> None:
        """Move in the list by a page."""
        self.query_one(ListGrid).action_page(by)

    def action_fill(self) -> None:
        """Put the current name into the line."""
        choice = self._current()
        if choice is not None and choice.path is not None:
            self.query_one(Input).value = str(choice.path)
            self.query_one(Input).cursor_position = len(str(choice.path))

    def action_take(self) -> None:
        """Take the path typed, or else what is chosen in the list."""
        typed = self.query_one(Input).value.strip()
        if typed:
            path = typed_path(typed, self._folder)
            try:
                is_folder, exists = path.is_dir(), path.exists()
            except (OSError, ValueError):
                is_folder = exists = False
            if is_folder:
                self._enter(path.resolve())
                return
            if exists:
                self.dismiss(Choice(path.name, path=path))
                return
        self._take(self._current())

    def _take(self, choice: Choice | None) -> None:
        if choice is None:
            self._say("There is no such file, and none in the list; type another part or a path.")
        elif choice.folder and choice.path is not None:
            self._enter(choice.path.resolve())
        else:
            self.dismiss(choice)

    def action_none(self) -> None:
        """Leave everything as it is."""
        self.dismiss(None)
