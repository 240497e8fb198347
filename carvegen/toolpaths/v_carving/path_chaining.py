"""Lines strung together from links between points, each link once, lifted as rarely as can be."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen.toolpaths.paths import (
    Paths,
    joined,
    no_paths,
    picked,
)

if TYPE_CHECKING:
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
    first = odd[plain[group[odd]]]
    first = first[np.sort(np.unique(group[first], return_index=True)[1])]
    flat, count = _followed(links[plain[group[links[:, 0]]]], first, len(xyz))
    lines = Paths(xyz[flat], np.concatenate([[0], np.cumsum(count)]), np.zeros(len(count), dtype=bool))
    others, begun = _walked(xyz, links[~plain[group[links[:, 0]]]], odd)
    rank = np.full(len(xyz) + 1, len(odd))
    rank[odd] = np.arange(len(odd))
    return picked(joined([lines, others]), np.argsort(rank[np.concatenate([first, begun])], kind="stable"))


def _unforked(links: Indices, degree: Indices) -> tuple[Indices, Mask]:
    """The number of the piece that each point belongs to, and which pieces are one line with two ends."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    size = (len(degree), len(degree))
    ways = coo_array((np.ones(len(links), dtype=bool), (links[:, 0], links[:, 1])), shape=size)
    count, group = connected_components(ways, directed=False)
    ends, forks = (np.bincount(group, weights=its, minlength=count) for its in (degree == 1, degree > 2))
    return group.astype(np.int64), (ends == 2) & (forks == 0)


def _followed(links: Indices, first: Indices, points: int) -> tuple[Indices, Indices]:
    """The points along lines without a fork, each from its first one; and how many each has."""
    both = np.concatenate([links, links[:, ::-1]])
    order = np.argsort(both[:, 0], kind="stable")
    begin = np.searchsorted(both[order, 0], np.arange(points + 1))
    to = np.append(both[order, 1], -1)
    beside = np.column_stack([begin[:-1], begin[1:] - 1])
    beside = to[np.where(begin[1:, None] > begin[:-1, None], beside, -1)]
    line, here, before = np.arange(len(first)), first, np.full(len(first), -1)
    lines, found = [line], [here]
    while len(here):
        one, other = beside[here].T
        ahead = np.where(one != before, one, other)
        on = ahead != before
        line, here, before = line[on], ahead[on], here[on]
        lines.append(line)
        found.append(here)
    owner = np.concatenate(lines)
    order = np.argsort(owner, kind="stable")
    return np.concatenate(found)[order], np.bincount(owner, minlength=len(first))


def _walked(xyz: Floats, links: Indices, odd: Indices) -> tuple[Paths, Indices]:
    """The paths through all other pieces, and where each began: -1 for those that have no end."""
    used, inner = np.unique(links, return_inverse=True)
    net, place = _Net(xyz[used], inner.reshape(-1, 2)), np.full(len(xyz), -1)
    place[used] = np.arange(len(used))
    found, begun = [], []
    for start in place[odd][place[odd] >= 0].tolist():
        while net.free(start):
            found.append(net.walked(start))
            begun.append(start)
    found += [net.walked(start) for start in place[links[:, 0]].tolist() if net.free(start)]
    closed = np.array([len(path) > 2 and path[0] == path[-1] for path in found], dtype=bool)
    points = [path[:-1] if shut else path for path, shut in zip(found, closed.tolist(), strict=True)]
    start = np.concatenate([[0], np.cumsum([len(path) for path in points])]).astype(np.int64)
    flat = np.array([point for path in points for point in path], dtype=np.int64)
    where = np.append(used[begun], np.full(len(found) - len(begun), -1))
    return Paths(xyz[used[flat]], start, closed), where.astype(np.int64)


class _Net:
    """Links by their points, and which are still to be followed."""

    def __init__(self, xyz: Floats, links: Indices) -> None:
        both = np.concatenate([links, links[:, ::-1]])
        order = np.argsort(both[:, 0], kind="stable")
        self._begin = np.searchsorted(both[order, 0], np.arange(len(xyz) + 1)).tolist()
        self._to = both[order, 1].tolist()
        self._link = (order % max(len(links), 1)).tolist()
        self._used = bytearray(len(links))
        self._xy = xyz[:, :2].tolist()

    def free(self, point: int) -> list[int]:
        """The places in the list of ends of the unused links from a point."""
        return [k for k in range(self._begin[point], self._begin[point + 1]) if not self._used[self._link[k]]]

    def walked(self, start: int) -> list[int]:
        """The points along unused links from `start` until there is none."""
        path = [start]
        while ways := self.free(path[-1]):
            way = ways[0] if len(ways) == 1 or len(path) == 1 else max(ways, key=lambda k: self._straight(path, k))
            self._used[self._link[way]] = True
            path.append(self._to[way])
        return path

    def _straight(self, path: list[int], way: int) -> float:
        """The cosine of the turn into a way: 1 is straight on."""
        (ax, ay), (bx, by), (cx, cy) = (self._xy[k] for k in (path[-2], path[-1], self._to[way]))
        along, on = complex(bx - ax, by - ay), complex(cx - bx, cy - by)
        size = abs(along) * abs(on)
        return (along.conjugate() * on).real / size if size else 0.0
