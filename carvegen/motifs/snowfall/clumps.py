"""Flakes that have run into one another, as clumps that can be cut: gaps filled, narrow necks gone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.progress import reached
from carvegen.geometry.edges import Outline
from carvegen.geometry.necks import necks
from carvegen.motifs.snowfall.heaps import heaped, mean_radius, without_tails
from carvegen.motifs.snowfall.limbs import without_limbs

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Indices, Mask, PolygonArray

__all__ = [
    "FILLS",
    "FINE_MM",
    "RIM_MM",
    "SLACK_MM",
    "Clumps",
    "fine",
    "gathered",
    "largest_of_each",
    "simpler",
    "smoothed",
    "without_specks",
]

SLACK_MM = 0.012  #: so much more is kept than must hold: arcs are polygons and coordinates lie on a grid
FILLS = 1.4  #: gaps and bays inside a clump are filled up to so many lands,
_FILLS_CUTS = 0.5  #: and up to so many cuts
FINE_MM = 0.008  #: outlines may be simplified so far
_EASED = 0.28  #: and by discs of so much of a clump's mean radius, which round off its knobs too,
_EASED_MM = 1.2  #: but no larger;
RIM_MM = 0.85  #: at the rim of a heap of flakes, which shows the larger of them, no larger than this
_KEEPS = 0.85  #: of its area, or it stays as it was
_BENDS = 1e-6
_SHOWS_MM = 0.08  #: what is filled of a bay less deep doesn't show
_EDGED = 1.1  #: corners of what is filled are kept so far out, in the width of the filling
_NOTCH = 1.45  #: of what is filled: a notch is left where two flakes meet at 87° or more, else a flat end
_MORE = 1.03  #: arcs and offsets fall short of round ones by less than this
_HAIR_MM = 0.002  #: what a cutter that is narrower by a hair comes nearer to an outline
_POLYGON = 3
_ARC = 4  #: parts of a quarter of a round

_Lot = tuple["PolygonArray", "Indices"]  #: pieces, and the number of the shape that each is of


class Clumps:
    """What clumps of flakes become; those that lay there at the level tried before are not smoothed again.

    Those smaller than `mass_mm2` have no limbs.
    """

    def __init__(self, limits: Limits, mass_mm2: float = np.inf) -> None:
        self._limits, self._mass_mm2 = limits, mass_mm2
        self._known = np.empty(0, dtype=np.uint64)
        self._pieces = [(geometry.empty(), self._known, np.zeros(0, dtype=bool))] * 2

    def are_new(self, mark: NDArray[np.uint64]) -> Mask:
        """Which clumps of these marks did not lie there at the level tried before, (n,)."""
        return np.asarray(~np.isin(mark, self._known))

    def smooth(self, shapes: PolygonArray, mark: NDArray[np.uint64], heaps: Mask) -> tuple[PolygonArray, Mask]:
        """As `smoothed`, of shapes that are the same where their marks are; in their order, sound ones first.

        And which of the pieces are narrow somewhere.

        Parameters
        ----------
        shapes
            Those that `are_new` alone, (m,).
        mark, heaps
            The marks of all, and which are heaps of flakes, (n,).
        """
        new, whole = self.are_new(mark), shapes.copy()
        gap = 2 * max(RIM_MM, _least_gap(self._limits)) + 4 * SLACK_MM  # or smoothing closes it again
        whole[heaps[new]] = heaped(whole[heaps[new]], gap, self._limits)
        reached(0.4)
        whole[~heaps[new]] = without_tails(whole[~heaps[new]], self._limits)
        reached(0.5)
        sound, doubtful = smoothed(whole, self._limits, np.where(heaps[new], RIM_MM, _EASED_MM))
        reached(0.8)
        sound, doubtful = _limbless(sound, doubtful, self._limits, self._mass_mm2)
        reached(0.9)
        made = (*sound, np.zeros(len(sound[0]), dtype=bool)), (*doubtful, _narrow(doubtful[0], self._limits))
        order = np.argsort(mark, kind="stable")
        for nth, (more, whose, narrow) in enumerate(made):
            both = zip(self._pieces[nth], (more, mark[new][whose], narrow), strict=True)
            pieces, of, narrow_ = map(np.concatenate, both)
            here = np.isin(of, mark)
            place = order[np.searchsorted(mark[order], of[here])]
            chosen = np.flatnonzero(here)[np.argsort(place, kind="stable")]
            self._pieces[nth] = pieces[chosen], of[chosen], narrow_[chosen]
        self._known = mark
        every, _, narrow = map(np.concatenate, zip(*self._pieces, strict=True))
        return every, narrow


def gathered(shapes: PolygonArray, group: Indices) -> PolygonArray:
    """The shapes of each group as one geometry, to be offset: they may lie over one another."""
    order = np.argsort(group, kind="stable")
    numbers = np.cumsum(np.diff(group[order], prepend=-1) != 0) - 1
    sound = shapes[order].copy()
    broken = ~shapely.is_valid(sound)
    sound[broken] = shapely.make_valid(sound[broken])
    lots = np.asarray(shapely.geometrycollections(sound, indices=numbers), dtype=object)
    return np.asarray(shapely.union_all(lots[:, None], axis=1), dtype=object) if len(lots) else lots


def smoothed(shapes: PolygonArray, limits: Limits, most_mm: Floats | float = _EASED_MM) -> tuple[_Lot, _Lot]:
    """Gaps, bays and small holes filled; where the cutter does not pass, what it makes: sound ones, doubtful ones.

    Where two flakes meet a notch is left, small and sharp: round bays between round lobes would look like spilt paint.

    What the cutter's middle reaches of a shape is its core. If that hangs together and the shape has no holes, it is
    made in one piece. (Tips are a flake's own, and each flake is made to be cut.) It is asked of a cutter that is a
    little wider, and of one narrower by a hair: a flake that the wider one just does not enter shows in its core alone.
    Where all of a shape is in sight from everywhere in a disc as wide as the cutter both are so: the cutter gets from
    wherever it fits to that disc on a straight line, between two discs inside.
    And a bay has no narrow mouth where the outline nowhere bends back by half a circle. Of one whose sides meet at an
    angle the filling is ``gap (1 / cos(bend / 2) - 1)`` deep: where it would not show, the shape stays as it is.
    """
    radius = _MORE * limits.cut_mm / 2 + SLACK_MM
    plain = simpler(shapes)
    eased = np.minimum(_EASED * mean_radius(plain), most_mm)
    least = _least_gap(limits)
    gap, most = np.maximum(eased, least), max(_EASED_MM, least)
    blunt = np.flatnonzero(_one_without_holes(plain))
    blunt = blunt[geometry.room_inside(plain[blunt]) > radius]
    blunt = blunt[~_bends_more(plain[blunt], 2 * np.arccos(most / (most + _SHOWS_MM)))]
    others = np.delete(np.arange(len(shapes)), blunt)
    wider = shapely.buffer(shapes[others], gap[others], join_style="mitre", mitre_limit=_EDGED)
    wider = shapely.simplify(wider, FINE_MM / 2, preserve_topology=False)
    full, whose = _parts(shapely.buffer(wider, -gap[others], join_style="mitre", mitre_limit=_NOTCH), others)
    full, whose = _parts(simpler(_rounded(full, eased[whose], limits)), whose)
    broken = ~shapely.is_valid(full)  # by GEOS 3.14, now and then
    if broken.any():
        full[broken] = shapely.make_valid(full[broken])
        full, whose = _parts(full, whose)
    sound = geometry.room_inside(full) > radius
    asked = np.flatnonzero(~sound)
    core = shapely.buffer(full[asked], -radius, quad_segs=4)
    passed = _one_without_holes(full[asked]) & _one_without_holes(core)
    passed[passed] = _one_without_holes(geometry.offset(full[asked[passed]], _HAIR_MM - limits.cut_mm / 2))
    sound[asked] = passed
    rest, of_rest = _blunt(core[~passed], whose[~sound], radius, limits)
    whole, of_whole = _fine(np.concatenate([plain[blunt], full[sound]]), np.concatenate([blunt, whose[sound]]))
    open_ = ~_bends_more(whole, np.pi - _BENDS)
    doubtful = np.concatenate([whole[~open_], rest]), np.concatenate([of_whole[~open_], of_rest])
    return (whole[open_], of_whole[open_]), doubtful


def _limbless(sound: _Lot, doubtful: _Lot, limits: Limits, mass_mm2: float) -> tuple[_Lot, _Lot]:
    """The same, small ones without their limbs; what becomes of these is doubtful, too."""
    left = []
    more, whose = [], []
    for shapes, of in (sound, doubtful):
        limbed, made, nth = without_limbs(shapes, limits, mass_mm2)
        left.append((shapes[~limbed], of[~limbed]))
        more.append(made)
        whose.append(of[nth])
    made, of = _fine(*_parts(simpler(np.concatenate(more)), np.concatenate(whose)))
    return left[0], (np.concatenate([left[1][0], made]), np.concatenate([left[1][1], of]))


def _narrow(shapes: PolygonArray, limits: Limits) -> Mask:
    """Which shapes are narrow somewhere, or the land in them is; (n,)."""
    rings = geometry.rings(shapes)
    lands, cuts = necks(geometry.reversed_rings(rings), limits.land_mm), necks(rings, limits.cut_mm)
    return np.isin(np.arange(len(shapes)), rings.owner[np.concatenate([lands.first, cuts.first])])


def _least_gap(limits: Limits) -> float:
    """Half of what is filled of gaps and bays between any flakes, mm."""
    return max(FILLS * limits.land_mm, _FILLS_CUTS * limits.cut_mm) / 2


def _rounded(shapes: PolygonArray, by: Floats, limits: Limits) -> PolygonArray:
    """The shapes with their knobs rounded off by discs of this radius, or less; those that fall apart stay.

    Where rounds meet over a neck that no such disc passes, the spikes of land between them are filled. What still hangs
    on by such a neck alone goes.
    """
    rounded, left = shapes.copy(), np.arange(len(shapes))
    blunt = _MORE * limits.land_mm / 2 + SLACK_MM
    for radius in (by, by / 2, by / 4):
        core = shapely.buffer(rounded[left], -radius[left], quad_segs=_ARC)
        eased = shapely.buffer(core, radius[left], quad_segs=_ARC)
        parted = ~_alike(core, eased)
        eased[parted] = shapely.buffer(shapely.buffer(eased[parted], blunt, quad_segs=_ARC), -blunt, quad_segs=_ARC)
        eased = _largest(eased)
        whole = _alike(eased, rounded[left]) & (shapely.area(eased) > _KEEPS * shapely.area(rounded[left]))
        rounded[left[whole]] = eased[whole]
        left = left[~whole]
    return rounded


def _largest(shapes: PolygonArray) -> PolygonArray:
    """The largest part of each; (n,)."""
    largest = shapes.copy()
    many = np.flatnonzero(shapely.get_num_geometries(shapes) > 1)
    parts, whose = shapely.get_parts(shapes[many], return_index=True)
    largest[many] = parts[largest_of_each(parts, whose)]
    return largest


def largest_of_each(parts: PolygonArray, whose: Indices) -> Indices:
    """The number of the largest part of each owner, by its number; (owners,)."""
    order = np.lexsort((shapely.area(parts), whose))
    return np.asarray(order[np.flatnonzero(np.diff(whose[order], append=-1))])


def _alike(shapes: PolygonArray, others: PolygonArray) -> Mask:
    """Whether each has as many parts, and as many holes, as the other beside it."""
    parts = shapely.get_num_geometries(shapes) == shapely.get_num_geometries(others)
    return np.asarray(parts & (shapely.get_num_interior_rings(shapes) == shapely.get_num_interior_rings(others)))


def _bends_more(shapes: PolygonArray, than: float) -> Mask:
    """Whether the land bends round any shape's bay by more than so much, radians."""
    return Outline(geometry.reversed_rings(geometry.rings(shapes))).bends_more(than)


def _blunt(core: PolygonArray, whose: Indices, radius: float, limits: Limits) -> _Lot:
    """What a cutter makes whose middle goes where the core lies; no spike of land is left where its rounds meet."""
    blunt = _MORE * limits.land_mm / 2 + SLACK_MM
    wider = shapely.buffer(core, radius + blunt, quad_segs=4)
    reached, whose = _parts(shapely.make_valid(simpler(shapely.buffer(wider, -blunt, quad_segs=4))), whose)
    return _fine(without_specks(reached, limits), whose)


def _parts(shapes: PolygonArray, whose: Indices) -> _Lot:
    """Every polygon with an area in the shapes, and whose it is."""
    pieces, of = shapely.get_parts(shapes, return_index=True)
    if (shapely.get_type_id(pieces) > _POLYGON).any():
        return _parts(pieces, whose[of])
    kept = (shapely.get_type_id(pieces) == _POLYGON) & (shapely.area(pieces) > 0)
    return pieces[kept], whose[of][kept]


def _one_without_holes(shapes: PolygonArray) -> Mask:
    whole = (shapely.get_type_id(shapes) == 3) & ~shapely.is_empty(shapes)
    return np.asarray(whole & (shapely.get_num_interior_rings(shapes) == 0))


def fine(shapes: PolygonArray) -> PolygonArray:
    """The shapes on the grid, but not bound to it: what is laid over them is free to meet them anywhere.

    Shapes that are bound to a grid are laid over one another on it, and there GEOS may fail where outlines all but
    touch.
    """
    return _fine(shapes, np.arange(len(shapes)))[0]


def _fine(shapes: PolygonArray, whose: Indices) -> _Lot:
    rounded = np.asarray(shapely.set_precision(shapes, geometry.GRID_MM, mode="pointwise"), dtype=object)
    broken = ~shapely.is_valid(rounded) | (shapely.get_num_geometries(rounded) != 1) | shapely.is_empty(rounded)
    sound = shapely.set_precision(shapely.remove_repeated_points(rounded[~broken]), 0)
    mended, of = _parts(shapely.set_precision(shapes[broken], geometry.GRID_MM), whose[broken])
    return np.concatenate([sound, shapely.set_precision(mended, 0)]), np.concatenate([whose[~broken], of])


def simpler(shapes: PolygonArray) -> PolygonArray:
    """The shapes with fewer points, nowhere further off than `FINE_MM`; those that this would spoil with care."""
    simple = np.asarray(shapely.simplify(shapes, FINE_MM, preserve_topology=False), dtype=object)
    spoilt = ~shapely.is_valid(simple) | (shapely.get_num_geometries(simple) != shapely.get_num_geometries(shapes))
    simple[spoilt] = shapely.simplify(shapes[spoilt], FINE_MM)
    return simple


def without_specks(shapes: PolygonArray, limits: Limits) -> PolygonArray:
    """The shapes without holes whose islands can't stand."""
    shapes = shapes.copy()
    for k in np.flatnonzero(shapely.get_num_interior_rings(shapes) > 0).tolist():
        rings = np.asarray(shapely.get_rings(shapes[k]))
        room = 2 * shapely.length(shapely.maximum_inscribed_circle(shapely.polygons(rings[1:]), tolerance=0.02))
        shapes[k] = shapely.polygons(rings[0], rings[1:][room > 1.1 * max(limits.dot_mm, limits.land_mm)])
    return shapes
