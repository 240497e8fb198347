"""One declaration of a setting: default, range, unit, help.

The command line, the tests and the documentation read the same declaration, so a motif's settings are
written once, as fields of a frozen dataclass::

    @dataclass(frozen=True, kw_only=True)
    class Settings:
        largest_mm: float = length(3.0, help="largest flake", at_least=0.2, at_most=50)

        def __post_init__(self) -> None:
            check_all(self)
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, cast

from carvegen.base.errors import InputError
from carvegen.base.suggestions import percent

__all__ = ["Parameter", "angle", "check_all", "flag", "length", "parameters", "share", "successors"]


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """What is known about one setting."""

    name: str
    default: float
    unit: str  #: "mm", "deg", "share" or "flag"
    help: str
    at_least: float
    at_most: float


def length(default: float, *, help: str, at_least: float, at_most: float) -> Any:  # noqa: ANN401
    """A length in millimetres; its field's name ends in ``_mm``."""
    return _declared(default, "mm", help, at_least, at_most)


def angle(default: float, *, help: str, at_least: float = -180, at_most: float = 180) -> Any:  # noqa: ANN401
    """An angle in degrees; its field's name ends in ``_deg``."""
    return _declared(default, "deg", help, at_least, at_most)


def share(default: float, *, help: str, at_most: float = 1.0) -> Any:  # noqa: ANN401
    """A share between 0 and `at_most`; its field's name has no suffix."""
    return _declared(default, "share", help, 0.0, at_most)


def flag(default: bool, *, help: str) -> Any:  # noqa: ANN401
    """Yes or no; its field's name has no suffix."""
    return _declared(default, "flag", help, 0.0, 1.0)


def parameters(settings: Any) -> Iterator[Parameter]:  # noqa: ANN401
    """The declared settings of a settings class or value, in order."""
    for spec in dataclasses.fields(settings):
        if "unit" in spec.metadata:
            yield Parameter(name=spec.name, default=float(cast("float", spec.default)), **spec.metadata)


def successors(settings: Any) -> Mapping[str, str]:  # noqa: ANN401
    """Settings that lost their meaning, and the names of those to use instead."""
    return cast("Mapping[str, str]", getattr(settings, "SUCCESSORS", {}))


def check_all(settings: Any) -> None:  # noqa: ANN401
    """Raise `InputError` at the first setting that is out of its declared range."""
    for parameter in parameters(settings):
        value = getattr(settings, parameter.name)
        low, high = parameter.at_least, parameter.at_most
        if not (isinstance(value, (int, float)) and math.isfinite(value) and low <= value <= high):
            unit = "" if parameter.unit == "share" else f" {parameter.unit}"
            hint = percent(value, high) if parameter.unit == "share" else ""
            raise InputError(f"must lie in {low:g}…{high:g}{unit}", value=value, field=parameter.name, hint=hint)


def _declared(default: float, unit: str, text: str, low: float, high: float) -> Any:  # noqa: ANN401
    return field(default=default, metadata={"unit": unit, "help": text, "at_least": low, "at_most": high})
