"""SCPI: three questions and no command, late answers, silence."""

import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from capture.ptywatch import Instrument

from firing.capture.fields import FieldLayout, LineParser
from firing.capture.reading import Reading, Status
from firing.capture.scpi import SILENT_ASKS, ScpiSource
from firing.capture.serial_port import PortSettings
from firing.errors import FiringError

ALLOWED = {b"*IDN?", b"READ?", b"MEAS:TEMP?"}


@contextmanager
def answering(
    instrument: Instrument, answer: Callable[[bytes, int], bytes]
) -> Iterator[list[bytes]]:
    """Answer every line that comes in; gives the lines."""
    heard: list[bytes] = []

    def serve() -> None:
        rest = b""
        while True:
            try:
                data = os.read(instrument.master, 256)
            except OSError:
                return
            *lines, rest = (rest + data).split(b"\n")
            for line in lines:
                heard.append(line)
                if line == b"end":
                    return
                instrument.send(answer(line, heard.count(line)))

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    yield heard
    os.write(instrument._slave, b"end\n")
    thread.join(5.0)
    heard.remove(b"end")
    assert set(heard) <= ALLOWED


def asked(instrument: Instrument, query: str = "READ?", wait_s: float = 2.0) -> ScpiSource:
    parser = LineParser(FieldLayout(("kiln", "top")))
    return ScpiSource(PortSettings(str(instrument.port)), parser, query, 0.05, wait_s)


def take(source: ScpiSource) -> Reading:
    while (found := source.read(0.5)) is None:
        pass
    return found


@pytest.mark.parametrize("query", ["READ?", "MEAS:TEMP?"])
def test_an_instrument_is_asked_and_answers(instrument: Instrument, query: str) -> None:
    def answer(line: bytes, _: int) -> bytes:
        return b"ACME,8,0,1.0\n" if line == b"*IDN?" else b"+1.2155000E+03,9.9E37\n"

    with answering(instrument, answer) as heard:
        source = asked(instrument, query)
        source.open()
        found = take(source)
        assert source.remarks() == [f"{instrument.port} says it is ACME,8,0,1.0"]
        source.close()
    assert found.values_c[0] == 1215.5
    assert found.statuses == [Status.OK, Status.OVERLOAD]
    assert set(heard) == {b"*IDN?", query.encode()}


def test_a_command_is_never_sent(instrument: Instrument) -> None:
    for query in ("*RST", "READ?\n*RST", "SOUR:TEMP 900", "read?"):
        with pytest.raises(FiringError, match="never sent"):
            asked(instrument, query)


def test_a_late_answer_does_not_pass_for_the_next_one(instrument: Instrument) -> None:
    late: list[threading.Timer] = []

    def answer(line: bytes, number: int) -> bytes:
        if line != b"READ?":
            return b"x\n"
        if number == 1:
            late.append(threading.Timer(0.35, instrument.send, (b"1.0,1.0\n",)))
            late[-1].start()
            return b""
        return f"{number}.0,{number}.0\n".encode()

    with answering(instrument, answer):
        source = asked(instrument, wait_s=0.25)
        source.open()
        assert take(source).statuses == [Status.MISSING] * 2
        assert take(source).values_c == [2.0, 2.0]
        assert take(source).values_c == [3.0, 3.0]
        source.close()


def test_silence_is_told_of_and_is_no_loss(instrument: Instrument) -> None:
    source = asked(instrument, wait_s=0.01)
    source.open()
    for _ in range(SILENT_ASKS + 2):
        assert take(source).statuses == [Status.MISSING] * 2
    assert len([remark for remark in source.remarks() if "not answered" in remark]) == 1
    source.close()


def test_answers_that_are_no_readings_are_told_at_the_end(instrument: Instrument) -> None:
    with answering(instrument, lambda line, number: b"busy\n"):
        source = asked(instrument)
        source.open()
        for _ in range(2):
            assert take(source).statuses == [Status.MISSING] * 2
        assert "no answer of" in source.unread()
        source.close()
    with answering(instrument, lambda line, number: b"20.0,21.0\n"):
        source = asked(instrument)
        source.open()
        assert take(source).values_c == [20.0, 21.0]
        assert source.unread() == ""
        source.close()
