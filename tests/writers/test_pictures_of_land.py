"""The picture of what was mended and the map of the land's width: their areas, colours and true size."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import shapely
from lxml import etree
from PIL import Image

from carvegen import geometry
from carvegen.base.colour import Ink, rgb
from carvegen.blocks.block import Block
from carvegen.checks.mending import mended
from carvegen.writers.block.block_png import NOW_CUT, NOW_LAND, change_png
from carvegen.writers.block.clean_artwork import artwork_png
from carvegen.writers.block.width_map import land_widths, width_map_png, width_map_svg
from tests.cases import block, box, disc, setup
from tests.strategies import takes_long

DTD = etree.DTD(str(Path(__file__).parents[1] / "data" / "svg11-dtd" / "svg11.dtd"))
DARK_RED = (0x8C, 0x1C, 0x2F)


def picture(data: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(int)


def area(image: np.ndarray, colour: tuple[int, int, int], px_per_mm: float) -> float:
    """mm² of the pixels nearer to a colour than 40 of 255 in each channel: blurred borders fall out."""
    return float((np.abs(image - colour).max(axis=-1) < 40).sum()) / px_per_mm**2


@takes_long  # a measure of one picture
def test_colours_cover_what_changed() -> None:
    before = block(box(5, 5, 8, 6), disc(25, 15, 4))
    after = block(box(5.31, 5, 8, 6), disc(25, 15, 3), box(33, 20, 3, 4))
    image = picture(change_png(before, after, px_per_mm=40))
    was, now = shapely.union_all(before.cuts), shapely.union_all(after.cuts)
    assert area(image, NOW_CUT, 40) == pytest.approx(now.difference(was).area, rel=0.02)
    assert area(image, NOW_LAND, 40) == pytest.approx(was.difference(now).area, rel=0.02)


def test_a_layer_that_is_no_ink_is_drawn_over_those_that_are() -> None:
    ink = Ink(colour=(200, 60, 40), opacity=1.0)
    layers = {"tone": geometry.polygon_array([box(2, 2, 10, 10)]), "more": geometry.polygon_array([box(8, 2, 10, 10)])}
    image = picture(artwork_png(layers, (40, 30), coats={"tone": ink}))
    assert area(image, ink.colour, 10) == pytest.approx(60, rel=0.02)
    assert area(image, rgb("#5f7f86"), 10) == pytest.approx(100, rel=0.02)


def test_nothing_changed_shows_neither_colour() -> None:
    image = picture(change_png(block(disc(20, 15, 5)), block(disc(20, 15, 5)), px_per_mm=10))
    assert area(image, NOW_CUT, 10) == area(image, NOW_LAND, 10) == 0


def narrow() -> Block:
    return block(box(5, 5, 10, 10), box(15.4, 6, 10, 8), disc(32, 20, 3))


def test_too_narrow_land_is_dark_red_and_only_that() -> None:
    image = picture(width_map_png(narrow(), land_widths(narrow(), 0.5), px_per_mm=20))
    red = np.abs(image - DARK_RED).max(axis=-1) == 0
    row, column = np.nonzero(red)
    x, y = (column + 0.5) / 20, 30 - (row + 0.5) / 20
    assert image[20 * 20, 304].tolist() == list(DARK_RED)
    assert (np.abs(x - 15.2) < 0.3).all()
    assert ((y > 5.5) & (y < 14.5)).all()
    assert red.sum() / 400 == pytest.approx(8 * 0.4, rel=0.2)  # a disc's pixels may go half a pixel over the walls


def test_clean_blocks_have_no_dark_red() -> None:
    done = mended(setup().on(narrow())).job.block
    for clean in (done, block(box(5, 5, 10, 10)), block()):
        image = picture(width_map_png(clean, land_widths(clean, 0.5 - 0.002), px_per_mm=10))
        assert (np.abs(image - DARK_RED).max(axis=-1) > 0).all()


def test_size_in_pixels_and_dots() -> None:
    widths = land_widths(narrow(), 0.5)
    for data in (width_map_png(narrow(), widths, px_per_mm=10), change_png(narrow(), narrow(), px_per_mm=10)):
        each = Image.open(io.BytesIO(data))
        assert each.size == (400, 300)
        assert each.info["dpi"] == pytest.approx((254, 254), abs=0.1)


def test_svg_is_valid_and_of_true_size() -> None:
    root = etree.fromstring(width_map_svg(narrow(), land_widths(narrow(), 0.5)).encode())
    assert DTD.validate(root), DTD.error_log
    _, _, width, height = map(float, root.get("viewBox").split())
    assert root.get("width") == f"{width:g}mm"
    assert root.get("height") == f"{height:g}mm"
    space = "{http://www.w3.org/2000/svg}"
    red = [node for node in root.iter(f"{space}g") if (node.get("fill") or "").lower() == "#8c1c2f"]
    discs = [float(each.get("r")) for group in red for each in group.iter(f"{space}circle")]
    assert discs
    assert max(discs) < 0.25
    assert np.median(discs) == pytest.approx(0.2, abs=0.001)
    assert len(geometry.parts(narrow().cuts)) == 3


def test_a_delivery_measures_the_land_once_for_all_its_pictures(tmp_path, monkeypatch) -> None:
    from carvegen.delivery import block_folder
    from carvegen.writers.block import width_map
    from tests.cases import setup

    calls = []
    real = width_map.local_widths
    monkeypatch.setattr(width_map, "local_widths", lambda *values: calls.append(1) or real(*values))
    job = setup("linoleum", "v-60").on(narrow())
    block_folder.deliver([job], tmp_path / "out", block_folder.Style(width_map=True), say=lambda _: None)
    assert len(calls) == 1
    assert (tmp_path / "out" / "land-width.png").is_file()
    assert (tmp_path / "out" / "land-width.svg").is_file()
