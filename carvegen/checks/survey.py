"""What several checks measure on one job, measured once."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from carvegen.necks import Necks, necks

if TYPE_CHECKING:
    from carvegen.geometry import Indices
    from carvegen.job import Job

__all__ = ["Survey"]

#: A place this much too narrow is none: coordinates lie on a grid of 1 µm.
TOLERANCE_MM = 0.002


class Survey:
    """A job, and the narrow places of its land."""

    def __init__(self, job: Job) -> None:
        self.job = job

    @cached_property
    def narrow_lands(self) -> Necks:
        """Every neck of the land that is narrower than any limit asks, one for each place."""
        widest = max(self.job.limits.land_mm, self.job.face_limits.land_mm)
        return _one_a_place(necks(self.job.block.land_rings, widest), widest)


def _one_a_place(found: Necks, near: float) -> Necks:
    """The narrowest of the necks that follow one another between the same two walls."""
    if len(found) == 0:
        return found
    order = np.argsort(found.width, kind="stable")
    _, first = np.unique(_places(found, near)[order], return_index=True)
    return found.chosen(np.sort(order[first]))


def _places(found: Necks, near: float) -> Indices:
    """A number for each neck; those between the same walls and within `near` of the next share it."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    middle = (found.start + found.end) / 2
    i, j = cKDTree(middle).query_pairs(near, output_type="ndarray").T
    walls = np.sort(np.stack([found.first, found.second], axis=1), axis=1)
    same = (walls[i] == walls[j]).all(axis=1)
    links = coo_array((np.ones(int(same.sum()), dtype=bool), (i[same], j[same])), shape=(len(found), len(found)))
    return np.asarray(connected_components(links, directed=False)[1])
