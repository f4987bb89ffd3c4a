"""Bytes as they come in, put together to whole lines.

A part of a line is never handed out: it would parse as a wrong temperature (``12`` of ``1215``).
For the same reason the first line after opening is dropped, as nobody knows where it began.
"""

LONGEST_LINE = 1024
"""A line of readings is never longer; what is, is noise without a line end [bytes]."""
STALE_S = 5.0
"""A line does not take longer to arrive, even at 300 baud: its beginning belonged to another one
that was cut off [s]."""


class LineBuffer:
    """Collects bytes and gives whole lines, whether they end in LF, CR LF or CR.

    Parameters
    ----------
    synchronise : bool
        Whether the first line is dropped, because reading may begin in its middle.
    """

    def __init__(self, *, synchronise: bool = True) -> None:
        self._rest = b""
        self._skipping = synchronise
        self._last_s: float | None = None
        self.overlong = 0
        self.cut_off = 0

    def feed(self, chunk: bytes, at_s: float) -> list[bytes]:
        """Add bytes and return the lines they complete, without their ends.

        Parameters
        ----------
        chunk : bytes
            What arrived.
        at_s : float
            When, on a monotonic clock [s].
        """
        if self._rest and self._last_s is not None and at_s - self._last_s > STALE_S:
            self._rest, self._skipping = b"", True
            self.cut_off += 1
        self._last_s = at_s
        text = self._rest + chunk.replace(b"\r", b"\n")
        if b"\n" not in text:
            if len(text) > LONGEST_LINE:
                self.overlong += not self._skipping
                text, self._skipping = b"", True
            self._rest = text
            return []
        lines = text.split(b"\n")
        self._rest = lines.pop()
        if self._skipping:
            self._skipping = False
            del lines[0]
        return [line for line in lines if line]
