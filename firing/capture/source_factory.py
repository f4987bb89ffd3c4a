"""Which source a command line means: a file, a port, an address, standard input, or a log."""

from pathlib import Path
from typing import Any

from firing.capture.log_sources import FollowedLog, ReplayedLog
from firing.capture.source import ReadingSource
from firing.capture.source_settings import STANDARD_INPUT, SourceSettings, make_source
from firing.errors import FiringError
from firing.logs.options import ReadingOptions, spelled
from firing.logs.vocabulary import names_kiln
from firing.units import TemperatureUnit

OF_LINES = ("unit", "delimiter", "decimal", "thermocouple_type", "junction_c")
"""What may be told of lines that come in one by one; the rest settles what only a file holds."""


def choose_source(
    text: str, line: dict[str, Any], reading: ReadingOptions, channel: str | None = None
) -> ReadingSource:
    """Return the source that a command's argument and options describe.

    `text` is a source file, a port, an address, ``-``, or a log.  `line` holds ``fields``,
    ``baud``, ``speed`` and ``follow`` as a person writes them, None or False where one is not
    given. `channel` is the kiln's in a log; see `kiln_channel` for all others.
    """
    of_line = {name: value for name, value in line.items() if value not in (None, False)}
    given = {**of_line, **reading.given()}
    path = Path(text)
    if text != STANDARD_INPUT and "://" not in text and path.suffix.lower() == ".toml":
        why = f"{text} is a source file; write it there"
        _refuse(given, why, "only a log is replayed or followed")
        from firing.capture.source_file import open_source  # loads pydantic

        return make_source(open_source(path))
    if path.is_file():
        of_ports: dict[str, Any] = {
            name: of_line[name] for name in ("fields", "baud") if name in of_line
        }
        _refuse(of_ports, f"{path} is a log, and replayed; --column names what its columns hold")
        if "follow" in of_line:
            of_finished = {**of_line, **reading.given()}
            _refuse(
                {name: True for name in ("speed", "as_logged") if name in of_finished},
                "with --follow the firing is running now, and its readings are judged",
            )
            return FollowedLog(path, reading, channel)
        return ReplayedLog(path, _speed(of_line.get("speed")), reading, channel)
    looks_like_port = text.startswith("/dev/") or text.upper().startswith(("COM", "USB:"))
    if not (text == STANDARD_INPUT or "://" in text or looks_like_port or path.exists()):
        raise FiringError(
            f"{text}: there is no such file or port; 'firing ports' lists the ports there are"
        )
    of_logs = {name: value for name, value in given.items() if name not in OF_LINES}
    _refuse(
        {name: value for name, value in of_logs.items() if name not in ("fields", "baud")},
        f"it is for logs, and {text} gives lines one by one",
        "only a log is replayed or followed",
    )
    settings = {name: value for name, value in given.items() if name not in of_logs}
    if settings.get("unit", "C") not in ("C", "F", "mV"):
        raise FiringError(f"--unit {settings['unit']} is for logs; a port gives C, F or mV")
    if len(settings.get("delimiter", ",")) != 1:
        raise FiringError('--delimiter wants one character, such as ";"')
    if "thermocouple_type" in settings:
        settings["thermocouple"] = settings.pop("thermocouple_type")
    if "fields" in of_line:
        settings["fields"] = tuple(part.strip() for part in of_line["fields"].split(","))
    if "baud" in of_line:
        settings["baud"] = of_line["baud"]
    return make_source(SourceSettings(port=text, **settings))


def _refuse(given: dict[str, Any], why: str, why_no_log: str = "") -> None:
    for name in given:
        reason = why_no_log if why_no_log and name in ("speed", "follow") else why
        raise FiringError(f"{spelled(name)} has no meaning here: {reason}")


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


def spoken_unit(source: ReadingSource) -> TemperatureUnit:
    """Return the unit that a source's own display has, degrees Celsius if it does not say."""
    if isinstance(source, ReplayedLog | FollowedLog):
        return source.unit
    return "F" if getattr(source, "unit", "C") == "F" else "C"


def kiln_channel(source: ReadingSource, which: str | None) -> int:
    """Return which channel is the kiln's: the one told, one of that name, or the first.

    A log chose its own when it was read, as every command that reads one does.
    """
    if isinstance(source, ReplayedLog | FollowedLog):
        return source.kiln_channel
    names = source.channels
    if which is None:
        return next((i for i, name in enumerate(names) if names_kiln(name)), 0)
    for index, name in enumerate(names):
        if which.casefold() == name.casefold():
            return index
    if which.isdecimal() and 1 <= int(which) <= len(names):
        return int(which) - 1
    listed = ", ".join(f"{index} ({name})" for index, name in enumerate(names, start=1))
    raise FiringError(f'there is no channel "{which}"; the channels are {listed}')
