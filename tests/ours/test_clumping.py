"""Clumped or not, by bounds of our own: the index of Clark and Evans, mean nearest distance over that of chance.

1 is chance, below is clumped, 2.149 a hexagonal lattice (source: clark-evans, from memory). Measured where flakes would
fall, before each keeps its land from the next: a hard core raises the index of any pattern.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree

from carvegen.growth import Place
from carvegen.limits import Limits
from carvegen.motifs import snowfall
from carvegen.motifs.snowfall.falling import places
from carvegen.motifs.snowfall.sky import Sky
from carvegen.streams import stream

LIMITS = Limits(land_along_mm=0.7, land_across_mm=0.7, cut_mm=0.4, dot_mm=1.0)
FACE = shapely.box(0, 0, 200, 150)


def index(xy: np.ndarray) -> float:
    nearest = cKDTree(xy).query(xy, k=2)[0][:, 1]
    return float(2 * nearest.mean() * np.sqrt(len(xy) / FACE.area))


def falling(settings: snowfall.Settings, name: str) -> float:
    """The mean index over five skies of about 2,000 flakes."""
    sky = Sky(settings, Place(area=FACE), LIMITS)
    return float(np.mean([index(places(sky, 2000, stream(seed, name))) for seed in range(5)]))


@pytest.mark.parametrize("preset", snowfall.PRESETS)
def test_every_weather_falls_in_clumps(preset):
    assert falling(snowfall.Settings(**snowfall.PRESETS[preset]), preset) < 0.9


def test_without_clumping_and_calm_it_falls_nearer_to_chance_than_in_any_weather():
    """Only the slow rise and fall of the noise is left."""
    even = falling(snowfall.Settings(clumping=0.0, calm=0.0), "even")
    weathers = [falling(snowfall.Settings(**preset), name) for name, preset in snowfall.PRESETS.items()]
    assert max(weathers) < even < 1.02


def test_the_index_of_uniform_points_is_near_one():
    points = np.random.default_rng(1).random((4000, 2)) * [200, 150]
    assert index(points) == pytest.approx(1.0, abs=0.04)
