"""The kinds of TOML files: for each its schema, how it is read, told apart and described.

The ready schedules and example files that come with the package are named here too.
"""

from __future__ import annotations

import importlib
import re
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from firing.errors import FiringError
from firing.files.disk import is_there
from firing.files.tomlfile import FaultyFile, Model, Wrong, located, read_text, validate

if TYPE_CHECKING:
    from firing.units import TemperatureUnit

Read = TypeVar("Read")


class WrongKeys(FiringError):
    """What is wrong between the keys of a file that its schema finds no fault in."""

    def __init__(self, *wrong: Wrong) -> None:
        self.wrong = wrong
        super().__init__("\n".join(message for _, message in wrong))


def _spoken(words: str, unit: TemperatureUnit) -> str:
    """Return a fault in the unit of its file, whose keys then carry no mm in their names."""
    if unit == "C":
        return words
    from firing.units import in_unit

    return re.sub(r"\b([a-z]+)_mm\b", r"\1", in_unit(words, unit))


class FileKind(Generic[Model, Read]):
    """A kind of TOML file: its schema, how it is read with every fault at once, and described.

    Parameters
    ----------
    name : str
        What it is called.
    model : callable
        Returns its schema.
    build : callable
        Makes what is read from a table of the model; raises `WrongKeys` for what it finds wrong.
    across : callable, optional
        Tells what is wrong between keys of the data in plain numbers, whatever else is, in a unit.
    describe : callable, optional
        Tells what was read in a few words each, with temperatures in a unit.
    plain : callable, optional
        Turns figures that carry their unit into plain ones, where the model does not say which.
    owned : callable, optional
        Notes in what was read the unit that its owner writes in.
    renamed : mapping of str to str, optional
        Keys that older files have, and what they are called now.
    """

    def __init__(
        self,
        name: str,
        model: Callable[[], type[Model]],
        build: Callable[[Model], Read],
        *,
        across: Callable[[dict[str, Any], TemperatureUnit], Iterable[Wrong]] = lambda _, __: (),
        describe: Callable[[Read, TemperatureUnit], Iterable[str]] = lambda _, __: (),
        plain: Callable[[dict[str, Any]], dict[str, Any]] = lambda data: data,
        owned: Callable[[Read, TemperatureUnit], Read] = lambda read, _: read,
        renamed: Mapping[str, str] = MappingProxyType({}),
    ) -> None:
        self.name, self._model, self._build = name, model, build
        self._across, self._describe, self._plain = across, describe, plain
        self._owned, self._renamed = owned, renamed

    def json_schema(self) -> dict[str, Any]:
        """Return its JSON Schema, with the keys under which figures carry their unit."""
        from firing.files.written import describe_written

        schema: dict[str, Any] = self.model.model_json_schema()
        for table in (schema, *schema.get("$defs", {}).values()):
            describe_written(table)
        return schema

    @property
    def model(self) -> type[Model]:
        """The schema."""
        return self._model()

    def parse(self, text: str, name: str = "") -> Read:
        """Read one from TOML text; `name` is what faults call the file."""
        name, text = name or self.name, self.current(text)
        table, faults, figures = validate(text, name, self.model, plain=self._plain)
        known = {(fault.line, fault.field) for fault in faults}
        more = located(self._across(figures.data, figures.unit), text, name, figures)
        faults += [fault for fault in more if (fault.line, fault.field) not in known]
        if faults or table is None:
            raise FaultyFile(faults)
        try:
            return self._owned(self._build(table), figures.unit)
        except WrongKeys as error:
            wrong = [(path, _spoken(words, figures.unit)) for path, words in error.wrong]
            raise FaultyFile(located(wrong, text, name, figures)) from None

    def current(self, text: str) -> str:
        """Return a file's text with the names that its keys have now."""
        for old, new in self._renamed.items():
            text = re.sub(rf"^([ \t]*){old}(?=[ \t]*=)", rf"\g<1>{new}", text, flags=re.M)
        return text

    def text(self, source: str | Path) -> str:
        """Return the text of a file; a str may also name one that comes with the package."""
        if self.is_ready(source):
            return ready_text(str(source))
        try:
            return read_text(Path(source))
        except FaultyFile as fault:
            from difflib import get_close_matches

            own = [name for name in example_names() if name.startswith(f"example-{self.name}")]
            near = get_close_matches(Path(source).name.removesuffix(".toml"), own, n=1)
            if not near or is_there(Path(source)):
                raise
            raise FiringError(f'{fault}; did you mean the example "{near[0]}"?') from None

    def open(self, source: str | Path) -> Read:
        """Read a file; see `parse` and `text`."""
        name = source if self.is_ready(source) else Path(source)
        text = self.text(source)
        try:
            return self.parse(text, str(name))
        except FiringError:
            other = _other_kind(text, self.name)
            if other:
                raise FiringError(f"{name} is {other}; name a {self.name} file here") from None
            raise

    def is_ready(self, source: str | Path) -> bool:
        """Whether this names a file that comes with the package, and none that lies here."""
        ready = ready_names() if self.name == "schedule" else example_names()
        return source in ready and not Path(source).exists()

    def described(self, value: Read, unit: TemperatureUnit = "C") -> str:
        """Return what was read from a file, in one line."""
        return " · ".join(part for part in self._describe(value, unit) if part)


# Each kind's module and the name of its `FileKind` there, so that nothing is loaded before it is
# wanted; and the keys and tables that no other kind of file has.
_KINDS: dict[str, tuple[str, str, frozenset[str]]] = {
    "schedule": (
        "firing.schedule.file",
        "SCHEDULE_FILE",
        frozenset({"segment", "purpose", "start", "target"}),
    ),
    "kiln": (
        "firing.kiln.file",
        "KILN_FILE",
        frozenset({"power_kw", "rated_volts", "volume_l", "wall", "thermocouple", "max_c"}),
    ),
    "load": (
        "firing.ware.file",
        "LOAD_FILE",
        frozenset({"dryness", "piece", "furniture_kg", "thickest_mm", "heated_from", "shape"}),
    ),
    "controller": (
        "firing.controller.file",
        "CONTROLLER_FILE",
        frozenset({"max_segments", "notation", "rate_max", "hold_max", "waits"}),
    ),
    "source": (
        "firing.capture.source_file",
        "SOURCE_FILE",
        frozenset({"kind", "port", "baud", "fields", "interval", "register", "query"}),
    ),
    "tariff": (
        "firing.kiln.tariff_file",
        "TARIFF_FILE",
        frozenset({"currency", "period", "price_per_kwh"}),
    ),
    "notify": (
        "firing.remote.notify_file",
        "NOTIFY_FILE",
        frozenset({"quiet_hours", "heartbeat", "repeat", "repeats", "program", "post", "mail"}),
    ),
}
KIND_NAMES = tuple(_KINDS)

_MOST_BYTES = 65536
_KEY = re.compile(r"^[ \t]*(?:\[{1,2}[ \t]*(\w+)[ \t]*\]{1,2}|(\w+)[ \t]*=)", re.MULTILINE)


def file_kind(name: str) -> FileKind[Any, Any]:
    """Return a kind of file by its name, one of `KIND_NAMES`."""
    module, attribute, _ = _KINDS[name]
    kind: FileKind[Any, Any] = getattr(importlib.import_module(module), attribute)
    return kind


def open_file(kind: str, name: str | None) -> Any:
    """Return what is read from a file of a kind; None, and no reader loaded, if none is named."""
    return None if name is None else file_kind(kind).open(name)


def kind_of_text(text: str) -> str | None:
    """Return the kind that most keys of a text belong to; None if no key tells."""
    found = {table or key for table, key in _KEY.findall(text)}
    counts = {name: len(found & marks) for name, (_, _, marks) in _KINDS.items()}
    best = max(counts, key=lambda name: counts[name])
    return best if counts[best] else None


_LOG_LINES = 10


def _other_kind(text: str, name: str) -> str:
    """Return what a text is that cannot be read as one kind; empty where that is what it seems."""
    found = {table or key for table, key in _KEY.findall(text)}
    own = len(found & _KINDS[name][2])
    kind = kind_of_text(text)
    if kind is not None:
        return f"a {kind} file" if len(found & _KINDS[kind][2]) > own else ""
    rows = [line for line in text.splitlines()[:200] if line.strip()]
    numbers = sum(line[:1].isdigit() and bool(re.search(r"[,;\t ]\d", line)) for line in rows)
    log = numbers >= _LOG_LINES and numbers > len(rows) / 2
    return "a log, which 'firing review PLAN LOG' reads" if log else ""


def kind_of(path: Path) -> str | None:
    """Return the kind of a file by its beginning; None if it cannot be told."""
    try:
        if not path.is_file():
            return None
        with path.open("rb") as file:
            return kind_of_text(file.read(_MOST_BYTES).decode("utf-8", "replace"))
    except OSError:
        return None


_EXAMPLE = "example-"


def _folder() -> Path:
    """Return where they are: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parent.parent
    installed = package / "schedules"
    return installed if installed.is_dir() else package.parent / "schedules"


def ready_names() -> list[str]:
    """Return the names of the ready schedules, in alphabetical order."""
    return sorted(name for name in _names() if not name.startswith(_EXAMPLE))


def example_names() -> list[str]:
    """Return the names of the example kiln, loads, controller and tariff."""
    return sorted(name for name in _names() if name.startswith(_EXAMPLE))


def _names() -> list[str]:
    return [p.name.removesuffix(".toml") for p in _folder().iterdir() if p.name.endswith(".toml")]


def ready_text(name: str) -> str:
    """Return the text of a ready schedule or an example file."""
    if name not in _names():
        known = ", ".join(ready_names() + example_names())
        raise FiringError(f'no ready file is called "{name}"; there are: {known}')
    return (_folder() / f"{name}.toml").read_text(encoding="utf-8")
