"""Which room may use which: read from every import, inside functions and for types only, too."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

FLOORS: tuple[tuple[str, ...], ...] = (
    ("errors", "serialise", "version", "viewable"),
    ("units", "arguments"),
    ("trace",),
    ("clock", "sources", "files"),
    ("heat", "cones"),
    ("schedule",),
    ("thermocouple", "safety"),
    ("controller", "ware"),
    ("kiln",),
    ("forecast", "logs"),
    ("review",),
    ("design",),
    ("capture", "logbook"),
    ("watch", "fleet"),
    ("report",),
    ("remote",),
    ("api", "cli", "notebook"),
    ("tui", "__main__"),
)
"""The rooms from the ground up: a room uses what stands below it, and nothing else."""

FLOOR = {room: floor for floor, rooms in enumerate(FLOORS) for room in rooms}


def modules() -> dict[str, Path]:
    """Return every module of the house by its dotted name."""
    found = {}
    for folder, prefix in ((ROOT / "firing", "firing"), (ROOT / "tui", "firing.tui")):
        for path in folder.rglob("*.py"):
            inside = path.relative_to(folder).with_suffix("").parts
            name = ".".join((prefix, *inside)).removesuffix(".__init__")
            found[name] = path
    return found


def imported(name: str, text: str, known: dict[str, Path]) -> Iterator[str]:
    """Yield the modules of the house that one module imports, wherever in its text."""
    is_package = known[name].name == "__init__.py"
    package = name.split(".") if is_package else name.split(".")[:-1]
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name in known)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            source = ".".join([*base, *(node.module or "").split(".")]).rstrip(".")
            for alias in node.names:
                inner = f"{source}.{alias.name}"
                if inner in known:
                    yield inner
                elif source in known:
                    yield source


def arrows() -> dict[str, set[str]]:
    """Return for every module the modules that it imports."""
    known = modules()
    return {
        name: set(imported(name, path.read_text(encoding="utf-8"), known)) - {name}
        for name, path in known.items()
    }


def room_of(module: str) -> str:
    """Return the room a module stands in; the package's own root is no room."""
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else ""


ARROWS = arrows()
ROOMS = sorted({room_of(name) for name in ARROWS} - {""})


def test_every_room_has_its_floor() -> None:
    assert set(ROOMS) == set(FLOOR)


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_uses_only_what_stands_below_it(room: str) -> None:
    wrong = [
        f"{name} -> {target}"
        for name, targets in ARROWS.items()
        for target in targets
        if room_of(name) == room
        and room_of(target) not in {room, ""}
        and FLOOR[room_of(target)] >= FLOOR[room]
    ]
    assert not wrong


def test_no_screen_reaches_into_the_command_line() -> None:
    """The screens are opened by two commands, which know them; the screens know no command."""
    reaching = [
        f"{name} -> {target}"
        for name, targets in ARROWS.items()
        for target in targets
        if room_of(name) == "tui" and room_of(target) == "cli"
    ]
    assert not reaching


def test_no_module_stands_unused() -> None:
    """One that nobody imports is loaded by its name, as a command or a notebook's view is."""
    imported_ones = {target for targets in ARROWS.values() for target in targets}
    texts = "\n".join(path.read_text(encoding="utf-8") for path in modules().values())
    # Commands of their own, and a table's maker.
    doors = {"firing.__main__", "firing.tui.entry", "firing.cones.derive"}
    unused = [
        name
        for name, path in modules().items()
        if path.name != "__init__.py"
        and name not in imported_ones | doors
        and f'"{name}"' not in texts
        and f'"{name}:' not in texts
    ]
    assert not unused


def test_a_class_name_means_one_thing() -> None:
    places: dict[str, list[str]] = {}
    for name, path in modules().items():
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places.setdefault(node.name, []).append(name)
    assert not {name: where for name, where in places.items() if len(where) > 1}


def circles(graph: dict[str, set[str]]) -> list[set[str]]:
    """Return every largest set of modules that reach each other."""

    def reached(start: str) -> set[str]:
        seen, ahead = set(), [start]
        while ahead:
            new = graph[ahead.pop()] - seen
            seen |= new
            ahead.extend(new)
        return seen

    reach = {name: reached(name) for name in graph}
    found: list[set[str]] = []
    for name in graph:
        if name in reach[name] and not any(name in circle for circle in found):
            found.append({other for other in reach[name] if name in reach[other]})
    return found


def test_no_modules_import_each_other_in_a_circle() -> None:
    assert not circles(ARROWS)


def test_a_circle_would_be_found() -> None:
    assert circles({"a": {"b"}, "b": {"c"}, "c": {"b"}, "d": {"a"}}) == [{"b", "c"}]


def test_imports_for_types_and_inside_functions_count() -> None:
    text = (
        "from typing import TYPE_CHECKING\n"
        "if TYPE_CHECKING:\n    from .app import FiringApp\n"
        "def late():\n    from firing import units\n"
    )
    known = {
        name: Path(f"{name}.py") for name in ("firing.tui.one", "firing.tui.app", "firing.units")
    }
    assert set(imported("firing.tui.one", text, known)) == {"firing.tui.app", "firing.units"}
