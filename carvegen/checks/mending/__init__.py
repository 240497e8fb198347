"""The smallest changes to the cuts that clear what the checks found.

Round by round: land that is too narrow is widened by moving both walls back, along as much of it as is narrow; land
that is hopeless is cut away, and with it cuts are joined, inlets and tips filled; islands that can't last go too.
What of a cut is too narrow for the cutter is cut wider or filled, whichever changes less; so cuts are rounded, parted
or left out. What is marked as fixed is never touched.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Report, Severity
from carvegen.base.progress import each_part
from carvegen.checks import checked, cut_width, foot, islands, land_width
from carvegen.checks.islands import islands_of
from carvegen.checks.land_width import short_tips
from carvegen.checks.mending import shape_edits, widening
from carvegen.checks.mending.places import NarrowPlace, places_of
from carvegen.checks.survey import Survey
from carvegen.geometry.hairs import without_hairs
from carvegen.geometry.narrow import NarrowKind

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Job
    from carvegen.checks.survey import Reached
    from carvegen.geometry import Floats, Indices, Mask, PolygonArray

__all__ = [
    "CutChange", "LostPiece", "Mended", "can_mend", "left_over", "lost_pieces", "mended", "mended_for_all",
    "mending_words",
]  # fmt: skip

_MENDED = frozenset(check.RULE for check in (land_width, foot, islands, cut_width))
_ROUNDS = 24
_TURNS = 4  #: what is mended for one machine may have to be mended again for another
_PATIENCE = 6  #: rounds after which land is only added, more each time: that comes to an end
_HOPELESS = 0.2  #: land between two cuts, or short, narrower than this share of what is wanted is cut away
_WEAK = 0.5  #: the same for land within one cut, which has one root, or none,
_WEAK_LINE = 0.33  #: and for a long line of it: what hangs on a twig that goes would be loose; our own choice
_SPARE_MM = 0.012  #: so much more than needed is moved: circles are drawn as polygons and snapped
_SMOOTH_MM = 0.002  #: changed outlines may be simplified so far; GEOS may stray up to 1.7 times as far
_DOT_LEFT = 0.2  #: of a cut that the cutter can't make but for less than this nothing is made: a dot; our own choice
_MANY = 100  #: pieces from which on it pays to lay them over a cut as a whole; our own choice
_CRUMB_MM2 = 0.002  #: so much white is not missed
_AROUND = 3.0  #: widths that are wanted: no disc so wide that holds a place of the middle line reaches beyond
_AT_WALL_MM = 0.005  #: a wall this near belongs to the cut
_TIMES = (0.5, 0.5)  #: shares of a round's time, measured: cuts are mended, and lands
_WORTH_WORDS_MM2 = 0.1  #: smaller pieces that are lost are not told: our own choice
_MUCH_LARGER = 2.0  #: nobody prints so many times as large for one place: our own choice
_WHY_LEFT = "Mending left it: it lays no ink into what must be white, and takes nothing that has to stay"
_TAKES = frozenset({"filled", "joined"})  #: the changes that take land away
#: What a change does, for a count of them.
_COUNTED = {
    "widened": "thin land widened", "cut wider": "thin cuts widened", "joined": "cuts joined over thin land",
    "filled": "thin land taken out", "rounded": "cuts rounded for the tool", "left out": "cuts too small left out",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class CutChange:
    """One change to the cuts."""

    what: str  #: "widened" (land), "cut wider", "joined", "filled", "rounded" or "left out"
    at: tuple[float, float]  #: print view, mm
    white_mm2: float  #: how much more (or, below 0, less) is cut


@dataclass(frozen=True, kw_only=True)
class LostPiece:
    """A piece of land of which nothing stands after mending; its white is that of the changes that took it."""

    at: tuple[float, float]  #: within it, print view, mm
    area_mm2: float  #: to a hundredth


def mending_words(changes: Sequence[CutChange], lost: Sequence[LostPiece] = (), limits: Limits | None = None) -> str:
    """What was mended, by kind, how much white it made or took, where it changed most, what is lost; "" of none.

    By the `limits` that it was mended by it is told how wide thin land is now.
    """
    if not changes:
        return ""
    counts = Counter(change.what for change in changes)
    widths = {"widened": f" to {limits.land_words}"} if limits is not None else {}
    words = ", ".join(f"{_COUNTED[what]}{widths.get(what, '')}: {count}" for what, count in sorted(counts.items()))
    most = max(changes, key=lambda change: abs(change.white_mm2))
    white = sum(change.white_mm2 for change in changes)
    words += f"; {round(white, 1) + 0.0:+.1f} mm² of white; the largest at x {most.at[0]:.1f}, y {most.at[1]:.1f} mm"
    if lost:
        largest = max(lost, key=lambda piece: piece.area_mm2)
        words += (
            f"; pieces of land gone whole: {len(lost)}, the largest {largest.area_mm2:.1f} mm² "
            f"at x {largest.at[0]:.1f}, y {largest.at[1]:.1f} mm"
        )
    return words


@dataclass(frozen=True, kw_only=True, eq=False)
class Mended:
    """A job whose cuts have been mended, what was changed, and what is left."""

    job: Job
    changes: tuple[CutChange, ...]
    left: Report  #: findings that break a limit all the same


def can_mend(findings: Iterable[Finding]) -> bool:
    """Whether some of the findings break a limit and are of a kind that mending the cuts can clear."""
    return any(finding.severity is Severity.BREAKS and finding.rule in _MENDED for finding in findings)


def left_over(report: Report) -> Report:
    """What was found once all was mended: why mending left what breaks, and what can still be done."""
    return Report.of(_left(finding) if can_mend([finding]) else finding for finding in report)


def _left(finding: Finding) -> Finding:
    """The finding with why mending left it, and after the check's own remedy what else can be done."""
    keep = "have no white there" if finding.rule == cut_width.RULE else "draw it thicker there, keep the white off it"
    return replace(
        finding,
        why=f"{finding.why}. {_WHY_LEFT}",
        remedy=f"{finding.remedy}; or {keep}, or print {_larger(finding)}",
    )


def _larger(finding: Finding) -> str:
    """How much larger it must be printed to hold; a number only of what grows as the print does, as no foot does."""
    scales = finding.rule in {land_width.RULE, cut_width.RULE}
    if not (scales and finding.measured * _MUCH_LARGER >= finding.limit > finding.measured > 0):
        return "larger"
    return f"{math.ceil(20 * finding.limit / finding.measured) / 20:g} times as large"


def mended(job: Job, *, fixed: Collection[int] = (), say: Callable[[str], None] = lambda _: None) -> Mended:
    """The job with its cuts mended until no check of land or cut breaks, or nothing more can be done.

    Parameters
    ----------
    fixed
        Numbers of cuts (0 is the first) that must stay as they are. Cut-outs always stay.
    """
    bench = _worked(job, fixed, say)
    left = Report.of(finding for finding in checked(bench.job) if finding.severity is Severity.BREAKS)
    return Mended(job=bench.job, changes=tuple(bench.changes), left=left)


def mended_for_all(
    jobs: Sequence[Job], *, say: Callable[[str], None] = lambda _: None, white: BaseGeometry | None = None
) -> tuple[list[Job], tuple[CutChange, ...]]:
    """The jobs on one block mended for all of them, one after another until none has anything to mend.

    What stands of `Block.stays` stands afterwards, too, however narrow.

    Parameters
    ----------
    white
        Where nothing may be added: land that could only be widened into it is cut away instead.
    """
    block, changes = jobs[0].block, list[CutChange]()
    known: dict[tuple[int, float], Reached] = {}  # what each cutter makes of cuts: most stay as they are
    settled: dict[int, Block] = {}  # the block on which each job last had nothing to mend
    turns = sorted(range(len(jobs)), key=lambda k: -jobs[k].limits.land_mm)  # what asks most clears most for the others
    for _ in range(_TURNS):
        for k in turns:
            job = jobs[k]
            if settled.get(k) is not block:
                say(f"looking for thin places{f' for the {job.machine.kind}' if len(jobs) > 1 else ''}")
                bench = _worked(replace(job, block=block), block.fixed, say, white, known)
                changes += bench.changes
                block = settled[k] = bench.job.block
    block = _with_land(block, jobs[0].block)
    return [replace(job, block=block) for job in jobs], tuple(changes)


def lost_pieces(before: Block, after: Block, changes: Iterable[CutChange]) -> tuple[LostPiece, ...]:
    """The pieces of land of which nothing stands any more after these changes, crumbs left out.

    Land shut in by snow is a piece, too, though nobody drew it as one.
    """
    if not any(change.what in _TAKES for change in changes):
        return ()
    pieces = geometry.parts(before.land)
    pieces = pieces[shapely.area(pieces) > _WORTH_WORDS_MM2]
    pieces = pieces[~_plainly_stands(pieces, after)]
    if len(pieces) == 0:
        return ()
    gone = shapely.disjoint_subset_union_all(np.concatenate([after.cuts, after.cut_outs]))
    land = shapely.difference(after.face, gone)  # `after.land` but for the order of its points, and far sooner
    stands, _ = shapely.STRtree(geometry.parts(land)).query(geometry.offset(pieces, -_AT_WALL_MM), "intersects")
    lost = np.delete(pieces, np.unique(stands))
    dots = shapely.get_coordinates(shapely.point_on_surface(lost)).round(3).tolist()
    areas = shapely.area(lost).round(2).tolist()
    return tuple(LostPiece(at=(x, y), area_mm2=area) for (x, y), area in zip(dots, areas, strict=True))


def _plainly_stands(pieces: PolygonArray, after: Block) -> Mask:
    """Of which pieces of land one place, away from their walls, is clear of all cuts: most, and soon seen; (n,)."""
    places = shapely.point_on_surface(pieces)
    clear = shapely.distance(places, shapely.boundary(pieces)) > 2 * _AT_WALL_MM
    clear[after.cut_tree.query(places, predicate="dwithin", distance=_AT_WALL_MM)[0]] = False
    return clear


def _with_land(block: Block, before: Block) -> Block:
    """The block with what stood before where it must stay, but for hairs, which outlines leave that nearly agree."""
    if len(before.stays) == 0:
        return block
    kept = geometry.intersection(before.land, geometry.union(before.stays))
    gone = without_hairs(geometry.intersection(geometry.union(block.cuts), kept))
    met = np.unique(block.cut_tree.query(gone, predicate="intersects")[1])
    less = geometry.snapped(without_hairs(geometry.difference(block.cuts[met], gone)))
    return replace(block, cuts=np.concatenate([np.delete(block.cuts, met), less]), fixed=frozenset())


def _worked(
    job: Job, fixed: Collection[int], say: Callable[[str], None], white: BaseGeometry | None = None,
    known: dict[tuple[int, float], Reached] | None = None,
) -> _Bench:  # fmt: skip
    """The bench when nothing more can be done."""
    bench = _Bench(job, frozenset(fixed), white, known)
    for number in range(_ROUNDS):
        if not bench.mend(number):
            break
        say(f"making thin places wider, round {number + 1}")
    return bench


class _Bench:
    """The cuts on the bench, with what has been done to them so far."""

    def __init__(
        self, job: Job, fixed: frozenset[int], white: BaseGeometry | None = None,
        known: dict[tuple[int, float], Reached] | None = None,
    ) -> None:  # fmt: skip
        self.job, self._known = job, {} if known is None else known
        self.white = shapely.STRtree(geometry.parts(white) if white is not None else geometry.empty())
        self._in_print = white is not None  #: what is cut besides the white is another block's: no more is cut of it
        self._may_widen = True  #: cuts; not when the end is to be reached
        self.only_cut = False
        self.cuts: list[BaseGeometry] = list(job.block.cuts)
        self.fixed = [number in fixed for number in range(len(self.cuts))]
        self.changes: list[CutChange] = []
        self.cut = job.face_limits.cut_mm
        self._latest: dict[int, int] = {}  #: for each cut changed in this round the number of its last change
        self._became: dict[int, int] = {}  #: for each cut joined to another in this round the number of that
        self._meets_fixed: list[BaseGeometry] = []  #: land taken away up to a cut that stays: none is between them now
        self._laid: list[tuple[BaseGeometry, Floats]] = []  #: land to be laid on in this round, and where it is told
        #: what goes afterwards: the place, the width, and the middles
        self._doomed: list[tuple[NarrowPlace, float, BaseGeometry]] = []
        self._extra: float = 0  #: by how much more than wanted land is made wide

    def mend(self, number: int) -> bool:
        """One round of mending what the checks find now; whether anything was changed."""
        late = max(0, number + 1 - _PATIENCE)
        self._may_widen = late == 0
        self.only_cut = late > 0 and len(self.white.geometries) > 0
        self._extra = 0 if self.only_cut else late * self.job.limits.land_mm
        self._latest, self._became = {}, {}
        self._laid, self._doomed = [], []
        survey = Survey(self.job, slender=False, known=self._known)
        at_cuts, at_lands = each_part(_TIMES)
        with at_cuts:
            self._mend_cuts(survey)
        with at_lands:
            self._mend_lands(survey)
        self._fill_islands()
        if self._latest:
            self._lay_out()
        return bool(self._latest)

    def _mend_cuts(self, survey: Survey) -> None:
        """Widen, round, part or leave out cuts that the cutter can't make."""
        unmade = np.concatenate([np.flatnonzero(survey.broken), cut_width.mostly_tips(survey)])
        broken = self._movable(np.sort(unmade[unmade < len(self.cuts)]).tolist())
        reached = {k: shape_edits.opened(self.cuts[k], survey.shrunk(k), self.cut) for k in broken}
        bridges = {k: (self.cuts[k], self._white_bridges(self.cuts[k], shape)) for k, shape in reached.items()}
        whites = {k: white for k, (_, white) in bridges.items()}
        widened = self._widened(survey, reached, whites) if self._may_widen else []
        for k, shape in reached.items():
            if self.cuts[k].is_empty:  # one before has taken it
                continue
            mine = [slit for slit in widened if slit.cut == k]
            made = shape_edits.plus(shape, *(piece for slit in mine for piece in (slit.part, slit.gain)))
            cut, pieces = bridges[k]
            if mine or cut is not self.cuts[k]:
                pieces = self._white_bridges(self.cuts[k], made)
            white = shape_edits.plus(*pieces)
            if not white.is_empty:
                self._take(shape_edits.round_about(white, (self.cut + _SPARE_MM) / 2), _middle(white))
            elif mine and not self._bridges(self.cuts[k], made):
                wide = shape_edits.plus(self.cuts[k], *(slit.gain for slit in mine))
                self._put(k, wide, "cut wider", _middle(mine[0].part))
            else:
                stays = shape_edits.common(self.cuts[k], self._white_at(self.cuts[k]))
                little = shapely.area(made) < _DOT_LEFT * shapely.area(self.cuts[k])
                many = shapely.get_num_geometries(stays) > _MANY
                rounded = stays if little else (geometry.both if many else shape_edits.plus)(made, stays)
                if survey.broken[k] or shape_edits.differ(self.cuts[k], rounded, _CRUMB_MM2):
                    self._put(k, rounded, "rounded", _middle(self.cuts[k]))

    def _widened(
        self, survey: Survey, reached: Mapping[int, BaseGeometry], white_bridges: Mapping[int, list[BaseGeometry]]
    ) -> list[widening.Slit]:
        """What to widen: all that must stay white; beside no such white what changes less so than filled."""
        offered = []
        for k, shape in reached.items():
            cut = self.cuts[k]
            part = white_bridges[k] if self._in_print else geometry.parts(shape_edits.less(cut, shape))
            made = widening.slits(survey, k, geometry.polygon_array(part), self.cut + _SPARE_MM)
            offered += [slit for slit in made if self._in_print or slit.is_smaller_widened]
        return [offered[k] for k in np.flatnonzero(widening.holds(self.job, offered))] if offered else []

    def _white_bridges(self, cut: BaseGeometry, reached: BaseGeometry) -> list[BaseGeometry]:
        """Parts of a cut, too narrow for the cutter, that must stay white and part it, or are all of it."""
        return [piece for piece in self._bridges(cut, reached) if self._in_white(piece)]

    def _bridges(self, cut: BaseGeometry, reached: BaseGeometry) -> list[BaseGeometry]:
        """Parts of a cut, too narrow for the cutter, that part it, or are all of it."""
        pieces, tree = geometry.parts(shape_edits.less(cut, reached)), shapely.STRtree(geometry.parts(reached))
        met = tree.query(pieces, predicate="dwithin", distance=_AT_WALL_MM)[0]
        return list(pieces[np.bincount(met, minlength=len(pieces)) != 1])

    def _in_white(self, shape: BaseGeometry) -> bool:
        return float(shapely.area(shape_edits.common(shape, self._white_at(shape)))) > _CRUMB_MM2

    def _white_at(self, shape: BaseGeometry) -> BaseGeometry:
        """The pieces of white that meet a shape; those of one whole, and so apart."""
        return geometry.solid(self.white.geometries[self.white.query(shape, predicate="intersects")])

    def _mend_lands(self, survey: Survey) -> None:
        """Widen or cut away the land that breaks."""
        lands = survey.narrow_lands
        inner = self.job.block.wall_cuts
        ones = self._owners(lands.at, inner[lands.first])
        others = self._owners(lands.to, inner[lands.second])
        breaks = ~short_tips(lands, self.job.face_limits.land_at(lands.direction_deg))
        for k, place in places_of(survey, np.flatnonzero(breaks)):
            if place.width[0] > _AT_WALL_MM or not self._is_gone(place.start[0]):
                self._mend_land(place, ones[k], others[k])
        self._lay_on_cuts()
        for place, width, seed in self._doomed:
            self._cut_away(place, width, seed)

    def _mend_land(self, place: NarrowPlace, one: int, other: int) -> None:
        movable = self._movable([one, other])
        wide = place.band(place.wanted + _SPARE_MM + self._extra)
        both = len(movable) == len({one, other})
        white = self._white_at(wide)
        must_go = self.only_cut or float(shapely.area(shape_edits.common(wide, white))) > _CRUMB_MM2
        joins = one != other or (place.is_short and not must_go)
        alone = _WEAK_LINE if place.is_long else _WEAK
        share = _HOPELESS if place.kind == NarrowKind.NECK and joins else alone
        weak = place.wanted * (1.0 if place.is_corner else share)
        if must_go and (both or (movable and -1 in {one, other})) and not self.only_cut:
            hopeful = place.width[0] >= weak  # beside white: all but what is hopeless may yet be widened
            if hopeful and self._widen_beside_white(place):
                return
            must_go = hopeful or not both
        weak = place.wanted + _SPARE_MM if must_go else weak
        may_go = both or (movable and (must_go or place.kind == NarrowKind.TIP))
        if may_go and place.width[0] < weak and self._extra == 0:
            self._doomed.append((place, weak, place.band(_AT_WALL_MM, place.width < weak)))
        elif both:
            self._laid.append((shape_edits.less(wide, white), place.at))
        elif movable:
            self._move_off(movable[0], place)

    def _widen_beside_white(self, place: NarrowPlace) -> bool:
        """Widen a narrow place without taking from the white: beside it, or beside the edge, on the other side alone.

        Where these leave no room for land so wide, it is cut away. False if that is so all along the place.
        """
        wanted = place.wanted + _SPARE_MM
        around = place.band(_AROUND * wanted)
        white = self._white_at(around)
        face = shape_edits.less(self.job.block.face, shape_edits.plus(*self.job.block.cut_outs))
        off_face = shape_edits.less(around, face)
        beyond = white if off_face.is_empty else shape_edits.plus(white, off_face)
        room = shape_edits.opening(shape_edits.less(around, beyond), wanted)
        dots = geometry.dots(place.middles)
        held, stands = shapely.intersects(dots, room), shapely.disjoint(dots, white)
        if not (held & stands).any():
            return False
        band = place.band(wanted, held & stands, _off(place.middles, beyond, wanted / 2))
        self._laid.append((shape_edits.less(band, white), place.at))
        if (stands & ~held).any():
            self._doomed.append((place, place.wanted, place.band(_AT_WALL_MM, stands & ~held)))
        return True

    def _is_gone(self, at: Floats) -> bool:
        """Whether land beside a cut that stays was taken away here."""
        return bool(shapely.dwithin(self._meets_fixed, shapely.Point(at), _AT_WALL_MM).any())

    def _owners(self, points: Floats, inner: Indices) -> list[int]:
        """The cut at whose wall each point lies; -1 where it is the edge or a cut-out.

        `inner` tells it for walls inside the face; a wall of the face itself may be that of a cut open to it.
        """
        if not self.cuts or len(points) == 0:
            return [int(k) for k in inner]
        tree = shapely.STRtree(self.job.block.cuts)
        (_, number), away = tree.query_nearest(geometry.dots(points), return_distance=True, all_matches=False)
        owners: list[int] = np.where((inner < 0) & (away <= _AT_WALL_MM), number, inner).tolist()
        return owners

    def _movable(self, numbers: Collection[int]) -> list[int]:
        return [k for k in dict.fromkeys(numbers) if k >= 0 and not self.fixed[k]]

    def _lay_on_cuts(self) -> None:
        """Take the land that is to be laid on out of every cut that may be moved: one overlay for each cut."""
        laid = geometry.polygon_array(land for land, _ in self._laid)
        number, met = self.job.block.cut_tree.query(laid, predicate="dwithin", distance=_AT_WALL_MM)
        owner = np.array([self._became.get(k, k) for k in met.tolist()], dtype=np.int64)
        for k in self._movable(np.unique(owner).tolist()):
            mine = np.unique(number[owner == k])
            land = shape_edits.plus(laid[mine])
            gone = geometry.parts(shape_edits.common(self.cuts[k], land))
            piece, nth = shapely.STRtree(laid[mine]).query(gone, predicate="intersects")
            first = np.full(len(gone), len(mine) - 1)  # of what was to be laid where each piece goes
            np.minimum.at(first, piece, nth)
            taken = np.bincount(first, shapely.area(gone), len(mine))
            places = np.flatnonzero(taken)
            if len(places):
                at = [self._laid[n][1] for n in mine[places].tolist()]
                self._put(k, shape_edits.less(self.cuts[k], land), "widened", *at, shares=taken[places] / taken.sum())

    def _meeting(self, shape: BaseGeometry) -> list[int]:
        """The cuts that meet a shape on the grid, or did when the round began; of those that were joined the one."""
        tree = self.job.block.cut_tree
        met: list[int] = np.sort(tree.query(shape, predicate="dwithin", distance=_AT_WALL_MM)).tolist()
        return list(dict.fromkeys(self._became.get(k, k) for k in met))

    def _move_off(self, k: int, place: NarrowPlace) -> None:
        """Move cut k off the wall that may not be moved, of a cut, the edge or a cut-out, where land is too narrow."""
        wall = place.wall_facing(self.cuts[k], 2 * place.wanted + _SPARE_MM + 2 * self._extra)
        off = shape_edits.less(wall, self._white_at(wall))
        self._put(k, shape_edits.less(self.cuts[k], off), "widened", place.at)

    def _cut_away(self, place: NarrowPlace, width: float, seed: BaseGeometry) -> None:
        """Cut away the land round the middles `seed` that is narrower than this; cuts that meet there become one."""
        around = _window_of(seed, 2 * width + self.cut)
        near = [geometry.solid(shapely.intersection(self.cuts[k], around)) for k in self._meeting(around)]
        white = shape_edits.plus(*near, *self.job.block.cut_outs)
        land = shape_edits.less(shape_edits.common(around, self.job.block.face), white)
        gone = (
            seed
            if place.kind == NarrowKind.TIP or place.is_corner
            else shape_edits.round_about(seed, (self.cut + _SPARE_MM) / 2)
        )
        thin = shape_edits.too_thin(shape_edits.less(land, gone), width)
        gone = shape_edits.plus(*thin[shapely.dwithin(thin, gone, _AT_WALL_MM)], shape_edits.common(land, gone))
        self._take(gone, place.at)

    def _take(self, gone: BaseGeometry, at: Floats) -> None:
        """Give a piece of land to the cuts round it; they become one."""
        met = [k for k in self._meeting(gone) if not self.cuts[k].is_empty]
        fixed = [self.cuts[k] for k in met if self.fixed[k]]
        mine = self._movable(met)
        if not mine:
            return
        gone = shape_edits.less(gone, shape_edits.plus(*fixed, *self.job.block.cut_outs))
        self._meets_fixed += [gone] if fixed else []
        whole = shape_edits.plus(*(self.cuts[k] for k in mine), gone)
        before = [shapely.area(self.cuts[k]) for k in mine]
        self._put(mine[0], whole, "joined" if len(mine) > 1 else "filled", at, lost=sum(before[1:]))
        for k in mine[1:]:
            self.cuts[k] = shapely.Polygon()
            self._latest[k] = self._latest[mine[0]]
            self._became |= {old: mine[0] for old, to in [*self._became.items(), (k, k)] if to == k}

    def _fill_islands(self) -> None:
        """Cut away islands of land that are smaller than the material allows."""
        islands = islands_of(geometry.polygon_array(shape for shape in self.cuts if not shape.is_empty))
        small = islands[2 * np.sqrt(shapely.area(islands) / np.pi) < self.job.face_limits.dot_mm]
        for island in small:
            self._take(island, _middle(island))

    def _put(
        self, k: int, shape: BaseGeometry, what: str, *at: Floats, lost: float = 0.0, shares: Sequence[float] = (1.0,)
    ) -> None:
        """Replace cut k; remember what was done where, and which share of it there."""
        white = float(shapely.area(shape) - shapely.area(self.cuts[k]) - lost)
        if self.cuts[k].is_empty or shapely.equals_exact(self.cuts[k], shape, tolerance=0, normalize=True):
            return
        self.cuts[k] = shape
        word = "left out" if shape.is_empty else what
        for (x, y), share in zip(np.round(at, 3).tolist(), shares, strict=True):
            self.changes.append(CutChange(what=word, at=(x, y), white_mm2=white * float(share)))
        self._latest[k] = len(self.changes) - 1

    def _lay_out(self) -> None:
        """Take the changed cuts as they are now: parted, on the grid, without what the cutter can't make."""
        cuts: list[BaseGeometry] = []
        fixed: list[bool] = []
        for k, (shape, stays) in enumerate(zip(self.cuts, self.fixed, strict=True)):
            pieces: PolygonArray = geometry.polygon_array([shape])
            if k in self._latest:
                pieces = geometry.snapped(geometry.parts(shapely.simplify(geometry.parts(pieces), _SMOOTH_MM)))
                self._amend(self._latest[k], float(shapely.area(pieces).sum() - shapely.area(shape)))
            cuts += list(pieces)
            fixed += [stays] * len(pieces)
        self.cuts, self.fixed = cuts, fixed
        self.job = replace(self.job, block=self._block())

    def _amend(self, number: int, white_mm2: float) -> None:
        """Add to a change what smoothing its outline cost."""
        change = self.changes[number]
        self.changes[number] = replace(change, white_mm2=change.white_mm2 + white_mm2)

    def _block(self) -> Block:
        numbers = frozenset(k for k, stays in enumerate(self.fixed) if stays)
        return replace(self.job.block, cuts=geometry.polygon_array(self.cuts), fixed=numbers)


def _off(points: Floats, shape: BaseGeometry, distance: float) -> Floats:
    """The points, those nearer to a shape than this moved straight away from it until they are not; (n, 2)."""
    there = shapely.get_coordinates(shapely.shortest_line(geometry.dots(points), shape)).reshape(-1, 2, 2)[:, 1]
    away = points - there
    far = np.hypot(*away.T)
    near = (far > 0) & (far < distance)
    moved = points.copy()
    moved[near] = there[near] + away[near] * (distance / far[near])[:, None]
    return moved


def _window_of(shape: BaseGeometry, margin: float) -> BaseGeometry:
    left, bottom, right, top = shape.bounds
    return shapely.box(left - margin, bottom - margin, right + margin, top + margin)


def _middle(shape: BaseGeometry) -> Floats:
    return np.asarray(shapely.get_coordinates(shapely.point_on_surface(shape))[0])
