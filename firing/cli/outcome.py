"""How a command ends and what goes where: every exit code and message channel, in one place.

Results go to stdout, notes and progress to stderr.  A refusal is one line on stderr a fault,
never a traceback.
"""

import gc
import json
import math
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from firing.errors import FiringError

if TYPE_CHECKING:
    from firing.report.document import Report

DONE = 0
"""Done, and nothing to act on."""
ACT = 1
"""Done, and there is something to act on."""
REFUSED = 2
"""Usage, or a file that cannot be used."""
INTERRUPTED = 130
"""Stopped from the keyboard."""


def run(command: click.Command) -> NoReturn:
    """Run a command and leave the process with the code its outcome calls for."""
    code = DONE
    # A command makes little garbage and is soon over; collecting it while the libraries load costs
    # a twentieth of a review.  What runs for days turns it on again.
    gc.disable()
    try:
        code = command.main(standalone_mode=False) or DONE
        sys.stdout.flush()
    except FiringError as error:
        for line in str(error).splitlines():
            click.echo(f"firing: {line}", err=True)
        code = REFUSED
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        code = REFUSED
    except click.ClickException as error:
        error.show()
        code = error.exit_code
    except (KeyboardInterrupt, click.Abort):
        click.echo("firing: interrupted", err=True)
        code = INTERRUPTED
    except BrokenPipeError:
        # The reader of a pipe has seen enough; that is no fault of anybody's.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(code)


def act_if(needed: bool) -> int:
    """Return the exit code of a command that ran: is there something to act on?"""
    return ACT if needed else DONE


def note(message: str) -> None:
    """Tell something on the side, on stderr."""
    click.echo(message, err=True)


def text(content: str) -> None:
    """Print a result for a person."""
    click.echo(content)


def report(result: "Report") -> None:
    """Print a report as wide, as coloured and with such characters as stdout takes."""
    from firing.report.text import render_text

    ascii_only = not braille_possible()
    text(render_text(result, width=width(), colour=colour_wanted(), ascii_only=ascii_only))


def page(result: "Report", path: Path, *, overwrite: bool = False) -> None:
    """Write a report as a page, and say so."""
    from firing.files.tomlfile import write_text
    from firing.report.page import render_page

    write_text(path, render_page(result), overwrite=overwrite)
    note(f"page written to {path}")


def document(data: Any) -> None:
    """Print one JSON document."""
    click.echo(json.dumps(_plain(data), ensure_ascii=False, indent=2, allow_nan=False))


def _plain(value: Any) -> Any:
    """Return `value` as JSON holds it: no NaN, no numpy scalars, no digits past a micro-unit."""
    if isinstance(value, dict):
        return {str(key): _plain(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(entry) for entry in value]
    if isinstance(value, str | bool | int) or value is None:
        return value
    number = float(value)
    return round(number, 6) if math.isfinite(number) else None


def colour_wanted() -> bool:
    """Return whether stdout is a terminal that may be coloured (NO_COLOR says no)."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR")


def braille_possible() -> bool:
    """Return whether stdout's encoding can carry the chart's characters."""
    try:
        "\u28ff°−".encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def width() -> int:
    """Return the width to write in: the terminal's, 80 to 120 columns; 80 into a pipe."""
    if not sys.stdout.isatty():
        return 80
    import shutil

    return min(max(shutil.get_terminal_size((80, 24)).columns, 80), 120)
