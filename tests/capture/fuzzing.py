"""Lines no instrument should send, and what has to hold for each of them."""

import math

import numpy as np

from firing.capture.fields import FieldLayout, LineParser
from firing.capture.reading import Status
from firing.capture.text_lines import LineBuffer

PIECES = (
    b"1215.5", b"-12", b"+3.", b".5", b"1e3", b"1e999", b"nan", b"inf", b"open", b"", b" ", b"\t",
    b",", b",,", b";", b"\x00", b"\xff", b"\xb0C", b"\xc2\xb0F", b"T1=", b"kiln: ", b"mV",
    b"9.9E37", b"0x1f", b"1_0", b"--", b"\x1b[2J", b"rst:0x1", b"12:30", b"1,215.5", b"\r",
    b"\xe2\x82\xac",
)  # fmt: skip
LAYOUTS = (
    FieldLayout(("kiln",)),
    FieldLayout(("kiln", "top")),
    FieldLayout(("-", "kiln", "junction")),
    FieldLayout(("kiln", "top"), ";", ","),
    FieldLayout(("a", "b", "c", "d"), " "),
    FieldLayout(("kiln", "top"), unit="F"),
)


def check_fuzzed_lines(count: int, seed: int) -> None:
    """Send random lines through every layout; nothing may fall over or come out half done."""
    random = np.random.default_rng(seed)
    parsers = [LineParser(layout) for layout in LAYOUTS]
    buffer = LineBuffer()
    for number in range(count):
        pieces = [PIECES[i] for i in random.integers(0, len(PIECES), random.integers(1, 8))]
        noise = bytes(random.integers(0, 256, random.integers(0, 4), dtype=np.uint8).tolist())
        stream = b"".join(pieces) + noise + b"\n"
        for line in buffer.feed(stream, float(number)):
            for parser in parsers:
                reading = parser.parse(line)
                if reading is None:
                    continue
                assert len(reading.values_c) == len(reading.statuses) == len(parser.channels)
                for value, status in zip(reading.values_c, reading.statuses, strict=True):
                    assert math.isfinite(value) or (math.isnan(value) and status is not Status.OK)
