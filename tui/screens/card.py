"""The card to key a plan in from: shown after the cautions, and written as a page to print."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType

from firing.errors import FiringError

from ..equipment import Circumstances, forecast_fitting, reread
from .dialogs import PrintedText, in_progress

if TYPE_CHECKING:
    from firing.report.card import Card
    from firing.schedule.schedule import Schedule

    from .plan_host import PlanHost


class CardSheet(PrintedText):
    """The card, as the command line prints it."""

    HELP_TITLE = "The card"
    HELP_WORDS = (
        "Figures are converted and rounded for the controller, never faster than the plan.",
        "Tick on paper: once as you key, and once as you read back.",
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f8", "print", "Page to print", tooltip="Write it as a page with boxes to tick"),
    ]

    def __init__(self, card: Card) -> None:
        from firing.report.card import card_report
        from firing.report.text import render_text

        super().__init__("", lambda width: render_text(card_report(card), width=width))
        self.page_wanted = False

    def action_print(self) -> None:
        """Have the page written."""
        self.page_wanted = True
        self.dismiss(None)


def card_of(schedule: Schedule, circumstances: Circumstances) -> Card:
    """Return the card of a plan: what is keyed in, forecast as it is keyed.

    Raises `FiringError` if no controller is chosen, a segment cannot be keyed into it, or there is
    no forecast.
    """
    from firing.controller.program import key_in
    from firing.report.card import Card

    equipment = reread(circumstances.equipment).equipment
    controller = equipment.controller
    if controller is None:
        raise FiringError("a card is made for a controller; choose one")
    program = key_in(schedule, controller.value)
    now = replace(circumstances, equipment=equipment)
    # The card says what it is forecast with; a load that does not fit is no reason to have none.
    return Card(program, forecast_fitting(program.schedule, now)[0])


async def show_card(screen: PlanHost) -> None:
    """Show the card of the open plan; the cautions that apply come once before it."""
    session = screen.session
    if not await screen.needed("controller", "A card is made for a controller"):
        return
    while True:
        schedule, circumstances = session.document.schedule, session.circumstances
        try:
            make = partial(card_of, schedule, circumstances)
            card = await in_progress(screen, "Making the card", make)
            break
        except FiringError as error:
            answer = await screen.ask(
                f"No card: {error}.",
                ("controller", "Choose another controller"),
                ("leave", "Leave it"),
            )
            if answer != "controller":
                return
            await screen.choose_equipment("controller")
    if card is None:
        return
    if session.cautions_unseen():
        await screen.show_cautions()
    await _show(screen, card)


async def _show(screen: PlanHost, card: Card) -> None:
    """Show the card until it is left, or its page is written."""
    from firing.report.card import card_report
    from firing.report.page import render_page

    document = screen.session.document
    stem = (document.path or Path(document.suggested_name)).stem
    while True:
        sheet = CardSheet(card)
        await screen.app.push_screen_wait(sheet)
        if not sheet.page_wanted:
            return
        if await screen.hand_out(f"{stem}-card.html", lambda: render_page(card_report(card))):
            return
