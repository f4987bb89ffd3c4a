"""What is sent to a terminal: a terminal of our own shows the same, for far fewer bytes."""

import re

from firing.tui.painting import ChangesOnly, Painting, ascii_terminal, in_ascii
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console
from rich.segment import Segment
from rich.style import Style
from textual._compositor import LayoutUpdate
from textual.geometry import Region
from textual.strip import Strip

_SEQUENCE = re.compile(r"\x1b\[([\d;]*)([Hm])")
WIDTH, HEIGHT = 12, 3


class Terminal:
    """Cells with their looks, drawn by the two sequences that are sent."""

    def __init__(self) -> None:
        self.cells: dict[tuple[int, int], tuple[str, tuple[str, ...]]] = {}
        self.looks: dict[str, str] = {}
        self.x = self.y = 0

    def write(self, text: str) -> None:
        at = 0
        for match in _SEQUENCE.finditer(text):
            self._put(text[at : match.start()])
            at = match.end()
            if match[2] == "H":
                self.y, self.x = (int(part) - 1 for part in match[1].split(";"))
            else:
                self._look(match[1].split(";"))
        self._put(text[at:])

    def _put(self, text: str) -> None:
        for character in text:
            self.cells[self.x, self.y] = character, tuple(sorted(self.looks.values()))
            self.x += 1

    def _look(self, codes: list[str]) -> None:
        while codes:
            code = codes.pop(0)
            number = int(code or 0)
            if number == 0:
                self.looks.clear()
            elif number in (38, 48):
                self.looks[code] = ";".join([code, *codes[:4]])
                del codes[:4]
            elif number in (39, 49):
                self.looks.pop(str(number - 1), None)
            elif number == 22:
                self.looks.pop("1", None)
                self.looks.pop("2", None)
            elif 23 <= number <= 29:
                self.looks.pop(str(number - 20), None)
            else:
                self.looks[code] = code


STYLES = st.sampled_from(
    [
        Style(), Style(bold=True, color="#102030"), Style(dim=True, bgcolor="#102030"),
        Style(underline=True, color="#a0b0c0", bgcolor="#405060"), Style(color="#a0b0c0"),
        Style(bold=True, dim=True), Style(reverse=True, bold=True, bgcolor="#405060"),
    ]
)  # fmt: skip
ROWS = st.lists(
    st.lists(st.tuples(st.sampled_from("ab ⠿°"), STYLES), min_size=WIDTH, max_size=WIDTH),
    min_size=HEIGHT,
    max_size=HEIGHT,
)


def update(rows: list[list[tuple[str, Style]]]) -> LayoutUpdate:
    strips = [[Strip([Segment(text, style) for text, style in row])] for row in rows]
    return LayoutUpdate(strips, Region(0, 0, WIDTH, HEIGHT))  # type: ignore[arg-type]  # lists are iterable


@given(st.lists(ROWS, min_size=1, max_size=4))
def test_the_terminal_shows_what_was_drawn(frames: list[list[list[tuple[str, Style]]]]) -> None:
    console = Console(force_terminal=True, color_system="truecolor")
    painting, ours, whole = Painting(), Terminal(), Terminal()
    for frame in frames:
        ours.write(ChangesOnly(update(frame), painting).render_segments(console))
        whole.write(update(frame).render_segments(console).replace("\n", ""))
        assert ours.cells == whole.cells


def test_what_stands_there_is_not_sent_again() -> None:
    console = Console(force_terminal=True, color_system="truecolor")
    painting = Painting()
    row = [(character, Style(bold=True)) for character in "abcdefghijkl"]
    rows = [row, row, row]
    assert "abcdefghijkl" in ChangesOnly(update(rows), painting).render_segments(console)
    assert ChangesOnly(update(rows), painting).render_segments(console) == ""
    changed = [row, [*row[:5], ("X", Style(bold=True)), *row[6:]], row]
    # the sixth cell of the second row, counted from 1
    sent = ChangesOnly(update(changed), painting).render_segments(console)
    assert sent == "\x1b[2;6H\x1b[1mX\x1b[0m"
    painting.forget()
    assert "abcdefghijkl" in ChangesOnly(update(rows), painting).render_segments(console)


def test_a_wide_character_is_never_cut() -> None:
    console = Console(force_terminal=True, color_system="truecolor")
    painting = Painting()
    wide = LayoutUpdate([[Strip([Segment("窯ab", Style())])]], Region(0, 0, 4, 1))
    ChangesOnly(wide, painting).render_segments(console)
    other = LayoutUpdate([[Strip([Segment("x窯b", Style())])]], Region(0, 0, 4, 1))
    assert "x窯b" in ChangesOnly(other, painting).render_segments(console)


def test_an_ascii_locale_gets_ascii() -> None:
    assert ascii_terminal({"LC_ALL": "C"})
    assert ascii_terminal({"LANG": "C", "LC_CTYPE": "C.UTF-8"})
    assert ascii_terminal({"LANG": "de_DE.ISO-8859-1"})
    assert not ascii_terminal({"LANG": "de_DE.UTF-8"})
    assert not ascii_terminal({"LC_ALL": "C.utf8", "LANG": "C"})
    assert not ascii_terminal({})
    for character in "⠁⣿│┤▸…°−–█▒←→×é窯":
        assert in_ascii(character).isascii()
    assert in_ascii("⠀") == " "
    assert in_ascii("窯") == "??"
    console = Console(force_terminal=True, color_system="truecolor")
    strip = [[Strip([Segment("▸1200 °C ⣿", Style())])]]
    sent = ChangesOnly(
        LayoutUpdate(strip, Region(0, 0, 10, 1)), Painting(ascii_only=True)
    ).render_segments(console)  # fmt: skip
    assert ">1200 'C *" in sent
