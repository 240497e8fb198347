"""The inks of a print, as `read` and `compare` are told them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from carvegen.base.errors import CarvegenError
from carvegen.cli import options

__all__ = ["Said", "ink_options", "inks_of"]


class Said(click.ParamType[Any]):
    """A click type that reads with one of the functions of `carvegen.artwork.scan`."""

    def __init__(self, name: str, function: str) -> None:
        self.name, self.function = name, function

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:  # noqa: ANN401
        """The value, or an error that names the option."""
        from carvegen.artwork import scan

        try:
            return getattr(scan, self.function)(value)
        except CarvegenError as error:
            error.fields = ()  # the option says it
            raise error.within(param.opts[0] if param else self.name) from None


def ink_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """The options ``--inks`` and ``--print``."""
    inks = click.option(
        "--inks",
        type=Said("INKS", "inks_said"),
        help='Scan: inks to tell apart, from dark to light: how many, or their names: "key,tone,ground"; or, in '
        'printing order with colour and opacity, inks that lie over one another: "sky=#a9bfcb 0.2, key=#1f2b3d 0.7".',
    )
    by_file = click.option(
        "--print",
        "print_file",
        metavar="PRINT.toml",
        type=click.Path(path_type=Path),
        help="Scan: of a finished print: its inks and paper by the print file.",
    )
    return inks(by_file(function))


def inks_of(inks: dict[str, Any] | None, print_file: Path | None) -> dict[str, Any]:
    """Names, colours and paper of the inks, as far as they are given."""
    if print_file is None:
        return inks or {}
    from carvegen.prints.file.print_file import read_print

    given = read_print(print_file, options.library())
    blocks = [block for block in given.blocks if block.inked and block.ink is not None]
    coats = tuple(block.ink for block in blocks)
    return {"inks": tuple(block.name for block in blocks), "coats": coats, "paper": given.paper}
