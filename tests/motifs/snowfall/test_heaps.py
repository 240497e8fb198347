"""Heaps of flakes against shapes drawn by hand: what is a neck, an arm, a tail, and what is none."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import shapely.affinity

from carvegen import geometry
from carvegen.motifs.snowfall.clumps import Clumps
from carvegen.motifs.snowfall.heaps import heaped, without_tails
from carvegen.motifs.snowfall.limbs import without_limbs
from carvegen.motifs.snowfall.settings import PRESETS, Settings
from tests.cases import box, disc, grown, limits, shapes
from tests.strategies import takes_long


@pytest.mark.parametrize(("wide", "pieces"), [(1.0, 2), (4.4, 1)])
def test_a_heap_breaks_where_it_is_narrow_beside_what_it_joins(wide, pieces) -> None:
    two = shapely.union_all([disc(0, 0, 4), disc(10, 0, 4), box(0, -wide / 2, 10, wide)])
    (made,) = heaped(shapes(two), 0.7, limits())
    parts = geometry.parts([made])
    assert len(parts) == pieces
    assert shapely.area(made) > 0.9 * 2 * np.pi * 4**2
    assert len(parts) == 1 or shapely.distance(*parts) >= 0.7


@pytest.mark.parametrize("land", [0.2, 0.5, 0.8])
def test_what_is_broken_stays_broken_when_it_is_smoothed(land) -> None:
    two = shapes(shapely.union_all([disc(0, 0, 3), disc(6.4, 0, 3), box(0, -0.5, 6.4, 1)]))
    pieces, _ = Clumps(limits(land)).smooth(two, np.ones(1, dtype=np.uint64), np.ones(1, dtype=bool))
    assert len(pieces) == 2
    assert shapely.distance(*pieces) > land


def test_arms_go_and_bumps_stay() -> None:
    """An arm of 6 mm goes; flakes of 1.2 mm half sunk in the rim are what it shows."""
    bumps = [disc(5 * np.cos(turn), 5 * np.sin(turn), 0.6) for turn in np.arange(1, 6)]
    mass = shapely.union_all([disc(0, 0, 5), *bumps])
    (made,) = heaped(shapes(shapely.union(mass, box(0, -0.5, 11, 1))), 0.7, limits())
    assert shapely.bounds(made)[2] < 6
    rim = shapely.difference(mass, shapely.Point(0, 0).buffer(5.1))
    assert shapely.area(shapely.difference(rim, made)) < 0.1 * shapely.area(rim)


def test_what_flakes_leave_deep_within_is_filled_but_not_at_the_rim() -> None:
    ring = shapely.difference(disc(0, 0, 8), disc(0, 0, 1.2))
    bay = shapely.difference(ring, box(6.5, -0.6, 3, 1.2))
    (made,) = heaped(shapes(bay), 0.7, limits())
    assert shapely.contains(made, shapely.Point(0, 0))
    assert not shapely.intersects(made, shapely.Point(7.5, 0))


@pytest.mark.parametrize(("tails", "stay"), [(1, False), (2, True), (3, True)])
def test_a_head_has_no_single_tail(tails, stay) -> None:
    """One is a keyhole; with more it is a clump of crystals."""
    bars = [shapely.affinity.rotate(box(0, -0.35, 4, 0.7), 130 * k, origin=(0, 0)) for k in range(tails)]
    (made,) = without_tails(shapes(shapely.union_all([disc(0, 0, 1.8), *bars])), limits())
    assert (shapely.bounds(made)[2] > 3.9) == stay
    assert shapely.contains(shapely.buffer(made, 0.05), disc(0, 0, 1.7))


def _bone(*radii: float, neck: float = 0.5, away: float = 3.0) -> shapely.Polygon:
    """Discs in a row on a bar."""
    row = [disc(away * k, 0, radius) for k, radius in enumerate(radii)]
    return shapely.union_all([*row, box(0, -neck / 2, away * (len(radii) - 1), neck)])


def _splat(long: float) -> shapely.Polygon:
    """A disc with three arms."""
    arms = [shapely.affinity.rotate(box(0, -0.3, long, 0.6), 120 * k, origin=(0, 0)) for k in range(3)]
    return shapely.union_all([disc(0, 0, 1), *arms])


@pytest.mark.parametrize(
    ("shape", "left"),
    [
        (_bone(1.0, 0.9), [1.0, 0.9]),
        (_splat(2.2), [1.0]),
        (_bone(0.8, 0.7, 0.9, away=2.0, neck=0.4), [0.9, 0.8]),
        (_bone(*[0.5] * 4, away=1.4), [0.5]),
    ],
    ids=["a bone is two flakes", "a figure its body", "no land between some: the larger", "a chain one of its lumps"],
)
def test_of_what_has_limbs_the_lumps_are_left(shape, left) -> None:
    limbed, made, whose = without_limbs(shapes(disc(20, 0, 1), shape), limits(0.5, 0.4), 28.0)
    assert limbed.tolist() == [False, True]
    assert (whose == 1).all()
    assert np.sort(np.sqrt(shapely.area(made) / np.pi))[::-1] == pytest.approx(left, rel=0.12)
    assert (shapely.area(made) > 0.9 * shapely.area(shapely.convex_hull(made))).all()
    assert len(made) == 1 or shapely.distance(*made) > 0.5


def test_a_body_with_short_limbs_is_webbed() -> None:
    splat = _splat(1.6)
    _, (made,), _ = without_limbs(shapes(splat), limits(0.5, 0.4), 28.0)
    assert shapely.contains(shapely.buffer(made, 0.05), splat)
    assert shapely.area(made) > 0.82 * shapely.area(shapely.convex_hull(made))


@pytest.mark.parametrize(
    "shape",
    [_bone(1.2, 1.1, neck=1.8, away=2.0), _bone(3.0, 2.5, away=8.0), _bone(0.25, 0.2, neck=0.2, away=1.1)],
    ids=["a bump", "a mass", "a speck"],
)
def test_what_has_no_limbs_and_masses_and_specks_are_left(shape) -> None:
    limbed, made, _ = without_limbs(shapes(shape), limits(0.5, 0.4), 28.0)
    assert not limbed.any()
    assert len(made) == 0


@takes_long  # a measure of looks; test_recorded.py has heavy snow
def test_a_sky_of_heavy_snow_holds_few_little_figures() -> None:
    """Shapes larger than 1 mm² and smaller than the largest flakes' disc that fill less than 3/4 of their hull.

    Of 298 on this face 5 did, of 4585 on eight faces 90; of those 9 are left, most of them cut off by a side.
    """
    settings = Settings(**{**PRESETS["heavy"], "largest_mm": 6.2})
    cuts = grown("snowfall", settings, limits(0.5, 0.4), 1, size=(120, 90)).cuts
    few = cuts[(shapely.area(cuts) > 1) & (shapely.area(cuts) < np.pi / 4 * 6.2**2)]
    figures = shapely.area(few) < 0.75 * shapely.area(shapely.convex_hull(few))
    assert len(few) > 250
    assert figures.sum() <= 2


def test_two_that_all_but_touch_are_parted_by_more_than_their_neck() -> None:
    two = shapely.union_all([disc(0, 0, 4), disc(8.5, 0, 4), box(3, -0.6, 2.5, 1.2)])
    parts = geometry.parts(heaped(shapes(two), 0.7, limits()))
    assert len(parts) == 2
    assert shapely.distance(*parts) > 0.7


@pytest.mark.parametrize(("radius", "pieces"), [(0.35, 0), (0.45, 2)])
def test_what_is_left_of_a_broken_one_is_no_smaller_than_a_few_cuts(radius, pieces) -> None:
    """Three cuts of 0.4 mm squared are a disc of 0.39 mm: our own choice."""
    two = shapely.union_all([disc(0, 0, radius), disc(1.4, 0, radius), box(0, -0.1, 1.4, 0.2)])
    assert len(geometry.parts(heaped(shapes(two), 0.1, limits()))) == pieces


@pytest.mark.parametrize("radius", np.arange(1.36, 1.6, 0.04))
def test_what_is_filled_deep_within_is_no_crumb(radius) -> None:
    """Alone in the middle of a gap; what is smoothed later would draw it into a tip."""
    ring = shapely.difference(disc(0, 0, radius), disc(0, 0, 0.3))
    (made,) = heaped(shapes(ring), 0.7, limits(cut=0.4))
    assert shapely.area(geometry.parts([made])).min() > np.pi * 0.2**2
