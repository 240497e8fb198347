"""Small stars of needles in the open, between the feathers of frost."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.frost.arms import Arms, Crystals
from carvegen.motifs.frost.branching import SIXTY
from carvegen.motifs.frost.seeding import first_arms
from carvegen.motifs.shared.fields import noise_at
from carvegen.motifs.shared.points import Window, poisson

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Floats
    from carvegen.motifs.frost.seeding import Sowing

__all__ = ["stars", "strewn"]

_RAYS = np.array([0, 3, 1, 5, 2, 4])  #: order in which the arms of a star are taken away last


def strewn(region: BaseGeometry, per_mm2: float, patch_mm: float, rng: Generator) -> Floats:
    """Points of a region in flocks of about `patch_mm`; (n, 2)."""
    at = poisson(Window(*shapely.bounds(region).tolist()), per_mm2, rng)
    at = at[shapely.contains_xy(region, at[:, 0], at[:, 1])]
    return at[noise_at(at, rng, patch_mm=patch_mm, octaves=2) > rng.normal(0.15, 0.15, len(at))]


def stars(sowing: Sowing, at: Floats, span: Floats, rng: Generator) -> tuple[Crystals, Arms]:
    """Small stars of three to six needles in the open about the points `at`, needles up to `span` mm long."""
    habit, count = sowing.habit, len(at)
    rays = rng.choice([3, 4, 5, 6], count, p=[0.2, 0.25, 0.2, 0.35])
    star = np.repeat(np.arange(count), rays)
    ray = geometry.counted(rays)
    crystals = _loose(at, rng)
    planned = span[star] * np.where(ray == 0, 1.0, rng.uniform(0.45, 1.0, len(star)))
    root = habit.least + 0.045 * planned
    arms = first_arms(sowing, crystals, planned, root, rng, crystal=star)
    foremost = np.flatnonzero(ray == 0)
    return crystals, replace(
        arms,
        parent=np.where(ray == 0, -1, foremost[star]),
        side=ray,
        order=np.full(len(star), 2),
        turn=SIXTY * _RAYS[ray] + np.radians(4) * rng.normal(0, 1, len(star)),
        curl=np.radians(1.0) * rng.normal(0, 1, len(star)),
        shy=np.full(len(star), 1.5),
    )


def _loose(at: Floats, rng: Generator) -> Crystals:
    """Straight crystals in the open."""
    axis = rng.uniform(0, 2 * np.pi, len(at))
    still = np.zeros(len(at))
    return Crystals(
        foot=np.round(at, 3),
        square=axis,
        axis=axis,
        sway=still,
        wave=np.zeros((len(at), 2)),
        sweep=still,
        loose=np.ones(len(at), dtype=bool),
    )
