"""The sky before anything is drawn: how thick flakes lie, how large flurries and flakes are, what part is like all."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.ndimage import gaussian_filter, map_coordinates

from carvegen.motifs.shared.fields import turned
from carvegen.motifs.snowfall.chance import Draws, keys
from carvegen.motifs.snowfall.settings import Settings
from carvegen.motifs.snowfall.sky import Sky, _medians, _packed
from carvegen.motifs.snowfall.weather import CELL_MM, Cells, Octave, field
from tests.cases import limits

LIMITS = limits(0.5, 0.4)


def sky(size: tuple[float, float] = (40.0, 30.0), **settings) -> Sky:
    return Sky(Settings(**settings), LIMITS, 7, np.array([0.0, 0.0, *size]))


@pytest.fixture(scope="module")
def usual() -> Sky:
    return sky()


@pytest.mark.parametrize(
    ("snow", "full"), [(0.1, 1.7), (0.18, 1.7), (0.23, 1.7 + 0.45), (0.28, 2.6), (0.3, 2.6), (0.4, 2.6 + 0.6)]
)
def test_flakes_lie_over_one_another_up_to_a_depth_and_deeper_in_heavy_snow(snow: float, full: float) -> None:
    """1.7 deep on average; heavy snow begins at 18 % of white and is so from 28 on; six more for a share above 30 %."""
    each = sky((12.0, 9.0), snow=snow)
    thick = each._crowded(np.array([1e-4, 0.5, 1e3]))
    assert thick == pytest.approx([1e-4, full * (1 - np.exp(-0.5 / full)), full], rel=1e-3)
    assert each.looks.worked == pytest.approx(1 - 0.6 * np.clip((snow - 0.18) / 0.1, 0, 1))


@pytest.mark.parametrize(
    ("size", "snow", "flurry"),
    [((40, 30), 0.1, 7.0), ((90, 90), 0.1, 15.3), ((90, 90), 0.3, 20.4), ((300, 300), 0.1, 45.0)],
)
def test_flurries_are_a_sixth_of_the_face_and_a_third_larger_in_heavy_snow(size, snow, flurry, monkeypatch) -> None:
    """17 % of its side, between 7 and 45 mm; or as large as asked."""
    monkeypatch.setattr(Sky, "_density", lambda each: np.zeros((3, each.cells.columns * each.cells.rows)))
    assert sky(size, snow=snow).flurry == pytest.approx(flurry)
    assert sky(size, snow=snow, flurry_mm=11.0).flurry == 11


def test_the_window_is_wider_than_the_face_by_what_may_reach_in(usual: Sky) -> None:
    """Three tenths of the largest flake, 7 mm, and two cells of 0.6 mm; and as far off as the view is."""
    pad = 0.3 * 7 + 1.2
    low, high = np.floor(-pad / 0.6), np.ceil((np.array([40, 30]) + pad) / 0.6)
    assert (usual.cells.left, usual.cells.bottom) == (low, low)
    assert (usual.cells.columns, usual.cells.rows) == tuple((high - low).astype(int))
    far = sky((12.0, 9.0), view_x_mm=60.0, view_y_mm=-30.0)
    assert (far.cells.left, far.cells.bottom) == (low + 100, low - 50)
    assert CELL_MM == 0.6


@pytest.mark.parametrize("cover", [0.02, 0.2, 0.6])
def test_the_level_is_that_at_which_flakes_cover_what_is_asked(usual: Sky, cover: float) -> None:
    level = usual.level_of(cover)
    assert usual.cover(level) == pytest.approx(cover, rel=1e-3)
    assert usual.cover(0.997 * level) < cover
    thick = usual._crowded(level * usual.thick)
    assert usual.cover(level) == pytest.approx((1 - np.exp(-thick)).mean())
    assert usual.level_of(0.9999) == pytest.approx(1e3, rel=2e-3)  # it is no higher


def test_octaves_of_one_weather_are_drawn_out_along_the_wind() -> None:
    """From flurries down to a fourteenth of them; nine times as long as broad in a gale, the largest less."""
    each = sky((12.0, 9.0), wind=1.0, wind_towards_deg=20.0, flurry_mm=40.0)
    shared, near = each.octaves(-1), each.octaves(2)
    assert {octave.along_deg for octave in shared} == {20}
    assert [octave.stretch for octave in shared] == pytest.approx([9**0.7, 9, 9, 9])
    sizes = [octave.size_mm * octave.stretch**0.4 / 40 for octave in shared]
    assert sizes == pytest.approx([1, 0.42, 0.17, 0.07], abs=1e-9)
    assert [octave.height for octave in shared] == [1.3, 1.05, 1.05, 1.2]
    assert [octave.height for octave in near] == [0.5, 0.75, 0.7]
    assert [octave.size_mm * octave.stretch**0.4 / 40 for octave in near] == pytest.approx([0.5, 0.2, 0.1])
    calm = sky((12.0, 9.0), wind=0.0, gathered=0.3)
    assert [octave.stretch for octave in calm.octaves(-1)] == [1] * 4
    assert [octave.height for octave in calm.octaves(-1)] == pytest.approx([0.65, 0.525, 0.525, 0.6])
    assert len({octave.along_deg for octave in calm.octaves(-1)}) == 4
    assert min(octave.size_mm for octave in calm.octaves(-1)) == 0.6  # no finer than a cell
    keys = [octave.key for layer in (-1, 0, 1, 2) for octave in each.octaves(layer)]
    assert len(set(keys)) == len(keys)


def test_far_flakes_are_small_and_near_ones_large() -> None:
    """A fifth more than the smallest; 62 % of the largest; between them their mean, a little less."""
    far, middle, near = _medians(Settings(smallest_mm=1.0, largest_mm=10.0, deep=0.7), 0.5)
    assert (far, near) == (pytest.approx(1.2), pytest.approx(6.2))
    assert middle == pytest.approx(0.95 * np.sqrt(1.2 * 6.2))
    assert _medians(Settings(smallest_mm=1.0, largest_mm=10.0, deep=1.0), 0.5) == pytest.approx([far, middle, near])
    flat = _medians(Settings(smallest_mm=1.0, largest_mm=10.0, deep=0.0), 0.5)
    assert flat == pytest.approx([0.8 * np.sqrt(1.2 * 6.2)] * 3)  # without depth all are alike
    half = _medians(Settings(smallest_mm=1.0, largest_mm=10.0, deep=0.35), 0.5)
    assert half == pytest.approx(np.sqrt(flat * [far, middle, near]))
    assert _medians(Settings(smallest_mm=1.0, largest_mm=10.0), 3.0)[0] == pytest.approx(3.3)  # no smaller than cut


def test_flakes_are_one_mass_where_they_lie_nearly_one_deep() -> None:
    assert _packed(np.array([0.2, 0.25, 0.575, 0.9, 3])).tolist() == pytest.approx([0, 0, 0.5, 1, 1])


def test_each_layer_falls_by_its_weight_and_areas_add_up_to_nearly_one() -> None:
    """But for the thickest places, as none is thicker than e to the 3.6: measured, the far ones lose more."""
    each = sky((80.0, 60.0), flurry_mm=8.0, far=0.6, middle=0.0, near=0.2, wind=0.0)
    assert each.weights == pytest.approx([0.75, 0, 0.25])
    shares = each.density.mean(axis=1) * each._areas
    assert shares == pytest.approx([0.446, 0, 0.217], rel=0.1, abs=1e-12)
    areas = 0.72 * np.pi * (each.medians / 2) ** 2 * np.exp(2 * np.array([0.36, 0.42, 0.48]) ** 2)
    assert each._areas == pytest.approx(areas)
    assert (each.density.max(axis=1) * each._areas <= np.exp(3.6) * each.weights + 1e-9).all()


def test_a_part_of_the_window_is_as_dense_as_all_of_it() -> None:
    each = sky((60.0, 45.0), flurry_mm=7.0)
    level = each.level_of(0.2)
    assert each.part(level, 10_000) is None  # so many don't fall on all of it
    part = each.part(level, 25)
    assert part.is_part
    assert each.frame.covers(part.frame)
    times = 60 / np.ptp(part.frame.bounds[::2])
    assert times == pytest.approx(round(times))
    assert times >= 3
    assert 8 < len(part.fallen(level)) < 60
    assert part.cover(level) == pytest.approx(each.cover(level), rel=0.3)
    assert part.flurry == 7


def test_flakes_fall_where_their_layer_is_dense_each_with_a_key_of_its_own(usual: Sky) -> None:
    level = usual.level_of(0.2)
    each = usual.fallen(level)
    assert len(np.unique(each.key)) == len(each)
    assert shapely.box(*usual.frame.buffer(4.5).bounds).covers(shapely.MultiPoint(each.xy))
    assert 90 < len(each) < 220
    assert (each.packed == 0).all()
    assert sky(snow=0.3).fallen(level).packed.max() > 0.5
    reach = [2 * np.median(each.reach[(each.layer == layer) & ~each.torn]) for layer in range(3)]
    assert reach == pytest.approx(usual.medians, rel=0.3)
    more = usual.fallen(1.5 * level)
    assert len(more) > len(each)


def test_a_field_is_noise_on_a_lattice_that_lies_along_it_to_the_last_bit() -> None:
    """Asked for by x and y apart: points turned as one array, their lattice and the noise there are the slow twin."""
    cells, octave = Cells(-3, 4, 21, 13), Octave(key=5, size_mm=0.9, height=0.5, stretch=1.6, along_deg=71.0)
    place = turned(cells.middle, -71.0) / (np.array([1.6, 1.0]) * 0.9 / 2)
    low, high = np.floor(place.min(axis=0)).astype(int) - 11, np.ceil(place.max(axis=0)).astype(int) + 12
    key = keys(5, np.arange(low[0], high[0])[:, None], np.arange(low[1], high[1])[None, :])
    noise = Draws(key.ravel()).normal().reshape(key.shape)
    smooth = gaussian_filter(noise, np.sqrt(4 - 1 / 3), mode="constant", truncate=4)
    values = map_coordinates(smooth, (place - low).T, order=3, prefilter=False)
    assert np.array_equal(field(octave, cells.middle), 0.5 * 2 * np.sqrt(np.pi) * 2.0 * values)
    assert cells.middle[0] == pytest.approx([-2.5 * CELL_MM, 4.5 * CELL_MM])
