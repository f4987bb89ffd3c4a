"""Instruments that answer SCPI queries.  Nothing but the queries below is ever sent.

SCPI has many commands that change an instrument (``*RST`` among them); the bytes that can leave
here are a fixed list of questions.
"""

import time
from typing import Literal, get_args

from firing.capture.fields import LineParser
from firing.capture.reading import Reading, SourceUnit, missing_reading
from firing.capture.serial_port import PortSettings, SerialPort
from firing.capture.source import PollingTimer
from firing.capture.text_lines import LineBuffer
from firing.errors import FiringError
from firing.files.tomlfile import clean

Query = Literal["READ?", "MEAS:TEMP?"]
QUERIES: tuple[Query, ...] = get_args(Query)
_SENT = {"*IDN?": b"*IDN?\n", "READ?": b"READ?\n", "MEAS:TEMP?": b"MEAS:TEMP?\n"}

ANSWER_WAIT_S = 2.0
"""A scanning instrument takes about that long for its channels [s]."""
SILENT_ASKS = 5
"""So many questions in a row without an answer are told of."""


class ScpiSource:
    """An instrument that is asked one of `QUERIES`: it answers numbers with commas between."""

    def __init__(
        self,
        settings: PortSettings,
        parser: LineParser,
        query: str,
        interval_s: float,
        answer_wait_s: float = ANSWER_WAIT_S,
    ) -> None:
        if query not in QUERIES:
            raise FiringError(f'"{query}" is never sent; write one of {", ".join(QUERIES)}')
        self.name = settings.port
        self.channels = parser.channels
        self.gives_output = parser.layout.gives_output
        self.unsolicited = False
        self.unit: SourceUnit = "C"
        self._port = SerialPort(settings)
        self._parser = parser
        self._query = query
        self.interval_s = interval_s
        self._answer_wait_s = answer_wait_s
        self._timer = PollingTimer(interval_s)
        self._silent = self._silences = 0
        self._late = False
        self._remarks: list[str] = []
        self._identity = ""
        self._any = False

    def open(self) -> None:
        """Open the port and ask who is there; silence is not held against it."""
        self._port.open(wait_s=0.1)
        identity = self._answer("*IDN?")
        if identity is not None:
            name = clean(identity.decode("ascii", "replace").strip())[:80]
            if name != self._identity:
                self._identity = name
                self._remarks.append(f"{self.name} says it is {name}")
        self._timer = PollingTimer(self.interval_s)

    def _answer(self, query: str) -> bytes | None:
        if self._late:
            self._drain()
        self._port.ask(_SENT[query])
        buffer = LineBuffer(synchronise=False)
        until_s = time.monotonic() + self._answer_wait_s
        while time.monotonic() < until_s:
            lines = buffer.feed(self._port.read(), time.monotonic())
            if lines:
                return lines[0]
        self._late = True
        return None

    def _drain(self) -> None:
        """Wait until what is late has come in, so that it does not pass for the next answer."""
        until_s = time.monotonic() + self._answer_wait_s
        while time.monotonic() < until_s and self._port.read():
            pass
        self._late = False

    def read(self, wait_s: float) -> Reading | None:
        """Ask when it is time; see `ReadingSource`."""
        if not self._timer.due(wait_s):
            return None
        answer = self._answer(self._query)
        if answer is None:
            self._silent += 1
            self._silences += self._silent == SILENT_ASKS
            # An instrument that often falls silent is told of less and less.
            if self._silent == SILENT_ASKS and self._silences.bit_count() == 1:
                self._remarks.append(
                    f"{self.name} has not answered {self._query} {SILENT_ASKS} times; check the "
                    f"cable and the baud rate ({self._port.settings.baud})"
                )
            if self._port.is_socket and self._silent % SILENT_ASKS == 0:
                self.open()  # the other end may be gone without having said so
            return missing_reading(len(self.channels))
        self._silent = 0
        reading = self._parser.parse(answer)
        if reading is None and sum(self._parser.refused.values()) == SILENT_ASKS:
            shown = clean(answer.decode("ascii", "replace"))[:40]
            self._remarks.append(
                f'{self.name} answers "{shown}", which is not {len(self.channels)} number(s); '
                "check the fields"
            )
        if reading is None:
            return missing_reading(len(self.channels))
        self._any = True
        return reading

    def unread(self) -> str:
        """Return, as a sentence, that no answer was a reading; else nothing."""
        count = self._parser.refused.total()
        if self._any or not count:
            return ""
        why = ", ".join(reason for reason, _ in self._parser.refused.most_common(2))
        return f"no answer of {self.name} was a reading ({count} came: {why}); check the fields"

    def close(self) -> None:
        """Close the port."""
        self._port.close()

    def remarks(self) -> list[str]:
        """Return what has not been told yet."""
        remarks, self._remarks = self._remarks, []
        return remarks
