"""Options for shapes on a block: its size, drawings and scans, what stays land and what is cut out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from carvegen.base.errors import InputError
from carvegen.base.parameters import parameters
from carvegen.base.units import MM_PER
from carvegen.facts.block_settings import Free
from carvegen.interfaces.cli.options.option_values import (
    BLOCK_SIZE,
    SIZE,
    OneOf,
    Option,
    Read,
    declared,
    joined,
    under,
)  # fmt: skip
from carvegen.interfaces.cli.options.setup import library
from carvegen.interfaces.cli.options.telling import keep_notes
from carvegen.motifs import motif

if TYPE_CHECKING:
    from carvegen.artwork import Artwork
    from carvegen.blocks.from_motif import Ground
    from carvegen.blocks.views import View
    from carvegen.geometry import PolygonArray

__all__ = [
    "block_size", "by_corners", "check_picture", "corners", "drawing", "face_size", "ground", "ink_options",
    "inks_of", "placed", "places", "true_size", "units", "view",
]  # fmt: skip

#: ``--size``: passes `size` in mm.
block_size = click.option(
    "--size", required=True, type=BLOCK_SIZE, help="Width x height of the block, such as 200x150 or 8x6in."
)

#: ``--size`` where the drawing may give it: passes `size` in mm, or None.
face_size = click.option(
    "--size", type=BLOCK_SIZE, help="Width x height of the block, if no layer BLOCK EDGE gives it."
)

#: ``--size`` of what lies between four corners: passes `size_mm`, or None.
true_size = click.option("--size", "size_mm", type=SIZE, help="Scan: how far apart the corners are: 200x150.")


def places(name: str) -> Option:
    """Options for what stays land and what is cut out, where the motif `name` grows."""
    goes_behind = any(setting.name == "hidden" for setting in parameters(motif(name).Settings))
    free = [
        replace(setting, default=0.0) if goes_behind and setting.name == "clearance_mm" else setting
        for setting in parameters(Free)
    ]
    return under(
        "Where it grows, and where not",
        click.option(
            "--keep-clear",
            multiple=True,
            metavar="SHAPE",
            help='A drawing that stays free of the motif: FILE, "FILE at X Y width W", or "circle X Y R". '
            'Y counts up from the lower edge; write "circle X Y R from top" to count down from the upper one.',
        ),
        click.option(
            "--opening",
            multiple=True,
            metavar="SHAPE",
            help='Cut through the whole block, as for an embossed shape: "circle X Y R", "box X Y W H" or FILE. '
            'X counts from the left, Y up from the lower edge, or down from the upper one: "box X Y W H from top".',
        ),
        *map(declared, free),
        click.option(
            "--mask",
            metavar="PICTURE",
            help="Where the motif is thick: a grey picture over the face (white: all, black: none), or a SHAPE.",
        ),
        click.option("--prints", is_flag=True, help="The motif prints, as in white ink: all else is cut away."),
    )


#: ``--units`` of a drawing.
units = click.option("--units", type=OneOf(list(MM_PER)), help="What a number in a drawing means, if it does not say.")

#: How a drawing is read: passes `view` and `units`.
drawing = under(
    "The drawing",
    click.option(
        "--view",
        type=OneOf(["print", "block"]),
        help="From which side the drawing shows the block: as the paper will show it, or mirrored, as the block lies.  "
        "[default: what the file says of itself, or else print]",
    ),
    units,
)


def ground(name: str, args: Mapping[str, Any], *, sources: Sequence[str] = ()) -> Ground:
    """The face with what is kept clear and cut out, and what the motif grows from, read from the drawings."""
    from carvegen import geometry
    from carvegen.artwork.density import density_of
    from carvegen.blocks.from_motif import Ground

    width, height = args["size"]
    shapes = {option: [placed(text, args) for text in args[option]] for option in ("keep_clear", "opening")}
    return Ground(
        name=name,
        width_mm=width,
        height_mm=height,
        keep_clear=geometry.stack(shapes["keep_clear"]),
        openings=geometry.stack(shapes["opening"]),
        grow_from=geometry.stack(placed(text, args) for text in sources),
        density=density_of(args["mask"], lambda text: placed(text, args), (width, height)) if args["mask"] else None,
        prints=args["prints"],
        margin_mm=args["margin_mm"],
        clearance_mm=args["clearance_mm"],
    )


def placed(text: str, args: Mapping[str, Any]) -> PolygonArray:
    """The shapes that lie on the block; what was changed on the way is told, or kept for JSON."""
    from carvegen.artwork.place import place

    width, height = args["size"]
    result = place(text, width_mm=width, height_mm=height)
    keep_notes([f"{text}: {note}" for note in result.notes])
    keep_notes([f"{text}: {warning}" for warning in result.warnings], mark="WARNING")
    return result.shapes


def view(args: Mapping[str, Any]) -> View | None:
    """From which side a drawing is said to show the block; None if the file is to say it."""
    from carvegen.blocks.views import View

    return View(args["view"]) if args["view"] else None


def check_picture(picture: Path | None, file: Path) -> None:
    """Refuse a picture of no known kind, or one that would overwrite the drawing."""
    if picture is None:
        return
    if picture.suffix.lower() not in (".png", ".svg"):
        raise InputError("must end in .png or .svg", value=str(picture), where="--picture")
    if picture.resolve() == file.resolve():
        raise InputError("must not overwrite the drawing", value=str(picture), where="--picture")


#: ``--corners`` of a scan: passes `corners`.
corners = click.option(
    "--corners",
    type=Read("CORNERS", "corners_from", "artwork.scan"),
    help='Scan: the block\'s corners or four marks, in pixels: "90 80 2400 95 2390 1800 85 1790", or "auto".',
)

#: ``--inks`` and ``--print``.
ink_options = joined(
    click.option(
        "--inks",
        type=Read("INKS", "inks_of", "artwork.scan"),
        help='Scan: inks to tell apart, from dark to light: how many, or their names: "key,tone,ground"; or, in '
        'printing order with colour and opacity, inks that lie over one another: "sky=#a9bfcb 0.2, key=#1f2b3d 0.7".',
    ),
    click.option(
        "--print", "print_file", metavar="PRINT.toml", type=click.Path(path_type=Path),
        help="Scan: of a finished print: its inks and paper by the print file.",
    ),
)  # fmt: skip


def inks_of(inks: dict[str, Any] | None, print_file: Path | None) -> dict[str, Any]:
    """Names, colours and paper of the inks, as far as they are given."""
    if print_file is None:
        return inks or {}
    from carvegen.prints.file.print_file import read_print

    print_ = read_print(print_file, library())
    blocks = [block for block in print_.blocks if block.inked and block.ink is not None]
    coats = tuple(block.ink for block in blocks)
    return {"inks": tuple(block.name for block in blocks), "coats": coats, "paper": print_.paper}


def by_corners(file: Path, chosen: dict[str, Any]) -> Artwork:
    """A scan by the block's corners: looked for if none are given, and asked for with a picture to read them off."""
    from carvegen.artwork.drawing import Notes
    from carvegen.artwork.kinds import picture_bytes
    from carvegen.artwork.scan import ScanOptions, read_scan
    from carvegen.artwork.scan.pixels import opened
    from carvegen.base.files import save_file
    from carvegen.writers.whole_print.ringed_png import ruled_png

    try:
        return read_scan(file, ScanOptions(**{"corners": "auto", **chosen}))
    except InputError as error:
        if error.fields in (("corners",), ("size_mm",)) and not isinstance(chosen.get("corners"), tuple):
            ruled = Path(f"{file.stem}-corners.png")
            save_file(ruled, ruled_png(opened(picture_bytes(file), Notes())))
            error.hint = f"read the corners off {ruled}, which counts the pixels, and {error.hint_template}"
        raise
