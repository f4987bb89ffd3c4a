"""Waiting for what is under way: whether it comes is judged, never how long it takes."""

import time
from collections.abc import Callable
from typing import Any

from textual.app import App
from textual.pilot import Pilot

PATIENCE_S = 120.0
"""After so long a test says that something never came.  A busy machine is slow; a hang is for ever.
"""


def wait_until(condition: Callable[[], object], what: str = "it never came to this") -> None:
    """Wait for a condition."""
    end_s = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < end_s, what
        time.sleep(0.005)


async def until(pilot: Pilot[Any], condition: Callable[[], object]) -> None:
    """Let the screens go on until a condition holds, and once more."""
    end_s = time.monotonic() + PATIENCE_S
    while not condition():
        assert time.monotonic() < end_s, "it never came to this"
        await pilot.pause(0.005)
    await pilot.pause()


def front(app: App[Any], kind: type, *, exactly: bool = False) -> Callable[[], bool]:
    """Return whether a screen of that kind is in front, with all that is on it."""

    def there() -> bool:
        right = type(app.screen) is kind if exactly else isinstance(app.screen, kind)
        return right and app.screen.is_mounted

    return there
