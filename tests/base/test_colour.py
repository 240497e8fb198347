"""Colours: sRGB, luminance and lightness against a library that isn't ours; overprints against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import ImageColor
from skimage.color import rgb2lab, rgb2xyz, xyz2rgb

from carvegen.base.colour import (
    Ink,
    alike,
    cielab,
    colour_word,
    from_cielab,
    hex_of,
    lightness,
    linear,
    overprinted,
    rgb,
    screen,
)
from carvegen.base.errors import InputError

EVERY = np.arange(256.0)
GREYS = np.repeat(EVERY[:, None], 3, axis=1) / 255


def test_light_is_that_of_the_standard():
    """IEC 61966-2-1 as scikit-image has it: the luminance of a grey is its light."""
    np.testing.assert_allclose(linear(EVERY), rgb2xyz(GREYS)[:, 1], atol=2e-6)


def test_the_screen_undoes_it():
    np.testing.assert_allclose(screen(linear(EVERY)), EVERY, atol=2e-2)  # the standard's two branches meet so closely
    np.testing.assert_allclose(screen(linear(EVERY)), 255 * xyz2rgb(rgb2xyz(GREYS))[:, 0], atol=2e-2)


@pytest.mark.parametrize("text", ["#000000", "#ffffff", "#264b5e", "#a9bfcb", "#1f2b3d", "#c27a4a", "#010101"])
def test_lightness_is_that_of_another_library(text):
    """CIELAB as scikit-image has it."""
    share = np.array(rgb(text)) / 255
    assert lightness(rgb(text)) == pytest.approx(float(rgb2lab(share[None, None])[0, 0, 0]), abs=0.01)


def test_colours_as_text():
    assert hex_of(rgb("#1f2B3d")) == "#1f2b3d"
    for wrong in ("", "red", "#fff", "#12345g", "#1234567", "1f2b3d"):
        with pytest.raises(InputError, match="must be a colour"):
            rgb(wrong)


def test_coats_of_a_glaze_are_a_power():
    """Beer and Lambert: n coats leave paper times c to the n."""
    ink = Ink(colour=(200, 120, 60))
    paper = (251, 246, 234)
    for n in (1, 2, 5):
        got = overprinted(paper, [(ink, np.array(1.0))] * n)
        np.testing.assert_allclose(got, linear(paper) * linear(ink.colour) ** n, rtol=1e-12)


def test_glazes_may_be_printed_in_any_order():
    one, other = Ink(colour=(200, 120, 60)), Ink(colour=(40, 90, 200))
    full = np.array(1.0)
    there = overprinted((255, 255, 255), [(one, full), (other, full)])
    np.testing.assert_allclose(there, overprinted((255, 255, 255), [(other, full), (one, full)]), rtol=1e-12)


def test_an_ink_that_hides_hides():
    got = overprinted((10, 20, 30), [(Ink(colour=(200, 120, 60), opacity=1.0), np.array(1.0))])
    np.testing.assert_allclose(screen(got), (200, 120, 60), atol=0.01)


def test_opacity_mixes_glaze_and_hiding_by_area():
    """A worked example: paper 0.5, ink 0.4, opacity 0.25: 0.4 (0.75 x 0.5 + 0.25) = 0.25; on half the area 0.375."""
    paper, ink = tuple(screen(np.full(3, 0.5))), tuple(screen(np.full(3, 0.4)))
    got = overprinted(paper, [(Ink(colour=ink, opacity=0.25), np.array([1.0, 0.5, 0.0]))])
    np.testing.assert_allclose(got, np.repeat([[0.25], [0.375], [0.5]], 3, axis=1), rtol=1e-9)


def test_two_partly_covering_inks_give_the_sum_of_neugebauer():
    """Neugebauer (1937) with the shares of Demichel (1924): (1-a)(1-b), a(1-b), (1-a)b, ab; from memory."""
    inks, shares = (Ink(colour=(90, 140, 160), opacity=0.3), Ink(colour=(200, 60, 40), opacity=0.6)), (0.3, 0.65)
    paper = (250, 246, 240)
    expected = np.zeros(3)
    for one in (0, 1):
        for two in (0, 1):
            area = (shares[0] if one else 1 - shares[0]) * (shares[1] if two else 1 - shares[1])
            full = [(ink, np.ones(())) for ink, on in zip(inks, (one, two), strict=True) if on]
            expected += area * overprinted(paper, full)
    result = overprinted(paper, [(ink, np.array(share)) for ink, share in zip(inks, shares, strict=True)])
    assert result == pytest.approx(expected, abs=1e-12)


def test_covered_area_by_murray_and_davies():
    """Murray (1936): a = (1 - 10^-Dt) / (1 - 10^-Ds). Tint 0.30, solid 1.50 above paper: 0.5151; from memory."""
    white, solid = (255, 255, 255), Ink(colour=(0, 0, 0))
    light = 10**-1.5
    black = tuple(float(v) for v in screen(np.full(3, light)))
    ink = Ink(colour=black, opacity=solid.opacity)  # type: ignore[arg-type]
    area = (1 - 10**-0.30) / (1 - light)
    assert area == pytest.approx(0.5151, abs=5e-5)
    assert overprinted(white, [(ink, np.array(area))]) == pytest.approx(10**-0.30, abs=1e-9)


def test_cielab_is_that_of_another_library():
    """CIE 15 as scikit-image has it (its matrix has two digits more than IEC 61966-2-1 gives); and back."""
    steps = np.linspace(0, 255, 12)
    cube = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 3)
    np.testing.assert_allclose(cielab(cube), rgb2lab(cube[None] / 255)[0], atol=0.03)
    np.testing.assert_allclose(from_cielab(cielab(cube)), cube, atol=0.02)


@pytest.mark.parametrize(("other", "same"), [("#152738", True), ("#16293a", False)], ids=["1.6", "2.4"])
def test_colours_are_alike_up_to_a_difference_of_two(other, same):
    assert (alike(["#112233", other])[other] == "#112233") == same


@pytest.mark.parametrize(("count", "looked"), [(200, True), (201, False)])
def test_a_picture_with_its_many_colours_stays_as_it_is(count, looked):
    greens = [f"#{k:02x}ff00" for k in range(count)]
    assert (len(set(alike(greens).values())) < count) == looked


@pytest.mark.parametrize("word", ["blue", "green", "yellow", "teal", "violet", "grey", "black", "red"])
def test_a_colour_of_css_has_the_word_of_its_name(word):
    """The names are those of CSS (W3C, CSS Color 4), as Pillow knows them; the bins of hue are our own."""
    named = colour_word(ImageColor.getrgb(word))
    assert named.split()[-1] == word


def test_words_for_light_and_dark_are_those_of_css():
    """And none that tells a block or what bears no snow, as light and dark do."""
    words = {name: colour_word(ImageColor.getrgb(name)) for name in ("lightblue", "navy", "saddlebrown", "darkgreen")}
    assert words == {
        "lightblue": "pale blue", "navy": "deep blue", "saddlebrown": "brown", "darkgreen": "deep green"
    }  # fmt: skip
    assert colour_word((0x22, 0x30, 0x3A)) == "deep blue-grey", "slate is no blue"
