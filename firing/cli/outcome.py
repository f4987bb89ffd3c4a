"""How a command ends and what goes where: every exit code and message channel, in one place.

Results go to stdout, notes and progress to stderr.  A refusal is one line on stderr a fault,
never a traceback.
"""

import contextlib
import gc
import math
import os
import re
import sys
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any, NoReturn

import click

from firing.errors import FiringError
from firing.report.sanitize import json_line, printed, shorten, to_ascii

if TYPE_CHECKING:
    from pathlib import Path

    from firing.report.document import Report

DONE = 0
"""Done, and nothing to act on."""
ACT = 1
"""Done, and there is something to act on."""
REFUSED = 2
"""Usage, or a file that cannot be used."""
UNFORESEEN = 70
"""A mistake of the program itself."""
INTERRUPTED = 130
"""Stopped from the keyboard."""

LONGEST_LINE = 1000
"""A refusal is no longer, whatever it quotes."""

DEBUG = False
"""Whether a mistake of the program is shown with its traceback; ``--debug`` sets it."""
_closed: set[str] = set()


class _ReaderGone(Exception):
    """Nobody reads standard output any more; `click` makes exit code 1 of a `BrokenPipeError`."""


def run(command: click.Command) -> NoReturn:
    """Run a command and leave the process with the code its outcome calls for."""
    _occupy_closed_streams()
    code = DONE
    # A command makes little garbage and is soon over; collecting it while the libraries load costs
    # a twentieth of a review.  What runs for days turns it on again.
    gc.disable()
    try:
        code = command.main(standalone_mode=False) or DONE
        sys.stdout.flush()
    except FiringError as error:
        for line in str(error).splitlines():
            _warn(shorten(f"firing: {line}", LONGEST_LINE))
        code = REFUSED
    except click.exceptions.NoArgsIsHelpError as error:
        _warn(error.format_message())
        code = REFUSED
    except click.ClickException as error:
        usage = getattr(error, "ctx", None)
        if usage is not None:
            _warn(f"{usage.get_usage()}\nTry '{usage.command_path} --help' for help.\n")
        _warn(f"Error: {error.format_message()}")
        code = error.exit_code
    except (KeyboardInterrupt, click.Abort) as error:
        # A question and nobody at the other end: `click` calls that an abort, too.
        unanswered = isinstance(error.__context__, EOFError)
        end = "nobody answers here; give the answers as options" if unanswered else "interrupted"
        _warn("\n" * unanswered + f"firing: {end}")
        code = REFUSED if unanswered else INTERRUPTED
    except (BrokenPipeError, _ReaderGone):
        # The reader of a pipe has seen enough; that is no fault of anybody's.
        _let_go(sys.stdout)
    except OSError as error:
        # A full disk, a terminal that is gone: no mistake of the program, and nothing to send in.
        _let_go(sys.stdout)
        named = f"{error.filename}: " if error.filename else "the output cannot be written: "
        _warn(shorten(f"firing: {named}{error.strerror or error}", LONGEST_LINE))
        code = REFUSED
    except Exception as error:
        code = _unforeseen(error)
    # Else the interpreter looks through all that lives for garbage, in a tenth of a review's time.
    gc.freeze()
    sys.exit(code)


def _unforeseen(error: Exception) -> int:
    """Say in one sentence that something failed which nobody foresaw, and how to report it."""
    import traceback

    if DEBUG:
        _warn("".join(traceback.format_exception(error)).rstrip("\n"))
    frames = traceback.extract_tb(error.__traceback__)
    place = f", {os.path.basename(frames[-1].filename)} line {frames[-1].lineno}" if frames else ""
    _warn(
        f"firing: this is a mistake of the program, not yours ({type(error).__name__}{place}). "
        "Please report it: run 'firing --debug' with the same words after it, and send what it "
        "prints, with the files, to where you got firing from."
    )
    return UNFORESEEN


def _occupy_closed_streams() -> None:
    """Put the null device in the place of standard streams that are closed.

    Else the next file that is opened gets the number, and what is printed would go into it.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115
            _closed.add(name)


def _let_go(stream: Any) -> None:
    """Let what is left in a stream's buffer go nowhere, not to fail again when the process ends."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _print(content: str) -> None:
    """Print to stdout: the one way to it, as `_warn` is to stderr."""
    if "stdout" in _closed:
        raise FiringError("standard output is closed, so nothing can be printed; open it")
    # Named, as click would write UTF-8 to a stream that is said to take ASCII.
    try:
        click.echo(readable(printed(content), sys.stdout), file=sys.stdout)
    except BrokenPipeError:
        raise _ReaderGone from None


def _warn(message: str) -> None:
    """Print to stderr; what it does not take cannot be told anywhere else."""
    try:
        click.echo(readable(printed(message), sys.stderr), file=sys.stderr)
    except OSError:
        _let_go(sys.stderr)


def _lacking(content: str, stream: Any) -> set[str]:
    """Return the characters of a text that a stream's encoding does not have."""
    encoding = getattr(stream, "encoding", None) or "ascii"
    try:
        content.encode(encoding)
    except UnicodeEncodeError:
        return {c for c in set(content) if not _has(encoding, c)}
    except LookupError:
        return {c for c in set(content) if not c.isascii()}
    return set()


def _has(encoding: str, character: str) -> bool:
    try:
        character.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True


def readable(content: str, stream: Any) -> str:
    """Return a text with a plain counterpart for what a stream's encoding does not have."""
    return content.translate({ord(c): to_ascii(c) for c in _lacking(content, stream)})


def act_if(needed: bool) -> int:
    """Return the exit code of a command that ran: is there something to act on?"""
    return ACT if needed else DONE


def note(message: str) -> None:
    """Tell something on the side, on stderr."""
    _warn(message)


def text(content: str) -> None:
    """Print a result for a person."""
    _print(content)


def report(result: "Report") -> None:
    """Print a report as wide, as coloured and with such characters as stdout takes."""
    from firing.report.text import render_text

    text(
        render_text(
            result,
            width=width(),
            colour=colour_wanted(),
            ascii_only=not braille_possible(),
            brief=not asked("full"),
            charts=not asked("plain"),
        )
    )


def asked(name: str) -> bool:
    """Return whether the command was given that option of how to show a report."""
    context = click.get_current_context(silent=True)
    return context is not None and bool(context.meta.get(f"firing.{name}"))


def write(path: "Path", content: str, *, overwrite: bool = False) -> None:
    """Write a file that a command was asked for; never in the place of one that it reads."""
    from firing.files.disk import write_text

    refuse_input(path)
    write_text(path, content, overwrite=overwrite)


def refuse_input(path: "Path") -> None:
    """Refuse to write to a file that the command was given to read."""
    from firing.files.disk import names_same_file

    context = click.get_current_context(silent=True)
    for given in _paths_in(() if context is None else context.params.items()):
        if names_same_file(path, given):
            raise FiringError(f"{path}: is what this command reads; choose another name")


_WRITTEN = ("html", "out")
"""The parameters that name what a command writes."""


def _paths_in(params: Iterable[tuple[str, Any]]) -> Iterator["Path"]:
    """Yield everything that a command was given which may be the name of a file it reads."""
    from pathlib import Path  # the start of every command does without it

    for name, value in params:
        for entry in value if isinstance(value, tuple) else (value,):
            if name not in _WRITTEN and isinstance(entry, str | Path):
                yield Path(entry)


def page(result: "Report", path: "Path", *, overwrite: bool = False) -> None:
    """Write a report as a page, and say so."""
    from firing.report.page import render_page

    write(path, render_page(result, interactive=asked("interactive")), overwrite=overwrite)
    note(f"page written to {path}")


def document(data: Any) -> None:
    """Print one JSON document: its figures in SI units, its sentences in the plan's unit."""
    import json

    plan = data.get("schedule") or {}
    shown = _plain(data, in_fahrenheit=plan.get("unit", data.get("unit")) == "F")
    written = json_line(shown, indent=2)
    if _lacking(written, sys.stdout):
        written = re.sub(r"[^\x00-\x7f]", lambda found: json.dumps(found[0])[1:-1], written)
    _print(written)


_AS_WRITTEN = ("schedule", "controller", "title", "name", "path", "log")
"""What a person wrote, which no sentence's unit changes."""


def _plain(value: Any, *, in_fahrenheit: bool = False) -> Any:
    """Return `value` as JSON holds it: no NaN, no numpy scalars, no digits past a micro-unit."""
    if isinstance(value, dict):
        return {
            str(key): _plain(entry, in_fahrenheit=in_fahrenheit and key not in _AS_WRITTEN)
            for key, entry in value.items()
        }
    if isinstance(value, list | tuple):
        return [_plain(entry, in_fahrenheit=in_fahrenheit) for entry in value]
    if isinstance(value, str) and in_fahrenheit:
        from firing.units import in_unit

        return in_unit(value, "F")
    if isinstance(value, str | bool | int) or value is None:
        return value
    number = float(value)
    return round(number, 6) if math.isfinite(number) else None


def colour_wanted() -> bool:
    """Return whether stdout is a terminal that may be coloured; NO_COLOR and a dumb one say no."""
    plain = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    return sys.stdout.isatty() and not plain


def braille_possible() -> bool:
    """Return whether stdout's encoding can carry the chart's characters."""
    try:
        "\u28ff°−".encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def width() -> int:
    """Return the width to write in: the terminal's, 50 to 120 columns; 80 into a pipe."""
    if not sys.stdout.isatty():
        return 80
    import shutil

    return min(max(shutil.get_terminal_size((80, 24)).columns, 50), 120)
