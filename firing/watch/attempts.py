"""What may fail in a watch without ending anything else: done part by part, each told of once.

Recording, alarms, estimates and display are separate: a fault in one is caught here, told in one
sentence, and the part is tried again the next time it is due.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

Result = TypeVar("Result")

WORKS_AGAIN = 10
"""A part that failed has to work so many times before another failure of it is told."""
LONGEST_REASON = 120


@dataclass(slots=True)
class _Fault:
    """One part that failed: whether it does now, how often it worked since, if that was told."""

    now: bool = True
    worked: int = 0
    told_over: bool = False


class Attempts:
    """Does what may fail and keeps what a person has to be told of it.

    Parameters
    ----------
    otherwise : str
        What goes on nevertheless, in words.
    """

    def __init__(self, otherwise: str = "reading and recording go on") -> None:
        self._otherwise = otherwise
        self._faults: dict[str, _Fault] = {}
        self._remarks: list[str] = []

    def of(self, part: str, do: Callable[[], Result], instead: Result) -> Result:
        """Do a part, or return what stands in for its result.

        Parameters
        ----------
        part : str
            What it does, in words that a sentence may begin with; told when it fails.
        do : callable
            The part.
        instead : object
            Its result if it fails.
        """
        try:
            result = do()
        except Exception as error:
            self._failed(part, error)
            return instead
        if part in self._faults:
            self._works(part)
        return result

    def fails(self, part: str) -> bool:
        """Tell whether a part failed the last time it was tried."""
        return part in self._faults and self._faults[part].now

    @property
    def any_fails(self) -> bool:
        """Whether any part failed the last time it was tried."""
        return any(fault.now for fault in self._faults.values())

    def _failed(self, part: str, error: Exception) -> None:
        fault = self._faults.get(part)
        if fault is not None:
            fault.now, fault.worked = True, 0
            return
        self._faults[part] = _Fault()
        self._remarks.append(
            f"{part} failed ({reason_of(error)}); {self._otherwise}, and it is tried again"
        )

    def _works(self, part: str) -> None:
        fault = self._faults[part]
        if not fault.told_over:
            self._remarks.append(f"{part} works again")
        fault.now, fault.told_over = False, True
        fault.worked += 1
        if fault.worked >= WORKS_AGAIN:
            del self._faults[part]

    def remarks(self) -> list[str]:
        """Return what a person should know and has not been told yet, a sentence each."""
        told, self._remarks = self._remarks, []
        return told


def reason_of(error: Exception) -> str:
    """Return what an exception says, in one short line."""
    said = " ".join(str(error).split())[:LONGEST_REASON].rstrip(".")
    return said or type(error).__name__
