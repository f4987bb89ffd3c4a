"""The bibliography: every table row, limit and caution points at an entry here by its id."""

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal, get_args

from firing.errors import FiringError
from firing.serialise import Serialised

SourceKind = Literal[
    "standard", "published", "common practice", "computed", "from memory", "anecdotal"
]
SOURCE_KINDS: tuple[SourceKind, ...] = get_args(SourceKind)

# How sure a reader may be is said before the citation, never left to the kind alone.
_LEAD = {
    "standard": "",
    "published": "",
    "common practice": "Common practice, no source: ",
    "computed": "Computed by this project: ",
    "from memory": "Not checked against a source: ",
    "anecdotal": "Anecdotal: ",
}


@dataclass(frozen=True)
class Source(Serialised):
    """One entry of the bibliography."""

    id: str  # kebab-case name that tables and files point at
    citation: str  # who, what, where and when; for common practice, the practice itself
    kind: SourceKind  # one of `SOURCE_KINDS`: how far the entry can be leaned on
    # Where the text can be read.
    url: str | None = None
    doi: str | None = None
    jurisdiction: str | None = None  # where a rule holds; None for what is not a rule
    note: str | None = None  # limits and traps of the entry

    def sentence(self) -> str:
        """Return the entry as one short sentence that says how sure it is."""
        doi = f", doi:{self.doi}" if self.doi else ""
        text = f"{_LEAD[self.kind]}{self.citation}{doi}"
        return text if text.endswith(".") else text + "."


@cache
def _bibliography() -> dict[str, Source]:
    import tomllib  # few answers cite, and it takes as long to load as all else here

    text = (Path(__file__).parent / "data" / "sources.toml").read_text(encoding="utf-8")
    return {name: Source(id=name, **entry) for name, entry in tomllib.loads(text).items()}


def load_sources() -> dict[str, Source]:
    """Return the whole bibliography by id, in the order of the file; the dict is the caller's."""
    return dict(_bibliography())


def source(source_id: str) -> Source:
    """Return one entry.

    The refusal of an unknown id names the nearest ones.
    """
    entry = _bibliography().get(source_id)
    if entry is None:
        from difflib import get_close_matches

        near = get_close_matches(source_id, _bibliography(), n=3, cutoff=0.65)
        hint = f"did you mean {' or '.join(near)}?" if near else '"firing sources" lists them all.'
        raise FiringError(f'there is no source "{source_id}"; {hint}')
    return entry


def cite(source_id: str) -> str:
    """Return one short sentence for an entry; see `Source.sentence`."""
    return source(source_id).sentence()
