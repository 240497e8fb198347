"""Rings and a fill rule to polygons: which parts of the plane the rule calls inside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork.bounds import Budget
from carvegen.artwork.outlines.crossings import crossings, edges_of

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices, PolygonArray

__all__ = ["Region", "region"]

_TESTS = 80  #: points in pieces against edges that take as long as one point of the budget


@dataclass(frozen=True, eq=False)
class Region:
    """What the rule calls inside; where outlines cross; how many rings held no area."""

    shapes: PolygonArray
    crossing_at: tuple[float, float] | None = None
    flat: int = 0

    @property
    def crossing_place(self) -> str:
        """Where outlines cross, in words; "" if nowhere."""
        if self.crossing_at is None:
            return ""
        x, y = self.crossing_at
        return f"near {x:.1f}, {y:.1f} mm"


def region(rings: Sequence[Floats], *, evenodd: bool, budget: Budget | None = None) -> Region:
    """The inside of `rings` by the even-odd rule or, otherwise, the non-zero rule (SVG 1.1 section 11.3).

    Parameters
    ----------
    rings
        Points of each ring, (n, 2), mm; the last point may or may not repeat the first.
    budget
        What the file that they come from has cost so far.

    Raises
    ------
    InputError
        If the outlines cross one another beyond measure.
    """
    budget = budget or Budget()
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
        return Region(_nested(outlines, sign, evenodd=evenodd, budget=budget), flat=flat)
    if (one := _one_with_holes(whole, evenodd=evenodd)) is not None:
        return Region(geometry.polygon_array([one]), flat=flat)
    return Region(*_faces(whole, outlines, evenodd=evenodd, budget=budget), flat)


def _one_with_holes(rings: Sequence[Floats], *, evenodd: bool) -> shapely.Polygon | None:
    """The first ring with the others as its holes, if it is that: holes may touch it, and one another, in points."""
    turns = np.sign([_area2(ring) for ring in rings])
    if not evenodd and (turns[1:] == turns[0]).any():
        return None
    shape = shapely.Polygon(rings[0], rings[1:])
    return shape if shapely.is_valid(shape) else None


def _area2(ring: Floats) -> float:
    x, y = (ring - ring[0]).T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


def _touch(outlines: PolygonArray) -> bool:
    """Whether the boundaries of any two outlines meet."""
    if len(outlines) == 1:
        return False
    lines = shapely.boundary(outlines)
    tree = shapely.STRtree(lines)
    for chunk in np.array_split(np.arange(len(lines)), max(1, len(lines) // 100)):
        left, right = tree.query(lines[chunk], predicate="intersects")
        if (chunk[left] != right).any():
            return True
    return False


def _nested(outlines: PolygonArray, sign: Floats, *, evenodd: bool, budget: Budget) -> PolygonArray:
    """Outlines that don't touch: each has a constant winding number just inside and just outside it."""
    inner, outer = _containers(outlines, budget)
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


def _containers(outlines: PolygonArray, budget: Budget) -> tuple[Indices, Indices]:
    """Pairs (inner, outer) of outlines where one lies in the other."""
    tree = shapely.STRtree(outlines)
    pairs = []
    for chunk in np.array_split(np.arange(len(outlines)), max(1, len(outlines) // 100)):
        inner, outer = tree.query(outlines[chunk], predicate="within")
        inner = chunk[inner]
        different = inner != outer
        pairs.append(np.stack([inner[different], outer[different]]))
        budget.take("overlaps", int(different.sum()))
    both = np.concatenate(pairs, axis=1)
    return both[0], both[1]


def _black(winding: Floats, evenodd: bool) -> Any:  # noqa: ANN401
    return winding % 2 == 1 if evenodd else winding != 0


def _faces(
    whole: Sequence[Floats], outlines: PolygonArray, *, evenodd: bool, budget: Budget
) -> tuple[PolygonArray, tuple[float, float] | None]:
    """Outlines that cross or touch: cut the plane along them and ask for each piece."""
    edges = edges_of(whole)
    budget.take("crossings", crossings(edges), f" near {edges[0, 0, 0]:.1f}, {edges[0, 0, 1]:.1f} mm")
    noded = shapely.union_all(shapely.linestrings(edges))
    pieces = geometry.parts(shapely.polygonize(shapely.get_parts(noded)))
    budget.take("overlaps", len(pieces) * len(edges) / _TESTS)
    inside = shapely.get_coordinates(shapely.point_on_surface(pieces))
    kept = pieces[_black(_winding(inside, edges), evenodd)]
    return geometry.joined(kept), _crossing(outlines)


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


def _crossing(outlines: PolygonArray) -> tuple[float, float] | None:
    """A place where an outline crosses itself; None if outlines only meet one another."""
    bad = outlines[~shapely.is_valid(outlines)]
    if len(bad) == 0:
        return None
    where = shapely.is_valid_reason(bad[0]).partition("[")[2].rstrip("]").split()
    return (float(where[0]), float(where[1])) if len(where) >= 2 else tuple(bad[0].bounds[:2])
