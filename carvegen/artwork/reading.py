"""Files to artwork: the reader for each kind of file."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from carvegen.artwork import bounds
from carvegen.artwork.drawing import Artwork, Wanted
from carvegen.artwork.kinds import (
    PICTURE,
    drawing_bytes,
    is_there,
    kind_of,
)
from carvegen.base.errors import InputError
from carvegen.base.units import MM_PER

__all__ = ["file_and_layer", "read"]


def read(
    path: Path, *, units: str | None = None, scale: float = 1.0, outlines: bool | None = None,
    without: Iterable[str] = (), beside: Iterable[str] = (), tolerance_mm: float = bounds.TOLERANCE_MM,
    by_colour: bool = False,
) -> Artwork:  # fmt: skip
    """The artwork in a file: closed, valid polygons at true size.

    Parameters
    ----------
    path
        An SVG or DXF file, or a picture made of dots, whose dark parts are traced; its content decides, not its name.
        ``FILE#LAYER`` picks one layer.
    units
        What a bare number in the file means: mm, cm, in or pt; by default what the file says.
    scale
        Enlarges everything, the page too, before curves are made straight pieces and points are put on the grid.
    outlines
        Whether a closed hairline without a fill stands for the shape that it encloses, as in a machine's file; in
        DXF every outline does. None: where the file says from which side it shows the block, as all of ours do.
    without
        Layers that are left out; names are compared by `plain_name`.
    beside
        Layers that are read along with the one that ``FILE#LAYER`` picks.
    tolerance_mm
        How far the straight pieces may lie from the curves that they stand for.
    by_colour
        Whether a layer of an SVG that is drawn in several colours is parted by them.

    Raises
    ------
    InputError
        If it is not there, is no drawing, is broken, or holds what can't be turned into shapes truly.
    """
    if units is not None and units not in MM_PER:
        raise InputError("is no unit", value=units, where="units", hint=f"known units: {', '.join(sorted(MM_PER))}")
    path, layer = file_and_layer(path)
    wanted = Wanted.of(
        outlines=outlines, without=without, asked=layer, beside=beside, tolerance_mm=tolerance_mm, by_colour=by_colour
    )  # fmt: skip
    try:
        return _read(path, units, scale, wanted)
    except InputError as error:
        raise error.within(str(path)) from None


def file_and_layer(path: Path) -> tuple[Path, str]:
    """What ``FILE#LAYER`` names; no layer if there is a file of the whole name, or nothing behind the #."""
    name, hash_, layer = str(path).rpartition("#")
    while hash_ and not is_there(path):
        if is_there(Path(name)) or "#" not in name:
            return Path(name), layer
        name, _, more = name.rpartition("#")
        layer = f"{more}#{layer}"
    return path, ""


def _read(path: Path, units: str | None, scale: float, wanted: Wanted) -> Artwork:
    data = drawing_bytes(path)
    kind = kind_of(data)
    if kind == PICTURE:
        from carvegen.artwork.scan.reader import as_artwork

        return as_artwork(data, scale)
    if kind == "SVG":
        from carvegen.artwork.svg import read_svg

        return _named(path, "SVG", read_svg(data, units=units, scale=scale, wanted=wanted))
    del data
    from carvegen.artwork.dxf import read_dxf

    return _named(path, "DXF", read_dxf(path, units=units, scale=scale, wanted=wanted))


def _named(path: Path, kind: str, artwork: Artwork) -> Artwork:
    """Say so if the file's name promises something else."""
    if path.suffix.lower() == f".{kind.lower()}":
        return artwork
    note = f"the file is named {path.suffix or 'without an ending'} but holds {kind}; it is read as {kind}"
    return replace(artwork, notes=(note, *artwork.notes))
