"""What the terminal shows already, and the least that makes it show something else.

A widget that changes draws all of itself, and over a slow line every cell counts.  So what is to be
drawn is set against what stands there, and only the cells that differ are sent.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache

from rich.cells import cell_len
from rich.color import ColorSystem
from rich.console import Console
from rich.control import Control
from rich.segment import Segment
from textual._compositor import CompositorUpdate
from textual.strip import Strip

Cell = tuple[str, str]
"""A character and how it looks: the figures of a terminal's own sequence."""

_BRIDGED = 8
"""Cells that have not changed are sent again if there are fewer: moving the cursor costs more."""

_ASCII: dict[int, str] = {
    ord(mark): plain
    for marks, plain in (
        ("─┄╌═–—−▁", "-"),
        ("━┯", "="),
        ("│┃┆║▏▕", "|"),
        ("┌┐└┘├┤┬┴┼╭╮╰╯", "+"),
        ("█▓■▇▆▅▄", "#"),
        ("▒░▃▂", ":"),
        ("▸›→", ">"),
        ("‹←", "<"),
        ("·…", "."),
        ("“”", '"'),
        ("°’‘", "'"),
        ("×✓", "x"),
        ("↓", "v"),
        ("±", "~"),
    )
    for mark in marks
}
_ENDS = {"1": "22", "2": "22", "3": "23", "4": "24", "5": "25", "7": "27", "9": "29"}
"""What ends an attribute.  Bold and dim have one end for both."""
_BRAILLE, _MANY_DOTS = range(0x2800, 0x2900), 3


def ascii_terminal(environment: Mapping[str, str]) -> bool:
    """Whether the locale says that the terminal shows ASCII alone; one that says nothing does not.

    Python puts its own UTF-8 beside a plain C locale: what the person set stands behind it.
    """
    named = environment.get("LC_ALL") or environment.get("LC_CTYPE") or ""
    if named in ("", "C.UTF-8") and not environment.get("LC_ALL"):
        named = environment.get("LANG") or ""
    return bool(named) and "utf" not in named.casefold()


def in_ascii(character: str) -> str:
    """Return what stands for a character where there is ASCII alone, as wide as it is."""
    if character.isascii():
        return character
    code = ord(character[0])
    if code in _BRAILLE:
        dots = (code - _BRAILLE.start).bit_count()
        return " " if not dots else "*" if dots >= _MANY_DOTS else "."
    return _ASCII.get(code, "?" * max(cell_len(character), 1))


class Painting:
    """The cells that a terminal shows, as far as they are known."""

    def __init__(self, *, ascii_only: bool = False) -> None:
        self.ascii_only = ascii_only
        self._rows: dict[int, dict[int, Cell]] = {}

    def forget(self) -> None:
        """Know nothing of what the terminal shows: it was resized, or drawn on."""
        self._rows.clear()

    def sequence(self, update: CompositorUpdate, console: Console) -> str:
        """Return what makes the terminal show an update, and remember that it does."""
        system = console._color_system or ColorSystem.TRUECOLOR
        parts: list[str] = []
        for y, row in self._drawn(update, console, system).items():
            parts += self._changes(y, row)
            self._rows.setdefault(y, {}).update(row)
        return "".join(parts)

    def _drawn(
        self, update: CompositorUpdate, console: Console, system: ColorSystem
    ) -> dict[int, dict[int, Cell]]:
        """Return the cells of an update by row and column; a wide one is followed by an empty."""
        found: dict[int, dict[int, Cell]] = {}
        x = y = 0
        for segment in update.__rich_console__(console, console.options):  # type: ignore[attr-defined]  # every update draws itself so
            assert isinstance(segment, Segment)
            if segment.control:
                # Textual moves by nothing else: row and column, from 1.
                y, x = (int(part) - 1 for part in segment.text[2:-1].split(";"))
                continue
            if segment.text == "\n":
                continue
            style = segment.style
            look = "" if style is None else style._ansi
            if look is None and style is not None:
                look = Strip.render_ansi(style, system)
            row = found.setdefault(y, {})
            for character in self._characters(segment.text):
                row[x] = character, look or ""
                wide = 1 if character.isascii() else max(cell_len(character), 1)
                for _ in range(wide - 1):
                    x += 1
                    row[x] = "", look or ""
                x += 1
        return found

    def _characters(self, text: str) -> Iterator[str]:
        """Yield what stands in one cell each, a mark that has no width with what it is put on."""
        if text.isascii():
            yield from text
            return
        held = ""
        for character in text:
            if held and cell_len(character) == 0:
                held += character
                continue
            if held:
                yield in_ascii(held) if self.ascii_only else held
            held = character
        if held:
            yield in_ascii(held) if self.ascii_only else held

    def _changes(self, y: int, row: dict[int, Cell]) -> Iterator[str]:
        before = self._rows.get(y, {})
        # Half of a wide character cannot be drawn: such a row is drawn as a whole.
        wide = any(not cell[0] for cell in (*row.values(), *before.values()))
        changed = sorted(x for x, cell in row.items() if wide or before.get(x) != cell)
        start = 0
        for number, x in enumerate(changed):
            ends = number + 1 == len(changed)
            following = x if ends else changed[number + 1]
            gap = following - x - 1
            if not ends and gap < _BRIDGED and all(n in row for n in range(x, following)):
                continue
            yield from _run(y, changed[start], [row[n] for n in range(changed[start], x + 1)])
            start = number + 1


@lru_cache(maxsize=512)
def _parts(look: str) -> tuple[frozenset[str], str, str]:
    """Return a look's attributes, its colour and that of its ground."""
    codes = look.split(";") if look else []
    attributes: set[str] = set()
    front = ground = ""
    while codes:
        code = codes.pop(0)
        if code in ("38", "48"):
            taken = 4 if codes[:1] == ["2"] else 2
            colour = ";".join([code, *codes[:taken]])
            del codes[:taken]
        else:
            colour = code
        number = int(code)
        if number == 38 or 30 <= number <= 37 or 90 <= number <= 97:
            front = colour
        elif number == 48 or 40 <= number <= 47 or 100 <= number <= 107:
            ground = colour
        else:
            attributes.add(code)
    return frozenset(attributes), front, ground


@lru_cache(maxsize=2048)
def _change(look: str, wanted: str) -> str:
    """Return the sequence from one look to another: only what is different of them."""
    if not wanted:
        return "\x1b[0m"
    (had, front, ground), (has, new_front, new_ground) = _parts(look), _parts(wanted)
    if not had <= has | _ENDS.keys() or "22" in {_ENDS.get(code, "") for code in had & has}:
        return f"\x1b[0;{wanted}m"
    codes = [_ENDS[code] for code in sorted(had - has)] + sorted(has - had)
    if front != new_front:
        codes.append(new_front or "39")
    if ground != new_ground:
        codes.append(new_ground or "49")
    return f"\x1b[{';'.join(codes)}m"


def _run(y: int, x: int, cells: list[Cell]) -> Iterator[str]:
    """Return what draws cells beside each other."""
    yield Control.move_to(x, y).segment.text
    look = ""
    for character, wanted in cells:
        if wanted != look:
            yield _change(look, wanted)
            look = wanted
        yield character
    if look:
        yield "\x1b[0m"


class ChangesOnly(CompositorUpdate):
    """An update of which only what the terminal does not show yet is sent."""

    def __init__(self, update: CompositorUpdate, painting: Painting) -> None:
        self._update, self._painting = update, painting

    def render_segments(self, console: Console) -> str:
        """Return what is to be sent."""
        return self._painting.sequence(self._update, console)
