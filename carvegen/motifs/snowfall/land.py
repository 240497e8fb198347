"""Land kept between flakes that have fallen: two that come too near merge, or the smaller shrinks or goes."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.progress import part, reached
from carvegen.geometry.edges import disc_pairs
from carvegen.geometry.necks import necks
from carvegen.motifs.shared.minimum_width import closed, opened
from carvegen.motifs.snowfall.chance import Draws, keys, mixed
from carvegen.motifs.snowfall.clumps import (
    FILLS,
    RIM_MM,
    SLACK_MM,
    Clumps,
    fine,
    gathered,
    largest_of_each,
    simpler,
    smoothed,
    without_specks,
)
from carvegen.motifs.snowfall.flakes import PECK_MM, shrunk_mm

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.base.limits import Limits
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
        Rings,
    )
    from carvegen.motifs.snowfall.flakes import Flakes

__all__ = ["BODY", "doomed", "met", "parted"]

_MERGES = 0.5  #: chance that two that come near merge in thin air,
_MERGES_LESS = 0.1  #: and at the rim of a mass, which is as dense inside as outside it is loose
_CHAINED = 0.3  #: so many of the links of a mass hold that no third flake shares: chains break
_STICKS = 0.25  #: chance that a speck sticks to a large one where flakes lie thick; more for one nearly as large
_SPECK = 1.9  #: smaller ones than so many cuts, from the middle, are pecks of the tool: they don't merge
_DEEP = 0.34  #: two that overlap by so much of the smaller one's reach are one
_SINKS = 1.0  #: in its reaches: how deep those that merge sink in at most,
_SINKS_PACKED = 0.37  #: and at least where they are packed
_HIDDEN = 2.6  #: by so much it shows nowhere
_LEAN = 0.84  #: a flake's reach towards another, over its largest, where land between them is sought
_FLOWS = (0.0, 0.6)  #: share of those that stick to a flake with shoulders between them: flakes differ,
_CORE = (0.5, 0.95)  #: and shoulders are as broad as so much of the larger one
_SHALLOW = 0.8  #: all that have sunk in less have shoulders: no thin necks
_KNOB = 0.6  #: without a shoulder, one that is so small beside the larger one is a knob on its rim;
_TEETH = 0.25  #: so many of these stay
_HEAPED = 0.3  #: flakes packed so much have no shoulders: a heap shows its flakes
_THIN = 0.3  #: in air less packed no flake bridges two
_IN_A_PECK = 3  #: flakes at most in a group that is made in a peck or two
_AJAR = 1.5  #: two large ones that don't merge lie so many lands more apart than they must, at most
_SHRINKS = 0.55  #: a flake that must shrink further goes
_SPOT = 3.0  #: smallest cuts: the side of a spot beside whose largest flake many are gone,
_SPOTS = (0.0, 0.5)  #: in two lattices, so much of a side apart
_LATTICE = 50  #: squares for each place, at most, of a lattice that is laid out whole
BODY = 0.84  #: a flake's mean reach over its largest
_ROUNDS = 6  #: in which narrow land is filled
_KEPT, _NEW, _DOUBTFUL = range(3)  #: what may be wrong with a shape: nothing; it may lie too near; necks too
_CUT_BACK = 3  #: rounds in which the smaller of two large ones is cut back,
_LEFT = 3.0  #: to pieces of so many smallest cuts squared at least
_MASS = 12.0  #: what is larger than so many lands squared does not go for the sake of a larger one


@dataclass(frozen=True, eq=False)
class _Meetings:
    """Pairs of flakes that have come near, told from their discs alone; arrays of one length."""

    small: Indices
    large: Indices
    gone: Mask  #: whether the smaller one goes: hidden by the larger, or too near to it to shrink
    merges: Mask
    scale: Floats  #: of the smaller one, for land to stay between them
    sinks: Floats  #: how deep it sinks in where they merge, 0...1
    off: Floats  #: how far it moves away from the larger one instead, mm: two large ones may all but touch


def doomed(flakes: Flakes, view: Floats, limits: Limits) -> Mask:
    """Which flakes go beside the largest at their spot: where many fall most of them do; `view` lies at (0, 0)."""
    gone, left = np.zeros(len(flakes), dtype=bool), np.arange(len(flakes))
    for shift in _SPOTS:
        place = (flakes.xy.take(left, axis=0) + view) / (_SPOT * limits.cut_mm) + shift
        largest = left.take(_largest_at_spot(place, flakes.reach.take(left)))
        other = left != largest
        pairs = _meetings(flakes, left[other], largest[other], limits)
        gone[pairs.small[pairs.gone]] = True
        left = np.flatnonzero(~gone)
    return gone


def _largest_at_spot(place: Floats, reach: Floats) -> Indices:
    """The largest in the same square of a lattice of side 1 as each; (n,)."""
    column, row = np.floor(place).astype(np.int64).T
    column, row = column - column.min(initial=0), row - row.min(initial=0)
    square = column * (row.max(initial=0) + 1) + row
    if square.max(initial=0) > _LATTICE * len(square):  # most are empty
        square = np.unique_inverse(square).inverse_indices
    most = np.zeros(square.max(initial=-1) + 1)
    np.maximum.at(most, square, reach)
    first, largest = np.flatnonzero(reach == most.take(square)), np.empty(len(most), dtype=np.int64)
    largest[square[first]] = first  # of those alike the last
    return np.asarray(largest.take(square))


def _meetings(flakes: Flakes, small: Indices, large: Indices, limits: Limits) -> _Meetings:
    """What becomes of the smaller flake of each pair: it is one with the larger, merges, moves off, shrinks or goes."""
    away, one, other = _distance(flakes.xy, small, large), flakes.reach[small], flakes.reach[large]
    sunk = _sunk(away, one, other)
    body = other >= _SPECK * limits.cut_mm
    deep = (sunk > _DEEP) & body
    need = limits.land_mm + 2 * SLACK_MM - (away - _LEAN * (one + other))
    merges, sinks, near = np.zeros(len(small), dtype=bool), np.zeros(len(small)), np.flatnonzero(~deep & (need > 0))
    asked = near[body[near]]
    chance = Draws(keys(flakes.key[small[asked]], flakes.key[large[asked]])).random(3)
    packed = flakes.packed[large[asked]]
    merges[asked] = chance[:, 0] < np.where(packed > 0, _MERGES_LESS + (1 - _MERGES_LESS) * packed**1.5, _MERGES)
    sinks[asked] = chance[:, 1]
    linked = merges | (deep & (sunk <= _HIDDEN))
    doubtful = asked[merges[asked] & (packed > 0) & (chance[:, 2] > _CHAINED)]
    shared = _share_a_neighbour(len(flakes), small[linked], large[linked], small[doubtful], large[doubtful])
    merges[doubtful[~shared]] = False
    near = near[~merges[near]]
    off, scale = np.zeros(len(small)), np.ones(len(small))
    moves = body[near] & (one[near] >= _SPECK * limits.cut_mm)
    off[near[moves]] = 1.12 * need[near[moves]] + _AJAR * limits.land_mm * sinks[near[moves]] ** 2
    near = near[~moves]
    scale[near] -= 1.12 * need[near] / (BODY * one[near])
    least = np.where(flakes.torn[small[near]], 1, np.maximum(_SHRINKS, shrunk_mm(limits) / one[near]))
    gone = deep & (sunk > _HIDDEN)
    gone[near] = scale[near] < least
    return _Meetings(small, large, gone, merges, scale, sinks, off)


def met(flakes: Flakes, limits: Limits) -> Flakes:
    """Flakes after each has met those larger than itself: moved into one, shrunk beside them, or gone.

    Where the larger ones end up does not matter: what happens at a place depends on no more than a flake and a land
    around it.
    """
    apart = limits.land_mm + 2 * SLACK_MM
    pairs = _meetings(flakes, *_disc_pairs(flakes.xy, _LEAN * flakes.reach, flakes.key, apart), limits)
    stays = np.ones(len(flakes), dtype=bool)
    stays[pairs.small[pairs.gone]] = False
    both = stays[pairs.small] & stays[pairs.large]
    scale = np.ones(len(flakes))
    np.minimum.at(scale, pairs.small[both], pairs.scale[both])
    shift = np.zeros_like(flakes.xy)
    moves = np.flatnonzero(both & (pairs.merges | (pairs.off > 0)) & (scale[pairs.small] == 1))
    moves = moves[np.argsort(flakes.reach[pairs.large[moves]], kind="stable")]  # the largest last: it wins
    one, other = pairs.small[moves], pairs.large[moves]
    away = flakes.xy[other] - flakes.xy[one]
    apart_by = np.maximum(np.hypot(*away.T), 1e-9)
    low = np.where(flakes.packed[other] > 0, _SINKS_PACKED, 0)
    sunk = low + (_SINKS - low) * pairs.sinks[moves]
    wished = BODY * (flakes.reach[other] - sunk * flakes.reach[one])
    nearer = np.where(pairs.merges[moves], np.maximum(apart_by - wished, 0), -pairs.off[moves])
    shift[one] = away * (nearer / apart_by)[:, None]
    return flakes.changed(scale, shift).chosen(stays)


def parted(flakes: Flakes, limits: Limits, clumps: Clumps) -> PolygonArray:
    """Shapes a land apart: those that overlap deep are one, of others too near the smaller goes, or sticks.

    `clumps` holds what was smoothed before: it is not smoothed again.
    """
    small, large, sunk = _pairs(flakes, limits.land_mm + SLACK_MM / 2)
    speck = flakes.reach[large] < 0.8 * _SPECK * limits.cut_mm
    deep = ~speck & (sunk > 0.9 * _DEEP)
    near = np.flatnonzero(~deep)
    kin = _share_a_neighbour(len(flakes), small[deep], large[deep], small[near], large[near])
    kin |= _stick(flakes, small[near], large[near])
    stays = np.ones(len(flakes), dtype=bool)
    stays[small[near[~kin]]] = False
    both = stays[small] & stays[large]
    both[both] = _near(flakes, small[both], large[both], sunk[both], limits.land_mm)
    small, large, sunk = small[both], large[both], sunk[both]
    stays[small[_bridges(flakes, small, large)]] = False
    left = stays[small] & stays[large]
    small, large, sunk = small[left], large[left], sunk[left]
    flows = (_flows(flakes, small, large) | (sunk < _SHALLOW)) & (flakes.packed[large] < _HEAPED)
    stays[small[~flows & _knobs(flakes, small, large)]] = False
    left = stays[small] & stays[large]
    small, large, flows = small[left], large[left], (flows & (sunk < _HIDDEN))[left]
    reached(0.15)
    group = geometry.linked_groups(len(flakes), small, large)
    merged = stays & ((np.bincount(group, minlength=len(flakes))[group] > 1) | flakes.torn)
    peck = merged & _pecks(flakes, group, stays)
    pecks = _hulls(flakes.shape[peck], group[peck])
    of, flows = np.flatnonzero(merged & ~peck), flows & ~peck[large]
    heaps = np.zeros(len(flakes), dtype=bool)
    heaps[group[of[flakes.packed[of] > 0]]] = True
    looks = np.digitize(flakes.packed[of], (1e-12, _HEAPED)).astype(np.uint64)  # other levels, other heaps
    marks, clump = _marks(flakes.mark[of] ^ looks, group[of]), np.unique(group[of])
    new = clump[clumps.are_new(marks)]
    seen = merged & ~peck & np.isin(group, new)
    flows &= seen[large]
    seen[small[flows]] = False  # its shoulder holds all of it
    members = np.concatenate([flakes.shape[seen], _shoulders(flakes, small[flows], large[flows])])
    whose = np.concatenate([group[seen], group[large[flows]]])
    clumped = gathered(members, whose)
    with part(0.2, 0.9):
        made, narrow = clumps.smooth(clumped, marks, heaps[clump])
    alone = flakes.shape[stays & ~merged]
    state = np.concatenate([np.full(len(alone), _KEPT), np.full(len(pecks), _NEW), np.where(narrow, _DOUBTFUL, _NEW)])
    return _settled(np.concatenate([alone, pecks, made]), state, limits)


def _pecks(flakes: Flakes, group: Indices, stays: Mask) -> Mask:
    """Which flakes are in groups so small that a tool makes each in a peck or two: it leaves no bays. None is torn."""
    count = np.bincount(group, stays)
    largest = np.zeros(len(count))
    np.maximum.at(largest, group, flakes.reach)
    return np.asarray(((count <= _IN_A_PECK) & (largest < PECK_MM))[group])


def _hulls(shapes: PolygonArray, group: Indices) -> PolygonArray:
    """The convex hull of each group's shapes."""
    order = np.argsort(group, kind="stable")
    number = np.cumsum(np.diff(group[order], prepend=-1) != 0) - 1
    xy, of = shapely.get_coordinates(shapes[order], return_index=True)
    return np.asarray(shapely.convex_hull(shapely.linestrings(xy, indices=number[of])), dtype=object)


def _bridges(flakes: Flakes, small: Indices, large: Indices) -> Mask:
    """Pairs in thin air whose smaller one would link the larger to another that is not near it: bones, letters."""
    count = len(flakes)
    largest = np.full(count, -1)
    order = np.argsort(flakes.reach[large], kind="stable")
    largest[small[order]] = large[order]
    top = largest[small]
    linked = np.isin(np.concatenate([large * count + top, top * count + large]), small * count + large)
    apart = (large != top) & ~(linked[: len(small)] | linked[len(small) :])
    return np.asarray(apart & (flakes.packed[small] < _THIN))


def _flows(flakes: Flakes, small: Indices, large: Indices) -> Mask:
    """Which pairs run into one another: most of those that stick to one flake, few of those that stick to another."""
    low, high = _FLOWS
    usual = low + (high - low) * Draws(keys(flakes.key[large], 3)).random(1)[:, 0]
    return np.asarray(Draws(keys(flakes.key[small], flakes.key[large], 2)).random(1)[:, 0] < usual)


def _knobs(flakes: Flakes, small: Indices, large: Indices) -> Mask:
    """Which of the smaller ones would be knobs on the rim of a single one: some of them stay, as teeth."""
    alone = np.bincount(small, minlength=len(flakes))[small] == 1
    chance = Draws(keys(flakes.key[small], flakes.key[large], 4)).random(1)[:, 0]
    return np.asarray(alone & (flakes.reach[small] < _KNOB * flakes.reach[large]) & (chance > _TEETH))


def _shoulders(flakes: Flakes, small: Indices, large: Indices) -> PolygonArray:
    """What lies between the flakes of each pair: the convex hull of the smaller one and of a core of the larger.

    The larger the core, the fuller the bays on both sides; a whole one would leave straight sides.
    """
    thin, full = _CORE
    core = thin + (full - thin) * Draws(keys(flakes.key[small], flakes.key[large], 5)).random(1)[:, 0]
    own, nth = shapely.get_coordinates(flakes.shape[small], return_index=True)
    other, of = shapely.get_coordinates(flakes.shape[large], return_index=True)
    middle = flakes.xy[large[of]]
    pair = np.concatenate([nth, of])
    order = np.argsort(pair, kind="stable")
    xy = np.concatenate([own, middle + core[of, None] * (other - middle)])[order]
    return np.asarray(shapely.convex_hull(shapely.linestrings(xy, indices=pair[order])), dtype=object)


def _stick(flakes: Flakes, small: Indices, large: Indices) -> Mask:
    """Which pairs stay together where flakes lie thick; specks on the rim of a large one less often."""
    chance = Draws(keys(flakes.key[small], flakes.key[large], 1)).random(1)[:, 0]
    alike = _STICKS + flakes.reach[small] / flakes.reach[large]
    return np.asarray(chance < flakes.packed[large] * np.minimum(alike, 1))


def _marks(mark: NDArray[np.uint64], group: Indices) -> NDArray[np.uint64]:
    """The mark of each group: of its flakes, however they have moved and shrunk."""
    order = np.argsort(group, kind="stable")
    first = np.flatnonzero(np.diff(group[order], prepend=-1))
    return np.add.reduceat(mixed(mark)[order], first) if len(first) else mark[:0]


def _pairs(flakes: Flakes, apart: float) -> tuple[Indices, Indices, Floats]:
    """Pairs no further than `apart`: the smaller, the larger (by reach, then by key), and how deep it lies in that."""
    small, large = _disc_pairs(flakes.xy, flakes.reach, flakes.key, apart)
    sunk = _sunk(_distance(flakes.xy, small, large), flakes.reach[small], flakes.reach[large])
    near = _near(flakes, small, large, sunk, apart)
    return small[near], large[near], sunk[near]


def _near(flakes: Flakes, small: Indices, large: Indices, sunk: Floats, apart: float) -> Mask:
    """Which pairs are no further than `apart`: those that have sunk deep are not measured."""
    near = sunk > _DEEP
    asked = np.flatnonzero(~near)
    near[asked] = shapely.dwithin(flakes.shape[small[asked]], flakes.shape[large[asked]], apart)
    return near


def _disc_pairs(xy: Floats, reach: Floats, key: NDArray[np.uint64], apart: float) -> tuple[Indices, Indices]:
    """Pairs whose discs come nearer than `apart`: the smaller and the larger, by reach, then by key."""
    i, j = disc_pairs(xy, reach, apart)
    less = (reach[i] < reach[j]) | ((reach[i] == reach[j]) & (key[i] < key[j]))
    return np.where(less, i, j), np.where(less, j, i)


def _distance(xy: Floats, one: Indices, other: Indices) -> Floats:
    """How far the places of each pair are apart."""
    away = xy.take(one, axis=0)
    away -= xy.take(other, axis=0)
    away *= away
    return np.sqrt(away[:, 0] + away[:, 1])


def _sunk(apart: Floats, small: Floats, large: Floats) -> Floats:
    """How deep the smaller of two such reaches lies in the larger, in its own reaches."""
    return np.asarray(1 + (large - apart / BODY) / small)


def _share_a_neighbour(count: int, a: Indices, b: Indices, small: Indices, large: Indices) -> Mask:
    """Whether both of each pair are linked (a to b) to a third."""
    from scipy.sparse import coo_array

    if len(small) == 0 or len(a) == 0:
        return np.zeros(len(small), dtype=bool)
    ones = np.ones(2 * len(a), dtype=np.int32)
    links = coo_array((ones, (np.r_[a, b], np.r_[b, a])), shape=(count, count)).tocsr()
    return np.asarray(links[small].multiply(links[large]).sum(axis=1)).ravel() > 0


def _settled(shapes: PolygonArray, state: Indices, limits: Limits) -> PolygonArray:
    """The shapes a land apart from one another, none with land inside it or a neck of its own that is too narrow.

    Where two have come near, the smaller goes, or two large ones are one; narrow land inside one is filled and a
    narrow neck widened. What is narrow still after some rounds of that goes: from then on each round leaves fewer
    shapes.

    Parameters
    ----------
    state
        What may be wrong with each: nothing as to others of that state; it may have come near another; that, and it
        may have narrow land or necks; (n,).
    """
    for nth in itertools.count():
        shapes, state = _apart(shapes, state, limits)
        which = np.flatnonzero(state == _DOUBTFUL)
        owner, patches = _patches(geometry.rings(shapes[which]), limits)
        if len(owner) == 0:
            return shapes
        state[which] = _KEPT
        bad = np.unique(owner)
        fuller = geometry.empty()
        if nth < _ROUNDS:
            both = np.concatenate([shapes[which[bad]], patches])
            fuller = gathered(both, np.concatenate([np.arange(len(bad)), np.searchsorted(bad, owner)]))
            fuller = simpler(closed(fuller, limits.land_mm + 2 * SLACK_MM))  # no spike of land beside a patch
            fuller = fine(without_specks(geometry.parts(fuller), limits))
        shapes = np.concatenate([np.delete(shapes, which[bad]), fuller])
        state = np.concatenate([np.delete(state, which[bad]), np.full(len(fuller), _DOUBTFUL)])
    raise AssertionError


def _apart(shapes: PolygonArray, state: Indices, limits: Limits) -> tuple[PolygonArray, Indices]:
    """The shapes a land apart: of two that are nearer the smaller goes, or if that one is large it is cut back.

    What is large and near even so is one. Then each round leaves fewer shapes: it ends.
    """
    new, cut_back = state != _KEPT, 0
    while new.any():
        nth, j = shapely.STRtree(shapes).query(shapes[new], predicate="dwithin", distance=limits.land_mm)
        order = np.argsort(j, kind="stable")
        i, j = np.flatnonzero(new)[nth[order]], j[order]
        i, j = i[i != j], j[i != j]
        if len(i) == 0:
            break
        size, other = shapely.area(shapes[i]), shapely.area(shapes[j])
        small = np.where((size < other) | ((size == other) & (i < j)), i, j)
        slight = np.minimum(size, other) < _MASS * limits.land_mm**2
        gone = np.zeros(len(shapes), dtype=bool)
        gone[small[slight]] = True
        both = ~slight & ~gone[i] & ~gone[j]
        if both.any() and cut_back < _CUT_BACK:
            cut_back += 1
            less, more = small[both], (i + j - small)[both]
            left = _cut_back(shapes, less, more, limits)
            gone[less] = True
            kept = np.flatnonzero(~gone)
            shapes = np.concatenate([shapes[kept], left])
            state = np.concatenate([state[kept], np.full(len(left), _DOUBTFUL)])
            new = np.arange(len(shapes)) >= len(kept)
            continue
        whose = np.unique(np.concatenate([i[both], j[both]]))
        gone[whose] = True
        kept = np.flatnonzero(~gone)
        group = geometry.near_groups(shapes[whose], limits.land_mm)
        across = shapely.shortest_line(shapes[i[both]], shapes[j[both]])
        bridges = geometry.offset(across, FILLS / 2 * limits.land_mm, quad_segs=4)
        bridged = group[np.searchsorted(whose, i[both])]
        united = gathered(np.concatenate([shapes[whose], bridges]), np.concatenate([group, bridged]))
        united = _one_each(united, limits)
        shapes = np.concatenate([shapes[kept], united])
        state = np.concatenate([state[kept], np.full(len(united), _DOUBTFUL)])
        new = np.arange(len(shapes)) >= len(kept)
    state[state == _NEW] = _KEPT
    return shapes, state


def _cut_back(shapes: PolygonArray, small: Indices, large: Indices, limits: Limits) -> PolygonArray:
    """What the cutter makes of the smaller shapes that is a land away from the larger beside each."""
    around = geometry.offset(shapes[large], limits.land_mm + 2 * SLACK_MM, quad_segs=4)
    left = opened(shapely.difference(shapes[np.unique(small)], gathered(around, small)), limits.cut_mm + 2 * SLACK_MM)
    pieces = geometry.parts(left)
    pieces = simpler(pieces[shapely.area(pieces) > _LEFT * limits.cut_mm**2])
    return without_specks(fine(pieces), limits)


def _one_each(shapes: PolygonArray, limits: Limits) -> PolygonArray:
    """The shapes smoothed, of each the largest piece."""
    pieces, whose = (np.concatenate(both) for both in zip(*smoothed(shapes, limits, RIM_MM), strict=True))
    return np.asarray(pieces[largest_of_each(pieces, whose)])


def _patches(rings: Rings, limits: Limits) -> tuple[Indices, PolygonArray]:
    """What fills narrow land inside shapes and widens their own necks, and which shape each is for."""
    lands = necks(geometry.reversed_rings(rings), limits.land_mm)
    cuts = necks(rings, limits.cut_mm)
    across = np.concatenate([geometry.lines(places.start, places.end) for places in (lands, cuts)])
    least = (limits.cut_mm + SLACK_MM) / 2
    radius = np.repeat([max(FILLS / 2 * limits.land_mm, least), least], [len(lands), len(cuts)])
    patches = np.asarray(shapely.buffer(across, radius / np.cos(np.pi / 16), quad_segs=4), dtype=object)
    return rings.owner[np.concatenate([lands.first, cuts.first])], patches
