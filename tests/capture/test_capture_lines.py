"""Bytes to lines: never a part of one, however they come in."""

from hypothesis import given
from hypothesis import strategies as st

from firing.capture.text_lines import LONGEST_LINE, STALE_S, LineBuffer

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
