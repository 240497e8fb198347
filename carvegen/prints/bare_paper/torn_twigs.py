"""Where mending takes a twig away no ghost of it stays: snow that lay on it alone, bars of paler ink between snow."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Severity
from carvegen.blocks.from_motif import strictest

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.block import Block
    from carvegen.geometry import Indices, PolygonArray
    from carvegen.prints.cut_blocks import Cut, Setups
    from carvegen.prints.picture import Picture

__all__ = ["Torn", "thinned", "torn_from", "without_ghosts"]

_MEETS_MM = 0.02  #: outlines no further apart than this meet: above the grid and what mending smooths
_CRUMB_MM2 = 0.05  #: less of a twig that goes is its rounded end
_HELD = 0.35  #: of its outline: a bar of paler land that meets more of its own ink is a part of that; our own choice
_BESIDE = 0.5  #: of its outline: a bar with so little of its ink asked for beside is a thing drawn; our own choice
_HALO = 0.7  #: lands: mending makes a bar below a twig as wide, and inks run on round it; our own choice
_RESTS_MM = 0.15  #: snow no further from land lies on it
_RESTS = 0.6  #: of what snow lies on: if so much goes, the snow goes; our own choice
_BAR_MM = 3.0  #: snow wider than this hangs in the air as a flake does; our own choice
_ALONG_MM = 0.05  #: so near to the snow


@dataclass(frozen=True, kw_only=True, eq=False)
class Torn:
    """What mending took away of a block's own drawing."""

    owner: str
    gone: PolygonArray
    land_mm: float  #: how wide land must be on that block


def torn_from(gone: Mapping[str, PolygonArray], setups: Setups) -> tuple[Torn, ...]:
    """What is gone of the twigs of each block, by name; what is left of them stands, in one piece or not."""
    land_mm = {name: strictest(setup.limits for setup in setups[name]).land_mm for name in gone}
    return tuple(Torn(owner=name, gone=pieces, land_mm=land_mm[name]) for name, pieces in gone.items() if len(pieces))


def thinned(before: Cut, now: Cut) -> PolygonArray:
    """What mending has taken away of what a block drew, `before` as it comes from the separation."""
    if all(change.what not in {"filled", "joined"} for change in now.changes):
        return geometry.empty()
    pieces = geometry.parts(geometry.gone(before.land, now.land))
    pieces = pieces[shapely.area(pieces) > _CRUMB_MM2]
    drawn = geometry.parts(shapely.intersection(shapely.multipolygons(pieces), before.picture))
    return drawn[shapely.area(drawn) > _CRUMB_MM2]


def _cut_out(cut: Cut, gone: PolygonArray) -> Cut:
    """The block without some of its land: cuts that meet there become one."""
    if len(gone) == 0:
        return cut
    wide = shapely.union_all(shapely.buffer(gone, _MEETS_MM, quad_segs=2))
    block = cut.block
    met = np.unique(block.cut_tree.query(wide, predicate="intersects"))
    taken = geometry.difference(shapely.intersection(wide, block.face), block.cut_outs)
    joined = geometry.snapped(geometry.parts(shapely.union_all([*block.cuts[met], taken])))
    land = geometry.solid(shapely.difference(cut.land, wide))
    return replace(cut, block=_with_cuts(block, met, joined), land=land)


def _with_cuts(block: Block, met: Indices, instead: PolygonArray) -> Block:
    """The block with other cuts instead of those it has by these numbers; mending still leaves alone what it did."""
    kept = np.delete(np.arange(len(block.cuts)), met)
    fixed = np.flatnonzero(np.isin(kept, list(block.fixed))).tolist()
    return replace(block, cuts=np.concatenate([block.cuts[kept], instead]), fixed=frozenset(fixed))


def without_ghosts(
    cuts: Mapping[str, Cut], torn: Collection[Torn], picture: Picture, lights: Mapping[str, float]
) -> dict[str, Cut]:
    """The blocks without what would show that a twig is gone: snow that lay on it, bars of paler ink between snow.

    Where such snow lay and stood over a paler ink this prints; a bar of paler ink where the twig was, nearly all of
    whose sides are white, goes: the snow closes. For each twig by which something went, its block has a note.

    Parameters
    ----------
    picture
        As it is before anything is cut.
    lights
        L* of the blocks that may be changed, by name.
    """
    done = dict(cuts)
    for twigs in torn:
        paler = [name for name in lights if lights[name] > lights.get(twigs.owner, np.inf) + 1e-9]
        darkest = lights.get(twigs.owner, np.inf) <= min(lights.values())
        snow = _hanging(done[twigs.owner], twigs, picture) if darkest else geometry.empty()
        closed = list[Any]()
        for name in paler:
            done[name] = _printed(done[name], snow, twigs.gone)
            bars = _bars(done[name], done[twigs.owner], twigs.gone, twigs.land_mm)
            done[name] = _cut_out(done[name], bars)
            closed += list(bars)
        if len(snow):
            off = shapely.union_all(snow)
            done = {name: replace(cut, white=_less(cut.white, off)) for name, cut in done.items()}
        if closed:  # nor does another block print there
            bare = shapely.buffer(shapely.union_all(closed), _MEETS_MM, quad_segs=2)
            done = {name: _without_others(cut, bare) for name, cut in done.items()}
            given_up = shapely.union(done[twigs.owner].given_up, bare)
            done[twigs.owner] = replace(done[twigs.owner], given_up=given_up)
        done[twigs.owner] = _with_notes(done[twigs.owner], twigs, snow, geometry.polygon_array(closed))
    return done


def _hanging(owner: Cut, twigs: Torn, picture: Picture) -> PolygonArray:
    """Bars of lying snow of which most lay on twigs that are gone; what a mark or a highlight made bare stays."""
    lying = [white.shapes for white in picture.whites if white.name.startswith("snowload")]
    pieces = geometry.stack(lying)
    near, _ = shapely.STRtree(twigs.gone).query(pieces, predicate="dwithin", distance=_RESTS_MM)
    pieces = pieces[np.unique(near)]
    pieces = pieces[shapely.is_empty(geometry.offset(pieces, -_BAR_MM / 2))]
    every = shapely.STRtree(geometry.parts(owner.white))
    k, j = every.query(pieces, predicate="intersects")
    alone = np.bincount(k, shapely.area(every.geometries[j]), len(pieces)) < 1.05 * shapely.area(pieces)
    pieces = pieces[alone]  # not one with other snow
    around = shapely.boundary(shapely.buffer(pieces, _RESTS_MM, quad_segs=4))
    gone = shapely.length(shapely.intersection(around, shapely.union_all(twigs.gone)))
    left = shapely.length(shapely.intersection(around, owner.land))
    pieces = pieces[gone > _RESTS * (gone + left)]
    marked = shapely.union_all([mark.shape for mark in picture.marks])
    unmarked: PolygonArray = pieces[~shapely.intersects(pieces, marked)]
    return unmarked


def _printed(cut: Cut, snow: PolygonArray, twigs: PolygonArray) -> Cut:
    """The block with land where snow lay, as far as its own ink is asked for there."""
    if len(snow) == 0:
        return cut
    there, own = shapely.union_all(snow), shapely.intersection(snow, cut.picture)
    most = snow[shapely.area(own) > shapely.area(snow) / 2]  # there the twigs stood before this ink, too
    reach = shapely.buffer(shapely.union_all(most), 2 * _BAR_MM, quad_segs=2)
    beside = shapely.intersection(shapely.union_all(twigs), reach)
    asked = shapely.buffer(geometry.union(own, geometry.solid(beside)), _ALONG_MM, quad_segs=2)
    other = geometry.parts(cut.white)
    other = other[shapely.intersects(other, asked)]
    land = geometry.difference(asked, geometry.difference(other, there))
    return _laid_on(cut, geometry.solid(shapely.intersection(land, cut.block.face)))


def _laid_on(cut: Cut, land: BaseGeometry) -> Cut:
    block = cut.block
    met = np.unique(block.cut_tree.query(land, predicate="intersects"))
    less = geometry.snapped(geometry.parts(geometry.difference(block.cuts[met], land)))
    stands = geometry.solid(shapely.union(cut.land, geometry.difference(land, block.cut_outs)))
    return replace(cut, block=_with_cuts(block, met, less), land=stands)


def _bars(cut: Cut, owner: Cut, gone: PolygonArray, land_mm: float) -> PolygonArray:
    """Land of a block where twigs were and close by, of which but little meets more land of it; no mark keeps it.

    What is drawn so narrow in that ink is a thing of its own: beside a bar the ink is asked for below the white.
    """
    lost = shapely.difference(shapely.union_all(gone), shapely.buffer(owner.land, _MEETS_MM, quad_segs=1))
    zone = shapely.buffer(lost, _HALO * land_mm, quad_segs=4)
    pieces = geometry.parts(shapely.intersection(cut.land, zone))
    pieces = pieces[shapely.area(pieces) > _CRUMB_MM2]
    rest = shapely.difference(shapely.difference(cut.land, zone), owner.land)  # what that covers holds nothing
    edges = shapely.boundary(shapely.buffer(pieces, _MEETS_MM, quad_segs=2))
    held = shapely.length(shapely.intersection(edges, rest)) / shapely.length(edges)
    beside = shapely.length(shapely.intersection(edges, cut.picture)) / shapely.length(edges)
    bare = shapely.area(shapely.difference(pieces, owner.land))
    marked = shapely.intersects(pieces, shapely.union_all(cut.block.stays))
    return pieces[(held < _HELD) & (beside > _BESIDE) & (bare > shapely.area(pieces) / 2) & ~marked]


def _less(shape: BaseGeometry, taken: BaseGeometry) -> BaseGeometry:
    """A shape without another, which only those of its pieces lose that meet it."""
    pieces = geometry.parts(shape)
    met = shapely.intersects(pieces, taken)
    left = geometry.parts(geometry.difference(pieces[met], taken))
    return geometry.solid(np.concatenate([pieces[~met], left]))


def _without_others(cut: Cut, bare: BaseGeometry) -> Cut:
    """The block without the notes that another prints where nothing does any more."""
    notes = tuple(
        note
        for note in cut.notes
        if not (note.rule == "other-ink" and note.at and shapely.intersects(bare, shapely.Point(note.at)))
    )
    return replace(cut, notes=notes)


def _with_notes(cut: Cut, twigs: Torn, snow: PolygonArray, closed: PolygonArray) -> Cut:
    """The block with a note for each piece of a twig that snow lay on or that lay between snow that is closed."""
    tree = shapely.STRtree(twigs.gone)
    _, borne = tree.query(snow, predicate="dwithin", distance=_RESTS_MM)
    _, between = tree.query(closed, predicate="dwithin", distance=_HALO * twigs.land_mm)
    notes = [_note(twigs.gone[k], snow=k in borne) for k in np.union1d(borne, between)]
    return replace(cut, notes=(*cut.notes, *notes))


def _note(twig: BaseGeometry, *, snow: bool) -> Finding:
    """What is to be said of a twig that is gone from all blocks, and how much of the drawing it was."""
    x, y = shapely.get_coordinates(shapely.point_on_surface(twig))[0].round(3).tolist()
    return Finding(
        rule="mended-away", kind="twigs", severity=Severity.RISK, at=(x, y), measured=float(shapely.area(twig)),
        limit=_CRUMB_MM2, unit="mm²",
        why="a small part of the drawing, too thin to stand here, is gone from all blocks, and "
        + ("so is snow on it alone" if snow else "the snow round it is closed"),
        remedy="draw it wider, or keep the snow off it",
    )  # fmt: skip
