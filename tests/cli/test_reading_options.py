"""The options of reading: the same on every command that reads a log, and all that is advised."""

import ast
import re
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import click
import pytest

import firing
from firing.cli import COMMANDS
from firing.cli.arguments import log_options
from firing.logs.options import READING_OPTIONS, spelled

READERS = ("review", "compare", "heatwork", "resume", "kiln fit", "watch", "keep", "fleet")
ROOT = Path(firing.__file__).parent
_OPTION = re.compile(r"(?<![\w-])--[a-z]+(?:-[a-z]+)*")


def _commands() -> Iterator[tuple[str, click.Command]]:
    for name, (module, _) in COMMANDS.items():
        command = getattr(import_module(module), f"{name.replace('-', '_')}_command")
        if isinstance(command, click.Group):
            for under, one in command.commands.items():
                yield f"{name} {under}", one
        else:
            yield name, command


def _options(command: click.Command) -> dict[str, click.Option]:
    """Return the options of a command by every spelling."""
    return {
        spelling: parameter
        for parameter in command.params
        if isinstance(parameter, click.Option)
        for spelling in parameter.opts
    }


def _shared() -> dict[str, click.Option]:
    @click.command
    @log_options
    def nothing(**told: object) -> None: ...

    return _options(nothing)


def _advised(*packages: str) -> set[str]:
    """Return every option that a string of these packages names, but for documentation."""
    found: set[str] = set()
    for package in packages:
        for path in (ROOT / package).glob("*.py"):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            documentation = [node.value for node in ast.walk(tree) if isinstance(node, ast.Expr)]
            for node in ast.walk(tree):
                text = node.value if isinstance(node, ast.Constant) else None
                if isinstance(text, str) and node not in documentation:
                    found |= set(_OPTION.findall(text))
    return found


COMMAND_BY_NAME = dict(_commands())


def test_the_commands_that_read_logs_are_those_with_options_of_reading() -> None:
    with_some = {
        name
        for name, command in COMMAND_BY_NAME.items()
        if {"--date-order", "--time-unit"} & set(_options(command))
    }
    assert with_some == set(READERS)


@pytest.mark.parametrize("name", READERS)
def test_every_reader_has_the_same_options(name: str) -> None:
    here = _options(COMMAND_BY_NAME[name])
    for spelling, shared in _shared().items():
        assert spelling in here, spelling
        one = here[spelling]
        assert (one.name, one.help, one.multiple, one.is_flag) == (
            shared.name, shared.help, shared.multiple, shared.is_flag
        )  # fmt: skip
        assert getattr(one.type, "choices", None) == getattr(shared.type, "choices", None)


@pytest.mark.parametrize("name", READERS)
def test_every_option_that_is_advised_is_there(name: str) -> None:
    advised = _advised("logs")
    assert {"--date-order", "--restart-pause", "--part", "--zone", "--column"} <= advised
    assert advised <= set(_options(COMMAND_BY_NAME[name]))


def test_a_watch_has_every_option_that_its_sources_and_itself_speak_of() -> None:
    # A silent port is also tried by another command, which is named with its option.
    there = {*_options(COMMAND_BY_NAME["watch"]), *_options(COMMAND_BY_NAME["ports"])}
    assert _advised("capture", "watch") <= there


def test_what_is_told_of_a_log_is_spelled_as_its_option() -> None:
    assert {spelled(name) for name in READING_OPTIONS} | {"--channel", "--thermocouple"} == set(
        _shared()
    )
