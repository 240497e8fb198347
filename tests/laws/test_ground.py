"""Laws of every motif where it doesn't grow on a bare, even face: on a shape, thinned by a mask, and as the land."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.blocks.from_motif import Ground, grown_block
from carvegen.motifs import motif, summaries
from carvegen.motifs.growth import Place
from tests.cases import limits, shapes
from tests.laws.test_motifs import MOTIFS, assert_apart, assert_as_wide_as_asked, assert_sound

ITS = limits(0.5, 0.4)
SIZE = (24.0, 18.0)
FACE = shapely.box(0, 0, *SIZE)
#: A small silhouette: a post with a board across it and a sloping roof.
POST = shapely.union_all([
    shapely.box(10, 0, 14, 11),
    shapely.box(3, 4, 21, 7),
    shapely.Polygon([(7, 11), (17, 11), (12.6, 14.8)]),
])  # fmt: skip


def cuts_of(name: str, *, seed: int = 2, density=None) -> geometry.PolygonArray:
    module = motif(name)
    on = shapes(POST) if name == "snowload" else geometry.empty()
    settings = module.Settings(**module.PRESETS[sorted(module.PRESETS)[0]])
    place = Place(area=FACE, shapes=on, density=density)
    return module.grow(settings, place, ITS, stream(seed, "laws", name)).cuts


@cache
def even_cuts_of(name: str) -> geometry.PolygonArray:
    return cuts_of(name)


@pytest.mark.parametrize("name", sorted(set(summaries()) - set(MOTIFS)))
def test_sound_apart_and_repeated_on_its_ground(name) -> None:
    cuts = even_cuts_of(name)
    assert len(cuts) > 0
    assert_sound(cuts, FACE)
    assert_apart(cuts, ITS.land_mm)
    assert_as_wide_as_asked(cuts, ITS.cut_mm)
    assert [cut.wkb for cut in cuts] == [each.wkb for each in cuts_of(name)]


@pytest.mark.parametrize("name", sorted(summaries()))
def test_a_mask_thins_it_and_nothing_is_there_where_none_is_wanted(name) -> None:
    """Shapes that start where the motif is wanted may reach over by their own size, no further."""
    left = cuts_of(name, density=lambda xy: (xy[:, 0] < 12).astype(float))
    assert len(cuts_of(name, density=lambda xy: np.zeros(len(xy)))) == 0
    assert 0 < shapely.area(left).sum() < 0.9 * shapely.area(even_cuts_of(name)).sum()
    middle = shapely.get_coordinates(shapely.centroid(left))
    assert (middle[:, 0] < 12 + 4).all()
    assert_sound(left, FACE)
    assert_apart(left, ITS.land_mm)


@pytest.mark.parametrize("name", MOTIFS)
def test_a_motif_that_prints_stands_as_wide_as_land_must(name) -> None:
    """Then its shapes are the land and the gaps between them the cuts: limits change places."""
    settings = motif(name).Settings(**motif(name).PRESETS[sorted(motif(name).PRESETS)[0]])
    ground = Ground(name="sky", width_mm=SIZE[0], height_mm=SIZE[1], prints=True)
    block = grown_block(ground, settings, ITS, stream(2, "laws"), by=name)
    land = geometry.parts(shapely.difference(FACE, shapely.union_all(block.cuts)))
    assert len(land) > 0
    assert_sound(block.cuts, FACE)
    i, j, _ = geometry.close_pairs(land, ITS.cut_mm - 1e-3)
    assert len(i) == len(j) == 0
    for stands in land:
        assert 2 * shapely.maximum_inscribed_circle(stands, tolerance=1e-3).length >= ITS.land_mm - 0.002
