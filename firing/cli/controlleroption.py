"""The option that names a controller file, shared by the commands that make programs for one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from firing.controller.controller import Controller

Command = TypeVar("Command", bound=Callable[..., Any])


def controller_option(*, required: bool = False) -> Callable[[Command], Command]:
    """Return a decorator that adds ``--controller``."""
    return click.option(
        "--controller",
        metavar="C",
        required=required,
        help="Controller file (TOML), or example-controller.",
    )


def open_controller(name: str) -> Controller:
    """Read a controller file, or the example controller."""
    from firing.controller.file import parse_controller, read_controller
    from firing.files.ready import example_names, ready_text

    if name in example_names() and not Path(name).exists():
        return parse_controller(ready_text(name), name)
    return read_controller(Path(name))
