"""Rings and a fill rule to polygons: which parts of the plane the rule calls inside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork import bounds
from carvegen.errors import InputError

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices, PolygonArray

__all__ = ["Region", "region"]

_MAX_PAIRS = 5_000_000
_MAX_TESTS = 400_000_000


@dataclass(frozen=True, eq=False)
class Region:
    """What the rule calls inside; where outlines cross; how many rings held no area."""

    shapes: PolygonArray
    crossing_at: tuple[float, float] | None = None
    flat: int = 0


def region(rings: Sequence[Floats], *, evenodd: bool) -> Region:
    """The inside of `rings` by the even-odd rule or, otherwise, the non-zero rule (SVG 1.1 section 11.3).

    Parameters
    ----------
    rings
        Points of each ring, (n, 2), mm; the last point may or may not repeat the first.

    Raises
    ------
    InputError
        If the outlines cross one another beyond measure.
    """
    whole = [ring for ring in rings if len(ring) >= 3 and np.ptp(ring, axis=0).min() > 0]
    flat = len(rings) - len(whole)
    if not whole:
        return Region(geometry.empty(), flat=flat)
    outlines = geometry.polygon_array(shapely.Polygon(ring) for ring in whole)
    plain = bool(shapely.is_valid(outlines).all()) and not _touch(outlines)
    if plain and len(whole) == 1:
        return Region(outlines, flat=flat)
    if plain:
        sign = np.array([np.sign(_area2(ring)) for ring in whole])
        return Region(_nested(outlines, sign, evenodd=evenodd), flat=flat)
    return _faces(whole, outlines, evenodd=evenodd, flat=flat)


def _area2(ring: Floats) -> float:
    x, y = (ring - ring[0]).T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


def _touch(outlines: PolygonArray) -> bool:
    """Whether the boundaries of any two outlines meet."""
    if len(outlines) == 1:
        return False
    lines = shapely.boundary(outlines)
    tree = shapely.STRtree(lines)
    for chunk in np.array_split(np.arange(len(lines)), max(1, len(lines) // 2000)):
        left, right = tree.query(lines[chunk], predicate="intersects")
        if (chunk[left] != right).any():
            return True
    return False


def _nested(outlines: PolygonArray, sign: Floats, *, evenodd: bool) -> PolygonArray:
    """Outlines that don't touch: each has a constant winding number just inside and just outside it."""
    inner, outer = _containers(outlines)
    turns = np.ones(len(outlines)) if evenodd else sign
    outside = np.bincount(inner, weights=turns[outer], minlength=len(outlines)).astype(np.float64)
    inside = outside + turns
    black_in, black_out = _black(inside, evenodd), _black(outside, evenodd)
    depth = np.bincount(inner, minlength=len(outlines))
    shell, hole = black_in & ~black_out, ~black_in & black_out
    pairs = hole[inner] & shell[outer]
    inner, outer = inner[pairs], outer[pairs]
    order = np.argsort(depth[outer], kind="stable")
    owner = np.full(len(outlines), -1)
    owner[inner[order]] = outer[order]  # the deepest one is written last
    return _assembled(outlines, np.flatnonzero(shell), owner)


def _assembled(outlines: PolygonArray, shells: Indices, owner: Indices) -> PolygonArray:
    holes: dict[int, list[Any]] = {}
    for k in np.flatnonzero(owner >= 0):
        holes.setdefault(int(owner[k]), []).append(outlines[k].exterior)
    return geometry.polygon_array(
        shapely.Polygon(outlines[k].exterior, holes[k]) if k in holes else outlines[k] for k in shells.tolist()
    )


def _containers(outlines: PolygonArray) -> tuple[Indices, Indices]:
    """Pairs (inner, outer) of outlines where one lies in the other."""
    tree = shapely.STRtree(outlines)
    found, total = [], 0
    for chunk in np.array_split(np.arange(len(outlines)), max(1, len(outlines) // 500)):
        inner, outer = tree.query(outlines[chunk], predicate="within")
        inner = chunk[inner]
        different = inner != outer
        found.append(np.stack([inner[different], outer[different]]))
        total += int(different.sum())
        if total > _MAX_PAIRS:
            raise _tangled(None)
    both = np.concatenate(found, axis=1)
    return both[0], both[1]


def _black(winding: Floats, evenodd: bool) -> Any:  # noqa: ANN401
    return winding % 2 == 1 if evenodd else winding != 0


def _faces(whole: Sequence[Floats], outlines: PolygonArray, *, evenodd: bool, flat: int) -> Region:
    """Outlines that cross or touch: cut the plane along them and ask for each piece."""
    edges = np.concatenate([np.stack([ring, np.roll(ring, -1, axis=0)], axis=1) for ring in whole])
    edges = edges[(edges[:, 0] != edges[:, 1]).any(axis=1)]
    _count_crossings(edges)
    noded = shapely.union_all(shapely.linestrings(edges))
    pieces = geometry.parts(shapely.polygonize(shapely.get_parts(noded)))
    if len(pieces) * len(edges) > _MAX_TESTS:
        raise _tangled(None)
    inside = shapely.get_coordinates(shapely.point_on_surface(pieces))
    kept = pieces[_black(_winding(inside, edges), evenodd)]
    return Region(geometry.joined(kept), _crossing(outlines), flat)


def _winding(xy: Floats, edges: Floats) -> Floats:
    """Winding numbers of points by signed crossings of a ray to the right; (points,)."""
    total = np.zeros(len(xy))
    (x0, y0), (x1, y1) = edges[:, 0].T, edges[:, 1].T
    for k in range(0, len(xy), step := max(1, 2_000_000 // max(len(edges), 1))):
        px, py = xy[k : k + step, :1], xy[k : k + step, 1:]
        side = (x1 - x0) * (py - y0) - (px - x0) * (y1 - y0)
        up, down = (y0 <= py) & (y1 > py) & (side > 0), (y0 > py) & (y1 <= py) & (side < 0)
        total[k : k + step] = up.sum(axis=1) - down.sum(axis=1)
    return total


def _count_crossings(edges: Floats) -> None:
    lines = np.asarray(shapely.linestrings(edges))
    tree = shapely.STRtree(lines)
    found = 0
    for k in range(0, len(lines), 500):
        found += len(tree.query(lines[k : k + 500], predicate="intersects")[0])
        if found > 3 * len(lines) + 2 * bounds.MAX_CROSSINGS:
            raise _tangled(edges[k, 0])


def _crossing(outlines: PolygonArray) -> tuple[float, float] | None:
    """A place where an outline crosses itself; None if outlines only meet one another."""
    bad = outlines[~shapely.is_valid(outlines)]
    if len(bad) == 0:
        return None
    where = shapely.is_valid_reason(bad[0]).partition("[")[2].rstrip("]").split()
    return (float(where[0]), float(where[1])) if len(where) >= 2 else tuple(bad[0].bounds[:2])


def _tangled(at: Floats | None) -> InputError:
    near = "" if at is None else f" near {at[0]:.1f}, {at[1]:.1f} mm"
    return InputError(
        f"has outlines that cross one another far too often{near}",
        hint="join the shapes in the drawing program (union), then save again",
    )
