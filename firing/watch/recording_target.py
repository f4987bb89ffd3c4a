"""Which file a watch records to: the one named, unless the firing that it holds is over.

Continued, a firing of three days ago would be told as this one, its program as done.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Sequence
from pathlib import Path

from firing.capture.clock import TimeBase
from firing.capture.recorder import LARGEST_BYTES, Recorder
from firing.capture.recording_file import intact_length, numbered_paths, parse_header, parse_rows
from firing.units import format_duration

FIRED_C = 150.0
"""A kiln that was never this hot was not fired [°C]."""
COLD_C = 100.0
COLD_PAUSE_S = 3600.0
"""Cold again, and not recorded for so long: the firing is over, and not a crash in it [°C, s]."""
PAUSE_S = 86_400.0
"""Not recorded for so long: whatever runs now, it is another firing [s]."""


def open_recorder(
    out: Path,
    channels: Sequence[str],
    channel: int = 0,
    base: TimeBase | None = None,
    *,
    output: bool = False,
) -> Recorder:
    """Open the file that a watch records to: the one named, if its firing may still go on.

    `channel` is the kiln's; the other parameters are those of `Recorder`.
    """
    why = ""
    for path in itertools.chain((out,), numbered_paths(out)):
        over = _why_over(path, channel, first=path == out)
        if over:
            why = why or over
            continue
        recorder = Recorder(path, channels, base, output=output)
        if path != out:
            recorder.add_remark(f"{out} {why}, so this firing is recorded to {path}")
        return recorder
    raise FileExistsError(f"there is no free name beside {out}")


def _why_over(path: Path, channel: int, *, first: bool) -> str:
    """Return why a file is not to be continued; empty if it is, or is to be refused."""
    try:
        if not path.is_file() or path.stat().st_size > LARGEST_BYTES:
            return ""
        data = path.read_bytes()
    except OSError:
        return ""
    head, _, rest = data[: intact_length(data)].decode("utf-8", "replace").partition("\n")
    named = parse_header(head) if head else None
    if named is None:
        return "" if first else "is no recording"
    held = parse_rows(rest, *named)
    if not held.epoch_s or channel >= len(named[0]):
        return ""
    pause_s = time.time() - max(held.epoch_s)
    course_c = [values[channel] for values in held.values_c if values[channel] == values[channel]]
    fired = max(course_c, default=0.0) >= FIRED_C
    cold = fired and course_c[-1] <= COLD_C
    if (cold and pause_s >= COLD_PAUSE_S) or pause_s >= PAUSE_S:
        return f"holds a firing that ended {format_duration(pause_s)} ago"
    return ""
