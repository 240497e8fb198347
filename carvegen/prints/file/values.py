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
from carvegen.base.parameters import REQUIRED, Parameter, parameters, successors
from carvegen.base.words import nearest
from carvegen.prints.file.key_lines import placed

__all__ = ["Place", "remedy", "settings_of", "value_of"]

_SHOWN = 60  #: characters of a wrong value that a message repeats
_LONGEST = 200  #: characters of a text
_LARGEST = 10**15  #: whole numbers beyond it are surely slips
_NUMBER = "a number"
_FORMS = {
    "text": "a line of text in quotes",
    "choice": "a line of text in quotes",
    "texts": "a list of texts in [ ]",
    "whole": "a whole number",
    "flag": "true or false",
    "colour": 'a colour such as "#264b5e"',
    "span": "two numbers in [ ]",
    "table": "a table { }",
}


@dataclass(frozen=True)
class Place:
    """A file, and the faults found in it so far."""

    file: str
    faults: list[InputError]

    def fault(self, key: str, message: str, *, value: object = None, hint: str = "") -> None:
        """Keep a fault of the value called `key`."""
        self.faults.append(InputError(message, value=_shown(value), where=placed(Path(self.file), key), hint=hint))


def value_of(top: Place, where: str, its: Parameter, given: object) -> Any:  # noqa: ANN401
    """The value of a key; its default where it is not given, and where it is wrong.

    Parameters
    ----------
    given
        As TOML gave it; `REQUIRED` if it is not there.
    """
    if given is REQUIRED:
        if its.required:
            top.fault(where, "is missing", hint=remedy(its))
        return None if its.required else its.default
    said = _fault(its, given)
    if said:
        top.fault(where, said, value=_culprit(its, given), hint=_hint(its, given))
        return () if its.unit == "texts" else None
    return _settled(its, given)


def settings_of(top: Place, where: str, settings: Any, given: Mapping[str, Any]) -> dict[str, Any]:  # noqa: ANN401
    """A motif's own settings, each by its declaration; the faulty ones are left out."""
    known = {its.key: its for its in parameters(settings)}
    good: dict[str, Any] = {}
    for name, value in given.items():
        if name not in known:
            later = successors(settings).get(name)
            hint = f"it is {later} now" if later else nearest(name, known)
            top.fault(f"{where}.{name}", "is no setting of this motif", value=value, hint=hint)
        elif said := _fault(known[name], value):
            top.fault(f"{where}.{name}", said, value=value, hint=_hint(known[name], value))
        else:
            good[name] = _settled(known[name], value)
    return good


def _fault(its: Parameter, given: Any) -> str:  # noqa: ANN401
    """What is wrong with a value; nothing if it will do."""
    if not _of_kind(its.unit, given) or (its.unit == "colour" and not _is_colour(given)):
        return f"must be {_FORMS.get(its.unit, _NUMBER)}"
    if its.unit in ("text", "choice", "texts"):
        return next(filter(None, (_text_fault(its, text) for text in _texts(given))), "")
    if its.bounded:
        numbers = given if its.unit == "span" else [given]
        return "" if all(its.at_least <= number <= its.at_most for number in numbers) else its.rule
    return ""


def _texts(given: Any) -> list[str]:  # noqa: ANN401
    return [given] if isinstance(given, str) else given


def _text_fault(its: Parameter, text: str) -> str:
    if its.among and text not in its.among:
        return "must be a known word"
    if its.form and not re.fullmatch(its.form, text):
        return "must be a plain name"
    if not text.strip() or not text.isprintable() or len(text) > _LONGEST:
        return f"must be one line of text, at most {_LONGEST} letters"
    return ""


def _of_kind(unit: str, given: Any) -> bool:  # noqa: ANN401
    if unit == "texts":
        return isinstance(given, list) and all(isinstance(text, str) for text in given)
    if unit == "span":
        return isinstance(given, list) and len(given) == 2 and all(map(_is_number, given))
    if unit == "whole":
        return type(given) is int
    kinds = {"text": str, "choice": str, "colour": str, "flag": bool, "table": dict}
    return isinstance(given, kinds[unit]) if unit in kinds else _is_number(given)


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


def _settled(its: Parameter, given: Any) -> Any:  # noqa: ANN401
    if its.unit in ("texts", "span"):
        return tuple(given)
    return float(given) if its.bounded and its.unit != "whole" else given


def _culprit(its: Parameter, given: Any) -> object:  # noqa: ANN401
    """The part of a value that is wrong."""
    if its.unit == "texts" and _of_kind(its.unit, given):
        return next(text for text in given if _text_fault(its, text))
    return given


def _hint(its: Parameter, given: Any) -> str:  # noqa: ANN401
    culprit = _culprit(its, given)
    if its.among and isinstance(culprit, str):
        return nearest(culprit, its.among)
    return remedy(its)


def remedy(its: Parameter) -> str:
    """How a key is written."""
    if its.remedy or its.among:
        return its.remedy or f"one of: {', '.join(its.among)}"
    allowed = f"; it {its.rule}" if its.bounded else ""
    return f"{its.help}: {_FORMS.get(its.unit, _NUMBER)}{allowed}"


def _shown(value: object) -> object:
    """A wrong value, short enough for a message and plain enough for JSON."""
    if value is None or isinstance(value, (bool, int)) or (isinstance(value, float) and math.isfinite(value)):
        return value if not isinstance(value, int) or abs(value) < 10**18 else "a number of more than 18 digits"
    text = value if isinstance(value, str) else str(value)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 1] + "…"
