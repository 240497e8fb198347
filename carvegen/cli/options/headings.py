"""How a command's help is laid out: what is asked for first, then the other options under headings by their matter."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from weakref import WeakKeyDictionary

import click

from carvegen.cli.options.values import Option, joined

__all__ = ["FIRST", "Command", "under"]

FIRST, _OTHERS = "Begin with", "Also"

_HEADINGS: WeakKeyDictionary[click.Parameter, str] = WeakKeyDictionary()


def under(heading: str, *given: Option) -> Option:
    """Several options as one, in this order, that stand under a heading of their own in the help."""

    def decorate(function: Any) -> Any:  # noqa: ANN401
        before = set(_params(function))
        function = joined(*given)(function)
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
        ranked = sorted(params, key=lambda its: self.first.index(its.name) if its.name in self.first else len(params))
        for param in ranked:
            if isinstance(param, click.Option) and (record := param.get_help_record(ctx)) is not None:
                heading = FIRST if param.name in self.first else _HEADINGS.get(param, _OTHERS)
                sections.setdefault(heading, []).append(record)
        sections[_OTHERS] = sections.pop(_OTHERS)  # last; `--help` is in it
        for heading, records in sections.items():
            with formatter.section(heading):
                formatter.write_dl(records)
