"""What the plan is fired with: one sheet for the kiln, the load, the controller and the tariff."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Static

from firing.errors import FiringError
from firing.files.kinds import file_kind
from firing.report.sanitize import plain, whole_words
from firing.units import TemperatureUnit

from ..equipment import KINDS, Equipment, Kind, reread, short, with_file
from ..widgets.grid import GridColumn, GridRow, ListGrid
from ..widgets.lines import KeyLine

if TYPE_CHECKING:
    from .plan_host import PlanHost

Step = tuple[str, Kind]
"""What is to be done, and with which kind of file."""

_WITHOUT: dict[Kind, str] = {
    "kiln": "programmed hours and a default cooling curve",
    "load": "a typical load for the kiln's volume",
    "controller": "its clock is taken to wait when the kiln lags",
    "tariff": "no cost is shown",
}


class EquipmentSheet(ModalScreen[Step | None]):
    """Four rows, one a kind of file; escape goes back to the plan."""

    HELP_TITLE = "Kiln, load, controller, tariff"
    HELP_WORDS = (
        "The forecast is made with what stands here; it is kept for the next time.",
        "A file that changes on disk is read again with the next forecast.",
    )
    DEFAULT_CSS = """
    EquipmentSheet { align: center middle; }
    EquipmentSheet > Vertical { width: 96%; max-width: 110; height: auto; background: $surface;
                             border: round $primary; padding: 0 1; }
    EquipmentSheet Static { height: auto; }
    EquipmentSheet #title { text-style: bold; margin-bottom: 1; }
    EquipmentSheet ListGrid { height: 4; background: $surface; margin-bottom: 1; }
    EquipmentSheet #about { min-height: 3; max-height: 8; color: $quiet; }
    EquipmentSheet #about.fault { color: $error; text-style: bold; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "step('choose')", "Choose", tooltip="Choose a file or an example"),
        Binding(
            "e,f2", "step('edit')", "Edit", key_display="E", tooltip="Change what the file says"
        ),
        Binding("ctrl+n,insert", "step('new')", "New", tooltip="Describe a new one"),
        Binding("delete,backspace", "step('none')", "None", tooltip="Go on without one"),
        Binding("escape", "close", "Back to the plan"),
    ]

    def __init__(
        self, equipment: Equipment, troubles: Mapping[Kind, str], row: int, unit: TemperatureUnit
    ) -> None:
        super().__init__()
        self._unit = unit
        self._equipment, self._troubles, self._first = equipment, troubles, row

    def compose(self) -> ComposeResult:
        """Put the rows above what there is to say of the current one."""
        with Vertical():
            yield Static("What the plan is fired with", id="title")
            yield ListGrid()
            yield Static(id="about")
            yield KeyLine()

    def on_mount(self) -> None:
        """Begin on the row last used."""
        if not self.query("*"):
            return  # closed again by the very next key, before anything stood in it
        grid = self.query_one(ListGrid)
        grid.focus()
        self._list()
        grid.go(self._first)
        self._tell()

    def on_resize(self) -> None:
        """Fit the rows to the room."""
        self.call_after_refresh(self._list)

    def _list(self) -> None:
        room = max(self.query_one(ListGrid).size.width or 70, 40)
        what, name = 10, min(max((room - 14) // 3, 16), 30)
        rest = room - what - name - 4
        columns = [
            GridColumn("what", "", what),
            GridColumn("name", "", name),
            GridColumn("about", "", rest),
        ]
        rows = []
        for kind in KINDS:
            found = self._equipment.of(kind)
            if found is None:
                rows.append(GridRow((kind, "none", whole_words(_WITHOUT[kind], rest))))
            else:
                about = plain(file_kind(kind).described(found.value, self._unit))
                rows.append(GridRow((kind, short(found.name), whole_words(about, rest))))
        self.query_one(ListGrid).fill(columns, rows)

    @property
    def _kind(self) -> Kind:
        return KINDS[min(self.query_one(ListGrid).row, len(KINDS) - 1)]

    def _tell(self) -> None:
        kind = self._kind
        found, trouble = self._equipment.of(kind), self._troubles.get(kind, "")
        if trouble:
            words = trouble
        elif found is None:
            words = f"No {kind} is chosen: {_WITHOUT[kind]}."
        else:
            words = f"{found.name}\n{file_kind(kind).described(found.value, self._unit)}"
        about = self.query_one("#about", Static)
        about.update(Content("\n".join(map(plain, words.split("\n")))))
        about.set_class(bool(trouble), "fault")
        self.refresh_bindings()

    def on_list_grid_moved(self, message: ListGrid.Moved) -> None:
        """Tell of the row."""
        message.stop()
        self._tell()

    def on_list_grid_chosen(self, message: ListGrid.Chosen) -> None:
        """A click selects; nothing more happens."""
        message.stop()
        self._tell()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer only what applies."""
        if action == "step" and self.is_mounted:
            found = self._equipment.of(self._kind)
            if parameters == ("none",):
                return found is not None
            if parameters == ("edit",):
                return found is not None
        return True

    def action_step(self, what: str) -> None:
        """Have something done with the current row."""
        self.dismiss((what, self._kind))

    def action_close(self) -> None:
        """Go back to the plan."""
        self.dismiss(None)


async def choose_equipment(screen: PlanHost, kind: Kind = "kiln") -> Equipment | None:
    """Let kiln, load, controller and tariff be chosen and edited, beginning with one kind.

    Returns what is chosen now; None if nothing is different.
    """
    before = screen.session.circumstances.equipment
    reading = await asyncio.to_thread(reread, before)
    equipment, troubles = reading.equipment, dict(reading.troubles)
    row = KINDS.index(kind)
    while True:
        unit = screen.session.document.schedule.unit
        step = await screen.app.push_screen_wait(EquipmentSheet(equipment, troubles, row, unit))
        if step is None:
            return None if equipment is before else equipment
        what, kind = step
        row = KINDS.index(kind)
        troubles.pop(kind, None)
        try:
            equipment = await _do_step(screen, equipment, what, kind)
        except FiringError as error:
            troubles[kind] = str(error)


async def _do_step(screen: PlanHost, equipment: Equipment, what: str, kind: Kind) -> Equipment:
    """Do one thing, and return what is chosen then.

    Raises `FiringError` if a file cannot be read.
    """
    if what == "none":
        return with_file(equipment, kind, None)
    if what == "choose":
        return await _choose_file(screen, equipment, kind)
    found = equipment.of(kind)
    name = None if what == "new" or found is None else found.name
    from .form import edit_file

    saved = await edit_file(screen, kind, name)
    return (
        equipment if saved is None else await asyncio.to_thread(with_file, equipment, kind, saved)
    )


async def _choose_file(screen: PlanHost, equipment: Equipment, kind: Kind) -> Equipment:
    """Let a file be chosen; one with faults leads back to the choice, with the faults in words."""
    from .file_chooser import FileChooser

    found, plan = equipment.of(kind), screen.session.document.path
    beside = plan if found is None or found.stamp is None else Path(found.name)
    folder = Path.cwd() if beside is None else beside.resolve().parent
    fault = ""
    while True:
        choice = await screen.app.push_screen_wait(FileChooser(kind, folder, fault))
        if choice is None:
            return equipment
        name = choice.ready or str(choice.path)
        try:
            return await asyncio.to_thread(with_file, equipment, kind, name)
        except FiringError as error:
            fault = str(error)
            folder = folder if choice.path is None else choice.path.resolve().parent
