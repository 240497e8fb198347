"""Crystals of frost as they grow, arm by arm: what tests look at before any ice is drawn round them."""

from __future__ import annotations

from functools import cache

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.motifs.frost.branching import BranchingHabit
from carvegen.motifs.frost.contours import walked
from carvegen.motifs.frost.crystals import Thicket
from carvegen.motifs.frost.seeding import Sowing, sown

FACE = shapely.box(0, 0, 60, 46)


def habit(*, curve: float = 0.5) -> BranchingHabit:
    return BranchingHabit(
        land=0.4,
        least=0.15,
        step=0.14,
        branching=0.9,
        breadth=0.5,
        plumes=0.4,
        curve=curve,
        flare=True,
        reach=60.0,
        density=lambda xy: np.ones(len(xy)),
    )


@cache
def thicket(seed: int = 1, *, curve: float = 0.5) -> Thicket:
    """Forty crystals from the edge of a face."""
    each, rng = habit(curve=curve), stream(seed, "x")
    edge = walked(geometry.polygon_array([FACE]), 0.07, smooth_mm=1.0)
    grown = Thicket(each, edge.xy, stream(seed, "y"), wall_gap=0.4, open_feet=True)
    at = rng.permutation(len(edge))[:40]
    sowing = Sowing(habit=each, stem_mm=1.0, patch_mm=60, inset_mm=None)
    grown.grow(*sown(sowing, edge, at, rng.uniform(5, 35, 40), rng, splay=0.3, shy=0.0))
    return grown


def points_of(grown: Thicket, arm: int) -> np.ndarray:
    trail = grown.trail
    which = np.flatnonzero(trail.arm[: trail.count] == arm)
    return trail.xy[which[np.argsort(trail.along[which])]]
