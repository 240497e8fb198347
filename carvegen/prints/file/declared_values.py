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

__all__ = ["LONGEST", "FilePlace", "remedy", "settings_of", "value_of"]

_SHOWN = 60  #: characters of a wrong value that a message repeats
LONGEST = 200  #: characters of a text
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
    "entries": "a list of tables { } in [ ], each of numbers and texts",
}


@dataclass(frozen=True)
class FilePlace:
    """A file, and the faults found in it so far."""

    file: str
    faults: list[InputError]

    def fault(self, key: str, message: str, *, value: object = None, hint: str = "") -> None:
        """Keep a fault of the value called `key`."""
        self.faults.append(InputError(message, value=_shown(value), where=placed(Path(self.file), key), hint=hint))


def value_of(top: FilePlace, where: str, setting: Parameter, raw: object) -> Any:  # noqa: ANN401
    """The value of a key; its default where there is none, and where it is wrong.

    Parameters
    ----------
    raw
        As TOML gave it; `REQUIRED` if it is not there.
    """
    if raw is REQUIRED:
        if setting.required:
            top.fault(where, "is missing", hint=remedy(setting))
        return None if setting.required else setting.default
    fault = _fault(setting, raw)
    if fault:
        top.fault(where, fault, value=_culprit(setting, raw), hint=_hint(setting, raw))
        return () if setting.unit in ("texts", "entries") else None
    return _settled(setting, raw)


def settings_of(top: FilePlace, where: str, settings: Any, raw: Mapping[str, Any]) -> dict[str, Any]:  # noqa: ANN401
    """A motif's own settings, each by its declaration; the faulty ones are left out."""
    known = {setting.key: setting for setting in parameters(settings)}
    good: dict[str, Any] = {}
    for name, value in raw.items():
        if name not in known:
            later = successors(settings).get(name)
            hint = f"it is {later} now" if later else nearest(name, known)
            top.fault(f"{where}.{name}", "is no setting of this motif", value=value, hint=hint)
        elif fault := _fault(known[name], value):
            top.fault(f"{where}.{name}", fault, value=value, hint=_own_hint(known[name], value, fault))
        else:
            good[name] = _settled(known[name], value)
    return good


def _fault(setting: Parameter, raw: Any) -> str:  # noqa: ANN401
    """What is wrong with a value; nothing if it will do."""
    if not _of_kind(setting.unit, raw) or (setting.unit == "colour" and not _is_colour(raw)):
        return f"must be {_FORMS.get(setting.unit, _NUMBER)}"
    if setting.unit in ("text", "choice", "texts"):
        return next(filter(None, (_text_fault(setting, text) for text in _texts(raw))), "")
    if setting.unit == "entries":
        every = [text for entry in raw for text in (entry.values() if isinstance(entry, dict) else [entry])]
        return next(filter(None, (_text_fault(setting, text) for text in every if isinstance(text, str))), "")
    if setting.bounded:
        numbers = raw if setting.unit == "span" else [raw]
        return "" if all(setting.at_least <= number <= setting.at_most for number in numbers) else setting.rule
    return ""


def _texts(raw: Any) -> list[str]:  # noqa: ANN401
    return [raw] if isinstance(raw, str) else raw


def _text_fault(setting: Parameter, text: str) -> str:
    if setting.among and text not in setting.among:
        return "must be a known word"
    if setting.form and not re.fullmatch(setting.form, text):
        return "must be a plain name"
    if not text.strip() or not text.isprintable() or len(text) > LONGEST:
        return f"must be one line of text, at most {LONGEST} letters"
    return ""


def _of_kind(unit: str, raw: Any) -> bool:  # noqa: ANN401
    if unit == "texts":
        return isinstance(raw, list) and all(isinstance(text, str) for text in raw)
    if unit == "entries":
        return isinstance(raw, list) and all(isinstance(one, str) or _is_entry(one) for one in raw)
    if unit == "span":
        return isinstance(raw, list) and len(raw) == 2 and all(map(_is_number, raw))
    if unit == "whole":
        return type(raw) is int
    kinds = {"text": str, "choice": str, "colour": str, "flag": bool, "table": dict}
    return isinstance(raw, kinds[unit]) if unit in kinds else _is_number(raw)


def _is_entry(raw: object) -> bool:
    return isinstance(raw, dict) and all(isinstance(value, str) or _is_number(value) for value in raw.values())


def _is_number(raw: object) -> bool:
    if isinstance(raw, bool) or not isinstance(raw, (int, float)):
        return False
    return abs(raw) < _LARGEST if isinstance(raw, int) else math.isfinite(raw)


def _is_colour(text: str) -> bool:
    try:
        rgb(text)
    except InputError:
        return False
    return True


def _settled(setting: Parameter, raw: Any) -> Any:  # noqa: ANN401
    if setting.unit in ("texts", "span"):
        return tuple(raw)
    if setting.unit == "entries":
        return tuple(tuple(one.items()) if isinstance(one, dict) else one for one in raw)
    return float(raw) if setting.bounded and setting.unit != "whole" else raw


def _culprit(setting: Parameter, raw: Any) -> object:  # noqa: ANN401
    """The part of a value that is wrong."""
    if setting.unit == "texts" and _of_kind(setting.unit, raw):
        return next(text for text in raw if _text_fault(setting, text))
    return raw


def _hint(setting: Parameter, raw: Any) -> str:  # noqa: ANN401
    culprit = _culprit(setting, raw)
    if setting.among and isinstance(culprit, str):
        return nearest(culprit, setting.among)
    return remedy(setting)


def _own_hint(setting: Parameter, raw: Any, fault: str) -> str:  # noqa: ANN401
    """The same of a motif's setting, with its default, and without the range where the fault says it."""
    if setting.unit == "flag":
        return f"write {setting.key} = true, or leave it out"
    if setting.among:
        return _hint(setting, raw)
    usual = f"{setting.default:g}" if isinstance(setting.default, float) else setting.default
    return f"{setting.help if fault == setting.rule else remedy(setting)}; by default {usual}"


def remedy(setting: Parameter) -> str:
    """How a key is written."""
    if setting.remedy or setting.among:
        return setting.remedy or f"one of: {', '.join(setting.among)}"
    if setting.unit == "whole":
        return f"{setting.help}: {setting.whole_number}"
    allowed = f"; it {setting.rule}" if setting.bounded else ""
    return f"{setting.help}: {_FORMS.get(setting.unit, _NUMBER)}{allowed}"


def _shown(value: object) -> object:
    """A wrong value, short enough for a message and plain enough for JSON."""
    if value is None or isinstance(value, (bool, int)) or (isinstance(value, float) and math.isfinite(value)):
        return value if not isinstance(value, int) or abs(value) < 10**18 else "a number of more than 18 digits"
    text = value if isinstance(value, str) else str(value)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 1] + "…"
