"""The tables of a profile file, taken key by key; every fault is kept, so none hides the next."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from carvegen.base.errors import InputError
from carvegen.base.words import meant_file, nearest

__all__ = ["ProfileTable", "Range", "read_toml", "shipped", "unit"]

T = TypeVar("T")

_UNITS = {
    "_mm_s": "mm/s", "_mm_s2": "mm/s²", "_mm_min": "mm/min", "_cm2_min": "cm²/min", "_rpm": "rpm",
    "_mm": "mm", "_deg": "deg", "_um": "µm", "_s": "s",
}  # fmt: skip
_KINDS = {str: "text in quotes", dict: "a table", list: "a list in [ ]", bool: "true or false"}
_SOURCE = 'a key of the register (carvegen profiles sources), a published title, or "common practice, no source"'
_SHOWN = 60  #: characters of a wrong text that a message repeats
_LONGEST = 10**15  #: whole numbers beyond it are not repeated


@dataclass(frozen=True)
class Range:
    """The values that a number may have, both ends included."""

    at_least: float
    at_most: float

    def __contains__(self, value: float) -> bool:
        return self.at_least <= value <= self.at_most

    def rule(self, name: str) -> str:
        """What a message says about the value called `name`: ``"must lie in 0.05…20 mm"``."""
        return f"must lie in {self.at_least:g}…{self.at_most:g} {unit(name)}".rstrip()


def unit(name: str) -> str:
    """The unit that ends the name of a value, such as mm or mm/s; "" for a bare number."""
    return next((unit for ending, unit in _UNITS.items() if name.endswith(ending)), "")


def shipped() -> Path:
    """The profiles folder: inside the wheel, or beside the package in a checkout."""
    here = Path(__file__).parent.parent
    inside = here / "_profiles"
    return inside if inside.is_dir() else here.parent / "profiles"


def read_toml(path: Path) -> dict[str, Any]:
    """The tables of a TOML file in UTF-8.

    Raises
    ------
    InputError
        If it can't be read, is not UTF-8, or is not TOML; with the line.
    """
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise InputError("can't be read", where=str(path), hint=_unread(path, error)) from None
    try:
        return tomllib.loads(raw.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise InputError(
            "must be UTF-8 text", where=f"{path}: line {line}", hint="save it again as UTF-8",
        ) from None  # fmt: skip
    except (ValueError, RecursionError) as error:  # TOMLDecodeError is a ValueError
        result = re.search(r"at line (\d+)", str(error))
        line = int(result[1]) if result else raw.count(b"\n") + 1
        text = raw.decode("utf-8-sig").split("\n")[line - 1] if result else ""
        hint = _unquoted(text) or _quotes(text, str(error))
        raise InputError("must be valid TOML", where=f"{path}: line {line}", hint=hint) from None


def _unread(path: Path, error: OSError) -> str:
    if path.is_dir():
        inside = sorted(path.glob("*.toml"))
        return f"it is a folder: name the file in it, such as {inside[0]}" if inside else "it is a folder: name a file"
    return meant_file(path, [".toml"]) if isinstance(error, FileNotFoundError) else error.strerror or ""


def _unquoted(line: str) -> str:
    """What to write where a text stands without its quotation marks; nothing if that is not what is wrong."""
    bare = re.fullmatch(r"\s*([\w-]+)\s*=\s*([^\W\d][^\"'\[\]{}#]*?)\s*(?:#.*)?", line)
    if bare is None or bare[2] in ("true", "false", "inf", "nan"):
        return ""
    return f'text needs quotation marks: {bare[1]} = "{bare[2]}"'


def _quotes(line: str, said: str) -> str:
    """That a quotation mark may be missing in a line, or one too many, before what TOML's reader says of it."""
    marks = line.count('"')
    if marks % 2 == 0 and not (marks and said.startswith("Expected newline")) and not said.startswith('Expected "\'"'):
        return said
    return f'a quotation mark too many or too few? each text stands between two, as in name = "jetty"; {said}'


_MOST_LETTERS = {"name": 200}  #: it is drawn on the block and in every file
_MOST_OTHER_LETTERS = 5000


class ProfileTable:
    """One table of a profile file. What is wrong goes to `faults`, and a placeholder comes back."""

    def __init__(self, table: Mapping[str, Any], *, where: str, faults: list[InputError], prefix: str = "") -> None:
        self.faults = faults
        self._left = dict(table)
        self._where = where
        self._prefix = prefix
        self._known: list[str] = []

    @property
    def left(self) -> tuple[str, ...]:
        """The keys that nothing has been taken from yet."""
        return tuple(self._left)

    def fault(self, key: str, message: str, *, value: object = None, hint: str = "") -> None:
        """Keep a fault of the value called `key`."""
        place = f"{self._where}: {self._prefix}{key}"
        self.faults.append(InputError(message, value=_shown(value), where=place, hint=hint))

    def text(self, key: str, *, among: Collection[str] = (), hint: str = "") -> str:
        """A line of text, or one of the words `among`; "" if it is wrong."""
        value = self._take(key, str, hint or _among(among))
        if value is None:
            return ""
        if among and value not in among:
            self.fault(key, "must be a known word", value=value, hint=nearest(value, among))
            return ""
        if not value.strip() or not value.isprintable():
            self.fault(key, "must be one line of text", value=value, hint=hint)
        if len(value) > (most := _MOST_LETTERS.get(key, _MOST_OTHER_LETTERS)):
            self.fault(key, f"must be at most {most} letters", value=f"{value[:20]}… ({len(value)})", hint="shorten it")
            return ""
        return value

    def texts(self, key: str, *, among: Collection[str] = ()) -> tuple[str, ...]:
        """A list of lines of text, all of `among` if given."""
        values = self._take(key, list, _among(among)) or []
        listed = ProfileTable(
            {f"{key}[{place}]": value for place, value in enumerate(values)},
            where=self._where, faults=self.faults, prefix=self._prefix,
        )  # fmt: skip
        return tuple(listed.text(place, among=among) for place in listed.left)

    def flag(self, key: str) -> bool:
        """True or false."""
        return bool(self._take(key, bool))

    def table(self, key: str, *, optional: bool = False) -> ProfileTable:
        """The table called `key`; an empty one if it is missing."""
        if optional and key not in self._left:
            self._known.append(key)
            self._left[key] = {}
        return self._below(key, self._take(key, dict, f"write a table [{self._prefix}{key}]") or {})

    def figures(self, ranges: Mapping[str, Range]) -> tuple[dict[str, float], dict[str, str]]:
        """The values named in `ranges`, each in its range, and the source of each."""
        values: dict[str, float] = {}
        sources: dict[str, str] = {}
        for name, allowed in ranges.items():
            example = f'write {name} = {{ value = …, source = "…" }}; the value {allowed.rule(name)}'
            entry = self._take(name, dict, example)
            if entry is not None:
                values[name] = self._number(name, entry.pop("value", None), allowed)
                below = self._below(name, entry)
                sources[name] = below.text("source", hint=_SOURCE)
                below.close(also=("value",))
        return values, sources

    def whole_numbers(self, allowed: Range) -> dict[str, int]:
        """Every key that is left, with its whole number in a range."""
        numbers = {name: self._left.pop(name) for name in self.left}
        for name, value in numbers.items():
            if type(value) is not int or value not in allowed:
                rule = f"must be a whole number in {allowed.at_least:g}…{allowed.at_most:g}"
                self.fault(name, rule, value=value)
        return numbers

    def close(self, *, also: Iterable[str] = ()) -> None:
        """Refuse the keys that are left."""
        for key in self._left:
            self.fault(key, "is not known here", hint=nearest(key, (*self._known, *also)))

    def _number(self, name: str, value: object, allowed: Range) -> float:
        """A finite number in its range, else not a number."""
        if isinstance(value, (int, float)) and not isinstance(value, bool) and value in allowed:
            return float(value)
        why = "has no value" if value is None else allowed.rule(name)
        self.fault(name, why, value=value, hint=f"the value {allowed.rule(name)}" if value is None else "")
        return math.nan

    def _take(self, key: str, kind: type[T], hint: str = "") -> T | None:
        self._known.append(key)
        if key not in self._left:
            self.fault(key, "is missing", hint=hint or f"it must be {_KINDS[kind]}")
            return None
        value = self._left.pop(key)
        if type(value) is kind:
            return value
        self.fault(key, f"must be {_KINDS[kind]}", value=value, hint=hint)
        return None

    def _below(self, key: str, table: Mapping[str, Any]) -> ProfileTable:
        return ProfileTable(table, where=self._where, faults=self.faults, prefix=f"{self._prefix}{key}.")


def _among(words: Collection[str]) -> str:
    return f"one of: {', '.join(sorted(words))}" if words else ""


def _shown(value: object) -> object:
    """A wrong value, short enough for a message and plain enough for JSON."""
    if isinstance(value, (dict, list)):
        return "a table" if isinstance(value, dict) else "a list"
    if isinstance(value, int) and abs(value) > _LONGEST:
        return "a number of more than 15 digits"
    if value is None or isinstance(value, int) or (isinstance(value, float) and math.isfinite(value)):
        return value
    text = str(value)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 1] + "…"
