"""Every error raised on purpose: message, value, place, hint, exit code.

::

    CarvegenError          4   a fault of ours
    ├── InputError         2   something the user gave is wrong
    └── RefusedError       3   not done, for safety; no option changes it

Any other exception that reaches the command line is a fault of ours, too.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar, Self

from carvegen.base.words import shortened

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["CarvegenError", "InputError", "RefusedError"]


class CarvegenError(Exception):
    """What was wrong, where, the offending value and what to do about it.

    The library calls settings by the names of their fields. Each border (command line, print file) has its own names
    for them and puts these in with `named`.

    Parameters
    ----------
    message
        The rule in the present tense, such as ``"must lie in 0.1…50 mm"``; without the value.
    value
        The offending value; shown with ``repr``.
    where
        The place: file, table or line.
    field
        The setting that is wrong, or several that are wrong together, by the names of their fields.
    hint
        What to do. Lists in it are sorted.
    names
        Further fields that message and hint speak of, there in braces: ``"enlarge {size_mm}"``.
    """

    exit_code: ClassVar[int] = 4

    def __init__(
        self,
        message: str,
        *,
        value: object = None,
        where: str = "",
        field: str | tuple[str, ...] = (),
        hint: str = "",
        names: tuple[str, ...] = (),
    ) -> None:
        super().__init__(message)
        self._message = message
        self._hint = hint
        self.value = value
        self.where = where
        self.fields = (field,) if isinstance(field, str) else field
        self.names = names

    @property
    def message(self) -> str:
        """The rule, in the present tense."""
        return self._filled(self._message, str)

    @property
    def hint(self) -> str:
        """What to do; may be empty."""
        return self._filled(self._hint, str)

    @hint.setter
    def hint(self, text: str) -> None:
        self._hint = text

    @property
    def hint_template(self) -> str:
        """The hint with its fields still in braces, for whoever adds to it."""
        return self._hint

    @property
    def place(self) -> str:
        """Where it is, with the settings."""
        return ": ".join(filter(None, [self.where, ", ".join(self.fields)]))

    def __str__(self) -> str:
        place = ": ".join(map(shortened, self.place.split(": "))) + ": " if self.place else ""
        value = "" if self.value is None else f", got {shortened(repr(self.value))}"
        return f"{place}{self.message}{value}"

    def within(self, outer: str) -> Self:
        """Prefix the place with `outer` and return the error, to be raised again."""
        self.where = f"{outer}: {self.where}" if self.where else outer
        return self

    def named(self, name: Callable[[str], str]) -> Self:
        """Call every setting as `name` calls its field, and return the error, to be raised again; once is enough."""
        self._message, self._hint = self._filled(self._message, name), self._filled(self._hint, name)
        self.fields = tuple(map(name, self.fields))
        self.where, self.fields, self.names = self.place, (), ()
        return self

    def _filled(self, text: str, name: Callable[[str], str]) -> str:
        for field in self.names:
            text = text.replace(f"{{{field}}}", name(field))
        return text

    def __reduce__(self) -> tuple[object, ...]:
        arguments = {
            "value": self.value,
            "where": self.where,
            "field": self.fields,
            "hint": self._hint,
            "names": self.names,
        }
        return (_again, (type(self), self._message, arguments))


class InputError(CarvegenError):
    """Something the user gave can't be used as it is."""

    exit_code = 2


class RefusedError(CarvegenError):
    """Not done because it would be dangerous; no option changes that."""

    exit_code = 3


def _again(kind: type[CarvegenError], message: str, arguments: dict[str, Any]) -> CarvegenError:
    """Rebuild an error in another process."""
    return kind(message, **arguments)
