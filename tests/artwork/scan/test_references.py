"""Against what isn't ours: scikit-image's pictures and Otsu, lines by resvg, a slanted edge; our own proof picture."""

from __future__ import annotations

import io

import numpy as np
import pytest
import resvg_py
import shapely
import shapely.affinity
from PIL import Image
from scipy.ndimage import gaussian_filter
from skimage import data, filters
from skimage.measure import find_contours, label

from carvegen import geometry
from carvegen.artwork.scan import ScanOptions, read_scan
from carvegen.artwork.scan.contours.corners import edge_blur
from carvegen.artwork.scan.contours.smoothing import smoothed
from carvegen.artwork.scan.contours.tracing import traced
from carvegen.artwork.scan.light import _light_by, _upper_decile, evened, paper_light
from carvegen.artwork.scan.tone import counted, otsu
from carvegen.blocks.block import Block
from carvegen.writers.block.block_png import proof_png
from tests.artwork.scan import synthetic as made
from tests.strategies import few

PX_MM2 = (25.4 / 300) ** 2


@pytest.mark.parametrize("picture", [data.page, data.coins, data.camera, data.text, data.moon])
def test_otsu_parts_a_picture_as_scikit_image_does(picture):
    """Otsu 1979, as coded in skimage.filters.threshold_otsu: the last tone of the darker group."""
    tone = picture()
    ours, other = otsu(counted(tone)), filters.threshold_otsu(tone)
    assert ours.dark == pytest.approx(tone[tone <= other].mean())
    assert ours.light == pytest.approx(tone[tone > other].mean())


def test_horse_has_the_area_of_its_mask(tmp_path):
    """skimage.data.horse, a public-domain silhouette: black pixels counted."""
    mask = ~data.horse().astype(bool)
    artwork = read_scan(
        made.saved(tmp_path / "horse.png", np.where(mask, 0, 255).astype(np.uint8)), ScanOptions(speck_mm=0)
    )
    assert len(artwork.shapes) == label(mask, connectivity=2).max() == 1
    assert shapely.area(artwork.shapes).sum() == pytest.approx(mask.sum() * PX_MM2, rel=0.002)


@pytest.mark.parametrize("count", [1, 2, 9, 11, 575, 576])
def test_the_upper_decile_is_numpys(count):
    values = np.random.default_rng(count).integers(0, 256, count, dtype=np.uint8)
    assert _upper_decile(values) == pytest.approx(np.percentile(values, 90), abs=1e-9)


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
    other = [np.column_stack([ring[:, 1], ring[:, 0]]) + 0.5 for ring in find_contours(tone.astype(float), 130.0)]
    assert len(ours) == len(other) == 2
    for ring in other:
        line = shapely.LinearRing(ring)
        assert min(shapely.hausdorff_distance(line, shape.exterior) for shape in ours) < 0.02


def test_bands_are_sewn_without_a_seam(monkeypatch):
    tone = made.worn(225 - 185 * made.painted(made.shapes(), made.sheet()), seed=5)
    whole = traced(tone, 130.0, blur_px=1.0)
    monkeypatch.setattr("carvegen.artwork.scan.contours.tracing._BAND_PIXELS", 40_000)
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


#: Upright and slanting bars, widths and gaps in mm: a target of our own, as printed ones are.
BARS = (0.3, 0.4, 0.5, 0.7, 1.0, 1.5)


def _bar(width: float, left: float, lean: float) -> np.ndarray:
    return np.array([(left, 4), (left + width, 4), (left + width + lean, 24), (left + lean, 24)])


@pytest.mark.parametrize("lean", few([3.0, 0.0], 1))
def test_bars_drawn_by_resvg_are_read_with_their_widths(tmp_path, lean):
    """Drawn by resvg at 300 dots per inch, blurred and grained: to 0.045 mm, half a pixel, and too wide if anything.

    The level between ink and paper lies above the middle where much of the ink is blurred edge.
    """
    lefts = 4 + np.cumsum([0, *(2 + width for width in BARS[:-1])])
    bars = [_bar(width, left, lean) for width, left in zip(BARS, lefts, strict=True)]
    paths = "".join(f'<path d="M{" ".join(f"{x},{28 - y}" for x, y in bar)}z"/>' for bar in bars)
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="28mm" height="28mm" viewBox="0 0 28 28">'
        f'<rect width="28" height="28" fill="#fff"/>{paths}</svg>'
    )
    page = Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=svg, dpi=300))))
    px = page.width / 28
    tone = made.worn(60 + 0.65 * np.asarray(page.convert("L"), dtype=float), uneven=0.1)
    path = made.saved(tmp_path / "bars.png", tone, dpi=px * 25.4)
    read = read_scan(path, ScanOptions(deskew=False)).shapes
    result = made.matched(read, geometry.polygon_array(map(shapely.Polygon, bars)))
    assert len(read) == len(BARS)
    for shape, width in zip(result, BARS, strict=True):
        middle = shapely.intersection(shape, shapely.box(0, 8, 28, 20))
        assert middle.area / 12 == pytest.approx(width + 0.015, abs=0.03)


@pytest.mark.parametrize("blur", [0.8, 1.2, 2.0])
def test_sharpness_is_that_of_a_slanted_edge(blur):
    """As ISO 12233 has it (from memory): an edge 5 degrees aslant, its spread by the distance from it, differentiated.

    The frequency at which contrast falls to half is then, for a Gaussian of standard deviation s, sqrt(ln 2 / 2)
    / (pi s): by that our figure must say the same, less what it adds itself: 1/12 for the slope over a pixel and 1/6
    for tones between pixels.
    """
    box = shapely.affinity.rotate(shapely.box(100, 40, 220, 200), 5)
    tone = gaussian_filter(210 - 170 * made.painted(geometry.polygon_array([box]), (320, 240), 1), blur)
    rows, columns = np.indices(tone.shape)
    out = np.stack([columns + 0.5 - 160, 240 - rows - 0.5 - 120])
    across, along = np.array([[np.cos(a := np.radians(5)), np.sin(a)], [-np.sin(a), np.cos(a)]]) @ out.reshape(2, -1)
    away = (across - 60).reshape(tone.shape)
    near = (np.abs(away) < 12) & (np.abs(along) < 60).reshape(tone.shape)
    bins = np.floor((away[near] + 12) * 4).astype(int)
    spread = np.bincount(bins, tone[near]) / np.bincount(bins)
    line = np.diff(spread) * np.hanning(len(spread) - 1)
    contrast = np.abs(np.fft.rfft(line, 4096))
    contrast /= contrast[0]
    half = np.argmax(contrast < 0.5) * 4 / 4096
    dark = traced(np.round(tone).astype(np.uint8), 125.0, blur_px=0)
    own = np.sqrt(edge_blur(np.round(tone).astype(np.uint8), dark) ** 2 - 1 / 4)
    by_ours = np.sqrt(np.log(2) / 2) / (np.pi * own)
    assert by_ours == pytest.approx(half, rel=0.1)


@pytest.mark.parametrize(("tiles", "seen"), [((3, 4), True), ((1, 11), False), ((64, 64), False)])
def test_a_surface_asks_for_twice_as_many_tiles_of_paper_as_it_has_terms_and_a_fiftieth_of_all(tiles, seen):
    """Six terms: 12 tiles of paper are enough, 11 are too few; and a few bright ones among thousands."""
    bright = np.full(tiles, 200.0)
    if tiles == (64, 64):
        bright = np.exp(5.5 * (1 - np.sqrt(np.random.default_rng(2).uniform(size=tiles))))
    assert (_light_by(bright) is not None) == seen
