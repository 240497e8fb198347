"""Scans of known shapes come back within 0.15 mm and 1 % of area: our own demand, measured by shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.ndimage import gaussian_filter

from carvegen import geometry
from carvegen.artwork import read
from carvegen.artwork.scan import ScanOptions, points_from, read_scan
from carvegen.artwork.scan.frame import homography
from carvegen.artwork.scan.inks import separated
from carvegen.artwork.scan.planes import UNSURE
from tests.artwork.scan import synthetic as made
from tests.cli.running import run
from tests.strategies import few

INK, PAPER = 40.0, 225.0


def hold(artwork, truth, *, off_mm=0.15, area=0.01):
    result = artwork.shapes
    assert len(result) == len(truth)
    assert shapely.is_valid(result).all()
    for one, true in zip(made.matched(result, truth), truth, strict=True):
        assert made.apart(one, true) < off_mm
        assert one.area == pytest.approx(true.area, rel=area)
        assert len(one.interiors) == len(true.interiors)


def scan(tmp_path, shapes, **how):
    tone = PAPER + (INK - PAPER) * made.painted(shapes, made.sheet())
    return made.saved(tmp_path / "scan.png", made.worn(tone, **how))


@pytest.mark.parametrize("tilt", few([-1.9, 0.0, 0.7, 3.0], 1))
def test_tilted_unevenly_lit_scan_on_grained_paper(tmp_path, tilt):
    artwork = read_scan(scan(tmp_path, made.turned(made.shapes(), tilt)))
    hold(artwork, made.shapes())
    assert artwork.true_size
    assert artwork.width_mm == pytest.approx(made.WIDTH, abs=0.1)
    assert any(f"{made.DPI} dots per inch" in note for note in artwork.notes)
    assert any("uneven light" in note for note in artwork.notes)
    assert any(f"{-tilt:+.1f}" in note for note in artwork.notes) == (tilt != 0)


def test_corners_are_not_eaten(tmp_path):
    """Blur of s alone moves a square corner's contour 0.77 s inwards; no more than a pixel is lost beyond that.

    On the diagonal both edges' error functions must multiply to one half: each 0.707, at 0.545 s from its edge.
    """
    plate = geometry.polygon_array([shapely.box(10, 10, 50, 35)])
    result = read_scan(scan(tmp_path, plate, noise=1.0, texture=0.5)).shapes[0]
    blur_mm = np.hypot(1.0, 0.6) / made.PX
    lost = [result.distance(shapely.Point(x, y)) for x in (10, 50) for y in (10, 35)]
    assert max(lost) < 0.77 * blur_mm + 1 / made.PX
    assert shapely.get_num_coordinates(result) < 60


@pytest.mark.parametrize("how", few(["found", "given"], 1))
def test_photograph_in_perspective(tmp_path, how):
    width, height = 900, 712
    corners = 0.75 * np.array([[140, 110], [1070, 70], [1120, 860], [80, 820]], dtype=float)
    face = np.array([[0, made.HEIGHT], [made.WIDTH, made.HEIGHT], [made.WIDTH, 0], [0, 0]])
    matrix = homography(face, corners)

    def seen(shapes):
        def move(xy):
            out = np.column_stack([xy, np.ones(len(xy))]) @ matrix.T
            return np.column_stack([out[:, 0] / out[:, 2], height - out[:, 1] / out[:, 2]])

        dense = shapely.segmentize(shapes, 0.5)
        return made.painted(shapely.transform(dense, move), (width, height), scale=1)

    tone = 90 + (PAPER - 90) * seen(geometry.polygon_array([geometry.box(made.WIDTH, made.HEIGHT)]))
    tone += (INK - tone) * seen(made.shapes())
    path = made.saved(tmp_path / "photo.png", made.worn(tone, uneven=0.25), dpi=72)
    marks = tuple((x, y) for x, y in corners[[2, 0, 3, 1]]) if how == "given" else "auto"
    hold(read_scan(path, ScanOptions(corners=marks, size_mm=(made.WIDTH, made.HEIGHT))), made.shapes())


def test_block_is_mirrored_once(tmp_path):
    plate = made.shapes()[3:4]
    artwork = read_scan(scan(tmp_path, plate), ScanOptions(view="block"))
    hold(artwork, geometry.mirrored(plate, artwork.width_mm))


def test_size_by_two_points_width_and_bar(tmp_path):
    shapes = np.append(made.shapes()[:1], [shapely.box(5, 38, 55, 39)])
    tone = PAPER + (INK - PAPER) * made.painted(shapes, made.sheet())
    path = made.saved(tmp_path / "scan.png", made.worn(tone), dpi=None)
    area = made.shapes()[0].area
    for options, count in (
        (ScanOptions(points=points_from(f"{5 * made.PX} 70 {55 * made.PX} 70 = 5cm")), 2),
        (ScanOptions(width_mm=made.sheet()[0] / made.PX), 2),
        (ScanOptions(dpi=made.DPI), 2),
        (ScanOptions(bar_mm=50.0), 1),
    ):
        result = read_scan(path, options).shapes
        assert len(result) == count
        assert result[int(np.argmax(shapely.area(result)))].area == pytest.approx(area, rel=0.004)


def test_specks_and_pinholes_are_dropped_and_counted(tmp_path):
    rng = np.random.Generator(np.random.PCG64(3))
    specks = geometry.polygon_array(
        shapely.Point(x, y).buffer(0.14) for x, y in rng.uniform((36, 2), (58, 42), (20, 2))
    )
    specks = geometry.joined(specks)
    disc = shapely.Point(17, 20).buffer(12)
    pin = shapely.Point(17, 20).buffer(0.145)
    path = scan(tmp_path, np.append(specks, [disc.difference(pin)]), blur=0.5, noise=1.0, texture=0.0)
    artwork = read_scan(path, ScanOptions(speck_mm=0.3))
    assert len(artwork.shapes) == 1
    assert not artwork.shapes[0].interiors
    assert any(note.startswith(f"{len(specks)} specks") for note in artwork.notes)
    assert any(note.startswith("1 pinhole in ") for note in artwork.notes)
    assert len(read_scan(path, ScanOptions(speck_mm=0.0)).shapes) > len(specks) // 2


def test_local_threshold_finds_faint_lines_that_one_threshold_loses(tmp_path):
    dark, faint = (geometry.polygon_array([shapely.box(x, 8, x + 0.8, 38)]) for x in (12, 45))
    tone = PAPER - 180 * made.painted(dark, made.sheet()) - 60 * made.painted(faint, made.sheet())
    path = made.saved(tmp_path / "faint.png", made.worn(tone, uneven=0, noise=2))
    assert len(read_scan(path).shapes) == 1
    assert len(read_scan(path, ScanOptions(local=True)).shapes) == 2


INKS = {"paper": (240, 236, 225), "ground": (214, 190, 120), "tone": (110, 140, 165), "key": (35, 35, 50)}


def proof():
    """Three inks over one another: colours, and which ink shows; (3, height, width), (height, width)."""
    t = np.linspace(0, 12 * np.pi, 3000)
    spiral = shapely.LineString(np.column_stack([30 + 0.5 * t * np.cos(t), 22 + 0.5 * t * np.sin(t)])).buffer(0.25)
    layers = {
        "ground": [shapely.box(4, 4, 56, 34)],
        "tone": [shapely.Point(22, 22).buffer(13), shapely.box(38, 12, 48, 42)],
        "key": [spiral, shapely.box(6, 36, 18, 43)],
    }
    seen = np.ones((*made.sheet()[::-1], 3)) * INKS["paper"]
    label = np.zeros(made.sheet()[::-1], dtype=int)
    for k, (name, shapes) in enumerate(layers.items()):
        cover = made.painted(geometry.joined(geometry.polygon_array(shapes)), made.sheet())
        seen += (np.array(INKS[name]) - seen) * cover[..., None]
        label[cover > 0.5] = 3 - k
    return np.moveaxis(seen, -1, 0), label


def test_three_inks_are_told_apart_on_more_than_99_percent_of_the_pixels(tmp_path):
    seen, label = proof()
    worn = np.array([made.worn(channel, uneven=0, seed=k) for k, channel in enumerate(seen)])
    smooth = np.array([gaussian_filter(channel, 0.6) for channel in worn])
    result = separated(smooth, 3)
    assert (result.labels == label).mean() > 0.99
    assert result.labels.dtype == np.uint8


def test_three_inks_become_three_layers_with_their_areas(tmp_path):
    seen, label = proof()
    worn = np.moveaxis(np.array([made.worn(channel, seed=k) for k, channel in enumerate(seen)]), 0, -1)
    path = made.saved(tmp_path / "proof.png", worn)
    artwork = read_scan(path, ScanOptions(inks=("key", "tone", "ground")))
    assert list(artwork.layers) == ["key", "tone", "ground"]
    for k, shapes in enumerate(artwork.layers.values(), start=1):
        assert shapely.area(shapes).sum() == pytest.approx((label == k).sum() / made.PX**2, rel=0.03)


def test_a_scan_is_read_like_any_artwork(tmp_path):
    hold(read(scan(tmp_path, made.shapes()[:2])), made.shapes()[:2])
    bare = made.saved(
        tmp_path / "bare.png",
        np.asarray(255 - 200 * (made.painted(made.shapes()[:2], (400, 300), 6) > 0.5), np.uint8),
        None,
    )
    unsized = read(bare)
    assert not unsized.true_size
    assert unsized.width_mm is None


def test_where_it_glares_nothing_is_read_and_that_is_told(capsys, tmp_path):
    """Light was told from the glare, and what lay beside it taken for ink: 10,225 mm² for 2,536."""
    tone = made.worn(235 - 180 * made.painted(made.shapes(), made.sheet())).astype(float) * 0.7
    y, x = np.indices(tone.shape)
    streak = 0.85 * np.exp(-(((x / 2 + y - 420) / 20) ** 2))
    path = made.saved(tmp_path / "glare.png", (tone + (255 - tone) * streak).astype(np.uint8))
    ran = run(capsys, "read", path)
    assert ran.code == 1
    assert "it glares there, and nothing is read" in ran.out + ran.err
    layers = read_scan(path, ScanOptions()).layers
    unsure, seen = (shapely.union_all(layers[name]) for name in (UNSURE, "INK 1"))
    assert 0.02 < unsure.area / (made.WIDTH * made.HEIGHT) < 0.3
    truth = shapely.union_all(made.shapes()).difference(unsure)
    assert shapely.buffer(seen.symmetric_difference(truth), -0.1).area < 0.5


@pytest.mark.parametrize(("ink", "said"), [(205, True), (60, False)])
def test_a_pale_ink_in_uneven_light_may_be_a_shadow_which_is_said(tmp_path, ink, said):
    seen = np.full((300, 400), 240.0)
    seen[60:240, 60:160] = ink
    seen *= np.linspace(1, 0.85, 400)
    artwork = read_scan(made.saved(tmp_path / "pale.png", seen.astype(np.uint8)), ScanOptions())
    assert any("taken for shadow" in note for note in artwork.notes) == said


@pytest.mark.parametrize(("ink", "wide", "kept"), [(0.88, 60, True), (0.85, 100, False)])
def test_a_pale_ink_that_was_evened_out_is_kept_or_told(tmp_path, ink, wide, kept):
    """Against what was painted: bands that end at sharp edges, in light that falls off by a third."""
    y, x = np.mgrid[:300, :400]
    truth = (x // wide % 2 == 0) & (y > 75) if kept else x < wide
    truth |= np.hypot(x - 200, y - 150) < 40
    seen = 240 * np.where(truth, ink, 1) * (1 - 0.25 * ((x / 400 - 0.6) ** 2 + (y / 300 - 0.3) ** 2))
    seen = gaussian_filter(seen, 1) + 3 * np.random.default_rng(0).normal(size=seen.shape)
    artwork = read_scan(made.saved(tmp_path / "pale.png", seen.astype(np.uint8), dpi=254), ScanOptions(deskew=False))
    land, unsure = (
        made.painted(artwork.layers.get(name, geometry.empty()), (400, 300), 10.0) > 0.5
        for name in ("INK 1", "FINDING")
    )
    assert unsure.any() != kept
    assert ((land != truth) & ~unsure).mean() < 0.01
