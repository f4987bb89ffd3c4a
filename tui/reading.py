"""The form of how a log is read; its fields are named like the options that refusals speak of."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from tui.screens.filling import Blank, Filling
from tui.session import LogChoice

if TYPE_CHECKING:
    from textual.app import App

    from firing.review.verdict import Review

_OPEN = ("", "as found")
_OPTIONS = (
    ("unit", "--unit", "of the temperatures", ("C", "F")),
    ("time_unit", "--time-unit", "of times that are bare numbers", ("ms", "s", "min", "h", "d")),
    ("date_order", "--date-order", "day or month first", ("dmy", "mdy", "ymd")),
    ("decimal", "--decimal", "the decimal mark", (".", ",")),
)


async def fill_reading(
    app: App[Any], log: LogChoice, review: Review | None, trouble: str
) -> LogChoice | None:
    """Let the form be filled in; returns the log with its options, or None.

    Parameters
    ----------
    app : App
        What shows it.
    log : LogChoice
        The log and its options so far.
    review : Review or None
        The review, if the log could be read: it knows the channels.
    trouble : str
        What the last reading was refused for.
    """
    channels = "" if review is None else ", ".join(review.log.trace.channels)
    started = None if review is None else review.log.trace.started
    blanks = [
        Blank(
            "channel",
            "--channel",
            log.channel or "",
            f"The kiln's column, by name or number; empty to find it. {channels}".strip(),
        )
    ]
    blanks += [
        Blank(
            key,
            label,
            str(log.reading.get(key) or ""),
            f"{words}; ← → changes it.",
            options=[_OPEN, *((value, value) for value in values)],
        )
        for key, label, words, values in _OPTIONS
    ]
    blanks.append(
        Blank(
            "due",
            "--start",
            "" if log.due is None else f"{log.due:%Y-%m-%d %H:%M}",
            "When it was meant to start, like 07:30; empty if that does not matter.",
            lambda text: _moment(text, started),
        )
    )
    filled = await app.push_screen_wait(Filling(f"Reading {log.path.name}", blanks, trouble))
    if filled is None:
        return None
    reading = {key: filled[key] or None for key, *_ in _OPTIONS}
    return LogChoice(log.path, filled["channel"].strip() or None, filled["due"], reading)


def _moment(text: str, near: datetime | None) -> datetime | None:
    from firing.cli.arguments import parse_when

    return parse_when(text, near=near) if text.strip() else None
