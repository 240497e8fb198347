"""Coloured sheets read: true edges, pencils told apart, and clear words for what can't be read."""

from __future__ import annotations

import dataclasses
import io

import numpy as np
import pytest
import shapely
import shapely.affinity
from PIL import Image, ImageFilter, ImageOps
from skimage.color import deltaE_ciede2000, rgb2lab

from carvegen.artwork.drawing import Notes
from carvegen.artwork.scan.pixels import ScanPicture, opened
from carvegen.base.errors import InputError
from carvegen.marking.marks import Meaning
from carvegen.marking.pencil import corner_marks, evened, sheet_reading
from carvegen.marking.pencil.corner_marks import placed
from carvegen.marking.pencil.layout import MarkingSheet
from carvegen.marking.pencil.pencils import check_apart
from carvegen.marking.pencil.sheet_reading import GRADES, PageRead, joined_marks, read_page, read_sheets
from tests.pencil_sheets import (
    FOUR,
    MEANT,
    PENCILS,
    SMALL,
    USUAL,
    Case,
    Stroke,
    blob,
    drawn_of,
    figures,
    flat,
    register_off,
    shot,
    small_strokes,
)
from tests.strategies import takes_long

PITCH = USUAL.strokes[0].pitch
ALIKE = 0.15  #: mm by which edges of two kinds of pencil may be read differently; one level for all reads 0.24 apart


def read(image: Image.Image, sheet: MarkingSheet = SMALL) -> PageRead:
    return read_page(ScanPicture(image, None), sheet)


def turned(colour: str, degrees: float) -> tuple[float, float, float]:
    """A colour with its hue turned."""
    light, a, b = PENCILS[colour]
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return (light, c * a - s * b, s * a + c * b)


@pytest.fixture(scope="module")
def sheet_image() -> Image.Image:
    """Four areas of four pencils, as a scan."""
    return flat(USUAL)


# ── what is asked ────────────────────────────────────────────────────────────────────────────────────────────────


SHARP = {"dpi": 139.7, "size": (1940, 1455)}
MIXED = ("red", "pale rose", "green", "orange")
#: A sheet of two pages, and areas on the second.
WIDE = MarkingSheet(name="trial", window=(0.0, 0.0, 280.0, 72.0))
FAR = tuple(
    dataclasses.replace(stroke, shape=shapely.affinity.translate(stroke.shape, 180)) for stroke in USUAL.strokes
)


def test_edges_are_true_and_nothing_else_is_marked(monkeypatch):
    """Asked: 0.3 mm at the median, half the hatching's pitch at 95 %, register 0.1 mm, no false area."""
    case = dataclasses.replace(
        USUAL, models={0: "waxy", 1: "opaque", 2: "waxy", 3: "opaque"}, colours=MIXED, tint=(0.93, 0.86, 0.72),
        lens=0.004, halftone=True, crease=True, upside_down=True, strokes=FAR, page=2, **SHARP,
    )  # fmt: skip
    seen = shot(case, WIDE)
    laid = []
    monkeypatch.setattr(sheet_reading, "placed", lambda tone: laid.append(placed(tone)) or laid[0])
    page = read_page(opened(seen.data, Notes()), WIDE)
    each = figures(joined_marks([page]), drawn_of(case))
    assert each.missed == 0
    assert each.edge_median <= 0.3
    assert each.edge_95 <= PITCH / 2 + 0.1, "six pixels in a millimetre; the table of the long run has twelve"
    assert each.false_mm2 == 0
    assert each.overlap > 0.92
    assert register_off(seen, laid[0].paper) <= 0.1
    assert page.notes == ()


@takes_long  # of four models of pencils on one sheet; the first test has three
def test_edges_are_where_they_were_drawn_whatever_kind_of_pencil():
    """On one sheet, scanned: two pencils break on the paper's grain, two cover all in one stroke."""
    kinds = {0: "waxy", 1: "scattering", 2: "waxy", 3: "scattering"}
    case = Case(strokes=small_strokes(), models=kinds, dpi=177.8)
    marks = joined_marks([read(flat(case))])
    bias = [
        figures([mark for mark in marks if mark.meaning is meaning], {meaning: shapes}).bias
        for meaning, shapes in drawn_of(case).items()
    ]
    assert max(bias) - min(bias) < ALIKE
    assert max(map(abs, bias)) < ALIKE
    assert figures(marks, drawn_of(case)).edge_95 <= PITCH / 2


@takes_long
def test_grey_lines_and_creases_mark_nothing():
    """Beside areas that are hatched the first test above says the same."""
    page = read(flat(dataclasses.replace(USUAL, strokes=(), crease=True, halftone=True)))
    assert page.areas == ()
    assert page.notes == ()


@takes_long  # python -m tests.robustness pencil has the figures
def test_a_heavier_hand_means_more_in_three_grades():
    case = Case(
        strokes=tuple(Stroke(pencil=k % 2, shape=blob(15 + 30 * (k // 2), 18 + 34 * (k % 2), 11, 11, k), press=press)
                      for k, press in enumerate((0.4, 0.4, 0.65, 0.65, 0.9, 0.9))),
        colours=("orange", "violet"), dpi=152.4,
    )  # fmt: skip
    image = flat(dataclasses.replace(case, boxes=()))
    moved = _scribbled(image, case, (3, 4))
    result = sorted((shape.centroid.x, meaning, strength) for meaning, strength, shape in moved.areas)
    assert [each[2] for each in result] == [GRADES[0]] * 2 + [GRADES[1]] * 2 + [GRADES[2]] * 2
    assert {one[1] for one in result} == {Meaning.MORE, Meaning.LESS}


def _scribbled(image: Image.Image, case: Case, boxes: tuple[int, int]) -> PageRead:
    """The page with the case's two pencils scribbled into other boxes."""
    colours = dict(zip(boxes, case.colours, strict=True))
    every = tuple(colours.get(k, "red") for k in range(6))
    only = flat(dataclasses.replace(case, strokes=(), colours=every, boxes=boxes))
    high = SMALL.best("A4").size[1] - SMALL.best("A4").room[1]
    cut = round(high * case.dpi / 25.4)
    both = np.concatenate([np.asarray(image)[:cut], np.asarray(only)[cut:]])
    return read(Image.fromarray(both))


# ── pencils ──────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.fixture(scope="module")
def page_of_alike() -> PageRead:
    """Two of four pencils are rather alike; the fourth is in no box, and its box is empty."""
    return read(flat(dataclasses.replace(USUAL, colours=("red", turned("red", 26), "blue", "green"), boxes=(0, 1, 2))))


def test_pencils_too_much_alike_are_refused_with_the_figure(page_of_alike):
    """As doubtful ones below are told, only nearer; scikit-image has the distance."""
    one, other, _ = page_of_alike.pencils
    red, green, blue = one.colour
    near = dataclasses.replace(other, colour=(red, green, blue + 25))
    labs = [rgb2lab(np.array(each.colour) / 255) for each in (one, near)]
    apart = f"{deltaE_ciede2000(*labs):.1f}"
    with pytest.raises(InputError, match=rf"comes out \(#\w{{6}}\) and stays \(#\w{{6}}\) are too.*got {apart}"):
        check_apart([one, near])


def test_doubtful_pencils_and_one_that_is_in_no_box_are_told_and_that_one_marks_nothing(page_of_alike):
    """With the figure, and with its place. An empty box is a meaning that is not used."""
    page = page_of_alike
    doubtful, note = sorted(page.notes, key=lambda each: "in no box" in each)
    assert "only" in doubtful and "CIEDE2000" in doubtful and "stays" in doubtful
    assert [pencil.meaning for pencil in page.pencils] == list(MEANT[:3])
    assert {meaning for meaning, _, _ in page.areas} == set(MEANT[:3])
    x, y = (float(word.rstrip(",")) for word in note.split(" near ")[1].split(" mm")[0].split())
    assert USUAL.strokes[3].shape.contains(shapely.Point(x, y))
    assert "in no box" in note


def test_graphite_is_refused(sheet_image):
    """The first pencil's box as a grey pencil of its darkness fills it."""
    form, px, grey = SMALL.best("A4"), USUAL.dpi / 25.4, sheet_image.copy()
    left, bottom, right, top = shapely.union_all(
        [shapely.box(*half) for half in (form.boxes[0].firm, form.boxes[0].light)]
    ).bounds
    box = tuple(round(px * mm) for mm in (left - 1, form.size[1] - top - 1, right + 1, form.size[1] - bottom + 1))
    grey.paste(ImageOps.grayscale(grey.crop(box)), box[:2])
    with pytest.raises(InputError, match="the box comes out: holds a grey or black pencil"):
        read(grey)


# ── what can't be read ───────────────────────────────────────────────────────────────────────────────────────────


def _padded(image: Image.Image) -> Image.Image:
    return ImageOps.expand(image, 60, (120, 110, 100))


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda image: Image.new("RGB", (900, 1200), (200, 190, 180)), "too few of a marking sheet's .* got 0"),
        (lambda image: image.crop((0, 0, image.width, 4 * image.height // 5)), "too few of .* corner marks, got 2"),
        (ImageOps.mirror, "is mirrored"),
        (lambda image: image.resize((image.width * 3 // 5, image.height * 3 // 5)), "too small: .* at least 5 pixels"),
        (lambda image: image.filter(ImageFilter.GaussianBlur(2.6)), "is blurred"),
        (lambda image: _covered(image, (40, 40, 1200, 100)), "row of dots along the sheet's top|too few of"),
        (lambda image: _covered(image, (50, 60, 96, 96)), "which corner is which|too few of"),
    ],
    ids=["no sheet", "cut off", "mirrored", "too small", "blurred", "dots covered", "corner covered"],
)  # fmt: skip
def test_bad_pictures_are_refused_in_clear_words(sheet_image, spoil, said):
    with pytest.raises(InputError, match=said) as raised:
        read(spoil(sheet_image))
    assert raised.value.hint


def test_paper_of_which_a_narrow_strip_is_bare_is_no_brighter_than_it() -> None:
    """A surface of ten unknowns over three columns of cells: those that these don't hold stay small."""
    cells = np.full((39, 20, 3), [0.06, 0.64, 0.07], dtype=np.float32)
    cells[:, :3] = 0.9
    paper = evened._paper(np.kron(cells, np.ones((evened._CELL, evened._CELL, 1), dtype=np.float32)))
    assert 0 < paper.min() < paper.max() < 1


def _covered(image: Image.Image, box: tuple[int, int, int, int]) -> Image.Image:
    result = image.copy()
    result.paste((90, 70, 60), box)
    return result


@takes_long  # the first test lies upside down
def test_whichever_way_up_it_is_the_same(sheet_image):
    """What was drawn is found where it was drawn, on a sheet that lies nearly across."""
    turned_by = {"expand": True, "fillcolor": (120, 110, 100), "resample": Image.Resampling.BILINEAR}
    each = figures(joined_marks([read(_padded(sheet_image.rotate(102, **turned_by)))]), drawn_of(USUAL))
    assert each.missed == 0
    assert each.overlap > 0.92
    assert each.false_mm2 == 0


def test_the_sheet_of_another_print_is_refused(sheet_image):
    with pytest.raises(InputError, match="sheet of another print"):
        read(sheet_image, dataclasses.replace(SMALL, name="another"))


# ── several pages ────────────────────────────────────────────────────────────────────────────────────────────────


STRIP = MarkingSheet(name="trial", window=(0.0, 0.0, 300.0, 60.0))
SEAM = STRIP.pages(STRIP.best("A4"))[1].shown[0] + 6
ACROSS = (Stroke(pencil=0, shape=blob(SEAM, 50, 26, 12)), Stroke(pencil=1, shape=blob(60, 40, 14, 11)),
          Stroke(pencil=1, shape=blob(260, 40, 12, 14)))  # fmt: skip


def as_read(number: int) -> PageRead:
    """A page as if it had been read: what lies on it of the areas, each a little larger."""
    page = STRIP.pages(STRIP.best("A4"))[number - 1]
    seen = [(tuple(Meaning)[each.pencil], shapely.buffer(each.shape, 0.05 * number)) for each in ACROSS]
    areas = [(meaning, 1.0, shapely.intersection(shape, shapely.box(*page.shown))) for meaning, shape in seen]
    areas = tuple(area for area in areas if not area[2].is_empty)
    return PageRead(page=page, off_mm=0.0, seen=np.zeros((1, 1, 3), np.float32), areas=areas, pencils=(), notes=())


def test_pages_are_joined_in_any_order_and_an_area_across_the_seam_is_one():
    """That a second page's areas lie where they were drawn is tried in the first test."""
    pages = [as_read(2), as_read(1)]
    assert [len(page.areas) for page in pages] == [2, 2]
    both, again, alone = (joined_marks(each) for each in (pages, pages[::-1], pages[:1]))
    _check_across(both)
    assert [mark.key for mark in both] == [mark.key for mark in again]
    assert [mark.shape.wkb for mark in both] == [mark.shape.wkb for mark in again]
    right = {mark.key for mark in alone if mark.shape.bounds[0] > 200}
    assert right and right <= {mark.key for mark in both}, "whatever else is marked"
    assert len({mark.key for mark in both}) == len(both)


def _check_across(marks):
    assert sorted(mark.meaning for mark in marks) == ["comes out", "stays", "stays"]
    each = figures(marks, {Meaning.COMES_OUT: [ACROSS[0].shape], Meaning.STAYS: [s.shape for s in ACROSS[1:]]})
    assert each.overlap > 0.92
    assert each.false_mm2 == 0


@pytest.fixture(scope="module")
def paths(tmp_path_factory):
    """A print that takes two pages, one area across their seam and one on each; the second page first."""
    folder = tmp_path_factory.mktemp("scans")
    for number in (1, 2):
        case = Case(strokes=ACROSS, colours=FOUR[:2], page=number, dpi=139.7)
        flat(case, STRIP).save(folder / f"{number}.png", compress_level=1)
    return [folder / "2.png", folder / "1.png"]


@pytest.fixture(scope="module")
def both(paths):
    return read_sheets(paths, STRIP)


@takes_long  # joined as above; a second page is read in the first test
def test_pages_that_are_read_are_joined(both):
    assert [page.page.number for page in both.pages] == [2, 1]
    _check_across(both.marks)


@takes_long
def test_keys_are_the_same_when_a_page_is_read_again(paths, both):
    one, again = joined_marks(both.pages[:1]), read_sheets(paths[:1], STRIP).marks
    assert len(one) == 2
    assert [(mark.key, mark.shape.wkb) for mark in one] == [(mark.key, mark.shape.wkb) for mark in again]


def test_a_file_that_can_not_be_read_is_named(tmp_path, sheet_image):
    sheet_image.save(tmp_path / "sheet.png", compress_level=1)
    (tmp_path / "no.png").write_bytes((tmp_path / "sheet.png").read_bytes()[:5000])
    with pytest.raises(InputError, match=r"no\.png: can't be read"):
        read_sheets([tmp_path / "no.png", tmp_path / "sheet.png"], SMALL)
    out = io.BytesIO()
    Image.new("RGB", (1000, 1400), "white").save(out, "JPEG")
    (tmp_path / "white.jpg").write_bytes(out.getvalue())
    with pytest.raises(InputError, match=r"white\.jpg: shows too few"):
        read_sheets([tmp_path / "white.jpg"], STRIP)


@pytest.mark.parametrize(("smudge", "pulls"), [(0.12, False), (0.3, True)])
def test_what_is_darker_than_an_eighth_of_the_ink_pulls_a_marks_middle_and_less_does_not(
    smudge, pulls, monkeypatch
) -> None:
    """A dot one cell large of darkness 1, a smudge 4 mm right of it: (s - 0.125) of (s - 0.125 + 0.875) draws it."""
    offset = np.arange(-4.0, 5.0)
    dark = np.zeros((1, 9, 9))
    dark[0, 4, 4], dark[0, 4, 8] = 1.0, smudge
    monkeypatch.setattr(corner_marks, "_darkness", lambda *_: (dark, offset))
    middles, _ = corner_marks._centroids(None, None, np.zeros((1, 2)), 4.0)
    assert middles == pytest.approx(np.array([[pulls * 4 * (smudge - 0.125) / (smudge + 0.75), 0.0]]))
