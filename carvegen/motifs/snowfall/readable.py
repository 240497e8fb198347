"""Snow before dark things: what falls in front leaves them in one piece."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from itertools import count
from threading import Lock
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.shared.minimum_width import opened
from carvegen.motifs.snowfall.clumps import gathered

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Indices, Mask, PolygonArray
    from carvegen.motifs.snowfall.settings import Settings

__all__ = ["Figure", "mass_mm2", "masses", "uncut", "with_lines"]

# All of these are our own choice.
_SHRINKS = (0.8, 0.62, 0.48, 0.37)  #: a flake that would harm a figure is made so much smaller, or it goes
_WINDOW = 4.0  #: discs as wide as the largest flakes: what is light in a figure and smaller is a window, or a line
_LEFT = 2.5  #: lands: so much of a figure is left beside a flake; what is light and less than twice as wide is a line,
_TAKES = 1.5  #: as much as a flake takes of a figure's width is left, so many times, on one side or on both together
_PANE, _FILLS = 4.0, 0.75  #: or, no longer than so many times its width and filling so much of its box, a window's pane
_LONG = 4.0  #: lands: what is narrower than the land and longer than this is a line
_TOUCHES_MM2 = 1e-3  #: what covers no more of a figure lies beside it
_SOUND = 0.98  #: of a smaller flake, so much is the trace of the smallest cut
_BIT = 0.5  #: of the land's width: squares this wide are no piece of a bar
_TURNS = 2  #: in so many turns of their own all flakes of a lot of three are laid again
_NEARLY = 0.99  #: of what must be left, so much is left by several: what one leaves is not computed more exactly
_OUT = np.array([-1.0, -1.0, 1.0, 1.0])  #: of bounds


def mass_mm2(settings: Settings) -> float:
    """The area of a disc as wide as the largest flakes: what is larger is many flakes."""
    return float(np.pi / 4 * settings.largest_mm**2)


def masses(shapes: PolygonArray, settings: Settings) -> Mask:
    """Which shapes are many flakes; (n,)."""
    return np.asarray(shapely.area(shapes) > mass_mm2(settings))


@dataclass(frozen=True, kw_only=True, eq=False)
class Figure:
    """What must stay readable, as flakes of one largest size are held against it; looked at closely once."""

    seen: BaseGeometry  #: polygon or multipolygon with its lines (`with_lines`), mm
    settings: Settings  #: of the snow
    limits: Limits
    paper: BaseGeometry = field(default_factory=shapely.Polygon)  #: bare beside it: what lies on that is not seen

    alone: Lock = field(default_factory=Lock, repr=False)  #: held while its prepared shapes are asked

    def __post_init__(self) -> None:
        object.__setattr__(self, "seen", geometry.prepared(self.seen))
        object.__setattr__(self, "paper", geometry.prepared(self.paper))

    @cached_property
    def outline(self) -> BaseGeometry:
        """The outline of what is seen, prepared."""
        return geometry.prepared(shapely.boundary(self.seen))

    @cached_property
    def windows(self) -> BaseGeometry:
        """Outlines of small light places in it, prepared."""
        holes = geometry.holes(geometry.parts(self.seen))
        holes = holes[shapely.area(holes) < _WINDOW * mass_mm2(self.settings)]
        broad = ~shapely.is_empty(geometry.offset(holes, -_LEFT * self.limits.land_mm))
        return geometry.prepared(shapely.boundary(geometry.union(holes[broad | _panes(holes, self.limits)])))


def _panes(holes: PolygonArray, limits: Limits) -> Mask:
    """Which light places in a figure are compact, as panes are between bars, however small; no gap in a crown; (n,)."""
    if len(holes) == 0:
        return np.zeros(0, dtype=bool)
    corners = shapely.get_coordinates(shapely.oriented_envelope(holes)).reshape(len(holes), -1, 2)
    short, long = np.sort(np.hypot(*np.diff(corners[:, :3], axis=1).T), axis=0)
    filled = shapely.area(holes) > _FILLS * short * long
    return np.asarray((short > limits.cut_mm) & (long < _PANE * short) & filled)


def uncut(shapes: PolygonArray, readable: Figure) -> PolygonArray:
    """The shapes, single flakes smaller or gone that lie on a figure and harm it.

    One does that cuts it through, leaves less than some lands of it on one side or much less than it takes, opens a
    small light place in it, as a window is, or lies on bare paper, too, where only a bite of it would be seen. A
    smaller one lies in the flake itself and is made by the smallest cut.
    Of several that cut through together, three across at most, as few go as must. A flake more or less changes nothing
    further off than twelve times two of the largest flakes and what must be left beside each; mostly no further than a
    few flakes.

    Parameters
    ----------
    shapes
        Polygons (n,), mm. Masses stay as they are.
    readable
        What must stay so.

    Returns
    -------
    PolygonArray
        As many, or fewer.
    """
    with readable.alone:  # prints that grow side by side in one program share it
        return _uncut(shapes, readable)


def _uncut(shapes: PolygonArray, readable: Figure) -> PolygonArray:
    settings, limits = readable.settings, readable.limits
    figure, outline, windows = readable.seen, readable.outline, readable.windows
    left = _LEFT * limits.land_mm

    def harms(some: PolygonArray) -> Mask:
        """Whether each does, (n,)."""
        near = shapely.dwithin(some, outline, left)
        harm = near & (shapely.covers(figure, some) | shapely.dwithin(some, windows, left))
        rest = np.flatnonzero(near & ~harm)
        harm[rest] = _cut_through(some[rest], figure, left, limits)
        harm |= _bites(some, figure, readable.paper)
        more = _TAKES * _taken(some, figure, outline)
        rest = np.flatnonzero(~harm & (more > left) & (shapely.distance(some, outline) <= more))
        harm[rest] = _cut_through(some[rest], figure, more[rest], limits)
        return np.asarray(harm)

    shapes, stays = shapes.copy(), np.ones(len(shapes), dtype=bool)
    bad = np.flatnonzero(~masses(shapes, settings) & shapely.intersects(figure, shapes))
    bad = bad[shapely.area(shapely.intersection(shapes[bad], figure)) > _TOUCHES_MM2]
    bad = bad[harms(shapes[bad])]
    middle = shapely.get_coordinates(shapely.centroid(shapes[bad]))
    whole = shapes[bad]
    for share in _SHRINKS:
        if len(bad) == 0:
            break
        xy, of = shapely.get_coordinates(whole, return_index=True)
        smaller = shapely.set_coordinates(whole.copy(), middle[of] + share * (xy - middle[of]))
        shapes[bad] = smaller
        sound = shapely.covers(whole, smaller) & _made(smaller, limits)
        stays[bad[~sound]] = False
        still = sound & harms(smaller)
        bad, middle, whole = bad[still], middle[still], whole[still]
    stays[bad] = False
    shapes = shapes[stays]
    lying = np.flatnonzero(~masses(shapes, settings) & shapely.intersects(figure, shapes))
    lying = lying[shapely.area(shapely.intersection(shapes[lying], figure)) > _TOUCHES_MM2]
    return np.delete(shapes, lying[_cutting_together(shapes[lying], figure, outline, settings, limits)])


def _bites(flakes: PolygonArray, figure: BaseGeometry, paper: BaseGeometry) -> Mask:
    """Which flakes lie on a figure and on bare paper beside it; (n,)."""
    bites = np.asarray(shapely.intersects(paper, flakes))
    for ground in (paper, figure):
        bites[bites] = shapely.area(shapely.intersection(flakes[bites], ground)) > _TOUCHES_MM2
    return bites


def with_lines(figure: BaseGeometry, limits: Limits) -> BaseGeometry:
    """A figure without what is narrower than the land; but long lines, as twigs are, so wide that they can stand."""
    broad = opened(figure, limits.land_mm)
    thin = geometry.parts(shapely.difference(figure, broad))
    lines = thin[shapely.length(thin) / 2 > _LONG * limits.land_mm]
    return geometry.solid(shapely.union_all([broad, *geometry.offset(lines, limits.land_mm / 2, quad_segs=2)]))


def _cutting_together(
    flakes: PolygonArray, figure: BaseGeometry, outline: BaseGeometry, settings: Settings, limits: Limits
) -> Indices:
    """Numbers of the flakes that go where several cut a figure through, though each alone leaves enough of it.

    Judged together is a lot: a flake and those of its neighbours, nearer than what must be left, that come near the
    outline. Of lots that cut, one flake after another is laid again, and goes if it cuts with those that lie: first
    those that help least by going, of these the largest. Each waits only for those in its own lots that come before
    it, for some turns; for the rest cells of a grid take turns. Cells of one turn lie too far apart for one lot, so
    that what a flake waits for ends within four cells.
    """
    lot, member = _lots(flakes, outline, _LEFT * limits.land_mm)
    cut = _cut_by_all(flakes[member], lot, figure, limits)[lot]
    lot, member = np.unique_inverse(lot[cut]).inverse_indices, member[cut]
    one, other = _others(lot)
    still = _cut_by_all(flakes[member[other]], one, figure, limits)
    helps = np.bincount(member, ~still, minlength=len(flakes))
    xy = shapely.get_coordinates(shapely.centroid(flakes))
    cell = np.floor(xy / (2 * (_LEFT * limits.land_mm + settings.largest_mm))) % 2 @ (1, 2)
    by_worth = xy[:, 1], xy[:, 0], -shapely.area(flakes), helps
    waits, gone = np.zeros((2, len(flakes)), dtype=bool)
    waits[member] = True
    for turn in count():
        if not waits.any():
            break
        rank = np.argsort(np.lexsort(by_worth if turn < _TURNS else (*by_worth, cell)))
        it, before = member[one], member[other]
        now = waits.copy()
        now[it[waits[it] & waits[before] & (rank[before] < rank[it])]] = False
        waits &= ~now
        asked = np.isin(lot, lot[now[member]]) & ~(waits | gone)[member]
        name, number = np.unique_inverse(lot[asked])
        cut = np.isin(lot, name[_cut_by_all(flakes[member[asked]], number, figure, limits)])
        gone[member[cut & now[member]]] = True
    return np.flatnonzero(gone)


def _lots(flakes: PolygonArray, outline: BaseGeometry, left: float) -> tuple[Indices, Indices]:
    """Lots, from 0 on in order, and who is in each; two at least of each come near the outline; (m,), (m,)."""
    i, j, _ = geometry.close_pairs(flakes, left)
    some = np.unique(np.concatenate([i, j]))
    at_side = np.zeros(len(flakes), dtype=bool)
    at_side[some] = shapely.dwithin(flakes[some], outline, left)
    by, member = np.concatenate([some, i, j]), np.concatenate([some, j, i])
    kept = at_side[member] | (member == by)
    kept &= (np.bincount(by, at_side[member], minlength=len(flakes)) > 1)[by]
    order = np.flatnonzero(kept)[np.argsort(by[kept], kind="stable")]
    return np.unique_inverse(by[order]).inverse_indices, member[order]


def _others(lot: Indices) -> tuple[Indices, Indices]:
    """For each entry, of lots in order, the others of its lot: pairs of places in `lot`."""
    size = np.bincount(lot)
    one = np.repeat(np.arange(len(lot)), size[lot])
    start = np.cumsum(size) - size
    other = np.arange(len(one)) - np.repeat(np.cumsum(size[lot]) - size[lot], size[lot]) + start[lot[one]]
    return one[one != other], other[one != other]


def _cut_by_all(flakes: PolygonArray, group: Indices, figure: BaseGeometry, limits: Limits) -> Mask:
    """Whether each group of flakes cuts a figure through that none of its flakes cuts; groups from 0 on, (groups,)."""
    left = _LEFT * limits.land_mm
    together = gathered(flakes, group)
    around = _about(figure, together, limits, left)

    def pieces(ground: PolygonArray, white: PolygonArray) -> Indices:
        return _pieces(geometry.offset(shapely.difference(ground, white), -_NEARLY * left / 2, quad_segs=4), limits)

    most = np.zeros(len(together), dtype=np.int64)
    np.maximum.at(most, group, pieces(around[group], flakes))
    return np.asarray(pieces(around, together) > most)


def _about(figure: BaseGeometry, shapes: PolygonArray, limits: Limits, left: Floats | float) -> PolygonArray:
    """What of a figure lies about each shape, further off than what must be left beside it, mm; (n,)."""
    reach = np.broadcast_to(left + 3 * limits.land_mm, len(shapes))
    windows = shapely.bounds(shapes) + reach[:, None] * _OUT
    around = geometry.polygon_array(shapely.clip_by_rect(figure, *window) for window in windows)
    return np.asarray(shapely.make_valid(around), dtype=object)


def _made(shapes: PolygonArray, limits: Limits) -> Mask:
    """Which shapes the smallest cut makes, each in one piece; (n,)."""
    inner = geometry.offset(shapes, -limits.cut_mm / 2)
    trace = shapely.area(geometry.offset(inner, limits.cut_mm / 2))
    return np.asarray((shapely.get_num_geometries(inner) == 1) & (trace > _SOUND * shapely.area(shapes)))


def _taken(flakes: PolygonArray, figure: BaseGeometry, outline: BaseGeometry) -> Floats:
    """How far each flake reaches into a figure, mm; of one that lies all inside it half of how wide that is; (n,)."""
    xy, of = shapely.get_coordinates(flakes, return_index=True)
    points = geometry.dots(xy)
    inside = np.flatnonzero(shapely.intersects(figure, points))
    deep = np.zeros(len(flakes))
    np.maximum.at(deep, of[inside], shapely.distance(outline, points[inside]))
    return np.where(shapely.covers(figure, flakes), np.sqrt(shapely.area(flakes) / np.pi), deep)


def _cut_through(shapes: PolygonArray, figure: BaseGeometry, left: Floats | float, limits: Limits) -> Mask:
    """Whether each shape cuts through what it meets of a figure, with what must be left beside it, mm; (n,)."""
    bits, of = shapely.get_parts(_about(figure, shapes, limits, left), return_index=True)
    met = shapely.intersects(bits, shapes[of])
    bits, of = bits[met], of[met]
    rest = shapely.difference(bits, geometry.offset(shapes, left)[of])
    return np.bincount(of[_pieces(rest, limits) > 1], minlength=len(shapes)) > 0


def _pieces(shapes: PolygonArray, limits: Limits) -> Indices:
    """In how many pieces each shape is, crumbs not counted; (n,)."""
    parts, whose = shapely.get_parts(shapes, return_index=True)
    return np.bincount(whose[shapely.area(parts) > (_BIT * limits.land_mm) ** 2], minlength=len(shapes))
