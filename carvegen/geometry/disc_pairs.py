"""Which of many discs of many sizes come near one another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices

__all__ = ["disc_pairs"]

_RATIO = 2.0  #: of the radii within one class


def disc_pairs(xy: Floats, radius: Floats, apart: float) -> tuple[Indices, Indices]:
    """All pairs of discs nearer than `apart`, each once, in no order of their own.

    Discs are sought class by class of their sizes, so that few large ones do not widen the search for many small.
    """
    from scipy.spatial import cKDTree

    size = np.floor(np.log(radius / radius.min(initial=np.inf)) / np.log(_RATIO)).astype(int)
    classes = [np.flatnonzero(size == k) for k in np.unique(size)]
    trees = [cKDTree(xy[which], balanced_tree=False, compact_nodes=False) for which in classes]
    found = [np.empty((0, 2), dtype=np.int64)]
    for k, (one, tree) in enumerate(zip(classes, trees, strict=True)):
        same = tree.query_pairs(2 * radius[one].max() + apart, output_type="ndarray")
        found.append(one[same])
        for other, smaller in zip(classes[:k], trees[:k], strict=True):
            most = radius[one].max() + radius[other].max() + apart
            near = tree.sparse_distance_matrix(smaller, most, output_type="ndarray")
            found.append(np.column_stack([one[near["i"]], other[near["j"]]]))
    i, j = np.concatenate(found).T
    away = xy[i] - xy[j]
    kept = np.hypot(away[:, 0], away[:, 1]) < radius[i] + radius[j] + apart
    return i[kept], j[kept]
