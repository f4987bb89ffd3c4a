"""The kiln's offset in its file: one key is changed, and everything else stays as it was."""

from pathlib import Path

from firing.errors import FiringError
from firing.review.witness import KilnOffset

LARGEST_C = 100.0
"""What the kiln file allows [°C]."""


def text_with_offset(kiln_text: str, offset_c: float) -> tuple[str, float]:
    """Return a kiln file's text with another ``cone_offset_c``, and the offset it had before.

    Parameters
    ----------
    kiln_text : str
        The file as it is, a valid kiln file.
    offset_c : float
        What the thermocouple reads too low by [°C]; written to a tenth.

    Raises
    ------
    FaultyFile
        If the text is not TOML.
    """
    from firing.files.tomledit import render
    from firing.files.tomlfile import parse

    data = parse(kiln_text, "kiln")
    fitted = data.get("fitted", {})
    before = float(fitted.get("cone_offset_c", 0.0))
    data["fitted"] = {**fitted, "cone_offset_c": round(offset_c, 1)}
    return render(data, kiln_text), before


def write_offset(path: Path, offset: KilnOffset) -> tuple[float, float]:
    """Write the offset into a kiln file; returns the offset before and the one written [°C].

    Raises
    ------
    FiringError
        If the cones leave the offset open or it is larger than a kiln file holds, the file is no
        kiln file, or it cannot be written.
    """
    from firing.files.tomlfile import read_text, write_text
    from firing.kiln.file import parse_kiln

    if offset.offset_c is None:
        raise FiringError(
            "the witness cones leave the offset open on one side, so none was written; give a cone "
            "that is bent part-way, or one that is down and the next that is standing"
        )
    if not offset.agree:
        raise FiringError(
            "the witness cones contradict each other, so no offset was written; leave out the one "
            "that was set wrongly, or take the cones of one place"
        )
    if abs(offset.offset_c) > LARGEST_C:
        raise FiringError(
            f"an offset of {offset.offset_c:.0f} °C is more than the {LARGEST_C:.0f} °C a kiln "
            "file holds; check the cone's number and the thermocouple"
        )
    text, before = text_with_offset(read_text(path), offset.offset_c)
    parse_kiln(text, str(path))
    write_text(path, text, overwrite=True)
    return before, round(offset.offset_c, 1)
