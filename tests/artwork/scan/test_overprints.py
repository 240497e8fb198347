"""A finished colour print: inks told apart by their own model, paper only where it is seen, doubt told."""

from __future__ import annotations

import json
from functools import cache

import numpy as np
import pytest
import shapely
from PIL import Image
from scipy import ndimage

from carvegen.artwork.on_plan import laid_on, plan_of_inks, plan_place, read_inks
from carvegen.artwork.scan import inks_of
from carvegen.artwork.scan.inks import _opened, by_model
from carvegen.artwork.scan.paper import neither, paper_seen
from carvegen.artwork.scan.pixels import ScanPicture
from carvegen.base.colour import Ink, overprinted, rgb, screen
from carvegen.base.errors import InputError
from tests.artwork.scan import on_plan_pictures as made
from tests.cli.running import run
from tests.strategies import few, takes_long

PAPER = rgb("#fbfaf6")
COATS = {
    "sky": Ink(colour=rgb("#a9bfcb"), opacity=0.2),
    "tone": Ink(colour=rgb("#c98f5a"), opacity=0.1),
    "key": Ink(colour=rgb("#1f2b3d"), opacity=0.7),
}
LANDS = {
    "sky": made.FACE,  # prints over all: no bare paper is left
    "tone": shapely.union(shapely.box(0, 0, 120, 25), made.blots(4, 30)),
    "key": made.key(),
}
PX = 3.0  #: of a millimetre
DPI = (25.4 * PX, 25.4 * PX)
SAID = "sky=#a9bfcb 0.2, tone=#c98f5a 0.1, key=#1f2b3d 0.7"


@cache
def print_seen() -> np.ndarray:
    """All lands printed, in even light; not to be changed."""
    return printed(LANDS)


def printed(lands, light=(1.0, 1.0, 1.0), fall=0.0):
    covers = [made.painted(lands[name], PX) for name in COATS]
    seen = overprinted(PAPER, zip(COATS.values(), covers, strict=True))
    y, x = np.mgrid[-1 : 1 : seen.shape[0] * 1j, -1 : 1 : seen.shape[1] * 1j]
    seen = seen * light * (1 - fall * (x + y / 2))[..., None]
    seen = ndimage.gaussian_filter(screen(seen), (0.8, 0.8, 0))
    return np.clip(seen + np.random.default_rng(1).normal(size=seen.shape) * 2, 0, 255).astype(np.uint8)


@takes_long  # one more print, as the others here
@pytest.mark.parametrize("how", few([{"light": (0.95, 0.85, 0.75), "fall": 0.12}, {}], 1))
def test_an_ink_that_prints_over_all_is_not_taken_for_paper(how):
    """Against the masks that were printed; what lies under the key, which hides, may be told wrong if it is told so."""
    seen = np.moveaxis(printed(LANDS, **how), -1, 0)
    result = by_model(seen, list(COATS.values()), PAPER)
    sky, tone, key = result.on
    truth = {name: made.painted(land, PX) > 0.5 for name, land in LANDS.items()}
    assert sky.mean() > 0.94
    assert (sky | result.unsure).mean() > 0.98
    assert result.paper_share < 0.001
    assert (key != truth["key"]).mean() < 0.02
    wrong = ndimage.binary_opening(tone != truth["tone"], np.ones((7, 7)))
    assert (wrong & ~truth["key"]).mean() < 0.002
    assert (wrong & ~result.unsure).mean() < 0.01


def test_where_paper_is_seen_it_is_told():
    bare = shapely.box(90, 50, 110, 75)
    lands = {name: shapely.difference(land, bare) for name, land in LANDS.items()}
    result = by_model(np.moveaxis(printed(lands), -1, 0), list(COATS.values()), PAPER)
    assert result.paper_share == pytest.approx(bare.area / made.FACE.area, rel=0.1)


def test_a_colour_that_no_ink_gives_is_not_guessed_in_silence():
    seen = print_seen().copy()
    seen[30:60, 270:300] = (220, 40, 160)
    result = by_model(np.moveaxis(seen, -1, 0), list(COATS.values()), PAPER)
    assert result.unsure[35:55, 275:295].mean() > 0.95


def as_printed(fades_to=1.0, density=1.0, lands=LANDS):
    """Pixels where the sky fades out downwards, or overprints are thinner than the model's; (3, height, width)."""
    covers = {name: made.painted(land, PX) for name, land in lands.items()}
    over = sum((cover > 0.5).astype(int) for cover in covers.values()) > 1
    covers["sky"] = covers["sky"] * np.linspace(1, fades_to, len(over))[:, None]
    light = overprinted(PAPER, [(ink, covers[name]) for name, ink in COATS.items()])
    light = np.where(over[..., None], np.maximum(light, 1e-3) ** density, light)
    return np.moveaxis(screen(ndimage.gaussian_filter(light, (0.8, 0.8, 0))).astype(np.uint8), -1, 0)


@pytest.mark.parametrize("how", few([{"fades_to": 0.2}, {"density": 0.85}], 1))
def test_an_ink_is_not_missed_in_silence(how):
    """The sky prints over all: where it is read as missing, that is told as unsure."""
    result = by_model(as_printed(**how), list(COATS.values()), PAPER)
    missed = ndimage.binary_opening(~result.on[0], np.ones((5, 5)))
    assert (missed & ~result.unsure).mean() < 0.01
    assert result.unsure.mean() < 0.45


@takes_long  # one more print, as the others here
def test_a_flake_in_an_ink_that_fades_is_not_taken_for_ink_in_silence():
    """The fading is taken for light, and paper comes out half as light as it is; 54 of 247 flakes were told as ink."""
    flakes = shapely.buffer(shapely.points(np.mgrid[4:118:6, 4:78:6].reshape(2, -1).T), 0.9)
    bare = shapely.union_all(flakes)
    lands = {name: shapely.difference(land, bare) for name, land in LANDS.items()}
    result = by_model(as_printed(fades_to=0.1, lands=lands), list(COATS.values()), PAPER)
    inked = result.on[0] & (made.painted(bare, PX) > 0.5)
    assert ndimage.label(ndimage.binary_opening(inked & ~result.unsure, np.ones((3, 3))))[1] < 5


def test_the_ink_that_fades_out_is_named(tmp_path, capsys):
    Image.fromarray(np.moveaxis(as_printed(fades_to=0.2), 0, -1)).save(tmp_path / "print.png", dpi=DPI)
    ran = run(capsys, "read", tmp_path / "print.png", "--inks", SAID, "--json")
    thinly = [note for note in json.loads(ran.out)["notes"] if "thinly" in note]
    assert ran.code == 1
    assert thinly[0].startswith("sky lies thinly or not at all")


def test_read_says_what_is_not_sure_and_exits_with_one(tmp_path, capsys):
    Image.fromarray(print_seen()).save(tmp_path / "print.png", dpi=DPI)
    ran = run(capsys, "read", tmp_path / "print.png", "--inks", SAID, "--json", "--picture", tmp_path / "seen.png")
    report = json.loads(ran.out)
    areas = {layer["name"]: layer["area_mm2"] for layer in report["layers"]}
    assert ran.code == 1
    assert areas["sky"] == pytest.approx(9600, rel=0.03)
    assert areas["key"] == pytest.approx(LANDS["key"].area, rel=0.06), "rounded by pixels of a third of a millimetre"
    assert areas["FINDING"] > 100
    assert any("no bare paper is seen" in note for note in report["notes"])
    assert any("not sure on" in note for note in report["notes"])
    with Image.open(tmp_path / "seen.png") as picture:
        seen = np.asarray(picture.convert("RGB"))
    open_sky = screen(overprinted(PAPER, [(COATS["sky"], np.array(1.0))]))
    assert np.abs(seen[40, 20] - open_sky).max() < 2, "the sky prints first and lies under the others"
    hatched = np.all(seen == (194, 87, 26), axis=-1).sum() / 100
    assert hatched == pytest.approx(areas["FINDING"] / 2, rel=0.1), "what is not sure lies on top"


@pytest.mark.parametrize("side", [3, 7, 15])
def test_a_mask_opened_by_row_and_column_is_as_scipy_opens_it(side):
    """Also at its rim, and where it is narrower than the square."""
    for shape in ((60, 90), (5, 40)):
        mask = ndimage.gaussian_filter(np.random.default_rng(side).normal(size=shape), 3) > -0.02
        assert (_opened(mask, side) == ndimage.binary_opening(mask, np.ones((side, side), dtype=bool))).all()


@pytest.mark.parametrize("text", ["sky=blue", "sky=#a9bfcb, tone", "sky=#a9bfcb 3"])
def test_colours_that_can_not_be_read_are_refused(text):
    with pytest.raises(InputError):
        inks_of(text)


@pytest.mark.parametrize("shadow", few([0.5, 0.3], 1))
def test_a_hard_shadow_on_a_print_in_several_inks_is_no_ink(shadow):
    """Thousands of mm² were told as still to cut; here half of it lies in shadow, its edge a millimetre wide."""
    seen = print_seen().astype(float)
    x = np.arange(seen.shape[1]) + np.arange(seen.shape[0])[:, None] / 3
    seen *= (1 - shadow / (1 + np.exp(-(x - 60 * PX) / (0.4 * PX))))[..., None]
    plan = plan_of_inks(LANDS, COATS, PAPER, made.SIZE)
    picture = ScanPicture(Image.fromarray(seen.astype(np.uint8)), None)
    with pytest.MonkeyPatch.context() as patched:  # that a place is found is tried in `test_on_plan.py`
        patched.setattr(plan_place, "first_look", lambda *_: [np.diag([PX, PX, 1.0])])
        inks = read_inks(laid_on(plan, picture), COATS, PAPER)
    for name, land in LANDS.items():
        wrong = inks[name].land.symmetric_difference(land).difference(inks[name].hidden)
        assert shapely.buffer(wrong, -0.3).area < 1, name


def test_a_sky_over_all_that_is_read_as_paper_is_not_sure(tmp_path, capsys):
    """Against what was printed: the sky where no other ink lies is a finding, not paper in silence."""
    path = tmp_path / "sky.png"
    Image.fromarray(print_seen()).save(path, dpi=DPI)
    ran = run(capsys, "read", path, "--inks", "2", "--json")
    report = json.loads(ran.out)
    assert ran.code == 1
    assert any("no bare paper is seen for sure" in note for note in report["notes"])
    area = {layer["name"]: layer["area_mm2"] for layer in report["layers"]}
    assert area["FINDING"] > 0.95 * LANDS["sky"].difference(shapely.union(LANDS["tone"], LANDS["key"])).area


@pytest.mark.parametrize("smaller", [2, 1])
def test_so_it_is_where_the_print_is_read_as_one_ink(smaller, tmp_path, capsys):
    """Also where pixels are so many that it is made grey and smaller. A block, which is no paper, is not suspected."""
    path, width = tmp_path / "sky.png", 48 / smaller
    pixels = print_seen()
    Image.fromarray(pixels).save(path, compress_level=1)
    high, wide = pixels.shape[:2]
    words = ("read", path, "--size", f"{width}x{width / 1.5}", "--corners", f"0 0 {wide} 0 {wide} {high} 0 {high}")
    ran, block = run(capsys, *words, "--json"), run(capsys, *words, "--view", "block", "--json")
    sure = [not any("no bare paper is seen" in note for note in json.loads(each.out)["notes"]) for each in (ran, block)]
    assert (ran.code, sure) == (1, [False, True])
    area = {layer["name"]: layer["area_mm2"] for layer in json.loads(ran.out)["layers"]}
    open_sky = LANDS["sky"].difference(shapely.union(LANDS["tone"], LANDS["key"])).area
    assert area["FINDING"] > 0.95 * open_sky * (width / made.SIZE[0]) ** 2


def test_paper_seen_is_bright_and_neutral_or_a_margin():
    sheet = np.ones((60, 80, 3)) * PAPER
    inside = (slice(6, -6), slice(8, -8))
    for paper, margin, wanted in (
        (PAPER, False, True),
        ((169, 191, 203), False, False),  # a sky
        ((169, 191, 203), True, True),
        ((150, 150, 149), False, True),  # in the dusk
        ((214, 222, 226), False, False),  # a pale sky
        ((236, 228, 208), False, False),  # cream, or a pale yellow ink
        ((236, 200, 140), True, False),  # no paper has such a colour, but in a lamp's light
        ((190, 150, 105), False, False),  # kraft paper
        ((240, 200, 210), False, False),  # pink
    ):
        picture, bare = sheet * 0 + paper, np.ones(sheet.shape[:2], dtype=bool)
        if margin:
            bare[inside] = np.arange(64) % 2 == 0
        else:
            bare[:, ::2] = False
        assert paper_seen(np.moveaxis(picture.astype(np.uint8), -1, 0), bare) == wanted, paper
        lamp = wanted or paper in ((236, 228, 208), (236, 200, 140), (190, 150, 105))
        assert paper_seen(np.moveaxis(picture.astype(np.uint8), -1, 0), bare, creamy=True) == lamp, paper


@pytest.mark.parametrize("ink", [(30, 30, 34), (52, 52, 56)])
@pytest.mark.parametrize("over", [(60, 84, 150), (90, 60, 45), None])
def test_a_hand_or_a_glove_is_neither_ink_nor_paper_however_dark_the_ink(ink, over):
    """Over a corner of a face half inked: all of it within two pixels, and nothing else."""
    face = np.full((90, 120, 3), (228, 227, 224), dtype=np.uint8)
    face[:, 30:90] = ink
    there = np.zeros(face.shape[:2], dtype=bool)
    there[60:, :45] = over is not None
    face[there] = over or 0
    result = neither(tuple(np.moveaxis(face, -1, 0)), face.mean(axis=-1) > 128)
    if over is None:
        assert result is None
    else:
        assert np.count_nonzero(result ^ there) < 0.15 * there.sum()


def test_a_colour_far_from_all_overprints_is_not_sure():
    """A stain 25 CIELAB units from paper and 80 from the only ink: clearly the nearer, and yet no paper."""
    seen = np.broadcast_to(np.uint8(PAPER), (200, 300, 3)).copy()
    seen[20:180, 20:120] = COATS["key"].colour
    seen[60:140, 180:260] = (246, 226, 180)
    result = by_model(np.moveaxis(seen, -1, 0), [COATS["key"]], PAPER)
    assert result.unsure[70:130, 190:250].all()
    assert not result.unsure[:, :150].any()
