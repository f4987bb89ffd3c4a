"""The contributors' map shows the house as it is."""

import re
from pathlib import Path

import pytest
from test_house import FLOOR

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
ROWS = re.findall(r"^\| `([a-z_]+)(?:/|\.py)` \| (.*) \|$", TEXT, re.M)
"""The rooms of the map, from the roof down, and what is said of each."""


def test_every_room_is_in_the_map_on_its_floor() -> None:
    rooms = [room for room, _ in ROWS]
    assert sorted(rooms) == sorted(FLOOR)
    floors = [FLOOR[room] for room in rooms]
    assert floors == sorted(floors, reverse=True)


@pytest.mark.parametrize(("room", "words"), ROWS)
def test_what_a_room_begins_with_is_there(room: str, words: str) -> None:
    folder = ROOT / room if room == "tui" else ROOT / "firing" / room
    for name in re.findall(r"`([\w/]+(?:\.py|\.toml|/))`", words):
        assert (folder / name).exists() or (ROOT / "firing" / name).exists(), name


def test_every_path_in_the_text_is_there() -> None:
    outside = TEXT[: TEXT.index("## The house")] + TEXT[TEXT.index("Beside the rooms:") :]
    for name in re.findall(r"`([\w./]+(?:\.py|\.toml|\.csv|/))`", outside):
        assert (ROOT / name).exists() or (ROOT / "firing" / name).exists(), name
