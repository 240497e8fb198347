"""A block from a motif: the motif as cut and as land, what is kept clear, openings."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.limits import Limits
from carvegen.base.streams import stream
from carvegen.blocks.from_motif import Ground, grown_block, strictest
from carvegen.geometry.narrow import narrow_places
from carvegen.motifs import motif
from tests.strategies import few

LIMITS = Limits(land_along_mm=0.5, land_across_mm=0.5, cut_mm=0.4, dot_mm=0.8)
SNOW = motif("snowfall").Settings(snow=0.1)


def ground(**more) -> Ground:
    return Ground(name="sky", width_mm=60, height_mm=40, **more)


def grown(where: Ground, settings=SNOW, seed: int = 5):
    return grown_block(where, settings, LIMITS, stream(seed, "sky"), by="snowfall")


@pytest.mark.parametrize("seed", few([1, 2, 3], 1))
def test_a_motif_that_prints_is_the_land_and_holds(seed):
    """White ink: the flakes stand, all else is cut; land and cut swap their limits."""
    block = grown(ground(prints=True), seed=seed)
    land = geometry.parts(shapely.difference(block.face, shapely.union_all(block.cuts)))
    assert 0.05 < shapely.area(land).sum() / (60 * 40) < 0.12
    assert len(land) > 30
    narrowest = 2 * shapely.length(shapely.maximum_inscribed_circle(land))
    assert narrowest.min() >= LIMITS.dot_mm - 0.01
    _, _, apart = geometry.close_pairs(land, 2.0)
    assert apart.min() >= LIMITS.cut_mm
    breaks = narrow_places(block.land_rings, LIMITS.land_mm - 0.002)
    assert not len(breaks.chosen(np.flatnonzero(breaks.kind != 1)))  # tips at blunt corners of flakes aside


def test_what_is_kept_clear_stays_land_both_ways():
    shape = geometry.polygon_array([shapely.Point(30, 20).buffer(8)])
    for prints in (False, True):
        block = grown(ground(keep_clear=shape, prints=prints))
        assert shapely.area(shapely.intersection(block.cuts, shape[0])).sum() < 1e-3  # cut by its edge, on the grid


def test_an_opening_keeps_a_land_round_it():
    hole = geometry.polygon_array([shapely.Point(30, 20).buffer(8)])
    block = grown(ground(openings=hole))
    assert shapely.distance(block.cuts, hole[0]).min() >= LIMITS.land_mm
    assert shapely.area(block.cut_outs).sum() == pytest.approx(shapely.area(hole).sum(), rel=1e-3)


def test_an_opening_over_the_edge_is_refused():
    with pytest.raises(InputError, match="inside the block"):
        grown(ground(openings=geometry.polygon_array([shapely.Point(56, 20).buffer(8)])))


def test_nothing_left_is_refused_with_a_remedy():
    with pytest.raises(InputError, match="nothing of the block is left") as fault:
        grown(ground(keep_clear=geometry.polygon_array([geometry.box(60, 40)])))
    assert fault.value.hint


def test_the_strictest_limits_satisfy_all():
    fine = Limits(land_along_mm=0.2, land_across_mm=0.4, cut_mm=0.6, dot_mm=0.5)
    both = strictest([LIMITS, fine])
    assert (both.land_along_mm, both.land_across_mm, both.cut_mm, both.dot_mm) == (0.5, 0.5, 0.6, 0.8)


@pytest.mark.parametrize("field", ["margin_mm", "clearance_mm"])
@pytest.mark.parametrize(("value", "taken"), [(0.0, True), (2.0, True), (-0.1, False), (float("nan"), False)])
def test_strips_that_stay_clear_are_no_less_than_nothing(field, value, taken):
    if taken:
        assert getattr(ground(**{field: value}), field) == value
        return
    with pytest.raises(InputError, match=f"^{field}: must not be less than nothing"):
        ground(**{field: value})
