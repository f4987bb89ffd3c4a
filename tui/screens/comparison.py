"""A plan made for the load: what is wanted, the design under way, and the choice it leads to.

The design stands beside the present plan: both curves, what both come to, and every reason.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar, Literal

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from firing.errors import FiringError
from firing.report.sanitize import plain, shorten, wrap

from ..comparison import ComparisonRow, PlanComparison, both_plans, rows, verdict
from ..design_form import WantedDesign, begin, continued, design_fields, top_gives_way
from ..widgets import grid
from ..widgets.curve import Curve
from ..widgets.lines import KeyLine, TitleLine
from .dialogs import Ask, PrintedText, Sheet, in_progress
from .filling import Filling

if TYPE_CHECKING:
    from firing.schedule.schedule import Schedule

    from .plan_host import PlanHost


Answer = Literal["take", "change"]

_LIST, _LEAST_CURVE = 50, 28
_VERDICT, _MORE = 3, "  F4 shows all"


class ComparisonList(grid.ListGrid):
    """What both plans come to, and their segments side by side."""

    HELP_TITLE = "The two plans"
    HELP_WORDS = (
        "On the left the plan as it is now, on the right the designed one.",
        "~ between them: changed; + only in the designed one; − only in the present one.",
        "The text below says why; the cross-hair goes to the end of the segment.",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "read", "Read", tooltip="Read all there is to say of the line"),
    ]

    class Read(grid.ListGrid.Moved):
        """All there is to say of the line is to be read."""

    def action_read(self) -> None:
        """Have it read."""
        self.post_message(self.Read(self))


class ComparisonScreen(Screen[Answer | None]):
    """The choice between a designed plan and the present one; escape leaves it as it is."""

    HELP_TITLE = "A designed plan"
    HELP_WORDS = ("Both are forecast with the same kiln, load, start and opening temperature.",)
    DEFAULT_CSS = """
    ComparisonScreen { layout: vertical; }
    ComparisonScreen #verdict { height: auto; padding: 0 1; background: $surface; }
    ComparisonScreen #verdict.fault { color: $error; text-style: bold; }
    ComparisonScreen #body { height: 1fr; }
    ComparisonScreen #curve { width: 1fr; }
    ComparisonScreen #details { height: 6; padding: 0 1; background: $surface;
                         border-top: solid $panel; scrollbar-size: 1 1; }
    ComparisonScreen #details-text { height: auto; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+s", "take", "Take it", tooltip="Take the designed plan; undo takes it back"),
        Binding("f2", "change", "Change wish", tooltip="Back to what the design is for"),
        Binding("escape", "leave", "Leave it", tooltip="Leave the plan as it is"),
        Binding(
            "f4", "all", "All reasons",
            tooltip="The design in full, as the command line prints it",
        ),
        Binding("f5", "cautions", "Cautions", tooltip="What can hurt people, with this design"),
        Binding(
            "tab,f6", "other", "Curve", show=False,
            tooltip="From the list to the curve and back",
        ),
        Binding("shift+tab", "other", "Curve", show=False),
    ]  # fmt: skip

    def __init__(self, found: PlanComparison) -> None:
        super().__init__()
        self.found = found
        self._rows: list[ComparisonRow] = []

    def compose(self) -> ComposeResult:
        """Put the list beside the curves, the verdict above and the details below."""
        yield TitleLine()
        yield Static(id="verdict")
        with Horizontal(id="body"):
            yield ComparisonList(id="list")
            yield Curve(id="curve")
        with VerticalScroll(id="details", can_focus=False):
            yield Static(id="details-text")
        yield KeyLine()

    def on_mount(self) -> None:
        """Show both."""
        found = self.found
        if not self.query(Curve):
            return  # closed again by the very next key, before anything stood in it
        curve = self.query_one(Curve)
        curve.placeholder = "no forecast"
        curve.show(both_plans(found))
        self.query_one(ComparisonList).focus()

    def on_resize(self) -> None:
        """Share the width between the list and the curves."""
        wide = max(_LIST, min(self.size.width // 2 + 4, 90))
        width = min(wide, self.size.width - _LEAST_CURVE)
        self.query_one(ComparisonList).styles.width = width
        self.query_one("#details").styles.height = 6 if self.size.height < 30 else 9
        self.query_one(TitleLine).show(
            f"Designed: {self.found.design.schedule.title}", "beside the plan as it is"
        )
        self._judge()
        self.call_after_refresh(self._list)

    def _judge(self) -> None:
        words, fault = verdict(self.found)
        lines = wrap(plain(words), max(self.size.width - 2, 20))
        if len(lines) > _VERDICT:
            rest = shorten(" ".join(lines[_VERDICT - 1 :]), self.size.width - 2 - len(_MORE))
            lines = [*lines[: _VERDICT - 1], rest + _MORE]
        text = self.query_one("#verdict", Static)
        text.update(Content("\n".join(lines)))
        text.set_class(fault, "fault")

    def _list(self) -> None:
        table = self.query_one(ComparisonList)
        # One cell is the cursor's, one a gap's and one the scrollbar's.
        room = max(table.region.width - 3, 20)
        self._rows = rows(self.found, room)
        table.fill(
            [grid.GridColumn("words", "", room)],
            [grid.GridRow((row.words,), heading=row.heading) for row in self._rows],
        )
        self._tell()

    def _tell(self) -> None:
        number = self.query_one(ComparisonList).row
        if number >= len(self._rows):
            return
        row = self._rows[number]
        self.query_one("#details-text", Static).update(Content("\n".join(map(plain, row.details))))
        self.query_one("#details", VerticalScroll).scroll_home(animate=False)
        self.query_one(Curve).point(row.at_s)

    def on_list_grid_moved(self, message: grid.ListGrid.Moved) -> None:
        """Tell of the line, and point at where it is on the curves."""
        message.stop()
        self._tell()

    def on_list_grid_chosen(self, message: grid.ListGrid.Chosen) -> None:
        """A click only selects."""
        message.stop()
        self._tell()

    def on_comparison_list_read(self, message: ComparisonList.Read) -> None:
        """Show all there is to say of the line."""
        message.stop()
        row = self._rows[message.grid.row]
        self.app.push_screen(Sheet(" ".join(row.words.split()), row.details))

    def action_other(self) -> None:
        """Go to the curves, or back to the list."""
        curve = self.query_one(Curve)
        (self.query_one(ComparisonList) if curve.has_focus else curve).focus()

    def action_all(self) -> None:
        """Read the whole design."""
        from firing.report.design import design_report
        from firing.report.text import render_text

        design = self.found.design
        self.app.push_screen(
            PrintedText("The design", lambda width: render_text(design_report(design), width=width))
        )

    def action_cautions(self) -> None:
        """Read the cautions that apply to the designed plan."""
        from firing.safety import cautions_for

        from .dialogs import caution_lines

        plan = self.found.after
        lines = caution_lines(cautions_for(plan.peak_c, plan.purpose), plan.unit)
        self.app.push_screen(Sheet(f"Cautions for: {plan.title}", lines))

    def action_take(self) -> None:
        """Take the designed plan; one that is not safe only after a question."""
        if self.found.design.safe:
            self.dismiss("take")
            return
        words, _ = verdict(self.found)

        def answered(answer: str | None) -> None:
            if answer == "take":
                self.dismiss("take")

        answers = (("leave", "Look at it again"), ("take", "Take it as it is, unsafe"))
        self.app.push_screen(Ask(words, answers), answered)

    def action_change(self) -> None:
        """Go back to what is wanted."""
        self.dismiss("change")

    def action_leave(self) -> None:
        """Leave the plan as it is."""
        self.dismiss(None)


async def design_plan(screen: PlanHost) -> Schedule | None:
    """Have a plan designed, and see it beside the open one; returns it if it is taken."""
    from ..comparison import compare

    if not await screen.needed("load", "A design needs to know the ware"):
        return None
    fault = ""
    while True:
        wanted = await _wanted(screen, fault)
        if wanted is None:
            break
        fault = ""
        session = screen.session
        schedule, circumstances = session.document.schedule, session.circumstances
        try:
            make = partial(compare, schedule, circumstances, wanted)
            found = await in_progress(screen, "Designing", make)
        except FiringError as error:
            fault = str(error)
            continue
        if found is None:
            continue
        answer = await screen.app.push_screen_wait(ComparisonScreen(found))
        if answer == "take":
            return found.after
        if answer is None:
            break
    screen.say("Left as it was.")
    return None


async def _wanted(screen: PlanHost, fault: str) -> dict[str, Any] | None:
    """Let the form be filled in; what was written is kept for the next time."""
    session = screen.session
    schedule, equipment = session.document.schedule, session.circumstances.equipment
    assert equipment.load is not None
    begun = begin(schedule, session.circumstances)
    texts = continued(begun, session.wanted)
    kiln = "no kiln chosen" if equipment.kiln is None else f"in {equipment.kiln.short}"
    title = f"A plan for {equipment.load.short}, {kiln}"
    form = Filling(title, design_fields(schedule.unit), texts, fault)
    filled = await screen.app.push_screen_wait(form)
    if filled is not None and top_gives_way(texts, form.texts):
        filled["top"], form.texts["top"] = None, ""
    if form.texts:
        session.wanted = WantedDesign(begun, form.texts)
    return filled
