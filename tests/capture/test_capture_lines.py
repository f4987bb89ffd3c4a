"""Bytes to lines: never a part of one, however they come in."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.capture.fields import FieldLayout, LineParser, layout_of
from firing.capture.source import UsualPause
from firing.capture.text_lines import LONGEST_LINE, STALE_S, LineBuffer, LineReader

LINES = st.lists(st.binary(min_size=1, max_size=20).filter(lambda b: not set(b) & {10, 13}))


@given(LINES, st.sampled_from([b"\n", b"\r\n", b"\r"]), st.data())
def test_lines_come_out_as_they_went_in_however_they_are_cut(
    lines: list[bytes], end: bytes, data: st.DataObject
) -> None:
    stream = b"".join(line + end for line in lines)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=8)))
    buffer = LineBuffer(synchronise=False)
    found: list[bytes] = []
    for begin, stop in zip([0, *cuts], [*cuts, len(stream)], strict=True):
        found += buffer.feed(stream[begin:stop], 0.0)
    assert found == lines


@given(st.binary(min_size=1, max_size=30).filter(lambda b: not set(b) & {10, 13}))
def test_a_part_of_a_line_is_never_given(part: bytes) -> None:
    assert LineBuffer(synchronise=False).feed(part, 0.0) == []


def test_the_first_line_after_opening_is_dropped() -> None:
    buffer = LineBuffer()
    assert buffer.feed(b"15.0\n1216.0\n", 0.0) == [b"1216.0"]


def test_a_beginning_that_was_cut_off_does_not_join_what_comes_much_later() -> None:
    buffer = LineBuffer(synchronise=False)
    assert buffer.feed(b"12", 0.0) == []
    assert buffer.feed(b"1215.0\n1216.0\n", STALE_S + 0.1) == [b"1216.0"]
    assert buffer.cut_off == 1


def test_a_slow_line_is_put_together() -> None:
    buffer = LineBuffer(synchronise=False)
    assert buffer.feed(b"12", 0.0) == []
    assert buffer.feed(b"15.0", 3.0) == []
    assert buffer.feed(b"\n", 6.0) == [b"1215.0"]


def test_noise_without_a_line_end_is_not_kept() -> None:
    buffer = LineBuffer(synchronise=False)
    for moment in range(100):
        assert buffer.feed(b"\x00\xff" * LONGEST_LINE, float(moment)) == []
    assert buffer.feed(b"12.0\n13.0\n", 100.0) == [b"13.0"]
    assert len(buffer._rest) <= LONGEST_LINE


def test_bytes_without_a_line_end_are_told_of_once_and_as_they_came() -> None:
    reader = LineReader(LineParser(FieldLayout(("kiln",))), "check the baud rate (9600)")
    reader.begin(synchronise=True)
    for _ in range(100):
        reader.feed(b"\xfa\x80\x11 7")
    (told,) = reader.remarks()
    assert told.startswith("bytes arrive but no line ends")
    assert "\\xfa\\x80\\x11 7" in told
    assert "baud rate (9600)" in told
    assert "no line ends" in reader.unread()
    reader.feed(b"\n20.5\n")
    assert reader.unread() == ""


def test_a_slow_source_without_line_ends_is_told_of(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = [0.0]
    monkeypatch.setattr("firing.capture.text_lines.time.monotonic", lambda: clock[0])
    reader = LineReader(LineParser(FieldLayout(("kiln",))), "check the fields")
    reader.begin(synchronise=False)
    for _ in range(5):
        reader.feed(b"20.5;")
        clock[0] += 60.0
    assert len(reader.remarks()) == 1


@pytest.mark.parametrize(
    ("line", "options"),
    [
        (b"20.5,19.5", "--fields kiln,second"),
        (b"20.5;19.5", "--fields kiln,second --delimiter ';'"),
        (b"20,5;12:31;88", "--fields kiln,-,second --delimiter ';' --decimal ,"),
        (b"12:31:05 T=71.2F", "--fields -,kiln --delimiter ' ' --unit F"),
        (b"99999,20.5", "--fields -,kiln"),  # a counter, and no kiln's temperature
        (b"20.5", "--fields kiln"),
        (b"ready", ""),
        (b"\xfa\x80\x11\x93,7", ""),
    ],
)
def test_what_would_read_a_line(line: bytes, options: str) -> None:
    layout = layout_of([line] * 3)
    assert ("" if layout is None else layout.options()) == options
    if layout is not None:  # and it does
        parser = LineParser(
            FieldLayout(layout.fields, layout.delimiter, layout.decimal, layout.unit)
        )
        assert parser.parse(line) is not None


def test_lines_come_as_slowly_as_they_usually_do() -> None:
    pause = UsualPause()
    for at_s in (0.0, 300.0, 600.0, 2400.0, 2700.0, 3000.0):  # one outage among them
        pause.add(at_s)
    assert pause.usual_s == 300.0
    assert pause.patience_s(60.0) == 900.0
    assert pause.patience_s(3600.0) == 3600.0
    together = UsualPause()
    for at_s in (0.0, 0.0, 0.1, 60.0, 60.1, 120.0):  # a logger that writes lines in one go
        together.add(at_s)
    assert together.usual_s == pytest.approx(59.9)
    assert UsualPause(5.0).patience_s(1.0) == 15.0


def test_one_outage_of_an_instrument_that_is_quick_is_not_its_pace() -> None:
    pause = UsualPause()
    for began_s in (0.0, 1800.0):  # four lines a second, and half an hour without any
        for quarter in range(40):
            pause.add(began_s + 0.25 * quarter)
    assert pause.patience_s(60.0) == 60.0


def test_what_passes_from_the_opening_to_the_first_line_is_no_pause() -> None:
    """A logger that writes every 75 s: what is heard first depends on when it was opened."""
    pause = UsualPause()
    pause.begin(0.0)
    pause.add(10.0)
    assert pause.patience_s(60.0) == 60.0
    pause.add(85.0)
    assert pause.patience_s(60.0) == 225.0
    late = UsualPause()
    late.begin(0.0)
    late.add(70.0)  # a pause is longer than that
    assert late.patience_s(60.0) == 210.0
