"""From pixels to millimetres: scale, tilt and which side is shown as one matrix; perspective is taken out before."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from PIL import Image

from carvegen.artwork.scan.pixels import MAX_PIXELS, ScanPicture
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from carvegen.artwork.drawing import Notes
    from carvegen.artwork.scan.description import Corners, ScanOptions
    from carvegen.geometry import Floats, PolygonArray

__all__ = [
    "UNSIZED_MM",
    "Frame",
    "framed",
    "homography",
    "mirrored",
    "placed",
    "plain",
    "rectified",
    "turned",
    "upright_corners",
    "wound_clockwise",
]

UNSIZED_MM = 1000.0  #: the longer side of a picture that has no true size
_GUESSES = (72.0, 96.0)  #: what programs and cameras write when nobody told them
_MIN_DPI, _MAX_DPI = 50.0, 4800.0
_LEAST_PX, _MOST_PX = 16, 30_000  # of a straightened picture's side
_RIM_PX = 2
_TWICE = 1.5  #: sides that differ more than a slanting view makes them


@dataclass(frozen=True, eq=False)
class Frame:
    """How pixels, y downwards, become millimetres, y upwards."""

    matrix: Floats  #: (3, 3), homogeneous
    width_mm: float
    height_mm: float
    pitch_mm: float  #: one pixel, about
    true_size: bool = True


def framed(picture: ScanPicture, options: ScanOptions, notes: Notes) -> Frame | None:
    """The frame that the options or the file give; None if the file says no size or none that can be true."""
    if options.points is not None:
        marked = options.points
        _check_inside((marked.one, marked.other), picture, "points")
        scale = marked.apart_mm / math.dist(marked.one, marked.other)
        notes.add(f"size by two marked points: {25.4 / scale:.1f} dots per inch")
        return plain(picture, scale, scale)
    if options.width_mm:
        scale = options.width_mm / picture.width
        notes.add(f"size by the picture's width of {options.width_mm:g} mm: {25.4 / scale:.1f} dots per inch")
        return plain(picture, scale, scale)
    if options.dpi is not None:
        notes.add(f"size by {options.dpi:g} dots per inch, as said")
        return plain(picture, 25.4 / options.dpi, 25.4 / options.dpi)
    return _by_file(picture, notes)


def _by_file(picture: ScanPicture, notes: Notes) -> Frame | None:
    if picture.dpi is None:
        return None
    across, down = picture.dpi
    dots = f"{round(across, 1):g}" if abs(across - down) < 0.5 else f"{round(across, 1):g} x {round(down, 1):g}"
    if not all(_MIN_DPI <= dpi <= _MAX_DPI for dpi in picture.dpi) or not 0.5 <= across / down <= 2:
        notes.add(f"the file says {dots} dots per inch, which can't be; it is not followed")
        return None
    if all(any(abs(dpi - guess) < 0.5 for guess in _GUESSES) for dpi in picture.dpi):
        notes.add(f"the file says {dots} dots per inch, as programs do that know nothing; it is not followed")
        return None
    notes.add(f"size by the file's {dots} dots per inch")
    return plain(picture, 25.4 / across, 25.4 / down)


def plain(picture: ScanPicture, across: float, down: float) -> Frame:
    """A frame without tilt or perspective; millimetres in a pixel across and down."""
    width, height = picture.width * across, picture.height * down
    matrix = np.array([[across, 0, 0], [0, -down, height], [0, 0, 1.0]])
    return Frame(matrix, width, height, math.sqrt(across * down))


def upright_corners(corners: Corners, picture: ScanPicture) -> Floats:
    """Upper left, upper right, lower right, lower left; (4, 2).

    Raises
    ------
    InputError
        If they are not the corners of one convex shape within the picture.
    """
    _check_inside(corners, picture, "corners")
    xy = np.asarray(corners, dtype=np.float64)
    around, turn = wound_clockwise(xy)
    if (turn <= 0).any() or shapely.Polygon(around).area < 1e-3 * math.prod(picture.file_px):
        raise InputError(
            "must be the four corners of one block", value=_listed(xy), field="corners", hint="mark them again"
        )
    return np.roll(around, -int(np.argmin(around.sum(axis=1))), axis=0)


def wound_clockwise(xy: Floats) -> tuple[Floats, Floats]:
    """Points in the order in which they lie round their middle, clockwise in a picture, and how each corner turns.

    A turn is the cross product of both sides, pixels squared: above 0 at every corner of a convex shape.
    """
    out = xy - xy.mean(axis=0)
    around = xy[np.argsort(np.arctan2(out[:, 1], out[:, 0]))]
    side = np.roll(around, -1, axis=0) - around
    return around, side[:, 0] * np.roll(side, -1, axis=0)[:, 1] - side[:, 1] * np.roll(side, -1, axis=0)[:, 0]


def rectified(picture: ScanPicture, corners: Floats, size_mm: tuple[float, float], notes: Notes) -> ScanPicture:
    """The picture between four points, upper left first and clockwise, seen straight on; it has no resolution.

    What lies outside is gone. The outermost pixels, where the block's edge is blurred with what is behind it, are
    those just inside once more.
    """
    _check_sides(corners, size_mm)
    side = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    width, height = (int(np.clip(np.ceil(max(side[k], side[k + 2])), _LEAST_PX, _MOST_PX)) for k in (0, 1))
    _check_pixels(width * height)
    seen = _between(picture.image, corners, (width, height), Image.Resampling.BICUBIC)
    hues = picture.hues and _between(picture.hues, corners * picture.hues.width / picture.width, picture.hues.size)
    notes.add(f"straightened by its four corners to {size_mm[0]:g} × {size_mm[1]:g} mm; what lies outside is left out")
    inner = np.asarray(seen)[_RIM_PX:-_RIM_PX, _RIM_PX:-_RIM_PX]
    rims = [(_RIM_PX, _RIM_PX)] * 2 + [(0, 0)] * (inner.ndim - 2)
    return ScanPicture(Image.fromarray(np.pad(inner, rims, mode="edge")), None, hues=hues)


def _between(
    image: Image.Image, corners: Floats, size: tuple[int, int], filter_: Image.Resampling = Image.Resampling.NEAREST
) -> Image.Image:
    """What lies between four points, seen straight on, with so many pixels."""
    target = np.array([[0, 0], [size[0], 0], size, [0, size[1]]], dtype=np.float64)
    matrix = homography(target, corners)
    return image.transform(size, Image.Transform.PERSPECTIVE, tuple(matrix.ravel()[:8]), filter_)


def homography(points: Floats, others: Floats) -> Floats:
    """The matrix that takes four points to four others; (3, 3), homogeneous.

    It solves eight linear equations, two for each point (source: hartley-zisserman).
    """
    (x, y), (u, v) = points.T, others.T
    zero, one = np.zeros(4), np.ones(4)
    rows = np.vstack(
        [
            np.column_stack([x, y, one, zero, zero, zero, -u * x, -u * y]),
            np.column_stack([zero, zero, zero, x, y, one, -v * x, -v * y]),
        ]
    )
    return np.append(np.linalg.solve(rows, np.concatenate([u, v])), 1.0).reshape(3, 3)


def _check_pixels(count: int) -> None:
    if count > MAX_PIXELS:
        raise InputError("are so far apart that the straightened picture is too large", field="corners")


def _check_sides(corners: Floats, size_mm: tuple[float, float]) -> None:
    side = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    seen = float((side[0] + side[2]) / (side[1] + side[3]))
    wanted = size_mm[0] / size_mm[1]
    if not 1 / _TWICE < seen / wanted < _TWICE:
        raise InputError(
            f"does not fit the corners: there the width is {seen:.2f} times the height, here {wanted:.2f} times",
            value=f"{size_mm[0]:g}x{size_mm[1]:g}",
            field="size_mm",
            hint=f"is it {size_mm[1]:g}x{size_mm[0]:g}? Else mark the corners again",
        )


def turned(frame: Frame, by_deg: float) -> Frame:
    """The frame turned counter-clockwise about its middle."""
    cos, sin = math.cos(math.radians(by_deg)), math.sin(math.radians(by_deg))
    x, y = frame.width_mm / 2, frame.height_mm / 2
    turn = np.array([[cos, -sin, x - cos * x + sin * y], [sin, cos, y - sin * x - cos * y], [0, 0, 1]])
    return replace(frame, matrix=turn @ frame.matrix)


def mirrored(frame: Frame) -> Frame:
    """The frame as the paper shows a block that was pictured itself."""
    return replace(frame, matrix=np.array([[-1, 0, frame.width_mm], [0, 1, 0], [0, 0, 1.0]]) @ frame.matrix)


def placed(shapes: PolygonArray, frame: Frame) -> PolygonArray:
    """Shapes in pixels to millimetres."""
    if len(shapes) == 0:
        return shapes
    return np.asarray(shapely.transform(shapes, lambda xy: _mapped(frame.matrix, xy)), dtype=object)


def _mapped(matrix: Floats, xy: Floats) -> Floats:
    return np.asarray(xy @ matrix[:2, :2].T + matrix[:2, 2])


def _check_inside(points: tuple[tuple[float, float], ...], picture: ScanPicture, field: str) -> None:
    width, height = picture.file_px
    room = 0.02 * max(width, height)
    for x, y in points:
        if not (-room <= x <= width + room and -room <= y <= height + room):
            raise InputError(
                f"must lie in the picture, which is {width} x {height} pixels",
                value=f"{x:g} {y:g}",
                field=field,
                hint="count pixels from the upper left corner",
            )


def _listed(xy: Floats) -> str:
    return " ".join(f"{value:g}" for value in xy.ravel())
