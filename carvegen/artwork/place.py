"""Where artwork lies on a block: words or a file, moved, scaled, and cut off at the block's edge."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork import kinds, reading
from carvegen.artwork.shapes import is_shape, shape
from carvegen.base.errors import InputError
from carvegen.base.units import length_mm

if TYPE_CHECKING:
    from carvegen.artwork.drawing import Artwork
    from carvegen.geometry import PolygonArray

__all__ = ["Placement", "place", "placed"]

_AT = re.compile(r"(.*\S)\s+(at)\s+([^\s,]+)[\s,]+([^\s,]+?)(\s+from\s+top)?", re.DOTALL | re.IGNORECASE)
_FROM_TOP = re.compile(r"(.*\S)\s+from\s+top\s*", re.DOTALL | re.IGNORECASE)
_BEHIND = re.compile(r"(.*?\.\w+(?:#\S+)?)\s+(\S.*)", re.DOTALL)
_WORDS = "FILE, 'FILE at X Y', 'FILE at X Y from top', 'FILE width W', 'FILE height H', or 'FILE at X Y width W'"
_SAME_MM = 0.5  #: a page that differs from the block by no more was drawn for it
_SIZE = re.compile(r"(.*\S)\s+(width|height)\s+(\S+)", re.DOTALL | re.IGNORECASE)


@dataclass(frozen=True, eq=False)
class Placement:
    """Shapes on the block, print view, disjoint; where they lie and what was changed; what is likely a mistake."""

    shapes: PolygonArray
    notes: tuple[str, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class _Wish:
    """What the words behind a file's name ask for."""

    path: Path
    at: tuple[float, float] | None = None
    from_top: bool = False  #: Y counts down from the block's upper edge, to the upper edge of the shapes
    width: float | None = None
    height: float | None = None


def placed(text: str, *, width_mm: float, height_mm: float, units: str | None = None) -> PolygonArray:
    """The shapes of `place`, without its notes."""
    return place(text, width_mm=width_mm, height_mm=height_mm, units=units).shapes


def place(text: str, *, width_mm: float, height_mm: float, units: str | None = None) -> Placement:
    """What lies on a block of this size: a shape in words, or ``FILE [at X Y [from top]] [width W | height H]``.

    Without `at` and a size the drawing's page lies on the block, lower left corner on lower left corner, at true
    size: blocks drawn in register stay so. With `at` the lower left corner of the drawing's own shapes goes to
    X Y; with a size the shapes as a whole are made that wide or high, at X Y or else at the block's corner.
    Y counts up from the block's lower edge; behind a shape in words or an `at`, "from top" makes it count down from
    the upper edge, to the middle of a circle, or to the upper left corner of a box or a drawing.

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
    if is_shape(text) and not kinds.is_there(Path(text)):
        return _on_face(geometry.polygon_array([_in_words(text, height_mm)]), face, text)
    wish = _wish(text)
    artwork, shapes = _from_file(wish, units, height_mm)
    on_face = _on_face(shapes, face, text)
    curves = f"its curves are made of straight pieces, at most {artwork.tolerance_mm:.2g} mm off"
    warnings = (*on_face.warnings, *_unlike(artwork, wish, width_mm, height_mm))
    return Placement(on_face.shapes, (*artwork.notes, *on_face.notes, curves), warnings)


def _unlike(artwork: Artwork, wish: _Wish, width_mm: float, height_mm: float) -> list[str]:
    """That a drawing laid on the block as it is was not drawn for a block of this size."""
    page = artwork.width_mm, artwork.height_mm
    if wish.at or wish.width or wish.height or None in page or np.allclose(page, (width_mm, height_mm), atol=_SAME_MM):  # type: ignore[arg-type]
        return []
    return [
        f"its page is {page[0]:g} x {page[1]:g} mm, but the block {width_mm:g} x {height_mm:g} mm: it lies in the "
        "lower left corner; say where it belongs ('FILE at X Y width W') if that is wrong"
    ]


def _on_face(shapes: PolygonArray, face: shapely.Polygon, text: str) -> Placement:
    left = geometry.parts(shapely.intersection(shapes, face)) if len(shapes) else shapes
    left = geometry.joined(geometry.snapped(left))
    size = f"{face.bounds[2]:g} x {face.bounds[3]:g} mm"
    x0, y0, x1, y1 = shapely.total_bounds(shapes)
    if len(left) == 0:
        raise InputError(
            f"lies beside the block ({size}): it reaches from {x0:.1f}, {y0:.1f} to {x1:.1f}, {y1:.1f} mm",
            where=text, hint="move it onto the block: 'FILE at X Y', in mm from its lower left corner",
        )  # fmt: skip
    if shapely.area(left).sum() >= face.area * (1 - 1e-6):
        raise InputError(
            f"leaves nothing of the block ({size}): it covers all of it", where=text,
            hint="remove the background from the drawing, or make it smaller: 'FILE width W'",
        )  # fmt: skip
    lost = 1 - float(shapely.area(left).sum() / shapely.area(shapes).sum())
    where = f"it is {x1 - x0:.1f} x {y1 - y0:.1f} mm and lies from {x0:.1f}, {y0:.1f} to {x1:.1f}, {y1:.1f} mm"
    past = f"{lost:.1%} of it lies past the edge of the block ({size}) and is cut off: {where}"
    return Placement(left, (where,), (past,) if lost > 1e-4 else ())


def _in_words(text: str, height_mm: float) -> shapely.Polygon:
    """A shape in words, turned over from top to bottom if its Y counts from the top."""
    top = _FROM_TOP.fullmatch(text)
    if top is None:
        return shape(text)
    return shapely.Polygon(shapely.get_coordinates(shape(top[1]))[::-1] * (1, -1) + (0, height_mm))


def _from_file(wish: _Wish, units: str | None, height_mm: float) -> tuple[Artwork, PolygonArray]:
    """The drawing, and its shapes where they are wanted."""
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
        return artwork, shapes
    x0, y0, _, y1 = shapely.total_bounds(shapes) * scale
    x, y = wish.at or (0.0, 0.0)
    y = height_mm - y - (y1 - y0) if wish.from_top else y
    return artwork, geometry.moved(shapes, (x - x0, y - y0), scale=scale)


def _scale(artwork: Artwork, wish: _Wish) -> float:
    x0, y0, x1, y1 = shapely.total_bounds(artwork.shapes)
    if wish.width is not None:
        return float(wish.width / (x1 - x0))
    return float(wish.height / (y1 - y0)) if wish.height is not None else 1.0


def _wish(text: str) -> _Wish:
    """Take the options off the end of `text`, until a file's name is left."""
    name, wishes, from_top = text.strip(), dict[str, tuple[float, ...]](), False
    while not kinds.is_there(Path(name)):
        match = _SIZE.fullmatch(name) or _AT.fullmatch(name)
        if match is None:
            break
        name, key, *values = match.groups()
        from_top |= len(values) == 3 and values.pop() is not None
        key = key.lower()
        if key in wishes:
            raise InputError(f"says {key!r} twice", value=text, hint=f"say {key} once")
        wishes[key] = tuple(_length(value, key, text) for value in values)
    if "width" in wishes and "height" in wishes:
        raise InputError("says both width and height", value=text, hint="say one: the other follows")
    if (behind := _BEHIND.fullmatch(name)) and not kinds.is_there(Path(name)) and kinds.is_there(Path(behind[1])):
        raise InputError(
            "has words behind the file's name that are not understood", value=behind[2], where=behind[1],
            hint=f"write {_WORDS}",
        )  # fmt: skip
    at_mm = wishes.get("at")
    return _Wish(
        path=Path(name), at=(at_mm[0], at_mm[1]) if at_mm else None, from_top=from_top,
        width=wishes.get("width", (None,))[0], height=wishes.get("height", (None,))[0],
    )  # fmt: skip


def _length(value: str, key: str, text: str) -> float:
    try:
        length = length_mm(value)
    except InputError as error:
        raise error.within(f"{text}: {key}") from None
    if key != "at" and length <= 0:
        raise InputError("must be larger than nothing", value=value, where=f"{text}: {key}", hint=f"{key} 80, say")
    return length
