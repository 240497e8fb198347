"""What slides off steep places: down to the first place that holds it, or over an edge onto what lies below."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices, Mask
    from carvegen.motifs.snowload.open_sky import Obstacles
    from carvegen.motifs.snowload.surfaces import Surfaces

__all__ = ["come_down"]

_FALLS = 8  #: over so many edges snow may fall in turn
_OUT_MM = 0.25  #: it falls clear of the edge by so much
_NEAR_MM = 0.8  #: a surface so near to where the fall ends receives it


def come_down(surface: Surfaces, arriving: Floats, holds: Mask, below: Obstacles) -> Floats:
    """What comes to rest on each sample of what slides off the samples that don't hold, in mm² of snow as fallen; (n,).

    A stretch too steep to hold sheds all that arrives on it (``arriving`` times its width over x) at its lower end:
    onto the next sample that holds, or else over the edge and plumb down onto the nearest surface below, and on
    from there where that is steep too. What meets no surface is lost to the ground. Nothing else is lost: the sum
    of the result is that of what was shed, less what fell to the ground.
    """
    came = np.zeros(len(surface))
    if len(surface) == 0 or holds.all():
        return came
    stretch, foot = _chutes(surface, holds)
    steep = stretch >= 0
    mass = np.zeros(len(foot))
    np.add.at(mass, stretch[steep], (arriving * surface.width)[steep])
    rests = holds[foot]
    landing = np.where(rests, foot, _landings(surface, foot, below, needed=~rests))
    for _ in range(_FALLS):
        lands = (landing >= 0) & (mass > 0)
        onto = landing[lands]
        stays = holds[onto]
        np.add.at(came, onto[stays], mass[lands][stays])
        onward = np.zeros(len(foot))
        np.add.at(onward, stretch[onto[~stays]], mass[lands][~stays])
        mass = onward
        if not onward.any():
            break
    return came


def _chutes(surface: Surfaces, holds: Mask) -> tuple[Indices, Indices]:
    """The steep stretches of one way: each sample's (-1: holds), and where each ends: its last sample or the next."""
    here, right = np.arange(len(surface)), surface.rise_deg < 0
    left_of = surface.left
    begins = ~holds & ((left_of == here) | holds[left_of] | (right != right[left_of]))
    stretch = np.where(holds, -1, np.cumsum(begins) - 1).astype(np.int64)
    first = np.flatnonzero(begins)
    last = np.zeros(len(first), dtype=np.int64)
    np.maximum.at(last, stretch[~holds], here[~holds])
    return stretch, np.where(right[first], surface.right[last], left_of[first])


def _landings(surface: Surfaces, foot: Indices, below: Obstacles, *, needed: Mask) -> Indices:
    """The sample that snow falls on over the edge at each foot; -1 where there is none or it isn't needed."""
    found = np.full(len(foot), -1)
    lip = foot[needed]
    out = np.where(surface.rise_deg[lip] < 0, 1.0, -1.0) * (_OUT_MM + 2 * below.pixel)
    xy = surface.xy[lip] + np.column_stack([out, np.zeros(len(lip))])
    drop = below.distance(xy, np.array([[0.0, -1.0]]))[:, 0]
    hits = np.flatnonzero(np.isfinite(drop) & (drop > 0))
    ends = geometry.dots(xy[hits] - np.column_stack([np.zeros(len(hits)), drop[hits]]))
    tree = shapely.STRtree(geometry.dots(surface.xy))
    which, nearest = tree.query_nearest(ends, max_distance=_NEAR_MM, all_matches=False)
    spot = np.flatnonzero(needed)[hits[which]]
    found[spot] = np.where(nearest == foot[spot], -1, nearest)
    return found
