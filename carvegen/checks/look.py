"""What the eye calls contrived: advice, never a failure."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Severity
from carvegen.checks.survey import Survey
from carvegen.geometry import alikeness

if TYPE_CHECKING:
    from carvegen.geometry import Mask, PolygonArray

__all__ = ["RULE", "find"]

RULE = "look"

# The limits are our own, found on grids, copies and natural textures.
_MANY = 30  #: spacing and sizes are looked at from more shapes than this
_FEW = 12  #: the other numbers from so many shapes
_EVEN = 1.15  #: times the distance to the nearest neighbour that chance gives
_ERRORS = 3  #: and so many standard errors above chance
_LATTICE = 0.12  #: spread of the distances to the nearest, of their mean
_ALIKE = 0.12  #: spread of the sizes, of their mean
_TWINS = 0.1  #: of the shapes
_RUN = 0.6  #: of a shape's extent
_STRAIGHT = 0.25  #: of the shapes have such a run
_UPRIGHT_DEG, _UPRIGHT = 1.0, 0.1  #: a run so near an axis; of the shapes have one
_BESIDE_MM = 0.6  #: so near to the drawing's edge, inks run on or stay back from it, a side is the drawing's
_BY_DRAWING = 0.8  #: if so much of it is
_COMBED = 0.9  #: of 1
_ELONGATED = 0.3  #: of the shapes are elongated
_LARGEST = 5000  #: shapes looked at one by one: the eye goes by the largest


def find(survey: Survey) -> Iterator[Finding]:
    """Spacing, sizes, twins, straight runs and directions of all that is cut; none has a place."""
    block = survey.job.block
    shapes = np.concatenate([block.cuts, block.cut_outs])
    if len(shapes) > _MANY:
        yield from _spacing(shapes, survey.job.face_limits.land_mm)
        yield from _sizes(shapes)
    if len(shapes) >= _FEW:
        largest = np.sort(np.argsort(-shapely.area(shapes), kind="stable")[:_LARGEST])
        yield from _twins(shapes[largest])
        whole = largest[
            shapely.distance(shapes[largest], shapely.boundary(block.face)) > 0
        ]  # no side is the face's own
        if len(whole) >= _FEW:
            yield from _straight(shapes[whole], np.concatenate([block.kept, block.drawn]))
        yield from _combed(shapes[largest])


def _spacing(shapes: PolygonArray, land: float) -> Iterator[Finding]:
    """Shapes that shun one another, after the room that they and the land between them take; or a tight lattice."""
    centres = shapely.get_coordinates(shapely.centroid(shapes))
    room = float(np.sqrt(4 / np.pi * shapely.area(shapes)).mean()) + land
    remedy = "let some lie close together and leave some places empty"
    nearest = alikeness.nearest_distances(centres)
    measured, error = alikeness.spacing(centres, room, nearest=nearest)
    limit = max(_EVEN, 1 + _ERRORS * error)
    if measured > limit:
        why = (
            "the shapes keep more even distances than chance would (index of Clark and Evans): it looks set out by rule"
        )
        yield _advice("spacing", measured, limit, "times chance", kind="even", why=why, remedy=remedy)
        return
    measured = alikeness.distance_spread(nearest)
    if measured < _LATTICE:
        why = "each shape is as far from the next as all others are: it looks set out by rule"
        yield _advice("spacing", measured, _LATTICE, "of the mean", kind="lattice", why=why, remedy=remedy)


def _sizes(shapes: PolygonArray) -> Iterator[Finding]:
    measured = alikeness.size_spread(shapes)
    if measured < _ALIKE:
        why = "the shapes differ hardly in size: what falls or grows is of many sizes"
        remedy = "mix large and small: a few large ones and many small"
        yield _advice("sizes", measured, _ALIKE, "of the mean", why=why, remedy=remedy)


def _twins(shapes: PolygonArray) -> Iterator[Finding]:
    measured = float(alikeness.have_twins(shapes).mean())
    if measured > _TWINS:
        why = "outlines come again, moved, turned or mirrored: the eye finds the pattern"
        remedy = "draw each shape anew, or change the copies"
        yield _advice("twins", measured, _TWINS, "of the shapes", why=why, remedy=remedy)


def _straight(shapes: PolygonArray, drawn: PolygonArray) -> Iterator[Finding]:
    """Strokes are left out: what is many times longer than wide is straight enough by itself.

    So are sides along an edge of the drawing: a heap ends where its post does.
    """
    run, direction = alikeness.straight_runs(shapes)
    long = (run > _RUN) & (alikeness.elongations(shapes)[0] <= alikeness.STROKE)
    if long.any():
        extent = 2 * shapely.minimum_bounding_radius(shapes[long])
        long[long] = ~_along(alikeness.straight_lines(shapes[long], extent), drawn)
    upright = float((long & (np.minimum(direction, 90 - direction) < _UPRIGHT_DEG)).mean())
    why = "many outlines have a long straight side: little in nature has"
    if upright > _UPRIGHT:
        why = "many outlines have a long straight side along the block's edges: it looks boxed"
    for measured, limit in ((upright, _UPRIGHT), (float(long.mean()), _STRAIGHT)):
        if measured > limit:
            yield _advice(
                "straight", measured, limit, "of the shapes", why=why, remedy="bow the sides and turn the shapes"
            )
            return


def _along(lines: PolygonArray, drawn: PolygonArray) -> Mask:
    """Whether each line runs along an edge of what is drawn."""
    outline = geometry.rings(drawn)
    sides = geometry.lines(outline.xy, outline.xy[outline.edge_ends])
    near = np.unique(shapely.STRtree(sides).query(lines, predicate="dwithin", distance=_BESIDE_MM)[1])
    edges = shapely.buffer(shapely.multilinestrings(sides[near]), _BESIDE_MM, quad_segs=2)
    beside = shapely.length(shapely.intersection(lines, edges))
    return np.asarray(beside > _BY_DRAWING * shapely.length(lines))


def _combed(shapes: PolygonArray) -> Iterator[Finding]:
    measured, elongated = alikeness.combing(shapes)
    if elongated >= max(_FEW, _ELONGATED * len(shapes)) and measured > _COMBED:
        why = "the elongated shapes all point one way, as if combed"
        remedy = "let their directions scatter by 15 degrees or more, even in a gale"
        yield _advice("combed", measured, _COMBED, "of 1", why=why, remedy=remedy)


def _advice(what: str, measured: float, limit: float, unit: str, *, why: str, remedy: str, kind: str = "") -> Finding:
    return Finding(
        rule=f"{RULE}-{what}",
        severity=Severity.ADVICE,
        at=None,
        measured=measured,
        limit=limit,
        unit=unit,
        kind=kind,
        why=why,
        remedy=remedy,
    )
