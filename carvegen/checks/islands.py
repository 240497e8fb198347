"""Islands of land that stand alone on too small a face."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Severity
from carvegen.checks.survey import TOLERANCE_MM, Survey

__all__ = ["RULE", "find", "islands_of"]

RULE = "small-island"


def find(survey: Survey) -> Iterator[Finding]:
    """Land enclosed by a cut with less face than a disc of the material's smallest island has."""
    limit = survey.job.face_limits.dot_mm
    islands = islands_of(survey.job.block.cuts)
    across = 2 * np.sqrt(shapely.area(islands) / np.pi)
    small = across < limit - TOLERANCE_MM
    places = shapely.get_coordinates(shapely.point_on_surface(islands[small]))
    for (x, y), wide in zip(places.tolist(), across[small].tolist(), strict=True):
        yield Finding(
            rule=RULE,
            severity=Severity.BREAKS,
            at=(x, y),
            measured=wide,
            limit=limit,
            unit="mm",
            why="an island this small is knocked off by roller, baren or brush",
            remedy="make it larger, join it to the land beside it, or take it out",
        )


def islands_of(cuts: geometry.PolygonArray) -> geometry.PolygonArray:
    """What stands inside the holes of the cuts."""
    ringed = cuts[shapely.get_num_interior_rings(cuts) > 0]
    holes = geometry.parts(shapely.difference(geometry.filled(ringed), ringed))
    inside = np.unique(shapely.STRtree(holes).query(cuts, predicate="covered_by")[0])
    return geometry.parts(shapely.difference(shapely.union_all(holes), shapely.union_all(cuts[inside])))
