"""Frost by bounds and promises of our own: clearances by plain distances, and what tells it from grids and chequers."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree

from carvegen.base.limits import Limits
from carvegen.base.streams import stream
from carvegen.motifs import frost
from carvegen.motifs.frost.arms import Trail
from carvegen.motifs.growth import Place
from tests.crystals import points_of, thicket
from tests.strategies import MANY, takes_long

LIMITS = Limits(land_along_mm=0.4, land_across_mm=0.4, cut_mm=0.25, dot_mm=1.0)


def test_arms_of_different_descent_keep_their_clearance_by_plain_distances() -> None:
    grown = thicket(3)
    arms, trail = grown.arms, grown.trail
    lines, owners = [], []
    for k in range(len(arms)):
        xy = points_of(grown, k)
        if len(xy) > 1:
            lines.append(shapely.LineString(xy))
            owners.append(k)
    owners, lines = np.array(owners), np.array(lines, dtype=object)
    i, j = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=grown.habit.apart)
    mother = arms.parent
    kin = (mother[owners[i]] == owners[j]) | (mother[owners[j]] == owners[i])
    kin |= (mother[owners[i]] == mother[owners[j]]) & (mother[owners[i]] >= 0)
    strange = (i < j) & ~kin
    assert len(lines) > 300
    assert not strange.any(), shapely.distance(lines[i[strange]], lines[j[strange]])
    assert trail.count > 5000


def test_the_growing_trees_find_what_one_plain_loop_finds() -> None:
    rng = np.random.default_rng(1)
    trail, xy = Trail(), rng.uniform(0, 20, (700, 2))
    for lot in np.split(xy, [3, 50, 51, 300, 640]):
        trail.add(lot, np.zeros(len(lot), dtype=np.int64), np.zeros(len(lot)), np.ones(len(lot)))
    asked = rng.uniform(0, 20, (40, 2))
    place, point, apart = trail.near(asked, lambda radius: 0.5 + radius)
    plain = {(i, j) for i, a in enumerate(asked) for j, b in enumerate(xy) if np.hypot(*(a - b)) <= 1.5}
    assert set(zip(place.tolist(), point.tolist(), strict=True)) == plain
    np.testing.assert_allclose(apart, np.hypot(*(asked[place] - xy[point]).T))


PIXELS, SIDE = 512, 90.0
BOXES = np.array([16, 32, 64, 128])  # pixels: 3 to 22 mm of 90
X, Y = np.meshgrid(*(2 * [(np.arange(PIXELS) + 0.5) * SIDE / PIXELS]))


def grid(by: float) -> np.ndarray:
    return (X % by < by / 5) | (Y % by < by / 5)


def chequers(by: float) -> np.ndarray:
    return (X // by + Y // by) % 2 == 0


def box_spread(mass: np.ndarray) -> np.ndarray:
    """Variance over squared mean of a raster's mass in gliding boxes, for each of `BOXES` pixels a side."""
    total = np.pad(mass.astype(float).cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    boxes = [total[w:, w:] - total[:-w, w:] - total[w:, :-w] + total[:-w, :-w] for w in BOXES]
    return np.array([box.var() / box.mean() ** 2 for box in boxes])


def fall(mass: np.ndarray) -> float:
    """By which power of the box's size that spread falls."""
    return float(np.polyfit(np.log(BOXES), np.log(box_spread(mass) + 1e-12), 1)[0])


def open_and_dense(mass: np.ndarray) -> bool:
    """Whether there are open and dense places at every size: much spread still in wide boxes, and a slow fall.

    A fractal of dimension D falls by D - 2, between -1 and 0 (source: allain-cloitre); both bounds are our own, between
    what frost and what regular patterns and chance were measured to have.
    """
    return fall(mass) > -1.55 and bool(box_spread(mass)[2] > 0.04)


@pytest.mark.parametrize("by", [1.5, 4.0, 12.0])
@pytest.mark.parametrize("regular", [grid, chequers])
def test_a_grid_and_chequers_are_no_frost(regular, by) -> None:
    """Beyond its period a regular pattern is alike everywhere (source: allain-cloitre)."""
    assert not open_and_dense(regular(by))


@pytest.mark.parametrize(("count", "radius"), [(3000, 0.5), (300, 1.5)])
def test_dots_by_chance_are_no_frost(count, radius) -> None:
    centres = np.random.default_rng(1).uniform(0, SIDE, (count, 2))
    near = cKDTree(centres).query(np.column_stack([X.ravel(), Y.ravel()]), distance_upper_bound=radius)[0]
    assert not open_and_dense(np.isfinite(near).reshape(X.shape))


def test_spread_of_counts_by_chance_falls_by_the_area() -> None:
    """Counts of a Poisson process have a variance like their mean, so over its square it falls by a power of 2."""
    rng = np.random.default_rng(4)
    falls = [fall(rng.random((PIXELS, PIXELS)) < 0.02) for _ in range(8)]
    assert np.mean(falls) == pytest.approx(-2, abs=0.2)


@takes_long  # a look, at every size
@pytest.mark.parametrize("preset", ["ferns", "needles", "rime", "pane"] if MANY else ["rime"])
def test_frost_is_open_and_dense_at_every_size(preset) -> None:
    face = shapely.box(0, 0, SIDE, SIDE)
    cuts = frost.grow(frost.Settings(**frost.PRESETS[preset]), Place(area=face), LIMITS, stream(1, "d")).cuts
    whole = shapely.union_all(cuts)
    shapely.prepare(whole)
    assert open_and_dense(shapely.contains_xy(whole, X.ravel(), Y.ravel()).reshape(X.shape))
