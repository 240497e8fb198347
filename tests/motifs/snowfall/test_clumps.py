"""Clumps can be cut in one piece; what is remembered of them from one level tried to the next changes nothing."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.geometry.necks import necks
from carvegen.motifs import snowfall
from carvegen.motifs.snowfall import clumps, falling, sky
from tests.cases import box, disc, limits, shapes
from tests.strategies import MANY, few

WINDOW = np.array([0.0, 0.0, 90.0, 60.0])


@pytest.mark.parametrize("preset", few(["flurry", "heavy"], 1))
def test_snow_at_a_level_is_the_same_whatever_levels_were_tried_before(monkeypatch, preset) -> None:
    """Point by point and in the same order, though most of it is neither drawn nor smoothed again."""
    drawn, smoothed = [], []
    plain_drawn, plain_smoothed = sky.drawn, clumps.smoothed
    monkeypatch.setattr(sky, "drawn", lambda *each: drawn.append(len(each[1])) or plain_drawn(*each))
    monkeypatch.setattr(clumps, "smoothed", lambda *item: smoothed.append(len(item[0])) or plain_smoothed(*item))
    settings = snowfall.Settings(**snowfall.PRESETS[preset])

    def above() -> sky.Sky:
        return sky.Sky(settings, limits(), 77, WINDOW)

    one = above()
    for level in (0.3, 0.6, 0.5, 0.48) if MANY else (0.5, 0.48):
        drawn.clear(), smoothed.clear()
        again = falling._fallen(one, level)
        few = sum(drawn), smoothed[0]
        drawn.clear(), smoothed.clear()
        afresh = falling._fallen(above(), level)
        assert [entry.wkb for entry in again] == [this.wkb for this in afresh]
    assert few[0] < 0.3 * sum(drawn)
    assert few[1] < 0.5 * smoothed[0]


def test_a_flake_that_just_passes_the_cutter_hangs_on_no_narrow_neck() -> None:
    """A cutter a little wider finds no room in it, and so would take no notice of its neck; the smallest cut does."""
    each, made = limits(0.1, 0.4), []
    for radius in np.linspace(0.208, 0.222, 12):
        for sunk in np.linspace(0.02, 0.2, 10):
            both = geometry.dots(np.array([[0, 0], [1.5 + radius - sunk, 0]]) + 5 * len(made))
            made.append(shapely.geometrycollections(shapely.buffer(both, [1.5, radius], quad_segs=16)))
    (sound, _), _ = clumps.smoothed(geometry.polygon_array(made), each)
    assert len(sound) > 20
    assert len(necks(geometry.rings(sound), each.cut_mm - 0.01)) == 0


@pytest.mark.parametrize(("share", "filled"), [(0.85, True), (1.2, False)])
def test_a_bay_narrower_than_what_is_filled_is_closed_and_a_wider_one_stays(share, filled) -> None:
    each, wide = limits(0.9, 0.3), share * 2 * clumps._EASED_MM
    bay = shapely.box(8, 4, 8 + wide, 13)
    flake = shapely.box(0, 0, 18, 12).difference(bay)
    closed = shapely.union_all(
        np.concatenate([made for made, _ in clumps.smoothed(np.array([flake], dtype=object), each)])
    )
    inner = shapely.box(8, 4, 8 + wide, 9)
    assert (closed.intersection(inner).area > 0.9 * inner.area) == filled


@pytest.mark.parametrize("apart", [4.8, 5.6])
def test_where_two_large_flakes_meet_a_small_sharp_notch_is_left(apart) -> None:
    """Of two discs 8 mm across: a round bay as wide fills 0.16 and 0.25 mm of it (plane geometry)."""
    both = shapely.union(disc(0, 0, 4), disc(apart, 0, 4))
    meet = shapely.Point(apart / 2, np.sqrt(16 - apart**2 / 4))
    (made,) = clumps.smoothed(shapes(both), limits(0.5, 0.4), clumps.RIM_MM)[0][0]
    assert made.exterior.distance(meet) < 0.08


def test_what_hangs_on_a_heap_by_a_neck_alone_goes() -> None:
    heap = shapely.union_all([disc(0, 0, 4), box(3, -0.7, 3, 1.4), disc(6.5, 0, 1.0)])
    (made,) = clumps.smoothed(shapes(heap), limits(0.5, 0.4), clumps.RIM_MM)[0][0]
    assert made.bounds[2] < 4.5


def test_no_spikes_of_land_are_left_where_rounds_meet_over_a_neck() -> None:
    """By opening the land with a plain buffer: in a frame that narrows to 0.8 mm its rounds are 1.2 mm and meet."""
    each, by = limits(0.5, 0.3), np.array([1.2])
    wedges = [shapely.Polygon([(10, 16.5 + s * 0.4), (8.2, 16.5 + s * 3.6), (11.8, 16.5 + s * 3.6)]) for s in (-1, 1)]
    frame = shapely.box(0, 0, 20, 20) - shapely.box(7, 7, 13, 13) - shapely.union_all(wedges)
    (made,) = clumps._rounded(np.array([frame], dtype=object), by, each)
    assert not made.equals(frame)
    land = shapely.Point(10, 10).buffer(25) - made
    thin = land - land.buffer(-each.land_mm / 2, quad_segs=32).buffer(each.land_mm / 2 + 0.01, quad_segs=32)
    assert max((one.area for one in geometry.parts([thin])), default=0) < 0.002


def test_on_the_grid_shapes_keep_their_points_and_what_it_parts_is_two_of_the_same() -> None:
    """A neck of 0.3 µm between two squares goes, and so does what encloses no area."""
    whole = shapely.Polygon([(3.00004, 1.00003), (0.00012, 4), (0, 0.0002), (2.1, -1)])
    parted = shapely.union_all([box(10, 0, 1, 1), box(10.9, 0.5, 1.2, 0.0003), box(12, 0, 1, 1)])
    made, whose = clumps._fine(shapes(whole, parted, box(20, 0, 1, 0.0003)), np.array([5, 9, 2]))
    assert whose.tolist() == [5, 9, 9]
    assert shapely.get_coordinates(made[0]).tolist() == [[3, 1], [0, 4], [0, 0], [2.1, -1], [3, 1]]
    assert [each.area for each in made[1:]] == [1, 1]
    assert (shapely.get_precision(made) == 0).all()
