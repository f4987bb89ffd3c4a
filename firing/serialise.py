"""Results as the JSON documents show them: every field under its own name, or as it says itself.

A field that is shown otherwise says so where it stands: ``field(metadata=rounded(1))``.  Where the
order of the keys is another, or properties are among them, the class lists its keys in `json_keys`.
"""

from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from typing import Any, ClassVar

OMITTED = {"json_key": None}
"""Metadata of a field that the JSON does not show."""


def named(key: str) -> dict[str, Any]:
    """Return the metadata of a field that goes by another name."""
    return {"json_key": key}


def rounded(digits: int | None, key: str | None = None) -> dict[str, Any]:
    """Return the metadata of a field shown to so many decimals, to whole numbers with None."""
    return {"json_digits": digits, **({} if key is None else named(key))}


def json_fields(result: Any) -> dict[str, Any]:
    """Return a dataclass keyed for JSON."""
    metadata = {field.name: field.metadata for field in fields(result)}
    shown = {}
    for name in getattr(result, "json_keys", ()) or metadata:
        rules: Mapping[str, Any] = metadata.get(name, {})
        key = rules.get("json_key", name)
        if key is None:
            continue
        value = getattr(result, name)
        if value is not None and "json_digits" in rules:
            value = round(value, rules["json_digits"])
        shown[key] = as_json(value)
    return shown


def keyed(**document: Any) -> dict[str, Any]:
    """Return a document with every result in it keyed."""
    return {key: as_json(value) for key, value in document.items()}


def as_json(value: Any) -> Any:
    """Return a value as JSON holds it, with every result in it keyed."""
    if hasattr(value, "to_dict"):
        return value.to_dict()
    if isinstance(value, dict):
        return keyed(**value)
    if isinstance(value, list | tuple):
        return [as_json(entry) for entry in value]
    return value.isoformat() if isinstance(value, date) else value


class Serialised:
    """A frozen dataclass that the JSON documents show."""

    __slots__ = ()
    json_keys: ClassVar[tuple[str, ...]] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return it keyed for JSON."""
        return json_fields(self)
