"""A watch without a screen: status on stdout, notices and notes on stderr, JSON if asked for."""

import contextlib
import json
import os
import select
import sys
from collections.abc import Callable
from datetime import datetime
from typing import Any

from firing.capture.clock import utc_stamp
from firing.capture.reading import Reading
from firing.capture.recorder import Recorder
from firing.schedule.schedule import Schedule
from firing.units import TemperatureUnit, format_duration
from firing.watch.alarm_command import AlarmCommand
from firing.watch.calls import SNOOZE_S, CallBoard
from firing.watch.events import WatchEvent
from firing.watch.state import Estimate
from firing.watch.status_text import status_line, time_of_day


class Terminal:
    """Shows a watch: status on stdout, notices and notes on stderr.

    A terminal or a pipe that is gone does not end a recording.  `as_json` gives stdout one JSON
    document a line.  `cleaned` makes a line harmless to a terminal.  Where somebody sits at a
    `keyboard`, Enter acknowledges the calls and z snoozes them.  `watch` is what it is called where
    there are several.
    """

    def __init__(
        self,
        began: datetime,
        schedule: Schedule | None,
        command: AlarmCommand | None,
        recorder: Recorder | None,
        as_json: bool,
        names: tuple[str, ...],
        cleaned: Callable[[str], str] = str,
        calls: CallBoard | None = None,
        keyboard: int | None = None,
        unit: TemperatureUnit = "C",
        watch: str = "",
    ) -> None:
        self._began = began
        self._schedule = schedule
        self._command = command
        self._recorder = recorder
        self._as_json = as_json
        self._gone: set[int] = set()
        self._names = names
        self._cleaned = cleaned
        self._calls = calls
        self._keyboard = keyboard
        self._unit: TemperatureUnit = unit
        self._keys_told = False
        self._watch = watch

    @property
    def unheard(self) -> bool:
        """Whether nobody can see or keep anything any more."""
        return 1 in self._gone and self._recorder is None and self._command is None

    @property
    def _head(self) -> str:
        return f"{self._watch}: " if self._watch else ""

    def _say(self, stream: Any, number: int, text: str, bell: str = "") -> None:
        if number in self._gone:
            return
        try:
            stream.write(f"{bell}{self._cleaned(text)}\n")
            stream.flush()
        except (OSError, ValueError):
            self._gone.add(number)
            # Otherwise what is left in the buffer would fail again when the program ends.
            os.dup2(os.open(os.devnull, os.O_WRONLY), number)

    def note(self, sentence: str) -> None:
        """Show a sentence on stderr."""
        self._say(sys.stderr, 2, f"firing: {self._head}{sentence}")

    def notice(self, notice: WatchEvent) -> None:
        """Show a notice, ring the bell."""
        at = time_of_day(self._began, notice.at_s)
        bell = "\a" if notice.severity == "act" and sys.stderr.isatty() else ""
        word = {"raised": "ALARM", "over": "over", "told": "note"}[notice.state]
        if notice.repeat:
            word += " again"
        told = f"{at} {word} {notice.id}: {notice.message}"
        self._say(sys.stderr, 2, f"firing: {self._head}{told}", bell)
        if notice.severity == "act" and self._keyboard is not None and not self._keys_told:
            self._keys_told = True
            self.note("Enter acknowledges, z and Enter snoozes; else this comes again in 5 min")
        if self._as_json:
            self._document("notice", notice.at_s, notice.to_dict())

    def status(self, estimate: Estimate, reading: Reading | None) -> None:
        """Show how the firing stands on stdout."""
        if not self._as_json:
            line = status_line(estimate, self._began, self._schedule, self._unit)
            self._say(sys.stdout, 1, f"{self._head}{line}")
            return
        data = estimate.to_dict()
        data["readings"] = (
            {}
            if reading is None
            else {
                name: {
                    "temperature_c": None if value != value else round(value, 3),
                    "status": status.value or "ok",
                }
                for name, value, status in zip(
                    self._names, reading.values_c, reading.statuses, strict=True
                )
            }
        )
        recorder = self._recorder
        data["recording"] = (
            None
            if recorder is None
            else {"file": str(recorder.path), "rows": recorder.rows, "trouble": recorder.trouble}
        )
        self._document("watch", estimate.now_s, data)

    def _document(self, kind: str, at_s: float, data: dict[str, Any]) -> None:
        at = utc_stamp(self._began.timestamp() + at_s)
        named = {"watch": self._watch} if self._watch else {}
        document = {"schema": 1, "kind": kind, "at": at, **named, **data}
        self._say(sys.stdout, 1, json.dumps(document, ensure_ascii=False, allow_nan=False))

    def tick(self) -> None:
        """Heed the keyboard; every line is shown at once, so nothing else is due."""
        if self._calls is None or self._keyboard is None:
            return
        keys: bytes | None = None
        with contextlib.suppress(OSError):  # a terminal that is gone, or is not ours
            # In the background of a shell, to read a terminal would stop the watch.
            if os.tcgetpgrp(self._keyboard) != os.getpgrp():
                return
            if not select.select([self._keyboard], [], [], 0.0)[0]:
                return
            keys = os.read(self._keyboard, 1024)
        if keys:
            self.answer(snooze=keys.strip().lower() == b"z")
        else:
            self._keyboard = None

    def answer(self, *, snooze: bool = False) -> None:
        """Acknowledge every call nobody has answered, or snooze it, and say so."""
        if self._calls is None:
            return
        names = self._calls.answer(snooze=snooze)
        how = f"snoozed for {format_duration(SNOOZE_S)}" if snooze else "acknowledged"
        what = ", ".join(names)
        self.note(f"{what} {how}; alarms stand all the same" if names else "nothing waits")


def keyboard() -> int | None:
    """Return the terminal that somebody may type at; None where there is none to be asked."""
    try:
        number = sys.stdin.fileno()
    except (OSError, ValueError, AttributeError):
        return None
    return number if sys.platform != "win32" and os.isatty(number) else None
