"""What is held against figures from outside: printed, ours, how far apart, how far is allowed."""

from dataclasses import dataclass

from firing.sources import source


@dataclass(frozen=True)
class Entry:
    """One comparison; `source` is an id of the bibliography, or a citation in plain words."""

    what: str
    source: str
    printed: float
    ours: float
    allowed: float

    @property
    def deviation(self) -> float:
        """Ours less the printed figure, as a share of it."""
        return (self.ours - self.printed) / abs(self.printed) if self.printed else self.ours


LEDGER: list[Entry] = []


def compare(what: str, whence: str, *, printed: float, ours: float, within: float) -> None:
    """Note a comparison, and let it fail if it is further off than a share of the printed figure.

    An id in lower case with hyphens must be one of the bibliography.
    """
    if " " not in whence:
        assert source(whence).id == whence
    entry = Entry(what, whence, printed, float(ours), within)
    LEDGER.append(entry)
    assert abs(entry.deviation) <= within, (
        f"{what}: {entry.ours:.4g}, printed {printed:.4g}: {100.0 * entry.deviation:+.1f} %, "
        f"allowed {100.0 * within:.1f} % ({whence})"
    )


def table() -> list[str]:
    """The ledger as lines, by source."""
    rows = [("what", "printed", "ours", "off by", "allowed", "source")]
    for entry in sorted(LEDGER, key=lambda one: (one.source, one.what)):
        rows.append(
            (
                entry.what,
                f"{entry.printed:.4g}",
                f"{entry.ours:.4g}",
                f"{100.0 * entry.deviation:+.1f} %",
                f"{100.0 * entry.allowed:.1f} %",
                entry.source,
            )
        )
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return [
        "  ".join(
            cell.ljust(width) if i in (0, 5) else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
