"""The register of sources, by key, and how each is cited."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from carvegen.base.errors import CarvegenError
from carvegen.facts.profile_reader import read_toml, shipped

__all__ = ["MARKS", "MEMORY", "Source", "cited", "parts", "sources"]

MEMORY = "from memory"
#: What stands where a number has no source; whoever is told the number is told the mark.
MARKS = ("common practice, no source", MEMORY, "our own choice")

_FIELDS = {"citation": str, "edition": str, "where": str, "says": str, "seen": bool}


@dataclass(frozen=True, kw_only=True)
class Source:
    """One entry of the register."""

    key: str
    citation: str  #: as one would look it up
    edition: str  #: or its date
    where: str  #: in it
    says: str  #: in our words
    seen: bool  #: False: from memory

    @property
    def text(self) -> str:
        """The citation; where it is from memory, it says so."""
        return self.citation if self.seen else f"{self.citation} ({MEMORY})"


@cache
def sources() -> Mapping[str, Source]:
    """Every entry of the shipped register, by its key; `CarvegenError` if one isn't whole."""
    path = shipped() / "sources.toml"
    result = {}
    for key, entry in read_toml(path).items():
        if not isinstance(entry, dict) or {name: type(value) for name, value in entry.items()} != _FIELDS:
            raise CarvegenError(f"{path}: [{key}] must have {', '.join(_FIELDS)}", hint="install carvegen again")
        result[key] = Source(key=key, **entry)
    return MappingProxyType(result)


def parts(source: str) -> tuple[str, ...]:
    """The keys, marks and titles that a source names, one after the other with a semicolon between."""
    return tuple(part.strip() for part in source.split(";"))


def cited(source: str) -> str:
    """The source in words: keys of the register as their citations, anything else as it stands."""
    known = sources()
    return "; ".join(known[part].text if part in known else part for part in parts(source))
