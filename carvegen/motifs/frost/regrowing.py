"""Frost that grows again in a region: on from the stubs round it and from the pane's edge, joined to what is there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.frost.bridges import NEAR, PER_MM, bridge, feet, on_stubs
from carvegen.motifs.frost.crystals import Thicket
from carvegen.motifs.frost.growing import Pane, region_of, with_feathers, with_more
from carvegen.motifs.frost.ice import iced
from carvegen.motifs.frost.seeding import sown
from carvegen.motifs.frost.stubs import Severed, severed

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Mask, PolygonArray
    from carvegen.motifs.frost.settings import Settings
    from carvegen.motifs.frost.stubs import Stub
    from carvegen.motifs.growth import Place

__all__ = ["Regrown", "regrown"]

_DEPTH_MM, _DEPTH = 1.5, 0.25  #: what reaches less into the region stays; no more than so much of its largest disc
_OUT = 0.5  #: of the flake: so far beyond the region arms may end
_SHORT = 0.3  #: of a feather: a usual side-branch
_ASLANT = 2.3  #: of its half-breadth: so far ahead the end of a stub may reach at one side
_AT_MM = 0.02  #: something stands on a stub if it is so near to its middle
_SHORT_EDGE, _FANS = 2.0, 3  #: an edge that is no longer, in feathers, has hardly a fan; so often more are sown


@dataclass(frozen=True, kw_only=True, eq=False)
class Regrown:
    """What there is after a region of the frost has grown again."""

    ice: PolygonArray  #: what has stayed
    new: PolygonArray  #: what has grown; it abuts on the stubs it grows from
    ends: PolygonArray  #: lines where what stays was cut and nothing has grown on


def regrown(
    ice: PolygonArray, others: PolygonArray, *, mark: BaseGeometry, zone: BaseGeometry, settings: Settings,
    place: Place, limits: Limits, rng: Generator, flake_mm: float,
) -> Regrown:  # fmt: skip
    """Crystals with what lies in the mark grown anew, and nothing changed outside the zone.

    Parameters
    ----------
    ice
        The crystals that meet the mark.
    others
        All other white that arms keep a land from.
    flake_mm
        The zone is wider than the mark by this and a land.
    """
    pane_region = region_of(settings, place)
    mark = geometry.solid(shapely.intersection(mark, pane_region))
    edges = shapely.boundary(pane_region if len(place.shapes) == 0 else shapely.union_all(place.shapes))
    if shapely.is_empty(mark):
        return Regrown(ice=ice, new=geometry.empty(), ends=geometry.empty())
    widest: Any = mark
    room = float(shapely.length(shapely.maximum_inscribed_circle(widest)))
    left = severed(
        ice, mark, zone, edges, depth_mm=min(_DEPTH_MM, _DEPTH * room), least_mm=limits.cut_mm - 2 * geometry.GRID_MM
    )
    fixed = np.concatenate([left.ice, others[shapely.intersects(others, zone)] if len(others) else others])
    region = geometry.solid(shapely.difference(shapely.intersection(zone, pane_region), shapely.union_all(fixed)))
    if shapely.is_empty(region):
        return Regrown(ice=left.ice, new=geometry.empty(), ends=_cut_ends(left, geometry.empty()))

    behind = _behind(left, limits)
    shapely.prepare(behind)

    def density(xy: Floats) -> Floats:
        away = shapely.distance(mark, geometry.dots(xy))
        share = np.clip(1 - away / (_OUT * flake_mm), 0, 1) * ~shapely.contains_xy(behind, xy[:, 0], xy[:, 1])
        return np.asarray(place.density_at(xy) * share)

    feet = shapely.intersection(edges, shapely.buffer(mark, 10 * geometry.GRID_MM))
    pane = Pane(settings, replace(place, density=density), limits, region, edges=feet)
    joints = shapely.union_all([shapely.buffer(stub.end, 1.5 * pane.land) for stub in left.stubs])
    bed = replace(pane.bed, open_feet=True, stems=left.ice, clear=behind, joints=joints)
    branching, bridging, going_on, fans, *others_rng = rng.spawn(7)
    walls = pane.walls[~_at_stubs(pane, pane.walls, left)]
    thicket = Thicket(pane.habit, walls, branching, wall_gap=pane.land, open_feet=True)
    middle = shapely.get_coordinates(shapely.centroid(mark))[0]
    unbridged = bridge(thicket, pane, left.bridges, bridging, fixed=fixed, middle=middle)
    _grow_on(thicket, pane, (*left.open, *unbridged), going_on)
    short = len(pane.edge) * pane.spacing < _SHORT_EDGE * settings.feather_mm
    for fan in fans.spawn(_FANS if short and len(pane.edge) else 0):
        with_feathers(thicket, pane, fan)
    new = iced(with_more(thicket, pane, *others_rng), bed)
    return Regrown(ice=left.ice, new=new, ends=_cut_ends(left, new))


def _behind(left: Severed, limits: Limits) -> BaseGeometry:
    """The land beside stubs: what grows on from them begins where they end."""
    by = limits.land_mm + limits.cut_mm
    about = shapely.union_all([stub.behind(2 * stub.half + by) for stub in left.stubs])
    return geometry.solid(shapely.difference(about, shapely.union_all(left.ice)))


def _at_stubs(pane: Pane, xy: Floats, left: Severed) -> Mask:
    """Points of outlines where what grows on from a stub passes, or comes to one."""
    there = np.zeros(len(xy), dtype=bool)
    for stub in left.stubs:
        away = xy - stub.at
        along, across = away @ stub.ahead, np.abs(away @ np.array([-stub.ahead[1], stub.ahead[0]]))
        deep = NEAR * (stub.half + pane.habit.apart)
        there |= (along > -deep) & (along < _ASLANT * stub.half + pane.least) & (across < stub.half + pane.land / 2)
    return there


def _cut_ends(left: Severed, new: PolygonArray) -> PolygonArray:
    """The ends of stubs on which nothing stands."""
    at = [shapely.Point(stub.at) for stub in left.stubs]
    bare = [stub.end for stub, here in zip(left.stubs, at, strict=True) if not shapely.dwithin(new, here, _AT_MM).any()]
    return np.array(bare, dtype=object)


def _grow_on(thicket: Thicket, pane: Pane, stubs: tuple[Stub, ...], rng: Generator) -> None:
    """Feathers and branches that grow on from stubs, the stoutest first."""
    stubs = tuple(sorted(stubs, key=lambda stub: -stub.half))
    if not stubs:
        return
    half = np.maximum([stub.half for stub in stubs], pane.least)
    large = (half - pane.least) / PER_MM
    usual = _SHORT * pane.settings.feather_mm * np.exp(rng.normal(0, 0.4, len(stubs)))
    planned = np.clip(np.maximum(large, usual), 3 * pane.habit.shortest, pane.settings.reach_mm)
    stem = large > usual
    for lot in (np.flatnonzero(stem), np.flatnonzero(~stem)):
        crystals, arms = sown(on_stubs(pane), feet(stubs), lot, planned[lot], rng, splay=0.12, shy=0.0)
        thicket.grow(crystals, replace(
            arms, root=half[lot], phase=np.full(len(lot), -np.pi / 2), order=np.where(stem[lot], 0, 1),
            chance=0.5 * rng.random(len(lot)),
        ))  # fmt: skip
