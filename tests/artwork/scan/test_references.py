"""Against what isn't ours: pictures that scikit-image carries in its wheel, its Otsu, and our own proof picture."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from skimage import data, filters
from skimage.measure import find_contours, label

from carvegen import geometry
from carvegen.artwork.scan import ScanOptions, read_scan
from carvegen.artwork.scan.light import evened, paper_light
from carvegen.artwork.scan.smoothing import smoothed
from carvegen.artwork.scan.tone import counted, otsu
from carvegen.artwork.scan.tracing import traced
from carvegen.blocks.block import Block
from carvegen.writers.block.block_png import proof_png
from tests.artwork.scan import synthetic as made

PX_MM2 = (25.4 / 300) ** 2


@pytest.mark.parametrize("picture", [data.page, data.coins, data.camera, data.text, data.moon])
def test_otsu_parts_a_picture_as_scikit_image_does(picture):
    """Otsu 1979, as coded in skimage.filters.threshold_otsu: the last tone of the darker group."""
    tone = picture()
    ours, theirs = otsu(counted(tone)), filters.threshold_otsu(tone)
    assert ours.dark == pytest.approx(tone[tone <= theirs].mean())
    assert ours.light == pytest.approx(tone[tone > theirs].mean())


def test_horse_has_the_area_of_its_mask(tmp_path):
    """skimage.data.horse, a public-domain silhouette: black pixels counted."""
    mask = ~data.horse().astype(bool)
    artwork = read_scan(
        made.saved(tmp_path / "horse.png", np.where(mask, 0, 255).astype(np.uint8)), ScanOptions(speck_mm=0)
    )
    assert len(artwork.shapes) == label(mask, connectivity=2).max() == 1
    assert shapely.area(artwork.shapes).sum() == pytest.approx(mask.sum() * PX_MM2, rel=0.002)


def test_words_on_an_unevenly_lit_page_are_found_where_one_threshold_fails(tmp_path):
    """skimage.data.page is its example for local thresholds; the reference is its threshold_local, block size 35."""
    tone = data.page()
    local = tone < filters.threshold_local(tone, 35, offset=10)
    ours = evened(tone, paper_light(tone)) < otsu(counted(evened(tone, paper_light(tone)))).level
    plain = tone < filters.threshold_otsu(tone)
    agree, plainly = ((local & mask).sum() / (local | mask).sum() for mask in (ours, plain))
    assert agree > 0.6
    assert plainly < 0.4
    artwork = read_scan(made.saved(tmp_path / "page.png", tone), ScanOptions(speck_mm=0.2))
    assert 150 < len(artwork.shapes) < 400
    assert shapely.area(artwork.shapes).sum() < 0.15 * tone.size * PX_MM2


def test_contours_lie_where_marching_squares_of_scikit_image_lie():
    tone = np.asarray(
        made.worn(225 - 185 * made.painted(made.shapes()[:2], made.sheet()), uneven=0, noise=0, texture=0)
    )
    ours = traced(tone, 130.0, blur_px=0)
    theirs = [np.column_stack([ring[:, 1], ring[:, 0]]) + 0.5 for ring in find_contours(tone.astype(float), 130.0)]
    assert len(ours) == len(theirs) == 2
    for ring in theirs:
        line = shapely.LinearRing(ring)
        assert min(shapely.hausdorff_distance(line, shape.exterior) for shape in ours) < 0.02


def test_bands_are_sewn_without_a_seam(monkeypatch):
    tone = made.worn(225 - 185 * made.painted(made.shapes(), made.sheet()), seed=5)
    whole = traced(tone, 130.0, blur_px=1.0)
    monkeypatch.setattr("carvegen.artwork.scan.tracing._BAND_PIXELS", 40_000)
    sewn = traced(tone, 130.0, blur_px=1.0)
    assert len(sewn) == len(whole)
    one, other = shapely.union_all(whole), shapely.union_all(sewn)
    assert one.symmetric_difference(other).area == pytest.approx(0, abs=1e-6 * one.area)


def test_smoothing_keeps_round_shapes_round_and_corners_sharp():
    """A circle keeps its area (Taubin 1995 shrinks nothing in the pass band); a square's corners don't move at all."""
    t = np.linspace(0, 2 * np.pi, 800, endpoint=False)
    stairs = np.round(np.column_stack([100 + 80 * np.cos(t), 100 + 80 * np.sin(t)]) * 2) / 2
    disc = geometry.polygon_array([shapely.Polygon(stairs).buffer(0)])
    assert smoothed(disc)[0].area == pytest.approx(disc[0].area, rel=2e-3)
    assert smoothed(disc)[0].length < disc[0].length
    square = geometry.polygon_array([shapely.segmentize(shapely.box(0, 0, 90, 60), 1)])
    assert smoothed(square)[0].equals(square[0])


def test_our_own_proof_picture_comes_back(tmp_path):
    """Ten pixels in a millimetre, written with its resolution: the dark is the block's land."""
    cuts = geometry.polygon_array([*made.shapes()[:3], shapely.box(24, 31, 55, 41)])
    block = Block(name="sky", width_mm=made.WIDTH, height_mm=made.HEIGHT, cuts=cuts)
    path = tmp_path / "proof.png"
    path.write_bytes(proof_png(block))
    land = made.WIDTH * made.HEIGHT - shapely.area(cuts).sum()
    dark = read_scan(path, ScanOptions(deskew=False))
    assert (dark.width_mm, dark.height_mm) == pytest.approx((made.WIDTH, made.HEIGHT), abs=0.01)
    assert shapely.area(dark.shapes).sum() == pytest.approx(land, rel=0.005)
    white = read_scan(path, ScanOptions(light=True, speck_mm=0)).shapes
    assert len(white) == len(cuts)
    for shape, cut in zip(made.matched(white, cuts), cuts, strict=True):
        assert shape.area == pytest.approx(cut.area, rel=0.005)
        assert made.apart(shape, cut) < 0.05
