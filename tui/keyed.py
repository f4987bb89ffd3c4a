"""The card of a plan: what is keyed into the controller chosen, forecast as it is keyed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from firing.errors import FiringError
from firing.schedule.schedule import Schedule

from .equipment import up_to_date
from .outlook import Circumstances, foresee

if TYPE_CHECKING:
    from firing.report.card import Card


def card_of(schedule: Schedule, circumstances: Circumstances) -> Card:
    """Return the card of a plan.

    Parameters
    ----------
    schedule : Schedule
        The plan.
    circumstances : Circumstances
        With the controller that takes it, and what the card's times are forecast under.

    Raises
    ------
    FiringError
        If no controller is chosen, a segment cannot be keyed into it, or there is no forecast.
    """
    from firing.controller.program import key_in
    from firing.report.card import Card

    studio = up_to_date(circumstances.studio).studio
    controller = studio.controller
    if controller is None:
        raise FiringError("a card is made for a controller; choose one")
    program = key_in(schedule, controller.value)
    return Card(program, foresee(program.schedule, replace(circumstances, studio=studio)))
