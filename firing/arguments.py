"""What a public function or record takes: each value, held to the type that its signature states.

Here alone a value of a wrong type is refused, in a sentence that names it and says what to give.
Sequences become tuples and numbers in rows become arrays, so that no room has to.
"""

from __future__ import annotations

import ast
import functools
import inspect
import sys
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime
from numbers import Integral, Real
from os import PathLike
from typing import Any, TypeVar, cast

from firing.errors import FiringError

Asked = TypeVar("Asked", bound=Callable[..., Any])


class _WrongTypeError(Exception):
    """A value is of another kind."""


@dataclass(frozen=True)
class _Kind:
    """What is taken: what one such is called, what to give, and a value of it as it is used."""

    noun: str
    words: str
    take: Callable[[Any], Any]


def checked(function: Asked) -> Asked:
    """Return a public function that refuses arguments of other types than its signature states.

    Of a method, `self` and `cls` have no type stated and are what they are.
    """

    @functools.cache
    def stated() -> tuple[inspect.Signature, dict[str, _Kind]]:
        signature, module = inspect.signature(function), sys.modules[function.__module__].__dict__
        kinds = {
            name: kind_of(parameter.annotation, module)
            for name, parameter in signature.parameters.items()
            if parameter.annotation is not parameter.empty
        }
        return signature, kinds

    @functools.wraps(function)
    def asked(*args: Any, **kwargs: Any) -> Any:
        signature, kinds = stated()
        given = signature.bind(*args, **kwargs)
        for name, value in given.arguments.items():
            if name in kinds:
                given.arguments[name] = _taken(name, value, kinds[name])
        return function(*given.args, **given.kwargs)

    return cast("Asked", asked)


def check_fields(record: Any) -> None:
    """Refuse a public record whose fields are of other types than it states; from its own init."""
    for name, kind in _kinds_of(record.__class__):
        value = getattr(record, name)
        taken = _taken(name, value, kind)
        if taken is not value:
            object.__setattr__(record, name, taken)


@functools.cache
def _kinds_of(record: Any) -> tuple[tuple[str, _Kind], ...]:
    module = sys.modules[record.__module__].__dict__
    return tuple((one.name, kind_of(one.type, module)) for one in fields(record) if one.init)


def _taken(name: str, value: Any, kind: _Kind) -> Any:
    try:
        return kind.take(value)
    except _WrongTypeError:
        pass
    try:
        shape = getattr(value, "shape", ())
        shown = f"this {type(value).__name__}" if shape else " ".join(repr(value).split())[:60]
    except Exception:  # another library's object, or a number too long to be written
        shown = f"this {type(value).__name__}"
    give = f"{'write' if kind.noun == 'option' else 'give'} {kind.words}"
    if name.endswith("cone") and isinstance(value, Real):
        give = f'write it as text: "{shown}"'
    raise FiringError(f"{name}: {shown} is no {kind.noun}; {give}")


# -- from an annotation to what it takes ------------------------------------------------------


def kind_of(annotation: Any, module: Mapping[str, Any]) -> _Kind:
    """Return what an annotation takes; names are looked up in the module that states it."""
    text = annotation if isinstance(annotation, str) else inspect.formatannotation(annotation)
    return _kind(ast.parse(text, mode="eval").body, module)


def _kind(node: ast.expr, module: Mapping[str, Any]) -> _Kind:
    if isinstance(node, ast.BinOp):
        return _either([_kind(node.left, module), _kind(node.right, module)])
    if isinstance(node, ast.Constant):
        return _NOTHING if node.value is None else kind_of(node.value, module)
    if isinstance(node, ast.Subscript):
        name, inside = _last_name(node.value), node.slice
        parts = inside.elts if isinstance(inside, ast.Tuple) else [inside]
        if name == "Literal":
            return _one_of([ast.literal_eval(part) for part in parts])
        if name in _BY_NAME:
            return _BY_NAME[name]
        kinds = [_kind(part, module) for part in parts if _last_name(part) != "..."]
        if name in ("Optional", "Union"):
            return _either([*kinds, *([_NOTHING] if name == "Optional" else [])])
        return _table(kinds[-1]) if name == "Mapping" else _several(kinds[0])
    name = _last_name(node)
    if name in _BY_NAME:
        return _BY_NAME[name]
    meant = module.get(name, _ALIASES.get(name))
    return _object(name) if meant is None or isinstance(meant, type) else kind_of(meant, module)


def _last_name(node: ast.expr) -> str:
    """Return a name without the modules before it."""
    return node.attr if isinstance(node, ast.Attribute) else ast.unparse(node)


def _either(kinds: list[_Kind]) -> _Kind:
    def take(value: Any) -> Any:
        for kind in kinds:
            try:
                return kind.take(value)
            except _WrongTypeError:
                continue
        raise _WrongTypeError

    named = [kind for kind in kinds if kind is not _NOTHING]
    if _PATH in named:  # its words have text in them
        named = [kind for kind in named if kind.noun != "text"]
    words = " or ".join(dict.fromkeys(kind.words for kind in named))
    return _Kind(named[0].noun, words, take)


def _of(noun: str, words: str, *types: type, but: type | tuple[type, ...] = ()) -> _Kind:
    def take(value: Any) -> Any:
        if isinstance(value, types) and not isinstance(value, but):
            return value
        raise _WrongTypeError

    return _Kind(noun, words, take)


def _object(name: str) -> _Kind:
    """Return the kind of a class of the house, by its name: one not yet loaded has no objects."""

    def take(value: Any) -> Any:
        for one in type(value).__mro__:
            if one.__name__ == name and one.__module__.startswith("firing."):
                return value
        raise _WrongTypeError

    article = "an" if name[0] in "AEIOU" else "a"
    return _Kind(name, f"{article} {name}", take)


def _one_of(choices: list[Any]) -> _Kind:
    def take(value: Any) -> Any:
        if type(value) in {type(one) for one in choices} and value in choices:
            return value
        raise _WrongTypeError

    return _Kind("option", f"one of {', '.join(map(str, choices))}", take)


def _several(kind: _Kind) -> _Kind:
    def take(value: Any) -> Any:
        if isinstance(value, str | bytes | Mapping | set) or not isinstance(value, Iterable):
            raise _WrongTypeError
        whole = value if isinstance(value, tuple) else tuple(value)
        taken = tuple(kind.take(one) for one in whole)
        return whole if all(a is b for a, b in zip(whole, taken, strict=True)) else taken

    return _Kind("list", f"a list, of which each is {kind.words}", take)


def _table(kind: _Kind) -> _Kind:
    def take(value: Any) -> Any:
        if not isinstance(value, Mapping) or not all(isinstance(key, str) for key in value):
            raise _WrongTypeError
        for one in value.values():
            kind.take(one)
        return value

    return _Kind("mapping", f"{kind.words} by name", take)


def _moment(value: Any) -> datetime:
    if not isinstance(value, datetime):
        raise _WrongTypeError
    # Another library's moments are no whole datetimes: some have no place on this computer's clock.
    return value if type(value) is datetime else datetime.fromisoformat(value.isoformat())


def _yes_or_no(value: Any) -> bool:
    if isinstance(value, bool) or type(value).__name__ in ("bool_", "bool"):  # numpy's, too
        return bool(value)
    raise _WrongTypeError


def _number(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, Real):
        raise _WrongTypeError
    try:
        float(value)
    except OverflowError:
        raise _WrongTypeError from None
    return value


def _numbers(value: Any) -> Any:
    """Return a row of numbers as an array; None and a masked place are no reading there."""
    import numpy as np

    try:
        found = np.asarray(value)
        if found.dtype.kind == "O" and all(isinstance(one, Real | None) for one in found.flat):
            found = found.astype(np.float64)
    except (TypeError, ValueError, OverflowError):
        raise _WrongTypeError from None
    if found.dtype.kind not in "fiu" or not found.ndim:
        raise _WrongTypeError
    return found.astype(np.float64, copy=False)


_NOTHING = _of("nothing", "None", type(None))
_PATH = _of("path", "a path as text or Path", PathLike)
_ROW = _Kind("row of numbers", "numbers, as a list or an array", _numbers)
_BY_NAME = {
    "Any": _of("object", "an object", object),
    "ArrayLike": _ROW,
    "NoneType": _NOTHING,
    "Path": _PATH,
    "PathLike": _PATH,
    "bytes": _of("row of bytes", "bytes", bytes),
    "bool": _Kind("yes or no", "True or False", _yes_or_no),
    "date": _of("day", "a date", date, but=datetime),
    "datetime": _Kind("moment", "a datetime", _moment),
    "float": _Kind("number", "a number", _number),
    "int": _of("whole number", "a whole number", Integral, but=bool),
    "ndarray": _ROW,
    "str": _of("text", "text", str),
}
_ALIASES = {
    **dict.fromkeys(("Align", "By", "Purpose", "ShapeName", "TemperatureUnit"), "str"),
    "PathOrName": "str | PathLike[str]",
}
"""What signatures name without loading it; the room that does the work looks at the words."""
