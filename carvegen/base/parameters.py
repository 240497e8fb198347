"""One declaration of a setting: default, range, unit, help, and how it is written in a file.

The command line, the print file, its schema and its reference, the page and the tests read the same declaration, so
a setting is written once, as a field of a frozen dataclass::

    @dataclass(frozen=True, kw_only=True)
    class Settings:
        largest_mm: float = length(3.0, help="largest flake", at_least=0.2, at_most=50)

        def __post_init__(self) -> None:
            check_all(self)
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from types import MappingProxyType
from typing import Any, cast

from carvegen.base.errors import InputError
from carvegen.base.words import percent

__all__ = [
    "ANY", "REQUIRED", "Parameter", "angle", "check_all", "choice", "colour", "entries", "flag", "length", "number",
    "parameters", "same", "share", "span", "successors", "table", "text", "texts", "whole",
]  # fmt: skip

REQUIRED: Any = dataclasses.MISSING  #: the default of a setting that must be said
ANY = 1e9  #: a bound beyond this is none to a reader


_BOUNDED = frozenset({"mm", "deg", "share", "number", "whole", "span"})


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """What is known about one setting."""

    name: str
    default: Any  #: None: something else says it; `REQUIRED`: it must be said
    #: "mm", "deg", "share", "number", "whole", "flag", "choice", "span", "text", "texts", "colour", "table", "entries"
    unit: str
    help: str
    at_least: float = 0.0
    at_most: float = 0.0
    among: tuple[str, ...] = ()  #: the words of a choice, or of each text
    form: str = ""  #: regular expression of a text, the whole of it
    remedy: str = ""  #: an example of how it is written in a file
    key: str = ""  #: its name in a file

    @property
    def required(self) -> bool:
        """Whether there is no default."""
        return self.default is REQUIRED

    @property
    def bounded(self) -> bool:
        """Whether it is a number, or two, in a range."""
        return self.unit in _BOUNDED

    @property
    def rule(self) -> str:
        """What a value must be."""
        if self.unit == "choice":
            return "must be a known word"
        if self.unit == "flag":
            return "must be true or false"
        if self.unit == "whole":
            return f"must be {self.whole_number}"
        bounds = f"{self.at_least:g}…{self.at_most:g}"
        unit = "mm" if self.name.endswith("_mm") else self.unit
        return f"must lie in {bounds}{f' {unit}' if unit in {'mm', 'deg'} else ''}"

    @property
    def whole_number(self) -> str:
        """Which whole numbers a setting may be."""
        least, most = f"{self.at_least:.0f}", f"{self.at_most:.0f}"
        return f"a whole number, {least} or more" if self.at_most > ANY else f"a whole number in {least}…{most}"

    def allows(self, value: object) -> bool:
        """Whether a value is of its kind and in its range."""
        if value is None:
            return self.default is None
        if self.unit == "choice":
            return value in self.among
        if self.unit == "flag":
            return isinstance(value, bool)
        if self.unit == "span":
            return isinstance(value, tuple) and len(value) == 2 and all(map(self._in_range, value))
        if self.unit == "whole" and type(value) is not int:
            return False
        return self._in_range(value)

    def _in_range(self, value: object) -> bool:
        return isinstance(value, (int, float)) and self.at_least <= value <= self.at_most


def length(default: float | None = REQUIRED, *, help: str, at_least: float, at_most: float) -> Any:  # noqa: ANN401
    """A length in millimetres; its field's name ends in ``_mm``."""
    return _declared(default, "mm", help, at_least=at_least, at_most=at_most)


def angle(default: float | None, *, help: str, at_least: float = -180, at_most: float = 180) -> Any:  # noqa: ANN401
    """An angle in degrees; its field's name ends in ``_deg``."""
    return _declared(default, "deg", help, at_least=at_least, at_most=at_most)


def share(default: float, *, help: str, at_most: float = 1.0) -> Any:  # noqa: ANN401
    """A share between 0 and `at_most`; its field's name has no suffix."""
    return _declared(default, "share", help, at_least=0.0, at_most=at_most)


def flag(default: bool, *, help: str) -> Any:  # noqa: ANN401
    """Yes or no; its field's name has no suffix."""
    return _declared(default, "flag", help, at_least=0.0, at_most=1.0)


def number(default: float | None, *, help: str, at_least: float, at_most: float) -> Any:  # noqa: ANN401
    """A plain number, such as a count or a percentage."""
    return _declared(default, "number", help, at_least=at_least, at_most=at_most)


def whole(default: int, *, help: str, at_least: int, at_most: int, **more: str) -> Any:  # noqa: ANN401
    """A whole number."""
    return _declared(default, "whole", help, at_least=at_least, at_most=at_most, **more)


def choice(default: Any = REQUIRED, *, among: Sequence[str], help: str, **more: str) -> Any:  # noqa: ANN401
    """One of a few words."""
    return _declared(default, "choice", help, among=tuple(among), **more)


def span(default: tuple[float, float] = REQUIRED, *, help: str, at_least: float, at_most: float, **more: str) -> Any:  # noqa: ANN401
    """Two numbers within one range."""
    return _declared(default, "span", help, at_least=at_least, at_most=at_most, **more)


def text(default: str = REQUIRED, *, help: str, **more: str) -> Any:  # noqa: ANN401
    """A line of text."""
    return _declared(default, "text", help, **more)


def texts(default: tuple[str, ...] = (), *, help: str, among: Sequence[str] = (), **more: str) -> Any:  # noqa: ANN401
    """Lines of text, any number of them."""
    return _declared(default, "texts", help, among=tuple(among), **more)


def entries(*, help: str) -> Any:  # noqa: ANN401
    """Small tables of numbers and texts, any number of them; lines of text as they were written once."""
    return _declared((), "entries", help)


def colour(default: str = REQUIRED, *, help: str, **more: str) -> Any:  # noqa: ANN401
    """A colour, written ``#rrggbb``; "": none."""
    return _declared(default, "colour", help, **more)


def table(*, help: str) -> Any:  # noqa: ANN401
    """Settings of another kind, by name."""
    return field(default_factory=dict, metadata={"unit": "table", "help": help})


def same(settings: Any, name: str) -> Any:  # noqa: ANN401
    """A setting as another class declares it."""
    spec = next(field for field in dataclasses.fields(settings) if field.name == name)
    return field(default=spec.default, metadata=spec.metadata)


def parameters(settings: Any) -> tuple[Parameter, ...]:  # noqa: ANN401
    """The declared settings of a settings class or value, in order."""
    return _parameters(settings if isinstance(settings, type) else type(settings))


@cache
def _parameters(kind: type) -> tuple[Parameter, ...]:
    """Those of a class, looked through once: a print file's tables and each change of a setting ask again and again."""
    return tuple(
        Parameter(**{"name": spec.name, "key": spec.name, "default": _default(spec), **spec.metadata})
        for spec in dataclasses.fields(kind)
        if "unit" in spec.metadata
    )


def _default(spec: dataclasses.Field[Any]) -> object:
    return MappingProxyType({}) if spec.metadata["unit"] == "table" else spec.default


def successors(settings: Any) -> Mapping[str, str]:  # noqa: ANN401
    """Settings that lost their meaning, and the names of those to use instead."""
    return cast("Mapping[str, str]", getattr(settings, "SUCCESSORS", {}))


def check_all(settings: Any) -> None:  # noqa: ANN401
    """Raise `InputError` at the first setting that is out of its declared range."""
    for setting in parameters(settings):
        value = getattr(settings, setting.name)
        if not setting.allows(value):
            hint = f"one of: {', '.join(setting.among)}" if setting.among else ""
            hint = percent(value, setting.at_most) if setting.unit == "share" else hint
            raise InputError(setting.rule, value=value, field=setting.name, hint=hint)


def _declared(default: object, unit: str, text: str, **more: Any) -> Any:  # noqa: ANN401
    return field(default=default, metadata={"unit": unit, "help": text, **more})
