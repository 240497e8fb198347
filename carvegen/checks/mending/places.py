"""The narrow places of the land as mending sees them: middle lines, and land of another width along these."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.checks.mending import shape_edits
from carvegen.geometry.narrow import NarrowKind

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.checks.survey import Survey
    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["NarrowPlace", "places_of"]

_SHORT = 2.0  #: widths that are wanted, as a notch on either side of a fir's top leaves: our own choice
_LONG = 6.0  #: widths that are wanted, from which on land is a line that was drawn: our own choice
_FACING_DEG = 100.0  #: walls that face each other less than so meet squarely, at an end: no middle line runs there


@dataclass(frozen=True, kw_only=True, eq=False)
class NarrowPlace:
    """A narrow place: its narrowest chord, then the discs along it in the order of the walls; arrays (n, 2), (n,)."""

    kind: NarrowKind
    wanted: float  #: how wide the land must be, mm
    gap: float  #: how far apart neighbours on one line are at most, mm
    start: Floats  #: at the one wall
    end: Floats  #: at the other
    middles: Floats
    width: Floats  #: mm
    edge: Indices  #: of the outline
    along: Mask  #: all but the chord of a tip, which lies askew in a corner
    is_corner: bool  #: whether it has no middle line, only a corner that stands out
    is_short: bool  #: whether it is narrow over so little that it only joins what is broad on both sides
    is_long: bool  #: whether it is narrow over so much that it is a line by itself, such as a twig

    @property
    def at(self) -> Floats:
        """Where it is told: the middle of the narrowest chord, (2,)."""
        return np.asarray((self.start[0] + self.end[0]) / 2)

    def band(self, width: float, some: Mask | None = None, middles: Floats | None = None) -> BaseGeometry:
        """Land of a width along the middle line, or through other points; along all of it, or some."""
        if some is None:
            some = self.along
        elif (some & self.along).any():
            some = some & self.along
        points, edge = (self.middles if middles is None else middles)[some], self.edge[some]
        return shape_edits.lands(points, shape_edits.runs(points, edge, self.gap), width)

    def wall_facing(self, cut: BaseGeometry, width: float) -> BaseGeometry:
        """A band along the wall that faces a cut, as far as the place goes."""
        nearer = shapely.distance(geometry.dots(self.start), cut) < shapely.distance(geometry.dots(self.end), cut)
        walls = np.where(nearer[:, None], self.end, self.start)
        return self.band(width, middles=walls)


def places_of(survey: Survey, which: Indices) -> Iterator[tuple[int, NarrowPlace]]:
    """Some of the narrow lands, by their numbers."""
    lands, thin, owner = survey.narrow_lands, survey.narrow_spread.thin, survey.narrow_spread.place
    wanted = survey.job.limits.land_at(lands.direction_deg)
    walls = survey.job.block.land_rings.xy[thin.edge]
    order = np.lexsort((np.hypot(*(thin.at - walls).T), thin.edge, owner))
    bounds = np.searchsorted(owner[order], np.arange(len(lands) + 1))
    for k in which.tolist():
        discs = thin.chosen(order[bounds[k] : bounds[k + 1]])
        one, start, end = slice(k, k + 1), lands.at[k : k + 1], lands.to[k : k + 1]
        yield k, NarrowPlace(
            kind=NarrowKind(int(lands.kind[k])), wanted=float(wanted[k]), gap=survey.job.limits.land_mm / 2,
            start=np.concatenate([start, discs.at]), end=np.concatenate([end, discs.across]),
            middles=np.concatenate([(start + end) / 2, discs.centre]),
            width=np.concatenate([lands.width[one], discs.width]), edge=np.concatenate([[-2], discs.edge]),
            along=np.arange(len(discs) + 1) >= (lands.kind[k] == NarrowKind.TIP),
            is_corner=len(discs) > 0 and bool((discs.facing_deg < _FACING_DEG).all()),
            is_short=bool(lands.length[k] <= _SHORT * wanted[k]),
            is_long=bool(lands.length[k] > _LONG * wanted[k]),
        )  # fmt: skip
