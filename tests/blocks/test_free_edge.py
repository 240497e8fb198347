"""The free fringe: nothing becomes too narrow, whether it is cut or left; measured by offsets of shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from carvegen import geometry
from carvegen.base.limits import Limits
from carvegen.blocks.block import Block
from carvegen.blocks.free_edge import with_fringe

LIMITS = Limits(land_along_mm=0.6, land_across_mm=0.6, cut_mm=0.4, dot_mm=0.8)


def _block(*cuts: shapely.Geometry) -> Block:
    return Block(name="x", width_mm=60, height_mm=40, cuts=geometry.snapped(geometry.parts(shapely.union_all(cuts))))


def _strips(bars: np.ndarray) -> list[shapely.Polygon]:
    return [shapely.box(x, 5, x + wide, 35) for x, wide in bars]


def test_a_fringe_with_room_stays_and_one_that_would_starve_the_land_goes():
    block = _block(shapely.box(5, 5, 15, 35), shapely.box(30, 5, 40, 35), shapely.box(41, 5, 50, 35))
    fringe = shapely.union_all([shapely.box(15, 5, 16, 35), shapely.box(40, 5, 40.6, 35)])
    assert shapely.union_all(with_fringe(block, fringe, LIMITS).free).equals(shapely.box(15, 5, 16, 35))


def test_a_fringe_that_touches_no_cut_is_none():
    assert len(with_fringe(_block(shapely.box(5, 5, 15, 35)), shapely.box(20, 10, 22, 12), LIMITS).free) == 0


def test_what_lies_on_cuts_is_no_land_to_decide_on():
    block = with_fringe(_block(shapely.box(5, 5, 15, 35)), shapely.box(10, 5, 17, 35), LIMITS)
    assert shapely.area(block.free).sum() == pytest.approx(2 * 30)


def test_a_patch_without_width_is_none_whatever_its_area_and_a_narrow_one_stays():
    """Outlines lie on a grid of 0.001 mm: a strip two cells wide and 30 mm long has area, but no width."""
    block = _block(shapely.box(5, 5, 15, 35), shapely.box(30, 5, 40, 35))
    fringe = shapely.union_all([shapely.box(15, 5, 15.002, 35), shapely.box(40, 5, 40.1, 35)])
    assert shapely.union_all(with_fringe(block, fringe, LIMITS).free).equals(shapely.box(40, 5, 40.1, 35))


@pytest.mark.parametrize(("high", "stays"), [(0.21, True), (0.19, False)])
def test_bits_up_to_a_fiftieth_of_a_square_millimetre_are_nobody_s_to_decide(high, stays):
    """0.1 mm wide: 0.021 and 0.019 mm²."""
    block = _block(shapely.box(5, 5, 15, 35))
    assert len(with_fringe(block, shapely.box(15, 10, 15.1, 10 + high), LIMITS).free) == stays


def test_what_snapping_leaves_of_a_patch_is_measured_after_it():
    """A wide patch and a sliver in one outline, joined by less than the grid: two patches on it."""
    joined = shapely.union_all(
        [shapely.box(15, 5, 16, 20), shapely.box(15, 20, 15.0004, 21), shapely.box(15, 21, 15.002, 35)]
    )
    (patch,) = with_fringe(_block(shapely.box(5, 5, 15, 35)), joined, LIMITS).free
    assert patch.equals(shapely.box(15, 5, 16, 20))


@given(st.integers(0, 2**32 - 1))
def test_land_holds_with_all_of_the_fringe_cut(seed):
    """Upright bars: what stands between two cuts is as wide as the distance of their sides."""
    rng = np.random.default_rng(seed)
    x, bars = 4.0, []
    while x < 50:
        wide = rng.uniform(1, 4)
        bars.append((x, wide))
        x += wide + rng.uniform(0.6, 3)
    block = _block(*_strips(np.array(bars)))
    fringe = shapely.union_all([shapely.box(x + wide, 5, x + wide + rng.uniform(0.1, 1.5), 35) for x, wide in bars])
    free = with_fringe(block, fringe, LIMITS).free
    after = geometry.parts(shapely.union_all(np.concatenate([block.cuts, free])))
    gaps = shapely.distance(after[:, None], after[None, :])[~np.eye(len(after), dtype=bool)]
    assert len(after) == len(block.cuts), "no two cuts grow together"
    assert len(gaps) == 0 or gaps.min() > 0.6 - 0.01
