"""Which source a command line means: a file, a port, an address, standard input, or a log."""

from pathlib import Path
from typing import Any

from firing.capture.replay import Replay
from firing.capture.settings import STANDARD_INPUT, SourceSettings, make_source
from firing.capture.source import Source
from firing.errors import FiringError
from firing.logs.words import names_kiln

_LINE_OPTIONS = ("fields", "delimiter", "unit", "thermocouple", "junction_c", "baud")


def source_of(text: str, told: dict[str, Any]) -> Source:
    """Return the source that a command's argument and options describe.

    Parameters
    ----------
    text : str
        A source file, a port, an address, ``-``, or a log.
    told : dict
        Options by name; None where one is not given.

    Raises
    ------
    FiringError
        If there is no such thing, or an option does not go with it.
    """
    given = {key: told[key] for key in _LINE_OPTIONS if told[key] is not None}
    path = Path(text)
    if text != STANDARD_INPUT and "://" not in text and path.suffix.lower() == ".toml":
        _refuse_options(given, told, f"{text} is a source file; write it there")
        from firing.capture.sourcefile import read_source  # loads pydantic

        return make_source(read_source(path))
    if path.is_file():
        return _replay(path, given, told)
    looks_like_port = text.startswith("/dev/") or text.upper().startswith("COM")
    if not (text == STANDARD_INPUT or "://" in text or looks_like_port or path.exists()):
        raise FiringError(
            f"{text}: there is no such file or port; 'firing ports' lists the ports there are"
        )
    _refuse_options({}, told, "only a log is replayed")
    if "fields" in given:
        given["fields"] = tuple(part.strip() for part in given["fields"].split(","))
    if len(given.get("delimiter", ",")) != 1:
        raise FiringError('--delimiter wants one character, such as ";"')
    return make_source(SourceSettings(port=text, **given))


def _refuse_options(given: dict[str, Any], told: dict[str, Any], why: str) -> None:
    for key in given:
        raise FiringError(f"--{key.removesuffix('_c')} has no meaning here: {why}")
    if told["speed"] is not None:
        raise FiringError(f"--speed has no meaning here: {why}")


def _replay(path: Path, given: dict[str, Any], told: dict[str, Any]) -> Source:
    allowed = ("unit", "delimiter", "thermocouple", "junction_c")
    for key in given:
        if key not in allowed:
            raise FiringError(f"--{key} has no meaning here: {path} is a log, and replayed")
    names = {"thermocouple": "thermocouple_type"}
    reading = {names.get(key, key): value for key, value in given.items()}
    return Replay(path, _speed(told["speed"]), reading)


def _speed(text: str | None) -> float:
    if text is None or text == "max":
        return float("inf")
    try:
        speed = float(text)
    except ValueError:
        speed = 0.0
    if not 0.01 <= speed <= 1e6:
        raise FiringError(f'--speed {text}: write a number from 0.01 to 1000000, or "max"')
    return speed


def kiln_channel(source: Source, told: str | None) -> int:
    """Return which channel is the kiln's: the one told, one of that name, or the first.

    Raises
    ------
    FiringError
        If there is no such channel.
    """
    names = source.channels
    if told is None:
        if isinstance(source, Replay):
            return source.kiln_channel
        return next((i for i, name in enumerate(names) if names_kiln(name)), 0)
    for index, name in enumerate(names):
        if told.casefold() == name.casefold():
            return index
    if told.isdecimal() and 1 <= int(told) <= len(names):
        return int(told) - 1
    listed = ", ".join(f"{index} ({name})" for index, name in enumerate(names, start=1))
    raise FiringError(f'there is no channel "{told}"; the channels are {listed}')
