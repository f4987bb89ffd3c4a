"""What the readers of the user's files have in common: a line of text, and all faults at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

from pydantic import BaseModel

from firing.tomlfile import Fault, FaultyFile, KeyPath, clean, describe_path, key_lines, line_of
from firing.tomlfile import validate as validate_toml

Table = TypeVar("Table", bound=BaseModel)
LONGEST_NAME = 100


def plain_line(example: str) -> Callable[[Any], str]:
    """Return a check that a value is one plain line of text, for pydantic.

    Parameters
    ----------
    example : str
        What a refusal offers instead.
    """

    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError(f"{clean(str(value)).lower()} stands where text in quotes is wanted")
        if not value.strip() or clean(value) != value or len(value) > LONGEST_NAME:
            raise ValueError(
                f'must be one plain line of 1 to {LONGEST_NAME} characters, like "{example}"'
            )
        return value

    return check


def read_table(
    text: str,
    name: str,
    model: type[Table],
    across: Callable[[Table], Iterable[tuple[KeyPath, str]]] = lambda _: (),
) -> Table:
    """Read a TOML text as a table of a model.

    Parameters
    ----------
    text, name : str
        The text, and what its faults call the file.
    model : type of BaseModel
        What it must be.
    across : callable, optional
        Tells what is wrong between its keys: where, and in what words.

    Raises
    ------
    FaultyFile
        With every fault of the file, each with its line, field, limit and unit.
    """
    table, faults, _ = validate_toml(text, name, model)
    if table is not None:
        lines = key_lines(text)
        faults = [
            Fault(name, line_of(path, lines), describe_path(path), message)
            for path, message in across(table)
        ]
    if faults or table is None:
        raise FaultyFile(faults)
    return table
