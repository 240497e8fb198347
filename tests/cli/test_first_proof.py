"""A first proof against its plan from the command line: laid by the drawing, told in words, ringed, drawn to cut."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pypdf
import pytest
import shapely
from PIL import Image, ImageDraw, ImageOps
from scipy.ndimage import gaussian_filter

from carvegen.artwork import on_plan, read
from carvegen.artwork.on_plan import plan_file, plan_place
from carvegen.base.colour import Ink, overprinted, rgb, screen
from carvegen.base.errors import InputError
from carvegen.blocks.comparison import DifferenceKind, difference, in_order, print_colours, spots
from carvegen.blocks.from_drawing import LEFT_OUT
from carvegen.delivery import first_proof, laid_on_plan
from carvegen.delivery.laid_on_plan import Planned
from tests.artwork.scan import on_plan_pictures as made
from tests.cli.running import run
from tests.strategies import few, takes_long

#: Blocks as in the tests of `artwork/scan`, on half the face: a command's work grows with it.
SIZE = (90.0, 60.0)
FACE, POST = shapely.box(0, 0, *SIZE), shapely.box(52, 0, 60, 34)


def sky(seed=1):
    """A block with cut snow and a post that is cut, too."""
    return FACE.difference(shapely.union(made.blots(seed, 40, SIZE), POST))


PLAN = sky()
KEY = FACE.intersection(shapely.union_all([made.blots(2, 40, SIZE), POST, shapely.box(8, 15, 82, 17.5)]))
TO_CUT, UNPLANNED = shapely.box(15, 45, 21, 51), shapely.box(76, 45, 80, 50)
#: What is planned: a square more than is cut; what was cut: a square that is in no plan.
PLANNED = shapely.difference(PLAN, TO_CUT)
ROOM = UNPLANNED.buffer(3)
PLANNED = shapely.union(PLANNED, ROOM)
MADE = shapely.difference(shapely.union(PLANNED, TO_CUT), UNPLANNED)


@pytest.fixture
def plan(tmp_path):
    folder = tmp_path / "built"
    (folder / "lands").mkdir(parents=True)
    (folder / "lands" / "sky.wkb").write_bytes(shapely.to_wkb(PLANNED))
    (folder / "lands" / "key.wkb").write_bytes(shapely.to_wkb(KEY))
    return folder


@pytest.fixture(autouse=True, scope="module")
def laid_once():
    """The same picture is laid on the same plans once, whichever command asks: how is tried in `artwork/scan`."""
    real, result = plan_file._best, {}

    def best(plans, picture, corners, dpi, *, either_tone):
        drawn = [(name, each.px_per_mm, each.tone.shape, each.tone.tobytes()) for name, each in plans.items()]
        seen = (picture.image.size, picture.image.tobytes(), picture.dpi, picture.smaller)
        key = (*drawn, *seen, repr(corners), dpi, either_tone)
        if key not in result:
            result[key] = real(plans, picture, corners, dpi, either_tone=either_tone)
        return result[key]

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(plan_file, "_best", best)
        yield


def photographed(path, land, *, px=4.0, **how):
    """With fewer dots than the pictures of on_plan's own tests: `px` to the millimetre."""
    data, LAST["place"] = _photograph(shapely.to_wkb(land), px, tuple(how.items()))
    path.write_bytes(data)
    return path


@cache
def _photograph(land: bytes, px: float, how: tuple) -> tuple[bytes, np.ndarray]:
    size = round(114 * px), round(86.7 * px)
    seen, place = made.photographed(made.painted(shapely.from_wkb(land), px, SIZE), px=px, size=size, **dict(how))
    out = io.BytesIO()
    Image.fromarray(seen).save(out, "JPEG", quality=92)
    return out.getvalue(), place


#: Where the plan lies in the picture that was taken last.
LAST: dict[str, np.ndarray] = {}


@pytest.fixture
def near(monkeypatch):
    """Nobody looks all over the picture for the plan: other tests do, here and in `artwork/scan`."""
    monkeypatch.setattr(plan_place, "first_look", lambda *_: [LAST["place"]])


not_sought = pytest.mark.usefixtures("near")


def test_what_can_still_be_done_comes_first(own_folder, plan, capsys):
    """The block is told among others, its side too; places are where they were planted; picture and sheet are there."""
    photo = photographed(own_folder / "block.jpg", MADE, mirrored=True, turn=12.0, table=(90, 60, 40))
    ran = run(capsys, "compare", plan, photo, "--sheet", "cut.pdf", "--json")
    report = json.loads(ran.out)
    assert ran.code == 1, ran.err
    assert report["fit"]["mirrored"]
    (block,) = report["blocks"]
    assert block["block"] == "sky"
    cut, gone = block["places"]
    assert (cut["kind"], gone["kind"]) == ("still to cut", "cut where the plan cuts nothing")
    assert cut["at_mm"] == pytest.approx([18, 48], abs=0.4)
    assert gone["at_mm"] == pytest.approx([78, 47.5], abs=0.6)
    assert (cut["area_mm2"], gone["area_mm2"]) == pytest.approx((36, 20), rel=0.08)
    assert cut["width_mm"] == pytest.approx(6, abs=0.3)
    with Image.open(own_folder / "block-on-plan.png") as picture:
        scale = picture.width / SIZE[0]
        teal = picture.convert("RGB").getpixel((round(18 * scale), round((SIZE[1] - 48) * scale)))
        ochre = picture.convert("RGB").getpixel((round(78 * scale), round((SIZE[1] - 47.5) * scale)))
    assert teal[2] > teal[0] + 20
    assert ochre[0] > ochre[2] + 40
    text = "".join(page.extract_text() for page in pypdf.PdfReader(own_folder / "cut.pdf").pages)
    assert "still to cut" in text
    assert "1 places" not in text


@takes_long  # a whole command once more; how a picture is laid: tests/artwork/scan
@not_sought
def test_words_for_the_hand(own_folder, plan, capsys):
    ran = run(capsys, "compare", plan, photographed(own_folder / "proof.jpg", MADE), "--block", "sky")
    lines = ran.out.splitlines()
    assert lines.index(next(line for line in lines if line.startswith("still to cut: 1 place,"))) < lines.index(
        next(each for each in lines if each.startswith("cut where the plan cuts nothing"))
    )
    assert sum("can't be put back" in one for one in lines) == 1
    assert lines[-1] == "Look first: proof-on-plan.png"


def test_as_planned_is_said_and_exits_with_none(own_folder, plan, capsys):
    ran = run(
        capsys, "compare", plan, photographed(own_folder / "proof.jpg", PLANNED, shadow=0.3, px=5.0), "--block", "sky"
    )
    assert ran.code == 0, ran.out
    assert "as planned, within 0.3 mm" in ran.out


@not_sought
def test_another_drawing_is_refused_with_a_picture(own_folder, plan, capsys):
    photo = photographed(own_folder / "other.jpg", sky(seed=31), px=5.0)
    ran = run(capsys, "compare", plan, photo, "--block", "sky")
    assert ran.code == 2
    assert "does not fit the plan" in ran.err
    assert "other-on-plan.png" in ran.err
    assert (own_folder / "other-on-plan.png").is_file()


@takes_long  # artwork/scan/test_covered.py, of the same hand
@not_sought
@pytest.mark.parametrize("colour", few([(214, 160, 132), (128, 128, 128)], 1))
def test_a_hand_over_more_than_a_fifth_of_the_face_is_not_told_as_cut(own_folder, plan, capsys, colour):
    """It was: cut too much by as much, cut a new block."""
    photo = photographed(own_folder / "proof.jpg", PLANNED, px=5.0)
    with Image.open(photo) as image:
        ImageDraw.Draw(image).rectangle((375, 0, 570, 433), colour)
        image.save(photo, quality=92)
    ran = run(capsys, "compare", plan, photo, "--block", "sky", "--json")
    report = json.loads(ran.out)
    assert ran.code == 0, ran.err
    assert not any(block["places"] for block in report["blocks"])
    (over,) = re.findall(
        r"something lies over (\d+) mm² of it, or glares: nothing is said of these parts", *report["notes"]
    )
    assert 0.2 * FACE.area < float(over) < 0.45 * FACE.area
    with Image.open(own_folder / "proof-on-plan.png") as picture:
        hatched = np.all(np.asarray(picture.convert("RGB")) == (194, 87, 26), axis=-1).mean()
    assert hatched * FACE.area == pytest.approx(0.25 / 2.4 * float(over), rel=0.3)


@not_sought
@pytest.mark.parametrize("command", few(["compare", "read"], 1))
def test_a_negative_is_refused(own_folder, plan, capsys, command):
    """It was said to be as planned, though every land was cut and every cut stood."""
    photo = photographed(own_folder / "proof.jpg", PLANNED, px=5.0)
    with Image.open(photo) as image:
        ImageOps.invert(image).save(own_folder / "negative.png")
    photo = own_folder / "negative.png"
    asked = ("compare", plan, photo) if command == "compare" else ("read", photo, "--onto", plan, "--out", "land.svg")
    ran = run(capsys, *asked, "--block", "sky")
    assert ran.code == 2, ran.out
    assert "it shows the plan's negative" in ran.err
    assert "red where" not in ran.err
    assert not (own_folder / "land.svg").exists()


#: A light stencil over something dark.
MASK = FACE.difference(made.blots(5, 23, SIZE))


def mask_photographed(folder, plan, stencils):
    (plan / "lands" / "mask.wkb").write_bytes(shapely.to_wkb(MASK))
    report = {"size_mm": SIZE} if stencils is None else {"size_mm": SIZE, "stencils": stencils}
    (plan / "report.json").write_text(json.dumps(report))
    return photographed(
        folder / "mask.jpg", MASK, mirrored=True, turn=9.0, margin=0.0, ink=(226, 214, 180), paper=(70, 62, 56),
        table=(70, 62, 56),
    )  # fmt: skip


@takes_long  # a whole command once more; how a picture is laid: tests/artwork/scan
@not_sought
@pytest.mark.parametrize("command", few(["compare", "read", "compare one land"], 1))
def test_a_light_stencil_over_something_dark_is_laid_on_its_plan(own_folder, plan, capsys, command):
    """It was refused as a negative, which of any other block it is."""
    photo = mask_photographed(own_folder, plan, ["mask"])
    ran = run(capsys, *{
        "compare": ("compare", plan, photo, "--block", "mask"),
        "compare one land": ("compare", plan / "lands" / "mask.wkb", photo),
        "read": ("read", photo, "--onto", plan, "--block", "mask", "--out", "land.svg"),
    }[command])  # fmt: skip
    assert ran.code == 0, ran.err + ran.out
    if command == "read":
        land = shapely.union_all(read(own_folder / "land.svg").shapes)
        assert shapely.buffer(shapely.symmetric_difference(land, MASK), -0.2).area < 0.5
    else:
        assert "as planned, within 0.3 mm" in ran.out


@not_sought
@pytest.mark.parametrize("stencils", few([None, []], 1))
def test_no_stencil_or_one_of_an_older_build_is_a_negative_which_is_said(own_folder, plan, capsys, stencils):
    """A stencil's own photograph was refused as a negative, and asked for as it was taken: which it was."""
    photo = mask_photographed(own_folder, plan, stencils)
    for asked in few([("compare", plan, photo), ("read", photo, "--onto", plan, "--out", "land.svg")], 1):
        ran = run(capsys, *asked, "--block", "mask")
        assert ran.code == 2
        assert "it shows the plan's negative" in ran.err
        assert ("if it is a stencil" in ran.err and "build the print again" in ran.err) is (stencils is None)


def test_a_land_that_was_read_from_a_photograph_stands(own_folder, plan, capsys):
    """`compare` took what it fills for cuts: all land was gone, all cuts stood. `check` says what it takes it for."""
    photo = photographed(own_folder / "block.jpg", PLANNED, mirrored=True, turn=-5.0, px=5.0)
    run(capsys, "read", photo, "--onto", plan, "--block", "sky", "--out", "land.svg")
    done = run(capsys, "compare", plan, "land.svg", "--block", "sky", "--tolerance", "0.3")
    assert (done.code, done.out) == (0, "sky: the same, within 0.3 mm\n")
    proof = run(capsys, "compare", "land.svg", photographed(own_folder / "proof.jpg", MADE, px=5.0), "--json")
    kinds = [place["kind"] for place in json.loads(proof.out)["blocks"][0]["places"]]
    assert kinds == ["still to cut", "cut where the plan cuts nothing"]
    checked = run(capsys, "check", "land.svg", "--material", "linoleum", "--cutter", "v-60")
    assert "it was read from a picture: what is dark there is taken as cut" in checked.out + checked.err


@not_sought
def test_wrong_corners_are_not_taken_in_silence(own_folder, plan, capsys):
    photo = photographed(own_folder / "proof.jpg", PLANNED, px=5.0)
    ran = run(capsys, "compare", plan, photo, "--block", "sky", "--corners", "114 85 456 85 456 320 114 320")
    assert ran.code == 0, ran.out
    assert "corners that were marked lie up to" in ran.out


@not_sought
def test_the_wrong_side_is_told(own_folder, plan, capsys):
    photo = photographed(own_folder / "block.jpg", PLANNED, mirrored=True)
    ran = run(capsys, "compare", plan, photo, "--block", "sky", "--view", "print")
    assert ran.code == 2
    assert "shows the block itself" in ran.err


def test_read_lays_a_photograph_on_a_plan(own_folder, plan, capsys):
    photo = photographed(own_folder / "block.jpg", PLANNED, mirrored=True, turn=-5.0)
    ran = run(capsys, "read", photo, "--onto", plan, "--block", "sky", "--out", "land.svg", "--json")
    report = json.loads(ran.out)
    assert report["layers"][0]["area_mm2"] == pytest.approx(PLANNED.area, rel=0.01)
    assert (report["width_mm"], report["height_mm"]) == pytest.approx(SIZE)
    assert any("shows the block itself" in note for note in report["notes"])
    assert not any("lies over" in note for note in report["notes"])
    assert read(own_folder / "land.svg").known_mm == 0.3  # of a photograph, whatever its pixels


@not_sought
def test_read_says_what_lies_over_a_block_and_takes_it_as_planned(own_folder, plan, capsys):
    """A finger over an edge of the block was read as land or as cut, without a word."""
    photo = photographed(own_folder / "block.jpg", PLANNED, px=5.0)
    with Image.open(photo) as image:
        ImageDraw.Draw(image).ellipse((255, 300, 330, 480), (214, 160, 132))
        image.save(photo, quality=92)
    ran = run(capsys, "read", photo, "--onto", plan, "--block", "sky", "--out", "land.svg")
    assert ran.code == 1, ran.err
    assert re.search(r"something lies over \d+ mm² of it, or glares: there it is as planned", ran.err)
    assert "FINDING" in read(own_folder / "land.svg").layers
    seen = read(own_folder / "land.svg", without=LEFT_OUT)
    unlike = shapely.symmetric_difference(shapely.union_all(seen.shapes), PLANNED)
    assert shapely.buffer(unlike, -0.3).area < 0.5


@takes_long  # artwork/scan/test_covered.py, of the same glove
@not_sought
def test_read_says_that_a_thing_of_the_colour_of_ink_may_be_none_of_the_block(own_folder, plan, capsys):
    """A dark grey glove on grey land was read as land, and the cuts under it as full, without a word."""
    photo = photographed(own_folder / "block.jpg", PLANNED, px=5.0)
    x, y = LAST["place"][:2, :] @ (56, 45, 1) / (LAST["place"][2] @ (56, 45, 1))  # on the post that is cut
    with Image.open(photo) as image:
        ImageDraw.Draw(image).ellipse((x - 36, y - 55, x + 36, y + 55), (40, 50, 70))  # the ink's own colour
        image.save(photo, quality=92)
    ran = run(capsys, "read", photo, "--onto", plan, "--block", "sky", "--out", "land.svg")
    assert ran.code == 0, ran.err  # a block half cut looks so, too
    at = re.search(
        r"unlike the plan over a large place at x ([\d.]+), y ([\d.]+) mm: read as it looks; a shadow", ran.err
    )
    assert POST.contains(shapely.Point(float(at[1]), float(at[2])))


def test_corners_are_looked_for_where_a_size_is_given(own_folder, capsys):
    """The step of the README, with --corners auto and without."""
    photo = photographed(own_folder / "block.jpg", PLANNED, mirrored=True, margin=0.0, table=(200, 190, 170))
    for words in few([("--corners", "auto"), ()], 1):  # without, they are looked for all the same
        done = run(capsys, "read", photo, "--size", "90x60", *words, "--view", "block", "--json")
        area = json.loads(done.out)["layers"][0]["area_mm2"]
        assert area == pytest.approx(PLANNED.area, rel=0.02)


def test_corners_that_are_not_found_are_asked_for_with_a_picture(own_folder, capsys):
    noise = np.random.default_rng(1).integers(0, 256, (300, 400), dtype=np.uint8)
    Image.fromarray(noise).save(own_folder / "noise.png")
    ran = run(capsys, "read", own_folder / "noise.png", "--size", "120x80")
    assert ran.code == 2
    assert "noise-corners.png" in ran.err
    with Image.open(own_folder / "noise-corners.png") as picture:
        assert picture.size == (400, 300)


#: A groove 3 mm wide, and what was made of it.
GROOVE = shapely.difference(made.FACE, shapely.box(10, 30, 110, 33))
CASES = {
    DifferenceKind.TO_CUT: shapely.union(GROOVE, shapely.box(60, 30, 110, 33)),
    DifferenceKind.NARROWER: shapely.union(GROOVE, shapely.box(40, 32.2, 80, 33)),
    DifferenceKind.WIDER: shapely.difference(GROOVE, shapely.box(40, 33, 80, 33.8)),
    DifferenceKind.TOO_MUCH: shapely.difference(GROOVE, shapely.box(40, 33, 50, 40)),
    DifferenceKind.UNPLANNED: shapely.difference(GROOVE, shapely.box(40, 50, 41, 60)),
}


@pytest.mark.parametrize("kind", CASES)
def test_each_kind_is_told(kind):
    (only,) = spots(difference("key", GROOVE, CASES[kind], 0.3), made.FACE)
    assert only.kind is kind
    assert only.kind.stands is (kind in (DifferenceKind.TO_CUT, DifferenceKind.NARROWER))
    assert np.isclose(
        only.width_mm,
        {DifferenceKind.TO_CUT: 3, DifferenceKind.TOO_MUCH: 7, DifferenceKind.UNPLANNED: 1}.get(kind, 0.8),
        atol=0.12,
    )


#: A print in three inks, the sky under all: what is planned, and what was made: the sky lacks a cut, the tone has one.
INKS = {"sky": ("#a9bfcb", 0.2), "tone": ("#c98f5a", 0.1), "key": ("#1f2b3d", 0.7)}
HOLE, SLIP = shapely.box(72, 40, 82, 47), shapely.box(26, 4, 30, 7.5)
PRINTED = {"sky": PLANNED.difference(HOLE), "tone": shapely.box(0, 0, 90, 13), "key": KEY}
AS_MADE = PRINTED | {"sky": shapely.union(PRINTED["sky"], HOLE), "tone": PRINTED["tone"].difference(SLIP)}


@cache
def _photographed_in_inks() -> bytes:
    """A print of what was made, by the inks' own model."""
    covers = {name: np.pad(made.painted(land, 5.0, SIZE), 30) for name, land in AS_MADE.items()}
    coats = [(Ink(colour=rgb(colour), opacity=by), covers[name]) for name, (colour, by) in INKS.items()]
    seen = gaussian_filter(screen(overprinted(rgb("#fbfaf6"), coats)), (0.8, 0.8, 0))
    seen = np.clip(seen + 2 * np.random.default_rng(3).normal(size=seen.shape), 0, 255).astype(np.uint8)
    out = io.BytesIO()
    turned = Image.fromarray(seen).rotate(2, Image.Resampling.BICUBIC, fillcolor=(250, 249, 244))
    turned.save(out, "JPEG", quality=92)
    return out.getvalue()


@pytest.fixture
def three(own_folder):
    """A build of three blocks, and a photograph of a print of what was made."""
    for name, land in PRINTED.items():
        (own_folder / "three" / "lands").mkdir(parents=True, exist_ok=True)
        (own_folder / "three" / "lands" / f"{name}.wkb").write_bytes(shapely.to_wkb(land))
    (own_folder / "print.jpg").write_bytes(_photographed_in_inks())
    return own_folder / "three"


GREY = {"sky": ("#a9bfcb", 0.2), "tone": ("#6a8799", 0.3), "key": ("#1f2b3d", 0.7)}
SAID = ", ".join(f"{name}={colour} {by}" for name, (colour, by) in INKS.items())


def test_a_print_in_several_inks_is_told_block_by_block(three, capsys, monkeypatch):
    """What can still be cut comes first, on whichever block; what inks hide is not told; a sheet for each block.

    It is compared once, as told to a script; what the second command tries is the words alone, of that same proof.
    """
    real, proofs = first_proof.first_proof, []

    def once(*values, **named):
        if not proofs:
            proofs.append(real(*values, **named))
        return proofs[0]

    monkeypatch.setattr(first_proof, "first_proof", once)
    ran = run(capsys, "compare", three, "print.jpg", "--inks", SAID, "--sheet", "cut.pdf", "--json")
    report = json.loads(ran.out)
    assert ran.code == 1, ran.err
    places = {block["block"]: block["places"] for block in report["blocks"]}
    (still,), (gone,) = places["sky"], places["tone"]
    assert (still["kind"], gone["kind"]) == ("still to cut", "cut where the plan cuts nothing")
    assert still["at_mm"] == pytest.approx([77, 43.5], abs=1.6)
    assert gone["at_mm"] == pytest.approx([28, 5.75], abs=1)
    assert not places["key"]
    assert sorted(path.name for path in three.parent.glob("cut*.pdf")) == ["cut-key.pdf", "cut-sky.pdf", "cut-tone.pdf"]
    assert any(note.startswith("look twice at 1: a shadow") for note in report["notes"])  # 70 of 5,400 mm²
    words = run(capsys, "compare", three, "print.jpg", "--inks", SAID).out
    assert words.index("1: sky, ") < words.index("2: tone, ")
    assert "key: as planned" in words


def with_its_inks(built, inks=INKS):
    """The same build with what its report says of inks and paper."""
    coats = {name: Ink(colour=rgb(colour), opacity=by) for name, (colour, by) in inks.items()}
    report = {"size_mm": SIZE, "stencils": [], **print_colours(coats, rgb("#fbfaf6"))}
    (built / "report.json").write_text(json.dumps(report))
    return built


@takes_long  # a whole command once more; how a picture is laid: tests/artwork/scan
def test_a_finished_print_is_told_by_its_builds_own_inks(three, capsys):
    """Without --print one of the blocks was taken for it, if its ink was grey, and thousands of mm² still to cut."""
    ran = run(capsys, "compare", with_its_inks(three), "print.jpg", "--json")
    report = json.loads(ran.out)
    assert ran.code == 1, ran.err
    places = {block["block"]: [place["kind"] for place in block["places"]] for block in report["blocks"]}
    assert places == {"sky": ["still to cut"], "tone": ["cut where the plan cuts nothing"], "key": []}
    read_ = run(capsys, "read", "print.jpg", "--onto", three, "--json")
    layers = {layer["name"]: layer["area_mm2"] for layer in json.loads(read_.out)["layers"]}
    assert {*INKS} <= layers.keys(), read_.err
    assert layers["tone"] == pytest.approx(AS_MADE["tone"].difference(AS_MADE["key"]).area, rel=0.02)


def test_a_land_alone_and_a_finished_print_are_compared_by_the_print(three, capsys):
    """The one candidate was the block: what its neighbours print was still to cut."""
    with_its_inks(three)
    report = json.loads(run(capsys, "compare", three / "lands" / "tone.wkb", "print.jpg", "--json").out)
    (block,) = report["blocks"]
    assert (block["block"], [place["kind"] for place in block["places"]]) == (
        "tone",
        ["cut where the plan cuts nothing"],
    )
    assert any("shows the print in all its inks" in note for note in report["notes"])


@pytest.mark.parametrize(
    ("block", "kinds"),
    [
        pytest.param("sky", ["still to cut"], marks=takes_long),
        ("die", None),
        pytest.param("key.cut", None, marks=takes_long),
    ],
)
def test_a_block_that_is_named_is_told_of_whatever_the_picture_shows(three, capsys, block, kinds):
    """A tone's own plan doesn't fit a finished print, and a die prints none of it; a name may have a dot."""
    lands = with_its_inks(three) / "lands"
    (lands / "die.wkb").write_bytes(shapely.to_wkb(PRINTED["key"]))
    (lands / "key.cut.wkb").write_bytes(shapely.to_wkb(PRINTED["key"]))
    words = [lands / "key.cut.wkb"] if "." in block else [three, "--block", block]
    ran = run(capsys, "compare", words[0], "print.jpg", *words[1:], "--json")
    assert ran.code in (0, 1), ran.err
    (report,) = json.loads(ran.out)["blocks"]
    assert report["block"] == block
    assert kinds is None or [place["kind"] for place in report["places"]] == kinds


@not_sought
def test_a_build_that_does_not_tell_its_inks_says_so(three, capsys):
    """An older build's report is not written anew if nothing has changed."""
    (three / "lands" / "tone.wkb").unlink()  # two blocks are several
    ran = run(capsys, "compare", three, photographed(three.parent / "key.jpg", KEY))
    assert "does not tell its inks" in ran.err + ran.out


@takes_long  # a whole command once more; how a picture is laid: tests/artwork/scan
@not_sought
def test_a_proof_of_one_block_is_not_taken_for_the_print(three, capsys):
    """The print's plan is among those that are tried."""
    ran = run(capsys, "compare", with_its_inks(three), photographed(three.parent / "key.jpg", KEY), "--json")
    assert ran.code == 0, ran.out
    assert [block["block"] for block in json.loads(ran.out)["blocks"]] == ["key"]


def test_a_picture_of_another_block_than_is_named_is_refused(monkeypatch):
    """The tone was taken for the print, or for the key that it holds: thousands of mm² of the key were to be cut."""
    planned = laid_on_plan.Planned(lands=PRINTED, size_mm=SIZE, only="key", coats=dict.fromkeys(PRINTED))
    monkeypatch.setattr(on_plan, "lay_file", lambda *_, **__: ("key", None))
    monkeypatch.setattr(on_plan, "shown_alone", lambda _, lands: "tone" if {*lands} == {*PRINTED} else None)
    with pytest.raises(InputError, match="shows tone alone, and not key"):
        laid_on_plan._laid(Path("tone.jpg"), planned, {}, {})
    assert laid_on_plan._laid(Path("tone.jpg"), replace(planned, only="tone"), {}, {}) == ("key", None)


@takes_long
def test_a_print_is_read_in_all_pixels_of_its_picture(three):
    """At six a millimetre a strip of 0.7 mm of tone between dark lines was told as key, still to cut."""
    with Image.open("print.jpg") as image:
        image.resize((image.width * 2, image.height * 2)).save("fine.jpg", quality=92)
    asked = {"block": None, "corners": None, "dpi": None, "view": None, "tolerance": None}
    proof = first_proof.first_proof(with_its_inks(three), three.parent / "fine.jpg", None, None, asked)
    assert proof.laid.px_per_mm == pytest.approx(10, rel=0.03)


def test_inks_without_colours_are_refused_where_a_print_is_compared(three, capsys):
    ran = run(capsys, "compare", three, "print.jpg", "--inks", "3")
    assert ran.code == 2
    assert "--print PRINT.toml" in ran.err


@pytest.mark.parametrize("words", few([("compare", "three", "print.jpg"), ("read", "print.jpg", "--onto", "three")], 1))
def test_a_print_in_all_inks_is_not_taken_for_one_of_them(three, capsys, words):
    (three / "lands" / "tone.wkb").unlink()  # two blocks are several
    ran = run(capsys, *words)
    assert ran.code == 2
    assert "shows more inks than that of key" in ran.err
    assert "look first at print-on-plan.png: violet the plan as it was laid" in ran.err
    assert Path("print-on-plan.png").is_file()
    assert "--print PRINT.toml" in ran.err


def test_a_slip_on_the_print_is_gone_from_every_block_at_once_and_blames_none() -> None:
    """The overlaps that are drawn: a hair on three inks; a flake that only two of three lack; one ink alone."""
    hair, flake, alone = shapely.box(10, 10, 22, 10.6), shapely.box(40, 10, 43, 13), shapely.box(60, 10, 63, 13)
    face = shapely.box(0, 0, *made.SIZE)
    lands = {"sky": face, "tone": shapely.box(0, 0, 50, 40), "key": shapely.box(0, 0, 50, 20)}
    planned = Planned(lands=lands, size_mm=made.SIZE, coats=dict.fromkeys(lands))
    gone = {"sky": [hair, flake, alone], "tone": [hair.buffer(0.1), flake], "key": [hair.buffer(-0.1)]}
    places = in_order(
        spot for name, shapes in gone.items()
        for spot in spots(difference(name, lands[name], lands[name].difference(shapely.union_all(shapes)), 0.05), face)
    )  # fmt: skip
    ((*numbers,),) = first_proof._together(planned, places)
    assert sorted(places[k - 1].block for k in numbers) == sorted(lands)
    assert all(places[k - 1].at[0] < 30 for k in numbers)
    laid = SimpleNamespace(plan=SimpleNamespace(size_mm=made.SIZE))
    proof = first_proof.Proof(
        names=tuple(lands), laid=laid, spots=places, tolerance_mm=0.3, notes=(), picture=Path("p.png"), sheets=(),
        together=(tuple(numbers),),
    )  # fmt: skip
    assert {round(spot.at[0]) // 10 for spot in proof.sure_spots} == {4, 6}


@pytest.mark.parametrize(("hairs", "expected"), [(12, 12), (13, 0)])
def test_more_hairs_than_lie_on_a_print_are_none(hairs, expected) -> None:
    """So many places gone from both inks were cut, as snow is; the limit is our own choice."""
    face = shapely.box(0, 0, *made.SIZE)
    gone = shapely.union_all([shapely.box(3 + 8 * k, 10, 5 + 8 * k, 11) for k in range(hairs)])
    lands = {"sky": face, "key": shapely.box(0, 0, made.SIZE[0], 30)}
    planned = Planned(lands=lands, size_mm=made.SIZE, coats=dict.fromkeys(lands))
    places = [
        spot
        for name, land in lands.items()
        for spot in spots(difference(name, land, land.difference(gone), 0.05), face)
    ]
    assert len(first_proof._together(planned, places)) == expected


def test_a_picture_of_few_pixels_tells_of_what_it_can_show_and_says_so(own_folder, plan, capsys):
    """190 pixels for 110 mm: one is 0.7 mm large; edges that lie half of it off were told as places, dozens of them."""
    seen, _ = made.photographed(made.painted(MADE, 5.0, SIZE), px=5.0, size=(190, 144))
    Image.fromarray(seen).save(own_folder / "tiny.png")
    report = json.loads(run(capsys, "compare", plan, own_folder / "tiny.png", "--block", "sky", "--json").out)
    places = report["blocks"][0]["places"]
    assert [tuple(np.round(place["at_mm"])) for place in places] == [(18, 48), (78, 48)]
    assert report["tolerance_mm"] == pytest.approx(106 / 0.8 / 190, rel=0.1), "a pixel, by how it was pictured"
    assert any("pixels are 0.7 mm large" in note for note in report["notes"])


@pytest.mark.parametrize(("command", "px"), few([("compare", 3.5), ("read", 3.6)], 1))
def test_a_photograph_that_is_laid_on_its_plan_tells_how_far_that_is(own_folder, plan, capsys, shares, command, px):
    """Places are tried, the likeliest refined, the lens looked at; then it is read. No picture that was laid before."""
    photo = photographed(own_folder / "proof.jpg", MADE, px=px)
    words = (plan, photo) if command == "compare" else (photo, "--onto", plan)
    ran = run(capsys, command, *words, "--block", "sky")
    assert "% done" in ran.err
    assert shares == sorted(shares)
    assert len({round(share, 3) for share in shares if share < 0.6}) >= 10
    assert shares[0] < 0.1
    assert shares[-1] == pytest.approx(1)
