"""Options for material, cutter and print, the setups that they make, and for the settings of what grows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from carvegen.base.errors import InputError
from carvegen.base.parameters import parameters, successors
from carvegen.facts.block_settings import Cutting, Inking
from carvegen.interfaces.cli.options.option_values import OneOf, Option, declared, option_of, read_as, under
from carvegen.motifs import motif as module_of

if TYPE_CHECKING:
    from carvegen.blocks.job import Setup
    from carvegen.facts.profiles import Library

__all__ = ["bare_setup", "kinds_of", "library", "motif", "motif_settings", "profile_folders", "setup", "setups"]

#: ``--profiles DIR``, as often as wanted: passes `folders`.
profile_folders = click.option(
    "--profiles",
    "folders",
    metavar="DIR",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Folder with profiles of your own; may be given more than once, the last one wins.",
)

#: Material, cutter, machines and how the block is cut.
bare_setup = under(
    "The block, and what cuts it",
    click.option(
        "--material",
        required=True,
        metavar="NAME",
        help="What the block is made of: carvegen profiles list, which says what no laser or router may meet.",
    ),
    click.option("--cutter", required=True, metavar="NAME", help="What cuts it: carvegen profiles list."),
    click.option(
        "--machine",
        "machines",
        metavar="NAME",
        multiple=True,
        help="Machine to use instead of the usual one of its kind.",
    ),
    *map(declared, parameters(Cutting)),
    profile_folders,
)

#: The same, and how it is inked and printed.
setup = under(
    "The block, and what cuts it",
    bare_setup,
    *map(declared, parameters(Inking)),
)


def setups(args: Mapping[str, Any], *, own_kind_only: bool = False) -> tuple[Setup, ...]:
    """The setups for which files are wanted, the named cutter's first; or that one alone."""
    from carvegen.blocks.job import setups_for
    from carvegen.facts.printing import Printing

    inking = {setting.name: args[setting.name] for setting in parameters(Inking) if setting.name in args}
    return setups_for(
        library(args["folders"]),
        material=args["material"],
        cutter=args["cutter"],
        machines=args["machines"],
        kinds=args.get("kinds", ()),
        printing=Printing(**inking),
        **{setting.name: args[setting.name] for setting in parameters(Cutting)},
        own_kind_only=own_kind_only,
    )


def kinds_of(machines: Sequence[str], folders: Sequence[Path]) -> list[str]:
    """The kinds of the machines that were named."""
    shelf = library(folders)
    return [shelf.machine(key).kind for key in machines]


def library(folders: Sequence[Path] = ()) -> Library:
    """The shipped profiles, those in the user's own configuration folder, and those in `folders`."""
    import platformdirs

    from carvegen.facts.profiles import Library

    own = platformdirs.user_config_path("carvegen") / "profiles"
    return Library([own, *folders] if own.is_dir() else folders)


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
