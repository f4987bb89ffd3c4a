"""A watch whose screens failed, told line by line: it goes on until somebody ends it."""

from __future__ import annotations

import contextlib
import signal
import sys
import threading
import time
from typing import TYPE_CHECKING

from firing.watch.status_text import MomentText, status_line

from .watchwords import told_words

if TYPE_CHECKING:
    from .watching import LiveWatch, WatchRemark

LOOK_EVERY_S = 0.5
STATUS_EVERY_S = 60.0


def follow(watch: LiveWatch) -> None:
    """Tell of a running watch on standard error until it is over, Ctrl-C, or a signal to end.

    Parameters
    ----------
    watch : LiveWatch
        The watch, which is left as it is.
    """
    asked: set[int] = set()
    if threading.current_thread() is threading.main_thread():
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)  # no SIGHUP on Windows
            if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, lambda caught, _: asked.add(caught))
    _say(
        "firing: the screens failed, and the watch goes on here: reading, recording and alarms.  "
        "Ctrl-C ends it."
    )
    last = watch.seen.remarks[-1] if watch.seen.remarks else None
    for remark in watch.seen.standing:
        _tell(watch, remark)
    status_s = time.monotonic()
    while True:
        running = watch.running
        remarks = watch.seen.remarks
        since = next((n + 1 for n, remark in enumerate(remarks) if remark is last), 0)
        for remark in remarks[since:]:
            _tell(watch, remark)
        last = remarks[-1] if remarks else None
        if time.monotonic() >= status_s:
            status_s += STATUS_EVERY_S
            _tell_status(watch)
        if asked or not running:
            return
        time.sleep(LOOK_EVERY_S)


def _tell(watch: LiveWatch, remark: WatchRemark) -> None:
    seen = watch.seen
    if seen.began is None:
        return
    at, words = told_words(remark, MomentText(seen.began, seen.now_s))
    bell = "\a" if remark.kind in ("alarm", "call") else ""
    _say(f"{bell}{at} {words}")


def _tell_status(watch: LiveWatch) -> None:
    seen = watch.seen
    if seen.estimate is None or seen.began is None:
        return
    with contextlib.suppress(Exception):  # what failed on the screen may fail here, too
        _say(status_line(seen.estimate, seen.began, watch.schedule))


def _say(words: str) -> None:
    # A terminal that is gone does not end a recording.
    with contextlib.suppress(OSError, ValueError):
        print(words, file=sys.stderr, flush=True)
