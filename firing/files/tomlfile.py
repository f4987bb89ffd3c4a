"""Read TOML with every fault named at its line.

Generic: it knows no kind of file.  A caller brings a pydantic model whose fields carry, in
``json_schema_extra``, an ``example`` and where it fits a ``unit``; from these each fault becomes
one sentence: where, what, the limit with its unit, and what to write instead.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, TypeVar

from firing.errors import FiringError
from firing.files.disk import UnusableInput, read_whole
from firing.files.disk import write_text as write_text

if TYPE_CHECKING:
    from pydantic import BaseModel
    from pydantic.fields import FieldInfo
    from pydantic_core import ErrorDetails

    from firing.files.written import PlainFigures, WrittenAs

Model = TypeVar("Model", bound="BaseModel")

KeyPath = tuple[str | int, ...]
Wrong = tuple[KeyPath, str]
"""Where something is wrong in a file, and in what words."""

MAX_BYTES = 1_000_000
MOST_TOLD = 10
"""So many faults are told, and how many more there are."""
MOST_WORDED = 200
"""So many faults get a sentence of their own."""
LONGEST_SHOWN = 40
LONGEST_SHOWN_PATH = 200
LARGEST_INTEGER = 2**63 - 1
"""TOML 1.0 has integers of 64 bits."""
_DEEP_KEY = re.compile(r"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){100}""")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a file."""

    file: str
    line: int | None
    field: str
    message: str

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        parts = (place, clip(clean(self.field), LONGEST_SHOWN_PATH), self.message)
        return ": ".join(part for part in parts if part)


class FaultyFile(FiringError):
    """A file that cannot be used, with all its faults in the order of its lines."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(sorted(faults, key=lambda fault: fault.line or 0))
        lines = [str(fault) for fault in self.faults]
        more = len(lines) - MOST_TOLD
        if more > 2:  # a line that counts one or two takes the room of the fault itself
            lines[MOST_TOLD:] = [f"{self.faults[0].file}: and {more} more; put these right first"]
        super().__init__("\n".join(lines))


def read_text(path: Path) -> str:
    """Return the text of a TOML file (UTF-8, a byte-order mark allowed)."""
    name = clip(clean(str(path)), LONGEST_SHOWN_PATH)
    try:
        data = read_whole(path, MAX_BYTES)
    except FileNotFoundError:
        raise FaultyFile([Fault(name, None, "", "there is no such file")]) from None
    except IsADirectoryError:
        raise FaultyFile(
            [Fault(name, None, "", "is a directory; name a TOML file in it")]
        ) from None
    except UnusableInput as fault:
        advice = "; is it a log rather than a TOML file?" if "larger" in str(fault) else ""
        raise FaultyFile([Fault(name, None, "", f"{fault}{advice}")]) from None
    except OSError as error:
        raise FaultyFile([Fault(name, None, "", f"cannot be read: {error.strerror}")]) from None
    except ValueError:
        raise FaultyFile([Fault(name, None, "", "is no name a file can have")]) from None
    if not data.strip():
        raise FaultyFile([Fault(name, None, "", "is empty; a TOML file was expected")])
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise FaultyFile([Fault(name, line, "", "is not UTF-8 text; save it as UTF-8")]) from None
    if "\0" in text:
        raise FaultyFile([Fault(name, None, "", "is a binary file; a TOML file was expected")])
    return text


def parse(text: str, name: str) -> dict[str, Any]:
    """Return the data of a TOML text; `name` is what faults call it.

    A whole number of more than 64 bits is a fault, too.
    """
    too_deep = "is nested too deeply; no file of this tool has tables within tables like that"
    try:
        if _DEEP_KEY.search(text):
            raise FaultyFile([Fault(name, None, "", too_deep)])
        data = tomllib.loads(text)
        wrong = list(_too_large(data, ()))
    except tomllib.TOMLDecodeError as error:
        match = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        reason = re.sub(r"\s*\(at .*\)$", "", str(error))
        line = int(match[1]) if match else text.count("\n") + 1
        what = f"is not TOML here ({reason[0].lower()}{reason[1:]})"
        raise FaultyFile([Fault(name, line, "", what)]) from None
    except RecursionError:
        raise FaultyFile([Fault(name, None, "", too_deep)]) from None
    except ValueError:
        what = "holds a whole number of thousands of digits"
        raise FaultyFile([Fault(name, None, "", what)]) from None
    if wrong:
        raise FaultyFile(located(wrong, text, name))
    return data


def _too_large(data: Any, path: KeyPath) -> Iterator[Wrong]:
    """Yield the whole numbers that no calculation of this tool can hold."""
    if isinstance(data, int) and abs(data) > LARGEST_INTEGER:
        yield path, "is too large a number; write one of at most 18 digits"
    if isinstance(data, dict | list):
        for key, value in data.items() if isinstance(data, dict) else enumerate(data):
            yield from _too_large(value, (*path, key))


_HEADER = re.compile(r"\s*(\[\[?)\s*(.+?)\s*\]\]?\s*(?:#.*)?$")
_BARE_OR_QUOTED = r"""(?:[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*')"""
_KEY = re.compile(rf"\s*({_BARE_OR_QUOTED}(?:\s*\.\s*{_BARE_OR_QUOTED})*)\s*=")
_QUOTED = re.compile(r'"""|\'\'\'|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#.*|[\[\]{}]')


def key_lines(text: str) -> dict[KeyPath, int]:
    """Return the line, from 1, on which each key and table of a valid TOML text stands.

    Keys inside inline tables and arrays are found at the line of the key that holds them.
    """
    lines: dict[KeyPath, int] = {}
    for number, path, opens_table in _scan(text):
        if opens_table and path and isinstance(path[-1], int):
            lines.setdefault(path[:-1], number)
        lines[path] = number
    return lines


def header_lines(text: str) -> list[int]:
    """Return the lines, from 1, that open a table in a valid TOML text."""
    return [number for number, _, opens_table in _scan(text) if opens_table]


def _scan(text: str) -> Iterator[tuple[int, KeyPath, bool]]:
    """Yield the line of each key and table header, its path, and whether it is a header."""
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    depth, closing = 0, ""
    for number, line in enumerate(text.splitlines(), start=1):
        rest = line
        if closing:
            position = rest.find(closing)
            if position < 0:
                continue
            rest, closing = rest[position + 3 :], ""
        elif depth == 0:
            header = _HEADER.match(line)
            if header is not None:
                table = _current(_keys(header[2]), counts)
                if header[1] == "[[":
                    counts[table] = counts.get(table, -1) + 1
                    table = (*table, counts[table])
                yield number, table, True
                continue
            key = _KEY.match(line)
            if key is not None:
                yield number, (*table, *_keys(key[1])), False
                rest = line[key.end() :]
        position = 0
        while (token := _QUOTED.search(rest, position)) is not None:
            mark, position = token[0], token.end()
            if mark in ('"""', "'''"):
                end = rest.find(mark, position)
                if end < 0:
                    closing = mark
                    break
                position = end + 3
            elif mark in "[{":
                depth += 1
            elif mark in "]}":
                depth = max(0, depth - 1)


_BARE = re.compile(r"[A-Za-z0-9_-]+")


def _keys(text: str) -> tuple[str, ...]:
    if _BARE.fullmatch(text):
        return (text,)
    data: Any = tomllib.loads(f"{text}=0")
    keys: list[str] = []
    while isinstance(data, dict):
        key = next(iter(data))
        keys.append(key)
        data = data[key]
    return tuple(keys)


def _current(keys: tuple[str | int, ...], counts: Mapping[KeyPath, int]) -> KeyPath:
    """Return the path with the running number of every array of tables that it passes through."""
    path: KeyPath = ()
    for position, key in enumerate(keys):
        path = (*path, key)
        if path in counts and position < len(keys) - 1:
            path = (*path, counts[path])
    return path


def line_of(path: KeyPath, lines: Mapping[KeyPath, int]) -> int | None:
    """Return the line of `path`, or of the nearest table around it."""
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return None


def describe_path(path: KeyPath) -> str:
    """Return a key path for reading: ``("segment", 2, "hold")`` is ``segment 3 hold``."""
    return " ".join(str(part + 1) if isinstance(part, int) else part for part in path)


def validate(
    text: str,
    name: str,
    model: type[Model],
    *,
    context: Mapping[str, Any] | None = None,
    plain: Callable[[dict[str, Any]], dict[str, Any]] = lambda data: data,
) -> tuple[Model | None, list[Fault], PlainFigures]:
    """Check a TOML text against a model, all faults at once.

    `context` is handed to the model's validators, with the data themselves as ``"data"``; `plain`
    turns figures that carry their unit into plain ones, where the model does not say which.  The
    instance is None if there are faults.  The figures are the data as read, in the model's plain
    numbers, for checks across fields.
    """
    from pydantic import ValidationError

    from firing.files.written import plain_figures

    figures = plain_figures(plain(parse(text, name)), model)
    data = figures.data
    faults = located(figures.wrong, text, name)
    try:
        instance = model.model_validate(data, context={**(context or {}), "data": data})
    except ValidationError as error:
        found = [(_path(detail["loc"], data), detail) for detail in error.errors(include_url=False)]
        known = {path for path, _ in figures.wrong}
        found = [(p, d) for p, d in found if not (known & _spellings(p, model))]
        wrong = [
            (path, _sentence(detail, model, path, figures)) for path, detail in found[:MOST_WORDED]
        ]
        wrong += [(path, str(detail["msg"])) for path, detail in found[MOST_WORDED:]]
        return None, [*faults, *located(wrong, text, name, figures)], figures
    return None if faults else instance, faults, figures


def _spellings(path: KeyPath, model: type[BaseModel]) -> set[KeyPath]:
    """Return a path, and that of the key that the same figure has with its unit."""
    _, extra = _owner(model, path)
    notes: Any = extra.get("written")
    return {path, (*path[:-1], notes["key"])} if isinstance(notes, dict) else {path}


def located(
    wrong: Iterable[Wrong], text: str, name: str, figures: PlainFigures | None = None
) -> list[Fault]:
    """Return what is wrong in a file, each with its line and the key that stands there."""
    wrong = list(wrong)
    if figures is not None:
        written = figures.written
        wrong = [(written[p].path if p in written else p, words) for p, words in wrong]
    lines = key_lines(text) if wrong else {}
    return [
        Fault(name, line_of(path, lines), describe_path(path), message) for path, message in wrong
    ]


def _path(location: tuple[str | int, ...], data: Any) -> KeyPath:
    """Keep the parts of a pydantic location that are keys of the file, not names of its types."""
    path: list[str | int] = []
    for position, part in enumerate(location):
        if isinstance(data, dict) and isinstance(part, str):
            if part in data:
                data = data[part]
            elif position < len(location) - 1:
                continue
            path.append(part)
        elif isinstance(data, list) and isinstance(part, int) and part < len(data):
            data = data[part]
            path.append(part)
    return tuple(path)


def _sentence(
    detail: ErrorDetails, model: type[BaseModel], path: KeyPath, figures: PlainFigures
) -> str:
    kind, given = detail["type"], detail["input"]
    context = detail.get("ctx", {})
    owner, extra = _owner(model, path)
    example = str(extra.get("example", ""))
    advice = f"; write {example}" if example else ""
    unit = f" {extra['unit']}" if "unit" in extra else ""
    if kind == "value_error":
        return str(context.get("error", detail["msg"]))
    if kind == "missing":
        return f"is missing{advice}"
    if kind == "extra_forbidden":
        known = [] if owner is None else sorted({*_fields(owner), *_written_keys(owner)})
        return f"is not a key here; {suggest(str(path[-1]), known)}"
    if kind == "literal_error":
        choices = re.findall(r"'([^']*)'|(\d+)", str(context.get("expected", "")))
        expected = [quoted or number for quoted, number in choices]
        return f"{shown(given)} is not known; {suggest(str(given), expected)}"
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        limit = next(iter(context.values()))
        words = {
            "greater_than": "must be above",
            "greater_than_equal": "must be at least",
            "less_than": "must be below",
            "less_than_equal": "must be at most",
        }[kind]
        if path in figures.written:
            from firing.files.written import limit_words

            written = figures.written[path]
            return f'"{written.text}" {words} {limit_words(written, limit, figures.unit)}'
        return f"{shown(given)}{unit} {words} {limit:g}{unit}{advice}"
    if kind == "too_short":
        return f"needs at least {context.get('min_length', 1)}{advice}"
    if kind == "too_long":
        return f"has {context.get('actual_length')} entries, at most {context.get('max_length')}"
    if kind in ("string_too_short", "string_too_long"):
        least, most = context.get("min_length", 1), context.get("max_length", 200)
        return f"must have {least} to {most} characters"
    wanted = {
        "string_type": "text in quotes",
        "float_type": "a number",
        "int_type": "a whole number",
        "bool_type": "true or false",
        "list_type": "a list" if "= [" in example else "a list of tables",
        "model_type": "a table",
        "finite_number": "a finite number",
    }.get(kind)
    if wanted is not None:
        return f"{shown(given)} stands where {wanted} belongs{advice}"
    return f"{shown(given)}: {detail['msg'][0].lower()}{detail['msg'][1:]}{advice}"


def _fields(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Return a model's fields by the keys that a file has for them."""
    return {info.alias or name: info for name, info in model.model_fields.items()}


def _written_keys(model: type[BaseModel]) -> list[str]:
    notes = [
        info.json_schema_extra.get("written")
        for info in model.model_fields.values()
        if isinstance(info.json_schema_extra, dict)
    ]
    return [str(note["key"]) for note in notes if isinstance(note, dict)]


def _owner(
    model: type[BaseModel], path: KeyPath
) -> tuple[type[BaseModel] | None, Mapping[str, Any]]:
    """Return the model that a path's last key belongs to, and that key's schema notes."""
    from typing import get_args

    from pydantic import BaseModel

    current: type[BaseModel] | None = model
    extra: Mapping[str, Any] = {}
    owner: type[BaseModel] | None = model
    for part in path:
        if isinstance(part, int):
            continue
        owner, extra = current, {}
        found = _fields(current).get(part) if current is not None else None
        current = None
        if found is not None:
            noted = found.json_schema_extra
            extra = noted if isinstance(noted, dict) else {}
            stack: list[Any] = [found.annotation]
            while stack:
                kind = stack.pop()
                if isinstance(kind, type) and issubclass(kind, BaseModel):
                    current = kind
                stack.extend(get_args(kind))
    return owner, extra


def shown(value: Any) -> str:
    """Return a value of a file as a fault names it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{clip(clean(value), LONGEST_SHOWN)}"'
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, int) and abs(value) > LARGEST_INTEGER:
        return "a number of more than 18 digits"
    return clip(clean(str(value)), LONGEST_SHOWN)


def clip(text: str, longest: int) -> str:
    """Return `text`, its end left out where it is longer."""
    return text if len(text) <= longest else f"{text[: longest - 1]}…"


def suggest(given: str, known: Sequence[str]) -> str:
    """Return what may have been meant, or all there is."""
    import difflib

    close = difflib.get_close_matches(given[:LONGEST_NAME], known, n=1, cutoff=0.6)
    if close:
        return f'did you mean "{close[0]}"?'
    between = "; " if any("," in one for one in known) else ", "
    return f"write one of: {between.join(known)}"


def clean(text: str) -> str:
    """Return `text` with control characters, which could steer a terminal, made visible as �."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


def number(
    description: str,
    example: str,
    unit: str = "",
    *,
    default: Any = ...,
    written: tuple[str, WrittenAs] | None = None,
    **limits: Any,
) -> Any:
    """Return the field of a finite number in a model, with its `gt`, `ge`, `lt` or `le`.

    `written` is the key under which it may carry its unit, and what it is then read as.
    """
    from firing.files.written import written_notes

    notes = {} if written is None else written_notes(*written)
    return file_key(
        description, example, unit, default=default, notes=notes, allow_inf_nan=False, **limits
    )


def length(description: str, key: str, example: str, *, default: Any = None, at_most: float) -> Any:
    """Return the field of a length above 0, ``KEY_mm`` or written with its unit under `key`."""
    return number(
        description, example, "mm", default=default, written=(key, "length"), gt=0, le=at_most
    )


def file_key(
    description: str,
    example: str,
    unit: str = "",
    *,
    default: Any = ...,
    notes: Mapping[str, Any] = MappingProxyType({}),
    **limits: Any,
) -> Any:
    """Return a field of a model that says in refusals and forms what it is, with an example."""
    from pydantic import Field

    told = {"example": example, **({"unit": unit} if unit else {}), **notes}
    return Field(default, description=description, json_schema_extra=told, **limits)


LONGEST_NAME = 100


def plain_line(example: str) -> Callable[[Any], str]:
    """Return a check that a value is one plain line of text, for pydantic.

    `example` is what a refusal offers instead.
    """

    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError(f"{clean(str(value)).lower()} stands where text in quotes belongs")
        if not value.strip() or clean(value) != value or len(value) > LONGEST_NAME:
            raise ValueError(
                f'must be one plain line of 1 to {LONGEST_NAME} characters, like "{example}"'
            )
        return value

    return check
