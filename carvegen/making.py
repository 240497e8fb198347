"""A block from a motif: where it may grow, and what else is taken out."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.block import Block, check_size, check_words
from carvegen.errors import InputError
from carvegen.growth import Place
from carvegen.limits import Limits
from carvegen.motifs import motif

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import PolygonArray

__all__ = ["Ground", "area_of", "grown_block", "strictest"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Ground:
    """The face on which a motif grows, and the places that it leaves."""

    name: str
    width_mm: float
    height_mm: float
    keep_clear: PolygonArray = field(default_factory=geometry.empty)  #: shapes that stay land
    openings: PolygonArray = field(default_factory=geometry.empty)  #: cut through the whole thickness
    grow_from: PolygonArray = field(default_factory=geometry.empty)  #: shapes that the motif lies on or grows from
    margin_mm: float = 0.0  #: strip along the edge that stays land
    clearance_mm: float = 0.0  #: how far the motif stays from `keep_clear`

    def __post_init__(self) -> None:
        check_words(self.name, where="--name")
        check_size(self.width_mm, self.height_mm)
        for value, where in ((self.margin_mm, "--margin"), (self.clearance_mm, "--clearance")):
            if not value >= 0:
                raise InputError("must not be less than nothing", value=value, where=where)


def grown_block(ground: Ground, settings: Any, limits: Limits, rng: Generator, *, by: str) -> Block:  # noqa: ANN401
    """The block with the motif named `by` grown on it and the openings cut out.

    Raises
    ------
    InputError
        If nothing of the face is left for the motif, or an opening leaves the face.
    """
    face = geometry.box(ground.width_mm, ground.height_mm)
    if not shapely.contains_properly(face, ground.openings).all():
        raise InputError(
            "must lie inside the block", where="--opening", hint="move it, make it smaller, or enlarge --size"
        )
    area = area_of(ground, face, settings, limits)
    if shapely.area(area) <= 0:
        raise InputError(
            "nothing of the block is left for the motif",
            where="--keep-clear, --opening, --margin",
            hint="they cover the face together with the land that must stay round them; make them smaller",
        )
    return Block(
        name=ground.name,
        width_mm=ground.width_mm,
        height_mm=ground.height_mm,
        cuts=motif(by).grow(settings, Place(area=area, shapes=ground.grow_from), limits, rng).cuts,
        cut_outs=geometry.snapped(geometry.joined(ground.openings)),
        kept=geometry.parts(shapely.intersection(geometry.joined(ground.keep_clear), face)),
    )


def strictest(limits: Iterable[Limits]) -> Limits:
    """The limits that satisfy all of `limits`; their grain is the same."""
    every = list(limits)
    return Limits(
        land_along_mm=max(its.land_along_mm for its in every),
        land_across_mm=max(its.land_across_mm for its in every),
        cut_mm=max(its.cut_mm for its in every),
        dot_mm=max(its.dot_mm for its in every),
        grain_deg=every[0].grain_deg,
    )


def area_of(ground: Ground, face: BaseGeometry, settings: Any, limits: Limits) -> BaseGeometry:  # noqa: ANN401
    """Where the motif may grow.

    Shapes are kept clear by at least half the land: what stands of a thin twig between two cuts is then
    wide enough. Whole flakes keep a land from the edge; flakes cut off by it may lie on it.
    """
    margin = ground.margin_mm
    if not getattr(settings, "cut_at_edge", True) or margin > 0:
        margin = max(margin, limits.land_mm)
    inner = shapely.box(margin, margin, max(ground.width_mm - margin, margin), max(ground.height_mm - margin, margin))
    clear = geometry.offset(ground.keep_clear, max(ground.clearance_mm, limits.land_mm / 2))
    beside = geometry.offset(ground.openings, limits.land_mm + _SAG_MM, quad_segs=16)
    return shapely.difference(inner, shapely.union_all(np.concatenate([clear, beside])))


_SAG_MM = 0.01  #: growing by an inscribed polygon falls short by less than this
