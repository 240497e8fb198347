"""Lines strung together from links between points, each link once, lifted as rarely as can be."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen.toolpaths.paths import Paths, no_paths

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices

__all__ = ["trails"]


def trails(xyz: Floats, links: Indices) -> Paths:
    """Paths that follow every link once; at a fork the straightest way on.

    Begun at ends of the net, the highest first, so that a V comes down from the face; what is left are closed
    paths.
    """
    if len(links) == 0:
        return no_paths()
    net = _Net(xyz, links)
    degree = np.bincount(links.ravel(), minlength=len(xyz))
    odd = np.flatnonzero(degree % 2 == 1)
    found = []
    for start in odd[np.lexsort([-xyz[odd, 2], degree[odd] > 1])].tolist():
        while net.free(start):
            found.append(net.walked(start))
    found += [net.walked(start) for start in links[:, 0].tolist() if net.free(start)]
    closed = np.array([len(path) > 2 and path[0] == path[-1] for path in found])
    points = [path[:-1] if shut else path for path, shut in zip(found, closed.tolist(), strict=True)]
    start = np.concatenate([[0], np.cumsum([len(path) for path in points])])
    return Paths(xyz[np.concatenate([np.array(path) for path in points])], start, closed)


class _Net:
    """Links by their points, and which are still to be followed."""

    def __init__(self, xyz: Floats, links: Indices) -> None:
        both = np.concatenate([links, links[:, ::-1]])
        order = np.argsort(both[:, 0], kind="stable")
        self._begin = np.searchsorted(both[order, 0], np.arange(len(xyz) + 1)).tolist()
        self._to = both[order, 1].tolist()
        self._link = (order % len(links)).tolist()
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
