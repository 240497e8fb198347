"""Options for what a machine follows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import click

from carvegen.cli.option_names import option_of
from carvegen.cli.options.setup import library
from carvegen.cli.options.shapes import placed
from carvegen.cli.options.values import (
    Option,
    joined,
    one_of,
    read_as,
)

if TYPE_CHECKING:
    from carvegen.base.parameters import Parameter
    from carvegen.toolpaths.settings import PathSettings

__all__ = ["path_settings", "paths"]

_LOWERED = "Laser: how areas are lowered: shapes that the operator's own program fills, lines, or contours."
_CLEARED = "Router: how the floor is cleared: in rings from the inside out, or in lines to and fro."


def paths() -> Option:
    """Options for every choice about toolpaths."""
    from carvegen.base.parameters import parameters
    from carvegen.toolpaths.settings import (
        CLEARED,
        LOWERED,
        MOST_STEPS,
        PathSettings,
    )

    usual = PathSettings()
    return joined(
        click.option(
            "--paths/--no-paths", default=True, show_default=True, help="Write what the machine follows, too."
        ),
        one_of("--lowered", LOWERED, usual.lowered, _LOWERED),
        click.option(
            "--shoulder-steps",
            type=click.IntRange(0, MOST_STEPS),
            default=usual.shoulder_steps,
            show_default=True,
            help="Laser: steps beside the land that leave its wall sloped; 0: none.",
        ),
        one_of("--cleared", CLEARED, usual.cleared, _CLEARED),
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
        *map(_declared, parameters(PathSettings)),
    )


def _declared(its: Parameter) -> Option:
    """An option for a declared setting."""
    text = f"{its.help[0].upper()}{its.help[1:]}."
    option = option_of(its.name)
    if its.unit == "flag":
        both = f"{option}/--no-{option[2:]}" if its.default else option
        return click.option(both, its.name, is_flag=True, default=bool(its.default), help=text)
    return click.option(option, its.name, default=f"{its.default:g}", show_default=True, help=text, **read_as(its.unit))


def path_settings(given: Mapping[str, Any]) -> PathSettings | None:
    """What is chosen about toolpaths; None where none are wanted.

    `given` holds the block's `size` too, for shapes that are placed on it.
    """
    from dataclasses import fields

    from carvegen import geometry
    from carvegen.toolpaths.settings import PathSettings

    if not given["paths"]:
        return None
    shelf = library(given["folders"])
    plain = {spec.name: given[spec.name] for spec in fields(PathSettings)}
    plain["also_cutters"] = tuple(shelf.cutter(name) for name in given["also_cutters"])
    plain["no_go"] = geometry.stack(placed(text, given) for text in given["no_go"])
    return PathSettings(**plain)
