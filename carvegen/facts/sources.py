"""The registers by key: sources and how each is cited, safety facts, and the cautions that tell them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from carvegen.base.errors import CarvegenError
from carvegen.facts.profile_reader import read_toml, shipped

__all__ = [
    "MARKS",
    "MEMORY",
    "PRINTING",
    "Fact",
    "Source",
    "caution",
    "cautions",
    "cited",
    "deference",
    "facts",
    "is_key",
    "parted",
    "parts",
    "sources",
]

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


PRINTING = ("printing-solvents", "printing-rags", "printing-press")  #: cautions for whoever prints

_KEY = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)+")
_FACT = re.compile(r"\{([a-z0-9-]+)\}")


@dataclass(frozen=True, kw_only=True)
class Fact:
    """A number or class that a caution tells."""

    value: float | str
    unit: str
    source: str  #: a key of the register, or a mark

    @property
    def text(self) -> str:
        """The value with its unit."""
        shown = self.value if isinstance(self.value, str) else f"{self.value:g}"
        return f"{shown} {self.unit}".rstrip()


def is_key(text: str) -> bool:
    """Whether a line of a profile's cautions names one by its key: a caution of its own is a sentence."""
    return bool(_KEY.fullmatch(text))


@cache
def facts() -> Mapping[str, Fact]:
    """The safety facts, by key."""
    return MappingProxyType({key: Fact(**entry) for key, entry in read_toml(shipped() / "facts.toml").items()})


@cache
def cautions() -> Mapping[str, str]:
    """Every caution as it is told, by key: its hazard, what to do, and its sources in brackets."""
    table = read_toml(shipped() / "cautions.toml")
    return MappingProxyType({key: _whole(entry) for key, entry in table.items()})


def caution(text: str) -> str:
    """The caution of this key; a caution in a profile's own words as it stands."""
    return cautions()[text] if is_key(text) else text


def deference(kind: str) -> str:
    """What goes before every caution for a kind of machine: its manual, the shop, local codes, trained people."""
    return cautions()[f"defer-{kind}"]


def parted(text: str) -> tuple[str, str]:
    """What is to be done by a caution, and why, with its limits: empty if it says no more; each with its sources."""
    return _parts().get(text, (text, ""))


@cache
def _parts() -> Mapping[str, tuple[str, str]]:
    table = read_toml(shipped() / "cautions.toml")
    return {
        _whole(entry): (
            _said(entry, str(entry["says"]), entry.get("sources", ())), _said(entry, str(entry["behind"]), ()),
        )
        for entry in table.values() if "behind" in entry
    }  # fmt: skip


def _whole(entry: Mapping[str, str | list[str]]) -> str:
    whole = f"{entry['says']} {entry.get('behind', '')}".rstrip()
    return _said(entry, whole, entry.get("sources", ()))


def _said(entry: Mapping[str, str | list[str]], text: str, more: Iterable[str]) -> str:
    """The text after its hazard, facts filled in, and the sources of these and more."""
    known = facts()
    named = [known[key].source for key in _FACT.findall(text)]
    told = _FACT.sub(lambda match: known[match[1]].text, text)
    every = dict.fromkeys([*named, *more])
    hazard = f"{entry['hazard']}: " if "hazard" in entry else ""
    return hazard + told + (f" [{'; '.join(cited(source) for source in every)}]" if every else "")
