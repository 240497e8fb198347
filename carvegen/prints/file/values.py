"""One value of a print file against its declaration; what is wrong is kept, and a stand-in comes back."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from carvegen.base.colour import rgb
from carvegen.base.errors import InputError
from carvegen.base.parameters import parameters, successors
from carvegen.base.suggestions import nearest
from carvegen.prints.file.key_lines import placed
from carvegen.prints.file.keys import REQUIRED, Key, Kind

__all__ = ["Place", "remedy", "settings_of", "value_of"]

_SHOWN = 60  #: characters of a wrong value that a message repeats
_LONGEST = 200  #: characters of a text
_LARGEST = 10**15  #: whole numbers beyond it are surely slips
_FORMS = {
    Kind.TEXT: "a line of text in quotes",
    Kind.TEXTS: "a list of texts in [ ]",
    Kind.NUMBER: "a number",
    Kind.WHOLE: "a whole number",
    Kind.FLAG: "true or false",
    Kind.COLOUR: 'a colour such as "#264b5e"',
    Kind.SIZE: "two numbers in [ ]",
    Kind.SETTINGS: "a table { }",
}


@dataclass(frozen=True)
class Place:
    """A file, and the faults found in it so far."""

    file: str
    faults: list[InputError]

    def fault(self, key: str, message: str, *, value: object = None, hint: str = "") -> None:
        """Keep a fault of the value called `key`."""
        self.faults.append(InputError(message, value=_shown(value), where=placed(Path(self.file), key), hint=hint))


def value_of(top: Place, where: str, key: Key, given: object) -> Any:  # noqa: ANN401
    """The value of a key; its default where it is not given, and where it is wrong.

    Parameters
    ----------
    given
        As TOML gave it; `REQUIRED` if it is not there.
    """
    if given is REQUIRED:
        if key.required:
            top.fault(where, "is missing", hint=remedy(key))
        return None if key.required else key.default
    said = _fault(key, given)
    if said:
        top.fault(where, said, value=_culprit(key, given), hint=_hint(key, given))
        return () if key.kind == Kind.TEXTS else None
    return _settled(key, given)


def settings_of(top: Place, where: str, settings: Any, given: Mapping[str, Any]) -> dict[str, Any]:  # noqa: ANN401
    """A motif's own settings, each by its declaration; the faulty ones are left out."""
    known = {its.name: its for its in parameters(settings)}
    good: dict[str, Any] = {}
    for name, value in given.items():
        if name not in known:
            later = successors(settings).get(name)
            hint = f"it is {later} now" if later else nearest(name, known)
            top.fault(f"{where}.{name}", "is no setting of this motif", value=value, hint=hint)
        elif known[name].unit == "flag":
            hint = f"write {name} = true, or leave it out"
            good |= _kept(top, f"{where}.{name}", value, "must be true or false", (isinstance(value, bool), hint))
        else:
            its, holds = known[name], not isinstance(value, bool) and known[name].allows(value)
            usual = f"{its.default:g}" if isinstance(its.default, float) else its.default
            hint = nearest(str(value), its.among) if its.among else f"{its.help}; by default {usual}"
            good |= _kept(top, f"{where}.{name}", value, its.rule, (holds, hint))
    return good


def _kept(top: Place, where: str, value: Any, rule: str, holds: tuple[bool, str]) -> dict[str, Any]:  # noqa: ANN401
    """The setting if it holds; else a fault with what to do, and nothing."""
    if holds[0]:
        return {where.rpartition(".")[2]: value}
    top.fault(where, rule, value=value, hint=holds[1])
    return {}


def _fault(key: Key, given: Any) -> str:  # noqa: ANN401
    """What is wrong with a value; nothing if it will do."""
    if not _of_kind(key.kind, given):
        return f"must be {_FORMS[key.kind]}"
    if key.kind == Kind.TEXT:
        return _text_fault(key, given)
    if key.kind == Kind.TEXTS:
        return next(filter(None, (_text_fault(key, text) for text in given)), "")
    if key.kind == Kind.COLOUR:
        return "" if _is_colour(given) else f"must be {_FORMS[key.kind]}"
    if key.range is not None:
        numbers = given if key.kind == Kind.SIZE else [given]
        return "" if all(number in key.range for number in numbers) else key.range.rule(key.name)
    return ""


def _text_fault(key: Key, text: str) -> str:
    if key.among and text not in key.among:
        return "must be a known word"
    if key.form and not re.fullmatch(key.form, text):
        return "must be a plain name"
    if not text.strip() or not text.isprintable() or len(text) > _LONGEST:
        return f"must be one line of text, at most {_LONGEST} letters"
    return ""


def _of_kind(kind: str, given: Any) -> bool:  # noqa: ANN401
    tests = {
        Kind.TEXT: isinstance(given, str),
        Kind.COLOUR: isinstance(given, str),
        Kind.FLAG: isinstance(given, bool),
        Kind.NUMBER: _is_number(given),
        Kind.WHOLE: type(given) is int,
        Kind.SETTINGS: isinstance(given, dict),
        Kind.TEXTS: isinstance(given, list) and all(isinstance(its, str) for its in given),
        Kind.SIZE: isinstance(given, list) and len(given) == 2 and all(map(_is_number, given)),
    }
    return tests[kind]


def _is_number(given: object) -> bool:
    if isinstance(given, bool) or not isinstance(given, (int, float)):
        return False
    return abs(given) < _LARGEST if isinstance(given, int) else math.isfinite(given)


def _is_colour(text: str) -> bool:
    try:
        rgb(text)
    except InputError:
        return False
    return True


def _settled(key: Key, given: Any) -> Any:  # noqa: ANN401
    if key.kind in (Kind.TEXTS, Kind.SIZE):
        return tuple(given)
    return float(given) if key.kind == Kind.NUMBER else given


def _culprit(key: Key, given: Any) -> object:  # noqa: ANN401
    """The part of a value that is wrong."""
    if key.kind == Kind.TEXTS and _of_kind(key.kind, given):
        return next(text for text in given if _text_fault(key, text))
    return given


def _hint(key: Key, given: Any) -> str:  # noqa: ANN401
    culprit = _culprit(key, given)
    if key.among and isinstance(culprit, str):
        return nearest(culprit, key.among)
    return remedy(key)


def remedy(key: Key) -> str:
    """How a key is written."""
    if key.remedy or key.among:
        return key.remedy or f"one of: {', '.join(key.among)}"
    allowed = f"; it {key.range.rule(key.name)}" if key.range else ""
    return f"{key.help}: {_FORMS[key.kind]}{allowed}"


def _shown(value: object) -> object:
    """A wrong value, short enough for a message and plain enough for JSON."""
    if value is None or isinstance(value, (bool, int)) or (isinstance(value, float) and math.isfinite(value)):
        return value if not isinstance(value, int) or abs(value) < 10**18 else "a number of more than 18 digits"
    text = value if isinstance(value, str) else str(value)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 1] + "…"
