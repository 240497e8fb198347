"""What each block prints: the picture taken apart by ink, the white out of all of it, the inks trapped."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.colour import ciede2000, cielab, overprinted, screen
from carvegen.motifs.shared.minimum_width import opened
from carvegen.prints.tasks import in_turn

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.colour import Ink, Rgb
    from carvegen.geometry import Mask, PolygonArray
    from carvegen.prints.tasks import Run, Say, Task

__all__ = [
    "Dropped", "Layer", "Plate", "Separated", "Separation", "Trapping", "hidden_by", "painted", "run_for", "separated",
    "separation",
]  # fmt: skip

_MEETS_MM = 0.01  #: outlines no further apart than this meet: far above the grid, far below any cut
_ALONG_MM = 0.05  #: so near to the dark an edge of the white is drawn by it
_BLUNT = 0.9  #: of the cut-back's width: its ends are no more pointed
_STEPS = 6  #: levels of the spread, so that it narrows where the room for it does
_CRUMB_MM2 = 0.01  #: what is smaller is no land and no cut
_LOOK_MM = 1.0  #: so far round a place of a large piece it is looked for first
_ARC = 8
_TIDY_ARC = 4
_FINE_MM = 0.003  #: outlines that only steer the spread are simplified so far
_WORTH_POINTS = 20_000  #: from which on blocks are worked on side by side; our own choice: below, it is done in seconds
_USEFUL_MM, _USEFUL = 0.8, 2.0  #: nor is a cut under the darkest ink narrower, or than so many smallest: our choice
_SPUR = 1.5  #: and no spur of land narrower than so many times what holds: the same
_SMALL_MM2 = 4.0  #: what is larger is worth a cut round it: our choice
_REST_MM2, _DOT_MM2 = 0.25, 0.05  #: of what is smaller so much must be in sight of what snow leaves, or as it is drawn
_MOSTLY = 0.5  #: or so much of it: it is no run-on
_SAME = 3.0  #: ΔE00 that nobody tells beside each other under the darkest ink: our own choice
_HALF_A_NM = 5e-7  #: what lies no further from the grid lies on it, mm
_SPARE = 1.01  #: circles are drawn as polygons inside them: offsets fall short by less


@dataclass(frozen=True, eq=False)
class Layer:
    """A layer of the artwork: its shapes as drawn, whatever stands in front of them."""

    name: str
    shape: BaseGeometry
    gaps: str = ""  #: what holes in it are, as lying snow takes them; "": as the motif says


@dataclass(frozen=True, kw_only=True)
class Plate:
    """A block that prints ink: which layers are on it, and what its lands must be."""

    name: str
    layers: frozenset[str]
    lightness: float  #: CIELAB L* of its ink
    land_mm: float  #: narrowest land that its material holds
    cut_mm: float  #: narrowest cut
    ink: Ink | None = None  #: None: not known, so it hides nothing and nothing hides it
    ground: bool = False  #: prints all of the face where nothing stands in front
    under_all: bool = False  #: prints all of the face, whatever stands in front: the others print over it


@dataclass(frozen=True, kw_only=True)
class Trapping:
    """How far inks run under one another, and keep back from the white; mm."""

    trap_mm: float
    cut_back_mm: float


@dataclass(frozen=True, kw_only=True)
class Dropped:
    """A place where a block is not cut back, because its land would then be too narrow."""

    at: tuple[float, float]  #: print view, mm
    width_mm: float  #: what would be left, about
    land_mm: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Separated:
    """What one block prints."""

    picture: BaseGeometry  #: the part of the picture that is in its ink, before the white is taken out
    land: BaseGeometry  #: what stands
    dropped: tuple[Dropped, ...] = ()


def painted(face: BaseGeometry, layers: Sequence[Layer], plate: Plate) -> BaseGeometry:
    """The part of the picture that is in the plate's ink: its layers where no others stand in front.

    Parameters
    ----------
    layers
        From the front to the back.
    """
    if plate.under_all:
        return face
    area: Any = face if plate.ground else shapely.Polygon()
    for layer in reversed(layers):
        put = geometry.union if layer.name in plate.layers else geometry.difference
        area = put(area, layer.shape)
    return _whole(geometry.intersection(area, face))


@dataclass(frozen=True, kw_only=True, eq=False)
class Separation:
    """What is to be done to know what each plate prints."""

    tasks: Mapping[str, Task]  #: of each plate, by name; each returns what is `Separated`
    points: int  #: of the white, in all


def separated(
    face: BaseGeometry,
    layers: Sequence[Layer],
    plates: Sequence[Plate],
    *,
    say: Say = lambda _: None,
    run: Run = in_turn,
    **known: Any,  # noqa: ANN401
) -> dict[str, Separated]:
    """What each plate prints, by name: all that `separation`, which takes the same, finds to do.

    Parameters
    ----------
    run
        Does what does not need one another, each told `say`: every plate, or those that are asked for.
    """
    whole = separation(face, layers, plates, **known)
    done = run_for(whole.points, run)(whole.tasks, say)
    return {plate.name: done[plate.name] for plate in plates if plate.name in done}


def separation(
    face: BaseGeometry,
    layers: Sequence[Layer],
    plates: Sequence[Plate],
    *,
    white: Callable[[Plate], BaseGeometry],
    spread: Trapping,
    stays: Callable[[Plate], BaseGeometry] = lambda _: shapely.Polygon(),
    ready: Mapping[str, BaseGeometry] = MappingProxyType({}),
    paper: Rgb = (255, 255, 255),
    hidden: Mapping[str, frozenset[str]] | None = None,
) -> Separation:
    """What each plate prints, as tasks.

    1. Each plate gets its part of the picture (`painted`). 2. Where it meets darker inks it runs on under them
    by the trap, or up to half of what is dark there. 3. Its white is taken out. 4. Where the white's edge is
    drawn by a darker ink, the plate stays back from it by the cut-back: register errors then show no light
    fringe in the white. Where that would starve a land, it is not done and is told in `dropped`. Nor is it done
    where the plate's own part of the picture lies under an ink that is not the darkest: that would show paler
    there, as a rim of one width round each flake. 5. Where the darkest ink is printed later and hides the plate's
    (`_hides`), the land is plainly outlined: there, and nowhere else, what is cut or stands is not seen.


    Parameters
    ----------
    plates
        In printing order.
    white
        What must not print on a plate.
    stays
        Where all of the plate's part of the picture prints, whatever else is asked.
    ready
        What is `painted` of plates already, by name.
    paper
        Its colour.
    hidden
        What `hidden_by` says of the true inks, where the plates have others.
    """
    pictures = {
        plate.name: ready[plate.name] if plate.name in ready else painted(face, layers, plate) for plate in plates
    }
    darkest, hidden = _darkest(plates), hidden_by(plates, paper) if hidden is None else hidden
    dark, whites = _union([pictures[name] for name in darkest]), {plate.name: white(plate) for plate in plates}
    hides = {plate.name: [pictures[name] for name in darkest if name in hidden[plate.name]] for plate in plates}
    scenes = {
        plate.name: _Scene(
            face=face, picture=pictures[plate.name], darker=_darker(plate, plates, pictures),
            paler=_paler(plate, plates, pictures), white=whites[plate.name], dark=dark,
            hides=_union(hides[plate.name]) if hides[plate.name] else shapely.Polygon(), spread=spread,
            bare=[whites[name] for name in dict.fromkeys([plate.name, *darkest])],
        )
        for plate in plates
    }  # fmt: skip
    points = sum(int(shapely.get_num_coordinates(scene.white)) for scene in scenes.values())
    order = sorted(plates, key=lambda plate: -_points(scenes[plate.name]))  # what takes longest comes first
    tasks = {plate.name: partial(_separated, plate, scenes[plate.name], stays(plate)) for plate in order}
    return Separation(tasks=tasks, points=points)


def run_for(points: int, run: Run) -> Run:
    """`run` for tasks on shapes of so many points; of few `in_turn`."""
    return run if points >= _WORTH_POINTS else in_turn


def _separated(plate: Plate, scene: _Scene, stays: BaseGeometry, _: Say) -> Separated:
    """What one plate prints."""
    picture, darker = scene.picture, scene.darker
    under = shapely.intersection(darker, shapely.buffer(picture, scene.spread.trap_mm + plate.cut_mm, quad_segs=2))
    near = shapely.union_all(shapely.buffer([picture, under], _MEETS_MM, quad_segs=1))
    touched = geometry.parts(shapely.disjoint_subset_union_all(_pieces_meeting(scene.white, near)))
    alone = _alone(touched, plate, scene)
    separated = _one(plate, replace(scene, white=_plain(shapely.multipolygons(touched[~alone]))))
    if alone.any():
        holed = _holed(separated.land, touched[alone])
        whole = replace(scene, white=_plain(shapely.multipolygons(touched)))
        separated = _one(plate, whole) if holed is None else replace(separated, land=holed)
    kept = geometry.solid(shapely.intersection(picture, stays))
    return separated if shapely.is_empty(kept) else replace(separated, land=_union([separated.land, kept]))


def _alone(white: PolygonArray, plate: Plate, scene: _Scene) -> Mask:
    """Which pieces of white are nothing but holes in the land: far from darker ink and from other pictures; (n,).

    Nor near other white, on the grid, and with no inlet so narrow that the land in it is looked at (`_tidied`).
    """
    least = plate.land_mm / 6
    far = scene.spread.trap_mm + scene.spread.cut_back_mm + 4 * max(plate.land_mm, plate.cut_mm, _USEFUL_MM)
    outline = shapely.boundary(scene.picture)
    shapely.prepare(outline)
    alone = shapely.contains_properly(geometry.prepared(scene.picture), white)
    for near in (outline, geometry.prepared(scene.darker)):
        alone[alone] = ~shapely.dwithin(near, white[alone], far)
    one, other = shapely.STRtree(white).query(white, predicate="dwithin", distance=3 * least)
    alone[one[one != other]] = False
    alone &= shapely.get_num_interior_rings(white) == 0
    xy, number = shapely.get_coordinates(white, return_index=True)
    alone[number[(np.abs(xy - np.round(xy / geometry.GRID_MM) * geometry.GRID_MM) > _HALF_A_NM).any(axis=1)]] = False
    inner = geometry.offset(geometry.offset(white[alone], least), -least - _MEETS_MM / 2)
    alone[alone] = shapely.contains_properly(white[alone], inner)
    return np.asarray(alone)


def _holed(land: BaseGeometry, holes: PolygonArray) -> BaseGeometry | None:
    """The land with holes that lie well inside its pieces; None if one lies within no piece."""
    pieces = geometry.parts(land)
    hole, piece = shapely.STRtree(pieces).query(holes, predicate="within")
    if len(hole) < len(holes):
        return None
    rings, owner = shapely.get_rings(pieces, return_index=True)
    owner = np.concatenate([owner, piece])
    order = np.argsort(owner, kind="stable")
    rings = np.concatenate([rings, shapely.get_exterior_ring(holes[hole])])[order]
    holed: Any = shapely.polygons(rings, indices=owner[order])
    return _plain(shapely.multipolygons(holed))


def _points(scene: _Scene) -> int:
    """How many points there are to a plate."""
    return int(shapely.get_num_coordinates([scene.picture, scene.white]).sum())


def _darkest(plates: Sequence[Plate]) -> list[str]:
    """The plates of the darkest ink, but for one that lies under all."""
    least = min((plate.lightness for plate in plates if not plate.under_all), default=0.0)
    return [plate.name for plate in plates if plate.lightness <= least + 1e-9 and not plate.under_all]


def hidden_by(plates: Sequence[Plate], paper: Rgb) -> dict[str, frozenset[str]]:
    """Of each plate those of the darkest ink that hide whether it prints below them, by name."""
    darkest = _darkest(plates)
    return {
        plate.name: frozenset(
            other.name for other in plates if other.name in darkest and _hides(other, plate, plates, paper)
        )
        for plate in plates
    }


def _hides(dark: Plate, plate: Plate, plates: Sequence[Plate], paper: Rgb) -> bool:
    """Whether ink printed later hides a plate's so well that, where it prints, nobody sees if the plate does too.

    On bare paper, on each of the other inks and on all of them, in printing order.
    """
    inks = [each.ink for each in plates]
    if dark.ink is None or plate.ink is None or plates.index(dark) <= plates.index(plate):
        return False
    others = [k for k, each in enumerate(plates) if each is not dark and each is not plate and inks[k] is not None]
    cases = np.vstack([np.zeros(len(plates)), np.eye(len(plates))[others], np.isin(np.arange(len(plates)), others)])
    cases[:, plates.index(dark)] = 1.0
    with_it = cases.copy()
    with_it[:, plates.index(plate)] = 1.0
    one, other = (
        cielab(screen(overprinted(paper, [(ink, shares) for ink, shares in zip(inks, each.T, strict=True) if ink])))
        for each in (cases, with_it)
    )
    return bool((ciede2000(one, other) <= _SAME).all())


def _darker(plate: Plate, plates: Sequence[Plate], pictures: dict[str, BaseGeometry]) -> BaseGeometry:
    """What of the picture is in inks darker than this one, besides one that lies under all."""
    darker = [
        pictures[other.name] for other in plates if other.lightness < plate.lightness - 1e-9 and not other.under_all
    ]
    return _union(darker)


def _paler(plate: Plate, plates: Sequence[Plate], pictures: dict[str, BaseGeometry]) -> BaseGeometry:
    """What of the picture is in inks lighter than this one, or in one that lies under all."""
    paler = [
        pictures[other.name]
        for other in plates
        if other is not plate and (other.under_all or other.lightness > plate.lightness + 1e-9)
    ]
    return _union(paler) if paler else shapely.Polygon()


@dataclass(frozen=True, eq=False)
class _Scene:
    """What there is to a plate: its own part of the picture, what is darker, what is white."""

    face: BaseGeometry
    picture: BaseGeometry
    darker: BaseGeometry
    paler: BaseGeometry  #: what is in lighter inks, and in one that lies under all
    white: BaseGeometry  #: in the end as far as it may matter to the plate: what is far away changes nothing
    dark: BaseGeometry  #: what is in the darkest ink
    hides: BaseGeometry  #: what of it hides whether the plate prints below it
    bare: Sequence[BaseGeometry]  #: all that is white on the plate, and on those of the darkest ink
    spread: Trapping

    @cached_property
    def covered(self) -> BaseGeometry:
        """Where darker ink covers the plate's: there it leaves room for register."""
        return _union([geometry.difference(self.darker, geometry.difference(self.picture, self.dark))])

    @cached_property
    def hidden(self) -> BaseGeometry:
        """Where the darkest ink hides the plate's, if lighter: there its outline is free, but for that room."""
        return _union([geometry.intersection(self.darker, self.hides)])

    @cached_property
    def free(self) -> BaseGeometry:
        """Where the plate's ink is seen, or may be laid and is not."""
        return shapely.union(self.picture, self.hidden)

    @cached_property
    def beside(self) -> PolygonArray:
        """The white and what lies so near to it that it may be seen when a block is out of register; disjoint."""
        wide = max(self.spread.trap_mm, self.spread.cut_back_mm)
        return geometry.parts(shapely.buffer(self.white, wide, quad_segs=2))


def _one(plate: Plate, scene: _Scene) -> Separated:
    picture, white = scene.picture, scene.white
    under = _run_under(scene, scene.spread.trap_mm)
    under = _union([under, *_uncuttable(plate, scene, _union([picture, under]))])
    stands = _union([geometry.difference(_union([picture, under]), white)])
    back, dropped = _cut_back(plate, stands, scene, scene.spread.cut_back_mm)
    left = _union([geometry.difference(stands, back)])
    land = _tidied(plate, _plainer(plate, scene, left), scene)
    return Separated(picture=picture, land=land, dropped=dropped)


def _run_under(scene: _Scene, trap_mm: float) -> BaseGeometry:
    """How the plate runs on under darker inks: nearer to its own picture than to anything it must not meet.

    In levels: within s of the picture, but not within s of white or of other inks; so it narrows to nothing
    towards the tips where a dark shape ends beside them, and takes no more than half of a thin line.
    """
    picture, darker, white = scene.picture, scene.darker, scene.white
    room = geometry.difference(darker, picture)
    if trap_mm <= 0 or shapely.is_empty(room):
        return shapely.Polygon()
    room = _union([shapely.intersection(room, shapely.buffer(picture, trap_mm * _SPARE, quad_segs=_ARC))])
    shapely.prepare(room)
    near = shapely.buffer(room, 2 * trap_mm, quad_segs=2)
    theirs = shapely.difference(scene.face, shapely.union(picture, darker))
    theirs = shapely.intersection(shapely.union(theirs, _meeting(white, near)), near)
    theirs = opened(theirs, 2 * _MEETS_MM)
    ours = shapely.intersection(picture, near)
    levels = [
        shapely.difference(_about(ours, step), _about(theirs, step))
        for step in np.linspace(trap_mm / _STEPS, trap_mm, _STEPS)
    ]
    return _union([shapely.intersection(_union(levels), room)])


def _about(shape: BaseGeometry, reach: float) -> Any:  # noqa: ANN401
    """All that lies within `reach` of the shape, outlines simplified below what can be seen."""
    return shapely.simplify(shapely.buffer(shape, reach, quad_segs=_ARC), _FINE_MM)


def _round_each(shape: Any, reach: float) -> BaseGeometry:  # noqa: ANN401
    """All that lies about within `reach` of shapes: piece by piece, as what many make overlaps many times over."""
    return shapely.union_all(geometry.offset(geometry.parts(shape), reach, quad_segs=1))


def _meeting(shape: BaseGeometry, other: BaseGeometry) -> Any:  # noqa: ANN401
    """The pieces of a shape that meet another, whole."""
    return shapely.union_all(_pieces_meeting(shape, other))


def _pieces_meeting(shape: BaseGeometry, other: BaseGeometry) -> PolygonArray:
    """The pieces of one shape, whole, that meet another; (n,)."""
    pieces = geometry.parts(shape)
    return pieces[shapely.intersects(pieces, geometry.prepared(other))]


def _uncuttable(plate: Plate, scene: _Scene, so_far: BaseGeometry) -> PolygonArray:
    """Gaps left under darker ink, away from the white, that are too narrow to be cut: there the plate runs through."""
    return _gaps(plate.cut_mm, scene, scene.darker, so_far)


def _gaps(
    width: float, scene: _Scene, dark: BaseGeometry, so_far: BaseGeometry, least_mm2: float = 0.0
) -> PolygonArray:
    """What no cut of a width reaches of the gaps that a land leaves in the dark, away from the white; disjoint.

    What cuts reach is costly to find: it is worked out only about what is missed by cuts that keep to the gaps.
    """
    gaps = _less(geometry.parts(geometry.difference(dark, so_far)), scene.beside)
    made = geometry.offset(geometry.offset(gaps, -width / 2), width / 2 + _MEETS_MM, quad_segs=_TIDY_ARC)
    gaps = geometry.parts(shapely.difference(gaps, made))
    near = shapely.buffer(scene.picture, scene.spread.trap_mm + width, quad_segs=2)
    shapely.prepare(near)
    gaps = gaps[(shapely.area(gaps) > least_mm2) & shapely.intersects(gaps, near)]
    if len(gaps) == 0:
        return gaps
    around = shapely.intersection(_round_each(gaps, 2 * width), scene.face)
    white = shapely.intersection(_meeting(scene.white, around), around)
    cut = shapely.union(shapely.difference(around, so_far), white)
    made = shapely.buffer(opened(cut, width * _SPARE, quad_segs=_TIDY_ARC), _MEETS_MM, quad_segs=1)
    return _less(gaps, geometry.parts(made))


def _plainer(plate: Plate, scene: _Scene, land: BaseGeometry) -> Any:  # noqa: ANN401
    """The land, plainly outlined where the darkest ink hides it: nothing that shows or hides register errors."""
    if shapely.is_empty(scene.hidden) or shapely.is_empty(land):
        return land
    gaps = _enclosed(scene, land)
    if len(gaps):
        land = geometry.union(land, gaps)
    gaps = _useless_cuts(max(_USEFUL_MM, _USEFUL * plate.cut_mm), scene, land)
    if len(gaps):
        land = geometry.union(land, gaps)
    return shapely.difference(land, shapely.multipolygons(_spurs(_SPUR * plate.land_mm, scene, land)))


def _enclosed(scene: _Scene, land: BaseGeometry) -> PolygonArray:
    """Gaps that the land runs all round and the darkest ink hides: no cut there, however broad, shows anything.

    None with the white, paper or another ink in sight within the trap: there it would show out of register.
    """
    pieces, wide = geometry.parts(land), max(scene.spread.trap_mm, scene.spread.cut_back_mm)
    holes = geometry.holes(pieces)
    holes = holes[shapely.area(holes) > _CRUMB_MM2]
    if len(holes):
        whites = shapely.STRtree(geometry.parts(scene.bare))
        holes = np.delete(holes, whites.query(holes, predicate="dwithin", distance=wide)[0])
    if len(holes) == 0:
        return holes
    _, inner = shapely.STRtree(pieces).query(holes, predicate="contains")
    gaps = _less(holes, pieces[np.unique(inner)])
    met, _ = shapely.STRtree(_others_round(gaps, scene)).query(gaps, predicate="intersects")
    return np.delete(gaps, met)


def _useless_cuts(width: float, scene: _Scene, land: BaseGeometry) -> PolygonArray:
    """Gaps in the land too narrow to be worth a cut, but not where what fills them would be a bar as narrow itself.

    Nor beside the white, or where paper or another ink is seen: there it would show when a block is out of register.
    """
    least_mm2 = width**2 / 8
    gaps = _gaps(width, scene, scene.hidden, land, least_mm2)
    if len(gaps):
        gaps = _less(gaps, _others_round(gaps, scene))
    filled = shapely.multipolygons(gaps)
    whole = geometry.union(shapely.intersection(land, _round_each(gaps, width)), filled)
    pieces = geometry.parts(shapely.intersection(filled, opened(whole, width, quad_segs=_TIDY_ARC)))
    return pieces[shapely.area(pieces) > least_mm2]


def _others_round(gaps: PolygonArray, scene: _Scene) -> PolygonArray:
    """All that lies within the trap of where paper or another ink is seen, about gaps."""
    trap = scene.spread.trap_mm
    around = shapely.intersection(_round_each(gaps, trap), scene.face)
    others = opened(shapely.difference(around, scene.free), 2 * _MEETS_MM)
    return geometry.parts(_about(others, trap * _SPARE))


def _spurs(width: float, scene: _Scene, land: BaseGeometry) -> PolygonArray:
    """Narrow ends of the land of which nothing is in sight, as far as the darkest ink hides them."""
    near = shapely.intersection(land, shapely.buffer(scene.hidden, width, quad_segs=1))
    broad = shapely.buffer(opened(near, width, quad_segs=_TIDY_ARC), _MEETS_MM, quad_segs=1)
    ends = geometry.parts(shapely.difference(near, broad))
    ends = ends[shapely.area(ends) > (width / 4) ** 2]
    end, _ = shapely.STRtree(geometry.parts(broad)).query(ends, predicate="dwithin", distance=_MEETS_MM)
    ends = ends[np.bincount(end, minlength=len(ends)) == 1]
    seen = shapely.difference(scene.picture, shapely.union(scene.hidden, scene.white))
    ends = ends[shapely.area(shapely.intersection(ends, seen)) < _CRUMB_MM2]
    return geometry.parts(shapely.intersection(ends, scene.hidden))


def _less(pieces: PolygonArray, taken: PolygonArray) -> PolygonArray:
    """What others leave of pieces, each held against those that it meets alone."""
    k, j = shapely.STRtree(taken).query(pieces, predicate="intersects")
    met = np.unique(k)
    lots = shapely.multipolygons(taken[j], indices=np.searchsorted(met, k))
    left = pieces.copy()
    left[met] = shapely.difference(pieces[met], lots)
    return geometry.parts(left)


def _tidied(plate: Plate, land: BaseGeometry, scene: _Scene) -> BaseGeometry:
    """The land without what is nothing but a run-on: pieces of which nobody sees much, and slivers under darker ink."""
    seen = _union([shapely.difference(scene.picture, scene.white)])
    inner = shapely.buffer(land, -plate.land_mm / 6, quad_segs=_TIDY_ARC)
    # a little more than what a disc reaches, so that its arcs and the land's outline don't cross again and again
    wide = shapely.union(shapely.buffer(inner, plate.land_mm / 6 + _MEETS_MM, quad_segs=_TIDY_ARC), seen)
    pieces = geometry.parts(geometry.intersection(land, wide))
    shapely.prepare(seen)
    there = pieces[shapely.intersects(pieces, seen)]
    shown = geometry.parts(shapely.union_all(there[_shows(there, seen)]))
    return _plain(shapely.multipolygons(shown[~_specks(shown, seen, scene)]))


def _specks(pieces: PolygonArray, seen: BaseGeometry, scene: _Scene) -> Mask:
    """Which pieces are small and lie, but for next to nothing, under the darkest ink: not worth a cut round them.

    What the drawing has small stays, so it can be seen, not what the white leaves of larger things; but where that
    would lay paper bare, which no paler ink covers, it stays as well.
    """
    specks: Mask = (shapely.area(pieces) < _SMALL_MM2) & ~shapely.is_empty(scene.paler)
    small = pieces[specks]
    sight = shapely.difference(shapely.intersection(small, seen), scene.hidden)
    rests, _ = shapely.STRtree(geometry.parts(scene.white)).query(small, predicate="dwithin", distance=_MEETS_MM)
    enough = np.full(len(small), _DOT_MM2)
    enough[rests] = _REST_MM2
    little = shapely.area(sight) < np.minimum(enough, _MOSTLY * shapely.area(small))
    specks[specks] = little & (shapely.area(shapely.difference(sight, scene.paler)) < _CRUMB_MM2)
    return specks


def _shows(pieces: PolygonArray, seen: BaseGeometry) -> Mask:
    """Of which pieces more than a crumb is seen; of one with very many corners a look round one place mostly tells."""
    shows = np.zeros(len(pieces), dtype=bool)
    for k in np.flatnonzero(shapely.get_num_coordinates(pieces) > geometry.LARGE).tolist():
        around = shapely.envelope(shapely.buffer(shapely.point_on_surface(pieces[k]), _LOOK_MM))
        here = shapely.intersection(shapely.intersection(pieces[k], around), shapely.intersection(seen, around))
        shows[k] = shapely.area(here) > 2 * _CRUMB_MM2  # far above what rounding makes of it
    shows[~shows] = shapely.area(shapely.intersection(pieces[~shows], seen)) > _CRUMB_MM2
    return shows


def _cut_back(
    plate: Plate, stands: BaseGeometry, scene: _Scene, by_mm: float
) -> tuple[BaseGeometry, tuple[Dropped, ...]]:
    """What the plate leaves to the darker ones beside the white, and where it can't."""
    if by_mm <= 0 or shapely.is_empty(scene.white) or shapely.is_empty(scene.darker):
        return shapely.Polygon(), ()
    darker = scene.covered
    if shapely.is_empty(darker):
        return shapely.Polygon(), ()
    white = _meeting(scene.white, darker)
    back = shapely.intersection(_beside_edges(white, darker, by_mm * _SPARE), darker)
    blunt = shapely.buffer(opened(shapely.union(back, white), _BLUNT * by_mm), _MEETS_MM, quad_segs=_ARC)
    back = _union([shapely.intersection_all([back, shapely.buffer(stands, _MEETS_MM, quad_segs=1), blunt])])
    starved = _starved(stands, back, plate.land_mm)
    kept = shapely.union_all(geometry.offset(starved, by_mm + plate.land_mm))
    left = _union([shapely.difference(back, kept)])
    dropped = tuple(_dropped(piece, plate.land_mm) for piece in starved)
    return left, dropped


def _beside_edges(white: BaseGeometry, darker: BaseGeometry, by_mm: float) -> BaseGeometry:
    """What lies along the white's edges that the dark draws, but not beyond their ends: so no horns stand out there."""
    edges = shapely.intersection(shapely.boundary(white), shapely.buffer(darker, _ALONG_MM, quad_segs=1))
    lines = shapely.get_parts(shapely.line_merge(shapely.union_all(edges)))
    lines = lines[shapely.length(lines) > 4 * _ALONG_MM]
    ends = shapely.buffer(shapely.boundary(lines), 1.5 * _ALONG_MM, quad_segs=2)  # there they turn away from the dark
    lines = shapely.difference(lines, ends)
    return shapely.union_all(shapely.buffer(lines, by_mm, quad_segs=_ARC, cap_style="flat"))


def _starved(stands: BaseGeometry, back: BaseGeometry, land_mm: float) -> PolygonArray:
    """Lands that are wide enough now and would be too narrow; the corners that are left do not count."""
    near = shapely.intersection(stands, _round_each(back, 2 * land_mm))
    after = shapely.difference(near, back)
    before = shapely.intersection(opened(near, land_mm * 0.98), near)
    wide = shapely.buffer(shapely.buffer(after, -land_mm / 2, quad_segs=_ARC), 0.75 * land_mm, quad_segs=_ARC)
    thin = geometry.parts(shapely.intersection(shapely.difference(after, wide), before))
    beside = thin[shapely.area(thin) > land_mm**2 / 8]
    return beside[shapely.dwithin(beside, back, _MEETS_MM)]


def _dropped(piece: Any, land_mm: float) -> Dropped:  # noqa: ANN401
    at = shapely.point_on_surface(piece)
    width = 2 * float(shapely.area(piece)) / max(float(shapely.length(piece)), geometry.GRID_MM)
    return Dropped(at=(round(at.x, 3), round(at.y, 3)), width_mm=round(width, 3), land_mm=land_mm)


def _union(shapes: Sequence[BaseGeometry]) -> BaseGeometry:
    """All polygons of several shapes; lines and points that overlays leave are dropped."""
    if len(shapes) == 1:
        return _plain(shapely.multipolygons(geometry.parts(shapes[0])))
    return _plain(geometry.union(*shapes))


def _plain(shape: Any) -> BaseGeometry:  # noqa: ANN401
    """The shape in a fixed order of points, and without a grid of its own, which later steps would round to.

    So the same shape gives the same numbers further on, wherever it comes from.
    """
    plain: BaseGeometry = shapely.set_precision(shapely.normalize(shape), 0, mode="pointwise")
    return plain


def _whole(shape: Any) -> BaseGeometry:  # noqa: ANN401
    """The polygons of a shape, without crumbs."""
    pieces = geometry.parts(shape)
    return _plain(shapely.union_all(pieces[shapely.area(pieces) > _CRUMB_MM2]))
