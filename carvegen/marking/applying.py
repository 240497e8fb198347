"""What marks do to what has grown: each in its own neighbourhood, all else as it was, point by point."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.streams import stream
from carvegen.marking.ends import (
    LITTLE,
    Habit,
    cut_back,
    habit_of,
    left_alone,
    lowered,
    ragged,
    raised,
    room,
    with_above,
)
from carvegen.marking.marks import Mark, Meaning
from carvegen.marking.near_land import clear_of, finding_room, firm, joined_to, taken_back, weak_places
from carvegen.motifs import motif
from carvegen.motifs.growth import Growth, Place
from carvegen.motifs.shared.minimum_width import opened
from carvegen.motifs.snowfall.chance import chance_at

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Mask, PolygonArray

__all__ = ["BESIDE_MM", "Bed", "in_order", "marked", "reach_mm", "settled_by"]

#: In which order the marks work, whatever their order in the file: what must stay or come out has the last word.
_ORDER = (
    Meaning.GROW_AGAIN, Meaning.LESS, Meaning.MORE, Meaning.CARVER_DECIDES, Meaning.STAYS, Meaning.COMES_OUT,
)  # fmt: skip
_SUPPLY = 1.6  #: so much more falls than is wanted, for some comes too near to what is there
_SNOW = (0.02, 0.5)  #: least and most share of white that is asked of the weather in a mark
_DEEPER = 0.8  #: by so much deeper snow lies where a mark asks for more
_FLURRY = 2.5  #: so much denser than elsewhere a flurry is that a mark asks for,
_LEAST_FLURRY = 0.12  #: and at least so dense
_FEW, _MIDDLING = 4, 1.4  #: nor is it less than so many flakes of so many times the smallest one's size
_RAISED = 1.0  #: of its thickness: so much a heap rises in a mark that asks for more with all its strength
_FALLS, _ENOUGH = 8, 0.1  #: snow falls so often at most, until no more than this share of it is missing
_NO_ROOM = 0.04  #: where less than this share of it finds room, smaller flakes fall
_SMALLER = 0.6  #: by so much, down to the smallest
_LARGE = 0.5  #: of what is wanted: no flake that falls into a mark is larger
_WORTH_MOVING = 2.0  #: flakes from so many times the smallest one's size on are moved to where there is room,
_MOVED, _MOVES = 1.5, 40  #: by so many flakes at most, in so many tries
_OF_FLURRY, _SMALL = 0.2, 1.5  #: nor of a flurry; but up to so many times the smallest one's size all fall
BESIDE_MM = 0.03  #: more than the slack with which land is kept
_LONG_ENOUGH = 0.6  #: of a flake: shorter strokes are not strewn between others
_FROM = 0.95  #: of a flake: so far beyond a mark branches may start that grow into it
_INTO = 0.4  #: so much of a new stroke lies in the mark at least
_CALM = 1.5  #: so much more falls where the level is known: the mark may lie in a calm
_RISES = 0.8  #: white rises with the level of snow nearly as 1 - exp(-a level^b): b
_MOST_OF_IT = 0.5  #: of a flake with so much in a mark that comes out nothing is left beside it
_WART = 0.25  #: of a mark that comes out: no flake is so small that is left on its rim
_FADES, _RIM = 1.5, 0.6  #: snow that grows again fades over so many flakes, at most over this share of a mark's depth
_ROUGHLY_MM = 0.1
_MASS = 4.0  #: of the largest flake's area: what is larger and runs out of a mark's reach is bitten out, it never goes
_LOW_MM = 4.0  #: thinner snow that lies ends as ragged as if it were so thick

Grow = Callable[[Any, Place, "Generator"], "PolygonArray"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Bed:
    """One motif as marks need to know it: how it grows, where, and what else is white there."""

    motif: str
    name: str  #: names its streams of random numbers
    settings: Any  #: the motif's own `Settings`
    place: Place
    limits: Limits
    seed: int
    white: str = ""  #: the motif's name in its print
    others: PolygonArray = field(default_factory=geometry.empty)  #: other white on the same blocks
    grow: Grow | None = None  #: the motif's shapes for settings, place and stream; by default as it grows by itself
    grows: bool = True  #: False: no mark makes more of it, or makes it grow again
    if_named: bool = False  #: only a mark that names it does
    by: Callable[[Limits], Bed] | None = None  #: the same by other limits
    grew: Mapping[tuple[str, int], Limits] = field(default_factory=dict)  #: by key and try, what locked marks grew by

    @property
    def habit(self) -> Habit:
        """How its shapes lie and end."""
        return habit_of(self.motif, self.settings)

    def stream(self, mark: Mark, *path: str) -> Generator:
        """The stream of a mark, the same whatever else is marked."""
        return stream(self.seed, "mark", self.name, mark.key, *path)

    def of(self, mark: Mark) -> Bed:
        """The bed by the limits that a mark was done by before others came to cut it; itself if none came."""
        limits = self.grew.get((mark.key, mark.attempt))
        if limits is None or limits == self.limits or self.by is None:
            return self
        return replace(self.by(limits), others=self.others)

    def grown(self, settings: Any, place: Place, rng: Generator) -> PolygonArray:  # noqa: ANN401
        """The motif grown anew, free of its grid; none where it finds no room."""
        if shapely.area(place.area) <= 0:
            return geometry.empty()
        if self.grow is not None:
            shapes = self.grow(settings, place, rng)
        else:
            shapes = motif(self.motif).grow(settings, place, self.limits, rng).cuts
        result: PolygonArray = geometry.free_of_grid(shapes)
        return result


def reach_mm(motif: str, settings: Any, limits: Limits) -> float:  # noqa: ANN401
    """How far beyond a mark anything changes: a land and a flake."""
    return limits.land_mm + habit_of(motif, settings).flake_mm


def settled_by(settings: Any, kept: Mapping[str, float]) -> Any:  # noqa: ANN401
    """The settings that marks grow by: how much falls is as it was solved for the whole face, if that is known."""
    if not hasattr(settings, "level"):
        return settings
    names = () if settings.level else [each.name for each in fields(settings) if each.name in kept]
    try:
        return replace(settings, **{"level": 0.0, **{name: kept[name] for name in names}})
    except InputError:  # somebody has written them
        return replace(settings, level=0.0)


def marked(growth: Growth, marks: Sequence[Mark], bed: Bed) -> Growth:
    """What has grown, or was kept, after all marks: nothing changes further from them than a land and a flake.

    Parameters
    ----------
    marks
        Those that are for this motif and its blocks. The order among them tells only where two of one meaning are near
        one another.

    Returns
    -------
    Growth
        The same object if there is no mark.
    """
    for mark in in_order(marks):
        if not shapely.is_empty(mark.shape):
            growth = _Hand(growth, mark, bed).done()
    return growth


def in_order(marks: Sequence[Mark]) -> list[Mark]:
    """The marks in the order in which they work."""
    return sorted(marks, key=lambda mark: _ORDER.index(mark.meaning))


def _falling(settings: Any, share: float) -> Any:  # noqa: ANN401
    """The settings with so much snow asked, the level that is known of them along with it."""
    if not getattr(settings, "level", 0.0):
        return replace(settings, snow=share)
    share = min(_CALM * share, _SNOW[1])
    rise = np.log(np.log1p(-share) / np.log1p(-settings.snow)) / _RISES
    return replace(settings, snow=share, level=float(min(settings.level * np.exp(rise), 1000.0)))


def _smaller(settings: Any) -> Any:  # noqa: ANN401
    """The settings with smaller flakes; the same if they have no size, or none is smaller."""
    if not hasattr(settings, "largest_mm"):
        return settings
    return replace(settings, largest_mm=max(_SMALLER * settings.largest_mm, settings.smallest_mm))


class _Hand:
    """One mark at work on what has grown."""

    def __init__(self, growth: Growth, mark: Mark, bed: Bed) -> None:
        cuts = shapely.set_precision(growth.cuts, 0, mode="pointwise")  # on a grid GEOS may fail where outlines touch
        self.growth, self.bed = replace(growth, cuts=cuts), bed
        self.mark = replace(mark, shape=geometry.prepared(mark.shape))
        self.habit, self.limits = bed.habit, bed.limits
        self.zone = shapely.buffer(mark.shape, reach_mm(bed.motif, bed.settings, bed.limits))
        shapely.prepare(self.zone)

    def done(self) -> Growth:
        """The growth after it; what it has changed holds."""
        growth = self._changed()
        same = {id(shape) for shape in self.growth.cuts}
        new = np.array([id(shape) not in same for shape in growth.cuts], dtype=bool)
        if not new.any():
            return growth
        white = self.mark.shape if self.mark.meaning == Meaning.COMES_OUT else shapely.Polygon()
        held = self._taken_back(growth.cuts[new], growth.cuts[~new], but=white)
        return self._with(np.concatenate([growth.cuts[~new], held]), free=growth.free, to_decide=growth.to_decide)

    def _changed(self) -> Growth:
        return {
            Meaning.STAYS: self._stays, Meaning.COMES_OUT: self._comes_out, Meaning.LESS: self._less,
            Meaning.CARVER_DECIDES: self._carver_decides, Meaning.MORE: self._more, Meaning.GROW_AGAIN: self._again,
        }[self.mark.meaning]()  # fmt: skip

    # ── what goes ──

    def _stays(self) -> Growth:
        thin = shapely.difference(self.mark.shape, opened(self.mark.shape, self.limits.land_mm))
        region = geometry.solid(shapely.union(self.mark.shape, shapely.buffer(thin, self.limits.land_mm / 2)))
        cuts, gone = self._without(region, self._touched(region))
        free = self.growth.free
        if len(free):
            met = shapely.intersects(free, shapely.union(region, gone))
            less = geometry.parts(shapely.difference(free[met], shapely.union(region, gone)))
            free = np.concatenate([free[~met], geometry.snapped(less)])
        return self._with(cuts, free=free)

    def _carver_decides(self) -> Growth:
        cuts, gone = self._without(self.mark.shape, self._touched(self.mark.shape))
        pieces = geometry.snapped(geometry.parts(gone))
        pieces = pieces[shapely.area(pieces) > self.limits.cut_mm**2]
        return self._with(cuts, to_decide=np.concatenate([self.growth.to_decide, pieces]))

    def _less(self) -> Growth:
        cuts = self.growth.cuts
        touched = np.flatnonzero(self._touched(self.mark.shape))
        if self.habit.settles:
            whole = [(cut, with_above(self.mark.shape, cut, self.habit)) for cut in cuts[touched]]
            low = [lowered(cut, mark, self.mark.strength, self.habit, self.limits) for cut, mark in whole]
            return self._with(np.concatenate([np.delete(cuts, touched), *low]))
        where = shapely.get_coordinates(shapely.centroid(shapely.intersection(cuts[touched], self.mark.shape)))
        goes = np.zeros(len(cuts), dtype=bool)
        goes[touched] = self._chance(where) < self.mark.strength
        if self.habit.whole:
            goes &= self._inside(cuts) | ~shapely.within(cuts, self.zone)
        return self._with(self._without(self.mark.shape, goes)[0])

    def _without(self, region: BaseGeometry, goes: Mask) -> tuple[PolygonArray, BaseGeometry]:
        """The cuts without those that go, or as much of these as lies in the region; and what is gone."""
        cuts = self.growth.cuts
        if not goes.any():
            return cuts, shapely.Polygon()
        whole = goes & shapely.within(cuts, self.zone)
        bitten = np.flatnonzero(goes & ~(whole & self.habit.whole) & ~shapely.covers(region, cuts)).tolist()
        every = None  # what is taken of each but of what lies on things
        if bitten and not self.habit.settles:
            every = ragged(region, self.habit, self.bed.stream(self.mark, "edge"))
        left = list[Any]()
        for k in bitten:
            own = self._bite(cuts[k], region) if every is None else every
            rest = cut_back(cuts[k], own, self.habit, self.limits)
            rest = rest[~left_alone(rest, cuts[k], region, self.habit)]
            if self.habit.settles or not whole[k] or shapely.area(rest).sum() > LITTLE * shapely.area(cuts[k]):
                left.append(rest)
        rest = geometry.stack(left)
        gone = shapely.difference(shapely.union_all(cuts[goes]), shapely.union_all(rest))
        return np.concatenate([cuts[~goes], rest]), geometry.solid(gone)

    def _bite(self, shape: Polygon, region: BaseGeometry) -> BaseGeometry:
        """What a region takes of what lies on things, its rim as ragged as that is thick."""
        around = shapely.box(*(shapely.bounds(shape) + 2 * self.habit.flake_mm * np.array([-1, -1, 1, 1])))
        region = shapely.intersection(region, around)
        thick = 2 * room(geometry.solid(shapely.intersection(shape, region)))
        low = replace(self.habit, flake_mm=min(max(thick, _LOW_MM), self.habit.flake_mm))
        return ragged(with_above(region, shape, self.habit), low, self.bed.stream(self.mark, "edge"))

    # ── what comes ──

    def _again(self) -> Growth:
        cuts, shape = self.growth.cuts, self.mark.shape
        rng = self.bed.stream(self.mark, "again", str(self.mark.attempt))
        if self.habit.settles:
            half = 0.3 * self.habit.flake_mm
            inner, outer = shapely.buffer(shape, -half), shapely.buffer(shape, half)
            old = self._each(cuts, inner)
            return self._with(self._merged(old, self._anew(self.bed.settings, outer, rng)))
        if self.habit.whole:
            inside, masses = self._inside(cuts), self._masses(cuts)
            fading = inside & self._faded(cuts)
            fades = bool(fading.any())  # in a mark of a flake's size it may be that none would go
            goes = masses | (fading if fades else inside)
            left, _ = self._without(shape, goes)
            gone = max(self._white_in(cuts) - self._white_in(left), 0.0)
            wanted = gone if self._white_in(cuts[goes | inside]) else self._usual
            return self._with(self._fallen(left, wanted, rng, fades=fades))
        if self.habit.springs:
            return self._with(self._grown_on(rng))
        left, _ = self._without(shape, self._touched(shape))
        return self._with(self._between(left, self._strewn(rng), np.inf))

    def _grown_on(self, rng: Generator) -> PolygonArray:
        from carvegen.marking.near_land import grown_on

        bed = self.bed
        return grown_on(
            self.growth.cuts, bed.others, mark=self.mark.shape, zone=self.zone, settings=bed.settings, place=bed.place,
            limits=self.limits, habit=self.habit, rng=rng,
        )  # fmt: skip

    def _more(self) -> Growth:
        """What comes with half the strength comes with all of it, too, and more."""
        cuts, strength = self.growth.cuts, self.mark.strength
        rng = self.bed.stream(self.mark, "more")
        there = self._white_in(cuts)
        if self.habit.settles:
            return self._with(self._merged(cuts, self._deeper(cuts, rng)))
        if self.habit.whole:
            wanted = max(there, self._flurry - there)
            large = max(_OF_FLURRY * wanted, self._flake_mm2(_SMALL))
            return self._with(self._fallen(cuts, wanted, rng, share=strength, large_mm2=large))
        return self._with(self._between(cuts, self._strewn(rng), strength * (there or self._usual)))

    def _deeper(self, cuts: PolygonArray, rng: Generator) -> PolygonArray:
        """The heaps of the mark raised, and where nothing lies some that come with deeper snow."""
        strength, settings = self.mark.strength, self.bed.settings
        high = [
            raised(cut, self.mark.shape, _RAISED * strength, self.habit) for cut in cuts[self._touched(self.mark.shape)]
        ]
        deep = replace(settings, fallen_mm=min(settings.fallen_mm * (1 + _DEEPER), 60.0))
        new = self._anew(deep, self.mark.shape, rng)
        new = new[self._chance(shapely.get_coordinates(shapely.centroid(new))) < strength] if len(new) else new
        inside = shapely.intersection(geometry.polygon_array(high), self.bed.place.area)
        return np.concatenate([geometry.parts(inside), new])

    def _faded(self, shapes: PolygonArray) -> Mask:
        """Which whole ones are of what grows anew: all deep in the mark, fewer and fewer towards its rim; (n,)."""
        if len(shapes) == 0:
            return np.zeros(0, dtype=bool)
        middles = shapely.centroid(shapes)
        disc = shapely.maximum_inscribed_circle(np.array([self.mark.shape], dtype=object), tolerance=_ROUGHLY_MM)
        band = min(_FADES * self.habit.flake_mm, _RIM * float(shapely.length(disc)[0]))
        away = self.bed.stream(self.mark, "fade", str(self.mark.attempt)).uniform(0, 1000, 2)
        chance = chance_at(shapely.get_coordinates(middles) + away)
        return np.asarray(chance < shapely.distance(shapely.boundary(self.mark.shape), middles) / band)

    def _fallen(
        self, cuts: PolygonArray, wanted_mm2: float, rng: Generator, *, share: float = 1.0, fades: bool = False,
        large_mm2: float | None = None,
    ) -> PolygonArray:  # fmt: skip
        """The cuts and whole shapes that fall into the mark, clear of all others, until there is enough.

        Parameters
        ----------
        wanted_mm2
            Until there is so much, they fall again, each time between all that has fallen.
        share
            So much of that is taken: of what falls with all the strength, the part that comes first by chance.
        fades
            Less and less falls towards the mark's rim.
        large_mm2
            No flake that falls is larger; by default than half of what is wanted.
        """
        settings = self.bed.settings
        if hasattr(settings, "cut_at_edge") and shapely.contains_properly(self.bed.place.edge, self.zone):
            settings = replace(settings, cut_at_edge=False)  # what a window's side cuts off is not in the mark
        area = max(float(shapely.area(self.mark.shape)), 1e-6)
        fallen = geometry.empty()
        for chance in [rng, *(self.bed.stream(self.mark, "fall", str(k)) for k in range(2, _FALLS + 1))]:
            left = wanted_mm2 - float(shapely.area(fallen).sum())
            if left <= _ENOUGH * wanted_mm2:
                break
            falls = settings
            if hasattr(settings, "snow"):
                falls = _falling(settings, float(np.clip(_SUPPLY * left / area, *_SNOW)))
            new = self.bed.grown(falls, self._window(settings), chance)
            new = new[self._inside(new) & shapely.within(new, self.zone) & (self._faded(new) if fades else True)]
            new = new[shapely.area(new) <= (_LARGE * wanted_mm2 if large_mm2 is None else large_mm2)]
            beside = np.concatenate([cuts, fallen, self.bed.others])
            new = self._with_room(new, beside, chance, fades=fades)
            new = self._first(firm(new, beside, self.bed.place, self.limits), left)
            fallen = np.concatenate([fallen, new])
            if shapely.area(new).sum() < _NO_ROOM * wanted_mm2:
                settings = _smaller(settings)
        return np.concatenate([cuts, self._first(fallen, share * float(shapely.area(fallen).sum()))])

    def _with_room(self, new: PolygonArray, beside: PolygonArray, rng: Generator, *, fades: bool) -> PolygonArray:
        """The new shapes clear of what lies beside them; large ones that are not are moved to where there is room."""
        clear = clear_of(new, beside, self.limits)
        known = {id(shape) for shape in clear}
        rest = geometry.polygon_array(
            shape for shape in new if id(shape) not in known and shape.area > self._flake_mm2(_WORTH_MOVING)
        )
        place = self.bed.place
        drawn = shapely.STRtree(geometry.parts([*place.shapes, *place.fronts, *place.hides, place.bars]))

        def fits(moved: PolygonArray) -> Mask:
            there = self._inside(moved) & shapely.within(moved, self.zone) & shapely.within(moved, place.area)
            there[np.unique(drawn.query(moved, predicate="intersects")[0])] = False
            return np.asarray(there & (self._faded(moved) if fades else True))

        reach = _MOVED * self.habit.flake_mm
        moves = (rng.uniform(-reach, reach, (len(rest), 2)) for _ in range(_MOVES))
        moved = finding_room(rest, np.concatenate([beside, clear]), self.limits, moves=moves, fits=fits)
        return np.concatenate([clear, moved])

    def _first(self, shapes: PolygonArray, wanted_mm2: float) -> PolygonArray:
        """Those that come first by the mark's chance, large ones late, until there is enough; one at least."""
        size = shapely.area(shapes)
        late = size / max(float(size.sum()), 1e-9)
        order = np.argsort(self._chance(shapely.get_coordinates(shapely.centroid(shapes))) / 2 + late, kind="stable")
        enough = np.cumsum(size[order]) - size[order] / 2 <= wanted_mm2
        enough[:1] = True
        return shapes[order][enough]

    def _anew(self, settings: Any, inside: BaseGeometry, rng: Generator) -> PolygonArray:  # noqa: ANN401
        """What grows of the motif as a whole, as far as it lies inside, with ends of its own."""
        around = shapely.buffer(inside, 2 * self.habit.flake_mm, quad_segs=2)
        outside = shapely.difference(around, inside)
        result = self.bed.grown(settings, self.bed.place, rng)
        result = result[shapely.intersects(result, inside)]
        result = geometry.parts(shapely.intersection(result, shapely.buffer(inside, self.habit.flake_mm, quad_segs=2)))
        if not (self.habit.settles or self.habit.springs):
            outside = ragged(outside, self.habit, self.bed.stream(self.mark, "rim"))
        return self._each(result, outside)

    def _strewn(self, rng: Generator) -> PolygonArray:
        """What grows of the motif in the mark, and beyond its rim as far as to what it springs from."""
        around = shapely.buffer(self.mark.shape, _FROM * self.habit.flake_mm) if self.habit.springs else self.mark.shape
        return self._anew(self.bed.settings, around, rng)

    def _each(self, shapes: PolygonArray, bite: BaseGeometry) -> PolygonArray:
        """The shapes with each that meets the bite cut back by it; heaps, too, from above and from below."""
        habit = replace(self.habit, settles=False)  # they are laid over one another, and must rise and sink by and by
        met = shapely.intersects(shapes, bite) if not shapely.is_empty(bite) else np.zeros(len(shapes), dtype=bool)
        rest = [cut_back(shape, bite, habit, self.limits) for shape in shapes[met]]
        return np.concatenate([shapes[~met], *rest])

    def _merged(self, cuts: PolygonArray, new: PolygonArray) -> PolygonArray:
        """Heaps joined to those that they meet."""
        new = clear_of(new, self.bed.others, self.limits, trim=True)
        if len(new) == 0:
            return cuts
        near = shapely.dwithin(cuts, shapely.union_all(new), self.limits.land_mm + BESIDE_MM)
        one = joined_to(cuts[near], shapely.union_all(new), self.limits)
        return np.concatenate([cuts[~near], one])

    def _taken_back(self, shapes: PolygonArray, rest: PolygonArray, *, but: BaseGeometry) -> PolygonArray:
        fixed = np.concatenate([rest, self.bed.others])
        inner = shapely.buffer(self.zone, -self.limits.land_mm)
        return taken_back(shapes, fixed, inner, self.bed.place, self.limits, but=but)

    def _between(self, cuts: PolygonArray, new: PolygonArray, wanted_mm2: float) -> PolygonArray:
        """The cuts, and as much as is wanted of what is new and finds room between them."""
        new = clear_of(
            new,
            np.concatenate([cuts, self.bed.others]),
            self.limits,
            trim=True,
            least_mm=_LONG_ENOUGH * self.habit.flake_mm,
        )
        new = new[shapely.area(shapely.intersection(new, self.mark.shape)) > _INTO * shapely.area(new)]
        return self._firm(cuts, self._first(new, wanted_mm2))

    def _firm(self, cuts: PolygonArray, new: PolygonArray) -> PolygonArray:
        """The cuts, and of what is new all that leaves the land wide enough."""
        return np.concatenate([cuts, firm(new, np.concatenate([cuts, self.bed.others]), self.bed.place, self.limits)])

    def _comes_out(self) -> Growth:
        """The mark is white, and one with what it meets; what would leave land too narrow beside it goes."""
        cuts, white, land = self.growth.cuts, self.mark.shape, self.limits.land_mm
        near = shapely.dwithin(cuts, white, land + BESIDE_MM)
        rest, joins = cuts[~near], cuts[near]
        joins = joins[~self._warts(joins)]
        while True:
            one = joined_to(joins, white, self.limits)
            weak = weak_places(one, np.concatenate([rest, self.bed.others]), self.bed.place, self.limits)
            weak = shapely.union_all(weak[shapely.intersects(weak, self.zone)])
            loose = self._goes(joins, weak)
            if shapely.is_empty(weak) or not (loose.any() or self._goes(rest, weak).any()):
                break
            joins, rest = joins[~loose], rest[~self._goes(rest, weak)]
        free, hers = (
            geometry.snapped(geometry.parts(shapely.difference(part, white))) if len(part) else part
            for part in (self.growth.free, self.growth.to_decide)
        )
        return self._with(np.concatenate([rest, one]), free=free, to_decide=hers)

    def _goes(self, shapes: PolygonArray, weak: BaseGeometry) -> Mask:
        """Which may go whole because the land beside them is too narrow."""
        near = shapely.dwithin(shapes, weak, 2 * geometry.GRID_MM)
        goes: Mask = near & shapely.within(shapes, self.zone) & ~shapely.covers(self.mark.shape, shapes)
        return goes

    # ── small questions ──

    def _warts(self, shapes: PolygonArray) -> Mask:
        """Which whole ones that meet the mark would be warts on its rim: those mostly in it, and all far smaller."""
        if not self.habit.whole:
            return np.zeros(len(shapes), dtype=bool)
        area, white = shapely.area(shapes), self.mark.shape
        inside = shapely.area(shapely.intersection(shapes, white)) > _MOST_OF_IT * area
        return np.asarray((inside | (area < _WART * shapely.area(white))) & shapely.within(shapes, self.zone))

    def _with(self, cuts: PolygonArray, **more: Any) -> Growth:  # noqa: ANN401
        growth = replace(self.growth, cuts=cuts, **more)
        if len(growth.on_shapes) == 0 and len(self.bed.place.shapes) == 0:
            return growth
        on = shapely.intersection(cuts, shapely.disjoint_subset_union_all(self.bed.place.shapes))
        return replace(growth, on_shapes=geometry.parts(on))

    def _touched(self, region: BaseGeometry) -> Mask:
        return np.asarray(shapely.intersects(self.growth.cuts, region))

    def _inside(self, shapes: PolygonArray) -> Mask:
        """Which have their middle inside the mark."""
        return np.asarray(shapely.intersects(self.mark.shape, shapely.centroid(shapes)))

    def _masses(self, shapes: PolygonArray) -> Mask:
        """Which are touched, far larger than a flake and not the mark's alone, wherever their middle is."""
        mass = shapely.area(shapes) > _MASS * np.pi / 4 * self.habit.flake_mm**2
        return np.asarray(mass & shapely.intersects(shapes, self.mark.shape) & ~shapely.within(shapes, self.zone))

    def _white_in(self, cuts: PolygonArray) -> float:
        met = cuts[np.asarray(shapely.intersects(cuts, self.mark.shape))]
        return float(shapely.area(shapely.intersection(met, self.mark.shape)).sum())

    @property
    def _usual(self) -> float:
        """So much white is usual in the mark, mm²."""
        return float(getattr(self.bed.settings, "snow", 0.1) * shapely.area(self.mark.shape))

    @property
    def _flurry(self) -> float:
        """So much white is in the mark when a flurry falls in it, mm²."""
        area, settings = float(shapely.area(self.mark.shape)), self.bed.settings
        dense = float(np.clip(_FLURRY * getattr(settings, "snow", 0.1), _LEAST_FLURRY, _SNOW[1]))
        return max(dense * area, min(_FEW * self._flake_mm2(_MIDDLING), _SNOW[1] * area))

    def _flake_mm2(self, times: float) -> float:
        """How large a round flake is of so many times the smallest one's size."""
        return float(np.pi / 4 * (times * getattr(self.bed.settings, "smallest_mm", 0.0)) ** 2)

    def _chance(self, xy: Any) -> Any:  # noqa: ANN401
        """A number in 0…1 for each place, by the mark's own chance."""
        away = self.bed.stream(self.mark, "chance").uniform(0, 1000, 2)
        return chance_at(np.reshape(xy, (-1, 2)) + away)

    def _window(self, settings: Any) -> Place:  # noqa: ANN401
        """The place as far as the mark and what falls into it by these settings reach."""
        place = self.bed.place
        if not (hasattr(settings, "snow") and hasattr(settings, "largest_mm")):
            return place
        frame = place.edge
        by = 2 * settings.largest_mm * np.array([-1, -1, 1, 1])
        window: Any = shapely.intersection(frame, shapely.box(*(shapely.bounds(self.mark.shape) + by)))
        return replace(place, frame=window, area=geometry.solid(shapely.intersection(place.area, window)))
