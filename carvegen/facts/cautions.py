"""Safety facts and the cautions that tell them, by key."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from carvegen.facts.profile_reader import read_toml, shipped
from carvegen.facts.sources import cited

__all__ = ["PRINTING", "Fact", "caution", "cautions", "deference", "facts", "is_key", "parted"]

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
            _sentence(entry, str(entry["says"]), entry.get("sources", ())), _sentence(entry, str(entry["behind"]), ()),
        )
        for entry in table.values() if "behind" in entry
    }  # fmt: skip


def _whole(entry: Mapping[str, str | list[str]]) -> str:
    whole = f"{entry['says']} {entry.get('behind', '')}".rstrip()
    return _sentence(entry, whole, entry.get("sources", ()))


def _sentence(entry: Mapping[str, str | list[str]], text: str, more: Iterable[str]) -> str:
    """The text after its hazard, facts filled in, and the sources of these and more."""
    known = facts()
    named = [known[key].source for key in _FACT.findall(text)]
    words = _FACT.sub(lambda match: known[match[1]].text, text)
    every = dict.fromkeys([*named, *more])
    hazard = f"{entry['hazard']}: " if "hazard" in entry else ""
    return hazard + words + (f" [{'; '.join(cited(source) for source in every)}]" if every else "")
