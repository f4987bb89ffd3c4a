"""What the README shows is what the commands print."""

import doctest
import re
import shlex
from pathlib import Path

import pytest
from commandline import call

README = Path(__file__).parents[1] / "README.md"

FAULTY = """# a plan with slips
title = "slips"
purpose = "bisqe"

[[segment]]
rate = 0
target = 90
hold = "400h"
"""


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder a reader of the README works in: a faulty file and the demo's files."""
    folder = tmp_path_factory.mktemp("studio")
    (folder / "faulty.toml").write_text(FAULTY, encoding="utf-8")
    assert call(folder, "demo").returncode == 0
    return folder


def blocks(language: str) -> list[str]:
    """Return the README's blocks of code in one language."""
    text = README.read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.M | re.S)


def test_the_tour_is_real(studio: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each console block's commands print its lines, in order; … stands for what is left out."""
    monkeypatch.setenv("NO_COLOR", "1")
    assert blocks("console")
    for block in blocks("console"):
        for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
            command, *shown = part.rstrip("\n").split("\n")
            words = shlex.split(command)
            assert words[0] == "firing"
            result = call(studio, *words[1:])
            printed = (result.stdout + result.stderr).splitlines()
            position = 0
            for line in shown:
                if line == "…":
                    continue
                assert line in printed[position:], f"{command}: {line!r} not in {printed}"
                position = printed.index(line, position) + 1


def test_the_lines_from_python_are_real(studio: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(studio)
    (lines,) = blocks("pycon")
    test = doctest.DocTestParser().get_doctest(lines, {}, "README", "README.md", 0)
    said: list[str] = []
    runner = doctest.DocTestRunner(optionflags=doctest.NORMALIZE_WHITESPACE)
    assert runner.run(test, out=said.append).attempted == len(test.examples)
    assert not runner.failures, "".join(said)


def test_every_command_and_option_named_here_exists() -> None:
    """The README names no command, option or ready file that the program has not."""
    from click import Context, Group

    from firing.cli import COMMANDS, cli
    from firing.files.ready import example_names, ready_names

    text = README.read_text(encoding="utf-8")
    code = "\n".join((*blocks("console"), *blocks("sh"), *re.findall(r"`[^`\n]+`", text)))
    named = re.findall(r"(?:^|`|\$ )firing ([a-z]+)\b", code, re.M)
    assert set(named) <= set(COMMANDS)
    options = {option for parameter in cli.params for option in parameter.opts}
    commands = [cli.get_command(Context(cli), name) for name in COMMANDS]
    for command in commands:
        assert command is not None
        inner = list(command.commands.values()) if isinstance(command, Group) else [command]
        options |= {option for one in inner for p in one.params for option in p.opts}
    ours = re.sub(r"bin/pytest .*", "", text)
    assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", ours)) <= options
    files = set(re.findall(r"\bexample-[a-z-]+", text))
    assert files <= {*example_names(), *ready_names()}
