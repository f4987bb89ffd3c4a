"""Which channel of a log stands for the kiln."""

import numpy as np

from firing.errors import FiringError
from firing.logs import words
from firing.logs.reader import Log
from firing.logs.text import neutral


def pick_channel(log: Log, which: str | int | None = None) -> int:
    """Return the place, from 0, of the channel that stands for the kiln.

    Parameters
    ----------
    log : Log
        The log.
    which : str or int, optional
        A channel's name, or its number from 1.  With none given: the channel whose name is that
        of the kiln or its controller, else the first with the most usable readings.

    Raises
    ------
    FiringError
        If there is no such channel.
    """
    channels = log.trace.channels
    if which is None:
        named = [index for index, name in enumerate(channels) if words.names_kiln(name)]
        alive = [index for index in named if log.unusable[index] < log.used]
        return alive[0] if alive else int(np.argmin(log.unusable))
    wanted = str(which).strip()
    written = {column.name: column.written.casefold() for column in log.dialect.channel_columns}
    for index, name in enumerate(channels):
        if wanted.casefold() in (name.casefold(), written.get(name, "")):
            return index
    if wanted.isdecimal() and 1 <= int(wanted) <= len(channels):
        return int(wanted) - 1
    listed = ", ".join(f"{index} ({name})" for index, name in enumerate(channels, start=1))
    raise FiringError(f'{log.name} has no channel "{neutral(wanted)}"; its channels are {listed}')


def describe_channel(log: Log, index: int, which: str | int | None = None) -> str:
    """Return a sentence saying which channel `pick_channel` took and why."""
    channels = log.trace.channels
    taken = f'channel {index + 1} "{channels[index]}"'
    if len(channels) == 1:
        return f"the kiln's temperature is {taken}, the only one"
    others = ", ".join(
        f"{place + 1} ({name})" for place, name in enumerate(channels) if place != index
    )
    if which is not None:
        return f"the kiln's temperature is {taken}, as told; the others are {others}"
    if words.names_kiln(channels[index]):
        why = "by its name"
    else:
        why = "the first with the most usable readings"
    return f"the kiln's temperature is {taken}, {why}; --channel takes another: {others}"
