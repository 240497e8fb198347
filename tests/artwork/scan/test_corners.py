"""Scans of sharp things, corners and all: Hausdorff distance by shapely; 0.15 mm at 300 dots per inch are asked for."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from PIL import Image
from scipy.ndimage import gaussian_filter, maximum_filter, minimum_filter
from scipy.optimize import brentq
from scipy.special import erf
from shapely import affinity

from carvegen import geometry
from carvegen.artwork.scan import ScanOptions, read_scan
from carvegen.artwork.scan.contours import corners
from carvegen.artwork.scan.contours.smoothing import simplified
from carvegen.artwork.scan.frame import homography
from carvegen.artwork.scan.inks import _over
from tests.artwork.scan import on_plan_pictures as pictures
from tests.artwork.scan import synthetic as made
from tests.strategies import MANY, few, takes_long

INK, PAPER = 40.0, 225.0


def star(tips, tip, notch, at, turn):
    k = np.arange(2 * tips)
    reach, angle = np.where(k % 2, notch, tip), np.pi * k / tips + turn
    return shapely.Polygon(np.column_stack([at[0] + reach * np.cos(angle), at[1] + reach * np.sin(angle)]))


def bar(x, y, width, height, turn=0.0):
    return affinity.rotate(shapely.box(x - width / 2, y - height / 2, x + width / 2, y + height / 2), turn)


def rounded(shape, radius, at):
    return affinity.translate(shape.buffer(-radius).buffer(radius, quad_segs=32), *at)


STARS = [
    star(5, 6, 2.7, (9, 9), 0.3), star(6, 6, 3.2, (24, 9), 0.1), star(8, 6, 3.5, (39, 9), 0.7),
    star(5, 3, 1.3, (52, 8), 0.3), star(4, 5, 1.6, (9, 24), 0.2), star(12, 6, 4.2, (24, 24), 0.3),
    star(5, 2, 0.9, (36, 24), 0.3), star(7, 7, 4.2, (50, 24), 0.3), star(3, 5, 1.5, (10, 38), 0.3),
    star(6, 1.5, 0.8, (22, 38), 0.3), star(5, 5, 2.0, (36, 37), 1.0),
]  # fmt: skip
SQUARES = [
    bar(8, 8, 10, 10), bar(24, 8, 8, 8, 20), bar(40, 9, 10, 6, 45), bar(54, 8, 3, 3, 10), bar(8, 24, 1, 1, 5),
    bar(14, 24, 1.5, 1.5, 40), bar(24, 24, 8, 8, 7), bar(42, 25, 14, 9, 33).difference(bar(42, 25, 6, 4, 10)),
    shapely.Polygon([(25, 34), (38, 34), (27, 42)]), shapely.Polygon([(45, 34), (57, 35), (57, 43)]),
]  # fmt: skip
THIN = [
    bar(15, 5, 22, 0.3), bar(15, 9, 22, 0.5, 3), bar(15, 13, 22, 0.8, -4), bar(42, 9, 20, 0.4, 25),
    bar(42, 16, 20, 0.6, 10), bar(15, 22, 20, 0.3, 12), bar(15, 30, 22, 1.0, 20), bar(48, 34, 18, 0.5, 44),
]  # fmt: skip
ROUND = [
    *(rounded(bar(0, 0, 8, 8, 10), radius, (8 + 14 * k, 8)) for k, radius in enumerate((0.2, 0.4, 0.7, 1.2))),
    *(rounded(star(5, 6, 2.7, (0, 0), 0.3), radius, (9 + 15 * k, 25)) for k, radius in enumerate((0.2, 0.3, 0.5))),
    *(shapely.Point(8 + 6 * k, 39).buffer(radius, quad_segs=32) for k, radius in enumerate((0.3, 0.5, 0.8, 1.2, 2))),
]  # fmt: skip
SETS = {"stars": STARS, "squares": SQUARES, "thin lines": THIN, "round tips": ROUND}
CASES = {
    "plain": {"uneven": 0, "texture": 0, "noise": 1},
    "worn": {},
    "softer": {"blur": 1.4},
    "sharper": {"blur": 0.6},
    "noisy": {"noise": 8, "texture": 6},
}


def far(expected, truth):
    lines = [shape.boundary for shape in (expected, truth)]
    shapely.prepare(lines)
    return max(
        shapely.distance(shapely.points(shapely.get_coordinates(shapely.segmentize(one, 0.03))), other).max()
        for one, other in (lines, lines[::-1])
    )


def holds(path, options, truth, off_mm=0.15):
    result = read_scan(path, options).shapes
    assert len(result) == len(truth)
    assert shapely.is_valid(result).all()
    assert max(map(far, made.matched(result, truth), truth)) < off_mm


#: Sets take turns with the cases; all pairs where there is time.
PAIRS = [(name, case) for i, name in enumerate(SETS) for j, case in enumerate(CASES) if MANY or i == j % len(SETS)]


@pytest.mark.parametrize(("name", "case"), few(PAIRS, 2))
def test_sharp_stays_sharp_and_round_stays_round(tmp_path, name, case):
    truth = geometry.polygon_array(SETS[name])
    tilt = {"plain": 0.0, "worn": 1.7}.get(case, -0.6)
    tone = PAPER + (INK - PAPER) * made.painted(made.turned(truth, tilt), made.sheet())
    path = made.saved(tmp_path / "scan.png", made.worn(tone, **CASES[case]))
    holds(path, ScanOptions(tilt_deg=-tilt, deskew=False), truth)


@takes_long  # test_synthetic.py reads a photograph in perspective
@pytest.mark.parametrize("name", few(SETS, 1))
def test_sharp_stays_sharp_in_perspective(tmp_path, name):
    truth, size = geometry.polygon_array(SETS[name]), (1200, 950)
    marks = np.array([[140, 110], [1070, 70], [1120, 860], [80, 820]], dtype=float)
    sheet = np.array([[0, made.HEIGHT], [made.WIDTH, made.HEIGHT], [made.WIDTH, 0], [0, 0]])
    matrix = homography(sheet, marks)

    def seen(xy):
        out = np.column_stack([xy, np.ones(len(xy))]) @ matrix.T
        return np.column_stack([out[:, 0] / out[:, 2], size[1] - out[:, 1] / out[:, 2]])

    moved = shapely.transform(shapely.segmentize(truth, 0.3), seen)
    tone = PAPER + (INK - PAPER) * made.painted(moved, size, scale=1)
    path = made.saved(tmp_path / "photo.png", made.worn(tone), dpi=72)
    holds(path, ScanOptions(corners=tuple(map(tuple, marks)), size_mm=(made.WIDTH, made.HEIGHT)), truth)


@pytest.mark.parametrize("angle", [20, 30, 45, 60, 90, 120, 150])
def test_blur_draws_a_tip_back_by_what_its_integral_says(angle):
    """A wedge under a Gaussian of 1, integrated along its middle by the trapezium rule; half tone by scipy's brentq."""
    half, x = np.radians(angle / 2), np.linspace(0, 16, 4001)

    def short_of_half(t):
        density = np.exp(-((x - t) ** 2) / 2) / np.sqrt(2 * np.pi)
        return np.trapezoid(density * erf(np.minimum(x * np.tan(half), 50) / np.sqrt(2)), x) - 0.5

    back = brentq(short_of_half, -1, 12)
    assert np.interp(half, *corners._RECESSION) / np.tan(half) == pytest.approx(back, rel=0.01)


@pytest.mark.parametrize("blur", [0.7, 1.0, 1.5, 2.2])
def test_the_blur_of_edges_is_measured(blur):
    """Against the blur that scipy put in.

    Variances add: 1/12 for the pixel, 1/12 for the slope over one pixel, 1/6 for tones taken between pixels.
    """
    box = affinity.rotate(shapely.box(60, 60, 240, 200), 12)
    shapes = geometry.polygon_array([box, shapely.Point(330, 130).buffer(60)])
    tone = gaussian_filter(225 - 180 * made.painted(shapes, (420, 260), 1), blur)
    seen = geometry.polygon_array(affinity.scale(shape, 1, -1, origin=(0, 130)) for shape in shapes)
    result = corners.edge_blur(np.round(tone).astype(np.uint8), seen)
    assert result == pytest.approx(np.sqrt(blur**2 + 1 / 3), rel=0.08)


@pytest.mark.parametrize("size", [3, 5, 7, 11])
def test_least_and_greatest_nearby_are_those_of_scipy(size):
    values = np.random.Generator(np.random.PCG64(size)).integers(0, 256, (40, 31), dtype=np.uint8)
    assert (_over(values, size, np.minimum) == minimum_filter(values, size)).all()
    assert (_over(values, size, np.maximum) == maximum_filter(values, size)).all()


def test_simplified_keeps_what_crosses_once_thinned():
    """Against shapely's slow way, and by distance: a comb whose teeth are as narrow as the tolerance."""
    teeth = np.array([(k * 0.03, (k % 2) * 4.0) for k in range(200)])
    comb = shapely.Polygon([*teeth, (5.97, -1), (0, -1)]).difference(shapely.box(1, -0.7, 5, -0.3))
    plain = shapely.Point(20, 0).buffer(5, quad_segs=200)
    result = simplified(geometry.polygon_array([comb, plain]), 0.02)
    assert shapely.is_valid(result).all()
    assert [len(shape.interiors) for shape in result] == [1, 0]
    assert far(result[1], plain) <= 0.021
    assert shapely.get_num_coordinates(result[1]) == shapely.get_num_coordinates(shapely.simplify(plain, 0.02))


@pytest.mark.parametrize("hand", [True, False])
def test_a_hand_over_a_corner_of_the_face_is_told(tmp_path, hand):
    """Read without a plan: the palm, as it was painted over the photograph, is not sure; the rest is as it was."""
    seen, place = pictures.photographed(pictures.painted(pictures.sky(), 3.0), hand=hand, size=(500, 380), px=3.0)
    there = place @ np.array([[0, 120, 120, 0], [0, 0, 80, 80], [1, 1, 1, 1.0]])
    Image.fromarray(seen).save(tmp_path / "block.png", compress_level=1)
    corners = tuple(map(tuple, (there[:2] / there[2]).T.tolist()))
    artwork = read_scan(tmp_path / "block.png", ScanOptions(corners=corners, size_mm=(120.0, 80.0)))
    unsure = shapely.union_all(artwork.layers.get("FINDING", []))
    land = shapely.union_all(artwork.layers["INK 1"])
    assert (100 < unsure.area < 300) if hand else unsure.is_empty
    assert land.symmetric_difference(pictures.sky()).difference(unsure).buffer(-0.2).area < 1
