"""Options: their names, what their words are read as, how they are put together and laid out in the help."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import click

from carvegen.base.errors import CarvegenError
from carvegen.base.parameters import ANY
from carvegen.base.words import meant

if TYPE_CHECKING:
    from carvegen.base.parameters import Parameter

__all__ = [
    "ANGLE", "FIRST", "LENGTH", "SEED", "SIZE", "Command", "OneOf", "Read", "declared", "joined",
    "option_of", "read_as", "under",
]  # fmt: skip

#: Fields whose option is called otherwise than the field.
_OWN = {
    "also_cutters": "also-cutter",
    "day": "date",
    "declared": "declare",
    "grow_from": "on",
    "kinds": "for",
    "machines": "machine",
    "openings": "opening",
}


_METAVARS = {"also_cutters": "NAME", "no_go": "SHAPE"}


def option_of(field: str) -> str:
    """The option for a field, such as ``--largest`` for ``largest_mm``."""
    return "--" + _OWN.get(field, field.removesuffix("_mm").removesuffix("_deg").replace("_", "-"))


Option = Callable[[Any], Any]  #: what `click.option` gives
_DOUBTS = "carvegen.doubts"  #: where a command keeps what it doubts of its options


class Read(click.ParamType[Any]):
    """A click type that reads words with a function of a module of the library."""

    def __init__(self, name: str, function: str, module: str = "base.units") -> None:
        self.name, self.function, self.module = name, function, module

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:  # noqa: ANN401
        """The value, or an error that names the option."""
        if not isinstance(value, str):
            return value
        try:
            return getattr(importlib.import_module(f"carvegen.{self.module}"), self.function)(value)
        except CarvegenError as error:
            error.fields = ()  # the option says it
            raise error.within(param.opts[0] if param else self.name) from None


class _BlockSize(Read):
    """A size of a block, which is seldom so small as bare numbers may say."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:  # noqa: ANN401
        from carvegen.base.units import size_doubt

        result = super().convert(value, param, ctx)
        if isinstance(value, str) and ctx is not None and (doubt := size_doubt(value)):
            ctx.meta.setdefault(_DOUBTS, []).append(f"--size: {doubt}")
        return result


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
SIZE, LENGTH, ANGLE = Read("SIZE", "size_mm"), Read("LENGTH", "length_mm"), Read("ANGLE", "angle_deg")
BLOCK_SIZE = _BlockSize("SIZE", "size_mm")


def read_as(setting: Parameter) -> dict[str, Any]:
    """How a declared setting is read from the command line."""
    if setting.unit == "flag":
        return {"is_flag": True, "default": None}
    if setting.unit == "choice":
        return {"type": OneOf(setting.among)}
    if setting.unit in ("text", "texts"):
        return {"metavar": _METAVARS.get(setting.name, "TEXT"), "multiple": setting.unit == "texts"}
    if setting.unit == "whole" and setting.at_most > ANY:
        return {"type": SEED, "metavar": "NUMBER"}
    if setting.unit == "whole":
        return {"type": click.IntRange(int(setting.at_least), int(setting.at_most)), "metavar": "NUMBER"}
    words = {"mm": LENGTH, "deg": ANGLE}.get(setting.unit)
    return {"type": words} if words else {"type": click.FLOAT, "metavar": "NUMBER"}


def declared(setting: Parameter) -> Option:
    """The option for a declared setting."""
    option, text = option_of(setting.name), f"{setting.help[0].upper()}{setting.help[1:]}."
    if setting.unit == "flag":
        both = f"{option}/--no-{option[2:]}" if setting.default else option
        return click.option(both, setting.name, is_flag=True, default=bool(setting.default), help=text)
    default = f"{setting.default:g}" if isinstance(setting.default, float) else setting.default
    if setting.unit == "texts":
        text = f"{text} May be given more than once."
    return click.option(
        option, setting.name, default=default, show_default=default not in ("", ()), help=text, **read_as(setting)
    )


def joined(*options: Option) -> Option:
    """Several options as one, in this order."""

    def decorate(function: Any) -> Any:  # noqa: ANN401
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


def doubts() -> list[str]:
    """What was doubted of the options that were read, once."""
    result: list[str] = click.get_current_context().meta.pop(_DOUBTS, [])
    return result


FIRST, _OTHERS = "Begin with", "Also"
_HEADINGS: WeakKeyDictionary[click.Parameter, str] = WeakKeyDictionary()


def under(heading: str, *options: Option) -> Option:
    """Several options as one, in this order, that stand under a heading of their own in the help."""

    def decorate(function: Any) -> Any:  # noqa: ANN401
        before = set(_params(function))
        function = joined(*options)(function)
        _HEADINGS.update(dict.fromkeys(set(_params(function)) - before, heading))
        return function

    return decorate


def _params(function: Any) -> list[click.Parameter]:  # noqa: ANN401
    """The options that a function, or the command that it has become, has so far."""
    return list(function.params if isinstance(function, click.Command) else getattr(function, "__click_params__", ()))


class Command(click.Command):
    """A command whose help begins with the options `first`, by name; the others stand under their headings."""

    def __init__(self, *args: Any, first: Sequence[str] = (), **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.first = tuple(first)

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The options that are asked for first, then those under each heading."""
        sections: dict[str, list[tuple[str, str]]] = {FIRST: []} if self.first else {}
        params = self.get_params(ctx)
        ranked = sorted(
            params, key=lambda param: self.first.index(param.name) if param.name in self.first else len(params)
        )
        for param in ranked:
            if isinstance(param, click.Option) and (record := param.get_help_record(ctx)) is not None:
                heading = FIRST if param.name in self.first else _HEADINGS.get(param, _OTHERS)
                sections.setdefault(heading, []).append(record)
        sections[_OTHERS] = sections.pop(_OTHERS)  # last; `--help` is in it
        for heading, records in sections.items():
            with formatter.section(heading):
                formatter.write_dl(records)
