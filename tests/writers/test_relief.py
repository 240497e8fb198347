"""The proof of an embossed print: relief under light from the upper left, and its twin as shapes."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
import resvg_py
import shapely
from PIL import Image

from carvegen.base.colour import Ink
from carvegen.blocks.embossing.pressing import Pressing
from carvegen.writers.whole_print.embossed_relief import PressedFace, brightness, heights, wall_patches
from carvegen.writers.whole_print.print_png import Coat, print_png
from carvegen.writers.whole_print.print_svg import outlines_svg, print_svg

WINDOW = (0.0, 0.0, 40.0, 30.0)
PAPER = (200, 200, 200)
BOX = PressedFace(face=shapely.box(10, 10, 30, 20), how=Pressing(relief_mm=0.8, paper_mm=0.01))


def test_a_slope_that_faces_the_light_halfway_comes_back_as_lamberts_cosine_says():
    """Lambert (1760): light goes with the cosine between the surface's normal and the light's direction."""
    rise = np.add.outer(np.zeros(40), np.arange(40) / 10)  # 45 degrees up to the right: faces left
    light = brightness(rise, 10)[20, 20]
    cosine = np.array([-1, 0, 1]) @ np.array([-0.5, 0.5, math.sqrt(0.5)]) / math.sqrt(2)
    assert light == pytest.approx(0.45 + 0.55 * cosine / math.sqrt(0.5))
    assert brightness(np.zeros((9, 9)), 10) == pytest.approx(1)


def test_the_paper_stands_as_high_as_the_relief_and_comes_down_over_the_wall():
    height = heights([BOX], (0, 0), 20, (800, 600))
    assert height[300, 400] == pytest.approx(0.8, abs=0.01)
    assert height[100, 100] == pytest.approx(0, abs=0.01)
    beside = height[300, round((30 + 0.4) * 20)]  # halfway out over a wall of 45 degrees
    assert beside == pytest.approx(0.4, abs=0.04)


@pytest.mark.parametrize("back", [True, False])
def test_raised_is_bright_at_the_upper_left_and_pressed_in_is_dark_there(back):
    how = Pressing(relief_mm=0.8, paper_mm=0.2, back=back)
    grey = np.asarray(
        Image.open(io.BytesIO(print_png(PAPER, [], WINDOW, pressed=[PressedFace(face=BOX.face, how=how)])))
    )
    left, right = int(grey[150, 96, 0]), int(grey[150, 304, 0])
    assert (left > 205 > 190 > right) if back else (left < 195 < 205 < right)
    assert abs(int(grey[20, 20, 0]) - 200) <= 1


def test_shapes_and_pixels_show_the_same_colours():
    """Raster twin: print.svg by a renderer that isn't ours, beside print.png."""
    coats = [
        Coat(ink=Ink(colour=(169, 191, 203), opacity=0.2), land=shapely.box(0, 0, 25, 30)),
        Coat(ink=Ink(colour=(106, 135, 153), opacity=0.3), land=shapely.box(5, 5, 35, 20)),
        Coat(ink=Ink(colour=(31, 43, 61), opacity=0.7), land=shapely.Point(20, 15).buffer(8)),
    ]
    ours = np.asarray(Image.open(io.BytesIO(print_png(PAPER, coats, WINDOW)))).astype(int)
    data = resvg_py.svg_to_bytes(svg_string=print_svg(PAPER, coats, WINDOW), dpi=254)
    other = np.asarray(Image.open(io.BytesIO(bytes(data))).convert("RGB")).astype(int)
    assert other.shape == ours.shape
    off = np.abs(other - ours).max(axis=2)
    assert (off > 2).mean() < 0.01  # only along outlines


def test_outlines_name_every_block_in_printing_order():
    coats = {name: Coat(ink=Ink(colour=(30, 40, 60)), land=shapely.box(5, 5, 20, 20)) for name in ("sky", "key")}
    text = outlines_svg(coats, WINDOW, pressed={"die": BOX})
    places = [text.index(f"<title>{name}</title>") for name in ("sky", "key", "die")]
    assert places == sorted(places)


def test_patches_of_a_wall_lie_round_the_face_as_far_as_it_slopes():
    """A rectangle's rim of constant width: its outline times the width and the corners' quarter discs."""
    how = Pressing(relief_mm=0.8, paper_mm=0.2)
    wide = how.run_mm - how.round_mm
    rim = shapely.union_all(
        [patch for patches, _ in wall_patches(PressedFace(face=BOX.face, how=how)) for patch in patches]
    )
    assert shapely.area(rim) == pytest.approx(60 * wide + math.pi * wide**2, rel=0.01)
    assert how.round_mm > 0.05 * how.run_mm
