"""What the README shows is what the commands print."""

import doctest
import re
import shlex
from pathlib import Path

import pytest
from commandline import call

README = Path(__file__).parents[1] / "README.md"


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder that a reader of the README works in, after its first line."""
    folder = tmp_path_factory.mktemp("studio")
    assert call(folder, "demo").returncode == 0
    return folder


def blocks(language: str) -> list[str]:
    """Return the README's blocks of code in one language."""
    text = README.read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.M | re.S)


def test_the_tour_is_real(studio: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Followed from top to bottom: files are new, and each command prints its lines, in order.

    … stands for what is left out.
    """
    monkeypatch.setenv("NO_COLOR", "1")
    text = README.read_text(encoding="utf-8")
    told = re.findall(r"^```(console|toml)\n(.*?)^```", text, re.M | re.S)
    assert {language for language, _ in told} == {"console", "toml"}
    for language, block in told:
        if language == "toml":
            named = re.match(r"# ([\w-]+\.toml)", block)
            assert named is not None
            assert not (studio / named[1]).exists(), "it would write over a file made before"
            (studio / named[1]).write_text(block, encoding="utf-8")
            continue
        for part in re.split(r"^\$ ", block, flags=re.M)[1:]:
            command, *shown = part.rstrip("\n").split("\n")
            words = shlex.split(command)
            assert words[0] == "firing"
            result = call(studio, *words[1:])
            assert (result.returncode == 2) == ("faulty" in command), command
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
    from firing.files.kinds import example_names, ready_names

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
