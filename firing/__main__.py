"""The door of the command line, for ``firing`` and ``python -m firing``.

A Ctrl-C is answered here while the commands are still being loaded, and after they are done: what
it interrupts then are imports and the interpreter's own clearing up, which print tracebacks.
"""

import contextlib
import os
import signal
import sys
from typing import Any, NoReturn


def main() -> None:
    """Run the command line, from the first import to the end of the process."""
    # Where it is ignored, as under nohup, it stays so.
    answers = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if answers:
        signal.signal(signal.SIGINT, _leave)
        sys.unraisablehook = _heed
    from firing.cli import main as command_line

    if answers:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        command_line()
    finally:
        if answers:
            signal.signal(signal.SIGINT, _leave)


def _leave(number: int, frame: object) -> NoReturn:
    """End the process at once, in the words and with the code of `cli.outcome`."""
    with contextlib.suppress(OSError):
        os.write(2, b"\nfiring: interrupted\n")  # the terminal's own line has ^C
    os._exit(130)


def _heed(ignored: Any) -> None:
    """Leave when a Ctrl-C came in a callback: its exception goes no further, and would be lost."""
    if ignored.exc_type is KeyboardInterrupt:
        _leave(signal.SIGINT, None)
    sys.__unraisablehook__(ignored)


if __name__ == "__main__":
    main()
