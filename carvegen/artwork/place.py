"""Where artwork lies on a block: words or a file, moved, scaled, and cut off at the block's edge."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import shapely

from carvegen import geometry
from carvegen.artwork import reading
from carvegen.artwork.shapes import is_shape, shape
from carvegen.errors import InputError
from carvegen.units import length_mm

if TYPE_CHECKING:
    from carvegen.artwork.drawing import Artwork
    from carvegen.geometry import PolygonArray

__all__ = ["Placement", "place", "placed"]

_AT = re.compile(r"(.*\S)\s+(at)\s+([^\s,]+)[\s,]+([^\s,]+)", re.DOTALL | re.IGNORECASE)
_SIZE = re.compile(r"(.*\S)\s+(width|height)\s+(\S+)", re.DOTALL | re.IGNORECASE)


@dataclass(frozen=True, eq=False)
class Placement:
    """Shapes on the block, print view, disjoint; and what was changed on the way."""

    shapes: PolygonArray
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class _Wish:
    """What the words behind a file's name ask for."""

    path: Path
    at: tuple[float, float] | None = None
    width: float | None = None
    height: float | None = None


def placed(text: str, *, width_mm: float, height_mm: float, units: str | None = None) -> PolygonArray:
    """The shapes of `place`, without its notes."""
    return place(text, width_mm=width_mm, height_mm=height_mm, units=units).shapes


def place(text: str, *, width_mm: float, height_mm: float, units: str | None = None) -> Placement:
    """What lies on a block of this size: a shape in words, or ``FILE [at X Y] [width W | height H]``.

    Without `at` and a size the drawing's page lies on the block, lower left corner on lower left corner, at true
    size: blocks drawn in register stay so. With `at` the lower left corner of the drawing's own shapes goes to
    X Y; with a size the shapes as a whole are made that wide or high, at X Y or else at the block's corner.

    Parameters
    ----------
    text
        As above; a file's name may have blanks.
    width_mm, height_mm
        The block's face.
    units
        The unit of a file that says none.

    Raises
    ------
    InputError
        If it can't be read, has no size, lies beside the block, or leaves nothing of it.
    """
    face = geometry.box(width_mm, height_mm)
    if is_shape(text) and not Path(text).exists():
        return _on_face(geometry.polygon_array([shape(text)]), face, text, ())
    shapes, notes = _from_file(_wish(text), units)
    return _on_face(shapes, face, text, notes)


def _on_face(shapes: PolygonArray, face: shapely.Polygon, text: str, notes: tuple[str, ...]) -> Placement:
    found = geometry.parts(shapely.intersection(shapes, face)) if len(shapes) else shapes
    found = geometry.joined(geometry.snapped(found))
    size = f"{face.bounds[2]:g} x {face.bounds[3]:g} mm"
    x0, y0, x1, y1 = shapely.total_bounds(shapes)
    if len(found) == 0:
        raise InputError(
            f"lies beside the block ({size}): it reaches from {x0:.1f}, {y0:.1f} to {x1:.1f}, {y1:.1f} mm",
            where=text, hint="move it onto the block: 'FILE at X Y', in mm from its lower left corner",
        )  # fmt: skip
    if shapely.area(found).sum() >= face.area * (1 - 1e-6):
        raise InputError(
            f"leaves nothing of the block ({size}): it covers all of it", where=text,
            hint="remove the background from the drawing, or make it smaller: 'FILE width W'",
        )  # fmt: skip
    lost = 1 - float(shapely.area(found).sum() / shapely.area(shapes).sum())
    if lost > 1e-4:
        notes = (*notes, f"{lost:.1%} of it lies past the block's edge and is cut off")
    return Placement(found, notes)


def _from_file(wish: _Wish, units: str | None) -> tuple[PolygonArray, tuple[str, ...]]:
    artwork = reading.read(wish.path, units=units)
    sized = wish.width is not None or wish.height is not None
    if not artwork.true_size and not sized:
        raise InputError(
            "does not say how large it is", where=str(wish.path), hint=f"say its size: '{wish.path.name} width 80'"
        )
    shapes, scale = artwork.shapes, _scale(artwork, wish)
    if scale > 1:  # enlarged while it is read, so that its curves are as fine as any
        artwork = reading.read(wish.path, units=units, scale=scale)
        shapes, scale = artwork.shapes, 1.0
    if wish.at is None and not sized:
        return shapes, artwork.notes
    x0, y0 = shapely.total_bounds(shapes)[:2] * scale
    x, y = wish.at or (0.0, 0.0)
    return geometry.moved(shapes, (x - x0, y - y0), scale=scale), artwork.notes


def _scale(artwork: Artwork, wish: _Wish) -> float:
    x0, y0, x1, y1 = shapely.total_bounds(artwork.shapes)
    if wish.width is not None:
        return float(wish.width / (x1 - x0))
    return float(wish.height / (y1 - y0)) if wish.height is not None else 1.0


def _wish(text: str) -> _Wish:
    """Take the options off the end of `text`, until a file's name is left."""
    name, said = text.strip(), dict[str, tuple[float, ...]]()
    while not Path(name).exists():
        found = _SIZE.fullmatch(name) or _AT.fullmatch(name)
        if found is None:
            break
        name, key, *values = found.groups()
        key = key.lower()
        if key in said:
            raise InputError(f"says {key!r} twice", value=text, hint=f"say {key} once")
        said[key] = tuple(_length(value, key, text) for value in values)
    if "width" in said and "height" in said:
        raise InputError("says both width and height", value=text, hint="say one: the other follows")
    at_mm = said.get("at")
    return _Wish(
        path=Path(name), at=(at_mm[0], at_mm[1]) if at_mm else None,
        width=said.get("width", (None,))[0], height=said.get("height", (None,))[0],
    )  # fmt: skip


def _length(value: str, key: str, text: str) -> float:
    try:
        found = length_mm(value)
    except InputError as error:
        raise error.within(f"{text}: {key}") from None
    if key != "at" and found <= 0:
        raise InputError("must be larger than nothing", value=value, where=f"{text}: {key}", hint=f"{key} 80, say")
    return found
