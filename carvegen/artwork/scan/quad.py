"""The block's corners found in a photograph: the largest four-sided patch, its sides fitted at sub-pixel position."""

from __future__ import annotations

from itertools import combinations, pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely
from PIL import Image
from scipy.ndimage import binary_closing, binary_fill_holes, find_objects, gaussian_filter, label, map_coordinates

from carvegen.artwork.scan.tone import counted, otsu
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.artwork.scan.pixels import Bytes, ScanPicture
    from carvegen.geometry import Floats, Mask

__all__ = ["block_corners", "quads"]

_LOOK_AT = 800  # pixels along the longer side of the reduced picture
_LEAST_AREA = 0.05  # of the picture
_FOUR_SIDED = 0.95  # share of its hull that four corners must hold
_MOST_CORNERS = 12  # of a hull, of which four are chosen
_SAMPLES = 160  # places at which a side is measured
_ENDS = 0.06  # of a side, left out at each end: corners are rounded
_LEAST_STEP = 8.0  # of 255, across an edge
_GLARES, _LEAST_GLARE = 250, 0.002  #: of 255; a share of the picture; our own choice
_EQUAL, _LEAST_MIDDLE = 0.5, 0.05  #: a drawn picture's share of neighbours that are equal (our proofs have 0.55 to 0.9,
#: with a camera's noise of one tone 0.25); of all neighbours, so many must be neither black nor white; our own choice
_SHARP, _FOLLOWED = 0.4, 0.5  #: of its step in the middle third: a ramp has 0.33; share of a side; our own choice


def block_corners(picture: ScanPicture) -> Floats:
    """Upper left, upper right, lower right, lower left, in pixels; (4, 2).

    Raises
    ------
    InputError
        If no four-sided patch stands out, or a side of the largest follows no edge of the picture: it glares there.
    """
    tone, smaller = picture.tone, picture.smaller
    step = max(-(-max(tone.shape) // _LOOK_AT), 1)
    fours, reach = quads(tone), 2.0 * step + 4
    if not fours:
        raise _unmarked("finds no block whose four sides stand out from what is around it", tone, smaller)
    corners = _refined(tone, max(fours, key=lambda quad: shapely.Polygon(quad).area), reach)
    if any(_followed(tone, a, b, reach) < _FOLLOWED for a, b in pairwise([*corners, corners[0]])):
        what = "is not sure of the block's corners: a side between them follows no edge, as where it glares"
        raise _unmarked(what, tone, smaller)
    return corners


def _unmarked(what: str, tone: Bytes, smaller: float) -> InputError:
    hint, at = 'mark its corners, in pixels: {corners} "90 80 2400 95 2390 1800 85 1790"', _glare_at(tone, smaller)
    names: tuple[str, ...] = ("corners",)
    if at is not None:
        what += f"; it glares about x {at[0]}, y {at[1]} pixels"
        hint += "; or photograph it again, lit from the side, so that nothing shines there"
    if _looks_drawn(tone):
        hint += "; if a program drew it, as a proof, say how wide it is instead: {width_mm} 200, without {size_mm}"
        names = ("corners", "width_mm", "size_mm")
    return InputError(what, field="corners", hint=hint, names=names)


def _looks_drawn(tone: Bytes) -> bool:
    """Whether neighbours are mostly equal, other than black and white ones: a camera's noise parts them."""
    middle = (tone < _GLARES) & (tone > 255 - _GLARES)
    across, down = middle[:, 1:] & middle[:, :-1], middle[1:] & middle[:-1]
    pairs = np.count_nonzero(across) + np.count_nonzero(down)
    equal = np.count_nonzero(across & (tone[:, 1:] == tone[:, :-1])) + np.count_nonzero(down & (tone[1:] == tone[:-1]))
    return bool(pairs > _LEAST_MIDDLE * 2 * tone.size and equal > _EQUAL * pairs)


def _glare_at(tone: Bytes, smaller: float) -> tuple[int, int] | None:
    """The middle of the largest spot in which a picture is as light as it can be, in its file's pixels; or None."""
    step = max(-(-max(tone.shape) // _LOOK_AT), 1)
    spots, count = label(tone[::step, ::step] >= _GLARES)
    if count == 0:
        return None
    largest = spots == 1 + np.bincount(spots.ravel())[1:].argmax()
    y, x = (round(float(np.median(places)) * step * smaller) for places in np.nonzero(largest))
    return (x, y) if largest.mean() > _LEAST_GLARE else None


def quads(tone: Bytes) -> list[Floats]:
    """Corners of four-sided patches that stand out, clockwise from the upper left, to a pixel or two; (4, 2) each."""
    step = max(-(-max(tone.shape) // _LOOK_AT), 1)
    small = np.asarray(Image.fromarray(tone).reduce(step)) if step > 1 else tone
    smooth = gaussian_filter(small, 1.0)
    counts = counted(smooth)
    level = otsu(counts).level
    dark, light = np.arange(len(counts)) <= level, np.arange(len(counts)) > level
    three = np.digitize(smooth, [otsu(counts * dark).level, level, otsu(counts * light).level])
    rim = np.concatenate([three[0], three[-1], three[:, 0], three[:, -1]])
    unlike_table = binary_closing(three != np.bincount(rim).argmax(), iterations=2)  # between dark and light: its tone
    masks = (smooth > level, smooth <= level, unlike_table, three == 0)  # the last: ink beside dark grain of a table
    fours = [four for mask in masks for four in _quads(mask) if not _is_frame(four, small.shape)]
    return [_clockwise(corners * step) for corners in fours]


def _quads(mask: Mask) -> Iterator[Floats]:
    """Four-sided patches of a mask."""
    marked, _ = label(mask)
    for k, place in enumerate(find_objects(marked), start=1):
        size = (place[0].stop - place[0].start) * (place[1].stop - place[1].start)
        if size >= _LEAST_AREA * mask.size:
            quad = _quad(binary_fill_holes(marked[place] == k), (place[1].start, place[0].start))
            if quad is not None and shapely.Polygon(quad).area >= _LEAST_AREA * mask.size:
                yield quad


def _quad(patch: Mask, at: tuple[int, int]) -> Floats | None:
    """Corners of the patch, if it has four; pixels of the reduced picture."""
    rows = np.flatnonzero(patch.any(axis=1))
    first, end = patch[rows].argmax(axis=1), patch.shape[1] - patch[rows, ::-1].argmax(axis=1)
    corners = np.concatenate([np.column_stack([x, rows + dy]) for x in (first, end) for dy in (0, 1)])
    hull = shapely.convex_hull(shapely.MultiPoint(corners))
    if not isinstance(hull, shapely.Polygon):
        return None
    ring, loose = np.asarray(hull.exterior.coords)[:-1], 1.0
    while len(ring) > _MOST_CORNERS:
        ring = np.asarray(shapely.simplify(hull, loose).exterior.coords)[:-1]
        loose *= 1.5
    if len(ring) < 4:
        return None
    fours = np.array([ring[list(four)] for four in combinations(range(len(ring)), 4)])
    areas = shapely.area(shapely.polygons(fours))
    if areas.max() < _FOUR_SIDED * hull.area:
        return None
    ring = fours[areas.argmax()]
    return np.asarray(ring + np.asarray(at, dtype=float))


def _is_frame(corners: Floats, shape: tuple[int, ...]) -> bool:
    """Whether it is the picture's own edge."""
    frame = np.array([[0, 0], [shape[1], 0], [shape[1], shape[0]], [0, shape[0]]])
    near = np.linalg.norm(corners[:, None] - frame, axis=2).min(axis=1) < 0.015 * max(shape)
    return bool(near.sum() > 1)


def _clockwise(corners: Floats) -> Floats:
    out = corners - corners.mean(axis=0)
    around = corners[np.argsort(np.arctan2(out[:, 1], out[:, 0]))]
    return np.roll(around, -int(np.argmin(around.sum(axis=1))), axis=0)


def _refined(tone: Bytes, corners: Floats, reach: float) -> Floats:
    """The corners where the lines through the sides meet."""
    sides = [_side(tone, a, b, reach) for a, b in pairwise([*corners, corners[0]])]
    refined = np.array([_meet(before, side) for before, side in zip([sides[-1], *sides], sides, strict=False)])
    return refined if np.linalg.norm(refined - corners, axis=1).max() <= 4 * reach else corners


def _followed(tone: Bytes, start: Floats, end: Floats, reach: float) -> float:
    """Share of a side along which the tone changes, and does so in a step there."""
    along = (end - start) / np.linalg.norm(end - start)
    offsets = np.array([-1, -1 / 3, 1 / 3, 1])[:, None] * reach + np.arange(-1, 2)
    places = _along(start, end)[:, None] + offsets.reshape(-1, 1) * np.array([-along[1], along[0]])
    seen = gaussian_filter(_tones(tone, places).reshape(_SAMPLES, 4, 3).mean(axis=2), (1, 0))
    near, far = np.abs(seen[:, 2] - seen[:, 1]), np.abs(seen[:, 3] - seen[:, 0])
    return float(((near > _LEAST_STEP) & (near > _SHARP * far)).mean())


def _along(start: Floats, end: Floats) -> Floats:
    return np.asarray(start + np.linspace(_ENDS, 1 - _ENDS, _SAMPLES)[:, None] * (end - start))


def _tones(tone: Bytes, xy: Floats) -> Floats:
    """Between pixels; as many as there are places, (n, k, 2)."""
    rows_columns = xy[..., ::-1].reshape(-1, 2).T - 0.5
    return np.asarray(map_coordinates(tone, rows_columns, order=1, mode="nearest", output=np.float32))


def _side(tone: Bytes, start: Floats, end: Floats, reach: float) -> tuple[Floats, Floats]:
    """A point and the direction of the line along a side, from where the tone is midway across it."""
    direction = (end - start) / np.linalg.norm(end - start)
    across = np.array([-direction[1], direction[0]])
    along = _along(start, end)
    for near in (reach, reach / 2 + 2):
        offsets = np.arange(-near, near + 0.25, 0.25)
        seen = _tones(tone, along[:, None] + offsets[:, None] * across)
        crossing = _crossings(gaussian_filter(seen.reshape(_SAMPLES, -1), (1, 2)), offsets)
        good = np.isfinite(crossing)
        if good.sum() < _SAMPLES / 4:
            return start, direction
        along = _straightened(along[good] + crossing[good, None] * across, len(along))
    middle = along.mean(axis=0)
    direction = along[-1] - along[0]
    return middle, direction / np.linalg.norm(direction)


def _crossings(profiles: Floats, offsets: Floats) -> Floats:
    """Where each profile crosses the tone midway between its ends; nan where the ends hardly differ."""
    ends = np.median(profiles[:, :4]), np.median(profiles[:, -4:])
    first, last = profiles[:, :4].mean(axis=1), profiles[:, -4:].mean(axis=1)
    level = (first + last)[:, None] / 2
    over = (profiles > level) != (first > last)[:, None]
    k = np.argmax(over, axis=1)
    row = np.arange(len(profiles))
    low, high = profiles[row, np.maximum(k - 1, 0)], profiles[row, k]
    share = np.divide(level[:, 0] - low, high - low, out=np.full(len(profiles), 0.5), where=np.abs(high - low) > 1e-6)
    clear = (np.abs(last - first) > abs(ends[1] - ends[0]) / 2) & (np.abs(last - first) > _LEAST_STEP) & (k > 0)
    return np.where(clear, offsets[np.maximum(k - 1, 0)] + share * (offsets[1] - offsets[0]), np.nan)


def _straightened(xy: Floats, count: int) -> Floats:
    """`count` places along the straight line that most of the points lie on."""
    kept = xy
    for _ in range(4):
        middle = kept.mean(axis=0)
        direction = np.linalg.svd(kept - middle, full_matrices=False)[2][0]
        off = np.abs((xy - middle) @ np.array([-direction[1], direction[0]]))
        kept = xy[off <= max(2.5 * float(np.median(off)), 0.3)]
    direction = direction if direction @ (xy[-1] - xy[0]) > 0 else -direction
    along = (xy - middle) @ direction
    return np.asarray(middle + np.linspace(along.min(), along.max(), count)[:, None] * direction)


def _meet(one: tuple[Floats, Floats], other: tuple[Floats, Floats]) -> Floats:
    directions = np.column_stack([one[1], -other[1]])
    if abs(np.linalg.det(directions)) < 1e-3:
        return (one[0] + other[0]) / 2
    return np.asarray(one[0] + np.linalg.solve(directions, other[0] - one[0])[0] * one[1])
