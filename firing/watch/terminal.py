"""A watch without a screen: status on stdout, notices and notes on stderr, JSON if asked for."""

import json
import os
import sys
from collections.abc import Callable
from datetime import datetime
from typing import Any

from firing.capture.clock import utc_stamp
from firing.capture.reading import Reading
from firing.capture.recorder import Recorder
from firing.schedule.schedule import Schedule
from firing.watch.alarm_command import AlarmCommand
from firing.watch.events import WatchEvent
from firing.watch.state import Estimate
from firing.watch.status_text import status_line, time_of_day


class Terminal:
    """Shows a watch: status on stdout, notices and notes on stderr.

    A terminal or a pipe that is gone does not end a recording.  `as_json` gives stdout one JSON
    document a line.  `cleaned` makes a line harmless to a terminal.
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
    ) -> None:
        self._began = began
        self._schedule = schedule
        self._command = command
        self._recorder = recorder
        self._as_json = as_json
        self._gone: set[int] = set()
        self._names = names
        self._cleaned = cleaned

    @property
    def unheard(self) -> bool:
        """Whether nobody can see or keep anything any more."""
        return 1 in self._gone and self._recorder is None and self._command is None

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
        self._say(sys.stderr, 2, f"firing: {sentence}")

    def notice(self, notice: WatchEvent) -> None:
        """Show a notice, ring the bell."""
        at = time_of_day(self._began, notice.at_s)
        bell = "\a" if notice.severity == "act" and sys.stderr.isatty() else ""
        word = {"raised": "ALARM", "over": "over", "told": "note"}[notice.state]
        self._say(sys.stderr, 2, f"firing: {at} {word} {notice.id}: {notice.message}", bell)
        if self._as_json:
            self._document("notice", notice.at_s, notice.to_dict())

    def status(self, estimate: Estimate, reading: Reading | None) -> None:
        """Show how the firing stands on stdout."""
        if not self._as_json:
            self._say(sys.stdout, 1, status_line(estimate, self._began, self._schedule))
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
        document = {"schema": 1, "kind": kind, "at": at, **data}
        self._say(sys.stdout, 1, json.dumps(document, ensure_ascii=False, allow_nan=False))

    def tick(self) -> None:
        """Nothing is due: every line is shown at once."""
