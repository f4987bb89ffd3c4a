"""Single lines: the title of a screen, the keys that apply, and five for who is here first."""

from collections.abc import Iterable

from rich.text import Text
from textual import events
from textual.binding import Binding
from textual.content import Content
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Static

from firing.report.sanitize import display_width, plain, shorten

_KEY_WORDS = {
    "escape": "esc",
    "delete": "del",
    "insert": "ins",
    "pageup": "pgup",
    "pagedown": "pgdn",
    "full_stop": ".",
    "comma": ",",
    "plus": "+",
    "minus": "-",
    "left": "←",
    "right": "→",
    "up": "↑",
    "down": "↓",
}


def key_words(binding: Binding) -> str:
    """Return a binding's key as it is written on a keyboard."""
    if binding.key_display:
        return binding.key_display
    *held, key = binding.key.split(",")[0].split("+")
    key = _KEY_WORDS.get(key, key)
    if held == ["ctrl"]:
        return f"^{key.upper() if len(key) == 1 else key}"
    name = key.upper() if key.startswith("f") and key[1:].isdigit() else key
    return "+".join([*held, name])


# Before all others, or a small screen on top of another would swallow it.
HELP = Binding(
    "f1", "help", "Help", priority=True, tooltip="The keys of this screen; ? shows them, too"
)

_FIRST = {
    "help": 0, "acknowledge": 1, "snooze": 2, "save": 3, "undo": 4, "commands": 5, "quit": 6,
    "fix": 7, "drop": 7, "align": 7, "mark": 7, "lay_over": 7, "find": 7,
    "leave": 8, "in_plan": 8, "back": 9,
}  # fmt: skip
"""Actions whose keys stand first: what somebody lost looks for, and what waits for an answer."""


class TitleLine(Static):
    """What is open, and whether it has changed."""

    DEFAULT_CSS = """
    TitleLine { height: 1; background: $panel; color: $foreground; text-style: bold; padding: 0 1; }
    """

    _shown: tuple[str, str] | None = None

    def on_resize(self) -> None:
        """Share the new width."""
        if self._shown is not None:
            self.show(*self._shown)

    def show(self, left: str, right: str) -> None:
        """Show a title, and on the right what there is to say of it."""
        self._shown = left, right
        width = max((self.size.width or self.app.size.width - 2), 1)
        right = shorten(plain(right), width // 2)
        left = shorten(plain(left), max(width - display_width(right) - 2, 1))
        gap = max(width - display_width(left) - display_width(right), 1)
        self.update(Text(left + " " * gap + right))


class KeyLine(Widget):
    """The keys that apply where the cursor is, as many as fit; a click presses one."""

    DEFAULT_CSS = """
    KeyLine { height: 1; background: $panel; color: $quiet; padding: 0 1; }
    """

    def __init__(self) -> None:
        super().__init__()
        self._placed: list[tuple[int, int, str]] = []

    def on_click(self, event: events.Click) -> None:
        """Press the key that was clicked."""
        event.stop()
        at = event.get_content_offset_capture(self).x
        for begins, ends, key in self._placed:
            if begins <= at < ends:
                self.app.simulate_key(key)

    def on_mount(self) -> None:
        """Listen for other keys."""
        self.screen.bindings_updated_signal.subscribe(self, self._changed)

    def _changed(self, _screen: Screen[object]) -> None:
        self.refresh()

    def render(self) -> Text:
        """Return the line."""
        text = Text(no_wrap=True, overflow="ellipsis")
        self._placed = []
        key_style = f"bold {self.app.theme_variables.get('foreground', '')}".strip()
        room = self.size.width
        for binding in self._applying():
            words = f"{key_words(binding)} {binding.description}"
            if display_width(words) > room:
                if binding.action in _FIRST:
                    continue
                break
            begins = self.size.width - room
            self._placed.append((begins, begins + display_width(words), binding.key))
            text.append(key_words(binding), key_style)
            text.append(f" {binding.description}   ")
            room -= display_width(words) + 3
        return text

    def _applying(self) -> Iterable[Binding]:
        seen: set[str] = set()
        bindings = [a.binding for a in self.screen.active_bindings.values() if a.enabled]
        # A screen on top of another does not know the program's keys; this one works there, too.
        bindings += [HELP] if self.screen.is_modal else []
        for each in sorted(bindings, key=lambda one: _FIRST.get(one.action, len(_FIRST))):
            if each.show and each.action not in seen and each.description:
                seen.add(each.action)
                yield each


TOUR = (
    "Type on a cell to change it; tab goes on, ^Z takes back.",
    "The curve and the lines below it follow; F6 goes to it.",
    "^K: kiln and load.  ^G: design a safe plan.  ^T: the card.",
    "^L: watch a firing.  F7: review a log.  F11: the logbook.",
    "^P: all commands.  ?: help, this again.  esc: close it.",
)


class Tour(Static):
    """Five lines for somebody who is here for the first time, until escape or a click."""

    DEFAULT_CSS = """
    Tour { height: auto; padding: 0 1; background: $marked; color: $foreground; }
    """

    def __init__(self) -> None:
        super().__init__(Content("\n".join(TOUR)))

    def on_click(self) -> None:
        """Go away."""
        self.remove()
