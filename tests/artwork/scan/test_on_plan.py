"""A picture laid on its plan by the drawing itself, and told right from wrong."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
import shapely.affinity
from PIL import Image
from skimage import data
from skimage.transform import ProjectiveTransform

from carvegen.artwork.on_plan import (
    ImagePyramid,
    Laid,
    better_fit,
    is_mirrored,
    judged,
    laid,
    laid_on,
    lay_file,
    marked_off_mm,
    plan_of,
    plan_of_inks,
    plan_scan,
    read_laid,
    shown_alone,
)  # fmt: skip
from carvegen.artwork.on_plan.first_look import alike_places
from carvegen.artwork.on_plan.lens import Lens
from carvegen.artwork.on_plan.plan_scan import _busy_box
from carvegen.artwork.on_plan.tones import drawn_tone, ranged
from carvegen.artwork.scan import ScanOptions
from carvegen.artwork.scan.pixels import ScanPicture
from carvegen.artwork.scan.quad import block_corners, quads
from carvegen.base.colour import Ink, overprinted, screen
from carvegen.base.errors import InputError
from tests.artwork.scan import on_plan_pictures as made
from tests.strategies import few, takes_long

GALLERY = Path(__file__).parents[3] / "gallery"
SKY, KEY = made.sky(), made.key()
PLANS = {"sky": plan_of(SKY, made.SIZE), "key": plan_of(KEY, made.SIZE)}


def third_uncut(cover):
    cover = cover.copy()
    cover[:, : cover.shape[1] // 3] = 1.0
    return cover


def lay(name, cover, **how):
    seen, true = made.photographed(cover, **how)
    return laid_on(PLANS[name], ScanPicture(Image.fromarray(seen), None)), true


@cache
def sky_seen():
    """A photograph of the sky as it was drawn; and where it lies."""
    return made.photographed(made.painted(SKY))


@cache
def plainly_laid():
    """A photograph of the sky as it was drawn, evenly lit; and where it lies."""
    return lay("sky", made.painted(SKY), aslant=0.02)


def by_hand(land):
    return made.cut_by_hand(made.painted(land))


#: More of them, and larger: `python -m tests.robustness on-plan`.
RIGHT = {
    "cut by hand": ("key", lambda: by_hand(KEY), {"turn": -4.0, "aslant": 0.05}),
    "the block itself on a table": (
        "sky", lambda: third_uncut(by_hand(SKY)),
        {"mirrored": True, "margin": 0.0, "turn": 184.0, "table": (150, 120, 80), "fill": 0.6, "aslant": 0.06},
    ),
    "small and aslant": (
        "key", lambda: by_hand(KEY), {"fill": 0.25, "aslant": 0.12, "table": (150, 120, 80)},
    ),
    "pale yellow": ("sky", lambda: by_hand(SKY), {"ink": (250, 236, 160), "paper": (244, 242, 236)}),
    "shadow and a hand": ("sky", lambda: by_hand(SKY), {"shadow": 0.5, "hand": True, "turn": -6.0}),
}  # fmt: skip


@pytest.mark.parametrize("name", few(RIGHT, 1))
def test_the_drawing_itself_finds_its_place(name):
    """Edges that are 0.3 mm off themselves pull by a tenth or two; most where nothing is cut yet."""
    plan, cover, how = RIGHT[name]
    result, true = lay(plan, cover(), **how)
    assert not result.fit.fault
    assert result.mirrored is how.get("mirrored", False)
    off = made.off_mm(result.place, true)
    assert np.median(off) < 0.15
    assert off.max() < 0.45


def test_a_clean_scan_is_laid_to_a_hundredth():
    result, true = plainly_laid()
    assert made.off_mm(result.place, true).max() < 0.03


@pytest.mark.parametrize(
    ("plan", "cover"),
    [
        pytest.param("key", made.painted(SKY), marks=takes_long),
        ("sky", made.painted(made.sky(seed=9))),
        ("key", np.ones_like(made.painted(KEY))),
    ],
    ids=["another block", "other snow", "nothing cut"],
)
def test_what_does_not_fit_is_told(plan, cover):
    result, _ = lay(plan, cover)
    assert result.fit.fault


@takes_long  # one more picture, as the others here
@pytest.mark.parametrize("name", few(["coins", "brick", "gravel", "page", "text", "chelsea", "coffee", "rocket"], 1))
def test_a_photograph_of_something_else_fits_no_plan(name):
    """Pictures that scikit-image's wheel brings; all of them: `python -m tests.robustness photographs`."""
    result = laid_on(PLANS["sky"], ScanPicture(Image.fromarray(getattr(data, name)()).convert("RGB"), None))
    assert "of 105 places on the plan only" in result.fit.fault


@pytest.mark.parametrize(("agree", "of", "good"), [(0.7, 100, True), (0.5, 100, False), (0.7, 60, False)])
def test_where_many_places_agree_others_may_not(agree, of, good):
    """A third that is not cut yet still shows its small flakes, which agree with nothing; few may agree by chance."""
    fit = plainly_laid()[0].fit
    which = np.random.default_rng(1).permutation(np.flatnonzero(fit.locked))[:of]
    drawn, alike = np.zeros_like(fit.drawn), np.zeros_like(fit.alike)
    drawn[which], alike[which[: round(agree * of)]] = True, 1.0
    assert (not replace(fit, drawn=drawn, alike=alike).fault) is good


@takes_long  # one more picture, as the others here
def test_the_figure_tells_a_place_that_is_off():
    """A place moved by a known distance: 1 mm is too far, however alike the pictures are."""
    seen, true = made.photographed(by_hand(SKY))
    tone = ImagePyramid(seen.mean(axis=2, dtype=np.float32) / 255)
    for move, good in (((0, 0), True), ((0.1, 0), True), ((1.0, 0), False), ((0, 3.0), False)):
        shift = np.array([[1, 0, move[0]], [0, 1, move[1]], [0, 0, 1]])
        assert (not judged(PLANS["sky"], tone, true @ shift).fault) is good, move


@pytest.mark.parametrize("colour", few([(128, 128, 128), (0, 0, 0), (255, 255, 255), (200, 40, 30)], 2))
def test_an_even_photograph_is_refused_in_words(tmp_path, colour):
    Image.new("RGB", (320, 240), colour).save(tmp_path / "grey.png")
    with pytest.raises(InputError, match="shows one even tone") as refused:
        lay_file(tmp_path / "grey.png", PLANS)
    assert "grey.png" in str(refused.value)


def test_a_plan_of_a_few_straight_edges_tells_no_place():
    """Along a straight edge anything fits: a bar alone was laid anywhere, and looked right."""
    bar = shapely.box(30, 10, 50, 70)
    seen, _ = made.photographed(made.painted(bar))
    result = laid_on(plan_of(bar, made.SIZE), ScanPicture(Image.fromarray(seen), None))
    assert not result.fit.can_tell


def test_one_corner_that_is_wrong_is_seen_by_the_figure():
    seen, true = sky_seen()
    box = PLANS["sky"].corners
    there = ProjectiveTransform(true)(box)
    wrong = ProjectiveTransform.from_estimate(box, there + np.array([[0, 0], [14, 0], [0, 0], [0, 0]])).params
    assert judged(PLANS["sky"], ImagePyramid(seen.mean(axis=2, dtype=np.float32) / 255), wrong).fault


def test_a_picture_is_laid_as_scikit_image_lays_it():
    from skimage.transform import warp

    seen, true = sky_seen()
    tone = np.float32(seen[..., 1] / 255)
    size, px = (300, 200), 2.5
    here = laid(ImagePyramid(tone), true, size, px)
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    matrix = np.linalg.inv(half) @ true @ np.diag([1 / px, 1 / px, 1]) @ half
    fine = warp(tone, ProjectiveTransform(matrix), output_shape=size[::-1], order=1)
    assert np.abs(here - fine).mean() < 0.02
    assert not is_mirrored(true, PLANS["sky"])


@takes_long  # cli/test_first_proof.py reads a photograph on its plan
@pytest.mark.parametrize("how", few([{"mirrored": True, "turn": 177.0}, {"shadow": 0.5}, {}], 1))
def test_shapes_are_read_where_they_lie(how):
    """Areas that are in one and not in the other are the edges' own breadth."""
    result, _ = lay("sky", made.painted(SKY), **how)
    artwork = read_laid(result, ScanOptions())
    land = shapely.union_all(artwork.shapes)
    unlike = shapely.symmetric_difference(land, SKY)
    assert shapely.buffer(unlike, -0.15).area < 0.5
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx(made.SIZE, abs=0.05)


@takes_long  # one more picture, as the others here
def test_what_is_still_to_cut_is_no_shadow():
    """A third of the block stands uncut under a shadow: all of it is land, none is taken for light."""
    result, _ = lay("sky", third_uncut(made.painted(SKY)), shadow=0.4)
    land = shapely.union_all(read_laid(result, ScanOptions()).shapes)
    left = shapely.box(1, 1, made.SIZE[0] / 3 - 1, made.SIZE[1] - 1)
    assert shapely.difference(left, land).area < 1.0


def test_corners_are_found_where_cuts_run_to_the_edge():
    """Three tones: the block's, its cuts' and the table's between them."""
    cover = made.painted(shapely.difference(SKY, shapely.box(0, 30, 120, 36)))
    seen, true = made.photographed(cover, margin=0.0, fill=0.5, table=(150, 120, 80))
    there = ProjectiveTransform(true)(PLANS["sky"].corners)
    result = quads(np.asarray(Image.fromarray(seen).convert("L")))
    assert min(np.linalg.norm(each[:, None] - there, axis=2).min(axis=1).max() for each in result) < 6


@pytest.mark.parametrize(("table", "at", "sure"), [
    ((225, 222, 215), (240, 200), True), ((150, 120, 80), (475, 30), False), ((50, 46, 42), (475, 30), False),
])  # fmt: skip
def test_corners_that_glare_misplaces_are_asked_for(table, at, sure):
    """A side was laid along the glare, and 3,521 mm² read for 2,536. By the homography put in."""
    seen, true = made.photographed(
        made.painted(KEY), margin=0.0, size=(500, 380), mirrored=True, table=table, paper=(176, 160, 140)
    )
    y, x = np.indices(seen.shape[:2])
    glare = 0.9 * np.exp(-(((x - at[0]) / 55) ** 2) - ((y - at[1]) / 75) ** 2)[..., None]
    picture = ScanPicture(Image.fromarray((seen + (255 - seen) * glare).astype(np.uint8)), None)
    if sure:
        off = block_corners(picture)[:, None] - ProjectiveTransform(true)(PLANS["sky"].corners)
        assert np.linalg.norm(off, axis=2).min(axis=1).max() < 0.5
    else:
        with pytest.raises(InputError, match="is not sure of the block's corners"):
            block_corners(picture)


@pytest.mark.parametrize(("light", "words"), [
    (1.3, r"finds no block .*; it glares about x (\d+), y (\d+) pixels"), (0.0, r"finds no block .* around it$"),
])  # fmt: skip
def test_where_it_glares_is_told_with_what_helps(light, words):
    """By the place that the glare was put at; a table without a block glares nowhere."""
    y, x = np.indices((380, 500))
    glare = np.clip(light * np.exp(-(((x - 100) / 110) ** 2) - ((y - 130) / 90) ** 2), 0, 1)
    with pytest.raises(InputError, match=words) as raised:
        block_corners(ScanPicture(Image.fromarray((120 + 135 * glare).astype(np.uint8)), None))
    at = re.search(r"x (\d+), y (\d+)", str(raised.value))
    assert (at is not None) is bool(light)
    assert ("lit from the side" in raised.value.hint) is bool(light)
    if at is not None:
        assert [int(group) for group in at.groups()] == pytest.approx((100, 130), abs=3)


def sent(picture, form, **settings):
    """The same picture as a file of that form holds it."""
    file = io.BytesIO()
    picture.save(file, form, **settings)
    return Image.open(file)


def of_proof():
    """A corner of a print that the gallery shows: sky, snow and a bough."""
    with Image.open(GALLERY / "ferry-landing" / "winter.png") as proof:
        return proof.convert("RGB").crop((0, 0, 320, 240))


def noisy(tones, sigma):
    strewn = np.asarray(tones) + np.random.default_rng(1).normal(0, sigma, np.shape(tones))
    return Image.fromarray(np.clip(np.rint(strewn), 0, 255).astype(np.uint8))


def photographed(noise):
    """A sheet with discs and a lamp's glare, by a camera whose blacks are crushed and whose whites are clipped."""
    y, x = np.indices((380, 500))
    sheet = np.where(np.hypot(x % 60 - 30, y % 60 - 30) < 14, -40, 120)
    glare = 400 * np.exp(-(((x - 100) / 110) ** 2) - ((y - 130) / 90) ** 2)
    return noisy(sheet + glare, noise)


def two_toned(*, grey_rows=0):
    """A scan of black and white alone, with a grey strip under it."""
    tones = np.where(np.asarray(photographed(20.0)) > 128, 255, 0)
    tones[len(tones) - grey_rows :] = 128
    return Image.fromarray(tones.astype(np.uint8))


@pytest.mark.parametrize(
    ("picture", "drawn", "glares"),
    [
        (of_proof, True, True),  # its snow is white
        (lambda: sent(of_proof(), "JPEG", quality=75), True, None),
        (lambda: noisy(of_proof(), 1.0), False, None),
        (lambda: photographed(2.0), False, True),
        (two_toned, False, True),
        (lambda: two_toned(grey_rows=8), False, True),
        (lambda: two_toned(grey_rows=40), True, True),
    ],
)
def test_a_picture_that_looks_drawn_is_told_beside_what_helps_a_photograph(picture, drawn, glares):
    with pytest.raises(InputError) as raised:
        block_corners(ScanPicture(picture(), None))
    assert ("if a program drew it" in raised.value.hint) == ("width_mm 200" in raised.value.hint) == drawn
    assert raised.value.hint.startswith("mark its corners")
    assert raised.value.fields[0] == "corners"
    if glares is not None:
        assert ("it glares about" in str(raised.value)) == ("lit from the side" in raised.value.hint) == glares


@pytest.mark.parametrize(
    ("gone", "how"),
    few([
        (shapely.box(0, 0, 120, 35), {"shadow": 0.4}),
        (shapely.box(0, 0, 48, 80), {"mirrored": True, "table": (150, 120, 80)}),
    ], 1),
)  # fmt: skip
def test_land_that_is_cut_away_over_a_large_area_is_not_taken_for_light(gone, how):
    """Two fifths of the block are cut that should stand: all of it is told, also where a shadow lies beside it."""
    result, _ = lay("sky", made.painted(SKY.difference(gone)), **how)
    land = shapely.union_all(read_laid(result, ScanOptions()).shapes)
    unlike = shapely.symmetric_difference(land, SKY.difference(gone))
    assert shapely.buffer(unlike, -0.3).area < 1.0


@takes_long  # test_files.py says it of photographs of all sizes
def test_a_large_photograph_is_decoded_no_finer_than_it_is_of_use(tmp_path):
    """Twice as many pixels across as the plan has at 300 dpi: half of them are read, corners stay the file's."""
    seen, true = made.photographed(made.painted(SKY), size=(1000, 760))
    Image.fromarray(seen).resize((3000, 2280), Image.Resampling.BICUBIC).save(tmp_path / "large.jpg", quality=90)
    true = np.diag([3, 3, 1]) @ true
    there = ProjectiveTransform(true)(PLANS["sky"].corners)
    _, result = lay_file(tmp_path / "large.jpg", {"sky": PLANS["sky"]}, corners=tuple(map(tuple, there)))
    assert (result.part.width, result.part.file_px) == (1500, (3000, 2280))
    assert made.off_mm(result.place, true).max() < 0.03
    assert marked_off_mm(result, tuple(map(tuple, there))) < 0.05
    unlike = shapely.symmetric_difference(shapely.union_all(read_laid(result, ScanOptions()).shapes), SKY)
    assert shapely.buffer(unlike, -0.1).area < 0.5


@takes_long
def test_a_small_print_in_a_large_photograph_is_looked_at_in_all_its_pixels(tmp_path):
    seen, true = made.photographed(made.painted(SKY), fill=0.3, table=(150, 120, 80), size=(1000, 760))
    Image.fromarray(seen).resize((3000, 2280), Image.Resampling.BICUBIC).save(tmp_path / "small.jpg", quality=90)
    _, result = lay_file(tmp_path / "small.jpg", {"sky": PLANS["sky"]})
    assert result.part.smaller == 1
    assert made.off_mm(result.place, np.diag([3, 3, 1]) @ true).max() < 0.1


@pytest.mark.parametrize("seed", few([5, 6], 1))
def test_of_a_sparse_block_it_is_said_how_far_off_its_corners_may_be(seed):
    """A dozen blots, few near the corners, no side of the face seen: taken, with the bound; rough edges move none."""
    blots = shapely.union(made.blots(seed, 16), shapely.box(70, 0, 78, 45))
    land = shapely.intersection(blots, shapely.buffer(made.FACE, -3.0))
    seen, true = made.photographed(made.cut_by_hand(made.painted(land), seed=1))
    result = laid_on(plan_of(land, made.SIZE), ScanPicture(Image.fromarray(seen), None))
    assert not result.fit.fault
    off = made.off_mm(result.place, true).max()
    assert off < result.fit.corners_mm < 4 * off
    assert result.fit.off_mm < 0.15 < result.fit.rough_mm
    assert "towards the face's corners it may be" in result.fit.words


def test_of_a_block_that_is_drawn_all_over_nothing_is_said_of_corners():
    result, _ = plainly_laid()
    assert result.fit.corners_mm < 0.05
    assert "corners" not in result.fit.words


@takes_long  # one more picture, as the others here
@pytest.mark.parametrize("turn", few([183.0, 2.0], 1))
def test_of_a_nearly_symmetrical_drawing_the_right_side_is_found(turn):
    """Mirrored it is 0.8 to 0.9 alike, which was once enough to end the search there; one cut tells the sides apart."""
    half = made.blots(3, 35).intersection(shapely.box(0, 0, 60, 80))
    both = half.union(shapely.affinity.scale(half, -1, 1, origin=(60, 40)))
    land = made.FACE.difference(both.union(shapely.box(90, 50, 100, 56)))
    block = {"mirrored": True, "margin": 0.0, "table": (150, 120, 80), "fill": 0.6}
    for how in ({}, block):
        seen, true = made.photographed(made.cut_by_hand(made.painted(land)), turn=turn, **how)
        result = laid_on(plan_of(land, made.SIZE), ScanPicture(Image.fromarray(seen), None))
        assert result.mirrored is how.get("mirrored", False)
        assert made.off_mm(result.place, true).max() < 0.3


@takes_long  # python -m tests.robustness on-plan
def test_what_is_alike_enough_to_end_the_search_is_a_right_place_and_no_wrong_one():
    """Both sides of 0.5: 30 of 33 right pictures were found above it, and 77 wrong ones at 0.06 to 0.32."""
    seen, _ = made.photographed(made.cut_by_hand(made.painted(SKY)), table=(150, 120, 80))
    right, wrong = (_most_alike(PLANS["sky"], each) for each in (seen, data.brick()))
    assert right > 0.6
    assert wrong < 0.4


def _most_alike(plan, picture):
    tone = ImagePyramid(np.float32(np.asarray(Image.fromarray(picture).convert("L"))) / 255)
    return alike_places(plan, tone, quads(np.uint8(tone.steps[0] * 255)), None)[0][0]


@takes_long  # one more picture, as the others here
@pytest.mark.parametrize("key_prints", [True, False])
def test_a_print_and_its_tone_alone_have_one_outline_and_are_told_apart(tmp_path, key_prints):
    """All cells agree with either plan; the print was compared as its tone block, and all of its sky was uncut."""
    lands = {"tone": SKY, "key": shapely.intersection(shapely.buffer(SKY, -1.2), shapely.box(20, 10, 60, 70))}
    coats = {"tone": Ink(colour=(106, 135, 153), opacity=0.3), "key": Ink(colour=(31, 43, 61), opacity=0.7)}
    light = overprinted((251, 250, 246), [(coats[name], made.painted(lands[name])) for name in lands][: 1 + key_prints])
    Image.fromarray(np.round(screen(light)).astype(np.uint8)).save(tmp_path / "seen.png", dpi=(152.4, 152.4))
    plans = {"tone": plan_of(SKY, made.SIZE), "all": plan_of_inks(lands, coats, (251, 250, 246), made.SIZE)}
    name, _ = lay_file(tmp_path / "seen.png", plans)
    assert name == ("all" if key_prints else "tone")


@pytest.mark.parametrize("printed", [("sky", "tone", "key"), ("tone",)])
def test_a_print_with_snow_that_no_plan_has_is_not_taken_for_its_tone(printed):
    """Its sky fades out, too: it fits the tone's plan better by a little, and 11,218 mm² were still to cut."""
    tone = made.key()
    lands = {
        "sky": made.FACE,
        "tone": tone,
        "key": shapely.intersection(tone.buffer(-1.2), shapely.box(20, 10, 60, 70)),
    }
    inks = [((169, 191, 203), 0.2), ((106, 135, 153), 0.3), ((31, 43, 61), 0.7)]
    coats = {name: Ink(colour=colour, opacity=by) for name, (colour, by) in zip(lands, inks, strict=True)}
    cover = {name: made.painted(lands[name].difference(made.blots(5, 40, largest=2.0)), 4.0) for name in printed}
    if "sky" in cover:
        cover["sky"] *= np.linspace(1, 0.1, len(cover["sky"]))[:, None]
    light = overprinted((251, 250, 246), [(coats[name], each) for name, each in cover.items()])
    seen = ScanPicture(Image.fromarray(np.uint8(np.clip(screen(light), 0, 255))), None)
    whole = better_fit(laid_on(PLANS["key"], seen), plan_of_inks(lands, coats, (251, 250, 246), made.SIZE))
    assert (whole is not None) is ("sky" in printed)


@pytest.mark.parametrize("mirrored", few([True, False], 1))
def test_a_block_is_told_from_another_that_holds_it_and_from_the_print(mirrored):
    """Where it lies is known: what is tried is whether the right one is told there. A print is never mirrored."""
    lands = {"tone": KEY, "key": KEY.intersection(shapely.box(60, 0, 90, 80))}
    coats = {"tone": Ink(colour=(106, 135, 153), opacity=0.3), "key": Ink(colour=(31, 43, 61), opacity=0.7)}
    plans = {name: plan_of(land, made.SIZE) for name, land in lands.items()}
    plans["print"] = plan_of_inks(lands, coats, (251, 250, 246), made.SIZE)
    report = {}
    for shown, names in {"tone": ("key", "print"), "key": ("key",)}.items():
        seen, place = made.photographed(made.painted(lands[shown], 3.0), mirrored=mirrored, size=(480, 365), px=3.0)
        for name in names:
            report[shown, name] = at(plans[name], ScanPicture(Image.fromarray(seen), None), place)
    rather = {names: shown_alone(each, lands) for names, each in report.items()}
    assert rather == {("tone", "key"): "tone", ("tone", "print"): "tone", ("key", "key"): None}
    faults = {name for (_, name), one in report.items() if one.fault}
    assert faults == ({"print"} if mirrored else set())


@pytest.mark.parametrize(("weight", "is_print", "rather"), [
    (1.4, False, None), (1.6, False, "tone"), (1.1, True, "tone"), (0.95, True, None),
])  # fmt: skip
def test_another_block_is_told_where_it_fits_clearly_better_and_in_place_of_a_print_where_at_all(
    monkeypatch, weight, is_print, rather
):
    """Two blocks may be much alike; the bar of half as much again is our own choice."""
    fits = [SimpleNamespace(fit=SimpleNamespace(weight=weight)), None]
    monkeypatch.setattr(plan_scan, "_better_fits", lambda *_: fits)
    own = SimpleNamespace(fit=SimpleNamespace(weight=1.0), plan=SimpleNamespace(is_print=is_print, size_mm=made.SIZE))
    assert shown_alone(own, {"tone": KEY, "key": KEY}) == rather


def at(plan, picture, place):
    """A picture on a plan at a known place."""
    lens = Lens.none((picture.width, picture.height))
    fit = judged(plan, ImagePyramid(ranged(drawn_tone(picture.image))), place)
    return Laid(
        place=place, lens=lens, fit=fit, mirrored=is_mirrored(place, plan), plan=plan,
        pictured_px=(picture.width, picture.height), part=picture, part_place=place, part_lens=lens, px_per_mm=6.0,
    )  # fmt: skip


@pytest.mark.parametrize(("drawn", "box"), [(False, None), (True, (40, 30, 60, 50))])
def test_what_is_small_in_a_picture_is_boxed_and_an_even_one_has_nothing_to_box(drawn, box) -> None:
    tone = np.full((300, 400), 200, dtype=np.uint8)
    if drawn:
        tone[30:50, 40:60] = 20
    came = _busy_box(ScanPicture(Image.fromarray(tone), None))
    assert (came is None) == (box is None)
    if came is not None and box is not None:
        assert all(a <= b for a, b in zip(came[:2], box[:2], strict=True))
        assert all(a >= b for a, b in zip(came[2:], box[2:], strict=True))
