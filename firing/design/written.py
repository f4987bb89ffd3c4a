"""The schedule file of a design: above each segment its reason and the ids of its sources."""

import textwrap
from collections.abc import Sequence

from firing.design.result import SegmentReason
from firing.files.tomlfile import clean
from firing.schedule.file import schedule_text
from firing.schedule.schedule import Schedule

_WIDTH = 100
_HEADER = "[[segment]]"


def designed_text(
    schedule: Schedule,
    reasons: Sequence[SegmentReason],
    notes: Sequence[str] = (),
    base_text: str | None = None,
) -> str:
    """Return a schedule file with the reason and source of each segment as comments.

    Parameters
    ----------
    schedule : Schedule
        What to write.
    reasons : sequence of SegmentReason
        One a segment; an empty one leaves what stands above the segment alone.
    notes : sequence of str
        Comments for the head of the file.
    base_text : str, optional
        The file as it was; its comments stay.
    """
    text = schedule_text(schedule, base_text)
    head = [line for note in notes for line in _comment(note)]
    lines: list[str] = [*head]
    number = 0
    for line in text.splitlines():
        if line.split("#")[0].strip().replace(" ", "") == _HEADER:
            reason = reasons[number]
            number += 1
            for sentence in reason.sentences:
                lines.extend(_comment(sentence))
            lines.extend(f"# source: {name}" for name in reason.sources)
        lines.append(line)
    return "\n".join(lines) + "\n"


def _comment(words: str) -> list[str]:
    return [f"# {line}" for line in textwrap.wrap(clean(words), _WIDTH - 2)]
