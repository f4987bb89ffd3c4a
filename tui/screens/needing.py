"""What a job cannot do without, chosen before it begins."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..equipment import Kind

if TYPE_CHECKING:
    from .plan_actions import SettingScreen


async def needed(screen: SettingScreen, kind: Kind, why: str) -> bool:
    """Say what is missing and offer to choose it; returns whether there is one then.

    Parameters
    ----------
    screen : SettingScreen
        Where it is chosen.
    kind : {"kiln", "load", "controller", "tariff"}
        What the job needs.
    why : str
        What for, as the beginning of a sentence.
    """
    await screen.all_read()
    if screen.session.circumstances.studio.of(kind) is None:
        question = f"{why}, and no {kind} is chosen."
        answer = await screen.ask(
            question, ("choose", f"Choose the {kind}"), ("leave", "Leave the plan as it is")
        )
        if answer == "choose":
            await screen.choose_studio(kind)
    return screen.session.circumstances.studio.of(kind) is not None
