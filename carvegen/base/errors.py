"""Every error raised on purpose: message, value, place, hint, exit code.

::

    CarvegenError          4   a fault of ours
    ├── InputError         2   something the user gave is wrong
    └── RefusedError       3   not done, for safety; no option changes it

Any other exception that reaches the command line is a fault of ours, too.
"""

from __future__ import annotations

from typing import ClassVar, Self

from carvegen.base.words import shortened

__all__ = ["CarvegenError", "InputError", "RefusedError"]


class CarvegenError(Exception):
    """What was wrong, where, the offending value and what to do about it.

    Parameters
    ----------
    message
        The rule in the present tense, such as ``"must lie in 0.1…50 mm"``; without the value.
    value
        The offending value; shown with ``repr``.
    where
        The place: file, table, key or option.
    hint
        What to do. Lists in it are sorted.
    """

    exit_code: ClassVar[int] = 4

    def __init__(self, message: str, *, value: object = None, where: str = "", hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.value = value
        self.where = where
        self.hint = hint

    def __str__(self) -> str:
        place = ": ".join(map(shortened, self.where.split(": "))) + ": " if self.where else ""
        value = "" if self.value is None else f", got {shortened(repr(self.value))}"
        return f"{place}{self.message}{value}"

    def within(self, outer: str) -> Self:
        """Prefix the place with `outer` and return the error, to be raised again."""
        self.where = f"{outer}: {self.where}" if self.where else outer
        return self

    def __reduce__(self) -> tuple[object, ...]:
        return (_again, (type(self), self.message, self.value, self.where, self.hint))


class InputError(CarvegenError):
    """Something the user gave can't be used as it is."""

    exit_code = 2


class RefusedError(CarvegenError):
    """Not done because it would be dangerous; no option changes that."""

    exit_code = 3


def _again(kind: type[CarvegenError], message: str, value: object, where: str, hint: str) -> CarvegenError:
    """Rebuild an error in another process."""
    return kind(message, value=value, where=where, hint=hint)
