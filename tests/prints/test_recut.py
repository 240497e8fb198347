"""A block that is cut already: nothing is put back, what would have to come back is told, what may be cut is said."""

from __future__ import annotations

import json
import pickle
import re
from contextlib import nullcontext
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw, ImageFilter
from scipy.ndimage import gaussian_filter
from shapely import affinity

from carvegen import geometry
from carvegen.artwork.on_plan import PoorFitError, lay_file
from carvegen.artwork.on_plan.shapes_seen import InkSeen
from carvegen.base.colour import Ink, overprinted, rgb, screen
from carvegen.base.errors import InputError
from carvegen.blocks.block import Block
from carvegen.delivery import print_build, print_steps
from carvegen.prints import recut
from carvegen.prints.cut_blocks import Cut
from carvegen.prints.file.print_file import read_print
from carvegen.prints.recut import cut_further, standing_lands
from carvegen.writers.block.clean_artwork import artwork_svg
from tests import cases
from tests.artwork.scan import on_plan_pictures as pictures
from tests.cli.running import run
from tests.delivery.test_die_folder import PRINT
from tests.strategies import few, takes_long

OPEN = PRINT.partition('[[blocks]]\nname = "die"')[0]
NAMED = 'name = "key"\n'


def again(capsys, folder, text: str):
    """A build that cuts and tells of it; it draws nothing, checks no block and tries no register error."""
    (folder / "print.toml").write_text(text)
    with pytest.MonkeyPatch.context() as patch:
        nothing = SimpleNamespace(reports={}, open_questions=(), changes=(), lost=())
        patch.setattr(print_steps, "deliver", lambda *_, **__: nothing)
        patch.setattr(print_build, "proof_files", lambda _: {"print.png": b""})
        patch.setattr(print_build, "rubbings", lambda _: {})
        patch.setattr(print_build, "register_trials", lambda _: None)
        patch.setattr(print_build, "register_files", lambda *_: ({print_build.FIGURES: "{}"}, {}))
        ran = run(capsys, "build", folder / "print.toml", "--out", folder / "built", "--json")
    return ran, json.loads(ran.out)


def land(folder, name: str):
    return shapely.from_wkb((folder / "built" / "lands" / f"{name}.wkb").read_bytes())


@pytest.fixture
def copy(tmp_path, capsys):
    """A print that was built once."""
    again(capsys, tmp_path, OPEN)
    return tmp_path


def found(expected, rule: str):
    return [block for block in expected["report"]["blocks"]["key"] if block["rule"] == rule]


def test_what_would_have_to_stand_again_breaks_at_its_place(copy, capsys):
    wider = OPEN.replace(NAMED, NAMED + 'state = "cut"\n').replace("box 12 0 10 30", "box 12 0 12 30")
    ran, report = again(capsys, copy, wider)
    assert ran.code == 1
    broken = found(report, "cut-already")
    assert len(broken) == 1
    assert broken[0]["severity"] == "breaks"
    assert broken[0]["measured"] == pytest.approx(2 * 30, rel=0.02)
    assert broken[0]["at_mm"][0] == pytest.approx(23, abs=1)
    assert land(copy, "key").area == pytest.approx(300, rel=0.01)


def test_cuts_may_grow_and_what_is_cut_on_is_said_until_it_is_given_as_cut(copy, capsys):
    narrower = OPEN.replace(NAMED, NAMED + 'state = "cut"\n').replace("box 12 0 10 30", "box 12 0 8 30")
    _, report = again(capsys, copy, narrower)
    assert not found(report, "cut-already")
    assert found(report, "cut-on")[0]["measured"] == pytest.approx(2 * 30, rel=0.02)
    assert land(copy, "key").area == pytest.approx(240, rel=0.01)
    back = again(capsys, copy, narrower.replace("box 12 0 8 30", "box 12 0 10 30"))[1]
    assert not found(back, "cut-already")  # what was planned but is not known as cut still stands
    assert land(copy, "key").area == pytest.approx(300, rel=0.01)


def test_a_new_block_is_made_beside_old_ones_and_nothing_is_asked_of_these(copy, capsys):
    """A tone block is added to a print of which both blocks are cut: it alone gets something to cut."""
    tone = (
        '[[blocks]]\nname = "tone"\nrole = "tone"\nink = "#8a9a6b"\nlayers = ["POST"]\nmaterial = "linoleum"\n'
        'cutter = "v-60"\n\n'
    )
    text = re.sub(r'(name = "(?:sky|key)"\n)', r'\1state = "cut"\n', OPEN)
    at = text.index('[[blocks]]\nname = "key"')
    ran, report = again(capsys, copy, text[:at] + tone + text[at:])
    assert ran.code in (0, 1), ran.err
    assert land(copy, "tone").area == pytest.approx(300, rel=0.02)
    assert land(copy, "key").area == pytest.approx(300, rel=0.01)
    for name in ("sky", "key"):
        rules = {block["rule"] for block in report["report"]["blocks"][name]}
        assert not rules & {"cut-on", "cut-already", "cut-snow"}, name


def test_marks_on_a_cut_block_ask_and_what_cannot_be_put_back_is_told(copy, capsys):
    """Of its neighbour, which is open, the same marks put land back."""
    at = {"stays": "box 16 20 10 4", "carver decides": "box 16 14 10 4", "comes out": "box 14 3 4 4"}
    marks = "".join(f'[[marked]]\nmeaning = "{each}"\nshape = "{shape}"\n' for each, shape in at.items())
    cut = OPEN.replace(NAMED, NAMED + 'state = "cut"\n').replace("box 12 0 10 30", "box 12 0 12 30")
    ran, report = again(capsys, copy, cut + marks)
    assert ran.code == 1
    (whole,) = found(report, "cut-already")
    assert 'the mark "stays"' in whole["why"]
    assert 22 <= whole["at_mm"][0] <= 24
    assert 20 <= whole["at_mm"][1] <= 24
    now, old = land(copy, "key"), shapely.box(12, 0, 22, 30)
    assert now.difference(old).area < 0.01
    assert now.intersection(shapely.box(14, 3, 18, 7)).area < 0.01
    assert now.area == pytest.approx(300 - 16, rel=0.01)


@takes_long  # one more picture or build, as the others here
def test_snow_on_a_cut_block_is_not_filled_again_by_a_mark(copy, capsys):
    snow = '[[motifs]]\nmotif = "snowfall"\nsettings = { snow = 0.2, largest_mm = 3.0 }\n'
    assert again(capsys, copy, OPEN + snow)[0].code in (0, 1)
    before = land(copy, "key")
    low = {"stays": 1, "carver decides": 9, "less": 16, "grow again": 24}
    marks = "".join(f'[[marked]]\nmeaning = "{one}"\nshape = "box 13 {y} 8 5"\n' for one, y in low.items())
    ran, report = again(capsys, copy, OPEN.replace(NAMED, NAMED + 'state = "cut"\n') + snow + marks)
    assert ran.code == 1
    assert land(copy, "key").difference(before.buffer(0.01)).area < 0.01
    for meaning, y in low.items():
        named = [each["at_mm"] for each in found(report, "cut-already") if f'the mark "{meaning}"' in each["why"]]
        assert named or meaning == "grow again"  # where as much falls again there may be nothing to put back
        assert all(13 <= at[0] <= 21 and y <= at[1] <= y + 5 for at in named)


def test_a_cut_block_of_which_nothing_is_known_is_told(copy, capsys):
    text = OPEN.replace(NAMED, NAMED + 'state = "cut"\ncut_land = "none.svg"\n')
    ran, _ = again(capsys, copy, text)
    assert ran.code == 2
    assert "the second block's cut_land" in ran.err + ran.out


#: What the key block is to print.
LAYER = shapely.box(12, 0, 22, 30)
FACE = shapely.box(0, 0, 60, 40)


def _specks(count: int, size: float) -> list:
    corners = np.random.Generator(np.random.PCG64(5)).uniform((8, 0), (26, 32), (count, 2))
    return [shapely.box(x, y, x + size, y + size) for x, y in corners]


#: What a drawing of the cut block's land shows: nearly the layer.
NEARLY = {
    "the layer": LAYER,
    "all of the face": FACE,
    "0.05 mm to the right": affinity.translate(LAYER, 0.05),
    "0.05 mm off both ways": affinity.translate(LAYER, -0.05, 0.05),
    "0.2 mm up": affinity.translate(LAYER, 0, 0.2),
    "0.5 mm off": affinity.translate(LAYER, 0.5, -0.3),
    "half a micron off": affinity.translate(LAYER, 0.0005),
    "turned": affinity.rotate(LAYER, 0.4),
    "1 % larger": affinity.scale(LAYER, 1.01, 1.01),
    "smoothed": LAYER.buffer(-0.5).buffer(0.5),
    "smoothed both ways": LAYER.buffer(1).buffer(-2).buffer(1),
    "narrower, its edges on the layer's": shapely.box(12, 0, 20, 30),
    "two that meet in a line": shapely.MultiPolygon([shapely.box(12, 0, 17, 14), shapely.box(16.9, 14.0005, 22, 30)]),
    "two that meet in a point": shapely.MultiPolygon([shapely.box(12, 0, 17, 15), shapely.box(17, 15, 22, 30)]),
    "a neighbour along its edge": shapely.MultiPolygon([shapely.box(12, 0, 21, 30), shapely.box(22, 5, 30, 20)]),
    "a neighbour at its corner": shapely.MultiPolygon([shapely.box(12, 0, 20, 29), shapely.box(22, 30, 30, 38)]),
    "with specks": shapely.union_all([LAYER, *_specks(300, 0.05)]),
    "with pinholes": LAYER.difference(shapely.union_all(_specks(300, 0.05))),
    "with a needle that runs out on its edge": LAYER.difference(shapely.Polygon([(12, 5), (22, 5.0004), (22, 5.2)])),
    "wavy": shapely.Polygon([(12 + 0.2 * np.sin(3 * y), y) for y in np.arange(0, 30, 0.1)] + [(22, 30), (22, 0)]),
    "past the face": shapely.box(12, -3, 22, 30),
}  # fmt: skip


def _svg(land, layer: str = "stands") -> str:
    rings = [ring for part in geometry.parts(land) for ring in (part.exterior, *part.interiors)]
    data = "".join("M" + " ".join(f"{x:.5f},{40 - y:.5f}" for x, y in ring.coords[:-1]) + "z" for ring in rings)
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
        f'<g id="{layer}"><path fill-rule="evenodd" d="{data}"/></g></svg>'
    )


def _scan(land, *, dots_per_mm: int = 12, noise: int = 0, blur: float = 0.0) -> Image.Image:
    picture = Image.new("L", (60 * dots_per_mm, 40 * dots_per_mm), 245)
    for part in geometry.parts(land):
        corners = np.array(part.exterior.coords) * (1, -1) + (0, 40)
        ImageDraw.Draw(picture).polygon([*map(tuple, corners * dots_per_mm)], 25)
    rng = np.random.Generator(np.random.PCG64(9))
    tone = np.asarray(picture.filter(ImageFilter.GaussianBlur(blur)), dtype=np.int64)
    specks = rng.random(tone.shape) < noise / 1000
    grainy = np.clip(tone + rng.normal(0, noise, tone.shape), 0, 255)
    return Image.fromarray(np.where(specks, 25, grainy).astype(np.uint8))


def _print(folder, land: str):
    (folder / "print.toml").write_text(OPEN.replace(NAMED, NAMED + f'state = "cut"\ncut_land = "{land}"\n'))
    return read_print(folder / "print.toml", cases.SHELF)


def _cut() -> Cut:
    block = Block(name="key", width_mm=60, height_mm=40, cuts=geometry.parts(FACE.difference(LAYER)))
    return Cut(block=block, land=LAYER, white=shapely.box(0, 30, 60, 40))


def _holds(stands, after: Cut) -> None:
    """Nothing is put back, nothing that may stand is lost, and all of it is polygons."""
    for shape in (after.land, after.white, shapely.union_all(after.block.cuts)):
        assert shape.is_valid
        assert shapely.get_type_id(geometry.solid(shape)) == shapely.get_type_id(shape)
    wanted = shapely.union_all(geometry.parts(shapely.intersection(LAYER, stands)))
    assert shapely.symmetric_difference(after.land, wanted).area < 0.002 * max(wanted.length, 1)
    assert after.land.difference(geometry.solid(stands).buffer(0.002)).area == 0
    assert after.land.area + shapely.area(after.block.cuts).sum() == pytest.approx(FACE.area, abs=0.01)


def test_what_is_cut_already_is_known_apart_from_what_is_still_to_be_cut():
    """The block stands 4 mm wider than it is to: that strip is to be cut, all else is cut; a hair's breadth is not."""
    block = cut_further(_cut(), shapely.box(11.99, 0, 26, 30)).block
    assert shapely.symmetric_difference(shapely.union_all(block.to_cut), shapely.box(22, 0, 26, 30)).area < 0.4
    assert shapely.area(block.cut_before).sum() == pytest.approx(FACE.area - 14 * 30, abs=0.4)


@pytest.mark.parametrize("name", NEARLY)
def test_what_stands_is_read_from_a_drawing_that_is_nearly_the_layer(tmp_path, name):
    (tmp_path / "own.svg").write_text(_svg(NEARLY[name]))
    stands = standing_lands(_print(tmp_path, "own.svg"), tmp_path / "built")["key"].land
    on_face = shapely.intersection(NEARLY[name], FACE)
    assert shapely.symmetric_difference(stands, on_face).area < 0.002 * on_face.length
    _holds(stands, cut_further(_cut(), stands))


@pytest.mark.parametrize(("blur", "noise", "off"), few([(1, 3, 0.05), (0, 0, 0), (2, 6, 0.2), (3, 3, 0.5)], 1))
def test_what_stands_is_read_from_a_scan_of_the_face(tmp_path, blur, noise, off):
    """The print's own size counts where the picture says none, and what the picture says where it does."""
    land = affinity.translate(LAYER, off, off)
    picture = _scan(land, blur=blur, noise=noise)
    for name, how in (("a.png", {}), ("b.png", {"dpi": (304.8, 304.8)})):
        picture.save(tmp_path / name, **how)
        stands = standing_lands(_print(tmp_path, name), tmp_path / "built")["key"].land
        assert shapely.symmetric_difference(stands, land).area < 0.06 * land.length + 0.06 * noise
        _holds(stands, cut_further(_cut(), stands))


@pytest.mark.parametrize(("dots_per_mm", "blur", "noise"), few([(12, 2, 10), (6, 1, 4), (12, 1, 6), (24, 2, 8)], 1))
def test_the_noise_of_a_scan_is_not_told_as_land_that_is_cut_already(tmp_path, dots_per_mm, blur, noise):
    """Two pixels, whatever the resolution; a drawing is compared at 0.02 mm; what is really missing is told."""
    gone = shapely.box(14, 10, 15.5, 11.5)
    for land, count in ((LAYER, 0), (LAYER.difference(gone), 1)):
        shown = affinity.translate(LAYER, 1.2 / dots_per_mm)  # laid on the glass a little off
        picture = _scan(shown, dots_per_mm=dots_per_mm, blur=blur, noise=noise)
        if count:
            left, bottom, right, top = (np.array(gone.bounds) * dots_per_mm).round().astype(int).tolist()
            high = 40 * dots_per_mm
            ImageDraw.Draw(picture).rectangle((left, high - top, right - 1, high - bottom - 1), fill=245)
        picture.save(tmp_path / "scan.png")
        given_print = _print(tmp_path, "scan.png")
        known = standing_lands(given_print, tmp_path / "built")["key"]
        stands, tolerance = known.land, known.tolerance_mm
        assert tolerance == pytest.approx(2 / dots_per_mm)
        report = [note.rule for note in cut_further(_cut(), stands, tolerance).notes]
        assert report.count("cut-already") == count, land.area
        assert report.count("cut-scan") == 1
        fine = [note.rule for note in cut_further(_cut(), stands).notes]
        assert fine.count("cut-already") > count  # as a drawing is compared, the noise is told


def test_a_drawing_of_what_stands_is_compared_as_finely_as_ever(tmp_path):
    (tmp_path / "own.svg").write_text(_svg(affinity.translate(LAYER, 0.05)))
    given_print = _print(tmp_path, "own.svg")
    assert standing_lands(given_print, tmp_path / "built")["key"].tolerance_mm == 0.02
    rules = [note.rule for note in cut_further(_cut(), affinity.translate(LAYER, 0.05), 0.02).notes]
    assert rules == ["cut-already", "cut-on"]


def _traced(land, seed: int = 4) -> str:
    """A drawing of a land as `carvegen read` writes it from a photograph: its outlines wander by up to 0.15 mm."""
    rng = np.random.Generator(np.random.PCG64(seed))

    def wandering(xy):
        return xy + 0.15 * np.sin(rng.uniform(1, 3, 2) * xy[:, ::-1] + rng.uniform(0, 6, 2))

    seen = geometry.parts(shapely.make_valid(shapely.transform(shapely.segmentize(land, 0.5), wandering)))
    return artwork_svg({"INK 1": seen}, (60, 40), "sky.jpg", known_mm=0.3)


#: A block that shows snow, and what new snow would leave of it.
OLD_SNOW = shapely.union_all([shapely.Point(x, y).buffer(1.2) for x in range(4, 60, 10) for y in range(4, 40, 10)])
NEW_SNOW = shapely.union_all([shapely.Point(x + 2.5, 21.5).buffer(0.9) for x in range(4, 55, 10)])


def test_a_land_that_a_photograph_told_leaves_new_cuts_alone_to_be_made(tmp_path):
    """It was compared as finely as a drawing: slivers along each outline were to be cut, or should have stood."""
    (tmp_path / "land.svg").write_text(_traced(FACE.difference(OLD_SNOW)))
    known = standing_lands(_print(tmp_path, "land.svg"), tmp_path / "built")["key"]
    assert known.tolerance_mm == 0.3
    wanted = FACE.difference(shapely.union(OLD_SNOW, NEW_SNOW))
    cut = Cut(block=Block(name="key", width_mm=60, height_mm=40, cuts=geometry.parts(FACE.difference(wanted))),
              land=wanted, white=NEW_SNOW)  # fmt: skip
    after = cut_further(cut, known.land, known.tolerance_mm)
    assert not [note for note in after.notes if note.rule == "cut-already"]
    area = shapely.area(after.block.to_cut)
    assert len(area) == len(geometry.parts(NEW_SNOW))
    assert area.min() > 0.9 * NEW_SNOW.area / len(area)
    fine = cut_further(cut, known.land)
    assert len(fine.block.to_cut) > 3 * len(area)


def test_how_finely_a_land_is_known_is_kept_with_it(tmp_path, capsys):
    """Built from a photograph's outlines, the lands in the folder are known no finer than these."""
    (tmp_path / "land.svg").write_text(_traced(LAYER))
    named = OPEN.replace(NAMED, NAMED + 'state = "cut"\ncut_land = "land.svg"\n')
    for text in (named, named.replace('cut_land = "land.svg"\n', "")):
        ran, report = again(capsys, tmp_path, text)
        assert ran.code in (0, 1), ran.err
        assert not found(report, "cut-already")
        assert found(report, "cut-scan")[0]["measured"] == pytest.approx(0.3)
    for folder in ("cut", "lands"):
        own = named.replace("land.svg", f"built/{folder}/key.wkb")
        (tmp_path / "print.toml").write_text(own)
        known = standing_lands(read_print(tmp_path / "print.toml", cases.SHELF), tmp_path / "elsewhere")["key"]
        assert known.tolerance_mm == 0.3, folder


@given(st.integers(0, 2**32 - 1), st.sampled_from([1e-4, 5e-4, 1e-3, 0.05, 0.5]), st.integers(1, 40))
@settings(deadline=None)
def test_any_land_may_be_what_stands(seed, off, count):
    rng = np.random.Generator(np.random.PCG64(seed))
    around = rng.choice([0, 12, 17, 22, 30, 40], (count, 2)) + rng.uniform(-off, off, (count, 2)) * rng.integers(0, 2)
    sizes = rng.choice([off, 5, 10], (count, 2))
    more = shapely.box(*around.T, *(around + sizes).T)
    lines = [shapely.LineString(around), shapely.Point(around[0])] if count > 1 else []
    stands = shapely.GeometryCollection([shapely.union_all([LAYER.buffer(-off), *more]), *lines])
    _holds(stands, cut_further(_cut(), stands))


@takes_long  # one more picture or build, as the others here
@pytest.mark.parametrize("name", few(["smoothed", "narrower, its edges on the layer's", "with specks"], 1))
def test_a_print_is_built_on_a_block_that_was_cut_by_hand(tmp_path, capsys, name):
    (tmp_path / "own.svg").write_text(_svg(NEARLY[name]))
    _print(tmp_path, "own.svg")
    ran = run(capsys, "build", tmp_path / "print.toml", "--out", tmp_path / "built", "--json")
    assert ran.code in (0, 1), ran.err
    assert land(tmp_path, "key").area == pytest.approx(shapely.intersection(LAYER, NEARLY[name]).area, rel=0.01)


def test_a_print_is_built_on_a_block_that_was_photographed(tmp_path, capsys):
    _scan(LAYER.buffer(-0.3).buffer(0.3), blur=1, noise=4).save(tmp_path / "own.png")
    _print(tmp_path, "own.png")
    ran, _ = again(capsys, tmp_path, (tmp_path / "print.toml").read_text())
    assert ran.code in (0, 1), ran.err
    assert land(tmp_path, "key").area == pytest.approx(300, rel=0.02)


def test_a_file_of_cuts_is_read_as_cuts_and_any_other_drawing_as_what_stands(tmp_path):
    (tmp_path / "cuts.svg").write_text(_svg(FACE.difference(LAYER), "CUT-AREA"))
    (tmp_path / "own.svg").write_text(_svg(LAYER))
    for name in ("cuts.svg", "own.svg", "own.svg#stands"):
        stands = standing_lands(_print(tmp_path, name), tmp_path / "built")["key"].land
        assert shapely.symmetric_difference(stands, LAYER).area < 0.01, name


def test_a_drawing_in_block_view_is_turned(tmp_path):
    mirrored = affinity.scale(LAYER, -1, 1, origin=(30, 20))
    (tmp_path / "own.svg").write_text(_svg(mirrored).replace("<g", "<title>key, block view</title><g"))
    stands = standing_lands(_print(tmp_path, "own.svg"), tmp_path / "built")["key"].land
    assert shapely.symmetric_difference(stands, LAYER).area < 0.01


@pytest.mark.parametrize(("text", "said"), [
    (_svg(LAYER).replace('60mm" height="40mm', '30mm" height="20mm'), "not of the block's size"),
    (_svg(affinity.translate(LAYER, 200)), "nothing that stands|no shape"),
])  # fmt: skip
def test_what_can_not_be_the_block_is_refused(tmp_path, text, said):
    (tmp_path / "own.svg").write_text(text)
    with pytest.raises(InputError, match=said) as caught:
        standing_lands(_print(tmp_path, "own.svg"), tmp_path / "built")["key"]
    assert caught.value.hint


def test_a_land_that_is_mostly_elsewhere_is_asked_about():
    after = cut_further(_cut(), FACE.difference(LAYER))
    assert [note.rule for note in after.notes if note.severity.name == "RISK"] == ["cut-land"]
    assert not [note for note in cut_further(_cut(), LAYER.buffer(-0.2)).notes if note.rule == "cut-land"]


def test_overlays_on_the_grid_are_made_in_one_place():
    """GEOS refuses a mixture of lines and polygons on a grid: `geometry` alone asks for one, and drops the lines."""
    from pathlib import Path

    home = Path(geometry.__file__).parents[1]
    using = [path.relative_to(home).as_posix() for path in home.rglob("*.py") if "grid_size=" in path.read_text()]
    assert using == ["geometry/__init__.py"]


def _drawing(**layers) -> str:
    groups = (
        f'<g id="{name}"><path fill-rule="evenodd" d="{_path(land, pictures.SIZE[1])}"/></g>'
        for name, land in layers.items()
    )
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="120mm" height="80mm" viewBox="0 0 120 80">'
        f"{''.join(groups)}</svg>"
    )


def _path(land, high: float) -> str:
    rings = [ring for part in geometry.parts(land) for ring in (part.exterior, *part.interiors)]
    return "".join("M" + " ".join(f"{x:.4f},{high - y:.4f}" for x, y in ring.coords[:-1]) + "z" for ring in rings)


def _block(name: str, role: str, ink: str, opacity: float, cut_land: str = "") -> str:
    layers = {"sky": '["*"]', "tone": '["TONE"]', "key": '["KEY"]'}[name]
    state = f'state = "cut"\ncut_land = "{cut_land}"\n' if cut_land else ""
    return (
        f'[[blocks]]\nname = "{name}"\nrole = "{role}"\nink = "{ink}"\nopacity = {opacity}\nlayers = {layers}\n'
        f'material = "linoleum"\ncutter = "v-60"\n{state}'
    )


BROKEN_KEY = shapely.box(72, 30, 78, 34)
HEAD = '[print]\nname = "a"\nsize_mm = [120, 80]\n[artwork]\nfiles = ["drawing.svg"]\n'


@takes_long  # of a real picture; which reader reads which: below
def test_a_photograph_is_laid_on_the_blocks_own_drawing(tmp_path, monkeypatch):
    """The block itself, aslant on a table, snow cut already that the drawing does not know: it is read in place.

    Once, for the print of a single block is that block's.
    """
    times = counted_calls(monkeypatch)
    key = pictures.key()
    snow = shapely.union_all([shapely.Point(72, 20).buffer(2), shapely.Point(40, 21).buffer(1.5)])
    seen, _ = pictures.photographed(
        pictures.painted(key.difference(snow)), mirrored=True, turn=9.0, table=(170, 160, 140)
    )
    Image.fromarray(seen).save(tmp_path / "block.jpg", quality=92)
    (tmp_path / "drawing.svg").write_text(_drawing(KEY=key))
    (tmp_path / "print.toml").write_text(HEAD + _block("key", "key", "#1f2b3d", 0.7, "block.jpg"))
    known = standing_lands(read_print(tmp_path / "print.toml", cases.SHELF), tmp_path / "built")["key"]
    assert times == [["the block"]]
    assert known.tolerance_mm == 0.3
    unlike = shapely.symmetric_difference(known.land, key.difference(snow))
    assert shapely.buffer(unlike, -0.15).area < 0.5


@pytest.mark.parametrize("shows", ["the block", "the print"])
def test_a_picture_of_a_block_is_read_as_land_and_one_of_a_print_by_inks(tmp_path, monkeypatch, shows):
    """Readers that know one answer each: the key as its block shows it, and as its ink does."""
    land = {"the block": shapely.box(5, 5, 9, 9), "the print": shapely.box(20, 20, 29, 29)}
    seen = {name: InkSeen(land=each, hidden=shapely.Polygon()) for name, each in land.items()}
    monkeypatch.setattr(recut, "lay_file", lambda *_, **__: (shows, None))
    monkeypatch.setattr(recut, "shown_alone", lambda *_: None)
    monkeypatch.setattr(recut, "read_block", lambda _: seen["the block"])
    monkeypatch.setattr(recut, "read_inks", lambda *_: {"key": seen["the print"]})
    monkeypatch.setattr(recut, "board_sides", lambda _: None)
    Image.new("L", (8, 8)).save(tmp_path / "block.jpg")
    (tmp_path / "drawing.svg").write_text(_drawing(KEY=pictures.key()))
    (tmp_path / "print.toml").write_text(HEAD + _block("key", "key", "#1f2b3d", 0.7, "block.jpg"))
    known = standing_lands(read_print(tmp_path / "print.toml", cases.SHELF), tmp_path / "built")["key"]
    assert shapely.equals(known.land, land[shows])


@pytest.mark.parametrize(
    ("plan", "tone"),
    few([("the block", ""), ("the print", ""), ("the print", "block.jpg")], 1),
)
def test_a_picture_of_another_block_is_refused(tmp_path, monkeypatch, plan, tone):
    """The tone's outlines are the print's, and may hold the key's: all of it would have stood on the key."""
    monkeypatch.setattr(recut, "lay_file", lambda *_, **__: (plan, None))
    monkeypatch.setattr(recut, "shown_alone", lambda _, lands: "tone" if {*lands} == {"tone", "key"} else None)
    Image.new("L", (8, 8)).save(tmp_path / "block.jpg")
    (tmp_path / "drawing.svg").write_text(_drawing(TONE=pictures.FACE, KEY=pictures.key()))
    blocks = _block("tone", "tone", "#6a8799", 0.3, tone) + _block("key", "key", "#1f2b3d", 0.7, "block.jpg")
    (tmp_path / "print.toml").write_text(HEAD + blocks)
    with pytest.raises(InputError, match="shows tone alone") as raised:
        standing_lands(read_print(tmp_path / "print.toml", cases.SHELF), tmp_path / "built")
    assert "give a picture of key, or of the whole print" in raised.value.hint
    again = pickle.loads(pickle.dumps(raised.value))  # as the page's checks hand it over
    assert (str(again), again.hint) == (str(raised.value), raised.value.hint)


def test_a_photograph_that_a_build_refuses_is_drawn_beside_the_build(tmp_path, capsys, monkeypatch):
    """There was a refusal and nothing to look at."""
    _refusing(monkeypatch, tmp_path / "block.jpg", (1000, 760), negative=False)
    monkeypatch.setattr(print_build, "fit_png", lambda laid: laid.fault.encode())
    (tmp_path / "drawing.svg").write_text(_drawing(KEY=pictures.key()))
    (tmp_path / "print.toml").write_text(HEAD + _block("key", "key", "#1f2b3d", 0.7, "block.jpg"))
    ran = run(capsys, "build", tmp_path / "print.toml", "--out", tmp_path / "built")
    assert ran.code == 2
    assert f"look first at {tmp_path / 'built-block-on-plan.png'}: violet the plan as it was laid" in ran.err
    assert (tmp_path / "built-block-on-plan.png").read_bytes() == b"of 99 places on the plan only 3 look like it"
    assert not (tmp_path / "built").exists()


STENCIL = (
    '[[blocks]]\nname = "mask"\nrole = "stencil"\nlayers = ["KEY"]\nmaterial = "linoleum"\ncutter = "v-60"\n'
    'state = "cut"\ncut_land = "block.jpg"\n'
)


@pytest.mark.parametrize(("others", "plans"), [
    (STENCIL, ["the block"]), (STENCIL + _block("sky", "background", "#a9bfcb", 0.2), ["the block", "the print"]),
])  # fmt: skip
def test_a_stencil_that_names_the_photograph_leaves_the_key_its_own_plan(tmp_path, monkeypatch, others, plans):
    """No ink of a stencil prints: what it names, too, may show the key alone."""
    times = []
    monkeypatch.setattr(recut, "lay_file", lambda _, each, **_how: times.append(sorted(each)))
    Image.new("L", (12, 8)).save(tmp_path / "block.jpg")
    (tmp_path / "drawing.svg").write_text(_drawing(KEY=pictures.key()))
    (tmp_path / "print.toml").write_text(HEAD + others + _block("key", "key", "#1f2b3d", 0.7, "block.jpg"))
    read = read_print(tmp_path / "print.toml", cases.SHELF)
    recut._Pictures(read).standing(read.blocks[-1], tmp_path / "block.jpg")
    assert times == [plans]


@pytest.mark.parametrize(
    ("inked", "ink", "coats"), [(True, (1, 2, 3), ["key"]), (True, None, []), (False, (1, 2, 3), [])]
)
def test_a_print_shows_the_inks_of_blocks_that_print_them(inked, ink, coats):
    """A stencil's ink is dabbed, and lies over no other by its block; of a block without one nothing is seen."""
    block = SimpleNamespace(name="key", inked=inked, ink=ink)
    assert list(recut._Pictures(SimpleNamespace(width_mm=60, height_mm=40, blocks=[block])).coats) == coats


@takes_long  # its openings are laid as here below
@pytest.mark.parametrize(
    ("card", "behind"), few([((226, 214, 180), (70, 62, 56)), ((150, 112, 74), (232, 230, 224))], 1)
)
def test_a_photograph_of_a_stencil_is_laid_on_its_own_drawing(tmp_path, card, behind):
    """Aslant on the table that shows through its openings, lighter than the card or darker; one is not cut yet."""
    holes = pictures.blots(5, 40)
    mask = shapely.union(pictures.FACE.difference(holes), shapely.Point(72, 20).buffer(5))
    seen, _ = pictures.photographed(
        pictures.painted(mask), mirrored=True, turn=9.0, margin=0.0, ink=card, paper=behind, table=behind
    )
    Image.fromarray(seen).save(tmp_path / "block.jpg", quality=92)
    (tmp_path / "drawing.svg").write_text(_drawing(KEY=holes))
    (tmp_path / "print.toml").write_text(HEAD + _block("key", "key", "#1f2b3d", 0.7) + STENCIL)
    known = standing_lands(read_print(tmp_path / "print.toml", cases.SHELF), tmp_path / "built")["mask"]
    assert shapely.buffer(shapely.symmetric_difference(known.land, mask), -0.2).area < 0.5


def test_a_photograph_of_a_stencil_of_the_prints_openings_is_laid_on_them(tmp_path):
    """It was read as the face: its page, the table and all."""
    rng = np.random.default_rng(8)
    places = [(x + rng.integers(-4, 5), y + rng.integers(-4, 5)) for x in range(9, 120, 14) for y in range(9, 80, 15)]
    holes = shapely.union_all([shapely.Point(x, y).buffer(3) for x, y in places])
    openings = "".join(f'[[openings]]\nshape = "circle {x} {y} 3"\n' for x, y in places)
    mask = pictures.FACE.difference(holes)
    seen, _ = pictures.photographed(pictures.painted(mask), mirrored=True, turn=9.0, margin=0.0, table=(232, 230, 224))
    Image.fromarray(seen).save(tmp_path / "block.jpg", quality=92)
    (tmp_path / "drawing.svg").write_text(_drawing(KEY=pictures.key()))
    blocks = _block("key", "key", "#1f2b3d", 0.7) + STENCIL.replace('layers = ["KEY"]\n', "")
    (tmp_path / "print.toml").write_text(HEAD + openings + blocks)
    known = standing_lands(read_print(tmp_path / "print.toml", cases.SHELF), tmp_path / "built")["mask"]
    assert known.tolerance_mm == 0.3
    assert shapely.buffer(shapely.symmetric_difference(known.land, mask), -0.2).area < 0.5


@pytest.mark.parametrize("said", [
    "[" * 100_000, "", "[]", "{}", *(
        f'{{"known_within_mm": {value}}}' for value in ("Infinity", "NaN", "1e9", "-0.1", "1.01", '"0.3"', "true")
    ),
])  # fmt: skip
def test_what_is_said_beside_a_kept_land_is_not_trusted(tmp_path, said):
    """Deep nesting gave a traceback; with a tolerance of a kilometre nothing differed."""
    (tmp_path / "key.wkb").write_bytes(shapely.to_wkb(pictures.key()))
    (tmp_path / "key.json").write_text(said)
    (tmp_path / "drawing.svg").write_text(_drawing(KEY=pictures.key()))
    (tmp_path / "print.toml").write_text(HEAD + _block("key", "key", "#1f2b3d", 0.7, "key.wkb"))
    with pytest.raises(InputError, match=r"key\.json: must say how finely .* from 0 to 1 mm") as caught:
        standing_lands(read_print(tmp_path / "print.toml", cases.SHELF), tmp_path / "built")
    assert (caught.value.value is not None) == said.endswith(("Infinity}", "NaN}", "1e9}", "-0.1}", "1.01}", "true}"))


@pytest.mark.parametrize(("said", "known"), [('{"known_within_mm": 1}', 1.0), ('{"known_within_mm": 0.3}', 0.3)])
def test_what_a_build_says_beside_a_kept_land_is_its_tolerance(tmp_path, said, known):
    (tmp_path / "key.wkb").write_bytes(shapely.to_wkb(pictures.key()))
    (tmp_path / "key.json").write_text(said)
    assert recut._kept(tmp_path / "key.wkb").tolerance_mm == known


def test_a_picture_of_a_die_is_refused_in_words(tmp_path):
    """Its face and its wall look alike; it was read as the face, its page, whatever it showed."""
    Image.new("L", (120, 80), 200).save(tmp_path / "block.jpg")
    (tmp_path / "drawing.svg").write_text(_drawing(KEY=pictures.key()))
    die = STENCIL.replace("stencil", "emboss")
    (tmp_path / "print.toml").write_text(HEAD + _block("key", "key", "#1f2b3d", 0.7) + die)
    with pytest.raises(InputError, match="none tells a die's face from its wall") as raised:
        standing_lands(read_print(tmp_path / "print.toml", cases.SHELF), tmp_path / "built")
    assert "the second block's cut_land" in str(raised.value)
    assert 'cut_land = "BUILT/lands/mask.wkb"' in raised.value.hint


def test_where_a_picture_cannot_tell_the_land_is_as_drawn() -> None:
    """Under a finger both stand and are cut as drawn; beside it as the picture shows."""
    finger, seen = shapely.box(5, 0, 9, 10), InkSeen(land=shapely.box(0, 0, 8, 4), hidden=shapely.box(5, 0, 9, 10))
    known = recut._seen(seen, shapely.box(0, 0, 12, 2))
    assert shapely.equals(known.land, shapely.union(shapely.box(0, 0, 5, 4), shapely.box(5, 0, 9, 2)))
    assert shapely.equals(known.hidden, shapely.intersection(finger, shapely.box(0, 0, 12, 2)))


@takes_long  # of a real picture; what becomes of what is hidden: above
def test_what_a_finger_lies_over_is_taken_as_drawn_and_said(tmp_path):
    key = pictures.key()
    seen, true = pictures.photographed(pictures.painted(key), table=(170, 160, 140))
    x, y, by = true @ (74, 40, 1)
    picture = Image.fromarray(seen)
    ImageDraw.Draw(picture).ellipse((x / by - 40, y / by - 70, x / by + 40, y / by + 400), (214, 160, 132))
    picture.save(tmp_path / "block.jpg", quality=92)
    (tmp_path / "drawing.svg").write_text(_drawing(KEY=key))
    (tmp_path / "print.toml").write_text(HEAD + _block("key", "key", "#1f2b3d", 0.7, "block.jpg"))
    known = standing_lands(read_print(tmp_path / "print.toml", cases.SHELF), tmp_path / "built")["key"]
    assert known.hidden.area > 100
    assert shapely.buffer(shapely.symmetric_difference(known.land, key), -0.2).area < 0.5


def _refusing(monkeypatch, path, size, **laid):
    """A picture of some size, which fits no plan."""
    Image.new("L", size, 200).save(path)
    laid = SimpleNamespace(fault="of 99 places on the plan only 3 look like it", pictured_px=size, **laid)

    def lay_no_file(path, plans, **_):
        raise PoorFitError(laid, path, next(iter(plans)), plans)

    monkeypatch.setattr(recut, "lay_file", lay_no_file)


@pytest.mark.parametrize("size", few([(1080, 720), (1000, 760)], 1))
def test_a_negative_is_refused_whatever_its_page(tmp_path, monkeypatch, size):
    """It was read as the plan: what is cut stood, what stands was cut; a page of the face's shape, as the face."""
    _refusing(monkeypatch, tmp_path / "block.png", size, negative=True)
    (tmp_path / "drawing.svg").write_text(_drawing(KEY=pictures.key()))
    (tmp_path / "print.toml").write_text(HEAD + _block("key", "key", "#1f2b3d", 0.7, "block.png"))
    with pytest.raises(InputError, match="does not fit the plan") as raised:
        standing_lands(read_print(tmp_path / "print.toml", cases.SHELF), tmp_path / "built")
    assert "as it was taken" in raised.value.hint
    assert "{" not in raised.value.hint


@pytest.mark.parametrize("size", [(1080, 720), (1000, 760)])
def test_a_photograph_of_something_else_is_refused_though_a_stencil_names_it(tmp_path, monkeypatch, size):
    """The photograph is no longer read as the face where no plan tells its place, nor where it has the face's shape."""
    _refusing(monkeypatch, tmp_path / "block.jpg", size, negative=False)
    (tmp_path / "drawing.svg").write_text(_drawing(KEY=pictures.key()))
    (tmp_path / "print.toml").write_text(HEAD + _block("key", "key", "#1f2b3d", 0.7, "block.jpg") + STENCIL)
    with pytest.raises(InputError, match="does not fit the plan") as raised:
        standing_lands(read_print(tmp_path / "print.toml", cases.SHELF), tmp_path / "built")
    assert "carvegen read block.jpg --onto BUILT --block key --out land.svg" in raised.value.hint
    assert "carvegen read PHOTO --size 120x80 --corners auto --out land.svg" in raised.value.hint
    assert "mark the corners" not in raised.value.hint  # no key of a print file does


@pytest.mark.parametrize(("dpi", "page"), [(228.6, True), (300.0, False)])
def test_a_picture_that_says_the_faces_size_is_read_as_the_face(tmp_path, monkeypatch, dpi, page):
    """1080 pixels at 228.6 to the inch are 120 mm."""
    _refusing(monkeypatch, tmp_path / "block.png", (1080, 720), negative=False)
    picture = Image.new("L", (1080, 720), 245)
    ImageDraw.Draw(picture).rectangle((90, 90, 539, 359), fill=20)  # 50 x 30 mm, from x 10 and y 40 mm on
    picture.save(tmp_path / "block.png", dpi=(dpi, dpi))
    (tmp_path / "drawing.svg").write_text(_drawing(KEY=pictures.key()))
    (tmp_path / "print.toml").write_text(HEAD + _block("key", "key", "#1f2b3d", 0.7, "block.png"))
    read = read_print(tmp_path / "print.toml", cases.SHELF)
    with nullcontext() if page else pytest.raises(InputError, match="does not fit the plan"):
        land = standing_lands(read, tmp_path / "built")["key"].land
        assert shapely.symmetric_difference(land, shapely.box(10, 40, 60, 70)).area < 5


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """Her finished print of three inks, one piece of the tone block broken off; and what the tone is.

    The inks are those of the print file, by the model of `carvegen.base.colour`; light, blur and grain a camera's.
    """
    folder = tmp_path_factory.mktemp("finished")
    key = pictures.key()
    drawn = shapely.union(shapely.box(0, 0, 120, 25), pictures.blots(4, 30)).intersection(pictures.FACE)
    broken = shapely.box(84, 4, 92, 12)
    tone = drawn.difference(key)
    sky = pictures.FACE.difference(shapely.union(drawn, key)).buffer(0.4).intersection(pictures.FACE)
    lands = {"sky": sky, "tone": tone.difference(broken), "key": key.difference(BROKEN_KEY)}
    inks = {"sky": ("#a9bfcb", 0.2), "tone": ("#c98f5a", 0.1), "key": ("#1f2b3d", 0.7)}
    covers = {name: np.pad(pictures.painted(land, 5.0), 30) for name, land in lands.items()}
    coats = [(Ink(colour=rgb(colour), opacity=by), covers[name]) for name, (colour, by) in inks.items()]
    seen = screen(overprinted(rgb("#fbfaf6"), coats))
    y, x = np.mgrid[-1 : 1 : seen.shape[0] * 1j, -1 : 1 : seen.shape[1] * 1j]
    seen = gaussian_filter(seen * (1 - 0.06 * (x + y))[..., None], (0.8, 0.8, 0))
    seen = np.clip(seen + 2 * np.random.default_rng(3).normal(size=seen.shape), 0, 255).astype(np.uint8)
    Image.fromarray(seen).rotate(3, Image.Resampling.BICUBIC, fillcolor=(250, 249, 244)).save(
        folder / "proof.jpg", quality=92
    )
    (folder / "drawing.svg").write_text(_drawing(TONE=drawn, KEY=key))
    roles = {"sky": "background", "tone": "tone", "key": "key"}
    blocks = "".join(_block(name, roles[name], *ink, "proof.jpg") for name, ink in inks.items())
    (folder / "print.toml").write_text(HEAD + blocks)
    with pytest.MonkeyPatch.context() as patch:
        times = counted_calls(patch)
        known = standing_lands(read_print(folder / "print.toml", cases.SHELF), folder / "built")
    return known, times, tone, broken


def counted_calls(patch):
    """How often a picture is laid on a plan from now on, by the plans that it may show."""
    plans = []
    patch.setattr(
        recut, "lay_file", lambda path, each, **how: plans.append(sorted(each)) or lay_file(path, each, **how)
    )
    return plans


def test_a_finished_print_of_three_cut_blocks_is_laid_once(finished):
    assert finished[1] == [["the print"]]


def test_a_cut_block_is_read_from_a_finished_print_in_all_its_inks(finished):
    """The tone block as it printed: what broke off is gone, the noise of a photograph is not told."""
    lands, _, tone, broken = finished
    known = lands["tone"]
    assert known.tolerance_mm == 0.3
    assert known.land.intersection(broken).area < 0.1 * broken.area
    whole = Block(name="tone", width_mm=120, height_mm=80, cuts=geometry.parts(pictures.FACE.difference(tone)))
    report = cut_further(
        Cut(block=whole, land=tone, white=shapely.Polygon()), known.land, known.tolerance_mm, hidden=known.hidden
    )
    (gone,) = [note for note in report.notes if note.rule == "cut-already"]
    assert gone.at == pytest.approx((88, 8), abs=4)
    assert gone.measured == pytest.approx(tone.intersection(broken).area, rel=0.15)


def test_the_key_of_a_finished_print_is_told_from_what_lies_under_it(finished):
    known = finished[0]["key"]
    assert known.tolerance_mm == 0.3
    assert known.land.intersection(BROKEN_KEY).area < 0.1 * BROKEN_KEY.area
    unlike = shapely.symmetric_difference(known.land, pictures.key().difference(BROKEN_KEY))
    assert shapely.buffer(unlike, -0.3).area < 0.5


def test_snow_says_what_it_takes_and_what_is_gone_already():
    """Of 200 mm² under the snow 80 are gone already, 120 still stand and come out; elsewhere the picture is let be."""
    block = Block(
        name="key", width_mm=60, height_mm=40, cuts=geometry.parts(FACE.difference(shapely.box(12, 0, 22, 10)))
    )
    cut = Cut(block=block, land=shapely.box(12, 0, 22, 10), white=shapely.box(0, 10, 60, 40), picture=LAYER)
    after = cut_further(cut, LAYER.difference(shapely.union(shapely.box(12, 22, 22, 30), shapely.box(12, 0, 14, 2))))
    notes = {(note.rule, note.kind): note for note in after.notes}
    assert notes["cut-on", "snow"].measured == pytest.approx(120, rel=0.01)
    assert (notes["cut-snow", ""].measured, notes["cut-snow", ""].limit) == pytest.approx((80, 200), rel=0.01)
    assert notes["cut-already", ""].measured == pytest.approx(4, rel=0.01)
    assert "let the old picture be here" in notes["cut-already", ""].remedy
