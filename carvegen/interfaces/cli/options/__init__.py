"""Options that several commands share, and what becomes of them; each module holds those of one matter."""

from __future__ import annotations

from carvegen.interfaces.cli.options.block_shapes import (
    block_size,
    by_corners,
    check_picture,
    corners,
    drawing,
    face_size,
    ground,
    ink_options,
    inks_of,
    placed,
    places,
    true_size,
    units,
    view,
)
from carvegen.interfaces.cli.options.option_values import Command, OneOf, Read, joined, read_as
from carvegen.interfaces.cli.options.output import (
    figures,
    finish,
    jobs,
    mending,
    output,
    path_settings,
    paths,
    plain_output,
    processes,
    style,
    summary,
    tell_earlier,
    tell_findings,
)
from carvegen.interfaces.cli.options.setup import (
    bare_setup,
    kinds_of,
    library,
    motif,
    motif_settings,
    profile_folders,
    setup,
    setups,
)
from carvegen.interfaces.cli.options.telling import (
    as_json,
    doubts,
    keep_notes,
    look_first,
    quiet,
    tell_notes,
    teller,
    verbose,
)

__all__ = [
    "Command", "OneOf", "Read", "as_json", "bare_setup", "block_size", "by_corners", "check_picture", "corners",
    "doubts", "drawing", "face_size", "figures", "finish", "ground", "ink_options", "inks_of", "jobs", "joined",
    "keep_notes", "kinds_of", "library", "look_first", "mending", "motif", "motif_settings", "output",
    "path_settings", "paths", "placed", "places", "plain_output", "processes", "profile_folders", "quiet", "read_as",
    "setup", "setups", "style", "summary", "tell_earlier", "tell_findings", "tell_notes", "teller", "true_size",
    "units", "verbose", "view",
]  # fmt: skip
