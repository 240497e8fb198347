"""Lines strung together from links between points, each link once, lifted as rarely as can be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen.base.progress import reached
from carvegen.geometry import counted, linked_groups
from carvegen.toolpaths.paths import (
    Paths,
    joined,
    no_paths,
    picked,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["trails"]


def trails(xyz: Floats, links: Indices) -> Paths:
    """Paths that follow every link once; at a fork the straightest way on.

    Begun at ends of the net, the highest first, so that a V comes down from the face; what is left are closed
    paths. Most pieces of a net are lines without a fork: these are followed all at once.
    """
    if len(links) == 0:
        return no_paths()
    degree = np.bincount(links.ravel(), minlength=len(xyz))
    odd = np.flatnonzero(degree % 2 == 1)
    odd = odd[np.lexsort([-xyz[odd, 2], degree[odd] > 1])]
    group, plain = _unforked(links, degree)
    reached(0.15)
    first = odd[plain[group[odd]]]
    first = first[np.sort(np.unique(group[first], return_index=True)[1])]
    flat, count = _followed(links[plain[group[links[:, 0]]]], first, len(xyz))
    lines = Paths(xyz[flat], np.concatenate([[0], np.cumsum(count)]), np.zeros(len(count), dtype=bool))
    reached(0.35)
    others, begun = _walked(xyz, links[~plain[group[links[:, 0]]]], odd, group)
    rank = np.full(len(xyz) + 1, len(odd))
    rank[odd] = np.arange(len(odd))
    return picked(joined([lines, others]), np.argsort(rank[np.concatenate([first, begun])], kind="stable"))


def _unforked(links: Indices, degree: Indices) -> tuple[Indices, Mask]:
    """The number of the piece that each point belongs to, and which pieces are one line with two ends."""
    group = linked_groups(len(degree), *links.T)
    ends, forks = (np.bincount(group, weights=which) for which in (degree == 1, degree > 2))
    return group, (ends == 2) & (forks == 0)


def _followed(links: Indices, first: Indices, points: int) -> tuple[Indices, Indices]:
    """The points along lines without a fork, each from its first one; and how many each has."""
    both = np.concatenate([links, links[:, ::-1]])
    order = np.argsort(both[:, 0], kind="stable")
    begin = np.searchsorted(both[order, 0], np.arange(points + 1))
    to = np.append(both[order, 1], -1)
    beside = np.column_stack([begin[:-1], begin[1:] - 1])
    beside = to[np.where(begin[1:, None] > begin[:-1, None], beside, -1)]
    line, here, before = np.arange(len(first)), first, np.full(len(first), -1)
    lines, points_at = [line], [here]
    while len(here):
        one, other = beside[here].T
        ahead = np.where(one != before, one, other)
        on = ahead != before
        line, here, before = line[on], ahead[on], here[on]
        lines.append(line)
        points_at.append(here)
    owner = np.concatenate(lines)
    order = np.argsort(owner, kind="stable")
    return np.concatenate(points_at)[order], np.bincount(owner, minlength=len(first))


def _walked(xyz: Floats, links: Indices, odd: Indices, piece: Indices) -> tuple[Paths, Indices]:
    """The paths through all other pieces, and where each began: -1 for those that have no end.

    `piece` is the number of the piece that each point belongs to.
    """
    if len(links) == 0:
        return no_paths(), np.empty(0, dtype=np.int64)
    used, inner = np.unique(links, return_inverse=True)
    at, links, place = xyz[used], inner.reshape(-1, 2), np.full(len(xyz), -1)
    place[used] = np.arange(len(used))
    degree, starts = np.bincount(links.ravel()), place[odd]
    lines, begun, left = _Stretches.of(at, links, degree != _NO_CHOICE).walked(starts[starts >= 0], piece[used])
    rest = links[left]
    still = np.bincount(rest.ravel(), minlength=len(at)) > 0
    starts = links[still[links[:, 0]], 0]
    starts = starts[np.sort(np.unique(starts, return_index=True)[1])]
    rings, _, _ = _Stretches.of(at, rest, still).walked(starts, piece[used])
    return joined([lines, rings]), np.concatenate([used[begun], np.full(len(rings), -1)]).astype(np.int64)


_NO_CHOICE = 2  #: links at a point through which there is one way
_FEW_ROUTES = 200  #: of a piece up to which it is followed side by side with others


@dataclass(frozen=True, eq=False)
class _Stretches:
    """A net from stop to stop; a stretch is followed from either end, as two routes, and has no choice on it.

    Routes come stop by stop, those along a link before those against one, as the links lie.
    """

    xyz: Floats
    first: Indices  #: ``first[p]:first[p + 1]`` are the routes from point p; (points + 1,)
    twin: Indices  #: the same stretch from its other end; (routes,)
    start: Indices  #: ``start[k]:start[k + 1]`` are route k's links and points; (routes + 1,)
    link: Indices
    at: Indices  #: the points behind its first one
    begin: Indices  #: the first point of each route; (routes,)
    before: Indices  #: the last point but one; (routes,)
    links: int  #: of the whole net

    @classmethod
    def of(cls, xyz: Floats, links: Indices, stop: Mask) -> _Stretches:
        """The net of these links; `stop`: at which points there is more than one way, or none, to go on."""
        both, count = np.concatenate([links, links[:, ::-1]]), max(len(links), 1)
        order = np.argsort(both[:, 0], kind="stable")
        begin, to = both[order].T
        rank = np.empty(len(order), dtype=np.int64)
        rank[order] = np.arange(len(order))
        back = rank[(order + len(links)) % (2 * count)]
        inner = 2 * np.searchsorted(begin, np.arange(len(xyz))) + 1
        heads = np.flatnonzero(stop[begin])
        row, step = np.arange(len(heads)), heads
        rows, steps = [row], [step]
        while (on := ~stop[to[step]]).any():
            row, step = row[on], step[on]
            step = inner[to[step]] - back[step]
            rows.append(row)
            steps.append(step)
        row = np.concatenate(rows)
        step = np.concatenate(steps)[np.argsort(row, kind="stable")]
        start = np.concatenate([[0], np.cumsum(np.bincount(row, minlength=len(heads)))])
        last = step[start[1:] - 1]
        first = np.searchsorted(begin[heads], np.arange(len(xyz) + 1))
        twin = np.searchsorted(heads, back[last])
        return cls(xyz, first, twin, start, order[step] % count, to[step], begin[heads], begin[last], len(links))

    def walked(self, starts: Indices, piece: Indices) -> tuple[Paths, Indices, Mask]:
        """Paths from `starts` on, as many from each as there are, where each began, and the links on none of them.

        `piece` is the number of the piece that each point belongs to.
        """
        small = np.bincount(piece[self.begin], minlength=int(piece.max(initial=-1)) + 1) <= _FEW_ROUTES
        few = small[piece[starts]]
        route, walk, begin = (
            np.concatenate(both)
            for both in zip(
                self._side_by_side(np.flatnonzero(few), starts, piece), self._by_turns(np.flatnonzero(~few), starts),
                strict=True,
            )
        )  # fmt: skip
        reached(0.8)
        route, of, begun = _in_order(route, walk, begin, starts)
        count = np.diff(self.start)[route]
        at = np.repeat(self.start[route], count) + counted(count)
        size = np.bincount(of, weights=count, minlength=len(begun)).astype(np.int64)
        start = np.concatenate([[0], np.cumsum(size + 1)])
        flat, head = np.empty(start[-1], dtype=np.int64), np.zeros(start[-1], dtype=bool)
        head[start[:-1]] = True
        flat[head], flat[~head] = begun, self.at[at]
        left = np.ones(self.links, dtype=bool)
        left[self.link[at]] = False
        closed = (flat[start[:-1]] == flat[start[1:] - 1]) & (size > 1)
        kept = np.ones(len(flat), dtype=bool)
        kept[start[1:][closed] - 1] = False
        start = np.concatenate([[0], np.cumsum(size + 1 - closed)])
        return Paths(self.xyz[flat[kept]], start, closed), begun, left

    def _by_turns(self, turns: Indices, starts: Indices) -> tuple[Indices, Indices, Indices]:
        """The routes from the starts of these numbers: each route, its walk from that start, and the start's number."""
        if not len(turns):
            return turns, turns, turns
        ahead, behind = (_complex(steps).tolist() for steps in self._directions())
        first, ends = self.first.tolist(), self.ends.tolist()
        twin, used = self.twin.tolist(), bytearray(len(ahead))
        gone: list[tuple[int, int, int]] = []
        for turn, start in zip(turns.tolist(), starts[turns].tolist(), strict=True):
            walk = 0
            while True:
                here, along, before = start, None, len(gone)
                while free := [k for k in range(first[here], first[here + 1]) if not used[k]]:
                    route = free[0]
                    if along is not None and len(free) > 1:
                        bends = [_straight(along, ahead[k]) for k in free]
                        route = free[bends.index(max(bends))]
                    used[route] = used[twin[route]] = 1
                    gone.append((route, walk, turn))
                    here, along = ends[route], behind[route]
                if len(gone) == before:
                    break
                walk += 1
        routes, walks, turn_of = np.array(gone, dtype=np.int64).reshape(-1, 3).T
        return routes, walks, turn_of

    def _side_by_side(self, turns: Indices, starts: Indices, piece: Indices) -> tuple[Indices, Indices, Indices]:
        """The same for starts on small pieces, one step at a time on all pieces: no piece knows of another."""
        queue = turns[np.argsort(piece[starts[turns]], kind="stable")]
        (ahead, behind), ends = self._directions(), self.ends
        turn = np.flatnonzero(np.diff(piece[starts[queue]], prepend=-1))
        last = np.append(turn[1:], len(queue))
        here, fresh = starts[queue[turn]], np.ones(len(turn), dtype=bool)
        along, walk, free = np.zeros((len(turn), 2)), np.zeros(len(turn), dtype=np.int64), np.ones(len(ends), bool)
        gone = [np.empty((3, 0), dtype=np.int64)]
        while len(turn):
            row, route = self._free_at(here, free)
            head = np.flatnonzero(np.diff(row, prepend=-1))
            bend = np.where(fresh[row], 0.0, _straightness(along[row], ahead[route]))
            best = bend == np.repeat(np.maximum.reduceat(bend, head), np.diff(head, append=len(row)))
            route = route[np.minimum.reduceat(np.where(best, np.arange(len(row)), len(row)), head)]
            on = row[head]
            free[route] = free[self.twin[route]] = False
            gone.append(np.stack([route, walk[on], queue[turn[on]]]))
            stuck = np.ones(len(turn), dtype=bool)
            stuck[on] = False
            here[on], along[on] = ends[route], behind[route]
            done = stuck & fresh
            turn, walk = turn + done, np.where(done, 0, walk + stuck)
            fresh = stuck
            left = turn < last
            turn, last, walk = turn[left], last[left], walk[left]
            here, fresh, along = here[left], fresh[left], along[left]
            here = np.where(fresh, starts[queue[turn]], here)
        route, number, turn_of = np.concatenate(gone, axis=1)
        return route, number, turn_of

    def _free_at(self, here: Indices, free: Mask) -> tuple[Indices, Indices]:
        """The routes from each of these points that are free, and the place of each one's point among them."""
        count = self.first[here + 1] - self.first[here]
        row = np.repeat(np.arange(len(here)), count)
        route = self.first[here][row] + counted(count)
        open_ = free[route]
        return row[open_], route[open_]

    def _directions(self) -> tuple[Floats, Floats]:
        """In plan, the first and the last step of each route."""
        first = self.xyz[self.at[self.start[:-1]]] - self.xyz[self.begin]
        return first[:, :2], (self.xyz[self.ends] - self.xyz[self.before])[:, :2]

    @property
    def ends(self) -> Indices:
        """The last point of each route."""
        return self.at[self.start[1:] - 1]


def _in_order(route: Indices, walk: Indices, turn: Indices, starts: Indices) -> tuple[Indices, Indices, Indices]:
    """Routes walk by walk, as the walks begin; the number of each one's walk, and where each walk begins."""
    order = np.lexsort([walk, turn])
    route, walk, turn = route[order], walk[order], turn[order]
    new = np.append(True, (np.diff(turn) != 0) | (np.diff(walk) != 0))[: len(route)]
    return route, np.cumsum(new) - 1, starts[turn[new]]


def _complex(steps: Floats) -> NDArray[np.complex128]:
    """Steps in plan as complex numbers."""
    return np.asarray(steps[:, 0] + 1j * steps[:, 1])


def _straight(along: complex, on: complex) -> float:
    """The cosine of a turn: 1 is straight on."""
    size = abs(along) * abs(on)
    return (along.conjugate() * on).real / size if size else 0.0


def _straightness(along: Floats, on: Floats) -> Floats:
    """The same of many turns."""
    size = np.hypot(*along.T) * np.hypot(*on.T)
    return np.asarray((along * on).sum(axis=1) / np.where(size > 0, size, np.inf))
