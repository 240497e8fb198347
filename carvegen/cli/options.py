"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from carvegen.profiles import Library

__all__ = ["as_json", "library", "profile_folders"]

#: ``--profiles DIR``, as often as wanted: passes `folders`.
profile_folders = click.option(
    "--profiles", "folders", metavar="DIR", multiple=True, type=click.Path(path_type=Path),
    help="Folder with profiles of your own; may be given more than once, the last one wins.",
)  # fmt: skip

#: ``--json``: passes `as_json`.
as_json = click.option("--json", "as_json", is_flag=True, help="Write JSON instead of text.")


def library(folders: Sequence[Path] = ()) -> Library:
    """The shipped profiles, those in the user's own configuration folder, and those in `folders`."""
    import platformdirs

    from carvegen.profiles import Library

    own = platformdirs.user_config_path("carvegen") / "profiles"
    return Library([own, *folders] if own.is_dir() else folders)
