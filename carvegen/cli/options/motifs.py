"""Options for the settings of a motif."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import click

from carvegen.base.errors import InputError
from carvegen.cli.option_names import option_of
from carvegen.cli.options.headings import under
from carvegen.cli.options.values import (
    OneOf,
    Option,
    read_as,
)

__all__ = ["motif", "motif_settings"]


def motif(name: str, *, presets: str) -> Option:
    """Options for every setting of a motif, and one named `presets` for its presets."""
    from carvegen.base.parameters import parameters, successors
    from carvegen.motifs import motif as module_of

    known = module_of(name)
    given = [
        click.option(
            f"--{presets}",
            "preset",
            type=OneOf(list(known.PRESETS)),
            default=next(iter(known.PRESETS)),
            show_default=True,
            help="A name for settings that belong together; those that you give below change it.",
        )
    ]
    given += [
        click.option(
            option_of(setting.name),
            setting.name,
            help=f"{setting.help[0].upper()}{setting.help[1:]}.",
            **read_as(setting),
        )
        for setting in parameters(known.Settings)
    ]
    given += [_gone(option_of(name), later) for name, later in successors(known.Settings).items()]
    return under("What it looks like", *given)


def _gone(option: str, later: str) -> Option:
    """An option that lost its meaning: refused with the name of the one to use instead."""

    def refuse(ctx: click.Context, param: click.Parameter, value: object) -> None:
        if value is not None:
            hint = f"use {option_of(later)}"
            raise InputError("is no setting of this motif any more", value=value, where=option, hint=hint)

    return click.option(option, hidden=True, expose_value=False, callback=refuse)


def motif_settings(name: str, given: Mapping[str, Any]) -> Any:  # noqa: ANN401
    """The motif's settings from its preset and the options given."""
    from carvegen.base.parameters import parameters
    from carvegen.motifs import motif as module_of

    module = module_of(name)
    own = {its.name: given[its.name] for its in parameters(module.Settings) if given[its.name] is not None}
    return module.Settings(**{**module.PRESETS[given["preset"]], **own})
