"""One file of a log: its text, its dialect, its rows."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from firing.errors import FiringError
from firing.logs.clock import row_times
from firing.logs.detection import detect_text
from firing.logs.dialect import Overrides
from firing.logs.emf import Thermocouple
from firing.logs.order import other_headers
from firing.logs.parts import PartChoice, section_of
from firing.logs.readings import Readings, read_rows
from firing.logs.table import ReadingTable
from firing.logs.text import clean_text, neutral
from firing.logs.zones import Zone


@dataclass(frozen=True)
class FileReader:
    """What holds for every file of a log beside its dialect."""

    zone: Zone
    thermocouple: Thermocouple
    pause_s: float | None
    part: PartChoice | None
    whole_lines: bool = False

    def one(self, path: Path, overrides: Overrides, first: Readings | None) -> Readings:
        """Read one file; `first` is the one before it, whose header a later one may lack."""
        name = neutral(path.name) or "the log"
        text = clean_text(_bytes_of(path, name), name=name, encoding=overrides.encoding)
        if self.whole_lines:
            # a part of a number would be read as another temperature: 12 of 1215
            text = replace(text, body=text.body[: text.body.rfind(b"\n") + 1])
        found = self._body(name, text.body, text.encoding, text.notes, overrides)
        if first is None:
            return found
        theirs, ours = first.dialect, found.dialect
        if ours.unit_from == "assumed" and theirs.unit_from != "assumed":
            # a rotating logger states its unit in the first file only
            overrides = replace(overrides, unit=theirs.unit)
            found = self._body(name, text.body, text.encoding, text.notes, overrides)
            note = f"states no unit, so {first.name} was followed"
            found = replace(found, notes=(*found.notes, note))
        if not ours.header and len(found.channels) == len(first.channels):
            found = replace(found, channels=first.channels)
        return found

    def _body(
        self,
        name: str,
        body: bytes,
        encoding: str,
        notes: tuple[str, ...],
        overrides: Overrides,
    ) -> Readings:
        dialect = detect_text(body, encoding, overrides=overrides, name=name)
        table = ReadingTable(name, body, dialect)
        found = list(notes)
        times = row_times(table, self.zone, found)
        headers = other_headers(table, np.flatnonzero(~np.isfinite(times.time_s)))
        if headers:
            found = list(notes)
            body = section_of(table, body, headers, self.part)
            dialect = detect_text(body, encoding, overrides=overrides, name=name)
            table = ReadingTable(name, body, dialect)
            times = row_times(table, self.zone, found)
        readings = read_rows(table, times, self.thermocouple, self.pause_s, tuple(found))
        return replace(readings, part_taken=bool(headers))


def _bytes_of(path: Path, name: str) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError as fault:
        raise FiringError(f"{neutral(str(path), longest=200)} does not exist") from fault
    except IsADirectoryError as fault:
        raise FiringError(f"{name} is a directory; give the log file in it") from fault
    except (OSError, ValueError) as fault:
        raise FiringError(f"{name} cannot be read: {neutral(str(fault))}") from fault
