"""A finished print whose snow is not the plan's, laid by where its inks meet; where it lies is how it was drawn."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import shapely
from PIL import Image

from carvegen.artwork.on_plan import PoorFitError, judged, laid_by_inks, other_snow, plan_of_inks
from carvegen.artwork.on_plan.laid_picture import Laid
from carvegen.artwork.on_plan.lens import Lens
from carvegen.artwork.on_plan.plan import ImagePyramid
from carvegen.artwork.on_plan.plan_place import refined
from carvegen.artwork.scan.pixels import ScanPicture
from carvegen.base.colour import Ink, overprinted, screen
from carvegen.delivery import laid_on_plan
from carvegen.delivery.laid_on_plan import Planned
from tests.artwork.scan import on_plan_pictures as made
from tests.strategies import few

PAPER = (251, 250, 246)
COATS = {"sky": Ink(colour=(169, 191, 203), opacity=0.2), "key": Ink(colour=(31, 43, 61), opacity=0.7)}
PX = 4.0


def _drawn(posts: tuple[int, ...]) -> shapely.Geometry:
    """Posts of a jetty, two rails and boards with a lamp: the key; the sky is all about it."""
    parts = [shapely.box(x, 4, x + 4 + x % 3, 40 + x % 17) for x in posts]
    parts += [shapely.Point(x + 2, 62 + x % 9).buffer(3.5, quad_segs=4) for x in posts]
    return shapely.union_all([*parts, shapely.box(6, 24, 114, 26.5), shapely.box(6, 32, 114, 33.5)])


def _printed(posts: tuple[int, ...], seed: int, count: int) -> dict[str, shapely.Geometry]:
    key, snow = _drawn(posts), made.blots(seed, count, largest=2.4)
    return {"sky": made.FACE.difference(key).difference(snow), "key": key.difference(snow)}


def _plan(lands: dict[str, shapely.Geometry]):
    return plan_of_inks(lands, COATS, PAPER, made.SIZE)


def _laid(plan, lands: dict[str, shapely.Geometry], off_mm: float):
    """A scan, 4 px a mm, turned a little, and a place near the true one; the true one."""
    cover = [(COATS[name], made.painted(land, PX)) for name, land in lands.items()]
    light = screen(overprinted(PAPER, cover)) + 2 * np.random.default_rng(1).normal(size=(*cover[0][1].shape, 3))
    picture = ScanPicture(Image.fromarray(np.uint8(np.clip(light, 0, 255))), None)
    true = np.diag([PX, PX, 1.0])
    place = true @ np.array([[1, off_mm / 80, off_mm], [-off_mm / 80, 1, 0], [0, 0, 1]])
    lens = Lens.none((picture.width, picture.height))
    fit = judged(plan, ImagePyramid(np.float32(np.asarray(picture.image.convert("L"))) / 255), place)
    return Laid(
        place=place, lens=lens, fit=fit, mirrored=False, plan=plan, pictured_px=(picture.width, picture.height),
        part=picture, part_place=place, part_lens=lens, px_per_mm=PX,
    ), true  # fmt: skip


POSTS = (10, 25, 44, 61, 83, 99)


def test_a_print_with_other_and_heavier_snow_lies_where_its_inks_meet() -> None:
    plan = _plan(_printed(POSTS, 1, 90))
    near, true = _laid(plan, _printed(POSTS, 2, 260), 0.8)  # so far off that one round is not enough
    seen = ImagePyramid(np.float32(np.asarray(near.part.image.convert("L"))) / 255)
    assert judged(plan, seen, refined(plan, seen, near.place)).fault, "as it was judged before: refused, or its tone"
    result = laid_by_inks(near, plan, COATS, PAPER)
    assert result is not None
    off = made.off_mm(result.place, true)
    assert np.median(off) < 0.05
    assert off.max() < 0.1


def test_a_place_that_is_nearly_all_bare_says_nothing_of_where_a_print_lies(monkeypatch) -> None:
    """A drift over both: what it is filled with there is made up from its rim. Its cells are 12 mm wide."""
    monkeypatch.setattr(other_snow, "_ROUNDS", 1)  # it lies right from the first
    lands, drift = _printed(POSTS, 1, 20), shapely.Point(60, 40).buffer(17)
    lands = {name: land.difference(drift) for name, land in lands.items()}
    plan = _plan(lands)
    result = laid_by_inks(_laid(plan, lands, 0.0)[0], plan, COATS, PAPER)
    assert result is not None
    inside = np.hypot(*(result.fit.middle - (60, 40)).T) < 9
    assert inside.any()
    assert not result.fit.drawn[inside].any()


@cache
def _print_laid():
    """A print, and a picture of it where it lies."""
    lands = _printed(POSTS, 1, 20)
    return lands, _laid(_plan(lands), lands, 0.0)[0]


@pytest.mark.parametrize("refused", [True, False])
def test_a_picture_that_fits_no_plan_is_tried_by_its_inks(monkeypatch, tmp_path, refused) -> None:
    """Refused, or taken for one block of the print whose fit in all inks is no better."""
    lands, near = _print_laid()
    planned = Planned(lands=lands, size_mm=made.SIZE, coats=COATS, paper=PAPER, tells_inks=True)

    def laid(path, *_):
        if refused:
            raise PoorFitError(near, path, "key", ["key", "sky"])
        return "key", near

    monkeypatch.setattr(laid_on_plan, "_laid", laid)
    monkeypatch.setattr("carvegen.artwork.on_plan.better_fit", lambda *_: None)
    monkeypatch.setattr("carvegen.artwork.on_plan.laid_by_inks", lambda *_: near)
    monkeypatch.setattr("carvegen.artwork.on_plan.board_sides", lambda _: None)
    settings = {"corners": None, "dpi": None, "view": None, "coats": None}
    name, result, notes = laid_on_plan.laid_file(tmp_path / "a.png", planned, tmp_path / "fit.png", settings)
    assert (name, result) == (laid_on_plan.PRINT, near)
    assert "laid by where its inks meet" in notes[0]
    assert not (tmp_path / "fit.png").exists()


@pytest.mark.parametrize("shown", few(["another drawing", "a proof of one block", "nothing but sky"], 1))
def test_what_is_no_such_print_is_not_laid(monkeypatch, shown) -> None:
    """Another drawing in the same inks; the key alone; one ink all over, which says nothing of where it lies."""
    monkeypatch.setattr(other_snow, "_ROUNDS", 1)  # the place is the true one from the first
    plan = _plan(_printed(POSTS, 1, 90))
    lands = _printed((17, 35, 53, 72, 91, 106) if shown == "another drawing" else POSTS, 2, 90)
    if shown == "a proof of one block":
        lands["sky"] = shapely.Polygon()
    if shown == "nothing but sky":
        lands = {"sky": made.FACE, "key": shapely.Polygon()}
    assert laid_by_inks(_laid(plan, lands, 0.0)[0], plan, COATS, PAPER) is None
