"""What lies over a face or glares is no cut, and pale inks that only colour tells from the paper."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from PIL import Image
from scipy import ndimage

from carvegen.artwork.on_plan import PoorFitError, covered, laid_on, lay_file, plan_of, plan_place, read_laid
from carvegen.artwork.on_plan.tones import PARTING, parted, surfaces
from carvegen.artwork.scan import ScanOptions
from carvegen.artwork.scan.pixels import ScanPicture
from tests.artwork.scan import on_plan_pictures as made
from tests.strategies import MANY, few, takes_long

SKY = made.sky()
PLAN = plan_of(SKY, made.SIZE)
BLUISH = {"ink": (160, 180, 190), "paper": (200, 172, 140)}  #: as light as the paper


def _photographed(*, finger=False, glare=False, **how):
    seen, true = made.photographed(made.painted(SKY), table=(90, 80, 70), **how)
    y, x = _places(seen)
    if finger:
        seen[((x - 500) / 60) ** 2 + ((y - 640) / 200) ** 2 < 1] = (214, 160, 132)
    if glare:
        streak = 0.85 * np.exp(-(((x / 2 + y - 620) / 30) ** 2))[..., None]
        seen = (seen + (255 - seen) * streak).astype(np.uint8)
    return ScanPicture(Image.fromarray(seen), None), true


def _places(seen):
    """Rows and columns in thousandths of the picture's width."""
    return np.mgrid[0 : seen.shape[0], 0 : seen.shape[1]] * (1000 / seen.shape[1])


def _laid(seen, true, plan=PLAN):
    """A picture laid from where it lies: that this is found is tried in `test_on_plan.py`, and of a hand below."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(plan_place, "first_look", lambda *_: [true])
        return laid_on(plan, ScanPicture(Image.fromarray(seen), None))


def _unlike(expected):
    """What a picture shows otherwise than the plan, wider than 0.6 mm, and not under what covers it; mm²."""
    land = shapely.union_all(read_laid(expected, ScanOptions()).shapes)
    unlike = shapely.difference(shapely.symmetric_difference(land, SKY), covered(expected))
    return shapely.buffer(unlike, -0.3).area


@takes_long  # a hand and a glove below; cli/test_first_proof.py has a finger
@pytest.mark.parametrize("how", few([
    {"glare": True, "ink": (70, 96, 120), "paper": (196, 160, 120), "margin": 0.0, "mirrored": True}, {"finger": True},
], 1))  # fmt: skip
def test_a_finger_and_glare_are_no_cuts(how):
    picture, true = _photographed(**how)
    result = _laid(np.array(picture.image), true)
    assert not result.fit.fault
    assert 20 < covered(result).area < 0.25 * made.FACE.area
    assert _unlike(result) < 0.5


@pytest.mark.parametrize(("share", "colour"), few([
    (0.15, (128, 128, 128)), (0.4, (214, 160, 132)), (0.25, (214, 160, 132)), (0.4, (128, 128, 128)),
], 1))  # fmt: skip
def test_a_hand_or_a_grey_sheet_over_much_of_a_face_is_no_cut(share, colour):
    """Over more than a fifth it was told as cut; and a grey thing, however small."""
    picture, true = _photographed()
    seen = np.array(picture.image)
    y, x = _places(seen)
    seen[x > 1000 * (0.93 - 0.95 * share) + 20 * np.sin(y / 60)] = colour
    result = laid_on(PLAN, ScanPicture(Image.fromarray(seen), None))
    assert not result.fit.fault
    assert made.off_mm(result.place, true).max() < 0.6
    assert covered(result).area == pytest.approx((1.2 * share - 0.06) * made.FACE.area, rel=0.2)
    assert _unlike(result) < 0.5


@takes_long  # further things over a block, as the others here
@pytest.mark.parametrize("colour", few([(190, 192, 194), (238, 238, 236)], 1))
def test_a_ruler_or_a_sheet_of_paper_on_pale_bare_wood_is_no_cut(colour):
    """As light as cut wood or lighter, and hardly greyer: all under it was told as cut."""
    picture, true = _photographed(margin=0.0, mirrored=True, ink=(196, 172, 140), paper=(222, 204, 178))
    seen = np.array(picture.image)
    y, x = _places(seen)
    seen[np.abs(y - 300 - 0.1 * (x - 500)) < 45] = colour
    result = _laid(seen, true)
    assert not result.fit.fault
    assert 1200 < covered(result).area < 2600
    assert _unlike(result) < 0.5


@pytest.mark.parametrize(("ink", "cut", "at", "glove", "most_mm2"), [
    ((40, 50, 70), (196, 160, 120), (760, 560), (30, 30, 34), 0.5),
    *([
        ((120, 122, 120), (150, 152, 150), (760, 560), (90, 92, 94), 35),
        ((40, 50, 70), (196, 160, 120), (800, 560), (128, 128, 128), 0.5),
        ((24, 24, 26), (150, 152, 150), (800, 560), (90, 92, 94), 0.5),
        ((24, 24, 26), (150, 152, 150), (800, 560), (170, 170, 168), 0.5),
    ] if MANY else []),
])  # fmt: skip
def test_a_glove_on_an_inked_block_or_on_grey_lino_is_no_land(ink, cut, at, glove, most_mm2):
    """Darker than land: some 110 mm² under it were told as still to cut. On grey lino its rim still is.

    As light as what is cut, 104 mm² were told as cut where the plan draws nothing.
    """
    picture, true = _photographed(margin=0.0, mirrored=True, ink=ink, paper=cut)
    seen = np.array(picture.image)
    y, x = _places(seen)
    seen[((x - at[0]) / 130) ** 2 + ((y - at[1]) / 150) ** 2 < 1] = glove
    result = _laid(seen, true)
    assert not result.fit.fault
    assert 900 < covered(result).area < 1700
    assert _unlike(result) < most_mm2


@pytest.mark.parametrize("shadow", few([0.5, 0.0], 1))
def test_what_is_not_cut_yet_is_not_covered(shadow):
    seen, true = made.photographed(made.painted(shapely.union(SKY, shapely.box(0, 0, 40, 80))), shadow=shadow)
    assert covered(_laid(seen, true)).area == 0


@takes_long  # further things over a block, as the others here
@pytest.mark.parametrize("tone", few([(150, 150, 150), (201, 143, 90)], 1))
def test_another_ink_under_much_of_the_drawing_does_not_cover_it(tone):
    """The drawing shows over it; grey as the ink may be."""
    key = made.key()
    (cover, true), (under, _) = (made.photographed(made.painted(land), ink=(0, 0, 0), paper=(255, 255, 255))
                                 for land in (key, shapely.box(0, 0, 120, 40)))  # fmt: skip
    cover, under = cover / 255, under / 255
    seen = (np.array(tone) * (1 - under) + np.array((240, 236, 226)) * under) * cover + np.array((31, 43, 61)) * (
        1 - cover
    )
    result = _laid(seen.astype(np.uint8), true, plan_of(key, made.SIZE))
    assert not result.fit.fault
    assert covered(result).area == 0


@pytest.mark.parametrize("how", few([{"shadow": 0.5}, {}], 1))
def test_a_plain_picture_and_a_shadow_cover_nothing(how):
    picture, true = _photographed(**how)
    assert covered(_laid(np.array(picture.image), true)).area == 0


def test_an_ink_as_light_as_the_paper_is_told_by_its_colour(tmp_path):
    """Beside the table's edge it counts for nothing at first; and in blue the ink is lighter than the paper."""
    picture, true = _photographed(**BLUISH, size=(400, 304))
    picture.image.save(tmp_path / "pale.png")
    _, result = lay_file(tmp_path / "pale.png", {"sky": PLAN})
    assert made.off_mm(result.place, true).max() < 0.1
    assert _unlike(result) < 0.5


@takes_long  # by the command: tests/cli/test_first_proof.py
@pytest.mark.parametrize("how", few([
    {"ink": (90, 70, 50), "paper": (176, 138, 96), "mirrored": True, "table": (60, 60, 60), "margin": 0.0}, {},
    {"ink": (205, 205, 205), "paper": (228, 228, 228)},
], 1))  # fmt: skip
def test_a_negative_is_refused_as_one(tmp_path, how):
    """It was read as the plan, and every cut told as standing: what is clearly the darker stands."""
    seen, _ = made.photographed(made.painted(SKY), **how)
    Image.fromarray(255 - seen).save(tmp_path / "negative.png")
    with pytest.raises(PoorFitError, match="does not fit the plan: it shows the plan's negative") as raised:
        lay_file(tmp_path / "negative.png", {"sky": PLAN})
    assert "as it was taken" in raised.value.hint


@takes_long  # further things over a block, as the others here
def test_a_block_hardly_cut_yet_is_not_read_as_its_negative():
    """Most of what is to be cut still stands, in the shade: darker than most land."""
    plan = plan_of(SKY.difference(shapely.box(60, 8, 116, 74)), made.SIZE)
    begun = SKY.union(shapely.box(78, 12, 112, 70))
    seen, _ = made.photographed(made.painted(begun), shadow=0.4)
    result = laid_on(plan, ScanPicture(Image.fromarray(seen), None))
    assert not result.fit.fault
    land = shapely.union_all(read_laid(result, ScanOptions()).shapes)
    assert shapely.buffer(shapely.symmetric_difference(land, begun), -0.3).area < 0.5


def test_land_is_parted_from_cut_where_most_of_what_is_to_be_cut_still_stands():
    """The middle between both lay at the tone of land: a block half cut broke into specks. By the tones put in."""
    plan = plan_of(made.key(), made.SIZE)
    stands = (plan.tone < 0.5) | (np.arange(plan.tone.shape[1]) > 200)
    tone = np.where(stands, 120, 250) * np.linspace(1, 0.9, plan.tone.shape[1])
    assert np.median(tone[plan.tone > 0.98]) < 120
    result = parted(tone.astype(np.float32), plan)
    assert result[stands].max() < 0.8 * PARTING
    assert result[~stands].min() > 1.25 * PARTING


@pytest.mark.parametrize("coarse_px", [6, 20])
def test_the_stains_of_a_board_that_nobody_has_cut_part_nothing(coarse_px):
    """They are as often darker beside land as lighter: a normal field of 10 %, the same either way."""
    plan = plan_of(made.key(), made.SIZE)
    for seed in range(3):
        noise = ndimage.gaussian_filter(np.random.default_rng(seed).standard_normal(plan.tone.shape), coarse_px)
        assert surfaces((90 * np.exp(0.1 * noise / noise.std())).astype(np.float32), plan) is None


def test_of_several_plans_a_picture_that_fits_none_is_told_by_all_names(tmp_path):
    Image.fromarray(np.random.default_rng(1).integers(0, 256, (150, 200), np.uint8)).save(tmp_path / "pale.png")
    with pytest.raises(PoorFitError, match=r"does not fit any plan \(sky, key\); nearest comes (sky|key): "):
        lay_file(tmp_path / "pale.png", {"sky": PLAN, "key": plan_of(made.key(), made.SIZE)})
