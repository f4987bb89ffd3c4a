"""The recording: append-only, a line a reading, whole again after any crash.

Every line goes to the system in one write as soon as it is known, so a killed process loses none;
every 10 s the system is made to put them on the disk, so a power cut loses at most what came after.
Then it is looked, too, whether the file is still there.
"""

import contextlib
import os
import stat
from collections import deque
from collections.abc import Sequence
from pathlib import Path

from firing.capture.clock import TimeBase, monotonic_s
from firing.capture.reading import Reading
from firing.capture.recording_file import (
    RecordedData,
    begins_with,
    begun_beside,
    gap_row,
    header,
    intact_length,
    lock_file,
    open_for_append,
    parse_header,
    parse_rows,
    read_all,
    refuse_device,
    reopened,
    row,
    still_names,
)
from firing.errors import FiringError
from firing.units import format_duration

SYNC_EVERY_S = 10.0
RETRY_EVERY_S = 10.0
MOST_PENDING = 20_000
"""Lines kept in memory while the disk takes none: five hours at one a second."""
LARGEST_BYTES = 500_000_000


class Recorder:
    """The open file of one recording; one that is there is continued, by its own clock.

    `output` says whether readings tell the controller's output; an older recording may have no
    place for it.  Readings with an `own_clock` go by the `base` given, and show every gap.

    Attributes
    ----------
    path : Path
        The file; another than at first if that was replaced.
    earlier : RecordedData or None
        What the file held already.
    rows, lost : int
        Lines of readings written or kept to be written; and lines given up, as memory has an end
        too, or taken out of the file by another program.
    last_gap : str
        Why there were no readings the last time; empty if no gap was marked yet.

    Raises
    ------
    FiringError
        If another process writes the file, or it is there and no recording of these channels.
    OSError
        If the file cannot be opened or made.
    """

    def __init__(
        self,
        path: Path,
        channels: Sequence[str],
        base: TimeBase | None = None,
        *,
        output: bool = False,
        own_clock: bool = False,
    ) -> None:
        self.path = path
        self.channels = tuple(channels)
        self._output = output
        self.rows = 0
        self.lost = 0
        self._trouble: str | None = None
        self.last_gap = ""
        self._remarks: list[str] = []
        self._pending: deque[bytes] = deque()
        self._retry_s = 0.0
        self._synced_s = monotonic_s()
        self._dirty = False
        self._last_s = -1.0
        self._file_gone = False
        refuse_device(path)
        self._file = open_for_append(path)
        try:
            if not lock_file(self._file):
                raise FiringError(
                    f"{path} is being written by another 'firing watch'; end that one, or choose "
                    "another file"
                )
            self.earlier = self._continue_file()
            self.base = self._begin(base, own_clock)
        except BaseException:
            os.close(self._file)
            raise

    def _continue_file(self) -> RecordedData | None:
        """Cut a torn end off, and return what the file holds."""
        size = os.fstat(self._file).st_size
        if size > LARGEST_BYTES:
            raise FiringError(
                f"{self.path} is larger than {LARGEST_BYTES // 1_000_000} MB; choose another file"
            )
        data = read_all(self._file, size)
        length = intact_length(data)
        text = data[:length].decode("utf-8", "replace")
        first, _, rest = text.partition("\n")
        named = parse_header(first) if first else None
        if length == 0:
            torn = data.partition(b"\0")[0]
            ours = [header(self.channels, output).encode() for output in (False, True)]
            if data.strip(b"\0") and not any(line.startswith(torn) for line in ours):
                raise self._not_a_recording()
        elif named is None:
            raise self._not_a_recording()
        elif named[0] != self.channels:
            raise FiringError(
                f"{self.path} is a recording of {', '.join(named[0])}, not of "
                f"{', '.join(self.channels)}; choose another file, or name the fields as there"
            )
        elif named[1] != self._output:
            if self._output:
                self._remarks.append(
                    f"{self.path} has no column for the controller's output, which is not recorded"
                )
            self._output = named[1]
        if length < size:
            os.ftruncate(self._file, length)
            if length:
                self._remarks.append(
                    f"{self.path}: the last line was torn ({size - length} bytes) and is cut off"
                )
        self._length, self._lines = length, data.count(b"\n", 0, length)
        return None if named is None else parse_rows(rest, self.channels, self._output)

    def _not_a_recording(self) -> FiringError:
        return FiringError(
            f"{self.path} exists already and is no recording of this tool; nothing is written to "
            "it, so choose another file"
        )

    def _begin(self, base: TimeBase | None, own_clock: bool) -> TimeBase:
        if self._length == 0:
            self._append(header(self.channels, self._output))
        if self.earlier is None or not self.earlier.epoch_s:
            return TimeBase() if base is None else base
        first_s, last_s = self.earlier.epoch_s[0], max(self.earlier.epoch_s)
        if own_clock and base is not None:
            self._last_s = last_s - base.began_epoch_s
            return base
        base = TimeBase(first_s)
        self._last_s = last_s - first_s
        pause_s = base.now_s() - self._last_s
        if pause_s > 0.0:
            reason = f"{format_duration(pause_s)} without recording"
        else:
            # The wall clock is behind the file; its order counts more than a clock nobody set.
            base = TimeBase(first_s, last_s + 1.0)
            reason = "recording stopped; for how long is not known as the clock was set back"
            self._remarks.append(
                f"{self.path}: this computer's clock is behind the last line; time goes on from "
                "there"
            )
        self._gap_at(base, base.now_s(), f"{reason}; recording was started again")
        return base

    def write(self, time_s: float, reading: Reading) -> None:
        """Write the line of a reading; its time moves on where it does not come after the last."""
        self._last_s = max(time_s, self._last_s + 0.001)
        self.rows += 1
        self._append(row(self.base.stamp(self._last_s), reading, self.channels, self._output))

    def gap(self, time_s: float, reason: str) -> None:
        """Write a line that says why there are no readings from here on."""
        self._gap_at(self.base, time_s, reason)

    def _gap_at(self, base: TimeBase, time_s: float, reason: str) -> None:
        self._last_s = max(time_s, self._last_s + 0.001)
        self.last_gap = reason
        columns = len(self.channels) + self._output
        self._append(gap_row(base.stamp(self._last_s), reason, columns))

    def _append(self, line: str) -> None:
        data = f"{line}\n".encode()
        if self._pending or self._trouble is not None:
            self._keep_pending(data)
            return
        if not self._append_whole(data):
            self._keep_pending(data)

    def _keep_pending(self, data: bytes) -> None:
        if len(self._pending) >= MOST_PENDING:
            self._pending.popleft()
            self.lost += 1
        self._pending.append(data)

    def _append_whole(self, data: bytes) -> bool:
        """Write a line whole or not at all; tell whether it was written."""
        done = 0
        try:
            self._repair_if_cut()
            done = os.write(self._file, data)
            if done < len(data):
                done += os.write(self._file, data[done:])  # the second one says what is wrong
        except OSError as fault:
            # A torn line in the middle of the file would be there for good.
            if done:
                with contextlib.suppress(OSError):
                    os.ftruncate(self._file, os.fstat(self._file).st_size - done)
            self._in_trouble(fault)
            return False
        self._length += done
        self._lines += 1
        self._dirty = True
        return True

    def _in_trouble(self, fault: OSError) -> None:
        self._retry_s = monotonic_s() + RETRY_EVERY_S
        reason = fault.strerror or str(fault)
        if self._trouble is None:
            self._remarks.append(
                f"{self.path} takes no more lines: {reason}; watching goes on, lines are kept in "
                f"memory and tried again every {RETRY_EVERY_S:.0f} s; make room, or end this and "
                "choose another file"
            )
        self._trouble = reason

    def tick(self) -> None:
        """Do what is due: put lines on the disk, and try again those that could not be written."""
        now_s = monotonic_s()
        if self._trouble is not None and now_s >= self._retry_s:
            self.retry()
        if self._dirty and now_s - self._synced_s >= SYNC_EVERY_S:
            self._sync()

    def retry(self) -> None:
        """Try again to write what could not be written."""
        self._check_still_named()
        while self._pending:
            if not self._append_whole(self._pending[0]):
                return
            self._pending.popleft()
        if self._trouble is not None:
            dropped = f", {self.lost} lines are lost" if self.lost else ", no line is lost"
            self._remarks.append(f"{self.path} takes lines again{dropped}")
        self._trouble = None

    def _sync(self) -> None:
        self._synced_s = monotonic_s()
        self._check_still_named()
        # What is no file on a disk (a pipe, a device) cannot be synced and need not be.
        with contextlib.suppress(OSError):
            os.fsync(self._file)
        self._dirty = False

    def _check_still_named(self) -> None:
        """Look whether the file is still the one, and as long as it was left."""
        try:
            if not still_names(self.path, self._file):
                self._reopen()
            elif not begins_with(self._file, self._first_line):
                self._go_on_beside()
            self._file_gone = False
        except OSError as fault:
            if not self._file_gone:
                self._file_gone = True
                self._remarks.append(
                    f"{self.path} is gone and cannot be made again: {fault.strerror or fault}; it "
                    f"is tried again every {SYNC_EVERY_S:.0f} s, and its lines are lost if it "
                    "stays so"
                )

    @property
    def _first_line(self) -> bytes:
        return f"{header(self.channels, self._output)}\n".encode()

    def _reopen(self) -> None:
        self._take(*reopened(self.path, self._file, self._first_line))

    def _go_on_beside(self) -> None:
        """Leave a file alone that another program has written over."""
        gone = self._lines - 1
        found, other = begun_beside(self.path, self._first_line)
        self.lost += gone
        self._take(
            found,
            other,
            f"was written over by another program: {gone} lines are gone, and the recording goes "
            f"on in {other}",
        )

    def _take(self, found: int, path: Path, done: str) -> None:
        """Go on in another open file."""
        self._remarks.append(f"{self.path} {done}")
        with contextlib.suppress(OSError):
            os.close(self._file)
        self._file, self.path = found, path
        self._length = os.fstat(found).st_size
        self._lines = read_all(found, self._length).count(b"\n")

    def _repair_if_cut(self) -> None:
        """See that a line begins a line, and that there is a header, whoever cut the file."""
        there = os.fstat(self._file)
        size = there.st_size
        if stat.S_ISREG(there.st_mode) and size < self._length:
            left = read_all(self._file, size)
            gone = self._lines - (left.count(b"\n") or 1)
            self._remarks.append(
                f"{self.path} was cut short by another program: {gone} lines are gone, and the "
                "recording goes on in it; leave it alone until the watch is over"
            )
            self.lost += gone
            torn = size and not left.endswith(b"\n")
            restored = b"\n" if torn else b"" if size else self._first_line
            self._length, self._lines = size, left.count(b"\n") + bool(restored)
            self._length += os.write(self._file, restored)
        self._length = max(self._length, size)

    @property
    def trouble(self) -> str | None:
        """Why lines are not being written now, or to a file that is gone; None if all is well."""
        return self._trouble or ("its file is gone" if self._file_gone else None)

    @property
    def waiting(self) -> int:
        """Lines in memory that the file does not take."""
        return len(self._pending)

    @property
    def unsynced_s(self) -> float | None:
        """For how long there have been lines that are not on the disk [s]; None if all are."""
        return monotonic_s() - self._synced_s if self._dirty else None

    @property
    def failed(self) -> bool:
        """Whether lines are missing from the file."""
        return bool(self._pending) or self.lost > 0 or self._file_gone

    def add_remark(self, sentence: str) -> None:
        """Have a sentence told with the remarks."""
        self._remarks.append(sentence)

    def remarks(self) -> list[str]:
        """Return what a person should know and has not been told yet, a sentence each."""
        remarks, self._remarks = self._remarks, []
        return remarks

    def settle(self) -> None:
        """Write what is left and put it on the disk."""
        if self._pending:
            self.retry()
        self._sync()

    def close(self) -> None:
        """Settle, and let the file go."""
        self.settle()
        with contextlib.suppress(OSError):
            os.close(self._file)
