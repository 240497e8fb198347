"""Options for what a machine follows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import click

from carvegen.base.errors import InputError
from carvegen.cli.options.headings import under
from carvegen.cli.options.setup import library
from carvegen.cli.options.shapes import placed
from carvegen.cli.options.values import (
    Option,
    declared,
)

if TYPE_CHECKING:
    from carvegen.toolpaths.settings import PathSettings

__all__ = ["path_settings", "paths"]


#: Options that mean nothing where no paths are made.
_ONLY_PATHS = {
    "program": "--program",
    "also_cutters": "--also-cutter",
    "no_go": "--no-go",
    "simulated": "--simulated",
    "cut_edge": "--cut-edge",
}


def paths() -> Option:
    """Options for every choice about toolpaths."""
    from carvegen.base.parameters import parameters
    from carvegen.toolpaths.settings import PathSettings, PathsWanted

    return under(
        "What a machine follows",
        *map(declared, (*parameters(PathsWanted), *parameters(PathSettings))),
        click.option(
            "--also-cutter",
            "also_cutters",
            multiple=True,
            metavar="NAME",
            help="Router: a further cutter, such as a wide one that clears before; may be given more than once.",
        ),
        click.option(
            "--no-go",
            multiple=True,
            metavar="SHAPE",
            help='Where a clamp lies and nothing may go, seen as in the print: "box X Y W H" or FILE; more than once.',
        ),
    )


def path_settings(given: Mapping[str, Any]) -> PathSettings | None:
    """What is chosen about toolpaths; None where none are wanted.

    `given` holds the block's `size` too, for shapes that are placed on it.
    """
    from dataclasses import fields

    from carvegen import geometry
    from carvegen.toolpaths.settings import PathSettings

    if not given["paths"]:
        for name, option in _ONLY_PATHS.items():
            if given[name]:
                raise InputError(
                    "asks for what the paths bring, and none are wanted",
                    where=f"{option} with --no-paths", hint="leave one of the two out",
                )  # fmt: skip
        return None
    shelf = library(given["folders"])
    plain = {spec.name: given[spec.name] for spec in fields(PathSettings)}
    plain["also_cutters"] = tuple(shelf.cutter(name) for name in given["also_cutters"])
    plain["no_go"] = geometry.stack(placed(text, given) for text in given["no_go"])
    return PathSettings(**plain)
