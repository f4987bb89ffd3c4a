"""A second reader of iCalendar files (RFC 5545), written from the standard alone."""

import re
from dataclasses import dataclass, field
from datetime import UTC, datetime


@dataclass
class Component:
    """A component: its properties in their order, and the components inside."""

    name: str
    properties: list[tuple[str, str]] = field(default_factory=list)
    inside: list["Component"] = field(default_factory=list)

    def value(self, name: str) -> str:
        """Return the value of a property that has to be there once."""
        (found,) = [value for key, value in self.properties if key == name]
        return found

    def text(self, name: str) -> str:
        """Return a TEXT value without its escapes (3.3.11)."""
        value = self.value(name)
        assert not re.search(r"(?<!\\)(?:\\\\)*[;,]", value), value
        return re.sub(r"\\([\\;,nN])", lambda found: "\n" if found[1] in "nN" else found[1], value)

    def moment(self, name: str) -> datetime:
        """Return a DATE-TIME in UTC (3.3.5, form 2)."""
        return datetime.strptime(self.value(name), "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)


def read(data: bytes) -> Component:
    """Return the one component of a file; a fault of its form fails the assertions."""
    assert data.endswith(b"\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert b"\r" not in data.replace(b"\r\n", b"")
    lines: list[str] = []
    for raw in data[:-2].split(b"\r\n"):
        assert len(raw) <= 75
        row = raw.decode("utf-8")  # no letter may be split by a fold
        if row[0] in " \t":
            lines[-1] += row[1:]
        else:
            lines.append(row)
    root = Component("")
    open_ones = [root]
    for line in lines:
        match = re.fullmatch(r"([A-Z-]+):(.*)", line)
        assert match is not None, line
        name, value = match.groups()
        if name == "BEGIN":
            open_ones.append(Component(value))
            open_ones[-2].inside.append(open_ones[-1])
        elif name == "END":
            assert open_ones.pop().name == value
        else:
            open_ones[-1].properties.append((name, value))
    (calendar,) = root.inside
    return calendar
