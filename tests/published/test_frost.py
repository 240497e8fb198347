"""Frost beside what is known of ice: sixty degrees, parallel side-branches, a dimension between line and plane."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.growth import Place
from carvegen.limits import Limits
from carvegen.motifs import frost
from carvegen.nature.arms import Trail
from carvegen.nature.contours import walked
from carvegen.nature.crystals import Thicket
from carvegen.nature.sowing import Sowing, sown
from carvegen.nature.sprouts import OFF_LATTICE, Habit
from carvegen.streams import stream

FACE = shapely.box(0, 0, 90, 70)
LIMITS = Limits(land_along_mm=0.4, land_across_mm=0.4, cut_mm=0.25, dot_mm=1.0)


def habit(*, curve: float = 0.5) -> Habit:
    return Habit(
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


def thicket(seed: int = 1, *, curve: float = 0.5) -> Thicket:
    """Forty crystals from the edge of a face."""
    its, rng = habit(curve=curve), stream(seed, "x")
    edge = walked(geometry.polygon_array([FACE]), 0.07, smooth_mm=1.0)
    grown = Thicket(its, edge.xy, stream(seed, "y"), wall_gap=0.4, open_feet=True)
    at = rng.permutation(len(edge))[:40]
    sowing = Sowing(habit=its, stem_mm=1.0, patch_mm=60, inset_mm=None)
    grown.grow(*sown(sowing, edge, at, rng.uniform(5, 35, 40), rng, splay=0.3, shy=0.0))
    return grown


def points_of(grown: Thicket, arm: int) -> np.ndarray:
    trail = grown.trail
    which = np.flatnonzero(trail.arm[: trail.count] == arm)
    return trail.xy[which[np.argsort(trail.along[which])]]


def fork_angles(grown: Thicket) -> np.ndarray:
    """Between each branch's first steps and its mother's steps at the fork, degrees, from the drawn points only."""
    arms, found = grown.arms, []
    for k in np.flatnonzero((arms.parent >= 0) & (arms.length > 8 * grown.habit.step)):
        child, mother = points_of(grown, k), points_of(grown, arms.parent[k])
        start = np.argmin(np.hypot(*(mother - child[0]).T))
        if start < len(mother) - 3:
            along, off = mother[start + 3] - mother[start], child[3] - child[0]
            cos = along @ off / np.hypot(*along) / np.hypot(*off)
            found.append(np.degrees(np.arccos(np.clip(cos, -1, 1))))
    return np.array(found)


def test_branches_stand_at_sixty_degrees() -> None:
    # Ice is six-fold: branches at multiples of 60 degrees (K. Libbrecht 2005, Rep. Prog. Phys. 68:855).
    straight, bent = fork_angles(thicket(curve=0.0)), fork_angles(thicket(curve=0.5))
    assert len(straight) > 200
    assert np.abs(straight - 60).max() <= np.degrees(OFF_LATTICE) + 0.6  # the grid of 1 µm turns a step by 0.3 degrees
    assert abs(straight.mean() - 60) < 0.5
    assert abs(bent.mean() - 60) < 1.5
    assert np.abs(bent - 60).max() < 12  # over the three steps the lattice has bent on


def test_side_branches_of_one_side_are_parallel() -> None:
    # "side-branches parallel to neighbouring arms": crystal symmetry, as above.
    grown = thicket(curve=0.0)
    arms = grown.arms
    pairs = 0
    for mother in range(len(arms)):
        for side in (-1, 1):
            of = np.flatnonzero((arms.parent == mother) & (arms.side == side) & (arms.length > 2))
            ways = [points_of(grown, k) for k in of]
            angles = np.array([np.arctan2(*(xy[-1] - xy[0])[::-1]) for xy in ways])
            spread = np.degrees(np.abs(np.angle(np.exp(1j * (angles[1:] - angles[:-1])))))
            assert (spread <= 2 * np.degrees(OFF_LATTICE) + 0.2).all()
            pairs += len(spread)
    assert pairs > 100


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


def box_dimension(inside, size: float) -> float:
    """Slope of log(boxes that hold some of a set) over log(1 / box size); `inside` tells a raster's points."""
    count = 1024
    x = (np.arange(count) + 0.5) * size / count
    grid = inside(*np.meshgrid(x, x)).reshape(count, count)
    widths = 2 ** np.arange(2, 8)
    boxes = [grid.reshape(count // w, w, count // w, w).any(axis=(1, 3)).sum() for w in widths]
    return float(-np.polyfit(np.log(widths), np.log(boxes), 1)[0])


def test_box_counting_knows_a_line_and_a_square() -> None:
    assert box_dimension(lambda x, y: np.abs(y - 0.3 * x - 20) < 0.1, 90) == pytest.approx(1, abs=0.05)
    assert box_dimension(lambda x, y: x < 90, 90) == pytest.approx(2, abs=0.01)


@pytest.mark.parametrize("preset", ["ferns", "needles", "pane"])
def test_window_frost_lies_between_line_and_plane(preset) -> None:
    # Patterns of window frost have a fractal dimension between 1 and 2 (encyclopedic articles on frost; no figure).
    face = shapely.box(0, 0, 90, 90)
    cuts = frost.grow(frost.Settings(**frost.PRESETS[preset]), Place(area=face), LIMITS, stream(1, "d")).cuts
    whole = shapely.union_all(cuts)
    shapely.prepare(whole)
    assert 1.2 < box_dimension(lambda x, y: shapely.contains_xy(whole, x.ravel(), y.ravel()), 90) < 1.95
