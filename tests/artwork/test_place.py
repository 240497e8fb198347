"""Shapes in words, and where files lie on a block."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from carvegen.artwork.place import place, placed
from carvegen.artwork.shapes import shape
from carvegen.base.errors import InputError

BLOCK = {"width_mm": 200.0, "height_mm": 150.0}
PAGE = '<svg xmlns="http://www.w3.org/2000/svg" {}><rect x="10" y="5" width="20" height="10"/></svg>'
SIZED = 'width="100mm" height="50mm" viewBox="0 0 100 50"'


@pytest.fixture
def files(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "fir.svg").write_text(PAGE.format(SIZED))
    (tmp_path / "loose.svg").write_text(PAGE.format('viewBox="0 0 100 50"'))
    (tmp_path / "lamp at the jetty.svg").write_text(PAGE.format(SIZED))
    (tmp_path / "two.svg").write_text(PAGE.format(SIZED).replace("<rect", '<g id="Near_Shore"><rect')
        .replace("</svg>", '</g><g id="far"><title>far shore</title><path d="M50 0h10v10z"/></g>'
        '<g id="words"><text>jetty</text></g></svg>'))  # fmt: skip
    (tmp_path / "odd#name.svg").write_text(PAGE.format(SIZED))
    (tmp_path / "all.svg").write_text(PAGE.format('width="10mm" height="10mm" viewBox="15 7 1 1"'))
    return tmp_path


@given(st.floats(0.02, 500))
def test_circle_has_its_area_and_lies_within_5_micrometres(radius) -> None:
    circle = shape(f"circle 0 0 {radius!r}")
    assert circle.area == pytest.approx(math.pi * radius**2, rel=1e-9)
    corners = np.hypot(*shapely.get_coordinates(circle).T)
    edges = shapely.distance(shapely.Point(0, 0), circle.exterior)
    assert corners.max() - radius <= 0.005
    assert radius - edges <= 0.005


def test_words() -> None:
    assert shape("box 10 20 3cm 1in").bounds == pytest.approx((10, 20, 40, 45.4))
    assert shape("ellipse 50, 40, 20, 1cm").area == pytest.approx(math.pi * 200, rel=1e-9)
    assert shape("Circle 5 6 2").bounds == pytest.approx((3, 4, 7, 8), abs=0.005)


@pytest.mark.parametrize(
    "text", ["circle 1 2", "box 1 2 3", "box 0 0 -3 4", "circle 0 0 0", "circle a b c", "blob 1 2 3", ""]
)
def test_bad_words_tell_the_right_ones(text) -> None:
    with pytest.raises(InputError) as caught:
        shape(text)
    assert caught.value.hint


@pytest.mark.parametrize(
    ("text", "bounds"),
    [
        ("fir.svg", (10, 35, 30, 45)),  # the page lies on the block
        ("fir.svg at 40 50", (40, 50, 60, 60)),  # the shapes' own corner goes there
        ("fir.svg at 4cm 5cm width 40", (40, 50, 80, 70)),
        ("fir.svg width 40 at 40,50", (40, 50, 80, 70)),
        ("fir.svg height 5", (0, 0, 10, 5)),
        ("loose.svg width 80 at 1 2", (1, 2, 81, 42)),
        ("lamp at the jetty.svg", (10, 35, 30, 45)),
        ("lamp at the jetty.svg at 1 1", (1, 1, 21, 11)),
        ("two.svg#near shore", (10, 35, 30, 45)),
        ("two.svg#FAR-SHORE at 1 2 width 20", (1, 2, 21, 22)),
        ("odd#name.svg", (10, 35, 30, 45)),
        ("box 190 0 30 150", (190, 0, 200, 150)),
    ],
)
def test_places(files, text, bounds) -> None:
    assert shapely.total_bounds(placed(text, **BLOCK)) == pytest.approx(bounds, abs=0.0011)


@pytest.mark.parametrize(
    ("text", "said", "remedy"),
    [
        ("loose.svg", "does not say how large", "'loose.svg width 80'"),
        ("loose.svg at 1 1", "does not say how large", "width 80"),
        ("fir.svg at 500 10", "lies beside the block", "at X Y"),
        ("fir.svg at -100 10", "lies beside the block", "at X Y"),
        ("box 0 0 200 150", "leaves nothing", "smaller"),
        ("all.svg width 300", "leaves nothing", "background"),
        ("fir.svg width 3 width 4", "twice", "once"),
        ("fir.svg width 3 height 4", "both", "one"),
        ("fir.svg width -3", "larger than nothing", "width"),
        ("fir.svg width wide", "must be a length", "12mm"),
        ("fir.svg width 90000", "at most 5000 mm", "scale"),
        ("fur.svg", "is not there", "fir.svg"),
        ("fur.svg#sky", "fur.svg: is not there", "fir.svg"),
        ("two.svg#sky", "has no such layer, got 'sky'", "its layers: Near_Shore, far shore, words"),
        ("fir.svg#sky", "has no such layer, got 'sky'", "none has a name"),
        ("fur.svg at 3 4", "is not there", "fir.svg"),
        (".", "is a folder", "SVG or DXF"),
        ("", "is a folder", "SVG or DXF"),
    ],
)
def test_refusals_say_what_to_do(files, text, said, remedy) -> None:
    with pytest.raises(InputError) as caught:
        placed(text, **BLOCK)
    assert said in str(caught.value)
    assert remedy in caught.value.hint


def test_what_is_cut_off_is_said(files) -> None:
    result = place("box 190 0 30 150", **BLOCK)
    assert any("66.7%" in warning for warning in result.warnings)


def test_enlarged_curves_stay_fine(tmp_path) -> None:
    path = tmp_path / "dot.svg"
    path.write_text('<svg xmlns="http://www.w3.org/2000/svg" width="1mm" height="1mm" viewBox="0 0 2 2">'
                    '<path d="M0 1A1 1 0 0 1 2 1 1 1 0 0 1 0 1z"/></svg>')  # fmt: skip
    (result,) = placed(f"{path} at 0 0 width 140", **BLOCK)
    corners = np.hypot(*(shapely.get_coordinates(result) - 70).T)
    assert 70 - shapely.distance(shapely.Point(70, 70), result.exterior) < 0.012
    assert corners.max() < 70.08  # the grid of the small drawing, enlarged


def test_places_may_be_counted_from_the_top(tmp_path) -> None:
    """Y counts down from the upper edge: to a circle's middle, to the upper left corner of a box or a drawing."""
    for words, bounds in (
        ("circle 30 10 5 from top", (25, 25, 35, 35)),
        ("box 10 5 20 8 FROM  TOP", (10, 27, 30, 35)),
        ("box 10 5 20 8", (10, 5, 30, 13)),
    ):
        assert shapely.total_bounds(placed(words, width_mm=60, height_mm=40)) == pytest.approx(bounds, abs=0.02)
    path = tmp_path / "my fir.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
        '<rect x="20" y="3" width="10" height="5"/></svg>'
    )
    for words, bounds in (
        (f"{path} at 4 6 from top", (4, 29, 14, 34)),
        (f"{path} at 4 6 from top width 20", (4, 24, 24, 34)),
        (f"{path} width 20 at 4 6 from top", (4, 24, 24, 34)),
        (f"{path} at 4 6", (4, 6, 14, 11)),
    ):
        assert shapely.total_bounds(placed(words, width_mm=60, height_mm=40)) == pytest.approx(bounds, abs=0.002)
