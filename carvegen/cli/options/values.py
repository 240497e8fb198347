"""What an option's words are read as, and how options are put together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import click

from carvegen.base.errors import CarvegenError
from carvegen.base.words import meant
from carvegen.cli.option_names import option_of

if TYPE_CHECKING:
    from carvegen.base.parameters import Parameter

__all__ = ["ANGLE", "LENGTH", "SEED", "SIZE", "OneOf", "declared", "joined", "measure", "one_of", "read_as"]

Option = Callable[[Any], Any]  #: what `click.option` gives

_DOUBTS = "carvegen.doubts"  #: where a command keeps what it doubts of its options


class _Measure(click.ParamType[Any]):
    """A click type that reads with one of the functions of `carvegen.base.units`."""

    def __init__(self, name: str) -> None:
        self.name = name

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:  # noqa: ANN401
        from carvegen.base import units

        if not isinstance(value, str):
            return value
        try:
            return getattr(units, {"SIZE": "size_mm", "LENGTH": "length_mm", "ANGLE": "angle_deg"}[self.name])(value)
        except CarvegenError as error:
            error.fields = ()  # the option says it
            raise error.within(param.opts[0] if param else self.name) from None


class _BlockSize(_Measure):
    """A size of a block, which is seldom so small as bare numbers may say."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:  # noqa: ANN401
        from carvegen.base.units import size_doubt

        found = super().convert(value, param, ctx)
        if isinstance(value, str) and ctx is not None and (doubt := size_doubt(value)):
            ctx.meta.setdefault(_DOUBTS, []).append(f"--size: {doubt}")
        return found


class OneOf(click.Choice[str]):
    """One of a few words; a misspelt one is told with the nearest."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:  # noqa: ANN401
        """The word, or a fault that names the nearest."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter as error:
            guess = meant(str(value), map(str, self.choices))
            self.fail(f"{error.message} {guess[:1].upper()}{guess[1:]}".rstrip(), param, ctx)


class _Seed(click.ParamType[int]):
    """A whole number, 0 or more; how large it may be need not be said."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:  # noqa: ANN401
        """The number, or a fault that says what it may be."""
        return click.IntRange(0, 2**63 - 1).convert(value, param, ctx)


SEED = _Seed()
SIZE, LENGTH, ANGLE, BLOCK_SIZE = _Measure("SIZE"), _Measure("LENGTH"), _Measure("ANGLE"), _BlockSize("SIZE")


def measure(name: str) -> click.ParamType[Any]:
    """The click type of a "SIZE", "LENGTH" or "ANGLE"."""
    return _Measure(name)


def read_as(its: Parameter) -> dict[str, Any]:
    """How a declared setting is read from the command line."""
    if its.unit == "flag":
        return {"is_flag": True, "default": None}
    if its.unit == "choice":
        return {"type": OneOf(its.among)}
    if its.unit == "whole":
        return {"type": click.IntRange(int(its.at_least), int(its.at_most)), "metavar": "NUMBER"}
    words = {"mm": LENGTH, "deg": ANGLE}.get(its.unit)
    return {"type": words} if words else {"type": click.FLOAT, "metavar": "NUMBER"}


def one_of(option: str, words: Sequence[str], default: str, about: str) -> Option:
    """An option that is one of a few words, with its default shown."""
    return click.option(option, type=OneOf(words), default=default, show_default=True, help=about)


def declared(its: Parameter, name: str = "") -> Option:
    """The option for a declared setting; passed by its own name, or as `name`."""
    option, text = option_of(its.name), f"{its.help[0].upper()}{its.help[1:]}."
    if its.unit == "flag":
        both = f"{option}/--no-{option[2:]}" if its.default else option
        return click.option(both, name or its.name, is_flag=True, default=bool(its.default), help=text)
    default = f"{its.default:g}" if isinstance(its.default, float) else its.default
    return click.option(option, name or its.name, default=default, show_default=True, help=text, **read_as(its))


def joined(*given: Option) -> Option:
    """Several options as one, in this order."""

    def decorate(function: Any) -> Any:  # noqa: ANN401
        for option in reversed(given):
            function = option(function)
        return function

    return decorate


def doubts() -> list[str]:
    """What was doubted of the options that were read, once."""
    found: list[str] = click.get_current_context().meta.pop(_DOUBTS, [])
    return found
