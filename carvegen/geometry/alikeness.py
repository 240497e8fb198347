"""Numbers that catch what the eye calls contrived: even spacing, like sizes, twins, straight runs, combing."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Mask, PolygonArray

__all__ = [
    "ELONGATED", "STROKE", "combing", "distance_spread", "elongations", "have_twins", "nearest_distances",
    "size_spread", "spacing", "straight_lines", "straight_runs",
]  # fmt: skip

_SAME_MM = 0.002  #: twins on a grid of 1 µm, turned: their measures agree to this
_BENT = 0.002  #: a run that bows by less than this share of the shape is straight

#: So much longer than wide is elongated; longer still is a stroke, with a course of its own.
ELONGATED, STROKE = 1.5, 8.0


def spacing(centres: Floats, apart_mm: float = 0.0, *, nearest: Floats | None = None) -> tuple[float, float]:
    """Index of Clark & Evans over the centres' convex hull, and its standard error by chance; (nan, nan) on a line.

    Mean distance to the nearest neighbour over what chance gives: 1 by chance, less in clumps, 2 on a square
    and 2.149 on a hexagonal lattice.

    Parameters
    ----------
    apart_mm
        How near two centres can come, because shapes take room; 0 for points.
    nearest
        `nearest_distances` of the centres, where they are known.

    Notes
    -----
    With n points on an area A of perimeter P chance gives ``0.5 sqrt(A/n) + (0.0514 + 0.041 / sqrt(n)) P / n``,
    with the variance ``0.0703 A / n² + 0.037 P sqrt(A / n⁵)``. Where nothing comes nearer than h, the first
    term is the mean of the distances with the tail ``exp(-pi n/A (x² - h²))``, which is ``h + exp(u²) erfc(u)
    sqrt(A/n) / 2`` with ``u = h sqrt(pi n/A)`` (own derivation).

    References
    ----------
    source: clark-evans; the edge's terms: source: donnelly-1978.
    """
    from scipy.special import erfcx

    hull = shapely.convex_hull(shapely.linestrings(centres))
    n, area, edge = len(centres), float(shapely.area(hull)), float(shapely.length(hull))
    if n < 3 or area <= 1e-9 * edge**2:
        return math.nan, math.nan
    scale = math.sqrt(area / n)
    by_chance = apart_mm + float(erfcx(apart_mm / scale * math.sqrt(math.pi))) * scale / 2
    expected = by_chance + (0.0514 + 0.041 / math.sqrt(n)) * edge / n
    error = math.sqrt(0.0703 * area / n**2 + 0.037 * edge * scale / n**2)
    away = nearest_distances(centres) if nearest is None else nearest
    return float(away.mean()) / expected, error / expected


def distance_spread(nearest: Floats) -> float:
    """Coefficient of variation of the distances to the nearest neighbour: 0.52 by chance, 0 on a lattice."""
    return float(nearest.std() / nearest.mean()) if nearest.any() else math.nan


def size_spread(shapes: PolygonArray) -> float:
    """Coefficient of variation of the equivalent diameters, which go as the roots of the areas."""
    roots = np.sqrt(shapely.area(shapes))
    return float(roots.std() / roots.mean())


def have_twins(shapes: PolygonArray) -> Mask:
    """Shapes whose outline comes again, moved, turned or mirrored; (n,).

    Compared are measures of the outline's points that none of this changes; copies with other points are
    not found, and outlines finer than about 1 mm may be taken for twins.
    """
    from scipy.spatial import cKDTree

    if len(shapes) < 2:
        return np.zeros(len(shapes), dtype=bool)
    signs = _signatures(shapes)
    cells, cell, count = np.unique(np.round(signs / _SAME_MM), axis=0, return_inverse=True, return_counts=True)
    alone = count[cell.reshape(-1)] == 1
    one_each = np.unique(cell.reshape(-1), return_index=True)[1]
    result = ~alone
    if len(cells) > 1:
        away = cKDTree(signs[one_each]).query(signs[alone], k=2, p=np.inf, distance_upper_bound=_SAME_MM)[0]
        result[alone] = np.isfinite(np.asarray(away)[:, 1])
    return np.asarray(result)


def straight_runs(shapes: PolygonArray) -> tuple[Floats, Floats]:
    """The longest straight run of each outline as a share of the shape's extent, and its direction in degrees 0…90.

    The extent is the diameter of the smallest circle round the shape. Directions are taken modulo 90: 0 is
    along either axis.
    """
    extent = 2 * shapely.minimum_bounding_radius(shapes)
    line = straight_lines(shapes, extent)
    (x0, y0), (x1, y1) = shapely.get_coordinates(line)[::2].T, shapely.get_coordinates(line)[1::2].T
    return (
        shapely.length(line) / extent,
        np.degrees(np.arctan2(y1 - y0, x1 - x0)) % 90,
    )


def straight_lines(shapes: PolygonArray, extent: Floats) -> PolygonArray:
    """The longest straight run of each outline, as a line; what bends by no more than the eye sees is straight."""
    plain = shapely.simplify(shapely.get_exterior_ring(shapes), _BENT * extent, preserve_topology=True)
    xy, owner = shapely.get_coordinates(plain, return_index=True)
    step = np.diff(xy, axis=0)
    length = np.where(owner[1:] == owner[:-1], np.hypot(*step.T), -1.0)
    order = np.lexsort((length, owner[:-1]))
    longest = order[np.append(np.flatnonzero(np.diff(owner[:-1][order])), len(order) - 1)]
    return geometry.lines(xy[longest], xy[longest + 1])


def combing(shapes: PolygonArray) -> tuple[float, int]:
    """How alike the long axes of the elongated shapes point: 0 all ways, 1 all one way; and how many there are.

    The mean resultant length of the doubled angles, as a long axis has no head (source: mardia-jupp). Axes and their
    lengths are those of the ellipse with the outline's second moments.
    """
    ratio, doubled = elongations(shapes)
    chosen = (ratio >= ELONGATED) & (ratio <= STROKE)
    if not chosen.any():
        return 0.0, 0
    return float(np.abs(np.exp(1j * doubled[chosen]).mean())), int(chosen.sum())


def elongations(shapes: PolygonArray) -> tuple[Floats, Floats]:
    """Length over width of each shape's ellipse of inertia, and twice the angle of its long axis, radians; (n,)."""
    outline = geometry.rings(geometry.filled(shapes))
    centre = shapely.get_coordinates(shapely.centroid(geometry.filled(shapes)))[outline.owner]
    a = outline.xy - outline.spread(centre)
    b = a[outline.edge_ends]
    double_area = a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]
    xx, yy = (
        np.add.reduceat(double_area * (p * p + p * q + q * q) / 12, outline.start[:-1])
        for p, q in zip(a.T, b.T, strict=True)
    )
    cross = 2 * a[:, 0] * a[:, 1] + 2 * b[:, 0] * b[:, 1] + a[:, 0] * b[:, 1] + b[:, 0] * a[:, 1]
    xy = np.add.reduceat(double_area * cross / 24, outline.start[:-1])
    middle, half = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    return np.sqrt((middle + half) / np.maximum(middle - half, 1e-12)), np.arctan2(2 * xy, xx - yy)


def nearest_distances(centres: Floats) -> Floats:
    """How far each centre is from the nearest other; (n,)."""
    from scipy.spatial import cKDTree

    return np.asarray(cKDTree(centres, balanced_tree=False, compact_nodes=False).query(centres, k=2)[0])[:, 1]


def _signatures(shapes: PolygonArray) -> Floats:
    """Measures of each outline's points that moving, turning and mirroring leave alike, in mm; (n, 12).

    Their number, how far they lie from their mean, and how far from the next, the second and third next.
    Means are multiplied by the root of the number, so that rounding tells on all measures alike.
    """
    outline = geometry.rings(geometry.filled(shapes))
    start, xy, after = outline.start[:-1], outline.xy, outline.edge_ends
    count = outline.sizes
    root = np.sqrt(count)

    def mean(values: Floats) -> Floats:
        return np.asarray(np.add.reduceat(values, start) / count)

    centre = np.column_stack([mean(xy[:, 0]), mean(xy[:, 1])])
    squared = ((xy - outline.spread(centre)) ** 2).sum(axis=1)
    spread = np.sqrt(mean(squared))
    farthest, nearest = (np.sqrt(side.reduceat(squared, start)) for side in (np.maximum, np.minimum))
    columns = [1000.0 * count, farthest, nearest]
    columns += [root * spread, root * np.sqrt(np.sqrt(mean(squared**2))), root * mean(np.sqrt(squared))]
    to = after
    for _ in range(3):
        away = np.hypot(*(xy[to] - xy).T)
        columns += [root * mean(away), root * mean((squared + squared[to]) * away) / spread**2]
        to = after[to]
    return np.column_stack(columns)
