"""A watch as a service of systemd: the unit's text, printed for its owner to install or not."""

from __future__ import annotations

import re
import shutil
import sys
import unicodedata
from collections.abc import Sequence
from pathlib import Path

from firing.errors import FiringError

_PLAIN = re.compile(r"[\w@+=:,./-]+", re.ASCII)


def service_unit(arguments: Sequence[str], folder: Path, name: str = "") -> str:
    """Return the unit that runs ``firing`` with these arguments in a folder, and how to install it.

    `FiringError` if an argument cannot stand in a unit.
    """
    plain = unicodedata.normalize("NFKD", name.casefold()).encode("ascii", "ignore").decode()
    unit = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")
    unit = f"firing-watch-{unit}" if unit else "firing-watch"
    command = " ".join(_quoted(word) for word in (*_program(), *arguments))
    home = _escaped(str(folder))
    return f"""\
# {unit}.service: nothing is installed yet.  To install it for yourself:
#   1. save this as ~/.config/systemd/user/{unit}.service
#   2. systemctl --user daemon-reload
#   3. systemctl --user enable --now {unit}
#   4. loginctl enable-linger      (so that it runs while you are not logged in)
# Its messages: journalctl --user -u {unit} -f
# Keep the computer awake: a computer that sleeps reads nothing.  If yours lets you, put
#   {shutil.which("systemd-inhibit") or "/usr/bin/systemd-inhibit"} --what=sleep:idle
# before the program at ExecStart.  Try that first: where it is refused, the watch doesn't begin.
# A secret of --notify that stands in the environment goes into a file of mode 0600, named here by
#   EnvironmentFile=
# This is no safety device: an independent over-temperature cut-out and a person at the end point
# are.
[Unit]
Description=Watch of a kiln{f" ({_escaped(_one_line(name))})" if name else ""}

[Service]
Type=exec
WorkingDirectory={home}
ExecStart={command}
# Tried again when it cannot begin or fails: the recording is continued.  Exit code 1 says that
# something is left to do, which beginning again would not do.
Restart=on-failure
RestartSec=10
RestartPreventExitStatus=1
TimeoutStopSec=20

[Install]
WantedBy=default.target
"""


def _program() -> tuple[str, ...]:
    """Return what runs this program again, by its whole path."""
    found = shutil.which("firing")
    if found is not None:
        return (str(Path(found).absolute()),)
    # -P: no file of the folder it runs in may stand in the place of a module.
    return (sys.executable, "-P", "-m", "firing")


def _one_line(words: str) -> str:
    return " ".join(words.split())


def _escaped(words: str) -> str:
    """Return words in which systemd expands nothing."""
    if not words.isprintable():
        raise FiringError("a service cannot have a line break in its folder or arguments")
    return words.replace("%", "%%")


def _quoted(word: str) -> str:
    """Return one word of a command line of systemd, nothing in it expanded (systemd.service)."""
    if _PLAIN.fullmatch(word) and not word.startswith(("-:", "@", "+", "!", ":")):
        return word
    inner = _escaped(word).replace("$", "$$").replace("\\", "\\\\").replace('"', '\\"')
    return f'"{inner}"'
