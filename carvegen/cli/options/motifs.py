"""Options for what grows: every setting of a motif, and its presets."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import click

from carvegen.base.errors import InputError
from carvegen.base.parameters import parameters, successors
from carvegen.cli.options.values import OneOf, Option, option_of, read_as, under
from carvegen.motifs import motif as module_of

__all__ = ["motif", "motif_settings"]


def motif(name: str, *, presets: str) -> Option:
    """Options for every setting of a motif, and one named `presets` for its presets."""
    known = module_of(name)
    options = [
        click.option(
            f"--{presets}",
            "preset",
            type=OneOf(list(known.PRESETS)),
            default=next(iter(known.PRESETS)),
            show_default=True,
            help="A name for settings that belong together; those that you give below change it.",
        )
    ]
    options += [
        click.option(
            option_of(setting.name),
            setting.name,
            help=f"{setting.help[0].upper()}{setting.help[1:]}.",
            **read_as(setting),
        )
        for setting in parameters(known.Settings)
    ]
    options += [_gone(option_of(name), later) for name, later in successors(known.Settings).items()]
    return under("What it looks like", *options)


def _gone(option: str, later: str) -> Option:
    """An option that lost its meaning: refused with the name of the one to use instead."""

    def refuse(ctx: click.Context, param: click.Parameter, value: object) -> None:
        if value is not None:
            hint = f"use {option_of(later)}"
            raise InputError("is no setting of this motif any more", value=value, where=option, hint=hint)

    return click.option(option, hidden=True, expose_value=False, callback=refuse)


def motif_settings(name: str, args: Mapping[str, Any]) -> Any:  # noqa: ANN401
    """The motif's settings from its preset and the options given."""
    module = module_of(name)
    own = {
        setting.name: args[setting.name] for setting in parameters(module.Settings) if args[setting.name] is not None
    }
    return module.Settings(**{**module.PRESETS[args["preset"]], **own})
