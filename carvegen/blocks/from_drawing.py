"""A block from a drawing: which layer gives the face, what is cut, what is left out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork import Artwork, plain_name, read
from carvegen.artwork.reading import file_and_layer
from carvegen.base.errors import InputError
from carvegen.base.words import shortened
from carvegen.blocks.block import Block, check_size
from carvegen.blocks.layer_names import (
    BLOCK_EDGE,
    BOARD_EDGE,
    CUT_AREA,
    CUT_OUT,
    FINDING,
    FREE_FRINGE,
    KEEP_CLEAR,
    NOTES,
    REGISTER,
    REGISTER_STOP,
)
from carvegen.blocks.views import View, seen

if TYPE_CHECKING:
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import PolygonArray

__all__ = ["LEFT_OUT", "Drawn", "drawn_block", "drawn_land", "in_several_inks", "shows_cuts"]

#: Layers of a drawing that are not looked at; names are compared by their letters only.
LEFT_OUT = (REGISTER, REGISTER_STOP, BOARD_EDGE, NOTES, FINDING, KEEP_CLEAR)

#: Layers by which a drawing is told for one of a block's cuts, as every written file is; others may show what stands.
_OF_CUTS = frozenset(map(plain_name, (BLOCK_EDGE, CUT_AREA, CUT_OUT)))

FIXED = "FIXED"  #: a layer of cuts that mending leaves alone
_AS_CUTS = (
    "WARNING: it was read from a picture: what is dark there is taken as cut; a block's own picture shows what stands"
)
_FACES = (BLOCK_EDGE, "LAND")  #: layers that give the face, the stronger first; a proof has a LAND
_OF_A_BLOCK = frozenset(map(plain_name, (*_FACES, CUT_AREA, CUT_OUT, FIXED, FREE_FRINGE)))
_WHITE = "#ffffff"
_SAME_MM = 0.05  #: two sizes that differ by no more are the same
_NAME = 60  #: letters of a file's name that a block takes over
_LITTLE = 1e-4  #: share of an area that rounding may take away


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawn:
    """The block, and everything that was changed, left out or guessed."""

    block: Block
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class _Face:
    corner: tuple[float, float]  #: lower left, in the drawing
    size: tuple[float, float]
    named_by: str  #: the layer or page; empty for the size that was asked for
    note: str = ""


def drawn_block(
    path: Path, *, size_mm: tuple[float, float] | None = None, view: View | None = None, units: str | None = None
) -> Drawn:
    """The block that a drawing of closed shapes shows, in print view.

    The layer BLOCK EDGE gives the face; without one `size_mm` does, with its lower left corner at that of the
    page or, in a DXF, at the origin; without either the page is the face. Shapes on CUT-OUT are cut out, and
    all others, but those of `LEFT_OUT`, are cut. A closed hairline without a fill stands for the shape that it
    encloses.

    Parameters
    ----------
    path
        The drawing; ``FILE#LAYER`` picks one layer of cuts, and the layer that gives the face beside it.
    view
        From which side the drawing shows the block; from the block side it is mirrored. By default what the
        file's words say, as every written file has them; without any, print view.
    units
        What a bare number in the file means, if the file doesn't say.

    Raises
    ------
    InputError
        If the drawing can't be read or says no size, or nothing lies on the face.
    """
    artwork = read(path, units=units, outlines=True, without=LEFT_OUT, beside=_FACES)
    try:
        return _drawn(shortened(file_and_layer(path)[0].stem, _NAME), artwork, size_mm, view)
    except InputError as error:
        raise error.within(str(path)) from None


def shows_cuts(artwork: Artwork) -> bool:
    """Whether a drawing's layers say that it shows a block's cuts, as every written file's do."""
    return not _OF_CUTS.isdisjoint(map(plain_name, artwork.layers))


def in_several_inks(path: Path, *, units: str | None = None) -> bool:
    """Whether a drawing has several layers or colours, as one of inks has, and none of them says that it is a block's.

    White beside another colour is paper. ``FILE#LAYER`` and `units` are as for `drawn_block`. False, too, where
    colours hide one another too often to be told apart.
    """
    try:
        artwork = read(path, units=units, outlines=True, without=LEFT_OUT, beside=_FACES, by_colour=True)
    except InputError:
        return False
    inked = [layer for layer, shapes in artwork.layers.items() if len(shapes) and artwork.colours.get(layer) != _WHITE]
    return len(inked) > 1 and _OF_A_BLOCK.isdisjoint(map(plain_name, artwork.layers))


def drawn_land(path: Path, *, view: View | None = None) -> tuple[BaseGeometry, tuple[float, float]]:
    """What stands by a drawing, in print view, and width and height of its face, mm.

    That is what its cuts leave; of a drawing that was read from a picture, and names no cuts, what it fills.

    Raises
    ------
    InputError
        As for `drawn_block`.
    """
    artwork = read(path, outlines=True, without=LEFT_OUT)
    if not _of_a_picture(artwork):
        block = drawn_block(path, view=view).block
        return block.land, (block.width_mm, block.height_mm)
    try:
        _check(artwork)
        face = _face(artwork, None)
        check_size(*face.size, where=face.named_by)
        stands, _ = _on_face(artwork.shapes, face, "land")
    except InputError as error:
        raise error.within(str(path)) from None
    turned = _view(artwork, view)[0] is View.BLOCK
    return geometry.solid(geometry.mirrored(stands, face.size[0]) if turned else stands), face.size


def _of_a_picture(artwork: Artwork) -> bool:
    """Whether a drawing was read from a picture, and its layers name no cuts."""
    return bool(artwork.known_mm) and not shows_cuts(artwork)


def _check(artwork: Artwork) -> None:
    if artwork.new_cuts_only:
        raise InputError(
            "holds only what is new of a block that is cut already, not all of its cuts",
            hint="give the land of its build instead: lands/NAME.wkb",
        )
    if not artwork.true_size:
        raise InputError("does not say how large it is", hint="say what its numbers mean: {units} mm", names=("units",))


def _drawn(name: str, artwork: Artwork, size_mm: tuple[float, float] | None, view: View | None) -> Drawn:
    _check(artwork)
    side, view_note = _view(artwork, view)
    layers = set(map(plain_name, artwork.layers))
    gives = next((layer for layer in _FACES if plain_name(layer) in layers), "")
    face = _from_edge(gives, artwork, size_mm) if gives else _face(artwork, size_mm)
    check_size(*face.size, where=face.named_by, field="" if face.named_by else "size_mm")
    gone = _layers(artwork, {plain_name(CUT_OUT)})
    stay, _ = _on_face(_layers(artwork, {plain_name(FIXED)}), face, "fixed cuts")
    cut = _layers(artwork, layers - set(map(plain_name, (CUT_OUT, FIXED, FREE_FRINGE, *_FACES))))
    free, _ = _on_face(_layers(artwork, {plain_name(FREE_FRINGE)}), face, "free fringe")
    cut_outs, out_notes = _on_face(gone, face, "cut-outs")
    cuts, cut_notes = _on_face(cut, face, "cuts", own=bool(artwork.says_view))
    if len(cuts) + len(stay) + len(cut_outs) == 0:
        raise _nothing(cut, gone, face)
    cuts, both = _apart(cuts, cut_outs)
    cuts, _ = _apart(cuts, stay)
    block = Block(
        name=name,
        width_mm=face.size[0],
        height_mm=face.size[1],
        cuts=np.concatenate([stay, cuts]),
        cut_outs=cut_outs,
        free=free,
        fixed=frozenset(range(len(stay))),
    )
    seen = _AS_CUTS if _of_a_picture(artwork) else ""
    notes = (*artwork.notes, view_note, seen, face.note, *out_notes, *cut_notes, both)
    return Drawn(block=_from(side, block), notes=tuple(filter(None, notes)))


def _view(artwork: Artwork, asked: View | None) -> tuple[View, str]:
    """The view that is asked for, or that the file's words tell; and what to say of it."""
    says = View(artwork.says_view) if artwork.says_view else None
    if asked is None:
        return says or View.PRINT, f"the file says that it is in {says.value} view, and is read so" if says else ""
    if says in (None, asked):
        return asked, ""
    return asked, f"WARNING: the file says that it is in {says.value} view; it is read in {asked.value} view, as asked"


def _face(artwork: Artwork, size_mm: tuple[float, float] | None) -> _Face:
    if size_mm is not None:
        return _Face(corner=(0.0, 0.0), size=size_mm, named_by="")
    if artwork.width_mm is None or artwork.height_mm is None:
        raise InputError(
            "does not say how large the block is",
            hint=f"give it: {{size_mm}} 200x150, or draw it on a layer {BLOCK_EDGE}",
            names=("size_mm",),
        )
    return _Face(
        corner=(0.0, 0.0),
        size=(artwork.width_mm, artwork.height_mm),
        named_by="the page",
        note="the page is taken as the block's face",
    )


def _from_edge(layer: str, artwork: Artwork, size_mm: tuple[float, float] | None) -> _Face:
    edge = _layers(artwork, {plain_name(layer)})
    x0, y0, x1, y1 = (round(float(side), 3) for side in shapely.total_bounds(edge))
    size = (round(x1 - x0, 3), round(y1 - y0, 3))
    note = ""
    if size_mm is not None and np.abs(np.subtract(size, size_mm)).max() > _SAME_MM:
        note = f"the layer {layer} says {size[0]:g} x {size[1]:g} mm; the size given is not followed"
    elif shapely.area(shapely.union_all(edge)) < (1 - _LITTLE) * size[0] * size[1]:
        note = f"the layer {layer} is no upright rectangle; the rectangle round it is taken"
    return _Face(corner=(x0, y0), size=size, named_by=f"layer {layer}", note=note)


def _layers(artwork: Artwork, names: set[str]) -> PolygonArray:
    return geometry.stack(shapes for layer, shapes in artwork.layers.items() if plain_name(layer) in names)


def _on_face(shapes: PolygonArray, face: _Face, what: str, *, own: bool = False) -> tuple[PolygonArray, list[str]]:
    """The shapes moved to the face's corner, clipped to it and joined; and what was done.

    Parameters
    ----------
    own
        They were written by us, and what lies beside the face is what is lowered of the waste.
    """
    if len(shapes) == 0:
        return shapes, []
    moved = geometry.moved(shapes, (-face.corner[0], -face.corner[1]))
    whole = geometry.joined(geometry.snapped(moved))
    inside = geometry.parts(shapely.intersection(whole, geometry.box(*face.size)))
    result = geometry.snapped(inside)
    notes = []
    drawn, joined, kept = (float(shapely.area(these).sum()) for these in (moved, whole, result))
    if drawn - joined > _LITTLE * drawn:
        notes.append(f"{what} that overlap are joined")
    if joined - kept > _LITTLE * joined:
        share = (joined - kept) / joined
        if own:
            return result, [*notes, "what is lowered in the waste beside the picture is left out"]
        notes.append(f"WARNING: {share:.1%} of the {what} lies past the block's edge and is cut off")
    return result, notes


def _apart(cuts: PolygonArray, cut_outs: PolygonArray) -> tuple[PolygonArray, str]:
    """The cuts without what is cut out."""
    if len(cuts) == 0 or len(cut_outs) == 0:
        return cuts, ""
    left = geometry.snapped(geometry.parts(shapely.difference(cuts, shapely.union_all(cut_outs))))
    lost = float(shapely.area(cuts).sum() - shapely.area(left).sum())
    return left, "cuts that lie on cut-outs are taken as cut out" if lost > _LITTLE else ""


def _from(view: View, block: Block) -> Block:
    if view is View.PRINT:
        return block
    mirrored = seen(block, View.BLOCK)
    return replace(block, cuts=mirrored.cuts, cut_outs=mirrored.cut_outs, free=mirrored.free)


def _nothing(cut: PolygonArray, gone: PolygonArray, face: _Face) -> InputError:
    size = f"{face.size[0]:g} x {face.size[1]:g} mm"
    shapes = geometry.stack([cut, gone])
    if len(shapes) == 0:
        return InputError("holds nothing to cut", hint=f"layers left out: {', '.join(sorted(LEFT_OUT))}")
    x0, y0, x1, y1 = shapely.total_bounds(shapes)
    x, y = face.corner
    return InputError(
        f"has nothing on the block: that reaches from {x:g}, {y:g} to {x + face.size[0]:g}, {y + face.size[1]:g} mm "
        f"({size}, from {face.named_by or '{size_mm}'}), and the shapes from {x0:.1f}, {y0:.1f} to "
        f"{x1:.1f}, {y1:.1f} mm",
        hint=f"move the shapes, or draw the block on a layer {BLOCK_EDGE}",
        names=("size_mm",),
    )
